"""One recipe, the same amounts on sheet, plan and first swatches, against sums worked by hand.

Figures of the default settings (common practice): wetted cloth holds 0.8 of its weight; salt, soda
and soda solution by depth in g/L: 0.1 % 20, 5, 30; 0.5 % 30, 5.5, 40; 1 % 40, 6.5, 45; 2 % 50, 8,
50; 4 % 70, 10, 60; 8 % 90, 10, 60. Less than 10 g goes in as a solution: salt 250, soda 100 g/L.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import pytest

from dyemix.bench.bath_sheet import BathSheet, bath_sheet
from dyemix.bench.plan import Job, Need, bench_plan, first_swatches
from dyemix.bench.settings import BathSettings

ON = date(2026, 5, 8)


@dataclass(frozen=True)
class Sum:
    """A bath and what it takes; mL of a solution of salt or soda where grams are too few."""

    cloth_g: float
    owf: float
    ratio: float
    order: str
    stock_pct: float
    dose_ml: float
    dilution: int
    stock_needed_ml: float
    salt_g: float
    salt_ml: float | None
    soda_g: float
    soda_ml: float | None
    made_up_to_ml: float | None
    water_ml: float


BY_HAND = [
    # 5 × 30 = 150 mL, 4 in the cloth. 5 × 0.01 ÷ 1 = 0.05 mL, so 5 mL 1 in 100. Salt 20 × 0.15 = 3,
    # 12 mL; soda 5 × 0.15 = 0.75 g, 7.5 mL. 150 − 4 − 5 − 12 − 7.5 = 121.5.
    Sum(5, 0.01, 30, "after", 1, 5, 100, 10, 3, 12, 0.75, 7.5, 7.5, 121.5),
    # 5 kg: 150 L, 4 L in the cloth. 5000 × 10 ÷ 20 = 2.5 L. Salt 90 × 150 = 13.5 kg; soda 1.5 kg.
    Sum(5000, 10, 30, "after", 20, 2500, 1, 2500, 13500, None, 1500, None, None, 143_500),
    # 4:1: 20 L less 4 L in the cloth is 16 L poured, half of it solution of 60 g/L: 480 g in 8 L.
    Sum(5000, 10, 4, "with", 20, 2500, 1, 2500, 0, None, 480, None, 8000, 5500),
    # 5 g at 4:1: 20 mL, 4 in the cloth. 5 × 1 ÷ 20 = 0.25 mL, 2.5 mL 1 in 10. Presoak 2 × 5 = 10 mL
    # of 45 g/L: 0.45 g, 4.5 mL made up to 10. 20 − 4 − 2.5 = 13.5.
    Sum(5, 1, 4, "presoak", 20, 2.5, 10, 10, 0, None, 0.45, 4.5, 10, 13.5),
    # 4800 mL; 240 × 2 ÷ 2 = 240 mL; salt 50 × 4.8, soda 8 × 4.8; 4800 − 192 − 240 = 4368.
    Sum(240, 2, 20, "with", 2, 240, 1, 240, 240, None, 38.4, None, None, 4368),
    # 12 L, 0.8 L in the cloth; 1000 × 4 ÷ 5 = 800 mL; salt 70 × 12 = 840 g. Presoak 2 L of 60 g/L.
    Sum(1000, 4, 12, "presoak", 5, 800, 1, 800, 840, None, 120, None, 2000, 10_400),
    # 7.5:1, half way to low water: salt 15 × 0.75 = 11.25 g. Poured at 5:1: 420 mL, half solution
    # of 40 g/L: 8.4 g, 84 mL made up to 210. 750 − 80 − 50 − 210 = 410.
    Sum(100, 0.5, 7.5, "after", 1, 50, 1, 50, 11.25, None, 8.4, 84, 210, 410),
    # Salt 20 × 1 = 20 g is weighed; soda 5 × 1 = 5 g is not. 1000 − 40 − 5 − 50 = 905.
    Sum(50, 0.1, 20, "after", 1, 5, 1, 5, 20, None, 5, 50, 50, 905),
]


def three_ways(asked: Sum) -> tuple[BathSheet, BathSheet, BathSheet, Need]:
    """The sheet, its bath in a plan and among first swatches; and the stock that the plan makes."""
    sheet = bath_sheet(
        {"gold": asked.owf}, asked.cloth_g, stocks=asked.stock_pct, liquor_ratio=asked.ratio,
        alkali=asked.order, on=ON, cloth="cotton",
    )  # fmt: skip
    job = Job("a", f"gold {asked.owf}", asked.cloth_g, "cotton", 1, "", asked.ratio, asked.order)
    plan = bench_plan([job], stocks=asked.stock_pct, on=ON)
    first = first_swatches(
        "gold", "cotton", asked.stock_pct, asked.cloth_g, liquor_ratio=asked.ratio,
        alkali=asked.order, on=ON, settings=BathSettings(first_depths=[asked.owf], first_mix=1.0),
    )  # fmt: skip
    return sheet, plan.sheets[0], first.sheets[1], plan.stocks[0]


@pytest.mark.parametrize("asked", BY_HAND)
def test_every_amount_by_hand_on_every_sheet(asked: Sum) -> None:
    *sheets, stock = three_ways(asked)
    assert stock.need_ml == pytest.approx(asked.stock_needed_ml)
    for sheet in sheets:
        (dose,) = sheet.doses
        assert (dose.ml, dose.dilution) == pytest.approx((asked.dose_ml, asked.dilution))
        for part, grams, ml in (
            (sheet.salt, asked.salt_g, asked.salt_ml),
            (sheet.soda, asked.soda_g, asked.soda_ml),
        ):
            assert part.g == pytest.approx(grams)
            assert part.stock_ml == (None if ml is None else pytest.approx(ml))
        made = None if asked.made_up_to_ml is None else pytest.approx(asked.made_up_to_ml)
        assert sheet.soda.solution_ml == made
        assert sheet.water_ml == pytest.approx(asked.water_ml)


def printed(sheet: object) -> str:
    return " ".join(str(sheet).split())


def test_two_salts_and_three_sodas_are_printed() -> None:
    """13.5 kg × 322.19 ÷ 142.04 = 30.6 kg of Glauber's crystals; 1.5 kg of soda ash × 124.00 ÷ 106
    = 1.75 kg of monohydrate, × 286.14 ÷ 105.99 = 4.05 kg of decahydrate.
    """
    sheet, plan, *_ = three_ways(BY_HAND[1])
    text = printed(sheet)
    for words in (
        "13.5 kg salt or anhydrous Glauber's (its crystals 30.6 kg)",
        "1.5 kg soda ash (monohydrate 1.75 kg, decahydrate crystals 4.05 kg",
        "144 L to make up (total less 2.50 L stocks, 4.00 L in the cloth)",
        "gold 10.00 500 by jug 2.50 L ☐",
    ):  # fmt: skip
        assert words in text, words
    assert plan.salt == sheet.salt


def test_large_pieces_are_measured_in_litres_and_jugs() -> None:
    """5 kg at 20 %: 5000 × 20 ÷ 2 would be 50 L of stock, three thousand tablespoons."""
    text = printed(bath_sheet("gold 20", 5000, stocks=2.0, liquor_ratio=30, cloth="cotton"))
    assert "by jug 50.0 L" in text
    assert "tbsp" not in text.split("2. Bath")[0].split("1. Pour")[1]
    assert "share cloth and every amount over 8 pots" in text  # 150 L in pots of 20
    assert "change of scale shifts depth" in text
    small = printed(bath_sheet("gold 1", 240, cloth="cotton"))
    assert "pots" not in small
    assert "change of scale" not in small


@pytest.mark.parametrize("stock_pct", [0.5, 1.0, 2.0, 5.0])
def test_no_dose_is_printed_that_a_kitchen_scale_cannot_weigh(stock_pct: float) -> None:
    """It shows 1 g and weighs from 10 g: below that there are only mL, of what is made of 10 g."""
    for cloth in (2, 5, 60, 240, 2000):
        for owf in (0.03, 0.5, 4):
            jobs = [Job("a", f"gold {owf}", cloth, "cotton")]
            plan = bench_plan(jobs, stocks=stock_pct, on=ON)
            (sheet,) = plan.sheets
            for part in (sheet.salt, sheet.soda):
                assert (part.stock_ml is None) == (part.g >= 10)
            for how in (need.how for need in (*plan.stocks, *plan.solutions)):
                assert how is not None
                assert how.weigh_g >= 10
                assert how.weigh_g == round(how.weigh_g)
                assert how.pct == pytest.approx(100 * how.weigh_g / how.make_ml)


def test_soda_as_a_solution_made_up_by_hand() -> None:
    """60 g at 20:1, 0.5 %: 1200 × 5.5 g/L = 6.6 g is 66 mL of 100 g/L; 10 g make 100 mL of it."""
    sheet = bath_sheet("gold 0.5", 60, stocks=1.0, cloth="cotton")
    words = (
        "66.0 mL of soda solution, 100 g/L (10 g soda ash made up TO 100 mL): 5.5 g/L of the bath"
    )
    assert words in printed(sheet)


def test_a_recipe_rounded_to_spoons_is_not_rounded_again() -> None:
    """36.25, 22.5 and 18.75 mL are 29, 18 and 15 quarter teaspoons; 240 g, of 2 %: % = mL ÷ 120."""
    ml = {"marigold": 36.25, "leaf": 22.5, "black": 18.75}
    sheet = bath_sheet({dye: each / 120 for dye, each in ml.items()}, 240, stocks=2.0)
    assert {dose.dye: dose.ml for dose in sheet.doses} == ml
    assert [dose.spoons.text for dose in sheet.doses] == [
        "2 tbsp + 1¼ tsp", "1 tbsp + 1½ tsp", "1 tbsp + ¾ tsp",
    ]  # fmt: skip
    written = " + ".join(f"{dye} {each} mL" for dye, each in ml.items())
    again = bath_sheet(written, 240, stocks=2.0)
    assert {dose.dye: dose.ml for dose in again.doses} == ml


def test_a_dilution_is_made_once_for_all_baths() -> None:
    """Two doses of 50 and of 60 mL 1 in 10 take two batches of 100 mL, so 20 mL of stock."""
    jobs = [Job("a", "gold 0.05", 100, "cotton"), Job("b", "gold 0.06", 100, "cotton")]
    kit = BathSettings(smallest_dose=20.0)
    plan = bench_plan(jobs, stocks=1.0, on=ON, settings=kit)
    assert [s.doses[0].ml for s in plan.sheets] == [50, 60]
    assert plan.stocks[0].need_ml == 20
    # 1 in 100 of it is made of 10 mL of 1 in 10, which is made of 10 mL of stock.
    weak = bench_plan([Job("a", "gold 0.0006", 100, "cotton")], stocks=1.0, on=ON)
    assert (weak.sheets[0].doses[0].ml, weak.sheets[0].doses[0].dilution) == (6, 100)
    assert weak.stocks[0].need_ml == 10
