"""Readers of swatch files. Each gives the same `SwatchSet`; the content decides which reads."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import Fault, InputError
from dyemix.files import cgats, cxf, delimited, xlsx
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
    path = Path(path)
    name = path.name or str(path)

    def refuse(message: str) -> InputError:
        return InputError(Fault(message, name))

    try:
        if not path.exists():
            raise refuse("there is no such file: check the name and the folder.")
        if not path.is_file():
            raise refuse("this is not a file: name the swatch table itself.")
        if (size := path.stat().st_size) > LARGEST:
            raise refuse(
                f"{size / 1e6:,.0f} MB; a swatch table is at most {LARGEST / 1e6:.0f} MB: is this "
                "the right file?"
            )
        data = path.read_bytes()
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        raise refuse(f"the file cannot be read ({error}).") from error
    if not data.strip():
        raise refuse("the file is empty.")
    for recognise, read in _FORMATS:
        if recognise(data):
            return read(data, name)
    raise refuse(
        "this is not text in UTF-8, UTF-16 or Windows-1252: save the table as CSV (UTF-8)."
    )
