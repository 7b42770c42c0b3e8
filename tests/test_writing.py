"""The one writer: whole files or none, and nothing of the dyer's lost to it."""

from __future__ import annotations

import errno
import io
import itertools
import os
import shutil
import signal
import sqlite3
import stat
import sys
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from dyemix.errors import InputError
from dyemix.writing import destination, put, write, write_all

KEPT = "what stood there"


@pytest.fixture(autouse=True)
def _in_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def names() -> list[str]:
    return sorted(p.name for p in Path().iterdir())


def state() -> set[tuple[object, ...]]:
    """Of every file what a write would change; that it was looked into changes nothing."""
    found = [(p.name, p.lstat()) for p in Path().iterdir()]
    return {(name, s.st_ino, s.st_mode, s.st_size, s.st_mtime_ns) for name, s in found}


def no_links(*_: object, **__: object) -> None:
    """A memory card's answer to a hard link."""
    raise OSError(errno.EPERM, os.strerror(errno.EPERM))


def book(name: str) -> None:
    with sqlite3.connect(name) as db:
        db.execute("CREATE TABLE swatch (id INTEGER)")
    db.close()


def there(name: str) -> None:
    Path(name).write_text(KEPT, encoding="utf-8")


def link(name: str) -> None:
    there("real.csv")
    Path(name).symlink_to("real.csv")


@pytest.mark.parametrize(
    ("name", "make", "inputs", "word"),
    [
        ("out.csv", there, ("out.csv",), "reads it"),
        ("out.csv", link, (None, "real.csv"), "reads it"),
        ("real.csv", lambda _: link("in.csv"), ("in.csv",), "reads it"),
        ("out.csv", lambda n: (there("real.csv"), os.link("real.csv", n)), ("real.csv",), "reads"),
        ("workshop.db", book, (), "dye book"),
        ("out.csv", lambda n: (book("b.db"), Path(n).symlink_to("b.db")), (), "dye book"),
        ("workshop.dyebook", there, (), "dye book"),
        ("new.DyeBook", lambda _: None, (), "dye book"),
        ("folder", lambda n: Path(n).mkdir(), (), "folder"),
        ("pipe", os.mkfifo, (), "device or a pipe"),
        ("dangling.csv", lambda n: Path(n).symlink_to("nowhere.csv"), (), "leads nowhere"),
        ("circle.csv", lambda n: Path(n).symlink_to(n), (), "leads nowhere"),
        ("missing/out.csv", lambda _: None, (), "no folder"),
        ("file/out.csv", lambda _: there("file"), (), "no folder"),
        ("a\0b.csv", lambda _: None, (), "name another"),
        ("x" * 300, lambda _: None, (), "name another"),
        ("", lambda _: None, (), "folder"),
    ],
)
def test_what_no_force_writes_over(
    name: str, make: Callable[[str], object], inputs: tuple[str, ...], word: str
) -> None:
    make(name)
    before = state()
    with pytest.raises(InputError, match=word):
        write(name, "new", force=True, inputs=inputs)
    assert state() == before


def test_a_device_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """As root, renaming onto /dev/full replaces the device by a file; not in this test."""
    monkeypatch.setattr(os, "replace", lambda *_: pytest.fail("the device was to be replaced"))
    with pytest.raises(InputError, match="device"):
        write("/dev/full", "new", force=True)
    assert stat.S_ISCHR(Path("/dev/full").stat().st_mode)


def test_a_file_that_is_there_needs_force() -> None:
    there("out.csv")
    for refused in (write, lambda name, _: destination(name)):
        with pytest.raises(InputError, match="--force") as told:
            refused("out.csv", "new")
        assert told.value.file == "out.csv"
    assert Path("out.csv").read_text(encoding="utf-8") == KEPT
    write("out.csv", "new", force=True)
    assert Path("out.csv").read_text(encoding="utf-8") == "new"


def test_text_is_utf8_with_its_own_line_ends_and_bytes_are_bytes() -> None:
    write(Path("text.csv"), "ΔE\r\nb\n")
    write("picture.png", b"\x89PNG\r\n")
    assert Path("text.csv").read_bytes() == "ΔE\r\nb\n".encode()
    assert Path("picture.png").read_bytes() == b"\x89PNG\r\n"
    with pytest.raises(InputError, match="not Unicode"):
        write("other.csv", "\udcff")
    assert names() == ["picture.png", "text.csv"]


def test_a_link_is_followed_and_its_file_keeps_its_mode() -> None:
    Path("far").mkdir()
    there("far/real.csv")
    Path("far/real.csv").chmod(0o640)
    Path("out.csv").symlink_to("far/real.csv")
    write("out.csv", "new", force=True)
    assert Path("out.csv").is_symlink()
    assert Path("far/real.csv").read_text(encoding="utf-8") == "new"
    assert stat.S_IMODE(Path("far/real.csv").stat().st_mode) == 0o640


def test_a_new_file_has_the_mode_of_any_new_file() -> None:
    write("out.csv", "new")
    there("plain.csv")
    assert Path("out.csv").stat().st_mode == Path("plain.csv").stat().st_mode


@pytest.mark.parametrize("force", [True, False])
@pytest.mark.parametrize(
    ("call", "number", "word"),
    [
        ("fsync", errno.ENOSPC, "disk is full"),
        ("fsync", errno.EIO, "cannot be written"),
        ("rename", errno.EACCES, "cannot be replaced|may not be written to"),
    ],
)
def test_after_a_failure_all_is_as_it_was(
    monkeypatch: pytest.MonkeyPatch, force: bool, call: str, number: int, word: str
) -> None:
    """Full disk; a disk that fails; and, as Windows does it, a file open in another program."""
    if force:
        there("out.csv")

    def fail(*_: object, **__: object) -> None:
        raise OSError(number, os.strerror(number))

    for name in {"fsync": ["fsync"], "rename": ["replace", "rename", "link"]}[call]:
        monkeypatch.setattr(os, name, fail)
    with pytest.raises(InputError, match=word) as told:
        write("out.csv", "new", force=force)
    assert isinstance(told.value.__cause__, OSError)
    assert len(str(told.value).splitlines()) == 1
    assert names() == (["out.csv"] if force else [])
    if force:
        assert Path("out.csv").read_text(encoding="utf-8") == KEPT


def test_a_full_disk_met_while_writing_leaves_nothing() -> None:
    resource = pytest.importorskip("resource")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, hard))
    try:
        with pytest.raises(InputError, match="disk is full"):
            write("out.csv", b"x" * 10_000)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert names() == []


def test_a_folder_that_may_not_be_written_to() -> None:
    if not Path("/sys").is_dir():
        pytest.skip("no folder here refuses root")
    with pytest.raises(InputError, match="may not be written to"):
        write("/sys/out.csv", "new")


def test_ctrl_c_leaves_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stop)
    with pytest.raises(KeyboardInterrupt):
        write("out.csv", "new")
    assert names() == []


SET = {"x-2.png": b"2", "x-3.png": b"3", "x-1.png": b"1"}


def breaking(call: str, after: int, error: BaseException) -> Callable[[Path, Path], None]:
    """What names a file in `os`, until it has done so often enough; from then on it fails."""
    work, left = getattr(os, call), iter(range(after))

    def name(one: Path, other: Path) -> None:
        if next(left, None) is None:
            raise error
        work(one, other)

    return name


@pytest.mark.parametrize("force", [True, False])
@pytest.mark.parametrize("at", [1, 2])
def test_of_files_that_belong_together_all_are_there_or_none(
    monkeypatch: pytest.MonkeyPatch, force: bool, at: int
) -> None:
    """The second or the last cannot be named: what bore its name is as it was."""
    if force:
        there("x-2.png")
        there("x-1.png")
    before = {name: Path(name).read_bytes() for name in names()}
    call = "replace" if force else "link"
    fail = breaking(call, at, OSError(errno.EACCES, os.strerror(errno.EACCES)))
    with monkeypatch.context() as failing:
        failing.setattr(os, call, fail)
        failing.setattr(os, "rename", fail)  # which a system without links uses
        with pytest.raises(InputError, match=r"may not|cannot be replaced") as told:
            write_all(SET.items(), force=force)
    assert told.value.file == str(Path([*SET][at]).resolve())
    assert {name: Path(name).read_bytes() for name in names()} == before
    write_all(SET.items(), force=force)
    assert {name: Path(name).read_bytes() for name in names()} == SET
    with pytest.raises(InputError, match="--force"):
        write_all({"x-4.png": b"4", "x-3.png": b"5"}.items())
    assert {name: Path(name).read_bytes() for name in names()} == SET


def test_files_of_a_set_may_lie_in_several_folders(monkeypatch: pytest.MonkeyPatch) -> None:
    """One name of it may be a link to another disk, and nothing is renamed from disk to disk."""
    Path("far").mkdir()
    there("far/x-1.png")
    Path("x-1.png").symlink_to("far/x-1.png")
    work, seen = os.replace, []

    def replace(one: Path, other: Path) -> None:
        seen.append(one.parent.parent == other.parent)
        work(one, other)

    monkeypatch.setattr(os, "replace", replace)
    write_all(SET.items(), force=True)
    assert seen == [True] * len(SET)
    assert {name: Path(name).read_bytes() for name in SET} == SET
    assert Path("x-1.png").is_symlink()
    assert [*Path("far").iterdir()] == [Path("far/x-1.png")]


@pytest.mark.parametrize("force", [True, False])
def test_ctrl_c_between_two_names_leaves_what_was(
    monkeypatch: pytest.MonkeyPatch, force: bool
) -> None:
    if force:
        there("x-2.png")
    before = {name: Path(name).read_bytes() for name in names()}
    call = "replace" if force else "link"
    monkeypatch.setattr(os, call, breaking(call, 1, KeyboardInterrupt()))
    with pytest.raises(KeyboardInterrupt):
        write_all(SET.items(), force=force)
    assert {name: Path(name).read_bytes() for name in names()} == before


def test_a_folder_is_written_whole_or_not_at_all() -> None:
    def files() -> Iterator[tuple[str, bytes]]:
        yield "a.csv", b"a"
        if stops:
            raise KeyboardInterrupt
        yield "b.csv", b"b"

    Path("empty").mkdir()
    Path("far").mkdir()
    with pytest.raises(InputError, match="make it first"):
        put({Path("no", "new"): files()})
    stops = True
    for place in ("empty", "far/new"):
        with pytest.raises(KeyboardInterrupt):
            put({Path(place): files()})
    assert not [*Path("empty").iterdir(), *Path("far").iterdir()]
    stops = False
    for place in ("empty", "far/new"):
        put({Path(place): files()})
        assert sorted(p.name for p in Path(place).iterdir()) == ["a.csv", "b.csv"]
        with pytest.raises(InputError, match="not empty"):
            put({Path(place): [("c.csv", b"c")]})
        assert sorted(p.name for p in Path(place).iterdir()) == ["a.csv", "b.csv"]
    with pytest.raises(InputError):  # the second has no place: the first does not stay either
        put({Path("first"): files(), Path("empty"): files()})
    Path("plain").mkdir()
    assert Path("empty").stat().st_mode == Path("plain").stat().st_mode
    assert names() == ["empty", "far", "plain"]


def killed_at(call: str, number: int, work: Callable[[], object]) -> int:
    """A process that is killed just before the so many'th call of the system; its number."""
    with warnings.catch_warnings():  # no thread of ours holds a lock when it forks
        warnings.simplefilter("ignore", DeprecationWarning)
        child = os.fork()
    if not child:
        calls, sound = itertools.count(1), getattr(os, call)

        def kill(*given: object, **named: object) -> object:
            if next(calls) == number:
                os.kill(os.getpid(), signal.SIGKILL)
            return sound(*given, **named)

        setattr(os, call, kill)
        try:
            work()
        finally:
            os._exit(1)
    assert os.WIFSIGNALED(os.waitpid(child, 0)[1])
    return child


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills forked processes")
@pytest.mark.parametrize(
    ("call", "number", "work", "after"),
    [
        ("replace", 1, lambda: write("out.csv", "new", force=True), []),
        ("fsync", 2, lambda: write_all(SET.items()), []),
        ("link", 1, lambda: write_all(SET.items()), []),
        ("link", 3, lambda: write_all(SET.items()), ["x-2.png", "x-3.png"]),
        ("fsync", 2, lambda: put({Path("far"): SET.items()}), []),
        ("rename", 1, lambda: put({Path("far"): SET.items()}), []),
    ],
)
def test_what_a_kill_leaves_is_no_answer_and_is_cleared_by_the_next_write(
    monkeypatch: pytest.MonkeyPatch,
    call: str,
    number: int,
    work: Callable[[], object],
    after: list[str],
) -> None:
    """Not a page of several, but where the last one is missing; no folder; and nothing else."""
    there("out.csv")
    child = killed_at(call, number, work)
    left, *others = names()
    assert left.startswith(f".dyemix-{child}_")
    assert others == ["out.csv", *after]
    assert Path("out.csv").read_text(encoding="utf-8") == KEPT
    kept = [f".dyemix-{os.getpid()}_a.part", ".dyemix-notes.txt", ".dyemix-x_1.part", "mine.part"]
    for name in kept:  # of a writer at work, and of nobody that is known
        there(name)

    take = shutil.rmtree

    def keep(folder: Path, **how: Any) -> None:
        if Path(folder).name == left:  # a system that lets nobody take it away
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        take(folder, **how)

    with monkeypatch.context() as stuck:
        stuck.setattr(shutil, "rmtree", keep)
        write("one.csv", "new")
    assert names() == sorted([left, "one.csv", "out.csv", *kept, *after])
    write("two.csv", "new")
    assert names() == sorted(["one.csv", "out.csv", "two.csv", *kept, *after])


def test_without_force_a_file_that_comes_meanwhile_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    sync = os.fsync
    monkeypatch.setattr(os, "fsync", lambda number: (sync(number), there("out.csv")))
    for link_as in (os.link, no_links):
        monkeypatch.setattr(os, "link", link_as)
        with pytest.raises(InputError, match="--force"):
            write("out.csv", "new")
        assert Path("out.csv").read_text(encoding="utf-8") == KEPT
        assert names() == ["out.csv"]
        Path("out.csv").unlink()


def test_a_file_system_without_links(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "link", no_links)
    write("out.csv", "new")
    assert Path("out.csv").read_text(encoding="utf-8") == "new"
    assert names() == ["out.csv"]


def test_a_dash_is_standard_output(
    monkeypatch: pytest.MonkeyPatch, capfdbinary: pytest.CaptureFixture[bytes]
) -> None:
    for stream in (sys.__stdout__, io.StringIO()):
        monkeypatch.setattr(sys, "stdout", stream)
        write("-", "ΔE\n")
    assert isinstance(stream, io.StringIO)
    assert stream.getvalue() == "ΔE\n"
    assert capfdbinary.readouterr().out == "ΔE\n".encode()
    assert names() == []
