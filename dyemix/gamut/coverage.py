"""Wanted colours, and which blends of a shelf serve each."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.colorimetry import Light
from dyemix.dataset.result import Row, Value
from dyemix.dataset.target import AnyColour, Target
from dyemix.errors import DyemixError
from dyemix.matching.subsets import Problem
from dyemix.model.dyes import DyeSet, Prediction

#: ``progress(done, all)``: called as work goes on, for whoever waits.
Progress = Callable[[int, int], None]
#: Blends that miss the tolerance by less than this much ΔE2000 take the last steps before they are
#: judged, and so do so many of the nearest.
_NEAR, _NEAREST = 2.0, 24
#: Colours searched side by side.
_SIDE_BY_SIDE = 8


@dataclass(frozen=True, eq=False)
class Nearest(Value):
    """The nearest blend to a wanted colour.

    Attributes
    ----------
    target, prediction : the colour, its light settled, and the blend.
    residual, likely : ΔE2000 on paper, and the mean in the pot.
    within : whether that is near enough on paper.
    """

    target: Target
    prediction: Prediction
    residual: float
    likely: float
    within: bool


def nearest_rows(found: Sequence[Nearest]) -> Iterable[Row]:
    """One row a wanted colour: name, misses, whether it is within reach, recipe and its colour."""
    for n in found:
        figures = {name: getattr(n, name) for name in ("residual", "likely", "within")}
        yield {"target": n.target.name, **figures, **n.prediction.row}


@dataclass(frozen=True, eq=False)
class Served:
    """Every blend of at most k dyes for one wanted colour.

    Attributes
    ----------
    target : the colour.
    light : what it is stated in.
    masks : ``(N,)`` which dyes, a bit each.
    residual : ``(N,)`` ΔE2000 on paper.
    amounts : ``(N, D)`` % owf.
    """

    target: Target
    light: Light
    masks: NDArray[np.uint64]
    residual: Array
    amounts: Array

    def least(self, allowed: int) -> float:
        """Least ΔE2000 on paper of blends within a set of dyes (a bit each)."""
        return float(self.residual[self._within(allowed)].min(initial=np.inf))

    def nearest(self, dyes: DyeSet, tolerance: float, allowed: int | None = None) -> Nearest:
        """The nearest blend within a set of dyes; fewer dyes where it is a tie."""
        fits = np.flatnonzero(self._within(2 ** len(dyes) - 1 if allowed is None else allowed))
        number = (self.amounts[fits] > 0).sum(axis=1)
        best = fits[np.lexsort((number, np.round(self.residual[fits], 1)))[0]]
        amounts, miss = self.amounts[best], float(self.residual[best])
        made = dyes.predict_many(amounts, self.light)
        pots = made.in_pot(self.target.lab, spread=self.target.spread)
        return Nearest(self.target, made[0], miss, float(pots.mean[0]), miss <= tolerance)

    def _within(self, allowed: int) -> NDArray[np.bool_]:
        return np.asarray((self.masks & ~np.uint64(allowed)) == 0)


def serve(
    dyes: DyeSet,
    wanted: Sequence[AnyColour],
    max_dyes: int,
    tolerance: float,
    progress: Progress | None = None,
) -> list[Served]:
    """Solve every subset of the shelf for every wanted colour, each in its own light.

    Raises `TargetError`, and `DyemixError` for a bad limit or a shelf of more than 64 dyes.
    """
    if max_dyes < 1 or tolerance <= 0:
        raise DyemixError("max_dyes is 1 or more, the tolerance (ΔE2000) above 0.")
    if len(dyes) > 64:
        raise DyemixError(f"{len(dyes)} dyes are more than can be compared at once (64).")
    targets = Target.all(wanted)
    targets = [target.under(dyes.light) for target in targets]
    out: dict[int, Served] = {}
    for light in dict.fromkeys(dyes.light_of(target) for target in targets):
        alike = [i for i, target in enumerate(targets) if target.light == light]
        for first in range(0, len(alike), _SIDE_BY_SIDE):
            some = alike[first : first + _SIDE_BY_SIDE]
            labs = np.array([targets[i].lab for i in some])
            problem = Problem.of(dyes, labs, light, max_dyes)
            every = problem.search()
            near = (every.cost > tolerance**2) & (every.cost < (tolerance + _NEAR) ** 2)
            order = np.lexsort((every.cost, every.which))
            place = np.arange(len(order)) - np.searchsorted(every.which[order], every.which[order])
            near[order[place < _NEAREST]] = True
            last = problem.finish(every.rows(near))
            every.amounts[near], every.cost[near] = last.amounts, last.cost
            masks = every.used @ (np.uint64(1) << np.arange(len(dyes), dtype=np.uint64))
            for t, i in enumerate(some):
                mine = every.which == t
                miss = np.sqrt(every.cost[mine])
                out[i] = Served(targets[i], light, masks[mine], miss, every.amounts[mine])
            if progress is not None:
                progress(len(out), len(targets))
    return [out[i] for i in range(len(targets))]
