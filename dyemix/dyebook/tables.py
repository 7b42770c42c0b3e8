"""A whole book as a folder of plain CSV tables, for any other program: every row and digit.

A spectrum is a column a band, as in a table of swatches. What is a document of its own, a fit or a
bath sheet, is a JSON file beside its table, and the table names it.
"""

from __future__ import annotations

import csv
import json
import os
import sqlite3
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from dyemix.colour.colorimetry import WAVELENGTHS
from dyemix.dyebook import schema
from dyemix.dyebook.connection import BookFile
from dyemix.errors import SavedError

#: A list in one column of the book is a column for each number in the table.
_SPREAD = {"spectrum": tuple(f"{w:g} nm" for w in WAVELENGTHS), "lab": ("L*", "a*", "b*")}
#: The column whose text is a file of its own.
_DOCUMENT = "content"


def export_csv(path: str | os.PathLike[str], folder: str | os.PathLike[str]) -> tuple[Path, ...]:
    """Write every table of a book as ``TABLE.csv`` into a new or empty folder.

    Gives the tables written. Raises `SavedError` for a folder with files in it, and where one
    cannot be written.
    """
    folder = Path(folder)
    book = BookFile(path, create=False)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if any(folder.iterdir()):
            raise SavedError(f"{folder} is not empty: name a new folder, nothing is written over.")
        with book.reading() as db:
            written = [export_table(db, table, folder) for table in schema.TABLES]
    except OSError as error:
        raise SavedError(
            f"{error.filename or folder}: cannot be written ({error.strerror}): the tables are "
            "not whole. Mend that and export again."
        ) from None
    finally:
        book.close()
    return tuple(written)


def export_table(db: sqlite3.Connection, table: str, folder: Path) -> Path:
    """Write one table, and its documents."""
    cursor = db.execute(f"SELECT * FROM {table} ORDER BY id")
    columns = [column[0] for column in cursor.description]
    out = []
    for row in cursor:
        cells: list[Any] = []
        for column, value in zip(columns, row, strict=True):
            if column == _DOCUMENT:
                document = folder / f"{table}-{row[0]}.json"
                document.write_text(value, encoding="utf-8", newline="")
                cells.append(document.name)
            elif column in _SPREAD:
                blank = ("",) * len(_SPREAD[column])
                cells += blank if value is None else map(repr, json.loads(value))
            else:
                cells.append(repr(value) if isinstance(value, float) else value)
        out.append(cells)
    return _write(folder / f"{table}.csv", _headings(columns), out)


def _headings(columns: Iterable[str]) -> list[str]:
    return [heading for column in columns for heading in _SPREAD.get(column, (column,))]


def _write(path: Path, headings: Sequence[str], rows: Iterable[Sequence[Any]]) -> Path:
    with path.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file)  # CRLF: a lone CR in a cell is then quoted too
        out.writerow(headings)
        out.writerows(rows)
    return path
