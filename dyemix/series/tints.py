"""Tint, shade and tone as the trade means them, and the steps between two recipes.

Tint: paler. Shade: darkened with black (in a dyehouse a shade is any colour). Tone: greyed. Each
step is solved whole, with the hue held, and not made by rule of thumb.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciecam16 import HueSpace, of_hue, usual_hue
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import Light
from dyemix.dataset.recipe import Recipe
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet, Prediction
from dyemix.series.steps import (
    HELD,
    Series,
    Step,
    difference,
    legend,
    out_of_range,
    reached,
    solve_series,
    steps_of,
    whole_recipe,
)
from dyemix.series.subdue import GREY_CHROMA, LEAST_CHROMA, RouteKind, middle_of, subdue

#: Points of a path that a level is looked up on.
_POINTS = 200
#: A gradient is even when its steps differ by less than this share.
_EVEN = 1e-3
#: How much darker a shade gets at most by default, in L*.
_SHADE = 25.0
#: What chroma weighs beside lightness and hue, which are held.
_CHROMA = 0.1


def tint(
    dyes: DyeSet,
    recipe: Mapping[str, float] | str,
    steps: int = 5,
    *,
    least: float = 0.1,
    hue: HueSpace | None = None,
    light: Light | None = None,
) -> Series:
    """Paler steps of a recipe: lightness rising evenly, hue held.

    `least` is the share of the depth at which the last step's lightness is taken, between 0 and
    1. Where its own dyes do not hold the hue (one dye alone drifts as it will), a further dye may
    help. Raises `RecipeError`, and `DyemixError` for a bad limit.
    """
    if steps < 1 or not 0.0 < least < 1.0:
        raise DyemixError("steps is 1 or more, least lies between 0 and 1.")
    light = light or dyes.light
    start = whole_recipe(dyes, Recipe.parse(recipe), light)
    base = dyes.amounts(start.recipe)
    path = np.geomspace(1.0, least, _POINTS)[:, np.newaxis] * base
    palest = float(dyes.predict_many(path[-1:], light)[0, 0])
    return _along(dyes, "Tint: paler", start, path, palest, steps, hue, light)


def shade(
    dyes: DyeSet,
    recipe: Mapping[str, float] | str,
    steps: int = 5,
    *,
    darker: float | None = None,
    hue: HueSpace | None = None,
    light: Light | None = None,
) -> Series:
    """Steps of a recipe darkened with the shelf's black, L* falling evenly by `darker` in all.

    By default as far as 25 L*, or as the shelf's squares go. Raises `DyemixError` where the shelf
    has no black or grey, or cannot get so dark.
    """
    if steps < 1 or (darker is not None and darker <= 0):
        raise DyemixError("steps is 1 or more, darker is above 0 (in L*).")
    light = light or dyes.light
    start = whole_recipe(dyes, Recipe.parse(recipe), light)
    base = dyes.amounts(start.recipe)
    black = _black(dyes, light)
    path = np.tile(base, (_POINTS, 1))
    more = np.geomspace(1e-3, 1.0, _POINTS - 1) * (dyes.deepest[black] - base[black])
    path[1:, black] += np.maximum(more, 0.0)
    lightness = dyes.predict_many(path, light)[:, 0]
    most = float(start.lab[0] - lightness.min())
    if (darker is not None and darker > most) or most < 1.0:
        raise DyemixError(
            f"with {dyes.names[black]} to its deepest square this recipe gets {most:.0f} L* "
            f"darker{'' if darker is None else f', not {darker:g}'}: ask for less."
        )
    title = f"Shade: darkened with {dyes.names[black]}"
    fall = min(_SHADE, 0.9 * most) if darker is None else darker
    return _along(dyes, title, start, path, start.lab[0] - fall, steps, hue, light)


def tone(
    dyes: DyeSet,
    recipe: Mapping[str, float] | str,
    steps: int = 5,
    *,
    least: float = 0.2,
    hue: HueSpace | None = None,
    light: Light | None = None,
) -> Series:
    """Greyed steps of a recipe: black or grey in, the base cut, lightness and hue held.

    The route of `subdue` that a black or grey dye makes. Raises as that does, and `DyemixError`
    where the shelf has no black or grey.
    """
    light = light or dyes.light
    _black(dyes, light)
    found = subdue(dyes, recipe, steps, least=least, hue=hue, light=light)
    route = next((r for r in found.routes if r.kind is RouteKind.GREY), None)
    if route is None:
        raise DyemixError(f"{found.start.recipe} holds the shelf's black or grey already.")
    return Series(
        f"Tone: greyed with {route.title.partition(': ')[2]}; lightness and {found.hue.value} hue "
        f"held.",
        found.start,
        route.steps,
        (f"This route {route.verdict}.", found.legend),
        out_of_range(dyes, route.steps),
        dyes.demo,
    )


def gradient(
    dyes: DyeSet,
    first: Mapping[str, float] | str,
    second: Mapping[str, float] | str,
    steps: int = 6,
    *,
    light: Light | None = None,
) -> Series:
    """From one recipe to another in `steps` steps of equal ΔE2000, both ends included.

    Every recipe is the two mixed, ``(1 − t) · first + t · second`` in % owf, with t so that each
    step looks as large as the next. Raises `RecipeError`, and `DyemixError` for a bad limit or
    two recipes of one colour.
    """
    if steps < 1:
        raise DyemixError("steps is 1 or more.")
    light = light or dyes.light
    ends = dyes.amounts(first), dyes.amounts(second)
    fine = np.linspace(0.0, 1.0, 20 * _POINTS + 1)
    labs = dyes.predict_many(_mixed(*ends, fine), light)
    if float(delta_e(labs[0], labs[-1])) < 0.1:
        raise DyemixError("the two recipes have the same colour: there is nothing between them.")
    length = np.concatenate([[0.0], np.cumsum(delta_e(labs[:-1], labs[1:]))])
    t = np.interp(np.linspace(0.0, length[-1], steps + 1), length, fine)
    for _ in range(200):
        labs = dyes.predict_many(_mixed(*ends, t), light)
        apart = delta_e(labs[:-1], labs[1:])
        if np.ptp(apart) < _EVEN * apart.mean():
            break
        length = np.concatenate([[0.0], np.cumsum(apart)])
        t = np.interp(np.linspace(0.0, length[-1], steps + 1), length, t)
    found = steps_of(dyes, labs[0], labs, _mixed(*ends, t), light)
    start = found[0].prediction
    return Series(
        f"From {start.recipe} to {found[-1].recipe} in {steps} even steps.",
        start,
        found,
        (
            f"Each is {apart.mean():.1f} ΔE2000 from the one before ({apart.min():.2f} to "
            f"{apart.max():.2f}).",
            legend(dyes, light),
        ),
        out_of_range(dyes, found),
        dyes.demo,
    )


def _mixed(first: Array, second: Array, t: Array) -> Array:
    """Amounts ``(N, D)`` of two recipes mixed, `t` ``(N,)`` of the second."""
    return np.outer(1.0 - t, first) + np.outer(t, second)


def _along(
    dyes: DyeSet,
    title: str,
    start: Prediction,
    path: Array,
    end: float,
    steps: int,
    hue: HueSpace | None,
    light: Light,
) -> Series:
    """Steps even in L* down or up to `end` along a path ``(P, D)``, in the hue of its start."""
    labs = dyes.predict_many(path, light)
    lightness = start.lab[0] + (end - start.lab[0]) * np.arange(1, steps + 1) / steps
    order = np.argsort(labs[:, 0])
    asked = np.stack([np.interp(lightness, labs[order, 0], labs[order, i]) for i in range(3)]).T
    space = hue or usual_hue(start.lab)
    held = "a grey, which has no hue to hold"
    if np.hypot(*start.lab[1:]) >= LEAST_CHROMA:
        held = f"{space.value} hue held"
        asked = of_hue(start.lab, lightness, np.hypot(*asked.T[1:]), space, light)
    amounts = _best(dyes, start, path[-1], asked, light)
    # Chroma is whatever the dyes give: what is asked of a step is its lightness and its hue.
    asked = _with_chroma(asked, dyes.predict_many(amounts, light))
    found = steps_of(dyes, start.lab, asked, amounts, light)
    return Series(
        f"{title}; {held}, L* {start.lab[0]:.0f} to {end:.0f} in {steps} steps.",
        start,
        found,
        (*_misses(found), legend(dyes, light)),
        out_of_range(dyes, found),
        dyes.demo,
    )


def _best(dyes: DyeSet, start: Prediction, last: Array, asked: Array, light: Light) -> Array:
    """Amounts ``(T, D)``: the dyes of the path, and one more where that reaches more steps."""
    own = tuple(np.flatnonzero(last))
    others = [i for i in range(len(dyes)) if last[i] == 0] if len(own) < 3 else []
    base = dyes.amounts(start.recipe)
    best: tuple[tuple[float, ...], Array] | None = None
    for sets in ([own], [(*own, i) for i in others]):
        if not sets:
            continue
        index = np.array(sets, dtype=np.intp)
        found = solve_series(dyes, base, index, asked, light, (HELD, _CHROMA, HELD))
        for j, members in enumerate(sets):
            amounts = np.zeros((len(asked), len(dyes)))
            amounts[:, np.array(members)] = found[:, j]
            labs = dyes.predict_many(amounts, light)
            off = difference(_with_chroma(asked, labs), labs)
            rank = (-float(reached(off).sum()), float(len(members)), float(np.abs(off).sum()))
            if best is None or rank < best[0]:
                best = (rank, amounts)
    assert best is not None
    return best[1]


def _with_chroma(asked: Array, labs: Array) -> Array:
    """Colours ``(N, 3)`` of the lightness and hue asked, with the chroma of `labs`."""
    own = np.maximum(np.hypot(*asked.T[1:]), 1e-9)
    ratio = np.hypot(*labs.T[1:]) / own
    return np.stack([asked[:, 0], asked[:, 1] * ratio, asked[:, 2] * ratio], axis=1)


def _misses(steps: tuple[Step, ...]) -> tuple[str, ...]:
    """What these dyes cannot hold, in words."""
    off = [i for i, step in enumerate(steps, 1) if not step.reached]
    if not off:
        return ()
    worst = max(abs(step.hue_off) for step in steps)
    return (
        f"~ Steps {', '.join(map(str, off))}: this shelf does not hold hue and lightness "
        f"there (hue off by up to {worst:.1f} ΔH*).",
    )


def _black(dyes: DyeSet, light: Light) -> int:
    """The darkest dye without colour of its own. Raises `DyemixError` where there is none."""
    middles = [middle_of(dyes, i, light) for i in range(len(dyes))]
    grey = [i for i, lab in enumerate(middles) if np.hypot(*lab[1:]) < GREY_CHROMA]
    if not grey:
        raise DyemixError(
            "this shelf has no black or grey: make the colour quieter by another route, with "
            "subdue (--let-down darkens it)."
        )
    return min(grey, key=lambda i: float(middles[i][0]))
