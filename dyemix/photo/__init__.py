"""Photographs of swatches: the photo page, the reader, the contact sheet, differences."""

from dyemix.photo.contact_sheet import write_contact_sheet
from dyemix.photo.photo_page import PhotoPage, write_photo_page
from dyemix.photo.places import Grid
from dyemix.photo.read import PhotoOptions, examine_photo
from dyemix.photo.results import CellReading, Difference, PhotoReading, difference

__all__ = [
    "CellReading",
    "Difference",
    "Grid",
    "PhotoOptions",
    "PhotoPage",
    "PhotoReading",
    "difference",
    "examine_photo",
    "write_contact_sheet",
    "write_photo_page",
]
