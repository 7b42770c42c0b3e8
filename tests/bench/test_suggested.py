"""Recipes as they are read at first sight."""

from __future__ import annotations

import re

import pytest

from dyemix.bench import suggested as bench
from dyemix.bench.settings import BathSettings
from dyemix.bench.stock import Bottles
from dyemix.dataset.target import Target
from dyemix.matching.advice import suggest
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
