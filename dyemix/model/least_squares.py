"""Bounded damped least squares, many small problems at once.

Minimises ``½ |r(x)|²`` over ``lower ≤ x ≤ upper`` and, where a total is set, ``Σ x ≤ total``, for
N problems of k unknowns held in arrays. The step is Gauss–Newton with Levenberg–Marquardt damping
scaled by the diagonal (Marquardt, J. SIAM 11 (1963) 431). Unknowns that rest on a bound and would
leave it are held for the step (an active set by projection, Bertsekas, SIAM J. Control Optim. 20
(1982) 221); a problem that rests on its total and would exceed it steps along it. A step that
leads outside is brought back, and taken only when it lowers the objective.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array

#: ``residual(x (M, k), rows (M,)) -> (r (M, m), dr/dx (M, m, k))`` for the problems in `rows`.
Residual = Callable[[Array, NDArray[np.intp]], tuple[Array, Array]]

_TINY = 1e-9


@dataclass(frozen=True, eq=False)
class Solved:
    """Where the problems ended.

    Attributes
    ----------
    x : ``(N, k)``, within the bounds.
    cost : ``(N,)`` sum of squares ``|r|²``.
    settled : ``(N,)`` whether no step was left that mattered.
    """

    x: Array
    cost: Array
    settled: NDArray[np.bool_]


def within(x: Array, lower: Array, upper: Array, total: float = np.inf) -> Array:
    """Amounts ``(..., k)`` brought inside: clipped, then scaled back towards `lower` to `total`."""
    inside = np.clip(x, lower, upper)
    if not np.isfinite(total):
        return inside
    above = inside - lower
    room = np.maximum(total - lower.sum(axis=-1), 0.0)
    share = room / np.maximum(np.maximum(above.sum(axis=-1), room), _TINY)
    return np.where((share < 1.0)[..., np.newaxis], lower + above * share[..., np.newaxis], inside)


def solve(
    residual: Residual,
    start: Array,
    upper: Array,
    *,
    lower: Array | None = None,
    total: float = np.inf,
    steps: int = 60,
    tolerance: float = 1e-7,
) -> Solved:
    """Solve N bounded least-squares problems, `lower` ≤ x ≤ `upper` and Σ x ≤ `total`.

    Each problem goes its own way: its answer does not depend on what stands beside it.

    Parameters
    ----------
    start, upper : ``(N, k)``.
    lower : ``(N, k)``, 0 where it is not given.
    total : most that the unknowns of one problem may come to; no less than their `lower` do.
    steps : the most steps any problem takes.
    tolerance : a problem is settled where the next step promises to lower its objective by less
        than ``tolerance · (1e-3 + objective)``.
    """
    low, top = np.zeros_like(upper) if lower is None else lower, upper
    rows = np.arange(len(start))
    x = within(start, low, top, total)
    r, jacobian = residual(x, rows)
    cost = np.einsum("nm,nm->n", r, r)
    damping = np.full(len(rows), 1e-3)
    out = Solved(x.copy(), cost.copy(), np.zeros(len(rows), dtype=bool))
    for _ in range(steps):
        if not len(rows):
            break
        gradient = _times(jacobian, r)
        step = _step(jacobian, gradient, damping, x, low, top, total)
        tried = np.clip(x + step, low, top)
        if np.isfinite(total):  # what would exceed it is taken off whatever rose
            rise = np.maximum(tried - x, 0.0)
            over = np.maximum(tried.sum(axis=1) - total, 0.0)
            tried -= rise * (over / np.maximum(rise.sum(axis=1), _TINY))[:, np.newaxis]
        promised = np.einsum("nk,nk->n", gradient, x - tried)
        # A projected step can promise to rise: not the end, but too long, and damping shortens it.
        # A heavily damped step promises little wherever it stands: not the end either.
        done = (np.abs(promised) < tolerance * (1e-3 + cost)) & (damping < 1.0)
        r_new, jacobian_new = residual(tried, rows)
        cost_new = np.einsum("nm,nm->n", r_new, r_new)
        # Damped less where the promise was kept, more where hardly: steps can turn to and fro.
        kept = (cost - cost_new) / np.maximum(np.abs(promised), 1e-300)
        more = np.where(kept < 0.25, np.maximum(damping * 5.0, 0.05), damping)
        damping = np.where(kept > 0.75, np.maximum(damping * 0.2, 1e-10), more)
        better = cost_new < cost
        x, r, cost = (
            np.where(better[:, np.newaxis], tried, x),
            np.where(better[:, np.newaxis], r_new, r),
            np.where(better, cost_new, cost),
        )
        jacobian = np.where(better[:, np.newaxis, np.newaxis], jacobian_new, jacobian)
        out.x[rows], out.cost[rows] = x, cost
        done |= damping > 1e8
        if done.any():
            out.settled[rows[done]] = True
            left = ~done
            rows, x, low, top = rows[left], x[left], low[left], top[left]
            r, jacobian, cost, damping = r[left], jacobian[left], cost[left], damping[left]
    return out


def _times(jacobian: Array, r: Array) -> Array:
    """``Jᵀ r`` ``(N, k)``."""
    return np.asarray((jacobian.transpose(0, 2, 1) @ r[..., np.newaxis])[..., 0])


def _step(
    jacobian: Array, gradient: Array, damping: Array, x: Array, low: Array, top: Array, total: float
) -> Array:
    """The damped step ``(N, k)`` of the unknowns that are free to move."""
    i = np.arange(x.shape[1])
    whole = jacobian.transpose(0, 2, 1) @ jacobian
    scale = whole[:, i, i] + _TINY
    at_low, at_top = x <= low, x >= top

    def newton(normal: Array, slope: Array, fixed: NDArray[np.bool_]) -> Array:
        moves = ~fixed
        normal = normal * (moves[:, :, np.newaxis] & moves[:, np.newaxis])
        normal[:, i, i] += np.where(fixed, 1.0, scale * damping[:, np.newaxis])
        return np.asarray(-np.linalg.solve(normal, (slope * moves)[..., np.newaxis])[..., 0])

    fixed = (at_low & (gradient > 0.0)) | (at_top & (gradient < 0.0))
    step = newton(whole, gradient, fixed)
    if not np.isfinite(total):
        return step
    over = np.clip(x + step, low, top).sum(axis=1) > total
    full = over & (x.sum(axis=1) >= total * (1.0 - _TINY))
    # With every column less their mean over the unknowns that move, weighted as the damping weights
    # them, a step adds up to 0. Which move is known once the mean and the step are: so in turns.
    for _ in range(x.shape[1] if full.any() else 0):
        weight = np.where(fixed, 0.0, 1.0 / scale)
        weight /= np.maximum(weight.sum(axis=1, keepdims=True), _TINY)
        less = np.eye(len(i)) - weight[:, :, np.newaxis]  # columns times this: less their mean
        normal = less.transpose(0, 2, 1) @ whole @ less
        slope = _times(less, gradient)
        along = newton(normal, slope, fixed)
        fixed = (at_low & ((slope > 0.0) | (along < 0.0))) | (
            at_top & ((slope < 0.0) | (along > 0.0))
        )
        step = np.where(full[:, np.newaxis], along, step)
    return step
