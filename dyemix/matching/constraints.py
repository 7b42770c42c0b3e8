"""What the dyer wants of a recipe beyond its colour: which dyes, how much, what is in the jars."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from dyemix.colour.colorimetry import Light
from dyemix.dataset.recipe import dye_name
from dyemix.dataset.target import Target
from dyemix.errors import Choice, DyemixError, expect
from dyemix.matching.dispensing import Kit
from dyemix.matching.subsets import Problem
from dyemix.model.dyes import DyeSet

#: How much likely ΔE2000 a preferred dye may cost: half of what the eye of a customer sees.
PREFERENCE = 0.5
#: And how much the cheapest recipe may.
WORTH = 1.0
#: The smallest dose that is practical, % owf: half a millilitre of 1 % stock on 100 g of cloth. A
#: recipe with less of a dye stands behind all others.
LEAST_DOSE = 0.005


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
    only : the dyes to choose from; all of the shelf where none is named.
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
    only: Sequence[str] = ()
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
        for name in ("only", "use", "avoid", "prefer"):
            value = getattr(self, name)
            names = value.split(",") if isinstance(value, str) else value
            object.__setattr__(self, name, tuple(dye_name(dye) for dye in names))
        for name in ("in_hand", "price"):
            if not hasattr(value := getattr(self, name), "items"):
                raise DyemixError(f"{name} is by dye, as {{'navy': 2.5}}, not {value!r}.")
            tidy = {dye_name(dye): amount for dye, amount in value.items()}
            if below := [f"{name} of {d} is {v:g}" for d, v in tidy.items() if not v >= 0]:
                raise DyemixError(f"{below[0]}: 0 or more.")
            object.__setattr__(self, name, tidy)
        object.__setattr__(self, "rank_by", RankBy(self.rank_by))
        wanted, avoided = {*self.use, *self.prefer}, set(self.avoid)
        both = ", ".join(sorted(avoided & {*wanted, *self.only}))
        other = ", ".join(sorted(wanted - set(self.only))) if self.only else ""
        n, dear = len(self.use), self.rank_by is RankBy.COST and not self.price
        for wrong, words in (
            (self.max_dyes < 1, f"max_dyes is {self.max_dyes}: a recipe has one dye or more."),
            (n > self.max_dyes, f"{n} dyes must be used, but max_dyes is {self.max_dyes}."),
            (both, f"{both}: to be used and avoided at once."),
            (other, f"{other}: to be used, but not among 'only'."),
            (not self.total > 0, f"a total depth of {self.total:g} % owf holds no dye: above 0."),
            (self.count < 1, f"count is {self.count}: 1 or more."),
            (not self.k_lightness > 0, f"k_lightness is {self.k_lightness:g}: above 0."),
            (dear, "to rank by cost, give the price of every dye."),
        ):  # fmt: skip
            if wrong:
                raise DyemixError(words)

    def shelf(self, dyes: DyeSet) -> DyeSet:
        """The dyes that may be used. Raises `RecipeError` for a dye the shelf does not have."""
        expect(dyes, DyeSet, "fit, learn and load give one")
        named = (*self.only, *self.use, *self.avoid, *self.prefer, *self.in_hand, *self.price)
        for dye in named:
            dyes.index(dye)
        left = [d for d in dyes.names if d not in self.avoid and (not self.only or d in self.only)]
        if not left:
            raise DyemixError("every dye of the shelf is to be avoided: nothing is left to match.")
        if self.price and (free := [dye for dye in left if dye not in self.price]):
            raise DyemixError(f"no price for {', '.join(free)}: give one for every dye, or none.")
        return dyes if len(left) == len(dyes) else dyes.take(left)

    def problem(self, dyes: DyeSet, targets: Sequence[Target], light: Light) -> Problem:
        """Targets of one kind on this shelf, to the deepest swatch of each dye or what is left.

        Raises `DyemixError` where no recipe keeps to all of the limits.
        """
        left = np.array([self.in_hand.get(name, np.inf) for name in dyes.names])
        used = np.array([name in self.use for name in dyes.names])
        upper = np.minimum(dyes.deepest, left)
        lower = np.where(used, np.minimum(dyes.palest, upper), 0.0)
        if self.total < lower.sum() or np.any(upper[used] <= 0.0):
            raise DyemixError(
                f"no recipe holds {' and '.join(self.use)} and keeps to these limits: allow more "
                "depth, or free a dye from having to be in."
            )
        labs, spectra = np.array([t.lab for t in targets]), [t.reflectance for t in targets]
        return Problem(
            dyes, labs, light, self.max_dyes, lower, upper, self.total, self.k_lightness,
            None if spectra[0] is None else np.array(spectra),
        )  # fmt: skip

    def cost(self, recipe: Mapping[str, float]) -> float | None:
        """Of the dye for one kg of cloth; None where no prices are given."""
        return sum(10.0 * owf * self.price[d] for d, owf in recipe.items()) if self.price else None
