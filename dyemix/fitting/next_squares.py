"""Which squares to dye next: those that most lower the likely miss of the recipes wanted.

To first order a recipe's CIELAB is ``f + A θ`` with θ the unknowns of the calibration, so a square
z read with noise R leaves ``Σ − Σ Azᵀ (Az Σ Azᵀ + R)⁻¹ Az Σ`` of Σ = Cov θ (Kalman, J. Basic Eng.
82 (1960) 35), and a wanted recipe w the covariance ``Aw Σ Awᵀ`` beside its own error, dosing, pot
and reading. What colour the square turns out does not matter to that, so every candidate can be
tried before any is dyed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import combinations
from math import comb

import numpy as np

from dyemix.arrays import Array
from dyemix.dataset.result import said
from dyemix.model.dyes import DyeSet
from dyemix.model.uncertainty import effects, expected_miss

#: Mixes of three are tried as squares while they are no more than this; else only pairs.
_MOST = 250
_LINE = 3


@dataclass(frozen=True, eq=False)
class Knowledge:
    """What is open about the dyes, and what W recipes and Z squares have to do with it.

    Attributes
    ----------
    labs : ``(W, 3)`` of the recipes.
    wanted, squares : slopes ``(W, 3, P)`` and ``(Z, 3, P)`` by the unknowns.
    noise, square_noise : covariance of both that no other square tells of.
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
        both, w = np.concatenate([amounts, squares]), len(amounts)
        _, slopes = effects(dyes.whole, both, dyes.light, dyes.modes)
        shared = slopes @ dyes.known.covariance @ slopes.transpose(0, 2, 1)
        found = dyes.predict_many(both)
        own = found.covariance - shared
        return cls(found.lab[:w], slopes[:w], slopes[w:], own[:w], own[w:], dyes.known.covariance)

    def _mean(self, spread: Array) -> Array:
        """Mean likely ΔE2000 over the recipes for covariances ``(…, W, 3, 3)``."""
        labs = np.broadcast_to(self.labs, spread.shape[:-1]).reshape(-1, 3)
        # At its own prediction itself ΔE2000 has no slope by hue.
        miss = expected_miss(labs, labs + 1e-6, spread.reshape(-1, 3, 3))
        return np.asarray(miss.reshape(spread.shape[:-2]).mean(axis=-1))

    def _spread(self) -> Array:
        return self.wanted @ self.open @ self.wanted.transpose(0, 2, 1) + self.noise

    def likely(self) -> float:
        """Mean likely ΔE2000 of the recipes, each aimed at its own prediction."""
        return float(self._mean(self._spread()))

    @property
    def floor(self) -> float:
        """The same if nothing about the dyes were open."""
        return float(self._mean(self.noise))

    def likely_after(self) -> Array:
        """The same ``(Z,)`` once each square has been dyed and read."""
        through = self.open @ self.squares.transpose(0, 2, 1)  # (Z, P, 3)
        total = self.squares @ through + self.square_noise
        shared = np.einsum("wip,zpj->zwij", self.wanted, through, optimize=True)
        gone = shared @ np.linalg.inv(total)[:, np.newaxis] @ shared.swapaxes(-1, -2)
        return self._mean(self._spread() - gone)

    def after(self, z: int) -> Knowledge:
        """What stays open once square `z` has been dyed and read."""
        through = self.open @ self.squares[z].T
        total = self.squares[z] @ through + self.square_noise[z]
        return replace(self, open=self.open - through @ np.linalg.solve(total, through.T))

    def best(self, count: int) -> Iterable[tuple[int, float, float]]:
        """Squares one after the other, each counting on those before it: which, before, after."""
        known, before = self, self.likely()
        taken: list[int] = []
        for _ in range(count):
            after = known.likely_after()
            after[taken] = np.inf  # dyed again, a square brings its own error back with it
            z = int(np.argmin(after))
            taken.append(z)
            yield z, before, float(after[z])
            known, before = known.after(z), float(after[z])


def middle_mixes(dyes: DyeSet, size: int) -> Array:
    """Amounts ``(N, D)`` of every mix of `size` dyes, each at the middle (in ratio) of its range.

    They share the depth of one dye: each gets its part of its own middle.
    """
    index = np.array(list(combinations(range(len(dyes)), size)))
    amounts = np.zeros((len(index), len(dyes)))
    middle = dyes.middle_depths * 2.0 / size
    np.put_along_axis(amounts, index, middle[index], axis=1)
    return amounts


def in_one_line(dyes: DyeSet, wanted: Array | None = None) -> str:
    """Which three squares of mixes to dye next, and what they would buy for recipes ``(W, D)``.

    By default for every pair of dyes at middle depths. Nothing for a single dye.
    """
    if len(dyes) < 2:
        return ""
    if wanted is None:
        wanted = middle_mixes(dyes, 2)
        many = len(dyes) > 2 and comb(len(dyes), 3) <= _MOST
        squares = np.concatenate([wanted, middle_mixes(dyes, 3)]) if many else wanted
    else:
        squares = wanted[(wanted > 0).sum(axis=1) > 1]
    if not len(squares):
        return ""
    chosen = list(Knowledge.of(dyes, wanted, squares).best(min(_LINE, len(squares))))
    recipes = "; ".join(str(dyes.recipe(squares[z].round(2))) for z, _, _ in chosen)
    return said("fit.next_squares", recipes=recipes, before=chosen[0][1], after=chosen[-1][2])
