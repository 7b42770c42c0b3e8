"""A whole book as a folder of plain CSV tables, and back: the same rows, to the last digit.

A spectrum is a column a band, as in a table of swatches. What is a document of its own, a fit or a
bath sheet, is a JSON file beside its table, and the table names it.
"""

from __future__ import annotations

import csv
import json
import os
import sqlite3
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

from dyemix.colour.colorimetry import WAVELENGTHS
from dyemix.dyebook import schema
from dyemix.dyebook.book import DyeBook
from dyemix.dyebook.connection import BookFile, beside_of, connect, into_place, make, told
from dyemix.errors import Fault, InputError, SavedError

#: The table that says which layout the others are of.
ABOUT = "about.csv"
_FORMAT = "dyemix dye book"
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
            about = (("format", _FORMAT), ("layout", schema.layout(db)))
        # Last: a folder with it is whole.
        written.append(_write(folder / ABOUT, ("key", "value"), about))
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


def import_csv(folder: str | os.PathLike[str], path: str | os.PathLike[str]) -> None:
    """Make a new book of the tables that `export_csv` wrote, of this layout or an older one.

    All or nothing. Raises `SavedError` for a book that is there already, `InputError` with the
    file, row and column of what cannot be read.
    """
    folder, path = Path(folder), Path(path)
    if path.exists():
        raise SavedError(f"{path} is there already: name a new book for the tables.")
    layout = _layout(folder)
    beside = beside_of(path)
    try:
        make(beside, layout)
        with told(path):
            db = connect(beside, "rw")
            try:
                db.execute("BEGIN IMMEDIATE")
                for table in schema.TABLES:
                    kinds = db.execute("SELECT * FROM pragma_table_info(?)", (table,)).fetchall()
                    if kinds:  # an older layout lacks some
                        fill_table(db, table, kinds, folder)
                db.execute("COMMIT")
            finally:
                db.close()
        _prove(beside, folder)
        into_place(beside, path)
    except FileExistsError:
        raise SavedError(f"{path} is there already: name a new book for the tables.") from None
    finally:
        beside.unlink(missing_ok=True)


def _prove(beside: Path, folder: Path) -> None:
    """Read everything once, at the present layout: what cannot be read is not taken in."""
    try:
        with DyeBook(beside, create=False) as book:
            if book.sets():
                book.swatches()
            book.recipes(), book.sheets(), book.trials(), book.sign_offs()
            book.cloths(), book.dye_lots(), book.stocks(), book.kept_fits()
    except SavedError as error:
        words = str(error).replace(str(beside), str(folder))
        raise InputError(Fault(f"{words} Nothing was taken in.", str(folder))) from None


def _layout(folder: Path) -> int:
    """The layout of the tables. Raises `InputError` for a folder that holds no book."""
    try:
        headings, rows = _read(folder / ABOUT)
    except InputError:
        headings, rows = [], []
    about = {row[0]: row[1] for _, row in rows if len(row) == 2}
    layout = about.get("layout", "")
    if headings != ["key", "value"] or about.get("format") != _FORMAT or not layout.isdecimal():
        raise InputError(
            Fault(f"no book: {ABOUT} is missing or damaged. Export again.", str(folder))
        )
    if not 1 <= int(layout) <= schema.LAYOUT:
        raise InputError(
            Fault(
                f"written by a newer dyemix (layout {layout}, this one knows up to "
                f"{schema.LAYOUT}): update dyemix.",
                str(folder),
            )
        )
    return int(layout)


def _read(path: Path) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """Headings, and the rows with the line each begins on."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            table, rows, begins = csv.reader(file, strict=True), [], 1
            for cells in table:
                if cells:
                    rows.append((begins, cells))
                begins = table.line_num + 1
    except OSError as error:
        raise InputError(Fault(f"cannot be read ({error.strerror}).", path.name)) from None
    except (UnicodeDecodeError, csv.Error) as error:
        raise InputError(
            Fault(f"no CSV in UTF-8 ({error}): save it as 'CSV UTF-8', with commas.", path.name)
        ) from None
    if not rows:
        raise InputError(Fault("empty: its headings are missing.", path.name))
    return rows[0][1], rows[1:]


def fill_table(
    db: sqlite3.Connection, table: str, kinds: Sequence[tuple[Any, ...]], folder: Path
) -> None:
    """Write the rows of a table. Raises `InputError` with every fault."""
    path = folder / f"{table}.csv"
    headings, rows = _read(path)
    columns = [kind[1] for kind in kinds]
    if headings != _headings(columns):
        raise InputError(
            Fault(f"its headings are not {', '.join(_headings(columns))}.", path.name, 1)
        )
    marks = ", ".join("?" for _ in columns)
    statement = f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})"
    faults = []
    for line, cells in rows:
        if len(cells) != len(headings):
            faults.append(Fault(f"{len(cells)} cells under {len(headings)} headings.", path.name,
                                line))  # fmt: skip
            continue
        left = iter(cells)
        try:
            db.execute(statement, [_value(kind, left, folder) for kind in kinds])
        except (_CellError, sqlite3.IntegrityError, sqlite3.DataError, OverflowError) as error:
            faults.append(Fault(f"{error}.", path.name, line))
    if faults:
        raise InputError(faults)


class _CellError(Exception):
    """What is wrong with a cell."""


def _value(kind: Sequence[Any], cells: Any, folder: Path) -> Any:
    """The value of a column, from as many cells as it takes."""
    _, column, declared, required, *_ = kind
    if column in _SPREAD:
        texts = [next(cells) for _ in _SPREAD[column]]
        numbers = [_number(text, heading, float) for text, heading in
                   zip(texts, _SPREAD[column], strict=True) if text]  # fmt: skip
        if numbers and len(numbers) != len(texts):
            raise _CellError(f"{column} has {len(numbers)} numbers of {len(texts)}")
        return json.dumps(numbers) if numbers else None
    text = next(cells)
    if column == _DOCUMENT:
        if Path(text).name != text or not text:
            raise _CellError(f"{column} {text!r} is not the name of a file in this folder")
        try:
            return (folder / text).read_text(encoding="utf-8")
        except (OSError, ValueError) as error:
            raise _CellError(f"{text} cannot be read ({error})") from None
    if text == "" and not required:
        return None
    if declared == "TEXT":
        return text
    return _number(text, column, int if declared == "INTEGER" else float)


def _number(text: str, column: str, kind: Callable[[str], float]) -> float:
    try:
        value = kind(text)
    except ValueError:
        raise _CellError(f"{column} is {text!r}, which is not a number") from None
    if value - value != 0:  # infinite, or not a number
        raise _CellError(f"{column} is {text!r}, which is not finite")
    return value
