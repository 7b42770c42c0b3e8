"""What to dye first: the swatches of a first weekend, on one sheet, and the table to fill in."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import product
from typing import Any, ClassVar

from dyemix.bench.bath_page import BathSheet
from dyemix.bench.bath_sheet import bath_sheet
from dyemix.bench.plan import StockNeed, stock_needs
from dyemix.bench.settings import ORDERS, BathSettings
from dyemix.bench.sheet import Sheet
from dyemix.dataset.recipe import Recipe, dye_name
from dyemix.dataset.swatches import CHECK, Reading, SwatchSet
from dyemix.errors import RecipeError
from dyemix.files import write_swatches

#: How many dyes the mix that checks the first fit is of, at most.
_MIXED = 3


@dataclass(frozen=True)
class SwatchPlan(Sheet):
    """The swatches of a first weekend. `str()` is the sheet for the bench.

    Each of `swatches` is a bath of its own, its label the name of the job.
    """

    template: ClassVar[str] = "first_swatches"

    dyes: tuple[str, ...]
    swatches: tuple[BathSheet, ...]
    stocks: tuple[StockNeed, ...]
    settings: BathSettings

    def table(self) -> SwatchSet:
        """The swatch table with every reading blank."""
        bath, method = self.swatches[0], self.swatches[0].method
        conditions = {
            "cloth": bath.cloth,
            "alkali": ORDERS[method.alkali],
            "liquor ratio": f"{method.liquor_ratio:g}:1",
            "temperature": f"{method.temperature:g} °C",
            "hours": f"{method.hours:g}",
            **dict.fromkeys(("salt", "date"), ""),
            "stock_pct": f"{self.settings.stock_strength:g}",
            "cloth_g": f"{bath.cloth_g:g}",
            "spoons": self.settings.spoons,
        }
        return SwatchSet(
            tuple(
                Reading(swatch.recipe, None, swatch.job, "blank", conditions=conditions)
                for swatch in self.swatches
            )
        )

    def write(self, path: str | os.PathLike[str]) -> None:
        """Write the swatch table, readings blank: fill in L*, a*, b* or hex, or add bands."""
        write_swatches(self.table(), path)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What to see to that is not of one dye."""
        return self.swatches[0].warnings

    @property
    def weakest(self) -> int:
        """The most that a stock is diluted."""
        return max(dose.dilution for swatch in self.swatches for dose in swatch.doses)


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
    """Plan the first swatches: undyed, three depths a dye, one repeat and one mix as a check.

    Each is a bath, worked out as `bath_sheet` works out any other.

    Parameters
    ----------
    dyes : names of the stock dyes, or one text with commas between them. Three make a dozen
        swatches; the mix is of the first three.
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
    names = tuple(dye_name(name) for name in given if name.strip())
    if not names:
        raise RecipeError("no dyes are named: give at least one, as 'gold, scarlet, navy'.")
    for number, name in enumerate(names):
        if name in names[:number]:
            raise RecipeError(f"{name} is named twice: each dye gets three swatches once.")
        try:
            sound = Recipe.parse(f"{name} 1") == {name: 1.0}
        except RecipeError:
            sound = False
        if not sound:
            raise RecipeError(f"{name!r} cannot stand in a recipe: use letters, as 'navy 2'.")
    cloth = " ".join(cloth.split())
    if not cloth:
        raise RecipeError("the cloth is not named: say what it is, as 'cotton lawn'.")
    own: dict[str, Any] = {"stock_strength": stock_pct, "spoons": spoons}
    settings = replace(
        settings or BathSettings(), **{k: v for k, v in own.items() if v is not None}
    )
    depths = settings.first_depths
    planned = {"1": Recipe()}
    for number, (name, depth) in enumerate(product(names, depths), start=2):
        planned[str(number)] = Recipe({name: depth})
    planned["repeat"] = Recipe({names[0]: depths[len(depths) // 2]})
    planned[CHECK] = Recipe(dict.fromkeys(names[:_MIXED], settings.first_mix))
    # One time for all, that of the slowest: swatches dyed for other times are of another method.
    _, times = settings.slowest(names)
    swatches = tuple(
        bath_sheet(
            recipe, swatch_g, liquor_ratio=liquor_ratio, alkali=alkali, settings=settings,
            hours=settings.usual_hours(settings.temperature) * times, cloth=cloth, fibre=fibre,
            job=label, on=on,
        )
        for label, recipe in planned.items()
    )  # fmt: skip
    stocks = tuple(stock_needs(swatches, swatches[0].on, settings))
    return SwatchPlan(names, swatches, stocks, settings)
