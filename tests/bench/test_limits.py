"""Every figure of the bench at its limits: what is just in, just out, and what none may change."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import FrozenInstanceError, replace
from datetime import date
from functools import partial
from typing import Any

import numpy as np
import pytest

from dyemix.bench.bath_sheet import BathSheet, bath_sheet, dyeable
from dyemix.bench.method import Fibre, Method, soda_by_volume, stated
from dyemix.bench.settings import BathSettings
from dyemix.bench.stock import Bottles, Stock, stock_sheet
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError
from dyemix.matching.advice import choose
from tests.bench.conftest import four_dyes

Sage = Callable[..., BathSheet]
ON = date(2026, 5, 8)
USUAL: dict[str, Any] = {
    "liquor_ratio": 20, "alkali": "after", "salt": 40, "temperature": 21, "hours": 24,
}  # fmt: skip

# Stocks and doses ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("make_ml", "sound"), [(1, True), (100_000, True), (100_000.5, False)])
def test_how_much_stock_is_made(make_ml: float, sound: bool) -> None:
    if sound:
        assert stock_sheet("navy", 2, make_ml, made=ON).how.up_to_ml >= make_ml
    else:
        with pytest.raises(DyemixError, match="at most 100 000 mL"):
            stock_sheet("navy", 2, make_ml, made=ON)


@pytest.mark.parametrize("left_ml", [-0.5, float("inf"), float("nan")])
def test_what_cannot_be_left_in_a_bottle(left_ml: float) -> None:
    assert Stock("navy", 2, left_ml=0).left_ml == 0
    with pytest.raises(DyemixError, match="not a volume left over"):
        Stock("navy", 2, left_ml=left_ml)


def test_a_stock_of_today_is_none_of_tomorrow() -> None:
    assert Stock("navy", 2, ON).age_days(ON) == 0
    with pytest.raises(DyemixError, match="mend one date"):
        Stock("navy", 2, date(2026, 5, 9)).age_days(ON)


def test_one_strength_is_that_of_every_dye() -> None:
    bottles = Bottles.of(2.0, BathSettings())
    assert bottles.of_dye("navy") == Stock("navy", 2.0)
    assert Bottles.of([Stock("navy", 4)], BathSettings()).of_dye("navy") == Stock("navy", 4)


def test_what_rounding_does_is_said_from_half_a_per_cent(sage: Sage) -> None:
    dose = sage().doses[0]
    for error, words in ((0.5, "48 mL"), (0.51, "48 mL (+1 %)"), (-1.2, "48 mL (-1 %)")):
        assert replace(dose, error_pct=error).measure == words


@pytest.mark.parametrize(
    ("ml", "ticks"), [(30, "☐☐"), (36.25, "☐☐ ☐ 1¼ tsp"), (6.25, " ☐ 1¼ tsp"), (15, "☐")]
)
def test_a_box_for_every_spoon(ml: float, ticks: str) -> None:
    (dose,) = bath_sheet(f"gold {ml} mL", 100, stocks=1.0).doses
    assert dose.ticks == ticks


def test_a_tablespoon_is_as_large_as_its_set_says() -> None:
    """14.78676 mL, to hundredths, where a syringe shows 14.8."""
    (dose,) = bath_sheet("gold 1 tbsp", 100, stocks=1.0, settings=BathSettings(spoons="us")).doses
    assert dose.ml == 14.79


def test_spoons_go_up_to_where_the_jug_begins() -> None:
    """90 mL are 6 tablespoons; to marks of 7 mL they would be 91, and 105 are 105 either way."""
    kit = BathSettings(measuring_step=7.0)
    for ml, measured in ((90, 90), (91.25, 91), (120, 119)):
        (dose,) = bath_sheet(f"gold {ml} mL", 100, stocks=1.0, settings=kit).doses
        assert dose.ml == measured


def test_powder_added_to_water_is_weaker_by_hand() -> None:
    """5 g that take up 3 mL in 100 mL of water: 100 ÷ 103 is 2.9126 % less."""
    assert stock_sheet("navy", 5, 400).added_to_error_pct == pytest.approx(-2.9126, abs=1e-4)


# Methods ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("liquor_ratio", 1, 200), ("salt", 0, 360), ("soda", 0.1, 215),
        ("soda_solution", 0.1, 215), ("temperature", 0.1, 99.9), ("hours", 0.01, 480),
    ],
)  # fmt: skip
def test_the_range_of_every_figure(name: str, low: float, high: float) -> None:
    for value in (low, high):
        assert getattr(Method(**{**USUAL, name: value}), name) == value
    for value in (low - 0.005, high + 0.05, float("nan")):
        with pytest.raises(DyemixError, match=f"{name.replace('_', ' ')} of .* is out of range"):
            Method(**{**USUAL, name: value})


@pytest.mark.parametrize(
    ("name", "example"),
    [("liquor_ratio", "20:1"), ("salt", "50 g/L"), ("soda", "8 g/L"), ("soda_solution", "50 g/L"),
     ("temperature", "24 °C"), ("hours", "24 h")],
)  # fmt: skip
def test_words_that_are_no_figure_are_told_by_an_example(name: str, example: str) -> None:
    with pytest.raises(DyemixError, match=f"write it as '{example}'"):
        stated(name, "plenty")
    assert stated(name, example) == float(example.split()[0].split(":")[0])
    assert stated(name, 7.5) == 7.5


def test_no_soda_by_volume_where_nothing_is_poured() -> None:
    """Cloth that holds more than the liquor; and 1 mL a g of dry cloth, half of it 45 g/L."""
    settings = BathSettings()
    assert soda_by_volume(1.0, 1.5, 45.0, settings) == 0.0
    assert soda_by_volume(1.0, 0.0, 45.0, settings) == pytest.approx(22.5)


def test_salt_of_swatches_in_little_liquor_lessens_by_its_share() -> None:
    """7.5:1 is half way to a stirred bath and 6:1 a fifth: two fifths of 30 g/L; at 20:1 all."""
    dyes = four_dyes(conditions={"liquor ratio": "7.5:1", "salt": "30 g/L"})
    for ratio, salt in ((6, 12), (7.5, 30), (20, 30)):
        sheet = bath_sheet("gold 1", 100, stocks=5.0, dyes=dyes, liquor_ratio=ratio)
        assert sheet.salt.g_l == pytest.approx(salt)


def test_another_order_is_told_by_what_it_may_do(sage: Sage) -> None:
    (told,) = (w for w in sage(alkali="with").warnings if "unlike" in w)
    assert "the piece may come in another depth, hue and levelness" in told


@pytest.mark.parametrize(
    ("words", "sound"),
    [("cotton 60 %, linen 38 %", True), ("cotton 60 %, linen 37.9 %", False),
     ("cotton 60 %, linen 42 %", True), ("cotton 60 %, linen 42.1 %", False)],
)  # fmt: skip
def test_shares_make_the_whole_to_two_per_cent(words: str, sound: bool) -> None:
    if sound:
        assert Fibre.of(words).names == ("cotton", "linen")
    else:
        with pytest.raises(DyemixError, match="its fibres are 100 % together"):
            Fibre.of(words)


def test_only_what_is_used_can_lack_a_price() -> None:
    """No salt in low water; 0.75 g of soda ash is some, and so is 3 g of salt."""
    kit = BathSettings(dye_cost={"": 1.0}, soda_cost=0.01)
    low = bath_sheet("gold 1", 100, stocks=5.0, liquor_ratio=5, settings=kit)
    assert low.cost is not None
    assert low.cost.unpriced == ()
    small = bath_sheet("gold 0.01", 5, liquor_ratio=30, settings=BathSettings(salt_cost=0.01))
    assert small.cost is not None
    assert small.cost.unpriced == ("gold", "soda ash")
    assert small.cost.total == pytest.approx(0.03)


def test_nothing_on_a_sheet_is_changed_afterwards(sage: Sage) -> None:
    sheet = sage(settings=BathSettings(salt_cost=0.1))
    stock = stock_sheet("navy")
    parts = (sheet, sheet.method, sheet.salt, sheet.cost, sheet.fibre, sheet.doses[0], stock,
             stock.bottle, stock.how, Bottles.of(1.0, BathSettings()))  # fmt: skip
    for part in parts:
        with pytest.raises(FrozenInstanceError):
            part.anything = 1  # type: ignore[union-attr]


# Baths --------------------------------------------------------------------------------------------


def refusal(recipe: str = "gold 4", **changes: Any) -> str:
    asked = {"cloth_g": 100, "stocks": 1.0, "alkali": "presoak", **changes}
    with pytest.raises(DyemixError, match="the bath does not hold it") as refused:
        bath_sheet(recipe, **asked)
    return str(refused.value).split("mL. Use ")[1]


def test_the_cure_for_a_full_bath() -> None:
    """400 mL of stock. Where the cloth leaves no room, or what is too much is a weak stock mixed on
    the day, a stronger bottle does not help.
    """
    more = "more liquor (a higher ratio)."
    assert refusal(liquor_ratio=3, settings=BathSettings(wet_pickup=100)) == (
        f"stocks 2 times as strong, or {more}"
    )
    # Half a mL is left: 800 times.
    tiny = refusal(liquor_ratio=2, settings=BathSettings(wet_pickup=199.5))
    assert tiny == f"stocks 800 times as strong, or {more}"
    for pickup in (100, 150):
        assert refusal(liquor_ratio=1, settings=BathSettings(wet_pickup=pickup)) == more
    # A stirred bath's soda, some 6 g/L of 500 mL, is nearly all of them at 8 g/L.
    weak = {"liquor_ratio": 5, "alkali": "with", "soda_solution": 8}
    assert refusal("gold 1", **weak) == f"a soda solution stronger than 8 g/L, or {more}"
    assert bath_sheet("gold 1", 100, stocks=1.0, **(weak | {"soda_solution": 45}))
    # As strong as it is made at the least, 210 mL with the salt's; 210 are left for 400 of stock.
    for soda, cure in (
        (29.9, "a soda solution stronger than 29.9 g/L"),
        (30, "stocks 2 times as strong"),
    ):
        told = refusal("gold 4", **(weak | {"soda_solution": soda}))
        assert told == f"{cure}, or {more}"
    # Of 30 mL 20 are left, where the least of a stock that was made weaker is measured or not.
    asked = {"cloth_g": 10, "liquor_ratio": 3, "stocks": 10.0}
    weaker = "a weaker stock, that needs no dilution, or "
    for smallest, cure in ((15, weaker), (20, weaker), (20.1, "")):
        weak = BathSettings(smallest_dose=smallest, wet_pickup=100)
        assert refusal(**asked, settings=weak) == cure + more
    # 15 or 16 mL of gold that are measured as they are, and 5 of navy at the least.
    kit = BathSettings(smallest_dose=5, wet_pickup=100)
    for gold, cure in ((15, weaker), (16, "")):
        told = refusal(f"gold {gold} + navy 0.4", **asked, settings=kit)
        assert told == cure + more


def test_a_bath_that_is_just_full_takes_no_water() -> None:
    """400 mL of stock and 100 in the cloth are 500; a hundred-thousandth of a mL more is none."""
    for pickup in (100.0, 100.00001):
        kit = BathSettings(wet_pickup=pickup)
        sheet = bath_sheet("gold 4", 100, liquor_ratio=5, alkali="presoak", settings=kit)
        assert sheet.water_ml == 0.0
    assert "stocks 1.1 times" in refusal(liquor_ratio=5, settings=BathSettings(wet_pickup=100.01))


@pytest.mark.parametrize(("cloth_g", "pots"), [(999, 1), (1000, 1), (1000.5, 2), (2000.5, 3)])
def test_a_pot_takes_twenty_litres(cloth_g: float, pots: int) -> None:
    text = " ".join(str(bath_sheet("gold 1", cloth_g)).split())
    assert (f"every amount over {pots} pots" in text) == (pots > 1)


def test_how_much_cloth_and_how_many_pieces() -> None:
    assert bath_sheet("undyed", 1_000_000).cloth_g == 1_000_000
    assert bath_sheet("undyed", 0.5, pieces=1).pieces == 1
    with pytest.raises(DyemixError, match="out of range"):
        bath_sheet("undyed", 1_000_000.5)


def test_what_was_taken_from_the_swatches_is_named() -> None:
    """Not what was asked for, be it the same, nor what little liquor has changed."""
    dyes = four_dyes(conditions={"liquor ratio": "20:1", "salt": "50 g/L", "hours": "24"})
    how: dict[str, Any] = {"stocks": 5.0, "dyes": dyes}
    assert bath_sheet("gold 1", 100, **how).as_swatches == ("liquor ratio", "salt", "hours")
    assert bath_sheet("gold 1", 100, salt=50, **how).as_swatches == ("liquor ratio", "hours")
    assert bath_sheet("gold 1", 100, liquor_ratio=7.5, **how).as_swatches == ("hours",)


def test_one_dye_is_the_palest_and_of_two_nobody_knows_without_swatches() -> None:
    assert bath_sheet("gold 1", 100).palest_first
    assert bath_sheet("undyed", 100).palest_first
    assert not bath_sheet("gold 1 + navy 1", 100).palest_first


def test_dyes_are_ranked_by_their_lightness_at_one_per_cent() -> None:
    """Of one hue, 1.3 times as strong at 1 % and, by its law, less so at 2 %: 1.97 to 2. Of two
    hues by L* and not by b*: a strong yellow is darker than a weak turquoise.
    """
    dyes = four_dyes()
    gold, _, turquoise, _ = dyes.whole.curves
    curves = np.array([gold, 1.3 * gold, 0.1 * turquoise, 40.0 * gold])
    law = np.array([[1.0, 0.0], [0.6, 0.0], [1.0, 0.0], [1.0, 0.0]])
    dyes = replace(dyes, ladders=replace(dyes.ladders, curves=curves, law=law))
    for recipe, order in (
        ("scarlet 1 + gold 1", ["gold", "scarlet"]),
        ("navy 1 + turquoise 1", ["turquoise", "navy"]),
    ):
        sheet = bath_sheet(recipe, 100, stocks=5.0, dyes=dyes)
        assert [dose.dye for dose in sheet.doses] == order


def test_what_to_expect_is_of_level_cloth_from_ten_to_one_on() -> None:
    dyes, target = four_dyes(), Target.parse("80 5 60 D65/10")
    expect = [
        bath_sheet("gold 1", 100, stocks=5.0, dyes=dyes, target=target, liquor_ratio=ratio).expect
        for ratio in (20, 10, 9.9)
    ]
    assert expect[0] == expect[1] != expect[2]


@pytest.mark.parametrize(
    ("cloth", "fibre", "named"),
    [("", "linen", "linen"), ("napkin", "linen", "napkin (linen)"), ("linen", "", "linen"),
     ("linen", "linen", "linen"), ("", "", "")],
)  # fmt: skip
def test_the_cloth_by_its_name_and_its_fibres(cloth: str, fibre: str, named: str) -> None:
    assert bath_sheet("gold 1", 100, cloth=cloth, fibre=fibre).fibre_named == named


def test_what_the_bottles_still_give() -> None:
    """60 mL of 2 % hold 1.2 g, 0.5 % of 240 g; of a bottle for every dye, or without a note of what
    is left, nobody knows.
    """
    bottles = Bottles.of(
        [Stock("gold", 2, left_ml=60), Stock("navy", 2), Stock("", 1, left_ml=9)], BathSettings()
    )
    assert bottles.left(240) == {"gold": pytest.approx(0.5)}


@pytest.mark.parametrize(("ratio", "deepest"), [("20:1", 12.0), ("5:1", 2.1)])
def test_the_next_square_is_one_that_its_bath_holds(ratio: str, deepest: float) -> None:
    """Of 5:1 less 0.8 mL that the cloth holds, half is soda solution: 2.1 mL of 1 % stock a gram.

    A mix paler than half of the recipe is among them then.
    """
    dyes = four_dyes(conditions={"liquor ratio": ratio, "alkali": "with", "salt": "none"})
    fits = partial(dyeable, dyes=dyes, cloth_g=10.0)
    found = choose(dyes, [Recipe({"gold": 4.0, "scarlet": 4.0, "navy": 4.0})], 40, fits)
    assert max(choice.recipe.total for choice in found.choices) <= deepest
    assert any(len(choice.recipe) > 1 for choice in found.choices)
    for choice in found.choices:
        bath_sheet(choice.recipe, 10.0, dyes=dyes)
    assert ("squares were left out" in str(found)) == (deepest < 12.0)
    with pytest.raises(DyemixError, match=r"none of \d+ squares can be dyed"):
        choose(dyes, [Recipe({"gold": 4.0})], 1, partial(fits, stocks=0.002))
