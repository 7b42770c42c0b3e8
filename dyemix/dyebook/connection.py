"""The file of a dye book: opened, checked, locked, written all or nothing, and as CSV tables.

SQLite with a rollback journal and ``synchronous=FULL``: between commands the book is one file, and
what was confirmed survives a killed command, a full disk and a power cut.

A layout is reached by the steps of every layout up to it, ``data/dyebook/layout_N.sql``. One that
was released is never edited: a change is a further step.

A book is never opened but by SQLite: on POSIX, closing a second handle of one's own would drop the
locks of the first.
"""

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import AbstractContextManager, closing, contextmanager, suppress
from importlib.resources import files
from pathlib import Path
from typing import Any, Self

from dyemix.console import remark
from dyemix.errors import AmbiguousError, DyemixError, InputError, SavedError, data, refuse, said
from dyemix.shelf import swatch_tables
from dyemix.writing import Named, put

#: Marks the file as a dye book: 'dyeb' in ASCII (PRAGMA application_id).
APPLICATION_ID = 0x64796562
#: Marks a backup: 'dyec'. It opens as a book does, and is not taken for one unless it is named.
BACKUP_ID = 0x64796563
#: The layout that this version reads and writes.
LAYOUT = 7
#: Every table, each after those it refers to.
TABLES = (
    "kind", "cloth", "dye", "stock", "method", "swatch_set", "swatch", "reading", "fit", "job",
    "recipe", "sheet", "trial", "picture", "piece", "sign_off", "event", "change",
)  # fmt: skip
#: A wait for another command longer than this is spoken of, s; and how often it is begun again.
_SILENT, _TRIES = 2.0, 5


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn what SQLite and damaged values raise into a `SavedError` of one sentence."""
    try:
        yield
    except (sqlite3.Error, UnicodeError) as error:
        # Of a code that Python has no name for, the name is "unknown". LOCKED is told as BUSY.
        name = getattr(error, "sqlite_errorname", type(error).__name__).removeprefix("SQLITE_")
        kind = name.partition("_")[0].replace("LOCKED", "BUSY")
        known = kind if kind in data("dyebook")["sqlite"] else "ERROR"
        words = said(f"dyebook.sqlite.{known}", error=error, seconds=_SILENT * _TRIES)
        # The disk and other commands are the machine's, and the command ends so.
        machine = kind in ("FULL", "IOERR", "READONLY", "BUSY")
        raise SavedError(f"{path}: {words}") from OSError(errno.EIO, kind) if machine else None
    except DyemixError:
        raise
    except (ValueError, LookupError, TypeError, RecursionError) as error:  # of what is read
        raise SavedError(f"{path}: {said('dyebook.value', error)}") from None


def connect(path: Path, mode: str) -> sqlite3.Connection:
    """A connection with every transaction explicit and foreign keys on."""
    uri = f"{path.absolute().as_uri()}?mode={mode}"
    db = sqlite3.connect(uri, uri=True, timeout=_SILENT, isolation_level=None)
    db.row_factory = sqlite3.Row
    for setting in ("foreign_keys = ON", "synchronous = FULL", "trusted_schema = OFF"):
        db.execute(f"PRAGMA {setting}")
    return db


class BookFile:
    """An open book file. `warnings` says what was found on opening."""

    def __init__(self, path: Named, create: bool = True) -> None:
        """Open a book, or begin one."""
        self.path = Path(path)
        if not self.path.exists():
            self._refuse(not create, "dyebook.no_book")
            _begin(self.path)
        self._refuse(not self.path.is_file(), "dyebook.no_file")
        self._refuse(self.path.stat().st_size == 0, "dyebook.empty")
        with told(self.path):
            told_of = f"{self.path}: {said('dyebook.broken_off')}"
            self.warnings = (told_of,) if _broken_off(self.path) else ()
            self.db = connect(self.path, "rw")
            try:
                self._check()
            except BaseException:
                self.db.close()
                raise

    def _refuse(self, wrong: object, words: str, *values: object, **named: object) -> None:
        refuse(wrong, f"{self.path}: {said(words, *values, **named)}", error=SavedError)

    def _check(self) -> None:
        """See that it is a whole book, and bring it to the present layout."""
        with self.reading() as db:
            found = _pragma(db, "application_id")
            self._refuse(found not in (APPLICATION_ID, BACKUP_ID), "dyebook.another")
            version = _pragma(db, "user_version")
            self._refuse(version > LAYOUT, "dyebook.newer", version, LAYOUT)
            fault = _pragma(db, "quick_check(1)")
            if self.path.stat().st_size < _pragma(db, "page_count") * _pragma(db, "page_size"):
                fault = "cut short"
            self._refuse(fault != "ok", "dyebook.sqlite.CORRUPT", error=fault)
        if version < LAYOUT:
            with self.writing() as db:
                migrate(db)
        self.db.execute("PRAGMA journal_mode = DELETE")
        self.db.executescript(_statements("views"))

    def _patiently(self, statement: str) -> None:
        """Run a statement that may have to wait for another command; speak of a long wait."""
        for again in reversed(range(_TRIES)):
            try:
                self.db.execute(statement)
                return
            except sqlite3.OperationalError as error:
                if not again or error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY:
                    raise
            if again == _TRIES - 1:
                remark(f"{self.path}: another command is writing to it; waiting …")

    @contextmanager
    def reading(self, begin: str = "BEGIN") -> Iterator[sqlite3.Connection]:
        """One state of the book for several reads; within another, that of the other."""
        if self.db.in_transaction:
            yield self.db
            return
        with told(self.path), self.db:  # which rolls back what failed
            for statement in (begin, "SELECT 1 FROM sqlite_master LIMIT 1"):
                self._patiently(statement)
            yield self.db
            self._patiently("COMMIT")

    def writing(self) -> AbstractContextManager[sqlite3.Connection]:
        """All of what is written inside, or nothing. On leaving it is on the disk."""
        return self.reading("BEGIN IMMEDIATE")

    def backup(self, path: Named) -> None:
        """Copy the book, as it stands between two writes, to a new file. Raises `SavedError`."""
        place = Path(path)
        if place.exists() or place.is_symlink():
            raise SavedError(f"{place} is there already: name another file.")
        with told(place), closing(sqlite3.connect(":memory:")) as copy:
            self.db.backup(copy)
            copy.execute(f"PRAGMA application_id = {BACKUP_ID}")
            whole = copy.serialize()
        put({place: whole})

    def close(self) -> None:
        self.db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _pragma(db: sqlite3.Connection, name: str) -> Any:
    return db.execute(f"PRAGMA {name}").fetchone()[0]


def _broken_off(path: Path) -> bool:
    """Whether a write was broken off: only then a reader that may not write is refused for it.

    A journal beside it alone says no such thing: until its first page is used nothing was written.
    """
    try:
        with closing(connect(path, "ro")) as look:
            look.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchone()
    except sqlite3.Error as error:
        return error.sqlite_errorcode == sqlite3.SQLITE_READONLY_ROLLBACK
    return False


def _begin(path: Path) -> None:
    """Begin a new book. It is there whole or not at all; one that is there is left alone."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as db:
        migrate(db)
        whole = db.serialize()
    try:
        put({path: whole})
    except InputError as error:
        if not isinstance(error.__cause__, FileExistsError):  # begun by another meanwhile
            raise


# Layouts ------------------------------------------------------------------------------------------


def _statements(name: str) -> str:
    return files("dyemix").joinpath("data", "dyebook", f"{name}.sql").read_text(encoding="utf-8")


def migrate(db: sqlite3.Connection, to: int = LAYOUT) -> None:
    """Take an open book, inside a transaction of the caller, to a layout."""
    for number in range(_pragma(db, "user_version") + 1, to + 1):
        for statement in _statements(f"layout_{number}").split(";\n"):
            db.execute(statement)
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    db.execute(f"PRAGMA user_version = {to:d}")  # a pragma takes no parameters


# Which book --------------------------------------------------------------------------------------


def find_book(named: Path | None = None, folder: Path | None = None) -> Path:
    """The book named, or the one ``.dyebook`` of the folder. Raises `InputError`."""
    books = _books(folder) if named is None else [named]
    refuse(not books, "dyebook.none", error=InputError)
    if len(books) > 1:
        options = [("--book", str(book)) for book in books]
        raise AmbiguousError(f"{len(books)} dye books in this folder", options)
    return books[0]


def book_beside(folder: Path | None = None) -> Path | None:
    """The dye book of a folder whose swatches are meant where none are named; None without any.

    Raises `AmbiguousError` where a swatch table lies beside it that it does not hold.
    """
    if not _books(folder):
        return None
    path = find_book(None, folder)
    with BookFile(path, create=False) as book, book.reading() as db:
        names = {name for (name,) in db.execute("SELECT name FROM swatch_set")}
    tables = [table for table in swatch_tables(folder) if table.name not in names]
    if names and tables:
        options = [("--book", str(path)), *(("--swatches", table.name) for table in tables)]
        raise AmbiguousError("a dye book and a swatch table lie in this folder", options)
    return path if names else None


def _books(folder: Path | None) -> list[Path]:
    """The dye books of a folder; backups of one only where there is nothing else."""
    found = sorted(path for path in (folder or Path()).glob("*.dyebook") if path.is_file())
    return [path for path in found if not _is_backup(path)] or found


def _is_backup(path: Path) -> bool:
    """Whether a file is a backup, by its header (SQLite file format, 1.3: bytes 68 to 71)."""
    with suppress(OSError), path.open("rb") as file:
        return file.read(72)[68:] == BACKUP_ID.to_bytes(4, "big")
    return False
