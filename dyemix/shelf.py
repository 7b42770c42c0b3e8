"""Find the swatches at hand and have them fitted, once.

The order is: the file named; the one swatch table in the folder; the demo that comes with the
package. A fit is kept in the user's cache under a hash of its tables and of this version.
"""

import hashlib
import re
import shlex
from collections.abc import Callable, Sequence
from contextlib import suppress
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import NamedTuple

from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import AmbiguousError, DyemixError, InputError, refuse
from dyemix.files import LARGEST, read_swatches
from dyemix.files.cells import is_reading, is_swatch_table, is_table
from dyemix.model.dyes import DyeSet
from dyemix.model.saved import FORMAT, VERSION, load, save
from dyemix.reading import is_picture
from dyemix.writing import read_bytes

DEMO_TABLE, DEMO_MIXTURES = "napkins.csv", "napkins_mixtures.csv"


class Shelf(NamedTuple):
    """Where the swatches are: the table, the mixtures set aside for checking, and why these."""

    table: Path
    check: Path | None
    note: str


def demo_file(name: str) -> Path:
    """A table of the demo: inside the installed package, or in the source tree beside it."""
    inside = Path(str(files("dyemix").joinpath("data", name)))
    return inside if inside.exists() else Path(__file__).parents[1] / "swatch_data" / name


def demo() -> SwatchSet:
    """The swatches of the demo that comes with the package: invented dyes, not for dyeing.

    >>> demo().demo
    True
    """
    return read_swatches(demo_file(DEMO_TABLE))


def _swatch_table(path: Path) -> tuple[bool, str]:
    """Whether a file is headed as a swatch table is, and its text once it holds a reading."""
    text = ""
    with suppress(InputError):
        if is_table(path):
            text = read_bytes(path, LARGEST).decode("utf-8-sig", errors="replace")
    lines = (line for line in text.splitlines() if line.strip() and line.lstrip()[0] != "#")
    rows = (re.split(r"[,;\t]", line.replace('"', "")) for line in lines)
    headings = next(rows, [])
    read = [i for i, heading in enumerate(headings) if is_reading(heading)]
    filled_in = any(row[i].strip() for row in rows for i in read if i < len(row))
    return is_swatch_table(headings), text if filled_in else ""


def swatch_tables(folder: Path | None = None, blank: bool = False) -> list[Path]:
    """The swatch tables of a folder that hold readings; those `blank` where none does."""
    found = {path: _swatch_table(path) for path in sorted((folder or Path.cwd()).iterdir())}
    texts = {path: text for path, (headed, text) in found.items() if headed}
    tables = [path for path, text in texts.items() if text]
    # Readings of a finished piece look like a table of swatches, but only a shelf has its cloth.
    whole = [path for path in tables if "undyed" in texts[path].lower()]
    return whole if len(whole) == 1 else tables or [*texts] * blank


def find_shelf(
    named: Path | None = None, check: Path | None = None, folder: Path | None = None
) -> Shelf:
    """The swatches to use. Raises `AmbiguousError` where two tables could be meant."""
    if named is not None:
        quoted = shlex.quote(str(named))
        refuse(is_picture(named), "tables.photograph_first", of=named, name=quoted)
        return Shelf(named, check, f"Swatches: {named}")
    tables = swatch_tables(folder, blank=True)
    if len(tables) > 1:
        options = [("--swatches", path.name) for path in tables]
        raise AmbiguousError(f"{len(tables)} swatch tables in this folder", options)
    if tables:
        return Shelf(tables[0], check, f"Swatches: {tables[0].name}, the one table in this folder")
    note = "Swatches: the demo that comes with dyemix; no swatch table in this folder"
    return Shelf(demo_file(DEMO_TABLE), check or demo_file(DEMO_MIXTURES), note)


def readings_behind(named: Path | None = None) -> SwatchSet | None:
    """The swatches that `fitted` fits for a name or a folder; None for a saved dye set."""
    table = find_shelf(named).table
    return None if table.suffix.lower() == ".json" else read_swatches(table)


def fitted(table: Path, check: Path | None = None, left_out: Sequence[str] = ()) -> DyeSet:
    """The dyes of a swatch table, or of a saved dye set: fitted, or as they were kept.

    Raises the errors of `read_swatches`, `fit` and `load`.
    """
    if table.suffix.lower() == ".json":
        return load(table)
    named = [path for path in (table, check) if path is not None]
    files = [(path.name, hashlib.sha256(read_bytes(path, LARGEST)).digest()) for path in named]

    def fit_now() -> DyeSet:
        from dyemix.fitting.fit import fit

        aside = None if check is None else read_swatches(check)
        return fit(read_swatches(table).without(left_out), aside)

    return kept_fit(repr((files, tuple(left_out))), fit_now)


def borrow_shelf(
    table: Path | None, first: Path, check: Path | None = None, left_out: Sequence[str] = ()
) -> DyeSet:
    """The dyes of the swatch table `first` on the cloth of `table` (or of the one in this folder).

    `check` holds mixtures on the new cloth, to check the result by. Raises the errors of
    `read_swatches`, `fit` and `borrow`.
    """
    from dyemix.fitting.transfer import borrow

    here = read_swatches(find_shelf(table).table).without(left_out)
    aside = None if check is None else read_swatches(check)
    return borrow(fitted(first), here, aside)


def kept_fit(key: str, make: Callable[[], DyeSet]) -> DyeSet:
    """The dyes that were kept in the user's cache under a key, or else made, and kept.

    `key` says all that they are made of. What is kept is damaged, cannot be read or cannot be
    written: that costs the time of a fit, and nothing else.
    """
    from platformdirs import user_cache_path

    digest = hashlib.sha256(f"{FORMAT} {VERSION} {_program()} {key}".encode()).hexdigest()
    path = user_cache_path("dyemix", appauthor=False) / f"fit-{digest[:32]}.json"
    with suppress(DyemixError):
        return load(path)
    dyes = make()
    with suppress(OSError, DyemixError):
        path.parent.mkdir(parents=True, exist_ok=True)
        save(dyes, path, force=True)
    return dyes


@cache
def _program() -> list[tuple[int, int]]:
    """The state of the source that runs: a changed fit must not find an old answer."""
    stats = [path.stat() for path in sorted(Path(__file__).parent.rglob("*.py"))]
    return [(stat.st_size, stat.st_mtime_ns) for stat in stats]
