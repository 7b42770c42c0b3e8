"""Pieces beside the printed page, before the simulated camera; and a real picture of cloth."""

from __future__ import annotations

from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import dyemix
from dyemix.cloth.levelness import levelness
from dyemix.cloth.photographed import read_outline
from dyemix.errors import InputError
from tests.simulated.camera.camera import _TABLE as TABLE
from tests.simulated.camera.camera import WAVELENGTHS as CAMERA_NM
from tests.simulated.eye import WAVELENGTHS
from tests.simulated.photographs import as_laid
from tests.simulated.photographs import shoot as shoot_swatches
from tests.simulated.strike import FINE, MIXES, Dyed, dye
from tests.simulated.struck import place_of, shoot, shop, spectral_dyes, undyed_cell

RECIPE = MIXES["clear"]
NAMES = tuple(RECIPE)


@pytest.fixture(scope="module")
def piece() -> Dyed:
    return dye(RECIPE, "with", 2, (64, 72), shop=shop())


@pytest.fixture(scope="module")
def photo(piece: Dyed) -> Path:
    return shoot(piece, "beside", megapixels=4.0)


@pytest.mark.slow
def test_a_piece_beside_the_page_reads_as_it_is(piece: Dyed, photo: Path):
    options = as_laid(cells=undyed_cell())
    found = levelness(spectral_dyes(NAMES), photo, RECIPE, order="with", options=options)
    cells = found.cells
    assert cells is not None
    where = cells.places[cells.inside] - place_of(piece)
    low, high = where.min(axis=0), np.array([72.0, 64.0]) - where.max(axis=0)
    assert np.concatenate([low, high]) == pytest.approx(0.8, abs=0.4)  # a rim of 1 mm is left out
    assert found.figure("undyed share").value == pytest.approx(piece.undyed, abs=2.0)
    assert found.figure("unevenness").value == pytest.approx(piece.unevenness, rel=0.1)
    for axis, true in zip("Lab", piece.mean_colour, strict=True):
        figure = found.figure(f"mean {axis}*")
        assert abs(figure.value - true) < 2.0 * figure.error
    assert not any("light" in told or "white" in told for told in cells.warnings)
    assert "was not read" not in str(found)
    pixels = levelness(spectral_dyes(NAMES), photo, RECIPE, options=options, every_pixel=True)
    for one, other in zip(found.figures[:6], pixels.figures[:6], strict=True):
        assert one.value == pytest.approx(other.value, abs=max(one.error, 0.3))


@pytest.mark.slow
def test_cloth_that_looks_like_the_table_is_said_to_be_missing(piece: Dyed):
    bitten = replace(piece)
    bitten.__dict__["spectra"] = spectra = piece.spectra.copy()
    middle = slice(2 * FINE, 26 * FINE)
    spectra[: 20 * FINE, middle] = np.interp(WAVELENGTHS, CAMERA_NM, TABLE)
    photo, options = shoot(bitten, "bitten", megapixels=4.0), as_laid(cells=undyed_cell())
    found = levelness(spectral_dyes(NAMES), photo, RECIPE, options=options)
    assert "was not read" in str(found)


@pytest.mark.slow
def test_where_the_piece_lies_can_be_told(photo: Path):
    for words in ("10,10 40,10 40,40", "9000,10 9900,10 9900,900"):  # too small, not in the picture
        with pytest.raises(InputError, match="2 × 2 cm"):
            levelness(
                spectral_dyes(NAMES), photo, RECIPE, options=as_laid(cells=undyed_cell()),
                piece=words,
            )  # fmt: skip


def test_an_outline_that_is_none_is_refused():
    for words in ("", "1,2 3,4", "1,2 3 4", "here"):
        with pytest.raises(InputError, match="outline"):
            read_outline(words)


@pytest.mark.slow
def test_a_page_without_a_piece_is_refused():
    with pytest.raises(InputError, match=r"beside the page|fills the picture"):
        levelness(spectral_dyes(NAMES), shoot_swatches(), RECIPE, options=as_laid(keep="all"))


@pytest.mark.slow
def test_a_real_picture_of_cloth_goes_through(piece: Dyed, tmp_path: Path):
    """A uniform with folds, of a portrait that travels with matplotlib (US Navy, public domain),
    as three broad bands of reflectance. No figure of it is claimed: it is looked at.
    """
    portrait = files("matplotlib").joinpath("mpl-data/sample_data/grace_hopper.jpg")
    with portrait.open("rb") as file:
        codes = np.asarray(Image.open(file).convert("RGB"))[360:590, 60:440] / 255.0
    bands = np.zeros((3, 31))
    bands[0, 20:], bands[1, 10:20], bands[2, :10] = 1.0, 1.0, 1.0
    cloth = replace(piece, amounts=np.zeros((*codes.shape[:2], 3)), light=np.ones(codes.shape[:2]))
    cloth.__dict__["spectra"] = (0.02 + 0.8 * codes**2.2 @ bands).astype(np.float32)
    found = levelness(
        spectral_dyes(("navy", "rust")), shoot(cloth, "real", megapixels=4.0), "navy 3 + rust 1",
        options=as_laid(cells=undyed_cell()),
    )  # fmt: skip
    dyemix.plot(found, tmp_path / "cloth.png")
    assert (tmp_path / "cloth.png").stat().st_size > 50_000
    assert sum(shade.share for shade in found.palette) == pytest.approx(100.0)
