"""Stock sheets and the table of settings."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dyemix.bench.bath_sheet import bath_sheet
from dyemix.bench.settings import BathSettings, Making
from dyemix.bench.stock import ADDED_TO, Bottles, Stock, StockSheet, stock_sheet
from dyemix.dataset.serialise import from_json
from dyemix.errors import DyemixError, SavedError

MADE = date(2026, 5, 3)


def navy(**changes: Any) -> StockSheet:
    return stock_sheet("navy", **{"strength_pct": 2.0, "make_ml": 500.0, "made": MADE, **changes})


@settings(max_examples=30, deadline=None)
@given(st.floats(0.01, 20), st.floats(1, 20_000), st.sampled_from([0.01, 0.1, 1.0]))
def test_a_stock_has_its_strength_whatever_the_scale(
    strength: float, volume: float, step: float
) -> None:
    """% w/v is g per 100 mL; nothing is weighed below 10 steps of the scale."""
    sheet = stock_sheet("navy", strength, volume, made=MADE, settings=BathSettings(scale_step=step))
    how = sheet.how
    assert how.weigh_g >= 10 * step * (1 - 1e-9)
    assert how.weigh_g / step == pytest.approx(round(how.weigh_g / step))
    assert how.weigh_g == pytest.approx(how.pct / 100 * how.make_ml)
    if how.take_ml:
        assert how.take_ml <= how.make_ml
        assert how.take_ml * how.pct == pytest.approx(how.up_to_ml * strength)
    else:
        assert (how.pct, how.up_to_ml) == (strength, how.make_ml)
    assert how.up_to_ml == pytest.approx(sheet.bottle.left_ml)
    assert how.up_to_ml >= 0.95 * volume
    assert from_json(StockSheet, sheet.to_json()) == sheet
    assert max(map(len, str(sheet).splitlines())) <= 100


@pytest.mark.parametrize(
    ("strength", "volume", "step", "how"),
    [
        # 5 g is too little for a scale of 1 g: 10 g make 200 mL of 5 %, and 100 of it 500 of 1 %.
        (1, 500, 1.0, Making(10, 200, 5, 100, 500)),
        (1, 500, 0.1, Making(5, 500, 1, 0, 500)),
        # 1 % of 25 mL: 0.25 g is too little for 0.1 g; 1 g makes 100 mL, within a bottle of 500.
        (1, 25, 0.1, Making(1, 100, 1, 0, 100)),
        # Stronger than dissolves with ease: more is made, there is nothing stronger to dilute.
        (8, 100, 1.0, Making(10, 125, 8, 0, 125)),
        # 26.4 g are 26 on the scale, which make 1300 mL and not 1320.
        (2, 1320, 1.0, Making(26, 1300, 2, 0, 1300)),
    ],
)
def test_how_a_scale_can_make_it(strength: float, volume: float, step: float, how: Making) -> None:
    kit = BathSettings(scale_step=step)
    assert stock_sheet("navy", strength, volume, settings=kit).how == how


@pytest.mark.parametrize(("strength", "warned"), [(5, False), (5.5, True), (8, True), (20, True)])
def test_strong_stocks_are_warned_of(strength: float, warned: bool) -> None:
    sheets = [
        stock_sheet("turquoise", strength),
        bath_sheet("turquoise 2", 500, stocks=float(strength), cloth="cotton"),
    ]
    for sheet in sheets:
        text = " ".join(str(sheet).split())
        assert ("sooner in hard water" in text) == warned
        assert (
            "rewarm cold stock until it is clear" in text.replace("Before use, rewarm", "")
        ) == (warned)
    easy = BathSettings(soluble={"": 5.0, "turquoise": 8.0})
    assert ("hard water: turquoise" in str(stock_sheet("turquoise", strength, settings=easy))) == (
        strength > 8
    )
    for words in ("smooth paste", "below 50 °C"):
        assert words in " ".join(str(sheets[0]).split())


def test_made_up_to_is_not_added_to() -> None:
    """'5 g added to 100 mL' is about 3 % weaker (common practice)."""
    assert stock_sheet("navy", 5, 400).added_to_error_pct == pytest.approx(-3, abs=0.2)
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
    error = 100 * (cups["metric_cup"] / cups["us_cup"] - 1)
    assert f"{error:.1f} % stronger" in " ".join(str(navy()).split())


def test_powder_spoons_are_a_property_of_the_dye() -> None:
    """Levelled teaspoons of five powders ran from 3.8 to 4.9 g (common practice)."""
    assert navy().powder_spoons is None
    for grams in (3.8, 4.9):
        spoons = navy(settings=BathSettings(powder_per_teaspoon={"navy": grams})).powder_spoons
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
    label = str(sheet).split("Label to cut out")[1]
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


def test_more_than_was_asked_for_is_accounted_for() -> None:
    """5 g for 250 mL of 2 % is less than a scale that shows 1 g weighs well."""
    sheet = " ".join(str(stock_sheet("navy", 2.0, 250.0)).split())
    assert "10 g of navy powder, the least that a scale showing 1 g weighs well" in sheet
    assert "TO 500 mL in all" in sheet


def test_how_to_make_and_keep_it() -> None:
    text = " ".join(str(navy(strength_pct=1.0)).split())
    for words in ("10 g of navy powder", "paste with a little lukewarm water",
                  "100 mL of it made up TO 500 mL is 1 %",
                  "closed, labelled, cold", "away from children", "never where food",
                  "without alkali"):  # fmt: skip
        assert words in text


def test_strengths_that_are_alike_are_said_once() -> None:
    bottles = Bottles.of([Stock("gold", 1), Stock("rose", 2), Stock("", 4)], BathSettings())
    assert bottles.strengths(["gold"]) == "1 %"
    assert bottles.strengths(["gold", "rose", "navy"]) == "gold 1 %, rose 2 %, navy 4 %"
    assert bottles.strengths(["gold", "navy", "black"]) == "4 %, gold 1 %"
    with pytest.raises(DyemixError, match="Stock"):
        Bottles.of([1.0], BathSettings())  # type: ignore[list-item]


def test_stock_out_of_range() -> None:
    for change in ({"strength_pct": 0}, {"strength_pct": 21}, {"make_ml": 0},
                   {"make_ml": float("nan")}):  # fmt: skip
        with pytest.raises(DyemixError, match="out of range"):
            navy(**change)
    with pytest.raises(DyemixError, match="not named"):
        stock_sheet(" ")
    with pytest.raises(SavedError):
        from_json(StockSheet, navy().to_json().replace('"cold": true', '"cold": 1'))


def test_what_to_measure_of_a_recipe_in_a_line() -> None:
    """Of 1 % stock for 100 g: 50 mL, three tablespoons of 15 and a teaspoon of 5; 1 mL, which is
    too little, so ten times as much of a tenth as strong.
    """
    at_hand, recipe = Bottles.of(1.0, BathSettings()), {"gold": 0.5, "navy": 0.01}
    assert at_hand.words(recipe, 100.0) == "gold 50 mL + navy 10 mL of 1 in 10"
    told = [f"{dose.spoons.text} of 1 in {dose.dilution}" for dose in at_hand.doses(recipe, 100.0)]
    assert told == ["3 tbsp + 1 tsp of 1 in 1", "2 tsp of 1 in 10"]
