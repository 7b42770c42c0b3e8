"""No wrong answer from a call that looks right: tables, readings and options made in code."""

from __future__ import annotations

import io
import pickle
import re
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import dyemix
from dyemix import InputError, Light, Reading, Recipe, SwatchSet, Target
from dyemix.colour.appearance import HueSpace, Scale
from dyemix.colour.colorimetry import WAVELENGTHS
from dyemix.dataset.readings import Clipped
from dyemix.dataset.result import Result
from dyemix.matching.advice import suggest
from dyemix.series.steps import RouteKind

NAMES = ("rust", "navy", "old rose", "l'été")
SPECTRA = st.lists(st.floats(0.001, 1.05), min_size=31, max_size=31).map(np.array)
WORDS = st.text(st.sampled_from("abc é°-:;,.%"), max_size=8).map(str.strip)
AMOUNTS = st.dictionaries(st.sampled_from(NAMES), st.floats(1e-6, 20.0), max_size=3)
ABOUT = st.fixed_dictionaries(
    {
        "swatch": WORDS,
        "name": WORDS,
        "place": WORDS,
        "conditions": st.dictionaries(
            st.sampled_from(["cloth", "date", "shed"]), WORDS.filter(bool), max_size=2
        ),
        "warnings": st.lists(WORDS.filter(bool), max_size=2).map(tuple),
    }
)
RECIPES = st.none() | AMOUNTS.map(Recipe)
LABS = st.tuples(st.floats(30, 80), st.floats(-15, 15), st.floats(-15, 15))


@st.composite
def readings(draw: st.DrawFn) -> Reading:
    """A reading of any kind, with all that one can hold."""
    recipe, about = draw(RECIPES), draw(ABOUT)
    kind = draw(st.sampled_from(["spectrum", "Lab", "hex", "blank"]))
    if kind == "spectrum":
        return Reading.from_spectrum(draw(SPECTRA), None, recipe, **about)
    if kind == "blank":
        return Reading(recipe, None, kind="blank", **about)
    if kind == "hex":
        return Reading.from_hex(draw(st.sampled_from(["#7d8a6e", "#ff8000"])), recipe, **about)
    covariance = np.diag(draw(st.tuples(*[st.floats(0.01, 2.0)] * 3)))
    light = draw(st.sampled_from(["D65/10", "A/2"]))
    return Reading.from_lab(draw(LABS), light, recipe, covariance=covariance, **about)


@settings(max_examples=40)
@given(st.lists(readings(), min_size=1, max_size=5), st.booleans(), st.lists(WORDS, max_size=2))
def test_a_frame_of_swatches_comes_back_the_same(
    some: list[Reading], demo: bool, notes: list[str]
) -> None:
    swatches = SwatchSet(tuple(some), tuple(notes), "book.csv", demo)
    assert SwatchSet.from_frame(swatches.to_frame()) == swatches


def test_a_refit_of_the_frame_is_the_same_fit() -> None:
    """0.125 was written as 0.12, which moved CIELAB by 0.3."""
    swatches = dyemix.demo()
    few = SwatchSet(tuple(r for r in swatches.readings if set(r.recipe) <= {"lemon", "plum"}))
    assert dyemix.fit(SwatchSet.from_frame(few.to_frame())) == dyemix.fit(few)


@cache
def _shelf() -> dyemix.DyeSet:
    return dyemix.fit(dyemix.demo())


@pytest.fixture(scope="module")
def dyes() -> dyemix.DyeSet:
    return _shelf()


def test_recipes_of_a_frame_predict_as_they_did(dyes: dyemix.DyeSet) -> None:
    found = dyemix.match(dyes, "#7d8a6e")
    frame = found.to_frame()
    again = dyes.predict(frame["recipe"], found.target.light)
    np.testing.assert_allclose(again.lab, [i.prediction.lab for i in found], atol=1e-12)
    for item, (_, row) in zip(found, frame.iterrows(), strict=True):
        assert {dye: row[dye] for dye in item.recipe} == dict(item.recipe)
        assert row["total_owf"] == item.recipe.total


@settings(max_examples=20)
@given(st.permutations(range(12)), st.permutations(range(5)), st.integers(0, 99))
def test_no_order_changes_a_prediction(
    dyes: dyemix.DyeSet, columns: list[int], rows: list[int], seed: int
) -> None:
    """Of columns, of the dyes on the shelf, and of rows."""
    amounts = np.random.default_rng(seed).uniform(0, 1, (5, 12))
    table = pd.DataFrame(amounts, columns=list(dyes.names), index=[f"r{i}" for i in range(5)])
    plain = dyes.predict(amounts)
    mixed = table.iloc[rows, columns]
    shelf = dyes.take([dyes.names[i] for i in columns])
    for found in (dyes.predict(mixed), shelf.predict(mixed)):
        np.testing.assert_allclose(found.lab, plain.lab[rows], atol=1e-9)
        np.testing.assert_allclose(found.covariance, plain.covariance[rows], rtol=1e-6, atol=1e-9)
        assert list(found.to_frame().index) == list(mixed.index)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda t: t.drop(columns="navy"), "missing navy"),
        (lambda t: t.rename(columns={"navy": "nvay"}), "nvay"),
        (lambda t: t.assign(batch=1.0), "batch"),
        (lambda t: t.assign(Navy=1.0), "twice navy"),
        (lambda t: t - 2.0, "row 0"),
        (lambda t: t.assign(navy=[1.0, np.nan]), "row 1"),
        (lambda t: t.assign(navy="much"), "numbers"),
    ],
)
def test_a_frame_that_does_not_fit_the_shelf_is_refused(
    change: Any, said: str, dyes: dyemix.DyeSet
) -> None:
    table = pd.DataFrame(np.ones((2, 12)), columns=list(dyes.names))
    with pytest.raises(dyemix.DyemixError, match=said):
        dyes.predict(change(table))


def test_one_recipe_or_many_in_any_form(dyes: dyemix.DyeSet) -> None:
    one = dyes.predict("rust 1 + navy 0.125")
    amounts = dyes.amounts("rust 1 + navy 0.125")
    many: list[Any] = [
        ["rust 1 + navy 0.125"], [{"rust": 1.0, "navy": 0.125}], amounts, [list(amounts)],
        pd.Series(["rust 1 + navy 0.125"], index=["a"]), [one.recipe],
    ]  # fmt: skip
    for form in ({"navy": 0.125, "rust": 1.0}, pd.Series({"rust": 1.0, "navy": 0.125})):
        assert dyes.predict(form).lab == pytest.approx(one.lab)
    for some in many:
        found = dyes.predict(some)
        assert len(found) == 1
        assert found[0].lab == pytest.approx(one.lab)
        assert found.likely[0] == pytest.approx(one.likely)
    with pytest.raises(dyemix.RecipeError, match="12 columns"):
        dyes.predict(np.ones((3, 11)))


@pytest.mark.parametrize(
    "wrong", [["rust 1", 3], [[1.0] * 12, [1.0]], {"rust": "much"}, {"rust": float("nan")}, "rust"]
)
def test_what_is_no_recipe_is_refused(wrong: Any, dyes: dyemix.DyeSet) -> None:
    with pytest.raises(dyemix.DyemixError, match=r"recipe|numbers|amount"):
        dyes.predict(wrong)
    assert "0 recipes" in repr(dyes.predict([]))


def test_nothing_of_a_recipe_is_dropped(dyes: dyemix.DyeSet) -> None:
    """Each took the one it came to last, or first, and dropped the other."""
    twice = dyes.predict(pd.Series([1.0, 2.0], index=["rust", "rust"]))
    assert twice.recipe == {"rust": 3.0}
    for several in (["rust 1", "navy 1"], []):
        with pytest.raises(dyemix.RecipeError, match=f"not {len(several)}"):
            dyes.amounts(several)  # type: ignore[arg-type]
    for wrong in ([-1.0] * 12, [1.0] * 11, "much"):
        with pytest.raises(dyemix.DyemixError, match=r"amount|columns|numbers"):
            dyes.recipe(wrong)


def test_a_recipe_is_text_or_by_dye_everywhere(dyes: dyemix.DyeSet) -> None:
    by_dye = pd.Series({"navy": 0.2, "rust": 1.0})
    assert Recipe.parse(by_dye) == Recipe(by_dye) == {"rust": 1.0, "navy": 0.2}
    assert dyemix.tint(dyes, by_dye, 2) == dyemix.tint(dyes, "rust 1 + navy 0.2", 2)
    for wrong in (5, np.ones(12), dyes.predict("rust 1")):
        with pytest.raises(dyemix.RecipeError, match="is no recipe"):
            dyemix.tint(dyes, wrong, 2)  # type: ignore[arg-type]


def test_what_a_match_cannot_take_is_said(dyes: dyemix.DyeSet) -> None:
    for option, said in (
        ({"kit": "spoons"}, "is no Kit"), ({"price": 5}, "price is by dye"),
        ({"in_hand": "rust"}, "in_hand is by dye"),
    ):  # fmt: skip
        with pytest.raises(dyemix.DyemixError, match=said):
            dyemix.match(dyes.take("rust, navy"), "#7d8a6e", **option)  # type: ignore[arg-type]
    with pytest.raises(dyemix.DyemixError, match="is no DyeSet"):
        dyemix.match(dyemix.demo(), "#7d8a6e")  # type: ignore[arg-type]


def test_what_is_another_kind_of_thing_is_said(dyes: dyemix.DyeSet) -> None:
    read, small = Reading.from_lab([52, -8, 14], "D65/10"), dyes.take("rust, navy, lemon")
    trial = dyemix.Trial("rust 1", read, target=Target.parse("#7d8a6e"))
    wrong: list[tuple[Any, str]] = [
        (lambda: dyemix.Trial("rust 1", read, date="2026-01-31"), "is no date"),  # type: ignore[arg-type]
        (lambda: dyemix.learn(dyes, [read]), "is no Trial"),  # type: ignore[list-item]
        (lambda: dyemix.correct(dyes, trial, tolerance=float("nan")), "no ΔE2000"),
        (lambda: dyemix.family(small, ["#7d8a6e"], tolerance=float("nan")), "above 0"),
        (lambda: dyemix.reach(small, other="rust"), "is no DyeSet"),  # type: ignore[arg-type]
        (lambda: dyemix.bath_sheet("rust 1", 100.0, stocks=["rust 1"]), "is no Stock"),  # type: ignore[list-item]
        (lambda: dyemix.bath_sheet("rust 1", 100.0, on="today"), "is no date"),  # type: ignore[arg-type]
        (lambda: dyemix.read_swatches(pd.DataFrame()), "not a DataFrame"),  # type: ignore[arg-type]
        (lambda: dyemix.Kit(100, 5), "is no Mapping"),  # type: ignore[arg-type]
        (lambda: Reading.from_hex("x"), "is not a hex colour"),
        (lambda: dyemix.read_photo(np.zeros((9, 9, 3))), "of uint8"),  # type: ignore[arg-type]
    ]
    for make, said in wrong:
        with pytest.raises(dyemix.DyemixError, match=said):
            make()


def test_what_is_known_of_dosing_is_taken_by_dye(dyes: dyemix.DyeSet) -> None:
    recipes = ["rust 1 + navy 0.5", "rust 1"]
    errors = pd.DataFrame(0.01, index=[0, 1], columns=list(dyes.names)).assign(rust=0.3)
    plain = dyes.predict_many(recipes, dosing=errors.to_numpy()).likely
    turned = dyes.predict_many(recipes, dosing=errors[[*dyes.names[::-1]]]).likely
    np.testing.assert_allclose(turned, plain)
    for wrong, said in ((errors[:1], "one row for each of 2"), (-errors, "0 or more")):
        with pytest.raises(dyemix.RecipeError, match=said):
            dyes.predict_many(recipes, dosing=wrong)


def test_leaving_the_squares_is_a_column_and_no_warning(dyes: dyemix.DyeSet) -> None:
    found = dyes.predict(
        ["rust 1", "rust 9 + navy 0.01", "rust 0.5"]
    )  # pytest turns them to errors
    told = list(found.to_frame()["warnings"])
    assert [bool(text) for text in told] == [False, True, False]
    assert "deeper than your deepest" in told[1]
    assert "paler than your palest" in told[1]
    assert found.warnings[1] == dyes.predict("rust 9 + navy 0.01").warnings


# Readings made in code --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: Reading("rust 1", np.full(31, 40.0)), "percent"),
        (lambda: Reading("rust 1", np.full(36, 0.4)), "give the wavelengths"),
        (lambda: Reading("rust 1", np.append(np.full(30, 0.4), np.nan)), "a number"),
        (lambda: Reading("rust 1", np.full(31, -0.1)), "0 or more"),
        (lambda: Reading.from_spectrum([0.4] * 31, range(400, 700, 10)), "one value a wavelength"),
        (lambda: Reading.from_spectrum([0.4] * 29, range(420, 701, 10)), "400 to 420 nm"),
        (lambda: Reading.from_spectrum(["x"] * 31), "numbers"),
        (lambda: Reading.from_lab("grey", "D65/10"), "numbers"),
        (lambda: Reading.from_lab([50, 0], "D65/10"), "L\\*, a\\*, b\\*"),
        (lambda: Reading.from_lab([50, 0, np.nan], "D65/10"), "L\\*, a\\*, b\\*"),
        (lambda: Reading("rust 1", np.full(31, 0.4), kind="lab"), "kind of reading"),
        (lambda: Reading("rust 1", np.full(31, 0.4), kind="Lab", lab=np.ones(3)), "its light"),
        (lambda: dyemix.spectrum_to_lab(np.full(31, 40.0)), "percent"),
        (lambda: Reading.from_spectrum([1.5] * 31), "percent"),  # black in per cent
        (lambda: Reading.from_spectrum([0.9] * 31, scale="percent"), "scale='fraction'"),
        (lambda: _shelf().on(np.full(31, 80.0)), "percent"),
        (lambda: _shelf().on(np.full(3, 0.8)), "31"),
        (lambda: Reading.from_lab(pd.Series({"x": 1.0, "y": 2.0, "z": 3.0}), "A/2"), "L\\*, a\\*"),
        (lambda: dyemix.delta_e(LABS_BY_NAME.rename(columns={"b*": "h"}), [50, 0, 0]), "b\\*"),
        (lambda: dyemix.Trial("rust 1", "#7d8a6e"), "no Reading"),
        (lambda: dyemix.fit("table.csv"), "no SwatchSet"),
        (lambda: dyemix.correct(_shelf(), "rust 1"), "no Trial"),
        (lambda: _shelf().evaluate(LABS_BY_NAME), "no Swatch"),
        (lambda: _shelf().take([]), "one dye or more"),
        (lambda: dyemix.Light.parse(("D65", 10)), "no.* a light"),
        (lambda: dyemix.hex_to_lab(["#7d8a6e"]), "hex"),
    ],
)
def test_what_is_no_reading_is_refused(make: Any, said: str) -> None:
    with pytest.raises(dyemix.DyemixError, match=said):
        make()


def test_wavelengths_travel_with_a_spectrum() -> None:
    bands = np.arange(380, 731, 10)
    ramp = np.linspace(20, 60, len(bands))
    read = Reading.from_spectrum(ramp[::-1], bands[::-1], "rust 1", scale="percent")
    inner = (bands >= 410) & (bands <= 690)  # end bands hold what lies beyond them (ASTM E308)
    assert read.reflectance is not None
    np.testing.assert_allclose(read.reflectance[1:-1], ramp[inner] / 100, atol=1e-12)
    np.testing.assert_array_equal(read.wavelengths, WAVELENGTHS)
    columns = [name for name in SwatchSet((read,)).to_frame().columns if name.endswith(" nm")]
    assert columns == [f"{w:.0f} nm" for w in WAVELENGTHS]


#: In another order than CIELAB is written in.
LABS_BY_NAME = pd.DataFrame({"b*": [4.0, 12.0], "L*": [93.0, 50.0], "a*": [0.0, -9.0]})


def test_what_is_labelled_is_taken_by_its_labels() -> None:
    """Columns in another order gave ΔE 42 of a colour from itself; a falling spectrum another."""
    plain = np.array([[93.0, 0.0, 4.0], [50.0, -9.0, 12.0]])
    one = LABS_BY_NAME.loc[1]
    for table in (LABS_BY_NAME, LABS_BY_NAME.rename(columns=lambda name: name[0])):
        np.testing.assert_array_equal(dyemix.delta_e(table, plain), 0.0)
        assert [m.target.lab.tolist() for m in dyemix.match_many(_shelf(), table)] == plain.tolist()
    assert Target(one, "D65/10").lab.tolist() == plain[1].tolist()
    assert dyemix.lab_to_hex(one) == dyemix.lab_to_hex(plain[1])
    np.testing.assert_array_equal(Reading.from_lab(one, "D65/10").lab, plain[1])
    ramp = np.linspace(0.2, 0.6, 31)
    labels: list[list[Any]] = [
        [*WAVELENGTHS], [*map(int, WAVELENGTHS)], [f"{w:.0f} nm" for w in WAVELENGTHS],
        [f"R_{w:.0f}" for w in WAVELENGTHS],
    ]  # fmt: skip
    for bands in labels:
        falling = pd.Series(ramp[::-1], index=bands[::-1])
        for labelled in (falling, falling.to_frame().T):
            found = np.ravel(dyemix.spectrum_to_lab(labelled))
            np.testing.assert_allclose(found, dyemix.spectrum_to_lab(ramp))
        read = SwatchSet.from_frame(falling.to_frame().T.assign(recipe="rust 1")).readings[0]
        np.testing.assert_allclose(read.reflectance, ramp)


def test_frames_of_nullable_columns_are_read() -> None:
    table = TABLE.convert_dtypes().assign(light="D65/10", swatch=pd.array([None, "a", "b"]))
    plain = SwatchSet.from_frame(TABLE, light="D65/10")
    found = SwatchSet.from_frame(table)
    assert [r.swatch for r in found.readings] == ["", "a", "b"]
    for one, other in zip(found.readings, plain.readings, strict=True):
        np.testing.assert_array_equal(one.lab, other.lab)


def test_the_callers_array_stays_hers_and_ours_cannot_change(dyes: dyemix.DyeSet) -> None:
    hers = np.full(31, 0.4)
    read = Reading("rust 1", hers)
    hers[0] = 0.9
    assert read.reflectance is not None
    assert read.reflectance[0] == 0.4
    spread = np.eye(3)
    unsure = Reading.from_lab([50, 0, 0], "D65/10", covariance=spread)
    spread[0, 0] = 9.0
    assert unsure.covariance is not None
    assert unsure.covariance[0, 0] == 1.0
    p = dyes.predict("rust 1")
    found = dyemix.match(dyes, "#7d8a6e", count=1)
    for array in (p.lab, p.covariance, p.reflectance, found.target.lab, found[0].prediction.lab):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1.0


def test_equal_values_are_equal_and_pickled_ones_too(dyes: dyemix.DyeSet) -> None:
    found = dyemix.match(dyes, "#7d8a6e", count=2)
    read = Reading.from_hex("#ff8000", "rust 1")
    for value in (Target.parse("#7d8a6e"), read, dyes, found, dyemix.Trial("rust 1", read)):
        copy = pickle.loads(pickle.dumps(value))
        assert copy == value
        assert hash(copy) == hash(value)
        assert copy != Target.parse("#000000")
    assert Target.parse("#7d8a6e") != Target.parse("#7d8a6f")
    assert Clipped.parse(str(read.clipped)) == read.clipped


@pytest.mark.parametrize("shape", [(3, 4), (4,), (2, 1), ()])
def test_a_difference_is_of_colours(shape: tuple[int, ...]) -> None:
    for pair in ((np.ones(shape), np.ones(3)), (np.ones(3), np.ones(shape))):
        with pytest.raises(dyemix.DyemixError, match=re.escape(str(shape))):
            dyemix.delta_e(*pair)


def test_colours_without_partners_are_refused() -> None:
    assert dyemix.delta_e(np.ones((2, 1, 3)), np.ones((4, 3))).shape == (2, 4)
    with pytest.raises(dyemix.DyemixError, match="no partners"):
        dyemix.delta_e(np.ones((2, 3)), np.ones((4, 3)))
    for factor in (-1.0, 0.0, 1e999, float("nan")):
        with pytest.raises(dyemix.DyemixError, match=f"k_lightness is {factor:g}"):
            dyemix.delta_e([50, 0, 0], [51, 0, 0], factor)


# Frames from elsewhere --------------------------------------------------------------------------

TABLE = pd.DataFrame(
    {"recipe": ["undyed", "rust 1", "rust 0.25"], "L*": [93.0, 50.0, 70.0], "a*": [0.0, 30.0, 18.0],
     "b*": [4.0, 30.0, 20.0]}
)  # fmt: skip


def test_amounts_by_column_do_for_recipes() -> None:
    columns = TABLE.assign(rust=[0.0, 1.0, 0.25]).drop(columns="recipe")
    by_text = SwatchSet.from_frame(TABLE, light="D65/10")
    assert SwatchSet.from_frame(columns, light="D65/10") == by_text
    assert by_text.readings[1].light == Light("D65", 10)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda t: t, "rows 0–2: L\\*a\\*b\\* without its light"),
        (lambda t: t.assign(light="D65/10", rust=[0.0, 1.0, 0.2]), "row 2: column 'rust' says 0.2"),
        (lambda t: t.assign(light="D65/10", worker="me"), "what is worker"),
        (lambda t: t.assign(light="D65/10", recipe=["undyed", "rust lots", ""]), "row 1: 'rust lo"),
        (lambda t: t.assign(**{"light": "D65/10", "a*": [0.0, np.nan, 1.0]}), "row 1: part of"),
        (lambda t: t[["L*", "a*", "b*"]].assign(light="D65/10"), "what was dyed"),
        (lambda t: t[["L*", "a*", "b*"]].assign(light="D65/10", id=[1, 2, 3]), "what is id"),
        (lambda t: t.assign(**{"light": "D65/10", "Unnamed: 0": [0, 1, 2]}), "what is Unnamed: 0"),
        (lambda t: t.assign(rust=0.0, Rust=0.0), "two columns are called alike"),
        (lambda t: t[["recipe"]].assign(**{f"{w:.0f}": 40.0 for w in WAVELENGTHS}), "percent"),
    ],
)
def test_every_fault_of_a_frame_is_said(change: Any, said: str) -> None:
    with pytest.raises(InputError, match=said):
        SwatchSet.from_frame(change(TABLE))


@pytest.mark.parametrize("wrong", [None, "swatches.csv", {"recipe": ["undyed"]}, [1.0]])
def test_what_is_no_frame_is_refused(wrong: Any) -> None:
    with pytest.raises(InputError, match="a frame is wanted"):
        SwatchSet.from_frame(wrong)
    with pytest.raises(dyemix.DyemixError, match="is no SwatchSet"):
        dyemix.fit(dyemix.demo(), check=wrong or [1])


def test_sets_add_up_and_are_gone_through() -> None:
    one, other = SwatchSet.from_frame(TABLE, light="D65/10"), dyemix.demo()
    both = one + other
    assert len(both) == len(one) + len(other)
    assert [swatch.label for swatch in one] == ["undyed", "rust 1.00", "rust 0.25"]
    assert both.demo


def test_a_lone_name_is_a_name(dyes: dyemix.DyeSet) -> None:
    assert dyes.take("navy").names == ("navy",)
    assert dyes.take("navy, rust").names == ("navy", "rust")
    left = dyemix.demo().without("rust 4")
    assert not any(swatch.recipe == {"rust": 4.0} for swatch in left)


def test_a_swatch_is_left_out_by_its_name_or_its_recipe_however_typed() -> None:
    demo = dyemix.demo()
    (one,) = [s for s in demo if s.recipe == {"rust": 0.5}]
    for typed in (one.label, "rust 0.50", "Rust 0,5", one.readings[0].swatch.upper()):
        left = list(demo.without([typed]))
        assert [s for s in demo if s not in left] == [one], typed
    alike = replace(demo, readings=tuple(replace(r, swatch="a") for r in demo.readings))
    with pytest.raises(dyemix.DyemixError, match="several recipes are called 'a'"):
        alike.without(["a"])
    for wrong in ("b", "", "rust 0.504"):
        with pytest.raises(dyemix.DyemixError, match=f"no swatch is called '{wrong}'"):
            demo.without(["rust 0.5", wrong])


def test_recipes_that_are_shown_alike_are_told_apart_by_their_digits() -> None:
    """All of them were left out by the name of one."""
    rows = ("undyed", "rust 0.501", "rust 0.502", "rust 1 + navy 0.501")
    table = SwatchSet(tuple(Reading.from_lab([50, 1, 2], "D65/10", recipe=row) for row in rows))
    for typed, gone in (("Rust 0,501", 1), ("navy 0.5 + rust 1", 3), ("rust 0.502", 2)):
        left = [swatch.recipe for swatch in table.without([typed])]
        assert left == [Recipe.parse(row) for i, row in enumerate(rows) if i != gone], typed
    for typed in ("rust 0.50", "rust 0.5"):
        with pytest.raises(dyemix.DyemixError, match=r"the one of rust 0\.501, rust 0\.502"):
            table.without([typed])


# Options ----------------------------------------------------------------------------------------


def test_options_take_their_text_and_refuse_the_rest(dyes: dyemix.DyeSet) -> None:
    bright = "turquoise 1"
    by_text = dyemix.subdue(dyes, bright, 2, hue="CIECAM16")
    assert by_text == dyemix.subdue(dyes, bright, 2, hue=HueSpace.CIECAM16)
    assert by_text != dyemix.subdue(dyes, bright, 2, hue="CIELAB")
    grey = dyemix.subdue(dyes, bright, 2, only="black or grey")
    assert {route.kind for route in grey.routes} == {RouteKind.GREY}
    for option in ({"hue": "rubbish"}, {"scale": "rubbish"}, {"only": "rubbish"}):
        with pytest.raises(dyemix.DyemixError, match="'rubbish' is no"):
            dyemix.subdue(dyes, bright, 2, **option)
    for kind in (HueSpace, RouteKind, Scale):
        for words in ([m.value for m in kind], [m.name for m in kind]):
            assert [kind(text.swapcase()) for text in words] == list(kind)


def test_every_light_takes_text_and_refuses_the_rest(dyes: dyemix.DyeSet) -> None:
    def seen(light: Any) -> list[Any]:
        piece, bright = Reading.from_spectrum([0.3] * 31, recipe="rust 1"), "scarlet 1.2"
        return [
            dyes.predict("rust 1", light).lab, dyes.predict_many(["rust 1"], light).lab,
            dyes.colours(np.ones(12), light), dyes.alone(light), dyes.greys(light),
            piece.colour(light), Target.of(piece, light).lab, Target.parse("50 0 0", light).light,
            Reading.from_lab([50, 0, 0], light).reflectance, dyemix.spectrum_to_lab([0.3] * 31,
            light=light), dyemix.tint(dyes, bright, 2, light=light).start.lab,
            dyemix.subdue(dyes, bright, 2, light=light).start.lab,
            dyemix.shade_card(dyes, "lemon, navy", parts=2, light=light).blends[0].prediction.light,
            dyemix.reach(dyes.take("lemon, rose, navy"), compare=False, light=light).gamut.light,
            SwatchSet.from_frame(TABLE, light=light).readings[0].light,
        ]  # fmt: skip

    for one, other in zip(seen("A/2"), seen(Light("A", 2)), strict=True):
        np.testing.assert_array_equal(one, other)
    assert Light("d65", 2) == Light.parse("D65/2")
    told = TABLE.assign(light="D65/10")
    for make in (
        lambda: Light("rubbish"), lambda: dyes.predict("rust 1", "rubbish"),
        lambda: SwatchSet.from_frame(told, light="rubbish"),
    ):  # fmt: skip
        with pytest.raises(dyemix.DyemixError, match=r"rubbish.*is unknown|'RUBBISH' is unknown"):
            make()


def test_a_target_changes_its_light_or_refuses(dyes: dyemix.DyeSet) -> None:
    p = dyes.predict("rust 1", "D65/10")
    turned = p.as_target().to_light("A/10")
    np.testing.assert_allclose(turned.lab, dyes.predict("rust 1", "A/10").lab)
    assert turned.light == Light("A", 10)
    assert turned.to_light("D65/10").lab == pytest.approx(p.lab)
    with pytest.raises(dyemix.TargetError, match="give its spectrum"):
        Target.parse("#7d8a6e").to_light("A/10")


def test_whatever_is_a_colour_is_a_target(dyes: dyemix.DyeSet) -> None:
    p = dyes.predict("rust 1")
    wanted: list[Any] = [
        p, p.reflectance, Reading("rust 1", p.reflectance), p.lab, list(p.lab),
        "{} {} {}".format(*p.lab),
    ]  # fmt: skip
    for found in dyemix.match_many(dyes, wanted, count=1):
        assert found.target.lab == pytest.approx(p.lab)
        assert found[0].residual < 0.01
    codes = pd.Series(["#7d8a6e", "#303030"], index=pd.Index([7, 7], name="job"))
    many = dyemix.match_many(dyes, codes, count=2)
    assert [m.target.name for m in many] == list(codes)
    table = many.to_frame()
    assert list(table.index) == [7, 7, 7, 7]
    assert table.index.name == "job"
    assert list(table["rank"]) == [1, 2, 1, 2]
    for (_, row), match in zip(table.iterrows(), (m for found in many for m in found), strict=True):
        assert {d: row[d] for d in dyes.names if row.get(d, 0.0) > 0} == dict(match.recipe)
        assert row["likely"] == match.likely
    assert pickle.loads(pickle.dumps(many)) == many
    framed = dyemix.match_many(dyes, pd.DataFrame({"hex": list(codes)}), count=1)
    assert [m.target.lab.tolist() for m in framed] == [m.target.lab.tolist() for m in many]
    with pytest.raises(dyemix.TargetError, match="is not a colour"):
        dyemix.match(dyes, [1.0, 2.0])
    assert [m.target.name for m in dyemix.match_many(dyes, "#7d8a6e", count=1)] == ["#7d8a6e"]


@pytest.mark.parametrize("light", ["D66/2", "D65/3"])
def test_a_light_that_is_none_names_the_colour_it_was_written_with(light: str) -> None:
    with pytest.raises(dyemix.TargetError, match=rf"^'56 -10 13 {light}': "):
        dyemix.Target.parse(f"56 -10 13 {light}")


# What every result shows of itself --------------------------------------------------------------


def test_every_result_is_short_in_a_prompt_and_patched_in_a_notebook(dyes: dyemix.DyeSet) -> None:
    piece = Reading.from_lab([52, -8, 14], "D65/10", "marigold 0.42 + navy 0.22")
    trial = dyemix.Trial(piece.recipe, piece, Target.parse("#7d8a6e"))
    results: list[Result] = [
        dyes, dyes.report, dyes.predict("rust 1"), dyes.predict(["rust 1", "navy 1"]),
        dyemix.match(dyes, "#7d8a6e", count=2), dyemix.match(dyes, "#7d8a6e", count=1)[0],
        dyemix.match_many(dyes, ["#7d8a6e", "#303030"], count=2),
        suggest(dyes, "#7d8a6e"),
        dyemix.subdue(dyes, "scarlet 1", 2), dyemix.shade_card(dyes, "lemon, navy", parts=2),
        dyemix.reach(dyes.take("lemon, rose, navy"), ["#7d8a6e"], compare=False),
        dyemix.family(dyes, ["#7d8a6e"]), dyemix.next_swatch(dyes.take("lemon, navy"), ["#7d8a6e"]),
        dyemix.learn(dyes, [trial]), dyemix.correct(dyes, trial), dyemix.demo(), piece,
        trial.target, dyes.evaluate(dyemix.demo()),
    ]  # fmt: skip
    for result in results:
        name = type(result).__name__
        assert repr(result).startswith(f"<{name}")
        assert len(repr(result)) <= 160
        assert "\n" not in repr(result)
        copy = pickle.loads(pickle.dumps(result))
        assert (copy == result, hash(copy) == hash(result)) == (True, True), name
        page, rows = result._repr_html_(), result.to_frame()
        assert len(rows) >= 1
        assert page.count("<tr") == 1 + min(len(rows), 60)
        if "hex" in rows:
            assert page.count("background:#") == min(rows["hex"].notna().sum(), 60)
        assert all(rows[dye].dtype.kind == "f" for dye in dyes.names if dye in rows)
    sheets: list[Any] = [
        dyemix.bath_sheet("rust 1", 100, cloth="cotton"), dyemix.stock_sheet("rust"),
        dyemix.first_swatches("rust, navy", "cotton"),
    ]  # fmt: skip
    for sheet in sheets:
        assert repr(sheet).startswith(f"<{type(sheet).__name__}")
        assert len(repr(sheet)) <= 160
        assert pickle.loads(pickle.dumps(sheet)) == sheet
        assert sheet._repr_html_().startswith("<pre>")
    hostile = dyemix.Reading.from_hex("#7d8a6e", name="<script>")
    assert "<script>" not in hostile._repr_html_()


def test_own_evaluation_is_what_was_read_against_what_was_predicted(dyes: dyemix.DyeSet) -> None:
    few = SwatchSet(dyemix.demo().readings[6:12])
    found = dyes.evaluate(few)
    for i, swatch in enumerate(few):
        assert found[i].measured == pytest.approx(swatch.colour(dyes.light))
        assert found[i].predicted == pytest.approx(dyes.predict(swatch.recipe).lab)
        off = dyemix.delta_e(found[i].predicted, found[i].measured)
        assert found.delta_e[i] == pytest.approx(float(off), abs=1e-9)
    frame = found.to_frame()
    assert (frame["kept"] == (frame["delta_e"] <= frame["bound"])).all()
    with pytest.raises(dyemix.DyemixError, match="no mix of these dyes"):
        dyes.cross_validate()
    with pytest.raises(dyemix.DyemixError, match="nothing to evaluate"):
        dyes.evaluate(SwatchSet(()))


def test_a_refusal_is_a_value_error() -> None:
    assert issubclass(dyemix.DyemixError, ValueError)


def test_an_open_file_does_for_a_path() -> None:
    text = io.StringIO()
    dyemix.write_swatches(dyemix.demo(), text)
    for file in (io.StringIO(text.getvalue()), io.BytesIO(text.getvalue().encode())):
        found = dyemix.read_swatches(file)
        assert [s.label for s in found] == [s.label for s in dyemix.demo()]
