"""What a recipe must keep to beside its colour: dyes, jars, prices, and what measures it.

Rounding each dye to its own nearest spoon moves the colour more than it need: where one dye is
rounded up, another is better rounded up with it. So the neighbours of all dyes are tried together.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product
from typing import Self

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import check_lightness_factor, delta_e
from dyemix.colour.colorimetry import Light
from dyemix.dataset.recipe import SPOON_SETS, Recipe, dye_name, dye_names, spoonfuls
from dyemix.dataset.result import Value
from dyemix.dataset.target import Target
from dyemix.dataset.units import JUG_FROM, STOCK_PCT, dilution
from dyemix.errors import Choice, DyemixError, expect, refuse, said
from dyemix.matching.subsets import Problem
from dyemix.model.dyes import DyeSet

#: How much likely ΔE2000 a preferred dye may cost: half of what the eye of a customer sees.
PREFERENCE = 0.5
#: And how much the cheapest recipe may.
WORTH = 1.0
#: The smallest dose that is practical, % owf: half a millilitre of 1 % stock on 100 g of cloth. A
#: recipe with less of a dye stands behind all others.
LEAST_DOSE = 0.005
#: Ways to measure, and the usual step of each in mL or g (of spoons it goes by the set).
_STEPS = {"spoons": None, "syringe": 0.5, "scale": 0.1}
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
    step : smallest step in mL (or g), by default 0.5 mL or 0.1 g; a quarter teaspoon for spoons.
    spoons : the spoon set.
    jug_from : mL above which a jug measures instead of spoons.

    Raises `DyemixError` for a way of measuring, a step or a strength that cannot be.

    >>> kit = Kit(120.0, {"": 1.0}, "syringe", 0.5)
    >>> match(dyes, "#7d8a6e", max_dyes=2, kit=kit)[0].measured is not None
    True
    """

    cloth_g: float
    stock_pct: Mapping[str, float] = field(default_factory=lambda: {"": STOCK_PCT})
    measure: str = "spoons"
    step: float | None = None
    spoons: str = "metric"
    jug_from: float = JUG_FROM

    def __post_init__(self) -> None:
        refuse(not self.cloth_g > 0, "matching.kit.cloth", self.cloth_g)
        expect(self.stock_pct, Mapping, "write {'': 1.0} for every dye, or each by its name")
        way, sets = self.measure, ", ".join(SPOON_SETS)
        weak = ", ".join(dye or "stock" for dye, pct in self.stock_pct.items() if not pct > 0)
        refuse(way not in _STEPS, f"{way!r} is not a way to measure: {', '.join(_STEPS)}.")
        refuse(self.spoons not in SPOON_SETS, f"spoon set {self.spoons!r} is unknown: {sets}.")
        refuse(self.step is not None and not self.step > 0, "a step of 0 measures nothing.")
        refuse(weak, f"{weak} of 0 % holds no dye: % w/v, above 0.")
        object.__setattr__(self, "step", self.step or _STEPS[way])

    @classmethod
    def parse(cls, measure: str, stock_pct: Mapping[str, float], cloth_g: float) -> Self:
        """``spoons us``, ``syringe 0.5`` or ``scale 0.1``."""
        words = r"\s*([a-z]+)\s*([a-z]*)\s*(\d*[.,]?\d+)?\s*(?:mL|g)?\s*"
        match = re.fullmatch(words, measure, re.IGNORECASE)
        if not match:
            raise DyemixError(f"{measure!r}: write 'spoons metric', 'syringe 0.5' or 'scale 0.1'.")
        way, spoons, step = match[1].lower(), match[2].lower(), match[3]
        length = float(step.replace(",", ".")) if step else None
        return cls(cloth_g, stock_pct, way, length, spoons or "metric")

    @property
    def step_ml(self) -> float:
        """The smallest step in mL."""
        step = None if self.measure == "spoons" else self.step
        return step or SPOON_SETS[self.spoons]["tsp"] / 4.0

    def strength(self, dye: str) -> float:
        """Strength of a dye's stock, % w/v. Raises `DyemixError` where none is stated."""
        found = self.stock_pct.get(dye, self.stock_pct.get(""))
        if found is None:
            raise DyemixError(f"no stock strength for {dye}: add it, as '{dye} 2' (% w/v).")
        return found

    def error_ml(self, ml: Array) -> Array:
        """Standard error of volumes as measured, mL: a working value for each way."""
        if self.measure == "spoons":  # spoonfuls err apart, so their errors add in squares
            return _SPOONFUL * np.sqrt(ml * np.minimum(ml, SPOON_SETS[self.spoons]["tbsp"]))
        return np.full(len(ml), self.step_ml / np.sqrt(12.0))

    def text(self, ml: float) -> str:
        """A volume in the units of the kit."""
        if self.measure == "spoons":
            return spoonfuls(ml, self.spoons, self.jug_from).text
        return f"{ml:g} {'g' if self.measure == 'scale' else 'mL'}"


class MeasuredDose(Value):
    """One dye of a rounded recipe: `ml` of the stock diluted 1 in `dilution` (1: as it is)."""

    dye: str
    owf: float
    ml: float
    dilution: int
    text: str

    def __str__(self) -> str:
        weak = f" of 1 in {self.dilution}" if self.dilution > 1 else ""
        return f"{self.dye} {self.text}{weak}"


class Measured(Value):
    """A recipe rounded to a kit, all dyes together.

    `residual` is ΔE2000 on paper, `likely` the mean ΔE2000 in the pot, measured with this kit;
    `weaker` says which doses want a weaker stock.
    """

    doses: tuple[MeasuredDose, ...]
    recipe: Recipe
    residual: float
    likely: float
    weaker: tuple[str, ...]

    def __str__(self) -> str:
        misses = f"on paper {self.residual:.1f}, likely {self.likely:.1f}"
        return f"{', '.join(map(str, self.doses))}: {misses}"


def measured(
    dyes: DyeSet, recipe: Recipe, kit: Kit, target: Array, light: Light, k_lightness: float = 1.0,
    upper: Array | float = np.inf, total: float = np.inf, spread: Array | float = 0.0,
) -> Measured:  # fmt: skip
    """Round a recipe to what the kit can measure, so that the target ``(3,)`` is met best.

    `spread` ``(3, 3)`` is the covariance of the target itself.

    Every combination of steps near the exact doses is predicted; none goes to nothing, nor above
    `upper` ``(D,)`` of a dye or the `total` of all, % owf, unless one step of each dye does.
    """
    expect(kit, Kit, "write Kit(120, {'': 1.0}, 'syringe')")
    index, step = [dyes.index(dye) for dye in recipe], kit.step_ml
    strength = np.array([kit.strength(dye) for dye in recipe])
    exact = kit.cloth_g * np.array([*recipe.values()], dtype=float) / strength
    times = np.array([dilution(ml, _FEWEST_STEPS * step) for ml in exact], dtype=int)
    first = np.maximum((exact * times / step).astype(int) - _REACH + 1, 1)
    volumes = step * np.array(list(product(*[range(at, at + 2 * _REACH) for at in first])))
    per_ml = strength / kit.cloth_g / times
    amounts = np.zeros((len(volumes), len(dyes)))
    amounts[:, index] = volumes * per_ml
    miss = delta_e(target, dyes.colours(amounts, light), k_lightness)
    over = np.maximum(amounts - upper, 0.0).sum(axis=1)
    over += np.maximum(amounts.sum(axis=1) - total, 0.0)
    best = int(np.lexsort((miss, np.round(over, 6)))[0])
    chosen, ml = amounts[best], volumes[best]
    errors = np.zeros((1, len(dyes)))
    errors[0, index] = np.hypot(kit.error_ml(ml) * per_ml, _STOCK * chosen[index])
    pot = dyes.predict_many(chosen, light, errors).in_pot(target, k_lightness, spread)
    told = (part.tolist() for part in (chosen[index], ml, times))
    rows = [(*row, kit.text(row[2])) for row in zip(recipe, *told, strict=True)]
    weak = [(Recipe({dye: recipe[dye]}), n, 10 * n) for dye, _, _, n, _ in rows if n > 1]
    return Measured(
        tuple(MeasuredDose(*row) for row in rows), dyes.recipe(chosen), miss[best].item(),
        pot.mean.item(), tuple(said("matching.match.weaker", *dose) for dose in weak),
    )  # fmt: skip


class RankBy(Choice):
    """What comes first: the recipe likeliest to come out right, the nearest on paper, or the
    cheapest of those that are no worse than `WORTH` of likely ΔE2000.
    """

    LIKELY = "likely"
    PAPER = "paper"
    COST = "cost"


@dataclass(frozen=True)
class Constraints:
    """What is asked of a match beside the colour.

    Attributes
    ----------
    max_dyes : most dyes in a recipe.
    use : dyes that every recipe must hold, as much as their palest swatch at least.
    avoid : dyes that none may hold.
    prefer : dyes to use up: a recipe with one goes before a recipe that is no better than
        `PREFERENCE` of likely ΔE2000.
    total : most dye in all, % owf.
    in_hand : most of a dye, % owf, where less is left in the jar than its deepest swatch.
    price : of every dye, per gram of powder, in whatever currency.
    kit : what amounts are measured with; recipes are then rounded to it, all dyes together.
    count : most recipes to show.
    rank_by : ``"likely"`` (mean ΔE2000 in the pot), ``"paper"`` (ΔE2000 of the prediction), or
        ``"cost"``: of recipes that lie within `WORTH` of the likeliest, the cheapest first.
    k_lightness : lightness factor of ΔE2000.

    A lone name stands for itself: ``avoid="black"``.

    Raises `DyemixError` for what contradicts itself or leaves nothing to match with.
    """

    max_dyes: int = 3
    use: Sequence[str] = ()
    avoid: Sequence[str] = ()
    prefer: Sequence[str] = ()
    total: float = np.inf
    in_hand: Mapping[str, float] = field(default_factory=dict)
    price: Mapping[str, float] = field(default_factory=dict)
    kit: Kit | None = None
    count: int = 8
    rank_by: RankBy | str = RankBy.LIKELY
    k_lightness: float = 1.0

    def __post_init__(self) -> None:
        for name in ("use", "avoid", "prefer"):
            object.__setattr__(self, name, dye_names(getattr(self, name)))
        for name in ("in_hand", "price"):
            if not hasattr(value := getattr(self, name), "items"):
                raise DyemixError(f"{name} is by dye, as {{'navy': 2.5}}, not {value!r}.")
            tidy = {dye_name(dye): amount for dye, amount in value.items()}
            for dye, value in tidy.items():
                refuse(not value >= 0, f"{name} of {dye} is {value:g}: 0 or more.")
            object.__setattr__(self, name, tidy)
        object.__setattr__(self, "rank_by", RankBy(self.rank_by))
        wanted, avoided = {*self.use, *self.prefer}, set(self.avoid)
        both = ", ".join(sorted(avoided & wanted))
        n, dear = len(self.use), self.rank_by is RankBy.COST and not self.price
        most, total = self.max_dyes, self.total
        refuse(most < 1, f"max_dyes is {most}: a recipe has one dye or more.")
        refuse(n > most, f"{n} dyes must be used, but max_dyes is {most}.")
        refuse(both, f"{both}: to be used and avoided at once.")
        refuse(not total > 0, f"a total depth of {total:g} % owf holds no dye: above 0.")
        refuse(self.count < 1, f"count is {self.count}: 1 or more.")
        check_lightness_factor(self.k_lightness)
        refuse(dear, "to rank by cost, give the price of every dye.")

    def shelf(self, dyes: DyeSet) -> DyeSet:
        """The dyes that may be used. Raises `RecipeError` for a dye the shelf does not have."""
        expect(dyes, DyeSet, "fit, learn and load give one")
        named = (*self.use, *self.avoid, *self.prefer, *self.in_hand, *self.price)
        for dye in named:
            dyes.index(dye)
        left = [d for d in dyes.names if d not in self.avoid]
        refuse(not left, "every dye of the shelf is to be avoided: nothing is left to match.")
        free = [dye for dye in left if dye not in self.price]
        refuse(self.price and free, "matching.match.free", ", ".join(free))
        return dyes if len(left) == len(dyes) else dyes.take(left)

    def problem(self, dyes: DyeSet, targets: Sequence[Target], light: Light) -> Problem:
        """Targets of one kind on this shelf, to the deepest swatch of each dye or what is left.

        Raises `DyemixError` where no recipe keeps to all of the limits.
        """
        left = np.array([self.in_hand.get(name, np.inf) for name in dyes.names])
        used = np.array([name in self.use for name in dyes.names])
        upper = np.minimum(dyes.deepest, left)
        lower = np.where(used, np.minimum(dyes.palest, upper), 0.0)
        none = self.total < lower.sum() or np.any(upper[used] <= 0.0)
        refuse(none, "matching.match.limits", " and ".join(self.use))
        labs, spectra = np.array([t.lab for t in targets]), [t.reflectance for t in targets]
        return Problem(
            dyes, labs, light, self.max_dyes, lower, upper, self.total, self.k_lightness,
            None if spectra[0] is None else np.array(spectra),
        )  # fmt: skip

    def cost(self, recipe: Mapping[str, float]) -> float | None:
        """Of the dye for one kg of cloth; None where no prices are given."""
        return sum(10.0 * owf * self.price[d] for d, owf in recipe.items()) if self.price else None
