"""The table of settings: one commented file, read, checked and frozen."""

from __future__ import annotations

import re
from dataclasses import FrozenInstanceError, replace
from pathlib import Path

import pytest

from dyemix.bench.bath_sheet import bath_sheet
from dyemix.bench.settings import ORDERS, BathSettings, defaults_text
from dyemix.dataset.recipe import SPOON_SETS
from dyemix.errors import InputError, data

#: Words that say where a figure comes from.
SOURCES = ("common practice", "working value", "yours", "iupac")


def test_every_figure_of_the_file_has_its_source_above_it() -> None:
    seen, above, fresh = [], "", True
    for line in defaults_text().split("\n\n", 1)[1].splitlines():
        if figure := re.match(r"(?:# )?(\w+) = ", line):
            seen.append(figure[1])
            assert any(word in above.lower() for word in SOURCES), figure[1]
            fresh = True
        elif line.startswith("# "):
            above, fresh = (line if fresh else f"{above} {line[2:]}"), False
    assert sorted(seen) == sorted(BathSettings.__dataclass_fields__)


def test_words_that_a_figure_may_be_are_those_there_are() -> None:
    ranges = data("settings_ranges")
    assert (ranges["alkali"], ranges["spoons"]) == (list(ORDERS), list(SPOON_SETS))


def test_the_file_is_the_default_and_reads_back(tmp_path: Path) -> None:
    path = tmp_path / "bath.toml"
    path.write_text(defaults_text(), encoding="utf-8")
    assert BathSettings.load(path) == BathSettings()
    path.write_text(
        defaults_text()
        .replace("# salt_stock", "salt_stock")
        .replace("wet_pickup = 80.0", "wet_pickup = 65")
        .replace("  [0.1, 20.0, 5.0, 30.0],\n", ""),
        encoding="utf-8",
    )
    mine = BathSettings.load(path)
    assert (mine.salt_stock, mine.wet_pickup, mine.soda_stock) == (20, 65, None)
    assert mine.depths[0] == (0.5, 30.0, 5.5, 40.0)
    assert mine.hours == BathSettings().hours


def test_a_file_need_hold_only_what_differs(tmp_path: Path) -> None:
    path = tmp_path / "bath.toml"
    path.write_text('spoons = "us"\nslow_dyes = { "Bright  Blue" = 1.5 }\n', encoding="utf-8")
    mine = BathSettings.load(path)
    assert mine.spoons == "us"
    assert mine.slow_dyes == {"bright blue": 1.5}
    assert replace(mine, spoons="metric", slow_dyes={"turquoise": 2.0}) == BathSettings()


def test_settings_are_frozen() -> None:
    mine = BathSettings()
    with pytest.raises(FrozenInstanceError):
        mine.hours = 3.0  # type: ignore[misc]
    with pytest.raises(TypeError):
        mine.slow_dyes["gold"] = 2.0  # type: ignore[index]


@pytest.mark.parametrize(
    ("text", "column", "right"),
    [
        ("liquor_ratoi = 20", "liquor_ratoi", "did you mean liquor_ratio?"),
        ("zzz = 20", "zzz", "no setting has this name"),
        ('wet_pickup = "much"', "wet_pickup", "a number from 0 to 400 % of dry weight"),
        ("wet_pickup = nan", "wet_pickup", "a number from 0 to 400"),
        ("liquor_ratio = 0.5", "liquor_ratio", "1 to 200 mL per g"),
        ("crystals = true", "crystals", "a number from 1 to 4 g"),
        ('spoons = "dessert"', "spoons", "one of us, metric, australian, imperial"),
        ('alkali = "later"', "alkali", "one of presoak, with, after"),
        ('alkali = ["with"]', "alkali", "one of presoak"),
        ("currency = 3", "currency", "a text"),
        ("mixtures = [3]", "mixtures", "a text"),
        ('mixtures = "navy"', "mixtures", "a list"),
        ("first_depths = []", "first_depths", "a list"),
        ("soda_solution_usual = [3.0]", "soda_solution_usual", "the least and the most"),
        ("slow_dyes = 3", "slow_dyes", "{ turquoise = 2.0 }"),
        ("slow_dyes = { turquoise = -1.0 }", "slow_dyes", "0 to 100"),
        ("depths = 3", "depths", "a list, as [[0.1, 20.0"),
        ("depths = []", "depths", "a list, as [[0.1, 20.0"),
        ("depths = [1]", "depths", "a list, as [0.1, 20.0"),
        ("depths = [[2, 1]]", "depths", "[depth, salt, soda, solution]"),
        ("depths = [[2, 1, 1], [3, 1, 1, 1]]", "depths", "[depth, salt, soda, solution]"),
        ("depths = [[2, -1, 1]]", "depths", "a number from 0 to 400"),
        ("depths = [[2, 1, 1], [2, 1, 1]]", "depths", "whose depth rises"),
        ("low_water = 11", "low_water", "at most low_water_below, 10"),
    ],
)
def test_a_fault_names_file_key_and_what_would_be_right(
    tmp_path: Path, text: str, column: str, right: str
) -> None:
    path = tmp_path / "bath.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as error:
        BathSettings.load(path)
    (fault,) = error.value.faults
    assert (fault.file, fault.column) == ("bath.toml", column)
    assert right in fault.message


def test_every_fault_is_told_at_once(tmp_path: Path) -> None:
    path = tmp_path / "bath.toml"
    path.write_text('hours = 0\nspoon = "us"\nalkali = "later"\n', encoding="utf-8")
    with pytest.raises(InputError) as error:
        BathSettings.load(path)
    assert {fault.column for fault in error.value.faults} == {"hours", "spoon", "alkali"}


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"x = ", "TOML"),
        (b"hours = 1,5", "line 1, column 10.*a point and no unit, as 1.5"),
        (b"x = " + b"[" * 10_000, "TOML"),
        (b"\xff\xfe", "TOML"),
        (None, "no such file"),
    ],
)
def test_what_is_no_file_of_settings(tmp_path: Path, data: bytes | None, says: str) -> None:
    path = tmp_path / "bath.toml"
    if data is not None:
        path.write_bytes(data)
    with pytest.raises(InputError, match=says):
        BathSettings.load(path)


def test_rows_without_a_solution_have_one_for_all() -> None:
    """As sheets that were kept before there was a fourth column hold them."""
    assert BathSettings(depths=[[1, 40, 6.5]]).doses(3) == (40, 6.5, 45)
    assert BathSettings(depths=[[1, 40, 6.5]], soda_solution=50).doses(3) == (40, 6.5, 50)
    assert BathSettings(soda_solution=50).doses(1) == (40, 6.5, 50)
    assert BathSettings().doses(3) == pytest.approx((60, 9, 55))  # half way from 2 to 4 %


def test_settings_govern_the_sheet() -> None:
    plain = bath_sheet("gold 1", 100)
    mine = bath_sheet("gold 1", 100, settings=BathSettings(wet_pickup=60.0, liquor_ratio=30.0))
    assert (plain.cloth_holds_ml, mine.cloth_holds_ml) == (80, 60)
    assert (plain.total_ml, mine.total_ml) == (2000, 3000)
