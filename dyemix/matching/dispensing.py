"""What the dyer measures with, and the best joint rounding of a recipe to it.

Rounding each dye to its own nearest spoon moves the colour more than it need: where one dye is
rounded up, another is better rounded up with it. So the neighbours of all dyes are tried together.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from itertools import product

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import Light
from dyemix.dataset.recipe import NAME, SPOON_SETS, Recipe, dye_name, spoonfuls, stock_ml
from dyemix.dataset.result import Value
from dyemix.dataset.units import STOCK_PCT, dilution
from dyemix.errors import DyemixError, expect
from dyemix.model.dyes import DyeSet

#: Ways to measure: the word, and its usual step in mL or g (a quarter teaspoon for spoons).
SPOONS, SYRINGE, SCALE = "spoons", "syringe", "scale"
_STEPS = {SPOONS: None, SYRINGE: 0.5, SCALE: 0.1}
#: Standard error of one levelled spoonful, as a share: a working value of ours.
_SPOONFUL = 0.05
#: Standard error of a stock's strength as made up by weight, as a share: a working value of ours.
_STOCK = 0.01
#: A dose of fewer steps than this is too small to measure: a weaker stock is proposed.
_FEWEST_STEPS = 2
#: Steps tried on either side of the exact dose.
_REACH = 2


def _by_dye(text: str, amount: str, wanted: str) -> list[tuple[str, list[float]]]:
    """Dyes of a list and their numbers; `amount` is the pattern of what follows a dye's name."""
    out = []
    pattern = rf"\s*(?:({NAME})\s+)?{amount}\s*".replace("#", r"(\d*[.,]?\d+)")
    for part in re.split(r"[,;]\s+|;|,(?=\s*[^\W\d_])", text.strip()):
        found = re.fullmatch(pattern, part, re.IGNORECASE)
        if not found:
            raise DyemixError(f"{part!r} is not {wanted}.")
        numbers = [float(number.replace(",", ".")) for number in found.groups()[1:]]
        out.append((dye_name(found[1] or ""), numbers))
    return out


def parse_stock(text: str) -> dict[str, float]:
    """``2`` (every stock) or ``navy 1, gold 2 %`` to % w/v by dye. Raises `DyemixError`."""
    wanted = "a stock: write '2' or 'navy 1, gold 2' (% w/v), above 0"
    return _once(text, wanted, lambda _, pct: pct > 0)


def parse_prices(text: str) -> dict[str, float]:
    """``navy 0.20, gold 0.15`` to a price per gram of powder. Raises `DyemixError`."""
    wanted = "a price: write 'navy 0.20' (per gram of powder)"
    return _once(text, wanted, lambda dye, _: dye != "")


def _once(text: str, wanted: str, fits: Callable[[str, float], bool]) -> dict[str, float]:
    """One number for each dye."""
    found = _by_dye(text, "# *%?", wanted)
    out = {dye: number for dye, (number,) in found}
    if len(out) < len(found):
        raise DyemixError(f"a dye is given twice in {text!r}: once each.")
    if not all(fits(*item) for item in out.items()):
        raise DyemixError(f"{text!r} is not {wanted}.")
    return out


def parse_in_hand(text: str, cloth_g: float) -> dict[str, float]:
    """``navy 180 mL 2 %, gold 90 mL 2 %`` on `cloth_g` of cloth, to the most % owf of each.

    Two jars of one dye add up. Raises `DyemixError` for what it cannot read.
    """
    out: dict[str, float] = {}
    wanted = "a jar: write 'navy 180 mL 2 %', joined by commas"
    for dye, (ml, pct) in _by_dye(text, r"# *ml\s+(?:of\s+)?# *%", wanted):
        out[dye] = out.get(dye, 0.0) + ml * pct / _weighed(cloth_g)
    return out


def _weighed(cloth_g: float) -> float:
    if not cloth_g > 0:
        raise DyemixError(f"a cloth of {cloth_g:g} g cannot be dyed: give its dry weight.")
    return cloth_g


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

    >>> kit = Kit(120.0, {"": 1.0}, "syringe", 0.5)
    >>> match(dyes, "#7d8a6e", max_dyes=2, kit=kit)[0].measured is not None
    True
    """

    cloth_g: float
    stock_pct: Mapping[str, float] = field(default_factory=lambda: {"": STOCK_PCT})
    measure: str = SPOONS
    step: float | None = None
    spoons: str = "metric"

    def __post_init__(self) -> None:
        _weighed(self.cloth_g)
        expect(self.stock_pct, Mapping, "write {'': 1.0} for every dye, or each by its name")
        way, sets = self.measure, ", ".join(SPOON_SETS)
        weak = ", ".join(dye or "stock" for dye, pct in self.stock_pct.items() if not pct > 0)
        for wrong, words in (
            (way not in _STEPS, f"{way!r} is not a way to measure: {', '.join(_STEPS)}."),
            (self.spoons not in SPOON_SETS, f"spoon set {self.spoons!r} is unknown: {sets}."),
            (self.step is not None and not self.step > 0, "a step of 0 measures nothing."),
            (weak, f"{weak} of 0 % holds no dye: % w/v, above 0."),
        ):  # fmt: skip
            if wrong:
                raise DyemixError(words)

    @classmethod
    def parse(cls, measure: str, stock: str | Mapping[str, float], cloth_g: float) -> Kit:
        """``spoons us``, ``syringe 0.5`` or ``scale 0.1``; stock ``2`` or ``navy 1, gold 2``, or a
        mapping as `stock_pct` is.
        """
        words = r"\s*([a-z]+)\s*([a-z]*)\s*(\d*[.,]?\d+)?\s*(?:mL|g)?\s*"
        match = re.fullmatch(words, measure, re.IGNORECASE)
        if not match:
            raise DyemixError(f"{measure!r}: write 'spoons metric', 'syringe 0.5' or 'scale 0.1'.")
        way, spoons, step = match[1].lower(), match[2].lower(), match[3]
        length = float(step.replace(",", ".")) if step else _STEPS.get(way)
        strengths = parse_stock(stock) if isinstance(stock, str) else stock
        return cls(cloth_g, strengths, way, length, spoons or "metric")

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

    def error_ml(self, ml: Array) -> Array:
        """Standard error of volumes as measured, mL: a working value for each way."""
        if self.measure == SPOONS:  # spoonfuls err apart, so their errors add in squares
            return _SPOONFUL * np.sqrt(ml * np.minimum(ml, SPOON_SETS[self.spoons]["tbsp"]))
        return np.full(len(ml), self.step_ml / np.sqrt(12.0))

    def text(self, ml: float) -> str:
        """A volume in the units of the kit."""
        if self.measure == SPOONS:
            return spoonfuls(ml, self.spoons).text
        return f"{ml:g} {'g' if self.measure == SCALE else 'mL'}"


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
class Measured(Value):
    """A recipe rounded to a kit, all dyes together.

    `exact_residual` and `residual` are ΔE2000 on paper before and after; `likely` is the mean
    ΔE2000 in the pot, measured with this kit.
    """

    doses: tuple[MeasuredDose, ...]
    recipe: Recipe
    exact_residual: float
    residual: float
    likely: float

    @property
    def weaker(self) -> tuple[str, ...]:
        """Which doses want a weaker stock, in words."""
        return tuple(
            f"{Recipe({d.dye: d.exact_owf})} is too small a dose of your stock to measure: "
            f"make it up 1 in {d.dilution} first (10 mL up to {10 * d.dilution} mL)."
            for d in self.doses
            if d.dilution > 1
        )

    def __str__(self) -> str:
        paper = f"on paper {self.residual:.1f} (exact {self.exact_residual:.1f})"
        return f"{', '.join(map(str, self.doses))}: {paper}, likely {self.likely:.1f}"


def measured(
    dyes: DyeSet,
    recipe: Recipe,
    kit: Kit,
    target: Array,
    light: Light,
    k_lightness: float = 1.0,
    upper: Array | float = np.inf,
    total: float = np.inf,
) -> Measured:
    """Round a recipe to what the kit can measure, so that the target ``(3,)`` is met best.

    Every combination of steps near the exact doses is predicted; none goes to nothing, nor above
    `upper` ``(D,)`` of a dye or the `total` of all, % owf, unless one step of each dye does.
    """
    expect(kit, Kit, "write Kit(120, {'': 1.0}, 'syringe')")
    index = [dyes.index(dye) for dye in recipe]
    strength = np.array([kit.strength(dye) for dye in recipe])
    step = kit.step_ml
    exact = [stock_ml(kit.cloth_g, recipe[d], s) for d, s in zip(recipe, strength, strict=True)]
    times = [dilution(ml, _FEWEST_STEPS * step) for ml in exact]
    first = [max(1, int(ml * t / step) - _REACH + 1) for ml, t in zip(exact, times, strict=True)]
    volumes = step * np.array(list(product(*[range(at, at + 2 * _REACH) for at in first])))
    per_ml = strength / kit.cloth_g / np.array(times)
    amounts = np.zeros((len(volumes) + 1, len(dyes)))
    amounts[:-1, index] = volumes * per_ml
    amounts[-1] = dyes.amounts(recipe)
    labs = dyes.colours(amounts, light)
    miss = delta_e(target, labs, k_lightness)
    over = np.maximum(amounts - upper, 0.0).sum(axis=1)
    over += np.maximum(amounts.sum(axis=1) - total, 0.0)
    best = int(np.lexsort((miss[:-1], np.round(over[:-1], 6)))[0])
    chosen, ml = amounts[best], volumes[best]
    errors = np.zeros((1, len(dyes)))
    errors[0, index] = np.hypot(kit.error_ml(ml) * per_ml, _STOCK * chosen[index])
    pot = dyes.predict_many(chosen, light, errors).in_pot(target, k_lightness)
    doses = tuple(
        MeasuredDose(dye, recipe[dye], float(chosen[i]), float(volume), weak, kit.text(volume))
        for dye, i, volume, weak in zip(recipe, index, ml, times, strict=True)
    )
    return Measured(
        doses, dyes.recipe(chosen), float(miss[-1]), float(miss[best]), float(pot.mean[0])
    )
