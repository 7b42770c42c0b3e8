"""Every subset of the shelf, solved at once in arrays, for many targets at a time.

Subsets are solved from one dye upwards. Each starts from the better of two places: the best
answer of the subsets inside it with the new dye at zero, so that a larger subset is never worse
than a smaller one, and (to two dyes) the best point of a coarse grid of its own amounts. Measured
against random restarts, that settles in worse minima less often than a start from weighted linear
least squares on K/S (Allen, J. Opt. Soc. Am. 56 (1966) 1256), and costs less.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from math import comb

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e_residual
from dyemix.colour.colorimetry import Light
from dyemix.errors import DyemixError
from dyemix.model import mixtures
from dyemix.model.dyes import DyeSet
from dyemix.model.least_squares import Residual, solve
from dyemix.model.mixtures import Blends

#: ``goal(lab (..., 3)) -> (residual (..., m), slope (..., m, 3))``: what a search makes small.
Goal = Callable[[Array], tuple[Array, Array]]
#: The same for many targets: ``which (N,)`` says which target each row of ``lab (N, 3)`` is for.
ManyGoal = Callable[[Array, NDArray[np.intp]], tuple[Array, Array]]

#: Coarse grids of amounts, as shares of the most that is allowed, by number of dyes.
_GRIDS = {
    1: np.concatenate([[0.0], np.geomspace(0.005, 1.0, 20)]),
    2: np.array([0.02, 0.08, 0.25, 1.0]),
}
#: Steps by number of dyes, for the many, most of which lead nowhere; `finish` takes the rest.
_SEARCH_STEPS = {1: 10, 2: 15}
_MORE_STEPS, _SEARCH_TOLERANCE = 12, 1e-5
_LAST_STEPS, _LAST_TOLERANCE = 100, 1e-9
#: Problems solved side by side: few enough for the processor's cache.
_ROWS = 2048
#: More blends of one size than this are not tried: they would take minutes and gigabytes.
_MOST = 150_000
#: How hard a limit on the total depth is held, in ΔE2000 per % owf.
_HOLD = 100.0


@dataclass(frozen=True, eq=False)
class Found:
    """Blends found for several targets.

    `which` ``(M,)`` target each is for, `amounts` ``(M, D)`` in % owf, `residual` ``(M,)``: ΔE2000
    on paper.
    """

    which: NDArray[np.intp]
    amounts: Array
    residual: Array


@dataclass(frozen=True, eq=False)
class Subsets:
    """Blends of k dyes with the amounts found for them.

    `index` ``(N, k)`` into the shelf; `amounts` ``(N, k)`` % owf; `cost` ``(N,)`` the sum of
    squares of the goal; `tried` ``(N,)`` false where a smaller subset was good enough and stands
    for this one.
    """

    index: NDArray[np.intp]
    amounts: Array
    cost: Array
    tried: NDArray[np.bool_] | None = None

    def best(self, count: int, level: float = 0.0) -> Subsets:
        """The `count` of least cost, best first, of those that were tried.

        Costs up to `level` are equal; then the least dye in all goes first.
        """
        cost = np.maximum(self.cost, level)
        if self.tried is not None:
            cost = np.where(self.tried, cost, np.inf)
        order = np.lexsort((self.amounts.sum(axis=1), cost))[:count]
        order = order[np.isfinite(cost[order])]
        return Subsets(self.index[order], self.amounts[order], self.cost[order])


def delta_e_goal(target: Array, k_lightness: float = 1.0) -> Goal:
    """ΔE2000 from the target as a goal: its squares add up to ΔE2000²."""
    return lambda sample: delta_e_residual(target, sample, k_lightness)


def lab_residual(blends: Blends, goal: Goal, light: Light, total: float | None = None) -> Residual:
    """The goal as a function of amounts, for the solver; `total` limits the depth in all."""
    return _residual(
        blends, lambda lab, which: goal(lab), np.zeros(len(blends.exponent), np.intp), light, total
    )


def _residual(
    blends: Blends, goal: ManyGoal, which: NDArray[np.intp], light: Light, total: float | None
) -> Residual:
    by_amount = mixtures.lab_residual(blends, lambda lab, rows: goal(lab, which[rows]), light)
    if total is None:
        return by_amount

    def limited(amounts: Array, rows: NDArray[np.intp]) -> tuple[Array, Array]:
        value, slope = by_amount(amounts, rows)
        over = amounts.sum(axis=1) - total
        held = np.where(over > 0.0, _HOLD, 0.0)
        row = np.broadcast_to(held[:, np.newaxis, np.newaxis], (len(held), 1, amounts.shape[1]))
        return np.column_stack([value, held * over]), np.concatenate([slope, row], axis=1)

    return limited


def descend(
    dyes: DyeSet,
    goal: ManyGoal,
    light: Light,
    amounts: Array,
    upper: Array,
    lower: Array,
    total: float | None = None,
    *,
    steps: int = 60,
    tolerance: float = 1e-7,
) -> tuple[Array, Array]:
    """Amounts ``(N, D)`` that make a goal small from where they are, and its squares ``(N,)``.

    A dye whose `upper` ``(N, D)`` is 0 is not in a blend; those that are run from `lower` ``(D,)``.
    `goal` is told which of the rows its colours are of.
    """
    within = upper > 0.0
    k = max(int(within.sum(axis=1).max(initial=0)), 1)
    index = np.argsort(~within, axis=1, kind="stable")[:, :k]  # each row its own dyes, then others
    top = np.take_along_axis(upper, index, axis=1)
    solved = solve(
        _residual(dyes.blends(index), goal, np.arange(len(index)), light, total),
        np.take_along_axis(amounts, index, axis=1), top,
        lower=np.minimum(lower[index], top), steps=steps, tolerance=tolerance,
    )  # fmt: skip
    out = np.zeros_like(amounts)
    np.put_along_axis(out, index, solved.x, axis=1)
    return out, solved.cost


@lru_cache(maxsize=32)
def subsets_of(dyes: int, k: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """All subsets ``(N, k)``, and where each one's children stand among those of k − 1.

    Child j ``(N, k)`` lacks the j-th dye. Raises `DyemixError` for more than `_MOST` subsets.
    """
    if comb(dyes, k) > _MOST:
        raise DyemixError(
            f"{dyes} dyes make {comb(dyes, k):,} blends of {k}: ask for fewer dyes in a recipe, or "
            f"avoid some (at most {_MOST:,} blends are tried)."
        )
    every = list(combinations(range(dyes), k))
    index = np.array(every, dtype=np.intp)
    if k == 1:
        return index, np.empty((dyes, 0), dtype=np.intp)
    position = {s: i for i, s in enumerate(combinations(range(dyes), k - 1))}
    children = [[position[s[:j] + s[j + 1 :]] for j in range(k)] for s in every]
    return index, np.array(children, dtype=np.intp)


@lru_cache(maxsize=12)
def _grid(dyes: DyeSet, light: Light, k: int, top: tuple[float, ...]) -> tuple[Array, Array]:
    """Amounts ``(N, G, k)`` of the coarse grid of all subsets, and their CIELAB ``(N, G, 3)``."""
    index, _ = subsets_of(len(dyes), k)
    shares = np.stack(np.meshgrid(*[_GRIDS[k]] * k, indexing="ij"), axis=-1).reshape(-1, k)
    amounts = np.array(top)[index][:, np.newaxis, :] * shares
    blends = dyes.blends(index)
    labs = [blends.lab_and_slope(amounts[:, g], light)[0] for g in range(len(shares))]
    return amounts, np.stack(labs, axis=1)


def search(
    dyes: DyeSet,
    goal: Goal,
    light: Light,
    max_dyes: int,
    top: Array | None = None,
    total: float | None = None,
) -> list[Subsets]:
    """Solve every subset of 1 to `max_dyes` dyes for one goal; one `Subsets` a size, in order.

    Amounts run from 0 to `top` ``(D,)``, by default the deepest swatch of each dye; `total`
    limits the depth in all (% owf).
    """
    return search_many(dyes, lambda lab, which: goal(lab), 1, light, max_dyes, top, total)[0]


def search_many(
    dyes: DyeSet,
    goal: ManyGoal,
    targets: int,
    light: Light,
    max_dyes: int,
    top: Array | None = None,
    total: float | None = None,
    enough: float | None = None,
    value: ManyGoal | None = None,
) -> list[list[Subsets]]:
    """`search` for many targets side by side; a list of sizes for each target.

    `enough` prunes: a subset that holds a smaller one whose cost is at most `enough` is not
    tried, but stands at that smaller one's answer. Whoever drops a blend that is no better than
    a smaller one by ``√enough`` loses nothing by it: no cost lies below 0. `value` is the goal
    without its slope, where that is cheaper.
    """
    top = dyes.deepest if top is None else top
    found: list[tuple[Array, Array]] = []
    results: list[list[Subsets]] = [[] for _ in range(targets)]
    for k in range(1, min(max_dyes, len(dyes)) + 1):
        index, children = subsets_of(len(dyes), k)
        tried = np.ones((targets, len(index)), dtype=bool)
        if found:
            amounts, cost = _from_children(children, *found[-1])
            if enough is not None:
                tried = cost > enough
        if k in _GRIDS:
            points, labs = _grid(dyes, light, k, tuple(top.tolist()))
            at_grid, grid_cost = _best_of_grid(points, labs, value or goal, targets)
            if found:
                better = (grid_cost < cost) & tried
                amounts = np.where(better[..., np.newaxis], at_grid, amounts)
            else:
                amounts, cost = at_grid, grid_cost
        which, row = np.nonzero(tried)
        for first in range(0, len(row), _ROWS):
            some = slice(first, first + _ROWS)
            solved = solve(
                _residual(dyes.blends(index[row[some]]), goal, which[some], light, total),
                amounts[which[some], row[some]], top[index[row[some]]],
                steps=_SEARCH_STEPS.get(k, _MORE_STEPS), tolerance=_SEARCH_TOLERANCE,
                last_step=False,
            )  # fmt: skip
            amounts[which[some], row[some]] = solved.x
            cost[which[some], row[some]] = solved.cost
        found.append((amounts, cost))
        for t in range(targets):
            results[t].append(Subsets(index, amounts[t], cost[t], tried[t]))
    return results


def _from_children(children: NDArray[np.intp], amounts: Array, cost: Array) -> tuple[Array, Array]:
    """Best child's amounts ``(T, N, k)`` with the new dye at zero, and its cost ``(T, N)``."""
    n, k = children.shape
    lacking = np.argmin(cost[:, children], axis=2)
    child = children[np.arange(n), lacking]
    targets = np.arange(len(cost))[:, np.newaxis]
    out = np.zeros((len(cost), n, k))
    out[np.arange(k) != lacking[..., np.newaxis]] = amounts[targets, child].ravel()
    return out, cost[targets, child]


def _best_of_grid(points: Array, labs: Array, goal: ManyGoal, targets: int) -> tuple[Array, Array]:
    """Best grid point ``(T, N, k)`` of each subset for each target, and its cost ``(T, N)``."""
    n, g, k = points.shape
    amounts, cost = np.empty((targets, n, k)), np.empty((targets, n))
    for t in range(targets):
        value, _ = goal(labs.reshape(-1, 3), np.full(n * g, t, dtype=np.intp))
        costs = np.einsum("nm,nm->n", value, value).reshape(n, g)
        at = np.argmin(costs, axis=1)
        amounts[t], cost[t] = points[np.arange(n), at], costs[np.arange(n), at]
    return amounts, cost


def finish(
    dyes: DyeSet,
    goal: Goal,
    light: Light,
    subsets: Subsets,
    top: Array | None = None,
    total: float | None = None,
) -> Subsets:
    """The last steps, for the few subsets that will be looked at."""
    top = dyes.deepest if top is None else top
    solved = solve(
        lab_residual(dyes.blends(subsets.index), goal, light, total), subsets.amounts,
        top[subsets.index], steps=_LAST_STEPS, tolerance=_LAST_TOLERANCE,
    )  # fmt: skip
    return Subsets(subsets.index, solved.x, solved.cost)


def finish_all(
    dyes: DyeSet,
    goals: ManyGoal,
    light: Light,
    lists: Sequence[Subsets],
    which: NDArray[np.intp],
    bottom: Array,
    top: Array,
    total: float | None = None,
) -> list[Subsets]:
    """`finish` for short lists of several sizes and targets in one go.

    `which` ``(len(lists),)`` says which target each list is for; amounts run from `bottom` to
    `top` ``(D,)``, 0 where the dye is not in. Smaller blends are padded with
    a dye held at zero, so that all are solved in the same arrays.
    """
    k = max(s.index.shape[1] for s in lists)
    rows = [len(s.cost) for s in lists]
    index = np.zeros((sum(rows), k), dtype=np.intp)
    start, lower, upper = (np.zeros((sum(rows), k)) for _ in range(3))
    ends = np.cumsum(rows)
    for s, end in zip(lists, ends, strict=True):
        here, wide = slice(end - len(s.cost), end), s.index.shape[1]
        index[here, :wide], start[here, :wide] = s.index, s.amounts
        lower[here, :wide], upper[here, :wide] = bottom[s.index], top[s.index]
    targets = np.repeat(which, rows)
    solved = solve(
        _residual(dyes.blends(index), goals, targets, light, total), start, upper,
        steps=_LAST_STEPS, tolerance=_LAST_TOLERANCE, lower=lower,
    )  # fmt: skip
    out = []
    for s, end in zip(lists, ends, strict=True):
        here, wide = slice(end - len(s.cost), end), s.index.shape[1]
        out.append(Subsets(s.index, solved.x[here, :wide], solved.cost[here]))
    return out
