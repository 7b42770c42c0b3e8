"""A small book of the dyer's own, that tests of the command begin from."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from command import Command

TABLE = Path(__file__).resolve().parents[2] / "swatch_data" / "napkins.csv"


@pytest.fixture
def lawn(run: Command) -> Command:
    """A folder with a book of three dyes on lawn, alkali after them, and the same on linen."""
    rows = TABLE.read_text(encoding="utf-8").splitlines()
    wanted = ("recipe", "undyed", "marigold", "navy", "black")
    few = [row for row in rows if row[0] == "#" or re.split("[, ]", row)[1] in wanted]
    text = "\n".join(few)
    text = text.replace("# demo: yes\n", "").replace("cotton-linen napkin, mock-dyed", "lawn")
    (run.folder / "lawn.csv").write_text(text, encoding="utf-8")
    linen = text.replace("cloth: lawn", "cloth: linen").replace("about 1 h after", "with")
    (run.folder / "linen.csv").write_text(linen, encoding="utf-8")
    for table in ("lawn.csv", "linen.csv"):
        assert run("book", "add", table, "--book", "w.dyebook").returncode == 0
    return run
