"""Measuring: kits as people write them, and rounding that takes all dyes together."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_10
from dyemix.dataset.recipe import SPOON_SETS, Measures, Recipe
from dyemix.dataset.target import Target
from dyemix.dataset.units import stock_ml
from dyemix.errors import DyemixError
from dyemix.files.rows import parse_stock
from dyemix.matching.limits import Kit, Measured, measured
from dyemix.matching.match import match
from dyemix.model.dyes import DyeSet

KITS = (
    Kit(60.0, {"": 2.0}),
    Kit(240.0, {"": 1.0}, "spoons", spoons="us"),
    Kit(25.0, {"": 2.0}, "syringe", 0.5),
    Kit(100.0, {"": 4.0, "navy": 1.0}, "syringe", 0.1),
    Kit(500.0, {"": 2.0}, "scale", 1.0),
)


def dye_by_dye(dyes: DyeSet, recipe: Recipe, done: Measured, kit: Kit) -> np.ndarray:
    """The plain way, in the same stocks: every dye to its own nearest step, never to nothing."""
    amounts = np.zeros(len(dyes))
    for dose in done.doses:
        strength = kit.strength(dose.dye) / dose.dilution
        ml = stock_ml(kit.cloth_g, recipe[dose.dye], strength)
        steps = max(1.0, np.round(ml / kit.step_ml))
        amounts[dyes.index(dose.dye)] = steps * kit.step_ml * strength / kit.cloth_g
    return amounts


@pytest.mark.parametrize(
    ("text", "measure", "step", "spoons"),
    [
        ("spoons", "spoons", None, "metric"),
        ("spoons us", "spoons", None, "us"),
        ("Spoons Australian", "spoons", None, "australian"),
        ("syringe", "syringe", 0.5, "metric"),
        ("syringe 0.5", "syringe", 0.5, "metric"),
        ("syringe 0,2 mL", "syringe", 0.2, "metric"),
        ("scale", "scale", 0.1, "metric"),
        ("scale .01g", "scale", 0.01, "metric"),
        (" scale 1 g ", "scale", 1.0, "metric"),
    ],
)
def test_kits_as_people_write_them(
    text: str, measure: str, step: float | None, spoons: str
) -> None:
    kit = Kit.parse(text, {"": 2.0}, 100.0)
    assert (kit.measure, kit.step, kit.spoons) == (measure, step, spoons)
    if text in ("syringe", "scale"):  # one default, however the kit is made
        assert Kit(100.0, {"": 2.0}, measure) == kit
    assert kit.strength("navy") == 2.0


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("thumb", "not a way to measure"),
        ("spoons roman", "spoon set 'roman' is unknown"),
        ("syringe 0", "a step of 0 measures nothing"),
        ("syringe .", "write 'spoons metric'"),
        ("syringe half", "spoon set 'half' is unknown"),
        ("scale 0.1 kg", "write 'spoons metric'"),
        ("", "write 'spoons metric'"),
    ],
)
def test_what_is_no_kit_is_refused_in_a_sentence(text: str, words: str) -> None:
    with pytest.raises(DyemixError, match=words):
        Kit.parse(text, {"": 2.0}, 100.0)


def test_strengths_by_dye() -> None:
    assert parse_stock("2") == {"": 2.0}
    assert parse_stock("2,5 %") == {"": 2.5}
    assert parse_stock("navy 1, gold 2 %") == {"navy": 1.0, "gold": 2.0}
    assert parse_stock("Navy 1,5; gold 2") == {"navy": 1.5, "gold": 2.0}
    assert parse_stock("navy 1,gold 2") == {"navy": 1.0, "gold": 2.0}
    assert parse_stock("navy 1, 2") == {"navy": 1.0, "": 2.0}
    for bad in ("", "navy", "navy 0", "navy -1", "navy 1 gold 2 %%", "navy 1, navy 2", "1, 2"):
        with pytest.raises(DyemixError):
            parse_stock(bad)


def test_a_dye_without_a_stated_stock_is_named() -> None:
    kit = Kit(100.0, {"navy": 1.0})
    with pytest.raises(DyemixError, match="no stock strength for gold: add it, as 'gold 2'"):
        kit.strength("gold")
    for bad in ({"cloth_g": 0.0}, {"cloth_g": float("nan")}, {"stock_pct": {"": 0.0}}):
        with pytest.raises(DyemixError):
            Kit(**({"cloth_g": 100.0} | bad))  # type: ignore[arg-type]


@pytest.mark.parametrize("spoons", sorted(SPOON_SETS))
def test_what_is_printed_is_what_was_predicted(dyes: DyeSet, spoons: str) -> None:
    # The words go back through the parser of recipes, which shares nothing with the kit.
    kit = Kit(60.0, {"": 2.0}, spoons=spoons)
    recipe = Recipe({"marigold": 0.83, "navy": 0.41, "rust": 0.67})
    done = measured(dyes, recipe, kit, dyes.predict(recipe).lab, D65_10)
    for dose in done.doses:
        assert dose.dilution == 1
        terms = dose.text.split(" + ")
        total = sum(
            Recipe.parse(f"{dose.dye} {term}", Measures({"": 2.0}, 60.0, spoons))[dose.dye]
            for term in terms
        )
        assert total == pytest.approx(done.recipe[dose.dye], rel=1e-9)
        assert stock_ml(60.0, total, 2.0) == pytest.approx(dose.ml, rel=1e-9)


doses = st.floats(0.004, 3.5)


@settings(max_examples=60, deadline=None)
@given(
    st.dictionaries(st.integers(0, 11), doses, min_size=1, max_size=4),
    st.sampled_from(KITS),
    st.tuples(st.floats(-3, 3), st.floats(-3, 3), st.floats(-3, 3)),
)
def test_all_together_is_never_worse_than_one_by_one_and_never_nothing(
    dyes: DyeSet, chosen: dict[int, float], kit: Kit, off: tuple[float, float, float]
) -> None:
    recipe = Recipe({dyes.names[i]: c for i, c in chosen.items()})
    target = np.clip(dyes.predict(recipe).lab + off, [1.0, -90, -90], [99.0, 90, 90])
    done = measured(dyes, recipe, kit, target, D65_10)
    plain = dye_by_dye(dyes, recipe, done, kit)
    assert done.residual <= float(delta_e(target, dyes.colours(plain)[0])) + 1e-9
    assert set(done.recipe) == set(recipe)
    assert float(delta_e(target, dyes.predict(done.recipe).lab)) == pytest.approx(done.residual)
    for dose in done.doses:
        steps = dose.ml / kit.step_ml
        assert steps == pytest.approx(round(steps))
        assert steps >= 1
        assert dose.owf == pytest.approx(
            dose.ml * kit.strength(dose.dye) / dose.dilution / kit.cloth_g
        )
    assert np.isfinite(done.likely)
    assert done.likely > 0


def test_rounding_is_the_best_of_all_steps_nearby(dyes: DyeSet) -> None:
    kit = Kit(40.0, {"": 2.0}, "syringe", 0.5)
    recipe = Recipe({"scarlet": 0.31, "leaf": 0.22, "marigold": 0.44})
    target = dyes.predict(recipe).lab
    done = measured(dyes, recipe, kit, target, D65_10)
    centres = [stock_ml(40.0, recipe[dye], 2.0) / 0.5 for dye in recipe]
    best = min(
        float(delta_e(target, dyes.predict(dict(zip(recipe, np.array(s) / 40.0, strict=True))).lab))
        for s in product(*[(np.floor(c) + np.arange(-1, 3)).clip(1) for c in centres])
    )
    assert done.residual == pytest.approx(best, abs=1e-9)


def test_a_dose_too_small_to_measure_asks_for_a_weaker_stock(dyes: DyeSet) -> None:
    kit = Kit(50.0, {"": 2.0})
    recipe = Recipe({"marigold": 1.2, "black": 0.03})  # 30 mL, and 0.75 mL: half a quarter spoon
    done = measured(dyes, recipe, kit, dyes.predict(recipe).lab, D65_10)
    by_dye = {d.dye: d for d in done.doses}
    assert (by_dye["marigold"].dilution, by_dye["black"].dilution) == (1, 10)
    assert by_dye["black"].ml == 7.5
    (words,) = done.weaker
    assert "black 0.030 is too small a dose" in words
    assert "1 in 10 first (10 mL up to 100 mL)" in words
    assert "of 1 in 10" in str(done)


def test_a_dose_that_no_stock_makes_measurable_is_still_not_nothing(dyes: DyeSet) -> None:
    recipe = Recipe({"marigold": 1.2, "black": 1e-6})
    done = measured(dyes, recipe, KITS[0], dyes.predict(recipe).lab, D65_10)
    black = next(d for d in done.doses if d.dye == "black")
    assert black.dilution == 1000
    assert black.ml == pytest.approx(KITS[0].step_ml)


def test_undyed_cloth_needs_no_measuring(dyes: DyeSet) -> None:
    done = measured(dyes, Recipe({}), KITS[0], dyes.predict("undyed").lab, D65_10)
    assert done.doses == ()
    assert done.residual < 1e-6


def test_a_finer_kit_promises_a_smaller_miss(dyes: DyeSet) -> None:
    recipe = Recipe({"scarlet": 0.31, "leaf": 0.22, "marigold": 0.44})
    target = dyes.predict(recipe).lab
    likely = [
        measured(dyes, recipe, kit, target, D65_10).likely
        for kit in (Kit(60.0), Kit(60.0, measure="syringe", step=0.1))
    ]
    assert likely[1] < likely[0]


def test_a_match_carries_the_rounded_recipe_and_both_misses(dyes: DyeSet) -> None:
    kit = Kit.parse("spoons", {"": 2.0}, 120.0)
    found = match(dyes, Target(np.array([55.0, -10.0, 13.0]), D65_10), count=3, kit=kit)
    for one in found:
        assert one.measured is not None
        aim = found.target.lab, dyes.predict(one.measured.recipe, D65_10).lab
        assert one.measured.residual == pytest.approx(float(delta_e(*aim)), abs=1e-9)
        assert f"measure {one.measured}" in str(found)
        assert "tsp" in str(one.measured) or "tbsp" in str(one.measured)
        for words in one.measured.weaker:
            assert any(words in warning for warning in found.warnings)


@pytest.mark.parametrize("kit", KITS[1:3])
def test_the_likely_miss_is_of_the_kit_as_it_measures(dyes: DyeSet, kit: Kit) -> None:
    """Worked by hand: a syringe is off by its step ÷ √12, a US tablespoon of 14.787 mL by 5 %, and
    several by the root of their number; a stock of the strength it should have by 1 %.
    """
    recipe = dyes.recipe(np.eye(len(dyes))[0] * 0.8)
    aim = dyes.predict(recipe).lab
    done = measured(dyes, recipe, kit, aim, dyes.light)
    (dose,) = done.doses
    tablespoons = dose.ml / 14.787
    volume = 0.5 / 3.4641 if kit.measure == "syringe" else 0.05 * 14.787 * tablespoons**0.5
    per_ml = kit.strength(dose.dye) / kit.cloth_g / dose.dilution
    error = np.zeros((1, len(dyes)))
    error[0, 0] = float(np.hypot(volume * per_ml, 0.01 * dose.owf))
    pot = dyes.predict_many(dyes.amounts(done.recipe)[None], dyes.light, error).in_pot(aim)
    assert done.likely == pytest.approx(float(pot.mean[0]), rel=1e-3)
