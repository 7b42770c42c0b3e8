"""Steps away from a recipe or a piece, and shade cards: what was asked, how it looks, how sure.

A series has one or more routes, and a route a step for every colour asked. A shade card holds
blends of two or three dyes in even parts, to pin real swatches by.
"""

from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress

import numpy as np

from dyemix.arrays import Array, Flags
from dyemix.colour.appearance import Miss
from dyemix.colour.colorimetry import AnyLight
from dyemix.dataset.recipe import Recipe, dye_names, format_amount
from dyemix.dataset.result import Result, Row, Value, colour_text
from dyemix.dataset.target import Target
from dyemix.errors import Choice, refuse, said
from dyemix.matching.limits import LEAST_DOSE, Measured
from dyemix.model.dyes import DyeSet
from dyemix.model.prediction import Predicted, Prediction

#: How far a step may stray from the L*, C* and hue (ΔH*) asked and still count as reached, in
#: CIELAB units: well under what an eye sees between two pieces of cloth.
NEAR = np.array([0.3, 1.0, 0.5])


class RouteKind(Choice):
    """How a colour is made quieter; the value is what the bench reads.

    >>> RouteKind("brown") is RouteKind.BROWN
    True
    """

    GREY = "black or grey"
    BROWN = "brown"
    COMPLEMENT = "complement"
    THIRD = "third primary"
    SWAP = "duller primary"


class Step(Predicted):
    """One step of a series.

    Attributes
    ----------
    prediction : recipe (% owf), colour and warnings.
    asked : ``(3,)`` CIELAB asked of it.
    off : ``(3,)`` ΔL*, ΔC* and ΔH* of the prediction from what was asked.
    from_start : ΔE2000 from the colour that the series sets out from.
    likely : mean ΔE2000 between what was asked and the pot.
    bound : nine pots in ten stay below this ΔE2000 from what was asked.
    slip : mean ΔE2000 that the usual slip in dosing each dye brings by itself.
    measured : the recipe rounded to a kit, where one was given.
    """

    asked: Array
    off: Array
    from_start: float
    likely: float
    bound: float
    slip: float
    measured: Measured | None = None

    @property
    def chroma(self) -> float:
        """C* of the prediction."""
        return float(np.hypot(*self.prediction.lab[1:]))

    @property
    def reached(self) -> bool:
        """Whether it is as asked, on paper: within `NEAR`."""
        return bool(reached(self.off))

    @property
    def short(self) -> str:
        """By how much it falls short of what was asked, and how."""
        return str(Miss.of(self.asked, self.prediction.lab))


class Route(Value):
    """One way to the colours asked, and its steps.

    Attributes
    ----------
    steps : one for every colour asked; those not reached show how near the route comes.
    kind, dye : how the colour is made quieter, and by which dye; None and "" in a series that has
        one way only.
    title : both, with the dye it stands in for and those that hold the hue.
    """

    steps: tuple[Step, ...]
    kind: RouteKind | None = None
    dye: str = ""
    title: str = ""

    @property
    def reached(self) -> int:
        """How many steps are reached, counted from the first."""
        return next((i for i, s in enumerate(self.steps) if not s.reached), len(self.steps))

    @property
    def verdict(self) -> str:
        """How far down the route goes."""
        n = self.reached
        if n == len(self.steps):
            return "reaches every step"
        where = f"after step {n} (C* {self.steps[n - 1].chroma:.0f})" if n else "before step 1"
        return f"runs out {where}: step {n + 1} is off by {self.steps[n].short}"

    def lines(self, measures: Callable[[Step], str] | None, detail: bool) -> Iterable[str]:
        """A table of the steps, its heading first; ``~`` marks one that was not reached."""
        # Of several routes, one step beyond what each reaches tells how it fails.
        steps = self.steps if detail or self.kind is None else self.steps[: self.reached + 1]
        width = max(len(str(step.recipe)) for step in steps)
        heading = f"    {'% owf':<{width}}  hex        L*    C*  likely"
        yield heading + "    ΔH*  start  within  slip" * detail
        for i, step in enumerate(steps, 1):
            p, mark = step.prediction, " " if step.reached else "~"
            row = f"{i:>2}{mark} {step.recipe!s:<{width}}  {p.hex}"
            shown = f"{p.lab[0]:4.1f}  {step.chroma:4.1f}  {step.likely:6.1f}"
            pot = f"{step.from_start:5.1f}  {step.bound:6.1f}  {step.slip:4.1f}"
            more = f"  {step.off[2]:+5.1f}  {pot}"
            yield f"{row}  {shown}{more * detail}"
            if measures and step.recipe:
                yield f"    {measures(step)}"

    def __str__(self) -> str:
        return f"{self.title}: {self.verdict}"


class Series(Result):
    """A colour in steps: quieter, a tint, a shade, a tone, a gradient.

    Attributes
    ----------
    title : what was made, and what was held.
    start : the recipe set out from; over a finished piece, the piece with no dye added.
    routes : the best of each kind first, then others; of some series there is one.
    piece : the piece that the recipes are dyed over, as read; None for recipes on the cloth.
    warnings : what is assumed, what it costs, where the shelf or the range of a dye runs out.
    dosing : the slip in dosing that `Step.slip` is for, as a share.
    """

    title: str
    start: Prediction
    routes: tuple[Route, ...]
    warnings: tuple[str, ...]
    dosing: float
    piece: Target | None = None
    demo: bool = False

    @property
    def steps(self) -> tuple[Step, ...]:
        """The steps of the first route."""
        return self.routes[0].steps

    @property
    def middle(self) -> int | None:
        """The step in the middle of those reached, else of all with dye, counted from 0."""
        dyed = [i for i, step in enumerate(self.steps) if step.recipe]
        some = [i for i in dyed if self.steps[i].reached] or dyed
        return some[len(some) // 2] if some else None

    @property
    def best(self) -> tuple[Route, ...]:
        """The best route of each kind, as in `routes`."""
        kinds = dict.fromkeys(route.kind for route in self.routes)
        return tuple(next(r for r in self.routes if r.kind is kind) for kind in kinds)

    @property
    def start_line(self) -> str:
        """What the series sets out from, in one line."""
        if self.piece is not None:
            return f"On {self.piece}"
        p = self.start
        colour = f"{colour_text(p.lab, p.light)}, {p.screen}"
        return f"From {p.recipe}  (% of dry cloth weight): {colour}"

    def safest(self, step: int) -> Route | None:
        """The route that reaches a step (counted from 0) and is least upset by a dosing slip."""
        able = [route for route in self.routes if route.reached > step]
        return min(able, key=lambda route: route.steps[step].slip, default=None)

    def _rows(self) -> Iterable[Row]:
        """One row a step of every route: what it is, its recipe and colour, how far it is off."""
        for route in self.routes:
            for i, step in enumerate(route.steps, 1):
                kind, p = route.kind.value if route.kind else "", step.prediction
                row = {"route": kind, "dye": route.dye, "step": i, **p.row, "reached": step.reached}
                row |= zip(("lightness_off", "chroma_off", "hue_off"), step.off, strict=True)
                row |= {"darker": p.lab[0] - self.start.lab[0]}
                row |= {n: getattr(step, n) for n in ("from_start", "likely", "bound", "slip")}
                yield row | {"measure": str(step.measured or "")}

    def _lines(
        self, measures: Callable[[Step], str] | None = None, about: str = "", detail: bool = False
    ) -> Iterable[str]:
        """This to be read; with what to `measure` of each step, `about` which stock that is.

        Of the best routes the first, and by name the others, which `detail` tells in full.
        """
        yield from (self.title, self.start_line, *self.warnings)
        shown = self.best if detail else self.best[:1]
        for route in shown:
            yield from ("", f"By {route}.") if route.kind else ()
            yield from route.lines(measures, detail)
        others = [f"By {route}." for route in self.best[len(shown) :]]
        yield from ("", "Other routes, with their recipes by --detail:", *others) if others else ()
        more = len(self.routes) - len(self.best)
        yield from ("", f"Further routes, in the table alone (--json): {more}.") if more else ()
        yield from filter(None, [about])
        legend = said("series.legend", light=self.start.light)
        legend += said("series.detail", dosing=100.0 * self.dosing) if detail else ""
        yield f"{legend}; ~, not reached."


def reached(off: Array) -> Flags:
    """Whether differences ``(..., 3)`` from what was asked count as reached: within `NEAR`."""
    return np.asarray(np.all(np.abs(off) <= NEAR, axis=-1))


def out_of_range(dyes: DyeSet, found: Series) -> Iterable[str]:
    """Which dyes leave the range of their swatches, at their worst, and which squares to dye."""
    steps = [step for route in found.best for step in route.steps]
    amounts = np.array([step.prediction.amounts for step in steps])
    least = np.where(amounts > 0, amounts, np.inf).min(axis=0)
    sides = ("paler", least, dyes.palest), ("deeper", amounts.max(axis=0), dyes.deepest)
    for i, (side, worst, edge) in enumerate(sides):
        if some := np.flatnonzero(dyes.span.beyond(worst)[i]).tolist():
            told = (f"{dyes.names[i]} {format_amount(worst[i])} ({edge[i]:g})" for i in some)
            yield said(f"series.{side}", ", ".join(told))


def too_small(start: Recipe, routes: Iterable[Route]) -> tuple[str, ...]:
    """Which dyes of a recipe some step holds too little of to measure."""
    recipes = [step.recipe for route in routes for step in route.steps[: route.reached]]
    least = [dye for dye in start if any(r.get(dye, 0.0) <= LEAST_DOSE for r in recipes)]
    return (said("series.trace", LEAST_DOSE, ", ".join(least)),) if least else ()


# Shade cards -------------------------------------------------------------------------------------

#: More blends than this are a book, not a card.
_MOST = 500
_PARTS = {4: "quarters", 10: "tenths"}


class Blend(Predicted):
    """One blend of a card: its name, where it stands (from 0), and its prediction."""

    name: str
    row: int
    column: int


class ShadeCard(Result):
    """Predicted blends of two or three dyes.

    Attributes
    ----------
    names : the dyes. Two make a row for every depth; three make a triangle, the first at the top.
    depths : % owf in all, one a row; of a triangle one.
    parts : into how many parts a blend is divided.
    blends : row by row.
    """

    names: tuple[str, ...]
    depths: tuple[float, ...]
    parts: int
    blends: tuple[Blend, ...]
    cloth: str = ""
    demo: bool = False

    @property
    def title(self) -> str:
        grid = "pair strip" if len(self.depths) == 1 else "depth by blend grid"
        kind = "three-dye triangle" if len(self.names) == 3 else grid
        parts, on = f"{self.parts} parts", f" on {self.cloth}" if self.cloth else ""
        parts, depths = _PARTS.get(self.parts, parts), ", ".join(f"{d:g}" for d in self.depths)
        names = ", ".join(self.names)
        return said("series.card", names, on, kind, parts, depths, len(self.blends))

    @property
    def warnings(self) -> tuple[str, ...]:
        """Which blends leave the range of the swatches."""
        odd = ", ".join(blend.name for blend in self.blends if blend.prediction.warnings)
        return (said("series.outside", odd),) if odd else ()

    def _rows(self) -> Iterable[Row]:
        """One row a blend: name, row, column, recipe and colour."""
        for b in self.blends:
            yield {"name": b.name, "row": b.row, "column": b.column, **b.prediction.row}

    def _lines(self) -> Iterable[str]:
        width, light = max(len(str(b.recipe)) for b in self.blends), self.blends[0].prediction.light
        yield from (self.title, f"     {'% owf':<{width}}  hex        L*    a*    b* ({light})")
        for b in self.blends:
            colour = f"{b.prediction.hex}  " + "{:5.1f} {:5.1f} {:5.1f}".format(*b.prediction.lab)
            yield f"{b.name:<4} {b.recipe!s:<{width}}  {colour}"
        yield from self.warnings


def shade_card(
    dyes: DyeSet, names: Sequence[str] | str, depth: float | Sequence[float] | str = 1.0, *,
    parts: int | None = None, light: AnyLight = None,
) -> ShadeCard:  # fmt: skip
    """Predict every blend of two or three dyes in even parts.

    Parameters
    ----------
    names : two dyes for a strip, three for a triangle (66 blends in tenths); or as people write
        them: ``lemon, navy``.
    depth : % owf in all; of two dyes several, as ``0.5, 1, 2``, make a row each.
    parts : into how many parts blends are divided: tenths, and quarters at several depths, by
        default.

    Raises `RecipeError` for a dye the shelf does not have, `DyemixError` for a bad limit.

    >>> card = shade_card(dyes, "lemon, navy", depth=1.0, parts=4)
    >>> [blend.name for blend in card.blends]
    ['A1', 'A2', 'A3', 'A4', 'A5']
    """
    chosen = dye_names(names)
    for name in chosen:
        dyes.index(name)
    several = len(set(chosen)) == len(chosen) and 2 <= len(chosen) <= 3
    refuse(not several, "series.two_or_three", ", ".join(chosen))
    words = depth.replace(",", " ").split() if isinstance(depth, str) else np.ravel(depth)
    levels = tuple[float, ...]()
    with suppress(ValueError):
        levels = tuple(map(float, words))
    sound = levels and all(0.0 < level < 100.0 for level in levels)
    refuse(not sound, f"{depth!r} is not a list of depths: % owf above 0, as '0.5, 1, 2'.")
    refuse(len(levels) > 1 and len(chosen) == 3, "series.one_depth")
    n = parts or (4 if len(levels) > 1 else 10)
    refuse(not 1 <= n <= 100, "parts are 1 to 100.")
    # Parts of a dye that is not there are none.
    places = [(r, c, d, (n - c, c, 0)) for r, d in enumerate(levels) for c in range(n + 1)]
    if len(chosen) == 3:
        rows = [(r, c) for r in range(n + 1) for c in range(r + 1)]
        places = [(r, c, levels[0], (n - r, r - c, c)) for r, c in rows]
    refuse(len(places) > _MOST, f"{len(places)} blends are more than a card holds ({_MOST}).")
    recipes = [
        Recipe({dye: depth * part / n for dye, part in zip(chosen, parts_of, strict=False)})
        for *_, depth, parts_of in places
    ]
    # A row's letters run from A to Z, then from AA.
    blends = [
        Blend(found, f"{'A' * (row // 26)}{chr(ord('A') + row % 26)}{column + 1}", row, column)
        for (row, column, *_), found in zip(places, dyes.predict(recipes, light), strict=True)
    ]
    cloth = (dyes.conditions or {}).get("cloth", "")
    return ShadeCard(chosen, levels, n, tuple(blends), cloth, dyes.demo)
