"""Old work used anew: repeated, found by colour, signed."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from dyemix.bench.bath_sheet import BathSheet, bath_sheet
from dyemix.bench.settings import BathSettings
from dyemix.bench.stock import Stock
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_10, Light, lab, smoothest_reflectance
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.dataset.target import Target, Trial
from dyemix.dyebook.book import DyeBook
from dyemix.dyebook.past import _alike, astray, dyed_for, near, promised, record, repeat
from dyemix.errors import DyemixError, InputError
from dyemix.files import read_swatches
from dyemix.model.fit_report import MixtureCheck
from tests.bench.conftest import four_dyes
from tests.dyebook.filled import DAY, DEMO, fill, reading, same, sheet, spectrum


def test_repeat_at_another_weight(book: DyeBook) -> None:
    first = sheet(
        liquor_ratio=25, alkali="with", salt=33, soda=12, hours=30, temperature=26,
        fibre="cotton 55 %, linen 45 %", cloth="napkin", target="sage green",
    )  # fmt: skip
    book.add_sheets(first)
    (again,) = repeat(book, "sage", 600, on=date(2026, 6, 1))
    # stock mL = cloth g × % owf ÷ stock % (common practice): 2.5 times the cloth, 2.5 times each.
    assert [d.dye for d in again.doses] == [d.dye for d in first.doses]
    for then, now in zip(first.doses, again.doses, strict=True):
        assert now.exact_ml == pytest.approx(2.5 * then.exact_ml)
        assert now.stock.made is None  # that bottle is another by now
    for name in ("total_ml", "cloth_holds_ml"):
        assert getattr(again, name) == pytest.approx(2.5 * getattr(first, name))
    assert (again.salt.g, again.soda.g) == pytest.approx((2.5 * first.salt.g, 2.5 * first.soda.g))
    assert (again.method.liquor_ratio, again.method.alkali) == (25, "with")
    assert (again.method.hours, again.method.temperature, again.soda.g_l) == (30, 26, 12)
    assert again.on == date(2026, 6, 1)
    assert (again.fibre, again.cloth, again.target) == (first.fibre, "napkin", "sage green")
    book.add_stocks(Stock("gold", 4, DAY), Stock("navy", 2, DAY))
    assert {d.stock.strength_pct for d in repeat(book, "sage", 600)[0].doses} == {4, 2}
    assert repeat(book, "sage", 600, stocks=5)[0].doses[0].stock.strength_pct == 5


def test_a_repeat_is_poured_of_the_stock_at_hand(book: DyeBook) -> None:
    """As `bath` has it: of each dye its bottle, else as strong as the swatches were dyed with."""
    said = {"stock_pct": "gold 4, navy 2", "alkali": "after", "liquor ratio": "20"}
    gold = [reading(f"gold {owf}", 0.5 - owf / 10) for owf in (0.5, 1, 2)]
    navy = [reading(f"navy {owf}", 0.3 - owf / 10) for owf in (0.5, 1, 2)]
    squares = (replace(each, conditions=said) for each in (reading("undyed", 0.8), *gold, *navy))
    book.add_swatches(SwatchSet(tuple(squares)), "may")
    book.add_recipe("moss", "gold 1 + navy 0.1")

    def poured() -> dict[str, float]:
        (again,) = repeat(book, "moss", 100)
        return {dose.dye: dose.stock.strength_pct for dose in again.doses}

    assert poured() == {"gold": 4, "navy": 2}
    book.add_stocks(Stock("navy", 3, DAY))
    assert poured() == {"gold": 4, "navy": 3}
    book.add_sheets(bath_sheet("gold 1 + navy 0.1", 100, stocks=5, dyes=book.dyes(), job="moss"))
    assert poured() == {"gold": 5, "navy": 3}, "as strong as then, and the bottle there is"
    (again,) = repeat(book, "moss", 100, stocks=[Stock("navy", 1)])
    told = {dose.dye: dose.stock.strength_pct for dose in again.doses}
    assert told == {"gold": 5, "navy": 1}, "the one named, undated as it is, and as strong as then"
    (again,) = repeat(book, "moss", 100, stocks=iter([Stock("", 6)]))
    assert {dose.stock.strength_pct for dose in again.doses} == {6}


def test_what_was_done_last_is_repeated(book: DyeBook) -> None:
    """A corrected recipe, and the sheet made of it, stand for the piece from then on."""

    def again() -> BathSheet:
        (found,) = repeat(book, "moss", 100, stocks=2, settings=BathSettings())
        return found

    book.add_recipe("moss", "gold 1 + navy 0.1")
    book.add_recipe("moss", "gold 0.9 + navy 0.2", note="corrected")
    assert again().recipe == {"gold": 0.9, "navy": 0.2}
    book.add_trial(Trial(Recipe({"gold": 0.8}), reading("gold 0.8")), "moss")
    assert again().recipe == {"gold": 0.8}
    book.add_trial(Trial(Recipe({"gold": 0.6}), reading("gold 0.6")), "moss")
    assert again().recipe == {"gold": 0.6}
    book.add_sheets(sheet("moss"), sheet("moss", liquor_ratio=30))
    assert (again().recipe, again().method.liquor_ratio) == ({"gold": 0.8, "navy": 0.2}, 30)


def test_a_repeat_is_corrected_by_the_last_trial(book: DyeBook) -> None:
    """By the method's own dyes and conditions, with what the last piece missed by."""
    lines = DEMO.read_text(encoding="utf-8").replace("# demo: yes\n", "").splitlines()
    own = [line for line in lines if re.match(r"#|swatch|\w+,(undyed|navy|rose)\b", line)]
    (book.path.parent / "mine.csv").write_text("\n".join(own), encoding="utf-8")
    book.add_swatches(read_swatches(book.path.parent / "mine.csv"))
    recipe = Recipe({"navy": 0.5, "rose": 0.5})
    book.add_sheets(bath_sheet(recipe, 240, dyes=book.dyes(), job="plum"))
    wanted = book.dyes().predict(recipe).lab
    paler = Reading(recipe, None, kind="Lab", lab=wanted + np.array([4.0, 0, 0]), light=D65_10)
    paler = replace(paler, reflectance=smoothest_reflectance(paler.lab, D65_10)[0])
    book.add_trial(Trial(recipe, paler, Target(wanted, D65_10), DAY), "plum")
    (again,) = repeat(book, "plum", 120)
    assert again.recipe.total > 1.05 * recipe.total, "the piece came out paler"
    assert any("2026-05-03) missed by" in w and "corrected here" in w for w in again.warnings)
    assert "likely in the pot" in again.expect
    assert again.method.salt == 50
    book.add_trial(Trial(again.recipe, replace(paler, lab=wanted), Target(wanted, D65_10)), "plum")
    (third,) = repeat(book, "plum", 120)
    assert third.recipe == pytest.approx(again.recipe), "and that one was right"
    assert any("(no date) missed by" in w and "corrected" not in w for w in third.warnings)
    over = bath_sheet({"navy": 0.1}, 120, dyes=book.dyes(), job="plum", second_bath=True)
    book.add_sheets(over)
    assert [sheet.recipe for sheet in repeat(book, "plum", 120)] == [third.recipe], "not dyed yet"
    second = Trial(Recipe({"navy": 0.1}), paler, Target(wanted, D65_10), DAY,
                   on=replace(paler, recipe=recipe))  # fmt: skip
    book.add_trial(second, "plum")
    first, over = repeat(book, "plum", 120)
    assert over.second_bath
    assert first.recipe == pytest.approx(recipe)
    assert set(over.recipe) == {"navy"}
    assert any("second bath, over the first" in warning for warning in over.warnings)
    book.add_trial(Trial(Recipe({"navy": 0.5}), reading("navy 0.5")), "aimless")
    assert record(book, "aimless").corrections == ("navy 0.50",), "it aimed at nothing"
    assert "; next" not in str(record(book, "aimless"))
    assert "; next navy" in str(record(book, "plum"))
    assert "sheet of a second bath: navy 0.10" in str(record(book, "plum"))


@pytest.mark.parametrize(
    "how", [{"liquor_ratio": 5}, {"liquor_ratio": 20}, {"liquor_ratio": 20, "alkali": "presoak"}]
)
def test_a_repeat_has_the_bath_of_its_sheet_whatever_settings_say(
    book: DyeBook, how: dict[str, Any]
) -> None:
    """Tools are those of today: a scale that shows 10 g, spoons of another set."""
    book.add_sheets(then := sheet(settings=BathSettings(soda_solution=60, wet_pickup=70), **how))
    changed = BathSettings(
        soda_solution=30, soda_share=2, alkali_after=2.5, wet_pickup=100, presoak_volume=3,
        depths=[[1, 10, 3, 20]], low_water=1, low_water_below=2, spoons="us", scale_step=10,
    )  # fmt: skip
    (again,) = repeat(book, "sage", 600, settings=changed)
    for part in ("salt", "soda"):
        was, now = getattr(then, part), getattr(again, part)
        assert now.g == pytest.approx(2.5 * was.g)
        assert now.g_l == pytest.approx(was.g_l)
    if again.low_water or how.get("alkali"):
        assert again.soda.solution_g_l == pytest.approx(then.soda.solution_g_l)
    assert again.low_water is then.low_water
    assert again.cloth_holds_ml == pytest.approx(2.5 * then.cloth_holds_ml)
    assert again.settings.alkali_after == then.settings.alkali_after
    assert (again.settings.spoons, again.settings.scale_step) == ("us", 10)


def test_without_a_sheet_the_squares_say_how_it_was_dyed(book: DyeBook) -> None:
    """Also of an invented shelf, where that is allowed, and of all of its dyes."""
    told = {"alkali": "with the dye", "liquor ratio": "25:1"}
    squares = [
        reading(f"{dye} {depth}", level, conditions=told)
        for dye, lightest in (("gold", 0.5), ("navy", 0.35))
        for depth, level in ((0.5, lightest), (1, 0.7 * lightest), (2, 0.45 * lightest))
    ]
    cloth = reading("undyed", 0.8, conditions=told)
    book.add_swatches(SwatchSet((cloth, *squares), demo=True), "squares")
    book.add_recipe("both", "gold 1 + navy 0.5")
    (again,) = repeat(book, "both", 100, stocks=2, allow_demo=True)
    assert (again.method.alkali, again.method.liquor_ratio) == ("with", 25)


def test_a_sheet_stands_until_it_is_dyed(book: DyeBook) -> None:
    """Dyed is what was read under its recipe, but for digits that nobody measures (0.5 %)."""
    recipes = []
    for job, gold in (("a", 0.8035), ("b", 0.7965), ("c", 0.806), ("d", 0.794)):
        book.add_sheets(sheet(job, target="sage green"))
        book.add_trial(Trial(Recipe({"gold": gold, "navy": 0.2}), reading()), job)
        recipes.append(repeat(book, job, 100)[0].recipe["gold"])
    assert recipes == pytest.approx([0.8035, 0.7965, 0.8, 0.8])
    assert _alike(Recipe({"gold": 50.25}), Recipe({"gold": 50.0})), "0.5 % to the last digit"
    assert record(book, "a").corrections == ("gold 0.80 + navy 0.20",)
    # A dye that the sheet did not have comes as strong as the first that it had.
    book.add_trial(Trial(Recipe({"rust": 1.0}), reading("rust 1")), "a")
    (again,) = repeat(book, "a", 100)
    (first, second) = (dose.stock.strength_pct for dose in sheet().doses)
    assert first != second
    assert [(dose.dye, dose.stock.strength_pct) for dose in again.doses] == [("rust", first)]
    assert again.target == "sage green"


def test_a_piece_of_two_baths(book: DyeBook) -> None:
    second = Trial(Recipe({"navy": 0.1}), reading(), on=Reading(None, spectrum()))
    book.add_trial(second, "moss")
    with pytest.raises(InputError, match="not what it went over: keep that first"):
        repeat(book, "moss", 100)
    book.add_recipe("moss", "gold 3")
    book.add_recipe("moss", "gold 0.7 + navy 0.2")
    first, again = repeat(book, "moss", 100, stocks=2, settings=BathSettings())
    assert (first.recipe, again.recipe) == ({"gold": 0.7, "navy": 0.2}, {"navy": 0.1})
    over = "This is the second bath, over the first."
    assert (over in first.warnings, over in again.warnings) == (False, True)
    told = [replace(second, on=reading(f"gold {depth}")) for depth in (1, 2)]
    for trial in told:
        book.add_trial(trial, "twice")
    first, _ = repeat(book, "twice", 100, stocks=2, settings=BathSettings())
    assert first.recipe == {"gold": 2}, "what the last one went over"
    book.add_sheets(replace(sheet("moss"), on=date(2026, 1, 1)))
    over = bath_sheet("navy 0.1", 100, stocks=2.0, job="moss")
    book.add_sheets(over)
    book.add_trial(Trial(Recipe({"gold": 0.8, "navy": 0.2}), reading()), "moss")
    (first,) = repeat(book, "moss", 100)
    assert first.recipe == {"gold": 0.8, "navy": 0.2}, "dyed last, in one bath"
    book.add_trial(replace(second, recipe=Recipe({"navy": 0.3})), "moss")
    book.add_trial(second, "moss")
    first, again = repeat(book, "moss", 100)
    assert (first.recipe, again.recipe) == ({"gold": 0.8, "navy": 0.2}, {"navy": 0.1})
    assert (first.second_bath, again.second_bath) == (False, True)


def test_repeat_says_how_the_first_sheet_is_made(book: DyeBook) -> None:
    """A line that can be typed, with all that the book cannot tell."""

    def told(method: str = "") -> str:
        with pytest.raises(InputError) as refused:
            repeat(book, "bare", 100, method=method)
        return str(refused.value)

    book.add_recipe("bare", "gold 1")
    assert "alkali and liquor ratio of its swatches" in told()
    assert "--no-swatches" in told()
    book.add_swatches(SwatchSet((reading("gold 1"), reading("gold 2"))), "one", "bucket")
    assert "--no-swatches" not in told()
    assert "--method" not in told()
    book.add_swatches(SwatchSet((reading("gold 1"), reading("gold 2"))), "two", "jar")
    assert "--method jar" in told("jar")


def test_a_book_of_invented_dyes_is_asked_for(book: DyeBook) -> None:
    book.add_swatches(replace(SwatchSet((reading("gold 1"), reading("gold 2"))), demo=True), "one")
    book.add_sheets(replace(sheet(), demo=True))
    with pytest.raises(DyemixError, match="invented dyes, not for dyeing"):
        repeat(book, "sage", 100)
    assert repeat(book, "sage", 100, allow_demo=True)[0].recipe == {"gold": 0.8, "navy": 0.2}


@pytest.mark.parametrize("ratio", [4.0, 7.5, 12.0, 20.0])
@pytest.mark.parametrize(
    "was",
    [
        {},
        {"liquor ratio": "20:1", "soda": "5 g/L"},
        {"liquor ratio": "20:1", "soda": "12 g/L"},
        {"liquor ratio": "5:1", "soda": "50 g/L"},
    ],
)
def test_a_repeat_has_the_soda_of_its_sheet(
    book: DyeBook, was: dict[str, str], ratio: float
) -> None:
    """Whatever its squares stated, as a dose of the liquor or as the strength of a solution."""
    dyes = four_dyes(conditions=was) if was else None
    then = bath_sheet("gold 1", 100, stocks=5.0, dyes=dyes, liquor_ratio=ratio, job="ochre")
    book.add_sheets(then)
    (again,) = repeat(book, "ochre", 250)
    assert (again.soda.g, again.salt.g) == pytest.approx((2.5 * then.soda.g, 2.5 * then.salt.g))
    assert again.soda.g_l == pytest.approx(then.soda.g_l)
    if ratio < 10:
        assert again.soda.solution_g_l == pytest.approx(then.soda.solution_g_l)


def test_repeat_of_what_cannot_be(book: DyeBook) -> None:
    fill(book)
    with pytest.raises(InputError, match=r"no job is called 'rust'.*has sage, ink"):
        repeat(book, "rust", 100)
    book.sign_off("alone", reading())
    with pytest.raises(InputError, match=r"nothing|no sheet, recipe or trial"):
        repeat(book, "alone", 100)
    book.add_recipe("bare", "gold 1")
    with pytest.raises(InputError, match=r"dyemix bath 'gold 1.00' --cloth 100g --job bare --alk"):
        repeat(book, "bare", 100)
    first, over = repeat(book, "navy 0.10", 100, stocks=1, settings=BathSettings())
    assert (first.recipe, over.recipe) == ({"gold": 2}, {"navy": 0.1})


def test_the_last_piece_for_a_colour_leads_on(book: DyeBook) -> None:
    """Of first baths of dyes at hand for it, in its light, that are no slips: to 0.5 ΔE2000."""
    dyes, words = four_dyes(), Recipe({"gold": 0.8, "navy": 0.2})
    spectrum_, lab_ = dyes.predict(words).reflectance, dyes.predict(words).lab
    target = Target(lab_, D65_10)

    def dyed(
        off: float = 0.0, aimed: float = 0.0, light: Light | None = D65_10,
        recipe: Recipe = words, **more: object,
    ) -> Trial:  # fmt: skip
        side = np.array([1.0, 0.0, 0.0])  # at an L* of 50 about a ΔE2000
        read = Reading(recipe, spectrum_, kind="Lab", lab=lab_ + off * side, light=D65_10)
        return Trial(recipe, read, light and Target(lab_ + aimed * side, light), **more)

    assert dyed_for(book, dyes, target) is None
    book.add_trial(dyed(2.0, recipe=Recipe({"gold": 0.5})), "sage")
    book.add_trial(wanted := dyed(3.0, aimed=0.4), "sage")
    for other in (
        dyed(3.0, aimed=0.8), dyed(3.0, light=None), dyed(3.0, light=Light("A", 10)), dyed(25.0),
        dyed(3.0, recipe=Recipe({"rust": 1.0})),
        dyed(3.0, on=Reading(None, spectrum())),
    ):  # fmt: skip
        book.add_trial(other, "sage")
    found = dyed_for(book, dyes, target)
    assert found is not None
    assert found.trial.recipe == words
    assert found.miss.delta_e == pytest.approx(
        float(delta_e(wanted.target.lab, wanted.reading.lab)), abs=1e-6
    )
    assert dyed_for(book, dyes, Target(lab_ + np.array([9.0, 0, 0]), D65_10)) is None
    assert "likely in the pot" in promised(found, found.corrected.recipe)
    assert promised(found, Recipe({"gold": 3.0})) == promised(None, words) == ""
    every = Recipe(dict.fromkeys(dyes.names, 0.5))
    book.add_trial(dyed(recipe=every), "all")
    whole = dyed_for(book, dyes, target)
    assert whole is not None
    assert whole.trial.recipe == every


def test_near_agrees_with_a_slow_twin(book: DyeBook) -> None:
    rng = np.random.default_rng(5)
    pieces = [
        Reading(Recipe({"gold": float(i + 1)}), rng.uniform(0.1, 0.8) * np.linspace(0.4, 1, 31),
                str(i))
        for i in range(12)
    ]  # fmt: skip
    book.add_swatches(SwatchSet(tuple(pieces)), "set")
    book.add_trial(Trial(Recipe({"navy": 0.5}), reading("navy 0.5", 0.5)), "ink")
    book.sign_off("std", reading("gold 0.1", 0.6))
    target = Target.parse("60 5 20 D50/2")
    found = near(book, target, 20)
    light = Light("D50", 2)
    twin = {
        str(r.recipe): float(delta_e(target.lab, lab(r.reflectance, light)))
        for r in [*pieces, reading("navy 0.5", 0.5), reading("gold 0.1", 0.6)]
    }
    twin = {recipe: miss for recipe, miss in twin.items() if miss <= 5}
    assert 1 < len(twin) < 14, "and what is farther off is not near"
    assert {p.recipe: p.delta_e for p in found.pieces} == pytest.approx(twin)
    misses = [p.delta_e for p in found.pieces]
    assert misses == sorted(misses)
    assert found.searched == 14
    (signed,) = book.sign_offs()
    assert "standard" in {p.kind for p in near(book, signed.target).pieces}
    (kept,) = book.trials()
    assert "trial" in {p.kind for p in near(book, Target.of(kept.trial.reading)).pieces}
    over = reading("navy 0.5", 0.5)
    book.add_trial(Trial(Recipe({"navy": 0.5}), over, on=over), "ink")
    found_over = near(book, Target.of(kept.trial.reading)).pieces
    assert "second bath" in {p.kind for p in found_over}, "its recipe alone gives another colour"
    assert [p.recipe for p in near(book, target, 2).pieces] == [p.recipe for p in found.pieces[:2]]
    assert len(near(book, target, 1).pieces) == 1
    assert near(book, target).beyond is None
    far = near(book, Target.parse("20 60 -60"))
    assert far.beyond is not None
    assert far.beyond.delta_e == pytest.approx(min(
        float(delta_e(far.target.lab, lab(r.reflectance, D65_10)))
        for r in [*pieces, reading("navy 0.5", 0.5), reading("gold 0.1", 0.6)]
    ))  # fmt: skip
    assert far.pieces == ()
    assert "none within 5 ΔE2000; the nearest" in str(far)


def test_near_takes_a_colour_as_it_was_read(book: DyeBook, monkeypatch: pytest.MonkeyPatch) -> None:
    # A reading in CIELAB holds a made-up spectrum: under its own light the numbers read count.
    values = np.array([55.0, 12.0, 30.0])
    rough = Reading(Recipe({"gold": 1.0}), spectrum(0.9), "1", "Lab", values, Light("D50", 2))
    book.add_swatches(SwatchSet((rough,)), "set")
    (piece,) = near(book, Target(values, Light("D50", 2))).pieces
    assert (piece.delta_e, piece.kind, piece.name) == (0, "swatch", "first method 1")
    lightness = np.linspace(0, 9, 901)[:, np.newaxis] * [1.0, 0.0, 0.0]
    apart = delta_e(values + lightness, values)
    for limit, shown in ((4.9, 1), (5.1, 0)):
        aside = values + lightness[np.searchsorted(apart, limit)]
        assert len(near(book, Target(aside, Light("D50", 2))).pieces) == shown
    monkeypatch.setattr("dyemix.dyebook.records.PastWork.far", float(delta_e(aside, values)))
    assert len(near(book, Target(aside, Light("D50", 2))).pieces) == 1, "just so far is near"
    with pytest.raises(DyemixError, match="1 or more"):
        near(book, Target(values, None), 0)


def test_near_in_an_empty_book(book: DyeBook) -> None:
    assert "no piece of this book has been read" in str(near(book, Target.parse("#7d8a6e")))


def test_standard_is_the_signed_swatch_and_stays(book: DyeBook) -> None:
    signed = reading("gold 0.7", 0.31)
    book.sign_off("café", signed, "sage", 2.0, on=DAY)
    assert same(book.standard("café").reflectance, signed.reflectance)
    book.sign_off("second", reading("navy 0.2", 0.5))
    assert same(book.standard("second").reflectance, spectrum(0.5))
    assert same(book.standard("café").reflectance, signed.reflectance)
    with pytest.raises(InputError, match="stays as signed"):
        book.sign_off("café", reading())
    with pytest.raises(InputError, match=r"no standard is called 'bar'.*has café, second"):
        book.standard("bar")
    with pytest.raises(DyemixError, match="out of range"):
        book.sign_off("bar", signed, tolerance=0)
    with pytest.raises(DyemixError, match="not been read"):
        book.sign_off("bar", Reading(Recipe({"gold": 1.0}), None, kind="blank"))


def test_a_photographed_standard_keeps_its_error_and_tells_its_cell(book: DyeBook) -> None:
    """At L* 50 a variance of 4 in L* alone is 2.0 ΔE2000 (CIE 142-2001: S_L is 1 there)."""
    photo = {"conditions": {"photograph": "f.jpg"}, "name": "B3"}
    seen = Reading.from_lab([50.0, 0.0, 0.0], "D65/2", covariance=np.diag([4.0, 0, 0]), **photo)
    assert str(seen).endswith("(D65/2°), ± 2.0 ΔE2000, cell B3 of f.jpg")
    assert str(Target.of(seen)).startswith("cell B3 of f.jpg: L* 50.0")
    book.sign_off("café", seen)
    signed = book.standard("café")
    assert str(signed) == "café: L* 50.0, a* 0.0, b* 0.0 (D65/2°), ± 2.0 ΔE2000"
    assert np.array_equal(signed.covariance, seen.covariance)
    book.add_recipe("sage", "gold 1", signed)
    assert book.job("sage").wanted == signed, "its error goes along to whatever is dyed for it"


def test_a_job_wants_what_was_asked_last(book: DyeBook) -> None:
    first, then = Target.parse("#7d8a6e"), Target.parse("#804050")
    book.add_recipe("sage", "gold 1", first, on=DAY)
    book.add_trial(Trial(Recipe.parse("gold 1"), reading("gold 1"), first, DAY), "sage")
    assert book.job("sage").wanted == first
    book.add_recipe("sage", "gold 2", then, on=DAY)
    assert book.job("sage").wanted == then
    book.add_trial(
        Trial(Recipe.parse("gold 2"), reading("gold 2"), first, date(2026, 6, 1)), "sage"
    )
    assert book.job("sage").wanted == first


def test_a_trial_is_struck_or_read_anew_and_taken_back(book: DyeBook) -> None:
    book.add_swatches(SwatchSet((reading("undyed", 0.8), reading("gold 1"))), "may")
    for level in (0.3, 0.2):
        book.add_trial(Trial(Recipe.parse("gold 1"), reading("gold 1", level), date=DAY), "sage")
    book.strike_trial("sage", "misread", reading("undyed", 0.25))
    assert np.allclose(book.trials("sage")[1].trial.reading.reflectance, spectrum(0.25))
    assert book.trials("sage")[1].trial.recipe == Recipe.parse("gold 1")
    assert book.strike_trial("sage", "wrong jar") == (f"gold 1.00 (first bath, {DAY})",)
    assert (len(book.trials("sage")), book.methods()[0].trials) == (1, 1)
    told = " ".join(str(record(book, "sage")).split())
    assert f"{date.today()} struck: trial gold 1: wrong jar" in told
    assert book.undo() == "struck the trial of sage: wrong jar"
    assert book.undo() == "struck the trial of sage: misread"
    assert np.allclose(book.trials("sage")[1].trial.reading.reflectance, spectrum(0.2))
    with pytest.raises(InputError, match="no trial is kept under a job 'moss'"):
        book.strike_trial("moss", "why")


def test_a_trial_is_struck_of_the_method_that_is_named(book: DyeBook) -> None:
    """A job is dyed on two cloths: the piece that was dyed last is not the one that is meant."""
    for method, gold in (("lawn", 0.3), ("linen", 0.2)):
        squares = (reading("undyed", 0.8), reading("gold 1", gold))
        book.add_swatches(SwatchSet(squares), f"{method} squares", method)
        book.add_trial(
            Trial(Recipe.parse("gold 1"), reading("gold 1"), date=DAY), "sage", "", method
        )
    book.strike_trial("sage", "misread", method="lawn")
    assert [kept.method for kept in book.trials("sage")] == ["linen"]
    with pytest.raises(InputError, match=r"no trial of gold 2\.00 is kept"):
        book.strike_trial("sage", "misread", recipe="gold 2")
    assert book.strike_trial("sage", "misread", recipe="gold  1,0") == (
        f"gold 1.00 (first bath, {DAY})",
    )


def test_trials_that_are_shown_alike_are_told_apart_by_their_digits(book: DyeBook) -> None:
    """The last was struck by the name of the first: 'gold 0.50' is both."""
    for gold in ("gold 0.501", "gold 0.502", "gold 0.503"):
        book.add_trial(Trial(Recipe.parse(gold), reading("gold 1"), date=DAY), "sage")
    for typed, left in (("Gold 0,501", (0.502, 0.503)), ("gold 0.50", (0.502,))):
        book.strike_trial("sage", "misread", recipe=typed)
        assert tuple(kept.trial.recipe["gold"] for kept in book.trials("sage")) == left, typed


def test_a_swatch_is_struck_as_the_fit_calls_it(book: DyeBook) -> None:
    for table in ("may", "june"):
        book.add_swatches(SwatchSet((reading("undyed", 0.8), reading(swatch="1"))), table)
    assert [r.swatch for r in book.swatches().readings if r.recipe] == ["may 1", "june 1"]
    assert book.strike("june 1", "spilt") == ("gold 2.00 (june 1)",)
    assert [r.swatch for r in book.swatches().readings if r.recipe] == ["1"]


def test_a_method_of_its_own_squares_borrows_for_one_dye_more(book: DyeBook) -> None:
    squares = (reading("undyed", 0.8), *(reading(f"gold {x}", 0.4 - x / 10) for x in (0.5, 1, 2)))
    book.add_swatches(SwatchSet(squares), "may", method="lawn")
    navy = (reading("undyed", 0.8), *(reading(f"navy {x}", 0.3 - x / 10) for x in (0.5, 1, 2)))
    book.add_swatches(SwatchSet(navy), "june", method="linen")
    more = SwatchSet((reading("navy 1", 0.22),))
    assert book.add_swatches(more, "july", method="lawn", borrows="linen").borrows == "linen"
    assert book.dyes("lawn").names == ("gold", "navy")
    for lender in ("lawn", "linen"):  # round in a circle
        with pytest.raises(InputError, match="borrow"):
            book.add_swatches(SwatchSet((reading("navy 3", 0.1),)), "x", "linen", borrows=lender)
    assert book.undo() == "swatches july"
    assert book.method("lawn").borrows == ""


def test_a_trial_far_off_all_others_is_named(book: DyeBook) -> None:
    """Farther than three times the usual miss, than a sound match, and than was promised of it."""
    book.add_swatches(SwatchSet((reading("undyed", 0.8), reading("gold 1"))), "may", method="lawn")
    misses = {"gold 1": 1.0, "gold 2": 1.2, "gold 3": 8.0, "gold 4": 0.9}
    for recipe in misses:
        book.add_trial(Trial(Recipe.parse(recipe), reading(recipe), date=DAY), f"job {recipe}")

    def told(bound: float, share: float = 1.0) -> list[tuple[str, float]]:
        lab = (50.0, 0.0, 0.0)
        checks = tuple(
            MixtureCheck(str(kept.trial), lab, lab, share * misses[str(kept.job)[4:]], 1, 1, bound)
            for kept in book.trials()
        )
        dyes = SimpleNamespace(report=SimpleNamespace(own_mixtures=checks))
        return [(kept.job, off) for kept, off in astray(book, dyes, "lawn")]

    assert told(bound=4.0) == [("job gold 3", 8.0)]
    assert told(bound=9.0) == [], "as a photograph of a known error may be"
    assert told(bound=1.0, share=0.3) == [], "2.4 is sound"
    for job in ("job gold 1", "job gold 2"):
        book.strike_trial(job, "why")
    assert told(bound=4.0) == [], "of two that disagree nobody can say which is the odd one"
