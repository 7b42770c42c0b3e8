"""How the light falls over the sheet, from its bare paper."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array

#: A white spot that differs from the smooth fit by more than this is covered or in shadow.
_OFF = 0.03


@dataclass(frozen=True, eq=False)
class Flat:
    """A smooth surface of relative light, 1 on average over the white spots.

    Attributes
    ----------
    coefficients : ``(P, 3)`` of a polynomial in position, of the log of the light, by channel;
        empty where there was no white to see.
    centre, size : that bring pixels to about −1 … 1.
    level : ``(3,)`` linear light of the paper where the relative light is 1.
    residual : robust standard deviation of the spots about the surface, as a fraction.
    clipped : whether the paper is at the top of the scale, so that all this is not known well.
    spots : ``(M, 2)`` places of bare paper that no cloth covers; ``ratio`` ``(M,)`` their light
        over the surface. `bare` is how many of all spots those are, as a fraction.
    """

    coefficients: Array
    centre: Array
    size: float
    level: Array
    residual: float
    spots: Array
    ratio: Array
    bare: float
    clipped: bool = False

    @property
    def known(self) -> bool:
        return self.coefficients.size > 0

    def at(self, pixels: Array) -> Array:
        """Relative light ``(N, 3)`` at pixels ``(N, 2)``."""
        if not self.known:
            return np.ones((len(pixels), 3))
        terms = _terms((pixels - self.centre) / self.size, len(self.coefficients))
        return np.asarray(np.exp(terms @ self.coefficients))

    def near(self, pixel: Array, count: int = 6) -> float:
        """Median light of the nearest white spots over the surface: below 1 in a shadow."""
        if len(self.spots) < count:
            return 1.0
        distance = np.linalg.norm(self.spots - pixel, axis=1)
        return float(np.median(self.ratio[np.argsort(distance)[:count]]))


NO_FLAT = Flat(np.empty(0), np.zeros(2), 1.0, np.ones(3), 0.0, np.empty((0, 2)), np.empty(0), 1.0)


def _terms(position: Array, count: int) -> Array:
    """The first `count` of 1, x, y, x², xy, y², … ``(N, count)``, degree by degree."""
    x, y = position[:, 0], position[:, 1]
    columns = [x ** (d - j) * y**j for d in range(5) for j in range(d + 1)]
    return np.stack(columns[:count], axis=1)


def covered(off: Array) -> NDArray[np.bool_]:
    """Where cloth lies on paper or print, whose log light is `off` ``(N, 3)`` what it should be.

    Cloth is coloured or dark; a shadow is neither.
    """
    level = np.abs(off.mean(axis=1))
    return np.asarray((np.ptp(off, axis=1) > np.maximum(0.04, level / 2)) | (level > 0.5))


def fit_flat(spots: Array, light: Array) -> Flat:
    """Fit the light over the page to white spots.

    `spots` ``(M, 2)`` in pixels and their linear light ``(M, 3)``. The degree grows to four (enough
    for cos⁴ fall-off and a lamp to one side) as far as the spots carry it; spots that are covered
    or shadowed are left out on the way.
    """
    if len(spots) < 4:
        return NO_FLAT
    centre = spots.mean(axis=0)
    size = float(np.abs(spots - centre).max())
    log = np.log(np.maximum(light, 1e-5))
    bright = log.mean(axis=1)
    kept = bright > np.quantile(bright, 0.75) - 0.7  # half the light of the best: still paper
    coefficients = np.empty(0)
    # Tighter from step to step: a plane first, so that covered spots cannot bend the surface.
    for count, tolerance in ((3, 0.25), (3, 0.15), (6, 0.10), (10, 0.06), (15, _OFF), (15, _OFF)):
        usable = next(
            c for c in (count, 10, 6, 3) if c <= count and (c == 3 or 3 * c <= kept.sum())
        )
        terms = _terms((spots - centre) / size, usable)
        coefficients = np.linalg.lstsq(terms[kept], log[kept], rcond=None)[0]
        off = log - terms @ coefficients
        off = off - np.median(off[kept], axis=0)
        worst = np.abs(off).max(axis=1)
        kept = worst <= max(tolerance, 3.0 * 1.4826 * float(np.median(worst[kept])))
    residual = log[kept] - terms[kept] @ coefficients
    mean = (terms[kept] @ coefficients).mean(axis=0)
    coefficients[0] -= mean
    bare = ~covered(off)
    return Flat(
        coefficients,
        centre,
        size,
        np.exp(mean),
        float(1.4826 * np.median(np.abs(residual))),
        spots[bare],
        np.exp(off.mean(axis=1)[bare]),
        float(bare.mean()),
    )
