"""Stock sheets and the table of settings."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dyemix.bench.bath_sheet import bath_sheet
from dyemix.bench.cautions import cautions
from dyemix.bench.settings import BathSettings
from dyemix.bench.stock import ADDED_TO, Stock, StockSheet, stock_sheet
from dyemix.errors import DyemixError, SavedError

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
    for words in cautions("stock"):
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
