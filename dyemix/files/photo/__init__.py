"""Photographs of swatches: the printed sheet, the reader, the contact sheet, differences."""

from dyemix.files.photo.compare import Difference, difference
from dyemix.files.photo.contact import contact_sheet
from dyemix.files.photo.outcome import Cell, PhotoReading
from dyemix.files.photo.places import Grid
from dyemix.files.photo.reading import examine_photo
from dyemix.files.photo.sheet import PrintedSheet, swatch_sheet

__all__ = [
    "Cell",
    "Difference",
    "Grid",
    "PhotoReading",
    "PrintedSheet",
    "contact_sheet",
    "difference",
    "examine_photo",
    "swatch_sheet",
]
