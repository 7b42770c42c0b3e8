"""Which square to dye next: the one that most lowers the likely miss over the colours wanted.

What is open about the dyes is a set of independent unknowns u ~ N(0, I): the versions of each dye's
own fit (`dyes.Draws`), and its lasting error of strength in mixes (`dyemix.fitting.strengths`). To
first order a recipe's CIELAB is ``f + A u``, so a square z read with noise R leaves
``P − P Azᵀ (Az P Azᵀ + R)⁻¹ Az P`` of P = Cov u (Kalman, J. Basic Eng. 82 (1960) 35), and a wanted
recipe w the covariance ``Aw P Awᵀ`` beside its own dosing, pot and reading. What colour the square
turns out does not matter to that, so every candidate can be tried before any is dyed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import Light
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import DEMO_WARNING
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError
from dyemix.fitting.strengths import LASTING, lasting_sd
from dyemix.matching.match import match
from dyemix.model.dyes import DyeSet
from dyemix.model.uncertainty import causes, expected_miss

if TYPE_CHECKING:
    import pandas as pd

#: Depths tried for squares of one dye, halving (common practice), within the dye's ladder.
_HALVINGS = 6
#: Squares of a mix are tried as the recipes themselves and as their parts, at these shares.
_SHARES = (1.0, 0.5)
#: Standard error of a dye's strength where the fit gives no versions of itself.
PRIOR_FIT = 0.02


@dataclass(frozen=True, eq=False)
class Choice:
    """A square to dye, and what it brings.

    `recipe` in % owf; `before` and `after` the mean likely ΔE2000 over the colours wanted.
    """

    recipe: Recipe
    before: float
    after: float

    def __str__(self) -> str:
        return f"{self.recipe}: likely miss {self.before:.2f} before, {self.after:.2f} after"


@dataclass(frozen=True, eq=False)
class NextSwatch:
    """The squares to dye next, most useful first; each counts on those before it.

    Attributes
    ----------
    choices : the squares.
    recipes : the recipes that the colours wanted would be dyed by, % owf.
    tried : how many squares were tried.
    floor : the mean likely ΔE2000 that would be left if nothing about the dyes were open.
    light : of the colours wanted.
    """

    choices: tuple[Choice, ...]
    recipes: tuple[Recipe, ...]
    tried: int
    floor: float
    light: Light
    notes: tuple[str, ...] = ()
    demo: bool = False

    @property
    def recipe(self) -> Recipe:
        """The one to dye first."""
        return self.choices[0].recipe

    def to_frame(self) -> pd.DataFrame:
        """One row a square: recipe, before, after."""
        import pandas as pd

        return pd.DataFrame(
            {"recipe": str(c.recipe), "before": c.before, "after": c.after} for c in self.choices
        )

    def __str__(self) -> str:
        lines = [DEMO_WARNING] if self.demo else []
        many = f"{len(self.recipes)} colours" if len(self.recipes) > 1 else "the one colour"
        lines.append(f"Dye next, for {many} wanted (% owf, of {self.tried} squares tried):")
        lines += [f"{i:>2}  {choice}" for i, choice in enumerate(self.choices, 1)]
        lines.append(
            f"Likely miss is the mean ΔE2000 in the pot ({self.light}); {self.floor:.2f} of it is "
            "dosing, pot, reading and what each mix keeps to itself: no square lowers that."
        )
        lines.append("A square of one dye goes in the swatch table; a mix counts as a trial.")
        return "\n".join([*lines, *self.notes])


def next_swatch(
    dyes: DyeSet, colours: Sequence[Target | str], count: int = 1, max_dyes: int = 3
) -> NextSwatch:
    """The square, of one dye or a mix, that most lowers the mean likely ΔE2000 over `colours`.

    Parameters
    ----------
    colours : what the dyer wants to dye, as targets or as text (hex code, or L* a* b*).
    count : how many squares to choose, one after the other (greedy).
    max_dyes : most dyes in the recipes for the colours.

    Tried are every dye at halving depths of its ladder, the recipes that the colours would be dyed
    by, also at half their depth, and every pair of dyes in them.

    Raises `DyemixError` for no colour or a count below 1, `TargetError` for what is not a colour.
    """
    if not colours or count < 1:
        raise DyemixError("name one colour or more, and a count of 1 or more.")
    wanted = [(Target.parse(c) if isinstance(c, str) else c).under(dyes.light) for c in colours]
    recipes = [match(dyes, target, max_dyes=max_dyes, count=1)[0].recipe for target in wanted]
    return choose(dyes, recipes, count)


def choose(dyes: DyeSet, recipes: Sequence[Recipe], count: int = 1) -> NextSwatch:
    """`next_swatch` for recipes (% owf) that are known already."""
    amounts = np.array([dyes.amounts(r) for r in recipes])
    squares = candidates(dyes, amounts)
    known = Knowledge.of(dyes, amounts, squares)
    floor = replace(known, open=np.zeros_like(known.open)).likely()
    choices = []
    for _ in range(count):
        after = known.likely_after()
        best = int(np.argmin(after))
        choices.append(Choice(dyes.recipe(squares[best]), known.likely(), float(after[best])))
        known = known.after(best)
    notes: tuple[str, ...] = ()
    if dyes.draws is None:
        percent = f"{100.0 * PRIOR_FIT:.0f} %"
        notes = (f"The fit gives no versions of itself: strengths are taken as good to {percent}.",)
    return NextSwatch(
        tuple(choices), tuple(recipes), len(squares), floor, dyes.light, notes, dyes.demo
    )


def candidates(dyes: DyeSet, amounts: Array) -> Array:
    """Squares to try, ``(Z, D)`` in % owf, for recipes of amounts ``(W, D)``."""
    rows: list[Array] = []
    for i in range(len(dyes)):
        steps = 0.5 ** np.arange(_HALVINGS)
        depths = dyes.deepest[i] * steps
        rows += list(depths[depths >= dyes.palest[i] * 0.99, np.newaxis] * np.eye(len(dyes))[i])
    for recipe in amounts:
        used = np.flatnonzero(recipe)
        pairs = [list(pair) for pair in combinations(used, 2)] if len(used) > 2 else []
        for part in [list(used), *pairs]:
            mix = np.zeros(len(dyes))
            mix[part] = recipe[part]
            rows += [share * mix for share in _SHARES]
    return np.unique(np.round(np.array(rows), 3), axis=0)


def slopes(dyes: DyeSet, amounts: Array) -> Array:
    """A ``(N, 3, P)``: CIELAB of amounts ``(N, D)`` by the unknowns, P = D (E + 1) for E versions.

    Versions of one dye move it alone: ladders are fitted apart, and to take chance likenesses
    between few versions for knowledge would promise too much.
    """
    index = np.tile(np.arange(len(dyes)), (len(amounts), 1))
    _, slope = dyes.blends(index).lab_and_slope(amounts, dyes.light)
    by_strength = slope * amounts[:, np.newaxis, :]
    mixed = (amounts > 0).sum(axis=1)[:, np.newaxis, np.newaxis] > 1
    lasting = np.where(mixed, lasting_sd(dyes) * by_strength, 0.0)
    draws = dyes.draws
    if draws is None:
        return np.concatenate([lasting, PRIOR_FIT * by_strength], axis=2)
    versions = len(draws.curves)
    parts = [lasting]
    for i in range(len(dyes)):
        labs = np.empty((versions, len(amounts), 3))
        for e in range(versions):
            curves, exponent, capacity = (
                x.copy() for x in (dyes.curves, dyes.exponent, dyes.capacity)
            )
            curves[i], exponent[i], capacity[i] = (
                draws.curves[e, i], draws.exponent[e, i], draws.capacity[e, i]
            )  # fmt: skip
            version = replace(dyes, curves=curves, exponent=exponent, capacity=capacity, draws=None)
            labs[e] = version.predict_many(amounts)
        apart = (labs - labs.mean(axis=0)) / np.sqrt(versions - 1.0)
        parts.append(apart.transpose(1, 2, 0))
    return np.concatenate(parts, axis=2)


def own_noise(dyes: DyeSet, amounts: Array) -> Array:
    """Covariance ``(N, 3, 3)`` that no other square tells of: dosing, pot, reading, and the share
    of the model's error that stays with one recipe."""
    mixing = float(dyes.scatter.mixing * np.sqrt(1.0 - LASTING))
    bare = replace(dyes, draws=None, scatter=replace(dyes.scatter, mixing=mixing))
    return causes(bare, amounts, dyes.light).total


@dataclass(frozen=True, eq=False)
class Knowledge:
    """What is open about the dyes, and what W recipes and Z squares have to do with it.

    Attributes
    ----------
    labs : ``(W, 3)`` of the recipes.
    wanted, squares : slopes ``(W, 3, P)`` and ``(Z, 3, P)``.
    noise, square_noise : `own_noise` of both.
    open : ``(P, P)``, covariance of the unknowns.
    """

    labs: Array
    wanted: Array
    squares: Array
    noise: Array
    square_noise: Array
    open: Array

    @classmethod
    def of(cls, dyes: DyeSet, amounts: Array, squares: Array) -> Knowledge:
        """Before any square: recipes of amounts ``(W, D)``, squares ``(Z, D)``."""
        both = slopes(dyes, np.concatenate([amounts, squares]))
        noise = own_noise(dyes, np.concatenate([amounts, squares]))
        w = len(amounts)
        labs = dyes.predict_many(amounts)
        return cls(labs, both[:w], both[w:], noise[:w], noise[w:], np.eye(both.shape[2]))

    def _mean(self, spread: Array) -> float:
        # At its own prediction itself ΔE2000 has no slope by hue.
        return float(expected_miss(self.labs, self.labs + 1e-6, spread).mean())

    def _spread(self) -> Array:
        return np.asarray(self.wanted @ self.open @ self.wanted.transpose(0, 2, 1))

    def likely(self) -> float:
        """Mean likely ΔE2000 of the recipes, each aimed at its own prediction."""
        return self._mean(self._spread() + self.noise)

    def likely_after(self) -> Array:
        """The same ``(Z,)`` once each square has been dyed and read."""
        spread = self._spread() + self.noise
        out = np.empty(len(self.squares))
        for z, square in enumerate(self.squares):
            through = self.open @ square.T
            total = square @ through + self.square_noise[z]
            shared = self.wanted @ through  # (W, 3, 3)
            gone = shared @ np.linalg.inv(total) @ shared.transpose(0, 2, 1)
            out[z] = self._mean(spread - gone)
        return out

    def after(self, z: int) -> Knowledge:
        """What stays open once square `z` has been dyed and read."""
        through = self.open @ self.squares[z].T
        total = self.squares[z] @ through + self.square_noise[z]
        return replace(self, open=self.open - through @ np.linalg.solve(total, through.T))
