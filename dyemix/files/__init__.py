"""Readers of swatch files. Each gives the same `SwatchSet`; the content decides which reads."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import Fault, InputError
from dyemix.files import cgats, cxf, delimited, xlsx
from dyemix.files.cells import NO_TEXT, read_bytes
from dyemix.files.cgats import write_cgats
from dyemix.files.cxf import write_cxf
from dyemix.files.writing import write_swatches

__all__ = ["read_swatches", "write_cgats", "write_cxf", "write_swatches"]

#: No table of swatches is larger than this (bytes).
LARGEST = 50_000_000

#: Whether a reader knows the content, and the reader; the first that knows it reads.
_FORMATS: list[tuple[Callable[[bytes], bool], Callable[[bytes, str], SwatchSet]]] = [
    (xlsx.recognise, xlsx.read),
    (cxf.recognise, cxf.read),
    (cgats.recognise, cgats.read),
    (delimited.recognise, delimited.read),
]


def read_swatches(path: str | os.PathLike[str]) -> SwatchSet:
    """Read a table of swatches.

    Parameters
    ----------
    path : a CSV, TSV or semicolon-separated text file or an .xlsx workbook, one reading a row.
        Columns: ``recipe`` (or ``dye`` and ``owf``), ``swatch``, and bands in nm, or ``L*``,
        ``a*``, ``b*``, or ``hex``. Conditions stand in columns or in ``# key: value`` lines above
        the headings. Or one band a row (``sample``, ``wavelength``, ``value``; or wavelengths
        down and samples across); or an instrument's file in ISO 28178 / CGATS.17 text or CxF3
        (ISO 17972-1). The content decides, not the file's name.

    Returns
    -------
    SwatchSet
        Reflectance ``(B,)`` of every row on 400–700 nm at 10 nm, as a fraction; what was assumed
        in `notes`, what is doubtful in each reading's `flags`.

    Raises
    ------
    InputError
        With every fault of the file: its row (the first line is 1), column and remedy.
    """
    data, name = read_bytes(path, LARGEST), Path(path).name
    for recognise, read in _FORMATS:
        if recognise(data):
            return read(data, name)
    raise InputError(Fault(NO_TEXT, name))
