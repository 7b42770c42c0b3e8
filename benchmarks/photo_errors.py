"""The stated errors of photographs, computed anew: ``python -m benchmarks.photo_errors [--write]``.

Invented sensors without noise, in daylight and under lamps, see the ISO 17321-1 patches, the
samples of CIE 224:2017 and invented dyed cloth, all that sRGB holds. What is printed stands,
rounded, in `dyemix.photo.patches`; the table of usual errors is ``data/photo_errors.csv``, and is
written there if wished: again until it stays, since what patches miss is counted in it. The sensors
that judge the errors take no part.
"""

from __future__ import annotations

import sys
from itertools import pairwise, product
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

import dyemix
from benchmarks.photo_scenes import CHOSEN_ON, SAID, dyed
from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e, delta_e_residual, metric
from dyemix.colour.colorimetry import D65_2, lab_slope, xyz_from_lab
from dyemix.photo import patches as colour
from dyemix.photo.decode import SRGB_TO_XYZ
from tests.simulated.camera import WAVELENGTHS, Camera, lab_d65, other_samples, patch_card, textiles

SENSORS = CHOSEN_ON[2:]
#: In what light pictures are taken, by weight.
LIGHTS = dict.fromkeys(("D50", "D55", "D65", "D75"), 0.125)
LIGHTS |= dict.fromkeys(("LED-B3", "LED-B4", "LED-B5"), 0.1)
LIGHTS |= dict.fromkeys(("LED-B2", "A", "FL11", "LED-RGB1"), 0.05)
#: Edges of ΔE2000 between two colours.
APART = (0, 3, 6, 9, 12, 18, 30)
_ALL = np.concatenate([textiles(), other_samples(), dyed(np.random.default_rng(5), 3000)])
#: What sRGB cannot hold is read as a bound, not a value.
_LINEAR = xyz_from_lab(lab_d65(_ALL), D65_2) / 100.0 @ np.linalg.inv(SRGB_TO_XYZ).T
CLOTH = _ALL[_LINEAR.min(axis=1) > 0.005]
TRUTH = lab_d65(CLOTH)
WHITE = np.ones((1, WAVELENGTHS.size))
NAMES, SPECTRA = patch_card()
PATCHES = lab_d65(SPECTRA)
_DRAWS = np.random.default_rng(0).standard_normal((1000, 3))


def look(camera: Camera, said: str, card: bool = False) -> tuple[colour.CameraMatrix, Array, Array]:
    """Its matrix in a light that is told so, what it reads cloth as ``(S, 3)``, and the errors
    ``(S, 3)`` in the three parts of ΔE2000; grey at its reflectance.
    """
    lamp = camera.render(WHITE)[0]
    matrix = colour.balance(SRGB_TO_XYZ, lamp, 0, said)
    if card:
        seen = np.maximum(camera.render(SPECTRA) / lamp, 0.0)
        matrix = colour.fit_patches(seen, PATCHES, NAMES, matrix.coefficients)
    lab = matrix.lab(np.maximum(camera.render(CLOTH) / lamp, 0.0))
    return matrix, lab, delta_e_residual(lab, TRUTH, slope=False)[0]


def typical() -> tuple[Array, Array]:
    """What a typical sensor counts of linear sRGB ``(3, 3)``, and what lamps change in it a unit of
    the log ratio of red to blue: least squares on ΔE2000 over all sensors and lights, white kept.
    """
    counts = np.mean([np.linalg.inv(Camera(i)._matrix().T) for i in SENSORS[:20]], axis=0)
    counts /= counts.sum(axis=1, keepdims=True)
    some = CLOTH[::15]
    xyz, back = xyz_from_lab(lab_d65(some), D65_2), np.linalg.inv(SRGB_TO_XYZ)
    wanted, white = xyz / 100.0 @ (counts @ back).T, np.ones((1, WAVELENGTHS.size))
    slope = metric(lab_d65(some)) @ lab_slope(xyz, D65_2) @ np.linalg.inv(counts @ back) * 100.0
    squares, right = np.zeros((9, 9)), np.zeros(9)
    for which, (light, weight) in product(SENSORS[:20], LIGHTS.items()):
        camera = Camera(which, light, balance="daylight")
        lamp = camera.render(white)[0]
        seen = np.maximum(camera.render(some), 0.0) @ counts.T / (counts @ lamp)
        rows = np.einsum("nij,nk->nijk", slope, np.log(lamp[0] / lamp[2]) * seen).reshape(-1, 9)
        off = np.einsum("nij,nj->ni", slope, wanted - seen).ravel()
        robust = weight / (1.0 + np.abs(off) / 5.0)
        squares, right = squares + rows.T * robust @ rows, right + rows.T @ (off * robust)
    change = np.linalg.solve(squares, right).reshape(3, 3)
    return np.asarray(counts), np.asarray(change - np.diag(change.sum(axis=1)))


def wide(lab: Array, errors: Array, weights: Array, power: int, share: float) -> Array:
    """Usual errors ``(R, 3)``, row by row of their table, of found `errors` ``(N, 3)`` of colours
    that read ``(N, 3)``, so that a `share` of the weight lies under the bound of nine in ten.

    They are most likely for errors that fall off with the `power` of their size (a generalized
    Gaussian), which weighs the tail; neighbours are held together, since some see little cloth.
    """
    grid, near = (len(colour.LIGHTNESS), len(colour.CHROMA), 3), colour.near(lab)
    weights = weights / weights.sum()

    def unlikely(values: Array) -> tuple[float, Array]:
        logs = values.reshape(-1, 3)
        square = np.square(errors) * np.exp(-2.0 * (near @ logs))
        size = square.sum(axis=1)
        loss = float(weights @ ((near @ logs).sum(axis=1) + size ** (power / 2) / power))
        slope = near.T @ (
            weights[:, np.newaxis] * (1 - size[:, np.newaxis] ** (power / 2 - 1) * square)
        )
        plane, turned = np.split(logs, [-len(colour.ANGLES)])
        plane, held = plane.reshape(grid), np.zeros(grid)
        for axis in (0, 1):
            steps = np.diff(plane, axis=axis)
            loss += 5e-4 * float(np.sum(steps**2))
            held += np.diff(steps, axis=axis, prepend=0, append=0)
        steps = np.diff(turned, axis=0, append=turned[:1])
        loss += 5e-4 * float(np.sum(steps**2)) + 1e-4 * float(np.sum(turned**2))
        around = steps - np.roll(steps, 1, axis=0) - 0.2 * turned
        return loss, (slope - 1e-3 * np.concatenate([held.reshape(-1, 3), around])).ravel()

    start = np.zeros(3 * near.shape[1])
    logs = minimize(unlikely, start, jac=True, method="L-BFGS-B").x.reshape(-1, 3)
    logs[: -len(colour.ANGLES)] += np.log(over(np.exp(near @ logs), errors, weights, share))
    return np.asarray(np.exp(logs))


def over(usual: Array, errors: Array, weights: Array, share: float) -> float:
    """How far a `share` of errors ``(N, 3)`` reach over the bound of nine in ten of usual ones."""
    bounds = [
        np.quantile(np.linalg.norm(some[:, np.newaxis] * _DRAWS, axis=2), 0.9, axis=1)
        for some in np.array_split(usual, max(1, len(usual) // 2000))
    ]
    reach = np.linalg.norm(errors, axis=1) / np.concatenate(bounds)
    order = np.argsort(reach)
    return float(reach[order][np.searchsorted(np.cumsum(weights[order]), share * weights.sum())])


def table(said: str, lights: list[str], power: int, share: float) -> Array:
    """Usual errors ``(R, 3)`` in these lights, told so, or not, or with a patch card, where they
    are in times of what its patches miss; of some cloth by each sensor.
    """
    rng, told = np.random.default_rng(0), {"untold": "", "card": "daylight"}.get(said, said)
    labs, errors, weights = list[Array](), list[Array](), list[Array]()
    for which, light, balance in product(SENSORS, lights, ("lamp", "daylight")):
        if balance == "lamp" or SAID[light] != "daylight":
            matrix, lab, off = look(Camera(which, light, balance=balance), told, said == "card")
            some = rng.random(len(lab)) < 0.4 / len(lights)
            labs, errors = [*labs, lab[some]], [*errors, off[some] / matrix.times]
            weights.append(np.full(some.sum(), LIGHTS[light]))
    return wide(np.concatenate(labs), np.concatenate(errors), np.concatenate(weights), power, share)


def main(words: list[str]) -> None:
    """Print each constant beside what it comes to."""
    for what, counted, stated in zip(
        ("counts of a typical sensor", "lamps change, a unit of their colour"), typical(),
        (colour._SENSOR, colour._LAMP), strict=True,
    ):  # fmt: skip
        print(f"{what}:\n{counted.round(3)}\n{stated}")
    named = {said: [light for light in LIGHTS if SAID[light] == said] for said in colour.LIT_BY}
    lines = ["of,lightness,chroma,angle,light,colour,hue"]
    places = [f"{light:.0f},{full:.0f}," for light in colour.LIGHTNESS for full in colour.CHROMA]
    places += [f",,{angle:.0f}" for angle in colour.ANGLES]
    for said, lights in ({"card": list(LIGHTS)} | named | {"untold": list(LIGHTS)}).items():
        # Where lights are mixed, a tail is that of the worst light, not of cloth.
        power, share = (2, 0.94) if said == "untold" else (10, 0.93)
        found = table(said, lights, power, share)
        lines += [
            f"{said},{place}," + ",".join(f"{value:.2f}" for value in row)
            for place, row in zip(places, found, strict=True)
        ]
    text = "\n".join([*lines, ""])
    print(text)
    if "--write" in words:
        (Path(dyemix.__file__).parent / "data" / "photo_errors.csv").write_text(text, "utf-8")
        return
    shown, off = list[tuple[float, Array, Array]](), dict[bool, list[Array]]()
    for which, light in product(SENSORS, named["daylight"]):
        camera = Camera(which, light, balance="lamp")
        for card in (True, False):
            off.setdefault(card, []).append(look(camera, "daylight", card)[2])
    for which, light in product(SENSORS, (*named["warm"], *named["halogen"])):
        camera = Camera(which, light, balance="daylight")
        lamp = camera.render(WHITE)[0]
        _, lab, errors = look(camera, "daylight")
        shown.append((float(np.log(lamp[0] / lamp[2])), colour.usual(lab, "untold"), errors))

    def unlikely(log: Array) -> float:
        stated = [usual**2 + cast**2 * np.exp(2.0 * log) for cast, usual, _ in shown]
        parts = [np.square(errors) for _, _, errors in shown]
        return float(
            np.sum([np.mean(p / s + np.log(s)) for p, s in zip(parts, stated, strict=True)])
        )

    light_error = np.exp(minimize(unlikely, np.zeros(3), method="L-BFGS-B").x)
    print(f"a unit of the colour of the light: {light_error.round(2)} {colour.LIGHT_ERROR}")
    print("share of the error that two colours of one picture do not have in common")
    far = delta_e(TRUTH[:, np.newaxis], TRUTH[np.newaxis])
    for low, high in pairwise(APART):
        here = (far >= low) & (far < high) & (far > 0)
        print(f"{low:4d}–{high:<4d}", end="")
        for some, scale in zip((off[True], off[False]), colour.SHARED_OVER, strict=True):
            apart = [
                np.sum((e[:, np.newaxis] - e) ** 2, axis=2)[here].mean()
                / 2
                / np.mean(np.sum(e**2, axis=1))
                for e in some
            ]
            print(f"{np.mean(apart):7.2f} ({-np.expm1(-far[here] / scale).mean():.2f})", end="")
        print()


if __name__ == "__main__":
    main(sys.argv[1:])
