"""What to see to before a bath is begun; the words are in `templates/sheets/warnings.txt`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dyemix.bench.bath_page import BathSheet
from dyemix.bench.method import departures, same
from dyemix.bench.sheet import Notes, written


def bath_warnings(
    sheet: BathSheet, was: Mapping[str, Any], unread: tuple[str, ...]
) -> tuple[str, ...]:
    """Every warning of a sheet; `was` and `unread` are of how the swatches were dyed."""
    words = sheet.settings.mixtures
    _, (notes,) = written(
        "warnings", sheet.settings, sheet=sheet, was=was, unread=unread, same=same,
        departures=departures(sheet.method, was),
        mixtures=[dye for dye in sheet.recipe if any(word in dye for word in words)],
    )  # fmt: skip
    assert isinstance(notes, Notes)
    return notes.notes
