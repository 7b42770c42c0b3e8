"""Whatever befalls its file, a dye book loses nothing confirmed, and a sentence says what did."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import pytest

from dyemix.dataset.swatches import SwatchSet
from dyemix.dyebook import connection
from dyemix.dyebook.book import DyeBook
from dyemix.dyebook.records import Cloth
from dyemix.errors import InputError, SavedError
from tests.dyebook.filled import DEMO, ROOT, all_rows, everything, fill, reading, same

# What the file must hold to ----------------------------------------------------------------------


def test_a_part_without_its_whole_is_refused(path: Path, book: DyeBook) -> None:
    fill(book)
    with pytest.raises(sqlite3.IntegrityError, match="FOREIGN KEY"):
        book.db.execute("DELETE FROM swatch")
    assert book.db.execute("PRAGMA synchronous").fetchone()[0] == 2  # FULL
    assert book.db.execute("PRAGMA journal_mode").fetchone()[0] == "delete"


@pytest.mark.parametrize("damage", ["application_id = 7", "user_version = 99"])
def test_foreign_and_newer_files_are_refused_and_left_alone(path: Path, damage: str) -> None:
    DyeBook(path).close()
    raw = sqlite3.connect(path)
    raw.execute(f"PRAGMA {damage}")
    raw.close()
    before = path.read_bytes()
    wanted = "not a dye book" if "application" in damage else "newer dyemix .layout 99"
    with pytest.raises(SavedError, match=wanted):
        DyeBook(path)
    assert path.read_bytes() == before


def test_what_is_no_book_is_refused(path: Path) -> None:
    with pytest.raises(SavedError, match="no such book"):
        DyeBook(path, create=False)
    path.write_bytes(b"")
    with pytest.raises(SavedError, match="empty"):
        DyeBook(path)
    path.write_text("swatch,recipe,hex\n" * 400)
    with pytest.raises(SavedError, match="no dye book, or damaged"):
        DyeBook(path)
    assert path.read_text().startswith("swatch")
    with pytest.raises(SavedError, match="not a file"):
        DyeBook(path.parent)
    with pytest.raises(InputError, match="no folder"):
        DyeBook(path.parent / "no" / "where.dyebook")


@pytest.mark.parametrize("keep", [0.02, 0.3, 0.5, 0.9, 0.999])
def test_truncated_book_says_so(path: Path, keep: float) -> None:
    with DyeBook(path) as book:
        fill(book)
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * keep)])
    with pytest.raises(SavedError, match=r"cut short|damaged") as told:
        DyeBook(path)
    assert "backup" in str(told.value)
    assert "\n" not in str(told.value)


def test_a_code_that_python_has_no_name_for_is_told(path: Path) -> None:
    error = sqlite3.OperationalError("odd")
    error.sqlite_errorname = "unknown"  # what sqlite3 calls it
    with pytest.raises(SavedError, match="odd"), connection.told(path):
        raise error


def test_a_page_overwritten_is_told(path: Path) -> None:
    with DyeBook(path) as book:
        fill(book)
    whole = bytearray(path.read_bytes())
    size = int.from_bytes(whole[16:18], "big")
    told = 0
    for page in range(1, len(whole) // size):
        damaged = bytearray(whole)
        damaged[page * size : page * size + 200] = b"\xa5" * 200
        path.write_bytes(damaged)
        try:
            with DyeBook(path) as book:
                everything(book)
        except SavedError as error:
            told += "damaged" in str(error)
    assert told == len(whole) // size - 1


@pytest.mark.parametrize("table", ["trial", "recipe"])
@pytest.mark.parametrize("numbers", ['"reflectance": [[0.3]]', '"covariance": [1, 0, 0, 0]'])
def test_a_target_of_another_shape_is_told(path: Path, table: str, numbers: str) -> None:
    with DyeBook(path) as book:
        fill(book)
        book.db.execute(f"UPDATE {table} SET target = ?", (f'{{"lab": [50, 1, 2], {numbers}}}',))
        with pytest.raises(SavedError, match="has the shape"):
            everything(book)


@pytest.mark.parametrize(
    ("table", "column"), [("reading", "spectrum"), ("trial", "target"), ("change", "before")]
)
def test_what_is_nested_without_end_is_told(path: Path, table: str, column: str) -> None:
    """Python's JSON gives up on it by an error of its own kind."""
    with DyeBook(path) as book:
        fill(book)
        book.db.execute(f"UPDATE {table} SET {column} = ?", ("[" * 100_000,))
        with pytest.raises(SavedError, match="recursion"):
            everything(book) if table != "change" else book.undo()


def test_an_unfinished_write_is_undone_and_told(path: Path) -> None:
    """The state that a power cut in the middle of a commit leaves behind."""
    with DyeBook(path) as book:
        fill(book)
        before = everything(book)
    raw = sqlite3.connect(path, isolation_level=None)
    raw.execute("PRAGMA cache_size = 1")  # so that pages go to the file before the commit
    raw.execute("BEGIN IMMEDIATE")
    raw.executemany("INSERT INTO job (name) VALUES (?)", [("x" * 900 + str(i),) for i in range(60)])
    journal = path.with_name(path.name + "-journal")
    torn, rest = path.read_bytes(), journal.read_bytes()
    raw.execute("ROLLBACK")
    raw.close()
    path.write_bytes(torn)
    journal.write_bytes(rest)
    with DyeBook(path) as book:
        assert same(before, everything(book))
        assert "was undone" in book.warnings[0]
        assert book.warnings[0] in str(book.contents()).replace("\n  ", " ")
    assert not journal.exists()


# Several at once, full disks ---------------------------------------------------------------------


def test_locked_book_waits_speaks_and_gives_up(
    path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of a short wait nothing is said."""
    monkeypatch.setattr(connection, "_SILENT", 0.1)
    monkeypatch.setattr(connection, "_TRIES", 2)
    with DyeBook(path) as book:
        other = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        other.execute("BEGIN IMMEDIATE")
        assert book.jobs() == ()  # who only reads is not kept out
        with pytest.raises(SavedError, match="another command has been writing"):
            book.add_cloth(Cloth("linen"))
        assert "another command is writing to it; waiting …" in capsys.readouterr().err
        later = threading.Timer(0.05, lambda: other.execute("ROLLBACK"))
        later.start()
        book.add_cloth(Cloth("linen"))
        later.join()
        other.close()
        assert capsys.readouterr().err == ""
        assert [cloth.name for cloth in book.cloths()] == ["linen"]


def test_a_write_waits_for_who_reads_as_long_as_for_who_writes(
    path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is written waits at its end, until nobody reads what was there before."""
    monkeypatch.setattr(connection, "_SILENT", 0.1)
    with DyeBook(path) as book:
        other = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        for cloth in ("linen", "lawn"):  # a long wait is spoken of each time
            other.execute("BEGIN")
            other.execute("SELECT * FROM cloth").fetchall()
            later = threading.Timer(0.25, lambda: other.execute("ROLLBACK"))
            later.start()
            book.add_cloth(Cloth(cloth))
            later.join()
            assert "another command is writing to it; waiting …" in capsys.readouterr().err
        other.close()
        assert len(book.cloths()) == 2


def test_opening_beside_a_writer_is_no_alarm(path: Path) -> None:
    with DyeBook(path) as book:
        fill(book)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    other.execute("INSERT INTO job (name) VALUES ('theirs')")
    assert path.with_name(path.name + "-journal").exists()
    with DyeBook(path) as book:
        assert book.warnings == ()
        assert "theirs" not in book.jobs()
        other.execute("COMMIT")
        assert "theirs" in book.jobs()
    other.close()


def test_full_book_writes_all_or_nothing(book: DyeBook) -> None:
    fill(book)
    before = everything(book)
    pages = book.db.execute("PRAGMA page_count").fetchone()[0]
    book.db.execute(f"PRAGMA max_page_count = {pages + 1}")
    many = SwatchSet(tuple(reading(swatch=str(i)) for i in range(200)))
    with pytest.raises(SavedError, match="disk is full: nothing of this was written"):
        book.add_swatches(many, "many")
    assert same(before, everything(book))
    book.db.execute("PRAGMA max_page_count = 100000")
    book.add_swatches(many, "many")
    assert len(book.sets()) == 2


FULL_DISK = """
import resource, signal, sys
from pathlib import Path
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
path = Path(sys.argv[1])
limit = path.stat().st_size + 6000
resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
sys.argv[1:] = ["book", "add", sys.argv[2], "--book", str(path)]
from dyemix.cli.main import main
main()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="limits file size as POSIX does")
def test_command_on_a_full_disk(path: Path) -> None:
    table = path.parent / "mine.csv"
    table.write_text(DEMO.read_text(encoding="utf-8").replace("# demo: yes\n", ""), "utf-8")
    with DyeBook(path) as book:
        fill(book)
        before = everything(book)
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-c", FULL_DISK, str(path), str(table)],
        env=env, capture_output=True, text=True, encoding="utf-8", timeout=60,
    )  # fmt: skip
    assert done.returncode == 1, done.stderr
    assert "nothing of this was written" in done.stderr
    assert "Traceback" not in done.stderr
    with DyeBook(path) as book:
        assert same(before, everything(book))


def test_backup_beside_a_writer(path: Path, tmp_path: Path) -> None:
    with DyeBook(path) as book:
        fill(book)
        before = everything(book)
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        other.execute("INSERT INTO job (name) VALUES ('theirs')")
        book.backup(tmp_path / "copy.dyebook")
        other.execute("ROLLBACK")
        other.close()
        with pytest.raises(SavedError, match="is there already"):
            book.backup(tmp_path / "copy.dyebook")
        with pytest.raises(InputError, match="no folder"):
            book.backup(tmp_path / "no" / "copy.dyebook")
    with DyeBook(tmp_path / "copy.dyebook", create=False) as copy:
        assert same(before, everything(copy))
    assert sorted(p.name for p in tmp_path.iterdir()) == ["copy.dyebook", "workshop.dyebook"]


def test_a_disk_without_hard_links(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_links(*_: Any, **__: Any) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(os, "link", no_links)
    with DyeBook(path) as book:
        fill(book)
        book.backup(path.with_name("copy"))
    assert all_rows(path.with_name("copy")) == all_rows(path)
    assert len(list(path.parent.iterdir())) == 2
