"""The plain ways beside the search: every blend from several starts, and by a global solver."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from benchmarks.global_search import evolve
from dyemix.arrays import Array
from dyemix.matching.subsets import Found, Problem
from dyemix.model.dyes import DyeSet


def blends_of(dyes: int, max_dyes: int) -> NDArray[np.bool_]:
    """Every blend ``(N, D)`` of 1 to `max_dyes` dyes."""
    every = [s for k in range(1, max_dyes + 1) for s in combinations(range(dyes), k)]
    return np.array([np.isin(np.arange(dyes), members) for members in every])


def every_blend(
    problem: Problem, enough: float = 0.0, beam: int | None = None, starts: int = 4
) -> Found:
    """`Problem.search` with nothing ruled out: every blend, solved from random starts."""
    blends = blends_of(len(problem.dyes), problem.max_dyes)
    blends = blends[np.all(blends[:, problem.lower > 0], axis=1)]
    which = np.repeat(np.arange(len(problem.labs)), len(blends))
    used = np.tile(blends, (len(problem.labs), 1))
    rng = np.random.default_rng(3)
    best = Found.of(used, np.zeros(used.shape), which)
    best.cost[:] = np.inf
    for _ in range(starts):
        start = problem.upper * np.exp(rng.uniform(np.log(0.005), 0.0, used.shape))
        found = problem.finish(replace(best, amounts=start))
        better = found.cost < best.cost
        best.amounts[better], best.cost[better] = found.amounts[better], found.cost[better]
    return best


def evolved(dyes: DyeSet, target: Array, max_dyes: int) -> Iterator[float]:
    """Least ΔE2000 by differential evolution with each blend of so many dyes."""
    for members in combinations(range(len(dyes)), max_dyes):
        yield evolve(dyes, members, np.asarray(target), seeds=1)
