"""Does the search miss anything? Its answers beside those of differential evolution.

For each of 50 colours, half of them out of reach: the ten subsets of the shelf that the search
puts first and ten others drawn at random, each solved again by `scipy.optimize
.differential_evolution` within the same bounds on ΔE2000 itself, three seeds, the best kept.
Then `match` as a whole, pruning on: its nearest recipe beside the least of all those. There a dye
must earn its place, so that a simpler recipe may stand `EARNS_ITS_PLACE` behind.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import combinations
from time import perf_counter

import numpy as np
from scipy.optimize import differential_evolution

from benchmarks.shelf import shelf, targets
from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_10
from dyemix.dataset.target import Target
from dyemix.matching.match import match, refined
from dyemix.matching.subsets import EARNS_ITS_PLACE, Problem
from dyemix.model.dyes import DyeSet

MAX_DYES = 4


@dataclass(frozen=True)
class Case:
    """One target in one subset of the shelf: ΔE2000 that each of the two came down to."""

    target: int
    subset: tuple[str, ...]
    best: bool
    ours: float
    evolution: float

    @property
    def behind(self) -> float:
        return self.ours - self.evolution


def evolve(dyes: DyeSet, members: Sequence[int], target: Array, seeds: int = 3) -> float:
    """Least ΔE2000 that differential evolution finds with these dyes.

    Relative tolerance 1e-8. The absolute one, 1e-5 ΔE2000, only ends runs that come down to
    nothing at all, where no relative one is ever met.
    """
    part = dyes.take([dyes.names[i] for i in members])

    def objective(amounts: Array) -> Array:  # (k, N)
        return delta_e(target, part.colours(amounts.T, D65_10))

    bounds = [(0.0, float(top)) for top in part.deepest]
    return min(
        float(
            differential_evolution(
                objective, bounds, tol=1e-8, atol=1e-5, rng=seed, vectorized=True,
                updating="deferred", polish=False,
            ).fun
        )
        for seed in range(seeds)
    )  # fmt: skip


def cases(target: int, seeds: int = 3, best: int = 10, others: int = 10) -> list[Case]:
    """The best blends of one target, and others drawn at random, each as a shelf of its own."""
    dyes = shelf()
    lab = targets(dyes)[target]
    every = [c for k in range(1, MAX_DYES + 1) for c in combinations(range(len(dyes)), k)]
    found = Problem.of(dyes, lab[np.newaxis], D65_10, MAX_DYES).search()
    blends = np.array([np.isin(np.arange(len(dyes)), members) for members in every])
    # A blend that was left out is one that a smaller one stands for.
    inside = ~np.any(found.used & ~blends[:, np.newaxis], axis=2)
    order = np.argsort(np.where(inside, found.cost, np.inf).min(axis=1), kind="stable")
    done = []
    drawn = np.random.default_rng([7, target]).choice(
        np.arange(best, len(order)), others, replace=False
    )
    for rank in [*range(best), *drawn]:
        members = every[order[rank]]
        part = dyes.take([dyes.names[i] for i in members])
        one = Problem.of(part, lab[np.newaxis], D65_10, MAX_DYES)
        ours = refined(one).cost.min()
        least = evolve(dyes, members, lab, seeds)
        done.append(Case(target, part.names, rank < best, float(np.sqrt(ours)), least))
    return done


def main() -> None:
    """Print how far the search stays behind, in all the cases; about two minutes on two cores."""
    start = perf_counter()
    with ProcessPoolExecutor(2) as pool:
        done = [case for some in pool.map(cases, range(50)) for case in some]
    behind = np.array([case.behind for case in done])
    print(f"{len(done)} cases (50 targets, {len(done) // 50} subsets each), "
          f"{perf_counter() - start:.0f} s")  # fmt: skip
    print(f"search behind differential evolution by at most {behind.max():.4f} ΔE2000;")
    print(f"ahead by more than 0.02 in {np.sum(behind < -0.02)} cases, at most {-behind.min():.2f}")
    dyes = shelf()
    whole = [
        match(dyes, Target(lab, D65_10), max_dyes=MAX_DYES, rank_by="paper")
        for lab in targets(dyes)
    ]
    later = [
        min(m.residual for m in found) - min(case.evolution for case in done if case.target == i)
        for i, found in enumerate(whole)
    ]
    print(f"match, pruning on: behind the least of its target by at most {max(later):.3f} "
          f"(a dye must earn {EARNS_ITS_PLACE:g})")  # fmt: skip
    for case in sorted(done, key=lambda case: -case.behind)[:12]:
        kind = "best" if case.best else "other"
        print(f"{case.target:>3} {kind:<5} {case.ours:8.3f} {case.evolution:8.3f} "
              f"{case.behind:+8.4f}  {' + '.join(case.subset)}")  # fmt: skip


if __name__ == "__main__":
    main()
