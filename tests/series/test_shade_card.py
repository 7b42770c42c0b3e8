"""Shade cards: every blend is there, as predicted, prints to size, and can be read."""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable
from dataclasses import replace

import pytest

from dyemix.dataset.serialise import as_json
from dyemix.dataset.swatches import DEMO_WARNING
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet
from dyemix.series.steps import ShadeCard, shade_card

TRIANGLE = ("marigold", "rose", "turquoise")


@pytest.fixture
def triangle(dyes: DyeSet) -> ShadeCard:
    return shade_card(dyes, TRIANGLE, 1.5)


@pytest.fixture
def grid(dyes: DyeSet) -> ShadeCard:
    return shade_card(dyes, ("lemon", "navy"), (0.25, 1, 4))


def test_triangle_holds_every_blend_in_tenths(triangle: ShadeCard, dyes: DyeSet) -> None:
    tenths = {
        tuple(round(blend.recipe.get(name, 0.0) / 0.15) for name in TRIANGLE)
        for blend in triangle.blends
    }
    every = {t for t in itertools.product(range(11), repeat=3) if sum(t) == 10}
    assert len(triangle.blends) == 66
    assert tenths == every
    for blend in triangle.blends[::7]:
        assert blend.prediction.lab == pytest.approx(dyes.predict(blend.recipe).lab)


def test_strip_and_grid(dyes: DyeSet, grid: ShadeCard) -> None:
    strip = shade_card(dyes, ("lemon", "navy"))
    assert "pair strip" in strip.title
    assert len(strip.blends) == 11
    assert "depth by blend grid" in grid.title
    assert len(grid.blends) == 15
    for blend in grid.blends:
        assert blend.recipe.total == pytest.approx((0.25, 1, 4)[blend.row])
        assert blend.recipe.get("navy", 0.0) == pytest.approx(blend.recipe.total * blend.column / 4)
    assert list(grid.to_frame()["name"])[4:7] == ["A5", "B1", "B2"]


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda d: shade_card(d, ("lemon",)), "two or three different dyes"),
        (lambda d: shade_card(d, ("lemon", "Lemon")), "two or three different dyes"),
        (lambda d: shade_card(d, ("lemon", "nawy")), "did you mean navy"),
        (lambda d: shade_card(d, TRIANGLE, "1, 2"), "takes two dyes"),
        (lambda d: shade_card(d, ("lemon", "navy"), -1), "above 0"),
        (lambda d: shade_card(d, TRIANGLE, parts=60), "more than a card holds"),
        (lambda d: shade_card(d, "lemon, navy", "1, two"), "not a list of depths"),
    ],
)
def test_bad_input_says_what_would_be_right(
    dyes: DyeSet, call: Callable[[DyeSet], object], says: str
) -> None:
    with pytest.raises(DyemixError, match=says):
        call(dyes)


def test_invented_dyes_are_called_that_everywhere(dyes: DyeSet) -> None:
    card = shade_card(replace(dyes, demo=True), ("lemon", "navy"), 0.2)
    assert str(card).startswith(DEMO_WARNING)
    assert next(iter(json.loads(as_json(card)))) == "warning"
    assert "Outside the range of your squares" in str(card)
