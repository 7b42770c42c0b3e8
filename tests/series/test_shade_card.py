"""Shade cards: every blend is there, as predicted, prints to size, and can be read."""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from dyemix.dataset.serialise import as_json
from dyemix.dataset.swatches import DEMO_WARNING
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet
from dyemix.plots.cards import PATCH_HEIGHT, PATCH_WIDTH, draw_card
from dyemix.series.shade_card import ShadeCard, parse_depths, shade_card

TRIANGLE = ("marigold", "rose", "turquoise")


@pytest.fixture
def triangle(dyes: DyeSet) -> ShadeCard:
    return shade_card(dyes, TRIANGLE, 1.5)


@pytest.fixture
def grid(dyes: DyeSet) -> ShadeCard:
    return shade_card(dyes, ("lemon", "navy"), depths=(0.25, 1, 4))


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
    assert list(grid.to_frame()["number"]) == list(range(1, 16))


@pytest.fixture(params=["triangle", "grid", "strip", "long names"])
def pages(request: pytest.FixtureRequest, dyes: DyeSet) -> list[Figure]:
    if request.param == "long names":
        long = {n: f"{n} of the second crate 2026" for n in dyes.names}
        named = replace(dyes, names=tuple(long.values()))
        return draw_card(shade_card(named, [long[n] for n in TRIANGLE], 0.3, parts=4))
    if request.param == "strip":
        return draw_card(shade_card(replace(dyes, demo=True), ("lemon", "navy")))
    return draw_card(request.getfixturevalue(request.param))


def test_words_can_be_read_and_never_lie_on_others_or_on_patches(pages: list[Figure]) -> None:
    for figure in pages:
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
        renderer = canvas.get_renderer()
        texts = [t for axes in figure.axes for t in axes.texts if t.get_text().strip()]
        boxes = [t.get_window_extent(renderer) for t in texts]
        patches = [
            p.get_window_extent(renderer)
            for axes in figure.axes
            for p in axes.patches
            if isinstance(p, Rectangle)
        ]
        page = figure.bbox
        assert all(t.get_fontsize() >= 8 for t in texts)
        for box in boxes:
            assert page.x0 <= box.x0
            assert box.x1 <= page.x1
            assert page.y0 <= box.y0
            assert box.y1 <= page.y1
        for one, two in itertools.combinations([*boxes, *patches], 2):
            apart = (
                one.x1 <= two.x0 + 0.5
                or two.x1 <= one.x0 + 0.5
                or one.y1 <= two.y0 + 0.5
                or two.y1 <= one.y0 + 0.5
            )
            assert apart


def test_pages_are_true_to_size(triangle: ShadeCard) -> None:
    pages = draw_card(triangle)
    assert len(pages) == 5
    labels = 0
    for figure in pages:
        assert figure.get_size_inches() == pytest.approx([8.27, 11.69])  # A4
    for figure in pages[1:]:
        layer = figure.axes[0]
        inches = figure.get_size_inches()
        assert layer.get_xlim() == pytest.approx((0, inches[0]))
        assert layer.get_ylim() == pytest.approx((inches[1], 0))
        for patch in layer.patches:
            assert patch.get_width() == pytest.approx(PATCH_WIDTH)
            assert patch.get_height() == pytest.approx(PATCH_HEIGHT)
        bars = [line for line in layer.lines if line.get_linewidth() == 2]
        assert np.ptp(bars[0].get_xdata()) * 25.4 == pytest.approx(50.0)
        labels += len(layer.patches)
    assert labels == 66


def test_every_label_has_recipe_depth_and_hex(triangle: ShadeCard) -> None:
    words = " ".join(t.get_text() for f in draw_card(triangle)[1:] for t in f.axes[0].texts)
    for blend in triangle.blends:
        assert f"{blend.number}  {blend.recipe} % owf" in words
        assert blend.prediction.hex in words


def test_files(triangle: ShadeCard, grid: ShadeCard, tmp_path: Path) -> None:
    draw_card(triangle, tmp_path / "card.pdf")
    pdf = (tmp_path / "card.pdf").read_bytes()
    assert pdf.count(b"/Type /Page ") + pdf.count(b"/Type /Page\n") == 5
    assert b"CreationDate" not in pdf
    draw_card(grid, tmp_path / "grid.png")
    assert (tmp_path / "grid.png").read_bytes().startswith(b"\x89PNG")
    with pytest.raises(DyemixError, match=r"name the picture"):
        draw_card(grid, tmp_path / "grid.txt")
    with pytest.raises(DyemixError, match="cannot be written"):
        draw_card(grid, tmp_path / "no" / "grid.pdf")


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda d: shade_card(d, ("lemon",)), "two or three different dyes"),
        (lambda d: shade_card(d, ("lemon", "Lemon")), "two or three different dyes"),
        (lambda d: shade_card(d, ("lemon", "nawy")), "did you mean navy"),
        (lambda d: shade_card(d, TRIANGLE, depths=(1, 2)), "takes two dyes"),
        (lambda d: shade_card(d, ("lemon", "navy"), -1), "above 0"),
        (lambda d: shade_card(d, TRIANGLE, parts=60), "more than a card holds"),
        (lambda d: parse_depths("1, two"), "not a list of depths"),
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
    for figure in draw_card(card):
        assert figure.axes[0].texts[0].get_text() == DEMO_WARNING
    assert "Outside the range of your squares" in str(card)
