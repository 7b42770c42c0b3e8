"""What to see to before a bath is begun; the words are in `templates/sheets/warnings.txt`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dyemix.bench.bath_page import BathSheet
from dyemix.bench.method import departures, same
from dyemix.bench.sheet import Notes, written
from dyemix.dataset.conditions import same as same_words


def bath_warnings(
    sheet: BathSheet, was: Mapping[str, Any], unread: tuple[str, ...], cloth_then: str
) -> tuple[str, ...]:
    """Every warning of a sheet; `was`, `unread` and `cloth_then` are of the swatches."""
    words = sheet.settings.mixtures
    _, (notes,) = written(
        "warnings", sheet.settings, sheet=sheet, was=was, unread=unread, same=same,
        departures=departures(sheet.method, was),
        other_cloth="" if same_words("cloth", sheet.cloth, cloth_then) else cloth_then,
        mixtures=[dye for dye in sheet.recipe if any(word in dye for word in words)],
    )  # fmt: skip
    assert isinstance(notes, Notes)
    return notes.notes
