"""Photographs of swatches: the printed sheet, the reader, the contact sheet, differences."""

from dyemix.photo.compare import Difference, difference
from dyemix.photo.contact_sheet import contact_sheet
from dyemix.photo.places import Grid
from dyemix.photo.print_sheet import PrintedSheet, swatch_sheet
from dyemix.photo.read import examine_photo
from dyemix.photo.results import Cell, PhotoReading

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
