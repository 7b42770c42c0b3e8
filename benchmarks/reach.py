"""Is the boundary of the gamut where it should be, and the smallest set of dyes the smallest?

``python -m benchmarks.reach``. The gamut against random blends, which lie within it; the
smallest set against giving every set of dyes a search of its own. Times are told in matches.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from time import perf_counter

import numpy as np

from benchmarks.shelf import shelf
from dyemix.arrays import Array
from dyemix.dataset.target import Target
from dyemix.gamut.coverage import Gamut, family, gamut
from dyemix.matching.match import match
from dyemix.matching.subsets import Problem
from dyemix.model.dyes import DyeSet
from dyemix.series.steps import shade_card


def random_blends(dyes: DyeSet, count: int, k: int = 3, seed: int = 0) -> Array:
    """CIELAB ``(N, 3)`` of blends of k dyes, amounts log-even to their deepest squares."""
    rng = np.random.default_rng(seed)
    index = rng.random((count, len(dyes))).argsort(axis=1)[:, :k]
    amounts = np.zeros((count, len(dyes)))
    shares = np.exp(rng.uniform(np.log(0.002), 0.0, (count, k)))
    np.put_along_axis(amounts, index, dyes.deepest[index] * shares, axis=1)
    return dyes.colours(amounts)


def beyond(found: Gamut, labs: Array, half: float = 0.15) -> Array:
    """How far blends at the L* of a slice lie outside its outline ``(N,)``: 0 inside."""
    out = []
    for level, lines in zip(found.levels, found.outlines, strict=True):
        near = labs[np.abs(labs[:, 0] - level) < half]
        away = np.full(len(near), np.inf)
        for line in lines:
            corners = np.concatenate([line[:-1], (line[:-1] + line[1:]) / 2.0])
            apart = near[:, np.newaxis, 1:] - corners
            away = np.minimum(away, np.hypot(*apart.T).min(axis=0))
        out.append(np.where(found.reaches(near), 0.0, away))
    return np.concatenate(out)


def wanted_colours(dyes: DyeSet, count: int = 20, seed: int = 3) -> list[Target]:
    """Colours of three-dye blends of the shelf, drawn evenly in log amount."""
    rng = np.random.default_rng(seed)
    out = []
    for i in range(count):
        members = rng.choice(len(dyes), 3, replace=False)
        amounts = np.zeros((1, len(dyes)))
        amounts[0, members] = np.exp(rng.uniform(np.log(0.1), np.log(2.0), 3))
        out.append(Target(dyes.colours(amounts)[0], dyes.light, name=f"colour {i + 1}"))
    return out


def brute_force(dyes: DyeSet, targets: Sequence[Target], tolerance: float) -> list[tuple[str, ...]]:
    """All smallest sets of dyes, by giving every set a shelf and a search of its own."""
    for size in range(1, len(dyes) + 1):
        found = []
        for names in combinations(dyes.names, size):
            part = dyes.take(names)
            for target in targets:
                one = Problem.of(part, target.lab[np.newaxis], dyes.light, 3)
                least = one.finish(one.search().best(10, by_number=True)).cost.min()
                if np.sqrt(least) > tolerance:
                    break
            else:
                found.append(names)
        if found:
            return found
    return []


def main() -> None:
    dyes = shelf(0, True)
    targets = wanted_colours(dyes)
    match(dyes, targets[0])
    start = perf_counter()
    match(dyes, targets[1])
    once = perf_counter() - start
    for k in (3, 4):
        start = perf_counter()
        found = gamut(dyes, k)
        taken = perf_counter() - start
        out = beyond(found, random_blends(dyes, 100_000, k))
        print(
            f"gamut, at most {k} dyes: as long as {taken / once:.1f} matches, volume "
            f"{found.volume:,.0f}; of {len(out)} random blends {100 * (out > 1.0).mean():.2f} % "
            f"lie over 1 outside, worst {out.max():.1f}"
        )
    start = perf_counter()
    shade_card(dyes, ["marigold", "rose", "turquoise"])
    print(f"card of 66 blends: as long as {(perf_counter() - start) / once:.2f} matches")
    for tolerance in (0.5, 1.0, 3.0):
        start = perf_counter()
        small = family(dyes, wanted_colours(dyes), tolerance)
        print(
            f"20 colours, 12 dyes, tolerance {tolerance:g}: {len(small.dyes)} dyes, "
            f"{1 + len(small.others)} sets, as long as "
            f"{(perf_counter() - start) / once:.0f} matches"
        )
    targets = targets[:6]
    start = perf_counter()
    slow = brute_force(dyes, targets, 1.0)
    taken = perf_counter() - start
    quick = family(dyes, targets, 1.0)
    same = set(slow) == {quick.dyes, *quick.others}
    print(f"brute force, 6 colours, tolerance 1: {taken:.1f} s, the same {len(slow)} sets: {same}")


if __name__ == "__main__":
    main()
