"""What stands under 'Check first'."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import pytest

from dyemix.bench.bath_sheet import BathSheet, bath_sheet
from dyemix.bench.settings import BathSettings
from dyemix.bench.stock import Stock
from dyemix.errors import DyemixError
from tests.bench.conftest import four_dyes

Sage = Callable[..., BathSheet]


def test_an_ordinary_bath_has_none() -> None:
    assert bath_sheet("gold 1", 100, cloth="cotton").warnings == ()


def test_slowest_dye_governs() -> None:
    """Turquoise wants twice the time, or warmth: 10 °C × log 2 ÷ log 3 is 6.3 °C."""
    quick, slow = bath_sheet("gold 1", 100), bath_sheet("gold 1 + bright turquoise 0.2", 100)
    assert (quick.method.hours, slow.method.hours) == (24, 48)
    words = " ".join(str(slow).split())
    # One meaning: twice the hours; or the usual ones at 21 + 6.3 °C.
    assert "bright turquoise is the slowest here and has 2 times the usual time" in words
    assert "or give 27 °C and the usual" in words
    assert "slowest" not in str(quick)
    short = bath_sheet("turquoise 1", 100, hours=24)
    assert any("2 times the time" in w for w in short.warnings)
    assert any(
        "21 °C usually wants about 24 h" in w for w in bath_sheet("gold 1", 100, hours=5).warnings
    )


def test_a_hot_bath_is_asked_after_and_given_its_hour() -> None:
    """By a third of the hours for each 10 °C, 75 °C came to four minutes, and 95 °C to a refusal of
    hours that nobody gave; an hour is the least, from 50 °C on."""
    for told in ("75", "75 °C", "95"):
        hot = bath_sheet("gold 1", 100, temperature=told, cloth="hemp")
        assert hot.method.hours == 1.0
        assert any(
            "hot for dyes that fix cold" in w and "is °F meant? Else take the hours from" in w
            for w in hot.warnings
        )
    assert bath_sheet("gold 1", 100, temperature=50).method.hours == pytest.approx(1.0, abs=0.01)
    assert bath_sheet("gold 1", 100, temperature="60", cloth="hemp").warnings == ()
    assert BathSettings(temperature=60, hours=0.5).usual_hours(70) == 0.5, "her own are hers"
    stated = four_dyes(conditions={"cloth": "hemp", "temperature": "75 °C"})
    assert not any("hot" in w for w in bath_sheet("gold 1", 100, dyes=stated).warnings)


def test_cool_baths_and_odd_soda_solutions() -> None:
    assert any("15 °C is cool" in w for w in bath_sheet("gold 1", 100, temperature=15).warnings)
    assert bath_sheet("gold 1", 100, cloth="hemp", temperature=18).warnings == ()
    kit = BathSettings(soda_solution=20.0)
    thin = bath_sheet("gold 1", 100, liquor_ratio=5, settings=kit)
    assert any("20 g/L is outside the usual 30–60 g/L" in w for w in thin.warnings)
    stirred = bath_sheet("gold 1", 100, cloth="linen", settings=kit)  # which needs no solution
    assert stirred.warnings == ()


def test_presoak_washes_out_of_a_stirred_bath() -> None:
    stirred = bath_sheet("gold 1", 100, liquor_ratio=20, alkali="presoak")
    assert stirred.soda.g_l == pytest.approx(1.8)
    assert any("presoak carries less" in w and "washes out" in w for w in stirred.warnings)
    # In low water it carries 80 × 45 ÷ 500 = 7.2 g/L, where soda after the dye brings 9.45 g.
    low, after = (
        bath_sheet("gold 1", 100, cloth="linen", liquor_ratio=5, alkali=order)
        for order in ("presoak", "after")
    )
    assert (low.soda.g_l, after.soda.g_l) == pytest.approx((7.2, 18.9))
    (warning,) = low.warnings
    assert "presoak carries less soda ash into a bath of 5:1" in warning


def test_mixtures_and_viscose(sage: Sage) -> None:
    warnings = " ".join(sage(cloth="viscose twill").warnings)
    assert "navy: usually a mixture" in warnings
    assert "squeeze, don't wring" in warnings
    renamed = BathSettings(mixtures=["olive"])
    assert not any("mixture" in w for w in sage(settings=renamed).warnings)
    assert any("olive" in w for w in bath_sheet("olive 1", 100, settings=renamed).warnings)


@pytest.mark.parametrize("dye", ["olive", "plum", "forest green", "black", "chocolate brown"])
def test_any_blend_may_split(dye: str) -> None:
    (warning,) = bath_sheet({dye: 1}, 100, cloth="cotton").warnings
    assert warning.startswith(f"{dye}: usually a mixture")


def test_dry_cloth_is_uneven() -> None:
    dry = bath_sheet("gold 1", 100, cloth="cotton", wetted=False)
    assert dry.warnings == ("dry cloth takes the dye unevenly: wet it out first.",)
    presoaked = bath_sheet("gold 1", 100, cloth="cotton", wetted=False, alkali="presoak")
    assert not any("unevenly" in w for w in presoaked.warnings)


def test_dyes_paler_than_their_swatches(sage: Sage) -> None:
    assert any("paler than your palest" in w for w in sage().warnings)  # scarlet 0.05


def test_stock_age_and_life(sage: Sage) -> None:
    """About 7 days at room temperature, 4 weeks cold (common practice); the sheet is of 8 May."""
    bottles = [
        Stock("gold", 2, date(2026, 5, 1)),
        Stock("scarlet", 2, date(2026, 4, 30)),
        Stock("navy", 2, date(2026, 4, 10), cold=True, left_ml=20),
    ]
    sheet = sage(stocks=bottles)
    assert any(w.endswith("stock of scarlet (day 8 of 7).") for w in sheet.warnings)
    assert any(w.endswith("left: navy 26.4 mL (20.0 mL left).") for w in sheet.warnings)
    text = str(sheet)
    for words in ("1 May, day 7 of 7", "day 8 of 7: PAST", "10 Apr, day 28 of 28"):
        assert words in " ".join(text.split())
    with pytest.raises(DyemixError, match="after this sheet's"):
        sage(stocks=[Stock(d, 2, date(2026, 6, 1)) for d in ("gold", "scarlet", "navy")])
