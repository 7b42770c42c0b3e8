"""Readers and writers of swatch files: each gives or takes the same `SwatchSet`."""

import gc
import os
from pathlib import Path
from typing import IO, Any

from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import InputError
from dyemix.files import instruments, spreadsheets
from dyemix.files.cells import Faults, Sheet, decode
from dyemix.files.spreadsheets import written as swatch_table
from dyemix.files.table import understand
from dyemix.writing import Named, read_bytes, write

__all__ = ["read_swatches", "swatch_table", "write_swatches"]

#: No table of swatches is larger than this (bytes).
LARGEST = 50_000_000
#: How the names of raw photographs end: many begin as any TIFF does. Here, so that asking whether a
#: table is a picture loads no reader of photographs.
RAW_SUFFIXES = frozenset(
    {".dng", ".nef", ".cr2", ".cr3", ".arw", ".raf", ".orf", ".rw2", ".pef", ".srw", ".x3f"}
)


def read_swatches(path: Named | IO[Any]) -> SwatchSet:
    """Read a table of swatches.

    Parameters
    ----------
    path : where it lies, or an open file: a CSV, TSV or semicolon-separated text file or an .xlsx
        workbook, one reading a row.
        Columns: ``recipe`` (or ``dye`` and ``owf``), ``swatch``, and bands in nm, or ``L*``,
        ``a*``, ``b*``, or ``hex``. Conditions stand in columns or in ``# key: value`` lines above
        the headings. Or one band a row (``sample``, ``wavelength``, ``value``; or wavelengths
        down and samples across); or an instrument's file in ISO 28178 / CGATS.17 text or CxF3
        (ISO 17972-1). The content decides, not the file's name.

    Returns
    -------
    SwatchSet
        Reflectance ``(B,)`` of every row on 400–700 nm at 10 nm, as a fraction; what was assumed
        and doubted in `warnings`, its own and each reading's.

    Raises
    ------
    InputError
        With every fault of the file: its row (the first line is 1), column and remedy.

    >>> write_swatches(demo(), "squares.csv")
    >>> len(read_swatches("squares.csv"))
    85
    """
    if isinstance(path, str | os.PathLike):
        data, name = read_bytes(path, LARGEST), Path(path).name
    elif not hasattr(path, "read"):
        raise InputError(f"a path or an open file is read, not a {type(path).__name__}.")
    else:
        content, name = path.read(), str(getattr(path, "name", "the open file"))
        data = content.encode() if isinstance(content, str) else content
    faults, collects = Faults(name), gc.isenabled()
    gc.disable()  # it would look through every row again and again
    try:
        return understand(_cells(data, faults), faults)
    finally:
        if collects:
            gc.enable()


def _cells(data: bytes, faults: Faults) -> Sheet:
    """The cells of whatever kind of file these bytes are."""
    if spreadsheets.is_workbook(data):
        return spreadsheets.read_workbook(data, faults)
    if instruments.is_xml(data):
        return instruments.read_cxf(data, faults)
    text = decode(data, faults)
    read = instruments.read_cgats if instruments.is_cgats(text) else spreadsheets.read_text
    return read(text, faults)


def write_swatches(swatches: SwatchSet, path: Named | IO[str], **care: Any) -> None:
    """Write the table of `swatch_table` to a path, or into an open text file.

    `care` is ``force`` and ``inputs`` of `write`.

    >>> write_swatches(demo(), "written.csv")
    >>> read_swatches("written.csv").demo
    True
    """
    if isinstance(path, str | os.PathLike):
        write(path, swatch_table(swatches), **care)
    else:
        path.write(swatch_table(swatches))
