"""Is the boundary of the gamut where it should be, and the smallest set of dyes the smallest?

``python -m benchmarks.reach``. The boundary against random blends and against differential
evolution along its rays; the smallest set against giving every set of dyes a search of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from time import perf_counter

import numpy as np
from scipy.optimize import differential_evolution

from benchmarks.shelf import shelf
from dyemix.arrays import Array
from dyemix.dataset.target import Target
from dyemix.gamut.boundary import Gamut, gamut
from dyemix.gamut.family import family
from dyemix.matching.subsets import delta_e_goal, finish, search
from dyemix.model.dyes import DyeSet
from dyemix.series.shade_card import shade_card


def random_blends(dyes: DyeSet, count: int, k: int = 3, seed: int = 0) -> Array:
    """CIELAB ``(N, 3)`` of blends of k dyes, amounts log-even to their deepest squares."""
    rng = np.random.default_rng(seed)
    index = rng.random((count, len(dyes))).argsort(axis=1)[:, :k]
    amounts = np.zeros((count, len(dyes)))
    shares = np.exp(rng.uniform(np.log(0.002), 0.0, (count, k)))
    np.put_along_axis(amounts, index, dyes.deepest[index] * shares, axis=1)
    return dyes.predict_many(amounts)


def beyond(found: Gamut, labs: Array, half: float = 0.15) -> Array:
    """How far blends at the L* of a slice lie outside its boundary: below 0 inside, ``(N,)``."""
    out = []
    for i, level in enumerate(found.levels):
        near = labs[np.abs(labs[:, 0] - level) < half, 1:] - found.centres[i]
        turn = np.degrees(np.arctan2(near[:, 1], near[:, 0])) % 360.0
        edge = np.interp(turn, [*found.angles, 360.0], [*found.radii[i], found.radii[i, 0]])
        out.append(np.hypot(*near.T) - edge)
    return np.concatenate(out)


def farthest(dyes: DyeSet, found: Gamut, level: int, ray: int, subsets: int = 10) -> float:
    """Distance to the edge along a ray by differential evolution, over the likeliest subsets."""
    angle = np.deg2rad(found.angles[ray])
    centre = np.array([found.levels[level], *found.centres[level]])
    along = np.array([0.0, np.cos(angle), np.sin(angle)])
    across = np.array([0.0, -np.sin(angle), np.cos(angle)])
    edge = centre + found.radii[level, ray] * along

    sizes = search(dyes, delta_e_goal(edge + 3.0 * along), found.light, 3)
    best = -np.inf
    for members in sizes[-1].best(subsets).index:

        def cost(x: Array, members: Array = members) -> float:
            amounts = np.zeros((1, len(dyes)))
            amounts[0, members] = x
            apart = dyes.predict_many(amounts)[0] - centre
            off = np.hypot(apart[0], apart @ across)
            return float(-(apart @ along) + 30.0 * max(off - 0.1, 0.0))

        bounds = [(0.0, dyes.deepest[i]) for i in members]
        done = differential_evolution(cost, bounds, seed=1, tol=1e-6, maxiter=200, popsize=12)
        best = max(best, -float(done.fun))
    return best


def wanted_colours(dyes: DyeSet, count: int = 20, seed: int = 3) -> list[Target]:
    """Colours of three-dye blends of the shelf, drawn evenly in log amount."""
    rng = np.random.default_rng(seed)
    out = []
    for i in range(count):
        members = rng.choice(len(dyes), 3, replace=False)
        amounts = np.zeros((1, len(dyes)))
        amounts[0, members] = np.exp(rng.uniform(np.log(0.1), np.log(2.0), 3))
        out.append(Target(dyes.predict_many(amounts)[0], dyes.light, name=f"colour {i + 1}"))
    return out


def brute_force(dyes: DyeSet, targets: Sequence[Target], tolerance: float) -> list[tuple[str, ...]]:
    """All smallest sets of dyes, by giving every set a shelf and a search of its own."""
    for size in range(1, len(dyes) + 1):
        found = []
        for names in combinations(dyes.names, size):
            part = dyes.take(names)
            for target in targets:
                goal = delta_e_goal(target.lab)
                sizes = search(part, goal, dyes.light, 3)
                least = min(
                    float(finish(part, goal, dyes.light, s.best(10)).cost.min()) for s in sizes
                )
                if np.sqrt(least) > tolerance:
                    break
            else:
                found.append(names)
        if found:
            return found
    return []


def main() -> None:
    dyes = shelf(0, True)
    for k in (3, 4):
        gamut(dyes, k)
        start = perf_counter()
        found = gamut(dyes, k)
        taken = perf_counter() - start
        out = beyond(found, random_blends(dyes, 300_000, k))
        print(
            f"boundary, at most {k} dyes: {taken:.2f} s, volume {found.volume:,.0f}; of {len(out)} "
            f"random blends {100 * (out > 0.5).mean():.2f} % lie over 0.5 outside, worst "
            f"{out.max():.1f}"
        )
    found = gamut(dyes)
    rng = np.random.default_rng(0)
    gaps = [
        farthest(dyes, found, level, int(ray)) - found.radii[level, ray]
        for level in (2, 4, 6)
        for ray in rng.choice(len(found.angles), 4, replace=False)
    ]
    print(
        f"against differential evolution on {len(gaps)} rays: it gets {max(gaps):.2f} farther at "
        "most"
    )
    start = perf_counter()
    shade_card(dyes, ["marigold", "rose", "turquoise"])
    print(f"card of 66 blends: {perf_counter() - start:.3f} s")
    for tolerance in (0.5, 1.0, 3.0):
        start = perf_counter()
        small = family(dyes, wanted_colours(dyes), tolerance)
        print(
            f"20 colours, 12 dyes, tolerance {tolerance:g}: {len(small.dyes)} dyes, "
            f"{1 + len(small.others)} sets, {perf_counter() - start:.1f} s"
        )
    targets = wanted_colours(dyes, 6)
    start = perf_counter()
    slow = brute_force(dyes, targets, 1.0)
    taken = perf_counter() - start
    quick = family(dyes, targets, 1.0)
    same = set(slow) == {quick.dyes, *quick.others}
    print(f"brute force, 6 colours, tolerance 1: {taken:.1f} s, the same {len(slow)} sets: {same}")


if __name__ == "__main__":
    main()
