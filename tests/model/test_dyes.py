"""Predictions against a slow twin, their slopes, and what a shelf of dyes can be asked."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchmarks.shelf import moved, shelf, standing
from dyemix.colour.colorimetry import D65_2, Light, lab, screen_colours
from dyemix.errors import DyemixError, InputError, RecipeError
from dyemix.model.dyes import DyeSet
from dyemix.model.fit_report import DyeReport, FitReport
from dyemix.model.kubelka_munk import PIVOT, SHIFT, Surface

A_10 = Light("A", 10)
AMOUNT = st.floats(0.0, 4.0)


@pytest.fixture(scope="module")
def dyes() -> DyeSet:
    return shelf(0, True)


def plain(dyes: DyeSet, recipe: dict[str, float]) -> list[float]:
    """Reflectance band by band in plain Python, straight from the equations.

    Each dye in company works ``exp(m e) (1 + T)^κ / (1 + c)^κᵢ`` times as much as alone, o the
    depth of the others, T that of all, m = o ÷ (o + c/4) and κ the mean of κᵢ by depth.
    """
    whole = dyes.whole
    r0, k2 = whole.surface.r0, whole.surface.k2
    out = []
    for band in range(31):
        y = (dyes.cloth[band] - r0) / (1 - r0)
        inside = y / (1 - k2 + k2 * y)
        k = (1 - inside) ** 2 / (2 * inside)
        for name, c in recipe.items():
            i = dyes.names.index(name)
            (n, q), total = whole.law[i], sum(recipe.values())
            others, acts = total - c, whole.interaction
            kappa = sum(x * acts[dyes.names.index(d)] for d, x in recipe.items()) / total
            bent = np.exp(q * np.log((c + SHIFT) / PIVOT) ** 2 / 2)
            alone = ((c + SHIFT) ** n - SHIFT**n) * bent
            share = others / (others + 0.25 * c)
            grown = np.exp(share * whole.company[i]) * (1 + total) ** kappa / (1 + c) ** acts[i]
            k += alone * grown * whole.curves[i, band]
        r = 1 + k - (k * k + 2 * k) ** 0.5
        out.append(r0 + (1 - r0) * (1 - k2) * r / (1 - k2 * r))
    return out


RECIPES = [
    {},
    {"navy": 0.2},
    {"marigold": 0.8, "navy": 0.25},
    {"scarlet": 3.0, "turquoise": 1.0, "black": 0.5},
]


@pytest.mark.parametrize("recipe", RECIPES)
@pytest.mark.parametrize("surface", [Surface(), Surface(0.012), Surface(0.012, 0.4)])
def test_a_prediction_is_that_of_the_equations(
    dyes: DyeSet, recipe: dict[str, float], surface: Surface
) -> None:
    company = np.linspace(-0.2, 0.3, len(dyes))
    interaction = np.linspace(-0.2, 0.1, len(dyes))
    set_of = standing(dyes, surface=surface, company=company, interaction=interaction)
    predicted = set_of.predict(recipe)
    np.testing.assert_allclose(predicted.reflectance, plain(set_of, recipe), rtol=1e-9)
    np.testing.assert_allclose(predicted.lab, lab(predicted.reflectance, dyes.light))
    # A hex code comes from the spectrum under D65/2°, whatever light the CIELAB is in.
    elsewhere = set_of.predict(recipe, A_10)
    assert elsewhere.hex == predicted.hex
    assert elsewhere.hex == screen_colours(lab(predicted.reflectance, D65_2))[0].hex


def test_many_at_once_are_the_same_as_one_by_one(dyes: DyeSet) -> None:
    amounts = np.array([dyes.amounts(recipe) for recipe in RECIPES])
    one_by_one = [dyes.predict(recipe, A_10).lab for recipe in RECIPES]
    np.testing.assert_allclose(dyes.colours(amounts, A_10), one_by_one, atol=1e-9)


@settings(max_examples=50)
@given(AMOUNT, st.floats(0.01, 2.0), st.integers(0, 11))
def test_more_dye_is_darker_in_every_band(amount: float, more: float, i: int) -> None:
    dyes = shelf(0, True)
    name = dyes.names[i]
    less = dyes.predict({name: amount}).reflectance
    assert np.all(dyes.predict({name: amount + more}).reflectance <= less + 1e-12)


def test_a_trace_of_another_dye_changes_nothing_at_once(dyes: DyeSet) -> None:
    """What mixes taught fades to nothing as a mix becomes one dye, and takes no jump on the way."""
    taught = standing(dyes, company=np.full(len(dyes), 0.2), interaction=np.full(len(dyes), 0.3))
    alone = taught.predict("scarlet 1").lab
    np.testing.assert_allclose(alone, dyes.predict("scarlet 1").lab)
    traces = [taught.predict({"scarlet": 1.0, "navy": c}).lab for c in (1e-8, 1e-6, 1e-4)]
    apart = np.linalg.norm(np.array(traces) - alone, axis=1)
    assert np.all(apart < [1e-4, 1e-2, 0.5])


def test_what_a_prediction_promises_is_that_of_many(dyes: DyeSet) -> None:
    amounts = np.array([dyes.amounts(recipe) for recipe in RECIPES])
    many = dyes.predict_many(amounts)
    for i, recipe in enumerate(RECIPES):
        one = dyes.predict(recipe)
        np.testing.assert_allclose(many.reflectance[i], one.reflectance)
        np.testing.assert_allclose(many.lab[i], one.lab)
        np.testing.assert_allclose(many.covariance[i], one.covariance)
        assert 0.0 < one.median < one.likely < one.bound
        figures = (many.likely[i], many.median[i], many.bound[i])
        assert figures == pytest.approx((one.likely, one.median, one.bound))


def test_no_dye_leaves_the_cloth(dyes: DyeSet) -> None:
    np.testing.assert_allclose(dyes.predict("undyed").reflectance, dyes.cloth, rtol=1e-9)


def test_no_dye_leaves_a_dyed_piece_as_it_is(dyes: DyeSet) -> None:
    piece = dyes.predict("scarlet 0.4").reflectance
    np.testing.assert_allclose(dyes.on(piece).predict("undyed").reflectance, piece, rtol=1e-9)


@given(AMOUNT, AMOUNT, st.integers(0, 11), st.integers(0, 11))
@settings(max_examples=50)
def test_absorption_adds_to_what_the_cloth_carries(one: float, two: float, i: int, j: int) -> None:
    # For linear laws that do not act on each other, two baths are the sum of their amounts.
    fitted = shelf(0, True)
    dyes = standing(fitted, law=np.tile([1.0, 0.0], (len(fitted), 1)))
    first, second = {dyes.names[i]: one}, {dyes.names[j]: two}
    both = dyes.amounts(first) + dyes.amounts(second)
    piece = dyes.predict(first).reflectance
    np.testing.assert_allclose(
        dyes.on(piece).predict(second).reflectance, dyes.reflectance(both)[0], rtol=1e-6
    )


def test_cloth_darker_than_the_surface_alone_is_refused(dyes: DyeSet) -> None:
    with pytest.raises(DyemixError, match="less than its surface alone"):
        standing(dyes, surface=Surface(0.02)).on(np.full(31, 0.01))
    with pytest.raises(DyemixError):
        dyes.on(np.full(16, 0.5))


def test_a_warning_travels_with_a_recipe_outside_the_range(dyes: DyeSet) -> None:
    top, low = dyes.deepest[0], dyes.palest[0]
    name = dyes.names[0]
    assert dyes.predict({name: top}).warnings == ()
    assert dyes.predict({name: low}).warnings == ()
    (deep,) = dyes.predict({name: 1.5 * top}).warnings
    assert name in deep
    assert "deeper than your deepest" in deep
    assert deep in str(dyes.predict({name: 1.5 * top}))
    (pale,) = dyes.predict({name: 0.5 * low}).warnings
    assert "paler than your palest" in pale


def test_an_unknown_dye_is_an_error_that_suggests_the_nearest(dyes: DyeSet) -> None:
    with pytest.raises(RecipeError, match="did you mean scarlet"):
        dyes.predict({"scarlett": 1.0})
    with pytest.raises(RecipeError, match="the shelf has"):
        dyes.predict({"xyzzy": 1.0})


def test_amounts_below_zero_are_refused(dyes: DyeSet) -> None:
    with pytest.raises(DyemixError):
        dyes.reflectance(np.full((1, len(dyes)), -0.1))
    with pytest.raises(DyemixError):
        dyes.reflectance(np.zeros((1, 3)))


def test_a_smaller_shelf_predicts_the_same(dyes: DyeSet) -> None:
    """What mixes taught of its dyes goes with them."""
    company = np.linspace(-0.3, 0.3, len(dyes))
    dyes = standing(dyes, company=company, interaction=0.5 * company)
    few = dyes.take(["navy", "marigold"])
    assert few.names == ("navy", "marigold")
    recipe = "marigold 0.8 + navy 0.25"
    np.testing.assert_allclose(few.predict(recipe).lab, dyes.predict(recipe).lab)
    np.testing.assert_allclose(few.predict(recipe).covariance, dyes.predict(recipe).covariance)


@pytest.mark.parametrize("nm", [-100.0, 100.0])
def test_bands_that_move_in_company_leave_no_curve_below_nothing(dyes: DyeSet, nm: float) -> None:
    """However far: a dye takes light, and gives none, beside others too."""
    theta = np.zeros(dyes.ladders.modes.unknowns)
    theta[-2 * len(dyes) : -len(dyes)] = nm
    whole = moved(dyes, theta).whole
    assert np.abs(whole.company_curve).max() > 0.1
    assert (whole.curves + whole.company_curve).min() >= 0.0


def test_arrays_are_read_only(dyes: DyeSet) -> None:
    held = (dyes.palest, dyes.deepest, dyes.cloth, dyes.ladders.curves, dyes.ladders.law)
    whole = dyes.whole
    told = whole.curves, whole.law, whole.company, whole.interaction
    for array in (*held, *told, dyes.ladders.modes.own):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0.0


def test_recipes_and_amounts_are_two_ways_to_write_one_thing(dyes: DyeSet) -> None:
    recipe = {"marigold": 0.8, "navy": 0.25}
    assert dyes.recipe(dyes.amounts(recipe)) == recipe


def test_a_prediction_can_be_a_target(dyes: DyeSet) -> None:
    predicted = dyes.predict("scarlet 1", A_10)
    target = predicted.as_target()
    np.testing.assert_allclose(target.lab, predicted.lab)
    assert target.light == A_10
    np.testing.assert_array_equal(target.reflectance, predicted.reflectance)


@pytest.mark.parametrize("wrong", [np.full(31, np.nan), np.full(31, np.inf), np.full(31, -0.1)])
def test_cloth_that_is_no_reflectance_is_refused(dyes, wrong):
    """It ended in an IndexError inside the search."""
    with pytest.raises(InputError, match="a reflectance is a number"):
        replace(dyes, cloth=wrong)
    with pytest.raises(InputError, match="3"):
        replace(dyes, cloth=np.full(3, 0.5))


def test_readings_that_scatter_are_no_doubt_of_what_a_first_mix_may_miss_by(dyes):
    """They are counted as after a pot: before, a photographed shelf was told of a wider range."""
    far = replace(dyes.scatter, reading=100.0 * np.eye(3))
    before = replace(dyes, posterior=None, pots=(), scatter=far).known
    assert before.spread == pytest.approx((1.0, 1.0), abs=0.05)


@pytest.mark.parametrize(
    ("between", "told"),
    [((0.76, 0.84), "about 0.8 (ΔE2000, D65/10°)"),
     ((0.74, 0.84), "about 0.8 (ΔE2000, D65/10°); it may be 0.7 or 0.8")],
)  # fmt: skip
def test_what_a_miss_may_be_is_told_where_it_differs_as_shown(between, told):
    dye = DyeReport("navy", (0.5, 1.0, 2.0), "", (), "")
    report = FitReport("D65/10°", "", (dye, dye), expected=0.8, between=between)
    assert f"expect a miss of {told}. Three to five mixes" in report.verdict
