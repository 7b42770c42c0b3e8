"""The swatches at hand are found and fitted once; a kept fit that is lost costs time only."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import FitError, InputError
from dyemix.model.dyes import DyeSet
from dyemix.model.saved import saved_text
from dyemix.shelf import DEMO_TABLE, demo_file, find_shelf, fitted, kept_fit

TABLE = demo_file(DEMO_TABLE)


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of kept fits."""
    monkeypatch.setattr(
        "platformdirs.user_cache_path", lambda *_, **__: tmp_path / "cache" / "dyemix"
    )
    return tmp_path / "cache" / "dyemix"


def once_made(dyes: DyeSet) -> tuple[Callable[[], DyeSet], list[str]]:
    made: list[str] = []

    def make() -> DyeSet:
        made.append("made")
        return dyes

    return make, made


def test_a_fit_is_made_once_for_each_key(kept: Path, dyes: DyeSet) -> None:
    make, made = once_made(dyes)
    first, again = kept_fit("key", make), kept_fit("key", make)
    assert len(made) == 1
    assert saved_text(again) == saved_text(first)
    kept_fit("other key", make)
    assert len(made) == 2
    assert len(list(kept.iterdir())) == 2


@pytest.mark.parametrize(
    "damage",
    [
        lambda file: file.write_bytes(b""),
        lambda file: file.write_bytes(file.read_bytes()[:-200]),
        lambda file: file.write_bytes(b"\xff\xfe\0not text"),
        lambda file: file.write_text('{"format": "dyemix dye set", "version": 1}'),
        lambda file: file.write_text("[" * 100_000),
        lambda file: file.write_text(
            file.read_text("utf-8").replace('"curves"', '"curve"'), "utf-8"
        ),
        lambda file: file.write_text(
            file.read_text("utf-8").replace("0.", "1e999, 0.", 1), "utf-8"
        ),
        lambda file: (file.unlink(), file.mkdir()),
        lambda file: (file.unlink(), file.symlink_to("nowhere")),
        lambda file: (shutil.rmtree(file.parent), file.parent.write_text("a file")),
    ],
)
def test_a_damaged_one_is_made_again(
    kept: Path, dyes: DyeSet, damage: Callable[[Path], object]
) -> None:
    make, made = once_made(dyes)
    whole = saved_text(kept_fit("key", make))
    (file,) = kept.iterdir()
    damage(file)
    assert saved_text(kept_fit("key", make)) == whole
    assert len(made) == 2


def test_a_cache_that_cannot_be_written_stops_nothing(
    monkeypatch: pytest.MonkeyPatch, dyes: DyeSet
) -> None:
    monkeypatch.setattr("platformdirs.user_cache_path", lambda *_, **__: Path("/proc/nowhere"))
    make, made = once_made(dyes)
    assert kept_fit("key", make) is dyes
    assert len(made) == 1


def test_a_fit_is_made_anew_when_what_it_is_made_of_changes(
    kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, dyes: DyeSet
) -> None:
    made: list[SwatchSet] = []

    def fit(swatches: SwatchSet, _: SwatchSet | None) -> DyeSet:
        made.append(swatches)
        return dyes

    monkeypatch.setattr("dyemix.fitting.fit.fit", fit)
    table, check = tmp_path / "table.csv", tmp_path / "check.csv"
    for path in (table, check):
        shutil.copy(TABLE, path)
    for _ in range(2):
        fitted(table)
    assert len(made) == 1
    fitted(table, check)
    fitted(table, left_out=[made[0].swatches[-1].label])
    assert len(made) == 3
    check.write_text(check.read_text("utf-8") + "\n", "utf-8")
    fitted(table, check)
    table.write_text(table.read_text("utf-8") + "\n", "utf-8")
    fitted(table)
    assert len(made) == 5


def test_what_cannot_be_fitted_is_told_each_time(kept: Path, tmp_path: Path) -> None:
    for _ in range(2):
        with pytest.raises(FitError):
            fitted(TABLE, left_out=["no such swatch"])
        with pytest.raises(InputError, match="no such file"):
            fitted(tmp_path / "none.csv")
    assert not kept.exists()


HEAD = "recipe,hex\n"


@pytest.mark.parametrize(
    ("tables", "found"),
    [
        ({"a.csv": HEAD + "undyed,#eeeeee\n"}, "a.csv"),
        ({"a.csv": HEAD + "undyed,#eeeeee\n", "piece.csv": HEAD + "gold 1,#bbaa33\n"}, "a.csv"),
        ({"a.tsv": "# cloth: linen\n\nRecipe\tL*\ta*\tb*\nUndyed\t90\t0\t3\n"}, "a.tsv"),
        ({"names.csv": "sample,recipe\na,undyed\n", "a.txt": HEAD + "gold 1,#bbaa33\n"}, "a.txt"),
        ({"a.csv": "job,colour\n1,#7d8a6e\n", "b.md": HEAD}, DEMO_TABLE),
        ({}, DEMO_TABLE),
    ],
)
def test_the_one_table_of_a_folder(tmp_path: Path, tables: dict[str, str], found: str) -> None:
    for name, text in tables.items():
        (tmp_path / name).write_text(text, "utf-8")
    (tmp_path / "folder.csv").mkdir()
    (tmp_path / "picture.csv").write_bytes(os.urandom(100))
    at_hand = find_shelf(folder=tmp_path)
    assert at_hand.table.name == found
    assert (at_hand.check is None) == (found != DEMO_TABLE)
    assert found in at_hand.note or "demo" in at_hand.note
    assert find_shelf(check=TABLE, folder=tmp_path).check == TABLE


def test_two_tables_are_not_guessed_between(tmp_path: Path) -> None:
    for name in ("a.csv", "b.csv"):
        (tmp_path / name).write_text(HEAD + "undyed,#eeeeee\n", "utf-8")
    with pytest.raises(InputError, match=r"2 swatch tables .*a.csv or --swatches b.csv"):
        find_shelf(folder=tmp_path)
    assert find_shelf(tmp_path / "b.csv", folder=tmp_path).table.name == "b.csv"


def test_a_photograph_is_no_table_and_the_command_that_reads_it_is_told(tmp_path: Path) -> None:
    photo = tmp_path / "my shelf.jpg"
    photo.write_bytes(b"\xff\xd8\xff")
    command = rf"dyemix read '{photo}' --names cells\.csv --grey 0\.18 -o read\.csv"
    with pytest.raises(InputError, match=command):
        find_shelf(photo)
