"""Every command that writes, killed at any moment and on a full disk: what it said is there."""

from __future__ import annotations

import itertools
import os
import random
import re
import resource
import shutil
import signal
import sqlite3
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import pytest
from command import Command

from tests.cli.test_commands import ENDINGS, OF, OUTPUTS, RECIPE, TREE, bench, words
from tests.dyebook.test_dyebook_crash import all_of

__all__ = ["bench"]

pytestmark = pytest.mark.slow
#: What stands for the new name that a command is to write, or to keep under.
NEW = "NEW"
NUMBERED = r"[kf]\d{3}n\d{5}"
BOOK = "workshop.dyebook"
FILES = [
    words(name, option, f"{NEW}.{OF.get((name, option), ENDINGS[option])}")
    for name, option in OUTPUTS
    if (name, option) != ("read", "--draw")  # draws photographs only
]
#: Two pages and their table.
PAGES = ("photo-page", "-o", f"{NEW}.svg", "--cells", "40")
KEPT = [
    ("trial", RECIPE, "--reading", "#86935c", "--target", "#7d8a6e", "--job", NEW),
    ("bath", RECIPE, "--cloth", "60g", "--demo", "--job", NEW),
    ("levelness", "pieces.json", "--recipe", "lemon 0.8 + rose 0.5", "--job", NEW),
    ("book", "add", "readings.csv", "--name", NEW),
    ("book", "strike", "N010", "--note", "pale"),
    ("book", "cloth", NEW),
    ("book", "dye", NEW, "--lot", "7"),
    ("book", "recipe", RECIPE, "--job", NEW),
    ("book", "stocks", "stocks.csv"),
    ("book", "sign", NEW, "#86935c"),
    ("book", "repeat", "sage", "--cloth", "240g", "--demo", "--keep"),
    ("book", "learn", "--half-life", "90", "--keep"),
    ("book", "undo"),
    ("book", "backup", f"{NEW}.dyebook"),
    ("book", "export", NEW),
]
#: What makes a command possible once more.
AGAIN = {"book undo": ("book", "cloth", NEW), "book strike": ("book", "undo")}
WRITERS = [*FILES, PAGES, *((*asked, "--book", BOOK) for asked in KEPT)]
#: Times that each is killed, most of them once it has said that something is written; and times
#: that its disk is full.
KILLS, FULL = 5, 2


def test_every_command_that_writes_is_here() -> None:
    """Those of the book that only read it, or write a file that is named, are among the files."""
    others = {"book list", "book show", "book search", "book near", "book picture"}
    of_books = {name for name in TREE if name.startswith("book ")} - others
    assert of_books <= {" ".join(asked[:2]) for asked in KEPT}


@pytest.fixture
def own(bench: Command, tmp_path: Path) -> Command:
    """The same folder, for one test alone."""
    folder = tmp_path / "own"
    shutil.copytree(bench.folder, folder)
    (folder / "stocks.csv").write_text("dye,stock_pct,made\nnavy,2,2026-05-03\n", encoding="utf-8")
    return Command(folder, bench.cache)


def child(work: Callable[[Callable[[str], None]], None]) -> tuple[int, int]:
    """A process of its own that says what it wrote; its number, and the pipe it says it through."""
    ours, theirs = os.pipe()
    with warnings.catch_warnings():  # no thread of ours holds a lock when it forks
        warnings.simplefilter("ignore", DeprecationWarning)
        number = os.fork()
    if not number:
        try:
            work(lambda line: os.write(theirs, f"{line}\n".encode()) and None)
        finally:
            os._exit(0)
    os.close(theirs)
    return number, ours


def unfinished(path: Path) -> bool:
    """Whether a kill left it in a hidden folder, where no book need be whole."""
    return ".dyemix-" in str(path)


def there(folder: Path) -> dict[str, bytes]:
    """The files of a folder by their places; of a book, what is kept in it."""
    files = [path for path in folder.rglob("*") if path.is_file() and "-journal" not in path.name]
    books = {path for path in files if path.suffix == ".dyebook" and not unfinished(path)}
    return {
        str(path.relative_to(folder)): kept_in(path) if path in books else path.read_bytes()
        for path in files
    }


def kept_in(book: Path) -> bytes:
    raw = sqlite3.connect(book)
    try:
        assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        return "\n".join(raw.iterdump()).encode()
    finally:
        raw.close()


def look(
    run: Command, asked: tuple[str, ...], said: list[str], sound: dict[str, bytes]
) -> list[str]:
    """What was said to be written is there, and whatever is there is whole, with all of its set.

    `sound` holds all there is after the first writing. Returns what is not finished, in hidden
    folders.
    """
    now = there(run.folder)
    new = {name for name in now.keys() - sound.keys() if not unfinished(Path(name))}
    for name in new:
        assert now[name] == sound[re.sub(NUMBERED, "first", name)], name
        for other in (other for other in sound if other.startswith("first")):
            (number,) = re.findall(NUMBERED, name)
            assert other.replace("first", number, 1) in new, f"{name} without {other}"
    for name in said:
        assert (
            any(name in key for key in new)
            or name.encode() in now[BOOK]
            or "undo" in asked
            or NEW not in str(asked)
        )
    return list(map(str, run.folder.rglob(".dyemix-*")))


@pytest.mark.parametrize("asked", WRITERS, ids=" ".join)
def test_kills_and_full_disks_lose_nothing_acknowledged(
    own: Command, asked: tuple[str, ...]
) -> None:
    chance = random.Random(" ".join(asked))

    def written(name: str) -> int:
        code = own(*(word.replace(NEW, name) for word in asked)).returncode
        if code == 2 and possible(name):
            code = own(*(word.replace(NEW, name) for word in asked)).returncode
        return code

    def possible(name: str) -> bool:
        again = AGAIN.get(" ".join(asked[:2]), ())
        return (
            bool(again)
            and not own(*(word.replace(NEW, name) for word in again), "--book", BOOK).returncode
        )

    began = time.perf_counter()
    assert written("first") == 0
    took = time.perf_counter() - began
    sound = there(own.folder)
    acknowledged, left = 0, []
    for kill in range(KILLS):

        def write_on(say: Callable[[str], None], kill: int = kill) -> None:
            for count in itertools.count():
                if written(name := f"k{kill:03}n{count:05}"):
                    return
                say(name)

        number, pipe = child(write_on)
        heard = os.read(pipe, 4096) if kill % 2 == 0 else b""
        time.sleep(chance.uniform(0.0, 1.5 * took))
        os.kill(number, signal.SIGKILL)
        os.waitpid(number, 0)
        said = all_of(pipe, heard)
        acknowledged += bool(said)
        left += look(own, asked, said, sound)
        assert written(f"k{kill:03}n99999") == 0
        assert look(own, asked, [], sound) == [], "the next run clears what a killed one left"
        assert list(own.folder.rglob("*-journal")) == []
    assert acknowledged >= KILLS // 2
    new = max((len(now) for name, now in sound.items() if name.startswith("first")), default=0)
    for full in range(FULL):

        def write_until_full(say: Callable[[str], None], full: int = full) -> None:
            if written(name := f"f{full:03}n00000") == 0:
                say(name)
            possible(name)
            # A book needs room for its journal first, then for pages, which may be there already.
            size = (own.folder / BOOK).stat().st_size
            of_book = (chance.randrange(512), size + chance.randrange(4096))[full % 2]
            limit = chance.randrange(new) if new else of_book
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
            code = written(name := f"f{full:03}n00001")
            say(name if code == 0 else f"{code}")

        number, pipe = child(write_until_full)
        os.waitpid(number, 0)
        said = all_of(pipe)
        assert len(said) == 2, said
        ended = said.pop() if said[1] in ("1", "2") else "0"
        assert ended == "1" or (not new and full % 2 and ended == "0")
        assert look(own, asked, said, sound) == []
        assert ended == "0" or not any(f"f{full:03}n00001" in name for name in there(own.folder))
        print(" ".join(asked), "full", ended)
    print(
        " ".join(asked),
        KILLS,
        "kills,",
        acknowledged,
        "acknowledged,",
        len(left),
        "left until the next run",
    )
