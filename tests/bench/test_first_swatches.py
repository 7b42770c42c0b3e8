"""The plan of a first weekend."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from dyemix.bench.bath_sheet import bath_sheet
from dyemix.bench.cautions import cautions
from dyemix.bench.first_swatches import SwatchPlan, first_swatches
from dyemix.bench.settings import BathSettings
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import CHECK
from dyemix.errors import DyemixError
from dyemix.files import read_swatches

ON = date(2026, 5, 8)


@pytest.fixture
def weekend() -> SwatchPlan:
    return first_swatches("gold, scarlet, navy", "cotton lawn", on=ON)


def test_three_dyes_make_a_dozen_swatches(weekend: SwatchPlan) -> None:
    assert len(weekend.swatches) == 12
    recipes = [swatch.recipe for swatch in weekend.swatches]
    assert recipes.count(Recipe()) == 1
    for dye in ("gold", "scarlet", "navy"):
        assert {r[dye] for r in recipes if set(r) == {dye}} == {2.0, 0.5, 0.125}
    assert recipes.count(Recipe({"gold": 0.5})) == 2
    assert set(recipes[-1]) == {"gold", "scarlet", "navy"}
    assert weekend.swatches[-1].job == CHECK
    # A check asks between the steps of the ladders: neither on one nor beyond their ends.
    assert all(0.125 < owf < 2.0 and owf != 0.5 for owf in recipes[-1].values())
    assert len({swatch.job for swatch in weekend.swatches}) == 12


@pytest.mark.parametrize("count", [1, 2, 3, 4, 7])
def test_each_dye_takes_three_swatches(count: int) -> None:
    dyes = [f"dye {letter}" for letter in "abcdefg"[:count]]
    plan = first_swatches(dyes, "linen")
    assert len(plan.swatches) == 3 * count + 3
    assert len(plan.swatches[-1].recipe) == min(count, 3)


@pytest.mark.parametrize("how", [{}, {"liquor_ratio": 5, "alkali": "with"}, {"stock_pct": 2.0}])
def test_a_swatch_is_the_bath_that_its_recipe_makes(how: dict[str, Any]) -> None:
    """`start` and `bath` say the same of one recipe: mL, spoons, salt, soda, water and time."""
    plan = first_swatches("gold, scarlet", "linen", swatch_g=10.0, on=ON, **how)
    bath = {("stocks" if name == "stock_pct" else name): value for name, value in how.items()}
    for swatch in plan.swatches:
        alone = bath_sheet(swatch.recipe, 10.0, on=ON, **bath)
        for name in ("method", "salt", "soda", "water_ml", "total_ml"):
            assert getattr(swatch, name) == getattr(alone, name), name
        doses = [(d.dye, d.ml, d.dilution, d.spoons) for d in swatch.doses]
        assert doses == [(d.dye, d.ml, d.dilution, d.spoons) for d in alone.doses]


def test_amounts_by_hand(weekend: SwatchPlan) -> None:
    """5 g at 20:1 is 100 mL, of which the wrung cloth holds 4; stock is 1 %, marks are 0.2 mL.

    Gold 2 %: 10 mL; salt 50 g/L, soda 8 g/L, water 86 mL. 0.125 %: 0.625 mL, so 6.25 of a stock 1
    in 10, measured as 6.2; salt 20.625 g/L, soda 5.03125 g/L, water 89.8 mL.
    """
    _, deep, _, pale, *_ = weekend.swatches
    assert [(d.ml, d.dilution) for d in (*deep.doses, *pale.doses)] == [(10, 1), (6.2, 10)]
    assert (deep.salt.g, deep.soda.g, deep.water_ml) == pytest.approx((5, 0.8, 86))
    assert (pale.salt.g, pale.soda.g, pale.water_ml) == pytest.approx((2.0625, 0.503125, 89.8))
    text = str(weekend)
    assert re.search(r"6\.2 mL \(-1 %\) WEAK, 1 in 10 +1¼ tsp", text)
    # Gold: 10 + 2.4 + 2.4 and two weak stocks of 10 mL; a tenth more, in steps of 50 mL.
    assert weekend.stocks[0].need_ml == pytest.approx(34.8)
    assert "gold 1 %     34.8 mL  0 mL  50.0 mL     0.5 g" in text


@pytest.mark.parametrize("spoons", ["us", "metric", "australian", "imperial"])
@pytest.mark.parametrize("stock", [0.5, 1.0, 2.0, 5.0, 20.0])
def test_doses_carry_the_depth_whatever_the_stock(stock: float, spoons: str) -> None:
    """% owf = g of dye ÷ g of cloth: 1 mL of a 1 % stock holds 0.01 g."""
    kit = BathSettings(spoons=spoons)
    plan = first_swatches(["gold"], "linen", stock, settings=kit)
    for swatch in plan.swatches:
        for dose in swatch.doses:
            grams = dose.exact_ml * stock / 100.0 / dose.dilution
            assert 100.0 * grams / 5.0 == pytest.approx(dose.owf, rel=1e-12)
            assert dose.ml >= kit.smallest_dose - kit.measuring_step / 2
    assert max(map(len, str(plan).splitlines())) <= 100


def test_one_time_for_all_is_that_of_the_slowest() -> None:
    plan = first_swatches("gold, turquoise", "linen")
    assert {swatch.method.hours for swatch in plan.swatches} == {48}


def test_the_sheet_fits_two_pages_and_says_what_it_must(weekend: SwatchPlan) -> None:
    page = str(weekend)
    assert len(page.splitlines()) <= 2 * 60
    assert max(map(len, page.splitlines())) <= 100
    words = " ".join(page.split())
    for part in (
        "An adult mixes", "LIQUID stock, never powder", "10 mL of stock made up TO 100 mL",
        "common practice", "kept out of the first fit", "Five depths a dye remain the advice",
        "equal pieces", "four layers", "one order for all", "thread", "dry and ironed",
        *cautions("day"),
    ):  # fmt: skip
        assert part in words, part
    assert "<title>A first dozen: gold, scarlet, navy on cotton lawn" in weekend.to_html()
    assert SwatchPlan.from_json(weekend.to_json()) == weekend


def test_low_water_is_said() -> None:
    plan = first_swatches("gold", "linen", swatch_g=10, liquor_ratio=5, alkali="with")
    words = " ".join(str(plan).split())
    assert "50.0 mL in all (5:1, low water)" in words
    assert "as a solution of 45 g/L of soda ash" in words
    # 50 − 8 in the cloth is 42, half of it soda solution; no salt; 21 less 20 of stock.
    assert "gold 2 20 mL 1 tbsp + 1 tsp 1.0 mL – 21.0 mL [ ]" in words
    with pytest.raises(DyemixError, match="does not hold it"):
        first_swatches("gold", "linen", 1.0, liquor_ratio=3)


def test_the_table_reads_back_unread(weekend: SwatchPlan, tmp_path: Path) -> None:
    path = tmp_path / "first.csv"
    weekend.write(path)
    swatches = read_swatches(path)
    assert [r.recipe for r in swatches.readings] == [s.recipe for s in weekend.swatches]
    assert [r.swatch for r in swatches.readings] == [s.job for s in weekend.swatches]
    assert {r.kind for r in swatches.readings} == {"blank"}
    assert len(swatches.unread) == 12
    assert swatches.conditions() == {
        "cloth": "cotton lawn",
        "alkali": "alkali after the dye",
        "liquor ratio": "20:1",
        "temperature": "21 °C",
        "hours": "24",
        "stock_pct": "1",
        "spoons": "metric",
    }


def test_a_bath_of_the_swatches_is_dyed_as_planned(weekend: SwatchPlan, tmp_path: Path) -> None:
    """The words that the table is written with are understood when it comes back."""
    from dyemix.bench.method import dyed_as

    path = tmp_path / "first.csv"
    weekend.write(path)
    was, unread = dyed_as(read_swatches(path).conditions())
    assert unread == ()
    planned = vars(weekend.swatches[0].method)
    assert was == {name: planned[name] for name in planned if name != "salt"}


def test_the_table_takes_a_reading_in_either_form(weekend: SwatchPlan, tmp_path: Path) -> None:
    path = tmp_path / "first.csv"
    weekend.write(path)
    text = path.read_text("utf-8").replace("1,undyed,,,,", "1,undyed,92.1,0.2,3.4,")
    path.write_text(text.replace("2,gold 2,,,,", "2,gold 2,,,,#c9a227"), "utf-8")
    kinds = [reading.kind for reading in read_swatches(path).readings]
    assert kinds == ["Lab", "hex", *["blank"] * 10]


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"dyes": []}, "no dyes"),
        ({"dyes": " , "}, "no dyes"),
        ({"dyes": ["gold", "Gold "]}, "twice"),
        ({"dyes": ["gold + navy"]}, "cannot stand in a recipe"),
        ({"dyes": ["undyed 2 : 3"]}, "cannot stand in a recipe"),
        ({"cloth": " "}, "cloth is not named"),
        ({"stock_pct": 0.0}, "stock_strength: 0.0 will not do"),
        ({"stock_pct": float("nan")}, "0.001 to 20 % w/v"),
        ({"swatch_g": 0.0}, "dry weight is above 0"),
        ({"alkali": "later"}, "presoak, with, after"),
    ],
)
def test_what_cannot_be_planned(changed: dict[str, Any], words: str) -> None:
    with pytest.raises(DyemixError, match=words):
        first_swatches(**{"dyes": ["gold"], "cloth": "linen", **changed})
