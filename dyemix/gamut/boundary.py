"""What a shelf can reach on its cloth, slice by slice of L*: the edge of its blends in CIELAB.

Blends of at most k dyes, each to its deepest swatch, fill boxes of k dimensions, and the image of a
box in the three of CIELAB is bounded by images of two-dimensional faces of it: two dyes that vary,
the others out or at their deepest (as in a zonotope; where the model bends back on itself the edge
can lie beyond them, by less than a pixel on the shelves tried). Each face is cut into triangles,
and a slice crosses a triangle in a straight segment: marching triangles, after Lorensen & Cline,
Comput. Graph. 21 (1987) 163, one dimension down. The segments are drawn on a grid, small gaps
between them closed, and what they go round is filled.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import combinations

import numpy as np

from dyemix.arrays import Array, Bits, Flags, Indices
from dyemix.colour.colorimetry import Light
from dyemix.dataset.result import Value
from dyemix.errors import refuse
from dyemix.model.dyes import DyeSet

#: Depths along each side of a face, by how many dyes are held at their deepest.
_DEPTHS = (20, 8, 5)
#: Faces worked out at once: few enough for the processor's cache.
_FACES = 200
#: The grid has a pixel for each whole number of a* and b*, this far to either side.
_WIDEST = 130
#: Notches up to twice this many pixels wide are closed, and the outline is smoothed by this many.
_GAP, _SMOOTH = 2, 0.8


class Gamut(Value):
    """What a shelf reaches, in slices of one L*.

    Attributes
    ----------
    levels : ``(S,)`` L* of the slices, rising.
    outlines : of each slice the closed lines ``(V, 2)``, in a* and b*, that go round what is
        reached; none where no blend is.
    areas : ``(S,)`` area of each slice in the a*b* plane.
    """

    levels: Array
    outlines: tuple[tuple[Array, ...], ...]
    areas: Array
    max_dyes: int
    light: Light

    @property
    def volume(self) -> float:
        """Volume in cubic CIELAB units, between the first and the last slice."""
        return float(np.trapezoid(self.areas, self.levels))

    def brightest(self, every: int) -> Array:
        """CIELAB ``(N, 3)`` of most chroma in every so many slices, where any colour is reached."""
        slices = zip(self.levels[::every], self.outlines[::every], strict=True)
        far = [(x, max(np.concatenate(lines), key=np.linalg.norm)) for x, lines in slices if lines]
        return np.array([(level, *point) for level, point in far]).reshape(-1, 3)

    def reaches(self, labs: Array) -> Flags:
        """Whether colours ``(N, 3)`` are reached, each in the slice nearest to it in L*."""
        from matplotlib.path import Path

        slices = np.abs(labs[:, :1] - self.levels).argmin(axis=1)
        out = np.zeros(len(labs), dtype=bool)
        for i in np.unique(slices):
            for line in self.outlines[i]:
                out[slices == i] |= Path(line).contains_points(labs[slices == i, 1:])
        return out


def gamuts(
    dyes: DyeSet, max_dyes: int = 3, *, levels: Array | None = None, light: Light | None = None
) -> Callable[[int], Gamut]:
    """What a shelf and every part of it reaches, as a function of the dyes in it, a bit each.

    Parameters
    ----------
    max_dyes : 3 or 4; a fourth dye adds little, and two make a surface that holds no volume.
    levels : ``(S,)`` L* of the slices, rising; every 4 from 12 to 96 by default.

    Raises `DyemixError` for a bad limit, a shelf of fewer than three dyes or of more than 64.
    """
    refuse(max_dyes not in (3, 4), "max_dyes is 3 or 4 (two dyes make a surface, not a solid).")
    refuse(not 3 <= len(dyes) <= 64, "gamut.reach.dyes", len(dyes))
    light = dyes.light_of(light)
    slices = np.arange(12.0, 97.0, 4.0) if levels is None else np.asarray(levels, dtype=float)
    cut: list[list[tuple[Array, Bits]]] = [[] for _ in slices]
    for index in _faces(len(dyes), min(max_dyes, len(dyes))):
        bits = (np.uint64(1) << index.astype(np.uint64)).sum(axis=1, dtype=np.uint64)
        crossings = _crossings(_on_faces(dyes, index, light), bits, slices)
        for of_slice, found in zip(cut, crossings, strict=True):
            of_slice.append(found)
    edges = [[np.concatenate(part) for part in zip(*parts, strict=True)] for parts in cut]

    def of(allowed: int) -> Gamut:
        others = ~np.uint64(allowed)
        grids = [_filled(segments[(masks & others) == 0]) for segments, masks in edges]
        areas = np.array([float(grid.sum()) for grid in grids])
        return Gamut(slices, tuple(map(_outlines, grids)), areas, max_dyes, light)

    return of


def _outlines(grid: Flags) -> tuple[Array, ...]:
    """Closed lines ``(V, 2)`` round what is filled, smooth: the contour at one half."""
    from contourpy import contour_generator
    from scipy import ndimage

    soft = ndimage.gaussian_filter(grid.astype(float), _SMOOTH)
    lines = contour_generator(z=soft.T).lines(0.5)
    return tuple(np.asarray(line) - _WIDEST for line in lines if len(line) > 3)


def _filled(segments: Array) -> Flags:
    """Whether each whole a*, b* from −`_WIDEST` up is reached, within segments ``(P, 2, 2)``."""
    from scipy import ndimage

    across = np.abs(segments[:, 1] - segments[:, 0]).max(axis=1, initial=0.0)
    number = np.ceil(2.0 * across).astype(int) + 2  # a point every half pixel, both ends too
    which = np.repeat(np.arange(len(segments)), number)
    counted = np.arange(len(which)) - np.repeat(np.cumsum(number) - number, number)
    share = (counted / (number[which] - 1))[:, np.newaxis]
    points = segments[which, 0] + share * (segments[which, 1] - segments[which, 0])
    grid = np.zeros((2 * _WIDEST + 1, 2 * _WIDEST + 1), dtype=bool)
    grid[tuple(np.clip(np.rint(points).astype(int) + _WIDEST, 0, 2 * _WIDEST).T)] = True
    outside, _ = ndimage.label(~ndimage.binary_closing(grid, iterations=_GAP))
    return np.asarray(outside != outside[0, 0])


def _faces(dyes: int, max_dyes: int) -> Iterator[Indices]:
    """Faces ``(M, 2 + f)`` in chunks: two dyes that vary, and f at their deepest."""
    for full in range(max_dyes - 1):
        faces = [
            (*pair, *more)
            for pair in combinations(range(dyes), 2)
            for more in combinations([i for i in range(dyes) if i not in pair], full)
        ]
        yield from (np.array(faces[i : i + _FACES], np.intp) for i in range(0, len(faces), _FACES))


def _on_faces(dyes: DyeSet, index: Indices, light: Light) -> Array:
    """CIELAB ``(M, n, n, 3)`` of depths along both sides of faces."""
    n = _DEPTHS[index.shape[1] - 2]
    shares = np.concatenate([[0.0], np.geomspace(0.004, 1.0, n - 1)])
    inside = np.ones((n, n, index.shape[1]))
    inside[..., 0], inside[..., 1] = shares[:, np.newaxis], shares
    amounts = np.zeros((len(index), n, n, len(dyes)))
    at = np.broadcast_to(index[:, np.newaxis, np.newaxis], (len(index), *inside.shape))
    np.put_along_axis(amounts, at, dyes.deepest[at] * inside, axis=3)
    return dyes.colours(amounts, light)


def _crossings(labs: Array, masks: Bits, levels: Array) -> Iterator[tuple[Array, Bits]]:
    """Segments in which each slice crosses the faces, and their dyes, slice by slice."""
    a, b, c, d = labs[:, :-1, :-1], labs[:, 1:, :-1], labs[:, :-1, 1:], labs[:, 1:, 1:]
    corners = np.stack([np.stack([a, b, d], axis=-2), np.stack([a, c, d], axis=-2)], axis=1)
    triangles = corners.reshape(-1, 3, 3)
    dyes = np.repeat(masks, len(triangles) // len(masks))
    low, high = triangles[:, :, 0].min(axis=1), triangles[:, :, 0].max(axis=1)
    for level in levels:
        cut = np.flatnonzero((low <= level) & (level < high))
        above = triangles[cut, :, 0] > level
        # Both ends of the segment lie on the sides that meet in the corner that stands alone.
        alone = np.where(above.sum(axis=1) == 1, above.argmax(axis=1), above.argmin(axis=1))
        corner = triangles[cut, alone]
        ends = []
        for other in (1, 2):
            far = triangles[cut, (alone + other) % 3]
            share = (level - corner[:, :1]) / (far[:, :1] - corner[:, :1])
            ends.append(corner[:, 1:] + share * (far[:, 1:] - corner[:, 1:]))
        yield np.stack(ends, axis=1), dyes[cut]
