"""Tint, shade, tone and gradient do what their words say."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from dyemix.colour.appearance import difference, lab_hue
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import lab
from dyemix.dataset.serialise import as_json
from dyemix.dataset.swatches import DEMO_WARNING
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet
from dyemix.series.steps import Series, out_of_range, too_small
from dyemix.series.subdue import gradient, shade, subdue, tint, tone
from tests.simulated.workshop import Workshop

BRIGHT = "scarlet 1.2 + marigold 0.6"
MAKERS = (tint, shade, tone)


def labs(series: Series) -> np.ndarray:
    return np.array([series.start.lab, *(step.prediction.lab for step in series.steps)])


@pytest.mark.parametrize("recipe", [BRIGHT, "rose 2", "lemon 1 + turquoise 0.3"])
@pytest.mark.parametrize("make", MAKERS)
def test_hue_is_held(dyes: DyeSet, make: Callable[..., Series], recipe: str) -> None:
    found = make(dyes, recipe)
    assert all(step.reached for step in found.steps)
    hues = lab_hue(labs(found))
    chroma = np.hypot(*labs(found).T[1:])
    # ΔH* of half a unit is this many degrees at the chroma at hand.
    allowed = np.degrees(0.5 / np.sqrt(chroma * chroma[0]))
    assert np.all(np.abs((hues - hues[0] + 180) % 360 - 180) < 2.0 * allowed + 0.1)


def test_tint_is_paler_and_shade_darker_in_even_steps(dyes: DyeSet) -> None:
    for make, sign in ((tint, 1), (shade, -1)):
        lightness = np.diff(labs(make(dyes, BRIGHT))[:, 0])
        assert np.all(sign * lightness > 0)
        assert np.ptp(lightness) < 0.7


def test_tint_uses_less_dye_and_shade_and_tone_use_black(dyes: DyeSet) -> None:
    assert all(step.recipe.total < 1.8 for step in tint(dyes, BRIGHT).steps)
    for make in (shade, tone):
        black = [step.recipe["black"] for step in make(dyes, BRIGHT).steps]
        assert black == sorted(black)
    assert shade(dyes, BRIGHT).steps[-1].recipe["scarlet"] > 0.6  # the base stays


@pytest.mark.parametrize("recipe", ["marigold 0.2", "rose 0.2", "plum 0.2", "leaf 0.3"])
def test_no_step_adds_what_nobody_can_measure(dyes: DyeSet, recipe: str) -> None:
    # By the smallest dose that matching offers first; traces of a further dye stood here.
    found = tint(dyes, recipe)
    added = [owf for s in found.steps for dye, owf in s.recipe.items() if dye not in recipe]
    assert all(owf >= 0.005 for owf in added)


def test_what_is_too_little_or_beyond_the_squares_is_told_of_the_steps_shown(dyes) -> None:
    """Of steps that are reached; of a dye, its least in those that hold it."""
    found = tint(dyes, "scarlet 0.6 + lemon 0.2", steps=2)
    (route,) = found.routes
    rest, last = route.steps
    trace = dyes.predict("scarlet 0.02 + lemon 0.001")
    for step, words in (
        (replace(last, off=np.zeros(3)), ["lemon"]),
        (replace(last, off=np.full(3, 9.0)), []),
    ):
        steps = (rest, replace(step, prediction=trace))
        told = too_small(found.start.recipe, [replace(route, steps=steps)])
        assert [word for word in ("lemon", "scarlet") if word in str(told)] == words
    alone = replace(last, prediction=dyes.predict("scarlet 0.02"))
    steps = (replace(last, prediction=trace), alone)
    paler = " ".join(out_of_range(dyes, replace(found, routes=(replace(route, steps=steps),))))
    assert "lemon 0.001 (" in paler
    assert "scarlet 0.020 (" in paler


def test_tone_holds_lightness_as_chroma_falls(dyes: DyeSet) -> None:
    found = labs(tone(dyes, BRIGHT))
    assert np.abs(found[:, 0] - found[0, 0]).max() <= 0.3
    assert np.all(np.diff(np.hypot(*found.T[1:])) < 0)


@pytest.mark.parametrize(
    ("first", "second"),
    [("lemon 1", "navy 2 + rose 0.2"), ("undyed", "black 4"), ("rose 0.13", "rose 4")],
)
def test_gradient_steps_look_even(dyes: DyeSet, first: str, second: str) -> None:
    found = gradient(dyes, first, second, steps=7)
    colours = dyes.colours([dyes.amounts(step.recipe) for step in found.steps])
    apart = delta_e(colours[:-1], colours[1:])
    assert len(found.steps) == 8
    assert np.ptp(apart) < 0.01 * apart.mean()
    assert colours[0] == pytest.approx(dyes.predict(first).lab)
    assert colours[-1] == pytest.approx(dyes.predict(second).lab)
    # Even amounts would not look even.
    ends = dyes.amounts(first), dyes.amounts(second)
    plain = dyes.colours(np.linspace(*ends, 8))
    plain_apart = delta_e(plain[:-1], plain[1:])
    assert np.ptp(plain_apart) > 0.5 * plain_apart.mean()


def test_on_noise_free_cloth(fitted: Callable[[int, bool], DyeSet]) -> None:
    """The workshop dyes tints, shades and tones of three mixes, without noise."""
    dyes, shop = fitted(0, False), Workshop(0, False)
    steps = [
        step
        for make in MAKERS
        for recipe in (BRIGHT, "rose 1 + cobalt 0.5", "lemon 1 + turquoise 0.3")
        for step in make(dyes, recipe).steps
    ]
    cloth = np.array([lab(shop.true_reflectance(dict(s.recipe)), dyes.light) for s in steps])
    off = np.abs(difference(np.array([s.asked for s in steps]), cloth))
    assert off[:, 0].mean() <= 1.0
    assert off[:, 2].mean() <= 1.0


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda d: tint(d, BRIGHT, steps=0), "steps is 1 or more"),
        (lambda d: tint(d, "undyed"), "undyed cloth"),
        (lambda d: shade(d, {"black": d.deepest[d.index("black")]}), "it has no shades"),
        (lambda d: shade(d.take(["scarlet", "marigold"]), BRIGHT), "no black or grey"),
        (lambda d: tone(d.take(["scarlet", "marigold"]), BRIGHT), "no black or grey"),
        (lambda d: tone(d, "rose 1 + black 0.1"), "no black or grey to add to rose"),
        (
            lambda d: subdue(d.take(["rose", "black"]), "rose 1 + black 0.1"),
            "no other dye to add to rose 1.00 .* change its amounts by hand",
        ),
        (lambda d: gradient(d, "rose 1", "rose 1"), "same colour"),
        (lambda d: gradient(d, "rose 1", "rose 2", steps=0), "steps is 1 or more"),
    ],
)
def test_bad_input_says_what_would_be_right(
    dyes: DyeSet, call: Callable[[DyeSet], object], says: str
) -> None:
    with pytest.raises(DyemixError, match=says):
        call(dyes)


def test_invented_dyes_are_called_that(dyes: DyeSet) -> None:
    demo = replace(dyes, demo=True)
    for found in (tint(demo, BRIGHT, 1), gradient(demo, "rose 1", "navy 1", 2)):
        assert str(found).startswith(DEMO_WARNING)
        assert next(iter(json.loads(as_json(found)))) == "warning"
        assert len(found.to_frame()) == len(found.steps)
