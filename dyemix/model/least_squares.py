"""Bounded damped least squares, many small problems at once.

Minimises ``½ |r(x)|²`` over ``lower ≤ x ≤ upper`` and, where a total is set, ``Σ x ≤ total``, for
N problems of k unknowns. The problems stand last in every array, so that each operation runs over
all of them at once, elimination of the small normal equations too. The step is Gauss–Newton with
Levenberg–Marquardt damping scaled by the diagonal (Marquardt, J. SIAM 11 (1963) 431). Unknowns that
rest on a bound and would leave it are held for the step (an active set by projection, Bertsekas,
SIAM J. Control Optim. 20 (1982) 221). A step that would exceed the total is the one that minimises
the same model where the total is just reached, by its multiplier (Nocedal & Wright, Numerical
Optimization, 2nd ed. (2006), section 16.1). Where residuals stay large, Gauss–Newton creeps; on
request their curvature is learnt from the steps taken (Dennis, Gay & Welsch, ACM Trans. Math.
Softw. 7 (1981) 348). What still leads outside is brought back, and a step is taken only when it
lowers the objective.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from dyemix.arrays import Array, Flags, Indices

#: ``residual(x (k, M), rows (M,)) -> (r (m, M), dr/dx (m, k, M))`` for the problems in `rows`.
Residual = Callable[[Array, Indices], tuple[Array, Array]]

_TINY = 1e-9
#: Problems are set aside where this share is left of them: moving arrays costs as much as a step.
_FEWER = 0.85
#: Damping grows where a step keeps up to a quarter of its promise, and eases where it keeps three
#: quarters: by these factors, and to these at least.
_KEPT, _DAMPED, _LEAST = np.array([[0.25, 0.75, np.inf], [5.0, 1.0, 0.2], [0.05, 0.0, 1e-10]])


class Solved(NamedTuple):
    """Where the problems ended.

    Attributes
    ----------
    x : ``(k, N)``, within the bounds.
    cost : ``(N,)`` sum of squares ``|r|²``.
    """

    x: Array
    cost: Array


def within(x: Array, lower: Array, upper: Array, total: float = np.inf, axis: int = 0) -> Array:
    """Amounts brought inside: clipped, then scaled towards `lower` to a `total` over `axis`."""
    inside = np.minimum(np.maximum(x, lower), upper)  # `np.clip` takes longer
    if not np.isfinite(total):
        return inside
    above = inside - lower
    room = np.maximum(total - lower.sum(axis=axis, keepdims=True), 0.0)
    share = room / np.maximum(np.maximum(above.sum(axis=axis, keepdims=True), room), _TINY)
    return np.where(share < 1.0, lower + above * share, inside)


def solve(
    residual: Residual, start: Array, upper: Array, *, lower: Array | None = None,
    total: float = np.inf, steps: int = 60, tolerance: float = 1e-7, secants: bool = False,
    hopeless: Callable[[Array, Indices], Flags] | None = None,
) -> Solved:  # fmt: skip
    """Solve N bounded least-squares problems, `lower` ≤ x ≤ `upper` and Σ x ≤ `total`.

    Each problem goes its own way: its answer does not depend on what stands beside it.

    Parameters
    ----------
    start, upper : ``(k, N)``.
    lower : ``(k, N)``, 0 where it is not given.
    total : most that the unknowns of one problem may come to; no less than their `lower` do.
    steps : the most steps any problem takes.
    tolerance : a problem is settled where the next step promises to lower its objective by less
        than ``tolerance · (1e-3 + objective)``.
    secants : whether to learn the curvature of the residuals: fewer steps where they stay large.
    hopeless : of costs ``(M,)`` of the problems in rows ``(M,)``, which are not worth another step;
        asked once a step was taken and later.
    """
    low, top = np.zeros_like(upper) if lower is None else lower, upper
    rows, limited = np.arange(start.shape[1]), bool(np.isfinite(total))
    x = within(start, low, top, total)
    both = _beside(*residual(x, rows))
    cost = np.square(both[:, -1]).sum(axis=0)
    damping = np.full(len(rows), 1e-3)
    bend = np.zeros((secants * len(start), *both.shape[1:]))
    ended = np.zeros(len(rows), dtype=bool)
    out = Solved(x.copy(), cost.copy())
    for i in range(steps):
        step, gradient = _step(both, bend, damping, x, low, top, total)
        tried = np.minimum(np.maximum(x + step, low), top)
        if limited:  # what would exceed it is taken off whatever rose
            rise = np.maximum(tried - x, 0.0)
            over = np.maximum(tried.sum(axis=0) - total, 0.0)
            tried -= rise * (over / np.maximum(rise.sum(axis=0), _TINY))
        step = tried - x
        promised = np.abs(np.einsum("kn,kn->n", gradient, step))
        # A projected step can promise to rise: not the end, but too long, and damping shortens it.
        # A damped step promises less than there is. Under a total one that is hardly damped can
        # promise nothing for being turned aside: the end is where one well damped does not either.
        done = promised * (1.0 + damping) < tolerance * (1e-3 + cost)
        turned = done & (damping < 10.0) & limited
        ended |= (done & ~turned) | (damping > 1e8)
        if hopeless is not None and i:
            ended |= hopeless(cost, rows)
        # Those that ended stay as they are, and are left out once they are not few.
        left = (~ended).nonzero()[0]
        if not len(left):
            break
        if len(left) < _FEWER * len(rows):
            out.x[:, rows], out.cost[rows] = x, cost
            rows, turned, ended = rows[left], turned[left], ended[left]
            every = cost, damping, promised, x, low, top, tried, step, gradient, both, bend
            cost, damping, promised, x, low, top, tried, step, gradient, both, bend = (
                part.take(left, axis=-1) for part in every
            )
        both_new = _beside(*residual(tried, rows))
        cost_new = np.square(both_new[:, -1]).sum(axis=0)
        # Damped less where the promise was kept, more where hardly: steps can turn to and fro.
        kept = (cost - cost_new) / np.maximum(promised, 1e-300)
        grade = _KEPT.searchsorted(kept)
        damping = np.maximum(damping * _DAMPED.take(grade), _LEAST.take(grade))
        damping[turned] = 10.0
        better = (cost_new < cost) & ~ended
        if secants:
            learnt = _bent(bend[:, :-1], step, gradient, both, both_new)
            np.copyto(bend[:, :-1], learnt, where=better)
        for held, new in ((x, tried), (cost, cost_new), (both, both_new)):
            np.copyto(held, new, where=better)
    out.x[:, rows], out.cost[rows] = x, cost
    return out


def _beside(r: Array, jacobian: Array) -> Array:
    """Slopes and, last, residuals ``(m, k + 1, N)``: one array to move for two."""
    return np.concatenate([jacobian, r[:, np.newaxis]], axis=1)


def _bent(bend: Array, step: Array, gradient: Array, before: Array, after: Array) -> Array:
    """Second-order part ``(k, k, N)`` of the normal equations after a step, with its sizing."""
    r, before, after = after[:, -1:], before[:, :-1], after[:, :-1]
    turned = ((after - before) * r).sum(axis=0)
    through = (bend * step).sum(axis=1)
    was, now = (np.abs((step * part).sum(axis=0)) for part in (through, turned))
    size = np.minimum(1.0, now / np.maximum(was, 1e-300))
    rest = turned - size * through
    change = (after * r).sum(axis=0) - gradient
    climb = (change * step).sum(axis=0)
    change = change / np.where(climb > 1e-300, climb, np.inf)
    cross = rest[:, np.newaxis] * change
    twice = (rest * step).sum(axis=0) * change[:, np.newaxis] * change
    return np.asarray(size * bend + cross + cross.swapaxes(0, 1) - twice)


def _step(
    both: Array, bend: Array, damping: Array, x: Array, low: Array, top: Array, total: float
) -> tuple[Array, Array]:
    """The damped step ``(k, N)`` of the unknowns that are free to move, and the gradient there."""
    k, n = x.shape
    system = np.einsum("min,mjn->ijn", both[:, :k], both, order="C")  # the gradient last
    gradient, diagonal = system[:, k].copy(), system.reshape(-1, n)[:: k + 2]
    diagonal *= 1.0 + damping
    diagonal += _TINY
    at_low, at_top = x <= low, x >= top
    fixed = (at_low & (gradient > 0.0)) | (at_top & (gradient < 0.0))
    if limited := np.isfinite(total):
        full = x.sum(axis=0) >= total * (1.0 - _TINY)
        # Which unknowns are held follows from the price of the total here, and the price from them.
        for _ in range(k * bool(full.any())):
            weight = ~fixed / diagonal
            mean = (weight * gradient).sum(axis=0) / np.maximum(weight.sum(axis=0), 1e-300)
            slope = gradient + np.where(full, np.maximum(-mean, 0.0), 0.0)
            fixed = (at_low & (slope > 0.0)) | (at_top & (slope < 0.0))
        system = np.concatenate([system, np.ones((k, 1, n))], axis=1)
        bend = np.concatenate([bend, np.zeros((len(bend), 1, n))], axis=1)
    step, pivots = eliminated(system + bend if len(bend) else system, fixed)
    if len(bend) and (odd := (pivots <= 0.0).any(axis=1)).any():
        # No minimum that way: without the curvature there is one.
        step[..., odd], _ = eliminated(system[..., odd], fixed[:, odd])
    plain = -step[:, 0]
    if limited:
        over = np.clip(x + plain, low, top).sum(axis=0) > total
        excess = np.where(over, np.maximum((x + plain).sum(axis=0) - total, 0.0), 0.0)
        plain -= excess / np.maximum(step[:, 1].sum(axis=0), 1e-300) * step[:, 1]
    return plain, gradient


def eliminated(system: Array, fixed: Flags) -> tuple[Array, Array]:
    """Solutions ``(k, R, N)`` of symmetric systems with R right sides beside each, ``(k, k + R,
    N)``; 0 where an unknown is fixed.

    And the pivots ``(N, k)``, all above 0 where a system is positive definite, as it must be for
    its solution to be good. By Gauss and Jordan.
    """
    k, moves = len(system), (~fixed).astype(system.dtype)
    a = system * moves[:, np.newaxis]
    a[:, :k] *= moves
    a.reshape(-1, a.shape[-1])[:: a.shape[1] + 1] += fixed
    for i in range(k):
        row = a[i, i + 1 :] / a[i, i]
        a[:, i + 1 :] -= a[:, i, np.newaxis] * row
        a[i, i + 1 :] = row
    return a[:, k:], a.diagonal()
