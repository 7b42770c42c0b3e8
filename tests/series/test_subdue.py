"""Quieter colours: what is asked is held, what is held is held on cloth, and the end is said.

The workshop is richer than the model fitted to it and shares no code with it.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace

import colour
import numpy as np
import pytest

from benchmarks.subdue import FAMILIES, Dyed, bright_mixes, chroma_kept, dyed, second_baths
from dyemix.colour.appearance import (
    ADAPTING,
    HueSpace,
    Scale,
    appearance,
    difference,
    lab_hue,
    of_hue,
    quieter,
    usual_hue,
)
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_2, D65_10, white, xyz_from_lab
from dyemix.dataset.serialise import as_json
from dyemix.dataset.swatches import DEMO_WARNING
from dyemix.errors import DyemixError, RecipeError
from dyemix.model.dyes import DyeSet
from dyemix.series.steps import RouteKind
from dyemix.series.subdue import subdue, subdue_on

BRIGHT = "scarlet 1.2 + marigold 0.6"


@pytest.fixture(scope="module")
def clean() -> Dyed:
    return dyed(0, noise=False, count=30)


@pytest.fixture(scope="module")
def noisy() -> Dyed:
    return dyed(1, noise=True, count=30)


def test_differences_are_those_of_cie() -> None:
    rng = np.random.default_rng(0)
    a, b = (rng.uniform([20, -60, -60], [90, 60, 60], (200, 3)) for _ in range(2))
    off = difference(a, b)
    # ΔE*ab² = ΔL*² + ΔC*² + ΔH*² (CIE 015:2018, 8.2.2.2)
    assert np.sqrt((off**2).sum(axis=1)) == pytest.approx(np.linalg.norm(a - b, axis=1))


@pytest.mark.parametrize("hue", HueSpace)
@pytest.mark.parametrize("scale", Scale)
def test_quieter_colours_keep_hue_and_lightness(hue: HueSpace, scale: Scale) -> None:
    """CIECAM16 as colour-science computes it is the judge."""
    start, shares = np.array([42.0, 22.0, -48.0]), np.array([0.8, 0.5, 0.2])
    found = quieter(start, np.full(3, 42.0), shares, hue, scale, D65_10)
    both = np.vstack([start, found])
    seen = colour.XYZ_to_CIECAM16(xyz_from_lab(both, D65_10), white(D65_10), ADAPTING, 20.0)
    assert found[:, 0] == pytest.approx(42.0)
    held = seen.h if hue is HueSpace.CIECAM16 else lab_hue(both)
    assert held[1:] == pytest.approx(held[0], abs=1e-4)
    falling = seen.M if scale is Scale.COLOURFULNESS else np.hypot(*both.T[1:])
    assert falling[1:] / falling[0] == pytest.approx(shares, abs=1e-4)


def test_which_hue_is_held() -> None:
    blue, orange = np.array([40.0, 10.0, -45.0]), np.array([60.0, 40.0, 50.0])
    assert usual_hue(blue) is HueSpace.CIECAM16
    assert usual_hue(orange) is HueSpace.CIELAB
    grey = of_hue(blue, np.array([40.0]), np.array([10.0]), HueSpace.CIECAM16, D65_10)
    # The blue that keeps CIELAB hue turns purple: CIECAM16 sees it elsewhere.
    bent = of_hue(blue, np.array([40.0]), np.array([10.0]), HueSpace.CIELAB, D65_10)
    assert appearance(bent, D65_10)[1][0] - appearance(blue, D65_10)[1][0] > 5.0
    assert appearance(grey, D65_10)[1][0] == pytest.approx(appearance(blue, D65_10)[1][0])


@pytest.mark.slow
def test_reached_steps_hold_lightness_and_hue_on_the_model(
    fitted: Callable[[int, bool], DyeSet],
) -> None:
    dyes = fitted(0, True)
    reached = 0
    for recipe in bright_mixes(dyes, 30):
        found = subdue(dyes, recipe)
        start = found.start.lab
        for route in found.routes:
            for step in route.steps[: route.reached]:
                lab = dyes.predict(step.recipe).lab
                assert abs(lab[0] - start[0]) <= 0.3
                off = difference(step.asked[np.newaxis], lab[np.newaxis])[0]
                assert abs(off[2]) <= 0.5
                if usual_hue(start) is HueSpace.CIELAB:
                    assert lab_hue(step.asked) == pytest.approx(lab_hue(start))
                reached += 1
        assert found.safest(0) is not None, recipe
    assert reached > 600  # or it would hold by reaching nothing


def test_the_base_is_cut(dyes: DyeSet) -> None:
    """Subdued must not just mean darker (common practice)."""
    for route in subdue(dyes, BRIGHT).best:
        for step in route.steps[: route.reached]:
            assert step.recipe.get("scarlet", 0.0) < 1.2
            assert step.recipe.get("marigold", 0.0) < 0.6


def test_chroma_falls_evenly_and_lightness_can_be_let_down(dyes: DyeSet) -> None:
    found = subdue(dyes, BRIGHT, steps=4, least=0.4, let_down=8.0)
    asked = np.array([step.asked for step in found.steps])
    chroma = np.hypot(*asked.T[1:])
    start = np.hypot(*found.start.lab[1:])
    assert chroma / start == pytest.approx([0.85, 0.7, 0.55, 0.4])
    assert asked[:, 0] - found.start.lab[0] == pytest.approx([-2, -4, -6, -8])
    assert "let down by 8 L*" in str(found)


def test_routes_are_called_what_the_trade_calls_them(dyes: DyeSet) -> None:
    kinds = {route.dye: route.kind for route in subdue(dyes, BRIGHT).routes}
    assert kinds["black"] is RouteKind.GREY
    assert kinds["brown"] is RouteKind.BROWN
    assert kinds["turquoise"] is RouteKind.COMPLEMENT
    assert kinds["leaf"] is RouteKind.THIRD
    assert kinds["rust"] is RouteKind.SWAP
    violet = {route.dye: route for route in subdue(dyes, "rose 1 + cobalt 0.5").routes}
    assert violet["navy"].kind is RouteKind.SWAP
    assert violet["navy"].title.startswith("duller primary: navy for cobalt")


def test_safest_route_is_the_one_that_moves_least(dyes: DyeSet) -> None:
    """Checked by dosing wrongly, dye by dye: 300 pots of each recipe."""
    found = subdue(dyes, BRIGHT)
    rng = np.random.default_rng(4)
    moved = {}
    for route in found.routes:
        if route.reached > 3:
            amounts = dyes.amounts(route.steps[3].recipe)
            pots = amounts * np.exp(0.03 * rng.standard_normal((300, len(dyes))))
            miss = delta_e(route.steps[3].prediction.lab, dyes.colours(pots))
            moved[route.dye] = miss.mean()
            assert route.steps[3].slip == pytest.approx(
                miss.mean() * dyes.scatter.dosing / 0.03, rel=0.15
            )
    safest = found.safest(3)
    assert safest is not None
    assert moved[safest.dye] < 1.1 * min(moved.values())


def test_where_the_shelf_runs_out_is_said(dyes: DyeSet) -> None:
    text = str(subdue(dyes.take(["scarlet", "marigold", "lemon"]), BRIGHT))
    assert "The shelf runs out at step 1" in text
    assert "No dye on this shelf for: black or grey, brown, complement" in text
    held = str(subdue(dyes, "leaf 1 + black 0.05", steps=1))
    assert "black" not in held.partition("No dye on this shelf for:")[2].partition("\n")[0]


def test_a_way_of_one_kind_is_the_same_as_among_all(dyes: DyeSet) -> None:
    every = next(r for r in subdue(dyes, BRIGHT).routes if r.kind is RouteKind.BROWN)
    alone = subdue(dyes, BRIGHT, only=RouteKind.BROWN)
    assert {route.kind for route in alone.routes} == {RouteKind.BROWN}
    for one, other in zip(alone.steps, every.steps, strict=True):
        assert dict(one.recipe) == pytest.approx(dict(other.recipe), rel=1e-9)


@pytest.mark.slow
def test_noise_free_cloth_holds_lightness_and_hue(clean: Dyed) -> None:
    lightness, _, hue = np.abs(clean.off).T
    assert len(clean.steps) > 0.7 * clean.asked_for
    assert lightness.mean() <= 1.0
    assert hue.mean() <= 1.0


@pytest.mark.slow
def test_nine_noisy_steps_in_ten_stay_within_their_bound(noisy: Dyed) -> None:
    assert noisy.within >= 0.9
    # A bound nobody could miss would be worth nothing.
    assert np.median([step.bound for step in noisy.steps]) < 4.0


def test_chroma_kept_with_a_third_primary() -> None:
    for family, (model, cloth) in chroma_kept(0).items():
        assert np.abs(model - cloth).max() <= 3.0, family
        assert np.all(np.diff(model) < 0)
    assert set(chroma_kept(0)) == set(FAMILIES)


def test_over_a_finished_piece_quieter_is_darker(dyes: DyeSet) -> None:
    found = subdue_on(dyes, dyes.predict(BRIGHT).as_target())
    over = dyes.on(dyes.predict(BRIGHT).reflectance)
    for route in found.routes:
        assert all(step.prediction.lab[0] < found.start.lab[0] for step in route.steps)
        for step in route.steps[: route.reached]:
            lab = over.predict(step.recipe).lab
            assert lab == pytest.approx(step.prediction.lab, abs=1e-9)
            assert abs(step.chroma - np.hypot(*step.asked[1:])) <= 1.0
    text = str(found)
    assert "cannot get quieter without getting darker" in text
    cost = found.start.lab[0] - found.steps[0].prediction.lab[0]
    assert f"step 1 takes {cost:.1f} off L*" in text
    assert found.to_frame()["darker"][0] == pytest.approx(-cost)
    assert "offcut" in text
    totals = [step.recipe.total for step in found.routes[0].steps]
    assert totals == sorted(totals)


def test_least_darkening_over_a_piece_against_a_grid(dyes: DyeSet) -> None:
    """No pair of dyes on a fine grid gets as quiet, in this hue, with less lightness lost."""
    piece = dyes.predict("scarlet 1")
    found = subdue_on(dyes, piece.as_target(), steps=2, least=0.6)
    want = found.routes[0].steps[-1]
    over = dyes.on(piece.reflectance)
    levels = np.concatenate([[0.0], np.geomspace(0.003, 1.0, 60)])
    best = -np.inf
    for i in range(len(dyes)):
        for j in range(i):
            amounts = np.zeros((len(levels) ** 2, len(dyes)))
            amounts[:, i], amounts[:, j] = np.repeat(levels, 61), np.tile(levels, 61)
            labs = over.colours(amounts)
            off = difference(np.tile(want.asked, (len(labs), 1)), labs)
            near = (np.abs(off[:, 1]) < 0.3) & (np.abs(off[:, 2]) < 0.5)
            best = max(best, labs[near, 0].max(initial=-np.inf))
    assert want.prediction.lab[0] > best - 0.3


@pytest.mark.slow
def test_second_baths_come_out_within_their_bound() -> None:
    over = second_baths(0, noise=True)
    assert len(over.steps) > 100
    assert over.within >= 0.9


def test_a_piece_given_as_a_colour_says_so(dyes: DyeSet) -> None:
    assert "not a spectrum" in str(subdue_on(dyes, "#ee6b4c"))
    assert "not a spectrum" not in str(subdue_on(dyes, dyes.predict(BRIGHT).as_target()))


def test_a_piece_keeps_its_own_light(dyes: DyeSet) -> None:
    """A hex code is of D65/2° (IEC 61966-2-1), whatever light the swatches were read under."""
    over = subdue_on(dyes, "#ee6b4c", steps=1)
    assert over.start.light == D65_2 != dyes.light
    assert "(D65/2°)" in str(over)
    assert "D65/10°" not in str(over)
    assert subdue_on(dyes, "60 40 30", steps=1).start.light == dyes.light


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda d: subdue(d, BRIGHT, steps=0), "steps is 1 or more"),
        (lambda d: subdue(d, BRIGHT, least=1.0), "between 0 and 1"),
        (lambda d: subdue(d.take(["rose"]), "rose 1"), "no other dye to add"),
        (lambda d: subdue(d, "undyed"), "undyed cloth has no colour"),
        (lambda d: subdue(d, "black 1"), "grey already"),
        (lambda d: subdue(d, BRIGHT, max_dyes=2), "max_dyes is 2"),
        (lambda d: subdue(d, BRIGHT, let_down=90), "leads from"),
        (lambda d: subdue_on(d, "#808080"), "grey already"),
        (lambda d: subdue_on(d, "#ee6b4c", max_dyes=0), "1 or more"),
        (lambda d: subdue_on(d, "#ee6b4c", steps=0), "1 or more"),
    ],
)
def test_bad_input_says_what_would_be_right(
    dyes: DyeSet, call: Callable[[DyeSet], object], says: str
) -> None:
    with pytest.raises(DyemixError, match=says.replace("*", r"\*")):
        call(dyes)
    with pytest.raises(RecipeError, match="did you mean"):
        subdue(dyes, "scarlett 1")


def test_invented_dyes_are_called_that_everywhere(dyes: DyeSet) -> None:
    demo = replace(dyes, demo=True)
    found = subdue(demo, BRIGHT, steps=1)
    assert str(found).startswith(DEMO_WARNING)
    assert next(iter(json.loads(as_json(found)))) == "warning"
    assert len(found.to_frame()) == len(found.routes)
    over = subdue_on(demo, "#ee6b4c", steps=1)
    assert str(over).startswith(DEMO_WARNING)
    assert len(over.to_frame()) == len(over.routes)


def test_routes_have_no_jumps(dyes: DyeSet) -> None:
    # Four amounts for three numbers: without a rule for the fourth they leapt from step to step.
    start = "marigold 0.8 + leaf 0.3 + rust 0.1"
    routes = [r for r in subdue(dyes, start, 6, least=0.4).best if r.reached == 6]
    assert len(routes) >= 2
    for route in routes:
        amounts = np.array([dyes.amounts(step.recipe) for step in route.steps])
        bends = np.abs(np.diff(amounts, 2, axis=0)).max(axis=0)
        assert np.all(bends <= 0.1 * amounts.max(axis=0) + 1e-9)


def test_a_long_route_is_smooth_too(dyes: DyeSet) -> None:
    # The four amounts lie in a flat valley: a search that stops in it leaves a dip.
    for route in subdue(dyes, "marigold 0.8 + leaf 0.3 + rust 0.1", 10, least=0.1).best:
        steps = route.steps[: route.reached]
        assert np.all(np.diff([step.chroma for step in steps]) < 0)
        assert np.all(np.diff([step.recipe[route.dye] for step in steps]) > 0)


def test_no_dose_is_too_small_to_measure_where_another_set_goes_as_far(dyes: DyeSet) -> None:
    # By the smallest dose that matching offers first; a trace of cobalt stood here.
    for route in subdue_on(dyes, "#ee6b4c").best:
        assert all(owf >= 0.005 for s in route.steps[: route.reached] for owf in s.recipe.values())


def test_a_black_in_the_mix_is_not_said_to_be_missing(dyes: DyeSet) -> None:
    found = subdue(dyes, "marigold 0.8 + navy 0.25 + black 0.05")
    missing = [note for note in found.warnings if note.startswith("No dye on this shelf")]
    assert not any("black" in note for note in missing)


def test_a_route_that_runs_out_is_told_to_its_first_failing_step(dyes: DyeSet) -> None:
    found = subdue(dyes, "scarlet 1")
    short = [route for route in found.best if route.reached < len(route.steps) - 1]
    assert short
    for route in short:
        assert len(list(route.lines(None, detail=False))) == 1 + route.reached + 1
        assert len(list(route.lines(None, detail=True))) == 1 + len(route.steps)


def test_one_route_is_told_and_the_others_by_name(dyes: DyeSet) -> None:
    found = subdue(dyes, BRIGHT, steps=2)
    assert len(found.best) > 2
    brief, whole = found.text().splitlines(), found.text(detail=True).splitlines()
    for text in (brief, whole):
        assert [line for line in text if line.startswith("By ")] == [f"By {r}." for r in found.best]
    assert sum("% owf   " in line for line in brief) == 1
    assert sum("% owf   " in line for line in whole) == len(found.best)
