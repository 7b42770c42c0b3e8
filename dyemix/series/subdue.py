"""The same colour, quieter: a series at falling chroma by every route the shelf has.

Common practice: a little complement, black, brown or grey, a third primary, or a duller primary in
place of a clear one. Subdued must not just mean darker, so every step is solved whole, the base cut
so that lightness holds (or comes down by what is stated). Over a finished piece there is no base to
cut, and a bath only adds: each route is solved for the chroma asked, hue held, with as little
lightness lost as it allows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations, groupby

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.ciecam16 import VIEWING, HueSpace, Scale, lab_hue, of_hue, quieter, usual_hue
from dyemix.colour.colorimetry import Light, smoothest_reflectance
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, Swatch
from dyemix.dataset.target import AnyColour, Target
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet, Prediction
from dyemix.series.search import LEAST_CHROMA, AnyRecipe, Free, Search
from dyemix.series.steps import Route, RouteKind, Series

# What tells the dyes apart, at the middle of their ladders, in CIELAB units and degrees; working
# values of ours.
GREY_CHROMA, BROWN_CHROMA, BROWN_HUES = 12.0, 30.0, (10.0, 100.0)
NEIGHBOUR = 45.0
#: A duller dye has at most this share of the clear one's chroma at equal lightness.
DULLER = 0.95
#: Where the middle of a ladder of depths stands.
LADDER_MIDDLE = 10


def subdue(
    dyes: DyeSet,
    recipe: AnyRecipe,
    steps: int = 5,
    *,
    least: float = 0.2,
    let_down: float = 0.0,
    hue: HueSpace | str | None = None,
    scale: Scale | str = Scale.CHROMA,
    max_dyes: int | None = None,
    light: Light | str | None = None,
    only: RouteKind | str | None = None,
) -> Series:
    """A series of the same hue at falling chroma, by each route the shelf has.

    Parameters
    ----------
    recipe : the bright mix, % owf.
    steps : how many, evenly down.
    least : share of the chroma (or colourfulness) that the last step keeps, between 0 and 1.
    let_down : how much lower L* is at the last step, evenly down; 0 holds lightness.
    hue : whose hue is held; by default CIECAM16's from h_ab 220° to 320°, where lines of constant
        CIELAB hue bend, CIELAB's elsewhere.
    scale : what falls.
    max_dyes : most dyes in a recipe; by default one more than it has, and three at least: three
        amounts hold lightness, hue and chroma.
    only : the one kind of route to look for.

    Raises `RecipeError` for a dye the shelf does not have, `DyemixError` for a bad limit, a colour
    too grey to have a hue, or a shelf without a dye to add.

    >>> series = subdue(dyes, "scarlet 1.2 + marigold 0.6", steps=3, only="complement")
    >>> len(series.steps)
    3
    """
    search = Search.of(dyes, recipe, light)
    start, kept = search.start, _kept(steps, least)
    space, scale = _hue(start, hue), Scale(scale)
    only = None if only is None else RouteKind(only)
    most = max(len(start.recipe) + 1, 3) if max_dyes is None else max_dyes
    if most <= (there := len(start.recipe)):
        raise DyemixError(f"max_dyes is {most}: a route adds a dye to the {there} there are.")
    end = start.lab[0] - let_down
    if not 0.0 <= end <= start.lab[0]:
        raise DyemixError(f"let_down {let_down:g} leads from L* {start.lab[0]:.0f} to {end:.0f}.")
    levels = np.linspace(start.lab[0], end, steps + 1)[1:]
    asked = quieter(start.lab, levels, kept, space, scale, start.light)
    routes = _routes(dyes, search, asked, most, space, only)
    if not routes:
        raise DyemixError(
            f"this shelf has no {only.value if only else 'other dye'} to add to {start.recipe}: "
            "make it quieter by another route, with subdue (--let-down darkens it)."
        )
    viewing = f" ({VIEWING})" if space is HueSpace.CIECAM16 or scale is not Scale.CHROMA else ""
    title = (
        f"Quieter: lightness {f'let down by {let_down:g} L*' if let_down else 'held'}, "
        f"{space.value} hue held, {scale.value} falling (C* {np.hypot(*start.lab[1:]):.0f} to "
        f"{np.hypot(*asked[-1, 1:]):.0f}) in {steps} steps{viewing}."
    )
    found = search.series(title, routes)
    return replace(found, warnings=(*_findings(dyes, found, asked, only), *found.warnings))


def subdue_on(
    dyes: DyeSet,
    piece: AnyColour,
    steps: int = 5,
    *,
    least: float = 0.4,
    hue: HueSpace | str | None = None,
    max_dyes: int = 2,
    light: Light | str | None = None,
) -> Series:
    """Second baths over a finished piece that lower its chroma, evenly down, with its hue held.

    Parameters
    ----------
    piece : a reading of it; or its colour, as a target, a hex code or L* a* b*, which has no
        spectrum: the smoothest one stands in, and that is said.
    least : share of the chroma that the last step keeps, between 0 and 1.
    max_dyes : most dyes in the bath.
    light : by default that of the piece where it states one, else that of the dyes.

    The recipes are of the second bath alone, % owf. Raises `TargetError` for a colour that cloth
    cannot have or a swatch not yet read, `DyemixError` for a piece darker than the surface of
    cloth, or too grey to have a hue, and for a bad limit.

    >>> len(subdue_on(dyes, "#ee6b4c", steps=2).steps)
    2
    """
    kept = _kept(steps, least)
    if max_dyes < 1:
        raise DyemixError("max_dyes is 1 or more.")
    if isinstance(piece, Reading | Swatch):
        target = replace(Target.of(piece, dyes.light_of(light)), name="the piece as read")
    else:
        target = Target.of(piece)
    target = target.under(dyes.light)
    assert target.light is not None
    said, spectrum = [], target.reflectance
    if spectrum is None:
        spectrum = smoothest_reflectance(target.lab, target.light)[0]
        said.append(
            "The piece was given as a colour, not a spectrum: the smoothest spectrum of that "
            "colour stands in. Read the piece to be surer."
        )
    known = dyes.scatter
    pot = float(np.hypot(known.pot, known.second_bath))
    # The piece that is dyed over was read with an error of its own.
    wider = replace(known, pot=pot, reading=2.0 * known.reading)
    over = replace(dyes.on(spectrum), scatter=wider)
    start = over.predict(Recipe(), light or target.light)
    search = Search(over, start, Free.LIGHTNESS)
    space = _hue(start, hue)
    asked = quieter(start.lab, np.full(steps, start.lab[0]), kept, space, Scale.CHROMA, start.light)
    routes = _routes(dyes, search, asked, max_dyes, space)
    title = f"Quieter by a second bath: {space.value} hue held, in {steps} steps."
    shown = Target.of_reflectance(spectrum, start.light, target.name)
    found = replace(search.series(title, routes), piece=shown)
    return replace(found, warnings=(*said, *_cost(found), *found.warnings))


def tone(
    dyes: DyeSet,
    recipe: AnyRecipe,
    steps: int = 5,
    *,
    least: float = 0.2,
    hue: HueSpace | str | None = None,
    light: Light | str | None = None,
) -> Series:
    """Greyed steps of a recipe: `subdue` by the route that the shelf's black or grey makes.

    >>> len(tone(dyes, "scarlet 1.2", steps=2).steps)
    2
    """
    found = subdue(dyes, recipe, steps, least=least, hue=hue, light=light, only=RouteKind.GREY)
    return replace(found, title=found.title.replace("Quieter", "Tone", 1))


def _kept(steps: int, least: float) -> Array:
    """Shares ``(steps,)`` of the chroma that the steps keep, evenly down to the least."""
    if steps < 1 or not 0.0 < least < 1.0:
        raise DyemixError("steps is 1 or more, least lies between 0 and 1.")
    return np.linspace(1.0, least, steps + 1)[1:]


def _hue(start: Prediction, hue: HueSpace | str | None) -> HueSpace:
    """The space whose hue to hold. Raises `DyemixError` for a colour too grey to have one."""
    chroma = float(np.hypot(*start.lab[1:]))
    if chroma < LEAST_CHROMA:
        raise DyemixError(
            f"this colour (C* {chroma:.1f}) is a grey already: it has no hue to hold."
        )
    return HueSpace(hue) if hue else usual_hue(start.lab)


def _routes(
    dyes: DyeSet,
    search: Search,
    asked: Array,
    most: int,
    hue: HueSpace,
    only: RouteKind | None = None,
) -> list[Route]:
    """The best series for every dye that makes the start quieter, best kind first.

    On white cloth (`dyes`) a dye is told what it is. `asked` ``(T, 3)`` is the CIELAB of the steps.
    """
    start, ground = search.start, search.dyes
    base = ground.amounts(start.recipe)
    own = tuple(map(int, np.flatnonzero(base)))
    kinds = {i: kind for i, kind in enumerate(_kinds(dyes, start)) if base[i] == 0}
    leading = {i for i, (kind, _) in kinds.items() if only in (None, kind)}

    def greying(amounts: Array, added: tuple[int, ...]) -> int:
        """The added dye without which the colour would have most chroma in the hue held."""
        without = np.repeat(amounts[np.newaxis], len(added), axis=0)
        without[np.arange(len(added)), list(added)] = 0.0
        return added[int(np.argmax(search.colours(without)[:, 1:] @ start.lab[1:]))]

    def asked_at(levels: Array) -> Array:
        out = of_hue(start.lab, levels, np.hypot(*asked.T[1:]), hue, start.light)
        out[:, 0] = start.lab[0]
        return out

    bends = search.free is Free.LIGHTNESS and hue is HueSpace.CIECAM16
    sizes = range(1, most - len(own) + 1)
    added = ([a for a in combinations(kinds, n) if leading & set(a)] for n in sizes)
    best = search.best(own, added, asked, key=greying, hue=asked_at if bends else None)
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
    routes.sort(key=lambda r: (-r.reached, r.slip))
    # A dye that takes no step down is no route, unless it is all there is of its kind.
    first = {kind: next(r for r in routes if r.kind is kind) for kind in {r.kind for r in routes}}
    return [r for r in routes if r.reached or r is first[r.kind]]


def _findings(dyes: DyeSet, found: Series, asked: Array, only: RouteKind | None) -> tuple[str, ...]:
    """Which route is safest, and where the shelf runs out."""
    lines = []
    safest = [route.title if (route := found.safest(i)) else "" for i in range(len(asked))]
    runs = groupby(range(1, len(asked) + 1), lambda i: safest[i - 1])
    parts = [(_span([*steps]), title) for title, steps in runs if title]
    if parts:
        words = "; ".join(" ".join(part) for part in parts)
        lines.append(f"Least upset by a dosing slip: {words}.")
    if "" in safest:
        i = safest.index("")
        lines.append(
            f"The shelf runs out at step {i + 1}: no route gets down to "
            f"C* {np.hypot(*asked[i][1:]):.0f} at L* {asked[i][0]:.0f} in this hue."
        )
    # A black that is in the recipe makes no route, but the shelf has it.
    kinds, own = _kinds(dyes, found.start), dyes.amounts(found.start.recipe)
    there = {kinds[i][0] for i in np.flatnonzero(own)} & {RouteKind.GREY, RouteKind.BROWN}
    there |= {route.kind for route in found.best if route.kind}
    if missing := [kind.value for kind in RouteKind if kind not in there and not only]:
        lines.append(f"No dye on this shelf for: {', '.join(missing)}.")
    return tuple(lines)


def _span(steps: Sequence[int]) -> str:
    return f"steps {steps[0]} to {steps[-1]}," if len(steps) > 1 else f"step {steps[0]},"


def _cost(found: Series) -> tuple[str, ...]:
    """What a second bath costs in lightness, where it ends, and what to do first."""
    route = found.routes[0]
    if not route.reached:
        return ("No second bath from this shelf makes this piece quieter with its hue held.",)
    last, first = route.reached - 1, route.steps[0]
    cost = [found.start.lab[0] - step.prediction.lab[0] for step in route.steps]
    lines = [
        "A second bath only adds dye: the piece cannot get quieter without getting darker. "
        f"With {route.dye}, which darkens least, step 1 takes {cost[0]:.1f} off L*"
        + (f", step {last + 1} takes {cost[last]:.1f}." if last else "."),
        f"Begin with the smallest bath, step 1: {first.recipe} "
        f"({first.recipe.total:.2g} % owf in all), on an offcut of this very piece; dye takes "
        "differently over dye than on white. Dry, iron and read it before the piece goes in. "
        "More can be added in a further bath, nothing taken out.",
    ]
    if route.reached < len(route.steps):
        lines.append(f"The shelf runs out: {route.title} {route.verdict}.")
    return tuple(lines)


def _kinds(dyes: DyeSet, start: Prediction) -> list[tuple[RouteKind, str]]:
    """What adding each dye to a recipe is called, and which dye it stands in for, if any."""
    along = ladders(dyes, start.light)
    chroma, hue = np.hypot(*along[:, LADDER_MIDDLE, 1:].T), lab_hue(along[:, LADDER_MIDDLE])
    brown = (chroma < BROWN_CHROMA) & (hue >= BROWN_HUES[0]) & (hue <= BROWN_HUES[1])
    own = [dyes.index(name) for name in start.recipe]
    turn = hue[:, np.newaxis] - np.append(hue[own], lab_hue(start.lab) + 180.0)
    near = np.abs((turn + 180.0) % 360.0 - 180.0) <= NEIGHBOUR
    out = []
    for i, ladder in enumerate(along):
        clear = [j for j, beside in zip(own, near[i], strict=False) if beside]
        duller = [dyes.names[j] for j in clear if _duller(ladder, along[j])]
        choices = (
            (chroma[i] < GREY_CHROMA, RouteKind.GREY),
            (brown[i], RouteKind.BROWN),
            (bool(duller), RouteKind.SWAP),
            (near[i, -1], RouteKind.COMPLEMENT),
            (True, RouteKind.THIRD),
        )
        kind = next(kind for holds, kind in choices if holds)
        out.append((kind, duller[0] if kind is RouteKind.SWAP else ""))
    return out


def black(dyes: DyeSet, light: Light | str | None) -> int:
    """The darkest dye without colour of its own. Raises `DyemixError` where there is none."""
    seen = dyes.light_of(light)
    grey = greys(dyes, seen)
    if not grey.any():
        raise DyemixError(
            "this shelf has no black or grey: make the colour quieter by another route, with "
            "subdue (--let-down darkens it)."
        )
    lightness = ladders(dyes, seen)[:, LADDER_MIDDLE, 0]
    return int(np.argmin(np.where(grey, lightness, np.inf)))


def greys(dyes: DyeSet, light: Light | None = None) -> NDArray[np.bool_]:
    """Which dyes ``(D,)`` have no colour of their own at the middle of their ladders."""
    middles = ladders(dyes, dyes.light_of(light))[:, LADDER_MIDDLE]
    return np.asarray(np.hypot(*middles[:, 1:].T) < GREY_CHROMA)


def ladders(dyes: DyeSet, light: Light) -> Array:
    """CIELAB ``(D, 21, 3)`` of each dye alone, from its palest swatch to its deepest."""
    depths = np.geomspace(dyes.palest, dyes.deepest, 2 * LADDER_MIDDLE + 1, axis=1)
    return dyes.colours(depths[:, :, np.newaxis] * np.eye(len(dyes))[:, np.newaxis], light)


def _duller(ladder: Array, clear: Array) -> bool:
    """Whether a dye has clearly less chroma than another, at the depths of one lightness."""
    level = max(ladder[LADDER_MIDDLE, 0], clear[LADDER_MIDDLE, 0])
    chroma = [
        np.interp(level, labs[::-1, 0], np.hypot(*labs[::-1, 1:].T)) for labs in (ladder, clear)
    ]
    return bool(chroma[0] < DULLER * chroma[1])
