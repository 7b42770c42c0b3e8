"""The forward model on arrays: what many blends look like, and how that changes with each amount.

``k_mix(λ) = k_cloth(λ) + Σᵢ gᵢ aᵢ(λ)``: single-constant Kubelka–Munk, the dye absorbing and the
cloth scattering (Kubelka & Munk 1931). ``gᵢ = law(cᵢ) / (1 + κ Σ_{j≠i} cⱼ)``: the depth law of the
dye alone, less what the other dyes keep from it. κ is the competition of the set: one figure (per %
owf), fitted where mixtures were read and 0 elsewhere. A Langmuir isotherm for several dyes has this
form; one κ for all is ours, since a few mixtures cannot tell the dyes apart.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.colorimetry import Light, lab_from_xyz, lab_slope, weights
from dyemix.model.kubelka_munk import Surface, depth_law, depth_law_slope
from dyemix.model.least_squares import Residual

#: ``goal(lab (M, 3), rows (M,)) -> (r (M, m), dr/dlab (M, m, 3))``: what a search makes small.
Goal = Callable[[Array, NDArray[np.intp]], tuple[Array, Array]]


def working_amounts(c: Array, exponent: Array, capacity: Array, competition: float) -> Array:
    """How much of each dye works, g ``(N, k)``, for amounts `c` ``(N, k)`` in % owf."""
    alone = depth_law(c, exponent, capacity)
    if competition == 0.0:
        return alone
    others = c.sum(axis=-1, keepdims=True) - c
    return np.asarray(alone / (1.0 + competition * others))


@dataclass(frozen=True, eq=False)
class Blends:
    """N blends of k dyes each, gathered into arrays.

    Attributes
    ----------
    curves : ``(N, k, B)`` absorption per unit of g.
    exponent, capacity : ``(N, k)``, the depth laws.
    cloth : ``(B,)`` K/S of the undyed cloth.
    surface : the surface term.
    competition : κ, per % owf.
    """

    curves: Array
    exponent: Array
    capacity: Array
    cloth: Array
    surface: Surface
    competition: float = 0.0

    def rows(self, rows: NDArray[np.intp] | NDArray[np.bool_]) -> Blends:
        """Some of the blends."""
        return replace(
            self,
            curves=self.curves[rows],
            exponent=self.exponent[rows],
            capacity=self.capacity[rows],
        )

    def reflectance(self, amounts: Array) -> Array:
        """Reflectance ``(N, B)`` of amounts ``(N, k)`` in % owf."""
        g = working_amounts(amounts, self.exponent, self.capacity, self.competition)
        return self.surface.reflectance(self.cloth + (g[:, np.newaxis, :] @ self.curves)[:, 0, :])

    def reflectance_and_slope(self, amounts: Array) -> tuple[Array, Array]:
        """Reflectance ``(N, B)`` and its slope ``(N, k, B)`` per % owf of each dye."""
        g = working_amounts(amounts, self.exponent, self.capacity, self.competition)
        k = self.cloth + (g[:, np.newaxis, :] @ self.curves)[:, 0, :]
        r, dr = self.surface.reflectance_and_slope(k)
        by_depth = depth_law_slope(amounts, self.exponent, self.capacity)
        if self.competition == 0.0:
            return r, self.curves * dr[:, np.newaxis, :] * by_depth[:, :, np.newaxis]
        others = amounts.sum(axis=-1, keepdims=True) - amounts
        share = 1.0 / (1.0 + self.competition * others)
        # ∂gᵢ/∂cⱼ: the dye's own law on the diagonal, what j keeps from i off it.
        by_amount = np.repeat((-self.competition * g * share)[:, np.newaxis, :], g.shape[1], axis=1)
        diagonal = np.arange(g.shape[1])
        by_amount[:, diagonal, diagonal] = by_depth * share
        return r, (by_amount @ self.curves) * dr[:, np.newaxis, :]

    def lab_and_slope(self, amounts: Array, light: Light) -> tuple[Array, Array]:
        """CIELAB ``(N, 3)`` under `light`, and its slope ``(N, 3, k)`` per % owf of each dye."""
        r, dr = self.reflectance_and_slope(amounts)
        xyz = r @ weights(light)
        slope = lab_slope(xyz, light) @ (dr @ weights(light)).transpose(0, 2, 1)
        return lab_from_xyz(xyz, light), slope


def lab_residual(blends: Blends, goal: Goal, light: Light) -> Residual:
    """A goal on CIELAB under `light` as a function of amounts ``(M, k)``, for the solver.

    `goal` is told which rows of `blends` its colours are of. Gathering those costs as much as
    predicting them, so it is done only when the solver turns to other rows.
    """
    last: NDArray[np.intp] | None = None
    part = blends

    def residual(amounts: Array, rows: NDArray[np.intp]) -> tuple[Array, Array]:
        nonlocal last, part
        if rows is not last:
            last, part = rows, blends.rows(rows)
        lab, slope = part.lab_and_slope(amounts, light)
        value, by_lab = goal(lab, rows)
        return value, by_lab @ slope

    return residual
