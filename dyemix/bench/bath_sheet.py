"""The bath sheet: from a recipe to what to measure, in the order in which it is done.

The sums are common practice (`dataset.recipe`, `dataset.units`); the figures are the dyer's
(`settings`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from math import ceil
from typing import Any

from dyemix.bench.auxiliaries import cost_of, salt_and_soda
from dyemix.bench.bath_page import BathSheet
from dyemix.bench.dosing import Bottles, Dose
from dyemix.bench.fibre import Fibre
from dyemix.bench.method import Method, alkali_order, departures, dyed_as, same
from dyemix.bench.settings import BathSettings
from dyemix.bench.sheet import written
from dyemix.bench.stock import Stock
from dyemix.colour.ciede2000 import delta_e
from dyemix.dataset.conditions import same as same_words
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
    soda_g_l: float | None = None,
    temperature_c: float | None = None,
    hours: float | None = None,
    wetted: bool = True,
    settings: BathSettings | None = None,
    dyes: DyeSet | None = None,
    job: str = "",
    cloth: str = "",
    fibre: str | None = None,
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
    soda_g_l : soda ash, g/L of the total liquor of a stirred bath; in low water and for a presoak,
        g/L of the soda solution. By depth if nobody says.
    temperature_c, hours : of fixing.
    wetted : whether the cloth goes in wet and wrung.
    fibre : what the cloth is made of, as ``cotton 65 %, polyester 35 %``; what `cloth` says of it
        if left out. % owf counts on the part that takes dye.
    dyes : the fitted dyes the recipe came from, which know how the swatches were dyed.
    job, cloth, target, expect : printed on the sheet; for a `Target` and fitted dyes, what to
        expect is worked out.
    pieces : how many pieces the cloth is, for the cost of one.
    on : date of the sheet; today if left out.

    Raises
    ------
    DyemixError
        For a demo dye set without `allow_demo`, amounts out of range, liquids that do not fit into
        the total liquor, and fibres that soda harms or that take no dye. `RecipeError` for a
        dye without stock or swatches.

    >>> sheet = bath_sheet("rust 1.5", cloth_g=120)
    >>> sheet.recipe
    Recipe({'rust': 1.5})
    """
    settings = settings or BathSettings()
    if not 0 < cloth_g <= 1_000_000:
        raise DyemixError(f"{cloth_g:g} g of cloth is out of range: its dry weight is above 0.")
    if pieces < 1:
        raise DyemixError(f"{pieces} pieces is out of range: 1 or more.")
    if dyes is not None and dyes.demo and not allow_demo:
        raise DyemixError(
            "this recipe comes from invented dyes and is not for dyeing: fit your own swatches, or "
            "ask for the demo."
        )
    conditions = (dyes.conditions if dyes else None) or {}
    cloth_then = conditions.get("cloth", "")
    made_of = Fibre.of(cloth or cloth_then if fibre is None else fibre)
    dyed_g = cloth_g * (1.0 if made_of.share is None else made_of.share)
    bottles = Bottles.of(stocks, settings)
    recipe = Recipe.parse(recipe, bottles.measures(dyed_g))
    was, unread = dyed_as(conditions)
    asked = {
        "liquor_ratio": liquor_ratio,
        "alkali": alkali and (alkali_order(alkali) or alkali),
        "salt": salt_g_l,
        "soda": soda_g_l,
        "temperature": temperature_c,
        "hours": hours,
    }
    asked = {name: value for name, value in asked.items() if value is not None}
    method = _method(asked, was, recipe, settings)
    total = cloth_g * method.liquor_ratio
    wet = wetted or method.alkali == "presoak"
    holds = cloth_g * settings.wet_pickup / 100.0 if wet else 0.0
    salt, soda = salt_and_soda(method, cloth_g, holds, recipe.total, settings)
    doses = bottles.doses(_palest_first(recipe, dyes), dyed_g)
    solutions = salt.into_bath_ml + soda.into_bath_ml
    water = water_ml(total, [*(dose.ml for dose in doses), solutions], holds)
    if water < -1e-6 * total:
        raise DyemixError(_too_full(doses, solutions, holds, total))
    syringe, spoons = _misses(dyes, recipe, doses)
    kept = {name.removesuffix("_solution"): value for name, value in vars(method).items() if value}
    taken = tuple(
        name.replace("_", " ") for name in was if name not in asked and kept.get(name) == was[name]
    )
    sheet = BathSheet(
        job=job, on=on or date.today(), cloth=cloth or cloth_then, cloth_g=float(cloth_g),
        pieces=pieces, target=_aim(target), recipe=recipe, method=method, as_swatches=taken,
        expect=_expected(dyes, recipe, target) if expect is None else expect, wetted=wetted,
        total_ml=total, cloth_holds_ml=holds, doses=doses, salt=salt, soda=soda,
        palest_first=dyes is not None or len(recipe) < 2, water_ml=max(water, 0.0),
        cost=cost_of(doses, salt, soda, settings), syringe_miss=syringe, spoon_miss=spoons,
        warnings=() if dyes is None else dyes.warnings(recipe), settings=settings, fibre=made_of,
        demo=dyes is not None and dyes.demo,
    )  # fmt: skip
    more = _warnings(sheet, was, unread, cloth_then)
    return replace(sheet, warnings=(*sheet.warnings, *more))


def _method(
    asked: Mapping[str, Any], was: Mapping[str, Any], recipe: Recipe, settings: BathSettings
) -> Method:
    """What is asked of a method, or how the swatches had it, or else the settings' way."""
    usual = {name: getattr(settings, name) for name in ("liquor_ratio", "alkali", "temperature")}
    figures = {**usual, **was, **asked}
    if soda := figures.pop("soda", None):  # of a solution, where it was stated for one
        stated = figures if "soda" in asked else {**usual, **was}
        low = stated["liquor_ratio"] < settings.low_water_below or stated["alkali"] == "presoak"
        figures["soda_solution" if low else "soda"] = soda
    if "salt" not in asked:  # the less, the nearer to low water
        now = settings.stirred_share(figures["liquor_ratio"])
        then = settings.stirred_share(was.get("liquor_ratio", settings.low_water_below))
        usual_salt = settings.doses(recipe.total)[0]
        less = min(1.0, now / then) if then else 1.0
        figures["salt"] = was["salt"] * less if "salt" in was else usual_salt * now
    # Hours that the swatches had already hold whatever the slowest dye was given then.
    _, times = settings.slowest(recipe)
    figures.setdefault("hours", settings.usual_hours(figures["temperature"]) * times)
    return Method(**figures)


def _palest_first(recipe: Recipe, dyes: DyeSet | None) -> Recipe:
    """By lightness of each dye alone; as written where there are no fitted dyes to ask."""
    if dyes is None:
        return recipe
    dyes.amounts(recipe)  # a dye without swatches is an error
    lightness = {dye: float(dyes.predict({dye: _RANKING_DEPTH}).lab[0]) for dye in recipe}
    return Recipe({dye: recipe[dye] for dye in sorted(recipe, key=lambda dye: -lightness[dye])})


def _too_full(doses: Sequence[Dose], solutions_ml: float, holds_ml: float, total_ml: float) -> str:
    """The sentence for liquids that do not fit, with both numbers and the cure."""
    stocks_ml, room = sum(dose.ml for dose in doses), total_ml - solutions_ml - holds_ml
    cure = "more liquor (a higher ratio)"
    # A weaker stock mixed on the day takes up the same room from whatever bottle.
    if room > 0 and all(dose.dilution == 1 for dose in doses):
        cure = f"stocks {ceil(10 * stocks_ml / room) / 10:g} times as strong, or {cure}"
    return (
        f"the bath does not hold it: {stocks_ml:.0f} mL of stocks + {solutions_ml:.0f} mL of salt "
        f"and soda solution + {holds_ml:.0f} mL in the cloth is "
        f"{stocks_ml + solutions_ml + holds_ml:.0f} mL, and the total liquor is {total_ml:.0f} mL. "
        f"Use {cure}."
    )


def _aim(target: Target | str | None) -> str:
    if isinstance(target, Target) and target.kind == "hex":
        return f"{target} from a screen: a direction, not a standard"
    return "" if target is None else str(target)


def _expected(dyes: DyeSet | None, recipe: Recipe, target: Target | str | None) -> str:
    """ΔE2000 from the target on paper and in the pot, under its light or the swatches'."""
    if dyes is None or not isinstance(target, Target):
        return ""
    light = target.light or dyes.light
    amounts = dyes.amounts(recipe)[None, :]
    found = dyes.predict_many(amounts, light)
    pot = found.in_pot(target.lab, spread=target.spread)
    return (
        f"ΔE2000 {float(delta_e(target.lab, found.lab[0])):.1f} on paper, {pot.mean[0]:.1f} likely "
        f"in the pot, nine pots in ten below {pot.bound[0]:.1f} ({light})"
    )


def _misses(
    dyes: DyeSet | None, recipe: Recipe, doses: Iterable[Dose]
) -> tuple[float | None, float | None]:
    """ΔE2000 on paper of measuring to the syringe's marks, and with spoons."""
    if dyes is None:
        return None, None
    syringe = {d.dye: d.owf * d.ml / d.exact_ml for d in doses}
    spoons = {d.dye: d.owf * d.spoons.ml / d.exact_ml for d in doses}
    colours = dyes.colours([dyes.amounts(r) for r in (recipe, syringe, spoons)])
    miss = delta_e(colours[0], colours[1:])
    return float(miss[0]), float(miss[1])


def _warnings(
    sheet: BathSheet, was: Mapping[str, Any], unread: tuple[str, ...], cloth_then: str
) -> tuple[str, ...]:
    """What to see to before it is begun; `was`, `unread` and `cloth_then` are of the swatches."""
    settings = sheet.settings
    after = replace(sheet.method, alkali="after")
    by_soda_after = (after, sheet.cloth_g, sheet.cloth_holds_ml, sheet.recipe.total, settings)
    _, (notes,) = written(
        "warnings", settings, sheet=sheet, was=was, unread=unread, same=same,
        departures=departures(sheet.method, was), after_g_l=salt_and_soda(*by_soda_after)[1].g_l,
        other_cloth="" if same_words("cloth", sheet.cloth, cloth_then) else cloth_then,
        mixtures=[d for d in sheet.recipe if any(word in d for word in settings.mixtures)],
    )  # fmt: skip
    return tuple(row[0] for row in notes.rows)
