"""The tables of a dye book. A layout is reached by the steps of every layout up to it.

The steps are `data/dyebook/layout_N.sql`. One that was released is never edited: a change is a
further step.
"""

from __future__ import annotations

import sqlite3
from importlib.resources import files

#: Marks the file as a dye book: 'dyeb' in ASCII (PRAGMA application_id).
APPLICATION_ID = 0x64796562
#: Marks a backup: 'dyec'. It opens as a book does, and is not taken for one unless it is named.
BACKUP_ID = 0x64796563


#: The layout that this version reads and writes.
LAYOUT = 6
#: Every table, each after those it refers to.
TABLES = (
    "kind", "cloth", "dye", "stock", "method", "swatch_set", "swatch", "reading", "fit", "job",
    "recipe", "sheet", "trial", "picture", "piece", "sign_off", "event", "change",
)  # fmt: skip


def views(db: sqlite3.Connection) -> None:
    """Show an open book as records: ``data/dyebook/views.sql``."""
    db.executescript(_statements("views"))


def _statements(name: str) -> str:
    return files("dyemix").joinpath("data", "dyebook", f"{name}.sql").read_text(encoding="utf-8")


def layout(db: sqlite3.Connection) -> int:
    """The layout of an open book."""
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def migrate(db: sqlite3.Connection, to: int = LAYOUT) -> None:
    """Take an open book, inside a transaction of the caller, to a layout."""
    for number in range(layout(db) + 1, to + 1):
        for statement in _statements(f"layout_{number}").split(";\n"):
            db.execute(statement)
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    db.execute(f"PRAGMA user_version = {to:d}")  # a pragma takes no parameters
