"""Photographs by the simulated camera that the tests of reading them share, each taken once."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.photo_colour import print_page
from dyemix.colour.ciede2000 import delta_e
from dyemix.photo import PhotoReading, examine_photo
from tests.simulated.camera import Camera, lab_d65, textiles
from tests.simulated.camera.scenes import GREY_STEPS, Page, scene, write_reference

TEXTILES = textiles()
TRUTH = lab_d65(TEXTILES)


@cache
def _folder() -> Path:
    folder = Path(tempfile.mkdtemp())
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


@cache
def page() -> Page:
    """A sheet of 24 cells, printed."""
    return print_page(_folder(), per_mm=6.0)


@cache
def card() -> Path:
    """The reference table of the patch card."""
    return write_reference(_folder() / "card.csv")


def camera(**settings: Any) -> Camera:
    """A small camera in daylight."""
    return Camera(**{"light": "D65", "megapixels": 2.5, "blur": 0.6, **settings})


@cache
def _taken(steps: tuple[float, ...], cards: bool, settings: tuple[tuple[str, Any], ...]) -> Path:
    number = len(list(_folder().glob("photo*.jpg")))
    laid = scene(page(), dict(enumerate(TEXTILES)), steps, cards)
    return camera(**dict(settings)).save(laid, _folder() / f"photo{number}.jpg")


def shoot(steps: Sequence[float] = GREY_STEPS, with_card: bool = True, **settings: Any) -> Path:
    """The 21 textiles on the sheet, with a grey card of these steps and perhaps a patch card."""
    return _taken(tuple(steps), with_card, tuple(sorted(settings.items())))


def read(with_card: bool = True, **settings: Any) -> PhotoReading:
    """That photograph, read."""
    reference = card() if with_card else None
    return examine_photo(shoot(with_card=with_card, **settings), card=reference, grey=GREY_STEPS)


def miss(found: PhotoReading, truth: np.ndarray = TRUTH) -> np.ndarray:
    """ΔE2000 of every cell."""
    return delta_e(truth, np.array([cell.lab for cell in found.cells]))


def whitened(found: PhotoReading) -> np.ndarray:
    """Errors of every cell in units of those stated."""
    roots = [np.linalg.cholesky(cell.covariance) for cell in found.cells]
    return np.array(
        [
            np.linalg.solve(root, cell.lab - true)
            for root, cell, true in zip(roots, found.cells, TRUTH, strict=True)
        ]
    )


def rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(values))))
