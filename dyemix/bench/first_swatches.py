"""What to dye first: the swatches of a first weekend, on one sheet, and the table to fill in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import product
from typing import Any, ClassVar

from dyemix.bench.bath_sheet import bath_sheet
from dyemix.bench.method import dyed_as
from dyemix.bench.plan import BenchPlan
from dyemix.bench.settings import ORDERS, BathSettings
from dyemix.dataset.recipe import Recipe, dye_name
from dyemix.dataset.swatches import CHECK, Reading, SwatchSet
from dyemix.errors import RecipeError
from dyemix.files.small_tables import number

#: How many dyes the mix that checks the first fit is of, at most.
_MIXED = 3


@dataclass(frozen=True)
class SwatchPlan(BenchPlan):
    """The swatches of a first weekend. `str()` is the sheet for the bench.

    Each of `sheets` is a bath of its own, its job the label of the swatch.
    """

    template: ClassVar[str] = "first_swatches"

    @property
    def dyes(self) -> tuple[str, ...]:
        """The dyes of every swatch, each once."""
        return tuple(dict.fromkeys(dye for sheet in self.sheets for dye in sheet.recipe))

    def table(self) -> SwatchSet:
        """The swatch table with every reading blank."""
        bath, method = self.sheets[0], self.sheets[0].method
        conditions = {
            "cloth": bath.fibre_named,
            "alkali": ORDERS[method.alkali],
            "liquor ratio": f"{method.liquor_ratio:g}:1",
            "temperature": f"{method.temperature:g} °C",
            "hours": f"{method.hours:g}",
            **dict.fromkeys(("salt", "soda", "date", "light"), ""),
            "stock_pct": f"{self.settings.stock_strength:g}",
            "cloth_g": f"{bath.cloth_g:g}",
            "spoons": self.settings.spoons,
        }
        return SwatchSet(
            tuple(
                Reading(swatch.recipe, None, swatch.job, "blank", conditions=conditions)
                for swatch in self.sheets
            )
        )


def first_swatches(
    dyes: Sequence[str] | str,
    cloth: str,
    stock_pct: float | None = None,
    swatch_g: float = 5.0,
    *,
    spoons: str | None = None,
    liquor_ratio: float | None = None,
    alkali: str | None = None,
    fibre: str | None = None,
    settings: BathSettings | None = None,
    on: date | None = None,
) -> SwatchPlan:
    """Plan the first swatches: undyed, the settings' depths of each dye, a repeat, a mix as check.

    Each is a bath, worked out as `bath_sheet` works out any other.

    Parameters
    ----------
    dyes : names of the stock dyes, or one text with commas between them. The mix is of the first
        three.
    cloth, fibre : what it is dyed on, in words, and what that is made of.
    stock_pct : strength of every stock, % w/v (g per 100 mL); the settings' where left out.
    swatch_g : dry weight of one swatch, grams, above 0.
    spoons : spoon set; the settings' where left out.
    liquor_ratio, alkali : one for all; the settings' where left out.
    on : date of the sheet; today if left out.

    Raises
    ------
    RecipeError
        For no dye, one named twice, a name that a recipe cannot hold, no cloth.
    DyemixError
        For an amount out of range.

    >>> plan = first_swatches("rust, navy", "linen")
    >>> "undyed" in str(plan)
    True
    """
    given = dyes.split(",") if isinstance(dyes, str) else list(dyes)
    names = [dye_name(name) for name in given if name.strip()]
    try:
        sound = bool(names) and list(Recipe.parse(" + ".join(f"{n} 1" for n in names))) == names
    except RecipeError:
        sound = False
    if not sound:
        raise RecipeError(f"{dyes!r} does not name dyes, each once: write 'gold, scarlet, navy'.")
    cloth = " ".join(cloth.split())
    if not cloth:
        raise RecipeError("the cloth is not named: say what it is, as 'cotton lawn'.")
    settings = _with(settings, stock_strength=stock_pct, spoons=spoons)
    depths = settings.first_depths
    planned = {"1": Recipe()}
    for place, (name, depth) in enumerate(product(names, depths), start=2):
        planned[str(place)] = Recipe({name: depth})
    planned["repeat"] = Recipe({names[0]: depths[(len(depths) - 1) // 2]})
    planned[CHECK] = Recipe(dict.fromkeys(names[:_MIXED], settings.first_mix))
    return _planned(
        planned, swatch_g, settings, on, liquor_ratio=liquor_ratio, alkali=alkali, cloth=cloth,
        fibre=fibre,
    )  # fmt: skip


def planned_again(
    swatches: SwatchSet, settings: BathSettings | None = None, on: date | None = None
) -> SwatchPlan:
    """The plan that a table of first swatches was written by, from what it says of them.

    Raises `RecipeError` for a table that does not say what its swatches weigh.
    """
    said = {**swatches.readings[0].conditions, **swatches.conditions()}
    if not said.get("cloth_g"):
        raise RecipeError("this table does not say what a swatch weighs (cloth_g): plan it again.")
    strength = number(said["stock_pct"]) if said.get("stock_pct") else None
    settings = _with(settings, stock_strength=strength, spoons=said.get("spoons"))
    known, _ = dyed_as(said)
    names = {"salt": "salt_g_l", "soda": "soda_g_l", "temperature": "temperature_c"}
    return _planned(
        {r.swatch: r.recipe for r in swatches.readings if r.recipe is not None},
        number(said["cloth_g"]), settings, on,
        cloth=said.get("cloth", ""), **{names.get(key, key): known[key] for key in known},
    )  # fmt: skip


def _planned(
    planned: Mapping[str, Recipe], swatch_g: float, settings: BathSettings, on: date | None,
    **how: Any,
) -> SwatchPlan:  # fmt: skip
    """A bath for each recipe, by its label."""
    # One time for all, that of the slowest: swatches dyed for other times are of another method.
    _, times = settings.slowest({dye for recipe in planned.values() for dye in recipe})
    how = {"hours": settings.usual_hours(settings.temperature) * times, **how}
    return SwatchPlan.of(
        [
            bath_sheet(recipe, swatch_g, settings=settings, job=label, on=on, **how)
            for label, recipe in planned.items()
        ]
    )


def _with(settings: BathSettings | None, **changes: Any) -> BathSettings:
    """The settings, with what was said otherwise."""
    said = {name: value for name, value in changes.items() if value not in (None, "")}
    return replace(settings or BathSettings(), **said)
