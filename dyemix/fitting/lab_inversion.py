"""From CIELAB at several depths back to one absorption curve and one depth law: the solver.

Damped Gauss–Newton, many problems side by side, on the residual whose square is ΔE2000, each
reading under its own light, against a prior on the logarithm of the curve: it bends like a band
of a dye, and beyond its last band it falls towards the red.

A bath that is a little weak moves a swatch along its own ladder. Residuals are therefore
whitened by a strength scatter as well as a reading scatter, or the curve would bend to explain
what the balance did.

Axis letters: N problems, S rows (a swatch under a light), B bands, K rows of the prior.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e_residual
from dyemix.colour.colorimetry import D65_10, WAVELENGTHS, lab_from_xyz, lab_slope
from dyemix.fitting.ladder import TYPICAL_EXPONENT
from dyemix.model.kubelka_munk import SHIFT, Surface, depth_law

BANDS = len(WAVELENGTHS)
#: What three numbers and this model leave, in ΔE2000, and in ln(strength) from bath to bath. The
#: second is wider than any balance, since a law that does not quite hold moves swatches the same
#: way. Working values of ours, in the proportion that left-out depths like.
READING_SCATTER = 0.14
STRENGTH_SCATTER = 0.14
#: The rows of the prior: ``_PRIOR @ log a`` is `PRIOR_MEAN`, give or take the stiffness. Working
#: values of ours, chosen on the simulated workshop. A bell of 55 nm half width at half height
#: bends by −2 ln 2 (10/55)² = −0.045 per (10 nm)². Beyond 580 nm the log curve falls by 0.2 per
#: 10 nm (blues, navies and blacks let far red pass); below 450 nm it is level (dyes that do not
#: peak there have bands in the near ultraviolet). The least weight keeps a curve that nothing
#: determines from running off.
_BEND, _FALL = -0.045, -0.2
_LEFT, _RIGHT = WAVELENGTHS[:-1], WAVELENGTHS[1:]
_SLOPE_WEIGHT = np.sqrt(np.select([_LEFT >= 580.0, _RIGHT <= 450.0], [0.3, 0.05], 0.0) + 1e-3)
_SLOPE, _CURVATURE = np.diff(np.eye(BANDS), axis=0), np.diff(np.eye(BANDS), 2, axis=0)
_PRIOR = np.concatenate([_CURVATURE, _SLOPE_WEIGHT[:, np.newaxis] * _SLOPE])
_PRIOR_SQUARED = _PRIOR.T @ _PRIOR
PRIOR_MEAN = np.concatenate(
    [np.full(BANDS - 2, _BEND), np.where(_LEFT >= 580.0, _SLOPE_WEIGHT * _FALL, 0.0)]
)
#: The laws, and the prior of their parameter: none, ln q, n. Wide: six depths overrule it.
LAWS = ("linear", "Langmuir", "Freundlich")
LAW_MEAN = np.array([0.0, np.log(10.0), TYPICAL_EXPONENT])
LAW_SPREAD = np.array([1.0, 1.5, 0.25])
_LAW_BOUNDS = np.array([[0.0, 0.0], [-1.5, 6.0], [0.3, 1.6]])


@dataclass(frozen=True, eq=False)
class Rows:
    """Problems side by side, padded to equally many rows; a padded or left-out row counts 0.

    `depths`, `counts` ``(N, S)``; `goal` ``(N, S, 3)``; `scatter` ``(N, S, 3, 3)``; `weights`
    ``(N, S, B, 3)``, those of each row's light scaled to the white of D65/10°: CIELAB sees XYZ
    only through its ratio to the white, so one formula then serves every light.
    """

    depths: Array
    goal: Array
    scatter: Array
    weights: Array
    counts: Array

    def __getitem__(self, index: NDArray[np.intp] | NDArray[np.bool_]) -> Rows:
        return Rows(
            self.depths[index], self.goal[index], self.scatter[index], self.weights[index],
            self.counts[index],
        )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Seen:
    """N ladders as the model shows them.

    `miss` ``(N, S, 3)`` residual; `by_band` ``(N, S, 3, B)`` its slope by reflectance; `by_log`
    ``(N, S, B)`` slope of reflectance by log a; `by_law` ``(N, S)`` slope of ln g by the law's
    parameter.
    """

    miss: Array
    by_band: Array
    by_log: Array
    by_law: Array

    @property
    def by_strength(self) -> Array:
        """Slope ``(N, S, 3)`` of the residual by ln(strength)."""
        return np.asarray((self.by_band @ self.by_log[..., np.newaxis])[..., 0])


@dataclass(frozen=True, eq=False)
class Problem:
    """N ladders with all that a fit of them takes.

    `law` ``(N,)`` index in `LAWS`; `law_mean`, `law_spread` ``(N,)`` prior of its parameter;
    `stiffness` ``(N,)``; `prior_mean` ``(N, K)``; `noise` ``(N, S, 3)`` what a draw moves the
    readings by, in the residual's terms; `whitener` ``(N, S, 3, 3)``; `cloth` ``(B,)`` K/S.
    The unknowns are ``(N, B + 1)``: the log curve, then the law's parameter.
    """

    rows: Rows
    law: NDArray[np.intp]
    law_mean: Array
    law_spread: Array
    stiffness: Array
    prior_mean: Array
    noise: Array
    whitener: Array
    cloth: Array
    surface: Surface

    def __getitem__(self, index: NDArray[np.intp] | NDArray[np.bool_]) -> Problem:
        return Problem(
            self.rows[index], self.law[index], self.law_mean[index], self.law_spread[index],
            self.stiffness[index], self.prior_mean[index], self.noise[index],
            self.whitener[index], self.cloth, self.surface,
        )  # fmt: skip

    def seen(self, unknowns: Array) -> _Seen:
        """What the model shows for these unknowns, beside what was read."""
        c, law, p = self.rows.depths, self.law[:, np.newaxis], unknowns[:, -1:]
        n, q = law_parameters(law, p)
        g = depth_law(c, n, q)
        top = (c + SHIFT) ** n - SHIFT**n
        by_n = ((c + SHIFT) ** n * np.log(c + SHIFT) - SHIFT**n * np.log(SHIFT)) / top
        by_law = np.where(law == 2, by_n, np.where(law == 1, (c / q) / (1.0 + c / q), 0.0))
        dye = g[..., np.newaxis] * np.exp(unknowns[:, np.newaxis, :BANDS])
        r, dr = self.surface.reflectance_and_slope(self.cloth + dye)
        w = self.rows.weights
        xyz = (r[..., np.newaxis, :] @ w)[..., 0, :]
        miss, slope = delta_e_residual(self.rows.goal, lab_from_xyz(xyz, D65_10))
        by_band = (slope @ lab_slope(xyz, D65_10)) @ np.swapaxes(w, 2, 3)
        return _Seen(miss, by_band, dr * dye, by_law)

    def prior_residual(self, unknowns: Array) -> Array:
        """How far the log curves are from the prior, in its own standard deviations ``(N, K)``."""
        off = unknowns[:, :BANDS] @ _PRIOR.T - self.prior_mean
        return np.asarray(off / self.stiffness[:, np.newaxis])

    def cost_terms(self, unknowns: Array) -> tuple[Array, Array, Array]:
        """Cost ``(N,)``, its half gradient ``(N, B+1)`` and Gauss–Newton matrix."""
        seen = self.seen(unknowns)
        root = np.sqrt(self.rows.counts)[..., np.newaxis]
        r = root * (self.whitener @ (seen.miss - self.noise)[..., np.newaxis])[..., 0]
        by_curve = seen.by_band * seen.by_log[..., np.newaxis, :]
        by_parameter = seen.by_strength * seen.by_law[..., np.newaxis]
        slope = self.whitener @ np.concatenate([by_curve, by_parameter[..., np.newaxis]], axis=-1)
        flat = (root[..., np.newaxis] * slope).reshape(len(r), -1, BANDS + 1)
        off = self.prior_residual(unknowns)
        law_off = (unknowns[:, -1] - self.law_mean) / self.law_spread
        cost = (r * r).sum(axis=(1, 2)) + (off * off).sum(axis=1) + law_off**2
        gradient = (flat.transpose(0, 2, 1) @ r.reshape(len(r), -1, 1))[..., 0]
        gradient[:, :BANDS] += off / self.stiffness[:, np.newaxis] @ _PRIOR
        gradient[:, -1] += law_off / self.law_spread
        matrix = flat.transpose(0, 2, 1) @ flat
        matrix[:, :BANDS, :BANDS] += _PRIOR_SQUARED / self.stiffness[:, None, None] ** 2
        matrix[:, -1, -1] += 1.0 / self.law_spread**2
        return cost, gradient, matrix

    def with_whitener(self, unknowns: Array) -> Problem:
        """Residuals whitened by reading scatter, given covariances and strength scatter here."""
        seen = self.seen(unknowns)
        _, metric = delta_e_residual(self.rows.goal, self.rows.goal)
        total = metric @ self.rows.scatter @ np.swapaxes(metric, -1, -2)
        along = STRENGTH_SCATTER * seen.by_strength[..., np.newaxis]
        total = total + READING_SCATTER**2 * np.eye(3) + along @ np.swapaxes(along, -1, -2)
        return replace(self, whitener=np.linalg.inv(np.linalg.cholesky(total)))


def law_parameters(law: NDArray[np.intp], parameter: Array) -> tuple[Array, Array]:
    """Exponent and capacity of `depth_law` from a law's index in `LAWS` and its parameter."""
    n = np.where(law == 2, parameter, 1.0)
    return n, np.where(law == 1, np.exp(np.where(law == 1, parameter, 0.0)), np.inf)


def minimise(problem: Problem, start: Array, steps: int, tolerance: float) -> Array:
    """Damped Gauss–Newton on all problems at once; each stops by itself. ``(N, B + 1)``."""
    unknowns = start.copy()
    cost, gradient, matrix = problem.cost_terms(unknowns)
    damping = np.full(len(unknowns), 1e-3) / READING_SCATTER**2
    active = np.arange(len(unknowns))
    diagonal = np.arange(BANDS + 1)
    low, high = _LAW_BOUNDS[problem.law].T
    for _ in range(steps):
        damped = matrix[active]
        damped[:, diagonal, diagonal] += damping[active, np.newaxis]
        step = -np.linalg.solve(damped, gradient[active][..., np.newaxis])[..., 0]
        # A step over 1.5 in log a leaves the region where the linearised colours mean anything.
        step *= np.minimum(1.0, 1.5 / np.maximum(np.abs(step).max(axis=1), 1e-12))[:, np.newaxis]
        tried = unknowns[active] + step
        tried[:, -1] = np.clip(tried[:, -1], low[active], high[active])
        new_cost, new_gradient, new_matrix = problem[active].cost_terms(tried)
        better = new_cost < cost[active]
        gain = (cost[active] - new_cost) / cost[active]
        i = active[better]
        unknowns[i], cost[i] = tried[better], new_cost[better]
        gradient[i], matrix[i] = new_gradient[better], new_matrix[better]
        damping[active] *= np.where(better, 0.2, 10.0)
        done = (better & (gain < tolerance)) | (damping[active] > 1e6 / READING_SCATTER**2)
        active = active[~done]
        if not len(active):
            break
    return unknowns
