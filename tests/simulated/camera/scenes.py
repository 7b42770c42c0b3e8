"""Sheets with swatches laid on them: what the photograph benchmarks and tests look at."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from tests.simulated.camera.camera import WAVELENGTHS, Array, Laid, Scene, lab_d65, patch_card

#: A grey card of five steps, as its maker states them (a set of our own, spectrally flat).
GREY_STEPS = (0.90, 0.59, 0.36, 0.18, 0.05)


@dataclass(frozen=True, eq=False)
class Page:
    """A printed sheet as the camera needs it.

    `grey` is ``(H, W)`` 0–1 at `per_mm` pixels; `cells` ``(N, 4, 2)``, `grey_box` and `card_box`
    (left, top, width, height) are in page mm.
    """

    grey: Array
    per_mm: float
    cells: Array
    grey_box: tuple[float, float, float, float]
    card_box: tuple[float, float, float, float]


def load_page(
    picture: Path,
    paper_mm: tuple[float, float],
    frame_mm: tuple[float, float],
    cells: Array,
    grey_box: Sequence[float],
    card_box: Sequence[float],
    per_mm: float,
) -> Page:
    """Load a printed sheet; what lies on its frame is given in frame mm and moved to page mm."""
    image = Image.open(picture).convert("L")
    size = (round(paper_mm[0] * per_mm), round(paper_mm[1] * per_mm))
    grey = np.asarray(image.resize(size, Image.Resampling.BOX), dtype=np.float32) / 255.0
    offset = (np.array(paper_mm) - np.array(frame_mm)) / 2
    moved = [(box[0] + offset[0], box[1] + offset[1], *box[2:]) for box in (grey_box, card_box)]
    return Page(grey.astype(float) ** 2.2, per_mm, cells + offset, *moved)


def _rectangle(left: float, top: float, width: float, height: float) -> Array:
    return np.array(
        [[left, top], [left + width, top], [left + width, top + height], [left, top + height]]
    )


def scene(
    page: Page,
    swatches: Mapping[int, Array],
    grey_steps: Sequence[float] = GREY_STEPS,
    card: bool = True,
    mottled: Mapping[int, float] | None = None,
) -> Scene:
    """Lay spectra ``(B,)`` on the cells (counted from 0), and the cards in their boxes."""
    laid = []
    if card:
        _, spectra = patch_card()
        left, top, width, height = page.card_box
        black = np.full(WAVELENGTHS.size, 0.04)
        laid.append(Laid(_rectangle(left - 1, top - 1, width + 2, height + 2), black, cloth=False))
        for i, spectrum in enumerate(spectra):
            row, column = divmod(i, 6)
            corner = (left + column * width / 6 + 1, top + row * height / 4 + 1)
            laid.append(
                Laid(_rectangle(*corner, width / 6 - 2, height / 4 - 2), spectrum, cloth=False)
            )
    if grey_steps:
        left, top, width, height = page.grey_box
        each = width / len(grey_steps)
        laid += [
            Laid(
                _rectangle(left + i * each, top, each, height),
                np.full(WAVELENGTHS.size, step),
                cloth=False,
            )
            for i, step in enumerate(grey_steps)
        ]
    uneven = mottled or {}
    laid += [
        Laid(page.cells[i], spectrum, mottle=uneven.get(i, 0.0)) for i, spectrum in swatches.items()
    ]
    return Scene(page.grey, page.per_mm, laid)


def write_reference(path: Path) -> Path:
    """The reference values of the patch card as its owner would have them: L*, a*, b*, D65, 2°."""
    names, spectra = patch_card()
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write("# illuminant: D65\n# observer: 2\n")
        out = csv.writer(file, lineterminator="\n")
        out.writerow(["name", "L*", "a*", "b*"])
        for name, lab in zip(names, lab_d65(spectra), strict=True):
            out.writerow([name.split("(")[0].strip(), *(f"{x:.2f}" for x in lab)])
    return path
