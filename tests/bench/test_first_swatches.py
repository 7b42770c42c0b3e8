"""The plan of a first weekend."""

from __future__ import annotations

from pathlib import Path

import pytest

from dyemix.bench.first_swatches import CHECK, SwatchPlan, first_swatches
from dyemix.dataset.recipe import Recipe
from dyemix.errors import RecipeError
from dyemix.files import read_swatches

WEEKEND = first_swatches("gold, scarlet, navy", "cotton lawn")


def test_three_dyes_make_a_dozen_squares() -> None:
    assert len(WEEKEND.squares) == 12
    recipes = [square.recipe for square in WEEKEND.squares]
    assert recipes.count(Recipe()) == 1
    for dye in ("gold", "scarlet", "navy"):
        assert {r[dye] for r in recipes if set(r) == {dye}} == {2.0, 0.5, 0.125}
    assert recipes.count(Recipe({"gold": 0.5})) == 2
    assert set(recipes[-1]) == {"gold", "scarlet", "navy"}
    assert WEEKEND.squares[-1].label == CHECK
    # A check asks between the steps of the ladders: neither on one nor beyond their ends.
    assert all(0.125 < owf < 2.0 and owf != 0.5 for owf in recipes[-1].values())
    assert len({square.label for square in WEEKEND.squares}) == 12


@pytest.mark.parametrize("count", [1, 2, 3, 4, 7])
def test_each_dye_takes_three_squares(count: int) -> None:
    dyes = [f"dye {letter}" for letter in "abcdefg"[:count]]
    plan = first_swatches(dyes, "linen")
    assert len(plan.squares) == 3 * count + 3
    assert len(plan.squares[-1].recipe) == min(count, 3)


@pytest.mark.parametrize("spoons", ["us", "metric", "australian", "imperial"])
@pytest.mark.parametrize("stock", [0.1, 0.5, 1.0, 2.0, 5.0, 20.0])
def test_doses_carry_the_depth_whatever_the_stock(stock: float, spoons: str) -> None:
    """% owf = g of dye ÷ g of cloth: 1 mL of a 1 % stock holds 0.01 g."""
    plan = first_swatches(["gold"], "linen", stock_pct=stock, spoons=spoons)
    for square in plan.squares:
        for dose in square.doses:
            grams = dose.ml * stock / 100.0 / dose.dilution
            assert 100.0 * grams / plan.square_g == pytest.approx(dose.owf, rel=1e-12)
            assert dose.ml >= 1.2, "too small to measure with a quarter teaspoon"
            assert dose.spoons.ml > 0


def test_the_page_fits_a_page_and_says_what_it_must() -> None:
    page = str(WEEKEND)
    lines = page.splitlines()
    assert len(lines) <= 60
    assert max(map(len, lines)) <= 100
    for words in (
        "dust mask", "gloves", "an adult mixes", "goggles", "never for food", "safety data sheets",
        "local rules", "LIQUID, never powder", "1 in 10 is 100 mL", "common practice",
        "kept out of the first fit", "Five depths a dye remain the advice", "equal squares",
        "four layers", "one order for all", "thread", "dry and ironed",
    ):  # fmt: skip
        assert words in " ".join(page.split()), words
    assert "6.25 mL  weak, 1 in 10  1¼ tsp" in page


@pytest.mark.parametrize("stock", [0.1, 2.0])
@pytest.mark.parametrize("spoons", ["us", "imperial"])
def test_no_line_is_too_wide_for_other_measures(stock: float, spoons: str) -> None:
    page = str(first_swatches("gold, turquoise blue, navy", "cotton", stock, spoons=spoons))
    assert max(map(len, page.splitlines())) <= 100


def test_the_table_reads_back_unread(tmp_path: Path) -> None:
    path = tmp_path / "first.csv"
    WEEKEND.write(path)
    swatches = read_swatches(path)
    assert [r.recipe for r in swatches.readings] == [s.recipe for s in WEEKEND.squares]
    assert [r.swatch for r in swatches.readings] == [s.label for s in WEEKEND.squares]
    assert {r.kind for r in swatches.readings} == {"blank"}
    assert len(swatches.unread) == 12
    assert swatches.conditions() == {"cloth": "cotton lawn"}


def test_the_table_takes_a_reading_in_either_form(tmp_path: Path) -> None:
    path = tmp_path / "first.csv"
    WEEKEND.write(path)
    text = path.read_text("utf-8").replace("1,undyed,,,,", "1,undyed,92.1,0.2,3.4,")
    path.write_text(text.replace("2,gold 2,,,,", "2,gold 2,,,,#c9a227"), "utf-8")
    kinds = [reading.kind for reading in read_swatches(path).readings]
    assert kinds == ["Lab", "hex", *["blank"] * 10]


def plan(**changed: object) -> SwatchPlan:
    return first_swatches(**{"dyes": ["gold"], "cloth": "linen", **changed})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"dyes": []}, "no dyes"),
        ({"dyes": " , "}, "no dyes"),
        ({"dyes": ["gold", "Gold "]}, "twice"),
        ({"dyes": ["gold + navy"]}, "cannot stand in a recipe"),
        ({"dyes": ["undyed 2 : 3"]}, "cannot stand in a recipe"),
        ({"cloth": " "}, "cloth is not named"),
        ({"stock_pct": 0.0}, "stock 0 %"),
        ({"stock_pct": float("nan")}, "out of range"),
        ({"stock_pct": -1.0}, "out of range"),
        ({"square_g": 0.0}, "squares of 0 g"),
        ({"spoons": "tea"}, "spoon set 'tea'"),
    ],
)
def test_what_cannot_be_planned(changed: dict[str, object], words: str) -> None:
    with pytest.raises(RecipeError, match=words):
        plan(**changed)
