"""The same colour, quieter, paler or darker, and the steps between two recipes.

Quieter is a series at falling chroma by every route the shelf has. Common practice: a little
complement, black, brown or grey, a third primary, or a duller primary in place of a clear one.
Subdued must not just mean darker, so every step is solved whole, the base cut so that lightness
holds (or comes down by what is stated). Over a finished piece there is no base to cut, and a bath
only adds: each route is solved for the chroma asked, hue held, with as little lightness lost as it
allows. Tint: paler. Tone: greyed. Shade: darkened with black (in a dyehouse a shade is any colour).

Every function takes, as `how`, the `light` of the answer (else that of the swatches), whose `hue`
is held (by default CIECAM16's from h_ab 220° to 320°, where lines of constant CIELAB hue bend,
CIELAB's elsewhere), and a `kit`, to which steps are rounded.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import combinations, groupby
from typing import Any

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.appearance import VIEWING, HueSpace, Scale, of_hue, quieter
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import AnyLight, smoothest_reflectance
from dyemix.dataset.recipe import OneRecipe, Recipe
from dyemix.dataset.target import AnyColour, Target
from dyemix.errors import refuse, said
from dyemix.matching.limits import Kit
from dyemix.model.dyes import DyeSet
from dyemix.series.search import LEAST_CHROMA, Free, Search, route_kinds
from dyemix.series.steps import Route, RouteKind, Series, too_small

#: Points of a path that a level is looked up on.
_POINTS = 200
#: A gradient is even when its steps differ by less than this share.
_EVEN = 1e-3
#: How much darker a shade gets at most, in L*, and the share of its depth that a tint keeps.
_SHADE, _PALEST = 25.0, 0.1


def subdue(
    dyes: DyeSet, recipe: OneRecipe, steps: int = 5, *, least: float = 0.2, let_down: float = 0.0,
    scale: Scale | str = Scale.CHROMA, max_dyes: int | None = None,
    only: RouteKind | str | None = None, **how: Any,
) -> Series:  # fmt: skip
    """A series of the same hue at falling chroma, by each route the shelf has.

    Parameters
    ----------
    recipe : the bright mix, % owf.
    steps : how many, evenly down.
    least : share of the chroma (or colourfulness) that the last step keeps, between 0 and 1.
    let_down : how much lower L* is at the last step, evenly down; 0 holds lightness.
    scale : what falls.
    max_dyes : most dyes in a recipe; by default one more than it has, and three at least: three
        amounts hold lightness, hue and chroma.
    only : the one kind of route to look for.
    how : `light`, `hue`, `kit`, as the module says.

    Raises `RecipeError` for a dye the shelf does not have, `DyemixError` for a bad limit, a colour
    too grey to have a hue, or a shelf without a dye to add.

    >>> series = subdue(dyes, "scarlet 1.2 + marigold 0.6", steps=3, only="complement")
    >>> len(series.steps)
    3
    """
    search = Search.of(dyes, recipe, Free.NOTHING, **how)
    start, kept = search.start, _kept(search, steps, least)
    space, scale, there = search.space, Scale(scale), len(start.recipe)
    only = None if only is None else RouteKind(only)
    most = max(there + 1, 3) if max_dyes is None else max_dyes
    refuse(most <= there, f"max_dyes is {most}: a route adds a dye to the {there} there are.")
    end = start.lab[0] - let_down
    refuse(not 0.0 <= end <= start.lab[0], "series.let_down", let_down, start.lab[0], end)
    levels = np.linspace(start.lab[0], end, steps + 1)[1:]
    asked = quieter(start.lab, levels, kept, space, scale, start.light)
    routes = _routes(dyes, search, asked, most, only)
    lacks = ("series.no_route", only.value) if only else ("series.no_other",)
    refuse(not routes, *lacks, start.recipe)
    viewing = f" ({VIEWING})" if space is HueSpace.CIECAM16 or scale is not Scale.CHROMA else ""
    lightness = f"let down by {let_down:g} L*" if let_down else "held"
    falls = np.hypot(*start.lab[1:]), np.hypot(*asked[-1, 1:]), steps
    title = said("series.quieter", lightness, space.value, scale.value, *falls, viewing)
    found = search.series(title, routes)
    small = too_small(start.recipe, found.best)
    return replace(found, warnings=(*_findings(dyes, found, asked, only), *small, *found.warnings))


def subdue_on(
    dyes: DyeSet, piece: AnyColour, steps: int = 5, *, least: float = 0.4, max_dyes: int = 2,
    light: AnyLight = None, **how: Any,
) -> Series:  # fmt: skip
    """Second baths over a finished piece that lower its chroma, evenly down, with its hue held.

    Parameters
    ----------
    piece : a reading of it; or its colour, as a target, a hex code or L* a* b*, which has no
        spectrum: the smoothest one stands in, and that is said.
    least : share of the chroma that the last step keeps, between 0 and 1.
    max_dyes : most dyes in the bath.
    light, how : as the module says; the light of the piece, where it states one, goes first.

    The recipes are of the second bath alone, % owf. Raises `TargetError` for a colour that cloth
    cannot have or a swatch not yet read, `DyemixError` for a piece darker than the surface of
    cloth, or too grey to have a hue, and for a bad limit.

    >>> len(subdue_on(dyes, "#ee6b4c", steps=2).steps)
    2
    """
    refuse(max_dyes < 1, "max_dyes is 1 or more.")
    target = Target.of(piece, dyes.light)
    spectrum, seen = target.reflectance, dyes.light_of(target)
    if spectrum is None:
        spectrum = smoothest_reflectance(target.lab, seen)[0]
    over = dyes.over(spectrum)
    start = over.predict(Recipe(), light or seen)
    search = Search(over, start, Free.LIGHTNESS, **how)
    kept, level = _kept(search, steps, least), np.full(steps, start.lab[0])
    asked = quieter(start.lab, level, kept, search.space, Scale.CHROMA, start.light)
    title = f"Quieter by a second bath: {search.space.value} hue held, in {steps} steps."
    shown = Target.of_spectrum(spectrum, start.light, target.name)
    found = search.series(title, _routes(dyes, search, asked, max_dyes))
    rough = () if target.reflectance is not None else (said("series.rough"),)
    return replace(found, piece=shown, warnings=(*rough, *_cost(found), *found.warnings))


def tone(dyes: DyeSet, recipe: OneRecipe, steps: int = 5, **how: Any) -> Series:
    """Greyed steps of a recipe: `subdue` by the route that the shelf's black or grey makes.

    >>> len(tone(dyes, "scarlet 1.2", steps=2).steps)
    2
    """
    found = subdue(dyes, recipe, steps, only=RouteKind.GREY, **how)
    return replace(found, title=found.title.replace("Quieter", "Tone", 1))


def tint(dyes: DyeSet, recipe: OneRecipe, steps: int = 5, **how: Any) -> Series:
    """Paler steps of a recipe: lightness rising evenly to that of a tenth of its depth, hue held.

    Where its own dyes do not hold the hue (one dye alone drifts as it will), a further dye may
    help. Raises `RecipeError`, and `DyemixError` for a bad limit.

    >>> series = tint(dyes, "rose 2", steps=2)
    >>> bool(series.steps[1].prediction.lab[0] > series.start.lab[0])
    True
    """
    search = Search.of(dyes, recipe, Free.CHROMA, **how)
    path = np.geomspace(1.0, _PALEST, _POINTS)[:, np.newaxis] * dyes.amounts(recipe)
    return _along(search, "Tint: paler", path, float(search.colours(path)[-1, 0]), steps)


def shade(dyes: DyeSet, recipe: OneRecipe, steps: int = 5, **how: Any) -> Series:
    """Steps of a recipe darkened with the shelf's black, L* falling evenly.

    By 25 L* in all, or as far as the shelf's squares go. Raises `DyemixError` where the shelf has
    no black or grey, or gets no darker, and for a bad limit.

    >>> series = shade(dyes, "scarlet 1", steps=2)
    >>> bool(series.steps[1].prediction.lab[0] < series.start.lab[0])
    True
    """
    search = Search.of(dyes, recipe, Free.CHROMA, **how)
    light, start = search.start.light, search.start.lab[0]
    grey, base = dyes.greys(light), dyes.amounts(recipe)
    refuse(not grey.any(), "series.no_black")
    # The darkest without colour of its own.
    by = int(np.argmin(np.where(grey, dyes.middles(light)[:, 0], np.inf)))
    path = np.tile(base, (_POINTS, 1))
    more = np.geomspace(1e-3, 1.0, _POINTS - 1) * (dyes.deepest[by] - base[by])
    path[1:, by] += np.maximum(more, 0.0)
    most = float(start - search.colours(path)[:, 0].min())
    refuse(most < 1.0, "series.no_darker", dyes.names[by])
    title, fall = f"Shade: darkened with {dyes.names[by]}", min(_SHADE, 0.9 * most)
    return _along(search, title, path, start - fall, steps)


def gradient(
    dyes: DyeSet, first: OneRecipe, second: OneRecipe, steps: int = 6, *, light: AnyLight = None,
    kit: Kit | None = None,
) -> Series:  # fmt: skip
    """From one recipe to another in `steps` steps of equal ΔE2000, both ends included.

    Every recipe is the two mixed, ``(1 − t) · first + t · second`` in % owf, with t so that each
    step looks as large as the next. Raises `RecipeError`, and `DyemixError` for a bad limit or
    two recipes of one colour.

    >>> gradient(dyes, "lemon 1", "navy 2", steps=3).steps[0].recipe
    Recipe({'lemon': 1.0})
    """
    refuse(steps < 1, "steps is 1 or more.")
    ends = np.stack([dyes.amounts(first), dyes.amounts(second)])
    search = Search(dyes, dyes.predict(first, light), kit=kit)

    def mixed(t: Array) -> Array:
        return np.stack([1.0 - t, t], axis=1) @ ends

    refuse(float(delta_e(*search.colours(ends))) < 0.1, "series.same")
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
    note = said("series.even", apart.mean(), apart.min(), apart.max())
    return search.series(title, [Route(found)], [note])


def _along(search: Search, title: str, path: Array, end: float, steps: int) -> Series:
    """Steps even in L* to `end`, by the way of amounts ``(P, D)``, in the hue of the start.

    By the dyes of the path, and one more where that reaches more. Chroma is whatever the dyes give:
    what is asked of a step is its lightness and its hue.
    """
    refuse(steps < 1, "steps is 1 or more.")
    start, labs = search.start, search.colours(path)
    levels = np.linspace(start.lab[0], end, steps + 1)[1:]
    order = np.argsort(labs[:, 0])
    asked = np.stack([np.interp(levels, labs[order, 0], labs[order, i]) for i in range(3)]).T
    held = "a grey, which has no hue to hold"
    if np.hypot(*start.lab[1:]) >= LEAST_CHROMA:
        held = f"{search.space.value} hue held"
        asked = of_hue(start.lab, levels, np.hypot(*asked.T[1:]), search.space, start.light)
    own = tuple(map(int, np.flatnonzero(path[-1])))
    others = [(i,) for i in range(path.shape[1]) if i not in own] if len(own) < 3 else []
    route = Route(search.steps(*search.best(own, [(), *others], asked)[0]))
    missed = ", ".join(str(i) for i, step in enumerate(route.steps, 1) if not step.reached)
    worst = max(abs(step.off[2]) for step in route.steps)
    text = f"{title}; {held}, L* {start.lab[0]:.0f} to {end:.0f} in {steps} steps."
    notes = [said("series.not_held", missed, worst)] if missed else []
    return search.series(text, [route], [*notes, *too_small(start.recipe, [route])])


def _kept(search: Search, steps: int, least: float) -> Array:
    """Shares ``(steps,)`` of the chroma that the steps keep, evenly down to the least.

    Raises `DyemixError` for a bad limit, and a colour too grey to have a hue.
    """
    refuse(steps < 1 or not 0.0 < least < 1.0, "steps is 1 or more, least lies between 0 and 1.")
    chroma = float(np.hypot(*search.start.lab[1:]))
    refuse(chroma < LEAST_CHROMA, "series.grey", chroma)
    return np.linspace(1.0, least, steps + 1)[1:]


def _routes(
    dyes: DyeSet, search: Search, asked: Array, most: int, only: RouteKind | None = None
) -> list[Route]:
    """The best series for every dye that makes the start quieter, best kind first.

    On white cloth (`dyes`) a dye is told what it is. `asked` ``(T, 3)`` is the CIELAB of the steps.
    """
    start, ground = search.start, search.dyes
    base = ground.amounts(start.recipe)
    own = tuple(map(int, np.flatnonzero(base)))
    kinds = {i: kind for i, kind in enumerate(route_kinds(dyes, start)) if base[i] == 0}
    leading = {i for i, (kind, _) in kinds.items() if only in (None, kind)}

    def greying(amounts: Array, added: tuple[int, ...]) -> int:
        """The added dye without which the colour would have most chroma in the hue held."""
        without = np.repeat(amounts[np.newaxis], len(added), axis=0)
        without[np.arange(len(added)), list(added)] = 0.0
        return added[int(np.argmax(search.colours(without)[:, 1:] @ start.lab[1:]))]

    sizes = range(1, most - len(own) + 1)
    added = [a for n in sizes for a in combinations(kinds, n) if leading & {*a}]
    best = search.best(own, added, asked, key=greying) if added else {}
    routes = []
    for dye, (want, amounts) in best.items():
        if dye in leading:
            (kind, replaces), name = kinds[dye], dyes.names[dye]
            title = name if name == kind.value else f"{kind.value}: {name}"
            others = [dyes.names[i] for i in kinds if i != dye and amounts[:, i].any()]
            title += f" for {replaces}" if replaces else ""
            title += f", with {' and '.join(others)} to hold the hue" if others else ""
            routes.append(Route(search.steps(want, amounts), kind, name, title))
    if search.free is Free.LIGHTNESS:
        routes.sort(key=lambda r: (-r.reached, -np.mean([s.prediction.lab[0] for s in r.steps])))
        return [route for route in routes if route.reached] or routes[:1]
    # Farthest first, then what a dosing slip upsets least over the steps reached.
    slip = {r.dye: np.mean([s.slip for s in r.steps[: r.reached] or r.steps]) for r in routes}
    routes.sort(key=lambda r: (-r.reached, slip[r.dye]))
    # A dye that takes no step down is no route, unless it is all there is of its kind.
    first = {kind: next(r for r in routes if r.kind is kind) for kind in {r.kind for r in routes}}
    return [r for r in routes if r.reached or r is first[r.kind]]


def _findings(dyes: DyeSet, found: Series, asked: Array, only: RouteKind | None) -> Iterable[str]:
    """Which route is safest, and where the shelf runs out."""
    safest = [route.title if (route := found.safest(i)) else "" for i in range(len(asked))]
    runs = [(title, [*steps]) for title, steps in groupby(range(len(asked)), safest.__getitem__)]
    parts = [f"{_span(steps)} {title}" for title, steps in runs if title]
    if parts:
        yield f"Least upset by a dosing slip: {'; '.join(parts)}."
    if "" in safest:
        i = safest.index("")
        yield said("series.runs_out", i + 1, np.hypot(*asked[i][1:]), asked[i][0])
    # A black that is in the recipe makes no route, but the shelf has it.
    kinds, own = route_kinds(dyes, found.start), dyes.amounts(found.start.recipe)
    there = {kinds[i][0] for i in np.flatnonzero(own)} & {RouteKind.GREY, RouteKind.BROWN}
    there |= {route.kind for route in found.best if route.kind}
    if missing := [kind.value for kind in RouteKind if kind not in there and not only]:
        yield f"No dye on this shelf for: {', '.join(missing)}."


def _span(steps: Sequence[int]) -> str:
    first, last = steps[0] + 1, steps[-1] + 1
    return f"step {first}," if first == last else f"steps {first} to {last},"


def _cost(found: Series) -> tuple[str, ...]:
    """What a second bath costs in lightness, and what to do first."""
    route = found.routes[0]
    if not route.reached:
        return ("No second bath from this shelf makes this piece quieter with its hue held.",)
    last, first = route.reached, route.steps[0].recipe
    cost = [found.start.lab[0] - step.prediction.lab[0] for step in route.steps]
    more = f", step {last} takes {cost[last - 1]:.1f}" if last > 1 else ""
    darker = said("series.darker", route.dye, cost[0], more)
    return darker, said("series.begin", first, first.total)
