"""How long a match takes, beside the best that a general least-squares library does.

Twelve dyes, up to four of them: 793 blends, ΔE2000 with its analytic slope on both sides, one
thread, processor time, so that a busy machine does not favour one side. The alternative is
MINPACK's Levenberg–Marquardt (`scipy.optimize.leastsq`), a call a blend: the arrays of each blend
gathered beforehand, its value and slope worked out together once a point, bounds by a sine, every
blend set out from the best answer of the blends inside it, all of them loosely and the best twenty
to the end.

Then the memory that 10,000 targets take.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from itertools import combinations
from time import process_time

import numpy as np
from scipy.optimize import leastsq

from benchmarks.shelf import shelf, targets
from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e_residual
from dyemix.colour.colorimetry import D65_10, lab_from_xyz, lab_slope, weights
from dyemix.dataset.target import Target
from dyemix.matching.match import match, match_many, refined
from dyemix.matching.subsets import Problem
from dyemix.model.dyes import DyeSet, Ladders
from dyemix.model.kubelka_munk import depth_law_and_slope
from dyemix.model.unknowns import Modes

MAX_DYES = 4
#: The two count as having come to the same answer within this much ΔE2000.
SAME = 0.01
#: Where a new dye sets out from, as a share of its most; tolerances and evaluations of both passes.
NEW, LOOSE, TIGHT = 0.02, (1e-3, 40), (1e-10, 400)


class OneBlend:
    """One blend as arrays of its own: residual and slope in as few operations as we can."""

    def __init__(self, dyes: DyeSet, members: tuple[int, ...]) -> None:
        i = list(members)
        whole = dyes.whole
        self.curves, self.law, self.top = whole.curves[i], whole.law[i], dyes.deepest[i]
        self.cloth, self.surface, self.weights = whole.cloth, whole.surface, weights(D65_10)
        self.target, self.at = np.zeros(3), np.full(len(i), np.nan)
        # MINPACK wants as many rows as unknowns.
        self.value, self.slope = np.zeros(max(3, len(i))), np.zeros((max(3, len(i)), len(i)))

    def both(self, u: Array) -> tuple[Array, Array]:
        """Value and slope by `u`, where amounts are ``top (1 + sin u) / 2``."""
        if not np.array_equal(u, self.at):
            amounts = self.top * (1.0 + np.sin(u)) / 2.0
            works, by_depth = depth_law_and_slope(amounts, self.law)
            k = self.cloth + works @ self.curves
            r, dr = self.surface.reflectance_and_slope(k)
            xyz = r @ self.weights
            by_u = by_depth * self.top * np.cos(u) / 2.0
            by_xyz = (self.curves * dr) @ self.weights * by_u[:, np.newaxis]
            self.value[:3], by_lab = delta_e_residual(self.target, lab_from_xyz(xyz, D65_10))
            self.slope[:3] = by_lab @ lab_slope(xyz, D65_10) @ by_xyz.T
            self.at = u.copy()
        return self.value, self.slope

    def solve(
        self, target: Array, start: Array, tolerance: float, most: int
    ) -> tuple[float, Array]:
        self.target, self.at = target, np.full(len(start), np.nan)
        u, _ = leastsq(
            lambda u: self.both(u)[0].copy(), start, Dfun=lambda u: self.both(u)[1].copy(),
            ftol=tolerance, xtol=tolerance, maxfev=most,
        )[:2]  # fmt: skip
        value, _ = self.both(u)
        return float(value @ value), u


def alternative(dyes: DyeSet, labs: Array) -> tuple[float, list[float]]:
    """Processor seconds a target, and the best ΔE2000 of each."""
    every = [c for k in range(1, MAX_DYES + 1) for c in combinations(range(len(dyes)), k)]
    blends = {members: OneBlend(dyes, members) for members in every}
    best, clock = [], process_time()
    for target in labs:
        found: dict[tuple[int, ...], tuple[float, Array]] = {(): (np.inf, np.empty(0))}
        for members, blend in blends.items():
            subsets = {i: tuple(j for j in members if j != i) for i in members}
            lacking = min(subsets, key=lambda i: found[subsets[i]][0])
            at = members.index(lacking)
            inside = found[subsets[lacking]][1]
            start = np.insert(inside, at, np.arcsin(2.0 * NEW - 1.0))
            found[members] = blend.solve(target, start, *LOOSE)
        del found[()]
        nearest = sorted(found, key=lambda members: found[members][0])[:20]
        last = [blends[members].solve(target, found[members][1], *TIGHT)[0] for members in nearest]
        best.append(float(np.sqrt(min(last))))
    return (process_time() - clock) / len(labs), best


def timed(work: Callable[[], object], count: int) -> float:
    """Processor seconds a target, the best of three runs."""
    seconds = []
    for _ in range(3):
        start = process_time()
        work()
        seconds.append((process_time() - start) / count)
    return min(seconds)


def large_shelf(count: int) -> DyeSet:
    """A shelf of many dyes: those of several workshops, on the cloth and surface of the first."""
    parts = [shelf(seed) for seed in range(-(-count // 12))]
    curves, law = (
        np.concatenate([getattr(part.ladders, name) for part in parts])
        for name in ("curves", "law")
    )
    joined = replace(
        parts[0],
        names=tuple(f"{name} {i}" for i, part in enumerate(parts) for name in part.names),
        palest=np.concatenate([part.palest for part in parts]),
        deepest=np.concatenate([part.deepest for part in parts]),
        ladders=Ladders(curves, law, parts[0].ladders.surface, Modes.none(*curves.shape)),
        posterior=None,
    )
    return joined.take(joined.names[:count])


def random_colours(count: int, seed: int) -> Array:
    """CIELAB ``(count, 3)`` in and out of reach."""
    rng = np.random.default_rng(seed)
    return rng.uniform([25.0, -40.0, -40.0], [90.0, 40.0, 40.0], (count, 3))


def memory(count: int = 10_000) -> None:
    """Print the memory of this process as targets go by, none of the answers kept."""
    import resource

    dyes = shelf()
    labs = random_colours(count, 5)
    print(f"\n{'targets':>8} {'peak memory':>12}")
    for done in range(0, count, 2000):
        match_many(dyes, [Target(lab, D65_10) for lab in labs[done : done + 2000]])
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
        print(f"{done + 2000:>8} {peak:>9.0f} MB", flush=True)


def main(count: int = 10) -> dict[str, float]:
    """Print the table; ratios only where both came to the same best ΔE2000 on every target.

    Returns our time over theirs, and that of 40 dyes over that of 12.
    """
    if os.environ.get("OPENBLAS_NUM_THREADS") != "1":
        print("(set OPENBLAS_NUM_THREADS=1 for one thread on both sides)")
    dyes = shelf()
    labs = targets(dyes)[:: 50 // count][:count]
    wanted = [Target(lab, D65_10) for lab in labs]
    many = [Target(lab, D65_10) for lab in random_colours(500, 2)]

    def near(lab: Array) -> float:
        found = refined(Problem.of(dyes, lab[np.newaxis], D65_10, MAX_DYES))
        return float(np.sqrt(found.cost.min()))

    theirs, best = alternative(dyes, labs)
    apart = np.subtract([near(lab) for lab in labs], best)
    print(f"{count} targets, 793 blends each; best ΔE2000 {np.round(best, 2).tolist()};")
    print(f"ours less theirs {apart.min():+.4f} to {apart.max():+.4f}\n")
    print(f"{'MINPACK, a call a blend':<40} {1e3 * theirs:9.1f} ms a target", flush=True)
    large = large_shelf(40)
    rows: tuple[tuple[str, Callable[[], object], int], ...] = (
        ("search and last steps", lambda: [near(lab) for lab in labs], count),
        ("match whole", lambda: [match(dyes, t, max_dyes=MAX_DYES) for t in wanted], count),
        ("match_many whole, 500 targets", lambda: match_many(dyes, many, max_dyes=MAX_DYES), 500),
        (
            "match whole, 40 dyes",
            lambda: [match(large, t, max_dyes=MAX_DYES) for t in wanted],
            count,
        ),
    )
    out = {}
    for name, work, targets_of in rows:
        seconds = timed(work, targets_of)
        ratio = f"{theirs / seconds:6.0f} times" if apart.max() <= SAME else "worse: no ratio"
        print(f"{name:<40} {1e3 * seconds:9.1f} ms a target  {ratio}", flush=True)
        out[name] = seconds / theirs
    longer = out["match whole, 40 dyes"] / out["match whole"]
    print(f"40 dyes against 12: {longer:.1f} times as long")
    memory()
    return out


if __name__ == "__main__":
    main()
