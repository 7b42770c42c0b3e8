"""Tint and shade as the trade means them, and the steps between two recipes.

Tint: paler. Shade: darkened with black (in a dyehouse a shade is any colour). Each step is solved
whole, with the hue held, and not made by rule of thumb. A tone, greyed, is a way of `subdue`.
"""

from __future__ import annotations

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciecam16 import HueSpace, of_hue, usual_hue
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import Light
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet
from dyemix.series.search import LEAST_CHROMA, AnyRecipe, Free, Search
from dyemix.series.steps import Route, Series
from dyemix.series.subdue import black

#: Points of a path that a level is looked up on.
_POINTS = 200
#: A gradient is even when its steps differ by less than this share.
_EVEN = 1e-3
#: How much darker a shade gets at most by default, in L*.
_SHADE = 25.0


def tint(
    dyes: DyeSet,
    recipe: AnyRecipe,
    steps: int = 5,
    *,
    least: float = 0.1,
    hue: HueSpace | str | None = None,
    light: Light | str | None = None,
) -> Series:
    """Paler steps of a recipe: lightness rising evenly, hue held.

    `least` is the share of the depth at which the last step's lightness is taken, between 0 and
    1. Where its own dyes do not hold the hue (one dye alone drifts as it will), a further dye may
    help. Raises `RecipeError`, and `DyemixError` for a bad limit.

    >>> series = tint(dyes, "rose 2", steps=2)
    >>> bool(series.steps[1].prediction.lab[0] > series.start.lab[0])
    True
    """
    if steps < 1 or not 0.0 < least < 1.0:
        raise DyemixError("steps is 1 or more, least lies between 0 and 1.")
    search = Search.of(dyes, recipe, light, Free.CHROMA)
    path = np.geomspace(1.0, least, _POINTS)[:, np.newaxis] * dyes.amounts(recipe)
    return _along(search, "Tint: paler", path, float(search.colours(path)[-1, 0]), steps, hue)


def shade(
    dyes: DyeSet,
    recipe: AnyRecipe,
    steps: int = 5,
    *,
    darker: float | None = None,
    hue: HueSpace | str | None = None,
    light: Light | str | None = None,
) -> Series:
    """Steps of a recipe darkened with the shelf's black, L* falling evenly by `darker` in all.

    By default as far as 25 L*, or as the shelf's squares go. Raises `DyemixError` where the shelf
    has no black or grey, or cannot get so dark.

    >>> series = shade(dyes, "scarlet 1", steps=2)
    >>> bool(series.steps[1].prediction.lab[0] < series.start.lab[0])
    True
    """
    if steps < 1 or (darker is not None and darker <= 0):
        raise DyemixError("steps is 1 or more, darker is above 0 (in L*).")
    search = Search.of(dyes, recipe, light, Free.CHROMA)
    base, by, start = dyes.amounts(recipe), black(dyes, light), search.start.lab[0]
    path = np.tile(base, (_POINTS, 1))
    more = np.geomspace(1e-3, 1.0, _POINTS - 1) * (dyes.deepest[by] - base[by])
    path[1:, by] += np.maximum(more, 0.0)
    most = float(start - search.colours(path)[:, 0].min())
    if (darker is not None and darker > most) or most < 1.0:
        raise DyemixError(
            f"with {dyes.names[by]} to its deepest square this recipe gets {most:.0f} L* "
            f"darker{'' if darker is None else f', not {darker:g}'}: ask for less."
        )
    fall = min(_SHADE, 0.9 * most) if darker is None else darker
    title = f"Shade: darkened with {dyes.names[by]}"
    return _along(search, title, path, start - fall, steps, hue)


def gradient(
    dyes: DyeSet,
    first: AnyRecipe,
    second: AnyRecipe,
    steps: int = 6,
    *,
    light: Light | str | None = None,
) -> Series:
    """From one recipe to another in `steps` steps of equal ΔE2000, both ends included.

    Every recipe is the two mixed, ``(1 − t) · first + t · second`` in % owf, with t so that each
    step looks as large as the next. Raises `RecipeError`, and `DyemixError` for a bad limit or
    two recipes of one colour.

    >>> gradient(dyes, "lemon 1", "navy 2", steps=3).steps[0].recipe
    Recipe({'lemon': 1.0})
    """
    if steps < 1:
        raise DyemixError("steps is 1 or more.")
    ends = np.stack([dyes.amounts(first), dyes.amounts(second)])
    search = Search(dyes, dyes.predict(first, light))

    def mixed(t: Array) -> Array:
        return np.stack([1.0 - t, t], axis=1) @ ends

    if float(delta_e(*search.colours(ends))) < 0.1:
        raise DyemixError("the two recipes have the same colour: there is nothing between them.")
    even, t = np.linspace(0.0, 1.0, steps + 1), np.linspace(0.0, 1.0, 20 * _POINTS + 1)
    for _ in range(200):
        labs = search.colours(mixed(t))
        apart = delta_e(labs[:-1], labs[1:])
        if len(t) == len(even) and np.ptp(apart) < _EVEN * apart.mean():
            break
        length = np.concatenate([[0.0], np.cumsum(apart)])
        t = np.interp(even * length[-1], length, t)
    found = search.steps(labs, mixed(t))
    title = f"From {found[0].recipe} to {found[-1].recipe} in {steps} even steps."
    note = (
        f"Each is {apart.mean():.1f} ΔE2000 from the one before ({apart.min():.2f} to "
        f"{apart.max():.2f})."
    )
    return search.series(title, [Route(found)], [note])


def _along(
    search: Search, title: str, path: Array, end: float, steps: int, hue: HueSpace | str | None
) -> Series:
    """Steps even in L* to `end`, by the way of amounts ``(P, D)``, in the hue of the start.

    By the dyes of the path, and one more where that reaches more. Chroma is whatever the dyes give:
    what is asked of a step is its lightness and its hue.
    """
    start, labs = search.start, search.colours(path)
    levels = np.linspace(start.lab[0], end, steps + 1)[1:]
    order = np.argsort(labs[:, 0])
    asked = np.stack([np.interp(levels, labs[order, 0], labs[order, i]) for i in range(3)]).T
    space = HueSpace(hue) if hue else usual_hue(start.lab)
    held = "a grey, which has no hue to hold"
    if np.hypot(*start.lab[1:]) >= LEAST_CHROMA:
        held = f"{space.value} hue held"
        asked = of_hue(start.lab, levels, np.hypot(*asked.T[1:]), space, start.light)
    own = tuple(map(int, np.flatnonzero(path[-1])))
    others = [(i,) for i in range(path.shape[1]) if i not in own] if len(own) < 3 else []
    route = Route(search.steps(*search.best(own, ([()], others), asked)[0]))
    missed = [str(i) for i, step in enumerate(route.steps, 1) if not step.reached]
    note = (
        f"~ Steps {', '.join(missed)}: this shelf does not hold hue and lightness there (hue off "
        f"by up to {max(abs(step.off[2]) for step in route.steps):.1f} ΔH*)."
    )
    text = f"{title}; {held}, L* {start.lab[0]:.0f} to {end:.0f} in {steps} steps."
    return search.series(text, [route], [note] if missed else [])
