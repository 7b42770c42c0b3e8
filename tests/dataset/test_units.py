"""Weights, volumes and dilutions at the bench, against sums worked by hand."""

from __future__ import annotations

import pytest

from dyemix.dataset.units import (
    FOR_WEAK,
    JUG_FROM,
    STOCK_PCT,
    added_to_pct,
    dilution,
    dye_g,
    parse_volume,
    parse_weight,
    stock_ml,
    temperature_text,
    to_mark,
    to_step,
    volume_text,
    weight_text,
)
from dyemix.errors import DyemixError


def test_dye_by_hand() -> None:
    """2 % of 125 g is 2.5 g."""
    assert dye_g(125, 2) == pytest.approx(2.5)
    assert FOR_WEAK == 10.0  # mL, made up to 100
    assert STOCK_PCT == 1.0  # g per 100 mL, the one strength where none is stated
    assert JUG_FROM == 6 * 15  # six metric tablespoons of 15 mL


def test_stock_by_hand() -> None:
    """0.5 % of 240 g is 1.2 g, and 100 mL of a 2 % stock hold 2 g: 60 mL."""
    assert stock_ml(240, 0.5, 2) == pytest.approx(60)


def test_powder_added_to_water_by_hand() -> None:
    """5 g that take up 0.6 mL each, added to 100 mL, fill 103 mL: 5 ÷ 1.03 = 4.854 g in 100 mL."""
    assert added_to_pct(5, 0.6) == pytest.approx(5 / 1.03)
    assert added_to_pct(5, 0) == 5


@pytest.mark.parametrize(
    ("stock_ml", "smallest_ml", "times"),
    [
        (2.5, 2.5, 1),
        (2.4, 2.5, 10),
        (0.25, 2.5, 10),
        (0.24, 2.5, 100),
        (0.1 + 0.2 - 0.05, 2.5, 10),  # 0.25 but for the noise of binary fractions
        (2.5 * (1 - 1e-12), 2.5, 1),
        (2.5 * (1 - 1e-9), 2.5, 1),  # as much less as is let pass
        (2.5 * (1 - 2e-9), 2.5, 10),
        (0.024, 2.5, 1000),
        (0.0025, 2.5, 1000),
        (0.001, 2.5, 1000),  # too little even so: the caller says it
    ],
)
def test_a_dose_too_small_is_measured_from_a_weaker_stock(
    stock_ml: float, smallest_ml: float, times: int
) -> None:
    """10 mL made up to 100 mL is ten times weaker; twice over a hundred, three times a thousand."""
    assert dilution(stock_ml, smallest_ml) == times


@pytest.mark.parametrize(
    ("amount", "step", "wanted"),
    [
        (26.42, 0.2, 26.4),
        (26.52, 0.2, 26.6),
        (0.3, 0.1, 0.3),  # three steps of 0.1 are 0.30000000000000004 in binary fractions
        (0.01, 0.2, 0.2),  # never none
        (0.31, 0.2, 0.4),
        (0.000007, 0.000001, 0.000007),
        (7.49, 0.5, 7.5),
        (0.1, 0.1234567, 0.123457),  # to millionths
    ],
)
def test_the_nearest_mark(amount: float, step: float, wanted: float) -> None:
    assert to_step(amount, step) == wanted


@pytest.mark.parametrize(
    ("ml", "step", "wanted"),
    [
        (99.535, 0.02, 99.54), (100 / 1.00001, 0.3, 100),  # the jug's from 100 mL on
        (572.5, 1.0, 573), (572.498, 1.0, 573),  # and as five figures of its recipe give it back
        (2.54, 0.1, 2.5), (99.96, 0.1, 100.0), (99.94, 0.1, 99.9),
        (100.4, 0.1, 100), (100.6, 0.1, 101), (999.4, 0.1, 999),  # a jug shows three figures
        (1004, 0.1, 1000), (1006, 0.1, 1010), (12_340, 0.1, 12_300),
        (104, 5.0, 105), (1004, 20.0, 1000), (1011, 20.0, 1020),  # a step that is wider holds
    ],
)  # fmt: skip
def test_what_a_syringe_and_a_jug_are_read_to(ml: float, step: float, wanted: float) -> None:
    assert to_mark(ml, step) == pytest.approx(wanted)


def test_units_by_their_definitions() -> None:
    """NIST Handbook 44, Appendix C: pound 453.59237 g, gallon 231 cubic inches of 2.54 cm."""
    gallon = 231 * 2.54**3
    assert parse_weight("1 lb") == pytest.approx(453.59237)
    assert parse_weight("16oz") == pytest.approx(453.59237)
    assert parse_weight("240g") == 240
    assert parse_weight("0,24 kg") == 240
    assert parse_weight(".5 KG") == 500
    assert parse_volume("1 gal") == pytest.approx(gallon)
    assert parse_volume("4 qt") == parse_volume("8pt") == pytest.approx(gallon)
    assert parse_volume("128 fl  oz") == pytest.approx(gallon)
    assert parse_volume("500ml") == 500
    assert parse_volume("0.5 L") == 500
    assert parse_volume("1,5 l") == 1500


@pytest.mark.parametrize(
    "text", ["240", "-3 g", "0 g", "x", "1 stone", "", "1 l", "1 g 2", "1e3 g"]
)
def test_what_is_no_weight_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(DyemixError, match="240g"):
        parse_weight(text)


@pytest.mark.parametrize("text", ["1 cup", "500", "0 ml", "1 g", "half a litre"])
def test_what_is_no_volume_is_refused_with_an_example(text: str) -> None:
    """‘250 mL ≈ 1 US cup’ would be wrong by 5.7 %."""
    with pytest.raises(DyemixError, match=r"500ml.*no cups"):
        parse_volume(text)


@pytest.mark.parametrize(
    ("grams", "metric", "us"),
    [
        (2.4567, "2.46 g", "2.46 g (0.0867 oz)"),  # 2.4567 ÷ 28.3495
        (99.5, "99.5 g", "99.5 g (3.51 oz)"),
        (99.96, "100 g", "100 g (3.53 oz)"),
        (100.4, "100 g", "100 g (3.54 oz)"),
        (453.59237, "454 g", "454 g (16 oz)"),
        (999.4, "999 g", "999 g (35.3 oz)"),
        (999.5, "1 kg", "1 kg (35.3 oz)"),
        (5000, "5 kg", "5 kg (176 oz)"),
    ],
)
def test_weights_in_words(grams: float, metric: str, us: str) -> None:
    assert weight_text(grams, "metric") == metric
    assert weight_text(grams, "us") == us


@pytest.mark.parametrize(
    ("grams", "step", "shown"),
    [(22.68, 1.0, "23 g"), (22.68, 0.1, "22.7 g"), (0.2, 1.0, "1 g"), (1276, 1.0, "1.28 kg")],
)
def test_weights_to_what_a_scale_shows(grams: float, step: float, shown: str) -> None:
    assert weight_text(grams, "metric", step) == shown


@pytest.mark.parametrize(
    ("ml", "metric", "us"),
    [
        (26.44, "26.4 mL", "26.4 mL (0.89 fl oz)"),  # ÷ 29.5735
        (99.94, "99.9 mL", "99.9 mL (3.4 fl oz)"),
        (100.0, "100 mL", "100 mL (3.4 fl oz)"),
        (946.3, "946 mL", "946 mL (32 fl oz)"),
        (946.352946, "946 mL", "946 mL (1 qt)"),
        (999.4, "999 mL", "999 mL (1.06 qt)"),
        (1000.0, "1.00 L", "1.00 L (1.06 qt)"),
        (4527.6, "4.53 L", "4.53 L (4.78 qt)"),  # ÷ 946.353
        (99.95, "100 mL", "100 mL (3.4 fl oz)"),
        (999.5, "1.00 L", "1.00 L (1.06 qt)"),
        (9994, "9.99 L", "9.99 L (10.6 qt)"),
        (9995, "10.0 L", "10.0 L (10.6 qt)"),
        (99_940, "99.9 L", "99.9 L (106 qt)"),
        (99_950, "100 L", "100 L (106 qt)"),
    ],
)
def test_volumes_in_words(ml: float, metric: str, us: str) -> None:
    assert volume_text(ml, "metric") == metric
    assert volume_text(ml, "us") == us


def test_temperatures_and_spoon_sets_in_words() -> None:
    """40 °C × 9/5 + 32 = 104 °F; 21.5 °C is 70.7 °F."""
    assert temperature_text(40, "metric") == "40 °C"
    assert temperature_text(40, "us") == "40 °C (104 °F)"
    assert temperature_text(21.5, "us") == "21.5 °C (71 °F)"
