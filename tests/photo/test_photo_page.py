"""The photo page: what stands on it, the table beside it, and that it is found again."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.errors import DyemixError, InputError
from dyemix.files.small_tables import read_names
from dyemix.photo import decode as decoding
from dyemix.photo import examine_photo, photo_page, write_photo_page
from dyemix.photo.decode import decode
from dyemix.photo.layout import LAYOUTS, WIDTH
from dyemix.photo.photo_page import _drawn
from dyemix.photo.places import find_page

PLAN = SwatchSet(
    (
        Reading(Recipe({}), None, "N1", "blank"),
        Reading(Recipe({"rose": 0.125}), None, "N2", "blank"),
        Reading(Recipe({"rose": 0.125}), None, "N2", "blank"),
        Reading(Recipe.parse("rose 0.5 + navy 0.2"), None, "N3", "blank"),
    )
)


@pytest.mark.parametrize(
    ("cells", "paper"),
    [(12, "A4"), (24, "letter"), pytest.param(40, "A4", marks=pytest.mark.slow)],
    ids=["12", "24", "40"],
)
def test_printed_pages_are_found_where_the_layout_says(
    tmp_path: Path, cells: int, paper: str
) -> None:
    printed = write_photo_page(tmp_path / "s.png", cells=cells, paper=paper)
    assert [path.name for path in printed.pages] == ["s.png", "s-2.png"][: 1 + (cells == 40)]
    for path, layout in zip(printed.pages, printed.layouts, strict=True):
        page = Image.open(path).convert("RGB")
        size = {"A4": (210.0, 297.0), "letter": (215.9, 279.4)}[paper]
        per_mm = page.width / size[0]
        page.resize((page.width // 3, page.height // 3)).save(tmp_path / "photo.png")
        frame, lens = find_page(decode(tmp_path / "photo.png"))
        assert frame.layout == layout
        corner = lens(np.array([[0.0, 0.0], [WIDTH, 0.0]]))
        left = (size[0] - WIDTH) / 2 * per_mm / 3
        assert corner[:, 0] + 0.5 == pytest.approx([left, left + WIDTH * per_mm / 3], abs=1.0)


def test_a_page_that_is_printed_no_more_is_found(tmp_path: Path) -> None:
    (tmp_path / "p.png").write_bytes(_drawn(LAYOUTS[2], (), "A4", ".png", "1 of 1"))
    assert find_page(decode(tmp_path / "p.png"))[0].labels[-1] == "E8"


def test_the_table_beside_it_names_the_pieces_once(tmp_path: Path) -> None:
    printed = write_photo_page(tmp_path / "plan.pdf", PLAN)
    assert printed.pages[0].read_bytes().startswith(b"%PDF")
    with printed.table.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    assert [row["recipe"] for row in rows[:4]] == [
        "undyed",
        "rose 0.125",
        "rose 0.5 + navy 0.2",
        "",
    ]
    assert [row["cell"] for row in rows[:5]] == ["A1", "A2", "A3", "A4", "B1"]
    assert len(rows) == 12
    named = read_names(printed.table, [], "cell").values()
    assert [(n.name, n.recipe, n.swatch) for n in named] == [
        ("A1", {}, "N1"),
        ("A2", {"rose": 0.125}, "N2"),
        ("A3", {"rose": 0.5, "navy": 0.2}, "N3"),
    ]
    assert "plan.csv" in str(printed)


def test_svg_is_the_same_each_time(tmp_path: Path) -> None:
    one, two = (write_photo_page(tmp_path / f"{n}.svg", PLAN).pages[0].read_text() for n in "ab")
    assert "<svg" in one
    assert one == two


def test_what_the_page_refuses(tmp_path: Path) -> None:
    with pytest.raises(DyemixError, match=r"name the photo page \.pdf, \.svg or \.png"):
        write_photo_page(tmp_path / "s.docx")
    with pytest.raises(DyemixError, match="paper 'A3' is unknown"):
        write_photo_page(tmp_path / "s.pdf", paper="A3")
    with pytest.raises(DyemixError, match="0 cells make no page: 12, 24 or 40"):
        write_photo_page(tmp_path / "s.pdf", cells=0)
    many = SwatchSet(tuple(Reading(Recipe({"rose": 1.0 + i}), None, "") for i in range(41)))
    with pytest.raises(DyemixError, match="41 cells do not fit"):
        write_photo_page(tmp_path / "s.pdf", many)


@pytest.mark.parametrize(
    ("cells", "pieces", "told"),
    [
        (13, 0, "13 cells: the page for 24 is the next larger one."),
        (12, 14, "14 cells: the page for 24 is the next larger one."),
        (25, 0, "25 cells: the pair of pages for 40 is the next larger one."),
        (24, 14, ""), (None, 14, ""), (None, 0, ""),
    ],
)  # fmt: skip
def test_more_cells_than_were_asked_for_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cells: int | None, pieces: int, told: str
) -> None:
    """A page holds 12, 24 or 40 and no number between."""
    monkeypatch.setattr(photo_page, "_drawn", lambda *_: b"drawn")
    plan = SwatchSet(tuple(Reading(Recipe({"rose": 1.0 + i}), None, "") for i in range(pieces)))
    answer = str(write_photo_page(tmp_path / "s.svg", plan, cells))
    assert [line for line in answer.split("\n") if "next larger" in line] == [told] * bool(told)


def test_without_opencv_the_sentence_says_how_to_get_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = decoding.importlib.import_module

    def without(name: str) -> Any:
        if name == "cv2":
            raise ImportError
        return found(name)

    monkeypatch.setattr(decoding.importlib, "import_module", without)
    Image.new("RGB", (200, 200)).save(tmp_path / "a.jpg")
    with pytest.raises(InputError, match=r"pip install '\.\[photo\]'"):
        examine_photo(tmp_path / "a.jpg")
    with pytest.raises(InputError, match=r"pip install '\.\[photo\]'"):
        write_photo_page(tmp_path / "s.pdf")


def test_neither_file_is_written_where_one_is_there(tmp_path: Path) -> None:
    (tmp_path / "s.csv").write_text("mine")
    with pytest.raises(InputError, match="is there already"):
        write_photo_page(tmp_path / "s.svg")
    assert [path.name for path in tmp_path.iterdir()] == ["s.csv"]
    assert (tmp_path / "s.csv").read_text() == "mine"
    write_photo_page(tmp_path / "s.svg", force=True)
    assert (tmp_path / "s.csv").read_text().startswith("# cloth:\n")
