"""The bath sheet in words, in the order of the work. Nothing is computed here."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from dyemix.bench import cautions
from dyemix.bench.auxiliaries import Cost, Salt, Soda
from dyemix.bench.dosing import Dose
from dyemix.bench.page import Blanks, Block, Facts, Notes, Page, Table
from dyemix.bench.printed import Printed
from dyemix.bench.settings import ORDERS
from dyemix.dataset.recipe import SPOON_SETS, Recipe, format_amount
from dyemix.dataset.swatches import DEMO_WARNING
from dyemix.dataset.units import spoon_set_name, temperature_text, volume_text, weight_text

_HEADS = ("dye", "% owf", "dye g", "measure", "or spoons of liquid", "from")


@dataclass(frozen=True)
class BathSheet(Printed):
    """One bath. `str()` is the text for the bench, `to_html()` a page, `to_json()` the figures.

    Attributes
    ----------
    job, cloth, target, expect : the caller's words, printed as they are.
    on : the date of the sheet.
    recipe : % owf.
    cloth_g : dry weight, g, of all `pieces`.
    liquor_ratio, total_ml : mL per g of dry cloth, and in all. `low_water` below the limit.
    cloth_holds_ml : what the wetted (or presoaked) cloth already holds.
    doses : palest dye first where `palest_first`; else as written.
    salt, soda, water_ml : the rest of the bath; water is what makes it up to `total_ml`.
    temperature_c, hours : of fixing. `slow_dye` governs, wanting `slow_factor` times the hours.
    syringe_miss, spoon_miss : what rounding does to the colour on paper, ΔE2000; None without
        fitted dyes.
    as_swatches : what was taken from the swatches' conditions, in words.
    warnings : what to see to first.
    """

    job: str
    on: date
    cloth: str
    cloth_g: float
    pieces: int
    target: str
    expect: str
    tolerance: float
    recipe: Recipe
    liquor_ratio: float
    total_ml: float
    low_water: bool
    wetted: bool
    cloth_holds_ml: float
    doses: tuple[Dose, ...]
    palest_first: bool
    salt: Salt
    soda: Soda
    soda_share: float
    alkali_after_h: float
    water_ml: float
    temperature_c: float
    warm_temperature_c: float
    hours: float
    slow_dye: str
    slow_factor: float
    soak_c: float
    cost: Cost | None
    syringe_miss: float | None
    spoon_miss: float | None
    as_swatches: tuple[str, ...]
    warnings: tuple[str, ...]
    units: str
    spoons: str
    demo: bool

    @property
    def depth(self) -> float:
        """Depth in all, % owf."""
        return self.recipe.total

    @property
    def poured_ml(self) -> float:
        """Dye liquor poured on: every stock, the salt solution and the water, mL."""
        return sum(d.ml for d in self.doses) + self.salt.solution_ml + self.water_ml

    @property
    def cost_a_piece(self) -> float | None:
        return None if self.cost is None else self.cost.total / self.pieces

    def page(self) -> Page:
        """The sheet as blocks for text or print."""
        return bath_page(self)


def bath_page(sheet: BathSheet) -> Page:
    """Every block of a bath sheet."""
    name = sheet.job or str(sheet.recipe)
    blocks: list[Block] = [Facts(_opening(sheet))]
    if sheet.warnings:
        blocks.append(Notes("Check first", sheet.warnings, "!"))
    blocks += [
        _dyes(sheet),
        Facts(_liquids(sheet)),
        Facts(_work(sheet)),
        Blanks((("Result, dry and ironed", 2), ("Next correction", 2)), f"{name}: dry swatch here"),
        Notes("Cautions", cautions.BATH),
    ]
    return Page(f"Bath sheet: {name}", tuple(blocks), DEMO_WARNING if sheet.demo else "")


def cost_text(amount: float, currency: str) -> str:
    """Money with two figures after the point, or more where it would read as nothing."""
    return (
        f"{amount:.2f} {currency}".strip() if amount >= 0.1 else f"{amount:.2g} {currency}".strip()
    )


def _opening(sheet: BathSheet) -> tuple[tuple[str, str], ...]:
    holds = volume_text(sheet.cloth_holds_ml, sheet.units)
    state = (
        f"presoaked, it already holds about {holds}"
        if sheet.soda.order == "presoak"
        else f"wetted and wrung, it already holds about {holds}"
        if sheet.wetted
        else "goes in dry"
    )
    pieces = f", {sheet.pieces} pieces" if sheet.pieces > 1 else ""
    weight = weight_text(sheet.cloth_g, sheet.units)
    aim = sheet.target or "________________"
    how = "low water" if sheet.low_water else "stirred"
    rows = [
        ("Sheet", f"{sheet.on}    dyed ____________    batch ________    by ____________"),
        ("Cloth", f"{sheet.cloth or '____________'}, {weight} dry{pieces}; scoured [ ]; {state}"),
        ("Aim", f"{aim}; sound if the dry, ironed miss is {sheet.tolerance:g} or less (ΔE2000)"),
        ("Expect", f"{sheet.expect or 'not computed'};    5 g square dyed first [ ]"),
        (
            "Bath",
            f"{format_amount(sheet.depth)} % owf in all; {sheet.liquor_ratio:g}:1 = "
            f"{volume_text(sheet.total_ml, sheet.units)} total liquor, {how}; "
            f"{ORDERS[sheet.soda.order]}",
        ),
    ]
    if sheet.as_swatches:
        rows.append(("", f"as your swatches were: {', '.join(sheet.as_swatches)}"))
    rows.append(("Wear", "gloves and goggles; read the cautions at the end before you begin"))
    return tuple(rows)


def _dyes(sheet: BathSheet) -> Table:
    rows = tuple(
        (
            part.dye,
            format_amount(part.owf),
            f"{part.dye_g:.3g}",
            f"{part.ml:g} mL" + _error(part.error_pct),
            str(part.spoons),
            part.of,
        )
        for part in sheet.doses
    ) or (("undyed", "0", "0", "–", "–", "through the whole process with no dye"),)
    spoon = SPOON_SETS[sheet.spoons]
    order = "palest first" if sheet.palest_first else "in the order written; measure palest first"
    note = (
        f"Spoons of LIQUID stock, never powder; {spoon_set_name(sheet.spoons)} set, "
        f"{spoon['tbsp']:.4g} and {spoon['tsp']:.4g} mL. The % is what rounding does to the dose."
    )
    if sheet.syringe_miss is not None and sheet.spoon_miss is not None and sheet.doses:
        note += (
            f" On paper it moves the colour by {sheet.syringe_miss:.1f} with a syringe, "
            f"{sheet.spoon_miss:.1f} with spoons (ΔE2000)."
        )
    return Table(_HEADS, rows, (1, 2), f"Dyes, {order}", note)


def _error(pct: float) -> str:
    return f" ({pct:+.0f} %)" if abs(pct) >= 0.5 else ""


def _liquids(sheet: BathSheet) -> tuple[tuple[str, str], ...]:
    units, salt, soda = sheet.units, sheet.salt, sheet.soda
    if salt.g == 0:
        salt_text = "none" + (" needed in low water" if sheet.low_water else "")
    elif salt.stock_pct is not None:
        salt_text = (
            f"{volume_text(salt.solution_ml, units)} of a {salt.stock_pct:g} % solution "
            f"({weight_text(salt.g, units)}, {salt.g_l:g} g/L)"
        )
    else:
        salt_text = f"{weight_text(salt.g, units)} ({salt.g_l:g} g/L of the total liquor)"
    less = [f"{volume_text(sum(d.ml for d in sheet.doses), units)} stocks"] if sheet.doses else []
    less += [f"{volume_text(salt.solution_ml, units)} salt solution"] if salt.solution_ml else []
    less += [f"{volume_text(soda.into_bath_ml, units)} soda solution"] if soda.into_bath_ml else []
    less += [f"{volume_text(sheet.cloth_holds_ml, units)} in the cloth"] * (
        sheet.cloth_holds_ml > 0
    )
    taken = f" (total less {', '.join(less)})" if less else ""
    dry = [salt.g > 0 and salt.stock_pct is None, soda.solution_ml is None]
    solids = [name for name, so in zip(("salt", "soda"), dry, strict=True) if so]
    dissolved = f"; what dissolves the {' and '.join(solids)} is part of it" if solids else ""
    rows = [
        ("Salt", salt_text),
        ("Water", f"{volume_text(sheet.water_ml, units)} to make up{taken}{dissolved}"),
    ]
    alkali = ("Alkali", _alkali(sheet))
    return (alkali, *rows) if soda.order == "presoak" else (*rows, alkali)


def _alkali(sheet: BathSheet) -> str:
    units, soda = sheet.units, sheet.soda
    grams = (
        f"{weight_text(soda.g, units)} soda ash (or {weight_text(soda.crystals_g, units)} "
        "washing-soda crystals)"
    )
    if soda.order == "presoak":
        return (
            f"FIRST: {grams} made up to {volume_text(soda.solution_ml or 0.0, units)}, "
            f"{soda.solution_g_l:g} g/L. Soak the cloth through, squeeze or wring it, lay "
            "it in the dye."
        )
    when = (
        "in WITH the dye: mix just before use, use within half an hour, spent in one to two hours"
        if soda.order == "with"
        else f"about {sheet.alkali_after_h:g} h AFTER the dye; lift the cloth while it goes in"
    )
    if sheet.low_water:
        share = "as much as" if sheet.soda_share == 1 else f"{sheet.soda_share:g} times"
        return (
            f"{when}. {volume_text(soda.into_bath_ml, units)} of soda solution of "
            f"{soda.solution_g_l:g} g/L, {share} the "
            f"{volume_text(sheet.poured_ml, units)} dye liquor poured on: {grams} made up to that."
        )
    if soda.solution_ml is not None:
        return (
            f"{when}. {volume_text(soda.solution_ml, units)} of a solution of "
            f"{soda.solution_g_l:g} g/L ({soda.g_l:g} g/L of the bath): {grams}."
        )
    return f"{when}. {grams}, {soda.g_l:g} g/L, dissolved in some of the water."


def _work(sheet: BathSheet) -> tuple[tuple[str, str], ...]:
    warmth = temperature_text(sheet.temperature_c, sheet.units)
    time = f"{sheet.hours:g} h at {warmth} or a little warmer"
    if sheet.slow_dye:
        warm = temperature_text(sheet.warm_temperature_c, sheet.units)
        time += (
            f"; {sheet.slow_dye} governs, the slowest here: it wants {sheet.slow_factor:g} times "
            f"the usual time, or warmth, towards {warm}"
        )
    rows = [
        ("Fix", time),
        ("Rinse", "cool, until nearly clear: alkali and salt out first"),
        (
            "Hot soak",
            f"about {temperature_text(sheet.soak_c, sheet.units)}, again and again until a white "
            "scrap stays white. It scalds: tongs, thick gloves",
        ),
        (
            "Judge",
            "dry and ironed. Nothing can be added to a spent bath: the next piece is corrected",
        ),
    ]
    if sheet.cost is not None:
        cost, money = sheet.cost, sheet.cost.currency
        text = f"{cost_text(cost.total, money)} in all: dye {cost_text(cost.dye, money)}, salt "
        text += f"{cost_text(cost.salt, money)}, soda {cost_text(cost.soda, money)}"
        if sheet.cost_a_piece is not None and sheet.pieces > 1:
            text += f"; {cost_text(sheet.cost_a_piece, money)} a piece"
        if cost.unpriced:
            text += f"; without a price, so not in it: {', '.join(cost.unpriced)}"
        rows.append(("Cost", text))
    return tuple(rows)
