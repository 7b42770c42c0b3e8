"""Photographs of swatches: the photo page, the reader, the contact sheet, differences."""

from dyemix.photo.photo_page import write_contact_sheet as write_contact_sheet
from dyemix.photo.photo_page import write_photo_page as write_photo_page
from dyemix.photo.read import PhotoOptions as PhotoOptions
from dyemix.photo.read import examine_photo as examine_photo
from dyemix.photo.results import PhotoReading as PhotoReading
from dyemix.photo.results import difference as difference
