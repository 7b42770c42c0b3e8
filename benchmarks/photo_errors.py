"""The stated errors of photographs, computed anew: ``python -m benchmarks.photo_errors``.

Twenty invented sensors without noise, in daylight and under lamps, see the ISO 17321-1 patches, the
samples of CIE 224:2017 and invented dyed cloth. What is printed stands, rounded, in
`dyemix.photo.patches`. The sensors that judge the errors (the two measured ones, and invented ones
from 100 on) take no part.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
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
CLOTH = np.concatenate([textiles(), other_samples(), dyed(np.random.default_rng(5), 300)])


def off(matrix: colour.CameraMatrix, camera: Camera, spectra: Array) -> Array:
    """The error ``(S, 3)`` in the three parts of ΔE2000, grey at its reflectance."""
    lab = lab_d65(spectra)
    rgb = np.maximum(camera.render(spectra) / camera.render(np.ones((1, WAVELENGTHS.size))), 0.0)
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


def most_likely(errors: list[tuple[float, float, Array]], chroma: Array) -> Array:
    """Errors ``(3, 3)`` in the parts of ΔE2000 of a camera balanced on grey, a unit of chroma, and
    a unit of the colour of the light, that make found `errors` (weight, colour, parts) most likely.
    """

    def unlikely(log: Array) -> float:
        grey, vivid, light = np.exp(2.0 * log.reshape(3, 3))
        stated = grey + np.square(chroma)[:, np.newaxis] * vivid
        return sum(
            weight
            * float(
                np.mean(parts**2 / (stated + cast**2 * light) + np.log(stated + cast**2 * light))
            )
            for weight, cast, parts in errors
        )

    start = np.log([0.3, 1.7, 1.8, 0.03, 0.02, 0.06, 0.2, 1.5, 3.0])
    return np.asarray(np.exp(minimize(unlikely, start, method="Powell").x)).reshape(3, 3)


def main() -> None:
    """Print each constant beside what it comes to."""
    for words, counted, stated in zip(
        ("counts of a typical sensor", "lamps change, a unit of their colour"), typical(),
        (colour._SENSOR, colour._LAMP), strict=True,
    ):  # fmt: skip
        print(f"{words}:\n{counted.round(3)}\n{stated}")
    names, spectra = patch_card()
    lab = lab_d65(CLOTH)
    chroma, far = colour.vividness(lab), delta_e(lab[:, np.newaxis], lab[np.newaxis])
    white = np.ones((1, WAVELENGTHS.size))
    found, grey, card, over = [], [], [], []
    told, unit = defaultdict[str, Array](lambda: np.zeros(2)), colour.balance(SRGB_TO_XYZ)
    for which, (light, weight), balance in product(SENSORS, LIGHTS.items(), ("lamp", "daylight")):
        camera = Camera(which, light, balance=balance)
        lamp = camera.render(white)[0]
        own = colour.balance(SRGB_TO_XYZ, lamp)
        found.append((weight, float(np.log(lamp[0] / lamp[2])), off(own, camera, CLOTH)))
        named = colour.balance(SRGB_TO_XYZ, lamp, lit_by=SAID[light])
        plain = replace(named, error=unit.error, vivid=unit.vivid).stated(lab, np.zeros(1))
        square = np.square(off(named, camera, CLOTH)).sum(axis=1).mean()
        told[SAID[light]] += weight * np.array([square, np.trace(plain.mean(axis=0))])
        if balance == "lamp" and light in ("D50", "D55", "D65", "D75"):
            seen = np.maximum(camera.render(spectra) / lamp, 0.0)
            fitted = colour.fit_patches(seen, lab_d65(spectra), names, own.coefficients)
            grey.append(found[-1][2])
            card.append(off(fitted, camera, CLOTH))
            draws = np.random.default_rng(0).multivariate_normal(np.zeros(3), fitted.error, 2000)
            bound = np.quantile(np.linalg.norm(draws, axis=1), 0.9) / colour.CLOTH_FACTOR
            over.append(np.linalg.norm(card[-1], axis=1) / bound)
    print(f"cloth against patches left out: {np.quantile(over, 0.9):.2f} ({colour.CLOTH_FACTOR})")
    for light, (square, plain) in told.items():
        print(f"lit by {light}: {np.sqrt(square / plain):.2f} times {colour.LIT_BY[light]}")
    stands = (colour.GREY_ERROR, colour.VIVID_ERROR, colour.LIGHT_ERROR)
    about = ("balanced on grey", "a unit of chroma", "a unit of the colour of the light")
    for words, parts, errors in zip(about, most_likely(found, chroma), stands, strict=True):
        print(f"{words}: {' '.join(f'{x:.3f}' for x in parts)} {errors}")
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
