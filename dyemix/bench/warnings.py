"""What to see to before a bath is begun: departures from the swatches, and figures out of practice.

Every range is common practice.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dyemix.bench.bath_page import BathSheet
from dyemix.bench.dosing import FOR_WEAK, Dose
from dyemix.bench.method import departures, same
from dyemix.dataset.recipe import format_amount

_WEAK_WHEN_WET = ("viscose", "rayon")


def bath_warnings(sheet: BathSheet, was: Mapping[str, Any], unread: tuple[str, ...]) -> list[str]:
    """Every warning of a sheet; `was` and `unread` are of how the swatches were dyed."""
    settings, method, soda = sheet.settings, sheet.method, sheet.soda
    out = [warning for dose in sheet.doses for warning in _of_dose(dose, sheet)]
    out += departures(method, was)
    if unread:
        out.append(
            f"not compared with your swatches, as it could not be read: {'; '.join(unread)}."
        )
    if method.alkali == "presoak" and not sheet.low_water:
        usual = settings.depth_row(sheet.recipe.total).soda
        out.append(
            f"a presoak carries {soda.g_l:.1f} g/L of soda ash into a bath of "
            f"{method.liquor_ratio:g}:1, where {usual:g} g/L is usual: it washes out. Dye "
            "presoaked cloth in low water."
        )
    low, high = settings.soda_solution_usual
    solution = settings.soda_solution
    if (method.alkali == "presoak" or sheet.low_water) and not low <= solution <= high:
        usual_range = f"{low:g}–{high:g} g/L"
        out.append(f"a soda solution of {solution:g} g/L is outside the usual {usual_range}.")
    if method.temperature < settings.coolest:
        out.append(
            f"{method.temperature:g} °C is cool: at least {settings.coolest:g} °C is usual, or "
            "the dye does not fix."
        )
    slow_dye, times = settings.slowest(sheet.recipe)
    wanted = settings.usual_hours(method.temperature) * times
    if method.hours < wanted and not same(method.hours, wanted):
        why = (
            f"{slow_dye} is slow and wants {times:g} times the time or warmth, "
            if slow_dye
            else "this temperature usually wants "
        )
        out.append(
            f"{why}about {wanted:g} h; this sheet says {method.hours:g} h."
            + " Your swatches had as little: more time is safer, and departs from them."
            * same(method.hours, was.get("hours", 0.0))
        )
    split = [dye for dye in sheet.recipe if any(word in dye for word in settings.mixtures)]
    if split:
        out.append(
            f"{', '.join(split)}: usually a mixture that varies by lot and may split on the cloth. "
            "Use the lot of your swatches."
        )
    if any(word in sheet.cloth.lower() for word in _WEAK_WHEN_WET):
        out.append("viscose (rayon) is weak when wet: squeeze, don't wring.")
    return out


def _of_dose(dose: Dose, sheet: BathSheet) -> list[str]:
    """What to see to before a dose is measured."""
    dye, stock, settings = dose.dye, dose.stock, sheet.settings
    out = []
    if stock.past_life(sheet.on, settings):
        where = "kept cold" if stock.cold else "at room temperature"
        out.append(
            f"{dye} stock is {stock.age_days(sheet.on)} days old, past its "
            f"{stock.life_days(settings):.0f} days {where}: make it fresh, or expect it paler."
        )
    if dose.dilution > 1:
        times = len(str(dose.dilution)) - 1
        again = f", {times} times over" if times > 1 else ""
        out.append(
            f"{dye} {format_amount(dose.owf)} % is {dose.exact_ml / dose.dilution:.2g} mL of "
            f"stock, too little to measure. Make {FOR_WEAK:g} mL of stock up TO "
            f"{10 * FOR_WEAK:g} mL{again}, and measure {dose.ml:g} mL of that."
        )
    if stock.left_ml is not None and dose.needed_ml > stock.left_ml:
        out.append(
            f"{dye}: {dose.needed_ml:.1f} mL is needed, {stock.left_ml:g} mL is left: make more."
        )
    return out
