"""What to see to before a bath is begun: departures from the swatches, and figures out of practice.

Every range is common practice.
"""

from __future__ import annotations

from dyemix.bench.bath_page import BathSheet
from dyemix.bench.dosing import DyedAs
from dyemix.bench.settings import ORDERS, BathSettings

#: Ratios, hours and temperatures nearer than this (as a share) are the same.
_SAME = 0.05
_WEAK_WHEN_WET = ("viscose", "rayon")


def bath_warnings(
    sheet: BathSheet, was: DyedAs, usual_hours: float, settings: BathSettings
) -> tuple[str, ...]:
    """Every warning of a sheet; `usual_hours` is for a dye that is not slow."""
    out = [warning for part in sheet.doses for warning in part.warnings]
    out += _unlike_swatches(sheet, was)
    soda = sheet.soda
    low, high = settings.soda_solution_usual
    if soda.order == "presoak" and not sheet.low_water:
        out.append(
            f"a presoak carries {soda.g_l:.1f} g/L of soda ash into a bath of "
            f"{sheet.liquor_ratio:g}:1, where {soda.wanted_g_l:g} g/L is usual: it washes out. Dye "
            "presoaked cloth in low water."
        )
    solution = settings.soda_solution
    if (soda.order == "presoak" or sheet.low_water) and not low <= solution <= high:
        out.append(
            f"a soda solution of {solution:g} g/L is outside the usual {low:g}–{high:g} g/L."
        )
    if sheet.temperature_c < settings.coolest:
        out.append(
            f"{sheet.temperature_c:g} °C is cool: at least {settings.coolest:g} °C is usual, or "
            "the dye does not fix."
        )
    wanted = usual_hours * sheet.slow_factor
    if sheet.hours < wanted * (1 - _SAME):
        why = (
            f"{sheet.slow_dye} is slow and wants {sheet.slow_factor:g} times the time or warmth, "
            if sheet.slow_dye
            else "this temperature usually wants "
        )
        swatches = ""
        if was.hours is not None and abs(sheet.hours / was.hours - 1) <= _SAME:
            swatches = " Your swatches had as little: more time is safer, and departs from them."
        out.append(f"{why}about {wanted:g} h; this sheet says {sheet.hours:g} h.{swatches}")
    split = [dye for dye in sheet.recipe if any(word in dye for word in settings.mixtures)]
    if split:
        out.append(
            f"{', '.join(split)}: usually a mixture that varies by lot and may split on the cloth. "
            "Use the lot of your swatches."
        )
    if any(word in sheet.cloth.lower() for word in _WEAK_WHEN_WET):
        out.append("viscose (rayon) is weak when wet: squeeze, don't wring.")
    return tuple(out)


def _unlike_swatches(sheet: BathSheet, was: DyedAs) -> list[str]:
    out = []
    pairs = (
        ("liquor ratio", sheet.liquor_ratio, was.ratio, ":1"),
        ("temperature", sheet.temperature_c, was.temperature, " °C"),
        ("time", sheet.hours, was.hours, " h"),
    )
    for name, now, then, unit in pairs:
        if then is not None and abs(now - then) > _SAME * then:
            out.append(
                f"{name} {now:g}{unit} is unlike your swatches' {then:g}{unit}: they do not "
                "predict this bath. Dye a test square."
            )
    if was.order is not None and sheet.soda.order != was.order:
        out.append(
            f"{ORDERS[sheet.soda.order]} is unlike your swatches ({ORDERS[was.order]}): "
            "swatches of one order do not predict another. Dye a test square."
        )
    if sheet.low_water and was.salt:
        out.append(f"no salt in low water; your swatches had {was.salt:g} g/L.")
    if was.unread:
        out.append(
            f"not compared with your swatches, as it could not be read: {'; '.join(was.unread)}."
        )
    return out
