"""How long the whole shelf takes: every subset at once, against one solver call a subset.

Twelve dyes, up to four of them: 793 subsets, ΔE2000 with its analytic slope on both sides. The
alternative is `scipy.optimize.least_squares` in a loop, arrays of each subset gathered
beforehand, started from a pale middle or from a linear solution, both printed. Beside it what a
linear solution alone gives: non-negative least squares on K/S, no colour difference in it, fast
and worse, by how much is printed. Run on one thread.

The look across grey that `match` adds for a target far out of reach has no counterpart in the
loop: the search is timed without it. `match` whole, with likely misses, lamps and advice, is timed
as well, one by one and through `match_many`. Processor time is counted, so that a busy machine
does not favour one side.

Then the growth with the shelf to 30 dyes, with and without pruning, and the memory that 10,000
targets take.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from time import process_time
from unittest.mock import patch

import numpy as np
from scipy.optimize import least_squares, nnls

from benchmarks.shelf import shelf, targets
from benchmarks.subsets import unpruned
from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e, delta_e_residual
from dyemix.colour.colorimetry import (
    D65_10,
    lab_from_xyz,
    lab_slope,
    smoothest_reflectance,
    weights,
    xyz_from_lab,
)
from dyemix.dataset.target import Target
from dyemix.errors import TargetError
from dyemix.matching import refine
from dyemix.matching.match import match, match_many
from dyemix.matching.subsets import ManyGoal, delta_e_goal, finish, search_many
from dyemix.model.dyes import DyeSet
from dyemix.model.kubelka_munk import depth_law, depth_law_slope

MAX_DYES = 4
#: The two count as having come to the same answer within this much ΔE2000.
SAME = 0.01
#: Targets searched side by side, as `match_many` does.
SIDE_BY_SIDE = 64
#: What is on the spot, as `match` has it: the square of 0.02.
SPOT = 4e-4


class OneSubset:
    """One subset as arrays of its own: residual and slope in as few operations as we can."""

    def __init__(self, dyes: DyeSet, members: tuple[int, ...]) -> None:
        i = list(members)
        self.curves = dyes.curves[i]
        self.exponent, self.capacity = dyes.exponent[i], dyes.capacity[i]
        self.cloth = dyes.surface.k_over_s(dyes.cloth)
        self.surface = dyes.surface
        self.weights = weights(D65_10)
        self.top = dyes.deepest[i]
        self.target = np.zeros(3)
        self.at: Array | None = None
        self.value, self.slope = np.empty(3), np.empty((3, len(i)))

    def _at(self, amounts: Array) -> tuple[Array, Array]:
        if self.at is None or not np.array_equal(amounts, self.at):
            # The solver asks for value and slope in turn at one place: worked out once.
            k = self.cloth + depth_law(amounts, self.exponent, self.capacity) @ self.curves
            r, dr = self.surface.reflectance_and_slope(k)
            xyz = r @ self.weights
            slope = depth_law_slope(amounts, self.exponent, self.capacity)
            by_xyz = (self.curves * dr) @ self.weights * slope[:, np.newaxis]
            value, by_lab = delta_e_residual(self.target, lab_from_xyz(xyz, D65_10))
            self.value = value
            self.slope = by_lab @ lab_slope(xyz, D65_10) @ by_xyz.T
            self.at = amounts.copy()
        return self.value, self.slope

    def solve(self, target: Array, start: Array, method: str) -> float:
        self.target, self.at = target, None
        found = least_squares(
            lambda x: self._at(x)[0], np.clip(start, 1e-6, 0.999 * self.top),
            jac=lambda x: self._at(x)[1], bounds=(0.0, self.top), method=method,
            x_scale=self.top, ftol=1e-6, xtol=1e-6, gtol=1e-6,
        )  # fmt: skip
        return float(np.sqrt(2.0 * found.cost))


Start = Callable[[OneSubset, Array], Array]


def middle(one: OneSubset, target: Array) -> Array:
    """A pale middle: a twentieth of the most that is allowed."""
    return np.asarray(0.05 * one.top)


def linear(one: OneSubset, target: Array) -> Array:
    """Linear start on tristimulus values (Allen, J. Opt. Soc. Am. 56 (1966) 1256), amounts ≥ 0.

    The absorption of a flat reflectance of the target's Y, and slopes dXYZ/dc there.
    """
    xyz = xyz_from_lab(target, D65_10)
    flat = np.full(len(one.cloth), float(np.clip(xyz[1] / 100.0, 0.03, 0.95)))
    k = one.surface.k_over_s(flat)
    _, dr = one.surface.reflectance_and_slope(k)
    matrix = ((one.curves * dr) @ one.weights).T
    wanted = xyz - flat @ one.weights + (dr * (k - one.cloth)) @ one.weights
    return np.asarray(np.minimum(nnls(matrix, wanted)[0], one.top))


STARTS: dict[str, Start] = {"middle": middle, "linear": linear}


@dataclass(frozen=True)
class Timing:
    """Processor seconds a target, and the best ΔE2000 of each target."""

    name: str
    seconds: float
    best: tuple[float, ...]


def ours(dyes: DyeSet, labs: Array) -> Timing:
    """The search, and its last steps on the short list."""
    best = []
    start = process_time()
    for lab in labs:
        goal = delta_e_goal(lab)
        one = lab[np.newaxis]
        (sizes,) = search_many(dyes, _goals(one), 1, D65_10, MAX_DYES, value=_values(one))
        last = [finish(dyes, goal, D65_10, size.best(20)) for size in sizes]
        best.append(min(float(np.sqrt(size.cost.min())) for size in last))
    return Timing("dyemix", (process_time() - start) / len(labs), tuple(best))


def alone(dyes: DyeSet, labs: Array) -> float:
    """Processor seconds a target of the search without its last steps."""
    start = process_time()
    for lab in labs:
        one = lab[np.newaxis]
        search_many(dyes, _goals(one), 1, D65_10, MAX_DYES, value=_values(one))
    return (process_time() - start) / len(labs)


def loop(dyes: DyeSet, labs: Array, method: str, start: str) -> Timing:
    """One `least_squares` call a subset."""
    every = [
        OneSubset(dyes, members)
        for k in range(1, MAX_DYES + 1)
        for members in combinations(range(len(dyes)), k)
    ]
    begin = STARTS[start]
    best = []
    clock = process_time()
    for lab in labs:
        best.append(min(one.solve(lab, begin(one, lab), method) for one in every))
    return Timing(f"{method}, {start} start", (process_time() - clock) / len(labs), tuple(best))


def _goals(labs: Array) -> ManyGoal:
    return lambda lab, which: delta_e_residual(labs[which], lab)


def _values(labs: Array) -> ManyGoal:
    return lambda lab, which: delta_e_residual(labs[which], lab, slope=False)


def side_by_side(dyes: DyeSet, labs: Array) -> float:
    """Processor seconds a target of the search, many targets at a time."""
    start = process_time()
    for first in range(0, len(labs), SIDE_BY_SIDE):
        some = labs[first : first + SIDE_BY_SIDE]
        search_many(
            dyes, _goals(some), len(some), D65_10, MAX_DYES, enough=SPOT, value=_values(some)
        )
    return (process_time() - start) / len(labs)


def by_absorption(dyes: DyeSet, labs: Array) -> Timing:
    """Non-negative least squares on K/S alone, a call a subset; depth laws inverted afterwards.

    A colour has no K/S of its own: the smoothest reflectance of it stands for one, and a colour
    that no reflectance has is passed over (nan). Of all subsets the one that comes nearest in
    ΔE2000 is kept, so that only the amounts are to blame.
    """
    every = [
        list(members)
        for k in range(1, MAX_DYES + 1)
        for members in combinations(range(len(dyes)), k)
    ]
    fine = np.linspace(0.0, 1.0, 400)
    laws = [
        (top * fine, depth_law(top * fine, n, q))
        for top, n, q in zip(dyes.deepest, dyes.exponent, dyes.capacity, strict=True)
    ]
    cloth = dyes.surface.k_over_s(dyes.cloth)
    best = []
    clock = process_time()
    for target in labs:
        try:
            spectrum = smoothest_reflectance(target, D65_10)[0]
        except TargetError:
            best.append(float("nan"))
            continue
        wanted = dyes.surface.k_over_s(np.maximum(spectrum, dyes.surface.r0 + 1e-3)) - cloth
        amounts = np.zeros((len(every), len(dyes)))
        for row, members in zip(amounts, every, strict=True):
            for i, g in zip(members, nnls(dyes.curves[members].T, wanted)[0], strict=True):
                row[i] = np.interp(g, laws[i][1], laws[i][0])
        best.append(float(delta_e(target, dyes.predict_many(amounts, D65_10)).min()))
    seconds = (process_time() - clock) / np.isfinite(best).sum()
    return Timing("non-negative, on K/S", float(seconds), tuple(best))


def whole(dyes: DyeSet, labs: Array, many: bool) -> float:
    """Processor seconds a target of `match` with all it tells."""
    wanted = [Target(lab, D65_10) for lab in labs]
    start = process_time()
    if many:
        match_many(dyes, wanted, max_dyes=MAX_DYES)
    else:
        for target in wanted:
            match(dyes, target, max_dyes=MAX_DYES)
    return (process_time() - start) / len(labs)


def large_shelf(count: int) -> DyeSet:
    """A shelf of up to 36 dyes: those of three workshops, on the cloth and surface of the first."""
    parts = [shelf(seed) for seed in range(-(-count // 12))]
    joined = replace(
        parts[0],
        names=tuple(f"{name} {i}" for i, part in enumerate(parts) for name in part.names),
        curves=np.concatenate([part.curves for part in parts]),
        exponent=np.concatenate([part.exponent for part in parts]),
        capacity=np.concatenate([part.capacity for part in parts]),
        palest=np.concatenate([part.palest for part in parts]),
        deepest=np.concatenate([part.deepest for part in parts]),
        draws=None,
    )
    return joined.take(joined.names[:count])


def random_colours(count: int, seed: int) -> Array:
    """CIELAB ``(count, 3)`` in and out of reach."""
    rng = np.random.default_rng(seed)
    return rng.uniform([25.0, -40.0, -40.0], [90.0, 40.0, 40.0], (count, 3))


def growth(sizes: Sequence[int] = (6, 12, 18, 24, 30), count: int = 8) -> None:
    """Print the time a target takes on larger shelves, pruned and not, and that answers agree."""
    print(f"\n{'dyes':>4} {'subsets':>8} {'pruned':>10} {'not pruned':>12} {'tried':>8}  answers")
    for size in sizes:
        dyes = large_shelf(size)
        wanted = [Target(lab, D65_10) for lab in random_colours(count, 3)]
        match(dyes, wanted[0], max_dyes=MAX_DYES)
        start = process_time()
        found = match_many(dyes, wanted, max_dyes=MAX_DYES)
        middle = process_time()
        with patch.object(refine, "search_many", unpruned):
            plain = match_many(dyes, wanted, max_dyes=MAX_DYES)
        end = process_time()
        labs = np.array([target.lab for target in wanted])
        sizes_of = search_many(dyes, _goals(labs), count, D65_10, MAX_DYES, enough=SPOT)
        tried = np.mean([
            sum(int(s.tried.sum()) if s.tried is not None else len(s.cost) for s in one)
            for one in sizes_of
        ])  # fmt: skip
        agree = sum(str(a) == str(b) for a, b in zip(found, plain, strict=True))
        print(
            f"{size:>4} {found[0].searched:>8} {1e3 * (middle - start) / count:>7.0f} ms "
            f"{1e3 * (end - middle) / count:>9.0f} ms {tried:>8.0f}  {agree} of {count} the same",
            flush=True,
        )


def memory(count: int = 10_000) -> None:
    """Print the memory of this process as targets go by, none of the answers kept."""
    import resource

    dyes = shelf()
    labs = random_colours(count, 5)
    print(f"\n{'targets':>8} {'peak memory':>12}")
    for done in range(0, count, 1000):
        match_many(dyes, [Target(lab, D65_10) for lab in labs[done : done + 1000]])
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
        print(f"{done + 1000:>8} {peak:>9.0f} MB", flush=True)


def main(count: int = 10) -> None:
    """Print the table; a ratio only where both came to the same best ΔE2000 on every target."""
    if os.environ.get("OPENBLAS_NUM_THREADS") != "1":
        print("(set OPENBLAS_NUM_THREADS=1 for one thread on both sides)")
    dyes = shelf()
    labs = targets(dyes)[:: 50 // count][:count]
    thousand = random_colours(1000, 2)
    ours(dyes, labs[:1])  # the grid of starts is made once for a shelf and a light
    mine = ours(dyes, labs)
    print(f"{count} targets, 793 subsets each; best ΔE2000 {np.round(mine.best, 2).tolist()}\n")

    def line(name: str, seconds: float, words: str = "") -> None:
        print(f"{name:<44} {1e3 * seconds:9.1f} ms a target  {words}".rstrip(), flush=True)

    line("dyemix, search", alone(dyes, labs))
    line("dyemix, search and last steps", mine.seconds)
    line("dyemix, search, 1000 targets side by side", side_by_side(dyes, thousand))
    line("dyemix, match whole", whole(dyes, labs, many=False))
    line("dyemix, match_many whole, 1000 targets", whole(dyes, thousand, many=True))
    for method in ("trf", "dogbox"):
        for start in STARTS:
            other = loop(dyes, labs, method, start)
            apart = np.abs(np.subtract(mine.best, other.best)).max()
            ratio = (
                f"{other.seconds / mine.seconds:.0f} times as long"
                if apart <= SAME
                else f"best ΔE2000 differs by up to {apart:.2f}: no ratio"
            )
            line(other.name, other.seconds, ratio)
    plain = by_absorption(dyes, labs)
    behind = np.subtract(plain.best, mine.best)
    behind = behind[np.isfinite(behind)]
    off = f"{behind.mean():.1f} ΔE2000 further off on average, {behind.max():.1f} at worst"
    off += f" ({len(behind)} targets that a reflectance has)"
    line(plain.name, plain.seconds, off)
    growth()
    memory()


if __name__ == "__main__":
    main()
