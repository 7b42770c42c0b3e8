"""Photographed textiles read back: ``python -m benchmarks.photo_colour [seeds …]``.

The 21 measured textiles of CIE 224:2017 lie on a printed page and are photographed by a simulated
camera of measured parts (`tests.simulated.camera`), in daylight and under a lamp, with a patch
card and without, with straight and with styled tones. What is read is compared with the textiles'
own CIELAB under D65/2°. None of them is a patch, nor helped to fit the camera's matrix.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.photo import PhotoOptions, examine_photo
from tests.simulated.camera import Camera, lab_d65, textiles
from tests.simulated.camera.scenes import GREY_STEPS, Page, scene, write_reference
from tests.simulated.photographs import print_page, rms, whitened

DAYLIGHT = ("D55", "D65")
LAMPS = ("LED-B3", "LED-B4")


@dataclass(frozen=True, eq=False)
class Outcome:
    """ΔE2000 ``(S,)`` of every textile, whether it was left out, its whitened errors ``(S, 3)``."""

    miss: Array
    left_out: Array
    z: Array
    colours: Array
    note: str


def run(
    camera: Camera,
    page: Page,
    folder: Path,
    spectra: Array,
    card: bool = True,
    grey: Sequence[float] = GREY_STEPS,
) -> Outcome:
    """Photograph spectra ``(S, B)``, read them, compare."""
    photo = folder / "photo.jpg"
    laid = scene(page, dict(enumerate(spectra)), grey, card)
    camera.save(laid, photo)
    reference = write_reference(folder / "card.csv") if card else None
    read = examine_photo(photo, PhotoOptions(card=reference, grey=grey))
    truth = lab_d65(spectra)
    colours = np.array([cell.lab for cell in read.cells])
    return Outcome(
        delta_e(truth, colours),
        np.array([bool(cell.left_out) for cell in read.cells]),
        whitened(read, truth),
        colours,
        "patches" if read.characterisation.matrix.patches else "grey",
    )


def main(seeds: Sequence[int] = (0, 1)) -> None:
    """Print the table."""
    print("ΔE2000 of 21 textiles read from photographs (D65, 2°); z: whitened error, RMS")
    print(f"{'cards':<11}{'tones':<10}{'camera':<8}{'light':<8}", end="")
    print(
        f"{'mean':>6}{'worst':>7}{'kept':>6}{'mean kept':>11}{'z':>6}{'  even light':>12}  fitted"
    )
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        page = print_page(folder)
        spectra = textiles()
        for card in (True, False):
            for styled in (False, True):
                for lights in (DAYLIGHT, LAMPS):
                    table, scores, evens = [], [], []
                    for which in (0, 1):
                        for light in lights:
                            for seed in seeds:
                                camera = Camera(which, light, styled=styled, seed=seed)
                                found = run(camera, page, folder, spectra, card)
                                level = Camera(
                                    which, light, styled=styled, seed=seed, gradient=0.0,
                                    vignetting=False,
                                )  # fmt: skip
                                flat = run(level, page, folder, spectra, card)
                                scores.append(found.miss.mean())
                                evens.append(flat.miss.mean())
                                table.append(found)
                            line(card, styled, which, light, table[-len(seeds) :], evens)
                    z = np.concatenate([each.z for each in table])
                    print(
                        f"{'':<37}{np.mean(scores):6.2f}  both cameras; z {rms(z):.2f}; gradient "
                        f"costs {np.mean(scores) - np.mean(evens):+.2f}\n"
                    )


def line(
    card: bool, styled: bool, which: int, light: str, found: Sequence[Outcome], evens: list[float]
) -> None:
    miss = np.concatenate([each.miss for each in found])
    kept = ~np.concatenate([each.left_out for each in found])
    z = np.concatenate([each.z for each in found])
    cards = "patch card" if card else "grey card"
    tones = "styled" if styled else "straight"
    print(
        f"{cards:<11}{tones:<10}{'AB'[which]:<8}{light:<8}{miss.mean():6.2f}{miss.max():7.2f}"
        f"{kept.sum() // len(found):6d}{miss[kept].mean():11.2f}{rms(z):6.2f}"
        f"{np.mean(evens[-len(found) :]):12.2f}  {'/'.join(sorted({f.note for f in found}))}"
    )


if __name__ == "__main__":
    main([int(word) for word in sys.argv[1:]] or (0, 1))
