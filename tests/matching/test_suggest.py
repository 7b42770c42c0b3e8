"""At most three recipes that differ in what a dyer would choose by, each with its reason."""

from __future__ import annotations

from unittest.mock import patch

import pytest

from benchmarks.shelf import shelf
from dyemix.matching.advice import suggest
from dyemix.matching.limits import LEAST_DOSE, Kit
from dyemix.matching.match import match
from dyemix.matching.matches import Match
from dyemix.model.dyes import DyeSet


@pytest.fixture(scope="module")
def dyes() -> DyeSet:
    return shelf(0, True)


def lamp(one: Match) -> float:
    return max(shift.delta_e for shift in one.lamps)


@pytest.mark.parametrize("colour", ["#7d8a6e", "#303030", "82 2 4", "60 5 5"])
def test_what_is_said_of_each_is_true_of_it_alone(dyes: DyeSet, colour: str) -> None:
    found = suggest(dyes, colour)
    assert len(found.choices) in (2, 3)
    for i, own in enumerate(found.choices):
        assert found[i] is own
        others = [other for other in found.choices if other is not own]
        said = " | ".join(own.reasons)
        assert ("likeliest" in said) == (i == 0)
        if "only" in said:
            assert all(len(own.recipe) < len(other.recipe) for other in others)
        if "no black" in said:
            assert "black" not in own.recipe
            assert all("black" in other.recipe for other in others)
        if "lamplight" in said:
            assert all(lamp(own) < lamp(other) for other in others)
        if "least to pour" in said:
            assert all(own.recipe.total < 0.8 * other.recipe.total for other in others)
        if "no depth guessed" in said:
            assert not own.prediction.warnings
            assert all(other.prediction.warnings for other in others)


def test_the_order_shown_is_the_order_claimed(dyes: DyeSet) -> None:
    """The first is the likeliest of all, as it is measured: 20 g of cloth take few drops."""
    for kit in (None, Kit(240.0, {"": 2.0}), Kit(20.0, {"": 2.0}, "spoons")):
        found = suggest(dyes, "#7d8a6e", kit=kit)
        likely = [round(m.measured.likely if m.measured else m.likely, 1) for m in found]
        ways = likely[: len(found.choices)]
        assert ways == sorted(ways)
        assert ways[-1] <= ways[0] + 1.1
        assert ways[0] == min(likely)
        assert f"({ways[0]:.1f})" in found[0].reasons[0]


def test_what_can_be_poured_from_what_is_left_says_so(dyes: DyeSet) -> None:
    """Bottles that hold the second recipe shown, to the last drop, and no more."""
    second = suggest(dyes, "#7d8a6e")[1].recipe
    found = suggest(dyes, "#7d8a6e", left={dye: 1.001 * owf for dye, owf in second.items()})
    from_left = [c for c in found.choices if "from what is left in the bottles" in c.reasons]
    assert [c.recipe for c in from_left] == [second]
    nothing = suggest(dyes, "#7d8a6e", left=dict.fromkeys(dyes.names, 0.0))
    assert not any("left" in reason for c in nothing.choices for reason in c.reasons)


def test_what_is_left_and_what_it_costs_are_reasons(dyes: DyeSet) -> None:
    price = dict.fromkeys(dyes.names, 9.0) | {"turquoise": 0.1, "rust": 0.1}
    said = str(suggest(dyes, "#7d8a6e", price=price, prefer="rust"))
    assert "uses up rust" in said
    assert "cheapest (1." in said


def test_recipes_that_differ_in_nothing_are_one(dyes: DyeSet) -> None:
    pair = dyes.take(["marigold", "navy"])
    found = suggest(pair, pair.predict("marigold 0.8 + navy 0.25").as_target())
    assert len(found.choices) == 1
    assert found[0].reasons[0].startswith("likeliest")


def test_a_dose_too_small_to_measure_is_never_offered_first(dyes: DyeSet) -> None:
    few = dyes.take(["marigold", "rose", "black"])
    pale = few.predict("marigold 0.05 + black 0.004 + rose 0.02").as_target()
    with patch("dyemix.matching.match.LEAST_DOSE", 0.0):
        free = match(few, pale)
    assert min(free[0].recipe.values()) < LEAST_DOSE  # else this shows nothing
    found = match(few, pale)
    assert min(found[0].recipe.values()) >= LEAST_DOSE
    assert min(suggest(few, pale)[0].recipe.values()) >= LEAST_DOSE
    small = [min(one.recipe.values()) < LEAST_DOSE for one in found]
    assert small == sorted(small)
