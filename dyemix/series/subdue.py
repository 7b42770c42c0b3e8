"""The same colour, quieter: a series at falling chroma by every route the shelf has.

Common practice: a little complement, black, brown or grey, a third primary, or a duller primary in
place of a clear one. Subdued must not just mean darker, so every step is solved whole, the base cut
so that lightness holds (or comes down by what is stated).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import accumulate, combinations, groupby
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.ciecam16 import VIEWING, HueSpace, Scale, lab_hue, quieter, usual_hue
from dyemix.colour.colorimetry import Light
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import DEMO_WARNING
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet, Prediction
from dyemix.series.steps import (
    Step,
    difference,
    frame_of,
    legend,
    out_of_range,
    reached,
    slips,
    solve_series,
    start_line,
    steps_of,
    table,
    whole_recipe,
)  # fmt: skip

if TYPE_CHECKING:
    import pandas as pd

# What tells the dyes apart, at the middle of their ladders, in CIELAB units and degrees; working
# values of ours.
GREY_CHROMA, BROWN_CHROMA, BROWN_HUES = 12.0, 30.0, (10.0, 100.0)
NEIGHBOUR, OPPOSITE = 45.0, 45.0
#: A duller dye has at most this share of the clear one's chroma at equal lightness.
DULLER = 0.95
#: Below this C* a colour has no hue to hold.
LEAST_CHROMA = 8.0


class RouteKind(Enum):
    """How a colour is made quieter; the value is what the bench reads."""

    GREY = "black or grey"
    BROWN = "brown"
    COMPLEMENT = "complement"
    THIRD = "third primary"
    SWAP = "duller primary"


@dataclass(frozen=True, eq=False)
class Route:
    """One way to make a colour quieter: the dye that does it, and the series.

    Attributes
    ----------
    kind, dye : the way, and the dye that takes the chroma away.
    replaces : the clear dye that a duller one stands in for, where it does.
    with_dyes : further dyes, that hold the hue.
    steps : one for every step asked; those not reached show how near the route comes.
    """

    kind: RouteKind
    dye: str
    replaces: str
    with_dyes: tuple[str, ...]
    steps: tuple[Step, ...]

    @property
    def reached(self) -> int:
        """How many steps are reached, counted from the first."""
        misses = [i for i, step in enumerate(self.steps) if not step.reached]
        return misses[0] if misses else len(self.steps)

    @property
    def slip(self) -> float:
        """Mean over the steps reached of the ΔE2000 that a dosing slip brings."""
        some = self.steps[: self.reached] or self.steps
        return float(np.mean([step.slip for step in some]))

    @property
    def title(self) -> str:
        text = self.dye if self.dye == self.kind.value else f"{self.kind.value}: {self.dye}"
        if self.replaces:
            text += f" for {self.replaces}"
        if self.with_dyes:
            text += f", with {' and '.join(self.with_dyes)} to hold the hue"
        return text

    @property
    def verdict(self) -> str:
        """How far down the route goes."""
        if self.reached == len(self.steps):
            return "reaches every step"
        step = self.steps[self.reached]
        held = (
            f"nearest ΔL* {step.lightness_off:+.1f}, ΔC* {step.chroma_off:+.1f}, "
            f"ΔH* {step.hue_off:+.1f}"
        )
        if self.reached:
            last = self.steps[self.reached - 1].chroma
            after = self.reached
            return f"runs out after step {after} (C* {last:.0f}); step {after + 1}: {held}"
        return f"runs out before step 1 ({held})"


@dataclass(frozen=True, eq=False)
class Subdued:
    """A recipe made quieter, by every route of the shelf; the least sensitive route first.

    Attributes
    ----------
    start : the recipe set out from.
    hue, scale : whose hue is held, and what falls.
    asked : ``(T, 3)`` CIELAB of the steps.
    routes : the best of each kind first (farthest down, then least upset by a slip), then others.
    kinds_missing : kinds of route for which this shelf has no dye.
    """

    start: Prediction
    hue: HueSpace
    scale: Scale
    asked: Array
    let_down: float
    routes: tuple[Route, ...]
    kinds_missing: tuple[RouteKind, ...]
    legend: str
    warnings: tuple[str, ...]
    demo: bool = False

    @property
    def best(self) -> tuple[Route, ...]:
        """The best route of each kind, as in `routes`."""
        return best_of_each(self.routes)

    @property
    def title(self) -> str:
        down = f"let down by {self.let_down:g} L*" if self.let_down else "held"
        chroma = [float(np.hypot(*lab[1:])) for lab in (self.start.lab, self.asked[-1])]
        viewing = (
            f" ({VIEWING})"
            if HueSpace.CIECAM16 is self.hue or self.scale is not Scale.CHROMA
            else ""
        )
        return (
            f"Quieter: lightness {down}, {self.hue.value} hue held, {self.scale.value} falling "
            f"(C* {chroma[0]:.0f} to {chroma[1]:.0f}) in {len(self.asked)} steps{viewing}."
        )

    def safest(self, step: int) -> Route | None:
        """The route that reaches a step (counted from 0) and is least upset by a dosing slip."""
        able = [route for route in self.routes if route.reached > step]
        return min(able, key=lambda route: route.steps[step].slip, default=None)

    @property
    def findings(self) -> tuple[str, ...]:
        """Which route is safest, and where the shelf runs out."""
        lines = []
        safest = [self.safest(i) for i in range(len(self.asked))]
        if safest[0]:
            spans = [(route, len(list(group))) for route, group in groupby(safest)]
            ends = list(accumulate(length for _, length in spans))
            parts = [
                f"{_span(end - length + 1, end)} {route.title}"
                for (route, length), end in zip(spans, ends, strict=True)
                if route
            ]
            lines.append(f"Least upset by a dosing slip: {'; '.join(parts)}.")
        if None in safest:
            i = safest.index(None)
            lines.append(
                f"The shelf runs out at step {i + 1}: no route gets down to "
                f"C* {np.hypot(*self.asked[i][1:]):.0f} at L* {self.asked[i][0]:.0f} in this hue."
            )
        if self.kinds_missing:
            kinds = ", ".join(kind.value for kind in self.kinds_missing)
            lines.append(f"No dye on this shelf for: {kinds}.")
        return tuple(lines)

    def to_frame(self) -> pd.DataFrame:
        """One row a step of every route: kind, dye, then the columns of `series.frame_of`."""
        import pandas as pd

        return pd.DataFrame(
            {"route": route.kind.value, "dye": route.dye, **row}
            for route in self.routes
            for row in frame_of(route.steps)
        )

    def __str__(self) -> str:
        lines = [DEMO_WARNING] if self.demo else []
        lines += [start_line(self.start), self.title, *self.findings]
        for route in self.best:
            lines += ["", f"By {route.title}: {route.verdict}.", *table(route.steps)]
        more = len(self.routes) - len(self.best)
        if more:
            lines += ["", f"{more} further routes are in the table (--json)."]
        return "\n".join([*lines, self.legend, "~ is not reached.", *self.warnings])


def subdue(
    dyes: DyeSet,
    recipe: Mapping[str, float] | str,
    steps: int = 5,
    *,
    least: float = 0.2,
    let_down: float = 0.0,
    hue: HueSpace | None = None,
    scale: Scale = Scale.CHROMA,
    max_dyes: int | None = None,
    light: Light | None = None,
) -> Subdued:
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

    Raises `RecipeError` for a dye the shelf does not have, `DyemixError` for a bad limit or a
    colour too grey to have a hue.
    """
    if steps < 1 or not 0.0 < least < 1.0 or not 0.0 <= let_down < 100.0:
        raise DyemixError(
            "steps is 1 or more, least lies between 0 and 1, let_down is 0 or more (in L*)."
        )
    parsed = Recipe.parse(recipe)
    light = light or dyes.light
    start = whole_recipe(dyes, parsed, light)
    if np.hypot(*start.lab[1:]) < LEAST_CHROMA:
        raise DyemixError(
            f"{parsed} has C* {np.hypot(*start.lab[1:]):.1f}: it is a grey already "
            f"(under {LEAST_CHROMA:g}), with no hue to hold."
        )
    most = max(len(parsed) + 1, 3) if max_dyes is None else max_dyes
    if most <= len(parsed):
        raise DyemixError(f"max_dyes is {most}: a route adds a dye to the {len(parsed)} there are.")
    hue = hue or usual_hue(start.lab)
    down = np.arange(1, steps + 1) / steps
    asked = quieter(
        start.lab, start.lab[0] - let_down * down, 1.0 - (1.0 - least) * down, hue, scale, light
    )
    if asked[-1, 0] < 0:
        raise DyemixError(
            f"let_down {let_down:g} is below black: the start has L* {asked[0, 0]:.0f}."
        )
    routes = _routes(dyes, parsed, start, asked, most, light)
    best = best_of_each(routes)
    return Subdued(
        start, hue, scale, asked, let_down, tuple(routes),
        tuple(kind for kind in RouteKind if kind not in {route.kind for route in best}),
        legend(dyes, light), out_of_range(dyes, [s for r in best for s in r.steps]), dyes.demo,
    )  # fmt: skip


def best_of_each(routes: Sequence[Route]) -> tuple[Route, ...]:
    """The first route of each kind."""
    first: dict[RouteKind, Route] = {}
    for route in routes:
        first.setdefault(route.kind, route)
    return tuple(first.values())


def _routes(
    dyes: DyeSet, recipe: Recipe, start: Prediction, asked: Array, most: int, light: Light
) -> list[Route]:
    """The best series for every dye that can make this recipe quieter; the best kind first."""
    base = dyes.amounts(recipe)
    own = tuple(np.flatnonzero(base))
    others = [i for i in range(len(dyes)) if base[i] == 0]
    kinds = {i: kind_of(dyes, i, recipe, start, light) for i in others}
    best: dict[int, tuple[tuple[float, ...], NDArray[np.intp], Array]] = {}
    for extra in range(1, most - len(own) + 1):
        sets = list(combinations(others, extra))
        if not sets:
            break
        index = np.array([own + added for added in sets], dtype=np.intp)
        found = solve_series(dyes, base, index, asked, light)
        full = np.zeros((len(asked), len(sets), len(dyes)))
        np.put_along_axis(full, np.broadcast_to(index, found.shape), found, axis=2)
        rows = full.reshape(-1, len(dyes))
        want = np.repeat(asked, len(sets), axis=0)
        off = difference(want, dyes.predict_many(rows, light))
        down = np.cumprod(reached(off).reshape(len(asked), -1), axis=0).sum(axis=0)
        miss = np.abs(off).sum(axis=1).reshape(len(asked), -1).mean(axis=0)
        slip = slips(dyes, rows, light).reshape(len(asked), -1).mean(axis=0)
        for j, added in enumerate(sets):
            dye = greying_dye(dyes, full[len(asked) // 2, j], added, start, light)
            rank = (-float(down[j]), float(extra) if down[j] else 0.0,
                    float(slip[j]) if down[j] == len(asked) else float(miss[j]))  # fmt: skip
            if dye not in best or rank < best[dye][0]:
                best[dye] = (rank, index[j], full[:, j])
    routes = []
    for dye, (_, index_of, amounts) in best.items():
        kind, replaces = kinds[dye]
        extra_names = tuple(
            dyes.names[i] for i in index_of if base[i] == 0 and i != dye and amounts[:, i].any()
        )
        routes.append(
            Route(
                kind,
                dyes.names[dye],
                replaces,
                extra_names,
                steps_of(dyes, start.lab, asked, amounts, light),
            )
        )
    routes.sort(key=lambda r: (-r.reached, r.slip))
    # A dye that takes no step down is no route, unless it is all there is of its kind.
    first = {kind: next((r for r in routes if r.kind is kind), None) for kind in RouteKind}
    return [r for r in routes if r.reached or r is first[r.kind]]


def _span(first: int, last: int) -> str:
    return f"step {first}," if first == last else f"steps {first} to {last},"


def greying_dye(
    dyes: DyeSet, amounts: Array, added: tuple[int, ...], start: Prediction, light: Light
) -> int:
    """The added dye without which amounts ``(D,)`` would have most chroma in the hue of `start`."""
    along = start.lab[1:] / np.hypot(*start.lab[1:])
    without = np.repeat(amounts[np.newaxis], len(added), axis=0)
    without[np.arange(len(added)), list(added)] = 0.0
    return added[int(np.argmax(dyes.predict_many(without, light)[:, 1:] @ along))]


def kind_of(
    dyes: DyeSet, dye: int, recipe: Recipe, start: Prediction, light: Light
) -> tuple[RouteKind, str]:
    """What adding a dye to a recipe is called, and which dye it stands in for, if any."""
    middle, ladder = _single(dyes, dye, light)
    chroma, hue = float(np.hypot(*middle[1:])), float(lab_hue(middle))
    if chroma < GREY_CHROMA:
        return RouteKind.GREY, ""
    if chroma < BROWN_CHROMA and BROWN_HUES[0] <= hue <= BROWN_HUES[1]:
        return RouteKind.BROWN, ""
    for name in recipe:
        clear, clear_ladder = _single(dyes, dyes.index(name), light)
        if _apart(hue, float(lab_hue(clear))) > NEIGHBOUR:
            continue
        lightness = max(middle[0], clear[0])
        if _chroma_at(ladder, lightness) < DULLER * _chroma_at(clear_ladder, lightness):
            return RouteKind.SWAP, name
    if _apart(hue, float(lab_hue(start.lab)) + 180.0) <= OPPOSITE:
        return RouteKind.COMPLEMENT, ""
    return RouteKind.THIRD, ""


def middle_of(dyes: DyeSet, dye: int, light: Light) -> Array:
    """CIELAB ``(3,)`` of one dye at the middle of its ladder."""
    return _single(dyes, dye, light)[0]


def _single(dyes: DyeSet, dye: int, light: Light) -> tuple[Array, Array]:
    """CIELAB of one dye at the middle of its ladder ``(3,)``, and along all of it ``(21, 3)``."""
    amounts = np.zeros((21, len(dyes)))
    amounts[:, dye] = np.geomspace(dyes.palest[dye], dyes.deepest[dye], 21)
    labs = dyes.predict_many(amounts, light)
    return labs[10], labs


def _chroma_at(ladder: Array, lightness: float) -> float:
    """C* of a dye at the depth where it has this L*."""
    order = np.argsort(ladder[:, 0])
    return float(np.interp(lightness, ladder[order, 0], np.hypot(*ladder[order].T[1:])))


def _apart(first: float, second: float) -> float:
    return abs((first - second + 180.0) % 360.0 - 180.0)
