"""Several baths at once: one list of stock to make, the cups in order, the cost of a piece."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil

from dyemix.bench import cautions
from dyemix.bench.bath_page import BathSheet, cost_text
from dyemix.bench.bath_sheet import bath_sheet
from dyemix.bench.page import Block, Notes, Page, Table
from dyemix.bench.printed import Printed
from dyemix.bench.settings import BathSettings
from dyemix.bench.stock import Stock
from dyemix.dataset.swatches import DEMO_WARNING
from dyemix.dataset.units import volume_text, weight_text
from dyemix.errors import DyemixError, Fault, InputError
from dyemix.model.dyes import DyeSet


@dataclass(frozen=True)
class Job:
    """One bath to plan; the fields are those of `bath_sheet`. `place` is its file and row."""

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
    dye, strength_pct : which stock, % w/v.
    need_ml : in all cups, mL; a weak stock takes 10 mL.
    left_ml : left over from a bottle within its life; 0 where that is not noted.
    make_ml : to make up, with the spare, in whole steps; 0 where enough is left.
    powder_g : powder for that, g.
    note : what to know of the bottle there is.
    """

    dye: str
    strength_pct: float
    need_ml: float
    left_ml: float
    make_ml: float
    powder_g: float
    note: str


@dataclass(frozen=True)
class BenchPlan(Printed):
    """A day at the bench. `str()` is the plan; `sheets` are the baths in the order of the cups."""

    on: date
    sheets: tuple[BathSheet, ...]
    stocks: tuple[StockNeed, ...]
    units: str
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

    def page(self) -> Page:
        """The plan as blocks for text or print."""
        blocks: list[Block] = []
        if self.warnings:
            blocks.append(Notes("Check first", self.warnings, "!"))
        blocks += [self._stock_table(), self._cup_table(), self._aux_table()]
        if any(sheet.cost is not None for sheet in self.sheets):
            blocks.append(self._cost_table())
        together = (*cautions.BATH[1:-1], cautions.DEFER)
        blocks.append(Notes("Cautions", ("Gloves and goggles.", *together)))
        title = f"Bench plan, {self.on}: {len(self.sheets)} cups"
        return Page(title, tuple(blocks), DEMO_WARNING if self.demo else "")

    def _stock_table(self) -> Table:
        rows = tuple(
            (
                f"{need.dye} {need.strength_pct:g} %",
                f"{need.need_ml:.1f} mL",
                f"{need.left_ml:.0f} mL",
                volume_text(need.make_ml, self.units) if need.make_ml else "enough",
                weight_text(need.powder_g, self.units) if need.make_ml else "–",
                need.note,
            )
            for need in self.stocks
        )
        return Table(
            ("stock", "need", "left", "make up to", "powder", "bottle"),
            rows,
            (1, 2),
            "1. Stock to make",
            "A stock sheet has the how and the label. An adult mixes the powder, before the cups.",
        )

    def _cup_table(self) -> Table:
        rows = tuple(
            (
                str(number),
                sheet.job,
                weight_text(sheet.cloth_g, self.units),
                volume_text(sheet.total_ml, self.units),
                "; ".join(
                    f"{d.dye} {d.ml:g} mL" + (f" WEAK 1 in {d.dilution}" if d.dilution > 1 else "")
                    for d in sheet.doses
                )
                or "undyed",
            )
            for number, sheet in enumerate(self.sheets, start=1)
        )
        heads = ("cup", "job", "dry cloth", "total", "liquid stock, in this order")
        note = "Palest cup first, so that what clings to a tool does least. One cloth a cup."
        return Table(heads, rows, (2, 3), "2. Cups in order", note)

    def _aux_table(self) -> Table:
        rows = tuple(
            (
                str(number),
                weight_text(sheet.salt.g, self.units) if sheet.salt.g else "none",
                volume_text(sheet.water_ml, self.units),
                weight_text(sheet.soda.g, self.units),
                "dissolved in some of the water"
                if sheet.soda.solution_ml is None
                else f"made up to {volume_text(sheet.soda.solution_ml, self.units)}",
                {"presoak": "presoak", "with": "with the dye"}.get(
                    sheet.soda.order, f"{sheet.alkali_after_h:g} h after the dye"
                ),
                f"{sheet.hours:g} h, {sheet.temperature_c:g} °C",
            )
            for number, sheet in enumerate(self.sheets, start=1)
        )
        heads = ("cup", "salt", "water", "soda ash", "soda goes in", "when", "fix")
        return Table(heads, rows, (), "3. Salt, water, soda and time")

    def _cost_table(self) -> Table:
        rows = tuple(
            (
                str(number),
                sheet.job,
                cost_text(sheet.cost.total, sheet.cost.currency),
                str(sheet.pieces),
                cost_text(sheet.cost_a_piece or 0.0, sheet.cost.currency),
                f"without {', '.join(sheet.cost.unpriced)}" if sheet.cost.unpriced else "",
            )
            for number, sheet in enumerate(self.sheets, start=1)
            if sheet.cost is not None
        )
        heads = ("cup", "job", "cost", "pieces", "a piece", "not priced")
        return Table(heads, rows, (2, 3, 4), "4. Cost of dye, salt and soda")


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
    """
    settings = settings or BathSettings()
    on = on or date.today()
    if not jobs:
        raise DyemixError("there are no jobs to plan: give at least one.")
    bottles = stocks if stocks is None or isinstance(stocks, int | float) else tuple(stocks)
    sheets, faults = [], []
    for job in jobs:
        try:
            sheets.append(
                bath_sheet(
                    job.recipe,
                    job.cloth_g,
                    stocks=bottles,
                    liquor_ratio=job.liquor_ratio,
                    alkali=job.alkali,
                    wetted=wetted,
                    settings=settings,
                    dyes=dyes,
                    job=job.job,
                    cloth=job.cloth,
                    target=job.target,
                    pieces=job.pieces,
                    on=on,
                    allow_demo=allow_demo,
                )
            )
        except DyemixError as error:
            faults.append(Fault(f"job {job.job}: {error}", job.file, job.row))
    if faults:
        raise InputError(faults)
    if dyes is None:
        sheets.sort(key=lambda sheet: sheet.depth)
    else:
        sheets.sort(key=lambda sheet: -float(dyes.predict(sheet.recipe).lab[0]))
    demo = any(sheet.demo for sheet in sheets)
    return BenchPlan(on, tuple(sheets), _needs(sheets, on, settings), settings.units, demo)


def _needs(sheets: Sequence[BathSheet], on: date, settings: BathSettings) -> tuple[StockNeed, ...]:
    """Stock of each dye over all cups, most first."""
    need: dict[Stock, float] = {}
    for sheet in sheets:
        for part in sheet.doses:
            need[part.stock] = need.get(part.stock, 0.0) + part.needed_ml
    out = []
    for stock, ml in sorted(need.items(), key=lambda item: -item[1]):
        past = stock.past_life(on, settings)
        left = 0.0 if past else stock.left_ml or 0.0
        wanted = ml * (1.0 + settings.stock_spare / 100.0) - left
        make = ceil(wanted / settings.stock_batch) * settings.stock_batch if left < ml else 0.0
        if stock.made is None:
            note = "none noted"
        elif past:
            note = f"that of {stock.made} is past its life"
        elif stock.left_ml is None:
            note = f"that of {stock.made}: see what is left, make less"
        else:
            note = f"that of {stock.made}"
        out.append(
            StockNeed(
                stock.dye, stock.strength_pct, ml, left, make, make * stock.strength_pct / 100, note
            )
        )
    return tuple(out)
