"""The stated errors of photographs, computed anew: ``python -m benchmarks.photo_errors``.

Twenty invented sensors without noise, in daylight and under lamps, see the ISO 17321-1 patches, the
samples of CIE 224:2017 and invented dyed cloth, all that sRGB holds. What is printed stands,
rounded, in `dyemix.photo.patches`. The sensors that judge the errors take no part.
"""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise, product

import numpy as np
from scipy.optimize import minimize

from benchmarks.photo_scenes import SAID, dyed
from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e, metric
from dyemix.colour.colorimetry import D65_2, lab_slope, xyz_from_lab
from dyemix.photo import patches as colour
from dyemix.photo.decode import SRGB_TO_XYZ
from tests.simulated.camera import WAVELENGTHS, Camera, lab_d65, other_samples, patch_card, textiles

SENSORS = range(2, 22)
#: In what light pictures are taken, by weight.
LIGHTS = dict.fromkeys(("D50", "D55", "D65", "D75"), 0.125)
LIGHTS |= dict.fromkeys(("LED-B3", "LED-B4", "LED-B5"), 0.1)
LIGHTS |= dict.fromkeys(("LED-B2", "A", "FL11", "LED-RGB1"), 0.05)
#: Edges of ΔE2000 between two colours.
APART = (0, 3, 6, 9, 12, 18, 30)
_ALL = np.concatenate([textiles(), other_samples(), dyed(np.random.default_rng(5), 300)])
#: What sRGB cannot hold is read as a bound, not a value.
_LINEAR = xyz_from_lab(lab_d65(_ALL), D65_2) / 100.0 @ np.linalg.inv(SRGB_TO_XYZ).T
CLOTH = _ALL[_LINEAR.min(axis=1) > 0.005]


def off(matrix: colour.CameraMatrix, camera: Camera) -> Array:
    """The error ``(S, 3)`` of cloth in the three parts of ΔE2000, grey at its reflectance."""
    lab = lab_d65(CLOTH)
    rgb = np.maximum(camera.render(CLOTH) / camera.render(np.ones((1, WAVELENGTHS.size))), 0.0)
    return np.asarray(np.einsum("nij,nj->ni", metric(lab), matrix.lab(rgb) - lab))


def typical() -> tuple[Array, Array]:
    """What a typical sensor counts of linear sRGB ``(3, 3)``, and what lamps change in it a unit of
    the log ratio of red to blue: least squares on ΔE2000 over all sensors and lights, white kept.
    """
    counts = np.mean([np.linalg.inv(Camera(i)._matrix().T) for i in SENSORS], axis=0)
    counts /= counts.sum(axis=1, keepdims=True)
    some = CLOTH[::3]
    xyz, back = xyz_from_lab(lab_d65(some), D65_2), np.linalg.inv(SRGB_TO_XYZ)
    wanted, white = xyz / 100.0 @ (counts @ back).T, np.ones((1, WAVELENGTHS.size))
    slope = metric(lab_d65(some)) @ lab_slope(xyz, D65_2) @ np.linalg.inv(counts @ back) * 100.0
    squares, right = np.zeros((9, 9)), np.zeros(9)
    for which, (light, weight) in product(SENSORS, LIGHTS.items()):
        camera = Camera(which, light, balance="daylight")
        lamp = camera.render(white)[0]
        seen = np.maximum(camera.render(some), 0.0) @ counts.T / (counts @ lamp)
        rows = np.einsum("nij,nk->nijk", slope, np.log(lamp[0] / lamp[2]) * seen).reshape(-1, 9)
        off = np.einsum("nij,nj->ni", slope, wanted - seen).ravel()
        robust = weight / (1.0 + np.abs(off) / 5.0)
        squares, right = squares + rows.T * robust @ rows, right + rows.T @ (off * robust)
    change = np.linalg.solve(squares, right).reshape(3, 3)
    return np.asarray(counts), np.asarray(change - np.diag(change.sum(axis=1)))


def shape(errors: Array, grown: Array) -> Array:
    """Standard errors ``(3,)`` of pale neutral cloth, so that 92 in 100 of found `errors`
    ``(N, 3)`` of so much growth lie under the bound of nine in ten; by their sixth moments, which
    weigh the tail.
    """
    square = np.square(errors) / grown[:, np.newaxis]

    def wide(log: Array) -> float:
        size = (square / np.exp(2.0 * log)).sum(axis=1)
        return float(log.sum() + 0.5 * np.log(np.mean(size**3)))

    found = np.exp(minimize(wide, np.zeros(3), method="L-BFGS-B").x)
    return np.asarray(found * over(np.diag(found**2), np.sqrt(square), 0.92))


def over(error: Array, parts: Array, share: float) -> float:
    """How far `share` of errors ``(N, 3)`` reach over the bound of nine in ten of ``(3, 3)``."""
    draws = np.random.default_rng(0).multivariate_normal(np.zeros(3), error, 2000)
    bound = np.quantile(np.linalg.norm(draws, axis=1), 0.9)
    return float(np.quantile(np.linalg.norm(parts, axis=1) / bound, share))


def main() -> None:
    """Print each constant beside what it comes to."""
    for words, counted, stated in zip(
        ("counts of a typical sensor", "lamps change, a unit of their colour"), typical(),
        (colour._SENSOR, colour._LAMP), strict=True,
    ):  # fmt: skip
        print(f"{words}:\n{counted.round(3)}\n{stated}")
    names, spectra = patch_card()
    lab = lab_d65(CLOTH)
    grown, far = colour.growth(lab), delta_e(lab[:, np.newaxis], lab[np.newaxis])
    white = np.ones((1, WAVELENGTHS.size))
    found, shown = defaultdict[str, list[Array]](list), list[tuple[float, Array]]()
    grey, card, beyond = [], [], []
    for which, light, balance in product(SENSORS, LIGHTS, ("lamp", "daylight")):
        camera = Camera(which, light, balance=balance)
        lamp = camera.render(white)[0]
        found[SAID[light]].append(off(colour.balance(SRGB_TO_XYZ, lamp, 0, SAID[light]), camera))
        if SAID[light] == "warm" and balance == "daylight":
            own = colour.balance(SRGB_TO_XYZ, lamp, 0, "daylight")
            shown.append((float(np.log(lamp[0] / lamp[2])), off(own, camera)))
        if balance == "lamp" and SAID[light] == "daylight":
            own = colour.balance(SRGB_TO_XYZ, lamp)
            seen = np.maximum(camera.render(spectra) / lamp, 0.0)
            fitted = colour.fit_patches(seen, lab_d65(spectra), names, own.coefficients)
            grey.append(found["daylight"][-1])
            card.append(off(fitted, camera))
            pale = card[-1] / np.sqrt(grown)[:, np.newaxis]
            beyond.append(over(fitted.error, pale, 0.92) * colour.CLOTH_FACTOR)
    print(f"cloth against patches left out: {np.median(beyond):.2f} ({colour.CLOTH_FACTOR})")
    day = np.concatenate(found["daylight"])
    print(
        f"balanced on grey: {shape(day, np.resize(grown, len(day))).round(2)} {colour.GREY_ERROR}"
    )
    for light, errors in found.items():
        pale = np.concatenate([each / np.sqrt(grown)[:, np.newaxis] for each in errors])
        times = over(np.diag(np.square(colour.GREY_ERROR)), pale, 0.92)
        print(f"lit by {light}: {times:.2f} times ({colour.LIT_BY[light][2]})")
    square = sum(often * times**2 for often, _, times in colour.LIT_BY.values())
    usual = np.outer(grown, square * np.square(colour.GREY_ERROR))

    def unlikely(log: Array) -> float:
        stated = [usual + cast**2 * np.exp(2.0 * log) for cast, _ in shown]
        parts = [np.square(errors) for _, errors in shown]
        return float(
            np.sum([np.mean(p / s + np.log(s)) for p, s in zip(parts, stated, strict=True)])
        )

    light_error = np.exp(minimize(unlikely, np.zeros(3), method="L-BFGS-B").x)
    print(f"a unit of the colour of the light: {light_error.round(2)} {colour.LIGHT_ERROR}")
    print("share of the error that two colours of one picture do not have in common")
    for low, high in pairwise(APART):
        here = (far >= low) & (far < high) & (far > 0)
        print(f"{low:4d}–{high:<4d}", end="")
        for off_by, scale in zip((card, grey), colour.SHARED_OVER, strict=True):
            apart = [
                np.sum((e[:, np.newaxis] - e) ** 2, axis=2)[here].mean()
                / 2
                / np.mean(np.sum(e**2, axis=1))
                for e in off_by
            ]
            print(f"{np.mean(apart):7.2f} ({-np.expm1(-far[here] / scale).mean():.2f})", end="")
        print()


if __name__ == "__main__":
    main()
