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
from dyemix.colour_difference import delta_e_residual
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
#: Where `across_grey` sets out from: chroma, and hue from the target's in degrees. Those at 100°
#: and low chroma stand where the rotation term (mean hue 275°) bends the valley for purples.
_ACROSS = np.array(
    [
        (chroma, side * turn)
        for side in (1, -1)
        for chroma, turn in ((1.5, 179.5), (8.0, 150.0), (3.5, 100.0), (25.0, 100.0))
    ]
)
#: How hard it is held on its side of the jump, by how much chroma (a*, b*) short of it, and for
#: how many steps: softly first, or it would creep along the edge.
_HOLDS = ((3.0, 0.0, 60), (30.0, 0.01, 60), (300.0, 0.003, 60), (3000.0, 0.001, 30))
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


def across_grey(
    dyes: DyeSet, target: Array, k_lightness: float, light: Light, subsets: Subsets
) -> Subsets:
    """Try the far side of grey, for the few subsets whose best answer is a poor one.

    ΔE2000 jumps where two hues stand 180° apart, and just short of the jump it can have a second,
    narrow minimum: for a target of high chroma out of reach, a dull colour of the opposite hue.
    Descent does not find it from the target's own side, and stops dead at the edge. So each
    subset sets out again from colours across grey, each held on its side of the jump by a
    one-sided penalty while ΔE2000 is continued smoothly past it. The better answer is kept.
    """
    n, k = subsets.index.shape
    m = len(_ACROSS)
    index = np.repeat(subsets.index, m, axis=0)
    blends, top = dyes.blends(index), dyes.deepest[index]
    chroma, turn = _ACROSS[:, 0], np.deg2rad(_ACROSS[:, 1])
    hue = np.arctan2(target[2], target[1])
    starts = np.column_stack(
        [np.full(m, target[0]), chroma * np.cos(hue + turn), chroma * np.sin(hue + turn)]
    )
    starts, side = np.tile(starts, (n, 1)), np.tile(np.sign(turn), n)
    # Distance (a*, b*) from the line through grey on which the target's hue and its opposite lie.
    normal = side[:, np.newaxis] * np.array([0.0, -np.sin(hue), np.cos(hue)])

    def reach(amounts: Array, rows: NDArray[np.intp]) -> tuple[Array, Array]:
        lab, slope = blends.rows(rows).lab_and_slope(amounts, light)
        return lab - starts[rows], slope

    def held(force: float, margin: float) -> Residual:
        def residual(amounts: Array, rows: NDArray[np.intp]) -> tuple[Array, Array]:
            lab, by_amount = blends.rows(rows).lab_and_slope(amounts, light)
            left, by_left = delta_e_residual(target, lab, k_lightness, side=1)
            right, by_right = delta_e_residual(target, lab, k_lightness, side=-1)
            is_left = side[rows] > 0
            value = np.where(is_left[:, np.newaxis], left, right)
            by_lab = np.where(is_left[:, np.newaxis, np.newaxis], by_left, by_right)
            short = margin - np.einsum("nc,nc->n", lab, normal[rows])
            hold = np.where(short > 0, -force, 0.0)[:, np.newaxis] * normal[rows]
            value = np.column_stack([value, force * np.maximum(short, 0.0)])
            return value, np.concatenate([by_lab, hold[:, np.newaxis]], axis=1) @ by_amount

        return residual

    amounts = solve(reach, np.zeros((n * m, k)), top, steps=20, tolerance=1e-3).x
    for force, margin, steps in _HOLDS:
        amounts = solve(held(force, margin), amounts, top, steps=steps, tolerance=1e-8).x

    def goal(lab: Array) -> tuple[Array, Array]:
        return delta_e_residual(target, lab, k_lightness)

    found = solve(
        lab_residual(blends, goal, light), amounts, top, steps=_LAST_STEPS, tolerance=1e-10
    )
    costs = found.cost.reshape(n, m)
    best, rows = np.argmin(costs, axis=1), np.arange(n)
    better = costs[rows, best] < subsets.cost
    return Subsets(
        subsets.index,
        np.where(better[:, np.newaxis], found.x.reshape(n, m, k)[rows, best], subsets.amounts),
        np.where(better, costs[rows, best], subsets.cost),
    )
