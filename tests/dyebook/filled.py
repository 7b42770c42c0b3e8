"""A dye book with one of everything in it, and how two states of a book are compared."""

from __future__ import annotations

import sqlite3
from dataclasses import fields
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from dyemix.bench.bath_sheet import BathSheet, bath_sheet
from dyemix.bench.stock import Stock
from dyemix.colour.colorimetry import D65_10, Light
from dyemix.dataset.readings import Clipped
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.dataset.target import Target, Trial
from dyemix.dyebook import connection as schema
from dyemix.dyebook.book import DyeBook
from dyemix.dyebook.records import Cloth, DyeLot

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "swatch_data" / "napkins.csv"
DAY = date(2026, 5, 3)
#: Names that would do harm if text were ever taken for a statement, or a cell for a formula.
HARD_NAMES = (
    "x'); DROP TABLE job; --",
    '"; DELETE FROM trial; --',
    "Robert\n\tTables  ünïcødé ✂",
    "=1+1",
    "a,b;c\"d'e",
    "?1 :name @x $y %s {}",
)


def spectrum(level: float = 0.3) -> np.ndarray:
    """A smooth spectrum whose digits do not end."""
    return level + 0.1 * np.sin(np.arange(31) / 7.0) / 3.0


def reading(recipe: Any = "gold 2", level: float = 0.3, **more: Any) -> Reading:
    return Reading(Recipe.parse(recipe), spectrum(level), **more)


def same(one: Any, other: Any) -> bool:
    """Equal in every field, down to the last digit of every array."""
    if isinstance(one, np.ndarray):
        return isinstance(other, np.ndarray) and np.array_equal(one, other)
    if hasattr(one, "__dataclass_fields__"):
        return type(one) is type(other) and all(
            same(getattr(one, f.name), getattr(other, f.name)) for f in fields(one)
        )
    if isinstance(one, Recipe):
        return list(one.items()) == list(other.items()) and one.as_written == other.as_written
    if isinstance(one, tuple):
        return len(one) == len(other) and all(map(same, one, other))
    return bool(one == other)


def sheet(job: str = "sage", **more: Any) -> BathSheet:
    stocks = [Stock("gold", 2, DAY, lot="G1"), Stock("navy", 1, DAY)]
    return bath_sheet("navy 0.2 + gold 0.8", 240, stocks=stocks, job=job, on=DAY, **more)


def fill(book: DyeBook) -> None:
    """One of everything."""
    book.add_cloth(Cloth("café napkin", "cotton 55 %, linen 45 %", "mercerised?"))
    book.add_dye(DyeLot("Gold", "G1", date(2026, 1, 2), "half full"))
    book.add_stocks(
        Stock("gold", 2, DAY, True, "G1", "added to", 120.5), Stock("navy", 1 / 3, None)
    )
    readings = (
        reading("undyed", 0.8, swatch="1", conditions={"cloth": "café napkin", "hours": "24"}),
        reading("gold 2", 0.4, swatch="2", warnings=("by eye", "wet?"), place="a.csv, row 3"),
        Reading(Recipe.parse("navy 1"), None, "3", "blank"),
        Reading(
            Recipe({"gold": 1 / 3}, "1 tsp"), spectrum(), "4", "Lab",
            np.array([50.1, 0.1 + 0.2, -3.0]), Light("D50", 2), np.eye(3) / 7,
            clipped=Clipped(np.array([[0.0, -1.0, 0.0]])),
        ),
    )  # fmt: skip
    book.add_swatches(SwatchSet(readings, ("as read",), "a.csv"))
    book.add_recipe("sage", "gold 0.8 + navy 0.2", Target.parse("#7d8a6e"), "first", DAY)
    book.add_sheets(sheet(), sheet("ink", target="as dark as it goes"))
    book.add_trial(
        Trial(Recipe.parse("gold 0.8 + navy 0.2"), reading("gold 0.8 + navy 0.2", 0.25),
              Target.of_spectrum(spectrum(0.26), D65_10, "café"), DAY, "G1/N3"),
        "sage", "a little dark",
    )  # fmt: skip
    book.add_trial(Trial(Recipe({"navy": 0.1}), reading("navy 0.1", 0.2), on=reading()))
    over = Reading(None, spectrum(), "?", name="unnamed")  # nobody knows what it was dyed by
    book.add_trial(Trial(Recipe({"navy": 0.1}), reading("navy 0.1", 0.2), on=over), "overdyed")
    book.sign_off("café sage", reading("gold 0.7", 0.31), "sage", 2.0, "by post", DAY)


def everything(book: DyeBook) -> tuple[Any, ...]:
    return (
        book.demo, book.cloths(), book.dye_lots(), book.stocks(), book.sets(), book.swatches(),
        book.recipes(), book.sheets(), book.trials(), book.sign_offs(), book.jobs(),
        book.methods(), book.history(),
    )  # fmt: skip


def all_rows(path: Path) -> dict[str, list[tuple[Any, ...]]]:
    raw = sqlite3.connect(path)
    found = {t: raw.execute(f"SELECT * FROM {t} ORDER BY id").fetchall() for t in schema.TABLES}
    raw.close()
    return found
