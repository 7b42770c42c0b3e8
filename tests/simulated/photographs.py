"""Photographs of the photo page by the simulated camera, each taken and read once a run."""

import atexit
import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.photo import PhotoOptions, PhotoReading, examine_photo, write_photo_page
from dyemix.photo.layout import CARD_BOX, GREY_BOX, HEIGHT, WIDTH
from dyemix.photo.photo_page import PAPERS
from tests.simulated.camera import Camera, lab_d65, textiles
from tests.simulated.camera.scenes import GREY_STEPS, Page, load_page, scene, write_reference

TEXTILES = textiles()
TRUTH = lab_d65(TEXTILES)


@cache
def _folder() -> Path:
    folder = Path(tempfile.mkdtemp())
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


def print_pages(
    folder: Path, cells: int = 24, per_mm: float = 8.0, plan: SwatchSet | None = None
) -> list[Page]:
    """Print pages, with the recipes of a plan in their cells, and take them up for the camera."""
    printed = write_photo_page(folder / f"page{cells}.png", plan, cells, force=True)
    return [
        load_page(
            page, PAPERS["A4"], (WIDTH, HEIGHT), layout.places["swatch"], GREY_BOX, CARD_BOX, per_mm
        )
        for page, layout in zip(printed.pages, printed.layouts, strict=True)
    ]


def print_page(
    folder: Path, cells: int = 24, per_mm: float = 8.0, plan: SwatchSet | None = None
) -> Page:
    """The first of them."""
    return print_pages(folder, cells, per_mm, plan)[0]


@cache
def page() -> Page:
    """A page of 24 cells, printed."""
    return print_page(_folder(), per_mm=6.0)


@cache
def page_with_recipes(cells: int) -> Page:
    """The same with a recipe of three dyes in every cell."""
    recipes = [f"marigold {1 + i / 10:.1f} + navy 0.25 + rose 0.5" for i in range(cells)]
    blanks = (Reading(Recipe.parse(recipe), None, "a", "blank") for recipe in recipes)
    return print_page(_folder(), cells, 6.0, SwatchSet(tuple(blanks)))


def cut(page: Page, share: float, shift: tuple[float, float] = (0.0, 0.0)) -> Page:
    """The page for pieces cut to this share of their cells, laid so many mm off their middles."""
    middles = page.cells.mean(axis=1, keepdims=True)
    return replace(page, cells=(page.cells - middles) * share + middles + np.array(shift))


@cache
def card() -> Path:
    """The reference table of the patch card."""
    return write_reference(_folder() / "card.csv")


SETTINGS: dict[str, Any] = {"which": 0, "light": "D65", "megapixels": 2.5, "blur": 0.6}


def camera(**settings: Any) -> Camera:
    """A small camera in daylight."""
    return Camera(**(SETTINGS | settings))


@cache
def _taken(steps: tuple[float, ...], cards: bool, settings: tuple[tuple[str, Any], ...]) -> Path:
    number = len(list(_folder().glob("photo*.jpg")))
    laid = scene(page(), dict(enumerate(TEXTILES)), steps, cards)
    return camera(**dict(settings)).save(laid, _folder() / f"photo{number}.jpg")


def shoot(steps: Sequence[float] = GREY_STEPS, with_card: bool = True, **settings: Any) -> Path:
    """The 21 textiles on the page, with a grey card of these steps and perhaps a patch card."""
    return _taken(tuple(steps), with_card, tuple(sorted((SETTINGS | settings).items())))


def as_laid(with_card: bool = True, **more: Any) -> PhotoOptions:
    """Options that say which cards lie there."""
    return PhotoOptions(card=card() if with_card else None, grey=GREY_STEPS, **more)


@cache
def _read(photo: Path, with_card: bool) -> PhotoReading:
    return examine_photo(photo, as_laid(with_card))


def read(with_card: bool = True, **settings: Any) -> PhotoReading:
    """That photograph, read."""
    return _read(shoot(with_card=with_card, **settings), with_card)


def miss(found: PhotoReading, truth: Array = TRUTH) -> Array:
    """ΔE2000 of every cell."""
    return delta_e(truth, np.array([cell.lab for cell in found.cells]))


def whitened(found: PhotoReading, truth: Array = TRUTH) -> Array:
    """Errors ``(S, 3)`` of every cell in units of those stated."""
    roots = [np.linalg.cholesky(cell.covariance) for cell in found.cells]
    return np.array(
        [
            np.linalg.solve(root, cell.lab - true)
            for root, cell, true in zip(roots, found.cells, truth, strict=True)
        ]
    )


def rms(values: Array) -> float:
    return float(np.sqrt(np.mean(np.square(values))))
