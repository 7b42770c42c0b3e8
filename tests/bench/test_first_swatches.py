"""The plan of a first weekend."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from dyemix.bench.bath_sheet import bath_sheet
from dyemix.bench.plan import SwatchPlan, first_swatches, planned_again
from dyemix.bench.settings import BathSettings, Making
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.serialise import from_json
from dyemix.dataset.swatches import CHECK
from dyemix.errors import DyemixError, RecipeError
from dyemix.files import read_swatches, write_swatches

ON = date(2026, 5, 8)


@pytest.fixture
def weekend() -> SwatchPlan:
    return first_swatches("gold, scarlet, navy", "cotton lawn", on=ON)


def test_three_dyes_make_fifteen_swatches(weekend: SwatchPlan) -> None:
    assert len(weekend.sheets) == 15
    recipes = [swatch.recipe for swatch in weekend.sheets]
    assert recipes.count(Recipe()) == 1
    for dye in ("gold", "scarlet", "navy"):
        assert {r[dye] for r in recipes if set(r) == {dye}} == {2.0, 0.5, 0.125, 0.03}
    assert recipes.count(Recipe({"gold": 0.5})) == 2
    assert set(recipes[-1]) == {"gold", "scarlet", "navy"}
    assert weekend.sheets[-1].job == CHECK
    # A check asks between the steps of the ladders: neither on one nor beyond their ends.
    assert all(0.03 < owf < 2.0 and owf not in (0.5, 0.125) for owf in recipes[-1].values())
    assert len({swatch.job for swatch in weekend.sheets}) == 15


@pytest.mark.parametrize("count", [1, 2, 3, 4, 7])
def test_each_dye_takes_four_swatches(count: int) -> None:
    dyes = [f"dye {letter}" for letter in "abcdefg"[:count]]
    plan = first_swatches(dyes, "linen")
    assert len(plan.sheets) == 4 * count + 3
    assert len(plan.sheets[-1].recipe) == min(count, 3)


@pytest.mark.parametrize("how", [{}, {"liquor_ratio": 5, "alkali": "with"}, {"stock_pct": 2.0}])
def test_a_swatch_is_the_bath_that_its_recipe_makes(how: dict[str, Any]) -> None:
    """`start` and `bath` say the same of one recipe: mL, spoons, salt, soda, water and time."""
    plan = first_swatches("gold, scarlet", "linen", swatch_g=10.0, on=ON, **how)
    bath = {("stocks" if name == "stock_pct" else name): value for name, value in how.items()}
    for swatch in plan.sheets:
        alone = bath_sheet(swatch.recipe, 10.0, on=ON, **bath)
        for name in ("method", "salt", "soda", "water_ml", "total_ml"):
            assert getattr(swatch, name) == getattr(alone, name), name
        doses = [(d.dye, d.ml, d.dilution, d.spoons) for d in swatch.doses]
        assert doses == [(d.dye, d.ml, d.dilution, d.spoons) for d in alone.doses]


def test_amounts_by_hand(weekend: SwatchPlan) -> None:
    """5 g at 20:1 is 100 mL, of which the wrung cloth holds 4; stock is 1 %.

    Gold 2 %: 10 mL; salt 50 g/L, so 5 g, 20 mL of 250 g/L; soda 8 g/L, 0.8 g, 8 mL of 100 g/L;
    water 58. 0.125 %: 0.625 mL, so 6.25 of 1 in 10; salt 20.625 g/L, 8.25 mL; soda 5.03125
    g/L, 5.03 mL. 0.03 %: 0.15 mL, so 15 of 1 in 100.
    """
    _, deep, _, pale, palest, *_ = weekend.sheets
    doses = [(d.ml, d.dilution) for sheet in (deep, pale, palest) for d in sheet.doses]
    assert doses == [(10, 1), (6.25, 10), (15, 100)]
    assert (deep.salt.stock_ml, deep.soda.stock_ml) == pytest.approx((20, 8))
    assert (pale.salt.stock_ml, pale.soda.stock_ml) == pytest.approx((8.25, 5.03125))
    assert (deep.water_ml, pale.water_ml) == pytest.approx((58, 76.46875))
    text = str(weekend)
    assert re.search(
        r"4 +gold +0\.125 +6\.25 mL of 1 in 10 +1¼ tsp +76\.5 mL +8\.2 mL +5\.0 mL", text
    )
    # Gold: 10 + 2.5 + 2.5 mL, and 10 for the dilution 1 in 10, of which 6.25 + 12.5 and 10 for 1 in
    # 100 are taken; a tenth more, in steps of 50 mL. 10 g is the least: 200 mL of 5 %.
    gold = weekend.stocks[0]
    assert gold.need_ml == pytest.approx(25)
    assert gold.how == Making(10, 200, 5, 10, 50)
    # Salt 178.75 and soda 87.1 mL in all, a tenth more: 49 g in 196 mL, and 10 g in 100.
    salt, soda = weekend.solutions
    assert (salt.need_ml, soda.need_ml) == pytest.approx((178.75, 87.09375))
    assert (salt.how.weigh_g, salt.how.make_ml) == (49, 196)
    assert (soda.how.weigh_g, soda.how.make_ml) == (10, 100)


@pytest.mark.parametrize("spoons", ["us", "metric", "australian", "imperial"])
@pytest.mark.parametrize("stock", [0.5, 1.0, 2.0, 5.0, 20.0])
def test_doses_carry_the_depth_whatever_the_stock(stock: float, spoons: str) -> None:
    """% owf = g of dye ÷ g of cloth: 1 mL of a 1 % stock holds 0.01 g."""
    kit = BathSettings(spoons=spoons)
    plan = first_swatches(["gold"], "linen", stock, settings=kit)
    for swatch in plan.sheets:
        for dose in swatch.doses:
            grams = dose.exact_ml * stock / 100.0 / dose.dilution
            assert 100.0 * grams / 5.0 == pytest.approx(dose.owf, rel=1e-12)
            assert dose.ml >= kit.smallest_dose - kit.measuring_step / 2
    assert max(map(len, str(plan).splitlines())) <= 100


def test_one_time_for_all_is_that_of_the_slowest() -> None:
    plan = first_swatches("gold, turquoise", "linen")
    assert {swatch.method.hours for swatch in plan.sheets} == {48}


def test_the_sheet_says_what_it_must(weekend: SwatchPlan) -> None:
    page = str(weekend)
    assert max(map(len, page.splitlines())) <= 100
    words = " ".join(page.split())
    for part in (
        "LIQUID stock, never powder", "10 mL of stock made up TO 100 mL on the day, once for all",
        "kept out of the first fit", "dye five depths", "equal pieces", "four layers",
        "one order for all", "thread", "dried, ironed, cooled", "photo-page", "picked off a screen",
        "dyemix start TABLE",
    ):  # fmt: skip
        assert part in words, part
    assert "<title>15 first swatches: gold, scarlet, navy on cotton lawn" in weekend.to_html()
    assert from_json(SwatchPlan, weekend.to_json()) == weekend


def test_a_table_shows_its_sheet_again(tmp_path: Path) -> None:
    plan = first_swatches(
        "gold, turquoise", "napkin", 2.0, 10.0, on=ON, alkali="with", liquor_ratio=15.0,
        fibre="linen", settings=BathSettings(spoons="us"),
    )  # fmt: skip
    path = tmp_path / "first.csv"
    write_swatches(plan.table(), path)
    again = planned_again(read_swatches(path), on=ON)
    assert str(again) == str(plan).replace("on napkin", "on napkin (linen)")
    assert [(s.doses, s.salt, s.soda, s.method) for s in again.sheets] == [
        (s.doses, s.salt, s.soda, s.method) for s in plan.sheets
    ]
    path.write_text(path.read_text("utf-8").replace("# cloth_g: 10\n", ""), "utf-8")
    with pytest.raises(RecipeError, match="cloth_g"):
        planned_again(read_swatches(path))


def test_low_water_is_said() -> None:
    """50 − 8 in the cloth is 42 poured, half of it soda solution: 1.05 g, 10.5 mL of 100 g/L."""
    plan = first_swatches("gold", "linen", swatch_g=10, liquor_ratio=5, alkali="with")
    words = " ".join(str(plan).split())
    assert "50.0 mL in all (5:1, low water)" in words
    assert "those of soda are made up with water to the mL after them" in words
    # 21 mL less 20 of stock; and a presoak of 2 mL a g, 60 g/L for 4 %: 1.2 g, 12 mL of 100 g/L.
    assert "gold 2 20 mL 1 tbsp + 1 tsp 1.0 mL none 10.5 mL to 21.0 mL [ ]" in words
    kit = BathSettings(first_depths=[4.0])
    presoak = first_swatches(
        "gold", "linen", 5.0, 10, liquor_ratio=5, alkali="presoak", settings=kit
    )
    assert "none 12.0 mL to 20.0 mL [ ]" in " ".join(str(presoak).split())
    # 300 g: 1260 mL poured on, half of it a solution of 50 g/L, 31.5 g; 32 on the scale.
    large = first_swatches("gold", "linen", 1.0, 300, liquor_ratio=5)
    assert "none 32 g to 630 mL [ ]" in " ".join(str(large).split())
    with pytest.raises(DyemixError, match=r"^gold \S+ on 10 g: the bath does not hold it"):
        first_swatches("gold", "linen", 1.0, liquor_ratio=3)


def test_the_table_reads_back_unread(weekend: SwatchPlan, tmp_path: Path) -> None:
    path = tmp_path / "first.csv"
    write_swatches(weekend.table(), path)
    swatches = read_swatches(path)
    assert [r.recipe for r in swatches.readings] == [s.recipe for s in weekend.sheets]
    assert [r.swatch for r in swatches.readings] == [s.job for s in weekend.sheets]
    assert {r.kind for r in swatches.readings} == {"blank"}
    assert sum(reading.reflectance is None for reading in swatches.readings) == 15
    assert swatches.conditions() == {
        "cloth": "cotton lawn",
        "alkali": "alkali after the dye",
        "liquor ratio": "20:1",
        "temperature": "21 °C",
        "hours": "24",
        "stock_pct": "1",
        "cloth_g": "5",
        "spoons": "metric",
    }


def test_a_bath_of_the_swatches_is_dyed_as_planned(weekend: SwatchPlan, tmp_path: Path) -> None:
    """The words that the table is written with are understood when it comes back."""
    from dyemix.bench.method import dyed_as

    path = tmp_path / "first.csv"
    write_swatches(weekend.table(), path)
    was, unread = dyed_as(read_swatches(path).conditions())
    assert unread == ()
    planned = vars(weekend.sheets[0].method)
    by_depth = ("salt", "soda", "soda_solution")
    assert was == {name: planned[name] for name in planned if name not in by_depth}


def test_the_table_takes_a_reading_in_either_form(weekend: SwatchPlan, tmp_path: Path) -> None:
    path = tmp_path / "first.csv"
    write_swatches(weekend.table(), path)
    text = path.read_text("utf-8").replace("1,undyed,,,,", "1,undyed,92.1,0.2,3.4,")
    path.write_text(text.replace("2,gold 2,,,,", "2,gold 2,,,,#c9a227"), "utf-8")
    kinds = [reading.kind for reading in read_swatches(path).readings]
    assert kinds == ["Lab", "hex", *["blank"] * 13]


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"dyes": []}, "no dyes are named"),
        ({"dyes": " , "}, "no dyes are named"),
        ({"dyes": ["gold", "navy", "Gold "]}, "^'gold' is named twice"),
        ({"dyes": ["gold + navy"]}, r"^'gold \+ navy' is no name for a dye"),
        ({"dyes": "gold; deep, navy"}, "^'gold; deep' is no name.*letters, figures, spaces"),
        ({"dyes": ["undyed 2 : 3"]}, "is no name for a dye"),
        ({"dyes": "gold, 100-b, navy"}, "^'100-b' is no name for a dye: it begins with a letter"),
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


def test_a_method_is_taken_by_its_name() -> None:
    """As a book calls methods: the cloth, and what else the name says of it."""
    plan = first_swatches("gold, navy", "linen, alkali with, liquor ratio 1:15", on=ON)
    assert {(s.cloth, s.method.alkali, s.method.liquor_ratio) for s in plan.sheets} == {
        ("linen", "with", 15.0)
    }
    assert plan.table().conditions()["alkali"] == "alkali in with the dye"
    assert first_swatches("gold", "cotton 55 %, linen 45 %").sheets[0].cloth.startswith("cotton 55")
    with pytest.raises(DyemixError, match="alkali 'after' is not what the method is called by"):
        first_swatches("gold", "linen, alkali with", alkali="after")


def test_no_more_powder_than_the_scale_wants(weekend: SwatchPlan) -> None:
    """10 steps of 1 g, 5 % at worst; of a finer scale a gram does, and the plan says so."""
    text = " ".join(str(weekend).split())
    assert "shows 1 g and weighs 10 g or more well" in text
    assert "The 190 mL of each strong stock that is left is for your first pieces" in text
    fine = first_swatches("gold, navy", "linen", settings=BathSettings(scale_step=0.1), on=ON)
    assert [need.how for need in fine.stocks] == [Making(1, 100, 1, 0, 100)] * 2
    assert "or more well" not in str(fine)
