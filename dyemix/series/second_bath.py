"""A finished piece made quieter: a light second bath over it.

There is no base to cut, so the colour cannot get quieter without getting darker: each route is
solved for the chroma asked, hue held, with as little lightness lost as it allows.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciecam16 import HueSpace, of_hue, usual_hue
from dyemix.colour.colorimetry import Light, lab, screen_colour, smoothest_reflectance
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import DEMO_WARNING, Reading, Swatch
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet, Prediction
from dyemix.series.steps import (
    difference,
    frame_of,
    legend,
    out_of_range,
    reached,
    solve_series,
    steps_of,
    table,
)  # fmt: skip
from dyemix.series.subdue import LEAST_CHROMA, Route, best_of_each, greying_dye, kind_of

if TYPE_CHECKING:
    import pandas as pd

#: What lightness weighs beside chroma and hue: enough to settle what is free, and no more.
_LIGHTNESS = 0.02


@dataclass(frozen=True, eq=False)
class SecondBath:
    """Second baths that make a finished piece quieter.

    Attributes
    ----------
    piece : the piece as read.
    hue : whose hue is held.
    routes : the best of each kind first (farthest down, then least darkened), then others; recipes
        are of the second bath alone, % owf.
    notes : what is assumed about the piece.
    """

    piece: Target
    hue: HueSpace
    routes: tuple[Route, ...]
    legend: str
    notes: tuple[str, ...]
    warnings: tuple[str, ...]
    demo: bool = False

    @property
    def best(self) -> tuple[Route, ...]:
        """The best route of each kind."""
        return best_of_each(self.routes)

    def darker(self, route: Route) -> tuple[float, ...]:
        """ΔL* of each step of a route from the piece: below 0 is darker."""
        return tuple(float(s.prediction.lab[0] - self.piece.lab[0]) for s in route.steps)

    @property
    def findings(self) -> tuple[str, ...]:
        """What it costs in lightness, where it ends, and what to do first."""
        able = [route for route in self.routes if route.reached]
        if not able:
            return ("No second bath from this shelf makes this piece quieter with its hue held.",)
        route = able[0]
        cost = self.darker(route)
        last = route.reached - 1
        first = route.steps[0]
        lines = [
            "A second bath only adds dye: the piece cannot get quieter without getting darker. "
            f"With {route.dye}, which darkens least, step 1 takes {-cost[0]:.1f} off L*"
            + (f", step {last + 1} takes {-cost[last]:.1f}." if last else "."),
            f"Begin with the smallest bath, step 1: {first.recipe} "
            f"({first.recipe.total:.2g} % owf in all), on an offcut of this very piece; dye takes "
            "differently over dye than on white. Dry, iron and read it before the piece goes in. "
            "More can be added in a further bath, nothing taken out.",
        ]
        if route.reached < len(route.steps):
            lines.append(f"The shelf runs out: {route.title} {route.verdict}.")
        return tuple(lines)

    def to_frame(self) -> pd.DataFrame:
        """One row a step of every route: kind, dye, darker (ΔL*), then `series.frame_of`."""
        import pandas as pd

        return pd.DataFrame(
            {"route": route.kind.value, "dye": route.dye, "darker": down, **row}
            for route in self.routes
            for down, row in zip(self.darker(route), frame_of(route.steps), strict=True)
        )

    def __str__(self) -> str:
        lines = [DEMO_WARNING] if self.demo else []
        lines += [f"On {self.piece}", *self.notes, *self.findings]
        for route in self.best:
            lines += ["", f"By {route.title}: {route.verdict}.", *table(route.steps)]
        more = len(self.routes) - len(self.best)
        if more:
            lines += ["", f"{more} further routes are in the table (--json)."]
        return "\n".join([*lines, self.legend, "~ is not reached.", *self.warnings])


def subdue_on(
    dyes: DyeSet,
    piece: Reading | Swatch | Target | str,
    steps: int = 5,
    *,
    least: float = 0.4,
    hue: HueSpace | None = None,
    max_dyes: int = 2,
    light: Light | None = None,
) -> SecondBath:
    """Second baths over a finished piece that lower its chroma, evenly down, with its hue held.

    Parameters
    ----------
    piece : a reading of it; or its colour, as a target, a hex code or L* a* b*, which has no
        spectrum: the smoothest one stands in, and that is said.
    least : share of the chroma that the last step keeps, between 0 and 1.
    max_dyes : most dyes in the bath.

    Raises `TargetError` for a colour that cloth cannot have, `DyemixError` for a piece darker than
    the surface of cloth, or too grey to have a hue, and for a bad limit.
    """
    if steps < 1 or not 0.0 < least < 1.0 or max_dyes < 1:
        raise DyemixError("steps and max_dyes are 1 or more, least lies between 0 and 1.")
    light = light or dyes.light
    reflectance, notes = _reflectance(dyes, piece)
    known = dyes.scatter
    pot = float(np.sqrt(known.pot**2 + known.mixing**2 + known.second_bath**2))
    # Over dye every bath is a mix, of one dye too, and the piece was read with an error of its own.
    wider = replace(known, pot=pot, reading=2.0 * known.reading)
    over = replace(dyes.on(reflectance), scatter=wider)
    start = Prediction(Recipe(), reflectance, lab(reflectance, light), light,
                       screen_colour(reflectance), (), dyes.demo)  # fmt: skip
    chroma = float(np.hypot(*start.lab[1:]))
    if chroma < LEAST_CHROMA:
        raise DyemixError(f"this piece has C* {chroma:.1f}: it is a grey already, with no hue.")
    hue = hue or usual_hue(start.lab)
    wanted = chroma * (1.0 - (1.0 - least) * np.arange(1, steps + 1) / steps)
    routes = _routes(dyes, over, start, wanted, hue, max_dyes, light)
    named = piece if isinstance(piece, Target) else None
    name = named.name if named else piece if isinstance(piece, str) else "the piece as read"
    shown = [step for route in best_of_each(routes) for step in route.steps]
    return SecondBath(
        Target.of_reflectance(reflectance, light, name), hue, tuple(routes), legend(dyes, light),
        notes, out_of_range(dyes, shown), dyes.demo,
    )  # fmt: skip


def _reflectance(
    dyes: DyeSet, piece: Reading | Swatch | Target | str
) -> tuple[Array, tuple[str, ...]]:
    """Spectrum ``(B,)`` of the piece, and what had to be assumed for it."""
    rough = (
        "The piece was given as a colour, not a spectrum: the smoothest spectrum of that colour "
        "stands in. Read the piece to be surer.",
    )
    if isinstance(piece, Reading | Swatch):
        if piece.reflectance is None:
            raise DyemixError("this piece has not been read yet: a spectrum or L* a* b* is wanted.")
        return piece.reflectance, rough if piece.rough else ()
    target = Target.parse(piece) if isinstance(piece, str) else piece
    if target.reflectance is not None:
        return target.reflectance, ()
    target = target.under(dyes.light)
    assert target.light is not None
    return smoothest_reflectance(target.lab, target.light)[0], rough


def _routes(
    dyes: DyeSet,
    over: DyeSet,
    start: Prediction,
    chroma: Array,
    hue: HueSpace,
    max_dyes: int,
    light: Light,
) -> list[Route]:
    """The best series of every dye `over` the piece; on white (`dyes`) it is told what it is."""
    none = np.zeros(len(dyes))
    best: dict[int, tuple[tuple[float, ...], Array, Array, tuple[int, ...]]] = {}
    for size in range(1, min(max_dyes, len(dyes)) + 1):
        sets = list(combinations(range(len(dyes)), size))
        index = np.array(sets, dtype=np.intp)
        levels = np.full(len(chroma), start.lab[0])
        # The hue held may depend on the lightness, which is known only afterwards: two rounds.
        for _ in range(2):
            asked = of_hue(start.lab, levels, chroma, hue, light)
            asked[:, 0] = start.lab[0]
            found = solve_series(over, none, index, asked, light, (_LIGHTNESS, 1.0, 1.0))
            full = np.zeros((len(chroma), len(sets), len(dyes)))
            np.put_along_axis(full, np.broadcast_to(index, found.shape), found, axis=2)
            rows = full.reshape(-1, len(dyes))
            labs = over.predict_many(rows, light)
            want = np.repeat(asked, len(sets), axis=0)
            want[:, 0] = labs[:, 0]
            near = reached(difference(want, labs)).reshape(len(chroma), -1)
            lightness = labs[:, 0].reshape(len(chroma), -1)
            levels = np.where(near, lightness, -1.0).max(axis=1)
            levels = np.where(levels < 0.0, start.lab[0], levels)
        down = np.cumprod(near, axis=0).sum(axis=0)
        light_kept = lightness.mean(axis=0)
        for j, members in enumerate(sets):
            dye = greying_dye(over, full[len(chroma) // 2, j], members, start, light)
            # A further dye must save lightness worth seeing, or reach farther.
            rank = (-float(down[j]), size - 1.0 - float(light_kept[j]))
            if dye not in best or rank < best[dye][0]:
                best[dye] = (rank, want.reshape(len(chroma), -1, 3)[:, j], full[:, j], members)
    routes = []
    for dye, (_, asked_of, amounts, members) in best.items():
        kind, _ = kind_of(dyes, dye, Recipe(), start, light)
        others = tuple(dyes.names[i] for i in members if i != dye and amounts[:, i].any())
        steps = steps_of(over, start.lab, asked_of, amounts, light)
        routes.append(Route(kind, dyes.names[dye], "", others, steps))
    routes.sort(key=lambda r: (-r.reached, -np.mean([s.prediction.lab[0] for s in r.steps])))
    return [route for route in routes if route.reached] or routes[:1]
