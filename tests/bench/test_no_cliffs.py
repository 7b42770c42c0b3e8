"""A little more of anything asks a little more of salt, soda and hours: no step, and no turning."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dyemix.bench.bath_page import BathSheet
from dyemix.bench.bath_sheet import bath_sheet
from dyemix.bench.settings import BathSettings

#: A step of an input, and the most that an amount may move by it, each as a share.
STEP, MOST = 0.01, 0.05


def sheet(depth: float, cloth: float, ratio: float, warmth: float, order: str) -> BathSheet:
    return bath_sheet(
        {"gold": depth}, cloth, stocks=20.0, liquor_ratio=ratio, alkali=order, temperature_c=warmth,
        settings=BathSettings(smallest_dose=0.05),
    )  # fmt: skip


@settings(max_examples=200, deadline=None)
@given(
    st.floats(0.02, 10), st.floats(5, 5000), st.floats(4, 40), st.floats(10, 40),
    st.sampled_from(["with", "after"]), st.sampled_from(["depth", "cloth", "ratio", "warmth"]),
)  # fmt: skip
def test_no_amount_jumps_or_turns(
    depth: float, cloth: float, ratio: float, warmth: float, order: str, what: str
) -> None:
    inputs = {"depth": depth, "cloth": cloth, "ratio": ratio, "warmth": warmth}
    less = sheet(**inputs, order=order)
    more = sheet(**{**inputs, what: inputs[what] * (1 + STEP)}, order=order)
    # Salt begins from none at low water: what it moves by is a share of a stirred bath's.
    full = bath_sheet({"gold": depth}, cloth, stocks=20.0, liquor_ratio=max(ratio, 10.0),
                      settings=BathSettings(smallest_dose=0.05)).salt.g  # fmt: skip
    for name, before, after, scale in (
        ("salt", less.salt.g, more.salt.g, full),
        ("soda", less.soda.g, more.soda.g, less.soda.g),
        ("hours", less.method.hours, more.method.hours, less.method.hours),
        ("dye", less.doses[0].dye_g, more.doses[0].dye_g, less.doses[0].dye_g),
    ):
        turn = -1 if (name, what) == ("hours", "warmth") else 1
        assert turn * (after - before) >= -1e-9 * scale, name
        assert abs(after - before) <= MOST * scale, name


@pytest.mark.parametrize(
    ("celsius", "hours"), [(18, 33.4), (21, 24), (31, 8), (35, 5.16), (41, 2.67)]
)
def test_hours_by_warmth(celsius: float, hours: float) -> None:
    """A day at 21 °C, three times as fast for 10 °C more (common practice)."""
    assert bath_sheet("gold 1", 100, temperature_c=celsius).method.hours == pytest.approx(hours)


@pytest.mark.parametrize(
    ("ratio", "salt_g", "soda_g"),
    [
        # 100 g at 1 %: salt 40 g/L, soda 6.5 g/L where stirred.
        (4, 0, 7.2),  # (400 − 80) ÷ 2 = 160 mL of 45 g/L
        (5, 0, 9.45),  # (500 − 80) ÷ 2 = 210 mL
        (7.5, 15, 9.45),  # half of 40 × 0.75
        (10, 40, 9.45),  # 6.5 × 1 is less
        (14, 56, 9.45),  # 6.5 × 1.4 = 9.1 still is
        (20, 80, 13),
    ],
)
def test_from_low_water_to_stirred_by_hand(ratio: float, salt_g: float, soda_g: float) -> None:
    bath = bath_sheet("gold 1", 100, stocks=10.0, liquor_ratio=ratio)
    assert (bath.salt.g, bath.soda.g) == pytest.approx((salt_g, soda_g))


def test_salt_of_the_swatches_lessens_towards_low_water() -> None:
    """Swatches at 20:1 with 50 g/L: at 7.5:1 half of it, none at 5:1; asked for, it is as asked."""
    from tests.bench.conftest import four_dyes

    dyes = four_dyes(conditions={"liquor ratio": "20:1", "salt": "50 g/L"})
    for ratio, salt in ((20, 50), (10, 50), (7.5, 25), (5, 0)):
        assert bath_sheet("gold 1", 100, dyes=dyes, liquor_ratio=ratio).salt.g_l == salt
    assert bath_sheet("gold 1", 100, dyes=dyes, liquor_ratio=5, salt_g_l=20).salt.g_l == 20
    low = four_dyes(conditions={"liquor ratio": "5:1", "salt": "20 g/L"})
    assert bath_sheet("gold 1", 100, dyes=low).salt.g_l == 20
    assert bath_sheet("gold 1", 100, dyes=low, liquor_ratio=20).salt.g_l == 20
