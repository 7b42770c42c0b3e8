"""The reach of a shelf: nothing lies outside its boundary, and everything on it can be dyed."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from benchmarks.reach import beyond, random_blends
from benchmarks.shelf import standing
from dyemix.colour.colorimetry import D65_2
from dyemix.dataset.serialise import as_json
from dyemix.dataset.swatches import DEMO_WARNING
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError
from dyemix.gamut.coverage import Gamut, gamut
from dyemix.gamut.reach import ShelfReach, joined, reach
from dyemix.matching.match import match, match_many
from dyemix.model.dyes import DyeSet

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


@pytest.mark.parametrize("dyes", [2, 3])
def test_random_blends_lie_inside(shelf: DyeSet, boundary: Gamut, dyes: int) -> None:
    out = beyond(boundary, random_blends(shelf, 60_000, dyes, seed=5))
    assert len(out) > 1000
    # The outline lies on whole units of a* and b*, smoothed.
    assert (out > 1.0).mean() < 0.002
    assert out.max() < 2.0
    assert (out == 0.0).mean() > 0.9


def test_outlines_can_be_dyed(shelf: DyeSet, boundary: Gamut) -> None:
    """Every point is matched: none is drawn in that cannot be had."""
    rng = np.random.default_rng(1)
    points = [
        Target(np.array([level, *line[rng.integers(len(line))]]), boundary.light)
        for level, lines in zip(boundary.levels, boundary.outlines, strict=True)
        for line in lines * 4
    ]
    nearest = match_many(shelf, points, count=24)
    misses = [min(m.residual for m in found) for found in nearest]
    assert len(misses) > 50
    assert np.mean(misses) < 0.3
    assert max(misses) < 1.2


def test_outlines_have_no_teeth(boundary: Gamut) -> None:
    """Little longer than the hull round them, at the deepest slices too."""
    from scipy.spatial import ConvexHull

    for level in (20.0, 24.0, 28.0, 32.0, 48.0, 80.0):
        # A single dye's tip can stand apart as a few cells of its own.
        line = max(boundary.outlines[list(boundary.levels).index(level)], key=len)
        length = np.hypot(*np.diff(line, axis=0).T).sum()
        assert length < 1.15 * ConvexHull(line).area  # the area of a hull in two is its length


def test_single_dyes_lie_within(shelf: DyeSet, boundary: Gamut) -> None:
    """Single dyes are the corners of the gamut."""
    ladder = np.concatenate(
        [np.outer(np.geomspace(0.01, 4.0, 6000), row) for row in np.eye(len(shelf))]
    )
    assert beyond(boundary, shelf.colours(ladder), half=0.03).max() < 2.0


def test_area_is_that_of_the_outline(boundary: Gamut) -> None:
    """By the shoelace formula, but for half a cell all round."""
    for lines, area in zip(boundary.outlines, boundary.areas, strict=True):
        if lines:
            shoelace = sum(
                abs(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) / 2.0 for x, y in (k.T for k in lines)
            )
            length = sum(np.hypot(*np.diff(line, axis=0).T).sum() for line in lines)
            assert area == pytest.approx(shoelace, abs=0.3 * length)
    whole = np.trapezoid(boundary.areas, boundary.levels)
    assert boundary.volume == pytest.approx(whole)


def test_inside_is_told_from_outside(boundary: Gamut) -> None:
    wide = max(boundary.outlines[12], key=len)
    level = boundary.levels[12]
    middle = wide.mean(axis=0)
    for share, inside in ((0.9, True), (1.1, False)):
        labs = np.column_stack([np.full(len(wide), level), middle + share * (wide - middle)])
        assert (boundary.reaches(labs) == inside).mean() > 0.97


def test_a_shelf_with_more_dyes_reaches_more(shelf: DyeSet, boundary: Gamut) -> None:
    names = ["lemon", "rose", "turquoise", "cobalt"]
    part = gamut(shelf.take(names))
    assert 0 < gamut(shelf.take(names[:3])).volume < part.volume < boundary.volume
    assert gamut(shelf.take(names), 4).volume >= part.volume


def test_a_dye_of_another_book_adds_what_it_adds_on_the_shelf(
    shelf: DyeSet, small: ShelfReach
) -> None:
    own = gamut(shelf.take(OWNED), light=small.gamut.light).volume
    for change in small.additions:
        wider = gamut(shelf.take([*OWNED, change.dye]), light=small.gamut.light)
        assert change.volume == pytest.approx(100.0 * (wider.volume / own - 1.0), abs=0.2)
    assert small.wider is not None
    assert small.wider.volume > small.gamut.volume


def test_share_agrees_with_matching(shelf: DyeSet, small: ShelfReach) -> None:
    own = shelf.take(OWNED)
    for wanted in small.wanted:
        nearest = min(m.residual for m in match(own, wanted.target, max_dyes=3))
        assert wanted.residual <= nearest + 0.02
        assert wanted.within == (wanted.residual <= 1.5)
    within = sum(w.within for w in small.wanted)
    assert any(line.startswith(f"{within} of {len(COLOURS)} wanted") for line in small.findings)


def test_best_addition_by_adding_each(shelf: DyeSet, small: ShelfReach) -> None:
    """The slow way: a shelf with each further dye, and the reach of that."""
    gained = {}
    before = sum(w.within for w in small.wanted)
    for change in small.additions:
        wider = reach(shelf.take([*OWNED, change.dye]), COLOURS, compare=False)
        gained[change.dye] = sum(w.within for w in wider.wanted) - before
        assert change.targets == gained[change.dye]
    assert small.additions[0].targets == max(gained.values())
    assert f"{small.additions[0].dye} adds most" in str(small)


def test_a_dye_to_spare_is_told_by_its_use(shelf: DyeSet) -> None:
    """The slow way: what matching answers first with the whole shelf, and without each dye."""
    own = shelf.take(OWNED)
    found = reach(own, COLOURS, tolerance=3.0)
    first = match_many(own, COLOURS, count=1)
    for change in found.removals:
        rest = match_many(own, COLOURS, count=1, avoid=(change.dye,))
        used = np.mean([change.dye in m[0].recipe for m in first])
        farther = np.mean([w[0].likely - m[0].likely for w, m in zip(rest, first, strict=True)])
        assert change.used == pytest.approx(used, abs=0.17)  # likenesses are settled otherwise
        assert change.delta_e == pytest.approx(farther, abs=0.15)
    lost = [change.targets for change in found.removals]
    assert lost == sorted(lost)
    assert found.removals[0].delta_e == min(c.delta_e for c in found.removals if not c.targets)
    assert f"Least missed would be {found.removals[0].dye}" in str(found)


def test_a_dye_is_judged_all_over_the_reach_where_nothing_is_wanted(shelf: DyeSet) -> None:
    found = reach(shelf.take(OWNED))
    assert found.judged > 10
    assert {change.dye for change in found.removals} == set(OWNED)
    # Nothing stands in for the only yellow of these.
    assert found.removals[-1].dye == "lemon"


def test_one_light_an_answer(shelf: DyeSet) -> None:
    assert shelf.light != D65_2
    assert reach(shelf, target="#7d8a6e", compare=False).gamut.light == D65_2
    assert reach(shelf, ["#7d8a6e", "#a05040"], compare=False).gamut.light == D65_2
    assert reach(shelf, target="50 10 10", compare=False).gamut.light == shelf.light
    assert reach(shelf, compare=False).gamut.light == shelf.light


def test_a_colour_is_brought_nearer_by_the_dye_it_wants(shelf: DyeSet) -> None:
    own = shelf.take([name for name in shelf.names if name not in ("rose", "lemon")])
    found = reach(own, target="#d63a92", other=shelf, compare=False)
    assert found.target is not None
    assert not found.target.within
    best = found.additions[0]
    assert best.dye == "rose"
    assert best.nearest is not None
    alone = reach(shelf.take([*own.names, "rose"]), target="#d63a92", compare=False)
    assert alone.target is not None
    assert best.nearest.residual == pytest.approx(alone.target.residual, abs=0.02)
    assert found.wider is not None
    assert found.wider.volume > found.gamut.volume


def test_joined_shelf_keeps_both(shelf: DyeSet) -> None:
    """And what mixes taught of either."""
    company = np.linspace(-0.3, 0.3, len(shelf))
    shelf = standing(shelf, company=company, interaction=0.5 * company)
    own, other = shelf.take(["lemon", "rose"]), shelf.take(["rose", "navy"])
    both = joined(own, other)
    assert both.names == ("lemon", "rose", "navy")
    recipe = "lemon 1 + navy 0.3"
    assert both.predict(recipe).lab == pytest.approx(shelf.predict(recipe).lab)
    with pytest.raises(DyemixError, match="no dye that this shelf lacks"):
        joined(own, shelf.take(["rose"]))


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
        (lambda d: gamut(d.take(["lemon", "rose"])), "3 to 64 dyes"),
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
