"""CIELAB, sRGB and ΔE2000 of simulated cloth, by colour-science and its tables.

Tristimulus values are summed at 1 nm (CIE 015:2018) over a reflectance interpolated by a cubic
spline; beyond 400 and 700 nm the end reflectance stands (ASTM E308).
"""

import warnings
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

WAVELENGTHS: Array = np.arange(400.0, 701.0, 10.0)
WAVELENGTHS.flags.writeable = False
_OBSERVERS = {2: "CIE 1931 2 Degree Standard Observer", 10: "CIE 1964 10 Degree Standard Observer"}
_SRGB = np.array(
    [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
)  # IEC 61966-2-1, XYZ under D65 (2°) of white 1 to linear sRGB
_SRGB_WHITE = np.linalg.inv(_SRGB).sum(axis=1)


def _quiet_colour() -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # colour-science speaks of optional packages on import
        import colour
    return colour


@lru_cache(maxsize=4)
def _weights(observer: int) -> Array:
    """Weights ``(31, 3)`` of D65 for this observer, 2 or 10 degrees; white has Y = 1."""
    from scipy.interpolate import CubicSpline

    colour = _quiet_colour()
    fine = np.arange(360.0, 780.5)
    lamp = colour.SDS_ILLUMINANTS["D65"]
    matching = colour.MSDS_CMFS[_OBSERVERS[observer]]
    response = np.stack(
        [np.interp(fine, matching.wavelengths, c) for c in np.asarray(matching.values).T], axis=1
    )
    response *= np.interp(fine, lamp.wavelengths, lamp.values)[:, np.newaxis]
    within = np.clip(fine, WAVELENGTHS[0], WAVELENGTHS[-1])
    spread = CubicSpline(WAVELENGTHS, np.eye(len(WAVELENGTHS)))(within)
    return np.asarray(spread.T @ response / response[:, 1].sum())


def lab(reflectance: Array, observer: int = 10) -> Array:
    """CIELAB ``(..., 3)`` under D65 of reflectance ``(..., 31)`` (CIE 015:2018)."""
    weights = _weights(observer)
    return _lab_of_ratio((reflectance @ weights) / weights.sum(axis=0))


def _lab_of_ratio(ratio: Array) -> Array:
    """CIELAB ``(..., 3)`` of tristimulus values over those of white ``(..., 3)``."""
    bent = np.where(
        ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29
    )  # fmt: skip
    x, y, z = np.moveaxis(bent, -1, 0)
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)


def screen(reflectance: Array, gain: float = 1.0, vivid: float = 1.0) -> NDArray[np.int64]:
    """Eight-bit sRGB ``(..., 3)``, 0 to 255, clipped and rounded as a picture is.

    `gain` brightens the picture and `vivid` multiplies the distance from grey, as phones do.
    """
    weights = _weights(2)
    ratio = (reflectance @ weights) / weights.sum(axis=0)  # white as sRGB has it: 255 thrice
    grey = ratio[..., 1:2]
    linear = np.clip(gain * (grey + vivid * ((ratio * _SRGB_WHITE) @ _SRGB.T - grey)), 0.0, 1.0)
    encoded = np.where(
        linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055
    )
    return np.asarray(np.rint(255.0 * encoded), dtype=np.int64)


def lab_of_screen(codes: NDArray[np.int64]) -> Array:
    """CIELAB ``(..., 3)`` under D65 and 2 degrees of eight-bit sRGB (IEC 61966-2-1)."""
    encoded = codes / 255.0
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    return _lab_of_ratio(linear @ np.linalg.inv(_SRGB).T / _SRGB_WHITE)


def delta_e(one: Array, other: Array) -> Array:
    """ΔE2000 ``(...)`` between CIELAB ``(..., 3)``."""
    return np.asarray(_quiet_colour().delta_E(one, other, method="CIE 2000"))
