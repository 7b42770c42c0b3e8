"""Past work: a piece again at another weight of cloth, and pieces near a colour."""

import shlex
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import replace
from datetime import date
from functools import cache
from typing import Any

import numpy as np

from dyemix.bench.bath_sheet import BathSheet, bath_sheet
from dyemix.bench.settings import BathSettings
from dyemix.bench.stock import Bottles, Stock, stated_stocks
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_10, screen_colour
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.repeats import ODD_FACTOR
from dyemix.dataset.target import Target, Trial
from dyemix.dyebook.book import DyeBook
from dyemix.dyebook.records import JobRecord, KeptTrial, PastPiece, PastWork
from dyemix.errors import FitError, InputError, refuse, said
from dyemix.matching.correct import Correction, Outcome, correct
from dyemix.matching.matches import Pot
from dyemix.model.dyes import DyeSet

#: Colours that lie no farther apart are one colour, typed or read twice (a working value, ΔE2000).
SAME = 0.5
#: Settings that govern a bath, and are those of the last sheet: with others it is another piece.
_OF_THE_BATH = (
    "depths", "soda_solution", "soda_share", "presoak_volume", "wet_pickup", "low_water",
    "low_water_below", "alkali_after",
)  # fmt: skip
#: A miss to 3 is sound (common practice): nearer than that, no piece is called astray.
SOUND = 3.0


def repeat(
    book: DyeBook, job: str, cloth_g: float, *, method: str = "",
    stocks: Iterable[Stock] | float | None = None, settings: BathSettings | None = None,
    pieces: int = 1, on: date | None = None, allow_demo: bool = False,
) -> tuple[BathSheet, ...]:  # fmt: skip
    """The bath sheets of a past piece for other cloth, in the order in which they are dyed.

    By the corrected recipe where the last piece was read, with what it missed by; a sheet that was
    kept since, and not dyed yet, stands as it is. A piece that a second bath went over is two
    baths. Of a job dyed by several methods, the one named is repeated. Salt, soda and water go by
    the last sheet whatever the `settings` given say, or without one by how the swatches of the
    method were dyed. Stocks are those given; else of each dye the book's bottle, the strength used
    then, or that stated with the swatches; one strength given stands for all.

    Raises `InputError` for a job that the book does not have, that has nothing to repeat, or whose
    way of dyeing is not known; `DyemixError` for a book of invented dyes without `allow_demo`.
    """
    record, dyes = book.job(job), None
    refuse(record.demo and not allow_demo, "dyebook.demo", book.path)
    if methods := book.methods():
        method = book.method(method, job=job).name
        with suppress(FitError):  # with too few swatches, it is still repeated
            dyes = book.dyes(method)
    trials = [kept.trial for kept in record.trials if kept.method in (method, None)]
    firsts, seconds = ([t for t in trials if (t.on is None) is first] for first in (True, False))
    twice = bool(seconds) and trials[-1] is seconds[-1]
    over = {trial.recipe for trial in seconds}
    sheets = [s for s in book.sheets(job, method) if not (s.second_bath or s.recipe in over)]
    last = sheets[-1] if sheets else None
    kept = [kept.recipe for kept in record.recipes] + [trial.recipe for trial in firsts]
    if last is not None and not any(_alike(last.recipe, trial.recipe) for trial in firsts):
        first = {"recipe": last.recipe, "expect": last.expect, "target": last.target}
    elif twice:
        under = seconds[-1].on and seconds[-1].on.recipe
        refuse(not (under or kept), "dyebook.under", job, shlex.quote(job), error=InputError)
        first = {"recipe": under or kept[-1]}
    else:
        refuse(not kept, "dyebook.no_work", job, error=InputError)
        first = _corrected(dyes, firsts[-1]) if firsts else {"recipe": kept[-1]}
    plans: list[dict[str, Any]] = [first, *([_corrected(dyes, seconds[-1])] if twice else [])]
    known = {} if dyes is None else dyes.conditions or {}
    blank = [key for key in ("alkali", "liquor ratio") if not known.get(key)]
    if last is None and settings is None and blank:
        words = ["bath", str(first["recipe"]), "--cloth", f"{cloth_g:g}g", "--job", job]
        words += ["--alkali", "after", "--ratio", "20", "--book", str(book.path)]
        words += ["--method", method] * (len(methods) > 1) + ["--no-swatches"] * (not methods)
        raise InputError(said("dyebook.blank", job, " and ".join(blank), shlex.join(words)))
    named = {} if stocks is None else Bottles.of(stocks, settings or BathSettings()).by_dye
    how: Any = {"named": named, "settings": settings, "cloth_g": cloth_g}
    how |= {"job": job, "pieces": pieces, "on": on}
    return tuple(_again(book, last, dyes, **how, **plan) for plan in plans)


def _alike(one: Recipe, other: Recipe) -> bool:
    """Whether two recipes are one, but for digits that nobody measures."""
    return one.keys() == other.keys() and all(
        abs(one[dye] - other[dye]) <= 0.005 * other[dye] for dye in one
    )


def _corrected(dyes: DyeSet | None, trial: Trial) -> dict[str, Any]:
    """The bath that a finished piece leads to, with what that piece missed by, as `_again` takes
    it.
    """
    second = trial.on is not None
    over = " This is the second bath, over the first." if second else ""
    plan = {"recipe": trial.recipe, "notes": (over.strip(),) if over else (), "second_bath": second}
    if dyes is None or trial.target is None or not set(trial.recipe) <= set(dyes.names):
        return plan
    found = correct(dyes, trial, second_bath=False)
    pot, target = found.corrected, str(found.target)
    change = "" if pot.recipe == found.again.recipe else f"; corrected here from {trial.recipe}"
    note = f"the last piece ({trial.date or 'no date'}) missed by {found.miss}{change}.{over}"
    expect = promised(found, pot.recipe)
    return plan | {"recipe": pot.recipe, "expect": expect, "target": target, "notes": (note,)}


def _again(
    book: DyeBook, last: BathSheet | None, dyes: DyeSet | None, recipe: Recipe,
    notes: tuple[str, ...] = (), *, named: Mapping[str, Stock], **how: Any,
) -> BathSheet:  # fmt: skip
    """One bath of a piece dyed again, of the stocks `named` and else of those that are known; `how`
    as for `bath_sheet`, and `notes` are its warnings.
    """
    stated = stated_stocks((dyes and dyes.conditions) or {}, how["settings"] or BathSettings())
    then = [] if last is None else [dose.stock for dose in last.doses]
    alike = [replace(stock, dye="") for stock in then[:1]]  # for a dye that was not in it
    used_up = [replace(stock, made=None, left_ml=None) for stock in (*alike, *then)]
    known = (*stated, *used_up, *book.stocks())
    others = (stock for stock in known if not {stock.dye, ""} & named.keys())
    stocks = [*others, *named.values()]
    if last is None:
        own = dyes if dyes is not None and set(recipe) <= set(dyes.names) else None
        sheet = bath_sheet(recipe, stocks=stocks, dyes=own, allow_demo=True, **how)
        return replace(sheet, warnings=(*notes, *sheet.warnings))
    as_then = {name: getattr(last.settings, name) for name in _OF_THE_BATH}
    how["settings"] = replace(how["settings"] or last.settings, **as_then)
    was = vars(last.method) | {
        "soda": None if last.method.soda is None else last.soda.g_l, "wetted": last.wetted,
        "cloth": last.cloth, "fibre": last.fibre.words or None, "target": last.target,
    }  # fmt: skip
    order = (dose.dye for dose in last.doses)
    amounts = {dye: recipe[dye] for dye in (*order, *recipe) if dye in recipe}
    sheet = bath_sheet(amounts, stocks=stocks, **(was | how))
    warnings = (*notes, *sheet.warnings)
    return replace(sheet, demo=last.demo, palest_first=last.palest_first, warnings=warnings)


def dyed_for(book: DyeBook, dyes: DyeSet, target: Target, method: str = "") -> Correction | None:
    """What the last piece that a method dyed for this very colour leads to; None without one.

    What a pot tells of itself alone is in no fit, and comes back when it is dyed again. A second
    bath, and a piece so far off that nothing is corrected, lead to nothing here.
    """
    wanted = target.under(dyes.light)
    for kept in reversed(book.trials(method=method)):
        trial, aimed = kept.trial, kept.trial.target and kept.trial.target.under(dyes.light)
        fits = set(trial.recipe) <= set(dyes.names)
        if not fits or trial.on or aimed is None or aimed.light != wanted.light:
            continue
        if float(delta_e(aimed.lab, wanted.lab)) <= SAME:
            found = correct(dyes, trial, second_bath=False)
            if found.outcome is not Outcome.A_SLIP:
                return found
    return None


def led_to(found: Correction | None, recipe: Recipe) -> Pot | None:
    """What a piece told of a recipe that it led to; None of any other."""
    pots = (found.corrected, found.again) if found else ()
    return next((pot for pot in pots if _alike(recipe, pot.recipe)), None)


def promised(found: Correction | None, recipe: Recipe) -> str:
    """What to expect of a recipe that a piece led to, as a bath sheet says it; "" of any other."""
    pot = led_to(found, recipe)
    return said("bench.expect_again", pot.likely, pot.bound, pot.target.light) if pot else ""


def astray(book: DyeBook, dyes: DyeSet, method: str) -> list[tuple[KeptTrial, float]]:
    """Trials of a method so far (ΔE2000) off what all others predict that they raise every promise:
    a slip, or misread.
    """
    checks = dyes.report.own_mixtures if dyes.report else ()
    usual = np.median([check.delta_e for check in checks] or [0.0])
    limit = max(ODD_FACTOR * usual, SOUND)  # of two that disagree, neither lies beyond it
    odd = {c.label: c.delta_e for c in checks if c.delta_e > limit and not c.kept}
    told = ((kept, str(kept.trial)) for kept in (book.trials(method=method) if odd else ()))
    return [(kept, odd[name]) for kept, name in told if name in odd]


def record(book: DyeBook, job: str) -> JobRecord:
    """Everything under one job, and what each trial of it led to.

    Raises `InputError` for a job that the book does not have.
    """

    @cache
    def dyes(method: str) -> DyeSet | None:
        with suppress(InputError, FitError):
            return book.dyes(book.method(method, job=job).name)
        return None

    kept = book.job(job)
    led = (_corrected(dyes(each.method or ""), each.trial)["recipe"] for each in kept.trials)
    return replace(kept, corrections=tuple(map(str, led)))


def near(book: DyeBook, target: Target, count: int = 8) -> PastWork:
    """Past pieces near a colour, at most `count`: trials, signed swatches and swatches.

    ΔE2000 is under the target's light; a piece read as CIELAB or hex under that light is taken as
    it was read. One farther off than `PastWork.far` is not shown. Raises `DyemixError` for a
    count below 1.
    """
    refuse(count < 1, f"{count} pieces is out of range: 1 or more.")
    target = target.under(target.light or D65_10)
    pieces = sorted(_pieces(book, target), key=lambda piece: piece.delta_e)
    shown = tuple(piece for piece in pieces[:count] if piece.delta_e <= PastWork.far)
    beyond = pieces[0] if pieces and not shown else None
    return PastWork(target, shown, beyond, len(pieces), book.demo)


def _pieces(book: DyeBook, target: Target) -> Iterator[PastPiece]:
    """Every piece that has been read, and how far it is from the target."""
    trials = [(kept.job, kept.trial) for kept in book.trials()]
    read: list[tuple[str, str, Any, date | None]] = [
        ("second bath" if t.on else "trial", job, replace(t.reading, recipe=t.recipe), t.date)
        for job, t in trials
    ]
    read += [("standard", signed.name, signed.reading, signed.on) for signed in book.sign_offs()]
    squares = [(method.name, swatch) for method in book.methods() for swatch in method.held]
    read += [("swatch", f"{of} {s.readings[0].swatch}".strip(), s, None) for of, s in squares]
    for kind, name, seen, on in read:
        recipe = "" if seen.recipe is None else str(seen.recipe)
        miss = float(delta_e(target.lab, seen.colour(target.light)))
        yield PastPiece(kind, name, recipe, on, screen_colour(seen.reflectance).hex, miss)
