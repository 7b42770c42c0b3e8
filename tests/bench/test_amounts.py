"""What a bath sheet tells to measure, against published sums and sums worked by hand."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dyemix.bench.bath_sheet import BathSheet, bath_sheet
from dyemix.bench.settings import ORDERS, BathSettings
from dyemix.bench.stock import ADDED_TO, Bottles, Stock
from dyemix.colour.ciede2000 import delta_e
from dyemix.dataset.recipe import SPOON_SETS
from dyemix.dataset.serialise import from_json
from dyemix.dataset.units import dye_g, stock_ml
from dyemix.errors import DyemixError, RecipeError
from dyemix.model.dyes import DyeSet

Sage = Callable[..., BathSheet]
ON = date(2026, 5, 8)
#: A syringe fine enough to show a sum as it was published.
FINE = BathSettings(measuring_step=0.01, smallest_dose=0.05)


def one_depth(salt: float, soda: float, **more: Any) -> BathSettings:
    """Settings with the same salt and soda, g/L, at every depth and liquor ratio."""
    return replace(FINE, depths=[[1.0, salt, soda]], soda_share=0.0, **more)


# Published sums ---------------------------------------------------------------------------------


def test_stock_of_published_sums(check_values: dict[str, Any]) -> None:
    """Each entry names where it is printed; the sheet's own dose is what is compared."""
    assert len(check_values["stock_ml"]) == 12
    for sum_ in check_values["stock_ml"]:
        sheet = bath_sheet(
            {"dye": sum_["owf_pct"]},
            sum_["cloth_g"],
            stocks=sum_["stock_pct"],
            liquor_ratio=60,
            settings=FINE,
        )
        assert sheet.doses[0].exact_ml == pytest.approx(sum_["ml"], rel=1e-9), sum_["source"]
        assert sheet.doses[0].ml == pytest.approx(sum_["ml"], rel=1e-6), sum_["source"]


def test_known_wrong_sum_is_not_followed(check_values: dict[str, Any]) -> None:
    """One page prints 50 mL for 100 g at 50 % from a 10 % stock; it is 500 mL."""
    assert stock_ml(100, 50, 10) == check_values["known_wrong"]["right_ml"] == 500
    sheet = bath_sheet({"dye": 50}, 100, stocks=10.0)
    assert sheet.doses[0].ml == 500


def test_grams_of_dye(check_values: dict[str, Any]) -> None:
    for sum_ in check_values["dye_g"]:
        assert dye_g(sum_["cloth_g"], sum_["owf_pct"]) == pytest.approx(sum_["g"])
        sheet = bath_sheet({"dye": sum_["owf_pct"]}, sum_["cloth_g"], stocks=2.0)
        assert sheet.doses[0].dye_g == pytest.approx(sum_["g"]), sum_["source"]


def test_auxiliary_stock_of_published_sums(check_values: dict[str, Any]) -> None:
    """textilecalculation.blogspot.com, December 2014 and January 2015."""
    for sum_ in check_values["auxiliary_stock_ml"]:
        cloth, ratio, g_l = sum_["cloth_g"], sum_["liquor_ratio"], sum_["g_per_l"]
        salted = one_depth(g_l, 5.0, salt_stock=sum_["stock_pct"])
        sheet = bath_sheet({}, cloth, liquor_ratio=ratio, settings=salted)
        assert sheet.salt.solution_ml == pytest.approx(sum_["ml"]), sum_["source"]


def test_whole_published_bath(check_values: dict[str, Any]) -> None:
    """textilecalculation.blogspot.com, January 2015: 5 g, 10:1, six parts, 12.5 mL of water.

    That sum takes the cloth for dry. Which part is dye is ours: salt 40 g/L from 20 % is 10 mL
    and soda 10 g/L from 20 % is 2.5 mL in the same source.
    """
    bath = check_values["whole_bath"]
    kit = one_depth(40.0, 10.0, salt_stock=20.0, soda_stock=20.0)
    recipe = {"a": 0.5, "b": 1.0, "c": 1.5, "d": 2.0}  # 2.5, 5, 7.5, 10 mL of 1 % stock
    dry = bath_sheet(
        recipe, bath["cloth_g"], liquor_ratio=bath["liquor_ratio"], settings=kit, wetted=False
    )
    parts = [*(d.ml for d in dry.doses), dry.salt.solution_ml, dry.soda.into_bath_ml]
    assert sorted(parts) == pytest.approx(sorted(bath["parts_ml"]))
    assert dry.total_ml == bath["total_ml"]
    assert dry.water_ml == pytest.approx(bath["water_ml"])
    # Wrung cloth holds 60–100 % of its weight (common practice), which that sum forgets.
    wet = bath_sheet(recipe, bath["cloth_g"], liquor_ratio=10, settings=kit)
    assert wet.water_ml == pytest.approx(12.5 - 0.80 * 5)


def test_washing_soda_crystals_by_molar_mass(sage: Sage) -> None:
    """Na2CO3·10H2O to Na2CO3, standard atomic weights (IUPAC 2021, abridged)."""
    sodium, carbon, oxygen, hydrogen = 22.990, 12.011, 15.999, 1.008
    ash = 2 * sodium + carbon + 3 * oxygen
    crystals = ash + 10 * (2 * hydrogen + oxygen)
    assert sage().settings.crystals == pytest.approx(crystals / ash, rel=1e-3)
    monohydrate = ash + 2 * hydrogen + oxygen
    assert sage().settings.soda_monohydrate == pytest.approx(monohydrate / ash, rel=1e-3)
    sulphur = 32.06
    sulphate = 2 * sodium + sulphur + 4 * oxygen
    glauber = sulphate + 10 * (2 * hydrogen + oxygen)
    assert sage().settings.glauber_crystals == pytest.approx(glauber / sulphate, rel=1e-3)


# Sums worked by hand ----------------------------------------------------------------------------

#: 240 g, navy 0.22 % + gold 0.40 % + scarlet 0.05 % from stocks of 2 %: 240 × 0.22 ÷ 2 = 26.4 mL,
#: 48 mL and 6 mL, 80.4 in all. At 0.67 %, 0.34 of the way from 0.5 to 1, salt is 30 + 0.34 × 10 =
#: 33.4 g/L, soda 5.5 + 0.34 = 5.84 g/L, a soda solution 40 + 0.34 × 5 = 41.7 g/L (the defaults).
SAGE_ML = {"navy": 26.4, "gold": 48.0, "scarlet": 6.0}


@pytest.mark.parametrize(
    ("changes", "total", "holds", "salt_g", "soda_g", "soda_ml", "into_bath", "water"),
    [
        # Stirred, 20:1: 240 × 20 = 4800 mL. Wetted cloth holds 0.8 × 240 = 192. Salt 33.4 × 4.8 =
        # 160.32 g, soda 5.84 × 4.8 = 28.032 g, dry. Water 4800 − 80.4 − 192.
        ({}, 4800, 192, 160.32, 28.032, None, 0, 4527.6),
        ({"alkali": "with"}, 4800, 192, 160.32, 28.032, None, 0, 4527.6),
        # Dry cloth holds nothing yet: 4800 − 80.4.
        ({"wetted": False}, 4800, 0, 160.32, 28.032, None, 0, 4719.6),
        # 30:1: 7200 mL; salt 240.48 g, soda 42.048 g; 7200 − 80.4 − 192.
        ({"liquor_ratio": 30}, 7200, 192, 240.48, 42.048, None, 0, 6927.6),
        # Salt and soda asked: 60 × 4.8 = 288 g, 9 × 4.8 = 43.2 g.
        ({"salt": 60, "soda": 9}, 4800, 192, 288, 43.2, None, 0, 4527.6),
        # 10:1: 2400 mL; salt 80.16 g; soda as in low water, below, for 14.016 g would be less.
        ({"liquor_ratio": 10}, 2400, 192, 80.16, 21.0168, None, 0, 2127.6),
        # 7.5:1, half way to low water: 1800 mL, salt half of 33.4 × 1.8; soda as in low water.
        ({"liquor_ratio": 7.5}, 1800, 192, 30.06, 21.0168, 504, 504, 1023.6),
        # Low water, 5:1: 1200 mL, no salt. What is poured on is 1200 − 192 = 1008, half of it soda
        # solution of 41.7 g/L: 504 mL, 21.0168 g. Water 504 − 80.4.
        ({"liquor_ratio": 5}, 1200, 192, 0, 21.0168, 504, 504, 423.6),
        ({"liquor_ratio": 5, "wetted": False}, 1200, 0, 0, 25.02, 600, 600, 519.6),
        # Its solution asked, 50 g/L: 25.2 g in the same 504 mL.
        ({"liquor_ratio": 5, "soda_solution": 50}, 1200, 192, 0, 25.2, 504, 504, 423.6),
        ({"liquor_ratio": 5, "soda": "50 g/L solution"}, 1200, 192, 0, 25.2, 504, 504, 423.6),
        # 15 g/L of the 1200 mL: 18 g in 18 ÷ 41.7 L; water 1200 − 192 − 80.4 − 431.7.
        ({"liquor_ratio": 5, "soda": 15}, 1200, 192, 0, 18, 431.655, 431.655, 495.945),
        # A presoak of 50 g/L: 24 g in 480 mL.
        ({"liquor_ratio": 5, "alkali": "presoak", "soda": 50}, 1200, 192, 0, 24, 480, 0, 927.6),
        # Presoak in low water: 2 mL a g = 480 mL of 41.7 g/L, 20.016 g; it brings no liquid of its
        # own. Water 1200 − 80.4 − 192; presoaked cloth is wet whatever is said.
        ({"liquor_ratio": 5, "alkali": "presoak"}, 1200, 192, 0, 20.016, 480, 0, 927.6),
        (
            {"liquor_ratio": 5, "alkali": "presoak", "wetted": False},
            1200, 192, 0, 20.016, 480, 0, 927.6,
        ),
    ],
)  # fmt: skip
def test_bath_against_sums_worked_by_hand(
    sage: Sage, changes: dict[str, Any], total: float, holds: float, salt_g: float, soda_g: float,
    soda_ml: float | None, into_bath: float, water: float,
) -> None:  # fmt: skip
    sheet = sage(**changes)
    assert {d.dye: d.ml for d in sheet.doses} == pytest.approx(SAGE_ML)
    assert (sheet.total_ml, sheet.cloth_holds_ml) == pytest.approx((total, holds))
    assert (sheet.salt.g, sheet.soda.g) == pytest.approx((salt_g, soda_g))
    assert sheet.soda.solution_ml == (None if soda_ml is None else pytest.approx(soda_ml))
    assert (sheet.soda.into_bath_ml, sheet.water_ml) == pytest.approx((into_bath, water))


def test_stocks_of_salt_and_soda_by_hand(sage: Sage) -> None:
    """160.32 g of a 20 % (200 g/L) solution is 801.6 mL; 28.032 g of a 10 % one 280.32 mL."""
    sheet = sage(settings=BathSettings(salt_stock=20.0, soda_stock=10.0))
    assert (sheet.salt.solution_ml, sheet.soda.solution_ml) == pytest.approx((801.6, 280.32))
    assert (sheet.salt.g, sheet.soda.g) == pytest.approx((160.32, 28.032))
    # 4800 − 80.4 − 192 − 801.6 − 280.32.
    assert sheet.water_ml == pytest.approx(3445.68)


def test_a_share_of_soda_solution_by_hand() -> None:
    """100 g at 5:1, dry: half as much solution as dye liquor is 500 ÷ 3 of 500 mL."""
    sheet = bath_sheet({"gold": 1}, 100, liquor_ratio=5, wetted=False,
                       settings=BathSettings(soda_share=0.5, soda_solution=60.0))  # fmt: skip
    assert sheet.soda.into_bath_ml == pytest.approx(166.667, abs=0.001)
    assert sheet.soda.g == pytest.approx(10.0)
    assert sheet.poured_ml == pytest.approx(333.333, abs=0.001)
    assert sheet.soda.g_l == pytest.approx(20.0)


@pytest.mark.parametrize(
    ("depth", "salt", "soda"),
    [(0.05, (20, 30), 5), (0.3, (20, 30), 5.25), (1, (40, 50), 6.5), (2, (40, 50), 8),
     (4, (60, 80), 10), (8, (80, 100), 10), (12, (80, 100), 10)],
)  # fmt: skip
def test_salt_and_soda_by_depth(depth: float, salt: tuple[int, int], soda: float) -> None:
    """Ranges of common practice; soda 5 g/L pale to 10 dark, by bath volume."""
    sheet = bath_sheet({"gold": depth}, 100, stocks=4.0, liquor_ratio=20)
    assert salt[0] <= sheet.salt.g_l <= salt[1]
    assert sheet.salt.g == pytest.approx(sheet.salt.g_l * 2.0)
    assert sheet.soda.g == pytest.approx(soda * 2.0)
    assert sheet.soda.g_l == pytest.approx(soda)


def test_presoak_is_diluted_by_the_bath() -> None:
    """80 mL of 45 g/L, held by 100 g of cloth, in 2 L: 1.8 g/L."""
    sheet = bath_sheet("gold 1", 100, liquor_ratio=20, alkali="presoak")
    assert sheet.soda.g_l == pytest.approx(1.8)


def test_small_dose_gets_a_weaker_stock() -> None:
    """0.01 % of 5 g from 2 % is 0.025 mL: a hundredfold weaker stock makes 2.5 mL of it."""
    sheet = bath_sheet("gold 0.01", 5, stocks=2.0)
    (dose,) = sheet.doses
    assert (dose.dilution, dose.exact_ml) == (100, pytest.approx(2.5))
    assert dose.needed_ml == 10
    with pytest.raises(RecipeError, match="too little even of a stock 1 in 1000"):
        bath_sheet({"gold": 1e-5}, 5, stocks=2.0)


def test_added_to_takes_more_of_the_stock() -> None:
    """'5 g added to 100 mL' is about 3 % weaker than made up to it (common practice)."""
    plain = bath_sheet("gold 1", 100, stocks=[Stock("gold", 5)])
    weaker = bath_sheet("gold 1", 100, stocks=[Stock("gold", 5, how=ADDED_TO)])
    assert weaker.doses[0].exact_ml / plain.doses[0].exact_ml == pytest.approx(1.03)
    assert "really 4.85 %" in str(weaker)


def test_a_recipe_in_a_line_of_stock() -> None:
    """240 g: 0.5 % of 2 % is 60 mL, 0.01 % of 1 % is 2.4, so 24 of 1 in 10; 1 L is a litre."""
    bottles = Bottles.of([Stock("gold", 2), Stock("", 1)], BathSettings())
    line = bottles.words({"gold": 0.5, "navy": 0.01}, 240)
    assert line == "gold 60 mL + navy 24 mL of 1 in 10"
    assert bottles.strengths(["gold", "navy"]) == "gold 2 %, navy 1 %"
    assert bottles.strengths(["rust", "navy"]) == "1 %"
    (litre,) = bottles.doses({"navy": 1}, 1000)
    assert litre.measure == "1.00 L"
    (less,) = bottles.doses({"navy": 0.999}, 1000)
    assert less.measure == "999 mL"


def test_newest_bottle_is_taken() -> None:
    bottles = [
        Stock("gold", 2, date(2026, 5, 7)),
        Stock("gold", 4, date(2026, 5, 1)),
        Stock("gold", 1),
    ]
    assert bath_sheet("gold 1", 100, stocks=bottles, on=ON).doses[0].stock == bottles[0]


@pytest.mark.parametrize("spoons", SPOON_SETS)
def test_one_recipe_in_percent_in_ml_and_in_spoons(spoons: str) -> None:
    """240 g, 2 % stock: 1 tbsp is 2 × its mL ÷ 240 % owf; the sheet gives the same volume back."""
    kit = BathSettings(spoons=spoons, measuring_step=0.01)
    ml = SPOON_SETS[spoons]["tbsp"]
    in_spoons = bath_sheet("gold 3 tbsp", 240, stocks=2.0, settings=kit)
    in_ml = bath_sheet(f"gold {3 * ml} mL", 240, stocks=2.0, settings=kit)
    in_percent = bath_sheet({"gold": 3 * ml * 2 / 240}, 240, stocks=2.0, settings=kit)
    for sheet in (in_spoons, in_ml, in_percent):
        (dose,) = sheet.doses
        assert dose.exact_ml == pytest.approx(3 * ml)
        assert dose.spoons.text == "3 tbsp"
        assert dose.owf == pytest.approx(3 * ml * 2 / 240)
    (assumed,) = bath_sheet("gold 3 tbsp", 240, settings=kit).doses
    assert (assumed.exact_ml, assumed.stock.strength_pct) == (pytest.approx(3 * ml), 1.0)


def test_spoons_of_a_stock_that_was_added_to_hold_less() -> None:
    """5 g added to 100 mL is 5 ÷ 1.03 %: 10 mL on 100 g are 0.4854 % owf, and 10 mL again."""
    (dose,) = bath_sheet("gold 10 mL", 100, stocks=[Stock("gold", 5, how=ADDED_TO)]).doses
    assert dose.owf == pytest.approx(0.48544, abs=1e-5)
    assert dose.exact_ml == pytest.approx(10)


def test_rounding_is_told_in_colour(sage: Sage, dyed: Callable[..., DyeSet]) -> None:
    """What spoons do to the colour, recomputed from the volumes in words."""
    dyes, sheet = dyed(), sage()
    spooned = {d.dye: d.owf * _spoon_ml(d.spoons.text, "metric") / d.exact_ml for d in sheet.doses}
    miss = delta_e(dyes.predict(dict(sheet.recipe)).lab, dyes.predict(spooned).lab)
    assert sheet.spoon_miss == pytest.approx(float(miss))
    assert sheet.spoon_miss is not None
    assert sheet.syringe_miss is not None
    assert sheet.spoon_miss > sheet.syringe_miss


# Whatever is asked ------------------------------------------------------------------------------

RECIPES = st.dictionaries(
    st.sampled_from(["gold", "scarlet", "navy", "turquoise"]), st.floats(1e-4, 8), max_size=4
)
ANY_ORDER = st.sampled_from(list(ORDERS))
KITS = st.builds(
    BathSettings,
    wet_pickup=st.floats(60, 100),
    soda_share=st.floats(0, 2),
    spoons=st.sampled_from(list(SPOON_SETS)),
    units=st.sampled_from(["metric", "us"]),
    salt_stock=st.none() | st.floats(20, 30),
    soda_stock=st.none() | st.floats(15, 20),
    measuring_step=st.sampled_from([0.1, 0.2, 0.5, 1.0]),
)


def _spoon_ml(text: str, spoons: str) -> float:
    """What the words of a spoon measure hold, read back by another way."""
    if jug := re.fullmatch(r"([\d.]+) (mL|L)", text):
        return float(jug[1]) * (1000.0 if jug[2] == "L" else 1.0)
    total = 0.0
    for amount, unit in re.findall(r"([\d¼½¾]+) (tbsp|tsp)", text):
        sign = {"¼": Fraction(1, 4), "½": Fraction(1, 2), "¾": Fraction(3, 4)}
        whole = int(amount.strip("¼½¾") or 0)
        number = whole + sum(sign.get(letter, 0) for letter in amount)
        total += float(number) * SPOON_SETS[spoons][unit]
    return total


@settings(max_examples=25, deadline=None)
@given(RECIPES, st.floats(2, 3000), st.floats(2, 40), ANY_ORDER, st.booleans(), KITS)
def test_volumes_add_up(
    recipe: dict[str, float], cloth: float, ratio: float, order: str, wet: bool, kit: BathSettings
) -> None:
    """Every liquid and what the cloth holds make the total; no dose is lost; it comes back."""
    try:
        sheet = bath_sheet(
            recipe, cloth, stocks=2.0, liquor_ratio=ratio, alkali=order, wetted=wet, settings=kit,
            on=ON,
        )  # fmt: skip
    except DyemixError as error:
        refusal = str(error)
    else:
        refusal = ""
    if refusal:
        assert "does not hold it" in refusal or "too little even" in refusal
        return
    held = cloth * kit.wet_pickup / 100 if wet or order == "presoak" else 0.0
    liquids = sheet.poured_ml + sheet.soda.into_bath_ml + held
    assert liquids == pytest.approx(cloth * ratio, rel=1e-6)
    assert sheet.water_ml >= 0
    assert [d.dye for d in sheet.doses] == list(recipe)
    for dose in sheet.doses:
        assert dose.ml > 0
        assert dose.exact_ml >= kit.smallest_dose * (1 - 1e-9)
        # Dye in the measured volume, against the recipe.
        grams = dose.ml / dose.dilution * 2.0 / 100
        assert 100 * (grams / (cloth * dose.owf / 100) - 1) == pytest.approx(dose.error_pct)
        mark = kit.measuring_step if dose.exact_ml < 100 else 0.01 * dose.exact_ml
        assert abs(dose.ml - dose.exact_ml) <= max(mark, kit.measuring_step) / 2 + 1e-6
        held_by_spoons = _spoon_ml(dose.spoons.text, kit.spoons)
        error = 100 * (held_by_spoons / dose.exact_ml - 1)
        assert dose.spoons.error_pct == pytest.approx(error, abs=1e-6)
        assert held_by_spoons > 0
    assert from_json(BathSheet, sheet.to_json()) == sheet
    assert max(map(len, str(sheet).splitlines())) <= 100


@settings(max_examples=20, deadline=None)
@given(st.floats(0.01, 8), st.floats(2, 9), ANY_ORDER, st.none() | st.floats(20, 30))
def test_cures_for_a_full_bath_cure_it(
    depth: float, ratio: float, order: str, salt_stock: float | None
) -> None:
    kit = BathSettings(salt_stock=salt_stock)

    def sheet(stock: float, at: float) -> BathSheet:
        return bath_sheet(
            {"gold": depth}, 30, stocks=stock, liquor_ratio=at, alkali=order, settings=kit
        )

    try:
        sheet(1.0, ratio)
    except DyemixError as error:
        text = str(error)
    else:
        return
    assert "more liquor" in text
    assert sheet(1.0, 40).water_ml >= 0
    stronger = re.search(r"stocks ([\d.]+) times", text)
    if stronger is not None and float(stronger[1]) <= 20:
        # Half a mark of the syringe may round up.
        assert sheet(min(20.0, 1.02 * float(stronger[1])), ratio).water_ml >= 0


def test_full_bath_says_the_numbers() -> None:
    with pytest.raises(
        DyemixError, match=r"480 mL of stocks .* 240 mL in the cloth is 720 mL"
    ) as e:
        bath_sheet(
            {"gold": 2}, 240, liquor_ratio=2.5, alkali="presoak",
            settings=BathSettings(wet_pickup=100),
        )  # fmt: skip
    # 600 − 240 leaves 360 mL for 480.
    assert "the total liquor is 600 mL. Use stocks 1.4 times as strong, or more" in str(e.value)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"liquor_ratio": 0}, "out of range: 1 to 200"),
        ({"pieces": 0}, "out of range"),
        ({"hours": -1}, "out of range"),
        ({"temperature": 120}, "below 100 °C"),
        ({"salt": 400}, "0 to 360 g/L"),
        ({"salt": float("nan")}, "out of range"),
        ({"stocks": 0.0}, "at most 20"),
        ({"alkali": "whenever"}, "presoak, with, after"),
    ],
)
def test_amounts_out_of_range(sage: Sage, changes: dict[str, Any], says: str) -> None:
    with pytest.raises(DyemixError, match=says):
        sage(**changes)


@pytest.mark.parametrize("cloth", [0, -1, float("nan"), float("inf")])
def test_no_cloth_is_refused(cloth: float) -> None:
    with pytest.raises(DyemixError, match="dry weight"):
        bath_sheet("gold 1", cloth)


def test_a_dye_without_stock_or_swatches_is_named(sage: Sage, dyed: Callable[..., DyeSet]) -> None:
    with pytest.raises(RecipeError, match="no stock of navy"):
        sage(stocks=[Stock("gold", 2)], dyes=None)
    with pytest.raises(RecipeError, match="plum"):
        bath_sheet("plum 1", 100, dyes=dyed())
