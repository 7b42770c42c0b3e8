"""Past work: a piece again at another weight of cloth, and pieces near a colour."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np

from dyemix.bench.bath_sheet import BathSheet, bath_sheet
from dyemix.bench.settings import BathSettings
from dyemix.bench.stock import Stock
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_2, D65_10, lab, screen_colours
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, Swatch
from dyemix.dataset.target import Target
from dyemix.dataset.trial import Bath, Trial
from dyemix.dyebook.book import DyeBook
from dyemix.dyebook.records import JobRecord, PastPiece, PastWork
from dyemix.errors import DyemixError, Fault, FitError, InputError
from dyemix.matching.correct import correct
from dyemix.model.dyes import DyeSet


def repeat(
    book: DyeBook,
    job: str,
    cloth_g: float,
    *,
    stocks: Iterable[Stock] | float | None = None,
    settings: BathSettings | None = None,
    pieces: int = 1,
    on: date | None = None,
    allow_demo: bool = False,
) -> tuple[BathSheet, ...]:
    """The bath sheets of a past piece for other cloth, in the order in which they are dyed.

    By the corrected recipe where the last piece was read, with what it missed by; a sheet that was
    kept since, and not dyed yet, stands as it is. A piece that a second bath went over is two
    baths. Method and settings are those of the last sheet, or without one how the swatches of the
    method were dyed; where settings given make other soda ash, a warning says so. Stocks are those
    given; else the book's bottles where it has every dye; else of the strengths used then.

    Raises `InputError` for a job that the book does not have, that has nothing to repeat, or whose
    way of dyeing is not known; `DyemixError` for a book of invented dyes without `allow_demo`.
    """
    record = book.job(job)
    if record.demo and not allow_demo:
        raise DyemixError(
            f"{book.path} is of invented dyes, not for dyeing: ask for the demo (--demo)."
        )
    dyes = None
    with suppress(InputError, FitError):  # without swatches, or with too few, it is still repeated
        dyes = book.dyes(book.method(job=job).name)
    trials = [kept.trial for kept in record.trials]
    seconds = [trial for trial in trials if trial.bath is Bath.SECOND]
    firsts = [trial for trial in trials if trial.bath is Bath.FIRST]
    twice = bool(seconds) and trials[-1] is seconds[-1]
    over = {trial.recipe for trial in seconds}
    sheets = [sheet for sheet in record.sheets if sheet.recipe not in over]
    last = sheets[-1] if sheets else None
    kept = [kept.recipe for kept in record.recipes] + [trial.recipe for trial in firsts]
    if last is not None and not any(_alike(last.recipe, trial.recipe) for trial in firsts):
        plans = [_Plan(last.recipe, last.expect, last.target)]
    elif twice:
        plans = [_Plan(_under(seconds[-1], kept, job))]
    elif firsts:
        plans = [_corrected(dyes, firsts[-1])]
    elif kept:
        plans = [_Plan(kept[-1])]
    else:
        raise InputError(Fault(f"job {job!r} has no sheet, recipe or trial to repeat."))
    plans += [_corrected(dyes, seconds[-1])] if twice else []
    return tuple(
        _again(book, plan, cloth_g, job, last, dyes, stocks, settings, pieces, on) for plan in plans
    )


@dataclass(frozen=True)
class _Plan:
    """A bath to dye again: its recipe, what to expect and to aim at, and what was learnt of it."""

    recipe: Recipe
    expect: str = ""
    target: str = ""
    warnings: tuple[str, ...] = ()


def _under(second: Trial, kept: Sequence[Recipe], job: str) -> Recipe:
    """The recipe of the piece that a second bath went over."""
    under = None if second.on is None else second.on.recipe
    if found := under or (kept[-1] if kept else None):
        return found
    raise InputError(
        Fault(
            f"job {job!r} holds a second bath, and not what it went over: keep that first, as: "
            f"dyemix book recipe 'gold 0.8 + navy 0.2' --job {shlex.quote(job)}"
        )
    )


def _alike(one: Recipe, other: Recipe) -> bool:
    """Whether two recipes are one, but for digits that nobody measures."""
    return one.keys() == other.keys() and all(
        abs(one[dye] - other[dye]) <= 0.005 * other[dye] for dye in one
    )


def _corrected(dyes: DyeSet | None, trial: Trial) -> _Plan:
    """The recipe that a finished piece leads to, with what that piece missed by."""
    over = " This is the second bath, over the first." if trial.bath is Bath.SECOND else ""
    if dyes is None or trial.target is None or not set(trial.recipe) <= set(dyes.names):
        return _Plan(trial.recipe, warnings=(over.strip(),) if over else ())
    found = correct(dyes, trial, second_bath=False)
    pot = found.corrected
    change = "" if pot.recipe == found.again.recipe else f"; corrected here from {trial.recipe}"
    note = f"the last piece ({trial.date or 'no date'}) missed by {found.miss}{change}.{over}"
    expect = f"ΔE2000 {pot.likely:.1f} likely in the pot, nine pots in ten below {pot.bound:.1f}"
    return _Plan(pot.recipe, f"{expect} ({found.target.light})", str(found.target), (note,))


def _again(
    book: DyeBook, plan: _Plan, cloth_g: float, job: str, last: BathSheet | None,
    dyes: DyeSet | None, stocks: Iterable[Stock] | float | None, settings: BathSettings | None,
    pieces: int, on: date | None,
) -> BathSheet:  # fmt: skip
    """One bath of a piece dyed again."""
    bottles = [bottle for bottle in book.stocks() if bottle.dye in plan.recipe]
    if stocks is None and {bottle.dye for bottle in bottles} >= set(plan.recipe):
        stocks = bottles
    elif stocks is None and last is not None:  # as strong as then; their dates and rests are past
        then = {d.dye: replace(d.stock, made=None, left_ml=None) for d in last.doses}
        stocks = [then.get(dye, replace(last.doses[0].stock, dye=dye, made=None, left_ml=None))
                  for dye in plan.recipe]  # fmt: skip
    how: dict[str, Any] = {"stocks": stocks, "job": job, "pieces": pieces, "on": on}
    if dyes is not None and not set(plan.recipe) <= set(dyes.names):
        dyes = None
    if last is None:
        known = {} if dyes is None else dyes.conditions or {}
        known = dict.fromkeys(("alkali", "liquor ratio"), "as set") if settings else known
        blank = [key for key in ("alkali", "liquor ratio") if not known.get(key)]
        if blank:
            words = ["bath", str(plan.recipe), "--cloth", f"{cloth_g:g}g", "--job", job]
            asked = f"dyemix {shlex.join([*words, '--alkali', 'after', '--ratio', '20'])}"
            raise InputError(
                Fault(
                    f"job {job!r} has no bath sheet, and {' and '.join(blank)} of its swatches "
                    f"are not written down: make its first sheet, as: {asked} --book {book.path}"
                )
            )
        sheet = bath_sheet(plan.recipe, cloth_g, settings=settings, dyes=dyes, target=plan.target,
                           expect=plan.expect, allow_demo=True, **how)  # fmt: skip
        return replace(sheet, warnings=(*plan.warnings, *sheet.warnings))
    was, order = last.method, [dose.dye for dose in last.doses]
    amounts = {dye: plan.recipe[dye] for dye in order if dye in plan.recipe} | dict(plan.recipe)
    sheet = bath_sheet(
        amounts, cloth_g, liquor_ratio=was.liquor_ratio, alkali=was.alkali, salt_g_l=was.salt,
        soda_g_l=None if was.soda is None else last.soda.g_l, soda_solution_g_l=was.soda_solution,
        temperature_c=was.temperature, hours=was.hours, wetted=last.wetted,
        settings=settings or last.settings, cloth=last.cloth, fibre=last.fibre.words or None,
        target=plan.target or last.target, expect=plan.expect, **how,
    )  # fmt: skip
    warnings = (*plan.warnings, *_departures(last, sheet), *sheet.warnings)
    return replace(sheet, demo=last.demo, palest_first=last.palest_first, warnings=warnings)


def record(book: DyeBook, job: str) -> JobRecord:
    """Everything under one job, and what each trial of it led to.

    Raises `InputError` for a job that the book does not have.
    """
    kept = book.job(job)
    with suppress(InputError):
        dyes = book.dyes(book.method(job=job).name)
        led = (_corrected(dyes, each.trial).recipe for each in kept.trials)
        return replace(kept, corrections=tuple(map(str, led)))
    return kept


def _departures(then: BathSheet, now: BathSheet) -> tuple[str, ...]:
    """Where the settings make the bath another one than it was."""
    by_solution = now.low_water or now.method.alkali == "presoak"
    was, new = ((sheet.soda.solution_g_l or 0.0) * by_solution for sheet in (then, now))
    pairs = (
        ("soda ash", then.soda.g_l, now.soda.g_l, "g/L"),
        ("soda solution", was, new, "g/L"),
        ("alkali", then.settings.alkali_after, now.settings.alkali_after, "h after the dye"),
    )
    return tuple(
        f"{name} {new:.3g} {unit}, and it was {old:.3g} on {then.on}: your settings have changed."
        for name, old, new, unit in pairs
        if abs(new - old) > 0.01 * max(abs(old), abs(new))
    )


def near(book: DyeBook, target: Target, count: int = 8) -> PastWork:
    """Past pieces near a colour: trials, signed swatches and swatches, `count` of them.

    ΔE2000 is under the target's light; a piece read as CIELAB or hex under that light is taken as
    it was read. Raises `DyemixError` for a count below 1.
    """
    if count < 1:
        raise DyemixError(f"{count} pieces is out of range: 1 or more.")
    light = target.light or D65_10
    target = target.under(light)
    pieces = list(_pieces(book))
    if not pieces:
        return PastWork(target, (), 0, book.demo)
    miss = delta_e(target.lab, np.array([colour.colour(light) for *_, colour in pieces]))
    order = np.argsort(miss, kind="stable")[:count]
    spectra = np.array([pieces[i][-1].reflectance for i in order])
    codes = screen_colours(lab(spectra, D65_2))
    found = tuple(
        PastPiece(kind, name, recipe, when, code.hex, float(miss[i]))
        for i, code in zip(order, codes, strict=True)
        for kind, name, recipe, when, _ in (pieces[i],)
    )
    return PastWork(target, found, len(pieces), book.demo)


def _pieces(book: DyeBook) -> Iterator[tuple[str, str, str, date | None, Reading | Swatch]]:
    """Every piece that has been read: what it is, its name, recipe and day, and its colour."""
    for kept in book.trials():
        trial = kept.trial
        yield "trial", kept.job, str(trial.recipe), trial.date, trial.reading
    for signed in book.sign_offs():
        recipe = signed.reading.recipe
        words = "" if recipe is None else str(recipe)
        yield "standard", signed.name, words, signed.on, signed.reading
    for method in book.methods():
        for swatch in book.swatches(method.name).swatches:
            name = f"{method.name} {swatch.readings[0].swatch}".strip()
            yield "swatch", name, str(swatch.recipe), None, swatch


def search(book: DyeBook, words: str) -> tuple[tuple[str, str, str], ...]:
    """Where these words stand in the book: what it is, its name, and the text around them."""
    wanted = words.casefold().split()
    texts = [
        *(("job", name, name) for name in book.jobs()),
        *(("recipe", k.job, f"{k.on}: {k.recipe} {k.note}") for k in book.recipes()),
        *(("bath sheet", s.job, f"{s.on}: {s.recipe} on {s.cloth}") for s in book.sheets()),
        *(("trial", k.job, f"{k.trial} {k.note}") for k in book.trials()),
        *(("standard", s.name, f"{s.on}: {s.target} {s.note}") for s in book.sign_offs()),
        *(("dye", str(d), f"{d.bought or ''} {d.note}".strip()) for d in book.dye_lots()),
        *(("cloth", c.name, f"{c.fibre} {c.note}".strip()) for c in book.cloths()),
        *(("swatches", s.name, str(s)) for s in book.sets()),
        *(("done", e.at, e.what) for e in book.history()),
    ]
    return tuple(t for t in texts if all(word in " ".join(t).casefold() for word in wanted))
