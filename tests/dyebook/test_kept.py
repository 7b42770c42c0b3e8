"""What is kept in a dye book comes back to the last digit; invented dyes stay marked and apart."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dyemix.bench.stock import Stock
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import DEMO_WARNING, Reading, SwatchSet
from dyemix.dataset.target import Target, Trial
from dyemix.dyebook.book import DyeBook
from dyemix.dyebook.past import near, repeat
from dyemix.dyebook.records import Cloth, DyeLot
from dyemix.errors import DyemixError, InputError, RecipeError, SavedError
from dyemix.files import read_swatches
from tests.dyebook.filled import (
    DAY,
    DEMO,
    HARD_NAMES,
    everything,
    fill,
    reading,
    same,
    sheet,
    spectrum,
)

# What is kept comes back -------------------------------------------------------------------------


def test_everything_comes_back_to_the_last_digit(path: Path) -> None:
    with DyeBook(path) as book:
        fill(book)
        before = everything(book)
    with DyeBook(path, create=False) as book:
        after = everything(book)
        assert book.warnings == ()
        first, second, third = book.trials()
        assert book.standard("café sage").reflectance is not None
        lines = str(book.job("sage"))
    assert same(before, after)
    assert first.trial.recipe == {"gold": 0.8, "navy": 0.2}
    assert same(first.trial.reading.reflectance, spectrum(0.25))
    assert second.job == "navy 0.10"
    assert second.trial.on is not None
    assert third.trial.on is not None
    assert (third.trial.on.recipe, third.trial.on.name) == (None, "unnamed")
    assert "signed off as café sage" in lines
    assert "a little dark" in lines
    assert [p.name for p in path.parent.iterdir()] == [path.name], "one file between commands"


def test_a_method_and_a_job_are_found_however_they_are_spaced(book: DyeBook) -> None:
    kept = book.add_swatches(SwatchSet((reading(), reading("navy 1"))), "a", " cotton  lawn ")
    assert kept.name == "cotton lawn"
    assert book.method("cotton   lawn").number == kept.number
    book.add_sheets(sheet("sage  runner"), method=" cotton lawn")
    assert len(book.sheets(" sage runner", "cotton  lawn ")) == 1
    assert book.swatches("cotton  lawn").dyes == ("gold", "navy")


def test_results_are_what_was_given(book: DyeBook) -> None:
    fill(book)
    assert book.stocks() == (
        Stock("gold", 2.0, DAY, True, "G1", "added to", 120.5),
        Stock("navy", 1 / 3, None),
    )
    assert book.dye_lots()[0] == DyeLot("gold", "G1", date(2026, 1, 2), "half full")
    assert book.cloths()[0] == Cloth("café napkin", "cotton 55 %, linen 45 %", "mercerised?")
    assert book.sheets("sage") == (sheet(),)
    kept = book.swatches().readings
    assert [r.swatch for r in kept] == ["1", "2", "3", "4"]
    assert kept[3].recipe is not None
    assert kept[3].recipe.as_written == "1 tsp"
    assert dict(kept[0].conditions) == {"cloth": "café napkin", "hours": "24"}
    assert kept[1].warnings == ("by eye", "wet?")


def test_a_reading_without_a_recipe_is_refused_before_it_stops_every_fit(book: DyeBook) -> None:
    book.add_swatches(SwatchSet((reading(),)), "a")
    with pytest.raises(InputError, match="2 readings have no recipe"):
        book.add_swatches(SwatchSet((Reading(None, spectrum()),) * 2), "b")
    assert len(book.swatches()) == 1


@pytest.mark.parametrize("cloth", [Cloth("napkin", "silk"), Cloth("wool felt")])
def test_a_cloth_that_no_bath_takes_is_refused(book: DyeBook, cloth: Cloth) -> None:
    with pytest.raises(DyemixError, match="soda ash harms it"):
        book.add_cloth(cloth)
    assert book.cloths() == ()
    assert book.history() == ()


TEXT = st.text(st.characters(exclude_categories=("Cs",)), max_size=12)
LEVELS = st.floats(0.001, 1.2, allow_subnormal=False)
READINGS = st.builds(
    lambda dye, levels, swatch, conditions, flags, name: Reading(
        None if dye is None else Recipe({"gold": dye}, name),
        np.array(levels), swatch, conditions=conditions, warnings=tuple(flags), name=name,
    ),
    st.none() | st.floats(1e-6, 20), st.lists(LEVELS, min_size=31, max_size=31), TEXT,
    st.dictionaries(TEXT, TEXT, max_size=3), st.lists(TEXT, max_size=2), TEXT,
)  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(st.lists(READINGS, min_size=1, max_size=4))
def test_any_readings_survive_rows(readings: list[Reading]) -> None:
    with TemporaryDirectory() as folder, DyeBook(Path(folder, "a.dyebook")) as book:
        number = book._insert("swatch_set", name="set", added="2026-05-03", notes="[]")
        book._insert_readings(readings, number)
        query = "SELECT * FROM kept_reading WHERE swatch_set = ? ORDER BY id"
        found = tuple(book._made(Reading, row) for row in book._rows(query, number))
    assert same(found, tuple(readings))


@pytest.mark.parametrize("name", HARD_NAMES)
def test_text_is_never_a_statement(path: Path, name: str) -> None:
    with DyeBook(path) as book:
        fill(book)
        jobs = len(book.jobs())
        book.add_trial(Trial(Recipe({"gold": 1.0}), reading(swatch=name)), name, name)
        book.add_cloth(Cloth(name, name, name))
        book.sign_off(name, reading(swatch=name), note=name)
        tidy = " ".join(name.split())
        assert book.trials(tidy)[-1].note == name
        assert book.trials(tidy)[-1].trial.reading.swatch == name
        assert len(book.job(tidy).sign_offs) == 1
        assert len(book.jobs()) == jobs + 1
        with pytest.raises(InputError, match="no job"):
            book.job(name + "' OR '1'='1")


def test_names_that_could_not_be_read_back_are_refused_whole(book: DyeBook) -> None:
    fill(book)
    before = everything(book)
    with pytest.raises(RecipeError, match="name its dyes"):
        book.add_trial(Trial(Recipe({"gold + navy": 1.0}), reading()), "sage")
    with pytest.raises(InputError, match="needs a name"):
        book.add_cloth(Cloth("  "))
    with pytest.raises(SavedError, match="not Unicode"):
        book.add_cloth(Cloth("\udcff"))
    assert same(before, everything(book))


# Invented dyes, fits, sets ------------------------------------------------------------


def test_invented_dyes_stay_marked_and_apart(path: Path, book: DyeBook) -> None:
    demo = read_swatches(DEMO)
    book.add_swatches(demo)
    assert book.demo
    assert book.swatches().demo
    assert str(book.contents()).startswith(DEMO_WARNING)
    with pytest.raises(InputError, match="keep your own"):
        book.add_sheets(sheet())
    with pytest.raises(InputError, match="keep your own"):
        book.add_swatches(SwatchSet((reading(),)), "mine")
    book.add_trial(Trial(Recipe({"gold": 1.0}), reading()), "sage")
    assert str(book.job("sage")).startswith(DEMO_WARNING)
    assert str(near(book, Target.parse("#7d8a6e"))).startswith(DEMO_WARNING)
    with pytest.raises(DyemixError, match="invented"):
        repeat(book, "sage", 100)
    book.add_sheets(replace(sheet(), demo=True))
    assert str(repeat(book, "sage", 100, allow_demo=True)[0]).startswith(DEMO_WARNING)


def test_own_book_refuses_invented_dyes(book: DyeBook) -> None:
    fill(book)
    with pytest.raises(InputError, match="keep the demo's invented ones in another"):
        book.add_swatches(read_swatches(DEMO))
    assert not book.demo
    assert len(book.sets()) == 1


def test_a_fit_rests_on_all_that_its_method_holds(
    book: DyeBook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Made anew whenever a swatch comes, is struck, or is put back; never out of date."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    method = book.add_swatches(read_swatches(DEMO))
    before = book.dyes().predict("rust 1").lab
    book.strike("N060", "mislabelled")
    struck = book.dyes().predict("rust 1").lab
    assert not np.allclose(before, struck)
    assert len(book.method().held) == len(method.held) - 1
    assert [s.struck for s in book.sets()] == [2]
    assert book.undo() == "struck N060: mislabelled"
    assert np.allclose(book.dyes().predict("rust 1").lab, before)


def test_every_trial_since_moves_the_dyes(book: DyeBook) -> None:
    """Nothing need be kept for it, and nothing that is kept beside takes it back."""
    book.add_swatches(read_swatches(DEMO))
    first = book.dyes()
    told = [
        Trial(Recipe({one: 0.5, other: 0.4}), Reading(None, 0.8 * first.reflectance(
            first.amounts({one: 0.5, other: 0.4}))[0]))
        for one, other in (("navy", "rose"), ("navy", "leaf"), ("rose", "leaf"))
    ]  # fmt: skip
    for trial in told[:2]:
        book.add_trial(trial)
    second = book.dyes()
    book.sign_off("café", reading())
    book.add_trial(told[2])
    third = book.dyes()
    assert [len(dyes.pots) for dyes in (first, second, third)] == [0, 2, 3]
    recipe = told[2].recipe
    lightness = [float(dyes.predict(recipe).lab[0]) for dyes in (first, second, third)]
    assert lightness[0] > lightness[1] > lightness[2]
    assert len(book.dyes(learnt=False).pots) == 0


def test_what_could_not_be_read_back_is_refused(book: DyeBook) -> None:
    """A target of other words, once kept, made the book say that it was damaged."""
    for keep, said in (
        (lambda: book.add_recipe("sage", "navy 1", target="nope"), "is not a hex colour"),
        (lambda: book.add_recipe("sage", "navy 1", on="today"), "is no date"),
        (lambda: book.sign_off("sage", reading(), on="today"), "is no date"),
        (lambda: book.sign_off("sage", "#7d8a6e"), "is no Reading"),
        (lambda: book.add_trial(reading()), "is no Trial"),
        (lambda: book.add_swatches([reading()]), "is no SwatchSet"),
    ):
        with pytest.raises(DyemixError, match=said):
            keep()
    book.add_recipe("sage", "navy 1", target="#7d8a6e")
    assert [kept.target for kept in book.recipes()] == [Target.parse("#7d8a6e")]


@pytest.mark.parametrize(
    ("column", "cell"),
    [
        ("covariance", "[1, 0, 0, 0, 1, 0, 0, 0, 1]"), ("lab", "[50, 0]"), ("spectrum", "[[0.5]]"),
        ("conditions", "[]"), ("flags", '"odd"'), ("light", "dusk"), ("spectrum", "0.5, 0.5"),
    ],
)  # fmt: skip
def test_a_damaged_cell_is_told(book: DyeBook, column: str, cell: str) -> None:
    """Nine numbers in a row are no matrix."""
    book.add_swatches(SwatchSet((reading(),)), "may")
    book.db.execute(f"UPDATE reading SET {column} = ?", (cell,))
    with pytest.raises(SavedError, match="of this book") as told:
        book.swatches()
    assert len(str(told.value)) < 200


def test_same_name_in_two_sets_is_two_pieces(book: DyeBook) -> None:
    book.add_swatches(SwatchSet((reading(swatch="1", level=0.3),)), "may")
    book.add_swatches(SwatchSet((reading(swatch="1", level=0.5), reading("undyed"))), "june")
    assert len(book.swatches().swatches) == 3
    assert [r.swatch for r in book.swatches().readings] == ["may 1", "june 1", ""]
    with pytest.raises(
        InputError, match=r"no method is called 'july': this book has 'first method'"
    ):
        book.swatches("july")
    with pytest.raises(InputError, match="name these anew"):
        book.add_swatches(SwatchSet((reading(),)), "may")


def test_methods_are_read_once_however_many_sheets_are_kept(
    book: DyeBook, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each reads every swatch of the book."""
    book.add_swatches(SwatchSet((reading(), reading("navy 1"))), "a", "cotton lawn")
    asked, methods = [], DyeBook.methods
    monkeypatch.setattr(DyeBook, "methods", lambda self: asked.append(self) or methods(self))
    book.add_sheets(*(sheet(f"job {i}") for i in range(5)), method="cotton lawn")
    assert len(asked) == 1
    assert len(book.sheets(method="cotton lawn")) == 5
    (number,) = {row["method"] for row in book._of_job("kept_sheet")}
    assert number == "cotton lawn"
