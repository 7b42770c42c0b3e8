"""Mottled pieces through the command: kept under a job, and what previews rest on."""

from __future__ import annotations

import pytest
from command import Command

from tests.simulated.struck import small_piece

BOOK = ("--book", "w.dyebook", "--method", "linen")
MIX = "navy 0.8 + marigold 0.5"


@pytest.mark.slow
def test_the_book_keeps_pieces_and_previews_rest_on_them(lawn: Command) -> None:
    told = small_piece().replace("lemon", "navy").replace("rose", "marigold")
    (lawn.folder / "pieces.json").write_text(told, encoding="utf-8")
    assert "alkali: with. Illustrative" in lawn("preview", MIX, *BOOK).stdout
    kept = lawn("levelness", "pieces.json", "--recipe", MIX, "--job", "scrunched", *BOOK)
    assert kept.returncode == 0, kept.stderr
    assert "alkali: with. From your perfect observer" in lawn("preview", MIX, *BOOK).stdout
    both = lawn("preview", MIX, "--analysed", "pieces.json", *BOOK).stdout
    assert both.count("perfect observer") == 1  # what is in the book is not another piece
    assert lawn("report", "-o", "p.html", "--analysed", "pieces.json", *BOOK).returncode == 0
    page = (lawn.folder / "p.html").read_text(encoding="utf-8")
    assert "<h2>Mottled piece perfect observer</h2>" in page
    shown = lawn("book", "show", "scrunched", "--book", "w.dyebook").stdout
    assert "mottled piece perfect observer: navy 0.80 + marigold 0.50, alkali: with" in shown
    assert "unevenness" in shown
    assert "perfect observer" in lawn("book", "search", "observer", "--book", "w.dyebook").stdout
