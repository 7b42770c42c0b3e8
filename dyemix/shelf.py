"""Find the swatches at hand and have them fitted, once.

The order is: the file named; the one swatch table in the folder; the demo that comes with the
package. A fit is kept in the user's cache under a hash of its tables and of this version.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from importlib import metadata
from importlib.resources import files
from pathlib import Path

from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import Fault, InputError, SavedError
from dyemix.files import read_swatches
from dyemix.files.headings import is_swatch_table
from dyemix.model.dyes import DyeSet
from dyemix.model.saved import FORMAT, VERSION, load, save

DEMO_TABLE, DEMO_MIXTURES = "napkins.csv", "napkins_mixtures.csv"


@dataclass(frozen=True)
class Shelf:
    """Where the swatches are: the table, the mixtures set aside for checking, and why these."""

    table: Path
    check: Path | None
    note: str


def demo_file(name: str) -> Path:
    """A table of the demo: inside the installed package, or in the source tree beside it."""
    inside = Path(str(files("dyemix").joinpath("data", name)))
    return inside if inside.exists() else Path(__file__).parents[1] / "swatch_data" / name


def _is_swatch_table(path: Path) -> bool:
    """Whether a file looks like a swatch table: text headed by a recipe and by readings."""
    if path.suffix.lower() not in (".csv", ".tsv", ".txt"):
        return False
    try:
        start = path.read_bytes()[:20_000].decode("utf-8-sig", errors="replace")
    except OSError:
        return False
    lines = (line for line in start.splitlines() if line.strip() and line.lstrip()[0] != "#")
    return is_swatch_table(re.split(r"[,;\t]", next(lines, "").replace('"', "")))


def _has_undyed(path: Path) -> bool:
    """Whether a table names undyed cloth, without which nothing can be fitted to it."""
    with path.open("rb") as file:
        return any(b"undyed" in line.lower() for line in file)


def find_shelf(
    named: Path | None = None, check: Path | None = None, folder: Path | None = None
) -> Shelf:
    """The swatches to use. Raises `InputError` where two tables in the folder could be meant."""
    if named is not None:
        return Shelf(named, check, f"Swatches: {named}")
    here = folder or Path.cwd()
    tables = sorted(p for p in here.iterdir() if p.is_file() and _is_swatch_table(p))
    # Readings of a finished piece look like a table of swatches, but only a shelf has its cloth.
    whole = [p for p in tables if _has_undyed(p)]
    tables = whole if len(whole) == 1 else tables
    if len(tables) > 1:
        names = ", ".join(p.name for p in tables)
        raise InputError(
            Fault(f"{len(tables)} swatch tables in this folder ({names}): name one: --swatches.")
        )
    if tables:
        return Shelf(tables[0], check, f"Swatches: {tables[0].name}, the one table in this folder")
    return Shelf(
        demo_file(DEMO_TABLE),
        check or demo_file(DEMO_MIXTURES),
        "Swatches: the demo that comes with dyemix; no swatch table in this folder",
    )


def _cache_folder() -> Path:
    from platformdirs import user_cache_path

    return user_cache_path("dyemix", appauthor=False)


def fitted(table: Path, check: Path | None = None, left_out: Sequence[str] = ()) -> DyeSet:
    """The dyes of a swatch table, or of a saved dye set: fitted, or from the cache.

    Raises the errors of `read_swatches`, `fit` and `load`. A cache that cannot be read or
    written only costs time.
    """
    if table.suffix.lower() == ".json":
        return load(table)
    key = hashlib.sha256()
    for path in (table, check):
        with suppress(OSError):  # reading it below says what is wrong with it
            key.update(b"\0" if path is None else path.name.encode() + b"\0" + path.read_bytes())

    def read() -> tuple[SwatchSet, SwatchSet | None]:
        return read_swatches(table), None if check is None else read_swatches(check)

    return fitted_set(read, key.hexdigest(), left_out)


def readings_behind(named: Path | None = None, folder: Path | None = None) -> SwatchSet | None:
    """The swatches that `fitted` fits for a name or a folder; None for a saved dye set."""
    table = find_shelf(named, folder=folder).table
    return None if table.suffix.lower() == ".json" else read_swatches(table)


def fitted_set(
    read: Callable[[], tuple[SwatchSet, SwatchSet | None]], key: str, left_out: Sequence[str] = ()
) -> DyeSet:
    """The dyes of swatches: from the cache, or else read and fitted.

    `read` gives the swatches and the mixtures set aside; `key` is a digest of all that it reads.
    """
    kept = _cached(key, left_out)
    try:
        return load(kept)
    except SavedError:
        pass
    swatches, aside = read()
    dyes = _fit(swatches.without(left_out), aside)
    try:
        kept.parent.mkdir(parents=True, exist_ok=True)
        save(dyes, kept)
    except (OSError, SavedError):
        pass  # a cache that cannot be written only costs the next command half a second
    return dyes


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


def _fit(swatches: SwatchSet, aside: SwatchSet | None) -> DyeSet:
    from dyemix.fitting.fit import fit

    return fit(swatches, aside)


def _program_version() -> str:
    """The version, and the state of the source: a changed fit must not find an old answer."""
    try:
        version = metadata.version("dyemix")
    except metadata.PackageNotFoundError:  # run from a source tree that was never installed
        version = "source"
    stats = [p.stat() for p in sorted(Path(__file__).parent.rglob("*.py"))]
    return f"{version} {[(s.st_size, s.st_mtime_ns) for s in stats]}"


def _cached(key: str, left_out: Sequence[str]) -> Path:
    digest = hashlib.sha256(f"{FORMAT} {VERSION} {_program_version()} {key}".encode())
    digest.update("\0".join(left_out).encode())
    return _cache_folder() / f"fit-{digest.hexdigest()[:32]}.json"


def demo() -> SwatchSet:
    """The swatches of the demo that comes with the package: invented dyes, not for dyeing."""
    return read_swatches(demo_file(DEMO_TABLE))
