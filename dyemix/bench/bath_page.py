"""The bath sheet in words, in the order of the work. Nothing is computed here."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from dyemix.bench.auxiliaries import Auxiliary, Cost
from dyemix.bench.cautions import cautions
from dyemix.bench.dosing import Dose
from dyemix.bench.method import Method
from dyemix.bench.settings import BathSettings
from dyemix.bench.sheet import Blanks, Block, Sheet, Table, check_first, facts
from dyemix.bench.stock import ADDED_TO
from dyemix.dataset.recipe import SPOON_SETS, Recipe, format_amount
from dyemix.dataset.units import spoon_set_name

_HEADS = ("dye", "% owf", "dye g", "measure", "or spoons of liquid", "from")


@dataclass(frozen=True)
class BathSheet(Sheet):
    """One bath. `str()` is the text for the bench, `to_html()` a page, `to_json()` the figures.

    Attributes
    ----------
    job, cloth, target, expect : the caller's words, printed as they are.
    on : the date of the sheet.
    cloth_g : dry weight, g, of all `pieces`.
    recipe : % owf.
    method : how it is dyed; `as_swatches` is what of it was taken from the swatches, in words.
    total_ml : the liquor in all.
    cloth_holds_ml : what the wetted (or presoaked) cloth already holds.
    doses : palest dye first where `palest_first`; else as written.
    salt, soda, water_ml : the rest of the bath; water is what makes it up to `total_ml`.
    syringe_miss, spoon_miss : what rounding does to the colour on paper, ΔE2000; None without
        fitted dyes.
    warnings : what to see to first.
    settings : the figures it rests on.
    """

    job: str
    on: date
    cloth: str
    cloth_g: float
    pieces: int
    target: str
    expect: str
    recipe: Recipe
    method: Method
    as_swatches: tuple[str, ...]
    wetted: bool
    total_ml: float
    cloth_holds_ml: float
    doses: tuple[Dose, ...]
    palest_first: bool
    salt: Auxiliary
    soda: Auxiliary
    water_ml: float
    cost: Cost | None
    syringe_miss: float | None
    spoon_miss: float | None
    warnings: tuple[str, ...]
    settings: BathSettings
    demo: bool

    @property
    def low_water(self) -> bool:
        """Whether there is too little water to stir."""
        return self.method.liquor_ratio < self.settings.low_water_below

    @property
    def stocks_ml(self) -> float:
        """Every stock, mL."""
        return sum(dose.ml for dose in self.doses)

    @property
    def poured_ml(self) -> float:
        """Dye liquor poured on: every stock, the salt solution and the water, mL."""
        return self.stocks_ml + self.salt.into_bath_ml + self.water_ml

    @property
    def crystals_g(self) -> float:
        """Washing-soda crystals instead of the soda ash, g."""
        return self.soda.g * self.settings.crystals

    @property
    def title(self) -> str:
        return f"Bath sheet: {self.job or self.recipe}"

    def blocks(self) -> tuple[Block, ...]:
        parts = (
            (self.stocks_ml, "stocks"),
            (self.salt.into_bath_ml, "salt solution"),
            (self.soda.into_bath_ml, "soda solution"),
            (self.cloth_holds_ml, "in the cloth"),
        )
        solids = ["salt"] if self.salt.g > 0 and self.salt.solution_ml is None else []
        solids += ["soda"] if self.soda.solution_ml is None else []
        slow_dye, times = self.settings.slowest(self.recipe)
        opening, liquids, work = facts(
            "bath", self.settings, sheet=self, method=self.method, solids=solids,
            less=[part for part in parts if part[0]], slow_dye=slow_dye, times=times,
        )  # fmt: skip
        headings = ("Result, dry and ironed", "Next correction")
        swatch = Blanks(headings, f"{self.job or self.recipe}: dry swatch here")
        warnings = check_first(self.warnings)
        return (opening, *warnings, _dyes(self), liquids, work, swatch, cautions("bath"))


def _dyes(sheet: BathSheet) -> Table:
    rows = tuple(
        (
            dose.dye,
            format_amount(dose.owf),
            f"{dose.dye_g:.3g}",
            f"{dose.ml:g} mL{_error_text(dose)}",
            str(dose.spoons),
            _from(dose, sheet),
        )
        for dose in sheet.doses
    ) or (("undyed", "0", "0", "–", "–", "through the whole process with no dye"),)
    order = "palest first" if sheet.palest_first else "in the order written; measure palest first"
    note = spoons_note(sheet.settings)
    if sheet.syringe_miss is not None and sheet.spoon_miss is not None and sheet.doses:
        note += (
            f" On paper it moves the colour by {sheet.syringe_miss:.1f} with a syringe, "
            f"{sheet.spoon_miss:.1f} with spoons (ΔE2000)."
        )
    return Table(_HEADS, rows, (1, 2), f"Dyes, {order}", note)


def _error_text(dose: Dose) -> str:
    return f" ({dose.error_pct:+.0f} %)" if abs(dose.error_pct) >= 0.5 else ""


def measure_text(dose: Dose) -> str:
    """What to measure, in the syringe, and of which dilution."""
    weak = f" WEAK, 1 in {dose.dilution}" if dose.dilution > 1 else ""
    return f"{dose.ml:g} mL{_error_text(dose)}{weak}"


def spoons_note(settings: BathSettings) -> str:
    """What the spoons of a table of doses are."""
    name, spoon = spoon_set_name(settings.spoons), SPOON_SETS[settings.spoons]
    return (
        f"Spoons of LIQUID stock, never powder; {name} set, {spoon['tbsp']:.4g} and "
        f"{spoon['tsp']:.4g} mL. The % is what rounding does to the dose."
    )


def _from(dose: Dose, sheet: BathSheet) -> str:
    """What to measure a dose from."""
    stock, settings = dose.stock, sheet.settings
    strength = f"{stock.strength_pct:g} % stock"
    if stock.how == ADDED_TO:
        strength += f" 'added to' (really {stock.actual_pct(settings):.3g} %)"
    if dose.dilution > 1:
        strength = f"WEAK, 1 in {dose.dilution} of {strength}"
    if stock.made is None:
        return f"{strength}, no date"
    kept = f"day {stock.age_days(sheet.on)} of {stock.life_days(settings):.0f}"
    past = ": PAST" if stock.past_life(sheet.on, settings) else ""
    return f"{strength}, {stock.made.day} {stock.made:%b}, {kept}{past}"
