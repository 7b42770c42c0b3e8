"""The dye book through the command."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from command import Command

from dyemix.dyebook.book import DyeBook
from dyemix.dyebook.connection import find_book
from dyemix.errors import InputError
from tests.dyebook.filled import DEMO, all_rows

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


@pytest.mark.slow
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
    run("book", "dye", "navy", "--lot", "N3", "--date", "2026-04-01")
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
    done = run(
        "trial", "marigold 0.8 + navy 0.25", "--target", "café", "--book", "w.dyebook",
        "--reading", "56 -10 13", "--job", "sage", "--date", "2026-06-02",
    )  # fmt: skip
    assert "Kept in w.dyebook" in done.stderr
    assert "2026-06-02" in run("book", "show", "sage").stdout
    run("bath", "rose 0.1", "--cloth", "240g", "--over", "56 -10 13", "--job", "sage")
    again = json.loads(run("book", "repeat", "sage", "--cloth", "240g", "--json").stdout)
    assert not again["second_bath"], "a second bath alone never goes on white cloth"
    assert "marigold" in again["recipe"]
    run("book", "backup", "copy.bak")
    run("book", "export", "tables")
    assert (work / "tables" / "sign_off.csv").exists()
    run("book", "backup", "again.dyebook")
    assert all_rows(work / "copy.bak") == all_rows(work / "w.dyebook")
    run("book", "list")  # a backup beside it is not taken for the book


@pytest.mark.slow
def test_trials_are_learnt_from_with_the_command(run: Run, tmp_path: Path) -> None:
    work = tmp_path / "work"
    work.mkdir()
    table = DEMO.read_text(encoding="utf-8").replace("# demo: yes\n", "")
    (tmp_path / "mine.csv").write_text(table, encoding="utf-8")
    run("book", "add", "../mine.csv", "--book", "w.dyebook")
    sage = ("trial", "marigold 0.8 + navy 0.25", "--target", "#7d8a6e", "--book", "w.dyebook")
    for reading, day in (("56 -10 13", "01"), ("57 -9 14", "02"), ("56 -8 12", "03")):
        run(*sage, "--reading", reading, "--job", "sage", "--date", f"2026-06-{day}")
    learnt = run("book", "learn", "--book", "w.dyebook", "--keep")
    assert "Trials left out in turn (3)" in learnt.stdout
    before = run("predict", "marigold 0.8 + navy 0.25", "--swatches", "../mine.csv").stdout
    moved = run("predict", "marigold 0.8 + navy 0.25", "--book", "w.dyebook").stdout
    assert before != moved, "every trial of the book moves the dyes"
    again = run("book", "learn", "--book", "w.dyebook")
    assert again.stdout == learnt.stdout, "trials must not be learnt from twice"


def test_what_would_rewrite_a_screen_is_not_kept(run: Run, tmp_path: Path) -> None:
    """Escape codes, C1 and marks that turn the direction of writing, in a name or a note."""
    DyeBook(tmp_path / "w.dyebook").close()
    book = ("--book", str(tmp_path / "w.dyebook"))
    for note in ("n\x1b[31m", "seco\x9bnd\x7f"):
        run("book", "cloth", "a\x1b[2Jb\u202ec", "--note", note, *book)
    with DyeBook(tmp_path / "w.dyebook") as opened:
        assert [(cloth.name, cloth.note) for cloth in opened.cloths()] == [("a[2Jbc", "second")]


def test_no_answer_is_written_over_a_book(run: Run, tmp_path: Path) -> None:
    work = tmp_path / "work"
    run("book", "add", str(DEMO), "--book", "w.dyebook")
    (work / "copy").write_bytes((work / "w.dyebook").read_bytes())
    before = (work / "w.dyebook").read_bytes()
    for file in ("w.dyebook", "copy"):  # by its name, and by what is in it
        for force in ((), ("--force",)):
            refused = run("fit", "--book", "w.dyebook", "-o", file, *force, code=2)
            assert file in refused.stderr
    assert (work / "w.dyebook").read_bytes() == (work / "copy").read_bytes() == before


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
        (("book", "add", "nowhere.csv", "--book", "w.dyebook"), "no such file"),
        (("book", "dye", "navy", "--date", "May", "--book", "w.dyebook"), "May"),
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


def test_the_book_of_a_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no dye book"):
        find_book(None, tmp_path)
    (tmp_path / "a.dyebook").touch()
    assert find_book(None, tmp_path) == tmp_path / "a.dyebook"
    (tmp_path / "b.dyebook").touch()
    with pytest.raises(InputError, match=r"a.dyebook or --book .*b.dyebook"):
        find_book(None, tmp_path)
    assert find_book(tmp_path / "b.dyebook", tmp_path) == tmp_path / "b.dyebook"
