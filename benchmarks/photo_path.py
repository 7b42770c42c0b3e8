"""From cloth by camera to a mixture: ``python -m benchmarks.photo_path [seeds …]``.

The swatches of a simulated workshop lie on printed sheets of 24 cells, are photographed, read and
fitted; the mixtures set aside are predicted. Beside it in the same run: the same swatches read as
spectra, and as CIELAB by an instrument. All misses are under D65/2°, against the instrument's
reading of the mixture.
"""

from __future__ import annotations

import csv
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from benchmarks.lab_only import as_lab, mixture_misses
from benchmarks.shelf import swatch_set
from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_2, WAVELENGTHS
from dyemix.dataset.swatches import Reading, Swatch, SwatchSet
from dyemix.fitting.fit import fit
from dyemix.photo import PhotoOptions, examine_photo
from dyemix.photo.layout import layouts_of
from tests.simulated.camera import WAVELENGTHS as FINE
from tests.simulated.camera import Camera
from tests.simulated.camera.scenes import GREY_STEPS, Page, scene, write_reference
from tests.simulated.photographs import print_page
from tests.simulated.workshop import Workshop

CELLS = 24


def spectra_of(swatches: Sequence[Swatch]) -> Array:
    """Spectra on the camera's grid; beyond 400 and 700 nm the end value holds."""
    return np.array([np.interp(FINE, WAVELENGTHS, s.reflectance) for s in swatches])


def by_camera(
    swatches: SwatchSet, camera: Camera, page: Page, folder: Path, card: bool
) -> SwatchSet:
    """The same swatches, photographed sheet by sheet and read."""
    pieces = swatches.swatches
    reference = write_reference(folder / "card.csv") if card else None
    readings: list[Reading] = []
    for start in range(0, len(pieces), CELLS):
        here = pieces[start : start + CELLS]
        laid = dict(enumerate(spectra_of(here)))
        photo = camera.save(scene(page, laid, GREY_STEPS, card), folder / "photo.jpg")
        with (folder / "cells.csv").open("w", encoding="utf-8", newline="") as file:
            out = csv.writer(file)
            out.writerow(["cell", "recipe", "swatch"])
            for label, piece in zip(layouts_of(CELLS)[0].labels, here, strict=False):
                out.writerow([label, piece.recipe.exact, piece.readings[0].swatch])
        read = examine_photo(
            photo, PhotoOptions(cells=folder / "cells.csv", card=reference, grey=GREY_STEPS)
        )
        readings += read.swatches.readings
    return SwatchSet(tuple(readings))


def misread(read: SwatchSet, truth: SwatchSet) -> Array:
    """ΔE2000 of each swatch kept, as photographed and as measured."""
    known = {(s.recipe, s.readings[0].swatch): s.colour(D65_2) for s in truth.swatches}
    pairs = [(s.colour(D65_2), known[s.recipe, s.readings[0].swatch]) for s in read.swatches]
    return delta_e(np.array([b for _, b in pairs]), np.array([a for a, _ in pairs]))


def main(seeds: Sequence[int] = (0, 1)) -> None:
    """Print the table."""
    print("Mixtures set aside, mean ΔE2000 (D65, 2°), by how the single-dye swatches were read.")
    print(f"{'seed':<6}{'read by':<44}{'swatches':>9}{'misread':>9}{'mixtures':>10}{'worst':>7}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        page = print_page(folder, CELLS, 6.0)
        for seed in seeds:
            shop = Workshop(seed)
            ladder, mixtures = swatch_set(shop.ladder()), swatch_set(shop.mixtures())
            ways = {"spectra": ladder, "CIELAB of an instrument": as_lab(ladder, D65_2)}
            for which in (0, 1):
                for card in (True, False):
                    for styled in (False, True):
                        label = f"camera {'AB'[which]}, {'patch' if card else 'grey'} card"
                        label += ", styled tones" if styled else ""
                        camera = Camera(which, "D65", megapixels=6.0, styled=styled, seed=seed)
                        ways[label] = by_camera(ladder, camera, page, folder, card)
            for label, read in ways.items():
                misses = mixture_misses(fit(read), mixtures, D65_2)
                off = misread(read, ladder).mean()
                print(
                    f"{seed:<6}{label:<44}{len(read.swatches):>9}{off:>9.2f}{misses.mean():>10.2f}"
                    f"{misses.max():>7.1f}",
                    flush=True,
                )


if __name__ == "__main__":
    main([int(word) for word in sys.argv[1:]] or (0, 1))
