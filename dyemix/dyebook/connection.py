"""The file of a dye book: opened, checked, locked, written all or nothing.

SQLite with a rollback journal and ``synchronous=FULL``: between commands the book is one file, and
what was confirmed survives a killed command, a full disk and a power cut.

A book is never opened but by SQLite: on POSIX, closing a second handle of one's own would drop the
locks of the first.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from dyemix.dyebook import schema
from dyemix.errors import DyemixError, Fault, InputError, SavedError
from dyemix.writing import beside

Say = Callable[[str], None]
#: A wait for another command longer than this is spoken of, s; and so often before giving up.
_WAIT, _TRIES = 1.5, 7
_BACKUP = "go back to the last backup (dyemix book backup makes them)"


_BUSY = (
    f"another command has been writing to this book for {_WAIT * _TRIES:.0f} s: nothing of yours "
    "was written. Wait for it to end, and repeat."
)
#: What happened, and what to do, by the primary result code of SQLite.
_SENTENCES = {
    sqlite3.SQLITE_BUSY: _BUSY,
    sqlite3.SQLITE_LOCKED: _BUSY,
    sqlite3.SQLITE_FULL: "the disk is full: nothing of this was written, and what the book held "
    "before is whole. Free some space, and repeat.",
    sqlite3.SQLITE_CORRUPT: f"damaged ({{error}}): {_BACKUP}.",
    sqlite3.SQLITE_NOTADB: f"damaged, or no dye book ({{error}}): {_BACKUP}.",
    sqlite3.SQLITE_READONLY: "this file or its folder may not be written to: nothing was written.",
    sqlite3.SQLITE_CANTOPEN: "cannot be opened: check the name, the folder and your rights to it.",
    sqlite3.SQLITE_IOERR: "the disk refused ({error}): nothing of this was written, and what was "
    "confirmed before is whole. Look to the disk's space and health, and repeat.",
}


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn what SQLite raises into a `SavedError` of one sentence."""
    try:
        yield
    except sqlite3.Error as error:
        code = getattr(error, "sqlite_errorcode", 0) & 0xFF
        words = _SENTENCES.get(code, "the book refused this ({error}): nothing of it was written.")
        raise SavedError(f"{path}: {words.format(error=error)}") from None
    except UnicodeEncodeError:
        raise SavedError(f"{path}: this text cannot be written: it is not Unicode.") from None


def connect(path: Path, mode: str) -> sqlite3.Connection:
    """A connection with every transaction explicit and foreign keys on."""
    uri = f"{path.absolute().as_uri()}?mode={mode}"
    db = sqlite3.connect(uri, uri=True, timeout=_WAIT, isolation_level=None)
    db.row_factory = sqlite3.Row
    db.execute("PRAGMA foreign_keys = ON")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA trusted_schema = OFF")
    return db


class BookFile:
    """An open book file. `notes` says what was found on opening."""

    def __init__(self, path: str | os.PathLike[str], create: bool, say: Say | None = None) -> None:
        self.path = Path(path)
        self.notes: tuple[str, ...] = ()
        self._say = say or (lambda text: None)
        if not self.path.exists():
            if not create:
                raise SavedError(
                    f"{self.path}: there is no such book. 'dyemix book add' begins one."
                )
            _begin(self.path)
        if not self.path.is_file():
            raise SavedError(f"{self.path}: this is not a file: name the book itself.")
        if self.path.stat().st_size == 0:
            raise SavedError(
                f"{self.path}: empty, and a book never is: {_BACKUP}, or delete it to begin anew."
            )
        broken_off = _journal(self.path).exists()
        with told(self.path):
            self.db = connect(self.path, "rw")
            try:
                self._check(broken_off)
            except BaseException:
                self.db.close()
                raise

    def _check(self, broken_off: bool) -> None:
        alive = broken_off and self._is_being_written()
        with self.reading() as db:
            self._check_head(db)
            size, stated = self.path.stat().st_size, self._stated_size(db)
            if size < stated:
                raise SavedError(
                    f"{self.path}: cut short: {size:,} bytes of {stated:,}. The rest is not in it: "
                    f"{_BACKUP}."
                )
            fault = db.execute("PRAGMA quick_check(1)").fetchone()[0]
            if fault != "ok":
                raise SavedError(f"{self.path}: damaged ({fault}): {_BACKUP}.")
            version = schema.layout(db)
        if broken_off and not alive:
            # Another command may have ended just between the two looks; the words hold for that.
            note = (
                f"{self.path}: a write had been broken off and was undone; all that was confirmed "
                "is in the book."
            )
            self.notes = (note,)
            self._say(note)
        if version < schema.LAYOUT or (broken_off and not alive):
            # A journal that had not been used yet stays behind until the next write: this one.
            with self.writing() as db:
                schema.migrate(db)
        self.db.execute("PRAGMA journal_mode = DELETE")

    def _is_being_written(self) -> bool:
        """Whether another command holds the lock; if none does, SQLite has undone its rest."""
        self.db.execute("PRAGMA busy_timeout = 0")
        try:
            self.db.execute("BEGIN IMMEDIATE")
        except sqlite3.OperationalError as error:
            return error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY
        finally:
            self.db.execute(f"PRAGMA busy_timeout = {1000 * _WAIT:.0f}")
            if self.db.in_transaction:
                self.db.execute("ROLLBACK")
        return False

    def _check_head(self, db: sqlite3.Connection) -> None:
        found = db.execute("PRAGMA application_id").fetchone()[0]
        if found != schema.APPLICATION_ID:
            raise SavedError(f"{self.path}: an SQLite file, but not a dye book: name another.")
        version = schema.layout(db)
        if version > schema.LAYOUT:
            raise SavedError(
                f"{self.path}: written by a newer dyemix (layout {version}, this one knows up to "
                f"{schema.LAYOUT}): update dyemix."
            )

    @staticmethod
    def _stated_size(db: sqlite3.Connection) -> int:
        pages, size = (db.execute(f"PRAGMA {p}").fetchone()[0] for p in ("page_count", "page_size"))
        return int(pages) * int(size)

    def _patiently(self, statement: str) -> None:
        """Run a statement that may have to wait for another command; speak of a long wait."""
        for attempt in range(_TRIES):
            try:
                self.db.execute(statement)
                return
            except sqlite3.OperationalError as error:
                busy = error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY
                if not busy or attempt == _TRIES - 1:
                    raise
                self._say(f"{self.path}: another command is writing to it; waiting …")

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """One state of the book for several reads."""
        with told(self.path):
            self.db.execute("BEGIN")
            try:
                self._patiently("SELECT 1 FROM sqlite_master LIMIT 1")
                yield self.db
            except DyemixError:
                raise
            except ValueError as error:  # a date or a word that no version writes
                raise SavedError(
                    f"{self.path}: a value in it is damaged ({error}): {_BACKUP}."
                ) from None
            finally:
                if self.db.in_transaction:
                    self.db.execute("ROLLBACK")

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """All of what is written inside, or nothing. On leaving it is on the disk."""
        with told(self.path):
            self._patiently("BEGIN IMMEDIATE")
            try:
                yield self.db
                self._patiently("COMMIT")
            except BaseException:
                if self.db.in_transaction:
                    with suppress(sqlite3.Error):  # the fault told is the first one
                        self.db.execute("ROLLBACK")
                raise

    def backup(self, path: str | os.PathLike[str]) -> None:
        """Copy the book, as it stands between two writes, to a new file. Raises `SavedError`."""
        place = Path(path)
        if place.exists() or place.is_symlink():
            raise SavedError(f"{place} is there already: name another file.")
        with beside(place) as unfinished, told(place):
            copy = sqlite3.connect(unfinished)
            try:
                self.db.backup(copy)
            finally:
                copy.close()

    def close(self) -> None:
        self.db.close()


def _journal(path: Path) -> Path:
    real = path.resolve()  # SQLite keeps it beside the file that a link leads to
    return real.with_name(real.name + "-journal")


def _begin(path: Path) -> None:
    """Begin a new book. It is there whole or not at all; one that is there is left alone."""
    try:
        with beside(path) as unfinished, told(path):
            db = connect(unfinished, "rwc")
            try:
                db.execute("BEGIN IMMEDIATE")
                schema.migrate(db)
                db.execute("COMMIT")
            finally:
                db.close()
    except InputError as error:
        if not isinstance(error.__cause__, FileExistsError):  # begun by another meanwhile
            raise


def find_book(named: Path | None = None, folder: Path | None = None) -> Path:
    """The book named, or the one ``.dyebook`` of the folder. Raises `InputError`."""
    if named is not None:
        return named
    books = sorted(p for p in (folder or Path()).glob("*.dyebook") if p.is_file())
    if len(books) != 1:
        have = f"{len(books)} dye books" if books else "no dye book"
        names = f" ({', '.join(p.name for p in books)})" if books else ""
        raise InputError(
            Fault(f"{have} in this folder{names}: name one, as --book workshop.dyebook.")
        )
    return books[0]
