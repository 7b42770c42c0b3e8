"""Weights, volumes and dilutions at the bench."""

from __future__ import annotations

import pytest

from dyemix.dataset.units import dilution, parse_volume, parse_weight
from dyemix.errors import DyemixError


@pytest.mark.parametrize(
    ("stock_ml", "smallest_ml", "times"),
    [
        (2.5, 2.5, 1),
        (2.4, 2.5, 10),
        (0.25, 2.5, 10),
        (0.1 + 0.2 - 0.05, 2.5, 10),  # 0.25 but for the noise of binary fractions
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


def test_units_by_their_definitions() -> None:
    """NIST Handbook 44, Appendix C: pound 453.59237 g, gallon 231 cubic inches of 2.54 cm."""
    assert parse_weight("1 lb") == pytest.approx(453.59237)
    assert parse_weight("16oz") == pytest.approx(453.59237)
    assert parse_volume("1 gal") == pytest.approx(231 * 2.54**3)
    assert parse_volume("4 qt") == parse_volume("8pt") == pytest.approx(231 * 2.54**3)
    assert (parse_weight("0,24 kg"), parse_volume("0.5 L")) == (240, 500)


@pytest.mark.parametrize("text", ["240", "-3 g", "0 g", "x", "1 stone", ""])
def test_what_is_no_weight_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(DyemixError, match="240g"):
        parse_weight(text)


def test_a_cup_is_refused() -> None:
    with pytest.raises(DyemixError, match="no cups"):
        parse_volume("1 cup")
