"""Struck pieces as the package meets them: photographed beside the page, with squares to fit."""

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

import dyemix
from dyemix.cloth.amounts import Unmixer
from dyemix.cloth.levelness import Levelness, analyse, levelness
from dyemix.cloth.photographed import Photographed
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.serialise import as_json
from dyemix.model.dyes import DyeSet
from dyemix.photo import examine_photo
from dyemix.photo.layout import HEIGHT, WIDTH
from dyemix.photo.photo_page import PAPERS
from tests.simulated.camera import WAVELENGTHS as CAMERA_NM
from tests.simulated.camera.scenes import scene
from tests.simulated.eye import WAVELENGTHS
from tests.simulated.photographs import _folder, as_laid, print_page
from tests.simulated.strike import FINE, Bench, Dyed, dye
from tests.simulated.workshop import Workshop, format_recipe

DEPTHS = (4.0, 2.0, 1.0, 0.5, 0.25, 0.125)


@cache
def shop() -> Workshop:
    """The workshop of seed 0, without pot-to-pot noise: its physics."""
    return Workshop(0, noise=False)


def _spectrum(recipe: dict[str, float]) -> Any:
    return np.interp(CAMERA_NM, WAVELENGTHS, shop().true_reflectance(recipe))


@cache
def _page() -> Any:
    return print_page(_folder(), cells=24, per_mm=6.0)


@cache
def spectral_dyes(names: tuple[str, ...]) -> DyeSet:
    """Fitted on spectra of the workshop's squares."""
    from tests.simulated.workshop import write_table

    path = _folder() / f"ladder-{'-'.join(names)}.csv"
    rows = [row for row in Workshop(0).ladder() if row.recipe.split(" ")[0] in (*names, "undyed")]
    write_table(path, rows, {"cloth": "invented napkin", "demo": "yes"})
    return dyemix.fit(dyemix.read_swatches(path))


@cache
def photographed_dyes(names: tuple[str, ...], which: int = 0) -> DyeSet:
    """Fitted on squares that this camera photographed on one page."""
    recipes = [{}, {}, *({name: depth} for name in names for depth in DEPTHS)]
    labels = [f"{row}{i}" for row in "ABCD" for i in range(1, 7)]
    cells = _folder() / f"squares-{which}-{'-'.join(names)}.csv"
    told = [f"{label},{format_recipe(r)}" for label, r in zip(labels, recipes, strict=False)]
    cells.write_text("\n".join(["cell,recipe", *told]), encoding="utf-8")
    laid = scene(_page(), {i: _spectrum(recipe) for i, recipe in enumerate(recipes)})
    file = Bench(which=which, light="D55", blur=0.6, seed=99).save(laid, cells.with_suffix(".jpg"))
    seen = examine_photo(file, as_laid(cells=cells, keep="all"))
    return dyemix.fit(seen.swatches)


def shoot(piece: Dyed, stem: str, **settings: Any) -> Path:
    """The piece beside a page with an undyed square and both cards, as a JPEG."""
    laid = scene(_page(), {0: _spectrum({})})
    how = {"which": 0, "light": "D55", "megapixels": 6.0, "blur": 0.6, **settings}
    return Bench(piece=piece, **how).save(laid, _folder() / f"{stem}.jpg")


def place_of(piece: Dyed) -> Any:
    """Where the top left of a piece lies, in mm of the page's frame ``(2,)``."""
    page = _page()
    edge, gap = 8.0, Bench.gap_mm
    paper = np.array(page.grey.shape[::-1]) / page.per_mm
    tall = max(paper[1] + 2 * edge, piece.amounts.shape[0] / FINE + 2 * gap)
    on_bench = np.array([paper[0] + 2 * edge + gap, (tall - piece.amounts.shape[0] / FINE) / 2])
    return on_bench - edge - (np.array(PAPERS["A4"]) - (WIDTH, HEIGHT)) / 2


def undyed_cell() -> Path:
    """The table that says where the undyed square lies."""
    path = _folder() / "undyed.csv"
    path.write_text("cell,recipe\nA1,undyed\n", encoding="utf-8")
    return path


def shoot_piece() -> Path:
    """A small piece beside the page with one grey card and nothing in its cells but one undyed."""
    piece = dye({"lemon": 0.8, "navy": 0.25}, "with", 0, (60, 60), shop=shop())
    laid = scene(_page(), {0: _spectrum({})}, (0.18,), card=False)
    how: dict[str, Any] = {"light": "D55", "megapixels": 3.0, "blur": 0.6}
    return Bench(piece=piece, **how).save(laid, _folder() / "small.jpg")


@cache
def small_piece() -> str:
    """An analysed piece, as its file holds it."""
    piece = dye({"lemon": 0.8, "rose": 0.5}, "with", 0, (32, 32), shop=shop())
    return as_json([replace(by_eye(piece, spectral_dyes(piece.names), 1.0), order="with")])


def by_camera(
    piece: Dyed, dyes: DyeSet, stem: str = "piece", order: str = "", **settings: Any
) -> Levelness:
    """The analysis of a photograph of the piece."""
    recipe = dict(zip(piece.names, piece.dose.tolist(), strict=True))
    file = shoot(piece, stem, **settings)
    return levelness(dyes, file, recipe, order=order, options=as_laid(cells=undyed_cell()))


def by_eye(piece: Dyed, dyes: DyeSet, cell_mm: float = 0.5) -> Levelness:
    """The analysis with a perfect observer, even light and no threads."""
    from dyemix.colour.colorimetry import D65_2, weights

    recipe = Recipe(dict(zip(piece.names, piece.dose.tolist(), strict=True)))
    unmixer = Unmixer(dyes, recipe)
    sensed = weights(D65_2) / weights(D65_2).sum(axis=0)
    responses = (piece.blocks(piece.spectra, cell_mm) @ sensed).astype(np.float32)
    amounts, missed = unmixer.solve(responses.reshape(-1, 3))
    shape = responses.shape[:2]
    return analyse(Photographed(
        unmixer, "perfect observer", responses, amounts.reshape(*shape, -1),
        np.ones(shape, dtype=bool), missed.reshape(shape), round(cell_mm * FINE) / FINE,
        np.zeros((*shape, 2)), np.zeros((3, 3)), np.zeros((3, 3)), True, (),
    ))  # fmt: skip
