"""Stock sheets and the table of settings."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dyemix.bench import ADDED_TO, Stock, StockSheet, bath_sheet, cautions, stock_sheet
from dyemix.bench.settings import BathSettings, DepthRow
from dyemix.errors import DyemixError, InputError, SavedError

MADE = date(2026, 5, 3)


def navy(**changes: Any) -> StockSheet:
    return stock_sheet("navy", **{"strength_pct": 2.0, "make_ml": 500.0, "made": MADE, **changes})


@given(st.floats(0.01, 20), st.floats(1, 20_000))
def test_grams_are_those_of_the_strength(strength: float, volume: float) -> None:
    """% w/v is g per 100 mL; the powder weighed is never nothing and its error is told."""
    sheet = stock_sheet("navy", strength, volume, made=MADE)
    assert sheet.powder_g == pytest.approx(strength / 100 * volume)
    assert sheet.weigh_g > 0
    assert sheet.weigh_g == pytest.approx(sheet.powder_g * (1 + sheet.weighing_error_pct / 100))
    if abs(sheet.weighing_error_pct) > 2:
        assert "too little for a scale" in sheet.warnings[0]
    assert StockSheet.from_json(sheet.to_json()) == sheet
    assert max(map(len, str(sheet).splitlines())) <= 100


def test_a_stock_too_small_to_weigh_gets_a_volume_that_is_not() -> None:
    sheet = stock_sheet("navy", 1, 25)
    volume = re.search(r"make (\d+) mL or more", sheet.warnings[0])
    assert volume is not None
    assert not stock_sheet("navy", 1, float(volume[1])).warnings


def test_made_up_to_is_not_added_to() -> None:
    """'5 g added to 100 mL' is about 3 % weaker (common practice)."""
    assert stock_sheet("navy", 5, 100).added_to_error_pct == pytest.approx(-3, abs=0.2)
    assert Stock("navy", 5, how=ADDED_TO).actual_pct(BathSettings()) == pytest.approx(
        4.85, abs=0.01
    )
    assert Stock("navy", 5).actual_pct(BathSettings()) == 5
    text = str(navy())
    assert "TO 500 mL in all" in text
    assert "not: add 500 mL" in text
    with pytest.raises(DyemixError, match="made up to"):
        Stock("navy", 5, how="poured")


def test_a_us_cup_is_not_250_ml(check_values: dict[str, Any]) -> None:
    """US cup from the gallon of 231 cubic inches, NIST Handbook 44; metric cup by convention."""
    cups = check_values["measures_ml"]
    assert navy().cup_error_pct == pytest.approx(100 * (cups["metric_cup"] / cups["us_cup"] - 1))
    assert navy().cup_error_pct == pytest.approx(5.7, abs=0.05)


def test_powder_spoons_are_a_property_of_the_dye() -> None:
    """Levelled teaspoons of five powders ran from 3.8 to 4.9 g (common practice)."""
    assert navy().powder_spoons is None
    for grams in (3.8, 4.9):
        spoons = navy(g_per_teaspoon=grams).powder_spoons
        assert spoons is not None
        assert spoons.ml / 5 * grams == pytest.approx(10 * (1 + spoons.error_pct / 100))
    kit = BathSettings(powder_per_teaspoon={"Navy": 4.1})
    sheet = navy(settings=kit)
    assert "of POWDER, levelled: 4.1 g per teaspoon" in " ".join(str(sheet).split())
    assert stock_sheet("gold", settings=kit).powder_spoons is None
    # A spoon of powder never comes onto a bath sheet.
    bath = bath_sheet("navy 1", 100, settings=kit)
    assert "4.1 g" not in str(bath)
    assert "LIQUID" in str(bath)


def test_label_says_what_it_must() -> None:
    sheet = navy(lot="A7")
    label = str(sheet).split("Label to cut out")[1].split("Cautions")[0]
    for words in (
        "navy 2 %",
        "NOT DRINK",
        "made 2026-05-03",
        "use by 2026-05-31",
        "lot A7",
        "cold",
    ):
        assert words in label
    warm = str(navy(cold=False)).split("Label to cut out")[1]
    assert "use by 2026-05-10" in warm
    assert "dashed" in sheet.to_html()


def test_how_to_make_and_keep_it() -> None:
    text = " ".join(str(navy()).split())
    for words in ("10 g of navy powder", "paste with a little lukewarm water",
                  "closed, labelled, cold", "away from children", "never where food",
                  "without alkali"):  # fmt: skip
        assert words in text


def test_cautions_on_text_and_page() -> None:
    page = re.sub(r"<[^>]+>", " ", navy().to_html()).replace("&#39;", "'").replace("\xa0", " ")
    for words in cautions.STOCK:
        assert words in " ".join(str(navy()).split())
        assert words in " ".join(page.split())
    assert not re.search(r"https?:|//|@import|url\(|src=|href=", navy().to_html())


def test_stock_out_of_range() -> None:
    for change in ({"strength_pct": 0}, {"strength_pct": 21}, {"make_ml": 0},
                   {"make_ml": float("nan")}, {"g_per_teaspoon": 0}):  # fmt: skip
        with pytest.raises(DyemixError, match="out of range"):
            navy(**change)
    with pytest.raises(DyemixError, match="not named"):
        stock_sheet(" ")
    with pytest.raises(SavedError):
        StockSheet.from_json(navy().to_json().replace('"cold": true', '"cold": 1'))


# Settings ---------------------------------------------------------------------------------------


def test_the_table_is_a_file_that_reads_back(tmp_path: Path) -> None:
    """What is printed is the file to edit: every setting, its unit and where it comes from."""
    path = tmp_path / "bath.toml"
    mine = BathSettings(
        wet_pickup=65.0,
        depths=(DepthRow(1.0, 20.0, 6.0), DepthRow(float("inf"), 50.0, 12.0)),
        slow_dyes={"turquoise": 2.0, 'blue "green"': 1.5},
        salt_cost=0.002,
        soda_stock=20.0,
        currency="€",
        spoons="us",
    )
    for table in (BathSettings(), mine):
        path.write_text(str(table), encoding="utf-8")
        assert BathSettings.load(path) == table
    lines = str(BathSettings()).splitlines()
    assert all("#" in line for line in lines if "=" in line and "up_to" not in line)
    assert sum("common practice" in line for line in lines) >= 15


def test_every_fault_of_the_settings_is_told(tmp_path: Path) -> None:
    path = tmp_path / "bath.toml"
    path.write_text(
        'liquor_ratoi = 20\nwet_pickup = "much"\nspoons = "dessert"\nalkali = "later"\n'
        "crystals = true\ndepths = [{ up_to = 2.0, salt = 1.0, soda = 1.0 }]\n"
        'slow_dyes = { "turquoise" = -1.0 }\n',
        encoding="utf-8",
    )
    with pytest.raises(InputError) as error:
        BathSettings.load(path)
    assert {fault.column for fault in error.value.faults} == {
        "liquor_ratoi", "wet_pickup", "spoons", "alkali", "crystals", "depths",
        "slow_dyes.turquoise",
    }  # fmt: skip
    assert "did you mean liquor_ratio?" in str(error.value)
    assert all(fault.file == "bath.toml" for fault in error.value.faults)
    for bad in ("x = ", "depths = [1]", "depths = 3", "slow_dyes = 3", "currency = 3"):
        path.write_text(bad, encoding="utf-8")
        with pytest.raises(InputError):
            BathSettings.load(path)
    with pytest.raises(InputError, match="cannot be read"):
        BathSettings.load(tmp_path / "none.toml")


def test_settings_govern_the_sheet() -> None:
    plain = bath_sheet("gold 1", 100)
    mine = bath_sheet("gold 1", 100, settings=BathSettings(wet_pickup=60.0, liquor_ratio=30.0))
    assert (plain.cloth_holds_ml, mine.cloth_holds_ml) == (80, 60)
    assert (plain.total_ml, mine.total_ml) == (2000, 3000)
