"""The plain ways beside the search: every subset without pruning, and by a global solver."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, pairwise

import numpy as np

from benchmarks.global_search import evolve
from dyemix.arrays import Array
from dyemix.colour.colorimetry import Light
from dyemix.matching.subsets import ManyGoal, Subsets, search_many, subsets_of
from dyemix.model.dyes import DyeSet


def unpruned(
    dyes: DyeSet,
    goal: ManyGoal,
    targets: int,
    light: Light,
    max_dyes: int,
    top: Array | None = None,
    total: float | None = None,
    enough: float | None = None,
    value: ManyGoal | None = None,
) -> list[list[Subsets]]:
    """`dyemix.matching.subsets.search_many` with every subset solved.

    Where `enough` is given, the subsets that hold a smaller one on the spot are solved as well,
    and set apart afterwards by the costs found: a pruning that skipped too much would show.
    """
    found = search_many(dyes, goal, targets, light, max_dyes, top, total, None, value)
    if enough is None:
        return found
    out = []
    for sizes in found:
        marked = [sizes[0]]
        for smaller, size in pairwise(sizes):
            _, children = subsets_of(len(dyes), size.index.shape[1])
            tried = smaller.cost[children].min(axis=1) > enough
            marked.append(Subsets(size.index, size.amounts, size.cost, tried))
        out.append(marked)
    return out


def every_subset(dyes: DyeSet, target: Array, max_dyes: int) -> Iterator[float]:
    """Least ΔE2000 by differential evolution with each subset of the shelf."""
    for members in combinations(range(len(dyes)), max_dyes):
        yield evolve(dyes, members, np.asarray(target), seeds=1)
