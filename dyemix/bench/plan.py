"""Several baths at once: one list of stock to make, the cups in order, the cost of a piece."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil
from typing import ClassVar

from dyemix.bench.bath_page import BathSheet
from dyemix.bench.bath_sheet import bath_sheet
from dyemix.bench.settings import BathSettings
from dyemix.bench.sheet import Sheet
from dyemix.bench.stock import Stock
from dyemix.errors import DyemixError, Fault, InputError
from dyemix.model.dyes import DyeSet


@dataclass(frozen=True)
class Job:
    """One bath to plan; the fields are those of `bath_sheet`. `file` and `row` say its place."""

    job: str
    recipe: str
    cloth_g: float
    cloth: str = ""
    pieces: int = 1
    target: str = ""
    liquor_ratio: float | None = None
    alkali: str | None = None
    row: int | None = None
    file: str | None = None


@dataclass(frozen=True)
class StockNeed:
    """Stock of one dye for every cup.

    Attributes
    ----------
    stock : which.
    need_ml : in all cups, mL; a weak stock takes 10 mL.
    left_ml : left over from a bottle within its life; 0 where that is not noted.
    make_ml : to make up, with the spare, in whole steps; 0 where enough is left.
    powder_g : powder for that, g.
    note : what to know of the bottle there is.
    """

    stock: Stock
    need_ml: float
    left_ml: float
    make_ml: float
    powder_g: float
    note: str


@dataclass(frozen=True)
class BenchPlan(Sheet):
    """A day at the bench. `str()` is the plan; `sheets` are the baths in the order of the cups."""

    template: ClassVar[str] = "plan"

    on: date
    sheets: tuple[BathSheet, ...]
    stocks: tuple[StockNeed, ...]
    settings: BathSettings
    demo: bool

    @property
    def warnings(self) -> tuple[str, ...]:
        """Every warning of every bath once, with the cups it is about."""
        cups: dict[str, list[str]] = {}
        for number, sheet in enumerate(self.sheets, start=1):
            for warning in sheet.warnings:
                cups.setdefault(warning, []).append(str(number))
        return tuple(
            f"cup{'s' * (len(numbers) > 1)} {', '.join(numbers)}: {warning}"
            for warning, numbers in cups.items()
        )


def bench_plan(
    jobs: Sequence[Job],
    *,
    stocks: Iterable[Stock] | float | None = None,
    wetted: bool = True,
    settings: BathSettings | None = None,
    dyes: DyeSet | None = None,
    on: date | None = None,
    allow_demo: bool = False,
) -> BenchPlan:
    """Plan several baths together; the arguments are those of `bath_sheet`.

    Cups go from the palest to the deepest: by the lightness that `dyes` predict, or else by
    depth. Raises `InputError` with what is wrong with every job, `DyemixError` for none at all.

    >>> from dyemix.bench.plan import Job
    >>> len(bench_plan([Job("napkins", "rust 1.5", 120.0), Job("runner", "navy 2", 300.0)]).sheets)
    2
    """
    settings = settings or BathSettings()
    on = on or date.today()
    if not jobs:
        raise DyemixError("there are no jobs to plan: give at least one.")
    bottles = stocks if stocks is None or isinstance(stocks, int | float) else tuple(stocks)
    sheets, faults = [], []
    for job in jobs:
        asked = {name: value for name, value in vars(job).items() if name not in ("row", "file")}
        try:
            sheet = bath_sheet(
                **asked, stocks=bottles, wetted=wetted, settings=settings, dyes=dyes, on=on,
                allow_demo=allow_demo,
            )  # fmt: skip
            sheets.append(sheet)
        except DyemixError as error:
            faults.append(Fault(f"job {job.job}: {error}", job.file, job.row))
    if faults:
        raise InputError(faults)
    if dyes is None:
        sheets.sort(key=lambda sheet: sheet.recipe.total)
    else:
        sheets.sort(key=lambda sheet: -float(dyes.predict(sheet.recipe).lab[0]))
    demo = any(sheet.demo for sheet in sheets)
    return BenchPlan(on, tuple(sheets), tuple(stock_needs(sheets, on, settings)), settings, demo)


def stock_needs(
    sheets: Sequence[BathSheet], on: date, settings: BathSettings
) -> Iterator[StockNeed]:
    """Stock of each dye over all cups, most first."""
    needed: dict[Stock, float] = {}
    for sheet in sheets:
        for dose in sheet.doses:
            needed[dose.stock] = needed.get(dose.stock, 0.0) + dose.needed_ml
    for stock, ml in sorted(needed.items(), key=lambda item: -item[1]):
        past = stock.past_life(on, settings)
        left = 0.0 if past else stock.left_ml or 0.0
        wanted = ml * (1.0 + settings.stock_spare / 100.0) - left
        make = ceil(wanted / settings.stock_batch) * settings.stock_batch if left < ml else 0.0
        note = "none noted" if stock.made is None else f"that of {stock.made}"
        if past:
            note += " is past its life"
        elif stock.made is not None and stock.left_ml is None:
            note += ": see what is left, make less"
        yield StockNeed(stock, ml, left, make, make * stock.strength_pct / 100.0, note)
