"""The one writer of files, for every command and every function that writes one; `read_bytes`.

A file of the dyer's is never lost to it: what stands there is kept unless she says ``--force``, an
input of the same command and a dye book are kept whatever she says, and a file is whole or not
there at all: it is written beside its place and renamed into it. So are files that belong together,
such as the pages of a picture, and a folder of them.
"""

import csv
import errno
import io
import os
import re
import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, ExitStack, contextmanager, suppress
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from dyemix.console import give
from dyemix.errors import data, refuse

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Named = str | os.PathLike[str]
#: What a file holds; or a folder, the name of each file and what that holds.
Content = bytes | Iterable[tuple[str, bytes]]

#: How a dye book begins and how it is called (SQLite, "Database File Format", section 1.3).
_BOOK, _BOOK_SUFFIX = b"SQLite format 3\0", ".dyebook"
#: A cell that a spreadsheet would take for a formula; a plain number is none.
_FORMULA = re.compile(
    r"'*(?:[=+@]|-(?!(?:[0-9]+\.?|[0-9]*\.[0-9]+)(?:e[+-]?[0-9]+)?$))", re.IGNORECASE
)
#: No saved set, settings or table of the dyer's is larger (bytes), unless a reader says so.
LARGEST = 20_000_000


def write(
    path: Named, content: str | bytes, *, force: bool = False, inputs: Iterable[Named | None] = ()
) -> None:
    """Write a file, whole or not at all.

    Parameters
    ----------
    path : where to. A link is followed to its file; ``-`` is standard output.
    content : text, written in UTF-8 with its line ends as they are, or bytes.
    force : whether a file that is there already may be replaced; it keeps its mode.
    inputs : files that the same command reads, never written over (None: an option not given).

    Raises
    ------
    InputError
        With what is in the way, where, and the cure; caused by the `OSError`, where there is one.
        Nothing has been changed then, and nothing is left behind.
    """
    write_all([(path, content)], force=force, inputs=inputs)


def write_all(
    files: Iterable[tuple[Named, str | bytes]], *, force: bool = False,
    inputs: Iterable[Named | None] = (),
) -> None:  # fmt: skip
    """Write files that belong together, each as `write` does: all of them or none, in this order.

    The last one is best one that no reader does without.
    """
    whole, inputs = {}, tuple(inputs)
    for path, content in files:
        try:
            held = content if isinstance(content, bytes) else content.encode("utf-8")
        except UnicodeEncodeError:
            _refuse(True, path, "not_unicode")
        if (place := destination(path, force=force, inputs=inputs)) is None:
            give(content)
        else:
            whole[place] = held
    if whole:
        put(whole, over=force)


def read_bytes(path: Named, largest: int = LARGEST) -> bytes:
    """What a file holds, up to so many bytes. Raises `InputError` for none, or more."""
    path, name = Path(path), Path(path).name or path
    try:
        _refuse(not path.exists(), name, "absent")
        _refuse(not path.is_file(), name, "no_file")
        size = path.stat().st_size
        _refuse(size > largest, name, "large", most=largest / 1e6, size=size / 1e6)
        found = path.read_bytes()
    except OSError as error:
        _refuse(True, name, "unreadable", why=error.strerror or error)
    _refuse(not found.strip(), name, "empty")
    return found


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


def styled() -> AbstractContextManager[None]:
    """Our style for the length of a drawing, whatever the reader has set for her own."""
    from matplotlib import style

    return style.context(["default", data("pictures")["style"]])


def figure_bytes(pages: "Sequence[Figure]", suffix: str, dpi: int = 150) -> bytes:
    """A file of pages, the same each time: all of them as PDF, else the one there is."""
    file, metadata = io.BytesIO(), dict.fromkeys(data("pictures")["left_out"].get(suffix[1:], ()))
    with styled():
        if suffix == ".pdf":
            from matplotlib.backends.backend_pdf import PdfPages

            with PdfPages(file, metadata=metadata) as book:
                for page in pages:
                    book.savefig(page)
        else:
            pages[0].savefig(file, format=suffix[1:], dpi=dpi, metadata=metadata or None)
    return file.getvalue()


def ending(path: object, what: str, endings: str) -> str:
    """The ending of a file to write, one of those in words; what has none is a name by itself.

    Raises `DyemixError` for another, and says how to name `what` it is.
    """
    found = Path(str(path)).suffix.lower()
    words = f"ends in {found!r}" if found else "has no ending"
    known = (found or str(path)) in re.findall(r"\.\w+|-", endings)
    refuse(not known, f"{path} {words}: name {what} {endings}.")
    return found


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
        there, folder = place.exists(), place.parent.is_dir()
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        _refuse(True, path, "no_name", why=error)
    named = (name for name in inputs if name and os.path.exists(name))  # noqa: PTH110  (any name)
    endings = (place.suffix.lower(), Path(path).suffix.lower())
    _refuse(not there and Path(path).is_symlink(), path, "link")
    _refuse(not there and not folder, path, "no_folder", folder=str(place.parent))
    _refuse(place.is_dir(), path, "folder")
    _refuse(there and not place.is_file(), path, "device")
    _refuse(_BOOK_SUFFIX in endings, path, "book")
    _refuse(there and any(map(place.samefile, named)), path, "input")
    _refuse(there and not force, path, "there")
    if there:
        try:
            with place.open("rb") as file:
                book = file.read(len(_BOOK)) == _BOOK
        except OSError as error:
            _refuse(True, path, "kept", why=error.strerror)
        _refuse(book, path, "book")
    return place


def put(files: Mapping[Path, Content], *, over: bool = False) -> None:
    """Write files, all of them or none; `over` says whether they may replace others.

    A new folder of files, by their names, is written as one of them; an empty one gives way to it.
    All are whole in hidden folders beside before the first has its own name. Those are gone after
    any failure, and after a kill with the next file that is put there. Raises `InputError` where
    one cannot be written.
    """
    *before, place = files  # of a single one nothing is left to fail once it has its name
    back: dict[Path, Callable[[], object]] = {}
    try:
        with ExitStack() as undo, ExitStack() as hidden:
            parents = {place.parent for place in files}  # several, where a link leads elsewhere
            beside = {parent: hidden.enter_context(_hidden_in(parent)) for parent in parents}
            whole = {place: beside[place.parent] / place.name for place in files}
            for place, content in files.items():
                _fill(whole[place], content)
                folder = whole[place].is_dir()
                back[place] = partial(shutil.rmtree, place) if folder else place.unlink
                if over and place.exists():
                    shutil.copymode(place, whole[place])
                    if before:
                        back[place] = partial(place.write_bytes, place.read_bytes())
            for place in files:
                (os.replace if over else _name_new)(whole[place], place)
                if before:
                    undo.callback(back[place])
            undo.pop_all()
    except OSError as error:
        _refuse_by_system(error, place)


@contextmanager
def _hidden_in(folder: Path) -> Iterator[Path]:
    """A hidden folder in a folder, for what is not finished; its name tells whose it is.

    What killed writers have left there, of processes that are no more, is taken away before. On
    Windows no process can be asked so.
    """
    for left in folder.glob(".dyemix-*_*.part") if os.name == "posix" else ():
        with suppress(OSError, ValueError, OverflowError):  # another's, or none of ours
            try:
                os.kill(int(left.name[8:].partition("_")[0]), 0)
            except ProcessLookupError:
                shutil.rmtree(left)
    begins = f".dyemix-{os.getpid()}_"
    with TemporaryDirectory(".part", begins, folder, ignore_cleanup_errors=True) as name:
        yield Path(name)


def _fill(unfinished: Path, content: Content) -> None:
    """Write a new file, or a folder, that is on the disk before anything is said of it."""
    if not isinstance(content, bytes):
        unfinished.mkdir()
        for name, each in content:
            _fill(unfinished / name, each)
        return
    with unfinished.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _name_new(unfinished: Path, place: Path) -> None:
    """Rename, but never over a file that has come to stand there meanwhile."""
    try:
        os.link(unfinished, place)
    except OSError:  # the file is there, is a folder, or the file system has no hard links
        if unfinished.is_dir() and place.exists():
            place.rmdir()
        elif place.exists():
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST)) from None
        unfinished.rename(place)


def _refuse_by_system(error: OSError, place: Path) -> None:
    """Say what the system refused, and the cure."""
    which = data("writing")["system"].get(errno.errorcode.get(error.errno or 0), "unwritten")
    which = "open" if which == "forbidden" and place.exists() else which
    _refuse(True, place, which, folder=str(place.parent), why=error.strerror or error)


def _refuse(wrong: object, path: Named, which: str, **values: Any) -> None:
    """Refuse a file in a sentence of data/writing.toml."""
    refuse(wrong, f"writing.{which}", of=path, **values)
