"""The stated errors of photographs, computed anew: ``python -m benchmarks.photo_errors``.

Twenty invented sensors without noise, in daylight and under lamps, see the ISO 17321-1 patches and
the samples of CIE 224:2017. What is printed stands, rounded, in `dyemix.photo.patches`. The sensors
that judge the errors (the two measured ones, and invented ones from 100 on) take no part.
"""

from __future__ import annotations

from itertools import pairwise, product

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.photo import patches as colour
from dyemix.photo.decode import SRGB_TO_XYZ
from tests.simulated.camera import WAVELENGTHS, Camera, lab_d65, other_samples, patch_card, textiles

SENSORS = range(2, 22)
LIGHTS, LAMPS = ("D50", "D65", "D75", "LED-B3", "LED-B4", "A"), ("LED-B3", "LED-B2", "A")
#: Edges of chroma, and of ΔE2000 between two colours.
CHROMA, APART = (0, 8, 16, 25, 35, 50, 70), (0, 3, 6, 9, 12, 18, 30)
CLOTH = np.concatenate([textiles(), other_samples()])


def off(matrix: colour.CameraMatrix, camera: Camera, spectra: Array) -> Array:
    """The error ``(S, 3)`` in the three parts of ΔE2000, grey at its reflectance."""
    lab = lab_d65(spectra)
    rgb = np.maximum(camera.render(spectra) / camera.render(np.ones((1, WAVELENGTHS.size))), 0.0)
    return np.asarray(np.einsum("nij,nj->ni", colour.metric(lab), matrix.lab(rgb) - lab))


def rms(parts: Array) -> str:
    """Root mean square ``(3,)`` of errors, in words."""
    return " ".join(f"{x:5.2f}" for x in np.sqrt(np.mean(np.square(parts), axis=0)))


def main() -> None:
    """Print each constant beside what it comes to."""
    names, spectra = patch_card()
    lab, own = lab_d65(CLOTH), colour.balance(SRGB_TO_XYZ)
    chroma, far = np.hypot(lab[:, 1], lab[:, 2]), delta_e(lab[:, np.newaxis], lab[np.newaxis])
    grey, card, factor = [], [], []
    for which, light in product(SENSORS, LIGHTS):
        camera = Camera(which, light, balance="lamp")
        seen = camera.render(spectra) / camera.render(np.ones((1, WAVELENGTHS.size)))
        fitted = colour.fit_patches(np.maximum(seen, 0.0), lab_d65(spectra), names, SRGB_TO_XYZ)
        grey.append(off(own, camera, CLOTH))
        card.append(off(fitted, camera, CLOTH))
        stated = np.trace(fitted.error) / colour.CLOTH_FACTOR**2
        factor.append(np.mean(np.sum(card[-1] ** 2, axis=1)) / stated)
    print(f"cloth against patches left out: {np.sqrt(np.mean(factor)):.2f} ({colour.CLOTH_FACTOR})")
    print(f"\nbalanced on grey, by chroma ({colour.GREY_ERROR}, and {colour.VIVID_ERROR} a unit)")
    for low, high in pairwise(CHROMA):
        here = np.concatenate([each[(chroma >= low) & (chroma < high)] for each in grey])
        print(f"{low:4d}–{high:<4d}{rms(here)}")
    print(f"\nin a light of another colour, daylight's balance held ({colour.LIGHT_ERROR} a unit)")
    for light in LAMPS:
        cameras = [Camera(which, light) for which in SENSORS]
        cast = np.mean([np.log(c.render(np.ones((1, 81)))[0] @ [1, 0, 0]) for c in cameras])
        cast -= np.mean([np.log(c.render(np.ones((1, 81)))[0] @ [0, 0, 1]) for c in cameras])
        print(
            f"{light:<8}{cast:5.2f}  {rms(np.concatenate([off(own, c, CLOTH) for c in cameras]))}"
        )
    print("\nshare of the error that two colours of one picture do not have in common")
    for low, high in pairwise(APART):
        here = (far >= low) & (far < high) & (far > 0)
        print(f"{low:4d}–{high:<4d}", end="")
        for errors, over in zip((card, grey), colour.SHARED_OVER, strict=True):
            apart = [
                np.sum((e[:, np.newaxis] - e) ** 2, axis=2)[here].mean()
                / 2
                / np.mean(np.sum(e**2, axis=1))
                for e in errors
            ]
            print(f"{np.mean(apart):7.2f} ({-np.expm1(-far[here] / over).mean():.2f})", end="")
        print()


if __name__ == "__main__":
    main()
