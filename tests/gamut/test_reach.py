"""The reach of a shelf: nothing lies outside its boundary, and everything on it can be dyed."""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable
from dataclasses import replace
from time import perf_counter

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from benchmarks.reach import beyond, random_blends
from dyemix.dataset.serialise import as_json
from dyemix.dataset.swatches import DEMO_WARNING
from dyemix.errors import DyemixError
from dyemix.gamut.boundary import Gamut, gamut, joined
from dyemix.gamut.reach import ShelfReach, reach
from dyemix.matching.match import match
from dyemix.model.dyes import DyeSet
from dyemix.plots.reach import draw_reach

COLOURS = ("#ff8800", "#a040c0", "#20a050", "#7d8a6e", "#d03060", "#3050a0")
OWNED = ("lemon", "scarlet", "plum", "navy", "turquoise", "black")


@pytest.fixture(scope="module")
def shelf(fitted: Callable[[int, bool], DyeSet]) -> DyeSet:
    return fitted(0, True)


@pytest.fixture(scope="module")
def boundary(shelf: DyeSet) -> Gamut:
    return gamut(shelf)


@pytest.fixture(scope="module")
def small(shelf: DyeSet) -> ShelfReach:
    own = replace(shelf.take(OWNED), demo=True)
    return reach(own, COLOURS, target="#7d8a6e", other=shelf)


def test_random_blends_lie_inside(shelf: DyeSet, boundary: Gamut) -> None:
    out = beyond(boundary, random_blends(shelf, 60_000, seed=5))
    assert len(out) > 1000
    assert (out > 0.5).mean() < 0.005
    # And the line is drawn close round them, not far off.
    assert np.sort(out)[-20:].mean() > -3.0


def test_boundary_can_be_dyed(shelf: DyeSet, boundary: Gamut) -> None:
    for i, level in enumerate(boundary.levels):
        labs = shelf.predict_many(boundary.amounts[i])
        assert labs[:, 0] == pytest.approx(level, abs=0.3)
        assert np.hypot(*(labs[:, 1:] - boundary.boundary(i)).T).max() < 0.4
    assert (boundary.amounts > 0).sum(axis=2).max() <= 3
    assert np.all(boundary.amounts <= shelf.deepest + 1e-9)


def test_single_dyes_lie_within(shelf: DyeSet, boundary: Gamut) -> None:
    """Single dyes are the corners of the gamut, which fall between rays of 5°."""
    ladder = np.concatenate(
        [np.outer(np.geomspace(0.01, 4.0, 6000), row) for row in np.eye(len(shelf))]
    )
    assert beyond(boundary, shelf.predict_many(ladder), half=0.03).max() < 2.0


def test_area_and_volume_of_a_circle() -> None:
    from dyemix.colour.colorimetry import D65_10

    rays = 360
    round_one = Gamut(
        np.array([40.0, 60.0]), np.arange(360.0), np.zeros((2, 2)), np.full((2, rays), 30.0),
        np.zeros((2, rays, 3)), 3, D65_10,
    )  # fmt: skip
    assert round_one.areas == pytest.approx(np.pi * 900, rel=1e-3)
    assert round_one.volume == pytest.approx(np.pi * 900 * 20, rel=1e-3)


def test_more_dyes_reach_no_less(shelf: DyeSet) -> None:
    few = gamut(shelf.take(["lemon", "rose", "turquoise"]), rays=36)
    more = gamut(shelf.take(["lemon", "rose", "turquoise", "cobalt", "scarlet"]), rays=36)
    assert more.volume > few.volume


def test_boundary_takes_less_than_a_second(shelf: DyeSet) -> None:
    best = np.inf
    for _ in range(3):  # other work on this machine is not what is measured
        start = perf_counter()
        gamut(shelf)
        best = min(best, perf_counter() - start)
    assert best < 1.0


def test_share_agrees_with_matching(shelf: DyeSet, small: ShelfReach) -> None:
    own = shelf.take(OWNED)
    for wanted in small.wanted:
        nearest = min(m.residual for m in match(own, wanted.target, max_dyes=3))
        assert wanted.miss <= nearest + 0.02
        assert wanted.within == (wanted.miss <= 1.5)
    assert small.share == sum(w.within for w in small.wanted) / len(COLOURS)


def test_best_addition_by_adding_each(shelf: DyeSet, small: ShelfReach) -> None:
    """The slow way: a shelf with each further dye, and the reach of that."""
    gained = {}
    before = sum(w.within for w in small.wanted)
    for change in small.additions:
        wider = reach(shelf.take([*OWNED, change.dye]), COLOURS, compare=False)
        gained[change.dye] = sum(w.within for w in wider.wanted) - before
        assert change.colours == gained[change.dye]
    assert small.additions[0].colours == max(gained.values())
    assert f"{small.additions[0].dye} adds most" in str(small)


def test_redundant_dye_by_leaving_each_out(shelf: DyeSet, small: ShelfReach) -> None:
    before = {w.target.name for w in small.wanted if w.within}
    for change in small.removals:
        rest = reach(shelf.take([n for n in OWNED if n != change.dye]), COLOURS, compare=False)
        lost = before - {w.target.name for w in rest.wanted if w.within}
        assert change.colours == len(lost)
    assert small.removals[0].colours == min(c.colours for c in small.removals)


def test_joined_shelf_keeps_both(shelf: DyeSet) -> None:
    own, other = shelf.take(["lemon", "rose"]), shelf.take(["rose", "navy"])
    both = joined(own, other)
    assert both.names == ("lemon", "rose", "navy")
    recipe = "lemon 1 + navy 0.3"
    assert both.predict(recipe).lab == pytest.approx(shelf.predict(recipe).lab)
    with pytest.raises(DyemixError, match="no dye that this shelf lacks"):
        joined(own, shelf.take(["rose"]))


def test_picture_can_be_read(small: ShelfReach) -> None:
    figure = draw_reach(small)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    texts = [t for axes in figure.axes for t in axes.texts if t.get_text()]
    ticks = [
        t
        for axes in figure.axes[1:]
        for t in [*axes.get_xticklabels(), *axes.get_yticklabels()]
        if t.get_text()
    ]
    assert all(t.get_fontsize() >= 8 for t in [*texts, *ticks])
    boxes = [t.get_window_extent(renderer) for t in [*texts, *ticks]]
    for box in boxes:
        assert figure.bbox.x0 <= box.x0
        assert box.x1 <= figure.bbox.x1
    for one, two in itertools.combinations(boxes, 2):
        apart = one.x1 <= two.x0 or two.x1 <= one.x0 or one.y1 <= two.y0 or two.y1 <= one.y0
        assert apart
    words = " ".join(t.get_text() for t in texts)
    assert DEMO_WARNING in words
    assert all(name in words for name in OWNED)


def test_progress_runs_to_the_end(shelf: DyeSet) -> None:
    seen: list[tuple[int, int]] = []
    reach(
        shelf.take(OWNED[:4]), ["#7d8a6e"], progress=lambda done, whole: seen.append((done, whole))
    )
    assert seen[-1][0] == seen[-1][1]
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda d: gamut(d, 2), "3 or 4"),
        (lambda d: gamut(d.take(["lemon", "rose"])), "holds no volume"),
        (lambda d: reach(d, ["sage"], compare=False), "not a hex colour"),
        (lambda d: reach(d, ["#7d8a6e"], tolerance=0), "tolerance"),
    ],
)
def test_bad_input_says_what_would_be_right(
    shelf: DyeSet, call: Callable[[DyeSet], object], says: str
) -> None:
    with pytest.raises(DyemixError, match=says):
        call(shelf)


def test_invented_dyes_are_called_that(small: ShelfReach) -> None:
    assert str(small).startswith(DEMO_WARNING)
    assert next(iter(json.loads(as_json(small)))) == "warning"
    assert len(small.to_frame()) == len(COLOURS)
