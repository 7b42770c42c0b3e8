"""What a job wanted, and how a piece missed it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading
from dyemix.dataset.target import Target, Trial
from dyemix.dyebook.book import DyeBook
from dyemix.dyebook.records import JobRecord, KeptRecipe, KeptTrial
from tests.dyebook.filled import reading, sheet

GREEN, ROSE = Target.parse("56 -10 13 D65/10"), Target.parse("56 30 5 D65/10")
NAVY = Recipe({"navy": 1.0})


def test_a_colour_that_names_no_light_is_wanted_in_that_of_the_piece() -> None:
    by_lamp = Reading.from_lab([56, -10, 13], "A/10", NAVY)
    kept = KeptTrial("leaf", Trial(NAVY, by_lamp, Target.parse("56 -10 13")))
    assert kept.miss is not None
    assert kept.miss.delta_e == pytest.approx(0.0, abs=1e-6)
    assert replace(kept, trial=Trial(NAVY, by_lamp)).miss is None


def test_the_colour_wanted_is_the_last_that_was_asked_for() -> None:
    """A trial without a day was before those that have one."""
    undated = KeptTrial("leaf", Trial(NAVY, reading(), GREEN))
    recipe = KeptRecipe("leaf", date(2026, 5, 3), NAVY, ROSE)
    bare = KeptRecipe("leaf", date(2026, 5, 4), NAVY)
    job = JobRecord("leaf", (recipe, bare), (), (undated,), (), (), demo=False)
    assert job.wanted is ROSE
    dated = replace(undated, trial=replace(undated.trial, date=date(2026, 5, 5)))
    assert replace(job, trials=(dated,)).wanted is GREEN
    assert replace(job, recipes=(), trials=()).wanted is None


def test_a_sheet_keeps_the_colour_it_is_for(book: DyeBook) -> None:
    book.add_sheets(sheet("leaf"), sheet("sage"), aims={"leaf": GREEN, "sage": "as on the card"})
    assert book.job("leaf").wanted == GREEN
    assert book.job("sage").wanted is None
