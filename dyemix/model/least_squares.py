"""Bounded damped least squares, many small problems at once.

Minimises ``½ |r(x)|²`` over ``lower ≤ x ≤ upper`` for N problems of k unknowns held in
arrays. The step is Gauss–Newton with Levenberg–Marquardt damping scaled by the diagonal
(Marquardt, J. SIAM 11 (1963) 431); unknowns that rest on a bound and would leave it are held for
the step (an active set by projection, Bertsekas, SIAM J. Control Optim. 20 (1982) 221), and the
step is projected back onto the bounds. A step is taken only when it lowers the objective.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array

#: ``residual(x (M, k), rows (M,)) -> (r (M, m), dr/dx (M, m, k))`` for the problems in `rows`.
Residual = Callable[[Array, NDArray[np.intp]], tuple[Array, Array]]


@dataclass(frozen=True, eq=False)
class Solved:
    """Where the problems ended.

    Attributes
    ----------
    x : ``(N, k)``, within the bounds.
    cost : ``(N,)`` sum of squares ``|r|²``.
    settled : ``(N,)`` whether the last step was too small to matter.
    """

    x: Array
    cost: Array
    settled: NDArray[np.bool_]


def solve(
    residual: Residual,
    start: Array,
    upper: Array,
    *,
    steps: int = 60,
    tolerance: float = 1e-7,
    last_step: bool = True,
    lower: Array | None = None,
) -> Solved:
    """Solve N bounded least-squares problems, `lower` ≤ x ≤ `upper`.

    Each problem goes its own way: its answer does not depend on what stands beside it.

    Parameters
    ----------
    start, upper : ``(N, k)``.
    steps : the most steps any problem takes.
    tolerance : a problem is settled after the step that promises to lower its objective by less
        than ``tolerance · (1e-3 + objective)``.
    last_step : whether that step is taken; for many problems that are settled where they start,
        not taking it saves half of the work.
    lower : ``(N, k)``, 0 where it is not given.
    """
    low = np.zeros_like(upper) if lower is None else lower
    x = np.clip(start, low, upper)
    n, k = x.shape
    rows = np.arange(n)
    r, jacobian = residual(x, rows)
    cost = np.einsum("nm,nm->n", r, r)
    damping = np.full(n, 1e-3)
    going = np.ones(n, dtype=bool)
    settled = np.zeros(n, dtype=bool)
    diagonal = np.arange(k)
    out_x, out_cost = x.copy(), cost.copy()
    top = upper
    for _ in range(steps):
        gradient = np.einsum("nmk,nm->nk", jacobian, r)
        held = ((x <= low) & (gradient > 0.0)) | ((x >= top) & (gradient < 0.0))
        normal = jacobian.transpose(0, 2, 1) @ jacobian
        scale = normal[:, diagonal, diagonal] + 1e-9
        normal[held] = 0.0
        normal.transpose(0, 2, 1)[held] = 0.0
        normal[:, diagonal, diagonal] = np.where(held, 1.0, scale * (1.0 + damping[:, np.newaxis]))
        step = -np.linalg.solve(normal, np.where(held, 0.0, gradient)[..., np.newaxis])[..., 0]
        tried = np.clip(x + step, low, top)
        promised = -np.einsum("nk,nk->n", gradient, tried - x)
        # A projected step can promise to rise: not the end, but too long, and damping shortens it.
        # A heavily damped step promises little wherever it stands: not the end either.
        done = (np.abs(promised) < tolerance * (1e-3 + cost)) & (damping < 1.0)
        if not last_step and done.any():
            settled[rows[going & done]] = True
            out_x[rows], out_cost[rows] = x, cost
            left = going & ~done
            if not left.any():
                break
            rows, x, r, jacobian = rows[left], x[left], r[left], jacobian[left]
            low, top = low[left], top[left]
            cost, damping, tried, gradient = cost[left], damping[left], tried[left], gradient[left]
            going, done = going[left], done[left]
        r_new, jacobian_new = residual(tried, rows)
        cost_new = np.einsum("nm,nm->n", r_new, r_new)
        better = going & (cost_new < cost)
        x = np.where(better[:, np.newaxis], tried, x)
        r = np.where(better[:, np.newaxis], r_new, r)
        jacobian = np.where(better[:, np.newaxis, np.newaxis], jacobian_new, jacobian)
        cost = np.where(better, cost_new, cost)
        damping = np.clip(np.where(better, damping * 0.2, damping * 5.0), 1e-10, 1e10)
        ended = going & (done | (~better & (damping >= 1e8)))
        settled[rows[ended]] = True
        going = going & ~ended
        out_x[rows], out_cost[rows] = x, cost
        if not going.any():
            break
        if going.sum() < 0.8 * len(rows):
            rows, x, r, jacobian = rows[going], x[going], r[going], jacobian[going]
            cost, damping, low, top = cost[going], damping[going], low[going], top[going]
            going = np.ones(len(rows), dtype=bool)
    return Solved(out_x, out_cost, settled)
