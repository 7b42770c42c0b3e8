"""Wanted colours, and which blends of a shelf serve each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.colorimetry import Light
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError
from dyemix.matching.subsets import Subsets, delta_e_goal, finish, search
from dyemix.model.dyes import DyeSet

#: ``progress(done, all)``: called as work goes on, for whoever waits.
Progress = Callable[[int, int], None]
#: Subsets within this much ΔE2000 of the tolerance take the last steps before they are judged.
_NEAR = 2.0


def parse_colours(colours: Sequence[Target | str]) -> tuple[Target, ...]:
    """Wanted colours as targets. Raises `TargetError`, and `DyemixError` for none."""
    if not colours:
        raise DyemixError("no colour is wanted: name one at least.")
    return tuple(Target.parse(c) if isinstance(c, str) else c for c in colours)


@dataclass(frozen=True, eq=False)
class Served:
    """Every blend of at most k dyes for one wanted colour.

    Attributes
    ----------
    target : the colour, its light settled.
    masks : ``(N,)`` which dyes, a bit each.
    miss : ``(N,)`` ΔE2000 on paper.
    amounts : ``(N, D)`` % owf.
    """

    target: Target
    masks: NDArray[np.uint64]
    miss: Array
    amounts: Array

    @property
    def light(self) -> Light:
        assert self.target.light is not None
        return self.target.light

    def best(self, allowed: int | None = None) -> int | None:
        """The nearest blend within a set of dyes (a bit each); fewer dyes where it is a tie."""
        fits = np.arange(len(self.masks))
        if allowed is not None:
            fits = np.flatnonzero((self.masks & ~np.uint64(allowed)) == 0)
        if not len(fits):
            return None
        number = (self.amounts[fits] > 0).sum(axis=1)
        return int(fits[np.lexsort((number, np.round(self.miss[fits], 1)))[0]])

    def recipe(self, dyes: DyeSet, blend: int) -> Recipe:
        return dyes.recipe(self.amounts[blend])


def bits(index: NDArray[np.intp]) -> NDArray[np.uint64]:
    """Sets of dyes ``(N, k)`` as ``(N,)`` numbers, a bit a dye."""
    return np.asarray((np.uint64(1) << index.astype(np.uint64)).sum(axis=1), dtype=np.uint64)


def serve(
    dyes: DyeSet,
    targets: Sequence[Target],
    max_dyes: int,
    tolerance: float,
    progress: Progress | None = None,
) -> tuple[Served, ...]:
    """Solve every subset of the shelf for every wanted colour.

    Raises `DyemixError` for a bad limit, or a shelf of more than 64 dyes.
    """
    if max_dyes < 1 or tolerance <= 0:
        raise DyemixError("max_dyes is 1 or more, the tolerance (ΔE2000) above 0.")
    if len(dyes) > 64:
        raise DyemixError(f"{len(dyes)} dyes are more than can be compared at once (64).")
    out = []
    for done, target in enumerate(targets, 1):
        wanted = target.under(dyes.light)
        assert wanted.light is not None
        goal = delta_e_goal(wanted.lab)
        masks, misses, amounts = [], [], []
        for size in search(dyes, goal, wanted.light, max_dyes):
            near = np.sqrt(size.cost) < tolerance + _NEAR
            if near.any():
                some = Subsets(size.index[near], size.amounts[near], size.cost[near])
                last = finish(dyes, goal, wanted.light, some)
                size.amounts[near], size.cost[near] = last.amounts, last.cost
            full = np.zeros((len(size.cost), len(dyes)))
            np.put_along_axis(full, size.index, size.amounts, axis=1)
            masks.append(bits(size.index))
            misses.append(np.sqrt(size.cost))
            amounts.append(full)
        out.append(
            Served(wanted, np.concatenate(masks), np.concatenate(misses), np.concatenate(amounts))
        )
        if progress is not None:
            progress(done, len(targets))
    return tuple(out)
