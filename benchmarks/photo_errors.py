"""The stated errors of photographs, computed anew: ``python -m benchmarks.photo_errors``.

Two measured cameras without noise, in daylight and under lamps, see the ISO 17321-1 patches and the
78 samples of CIE 224:2017 that are not textiles. What is printed stands, rounded, in
`dyemix.photo.camera_matrix` and `results`; the 21 textiles, which judge the errors, take no
part.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.photo import camera_matrix as colour
from dyemix.photo.camera_matrix import CameraMatrix, balance, fit_patches, metric
from dyemix.photo.decode import SRGB_TO_XYZ
from dyemix.photo.results import SHARED_OVER
from tests.simulated.camera import WAVELENGTHS, Camera, lab_d65, other_samples, patch_card

LIGHTS = ("D55", "D65", "LED-B3", "LED-B4")
#: Edges in ΔE2000 between which pairs of colours are gathered.
EDGES = (0.0, 2.0, 4.0, 6.0, 8.0, 12.0, 16.0, 24.0, 40.0)


def seen(camera: Camera, spectra: Array) -> Array:
    """Linear values ``(S, 3)`` of the rendered picture, grey at its reflectance."""
    grey = camera.render(np.ones((1, WAVELENGTHS.size)))
    return np.maximum(camera.render(spectra) / grey, 0.0)


def parts(correction: CameraMatrix, rgb: Array, lab: Array) -> Array:
    """The error ``(S, 3)`` in the three parts of ΔE2000."""
    return np.asarray(np.einsum("nij,nj->ni", metric(lab), correction.lab(rgb) - lab))


def main() -> None:
    """Print each constant beside what it comes to."""
    names, spectra = patch_card()
    patches, samples = lab_d65(spectra), lab_d65(other_samples())
    own = balance(SRGB_TO_XYZ)
    grey, cloth, near, semivariance = [], [], [], []
    distance = delta_e(samples[:, np.newaxis], samples[np.newaxis])
    pairs = np.triu_indices(len(samples), 1)
    for which in (0, 1):
        for light in LIGHTS:
            camera = Camera(which, light)
            rgb, other = seen(camera, spectra), seen(camera, other_samples())
            grey.append(parts(own, rgb, patches))
            fitted = fit_patches(rgb, patches, names, SRGB_TO_XYZ)
            for found in (fitted, own):
                off = parts(found, other, samples)
                apart = np.sum((off[pairs[0]] - off[pairs[1]]) ** 2, axis=1) / 2
                semivariance.append(apart / np.mean(np.sum(off**2, axis=1)))
                near.append(distance[pairs])
            left_out = np.trace(fitted.error) / colour.CLOTH_FACTOR**2
            cloth.append(np.mean(np.sum(parts(fitted, other, samples) ** 2, axis=1)) / left_out)
    sizes = np.sqrt(np.mean(np.square(np.concatenate(grey)), axis=0))
    stated = ", ".join(f"{x:g}" for x in colour.GREY_ERROR)
    print(f"balanced on grey alone: {', '.join(f'{x:.2f}' for x in sizes)} (stated: {stated})")
    print(
        f"patches of another kind against patches left out: {np.sqrt(np.mean(cloth)):.2f} "
        f"(stated: {colour.CLOTH_FACTOR:g})"
    )
    print(f"\nerror not shared by two colours in one picture; stated: 1 − exp(−d/{SHARED_OVER:g})")
    d, share = np.concatenate(near), np.concatenate(semivariance)
    for low, high in pairwise(EDGES):
        here = (d >= low) & (d < high)
        stated_share = np.mean(-np.expm1(-d[here] / SHARED_OVER))
        print(f"d {low:4.0f}–{high:<4.0f} {share[here].mean():5.2f}   {stated_share:5.2f}")


if __name__ == "__main__":
    main()
