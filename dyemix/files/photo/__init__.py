"""Photographs of swatches: the printed sheet, the reader, the contact sheet, two pictures apart."""

from dyemix.files.photo.places import Grid
from dyemix.files.photo.reading import Cell, PhotoReading, examine_photo, read_photo
from dyemix.files.photo.sheet import PrintedSheet, swatch_sheet

__all__ = [
    "Cell",
    "Grid",
    "PhotoReading",
    "PrintedSheet",
    "examine_photo",
    "read_photo",
    "swatch_sheet",
]
