"""What a shelf can reach on its cloth: the boundary of its blends in CIELAB, from the model.

The boundary is star-shaped about the middle of each slice of one L*: along every ray, the blend
of at most k dyes that lies farthest out. A coarse grid of every subset's amounts says which subsets
lead where, and the solver takes the best of them to the very edge.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.colorimetry import Light
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet
from dyemix.model.least_squares import solve
from dyemix.model.mixtures import lab_residual

if TYPE_CHECKING:
    import pandas as pd

#: Amounts of the coarse grid, as shares of the deepest square, by number of dyes.
_GRIDS = {3: np.array([0.0, 0.02, 0.1, 0.4, 1.0]), 4: np.array([0.0, 0.03, 0.2, 1.0])}
#: Subsets per ray that are taken to the edge.
_BEST = 8
#: Half the thickness, in L*, of the slab of grid points that a slice sets out from.
_HALF = 3.0
#: How often every ray is tried again from the blends found on its neighbours, in the
#: slices above and below too, and how many of each.
_ROUNDS, _NEIGHBOURS = 2, 3
#: What leaving the ray or the slice weighs against getting farther out, and how far out is asked
#: beyond the grid's best: they settle within 0.02 of the ray.
_STAY, _BEYOND = (40.0,), 25.0
_OFF = 0.3


@dataclass(frozen=True, eq=False)
class Gamut:
    """The boundary of a shelf, slice by slice.

    Attributes
    ----------
    levels : ``(S,)`` L* of the slices.
    angles : ``(H,)`` degrees of the rays, counter-clockwise from +a*.
    centres : ``(S, 2)`` a*, b* where the rays set out.
    radii : ``(S, H)`` distance to the boundary; 0 in a slice that no blend reaches.
    amounts : ``(S, H, D)`` % owf of the blends on the boundary.
    """

    levels: Array
    angles: Array
    centres: Array
    radii: Array
    amounts: Array
    max_dyes: int
    light: Light

    def boundary(self, level: int) -> Array:
        """a*, b* ``(H, 2)`` of the boundary of a slice, counted from 0."""
        turn = np.deg2rad(self.angles)
        along = np.stack([np.cos(turn), np.sin(turn)], axis=1)
        return np.asarray(self.centres[level] + self.radii[level, :, np.newaxis] * along)

    @property
    def areas(self) -> Array:
        """Area ``(S,)`` of each slice in the a*b* plane."""
        wedge = np.sin(np.deg2rad(360.0 / len(self.angles))) / 2.0
        return np.asarray((self.radii * np.roll(self.radii, -1, axis=1)).sum(axis=1) * wedge)

    @property
    def volume(self) -> float:
        """Volume in cubic CIELAB units, between the first and the last slice."""
        return float(np.trapezoid(self.areas, self.levels))

    def to_frame(self) -> pd.DataFrame:
        """One row a ray of a slice: L*, angle, a*, b*, C*."""
        import pandas as pd

        return pd.concat(
            [
                pd.DataFrame(
                    {"L*": level, "angle": self.angles, "a*": a, "b*": b, "C*": np.hypot(a, b)}
                )
                for i, level in enumerate(self.levels)
                if self.radii[i].any()
                for a, b in [self.boundary(i).T]
            ]
        )  # fmt: skip


def gamut(
    dyes: DyeSet,
    max_dyes: int = 3,
    *,
    levels: Array | None = None,
    rays: int = 72,
    light: Light | None = None,
) -> Gamut:
    """The boundary of what blends of at most `max_dyes` dyes reach, to their deepest squares.

    Parameters
    ----------
    max_dyes : 3 or 4; a fourth dye adds little, and two make a surface that holds no volume.
    levels : ``(S,)`` L* of the slices, rising; 20 to 90 in tens by default.
    rays : how many, evenly around each slice. Corners between them are cut, with 72 of them by
        up to 2 units on a shelf of twelve dyes.

    Raises `DyemixError` for a bad limit, and for a shelf of fewer than three dyes.
    """
    if max_dyes not in _GRIDS or rays < 8:
        raise DyemixError(
            "max_dyes is 3 or 4 (two dyes make a surface, not a solid), rays 8 or more."
        )
    if len(dyes) < 3:
        raise DyemixError(f"a shelf of {len(dyes)} dyes holds no volume of colour: three do.")
    light = light or dyes.light
    slices = np.arange(20.0, 91.0, 10.0) if levels is None else np.asarray(levels, dtype=float)
    k = min(max_dyes, len(dyes))
    index = np.array(list(combinations(range(len(dyes)), k)), dtype=np.intp)
    starts, labs, subset = _grid(dyes, index, k, light)
    angles = 2.0 * np.pi * np.arange(rays) / rays
    shape = (len(slices), rays)
    found = _Edge(np.zeros((len(slices), 2)), np.zeros(shape), np.zeros((*shape, len(dyes))))
    tries: list[tuple[int, int, int]] = []
    for i, level in enumerate(slices):
        near = np.flatnonzero(np.abs(labs[:, 0] - level) <= _HALF)
        if not len(near):
            continue
        found.centres[i] = np.median(labs[near, 1:], axis=0)
        for ray, points in enumerate(
            _outermost(labs[near, 1:] - found.centres[i], subset[near], rays)
        ):
            tries += [(i, ray, int(near[p])) for p in points]
    if tries:
        level, ray, point = np.array(tries, dtype=np.intp).T
        found.push(dyes, slices, angles, level, ray, index[subset[point]], starts[point], light)
        for again in range(_ROUNDS):
            found = found.from_neighbours(dyes, slices, angles, light, k, recentre=again == 0)
    for array in (found.centres, found.radii, found.amounts):
        array.setflags(write=False)
    return Gamut(slices, np.rad2deg(angles), found.centres, found.radii, found.amounts, k, light)


@dataclass(frozen=True, eq=False)
class _Edge:
    """The boundary while it is looked for: the arrays of `Gamut`, written to."""

    centres: Array
    radii: Array
    amounts: Array

    def push(
        self,
        dyes: DyeSet,
        slices: Array,
        angles: Array,
        level: NDArray[np.intp],
        ray: NDArray[np.intp],
        index: NDArray[np.intp],
        start: Array,
        light: Light,
    ) -> None:
        """Take blends ``(N, k)`` to the edge along a ray of a slice each, and keep the farthest."""
        at = np.column_stack([slices[level], self.centres[level]])
        out, x = _to_the_edge(dyes, index, start, at, angles[ray], light)
        for n in np.argsort(out, kind="stable"):  # the farthest is written last
            if out[n] > self.radii[level[n], ray[n]]:
                self.radii[level[n], ray[n]] = out[n]
                self.amounts[level[n], ray[n]] = 0.0
                self.amounts[level[n], ray[n], index[n]] = x[n]

    def from_neighbours(
        self, dyes: DyeSet, slices: Array, angles: Array, light: Light, k: int, *, recentre: bool
    ) -> _Edge:
        """Every ray once more, from the blends found nearest to it, and from a better middle."""
        labs = dyes.predict_many(self.amounts.reshape(-1, len(dyes)), light)
        points = labs[:, 1:].reshape(*self.radii.shape, 2)
        out = _Edge(self.centres.copy(), np.zeros_like(self.radii), np.zeros_like(self.amounts))
        level, ray, blend = [], [], []
        for i in range(len(slices)):
            there = np.flatnonzero(self.radii[i] > 0.0)
            if not len(there):
                continue
            if recentre:
                out.centres[i] = points[i, there].mean(axis=0)
            else:
                out.radii[i], out.amounts[i] = self.radii[i], self.amounts[i]
            for j in range(max(i - 1, 0), min(i + 2, len(slices))):
                there = np.flatnonzero(self.radii[j] > 0.0)
                apart = points[j, there] - out.centres[i]
                off = np.arctan2(apart[:, 1], apart[:, 0])[:, np.newaxis] - angles
                off = np.abs((off + np.pi) % (2.0 * np.pi) - np.pi)
                for nearest in np.argsort(off, axis=0)[:_NEIGHBOURS]:
                    level += [i] * len(angles)
                    ray += list(range(len(angles)))
                    blend += list(self.amounts[j, there[nearest]])
        full = np.array(blend)
        index = np.sort(np.argsort(-full, axis=1, kind="stable")[:, :k], axis=1)
        start = np.take_along_axis(full, index, axis=1)
        out.push(dyes, slices, angles, np.array(level), np.array(ray), index, start, light)
        return out


def _grid(
    dyes: DyeSet, index: NDArray[np.intp], k: int, light: Light
) -> tuple[Array, Array, NDArray[np.intp]]:
    """Amounts ``(P, k)`` of the coarse grid of every subset, their CIELAB, and which subset."""
    shares = np.stack(np.meshgrid(*[_GRIDS[k]] * k, indexing="ij"), axis=-1).reshape(-1, k)
    starts = (dyes.deepest[index][:, np.newaxis] * shares).reshape(-1, k)
    subset = np.repeat(np.arange(len(index)), len(shares))
    amounts = np.zeros((len(starts), len(dyes)))
    np.put_along_axis(amounts, index[subset], starts, axis=1)
    return starts, dyes.predict_many(amounts, light), subset


def _outermost(apart: Array, subset: NDArray[np.intp], rays: int) -> list[list[int]]:
    """For each ray, points of the `_BEST` subsets that lie farthest out near it."""
    step = 2.0 * np.pi / rays
    turn, radius = np.arctan2(apart[:, 1], apart[:, 0]), np.hypot(*apart.T)
    out = []
    for ray in range(rays):
        off = np.abs((turn - ray * step + np.pi) % (2.0 * np.pi) - np.pi)
        # A point a little off the ray counts for less, so that every ray has candidates.
        worth = radius - radius * np.minimum(off, 1.0) * 2.0
        found: dict[int, int] = {}
        for p in np.argsort(-worth)[:40]:
            found.setdefault(int(subset[p]), int(p))
            if len(found) == _BEST:
                break
        out.append(list(found.values()))
    return out


def _to_the_edge(
    dyes: DyeSet, index: NDArray[np.intp], start: Array, at: Array, angle: Array, light: Light
) -> tuple[Array, Array]:
    """How far out ``(N,)`` blends get along their rays, −∞ off it, and their amounts ``(N, k)``."""
    along = np.stack([np.zeros(len(at)), np.cos(angle), np.sin(angle)], axis=1)
    across = np.stack([np.zeros(len(at)), -np.sin(angle), np.cos(angle)], axis=1)
    up = np.tile([1.0, 0.0, 0.0], (len(at), 1))
    blends, top = dyes.blends(index), dyes.deepest[index]
    amounts = start
    first, _ = blends.lab_and_slope(start, light)
    far = np.einsum("ni,ni->n", first - at, along) + _BEYOND
    # Loosely first, or the way along the ray is too narrow to follow.
    for stay in _STAY:
        rows_of = np.stack([stay * up, along, stay * across], axis=1)
        want = np.einsum("nij,nj->ni", rows_of, at)
        want[:, 1] += far
        amounts = solve(
            lab_residual(blends, partial(_off, rows_of, want), light),
            amounts,
            top,
            steps=40,
            tolerance=1e-6,
        ).x
    labs, _ = blends.lab_and_slope(amounts, light)
    apart = labs - at
    on = (np.abs(apart[:, 0]) <= _OFF) & (np.abs(np.einsum("ni,ni->n", apart, across)) <= _OFF)
    return np.where(on, np.einsum("ni,ni->n", apart, along), -np.inf), amounts


def _off(rows_of: Array, want: Array, labs: Array, rows: NDArray[np.intp]) -> tuple[Array, Array]:
    """``rows_of @ Lab − want``, and its slope by Lab."""
    return np.einsum("nij,nj->ni", rows_of[rows], labs) - want[rows], rows_of[rows]


def joined(dyes: DyeSet, other: DyeSet) -> DyeSet:
    """One shelf of the dyes at hand and those of another book that are not among them.

    The other dyes keep the absorption and law that they have on their own cloth; cloth, surface
    and competition are those at hand. Raises `DyemixError` where there are none.
    """
    extra = [name for name in other.names if name not in dyes.names]
    if not extra:
        raise DyemixError("the other book has no dye that this shelf lacks.")
    more = other.take(extra)
    return replace(
        dyes,
        names=(*dyes.names, *extra),
        curves=np.concatenate([dyes.curves, more.curves]),
        exponent=np.concatenate([dyes.exponent, more.exponent]),
        capacity=np.concatenate([dyes.capacity, more.capacity]),
        palest=np.concatenate([dyes.palest, more.palest]),
        deepest=np.concatenate([dyes.deepest, more.deepest]),
        draws=None,
        report=None,
        demo=dyes.demo or other.demo,
    )
