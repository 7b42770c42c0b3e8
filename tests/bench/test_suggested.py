"""Recipes as they are read at first sight."""

from __future__ import annotations

import re

import pytest

from dyemix.bench import suggested as bench
from dyemix.bench.settings import BathSettings
from dyemix.bench.stock import Bottles
from dyemix.dataset.readings import Reading
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.target import Target, Trial
from dyemix.matching.advice import suggest
from dyemix.matching.correct import correct
from dyemix.matching.limits import Kit
from dyemix.matching.matches import Reach
from tests.bench.conftest import four_dyes


@pytest.mark.parametrize(
    ("target", "reach", "most"),
    [("60 5 30 D65/10", Reach.WITHIN, 3), ("40 60 30 D65/10", Reach.TOO_CLEAN, 2)],
)
def test_three_recipes_are_shown_and_two_of_a_colour_out_of_reach(
    monkeypatch: pytest.MonkeyPatch, target: str, reach: Reach, most: int
) -> None:
    """Whatever there is to choose from, a pot that was dyed before it included."""
    found = suggest(four_dyes(), Target.parse(target))
    assert found.reach is reach
    for there in (1, 2, 3, 4):
        monkeypatch.setattr(
            bench, "to_choose_from", lambda *_, there=there: [(found[0], ("as told",))] * there
        )
        text = bench.suggested(found, Bottles.of(1.0, BathSettings()), 240)
        assert re.findall(r"^\d(?=  )", text, re.MULTILINE) == list("1234"[: min(there, most)])


@pytest.mark.parametrize(
    ("kit", "told"),
    [("scale 0.1", "gold 75 g + navy 25 g: your undated pot"),
     ("spoons", "gold 5 tbsp + navy 1 tbsp + 2 tsp: your undated pot")],
)  # fmt: skip
def test_what_a_pot_led_to_is_measured_by_the_kit(kit: str, told: str) -> None:
    """75 and 25 mL of 1 % stock."""
    dyes, recipe = four_dyes(), Recipe({"gold": 0.75, "navy": 0.25})
    target = Target(dyes.predict(recipe).lab, dyes.light)
    before = correct(dyes, Trial(recipe, Reading.from_lab(target.lab, dyes.light), target))
    with_kit = Kit.parse(kit, {"": 1.0}, 100.0)
    found = suggest(dyes, target, kit=with_kit)
    shown = bench.suggested(found, Bottles.of(1.0, BathSettings()), 100, before, with_kit)
    assert told in shown


@pytest.mark.parametrize(("navy", "dyed"), [(0.06, 0.2), (0.25, 20.0)])
def test_what_is_warned_of_is_the_recipe_that_stands_first(navy: float, dyed: float) -> None:
    """What a pot led to is shown in place of its like: of squares from 0.125 to 4 %."""
    dyes = four_dyes()
    target = Target(dyes.predict({"gold": 0.75, "navy": navy}).lab, dyes.light)
    recipe = Recipe({"gold": 0.75, "navy": dyed})
    read = target.lab if dyed < 1.0 else dyes.predict(recipe).lab
    before = correct(dyes, Trial(recipe, Reading.from_lab(read, dyes.light), target))
    assert before.corrected.recipe == recipe
    found, bottles = suggest(dyes, target), Bottles.of(1.0, BathSettings())
    assert "navy 0.060 is paler" in bench.suggested(found, bottles, 100) or navy > 0.1
    shown = bench.suggested(found, bottles, 100, before)
    assert ("deeper than your deepest square" in shown) == (dyed > 4.0)
    assert "paler than" not in shown


def test_a_pot_that_misses_by_more_than_other_dyes_would_stands_second() -> None:
    """Scarlet alone comes nowhere near: its next piece was shown first, and to be dyed so."""
    dyes, recipe = four_dyes(), Recipe({"scarlet": 0.5})
    target = Target(dyes.predict({"gold": 0.75, "navy": 0.25}).lab, dyes.light)
    found, read = suggest(dyes, target), dyes.predict(recipe).lab
    poor = correct(dyes, Trial(recipe, Reading.from_lab(read, dyes.light), target))
    (first, why), (second, told), *_ = bench.to_choose_from(found, poor)
    assert first.likely < second.likely
    assert why[0].startswith("likeliest to come out right")
    assert (second, told[0][:8]) == (poor.corrected, "your und")
    recipe = Recipe({"gold": 0.75, "navy": 0.25})
    good = correct(dyes, Trial(recipe, Reading.from_lab(target.lab, dyes.light), target))
    assert bench.to_choose_from(found, good)[0][0] is good.corrected
