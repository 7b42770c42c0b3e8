"""The bath sheet: from a recipe to what to measure, in the order in which it is done.

The sums are common practice (`dataset.recipe`, `dataset.units`); the figures are the dyer's
(`settings`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date
from math import ceil

from dyemix.bench.auxiliaries import Salt, Soda, cost_of, salt_for, soda_for
from dyemix.bench.bath_page import BathSheet
from dyemix.bench.dosing import (
    Dose,
    DyedAs,
    alkali_order,
    check_cloth,
    dose,
    dyed_as,
    measures_of,
    shelf_of,
)
from dyemix.bench.expecting import expected
from dyemix.bench.settings import ORDERS, BathSettings
from dyemix.bench.stock import Stock
from dyemix.bench.warnings import bath_warnings
from dyemix.colour.ciede2000 import delta_e
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.target import Target
from dyemix.dataset.units import water_ml
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet

#: Depth at which dyes are ranked by lightness, % owf.
_RANKING_DEPTH = 1.0


def bath_sheet(
    recipe: Mapping[str, float] | str,
    cloth_g: float,
    *,
    stocks: Iterable[Stock] | float | None = None,
    liquor_ratio: float | None = None,
    alkali: str | None = None,
    salt_g_l: float | None = None,
    temperature_c: float | None = None,
    hours: float | None = None,
    wetted: bool = True,
    settings: BathSettings | None = None,
    dyes: DyeSet | None = None,
    job: str = "",
    cloth: str = "",
    target: Target | str | None = None,
    expect: str | None = None,
    pieces: int = 1,
    on: date | None = None,
    allow_demo: bool = False,
) -> BathSheet:
    """Work out one bath.

    What is left out is taken from the conditions that the swatches of `dyes` were dyed under,
    and where they do not say from `settings`; a departure from the swatches is a warning.

    Parameters
    ----------
    recipe : in % owf; also in mL or spoons of the `stocks` given, or in g of powder.
    cloth_g : dry weight of the cloth, g.
    stocks : the bottles, or one strength for every dye (% w/v); the settings' if left out.
    liquor_ratio : mL of total liquor per g of dry cloth.
    alkali : ``presoak``, ``with`` the dye or ``after`` it.
    salt_g_l : salt, g/L of the total liquor; none goes into low water.
    temperature_c, hours : of fixing.
    wetted : whether the cloth goes in wet and wrung.
    dyes : the fitted dyes the recipe came from, which know how the swatches were dyed.
    job, cloth, target, expect : printed on the sheet; for a `Target` and fitted dyes, what to
        expect is worked out.
    pieces : how many pieces the cloth is, for the cost of one.
    on : date of the sheet; today if left out.

    Raises
    ------
    DyemixError
        For a demo dye set without `allow_demo`, amounts out of range, and liquids that do not
        fit into the total liquor. `RecipeError` for a dye without stock or swatches.
    """
    settings = settings or BathSettings()
    on = on or date.today()
    check_cloth(cloth_g)
    stocks = stocks if stocks is None or isinstance(stocks, int | float) else tuple(stocks)
    recipe = Recipe.parse(recipe, measures_of(stocks, cloth_g, settings))
    if dyes is not None and dyes.demo and not allow_demo:
        raise DyemixError(
            "this recipe comes from invented dyes and is not for dyeing: fit your own swatches, or "
            "ask for the demo."
        )
    if pieces < 1:
        raise DyemixError(f"{pieces} pieces is out of range: 1 or more.")
    was = dyed_as(dyes.conditions or {}) if dyes else DyedAs()
    ratio = _chosen(liquor_ratio, was.ratio, settings.liquor_ratio)
    if not 1 <= ratio <= 200:
        raise DyemixError(f"a liquor ratio of {ratio:g}:1 is out of range: 1 to 200 mL per g.")
    order = was.order or settings.alkali if alkali is None else alkali_order(alkali) or alkali
    if order not in ORDERS:
        raise DyemixError(f"alkali {alkali!r} is unknown: use {', '.join(ORDERS)}.")
    total = cloth_g * ratio
    low = ratio < settings.low_water_below
    holds = cloth_g * settings.wet_pickup / 100.0 if wetted or order == "presoak" else 0.0
    shelf = shelf_of(stocks, recipe, settings)
    doses = tuple(
        dose(dye, recipe[dye], cloth_g, shelf[dye], on, settings)
        for dye in _palest_first(recipe, dyes)
    )
    wanted = _chosen(salt_g_l, was.salt, settings.depth_row(recipe.total).salt)
    if not 0 <= wanted <= 360:  # a saturated brine holds about 360 g/L (common practice)
        raise DyemixError(f"{wanted:g} g/L of salt is out of range: 0 to 360.")
    salt = salt_for(cloth_g, ratio, 0.0 if low else wanted, settings)
    soda = soda_for(order, cloth_g, ratio, holds, recipe.total, settings)
    parts = [*(d.ml for d in doses), salt.solution_ml, soda.into_bath_ml]
    water = water_ml(total, parts, holds)
    if water < -1e-6 * total:
        raise DyemixError(
            _too_full(doses, soda, salt, cloth_g, ratio, holds, recipe.total, settings)
        )
    temperature = _chosen(temperature_c, was.temperature, settings.temperature)
    slow_dye, factor = settings.slowest(recipe)
    usual = settings.warm_hours if temperature >= settings.warm_temperature else settings.hours
    # Hours that the swatches had already hold whatever the slowest dye was given then.
    fixing = _chosen(hours, was.hours, usual * factor)
    if not 0 < fixing <= 480 or not 0 < temperature < 100:
        raise DyemixError(
            f"{fixing:g} h at {temperature:g} °C is out of range: above 0, up to "
            "480 h and below 100 °C."
        )
    misses = _misses(dyes, recipe, doses)
    sheet = BathSheet(
        job=job,
        on=on,
        cloth=cloth or ((dyes.conditions or {}).get("cloth", "") if dyes else ""),
        cloth_g=float(cloth_g),
        pieces=pieces,
        target=_aim(target),
        expect=expect if expect is not None else _expectation(dyes, recipe, target),
        tolerance=settings.tolerance,
        recipe=recipe,
        liquor_ratio=float(ratio),
        total_ml=total,
        low_water=low,
        wetted=wetted,
        cloth_holds_ml=holds,
        doses=doses,
        palest_first=dyes is not None or len(recipe) < 2,
        salt=salt,
        soda=soda,
        soda_share=settings.soda_share,
        alkali_after_h=settings.alkali_after,
        water_ml=max(water, 0.0),
        temperature_c=temperature,
        warm_temperature_c=settings.warm_temperature,
        hours=fixing,
        slow_dye=slow_dye,
        slow_factor=factor,
        soak_c=settings.soak_temperature,
        cost=cost_of(doses, salt, soda, settings),
        syringe_miss=misses[0],
        spoon_miss=misses[1],
        as_swatches=_taken(liquor_ratio, alkali, salt_g_l, temperature_c, hours, was, low),
        warnings=() if dyes is None else dyes.warnings(recipe),
        units=settings.units,
        spoons=settings.spoons,
        demo=dyes is not None and dyes.demo,
    )
    return replace(sheet, warnings=(*sheet.warnings, *bath_warnings(sheet, was, usual, settings)))


def _aim(target: Target | str | None) -> str:
    if isinstance(target, Target) and target.kind == "hex":
        return f"{target} from a screen: a direction, not a standard"
    return "" if target is None else str(target)


def _expectation(dyes: DyeSet | None, recipe: Recipe, target: Target | str | None) -> str:
    if dyes is None or not isinstance(target, Target):
        return ""
    return expected(dyes, recipe, target)


def _chosen(given: float | None, swatches: float | None, setting: float) -> float:
    """What the caller asks, or how the swatches were dyed, or the setting."""
    if given is not None:
        return given
    return setting if swatches is None else swatches


def _palest_first(recipe: Recipe, dyes: DyeSet | None) -> list[str]:
    """By lightness of each dye alone; as written where there are no fitted dyes to ask."""
    if dyes is None:
        return list(recipe)
    dyes.amounts(recipe)  # a dye without swatches is an error
    lightness = {dye: float(dyes.predict({dye: _RANKING_DEPTH}).lab[0]) for dye in recipe}
    return sorted(recipe, key=lambda dye: -lightness[dye])


def _too_full(
    doses: tuple[Dose, ...], soda: Soda, salt: Salt, sheet_g: float, ratio: float, holds: float,
    depth: float, settings: BathSettings,
) -> str:  # fmt: skip
    """The sentence for liquids that do not fit, with both numbers and the cure."""
    stocks = sum(d.ml for d in doses)

    def room(at: float) -> float:
        """What is left for stocks at a liquor ratio."""
        low = at < settings.low_water_below
        more = salt_for(sheet_g, at, 0.0 if low else salt.g_l, settings)
        alkali = soda_for(soda.order, sheet_g, at, holds, depth, settings)
        return water_ml(sheet_g * at, [more.solution_ml, alkali.into_bath_ml], holds)

    cures = []
    if room(ratio) > 0:
        cures.append(f"stocks {stocks / room(ratio):.2g} times as strong")
    higher = next((r for r in range(ceil(ratio), 201) if room(r) >= stocks), None)
    if higher is not None:
        cures.append(f"a liquor ratio of {higher}:1 or more")
    others = salt.solution_ml + soda.into_bath_ml
    return (
        f"the bath does not hold it: {stocks:.0f} mL of stocks + {others:.0f} mL of salt and soda "
        f"solution + {holds:.0f} mL in the cloth is {stocks + others + holds:.0f} mL, and the "
        f"total liquor is {sheet_g * ratio:.0f} mL ({ratio:g}:1). Use {' or '.join(cures)}."
    )


def _taken(
    ratio: float | None,
    alkali: str | None,
    salt: float | None,
    temperature: float | None,
    hours: float | None,
    was: DyedAs,
    low: bool,
) -> tuple[str, ...]:
    """What the sheet takes from the swatches, in words."""
    pairs = (
        ("liquor ratio", ratio is None and was.ratio is not None),
        ("alkali", alkali is None and was.order is not None),
        ("salt", not low and salt is None and was.salt is not None),
        ("temperature", temperature is None and was.temperature is not None),
        ("hours", hours is None and was.hours is not None),
    )
    return tuple(name for name, so in pairs if so)


def _misses(
    dyes: DyeSet | None, recipe: Recipe, doses: tuple[Dose, ...]
) -> tuple[float | None, float | None]:
    """ΔE2000 on paper of measuring to the syringe's marks, and with spoons."""
    if dyes is None:
        return None, None
    syringe = {d.dye: d.owf * d.ml / d.exact_ml for d in doses}
    spoons = {d.dye: d.owf * d.spoons.ml / d.exact_ml for d in doses}
    colours = dyes.predict_many([dyes.amounts(r) for r in (recipe, syringe, spoons)])
    miss = delta_e(colours[0], colours[1:])
    return float(miss[0]), float(miss[1])
