"""A dye's ladder of spectra: its curve and law by weighted linear least squares.

For a given surface term and depth law each band of a dye's curve is a weighted linear least
squares with one unknown, so only the law's parameter and the surface term are searched for
(variable projection). Residuals are weighted by ``|dR/dk|``, which makes a least squares on K/S
one on reflectance, where the errors are made (Walowit, McCarthy & Berns, Color Res. Appl. 12
(1987) 340).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import Light, lab
from dyemix.model.kubelka_munk import Surface, depth_law

#: Law of a dye with two depths, until it has a third: a Freundlich exponent in the middle of
#: what reactive dyes on cotton show. A working value of ours, stated wherever it is used.
TYPICAL_EXPONENT = 0.85
TYPICAL_LAW = f"typical law, exponent {TYPICAL_EXPONENT}, not measured"

_EXPONENTS = np.linspace(0.4, 1.4, 41)
_CAPACITIES = np.geomspace(0.4, 200.0, 41)  # % owf


@dataclass(frozen=True)
class Laws:
    """Candidate parameters of one depth law, ``(P,)`` each."""

    exponent: Array
    capacity: Array

    @staticmethod
    def linear() -> Laws:
        return Laws(np.array([1.0]), np.array([np.inf]))

    @staticmethod
    def freundlich(exponent: Array) -> Laws:
        return Laws(exponent, np.full(len(exponent), np.inf))

    @staticmethod
    def langmuir(capacity: Array) -> Laws:
        return Laws(np.ones(len(capacity)), capacity)

    def between(self, best: int) -> Laws:
        """Finer candidates around one of these: the search zooms in."""
        low, high = max(best - 1, 0), min(best + 1, len(self.exponent) - 1)
        if np.isinf(self.capacity[0]):
            return Laws.freundlich(np.linspace(self.exponent[low], self.exponent[high], 21))
        return Laws.langmuir(np.geomspace(self.capacity[low], self.capacity[high], 21))


LAWS = {
    "linear": Laws.linear(),
    "Langmuir": Laws.langmuir(_CAPACITIES),
    "Freundlich": Laws.freundlich(_EXPONENTS),
}


@dataclass(frozen=True, eq=False)
class Ladder:
    """Swatches of one dye under one surface term, ready for least squares.

    `depths` ``(S,)`` % owf; `k` ``(S, B)`` K/S over that of the undyed cloth; `weight`
    ``(S, B)`` squared slope dR/dk times how much the swatch counts; `reflectance` ``(S, B)``.
    """

    depths: Array
    k: Array
    weight: Array
    reflectance: Array

    @classmethod
    def of(
        cls, depths: Array, reflectance: Array, cloth: Array, surface: Surface, counts: Array
    ) -> Ladder:
        k = surface.k_over_s(reflectance) - surface.k_over_s(cloth)
        weight = counts[:, np.newaxis] * surface.slope_at(reflectance) ** 2
        return cls(depths, k, weight, reflectance)


@dataclass(frozen=True, eq=False)
class Curve:
    """A dye fitted to a ladder, and the weighted sum of squares it leaves."""

    exponent: float
    capacity: float
    curve: Array
    cost: float


def fit_law(ladder: Ladder, laws: Laws, kept: NDArray[np.bool_] | None = None) -> Curve:
    """The best of `laws` on the swatches in `kept` (all of them by default), zoomed twice."""
    rows = slice(None) if kept is None else kept
    weight, k, depths = ladder.weight[rows], ladder.k[rows], ladder.depths[rows]
    weighted = weight * k
    total = float((weighted * k).sum())
    for zoom in range(3):
        g = depth_law(depths, laws.exponent[:, np.newaxis], laws.capacity[:, np.newaxis])
        top, bottom = g @ weighted, (g * g) @ weight
        curves = np.maximum(top / bottom, 0.0)  # a dye does not brighten cloth: a bound, not a clip
        costs = total + (curves * (curves * bottom - 2.0 * top)).sum(axis=1)
        best = int(np.argmin(costs))
        if len(laws.exponent) == 1 or zoom == 2:
            break
        laws = laws.between(best)
    return Curve(
        float(laws.exponent[best]), float(laws.capacity[best]), curves[best], float(costs[best])
    )


def predict(curve: Curve, depths: Array, cloth: Array, surface: Surface) -> Array:
    g = depth_law(depths, curve.exponent, curve.capacity)
    return surface.reflectance(surface.k_over_s(cloth) + g[:, np.newaxis] * curve.curve)


@dataclass(frozen=True, eq=False)
class LeftOut:
    """ΔE2000 of each depth predicted without it: one number a swatch, and which are inner."""

    delta_e: Array
    inner: NDArray[np.bool_]
    strength: Array


def leave_out(ladder: Ladder, laws: Laws, cloth: Array, surface: Surface, light: Light) -> LeftOut:
    """Leave each depth out in turn and predict its swatches from the others."""
    miss = np.zeros(len(ladder.depths))
    strength = np.ones(len(ladder.depths))
    steps = np.unique(ladder.depths)
    for depth in steps:
        out = ladder.depths == depth
        curve = fit_law(ladder, laws, ~out)
        predicted = predict(curve, ladder.depths[out], cloth, surface)
        miss[out] = delta_e(lab(ladder.reflectance[out], light), lab(predicted, light))
        shape = depth_law(depth, curve.exponent, curve.capacity) * curve.curve
        weight = ladder.weight[out]
        bottom = (weight * shape**2).sum(1)
        # The others of a dye that reads lighter than undyed cloth predict no dye at all: any
        # strength at all is as far from that.
        strength[out] = np.divide(
            (weight * ladder.k[out] * shape).sum(1), bottom, out=np.ones(len(bottom)),
            where=bottom > 0.0,
        )  # fmt: skip
    inner = (ladder.depths > steps[0]) & (ladder.depths < steps[-1])
    return LeftOut(miss, inner, strength)


def wins(simpler: Array, richer: Array) -> bool:
    """Whether the richer model's left-out ΔE2000 is lower by more than one standard error."""
    gain = simpler - richer
    return bool(
        len(gain) > 1 and gain.mean() > gain.std(ddof=1) / np.sqrt(len(gain)) and gain.mean() > 0
    )


@dataclass(frozen=True, eq=False)
class DyeFit:
    curve: Curve
    left_out: LeftOut | None
    note: str = ""


def fit_ladder(ladder: Ladder, cloth: Array, surface: Surface, light: Light) -> DyeFit:
    """The law that left-out depths choose for one dye, fitted to all of its swatches."""
    if len(np.unique(ladder.depths)) < 3:
        laws = Laws.freundlich(np.array([TYPICAL_EXPONENT]))
        return DyeFit(fit_law(ladder, laws), None, TYPICAL_LAW)
    left = {name: leave_out(ladder, laws, cloth, surface, light) for name, laws in LAWS.items()}
    inner = left["linear"].inner
    miss = {name: x.delta_e[inner] for name, x in left.items()}
    bent = min(("Langmuir", "Freundlich"), key=lambda name: miss[name].mean())
    chosen = bent if wins(miss["linear"], miss[bent]) else "linear"
    return DyeFit(fit_law(ladder, LAWS[chosen]), left[chosen])
