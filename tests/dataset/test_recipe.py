"""Recipes, and amounts of stock against sums printed elsewhere (tests/data/check_values.json)."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dyemix.dataset.recipe import SPOON_SETS, Measures, Recipe, format_amount, spoonfuls, stock_ml
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
    assert SPOON_SETS["imperial"]["tsp"] == pytest.approx(4546.09 / 768, rel=1e-6)


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


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "not an amount"),
        ("marigold", "not an amount"),
        ("marigold 0.8 +", "not an amount"),
        ("0.8 marigold", "not an amount"),
        ("marigold -0.8", "negative"),
        ("marigold nan", "not an amount"),
        ("marigold 1e999", "0 or more"),
        ("marigold 0.8 spoons", "not an amount"),
        ("marigold 1/0 tsp", "divides by zero"),
        ("marigold 1 + Marigold 2", "stands twice"),
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


names = st.from_regex(r"[a-zé](?:[a-z0-9' -]{0,8}[a-z])?", fullmatch=True).map(
    lambda name: " ".join(name.split())
)
recipes = st.dictionaries(
    names.filter(lambda n: n not in ("undyed", "blank", "no dye")),
    st.floats(1e-4, 20.0),
    max_size=4,
).map(Recipe)


@settings(derandomize=True, deadline=None)
@given(recipes)
def test_a_printed_recipe_reads_back(recipe: Recipe) -> None:
    again = Recipe.parse(str(recipe))
    assert set(again) == set(recipe)
    for dye, owf in recipe.items():
        assert again[dye] == float(format_amount(owf)) == pytest.approx(owf, rel=0.05)
    assert str(again) == str(recipe)


@settings(derandomize=True, deadline=None)
@given(st.floats(0.3, 2000.0), st.sampled_from(list(SPOON_SETS)))
def test_spoonfuls_are_the_nearest_quarter_teaspoon(ml: float, spoons: str) -> None:
    measured = spoonfuls(ml, spoons)
    quarter = SPOON_SETS[spoons]["tsp"] / 4
    assert measured.ml >= quarter * (1 - 1e-9)
    assert abs(measured.ml - ml) <= max(quarter / 2, quarter - ml) + 1e-9
    assert measured.error_pct == pytest.approx(100 * (measured.ml - ml) / ml, abs=1e-9)
    in_words = Recipe.parse(
        " + ".join(f"{'xy'[i]} {part}" for i, part in enumerate(measured.text.split(" + "))),
        Measures({"": 1.0}, 1.0, spoons),
    )
    assert in_words.total == pytest.approx(measured.ml)
