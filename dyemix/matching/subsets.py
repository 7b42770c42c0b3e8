"""The blends of a shelf that come near to a colour: dye after dye, many targets at a time.

Every blend of up to three dyes (two on a large shelf) is tried, all at once, from the nearest point
of a lattice of amounts, whose colours are worked out once a shelf. A larger blend sets out from the
best blend inside it that its last dye promises to improve, by the slope of the residual there. A
blend at whose answer a dye stands at nothing is left out: the smaller blend is the same.
"""

from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from itertools import combinations, product
from math import comb
from typing import Self

import numpy as np

from dyemix.arrays import Array, Flags, Indices
from dyemix.colour.ciede2000 import delta_e, delta_e_parts
from dyemix.colour.colorimetry import Light
from dyemix.errors import refuse
from dyemix.model.dyes import DyeSet
from dyemix.model.least_squares import Residual, solve, within
from dyemix.model.mixtures import Blending, Goal, Index

#: Blends set out from a lattice of amounts, at these shares of the most that is allowed by number
#: of dyes, and at `_FEW` where there are more.
_SHARES: dict[int, Sequence[float] | Array] = {
    0: (),
    1: np.geomspace(0.005, 1.0, 20),
    2: (0.005, 0.03, 0.12, 0.4, 1.0),
    3: (0.01, 0.05, 0.2, 0.7),
}
_FEW = (0.05, 0.4)
#: Most points of the lattice of blends of one number of dyes; larger blends grow from smaller ones.
_MOST_POINTS = 80_000
#: From this far off ΔE2000 itself says which point is the nearest.
_FAR_OFF = 16.0
#: Steps for the many, most of which lead nowhere, and for the few that will be looked at.
_SEARCH, _LAST = (6, 1e-6), (40, 1e-6)
#: And for the many where each is asked for.
_EACH = (14, 1e-6)
#: Blends this much ΔE2000 behind are given up in the search.
_BEHIND = 12.0
#: A dye is tried where cos² between its slope and the residual is more than this.
_PROMISE = 1e-4
#: Amounts below this (% owf) are nothing: far below any measure.
TRACE = 1e-6
#: A further dye must bring a recipe nearer by this much ΔE2000 (far below what an eye sees), or
#: the recipe without it stands for both.
EARNS_ITS_PLACE = 0.1
#: Amounts are told to a millionth of a per cent: far below any measure, and the same whichever
#: way the arrays were cut.
_TOLD = 1e6
#: More blends than this are more than one computer searches while somebody waits.
_MOST_BLENDS = 1_000_000
#: Under a total a further dye sets out from this share of it, for which the others make room.
_ROOM = 0.25
#: Blends, or points, times dyes of the shelf worked on at once: few enough for the processor's
#: cache.
_BLOCK = 24_000


def number_of_blends(dyes: int, max_dyes: int) -> int:
    """Of 1 to `max_dyes` of so many dyes. Raises `DyemixError` for more than can be searched."""
    blends = sum(comb(dyes, size + 1) for size in range(min(max_dyes, dyes)))
    refuse(blends > _MOST_BLENDS, "matching.match.many", dyes, blends, max_dyes)
    return blends


def batches(kinds: Sequence[Hashable], most: int) -> Iterator[list[int]]:
    """Which items can be worked on side by side: those of one kind, at most so many at once."""
    for kind in dict.fromkeys(kinds):
        alike = [i for i, own in enumerate(kinds) if own == kind]
        yield from (alike[first : first + most] for first in range(0, len(alike), most))


@dataclass(frozen=True, eq=False)
class Found:
    """M blends for several targets.

    Attributes
    ----------
    which : ``(M,)`` the target each is for.
    used : ``(M, D)`` its dyes.
    amounts : ``(M, D)`` % owf.
    cost : ``(M,)`` the sum of squares of what was made small, ΔE2000² if nothing else is said.
    """

    which: Indices
    used: Flags
    amounts: Array
    cost: Array

    def rows(self, rows: Indices | Flags | slice) -> Self:
        """Some of them."""
        return type(self)(*(part[rows] for part in vars(self).values()))

    @classmethod
    def of(cls, used: Flags, amounts: Array, which: Indices | int = 0) -> Self:
        """Blends ``(M, D)`` that set out from there."""
        none = np.zeros(len(used))
        return cls(np.asarray(none + which, np.intp), used, amounts, none)

    @property
    def number(self) -> Indices:
        """Of dyes in each, ``(M,)``."""
        return np.asarray(self.used.sum(axis=1))

    @property
    def holds(self) -> Flags:
        """Whether blend i holds every dye of blend j, ``(M, M)``."""
        dyes = self.used.astype(np.float32)
        return np.asarray((1.0 - dyes) @ dyes.T == 0.0)

    @property
    def index(self) -> Index:
        """Dyes ``(k, M)`` of each; where they are fewer than k, then others that are not in it."""
        k, dyes = self.number.max(initial=1), self.used.shape[1]
        place = np.arange(dyes, dtype=np.int16) - np.int16(dyes) * self.used
        return np.argsort(place, axis=1)[:, :k].T

    @classmethod
    def joined(cls, parts: list[Self]) -> Self:
        """All of them."""
        return cls(*map(np.concatenate, zip(*(vars(part).values() for part in parts), strict=True)))

    def best(self, count: int = 1, level: float = 0.0, *, by_number: bool = False) -> Self:
        """The `count` nearest of each target, or of each number of dyes as well, best first.

        Costs up to `level` are equal; then the least dye in all goes first.
        """
        group = self.which * (self.used.shape[1] + 1) + by_number * self.number
        order = np.lexsort((self.amounts.sum(axis=1), np.maximum(self.cost, level), group))
        place = np.arange(len(order)) - np.searchsorted(group[order], group[order])
        return self.rows(order[place < count])


_blending = lru_cache(maxsize=8)(Blending)


@lru_cache(maxsize=8)
def _lattices(
    dyes: DyeSet, light: Light, lower: Sequence[float], upper: Sequence[float], total: float,
    max_dyes: int,
) -> list[tuple[Array, Array, Array]]:  # fmt: skip
    """Every blend of up to three dyes, of fewer where the shelf is large, at `_SHARES` of each.

    Of N blends of one size the amounts ``(N, P, D)`` of the P points that each may set out from,
    their CIELAB ``(N, P, 3)``, and where that lies `_evenly` ``(3, N, P)``.
    """
    low, top = np.array(lower), np.array(upper)
    must, others = np.flatnonzero(low > 0.0), np.flatnonzero((low == 0.0) & (top > 0.0))
    out: list[tuple[Array, Array, Array]] = []
    for size in range(len(must), min(max_dyes, len(must) + len(others), max(len(must), 3)) + 1):
        shares = np.array(list(product(_SHARES.get(size, _FEW), repeat=size)))
        blends = [(*must, *more) for more in combinations(others, size - len(must))]
        if out and len(blends) * len(shares) > _MOST_POINTS:
            break
        members = np.array(blends, np.intp).reshape(len(blends), 1, size)
        some = np.zeros((len(blends), len(shares), len(low)))
        np.put_along_axis(some, members, low[members] + (top - low)[members] * shares, axis=2)
        points = within(some, low[np.newaxis, np.newaxis], top, total, axis=2)
        labs = dyes.colours(points, light)
        out.append((points, labs, _evenly(labs)))
    return out


def _evenly(labs: Array) -> Array:
    """CIELAB ``(..., 3)`` as ``(3, ...)``, vivid colours drawn together by the logarithm of chroma
    as DIN 6176 does: there a distance is roughly ΔE2000. Single precision is enough to choose by.
    """
    lightness, a, b = np.moveaxis(labs, -1, 0)
    chroma = 0.045 * np.hypot(a, b)
    share = np.log1p(chroma) / np.maximum(chroma, 1e-9)
    return np.asarray([lightness, share * a, share * b], dtype="f4")


@dataclass(frozen=True, eq=False)
class Problem:
    """What is looked for: colours under one light, from a shelf, within bounds.

    Attributes
    ----------
    labs : ``(T, 3)`` CIELAB of the targets under `light`.
    max_dyes : most dyes in a blend.
    lower, upper : ``(D,)`` least and most of each dye, % owf; one with a least is in every blend.
    total : most of all dyes together, % owf.
    k_lightness : lightness factor of ΔE2000.
    spectra : ``(T, B)`` of the targets, where they were measured.
    """

    dyes: DyeSet
    labs: Array
    light: Light
    max_dyes: int
    lower: Array
    upper: Array
    total: float = np.inf
    k_lightness: float = 1.0
    spectra: Array | None = None

    @classmethod
    def of(cls, dyes: DyeSet, labs: Array, light: Light, max_dyes: int) -> Self:
        """Amounts run from nothing to the deepest swatch of each dye."""
        return cls(dyes, labs, light, max_dyes, np.zeros(len(dyes)), dyes.deepest)

    def goal(self, which: Indices) -> Goal:
        """ΔE2000 of rows from the targets `which` ``(N,)``: squares add up to ΔE2000²."""
        aims, k = self.labs.T.take(which, axis=1), self.k_lightness
        return lambda lab, rows: delta_e_parts(aims.take(rows, axis=1), lab, k)

    def weighed(self, which: Indices, force: Sequence[float]) -> Goal:
        """The same where lightness, chroma and hue count by so much."""
        goal, by = self.goal(which), np.array(force)[:, np.newaxis]

        def parts(lab: Array, rows: Indices) -> tuple[Array, Array]:
            value, slope = goal(lab, rows)
            return by * value, by[..., np.newaxis] * slope

        return parts

    @property
    def blending(self) -> Blending:
        """The forward model."""
        return _blending(self.dyes.whole, self.light)

    def colours(self, amounts: Array) -> Array:
        """CIELAB ``(..., 3)`` of amounts ``(..., D)``."""
        return self.dyes.colours(amounts, self.light)

    def descend(
        self, some: Found, steps: int, tolerance: float,
        residual: Callable[[Index], Residual] | None = None, secants: bool = False,
        behind: bool = False,
    ) -> Found:  # fmt: skip
        """Blends after some steps towards their targets, or down another `residual`.

        With `behind`, those that fall too far behind the nearest of their target are given up.
        """
        amounts, cost = np.zeros_like(some.amounts), np.zeros_like(some.cost)
        # All of a target at once, however many targets there are: its answer rests on itself alone.
        room = _BLOCK * len(self.labs) // (len(self.dyes) * max(len(cost), 1))
        label = some.which // max(room, 1) * (residual is None)
        for rows in (label == own for own in np.unique(label)):
            own, part = some.rows(rows), amounts[rows]
            index = own.index
            at = np.arange(len(part)), index
            used = own.used[at]
            start, low, top = (
                used * (x[at] if x.ndim > 1 else x.take(index))
                for x in (own.amounts, self.lower, self.upper)
            )
            down = (residual or partial(self.blending.towards, self.goal(own.which)))(index)
            part[at], cost[rows] = solve(
                down, start, top, lower=low, total=self.total, steps=steps, tolerance=tolerance,
                secants=secants, hopeless=partial(self.behind, own.which) if behind else None,
            )  # fmt: skip
            amounts[rows] = part
        return Found(some.which, some.used, amounts, cost)

    def behind(
        self, which: Indices, cost: Array, rows: Indices | slice = slice(None), by: float = _BEHIND
    ) -> Flags:
        """Whether blends in `rows` lie too far behind the nearest of their target to count."""
        miss, best, of = np.sqrt(cost), np.full(len(self.labs), np.inf), which[rows]
        np.minimum.at(best, of, miss)
        return np.asarray(miss > best[of] + by)

    def told(self, some: Found) -> Found:
        """Blends of amounts as they are told, rounded down where there is a total not to exceed;
        and ΔE2000² of those."""
        half = 0.0 if np.isfinite(self.total) else 0.5
        amounts = np.floor(some.amounts * _TOLD + half) / _TOLD
        miss = delta_e(self.labs[some.which], self.colours(amounts), self.k_lightness)
        return Found(some.which, amounts > 0.0, amounts, np.square(miss))

    def finish(self, some: Found) -> Found:
        """The last steps of the few that will be looked at."""
        return self.descend(some, *_LAST, secants=True)

    def search(self, enough: float = 0.0, beam: int | None = None) -> Found:
        """The blends that come near.

        If a `beam` is given, only so many of the nearest of each target are added to, and those
        more than `_BEHIND` off the nearest are given up, but for targets with spectra.

        A blend that holds a smaller one of ΔE2000² at most `enough` is not tried: no cost lies
        below 0, so it could not gain more. Where the targets have spectra, which ask more of a
        blend than its colour, every blend of more than three dyes is kept.
        """
        loose = self.spectra is not None
        behind = beam is not None and not loose
        placed = self._placed()
        size = int(placed.number.max())
        some = self._solved(placed, behind)
        parts, level = [some], some.rows(some.number == size)
        code = np.arange(1, 2 * len(self.dyes), 2, dtype=np.uint64) ** 11
        for _ in range(size, min(self.max_dyes, len(self.dyes))):
            if beam is not None and not loose:
                level = level.best(beam)
            if not len(level.cost):
                break
            spot = (level.cost <= enough) & (not loose)
            every = spot | (loose & (level.number >= 3))
            tried = (every[:, np.newaxis] | self._promising(level)) & ~level.used & (self.upper > 0)
            parent, dye = np.nonzero(tried)
            # Each blend once, from the best inside it. A sum of powers of odd numbers, left to
            # overflow, tells it: no two blends share one on any shelf up to `_MOST_BLENDS`.
            blend, which = level.used[parent] @ code + code[dye], level.which[parent]
            order = np.lexsort((level.cost[parent], blend, which))
            first = np.ones(len(order), dtype=bool)
            first[1:] = (np.diff(blend[order]) != 0) | (np.diff(which[order]) != 0)
            order = order[first & ~spot[parent[order]]]
            level = level.rows(parent[order])
            new = np.arange(len(order)), dye[order]
            level.used[new] = True
            if np.isfinite(self.total):  # no slope says what changing places would bring: set out
                level.amounts[new] = np.minimum(_ROOM * self.total, self.upper[dye[order]])
            level = self._solved(level, behind)
            parts.append(level)
        return Found.joined(parts)

    def _solved(self, some: Found, behind: bool) -> Found:
        """Blends after the steps of the search, but for those that a smaller one stands for."""
        some = self.descend(some, *(_SEARCH if behind else _EACH), behind=behind)
        out = np.any(some.used & (some.amounts < TRACE), axis=1)
        if self.spectra is not None:
            out &= some.number <= 3
        if behind:
            out |= self.behind(some.which, some.cost)
        return some.rows(~out)

    def _placed(self) -> Found:
        """Small blends at the points of their lattice that look nearest to each target."""
        limits = tuple(self.lower), tuple(self.upper), self.total, self.max_dyes
        weight, out = np.array([self.k_lightness**-2, 1.0, 1.0], dtype="f4"), []
        for points, labs, places in _lattices(self.dyes, self.light, *limits):
            for t, aim in enumerate(_evenly(self.labs).T):
                apart = np.tensordot(weight, np.square(places - aim[:, np.newaxis, np.newaxis]), 1)
                if apart.min() > _FAR_OFF**2:
                    apart = delta_e(self.labs[t], labs, self.k_lightness)
                start = points[np.arange(len(points)), apart.argmin(axis=1)]
                out.append(Found.of(start > 0.0, start, t))
        return Found.joined(out)

    def _promising(self, level: Found) -> Flags:
        """Which dyes ``(M, D)``, added to which blend, would bring it nearer."""
        if np.isfinite(self.total):  # a dye can join where another makes room
            return np.ones_like(level.used)
        index, rows = level.index, np.arange(len(level.cost))
        priced = self.blending.towards(self.goal(level.which), index, entering=True)
        r, slope = priced(level.amounts[rows, index], rows)
        down = (slope * r[:, np.newaxis]).sum(axis=0)
        size = (slope * slope).sum(axis=0) * level.cost
        return np.asarray(((down < 0.0) & (down * down > _PROMISE * size)).T)
