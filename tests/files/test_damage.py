"""A damaged file is read, or refused in words; nothing else comes of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from damage import damaged, read_or_refused
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from samples import SOUND, archive, unpacked, workbook

from benchmarks import hostile

pytestmark = pytest.mark.filterwarnings("error", "ignore:.*related API features.*")
seeds = st.integers(0, 2**32)


def many(examples: int) -> settings:
    return settings(
        max_examples=examples, deadline=None, derandomize=True,
        suppress_health_check=[HealthCheck.function_scoped_fixture],
    )  # fmt: skip


@pytest.mark.parametrize("kind", SOUND)
def test_the_files_to_be_damaged_are_sound(tmp_path: Path, kind: str) -> None:
    assert read_or_refused(tmp_path / "sound", SOUND[kind])


@pytest.mark.parametrize("kind", SOUND)
@many(100)
@given(seeds, st.integers(1, 6))
def test_any_file(tmp_path: Path, kind: str, seed: int, cuts: int) -> None:
    read_or_refused(tmp_path / "damaged", damaged(SOUND[kind], seed, cuts))


@many(80)
@given(seeds, st.integers(1, 3))
def test_a_part_in_a_sound_archive(tmp_path: Path, seed: int, cuts: int) -> None:
    parts = unpacked(SOUND["workbook"])
    name = sorted(parts)[seed % len(parts)]
    parts[name] = damaged(parts[name], seed, cuts)
    read_or_refused(tmp_path / "damaged.xlsx", archive(parts))


cells = st.one_of(
    st.none(), st.booleans(), st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from(["recipe", "undyed", "gold 1", "=1/0", "400", "L*", "#x: y", "", '"', "50 %"]),
)  # fmt: skip


@many(60)
@given(st.lists(st.lists(cells, max_size=5), max_size=6))
def test_any_cells(tmp_path: Path, rows: list[list[object]]) -> None:
    read_or_refused(tmp_path / "any.xlsx", workbook(rows))


WORDS = [*SOUND["ISO 28178, CIELAB"].decode().split(), "\n", '"', "NM_400", "SPECTRAL_NM", "1e9"]


@many(100)
@given(st.lists(st.sampled_from(WORDS)))
def test_any_words_in_any_order(tmp_path: Path, words: list[str]) -> None:
    read_or_refused(tmp_path / "words.txt", ("CGATS.17\n" + " ".join(words)).encode())


TEXTS = ["", "nan", "-1", "1e400", "0", "400", "x", "2_Degree", "10", "1 2 3", "D65", "é"]
VALUES = ["380", '"10"', "70.5", "D50", "2_Degree", "gold 2", "Recipe", "45.0", "0.1", "spec"]


@many(100)
@given(st.lists(st.tuples(st.sampled_from(VALUES), st.sampled_from(TEXTS)), min_size=1, max_size=4))
def test_any_text_in_any_element(tmp_path: Path, changes: list[tuple[str, str]]) -> None:
    out = SOUND["CxF3"].decode()
    for old, new in changes:
        out = out.replace(old, f'"{new}"' if old.startswith('"') else new)
    read_or_refused(tmp_path / "odd.cxf", out.encode())


@pytest.fixture(scope="module")
def readers() -> dict[str, tuple[bytes, Callable[[Path], object]]]:
    return hostile.readers()


STORES = [
    "names", "targets", "jobs", "stocks", "pieces", "photograph", "settings",
    "saved set, kept fit", "book",
]  # fmt: skip


@pytest.mark.parametrize("kind", STORES)
def test_any_table_or_store(readers: Any, kind: str) -> None:
    """As many as are quick; the benchmark of this name takes 100,000."""
    line = hostile.attack(kind, *readers[kind], 150)
    assert "150 files" in line


def test_no_kind_of_file_is_left_out(readers: Any) -> None:
    assert {*readers} == {*SOUND, *STORES}
