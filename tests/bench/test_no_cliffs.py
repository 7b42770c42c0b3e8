"""A little more of anything asks a little more of all else: no step, and no turning."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dyemix.bench.bath_sheet import BathSheet, bath_sheet
from dyemix.bench.settings import ORDERS, BathSettings
from dyemix.errors import DyemixError
from tests.bench.conftest import four_dyes

#: A step of an input, and the most that an amount may move by it, each as a share.
STEP, MOST = 0.01, 0.05
#: Everything that a sheet is asked by; the last four only where somebody asks.
INPUTS = {
    "owf": (0.01, 10), "cloth_g": (5, 5000), "liquor_ratio": (4, 30), "temperature": (10, 40),
    "stock_pct": (5, 19), "wet_pickup": (60, 150), "dyed_pct": (20, 99),
}  # fmt: skip
ASKED = {
    "salt": (1, 100), "soda": (1, 60), "soda_solution": (10, 100), "hours": (1, 90),
}  # fmt: skip
#: What swatches say of soda: nothing; little or much of a stirred bath, of any ratio; a solution.
SWATCHES = (
    {},
    {"liquor ratio": "20:1", "soda": "5 g/L", "salt": "50 g/L"},
    {"liquor ratio": "10:1", "soda": "3 g/L"},
    {"liquor ratio": "30:1", "soda": "2 g/L"},
    {"liquor ratio": "20:1", "soda": "12 g/L"},
    {"liquor ratio": "5:1", "soda": "50 g/L"},
    {"liquor ratio": "7:1", "soda": "50 g/L", "salt": "20 g/L"},
)
#: What goes down where an input goes up: deeper takes the place of water, and so does what the
#: cloth holds; warmer is quicker; of a stronger stock it takes less; and a stronger solution of
#: soda is less of it, so that more water goes in.
FALLS = {
    ("water", "owf"), ("water", "wet_pickup"), ("water", "dyed_pct"), ("hours", "temperature"),
    ("stock", "stock_pct"), ("soda", "wet_pickup"),
}  # fmt: skip


def amounts(at: dict[str, float], **how: Any) -> dict[str, float]:
    """Everything that is measured, and the hours; liquids as they go in, whatever bottle from."""
    given = dict(at)
    owf, stock_pct = given.pop("owf"), given.pop("stock_pct")
    dyed, pickup = given.pop("dyed_pct"), given.pop("wet_pickup")
    sheet: BathSheet = bath_sheet(
        {"gold": owf}, given.pop("cloth_g"), stocks=stock_pct, **given, **how,
        fibre=f"cotton {dyed:.10f} %, polyester {100 - dyed:.10f} %",
        settings=BathSettings(wet_pickup=pickup),
    )  # fmt: skip
    (dose,) = sheet.doses
    water = sheet.water_ml + sheet.salt.into_bath_ml + sheet.soda.into_bath_ml
    stock = dose.ml / dose.dilution
    # A dilution brings water of its own.
    return {
        "salt": sheet.salt.g, "soda": sheet.soda.g, "hours": sheet.method.hours, "stock": stock,
        "total": sheet.total_ml, "water": water + dose.ml - stock,
    }  # fmt: skip


def between(bounds: dict[str, tuple[float, float]]) -> Any:
    return {name: st.floats(*ends) for name, ends in bounds.items()}


@settings(max_examples=120, deadline=None)
@given(
    st.fixed_dictionaries(between(INPUTS), optional=between(ASKED)), st.data(),
    st.sampled_from(list(ORDERS)), st.booleans(), st.sampled_from(SWATCHES),
)  # fmt: skip
def test_no_amount_jumps_or_turns(
    at: dict[str, float], data: st.DataObject, order: str, wetted: bool, swatches: dict[str, str]
) -> None:
    what = data.draw(st.sampled_from(sorted(at)))
    how: dict[str, Any] = {"alkali": order, "wetted": wetted}
    if swatches:
        how["dyes"] = four_dyes(conditions=swatches)
    try:
        less = amounts(at, **how)
        more = amounts({**at, what: at[what] * (1 + STEP)}, **how)
    except DyemixError as error:
        refusal = str(error)
    else:
        refusal = ""
    if refusal:
        assert "too little even" in refusal or "does not hold it" in refusal
        return
    # Salt begins from none at low water: what it moves by is a share of a stirred bath's.
    stirred = amounts({**at, "liquor_ratio": max(at["liquor_ratio"], 10.0)}, **how)
    scales = {**less, "salt": stirred["salt"], "water": less["total"]}
    for name, before in less.items():
        change = more[name] - before
        assert abs(change) <= MOST * scales[name] * (1 + 1e-9), name
        turns = -1 if (name, what) in FALLS else 1
        assert turns * change >= -1e-9 * scales[name], name


@pytest.mark.parametrize(
    ("ratio", "soda_g"),
    [
        # 100 g at 1 % whose swatches had 12 g/L at 20:1: as they had it, wherever it is stirred.
        (20, 24), (14, 16.8), (10, 12),
        # Low water has 210 mL of 45 g/L, and so has 7.5:1, where 12 × 0.75 = 9 g would be less.
        (5, 9.45), (7.5, 9.45),
    ],
)  # fmt: skip
def test_soda_comes_from_the_swatches(ratio: float, soda_g: float) -> None:
    dyes = four_dyes(conditions={"liquor ratio": "20:1", "soda": "12 g/L"})
    sheet = bath_sheet("gold 1", 100, stocks=5.0, liquor_ratio=ratio, dyes=dyes)
    assert sheet.soda.g == pytest.approx(soda_g)


@pytest.mark.parametrize(
    ("was", "g_l", "ratio", "soda_g"),
    [
        # 100 g at 1 %: low water would have 9.45 g. Swatches with 10 g in 2 L leave it at that,
        # until 5 g/L are more, at 18.9:1.
        ("20:1", "5 g/L", 5, 9.45), ("20:1", "5 g/L", 7.5, 9.45), ("20:1", "5 g/L", 18, 9.45),
        ("20:1", "5 g/L", 20, 10), ("20:1", "5 g/L", 30, 15),
        # Swatches with 3 g in 1 L have no more than that in less liquor.
        ("10:1", "3 g/L", 5, 3), ("10:1", "3 g/L", 8, 3), ("10:1", "3 g/L", 10, 3),
        ("10:1", "3 g/L", 20, 6),
    ],
)  # fmt: skip
def test_little_soda_does_not_turn(was: str, g_l: str, ratio: float, soda_g: float) -> None:
    dyes = four_dyes(conditions={"liquor ratio": was, "soda": g_l})
    sheet = bath_sheet("gold 1", 100, stocks=5.0, liquor_ratio=ratio, dyes=dyes)
    assert sheet.soda.g == pytest.approx(soda_g)
    told = any(w.startswith("soda ") and "unlike your swatches'" in w for w in sheet.warnings)
    assert told == (sheet.soda.g_l > 1.05 * float(g_l.split()[0]))


def test_soda_asked_is_of_the_liquor_at_any_ratio() -> None:
    """8 g/L: 4 g in 500 mL and 16 g in 2 L, on any side of low water."""
    for ratio in (4.0, 5.0, 9.99, 10.0, 20.0):
        sheet = bath_sheet("gold 1", 100, stocks=5.0, liquor_ratio=ratio, soda=8)
        assert sheet.soda.g == pytest.approx(0.8 * ratio)


def test_a_solution_comes_from_the_swatches_too() -> None:
    """210 mL of 50 g/L is 10.5 g in low water; a stirred bath has its 6.5 g/L by depth."""
    dyes = four_dyes(conditions={"liquor ratio": "1:5", "soda": "50 g/L"})
    low = bath_sheet("gold 1", 100, stocks=5.0, dyes=dyes)
    assert (low.soda.g, low.soda.solution_g_l) == pytest.approx((10.5, 50))
    assert "soda solution" in low.as_swatches
    stirred = bath_sheet("gold 1", 100, stocks=5.0, liquor_ratio=20, dyes=dyes)
    assert stirred.soda.g == pytest.approx(13)


@pytest.mark.parametrize(
    ("celsius", "hours"), [(18, 33.4), (21, 24), (31, 8), (35, 5.16), (41, 2.67)]
)
def test_hours_by_warmth(celsius: float, hours: float) -> None:
    """A day at 21 °C, three times as fast for 10 °C more (common practice)."""
    assert bath_sheet("gold 1", 100, temperature=celsius).method.hours == pytest.approx(hours)


@pytest.mark.parametrize(
    ("ratio", "salt_g", "soda_g"),
    [
        # 100 g at 1 %: salt 40 g/L, soda 6.5 g/L where stirred.
        (4, 0, 7.2),  # (400 − 80) ÷ 2 = 160 mL of 45 g/L
        (5, 0, 9.45),  # (500 − 80) ÷ 2 = 210 mL of 45 g/L
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
    dyes = four_dyes(conditions={"liquor ratio": "20:1", "salt": "50 g/L"})
    for ratio, salt in ((20, 50), (10, 50), (7.5, 25), (5, 0)):
        assert bath_sheet("gold 1", 100, dyes=dyes, liquor_ratio=ratio).salt.g_l == salt
    assert bath_sheet("gold 1", 100, dyes=dyes, liquor_ratio=5, salt=20).salt.g_l == 20
    low = four_dyes(conditions={"liquor ratio": "5:1", "salt": "20 g/L"})
    assert bath_sheet("gold 1", 100, dyes=low).salt.g_l == 20
    assert bath_sheet("gold 1", 100, dyes=low, liquor_ratio=20).salt.g_l == 20
