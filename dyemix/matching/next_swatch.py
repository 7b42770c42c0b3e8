"""Which square to dye next: the one that most lowers the likely miss over the colours wanted.

How that is worked out is in `dyemix.fitting.next_squares`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import Light
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.result import DEMO_WARNING, Result, Row, Value
from dyemix.dataset.target import AnyColour, Target
from dyemix.errors import DyemixError
from dyemix.fitting.next_squares import Knowledge
from dyemix.matching.match import match_many
from dyemix.model.dyes import DyeSet

#: Depths tried for squares of one dye, halving (common practice), within the dye's ladder.
_HALVINGS = 6
#: Squares of a mix are tried as the recipes themselves and as their parts, at these shares.
_SHARES = (1.0, 0.5)


@dataclass(frozen=True, eq=False)
class Choice(Value):
    """A square to dye, and what it brings.

    `recipe` in % owf; `before` and `after` the mean likely ΔE2000 over the colours wanted.
    """

    recipe: Recipe
    before: float
    after: float


@dataclass(frozen=True, eq=False)
class NextSwatch(Result):
    """The squares to dye next, most useful first; each counts on those before it.

    Attributes
    ----------
    choices : the squares.
    recipes : the recipes that the colours wanted would be dyed by, % owf.
    tried : how many squares were tried.
    floor : the mean likely ΔE2000 that would be left if nothing about the dyes were open.
    light : of the colours wanted, where they share one; else of the dyes.
    """

    choices: tuple[Choice, ...]
    recipes: tuple[Recipe, ...]
    tried: int
    floor: float
    light: Light
    demo: bool = False

    def _rows(self) -> Iterable[Row]:
        """One row a square: recipe, before, after."""
        return (vars(choice) for choice in self.choices)

    def __str__(self) -> str:
        lines = [DEMO_WARNING] if self.demo else []
        many = f"{len(self.recipes)} colours" if len(self.recipes) > 1 else "the one colour"
        lines.append(f"Dye next, for {many} wanted (% owf, of {self.tried} squares tried):")
        lines += [
            f"{i:>2}  {c.recipe}: likely miss {c.before:.2f} before, {c.after:.2f} after"
            for i, c in enumerate(self.choices, 1)
        ]
        lines.append(
            f"Likely miss is the mean ΔE2000 in the pot ({self.light}); {self.floor:.2f} of it is "
            "dosing, pot, reading and what each mix keeps to itself: no square lowers that."
        )
        lines.append("A square of one dye goes in the swatch table; a mix counts as a trial.")
        return "\n".join(lines)


def next_swatch(
    dyes: DyeSet, targets: Sequence[AnyColour], count: int = 1, max_dyes: int = 3
) -> NextSwatch:
    """The square, of one dye or a mix, that most lowers the mean likely ΔE2000 over `targets`.

    Parameters
    ----------
    targets : what the dyer wants to dye, as targets or as text (hex code, or L* a* b*).
    count : how many squares to choose, one after the other (greedy).
    max_dyes : most dyes in the recipes for the colours.

    Tried are every dye at halving depths of its ladder, the recipes that the colours would be dyed
    by, also at half their depth, and every pair of dyes in them.

    Raises `DyemixError` for no colour or a count below 1, `TargetError` for what is not a colour.

    >>> found = next_swatch(dyes.take(["rust", "navy"]), ["#8a5a4a"])
    >>> found.choices[0].after <= found.choices[0].before
    True
    """
    wanted = [target.under(dyes.light) for target in Target.all(targets)]
    if not wanted or count < 1:
        raise DyemixError("name one colour or more, and a count of 1 or more.")
    recipes = [found[0].recipe for found in match_many(dyes, wanted, max_dyes=max_dyes, count=1)]
    lights = {dyes.light_of(target) for target in wanted}
    light = lights.pop() if len(lights) == 1 else dyes.light
    return choose(replace(dyes, light=light), recipes, count)


def choose(dyes: DyeSet, recipes: Sequence[Recipe], count: int = 1) -> NextSwatch:
    """`next_swatch` for recipes (% owf) that are known already."""
    amounts = np.array([dyes.amounts(r) for r in recipes])
    squares = candidates(dyes, amounts)
    known = Knowledge.of(dyes, amounts, squares)
    best = known.best(count)
    choices = tuple(Choice(dyes.recipe(squares[z]), before, after) for z, before, after in best)
    return NextSwatch(choices, tuple(recipes), len(squares), known.floor, dyes.light, dyes.demo)


def candidates(dyes: DyeSet, amounts: Array) -> Array:
    """Squares to try, ``(Z, D)`` in % owf, for recipes of amounts ``(W, D)``."""
    rows: list[Array] = []
    for i in range(len(dyes)):
        depths = dyes.deepest[i] * 0.5 ** np.arange(_HALVINGS)
        rows += list(depths[depths >= dyes.palest[i] * 0.99, np.newaxis] * np.eye(len(dyes))[i])
    for recipe in amounts:
        used = np.flatnonzero(recipe)
        pairs = [list(pair) for pair in combinations(used, 2)] if len(used) > 2 else []
        for part in [list(used), *pairs]:
            mix = np.zeros(len(dyes))
            mix[part] = recipe[part]
            rows += [share * mix for share in _SHARES]
    return np.unique(np.round(np.array(rows), 3), axis=0)
