"""The one writer of files, for every command and every function that writes one, and `read_bytes`.

A file of the dyer's is never lost to it: what stands there is kept unless she says ``--force``, an
input of the same command and a dye book are kept whatever she says, and a file is whole or not
there at all: it is written beside its place and renamed into it.
"""

from __future__ import annotations

import csv
import errno
import io
import os
import re
import secrets
import stat
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from dyemix.console import give
from dyemix.errors import Fault, InputError

Named = str | os.PathLike[str]

#: How a dye book begins and how it is called (SQLite, "Database File Format", section 1.3).
_BOOK, _BOOK_SUFFIX = b"SQLite format 3\0", ".dyebook"
#: A cell that a spreadsheet would take for a formula; a plain number is none.
_FORMULA = re.compile(
    r"'*(?:[=+@]|-(?!(?:[0-9]+\.?|[0-9]*\.[0-9]+)(?:e[+-]?[0-9]+)?$))", re.IGNORECASE
)
#: No saved set, settings or table of the dyer's is larger (bytes), unless a reader says so.
LARGEST = 20_000_000
_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
_REFUSED = (errno.EACCES, errno.EPERM, errno.EROFS)


def write(
    path: Named, data: str | bytes, *, force: bool = False, inputs: Iterable[Named | None] = ()
) -> None:
    """Write a file, whole or not at all.

    Parameters
    ----------
    path : where to. A link is followed to its file; ``-`` is standard output.
    data : text, written in UTF-8 with its line ends as they are, or bytes.
    force : whether a file that is there already may be replaced; it keeps its mode.
    inputs : files that the same command reads, never written over (None: an option not given).

    Raises
    ------
    InputError
        With what is in the way, where, and the cure; caused by the `OSError`, where there is one.
        Nothing has been changed then, and nothing is left behind.
    """
    try:
        content = data if isinstance(data, bytes) else data.encode("utf-8")
    except UnicodeEncodeError:
        raise _refusal(path, "this text is not Unicode: look for a damaged name in it.") from None
    if (place := destination(path, force=force, inputs=inputs)) is None:
        give(data)
        return
    with beside(place, over=force) as unfinished, unfinished.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def read_bytes(path: Named, largest: int = LARGEST) -> bytes:
    """What a file holds, up to so many bytes. Raises `InputError` for none, or more."""
    path, data, problem = Path(path), b"", "the file is empty."
    try:
        if not path.is_file():
            absent = "there is no such file: check the name and the folder."
            problem = "this is not a file: name the file itself." if path.exists() else absent
        elif (size := path.stat().st_size) > largest:
            most = f"at most {largest / 1e6:.0f} MB are read: is this the right file?"
            problem = f"{size / 1e6:,.0f} MB; {most}"
        else:
            data = path.read_bytes()
    except OSError as error:
        problem = f"the file cannot be read ({error.strerror or error})."
    if not data.strip():
        raise InputError(Fault(problem, path.name or str(path)))
    return data


def as_cell(text: str) -> str:
    """Text as a cell of a table: one apostrophe keeps a spreadsheet from running it as a formula.

    Readers of tables take the apostrophe away again.
    """
    return f"'{text}" if _FORMULA.match(text) else text


def csv_text(rows: Iterable[Iterable[object]], line_end: str = "\n") -> str:
    """Rows as comma-separated text: a float with every digit, text as `as_cell` makes it safe."""
    out = io.StringIO(newline="")
    to = csv.writer(out, lineterminator=line_end)
    for row in rows:
        cells = (float.__repr__(x) if isinstance(x, float) else x for x in row)
        to.writerow([as_cell(x) if isinstance(x, str) else x for x in cells])
    return out.getvalue()


def destination(
    path: Named, *, force: bool = False, inputs: Iterable[Named | None] = ()
) -> Path | None:
    """The file that `write` would write; None for standard output. Raises `InputError` as it does.

    For what takes time to make: it is refused before.
    """
    if os.fspath(path) == "-":
        return None
    try:
        place = Path(os.path.realpath(path))
        there = place.stat() if place.exists() else None
        folder = place.parent.is_dir()
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        raise _refusal(path, f"cannot be a file ({error}): name another.") from error
    if there is None:
        if Path(path).is_symlink():
            raise _refusal(path, "a link that leads nowhere: name the file itself.")
        if not folder:
            raise _refusal(path, f"there is no folder {str(place.parent)!r}: make it first.")
    elif stat.S_ISDIR(there.st_mode):
        raise _refusal(path, "this is a folder: name a file in it.")
    elif not stat.S_ISREG(there.st_mode):
        raise _refusal(path, "a device or a pipe, not a file: for standard output name '-'.")
    if _BOOK_SUFFIX in (place.suffix.lower(), Path(path).suffix.lower()):
        raise _refusal(path, "a dye book is never written over: name another file.")
    if there is None:
        return place
    if any(_is_same(there, name) for name in inputs if name is not None):
        raise _refusal(path, "this same command reads it: name another file to write.")
    if not force:
        raise _refusal(path, "is there already: name another file, or write over it with --force.")
    try:
        with place.open("rb") as file:
            book = file.read(len(_BOOK)) == _BOOK
    except OSError as error:
        raise _refusal(path, f"may not be written over ({error.strerror}).") from error
    if book:
        raise _refusal(path, "a dye book is never written over: name another file.")
    return place


@contextmanager
def beside(place: Path, *, over: bool = False) -> Iterator[Path]:
    """A name in the same folder for a file not finished yet; on leaving it is called `place`.

    `over` says whether that may replace a file. Raises `InputError` where it cannot be written;
    then, and after any other exception inside, the unfinished file is gone.
    """
    unfinished = place.with_name(f".{secrets.token_hex(6)}.part")
    try:
        yield unfinished
        if over:
            if place.exists():
                unfinished.chmod(stat.S_IMODE(place.stat().st_mode))
            os.replace(unfinished, place)  # noqa: PTH105  (a Path has no other name for it)
        else:
            _name_new(unfinished, place)
    except OSError as error:
        raise _refusal(place, _why(error, place)) from error
    finally:
        with suppress(OSError):
            unfinished.unlink(missing_ok=True)


def _name_new(unfinished: Path, place: Path) -> None:
    """Rename, but never over a file that has come to stand there meanwhile."""
    try:
        os.link(unfinished, place)
    except OSError:  # the file is there, or the file system has no hard links
        if place.exists():
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST)) from None
        unfinished.rename(place)


def _why(error: OSError, place: Path) -> str:
    """What the system refused, and the cure."""
    if isinstance(error, FileExistsError):
        return "is there already: name another file, or write over it with --force."
    if error.errno in _FULL:
        return "the disk is full: nothing was written. Free some space, and repeat."
    if error.errno in _REFUSED and place.exists():
        return "cannot be replaced: close it where it is open, or name another file."
    if error.errno in _REFUSED:
        return f"the folder {str(place.parent)!r} may not be written to: name another."
    return f"cannot be written ({error.strerror or error}): name another file."


def _is_same(there: os.stat_result, name: Named) -> bool:
    try:
        return os.path.samestat(there, os.stat(name))  # noqa: PTH116  (a name need not be a Path)
    except (OSError, ValueError):
        return False  # whoever reads it says what is wrong with it


def _refusal(path: Named, message: str) -> InputError:
    return InputError(Fault(message, os.fspath(path)))
