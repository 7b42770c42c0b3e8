"""Scripts of somebody who has only the docstrings: short, by public names, typed, and right."""

from __future__ import annotations

import ast
import runpy
import shutil
from pathlib import Path

import numpy as np
import pytest
from simulated import photographs

import dyemix
from dyemix.dataset.swatches import SwatchSet

SCRIPTS = sorted((Path(__file__).parent / "newcomer").glob("*.py"))
SWATCH_DATA = Path(__file__).parents[1] / "swatch_data"
#: Invented: CIELAB under D65/10°.
SQUARES = """recipe,L*,a*,b*
undyed,93.1,0.2,3.9
gold 4,66.2,24.9,70.8
gold 1,75.9,13.6,57.0
gold 0.25,84.1,6.0,36.9
teal 4,38.0,-20.5,-24.0
teal 1,55.3,-22.4,-20.1
teal 0.25,73.0,-16.0,-11.5
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What the scripts read: swatches of the demo fitted, and small invented tables."""
    place = tmp_path_factory.mktemp("newcomer")
    mixtures = dyemix.read_swatches(SWATCH_DATA / "napkins_mixtures.csv")
    dyemix.save(dyemix.fit(dyemix.demo() + mixtures), place / "dyes.json")
    shutil.copy(SWATCH_DATA / "napkins_mixtures.csv", place / "mixtures.csv")
    (place / "squares.csv").write_text(SQUARES, encoding="utf-8")
    rng = np.random.default_rng(5)
    codes = ["#{:02x}{:02x}{:02x}".format(*rng.integers(60, 200, 3)) for _ in range(50)]
    (place / "colours.csv").write_text("\n".join(["colour", *codes]), encoding="utf-8")
    bands = np.arange(380, 731, 10)
    rows = [["recipe", *bands]]
    for depth in (0.0, 0.25, 1.0, 4.0):  # a dye that absorbs in the blue, by Kubelka and Munk
        k = 0.02 + 3.0 * depth / (1.0 + np.exp((bands - 500.0) / 20.0))
        r = 100.0 * (1.0 + k - np.sqrt(k * k + 2.0 * k))
        rows.append([f"lemon {depth}" if depth else "undyed", *r.round(3)])
    text = "\n".join(",".join(map(str, row)) for row in rows)
    (place / "spectra.csv").write_text(text, encoding="utf-8")
    return place


@pytest.mark.parametrize(
    "script",
    [
        pytest.param(p, marks=[pytest.mark.slow] * (p.stem in ("joblib_and_dask", "photograph")))
        for p in SCRIPTS
    ],
    ids=lambda p: p.stem,
)
@pytest.mark.filterwarnings("default")  # of other libraries than ours
def test_it_runs(script: Path, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    if script.stem == "photograph":
        shutil.copy(photographs.shoot((0.18,), with_card=False), folder / "photo.jpg")
    monkeypatch.chdir(folder)
    runpy.run_path(str(script))


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda p: p.stem)
def test_it_is_short_and_uses_public_names(script: Path) -> None:
    text = script.read_text(encoding="utf-8")
    assert len([line for line in text.splitlines() if line.strip()]) <= 10
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.ImportFrom):
            assert "dyemix" not in str(node.module)
        if isinstance(node, ast.Attribute):
            assert not node.attr.startswith("_")
            if isinstance(node.value, ast.Name) and node.value.id == "dyemix":
                assert node.attr in dyemix.__all__


def test_there_are_twelve() -> None:
    assert len(SCRIPTS) >= 12


def test_the_array_of_a_photograph_is_read_like_its_file(monkeypatch: pytest.MonkeyPatch) -> None:
    """What reads a file gets the same pixels, whichever way they came."""
    import dyemix.photo
    from dyemix.photo.decode import Photograph

    pixels = np.random.default_rng(1).integers(0, 255, (1000, 1004, 3), np.uint8)
    seen = []

    def examine(photo: Photograph, options: object) -> SwatchSet:
        seen.append(photo.codes)
        return SwatchSet(())

    monkeypatch.setattr(dyemix.photo, "examine_photo", examine)
    dyemix.read_photo(pixels)
    np.testing.assert_array_equal(seen[0], pixels)
