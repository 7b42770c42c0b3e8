"""Past work: a piece again at another weight of cloth, and pieces near a colour."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date

import numpy as np

from dyemix.bench.bath_page import BathSheet
from dyemix.bench.bath_sheet import bath_sheet
from dyemix.bench.settings import BathSettings
from dyemix.bench.stock import Stock
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_2, D65_10, lab, screen_colours
from dyemix.dataset.swatches import Reading, Swatch
from dyemix.dataset.target import Target
from dyemix.dyebook.book import DyeBook
from dyemix.dyebook.records import PastPiece, PastWork
from dyemix.errors import DyemixError, Fault, InputError


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
) -> BathSheet:
    """The bath sheet of a past piece for other cloth: its last sheet, at another dry weight.

    Recipe, liquor ratio, alkali order, salt, temperature and time stay as they were, and so do the
    settings where none are given; where those given make other soda ash, a warning says so. Stocks
    are those given; else the book's bottles where it has every dye; else of the strengths used
    then. A job without a sheet is repeated from its last recipe or trial, under the settings.

    Raises `InputError` for a job that the book does not have, or that has nothing to repeat;
    `DyemixError` for a book of invented dyes without `allow_demo`.
    """
    record = book.job(job)
    if record.demo and not allow_demo:
        raise DyemixError(
            f"{book.path} is of invented dyes, not for dyeing: ask for the demo (--demo)."
        )
    last = record.sheets[-1] if record.sheets else None
    if last is None:
        kept = [k.recipe for k in record.recipes] + [k.trial.recipe for k in record.trials]
        if not kept:
            raise InputError(Fault(f"job {job!r} has no sheet, recipe or trial to repeat."))
        recipe = kept[-1]
    else:
        recipe = last.recipe
    if stocks is None:
        bottles = [bottle for bottle in book.stocks() if bottle.dye in recipe]
        if {bottle.dye for bottle in bottles} >= set(recipe):
            stocks = bottles
        elif last is not None:  # as strong as then; their dates and what is left are past
            stocks = [replace(d.stock, made=None, left_ml=None) for d in last.doses]
    if last is None:
        sheet = bath_sheet(
            recipe, cloth_g, stocks=stocks, settings=settings, job=job, pieces=pieces, on=on
        )
        return replace(sheet, demo=record.demo)
    was = last.method
    sheet = bath_sheet(
        {dose.dye: recipe[dose.dye] for dose in last.doses},  # in the order found then
        cloth_g, stocks=stocks, liquor_ratio=was.liquor_ratio, alkali=was.alkali,
        salt_g_l=was.salt, temperature_c=was.temperature, hours=was.hours, wetted=last.wetted,
        settings=settings or last.settings, job=job, cloth=last.cloth,
        fibre=last.fibre.words or None, target=last.target,
        expect=last.expect, pieces=pieces, on=on,
    )  # fmt: skip
    warnings = (*_departures(last, sheet), *sheet.warnings)
    return replace(sheet, demo=record.demo, palest_first=last.palest_first, warnings=warnings)


def _departures(then: BathSheet, now: BathSheet) -> tuple[str, ...]:
    """Where the settings make the bath another one than it was."""
    pairs = (
        ("soda ash", then.soda.g_l, now.soda.g_l, "g/L"),
        ("soda solution", then.soda.solution_g_l or 0.0, now.soda.solution_g_l or 0.0, "g/L"),
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
    for kept_set in book.sets():
        for swatch in book.swatches([kept_set.name]).swatches:
            name = f"{kept_set.name} {swatch.readings[0].swatch}".strip()
            yield "swatch", name, str(swatch.recipe), kept_set.added, swatch
