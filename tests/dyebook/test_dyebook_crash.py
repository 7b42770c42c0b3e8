"""The dye book under kill −9: writers killed at random times, no confirmed write lost."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.dataset.target import Trial
from dyemix.dyebook.book import DyeBook

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="kills forked processes")

#: Longest life of a writer, s; long enough for several writes on a slow disk.
LIFE = 0.2
#: Readings of a set, so many that it takes a while to write.
PIECES = 60


def reading(level: float, swatch: str = "") -> Reading:
    return Reading(Recipe({"gold": 2.0}), np.full(31, level), swatch)


def write(path: Path, name: str, confirm: Callable[[str], None], pause: float) -> None:
    """Open the book and write without end; every write is confirmed once its method returns."""
    with DyeBook(path, create=False) as book:
        book.db.execute("PRAGMA cache_size = 2")  # pages go to the file before the commit
        count = 0
        while True:
            job = f"{name}.{count}"
            if count % 2:  # one of many rows, so that it takes a while to write
                pieces = tuple(reading(0.2 + i / 1000, str(i)) for i in range(PIECES))
                book.add_swatches(SwatchSet(pieces), job)
                confirm(f"set {job}\n")
            else:
                book.add_trial(Trial(Recipe({"gold": 1 + count / 8}), reading(0.4)), job)
                confirm(f"trial {job}\n")
            count += 1
            time.sleep(pause)


def writer(path: Path, name: str, pause: float = 0.0) -> tuple[int, int]:
    """A process of its own that writes; its number, and the pipe it confirms through."""
    ours, theirs = os.pipe()
    with warnings.catch_warnings():  # no thread of ours holds a lock when it forks
        warnings.simplefilter("ignore", DeprecationWarning)
        child = os.fork()
    if child:
        os.close(theirs)
        return child, ours
    try:
        write(path, name, lambda words: os.write(theirs, words.encode()), pause)
    finally:
        os._exit(1)


def all_of(pipe: int, first: bytes = b"") -> list[str]:
    with os.fdopen(pipe, "rb") as file:
        words = (first + file.read()).decode()
    # A last line without its end was being confirmed when the kill came: either way is right.
    return words.split("\n")[:-1]


def check(path: Path, confirmed: set[str]) -> tuple[str, ...]:
    """Open the book as a user does, and look at all of it."""
    with DyeBook(path, create=False) as book:
        trials = {f"trial {kept.job}": kept for kept in book.trials()}
        sets = {f"set {kept.name}": kept for kept in book.sets()}
        notes = book.warnings
    missing = confirmed - set(trials) - set(sets)
    assert not missing, f"confirmed, and lost: {sorted(missing)}"
    for name, kept in trials.items():  # whole, whether it had been confirmed or not
        count = int(name.rpartition(".")[2])
        assert kept.trial.recipe == {"gold": 1 + count / 8}
        assert kept.trial.reading.reflectance == pytest.approx(np.full(31, 0.4), abs=0)
    assert all(kept.readings == PIECES for kept in sets.values())
    raw = sqlite3.connect(path)
    assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert raw.execute("PRAGMA foreign_key_check").fetchall() == []
    raw.close()
    return notes


@pytest.mark.parametrize("kills", [8, pytest.param(200, marks=pytest.mark.slow)])
def test_kills_lose_nothing_confirmed(tmp_path: Path, kills: int) -> None:
    chance = random.Random(20_260_503)
    in_the_middle = confirmed_writes = 0
    for kill in range(kills):
        if kill % 10 == 0:  # a new book now and then keeps the looking fast
            confirmed: set[str] = set()
            path = tmp_path / f"{kill}.dyebook"
            DyeBook(path).close()
        child, pipe = writer(path, str(kill))
        # Every other one is let confirm a write first, however slow the machine.
        first = os.read(pipe, 4096) if kill % 2 else b""
        time.sleep(chance.uniform(0.0, LIFE))
        os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        assert os.WIFSIGNALED(status), "the writer ended by itself: it failed"
        new = all_of(pipe, first)
        confirmed |= set(new)
        confirmed_writes += len(new)
        journal = path.with_name(path.name + "-journal")
        # One whose head is not written yet is of a write of which nothing had reached the book.
        broken_off = journal.exists() and journal.read_bytes()[:1] not in (b"", b"\0")
        notes = check(path, confirmed)
        assert bool(notes) == broken_off
        in_the_middle += broken_off
        assert not (broken_off and journal.exists())
    # Kills that never hit a write would show nothing.
    assert in_the_middle >= kills // 20, in_the_middle
    assert confirmed_writes >= kills // 2, confirmed_writes
    print(f"{kills} kills, {in_the_middle} in the middle of a write, {confirmed_writes} confirmed")


@pytest.mark.slow
def test_kill_while_a_book_is_begun(tmp_path: Path) -> None:
    """A book is there whole or not at all."""
    chance = random.Random(7)
    begun = 0
    for kill in range(20):
        path = tmp_path / f"{kill}.dyebook"
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)
            child = os.fork()
        if not child:
            try:
                DyeBook(path).close()
            finally:
                os._exit(0)
        time.sleep(chance.uniform(0.0, 0.03))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        if path.exists():
            begun += 1
        with DyeBook(path) as book:
            assert book.jobs() == ()
    assert begun < 20


@pytest.mark.slow
def test_two_writers_at_once(tmp_path: Path) -> None:
    """Both are served in turn; what each was told is kept is there."""
    path = tmp_path / "workshop.dyebook"
    DyeBook(path).close()
    # Commands end after a write or a few; one that never paused would keep the lock to itself.
    both = [writer(path, name, pause=0.01) for name in ("a", "b")]
    # However slow the machine: one that the other keeps out for good ends by itself.
    firsts = [os.read(pipe, 4096) for _, pipe in both]
    time.sleep(0.5)
    confirmed: set[str] = set()
    for (child, pipe), first in zip(both, firsts, strict=True):
        os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        assert os.WIFSIGNALED(status)
        words = all_of(pipe, first)
        assert words, "a writer was never served"
        confirmed |= set(words)
    check(path, confirmed)
