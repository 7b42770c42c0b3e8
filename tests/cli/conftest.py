"""A small book of the dyer's own, that tests of the command begin from."""

from __future__ import annotations

from pathlib import Path

import pytest
from command import Command, of_dyes

TABLE = Path(__file__).resolve().parents[2] / "swatch_data" / "napkins.csv"


@pytest.fixture
def lawn(run: Command) -> Command:
    """A folder with a book of three dyes on lawn, alkali after them, and the same on linen."""
    text = of_dyes(TABLE.read_text(encoding="utf-8"), "marigold", "navy", "black")
    text = text.replace("# demo: yes\n", "").replace("cotton-linen napkin, mock-dyed", "lawn")
    (run.folder / "lawn.csv").write_text(text, encoding="utf-8")
    linen = text.replace("cloth: lawn", "cloth: linen").replace("about 1 h after", "with")
    (run.folder / "linen.csv").write_text(linen, encoding="utf-8")
    for table in ("lawn.csv", "linen.csv"):
        assert run("book", "add", table, "--book", "w.dyebook").returncode == 0
    return run
