"""The whole book as tables, for any other program; its swatches as tables that are read back."""

import sqlite3
from collections.abc import Iterator
from itertools import chain
from pathlib import Path
from typing import Any

from dyemix.dyebook.connection import TABLES, BookFile
from dyemix.dyebook.methods import known
from dyemix.files import swatch_table
from dyemix.writing import Named, csv_text, put_folder


def export_csv(path: Named, folder: Named) -> tuple[Path, ...]:
    """Write every table of a book as ``TABLE.csv`` into a new or empty folder, and the swatches of
    each method as ``swatches-NUMBER.csv``, which `read_swatches` reads back; whole or not at all.
    A list that one column of the book holds, as a spectrum, is JSON.

    Gives the tables written. Raises `InputError` for a folder with files in it or that cannot be
    written.
    """
    with BookFile(path, create=False) as book, book.reading() as db:
        held = {f"swatches-{m.number}": m.held for m in known(db) if m.held}
        swatches = ((f"{name}.csv", swatch_table(some).encode()) for name, some in held.items())
        put_folder(Path(folder), chain(_exported(db), swatches))
    return tuple(Path(folder, f"{table}.csv") for table in (*TABLES, *held))


def _exported(db: sqlite3.Connection) -> Iterator[tuple[str, bytes]]:
    """Every table, and each document that it holds as a file of its own."""
    for table in TABLES:
        found = db.execute(f"SELECT * FROM {table} ORDER BY id")
        rows: list[list[Any]] = [[name for name, *_ in found.description]]
        for row in map(dict, found):
            if "content" in row:
                whole = row["content"]
                is_picture = isinstance(whole, bytes)
                row["content"] = f"{table}-{row['id']}.{'jpg' if is_picture else 'json'}"
                yield row["content"], whole if is_picture else whole.encode()
            rows.append([*row.values()])
        yield f"{table}.csv", csv_text(rows, "\r\n").encode()  # a lone CR in a cell is quoted then
