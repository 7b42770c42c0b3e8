"""A whole book as a folder of plain CSV tables, for any other program: every row and digit.

A spectrum is a column a band, as in a table of swatches. What is a document of its own, a fit, a
bath sheet or a picture, is a file beside its table, and the table names it.
"""

from __future__ import annotations

import json
import os
from contextlib import closing
from pathlib import Path
from typing import Any

from dyemix.arrays import LAB
from dyemix.colour.colorimetry import WAVELENGTHS
from dyemix.dyebook import schema
from dyemix.dyebook.connection import BookFile
from dyemix.errors import SavedError
from dyemix.writing import csv_text, write

#: A list in one column of the book is a column for each number in the table.
_SPREAD = {"spectrum": tuple(f"{w:g} nm" for w in WAVELENGTHS), "lab": LAB}


def export_csv(path: str | os.PathLike[str], folder: str | os.PathLike[str]) -> tuple[Path, ...]:
    """Write every table of a book as ``TABLE.csv`` into a new or empty folder.

    Gives the tables written. Raises `SavedError` for a folder with files in it or that cannot be
    made, `InputError` where a table cannot be written.
    """
    folder, written = Path(folder), []
    with closing(BookFile(path, create=False)) as book, book.reading() as db:
        try:
            folder.mkdir(parents=True, exist_ok=True)
            if any(folder.iterdir()):
                raise SavedError(f"{folder} is not empty: name a new one, nothing is written over.")
        except OSError as error:
            raise SavedError(f"{folder}: cannot be written ({error.strerror}).") from None
        for table in schema.TABLES:
            found = db.execute(f"SELECT * FROM {table} ORDER BY id")
            names = [name for name, *_ in found.description]
            rows = [[h for name in names for h in _SPREAD.get(name, (name,))]]
            for row in found:
                rows.append([x for name in names for x in _cells(name, row, table, folder)])
            written.append(folder / f"{table}.csv")
            write(written[-1], csv_text(rows, "\r\n"))  # a lone CR in a cell is then quoted too
    return tuple(written)


def _cells(name: str, row: Any, table: str, folder: Path) -> list[Any]:
    """The cells of a column in one row; a document is written on the way."""
    value = row[name]
    if name == "content":
        file = f"{table}-{row['id']}.{'jpg' if isinstance(value, bytes) else 'json'}"
        write(folder / file, value)
        return [file]
    if name in _SPREAD:
        return [""] * len(_SPREAD[name]) if value is None else list(json.loads(value))
    return [value]
