"""The dye book: what is kept comes back, whatever befalls the file; a sentence says what did."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from dataclasses import fields
from datetime import date
from pathlib import Path
from typing import Any

import click
import numpy as np
import pytest
from command import Command
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dyemix.bench import BathSheet, Stock, bath_sheet
from dyemix.bench.settings import BathSettings
from dyemix.cli.main import dyemix
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_10, Light, lab
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import DEMO_WARNING, Reading, SwatchSet
from dyemix.dataset.target import Target
from dyemix.dataset.trial import Bath, Trial
from dyemix.dyebook import (
    Cloth,
    DyeBook,
    DyeLot,
    connection,
    export_csv,
    find_book,
    import_csv,
    near,
    repeat,
    rows,
    schema,
    tables,
)
from dyemix.errors import DyemixError, InputError, RecipeError, SavedError
from dyemix.files import read_swatches

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "swatch_data" / "napkins.csv"
OLD = ROOT / "tests" / "data" / "dyebook_layout_1.sql"
DAY = date(2026, 5, 3)
#: Names that would do harm if text were ever taken for a statement, or a cell for a formula.
HARD_NAMES = (
    "x'); DROP TABLE job; --",
    '"; DELETE FROM trial; --',
    "Robert\n\tTables  ünïcødé ✂",
    "=1+1",
    "a,b;c\"d'e",
    "?1 :name @x $y %s {}",
)


def spectrum(level: float = 0.3) -> np.ndarray:
    """A smooth spectrum whose digits do not end."""
    return level + 0.1 * np.sin(np.arange(31) / 7.0) / 3.0


def reading(recipe: Any = "gold 2", level: float = 0.3, **more: Any) -> Reading:
    return Reading(Recipe.parse(recipe), spectrum(level), **more)


def same(one: Any, other: Any) -> bool:
    """Equal in every field, down to the last digit of every array."""
    if isinstance(one, np.ndarray):
        return isinstance(other, np.ndarray) and np.array_equal(one, other)
    if hasattr(one, "__dataclass_fields__"):
        return type(one) is type(other) and all(
            same(getattr(one, f.name), getattr(other, f.name)) for f in fields(one)
        )
    if isinstance(one, Recipe):
        return list(one.items()) == list(other.items()) and one.as_written == other.as_written
    if isinstance(one, tuple):
        return len(one) == len(other) and all(map(same, one, other))
    return bool(one == other)


def sheet(job: str = "sage", **more: Any) -> BathSheet:
    stocks = [Stock("gold", 2, DAY, lot="G1"), Stock("navy", 1, DAY)]
    return bath_sheet("navy 0.2 + gold 0.8", 240, stocks=stocks, job=job, on=DAY, **more)


def fill(book: DyeBook) -> None:
    """One of everything."""
    book.add_cloth(Cloth("café napkin", "cotton 55 %, linen 45 %", "mercerised?"))
    book.add_dye(DyeLot("Gold", "G1", date(2026, 1, 2), "half full"))
    book.add_stocks(
        Stock("gold", 2, DAY, True, "G1", "added to", 120.5), Stock("navy", 1 / 3, None)
    )
    readings = (
        reading("undyed", 0.8, swatch="1", conditions={"cloth": "café napkin", "hours": "24"}),
        reading("gold 2", 0.4, swatch="2", flags=("by eye", "wet?"), place="a.csv, row 3"),
        Reading(None, spectrum(), "?", name="unnamed"),
        Reading(Recipe.parse("navy 1"), None, "3", "blank"),
        Reading(
            Recipe({"gold": 1 / 3}, "1 tsp"), spectrum(), "4", "Lab",
            np.array([50.1, 0.1 + 0.2, -3.0]), Light("D50", 2), np.eye(3) / 7,
        ),
    )  # fmt: skip
    book.add_swatches(SwatchSet(readings, ("as read",), "a.csv"))
    book.add_recipe("sage", "gold 0.8 + navy 0.2", Target.parse("#7d8a6e"), "first", DAY)
    book.add_sheets(sheet(), sheet("ink", target="as dark as it goes"))
    book.add_trial(
        Trial(Recipe.parse("gold 0.8 + navy 0.2"), reading("gold 0.8 + navy 0.2", 0.25),
              Target.of_reflectance(spectrum(0.26), D65_10, "café"), DAY, "G1/N3"),
        "sage", "a little dark",
    )  # fmt: skip
    book.add_trial(
        Trial(Recipe({"navy": 0.1}), reading("navy 0.1", 0.2), bath=Bath.SECOND, on=reading())
    )
    book.sign_off("café sage", reading("gold 0.7", 0.31), "sage", 2.0, "by post", DAY)


def everything(book: DyeBook) -> tuple[Any, ...]:
    return (
        book.demo, book.cloths(), book.dye_lots(), book.stocks(), book.sets(), book.swatches(),
        book.recipes(), book.sheets(), book.trials(), book.sign_offs(), book.jobs(),
        len(book.kept_fits()),
    )  # fmt: skip


def all_rows(path: Path) -> dict[str, list[tuple[Any, ...]]]:
    raw = sqlite3.connect(path)
    found = {t: raw.execute(f"SELECT * FROM {t} ORDER BY id").fetchall() for t in schema.TABLES}
    raw.close()
    return found


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "workshop.dyebook"


@pytest.fixture
def book(path: Path) -> Iterator[DyeBook]:
    with DyeBook(path) as opened:
        yield opened


# What is kept comes back -------------------------------------------------------------------------


def test_everything_comes_back_to_the_last_digit(path: Path) -> None:
    with DyeBook(path) as book:
        fill(book)
        before = everything(book)
    with DyeBook(path, create=False) as book:
        after = everything(book)
        assert book.notes == ()
        first, second = book.trials()
        assert book.standard("café sage").reflectance is not None
        lines = str(book.job("sage"))
    assert same(before, after)
    assert first.trial.recipe == {"gold": 0.8, "navy": 0.2}
    assert same(first.trial.reading.reflectance, spectrum(0.25))
    assert second.job == "navy 0.10"
    assert second.trial.bath is Bath.SECOND
    assert "signed off as café sage" in lines
    assert "a little dark" in lines
    assert [p.name for p in path.parent.iterdir()] == [path.name], "one file between commands"


def test_results_are_what_was_given(book: DyeBook) -> None:
    fill(book)
    assert book.stocks() == (
        Stock("gold", 2.0, DAY, True, "G1", "added to", 120.5),
        Stock("navy", 1 / 3, None),
    )
    assert book.dye_lots()[0] == DyeLot("gold", "G1", date(2026, 1, 2), "half full")
    assert book.cloths()[0] == Cloth("café napkin", "cotton 55 %, linen 45 %", "mercerised?")
    assert book.sheets("sage") == (sheet(),)
    kept = book.swatches().readings
    assert [r.swatch for r in kept] == ["1", "2", "?", "3", "4"]
    assert kept[4].recipe is not None
    assert kept[4].recipe.as_written == "1 tsp"
    assert dict(kept[0].conditions) == {"cloth": "café napkin", "hours": "24"}
    assert kept[1].flags == ("by eye", "wet?")


def test_csv_and_back_gives_the_same_rows(path: Path, tmp_path: Path) -> None:
    with DyeBook(path) as book:
        fill(book)
        before = everything(book)
    export_csv(path, tmp_path / "out")
    again = tmp_path / "again.dyebook"
    import_csv(tmp_path / "out", again)
    assert all_rows(again) == all_rows(path)
    with DyeBook(again, create=False) as book:
        assert same(before, everything(book))
    export_csv(again, tmp_path / "out2")
    names = sorted(p.name for p in (tmp_path / "out").iterdir())
    for name in names:
        assert (tmp_path / "out" / name).read_bytes() == (tmp_path / "out2" / name).read_bytes()
    assert "400 nm" in (tmp_path / "out" / "reading.csv").read_text().splitlines()[0]


TEXT = st.text(st.characters(exclude_categories=("Cs",)), max_size=12)
LEVELS = st.floats(0.001, 1.2, allow_subnormal=False)
READINGS = st.builds(
    lambda dye, levels, swatch, conditions, flags, name: Reading(
        None if dye is None else Recipe({"gold": dye}, name),
        np.array(levels), swatch, conditions=conditions, flags=tuple(flags), name=name,
    ),
    st.none() | st.floats(1e-6, 20), st.lists(LEVELS, min_size=31, max_size=31), TEXT,
    st.dictionaries(TEXT, TEXT, max_size=3), st.lists(TEXT, max_size=2), TEXT,
)  # fmt: skip


def in_memory() -> sqlite3.Connection:
    db = sqlite3.connect(":memory:", isolation_level=None)
    schema.migrate(db)
    return db


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(READINGS, min_size=1, max_size=4))
def test_any_readings_survive_rows_and_tables(tmp_path: Path, readings: list[Reading]) -> None:
    first, second = in_memory(), in_memory()
    number = rows.insert(first, "swatch_set", name="set", added="2026-05-03", notes="[]")
    rows.add_readings(first, readings, number)
    assert same(rows.read_set(first, number), tuple(readings))
    for table in schema.TABLES:
        file = tables.export_table(first, table, tmp_path)
        kinds = second.execute("SELECT * FROM pragma_table_info(?)", (table,)).fetchall()
        tables.fill_table(second, table, kinds, file.parent)
        select = f"SELECT * FROM {table} ORDER BY id"
        assert first.execute(select).fetchall() == second.execute(select).fetchall()
    first.close()
    second.close()


@pytest.mark.parametrize("name", HARD_NAMES)
def test_text_is_never_a_statement(path: Path, tmp_path: Path, name: str) -> None:
    with DyeBook(path) as book:
        fill(book)
        jobs = len(book.jobs())
        book.add_trial(Trial(Recipe({"gold": 1.0}), reading(swatch=name)), name, name)
        book.add_cloth(Cloth(name, name, name))
        book.sign_off(name, reading(swatch=name), note=name)
        tidy = " ".join(name.split())
        assert book.trials(tidy)[-1].note == name
        assert book.trials(tidy)[-1].trial.reading.swatch == name
        assert len(book.job(tidy).sign_offs) == 1
        assert len(book.jobs()) == jobs + 1
        with pytest.raises(InputError, match="no job"):
            book.job(name + "' OR '1'='1")
    export_csv(path, tmp_path / "out")
    import_csv(tmp_path / "out", tmp_path / "b.dyebook")
    assert all_rows(path) == all_rows(tmp_path / "b.dyebook")


def test_names_that_could_not_be_read_back_are_refused_whole(book: DyeBook) -> None:
    fill(book)
    before = everything(book)
    with pytest.raises(RecipeError, match="name its dyes"):
        book.add_trial(Trial(Recipe({"gold + navy": 1.0}), reading()), "sage")
    with pytest.raises(InputError, match="needs a name"):
        book.add_cloth(Cloth("  "))
    with pytest.raises(SavedError, match="not Unicode"):
        book.add_cloth(Cloth("\udcff"))
    assert same(before, everything(book))


# What the file must hold to ----------------------------------------------------------------------


def test_a_part_without_its_whole_is_refused(path: Path, book: DyeBook) -> None:
    fill(book)
    with pytest.raises(sqlite3.IntegrityError, match="FOREIGN KEY"):
        book._file.db.execute("DELETE FROM swatch")
    assert book._file.db.execute("PRAGMA synchronous").fetchone() == (2,)  # FULL
    assert book._file.db.execute("PRAGMA journal_mode").fetchone() == ("delete",)


def test_book_of_the_first_layout_is_brought_forward(path: Path, tmp_path: Path) -> None:
    raw = sqlite3.connect(path)
    raw.executescript(OLD.read_text(encoding="utf-8"))
    assert "over" not in {row[1] for row in raw.execute("PRAGMA table_info(trial)")}
    raw.close()
    with DyeBook(path, create=False) as book:
        (trial,) = book.trials("sage")
        assert trial.trial.bath is Bath.FIRST
        assert trial.trial.recipe == {"gold": 1.5, "navy": 0.1}
        assert trial.trial.date == date(2026, 5, 4)
        assert trial.note == "a little pale"
        assert len(book.swatches().readings) == 2
        assert book.stocks()[0].left_ml == 250.0
        fill(book)
        assert len(book.trials()) == 3
    raw = sqlite3.connect(path)
    assert raw.execute("PRAGMA user_version").fetchone() == (schema.LAYOUT,)
    new = tmp_path / "new.dyebook"
    DyeBook(new).close()
    shape = "SELECT type, name, sql FROM sqlite_master ORDER BY name"
    assert raw.execute(shape).fetchall() == sqlite3.connect(new).execute(shape).fetchall()
    raw.close()


def test_tables_of_the_first_layout_are_taken_in(path: Path, tmp_path: Path) -> None:
    raw = sqlite3.connect(path)
    raw.executescript(OLD.read_text(encoding="utf-8"))
    raw.close()
    new = tmp_path / "new"
    with DyeBook(path):
        pass
    export_csv(path, new)
    # What the first version wrote: its columns, its tables, its number.
    (new / "about.csv").write_text("key,value\nformat,dyemix dye book\nlayout,1\n")
    (new / "sign_off.csv").unlink()
    lines = (new / "trial.csv").read_text().splitlines()
    lines = [line.removesuffix(",bath,over").removesuffix(",first bath,") for line in lines]
    (new / "trial.csv").write_text("\n".join(lines) + "\n")
    fits = (new / "fit.csv").read_text().splitlines()
    fits = [line.removesuffix(",learnt").removesuffix(",0") for line in fits]
    (new / "fit.csv").write_text("\n".join(fits) + "\n")
    import_csv(new, tmp_path / "b.dyebook")
    assert all_rows(tmp_path / "b.dyebook") == all_rows(path)


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
    with pytest.raises(SavedError, match="damaged, or no dye book"):
        DyeBook(path)
    assert path.read_text().startswith("swatch")
    with pytest.raises(SavedError, match="not a file"):
        DyeBook(path.parent)
    with pytest.raises(SavedError, match="cannot be opened"):
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
    heard: list[str] = []
    with DyeBook(path, say=heard.append) as book:
        assert same(before, everything(book))
        assert "was undone" in book.notes[0]
        assert heard == list(book.notes)
        assert book.notes[0] in str(book.contents()).replace("\n  ", " ")
    assert not journal.exists()


# Several at once, full disks ---------------------------------------------------------------------


def test_locked_book_waits_speaks_and_gives_up(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connection, "_WAIT", 0.05)
    heard: list[str] = []
    with DyeBook(path, say=heard.append) as book:
        other = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        other.execute("BEGIN IMMEDIATE")
        assert book.jobs() == ()  # who only reads is not kept out
        with pytest.raises(SavedError, match="another command has been writing"):
            book.add_cloth(Cloth("linen"))
        assert "waiting" in heard[0]
        later = threading.Timer(0.1, lambda: other.execute("ROLLBACK"))
        later.start()
        book.add_cloth(Cloth("linen"))
        later.join()
        other.close()
        assert [cloth.name for cloth in book.cloths()] == ["linen"]


def test_opening_beside_a_writer_is_no_alarm(path: Path) -> None:
    with DyeBook(path) as book:
        fill(book)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    other.execute("INSERT INTO job (name) VALUES ('theirs')")
    assert path.with_name(path.name + "-journal").exists()
    with DyeBook(path) as book:
        assert book.notes == ()
        assert "theirs" not in book.jobs()
        other.execute("COMMIT")
        assert "theirs" in book.jobs()
    other.close()


def test_full_book_writes_all_or_nothing(book: DyeBook) -> None:
    fill(book)
    before = everything(book)
    pages = book._file.db.execute("PRAGMA page_count").fetchone()[0]
    book._file.db.execute(f"PRAGMA max_page_count = {pages + 1}")
    many = SwatchSet(tuple(reading(swatch=str(i)) for i in range(200)))
    with pytest.raises(SavedError, match="disk is full: nothing of this was written"):
        book.add_swatches(many, "many")
    assert same(before, everything(book))
    book._file.db.execute("PRAGMA max_page_count = 100000")
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
    assert done.returncode == 2, done.stderr
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
        with pytest.raises(SavedError, match=r"cannot be opened|unable"):
            book.backup(tmp_path / "no" / "copy.dyebook")
    with DyeBook(tmp_path / "copy.dyebook", create=False) as copy:
        assert same(before, everything(copy))
    assert sorted(p.name for p in tmp_path.iterdir()) == ["copy.dyebook", "workshop.dyebook"]


def test_a_disk_without_hard_links(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_links(*_: Any) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(os, "link", no_links)
    with DyeBook(path) as book:
        fill(book)
        book.backup(path.with_name("copy"))
    assert all_rows(path.with_name("copy")) == all_rows(path)
    assert len(list(path.parent.iterdir())) == 2


# CSV that cannot be taken in ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "old", "new", "says"),
    [
        ("stock.csv", "2.0,2026", "two,2026", "stock.csv, row 2: strength_pct is 'two'"),
        ("stock.csv", "2.0,2026", "nan,2026", "stock.csv, row 2: strength_pct is 'nan'"),
        ("stock.csv", "2.0,2026", "-1,2026", "stock.csv, row 2: CHECK"),
        ("reading.csv", "spectrum,", "spectrum,0.5", "reading.csv, row 2"),
        ("trial.csv", "id,job", "id,jab", "trial.csv, row 1: its headings are not"),
        ("trial.csv", "1,1,2026", "1,77,2026", "trial.csv, row 2: FOREIGN KEY"),
        ("job.csv", "2,ink", "2,ink,more", "job.csv, row 3: 3 cells under 2 headings"),
        ("sheet.csv", "sheet-1.json", "../secret.json", "is not the name of a file"),
        ("sheet.csv", "sheet-1.json", "sheet-9.json", "sheet-9.json cannot be read"),
        ("sheet-1.json", '"doses"', '"dozes"', "dozes"),
        ("swatch.csv", "gold 2", "gold lots", "gold lots"),
        ("trial.csv", "first bath", "third bath", "third bath"),
        ("about.csv", "layout,2", "layout,3", "newer dyemix"),
        ("about.csv", "dyemix", "other", "no book"),
        ("cloth.csv", None, None, "cloth.csv: cannot be read"),
    ],
)
def test_faults_of_tables_are_told_and_no_book_is_made(
    path: Path, tmp_path: Path, table: str, old: str | None, new: str | None, says: str
) -> None:
    with DyeBook(path) as book:
        fill(book)
    export_csv(path, tmp_path / "out")
    (tmp_path / "secret.json").write_text(sheet().to_json(), encoding="utf-8")  # out of bounds
    file = tmp_path / "out" / table
    if old is None or new is None:
        file.unlink()
    else:
        text = file.read_text(encoding="utf-8")
        assert old in text
        file.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(DyemixError) as told:
        import_csv(tmp_path / "out", tmp_path / "b.dyebook")
    assert says in str(told.value)
    names = sorted(p.name for p in tmp_path.iterdir())
    assert names == ["out", "secret.json", "workshop.dyebook"]
    with pytest.raises(SavedError, match="is there already"):
        import_csv(tmp_path / "out", path)
    with pytest.raises(SavedError, match="not empty"):
        export_csv(path, tmp_path / "out")


# Demo, fits, past work ---------------------------------------------------------------------------


def test_invented_dyes_stay_marked_and_apart(path: Path, book: DyeBook) -> None:
    demo = read_swatches(DEMO)
    book.add_swatches(demo)
    assert book.demo
    assert book.swatches().demo
    assert str(book.contents()).startswith(DEMO_WARNING)
    with pytest.raises(InputError, match="keep your own work in another"):
        book.add_sheets(sheet())
    with pytest.raises(InputError, match="keep your own work in another"):
        book.add_swatches(SwatchSet((reading(),)), "mine")
    book.add_trial(Trial(Recipe({"gold": 1.0}), reading()), "sage")
    assert str(book.job("sage")).startswith(DEMO_WARNING)
    assert str(near(book, Target.parse("#7d8a6e"))).startswith(DEMO_WARNING)
    with pytest.raises(DyemixError, match="invented"):
        repeat(book, "sage", 100)
    assert str(repeat(book, "sage", 100, allow_demo=True)).startswith(DEMO_WARNING)
    export_csv(path, path.parent / "out")
    import_csv(path.parent / "out", path.parent / "b.dyebook")
    with DyeBook(path.parent / "b.dyebook") as again:
        assert again.demo


def test_own_book_refuses_invented_dyes(book: DyeBook) -> None:
    fill(book)
    with pytest.raises(InputError, match="keep the demo's invented ones in another"):
        book.add_swatches(read_swatches(DEMO))
    assert not book.demo
    assert len(book.sets()) == 1


def test_kept_fit_stands_until_the_swatches_change(
    book: DyeBook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    book.add_swatches(read_swatches(DEMO))
    assert book.kept_fit() is None
    dyes = book.dyes()
    assert dyes.demo
    book.keep_fit(dyes.take(("marigold", "navy")), "two dyes will do")
    assert book.dyes().names == ("marigold", "navy")
    book.add_swatches(SwatchSet((reading("marigold 1", swatch="new"),), demo=True), "later")
    assert book.kept_fit() is None
    assert set(book.dyes().names) == set(dyes.names)


def test_same_name_in_two_sets_is_two_pieces(book: DyeBook) -> None:
    book.add_swatches(SwatchSet((reading(swatch="1", level=0.3),)), "may")
    book.add_swatches(SwatchSet((reading(swatch="1", level=0.5), reading("undyed"))), "june")
    assert len(book.swatches().swatches) == 3
    assert [r.swatch for r in book.swatches().readings] == ["may 1", "june 1", ""]
    assert [r.swatch for r in book.swatches(["june"]).readings] == ["1", ""]
    with pytest.raises(InputError, match=r"called july .it has may, june"):
        book.swatches(["july"])
    with pytest.raises(InputError, match="name these anew"):
        book.add_swatches(SwatchSet((reading(),)), "may")


def test_repeat_at_another_weight(book: DyeBook) -> None:
    first = sheet(liquor_ratio=25, alkali="with", salt_g_l=33, hours=30, temperature_c=26)
    book.add_sheets(first)
    again = repeat(book, "sage", 600, on=date(2026, 6, 1))
    # stock mL = cloth g × % owf ÷ stock % (common practice): 2.5 times the cloth, 2.5 times each.
    assert [d.dye for d in again.doses] == [d.dye for d in first.doses]
    for then, now in zip(first.doses, again.doses, strict=True):
        assert now.exact_ml == pytest.approx(2.5 * then.exact_ml)
        assert now.stock.made is None  # that bottle is another by now
    for name in ("total_ml", "cloth_holds_ml"):
        assert getattr(again, name) == pytest.approx(2.5 * getattr(first, name))
    assert (again.salt.g, again.soda.g) == pytest.approx((2.5 * first.salt.g, 2.5 * first.soda.g))
    assert (again.liquor_ratio, again.soda.order) == (25, "with")
    assert (again.hours, again.temperature_c) == (30, 26)
    assert not any("settings have changed" in warning for warning in again.warnings)
    assert again.on == date(2026, 6, 1)
    book.add_stocks(Stock("gold", 4, DAY), Stock("navy", 2, DAY))
    assert {d.stock.strength_pct for d in repeat(book, "sage", 600).doses} == {4, 2}
    assert repeat(book, "sage", 600, stocks=5).doses[0].stock.strength_pct == 5


def test_repeat_tells_of_settings_that_changed(book: DyeBook) -> None:
    book.add_sheets(sheet(liquor_ratio=5))
    again = repeat(book, "sage", 600, settings=BathSettings(soda_solution=30))
    assert any("settings have changed" in warning for warning in again.warnings)


def test_repeat_of_what_cannot_be(book: DyeBook) -> None:
    fill(book)
    with pytest.raises(InputError, match=r"no job is called 'rust'.*has sage, ink"):
        repeat(book, "rust", 100)
    book.sign_off("alone", reading())
    with pytest.raises(InputError, match=r"nothing|no sheet, recipe or trial"):
        repeat(book, "alone", 100)
    assert repeat(book, "navy 0.10", 100, stocks=1).recipe == {"navy": 0.1}


def test_near_agrees_with_a_slow_twin(book: DyeBook) -> None:
    rng = np.random.default_rng(5)
    pieces = [
        Reading(Recipe({"gold": float(i + 1)}), rng.uniform(0.1, 0.8) * np.linspace(0.4, 1, 31),
                str(i))
        for i in range(12)
    ]  # fmt: skip
    book.add_swatches(SwatchSet(tuple(pieces)), "set")
    book.add_trial(Trial(Recipe({"navy": 0.5}), reading("navy 0.5", 0.5)), "ink")
    book.sign_off("std", reading("gold 0.1", 0.6))
    target = Target.parse("60 5 20 D50/2")
    found = near(book, target, 20)
    light = Light("D50", 2)
    twin = {
        str(r.recipe): float(delta_e(target.lab, lab(r.reflectance, light)))
        for r in [*pieces, reading("navy 0.5", 0.5), reading("gold 0.1", 0.6)]
    }
    assert {p.recipe: p.delta_e for p in found.pieces} == pytest.approx(twin)
    misses = [p.delta_e for p in found.pieces]
    assert misses == sorted(misses)
    assert found.searched == 14
    assert {p.kind for p in found.pieces} == {"swatch", "trial", "standard"}
    assert [p.recipe for p in near(book, target, 3).pieces] == [p.recipe for p in found.pieces[:3]]


def test_near_takes_a_colour_as_it_was_read(book: DyeBook) -> None:
    # A reading in CIELAB holds a made-up spectrum: under its own light the numbers read count.
    values = np.array([55.0, 12.0, 30.0])
    rough = Reading(Recipe({"gold": 1.0}), spectrum(0.9), "1", "Lab", values, Light("D50", 2))
    book.add_swatches(SwatchSet((rough,)), "set")
    (piece,) = near(book, Target(values, Light("D50", 2))).pieces
    assert piece.delta_e == 0
    with pytest.raises(DyemixError, match="1 or more"):
        near(book, Target(values, None), 0)


def test_near_in_an_empty_book(book: DyeBook) -> None:
    assert "no piece of this book has been read" in str(near(book, Target.parse("#7d8a6e")))


def test_standard_is_the_signed_swatch_and_stays(book: DyeBook) -> None:
    signed = reading("gold 0.7", 0.31)
    book.sign_off("café", signed, "sage", 2.0, on=DAY)
    assert same(book.standard("café").reflectance, signed.reflectance)
    with pytest.raises(InputError, match="stays as signed"):
        book.sign_off("café", reading())
    with pytest.raises(InputError, match=r"no standard is called 'bar'.*has café"):
        book.standard("bar")
    with pytest.raises(DyemixError, match="out of range"):
        book.sign_off("bar", signed, tolerance=0)
    with pytest.raises(DyemixError, match="not been read"):
        book.sign_off("bar", Reading(Recipe({"gold": 1.0}), None, kind="blank"))


# Through the command -----------------------------------------------------------------------------

Run = Callable[..., "subprocess.CompletedProcess[str]"]


@pytest.fixture(name="run")
def run_to(run: Command) -> Run:
    """Run ``dyemix …`` and hold it to an exit code."""

    def call(*words: str, code: int = 0) -> subprocess.CompletedProcess[str]:
        done = run(*words)
        assert done.returncode == code, done.stderr
        assert "Traceback" not in done.stderr
        return done

    return call


def test_a_season_with_the_command(run: Run, tmp_path: Path) -> None:
    work = tmp_path / "work"
    work.mkdir()
    table = DEMO.read_text(encoding="utf-8").replace("# demo: yes\n", "")
    (tmp_path / "mine.csv").write_text(table, encoding="utf-8")
    (tmp_path / "bottles.csv").write_text("dye,stock_pct,made\nmarigold,2,2026-05-03\n")
    run("book", "add", "../mine.csv", "--book", "w.dyebook")
    run("book", "stocks", "../bottles.csv")
    run("stock", "navy", "--strength", "2", "--make", "500ml", "--book", "w.dyebook")
    run("book", "cloth", "café napkin", "--fibre", "linen")
    run("book", "dye", "navy", "--lot", "N3", "--on", "2026-04-01")
    run("fit", "--book", "w.dyebook")
    plain = run("match", "#7d8a6e", "--swatches", "../mine.csv", "--json")
    kept = run("match", "#7d8a6e", "--book", "w.dyebook", "--json")
    recipes = [[m["prediction"]["recipe"] for m in json.loads(d.stdout)["matches"]]
               for d in (plain, kept)]  # fmt: skip
    assert recipes[0] == recipes[1]
    done = run("bath", "marigold 0.8 + navy 0.25", "--cloth", "240g", "--job", "sage",
               "--book", "w.dyebook")  # fmt: skip
    assert "96 mL" in done.stdout  # 240 × 0.8 / 2, of the book's own bottle
    assert "Kept in w.dyebook: sage" in done.stderr
    again = run("book", "repeat", "sage", "--cloth", "500g", "--json", "--keep")
    assert json.loads(again.stdout)["cloth_g"] == 500
    run("book", "recipe", "marigold 0.8", "--job", "sage", "--target", "#7d8a6e", "--note", "pale")
    signed = run("book", "sign", "café", "../mine.csv", "--recipe", "leaf 4", "--job", "sage")
    assert "Standard café" in signed.stderr
    assert "N052" in run("book", "near", "#00b161", "--count", "2").stdout
    assert "signed off as café" in run("book", "show", "sage").stdout
    listed = json.loads(run("book", "list", "--json").stdout)
    assert (listed["sheets"], listed["standards"]) == (2, ["café"])
    # The signed swatch is what is matched: the very recipe that it was dyed by comes out on top.
    best = json.loads(run("match", "café", "--book", "w.dyebook", "--json").stdout)["matches"][0]
    assert best["prediction"]["recipe"].get("leaf") == pytest.approx(4, rel=0.2)
    sage = ("trial", "marigold 0.8 + navy 0.25", "--target", "café", "--book", "w.dyebook")
    for reading, day in (("56 -10 13", "01"), ("57 -9 14", "02"), ("56 -8 12", "03")):
        done = run(*sage, "--reading", reading, "--job", "sage", "--date", f"2026-06-{day}")
        assert "Kept in w.dyebook" in done.stderr
    assert "2026-06-02" in run("book", "show", "sage").stdout
    learnt = run("learn", "--book", "w.dyebook", "--keep")
    assert "earnt" in learnt.stdout
    before = run("predict", "marigold 0.8 + navy 0.25", "--swatches", "../mine.csv").stdout
    moved = run("predict", "marigold 0.8 + navy 0.25", "--book", "w.dyebook").stdout
    assert (before != moved) == learnt.stdout.startswith("Learnt")
    again = run("learn", "--book", "w.dyebook")
    assert again.stdout == learnt.stdout, "trials must not be learnt from twice"
    run("book", "backup", "copy.bak")
    run("book", "export", "tables")
    run("book", "import", "tables", "--book", "again.dyebook")
    assert all_rows(work / "again.dyebook") == all_rows(work / "w.dyebook")
    assert all_rows(work / "copy.bak") == all_rows(work / "w.dyebook")
    assert "2 dye books in this folder" in run("book", "list", code=2).stderr


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("book", "list"), "no dye book in this folder"),
        (("book", "list", "--book", "no.dyebook"), "no such book"),
        (("match", "#7d8a6e", "--book", "no.dyebook"), "no such book"),
        (("match", "#7d8a6e", "--book", "w.dyebook", "--swatches", "x.csv"), "not both"),
        (("match", "#7d8a6e", "--book", "w.dyebook"), "holds no swatches"),
        (("book", "show", "sage", "--book", "w.dyebook"), "no job is called 'sage'"),
        (("book", "near", "sage", "--book", "w.dyebook"), "hex"),
        (("book", "import", "nowhere"), "--book"),
        (("book", "import", "nowhere", "--book", "x.dyebook"), "no book"),
        (("book", "add", "nowhere.csv", "--book", "w.dyebook"), "no such file"),
        (("book", "dye", "navy", "--on", "May", "--book", "w.dyebook"), "May"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_2(
    run: Run, tmp_path: Path, words: tuple[str, ...], says: str
) -> None:
    (tmp_path / "work").mkdir()
    if "w.dyebook" in words:
        DyeBook(tmp_path / "work" / "w.dyebook").close()
    done = run(*words, code=2)
    assert says in done.stderr
    assert done.stdout == ""


def test_every_command_on_swatches_takes_a_book() -> None:
    for name, command in dyemix.commands.items():
        options = {option for parameter in command.params for option in parameter.opts}
        assert "--swatches" not in options or "--book" in options, name


def test_every_command_of_the_book_is_described() -> None:
    readme = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
    group = dyemix.commands["book"]
    assert isinstance(group, click.Group)
    for name, command in group.commands.items():
        assert f"dyemix book {name}" in readme, name
        assert command.help, name


def test_the_book_of_a_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no dye book"):
        find_book(None, tmp_path)
    (tmp_path / "a.dyebook").touch()
    assert find_book(None, tmp_path) == tmp_path / "a.dyebook"
    (tmp_path / "b.dyebook").touch()
    with pytest.raises(InputError, match=r"a.dyebook, b.dyebook"):
        find_book(None, tmp_path)
    assert find_book(tmp_path / "b.dyebook", tmp_path) == tmp_path / "b.dyebook"
