"""Every amount that a sheet prints, against sums worked by hand: what is read is what is measured.

The bath is that of `conftest`: 240 g, navy 0.22 % + gold 0.40 % + scarlet 0.05 % from stocks of
2 %. Common practice gives the figures of the default settings: at 0.67 %, 0.34 of the way from 0.5
to 1, salt 30 + 3.4 = 33.4 and soda 5.5 + 0.34 = 5.84 g/L, soda solution 40 + 1.7 = 41.7 g/L; cloth
holds 0.8 of its weight; a scale that shows 1 g.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest

from dyemix.bench.bath_sheet import BathSheet, bath_sheet
from dyemix.bench.plan import Job, bench_plan
from dyemix.bench.settings import BathSettings
from dyemix.bench.stock import ADDED_TO, Stock, stock_sheet

Sage = Callable[..., BathSheet]
ON = date(2026, 5, 8)


def words(sheet: object) -> str:
    return " ".join(str(sheet).split())


#: Dyes: 240 × 0.22 ÷ 100 = 0.528 g in 240 × 0.22 ÷ 2 = 26.4 mL, and so on. In spoons of 15 and 5
#: mL: 26.25 for 26.4 is −0.6 %, 47.5 for 48 −1 %, 6.25 for 6 +4.2 %.
DYES = (
    "navy 0.22 0.528 1 tbsp + 2¼ tsp (-1 %) 26.4 mL ☐ ☐ 2¼ tsp 2 % stock, 3 May, day 5 of 7",
    "gold 0.40 0.96 3 tbsp + ½ tsp (-1 %) 48 mL ☐☐☐ ☐ ½ tsp 2 % stock",
    "scarlet 0.050 0.12 1¼ tsp (+4 %) 6 mL ☐ 1¼ tsp 2 % stock",
    "240 g dry",
    "0.67 % owf in all",
)


@pytest.mark.parametrize(
    ("changes", "printed"),
    [
        # Stirred, 20:1: 4800 mL; wet cloth holds 192; 4800 − 80.4 − 192 = 4527.6. Salt 33.4 ×
        # 4.8 = 160.3 g, or × 322.19 ÷ 142.04 = 364 g of Glauber's crystals. Soda 5.84 × 4.8 = 28.03
        # g, or × 286.14 ÷ 105.99 = 76 g of decahydrate, × 124.00 ÷ 105.99 = 33 g of monohydrate.
        (
            {},
            (
                "20:1 = 4.80 L total liquor, stirred",
                "it already holds about 192 mL",
                "Salt 160 g salt or anhydrous Glauber's (its crystals 364 g), 33.4 g/L, dissolved",
                "Water 4.53 L to make up (total less 80.4 mL stocks, 192 mL in the cloth)",
                "28 g soda ash (monohydrate 33 g, decahydrate crystals 76 g: read its label), "
                "5.84 g/L",
            ),
        ),
        # Dry: 4800 − 80.4 = 4719.6.
        ({"wetted": False}, ("goes in dry", "Water 4.72 L to make up (total less 80.4 mL stocks)")),
        # Low water, 5:1: 1200 − 192 = 1008 poured on, half of it soda solution: 504 mL of 41.7 g/L
        # is 21 g; water 504 − 80.4 = 423.6.
        (
            {"liquor_ratio": 5},
            (
                "5:1 = 1.20 L total liquor, low water",
                "Salt none needed in low water",
                "Water 424 mL to make up (total less 80.4 mL stocks, 504 mL soda solution, 192 mL",
                "pour the 504 mL over it",
                "504 mL of soda solution, 41.7 g/L: 21 g soda ash (monohydrate 25 g, decahydrate "
                "crystals 57 g: read its label) made up to that",
            ),
        ),
        # The mixed bath of 504 and 504 mL.
        ({"liquor_ratio": 5, "alkali": "with"}, ("pour the 1.01 L over it",)),
        # Presoak: 2 mL a g, 480 mL of 41.7 g/L, 20 g; 1200 − 80.4 − 192 = 927.6.
        (
            {"liquor_ratio": 5, "alkali": "presoak"},
            (
                "presoaked, it already holds about 192 mL",
                "FIRST: 20 g soda ash (monohydrate 23 g, decahydrate crystals 54 g: read its "
                "label) made up to 480 mL: 41.7 g/L",
                "Water 928 mL to make up (total less 80.4 mL stocks, 192 mL in the cloth)",
            ),
        ),
        # Solutions: 160.32 g of 200 g/L is 801.6 mL, 28.032 g of 100 g/L 280.3; water 3445.7.
        (
            {"settings": BathSettings(salt_stock=20.0, soda_stock=10.0)},
            (
                "Salt 802 mL of a solution of 200 g/L, 33.4 g/L of the bath",
                "280 mL of a solution of 100 g/L (5.84 g/L of the bath): 28 g soda ash",
                "Water 3.45 L to make up (total less 80.4 mL stocks, 802 mL salt solution, 280 mL "
                "soda solution, 192 mL in the cloth)",
            ),
        ),
        # Twice as much solution as dye liquor: 1008 × 2/3 = 672 mL, 28.02 g, to 336 mL.
        (
            {"liquor_ratio": 5, "settings": BathSettings(soda_share=2.0)},
            ("pour the 336 mL over it", "672 mL of soda solution, 41.7 g/L: 28 g soda ash"),
        ),
        # Navy 0.528 g × 0.20 + gold 0.96 × 0.10 + scarlet 0.12 × 0.20 = 0.2256; salt 160.32 ×
        # 0.001; soda 28.032 × 0.002: 0.44198 in all, 0.1105 for one of four.
        (
            {
                "pieces": 4,
                "settings": BathSettings(
                    dye_cost={"": 0.2, "gold": 0.1}, salt_cost=0.001, soda_cost=0.002
                ),
            },
            (
                "240 g dry, 4 pieces",
                "Cost 0.44 in all: dye 0.23, salt 0.16, soda 0.056; 0.11 a piece",
            ),
        ),
    ],
)
def test_a_bath_sheet(sage: Sage, changes: dict[str, Any], printed: tuple[str, ...]) -> None:
    text = words(sage(dyes=None, **changes))
    for line in (*DYES, *printed):
        assert line in text, line


def test_us_units() -> None:
    """240 g ÷ 28.35 = 8.47 oz; 4.8 L ÷ 0.94635 = 5.07 qt; 21 °C is 69.8 °F."""
    text = words(bath_sheet("gold 1", 240, settings=BathSettings(units="us", temperature=21)))
    for line in ("240 g (8.47 oz) dry", "4.80 L (5.07 qt) total liquor", "21 °C (70 °F)"):
        assert line in text


def test_costs_by_hand(sage: Sage) -> None:
    """As printed above; without a price for soda its 28 g are named, not taken for nothing."""
    prices = {"dye_cost": {"": 0.2, "gold": 0.1}, "salt_cost": 0.001}
    cost = sage(settings=BathSettings(**prices, soda_cost=0.002)).cost
    assert cost is not None
    assert (cost.dye, cost.salt, cost.soda) == pytest.approx((0.2256, 0.16032, 0.056064))
    assert cost.total == pytest.approx(0.441984)
    assert cost.unpriced == ()
    less = sage(settings=BathSettings(**prices)).cost
    assert less is not None
    assert less.total == pytest.approx(0.38592)
    assert less.unpriced == ("soda ash",)
    assert sage().cost is None


def test_a_dilution() -> None:
    """0.02 % of 5 g from 2 % is 0.05 mL; 1 in 100 makes it 5 mL. 0.001 g of dye."""
    text = words(bath_sheet("gold 0.02", 5, stocks=2.0, on=ON))
    assert "gold 0.020 0.001 1 tsp 5 mL ☐ 1 tsp DILUTION 1 in 100 of 2 % stock, no date" in text
    assert "10 mL of stock made up TO 100 mL on the day, once for all; 1 in 100: the same" in text
    assert "1 in 1000: of that again" in words(bath_sheet("gold 0.001", 5, stocks=2.0, on=ON))
    assert "1 in" not in words(bath_sheet("gold 1", 100, on=ON))


def test_a_bottle_that_holds_too_little_for_a_dilution() -> None:
    """A dilution takes 10 mL of the bottle, whatever is measured of it; 8 are left."""
    bottle = Stock("gold", 2, date(2026, 5, 7), left_ml=8)
    text = words(bath_sheet("gold 0.02", 5, stocks=[bottle], on=ON))
    assert "more stock is needed than is left: gold 10.0 mL (8.0 mL left)." in text
    enough = bath_sheet("gold 0.02", 5, stocks=[Stock("gold", 2, left_ml=10)], on=ON)
    assert "is needed" not in words(enough)
    empty = bath_sheet("gold 0.02", 5, stocks=[Stock("gold", 2, left_ml=0)], on=ON)
    assert "gold 10.0 mL (0.0 mL left)" in words(empty)


def test_a_stock_that_water_was_added_to() -> None:
    """5 g in 100 mL of water with 0.6 mL a g is 103 mL: 4.854 %; 100 g at 1 % take 20.6 mL."""
    kit = BathSettings(powder_volume=0.6)
    sheet = bath_sheet("gold 1", 100, stocks=[Stock("gold", 5, how=ADDED_TO)], settings=kit, on=ON)
    assert sheet.doses[0].exact_ml == pytest.approx(20.6)
    assert "1 tbsp + 1 tsp (-3 %) 20.6 mL ☐ ☐ 1 tsp 5 % stock 'added to' (really 4.85 %)" in words(
        sheet
    )
    made = words(bath_sheet("gold 1", 100, stocks=[Stock("gold", 5)], settings=kit, on=ON))
    assert "1 tbsp + 1 tsp 20 mL ☐ ☐ 1 tsp 5 % stock, no date" in made


def test_a_stock_sheet() -> None:
    """2 g per 100 mL: 25 g in 1250 mL. Added to 1250 mL: 2 ÷ (1 + 0.006 × 2) is 1.2 % weaker."""
    sheet = stock_sheet("navy", 2, 1250, made=ON, settings=BathSettings(powder_volume=0.6))
    text = words(sheet)
    for line in (
        "navy 2 % w/v (g per 100 mL)",
        "Weigh 25 g of navy powder Paste",
        "TO 1.25 L in all",
        "not: add 1.25 L of water, which makes it 1.2 % weaker",
        "a US cup taken for 250 mL makes it 5.7 % stronger",
        "About 28 days, until 2026-06-05",
    ):
        assert line in text
    assert "Dilute" not in text


def test_a_plan_of_two_baths() -> None:
    """Navy: 200 × 2 ÷ 4 = 100 and 100 × 1 ÷ 4 = 25 mL of 4 %; a tenth more is 137.5, so 150 mL; 10
    g, the least that the scale weighs, make 250. Gold: 100 × 0.5 ÷ 1 = 50 mL of 1 %, of which 30
    are left: 25 more, so 50 mL, 10 mL of 5 % made up to 50.
    """
    bottles = [Stock("navy", 4), Stock("gold", 1, date(2026, 5, 7), cold=True, left_ml=30)]
    jobs = [Job("ink", "navy 2", 200), Job("moss", "navy 1 + gold 0.5", 100)]
    text = words(bench_plan(jobs, stocks=bottles, on=ON))
    assert "navy 4 % 125 mL – 10 g powder made up TO 250 mL –" in text
    assert "gold 1 % 50.0 mL 30.0 mL 10 g powder made up TO 200 mL (5 %); 10.0 mL" in text
    # 100 g at 20:1 and 1.5 %: soda 7.25 × 2 = 14.5 g; 200 g: 8 × 4 = 32 g.
    assert "1 90 g 1.84 L 14 g soda ash, in some of the water 1 h after the dye 24 h" in text
    assert "2 200 g 3.74 L 32 g soda ash, in some of the water 1 h after the dye" in text
    assert "mL of salt" not in text, "both are weighed"
    # 5 g at 20:1 and 2 %: 50 g/L of 100 mL, 5 g, 20 mL of 250 g/L; soda 0.8 g, 8 mL of 100 g/L.
    small = words(bench_plan([Job("square", "navy 2", 5)], stocks=bottles, on=ON))
    assert "mL of salt are of its solution, 250 g/L." in small
    assert "soda 100 g/L 8.0 mL – 10 g soda ash made up TO 100 mL –" in small
    assert "8.0 mL solution, 100 g/L 1 h after the dye 24 h, 21 °C" in small
    # Of a salt stock of her own, 20 %, everything is poured, weighable or not.
    poured = words(bench_plan(jobs, stocks=bottles, on=ON, settings=BathSettings(salt_stock=20)))
    assert "mL of salt are of its solution, 200 g/L." in poured
    # 600 g at 5:1 and 2 %: 3000 − 480 = 2520 mL poured on, half of it 50 g/L: 63 g.
    low = words(bench_plan([Job("low", "navy 2", 600, liquor_ratio=5)], stocks=bottles, on=ON))
    assert "1.26 L solution, 50 g/L: 63 g soda ash 1 h after the dye" in low
