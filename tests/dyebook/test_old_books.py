"""Dye books of earlier layouts open, with everything that was put into them."""

from __future__ import annotations

import json
import sqlite3
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from dyemix.bench.bath_sheet import BathSheet
from dyemix.cloth.preview import preview
from dyemix.colour.ciede2000 import delta_e
from dyemix.dataset.serialise import from_json
from dyemix.dyebook import connection as schema
from dyemix.dyebook.book import DyeBook
from dyemix.dyebook.past import repeat
from dyemix.errors import InputError, SavedError
from tests.simulated.struck import spectral_dyes

DATA = Path(__file__).parents[1] / "data"


def opened(layout: int, folder: Path, sheet: str | None = None) -> DyeBook:
    """A copy of the book of this layout, opened; `sheet` in place of what its sheets hold."""
    path = folder / "old.dyebook"
    raw = sqlite3.connect(path)
    raw.executescript((DATA / f"dyebook_layout_{layout}.sql").read_text(encoding="utf-8"))
    assert raw.execute("PRAGMA user_version").fetchone() == (layout,)
    if sheet is not None:
        raw.execute("UPDATE sheet SET content = ?", (sheet,))
        raw.commit()
    raw.close()
    return DyeBook(path, create=False)


@pytest.mark.parametrize("layout", [1, 2, 3, 4, 5, 6])
def test_a_book_is_brought_to_the_present_layout(layout: int, tmp_path: Path) -> None:
    opened(layout, tmp_path).close()
    DyeBook(tmp_path / "new.dyebook").close()
    old, new = (sqlite3.connect(tmp_path / name) for name in ("old.dyebook", "new.dyebook"))
    shape = "SELECT type, name, trim(sql, char(10)) FROM sqlite_master ORDER BY name"
    assert old.execute("PRAGMA user_version").fetchone() == (schema.LAYOUT,)
    assert old.execute(shape).fetchall() == new.execute(shape).fetchall()
    assert old.execute("PRAGMA foreign_key_check").fetchall() == []
    old.close()
    new.close()


@pytest.mark.parametrize("layout", [1, 2, 3])
def test_a_sheet_of_that_time_is_given_back_and_repeated(layout: int, tmp_path: Path) -> None:
    """96 mL of a 2 % stock are 0.8 % of 240 g, 48 mL of a 1 % stock 0.2 % (by hand).

    Of 120 g: 0.96 g and 0.24 g of dye, which are 48 mL and 12 mL of a 2 % stock.
    """
    with opened(layout, tmp_path) as book:
        (sheet,) = book.sheets("sage")
        assert sheet.recipe == {"navy": 0.2, "gold": 0.8}
        assert (sheet.cloth_g, sheet.method.liquor_ratio, sheet.pieces) == (240, 15, 2)
        assert {d.dye: round(d.ml, 9) for d in sheet.doses} == {"gold": 96, "navy": 48}
        assert sheet.on == date(2026, 5, 3)
        (again,) = repeat(book, "sage", 120, stocks=2.0)
    assert {d.dye: round(d.ml, 9) for d in again.doses} == {"gold": 48, "navy": 12}


def test_what_a_book_of_layout_2_holds(tmp_path: Path) -> None:
    with opened(2, tmp_path) as book:
        assert not book.demo
        (cloth,) = book.cloths()
        assert (cloth.name, cloth.fibre, cloth.note) == ("cotton lawn", "cotton", "mercerised?")
        gold, navy = book.dye_lots()
        assert (gold.dye, gold.lot, gold.bought) == ("gold", "G1", date(2026, 1, 2))
        assert (navy.dye, navy.lot, navy.bought) == ("navy", "", None)
        bottle, other = book.stocks()
        assert (bottle.dye, bottle.strength_pct, bottle.left_ml) == ("gold", 2, 120.5)
        assert (bottle.how, bottle.cold, bottle.made) == ("added to", True, date(2026, 5, 3))
        assert (other.dye, other.strength_pct, other.made) == ("navy", 1, None)
        readings = book.swatches().readings
        assert [str(r.recipe) for r in readings[:3]] == ["undyed", "gold 4.00", "gold 2.00"]
        assert len(readings) == 9
        np.testing.assert_allclose(readings[1].lab, (66.2, 24.9, 70.8), atol=1e-9)
        (recipe,) = book.recipes("sage")
        assert recipe.recipe == {"gold": 0.8, "navy": 0.2}
        assert recipe.target is not None
        assert (recipe.note, recipe.on) == ("first", date(2026, 5, 3))
        np.testing.assert_allclose(
            book.standard("café sage").reflectance,
            0.31 + 0.1 * np.sin(np.arange(31) / 7.0) / 3.0,  # what was put in
            atol=1e-15,
        )
        (signed,) = book.sign_offs("sage")
        assert (signed.tolerance, signed.note) == (2.0, "by post")


def test_what_a_book_of_layout_4_holds(tmp_path: Path) -> None:
    """96 mL of a 2 % stock are 0.8 % of 240 g (by hand)."""
    with opened(4, tmp_path) as book:
        assert {c.name for c in book.cloths()} == {"café napkin"}
        (sage,) = book.sheets("sage")
        assert {d.dye: round(d.exact_ml, 9) for d in sage.doses} == {"gold": 96, "navy": 48}
        assert [kept.note for kept in book.trials("sage")] == ["a little dark"]
        assert len(book.swatches().readings) == 5
        assert book.standard("café sage").reflectance is not None
        with pytest.raises(InputError, match="nothing is left"):
            book.undo()


def test_what_a_book_of_layout_5_holds(tmp_path: Path) -> None:
    """Two methods, a row struck, a table replaced, a picture, and what was done last undone."""
    with opened(5, tmp_path) as book:
        lawn, linen = book.methods()
        assert (linen.name, linen.half_life, linen.lot) == ("linen", 90, "N3")
        assert lawn.name != linen.name
        assert [(s.name[:9], s.replaced, s.struck) for s in book.sets()] == [
            ("a.csv", False, 0), ("linen.csv", True, 1), ("again.csv", False, 0)
        ]  # fmt: skip
        assert [str(s.recipe) for s in book.swatches("linen").swatches] == [
            "undyed", "navy 1.00", "navy 2.00"
        ]  # fmt: skip
        assert book.pictures("ink") == (b"\xff\xd8 picture",)
        assert [kept.method for kept in book.trials("ink")] == ["linen"]
        assert book.undo() == "how trials of linen are weighed"
        assert book.method("linen").half_life is None


def test_what_a_book_of_layout_6_holds(tmp_path: Path) -> None:
    """A mottled piece with its figures; what previews are made from is kept otherwise since."""
    with opened(6, tmp_path) as book:
        (piece,) = book.pieces("napkins")
        assert [item.name for item in book.job("napkins").pieces] == ["napkin.jpg"]
    assert piece.mottle is None
    assert str(piece.figure("undyed share")) == "4.9 ± 2.1 %"  # as that version printed it
    (patch,) = preview(spectral_dyes(tuple(piece.recipe)), piece.recipe, pieces=[piece])
    assert patch.illustrative


def test_the_trials_of_a_book_of_layout_2(tmp_path: Path) -> None:
    with opened(2, tmp_path) as book:
        trials = [kept.trial for kept in book.trials()]
        (sage,) = book.trials("sage")
        (moss,) = book.trials("moss")
    assert len(trials) == 5
    assert [t.bath for t in trials] == ["first bath"] * 4 + ["second bath"]
    assert (sage.note, sage.trial.lot, sage.trial.date) == (
        "a little dark", "G1", date(2026, 5, 4)
    )  # fmt: skip
    assert moss.trial.on is not None
    np.testing.assert_allclose(moss.trial.on.lab, (80.6, 8.9, 48.3), atol=1e-9)
    np.testing.assert_allclose(moss.trial.reading.lab, (58.2, -9.4, 14.6), atol=1e-9)


def test_the_dyes_of_old_books_have_learnt_from_their_trials(tmp_path: Path) -> None:
    """The dyes of the trials were all a quarter stronger than those of the swatches."""
    with opened(2, tmp_path) as book:
        (method,) = book.methods()
        assert (method.name, method.trials) == ("cotton lawn, about 1 h after the dye", 5)
        first, learnt = book.dyes(learnt=False), book.dyes()
        trials = [kept.trial for kept in book.trials() if kept.trial.on is None]
    assert first.names == learnt.names == ("gold", "navy")
    misses = [
        np.mean([delta_e(dyes.predict(t.recipe).lab, t.reading.lab) for t in trials])
        for dyes in (first, learnt)
    ]
    assert misses[0] > 2
    assert misses[1] < misses[0] / 2


@pytest.mark.parametrize("name", ["stirred", "low_water"])
def test_sheets_of_layout_2_hold_what_they_held(name: str, tmp_path: Path) -> None:
    """Made with settings of the dyer's own, of which each sheet shows those it rests on."""
    text = (DATA / f"bath_sheet_{name}_layout_2.json").read_text(encoding="utf-8")
    was = json.loads(text)
    with opened(2, tmp_path, text) as book:
        (sheet,) = book.sheets("sage")
        (again,) = repeat(book, "sage", 480, stocks=2.0)
    method, own = sheet.method, sheet.settings
    assert (method.liquor_ratio, method.temperature, method.hours, method.alkali) == (
        was["liquor_ratio"], was["temperature_c"], was["hours"], was["soda"]["order"]
    )  # fmt: skip
    assert (own.tolerance, own.units, own.spoons) == (was["tolerance"], was["units"], was["spoons"])
    assert (own.alkali_after, own.soda_share) == (was["alkali_after_h"], was["soda_share"])
    assert sheet.low_water == was["low_water"] == (name == "low_water")
    assert sheet.soda.g * own.crystals == pytest.approx(was["soda"]["crystals_g"])
    assert [d.ml for d in sheet.doses] == [d["ml"] for d in was["doses"]]
    assert from_json(BathSheet, sheet.to_json()) == sheet
    # Twice the cloth takes twice of all, under the settings of then.
    for what in ("g", "g_l", "solution_g_l", "solution_ml"):
        times = 1 if what in ("g_l", "solution_g_l") else 2
        for kind in ("salt", "soda"):
            then = getattr(getattr(sheet, kind), what)
            now = getattr(getattr(again, kind), what)
            assert now == (None if then is None else pytest.approx(times * then)), (kind, what)
    assert again.water_ml == pytest.approx(2 * sheet.water_ml, rel=1e-3)  # to marks of 0.2 mL


def test_a_damaged_sheet_of_layout_2_does_not_keep_the_book_shut(tmp_path: Path) -> None:
    with opened(2, tmp_path, "[1, {}]") as book:
        assert len(book.trials()) == 5
        with pytest.raises(SavedError):
            book.sheets()
