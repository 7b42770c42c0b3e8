"""Every subset of the shelf, solved at once in arrays.

Subsets are solved from one dye upwards. Each starts from the better of two places: the best
answer of the subsets inside it with the new dye at zero, so that a larger subset is never worse
than a smaller one, and the best point of a coarse grid of its own amounts. Measured against
random restarts, that settles in worse minima less often than a start from weighted linear least
squares on K/S (Allen, J. Opt. Soc. Am. 56 (1966) 1256), and costs less.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from dyemix.blends import Blends
from dyemix.colorimetry import Light
from dyemix.dyes import DyeSet
from dyemix.kubelka_munk import Array
from dyemix.solver import Residual, solve

#: ``goal(lab (..., 3)) -> (residual (..., m), slope (..., m, 3))``: what a search makes small.
Goal = Callable[[Array], tuple[Array, Array]]

#: Coarse grids of amounts, as shares of the most that is allowed, by number of dyes.
_GRIDS = {
    1: np.concatenate([[0.0], np.geomspace(0.005, 1.0, 20)]),
    2: np.array([0.0, 0.02, 0.08, 0.25, 1.0]),
    3: np.array([0.0, 0.05, 0.3, 1.0]),
}
#: Steps for the many, most of which lead nowhere; `finish` takes the rest for the few.
_SEARCH_STEPS, _LAST_STEPS = 25, 300


@dataclass(frozen=True, eq=False)
class Subsets:
    """Blends of k dyes with the amounts found for them.

    `index` ``(N, k)`` into the shelf; `amounts` ``(N, k)`` % owf; `cost` ``(N,)`` the sum of
    squares of the goal.
    """

    index: NDArray[np.intp]
    amounts: Array
    cost: Array

    def best(self, count: int) -> Subsets:
        """The `count` of least cost, best first."""
        order = np.argsort(self.cost, kind="stable")[:count]
        return Subsets(self.index[order], self.amounts[order], self.cost[order])


def lab_residual(blends: Blends, goal: Goal, light: Light) -> Residual:
    """The goal as a function of amounts, for the solver."""
    last_rows: NDArray[np.intp] | None = None
    part = blends

    def residual(amounts: Array, rows: NDArray[np.intp]) -> tuple[Array, Array]:
        nonlocal last_rows, part
        if rows is not last_rows:  # gathering costs as much as predicting: only when rows change
            part, last_rows = blends.rows(rows), rows
        lab, by_amount = part.lab_and_slope(amounts, light)
        value, by_lab = goal(lab)
        return value, by_lab @ by_amount

    return residual


@lru_cache(maxsize=32)
def _subsets(dyes: int, k: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """All subsets ``(N, k)``, and where each one's children stand among those of k − 1.

    Child j ``(N, k)`` lacks the j-th dye.
    """
    every = list(combinations(range(dyes), k))
    index = np.array(every, dtype=np.intp)
    if k == 1:
        return index, np.empty((dyes, 0), dtype=np.intp)
    position = {s: i for i, s in enumerate(combinations(range(dyes), k - 1))}
    children = [[position[s[:j] + s[j + 1 :]] for j in range(k)] for s in every]
    return index, np.array(children, dtype=np.intp)


@lru_cache(maxsize=12)
def _grid(dyes: DyeSet, light: Light, k: int) -> tuple[Array, Array]:
    """Shares of the allowed amounts ``(G, k)``, and their CIELAB ``(N, G, 3)``, for all subsets."""
    index, _ = _subsets(len(dyes), k)
    shares = np.stack(np.meshgrid(*[_GRIDS[k]] * k, indexing="ij"), axis=-1).reshape(-1, k)
    top = dyes.deepest[index]
    blends = dyes.blends(index)
    labs = [blends.lab_and_slope(top * share, light)[0] for share in shares]
    return shares, np.stack(labs, axis=1)


def _from_children(children: NDArray[np.intp], smaller: Subsets) -> tuple[Array, Array]:
    """Best child's amounts ``(N, k)`` with the new dye at zero, and its cost ``(N,)``."""
    n, k = children.shape
    lacking = np.argmin(smaller.cost[children], axis=1)
    child = children[np.arange(n), lacking]
    amounts = np.zeros((n, k))
    amounts[np.arange(k) != lacking[:, np.newaxis]] = smaller.amounts[child].ravel()
    return amounts, smaller.cost[child]


def search(dyes: DyeSet, goal: Goal, light: Light, max_dyes: int) -> list[Subsets]:
    """Solve every subset of 1 to `max_dyes` dyes; one `Subsets` a size, in that order.

    Amounts run from 0 to the deepest swatch of each dye.
    """
    found: list[Subsets] = []
    for k in range(1, min(max_dyes, len(dyes)) + 1):
        index, children = _subsets(len(dyes), k)
        top = dyes.deepest[index]
        starts: list[tuple[Array, Array]] = []
        if found:
            starts.append(_from_children(children, found[-1]))
        if k in _GRIDS:
            shares, labs = _grid(dyes, light, k)
            value, _ = goal(labs)
            costs = np.einsum("ngm,ngm->ng", value, value)
            at = np.argmin(costs, axis=1)
            starts.append((top * shares[at], costs[np.arange(len(at)), at]))
        start, cost = starts[0]
        for other, other_cost in starts[1:]:
            start = np.where((other_cost < cost)[:, np.newaxis], other, start)
        solved = solve(
            lab_residual(dyes.blends(index), goal, light), start, top,
            steps=_SEARCH_STEPS if k > 2 else _LAST_STEPS, tolerance=1e-6,
        )  # fmt: skip
        found.append(Subsets(index, solved.x, solved.cost))
    return found


def finish(dyes: DyeSet, goal: Goal, light: Light, subsets: Subsets) -> Subsets:
    """The last steps, for the few subsets that will be looked at."""
    solved = solve(
        lab_residual(dyes.blends(subsets.index), goal, light), subsets.amounts,
        dyes.deepest[subsets.index], steps=_LAST_STEPS, tolerance=1e-10,
    )  # fmt: skip
    return Subsets(subsets.index, solved.x, solved.cost)
