"""The search behind every series: which of many sets of dyes leads best to the colours asked.

A part of the colours may be left free: a tint has the chroma that its lightness brings, a second
bath the lightness that its chroma costs.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from typing import Any, Self

import numpy as np

from dyemix.arrays import Array, Flags, Indices
from dyemix.colour.appearance import HueSpace, difference, lab_hue, of_hue, usual_hue
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import AnyLight
from dyemix.dataset.recipe import OneRecipe, one_recipe
from dyemix.errors import refuse
from dyemix.matching.limits import LEAST_DOSE, Kit, measured
from dyemix.matching.subsets import Found, Problem
from dyemix.model.dyes import DyeSet
from dyemix.model.least_squares import Residual
from dyemix.model.mixtures import Index
from dyemix.model.prediction import Prediction
from dyemix.model.uncertainty import likely
from dyemix.series.steps import Route, RouteKind, Series, Step, out_of_range, reached

#: Below this C* a colour has no hue to hold.
LEAST_CHROMA = 8.0
#: A solution sets out from the base, and from this share of the most of each added dye.
_LITTLE = 0.01
#: How much a change of an amount by its whole self weighs beside ΔE2000.
_PULL = 0.03

# What tells the dyes apart, at the middle of their ladders, in CIELAB units and degrees; working
# values of ours.
BROWN_CHROMA, BROWN_HUES, NEIGHBOUR = 30.0, (10.0, 100.0), 45.0
#: A duller dye has at most this share of the clear one's chroma at equal lightness.
DULLER = 0.95


class Free(Enum):
    """What a series leaves free; the value is what the parts of ΔE2000 weigh in its search.

    Lightness and hue are what a series promises; chroma gives way first where not all three can be,
    by the weights that reach most steps of the bright mixes of two simulated workshops.
    What is free still weighs a little: enough to settle what nothing else does, and no more.
    """

    NOTHING = (3.0, 2.0, 3.0)
    CHROMA = (3.0, 0.1, 3.0)
    LIGHTNESS = (0.02, 2.0, 2.0)


@dataclass(frozen=True, eq=False)
class Search:
    """Dyes on white cloth or on a finished piece, the recipe to set out from, and what is free.

    `hue` is whose hue is held, else what suits the colour; `kit` what steps are rounded to.
    """

    dyes: DyeSet
    start: Prediction
    free: Free = Free.NOTHING
    hue: HueSpace | str | None = None
    kit: Kit | None = None

    @classmethod
    def of(
        cls, dyes: DyeSet, recipe: OneRecipe, free: Free, light: AnyLight = None, **how: Any
    ) -> Self:
        """A search from a recipe. Raises `RecipeError`, and `DyemixError` for undyed cloth."""
        start = dyes.predict(one_recipe(recipe), light)
        refuse(not start.recipe, "series.undyed")
        return cls(dyes, start, free, **how)

    @property
    def space(self) -> HueSpace:
        """The space whose hue is held."""
        return HueSpace(self.hue) if self.hue else usual_hue(self.start.lab)

    def colours(self, amounts: Array) -> Array:
        """CIELAB ``(..., 3)`` of amounts ``(..., D)``, two dimensions at least."""
        return self.dyes.colours(amounts, self.start.light)

    def predicted(self, amounts: Array) -> tuple[Prediction, Array]:
        """What amounts ``(N, D)`` look like, and the mean ΔE2000 ``(N,)`` that the usual slip in
        dosing each dye brings by itself.
        """
        found = self.dyes.predict_many(amounts, self.start.light)
        return found, likely(found.lab, found.lab, found.causes.dosing, found.freedom).mean

    def steps(self, asked: Array, amounts: Array) -> tuple[Step, ...]:
        """Amounts ``(N, D)`` as steps towards the CIELAB asked ``(N, 3)``."""
        dyes, kit, light = self.dyes, self.kit, self.start.light
        found, slips = self.predicted(amounts)
        pots, off = found.in_pot(asked), difference(asked, found.lab)
        figures = (delta_e(self.start.lab, found.lab), pots.mean, pots.bound, slips)
        pairs = zip(found, asked, strict=True)
        doses = [measured(dyes, p.recipe, kit, lab, light) if kit else None for p, lab in pairs]
        rows = zip(found, asked, off, *(f.tolist() for f in figures), doses, strict=True)
        return tuple(Step(*row) for row in rows)

    def series(self, title: str, routes: Sequence[Route], said: Sequence[str] = ()) -> Series:
        """The series of these routes, with what is `said` and where it leaves its swatches."""
        what = title, self.start, tuple(routes), (), self.dyes.scatter.dosing
        found = Series(*what, demo=self.dyes.demo)
        return replace(found, warnings=(*said, *out_of_range(self.dyes, found)))

    def best(
        self, own: tuple[int, ...], added: Sequence[tuple[int, ...]], asked: Array, *,
        key: Callable[[Array, tuple[int, ...]], int] = lambda amounts, more: 0,
    ) -> dict[int, tuple[Array, Array]]:  # fmt: skip
        """For every key, what was asked ``(T, 3)`` and the amounts ``(T, D)`` of its best set.

        Parameters
        ----------
        own : the dyes that are in every set.
        added : those that each set adds to them, the fewest first.
        key : what a set counts as, by its amounts ``(D,)`` at the middle step and what it adds.
        """
        used, start = np.zeros((len(added), len(self.dyes)), dtype=bool), self.start
        for row, more in zip(used, added, strict=True):
            row[[*own, *more]] = True
        amounts, want, labs = self.solve(used, asked)
        if self.free is Free.LIGHTNESS and self.space is HueSpace.CIECAM16:
            # Such a hue depends on the lightness, which is known only now: once more.
            near = np.where(reached(difference(want, labs)), labs[..., 0], -1.0).max(axis=1)
            levels, chroma = np.where(near < 0.0, start.lab[0], near), np.hypot(*asked.T[1:])
            again = of_hue(start.lab, levels, chroma, self.space, start.light)
            again[:, 0] = start.lab[0]
            amounts, want, labs = self.solve(used, again)
        best: dict[int, tuple[Array, Array]] = {}
        for j in self._ranked(amounts, want, labs, np.array([*map(len, added)])):
            kind = key(amounts[len(asked) // 2, j], added[j])
            best.setdefault(kind, (want[:, j], amounts[:, j]))
        return best

    def _ranked(self, amounts: Array, want: Array, labs: Array, extra: Indices) -> Indices:
        """The N sets of `extra` added dyes, the best first; arrays are of `solve`.

        Farthest down first. Then, where lightness is free, the least darkened: a further dye must
        save lightness worth seeing. Else fewest dyes, then what a slip in dosing upsets least, or
        what comes nearest where a step is missed.
        """
        off = difference(want, labs)
        down = np.cumprod(reached(off), axis=0).sum(axis=0)
        if self.free is Free.LIGHTNESS:
            return np.lexsort((extra - labs[..., 0].mean(axis=0), -down))
        _, slips = self.predicted(amounts.reshape(-1, len(self.dyes)))
        slip, miss = slips.reshape(labs.shape[:2]), np.abs(off).sum(axis=2)
        rest = np.where(down == len(want), slip.mean(axis=0), miss.mean(axis=0))
        return np.lexsort((rest, extra * (down > 0), -down))

    def solve(self, used: Flags, asked: Array) -> tuple[Array, Array, Array]:
        """Amounts of N sets of dyes, `used` ``(N, D)``, nearest to T colours `asked` ``(T, 3)``.

        No step holds what nobody can measure: such a dye is left out or held at `LEAST_DOSE`,
        whichever is nearer, and the others are solved again.

        The parts of ΔE2000 count by the weights of `free`. More than three amounts leave a
        direction free: a slight pull back to the recipe settles it, the same from step to step, so
        that a route has no jumps. Every set sets out from the base, with a little of each added
        dye.

        Returns amounts ``(T, N, D)`` in % owf, the CIELAB asked ``(T, N, 3)``, what was free in it
        as it came out, and the CIELAB ``(T, N, 3)`` that came out.
        """
        base, top = self.start.amounts, self.dyes.deepest
        at, of = (each.ravel() for each in np.indices((len(asked), len(used))))
        first = np.tile(np.where(base > 0.0, base, _LITTLE * top), (len(of), 1))
        pull = _PULL / np.where(base > 0.0, base, top)
        problem = Problem.of(self.dyes, asked, self.start.light, len(self.dyes))

        def settled(some: Found, low: Array, high: Array) -> Found:
            def pulled(index: Index) -> Residual:
                goal = problem.weighed(some.which, self.free.value)
                down, back, home = problem.blending.towards(goal, index), pull[index], base[index]

                def residual(x: Array, rows: Indices) -> tuple[Array, Array]:
                    (r, slope), away = down(x, rows), back[:, rows]
                    more = away * (x - home[:, rows]), np.eye(len(x))[..., np.newaxis] * away
                    return np.concatenate([r, more[0]]), np.concatenate([slope, more[1]])

                return residual

            return replace(problem, lower=low, upper=high).descend(some, 400, 1e-10, pulled)

        found = settled(Found.of(used[of], first, at), 0.0 * top, top)
        x, low, high = found.amounts, np.zeros_like(found.amounts), np.where(found.used, top, 0.0)
        # One by one, as another dye may become a trace by it.
        while (some := np.flatnonzero((traces := (x > low) & (x < LEAST_DOSE)).any(axis=1))).size:
            low = np.where(traces & (x >= LEAST_DOSE / 2), LEAST_DOSE, low)
            high = np.where(traces, low, high)
            x[some] = settled(found.rows(some), low[some], high[some]).amounts
        amounts = x.reshape(len(asked), len(used), -1)
        labs, want = self.colours(amounts), np.repeat(asked[:, None], len(used), axis=1)
        if self.free is Free.LIGHTNESS:
            want[..., 0] = labs[..., 0]
        elif self.free is Free.CHROMA:
            chroma = np.maximum(np.hypot(want[..., 1], want[..., 2]), 1e-9)
            want[..., 1:] *= (np.hypot(labs[..., 1], labs[..., 2]) / chroma)[..., None]
        return amounts, want, labs


def route_kinds(dyes: DyeSet, start: Prediction) -> list[tuple[RouteKind, str]]:
    """What adding each dye to a recipe is called, and which dye it stands in for, if any."""
    along, middles = dyes.alone(start.light), dyes.middles(start.light)
    chroma, hue = np.hypot(*middles.T[1:]), lab_hue(middles)
    brown = (chroma < BROWN_CHROMA) & (hue >= BROWN_HUES[0]) & (hue <= BROWN_HUES[1])
    grey, own = dyes.greys(start.light), [dyes.index(name) for name in start.recipe]
    turn = hue[:, np.newaxis] - np.append(hue[own], lab_hue(start.lab) + 180.0)
    near = np.abs((turn + 180.0) % 360.0 - 180.0) <= NEIGHBOUR
    out = []
    kinds = (RouteKind.GREY, RouteKind.BROWN, RouteKind.SWAP, RouteKind.COMPLEMENT, RouteKind.THIRD)
    for i, ladder in enumerate(along):
        clear = [j for j, beside in zip(own, near[i], strict=False) if beside]
        duller = [dyes.names[j] for j in clear if _duller(ladder, along[j])]
        holds = (grey[i], brown[i], bool(duller), near[i, -1], True)
        kind = kinds[holds.index(True)]
        out.append((kind, duller[0] if kind is RouteKind.SWAP else ""))
    return out


def _duller(ladder: Array, clear: Array) -> bool:
    """Whether a dye has clearly less chroma than another, at the depths of one lightness."""
    level, both = max(x[len(x) // 2, 0] for x in (ladder, clear)), (ladder[::-1], clear[::-1])
    dull, bright = (np.interp(level, x[:, 0], np.hypot(x[:, 1], x[:, 2])) for x in both)
    return bool(dull < DULLER * bright)
