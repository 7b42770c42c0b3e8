"""Kubelka–Munk for an opaque layer of dyed cloth: pure array functions, no state.

Reflectance is a fraction (0–1), K/S is the ratio of absorption to scattering of an infinitely
thick layer. Arrays of any shape; every function works element by element.

Sources: Kubelka & Munk, Z. tech. Phys. 12 (1931) 593; Kubelka, J. Opt. Soc. Am. 38 (1948) 448;
Saunderson, J. Opt. Soc. Am. 32 (1942) 727.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from dyemix.arrays import Array


def k_over_s(reflectance: ArrayLike) -> Array:
    """K/S of an opaque layer, ``(1 − R)² / (2R)`` (Kubelka & Munk 1931).

    `reflectance` is inside the cloth, in (0, 1]. The caller keeps it above 0.
    """
    r = np.asarray(reflectance, dtype=float)
    return np.asarray((1.0 - r) ** 2 / (2.0 * r))


def reflectance(k: ArrayLike) -> Array:
    """Reflectance of an opaque layer of K/S `k` ≥ 0.

    ``R = 1 / (1 + k + √(k² + 2k))``: the usual root rationalised, so that it does not lose its
    digits by subtraction when `k` is large.
    """
    k = np.asarray(k, dtype=float)
    return np.asarray(1.0 / (1.0 + k + np.sqrt(k * (k + 2.0))))


@dataclass(frozen=True)
class Surface:
    """The light that the surface sends back, or keeps in, before the dye has had its say.

    ``Rm = r0 + (1 − r0) (1 − k2) R / (1 − k2 R)``

    `r0` is the flat part that never enters the cloth (Pineo's form where ``k2 = 0``); `k2` the
    share reflected back inside at the surface. This is Saunderson's equation with its factor
    ``1 − k1`` fixed by the condition that a perfect white reads 1: on cloth measured against a
    white tile that factor and the scale of the tile cannot be told apart.
    """

    r0: float = 0.0
    k2: float = 0.0

    def measured(self, inside: ArrayLike) -> Array:
        """Reflectance as an instrument sees it, from the reflectance inside the cloth."""
        r = np.asarray(inside, dtype=float)
        return np.asarray(self.r0 + (1.0 - self.r0) * (1.0 - self.k2) * r / (1.0 - self.k2 * r))

    def slope(self, inside: ArrayLike) -> Array:
        """Derivative of the measured reflectance by K/S, at a reflectance inside the cloth.

        There it is ``dR/dk = −2R² / (1 − R²)``, from differentiating ``k = (1 − R)²/(2R)``. At R =
        1 that is infinite, and with it every weight made from it. R is therefore held at 0.999
        and below in it: no cloth comes near it, and a reading that does is flagged. Nor is it ever
        0, or what divides by it would have no number for a black without end.
        """
        r = np.asarray(inside, dtype=float)
        through = (1.0 - self.r0) * (1.0 - self.k2) / (1.0 - self.k2 * r) ** 2
        r = np.clip(r, 1e-12, 0.999)
        return np.asarray(through * (-2.0 * r * r / (1.0 - r * r)))

    def inside(self, measured: ArrayLike) -> Array:
        """Reflectance inside the cloth; `measured` must lie above `r0`."""
        y = (np.asarray(measured, dtype=float) - self.r0) / (1.0 - self.r0)
        return np.asarray(y / (1.0 - self.k2 + self.k2 * y))

    def k_over_s(self, measured: ArrayLike) -> Array:
        """K/S of the cloth under this surface."""
        return k_over_s(self.inside(measured))

    def k_over_s_slope(self, measured: Array) -> Array:
        """Slope ``(..., 2)`` of that by r0 and by k2, from differentiating the equation."""
        by_r0 = (measured - 1.0) / ((1.0 - self.r0) * self.slope(self.inside(measured)))
        return np.stack([by_r0, by_r0 * (self.r0 - measured) / (1.0 - self.k2)], axis=-1)

    def reflectance(self, k: ArrayLike) -> Array:
        """Measured reflectance of cloth of K/S `k`."""
        return self.measured(reflectance(k))

    def reflectance_and_slope(self, k: ArrayLike) -> tuple[Array, Array]:
        """Measured reflectance of cloth of K/S `k`, and its derivative with respect to `k`."""
        inside = reflectance(k)
        return self.measured(inside), self.slope(inside)


#: Depths (% owf) are shifted by this much in the depth law, so that its slope at zero is finite,
#: and about this one it bends.
SHIFT, PIVOT = 0.01, 0.5


def depth_law_and_slope(c: ArrayLike, law: Array, slope: bool = True) -> tuple[Array, Array]:
    """How much dye works for a depth `c` (% owf), and how much more for more, if that is asked.

    ``g = ((c + s)^n − s^n) exp(½ q ln²((c + s)/p))``, and ``dg/dc``.

    `law` ``(..., 2)`` holds the exponent n of a Freundlich isotherm and the bend q. With q < 0 the
    dye runs out of places as it goes deeper, with q > 0 it starts late. The small shift s (0.01 %
    owf) is ours: a bare ``c^n`` with n < 1 rises infinitely steeply at zero, where no swatch can
    say so, and stops any solver that starts there. The pivot p is 0.5 % owf.
    """
    depth, n, q = np.asarray(c, dtype=float) + SHIFT, law[..., 0], law[..., 1]
    log = np.log(depth)
    power = np.exp(n * log)
    rise, log = power - np.exp(n * np.log(SHIFT)), log - np.log(PIVOT)
    bend = np.exp(0.5 * q * log * log)
    more = (n * power + rise * (q * log)) / depth * bend if slope else np.empty(0)
    return np.asarray(rise * bend), np.asarray(more)


def depth_law(c: ArrayLike, law: Array) -> Array:
    """How much dye works for a depth `c` (% owf), as `depth_law_and_slope` says."""
    return depth_law_and_slope(c, law, slope=False)[0]


def depth_law_by_law(c: ArrayLike, law: Array) -> Array:
    """``d ln g`` of `depth_law` by exponent and bend ``(..., 2)``; 0 where there is no dye."""
    depth, n = np.asarray(c, dtype=float) + SHIFT, law[..., 0]
    power, least, log = depth**n, SHIFT**n, np.log(depth)
    by_exponent = (power * log - least * np.log(SHIFT)) / np.maximum(power - least, 1e-12)
    by_bend = np.where(depth > SHIFT, 0.5 * (log - np.log(PIVOT)) ** 2, 0.0)
    return np.stack(np.broadcast_arrays(by_exponent, by_bend), axis=-1)


def saturation(law: Array) -> Array:
    """How much slower than usual dyes of laws ``(D, 2)`` rise where cloth fills: d ln g / d ln c at
    2 % owf, less 0.95."""
    return np.asarray(law[:, 0] + law[:, 1] * np.log(2.0 / PIVOT) - 0.95)


def law_text(law: Array) -> str:
    """A depth law in short: its exponent, and its bend where it has one."""
    exponent, bend = float(law[0]), float(law[1])
    return f"c^{exponent:.2f}" + (f", bend {bend:+.2f}" if abs(bend) >= 0.005 else "")
