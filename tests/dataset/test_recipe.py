"""Recipes, and amounts of stock against sums printed elsewhere (tests/data/check_values.json)."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dyemix.dataset.recipe import (
    DEEP_OWF,
    SPOON_SETS,
    Measures,
    Recipe,
    Spoonfuls,
    dye_names,
    format_amount,
    in_order,
    index_of,
    is_name,
    is_one,
    spoonfuls,
)
from dyemix.dataset.units import stock_ml
from dyemix.errors import RecipeError

CHECKS = json.loads((Path(__file__).parents[1] / "data" / "check_values.json").read_text("utf-8"))
STOCK = Measures({"marigold": 2.0, "": 1.0}, cloth_g=240.0, spoons="metric")


@pytest.mark.parametrize("case", CHECKS["stock_ml"], ids=lambda c: f"{c['ml']} mL")
def test_stock_volume_as_printed(case: dict[str, float]) -> None:
    """Each case names the page that prints it."""
    ml = stock_ml(case["cloth_g"], case["owf_pct"], case["stock_pct"])
    assert ml == pytest.approx(case["ml"], rel=1e-9)


@pytest.mark.parametrize("case", CHECKS["stock_ml"], ids=lambda c: f"{c['ml']} mL")
def test_millilitres_become_the_depth_they_were_worked_out_from(case: dict[str, float]) -> None:
    measures = Measures({"": case["stock_pct"]}, case["cloth_g"])
    recipe = Recipe.parse(f"gold {case['ml']} mL", measures)
    assert recipe["gold"] == pytest.approx(case["owf_pct"], rel=1e-9)


@pytest.mark.parametrize("case", CHECKS["dye_g"], ids=lambda c: f"{c['g']} g")
def test_powder_in_grams(case: dict[str, float]) -> None:
    """'Calculating dye quantities', as named in the file."""
    recipe = Recipe.parse(f"gold {case['g']} g", Measures(cloth_g=case["cloth_g"]))
    assert recipe["gold"] == pytest.approx(case["owf_pct"], rel=1e-9)


def test_a_sum_printed_wrong_is_not_repeated() -> None:
    """One page prints 50 mL for 100 g at 50 % from a 10 % stock; plain arithmetic gives 500."""
    assert stock_ml(100, 50, 10) == CHECKS["known_wrong"]["right_ml"] == 500


def test_spoon_sets_against_their_standards() -> None:
    """US customary from the gallon of 231 cubic inches (NIST Handbook 44, Appendix C)."""
    printed = CHECKS["measures_ml"]
    words = {"tsp": "teaspoon", "tbsp": "tablespoon", "cup": "cup"}
    for name in ("us", "metric"):
        for unit, word in words.items():
            assert SPOON_SETS[name][unit] == pytest.approx(printed[f"{name}_{word}"], rel=1e-9)
    gallon = 231 * 2.54**3
    assert SPOON_SETS["us"]["tbsp"] == pytest.approx(gallon / 256, rel=1e-9)
    # Imperial: 4.54609 L is 160 fluid ounces, one of which holds 1.6 tablespoons or 4.8 teaspoons;
    # a cup is half a pint, 10 of them. Australian: 20 mL to the tablespoon, 5 and 250 as metric.
    ounce = 4546.09 / 160
    assert SPOON_SETS["imperial"] == pytest.approx(
        {"tsp": ounce / 4.8, "tbsp": ounce / 1.6, "cup": 10 * ounce}, rel=1e-6
    )
    assert SPOON_SETS["australian"] == {"tsp": 5, "tbsp": 20, "cup": 250}


@pytest.mark.parametrize(
    ("text", "amounts"),
    [
        ("undyed", {}),
        ("Undyed ", {}),
        ("marigold 0.8", {"marigold": 0.8}),
        ("  Marigold   0.8 +navy 0.25 ", {"marigold": 0.8, "navy": 0.25}),
        ("marigold 0,8 + navy .25", {"marigold": 0.8, "navy": 0.25}),
        ("marigold 0.8 % owf", {"marigold": 0.8}),
        ("navy 2 0.5", {"navy 2": 0.5}),
        ("marigold 2 tbsp + navy 1 tbsp", {"marigold": 0.25, "navy": 0.0625}),
        ("marigold 2 tbsp + 1½ tsp + navy 1 tbsp", {"marigold": 0.3125, "navy": 0.0625}),
        ("marigold 15mL", {"marigold": 0.125}),
        ("marigold 1 1/2 tsp", {"marigold": 0.0625}),
        ("marigold 1½ tsp", {"marigold": 0.0625}),
        ("navy ½ tsp", {"navy": 2.5 / 240}),
        ("navy 2 1/2 tsp", {"navy": 12.5 / 240}),
        ("marigold 2.4 g", {"marigold": 1.0}),
        ("3 marigold : 1 navy at 1 %", {"marigold": 0.75, "navy": 0.25}),
        ("1 gold : 1 red : 2 navy 2 at 2", {"gold": 0.5, "red": 0.5, "navy 2": 1.0}),
    ],
)
def test_recipes_as_people_write_them(text: str, amounts: dict[str, float]) -> None:
    recipe = Recipe.parse(text, STOCK)
    assert dict(recipe) == pytest.approx(amounts)
    assert recipe.as_written == " ".join(text.split())


@pytest.mark.parametrize("given", ["Gold,  night  Navy", ["Gold", " night Navy "]])
def test_names_in_one_text_or_several(given: str | list[str]) -> None:
    assert dye_names(given) == ("gold", "night navy")


@pytest.mark.parametrize("name", ["gold", "navy 2", "mother's red", "blue/green", "red Nr. 3"])
def test_what_a_recipe_can_name_a_dye(name: str) -> None:
    assert is_name(name)
    assert not is_name(f"{name} + navy")
    assert not is_name(f"2 {name}")


@pytest.mark.parametrize(
    ("unit", "ml"),
    [
        ("mL", 1), ("ml", 1), ("millilitres", 1), ("milliliter", 1), ("cc", 1),
        ("L", 1000), ("l", 1000), ("litre", 1000), ("liters", 1000),
        ("tsp", 5), ("teaspoons", 5), ("Tbsp", 20), ("tablespoon", 20), ("cups", 250),
    ],
)  # fmt: skip
def test_every_unit_of_liquid_stock_by_hand(unit: str, ml: float) -> None:
    """Of a 2 % stock on 500 g of cloth, 1 mL holds 0.02 g, which is 0.004 % owf."""
    measures = Measures({"": 2.0}, 500.0, "australian")
    assert Recipe.parse(f"navy 3 {unit}", measures)["navy"] == pytest.approx(3 * ml * 0.004)


@pytest.mark.parametrize("unit", ["g", "G", "gram", "grams", "gramme", "grammes"])
def test_powder_by_hand(unit: str) -> None:
    """3 g on 500 g of cloth are 0.6 %, whatever the strength of a stock."""
    assert Recipe.parse(f"navy 3 {unit}", Measures({"": 2.0}, 500.0))["navy"] == pytest.approx(0.6)
    assert Recipe.parse(f"navy 3 {unit}", Measures(cloth_g=500.0))["navy"] == pytest.approx(0.6)


@pytest.mark.parametrize("unit", ["", " %", "%", " % owf", " %owf", " owf"])
def test_per_cent_of_cloth_weight_is_what_it_is(unit: str) -> None:
    assert Recipe.parse(f"navy 0.3{unit}") == {"navy": 0.3}


@pytest.mark.parametrize(
    ("sign", "tsp"),
    [
        ("½", 1 / 2), ("¼", 1 / 4), ("¾", 3 / 4), ("⅓", 1 / 3), ("⅔", 2 / 3),
        ("⅛", 1 / 8), ("⅜", 3 / 8), ("⅝", 5 / 8), ("⅞", 7 / 8), ("5/6", 5 / 6),
    ],
)  # fmt: skip
def test_every_fraction(sign: str, tsp: float) -> None:
    """A metric teaspoon of 1 % stock on 5 g of cloth is 5 mL, 0.05 g, 1 % owf."""
    measures = Measures({"": 1.0}, 5.0, "metric")
    assert Recipe.parse(f"navy {sign} tsp", measures)["navy"] == pytest.approx(tsp)
    assert Recipe.parse(f"navy 2 {sign} tsp", measures)["navy"] == pytest.approx(2 + tsp)
    if "/" not in sign:
        assert Recipe.parse(f"navy 2{sign} tsp", measures)["navy"] == pytest.approx(2 + tsp)


def test_the_strength_of_a_dye_goes_before_that_of_the_rest() -> None:
    """5 mL on 10 g: 2 % gives 1 % owf, 1 % a half."""
    measures = Measures({"gold": 2.0, "": 1.0}, 10.0)
    recipe = Recipe.parse("gold 5 mL + navy 5 mL", measures)
    assert recipe == {"gold": pytest.approx(1.0), "navy": pytest.approx(0.5)}


def test_a_mapping_becomes_a_recipe_and_a_recipe_stays_itself() -> None:
    given = Recipe.parse("gold 2.4 g", STOCK)
    assert Recipe.parse(given) is given
    made = Recipe.parse({"Gold": 1})
    assert isinstance(made, Recipe)
    assert made == {"gold": 1.0}


def test_what_was_measured_stays_as_it_was() -> None:
    with pytest.raises(AttributeError):
        spoonfuls(5.0, "metric").ml = 3.0  # type: ignore[misc]
    with pytest.raises(AttributeError):
        STOCK.cloth_g = 3.0  # type: ignore[misc]


def test_a_recipe_is_a_mapping_of_amounts_by_dye() -> None:
    one = Recipe({"gold": 1.0, "navy": 0.5})
    assert one.total == 1.5
    assert len(one) == 2
    assert {one: "kept"}[Recipe({"navy": 0.5, "gold": 1.0})] == "kept"
    assert one["  Gold "] == 1.0
    assert Recipe({"Gold": 1.0, "gold ": 0.5, "navy": 0.0}) == {"gold": 1.5}
    assert repr(one) == "Recipe({'gold': 1.0, 'navy': 0.5})"
    assert (str(one), str(Recipe())) == ("gold 1.00 + navy 0.50", "undyed")
    third = Recipe({"gold": 1 / 3, "navy": 2.0})
    assert (third.exact, Recipe().exact) == ("gold 0.3333333333333333 + navy 2", "undyed")
    assert Recipe.parse(third.exact) == third


@pytest.mark.parametrize("amount", [-0.1, float("nan"), float("inf")])
def test_an_amount_that_none_can_weigh_is_refused(amount: float) -> None:
    with pytest.raises(RecipeError, match="0 or more"):
        Recipe({"gold": amount})


def test_as_much_dye_as_cloth_is_the_most_there_is() -> None:
    assert Recipe({"gold": 100.0}).total == 100.0
    assert DEEP_OWF == 2 * 10  # twice the most that black takes (common practice)
    with pytest.raises(RecipeError, match=r"gold 100\.5 % owf is more dye than cloth"):
        Recipe({"gold": 100.5})
    with pytest.raises(RecipeError, match=rf"^{'a' * 40} 101 % owf"):  # no screenful of a name
        Recipe({41 * "a": 101.0})


@pytest.mark.parametrize(
    ("owf", "text"),
    [
        (0, "0"), (12.34, "12.34"), (1.0, "1.00"), (0.1, "0.10"), (0.0994, "0.099"),
        (0.01, "0.010"), (0.00994, "0.0099"), (0.00012345, "0.00012"),
    ],
)  # fmt: skip
def test_amounts_as_they_are_printed(owf: float, text: str) -> None:
    assert format_amount(owf) == text


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "not an amount"),
        ("marigold", "not an amount"),
        ("marigold 0.8 +", "not an amount"),
        ("marigold 0.8 + 0.2", "'0.2' is not an amount"),
        ("2 tbsp + marigold 1 tsp", "not an amount"),
        ("0.8 marigold", "not an amount"),
        ("marigold -0.8", "negative"),
        ("marigold nan", "not an amount"),
        ("marigold 1e999", "0 or more"),
        ("marigold 0.8 spoons", "not an amount"),
        ("marigold 3 mls", "not an amount"),
        ("marigold 1/0 tsp", "divides by zero"),
        ("marigold 1 + Marigold 2", "stands twice"),
        ("marigold 1 + marigold 0", "stands twice"),
        ("3 marigold : 1 navy", "without a depth"),
        ("3 marigold : navy at 1 %", "not a part"),
        ("0 marigold : 0 navy at 1 %", "no parts"),
    ],
)
def test_what_is_not_a_recipe(text: str, words: str) -> None:
    with pytest.raises(RecipeError, match=words):
        Recipe.parse(text, STOCK)


@pytest.mark.parametrize("amount", ["2 tbsp", "30 mL"])
def test_a_spoon_or_a_millilitre_needs_a_strength(amount: str) -> None:
    with pytest.raises(RecipeError, match=r"strength of the stock.*liquid stock; powder is in"):
        Recipe.parse(f"navy {amount}", Measures({"gold": 2.0}, 240.0, "metric"))


def test_spoons_need_a_spoon_set_and_grams_need_only_the_cloth() -> None:
    with pytest.raises(RecipeError, match="the spoon set"):
        Recipe.parse("navy 2 tbsp", Measures({"": 2.0}, 240.0))
    with pytest.raises(RecipeError, match="'tea' is unknown"):
        Recipe.parse("navy 2 tbsp", Measures({"": 2.0}, 240.0, "tea"))
    with pytest.raises(RecipeError, match="dry weight") as caught:
        Recipe.parse("navy 2 g")
    assert "strength" not in str(caught.value)


@pytest.mark.parametrize(
    ("ml", "spoons", "text", "measured"),
    [
        (15.0, "metric", "1 tbsp", 15.0),
        (15.0, "australian", "3 tsp", 15.0),
        (20.0, "australian", "1 tbsp", 20.0),
        (26.4, "metric", "1 tbsp + 2¼ tsp", 26.25),
        (26.9, "metric", "1 tbsp + 2½ tsp", 27.5),
        (33.6, "metric", "2 tbsp + ¾ tsp", 33.75),
        (14.6, "metric", "1 tbsp", 15.0),
        (14.3, "metric", "2¾ tsp", 13.75),
        (5.0, "metric", "1 tsp", 5.0),
        (0.3, "metric", "¼ tsp", 1.25),
        (2 * 14.78676478125, "us", "2 tbsp", 29.5735295625),
    ],
)
def test_spoons_by_hand(ml: float, spoons: str, text: str, measured: float) -> None:
    """The nearest quarter teaspoon, in tablespoons and teaspoons, and by how much it misses."""
    found = spoonfuls(ml, spoons)
    assert found.text == text
    assert found.ml == pytest.approx(measured)
    assert found.error_pct == pytest.approx(100 * (measured - ml) / ml)


def test_spoons_say_their_error_from_half_a_per_cent() -> None:
    """26.25 mL for 26.4 is 0.57 % too little; for 26.3, 0.19 %; 27.5 for 26.9 is 2.2 % too much."""
    assert str(spoonfuls(26.4, "metric")) == "1 tbsp + 2¼ tsp (-1 %)"
    assert str(spoonfuls(26.3, "metric")) == "1 tbsp + 2¼ tsp"
    assert str(Spoonfuls("1 tsp", 5.0, 0.5)) == "1 tsp"  # '+0 %' says nothing
    assert str(spoonfuls(26.9, "metric")) == "1 tbsp + 2½ tsp (+2 %)"


@pytest.mark.parametrize("ml", [0.0, -1.0, float("nan"), float("inf")])
def test_no_volume_at_all_has_no_spoons(ml: float) -> None:
    with pytest.raises(RecipeError, match="above 0"):
        spoonfuls(ml, "metric")
    with pytest.raises(RecipeError, match="'tea' is unknown"):
        spoonfuls(5.0, "tea")


names = st.from_regex(r"[a-zé](?:[a-z0-9' -]{0,8}[a-z])?", fullmatch=True).map(
    lambda name: " ".join(name.split())
)
recipes = st.dictionaries(
    names.filter(lambda n: n not in ("undyed", "blank", "no dye")),
    st.floats(1e-4, 20.0),
    max_size=4,
).map(Recipe)


@given(recipes)
def test_a_printed_recipe_reads_back(recipe: Recipe) -> None:
    again = Recipe.parse(str(recipe))
    assert set(again) == set(recipe)
    for dye, owf in recipe.items():
        assert again[dye] == float(format_amount(owf)) == pytest.approx(owf, rel=0.05)
    assert str(again) == str(recipe)


@given(st.floats(0.3, 2000.0), st.sampled_from(list(SPOON_SETS)))
def test_spoonfuls_are_the_nearest_quarter_teaspoon(ml: float, spoons: str) -> None:
    measured = spoonfuls(ml, spoons)
    quarter = SPOON_SETS[spoons]["tsp"] / 4
    assert measured.ml >= quarter * (1 - 1e-9)
    assert abs(measured.ml - ml) <= max(quarter / 2, quarter - ml) + 1e-9
    assert measured.error_pct == pytest.approx(100 * (measured.ml - ml) / ml, abs=1e-9)
    in_words = Recipe.parse(
        " + ".join(f"{'xy'[i]} {part}" for i, part in enumerate(measured.text.split(" + "))),
        Measures({"": 1.0}, 100.0, spoons),
    )
    assert 100 * in_words.total == pytest.approx(measured.ml)


def test_a_jug_measures_what_nobody_counts_in_spoons() -> None:
    """To its marks: whole mL here, three figures from 100 mL on. 61 for 61.4 is 0.65 % less."""
    jug = spoonfuls(61.4, "metric", jug_from=50.0)
    assert jug.ml == 61.0
    assert jug.text.endswith(" mL")
    assert jug.error_pct == pytest.approx(-100 * 0.4 / 61.4)
    assert spoonfuls(150.4, "metric", jug_from=100.0).ml == 150.0
    assert "tbsp" in spoonfuls(45.0, "metric", jug_from=45.0).text


def test_no_amount_is_none_and_a_word_is_no_amount() -> None:
    assert Recipe.parse("gold 0 + navy 1") == {"navy": 1.0}
    for amount in ("1", None, True + 1j, [1.0]):
        with pytest.raises(RecipeError, match="gold"):
            Recipe({"gold": amount})  # type: ignore[dict-item]


def test_twenty_drops_are_a_millilitre() -> None:
    """Common practice; 1 mL of 1 % stock holds 0.01 g of dye: 0.01 % owf on 100 g."""
    assert Recipe.parse("gold 20 drops", Measures({"": 1.0}, 100.0)).total == pytest.approx(0.01)


SHELF = ("gold", "navy", "rose")


@pytest.mark.parametrize(
    ("given", "rows", "recipes", "index"),
    [
        ("navy 0.5 + gold 1", [[1, 0.5, 0]], 1, None),
        ({"rose": 2}, [[0, 0, 2]], 1, None),
        (pd.Series({"rose": 2, "gold": 1}), [[1, 0, 2]], 1, None),
        (["rose 1", {"gold": 3}], [[0, 0, 1], [3, 0, 0]], 2, None),
        (np.array(["rose 1", "navy 2"]), [[0, 0, 1], [0, 2, 0]], 2, None),
        (pd.Series(["rose 1", "navy 2"], index=[7, 9]), [[0, 0, 1], [0, 2, 0]], 2, [7, 9]),
        ([], np.zeros((0, 3)), 0, None),
        ([1, 0, 2], [[1, 0, 2]], 0, None),
        ([[1, 0, 2], [3, 4, 5]], [[1, 0, 2], [3, 4, 5]], 0, None),
        (np.array([1, 0, 2]), [[1, 0, 2]], 0, None),
        (np.array([[0.5, 0, 2], [3, 4, 5]]), [[0.5, 0, 2], [3, 4, 5]], 0, None),
        (pd.DataFrame({"rose": [1.0], " gold": [2.0], "navy": [0.0]}, index=["a"]),
         [[2, 0, 1]], 0, ["a"]),
    ],
)  # fmt: skip
def test_recipes_in_the_order_of_a_shelf(given: Any, rows: Any, recipes: int, index: Any) -> None:
    values, read, labels = in_order(given, SHELF)
    np.testing.assert_array_equal(values, rows)
    assert values.shape == np.shape(rows)
    assert len(read) == recipes
    assert all(dict(zip(SHELF, row, strict=True)) == {n: r.get(n, 0) for n in SHELF}
               for row, r in zip(values, read, strict=False))  # fmt: skip
    assert (None if labels is None else list(labels)) == index


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ("nvy 1", "'nvy' on this shelf: did you mean navy"),
        ({"zzz": 1}, "the shelf has gold, navy, rose"),
        ([[1, 2, 3], [1, 2, -1]], "row 1 [(]from 0[)] is not"),
        (np.array([np.nan, 1, 1]), "row 0 [(]from 0[)] is not"),
        (5, "are 3 columns of % owf, not [(]1, 1[)]"),
        ([[1, 2]], "are 3 columns of % owf, not [(]1, 2[)]"),
        (np.zeros((2, 2, 3)), "are 3 columns of % owf, not [(]2, 2, 3[)]"),
        (["gold 1", 5], "'5' is no recipe"),
        (["gold 1", [1] * 40], re.escape("'[" + "1, " * 19 + "1,' is no recipe")),
        (pd.DataFrame({"gold": [1], "navy": [1]}), "here missing rose"),
        (pd.DataFrame(np.ones((1, 4)), columns=["gold", "navy", "rose", "x"]), "not a dye here: x"),
        (pd.DataFrame(np.ones((1, 4)), columns=["gold", "navy", "rose", "gold"]), "twice gold"),
    ],
)
def test_what_is_not_of_a_shelf_is_refused(given: Any, words: str) -> None:
    with pytest.raises(RecipeError, match=words):
        in_order(given, SHELF)


def test_the_nearest_of_two_names_is_suggested() -> None:
    for shelf in (("viola", "violet"), ("violet", "viola")):
        with pytest.raises(RecipeError, match="did you mean violet"):
            in_order("violett 1", shelf)


def test_one_recipe_is_told_from_several() -> None:
    one = ("gold 1", {"gold": 1}, pd.Series({"gold": 1}), pd.Series({"gold": 0.5}))
    several = (
        ["gold 1"], np.ones(3), pd.Series(["gold 1"]), pd.DataFrame({"gold": [1]}),
        pd.Series({"gold": True}),
    )  # fmt: skip
    assert [is_one(given) for given in (*one, *several)] == [True] * 4 + [False] * 5
    assert index_of(["gold 1"]) is index_of(np.ones(3)) is None
    assert list(index_of(several[2])) == [0]
