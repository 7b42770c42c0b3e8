"""Several baths at once: one list of stock to make, the cups in order, the cost of a piece."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from math import ceil
from typing import ClassVar, Self

from dyemix.bench.bath_sheet import BathSheet, bath_sheet
from dyemix.bench.dosing import Dose
from dyemix.bench.settings import BathSettings, Making
from dyemix.bench.sheet import Sheet
from dyemix.bench.stock import Stock
from dyemix.dataset.units import FOR_WEAK
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
class Need:
    """A stock, or a solution of salt or soda, for all baths of a day.

    Attributes
    ----------
    of : the dye; ``salt`` or ``soda``.
    need_ml : in all baths, mL, dilutions included, each made once for all of them.
    left_ml : left over from a bottle within its life; 0 where that is not noted.
    how : to make up what lacks, with the spare; None where enough is left.
    stock : the bottle that was meant; None for salt and soda.
    """

    of: str
    need_ml: float
    left_ml: float
    how: Making | None
    stock: Stock | None = None


@dataclass(frozen=True)
class BenchPlan(Sheet):
    """Baths of one day, in order, and what to make for all of them. `str()` is the plan."""

    template: ClassVar[str] = "plan"

    on: date
    sheets: tuple[BathSheet, ...]
    stocks: tuple[Need, ...]
    solutions: tuple[Need, ...]
    settings: BathSettings
    demo: bool

    @classmethod
    def of(cls, sheets: Sequence[BathSheet]) -> Self:
        """The day of these baths, all of one date and of the same settings."""
        on, settings = sheets[0].on, sheets[0].settings
        stocks = tuple(_stock_needs(sheets, on, settings))
        solutions = tuple(_solutions(sheets, settings))
        return cls(on, tuple(sheets), stocks, solutions, settings, any(s.demo for s in sheets))

    @property
    def warnings(self) -> tuple[str, ...]:
        """Every warning of every bath once, with the jobs it is about unless it is all of them."""
        jobs: dict[str, list[str]] = {}
        for sheet in self.sheets:
            for warning in sheet.warnings:
                jobs.setdefault(warning, []).append(sheet.job)
        return tuple(
            warning if len(named) == len(self.sheets) else f"{', '.join(named)}: {warning}"
            for warning, named in jobs.items()
        )

    @property
    def doses(self) -> tuple[Dose, ...]:
        """Every dose of every bath."""
        return tuple(dose for sheet in self.sheets for dose in sheet.doses)


def bench_plan(
    jobs: Sequence[Job],
    *,
    stocks: Sequence[Stock] | float | None = None,
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
    if not jobs:
        raise DyemixError("there are no jobs to plan: give at least one.")
    sheets, faults = [], []
    for job in jobs:
        asked = {name: value for name, value in vars(job).items() if name not in ("row", "file")}
        try:
            sheets.append(bath_sheet(
                **asked, stocks=stocks, wetted=wetted, settings=settings, dyes=dyes, on=on,
                allow_demo=allow_demo,
            ))  # fmt: skip
        except DyemixError as error:
            faults.append(Fault(f"job {job.job}: {error}", job.file, job.row))
    if faults:
        raise InputError(faults)
    if dyes is None:
        sheets.sort(key=lambda sheet: sheet.recipe.total)
    else:
        sheets.sort(key=lambda sheet: -float(dyes.predict(sheet.recipe).lab[0]))
    return BenchPlan.of(sheets)


def _stock_needs(sheets: Sequence[BathSheet], on: date, settings: BathSettings) -> Iterator[Need]:
    """Stock of each dye over all cups, most first.

    Of a dilution 10 mL of the stronger make 100, for all cups that take it.
    """
    measured: dict[Stock, dict[int, float]] = {}
    for dose in (dose for sheet in sheets for dose in sheet.doses):
        by_dilution = measured.setdefault(dose.stock, dict.fromkeys((1000, 100, 10, 1), 0.0))
        by_dilution[dose.dilution] += dose.ml
    needed = {}
    for stock, by_dilution in measured.items():
        for weaker, stronger in pairwise(by_dilution):
            by_dilution[stronger] += FOR_WEAK * ceil(by_dilution[weaker] / (10 * FOR_WEAK))
        needed[stock] = by_dilution[1]
    for stock, ml in sorted(needed.items(), key=lambda item: -item[1]):
        left = 0.0 if stock.past_life(on, settings) else stock.left_ml or 0.0
        wanted = ml * (1.0 + settings.stock_spare / 100.0) - left
        wanted = ceil(wanted / settings.stock_batch) * settings.stock_batch
        strongest = settings.strongest(stock.dye)
        how = settings.making(stock.strength_pct, wanted, strongest) if left < ml else None
        yield Need(stock.dye, ml, left, how, stock)


def _solutions(sheets: Sequence[BathSheet], settings: BathSettings) -> Iterator[Need]:
    """The solutions of salt and soda for baths whose grams are too few to weigh."""
    for name, pct in (("salt", settings.small_salt_stock), ("soda", settings.small_soda_stock)):
        if ml := sum(getattr(sheet, name).stock_ml or 0.0 for sheet in sheets):
            spare = 1.0 + settings.stock_spare / 100.0
            yield Need(name, ml, 0.0, settings.making(pct, spare * ml))
