"""The whole book as plain CSV tables: every row and digit, for any other program."""

from __future__ import annotations

import csv
import sqlite3
from pathlib import Path

import numpy as np
import pytest

from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.dataset.target import Trial
from dyemix.dyebook import connection as schema
from dyemix.dyebook.book import DyeBook
from dyemix.dyebook.records import Cloth
from dyemix.errors import InputError
from dyemix.files import read_swatches
from tests.dyebook.filled import HARD_NAMES, fill, reading


def assert_exported(book: Path, folder: Path) -> None:
    """Hold every cell against the book, read by SQLite and the standard library alone."""
    raw = sqlite3.connect(book)
    raw.row_factory = sqlite3.Row
    for table in schema.TABLES:
        with (folder / f"{table}.csv").open(encoding="utf-8", newline="") as file:
            written = list(csv.DictReader(file, strict=True))
        rows = raw.execute(f"SELECT * FROM {table} ORDER BY id").fetchall()
        assert len(written) == len(rows), table
        for cells, row in zip(written, rows, strict=True):
            for name in row.keys():  # noqa: SIM118  (a row is no mapping)
                value = row[name]
                if name == "content":
                    whole = value if isinstance(value, bytes) else value.encode()
                    assert (folder / cells[name]).read_bytes() == whole
                elif isinstance(value, float):
                    assert float(cells[name]) == value
                else:
                    text = "" if value is None else str(value)
                    assert cells[name] in (text, f"'{text}"), "a formula would act in a sheet"
    raw.close()


def test_every_cell_is_in_the_tables(path: Path, tmp_path: Path) -> None:
    with DyeBook(path) as book:
        fill(book)
        for name in HARD_NAMES:
            book.add_trial(Trial(Recipe({"gold": 1.0}), reading(swatch=name)), name, name)
            book.add_cloth(Cloth(name, name, name))
        book.add_trial(Trial(Recipe({"gold": 1.0}), reading()), "seen", picture=b"\xff\xd8 seen")
        written = book.export(tmp_path / "out")
    assert [file.stem for file in written] == [*schema.TABLES, "swatches-1"]
    assert_exported(path, tmp_path / "out")


def test_the_swatches_of_each_method_are_read_back(path: Path, tmp_path: Path) -> None:
    with DyeBook(path) as book:
        squares = [reading("undyed", 0.8, swatch="a, b"), reading("gold 1", 0.4, swatch="2")]
        photographed = {"conditions": {"photograph": "f.jpg"}, "covariance": np.diag([4.0, 1, 1])}
        seen = Reading.from_lab([50.0, 1.0, 2.0], "D65/2", "gold 2", **photographed)
        book.add_swatches(SwatchSet((*squares, seen)), "may", method="lawn")
        book.add_swatches(SwatchSet((reading("undyed", 0.7),)), "june", method="linen")
        held = [book.swatches(name).readings for name in ("lawn", "linen")]
        book.export(tmp_path / "out")
    for number, readings in enumerate(held, 1):
        again = read_swatches(tmp_path / "out" / f"swatches-{number}.csv").readings
        assert [(r.recipe, r.swatch) for r in again] == [(r.recipe, r.swatch) for r in readings]
        for one, other in zip(again, readings, strict=True):
            assert np.allclose(one.reflectance, other.reflectance, atol=1e-6)
            assert (one.covariance is None) == (other.covariance is None)
    assert np.allclose(read_swatches(tmp_path / "out" / "swatches-1.csv").readings[2].covariance,
                       photographed["covariance"])  # fmt: skip


def test_nothing_is_written_over(path: Path, tmp_path: Path) -> None:
    with DyeBook(path) as book:
        fill(book)
        book.export(tmp_path / "out")
        before = {file.name: file.read_bytes() for file in (tmp_path / "out").iterdir()}
        with pytest.raises(InputError, match="not empty"):
            book.export(tmp_path / "out")
        assert before == {file.name: file.read_bytes() for file in (tmp_path / "out").iterdir()}
        with pytest.raises(InputError, match="cannot be written"):
            book.export(path / "out")
