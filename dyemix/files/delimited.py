"""Swatch tables as comma-, semicolon- or tab-separated text."""

from __future__ import annotations

from dyemix.dataset.swatches import SwatchSet
from dyemix.files.cells import Faults, decode, read_sheet
from dyemix.files.shapes import one_reading_a_row
from dyemix.files.table import understand


def recognise(data: bytes) -> bool:
    """Whether `data` is text at all. Any text is taken for a table, so this comes last."""
    return decode(data) is not None


def read(data: bytes, file: str) -> SwatchSet:
    """Read a swatch table. Raises `InputError` with every fault of the file."""
    text, note = decode(data) or ("", "")
    faults = Faults(file)
    sheet = one_reading_a_row(read_sheet(text, faults), faults)
    sheet.notes[:0] = [note] if note else []
    return understand(sheet, faults)
