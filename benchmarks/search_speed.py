"""How long the whole shelf takes: every subset at once, against one solver call a subset.

Twelve dyes, up to four of them: 793 subsets, ΔE2000 with its analytic slope on both sides. The
alternative is `scipy.optimize.least_squares` in a loop, arrays of each subset gathered
beforehand, started from a pale middle or from a linear solution, both printed. Run on one thread.
The look across grey that `match` adds for a target far out of reach has no counterpart in the
loop: neither side is timed with it. Processor time is counted, so that a busy machine does not
favour one side.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations
from time import process_time

import numpy as np
from scipy.optimize import least_squares, nnls

from benchmarks.shelf import shelf, targets
from dyemix.colorimetry import D65_10, lab_from_xyz, lab_slope, weights, xyz_from_lab
from dyemix.colour_difference import delta_e_residual
from dyemix.dyes import DyeSet
from dyemix.kubelka_munk import Array, depth_law, depth_law_slope
from dyemix.matching import delta_e_goal
from dyemix.search import finish, search

MAX_DYES = 4
#: The two count as having come to the same answer within this much ΔE2000.
SAME = 0.01


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
        sizes = search(dyes, goal, D65_10, MAX_DYES)
        last = [finish(dyes, goal, D65_10, size.best(20)) for size in sizes]
        best.append(min(float(np.sqrt(size.cost.min())) for size in last))
    return Timing("dyemix", (process_time() - start) / len(labs), tuple(best))


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


def main(count: int = 10) -> None:
    """Print the table; a ratio only where both came to the same best ΔE2000 on every target."""
    if os.environ.get("OPENBLAS_NUM_THREADS") != "1":
        print("(set OPENBLAS_NUM_THREADS=1 for one thread on both sides)")
    dyes = shelf()
    labs = targets(dyes)[:: 50 // count][:count]
    ours(dyes, labs[:1])  # the grid of starts is made once for a shelf and a light
    mine = ours(dyes, labs)
    print(f"{count} targets, 793 subsets each; best ΔE2000 {np.round(mine.best, 2).tolist()}")
    print(f"{'dyemix':<22} {1e3 * mine.seconds:9.1f} ms a target")
    for method in ("trf", "dogbox"):
        for start in STARTS:
            other = loop(dyes, labs, method, start)
            apart = np.abs(np.subtract(mine.best, other.best)).max()
            ratio = (
                f"{other.seconds / mine.seconds:6.0f} times as long"
                if apart <= SAME
                else f"best ΔE2000 differs by up to {apart:.2f}: no ratio"
            )
            print(f"{other.name:<22} {1e3 * other.seconds:9.1f} ms a target  {ratio}")


if __name__ == "__main__":
    main()
