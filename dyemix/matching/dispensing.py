"""What the dyer measures with, and the best joint rounding of a recipe to it.

Rounding each dye to its own nearest spoon moves the colour more than it need: where one dye is
rounded up, another is better rounded up with it. So the neighbours of all dyes are tried together.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import product

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import Light
from dyemix.dataset.recipe import (
    NAME,
    SPOON_SETS,
    Recipe,
    dye_name,
    format_amount,
    spoonfuls,
    stock_ml,
)
from dyemix.dataset.units import STOCK_PCT, dilution
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet
from dyemix.model.uncertainty import Likely, lab_covariance, likely

#: Ways to measure: the word, and what one step of it is.
SPOONS, SYRINGE, SCALE = "spoons", "syringe", "scale"
#: Standard error of one levelled spoonful, as a share: a working value of ours.
_SPOONFUL = 0.05
#: Standard error of a stock's strength as made up by weight, as a share: a working value of ours.
_STOCK = 0.01
#: A dose of fewer steps than this is too small to measure: a weaker stock is proposed.
_FEWEST_STEPS = 2
#: Steps tried on either side of the exact dose.
_REACH = 2


@dataclass(frozen=True)
class Kit:
    """What amounts are measured with, for one piece of cloth.

    Attributes
    ----------
    cloth_g : dry weight of the piece.
    stock_pct : strength of the stocks by dye, % w/v; the key ``""`` stands for every other dye.
    measure : ``"spoons"``, ``"syringe"`` or ``"scale"`` (liquid stock weighed, 1 g for 1 mL).
    step : smallest step in mL (or g): a quarter teaspoon for spoons.
    spoons : the spoon set.

    Raises `DyemixError` for a way of measuring, a step or a strength that cannot be.
    """

    cloth_g: float
    stock_pct: Mapping[str, float] = field(default_factory=lambda: {"": STOCK_PCT})
    measure: str = SPOONS
    step: float | None = None
    spoons: str = "metric"

    def __post_init__(self) -> None:
        if self.measure not in (SPOONS, SYRINGE, SCALE):
            raise DyemixError(
                f"{self.measure!r} is not a way to measure: spoons, syringe or scale."
            )
        if self.spoons not in SPOON_SETS:
            raise DyemixError(f"spoon set {self.spoons!r} is unknown: {', '.join(SPOON_SETS)}.")
        if not self.cloth_g > 0:
            raise DyemixError(f"a cloth of {self.cloth_g:g} g cannot be dyed: give its dry weight.")
        if self.step is not None and not self.step > 0:
            raise DyemixError(f"a step of {self.step:g} measures nothing: it is above 0.")
        for dye, strength in self.stock_pct.items():
            if not strength > 0:
                raise DyemixError(
                    f"{dye or 'stock'} of {strength:g} % holds no dye: % w/v, above 0."
                )

    @classmethod
    def parse(cls, measure: str, stock: str, cloth_g: float) -> Kit:
        """``spoons us``, ``syringe 0.5`` or ``scale 0.1``; stock ``2`` or ``navy 1, gold 2``."""
        match = re.fullmatch(
            r"\s*(?P<way>[a-z]+)\s*(?P<set>[a-z]*)\s*(?P<step>\d*[.,]?\d+)?\s*(?:mL|g)?\s*",
            measure,
            re.IGNORECASE,
        )
        if not match:
            raise DyemixError(f"{measure!r}: write 'spoons metric', 'syringe 0.5' or 'scale 0.1'.")
        way, spoons = match["way"].lower(), match["set"].lower()
        usual = {SYRINGE: 0.5, SCALE: 0.1}.get(way)
        step = float(match["step"].replace(",", ".")) if match["step"] else usual
        return cls(cloth_g, parse_stock(stock), way, step, spoons or "metric")

    @property
    def step_ml(self) -> float:
        """The smallest step in mL."""
        return SPOON_SETS[self.spoons]["tsp"] / 4.0 if self.measure == SPOONS else self.step or 0.5

    def strength(self, dye: str) -> float:
        """Strength of a dye's stock, % w/v. Raises `DyemixError` where none is stated."""
        found = self.stock_pct.get(dye, self.stock_pct.get(""))
        if found is None:
            raise DyemixError(f"no stock strength for {dye}: add it, as '{dye} 2' (% w/v).")
        return found

    def error_ml(self, ml: float) -> float:
        """Standard error of a volume as measured, mL: a working value for each way."""
        if self.measure == SPOONS:  # spoonfuls err apart, so their errors add in squares
            largest = min(ml, SPOON_SETS[self.spoons]["tbsp"])
            return _SPOONFUL * float(np.sqrt(ml * largest))
        return self.step_ml / float(np.sqrt(12.0))

    def text(self, ml: float) -> str:
        """A volume in the units of the kit."""
        if self.measure == SPOONS:
            return spoonfuls(ml, self.spoons).text
        return f"{ml:g} {'g' if self.measure == SCALE else 'mL'}"


def parse_stock(text: str) -> dict[str, float]:
    """``2`` (every stock) or ``navy 1, gold 2 %`` to % w/v by dye. Raises `DyemixError`."""
    out: dict[str, float] = {}
    for part in re.split(r"[,;]\s+|;|,(?=\s*[a-z])", text.strip(), flags=re.IGNORECASE):
        match = re.fullmatch(rf"\s*(?:({NAME})\s+)?(\d*[.,]?\d+)\s*%?\s*", part)
        if not match or not float(match[2].replace(",", ".")) > 0:
            raise DyemixError(f"{part!r} is not a stock: write '2' or 'navy 1, gold 2' (% w/v).")
        dye = dye_name(match[1] or "")
        if dye in out:
            raise DyemixError(f"{dye or 'the stock'} is given twice in {text!r}: once each.")
        out[dye] = float(match[2].replace(",", "."))
    return out


@dataclass(frozen=True)
class MeasuredDose:
    """One dye of a rounded recipe: `ml` of the stock diluted 1 in `dilution` (1: as it is)."""

    dye: str
    exact_owf: float
    owf: float
    ml: float
    dilution: int
    text: str

    def __str__(self) -> str:
        weak = f" of stock diluted 1 in {self.dilution}" if self.dilution > 1 else ""
        return f"{self.dye} {self.text}{weak}"


@dataclass(frozen=True, eq=False)
class Measured:
    """A recipe rounded to a kit, all dyes together.

    `exact_delta_e` and `delta_e` are ΔE2000 on paper before and after; `likely` what the pot is
    likely to miss by, measured with this kit.
    """

    doses: tuple[MeasuredDose, ...]
    recipe: Recipe
    exact_delta_e: float
    delta_e: float
    likely: Likely

    @property
    def weaker(self) -> tuple[str, ...]:
        """Which doses want a weaker stock, in words."""
        return tuple(
            f"{d.dye} {format_amount(d.exact_owf)} is too small a dose of your stock to measure: "
            f"make it up 1 in {d.dilution} first (10 mL up to {10 * d.dilution} mL)."
            for d in self.doses
            if d.dilution > 1
        )

    def __str__(self) -> str:
        doses = ", ".join(str(d) for d in self.doses)
        return (
            f"{doses}: on paper {self.delta_e:.1f} (exact {self.exact_delta_e:.1f}), "
            f"likely {self.likely.mean[0]:.1f}"
        )


def measured(
    dyes: DyeSet, recipe: Recipe, kit: Kit, target: Array, light: Light, k_lightness: float = 1.0
) -> Measured:
    """Round a recipe to what the kit can measure, so that the target ``(3,)`` is met best.

    Every combination of steps near the exact doses is predicted; none goes to nothing.
    """
    names = list(recipe)
    dilutions, choices = [], []
    for dye in names:
        exact = stock_ml(kit.cloth_g, recipe[dye], kit.strength(dye))
        times = dilution(exact, _FEWEST_STEPS * kit.step_ml)
        centre = exact * times / kit.step_ml
        first = max(1, int(np.floor(centre)) - _REACH + 1)
        choices.append(np.arange(first, first + 2 * _REACH) * kit.step_ml)
        dilutions.append(times)
    volumes = np.array(list(product(*choices)))
    per_ml = np.array([kit.strength(d) for d in names]) / kit.cloth_g / np.array(dilutions)
    amounts = np.zeros((len(volumes) + 1, len(dyes)))
    index = [dyes.index(dye) for dye in names]
    amounts[:-1, index] = volumes * per_ml
    amounts[-1] = dyes.amounts(recipe)
    miss = delta_e(target, dyes.predict_many(amounts, light), k_lightness)
    best = int(np.argmin(miss[:-1]))
    chosen = amounts[best : best + 1]
    errors = np.zeros_like(chosen)
    errors[0, index] = np.hypot(
        np.array([kit.error_ml(ml) for ml in volumes[best]]) * per_ml, _STOCK * chosen[0, index]
    )
    covariance = lab_covariance(dyes, chosen, light, errors)
    doses = tuple(
        MeasuredDose(dye, recipe[dye], float(chosen[0, i]), float(ml), times, kit.text(ml))
        for dye, i, ml, times in zip(names, index, volumes[best], dilutions, strict=True)
    )
    return Measured(
        doses,
        dyes.recipe(chosen[0]),
        float(miss[-1]),
        float(miss[best]),
        likely(target, dyes.predict_many(chosen, light), covariance, k_lightness),
    )
