"""What the dyer wants of a recipe beyond its colour: which dyes, how much, what is in the jars."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from dyemix.arrays import Array
from dyemix.dataset.recipe import NAME, dye_name
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet

_JAR = re.compile(
    rf"(?P<dye>{NAME})\s+(?P<ml>\d*[.,]?\d+)\s*ml\s+(?:of\s+)?(?P<pct>\d*[.,]?\d+)\s*%",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Wishes:
    """Limits and likings of a match.

    Attributes
    ----------
    max_dyes : most dyes in a recipe.
    use : dyes that every recipe must hold, as much as their palest swatch at least.
    avoid : dyes that none may hold.
    prefer : dyes to use up: a recipe with one goes before a recipe that is no better than
        `PREFERENCE` of likely ΔE2000.
    most : most of a dye, % owf, where less is left in the jar than its deepest swatch.
    total : most dye in all, % owf.
    price : of the dyes, per gram of powder, in whatever currency.

    Raises `DyemixError` for limits that leave nothing to match with.
    """

    max_dyes: int = 3
    use: tuple[str, ...] = ()
    avoid: tuple[str, ...] = ()
    prefer: tuple[str, ...] = ()
    most: Mapping[str, float] = field(default_factory=dict)
    total: float | None = None
    price: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name in ("use", "avoid", "prefer"):
            object.__setattr__(self, name, tuple(dye_name(dye) for dye in getattr(self, name)))
        for name in ("most", "price"):
            tidy = {dye_name(dye): value for dye, value in getattr(self, name).items()}
            for dye, value in tidy.items():
                if not value >= 0:
                    raise DyemixError(f"{name} of {dye} is {value:g}: 0 or more.")
            object.__setattr__(self, name, tidy)
        if self.max_dyes < 1:
            raise DyemixError(f"max_dyes is {self.max_dyes}: a recipe has one dye or more.")
        if len(self.use) > self.max_dyes:
            raise DyemixError(
                f"{len(self.use)} dyes must be used, but max_dyes is {self.max_dyes}."
            )
        if both := set(self.use) & set(self.avoid):
            raise DyemixError(f"{', '.join(sorted(both))}: to be used and avoided at once.")
        if self.total is not None and not self.total > 0:
            raise DyemixError(f"a total depth of {self.total:g} % owf holds no dye: above 0.")

    def shelf(self, dyes: DyeSet) -> DyeSet:
        """The dyes that may be used. Raises `RecipeError` for a dye the shelf does not have."""
        for dye in (*self.use, *self.avoid, *self.prefer, *self.most, *self.price):
            dyes.index(dye)
        left = [name for name in dyes.names if name not in self.avoid]
        if not left:
            raise DyemixError("every dye of the shelf is to be avoided: nothing is left to match.")
        return dyes if len(left) == len(dyes) else dyes.take(left)

    def tops(self, dyes: DyeSet) -> Array:
        """Most of each dye ``(D,)``, % owf: its deepest swatch, or what is left of it."""
        given = np.array([self.most.get(name, np.inf) for name in dyes.names])
        return np.asarray(np.minimum(dyes.deepest, given))

    def bottoms(self, dyes: DyeSet) -> Array:
        """Least of each dye ``(D,)``, % owf: the palest swatch of one that must be used, else 0."""
        used = np.array([name in self.use for name in dyes.names])
        return np.asarray(np.where(used, np.minimum(dyes.palest, self.tops(dyes)), 0.0))

    def cost(self, recipe: Mapping[str, float]) -> float | None:
        """Of the dye for one kg of cloth; None where a price is missing."""
        if not self.price or any(dye not in self.price for dye in recipe):
            return None
        return sum(10.0 * owf * self.price[dye] for dye, owf in recipe.items())


#: How much likely ΔE2000 a preferred dye may cost: half of what the eye of a customer sees.
PREFERENCE = 0.5


def parse_in_hand(text: str, cloth_g: float) -> dict[str, float]:
    """``navy 180 mL 2 %, gold 90 mL 2 %`` on `cloth_g` of cloth, to the most % owf of each.

    Two jars of one dye add up. Raises `DyemixError` for what it cannot read.
    """
    if not cloth_g > 0:
        raise DyemixError(f"a cloth of {cloth_g:g} g cannot be dyed: give its dry weight.")
    out: dict[str, float] = {}
    for part in re.split(r",\s+|;", text.strip()):
        match = _JAR.fullmatch(part.strip())
        if not match:
            raise DyemixError(f"{part!r} is not a jar: write 'navy 180 mL 2 %', joined by commas.")
        ml, pct = (float(match[x].replace(",", ".")) for x in ("ml", "pct"))
        dye = dye_name(match["dye"])
        out[dye] = out.get(dye, 0.0) + ml * pct / cloth_g
    return out


def parse_prices(text: str) -> dict[str, float]:
    """``navy 0.20, gold 0.15`` to a price per gram of powder. Raises `DyemixError`."""
    out: dict[str, float] = {}
    for part in re.split(r",\s+|;", text.strip()):
        match = re.fullmatch(rf"\s*({NAME})\s+(\d*[.,]?\d+)\s*", part)
        if not match:
            raise DyemixError(f"{part!r} is not a price: write 'navy 0.20' (per gram of powder).")
        if dye_name(match[1]) in out:
            raise DyemixError(f"{match[1]} has two prices in {text!r}: give one.")
        out[dye_name(match[1])] = float(match[2].replace(",", "."))
    return out
