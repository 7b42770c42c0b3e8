"""Damaged input over every reader: how many were read, how many refused in words, and how long.

Anything but one of our own errors, more than 300 MB, or a minute over one file ends the run with
the seed that led there. ``python -m benchmarks.hostile [MANY]``.
"""

from __future__ import annotations

import io
import resource
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from PIL import Image

import dyemix
from dyemix.bench.plan import read_jobs
from dyemix.bench.settings import BathSettings, defaults_text
from dyemix.bench.stock import read_stocks
from dyemix.cloth.levelness import saved_pieces
from dyemix.dyebook.book import DyeBook
from dyemix.errors import DyemixError
from dyemix.files import read_swatches
from dyemix.files.small_tables import read_names, read_targets
from dyemix.model.saved import load, saved_text
from dyemix.photo.decode import decode
from tests.damage import damaged
from tests.files.samples import SOUND
from tests.simulated.struck import small_piece

MOST_MB, MOST_SECONDS = 300, 60
NAMES = b"# stock_pct: 2\n# cloth_g: 50\nsample,recipe,swatch\na,gold 5 mL,7\nb,navy 1,\n"
TARGETS = b"name,L*,a*,b*,light\nleaf,56.5,-30.2,13.1,D65/10\nsky,60,-5,-20,A/2\n"
STOCKS = b"dye,stock_pct,made,cold,lot\nnavy,2,2026-05-03,yes,7\ngold,0.5,3 May 2026,no,\n"
JOBS = b"job,recipe,cloth_g,pieces\nleaf,gold 1 + navy 0.25,240,2\nsky,navy 0.5,60,1\n"


def readers() -> dict[str, tuple[bytes, Callable[[Path], object]]]:
    """Each kind of file by name: a sound one, and what reads it."""
    table: Callable[[Path], object] = read_swatches
    found = {name: (data, table) for name, data in SOUND.items()}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.dyebook"
        with DyeBook(path) as book:
            book.add_swatches(dyemix.demo(), "first")
        filled = path.read_bytes()

    def open_book(path: Path) -> None:
        with DyeBook(path, create=False) as book:
            book.swatches()
            book.trials()
            book.sheets()

    return found | {
        "names": (NAMES, lambda path: read_names(path, [])),
        "targets": (TARGETS, read_targets),
        "jobs": (JOBS, read_jobs),
        "stocks": (STOCKS, read_stocks),
        "pieces": (small_piece().encode(), saved_pieces),
        "photograph": (picture(), decode),
        "settings": (defaults_text().encode(), BathSettings.load),
        "saved set, kept fit": (saved_text(dyemix.fit(dyemix.demo())).encode(), load),
        "book": (filled, open_book),
    }


def picture() -> bytes:
    """A small photograph, as a camera would save it."""
    Image.effect_noise((96, 64), 90).convert("RGB").save(file := io.BytesIO(), "JPEG")
    return file.getvalue()


def attack(kind: str, sound: bytes, read: Callable[[Path], object], many: int) -> str:
    """Read so many damaged files of a kind; how it went, in a line. Any foreign error passes."""
    taken, slowest, started = 0, 0.0, time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "damaged"
        path.write_bytes(sound)
        read(path)  # or the figures below would say nothing
        for seed in range(many):
            path.write_bytes(damaged(sound, seed, 1 + seed % 2))
            begun = time.perf_counter()
            signal.alarm(MOST_SECONDS)
            try:
                read(path)
                taken += 1
            except DyemixError:
                pass
            except BaseException as error:
                error.add_note(f"{kind}, seed {seed}")
                raise
            finally:
                signal.alarm(0)
            slowest = max(slowest, time.perf_counter() - begun)
            for rest in Path(folder).glob("damaged?*"):
                rest.unlink()
    each = (time.perf_counter() - started) / many * 1e3
    return (
        f"{kind:24} {many:6} files: {taken:6} read, {many - taken:6} refused, {each:6.2f} ms each, "
        f"slowest {slowest:.2f} s"
    )


def main(many: int = 100_000) -> None:
    """Damage each kind of file equally often, and print a line for each."""

    def hang(*_: object) -> None:
        raise TimeoutError

    signal.signal(signal.SIGALRM, hang)
    kinds = readers()
    for kind, (sound, read) in kinds.items():
        line = attack(kind, sound, read, many // len(kinds))
        megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        if megabytes > MOST_MB:
            raise SystemExit(f"{kind}: {megabytes:.0f} MB")
        print(f"{line}, {megabytes:.0f} MB so far", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
