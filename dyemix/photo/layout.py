"""Where everything lies on the swatch sheet, in millimetres.

The frame runs from the outer corner of the top left mark (0, 0) to that of the bottom right one
(`WIDTH`, `HEIGHT`); it fits A4 and US Letter with margins, and the scale of the print does not
matter. Four corner marks say which layout it is: the marks of layout ``i`` carry the numbers
``4 i`` to ``4 i + 3``, clockwise from the top left.

Under each cell stands a strip with its label, a square of printed grey and a black bar. The white
between the cells tells how even the light was, the greys whether the camera changed its tones from
place to place, and the bars whether it was in focus.
"""

from __future__ import annotations

import string
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from dyemix.arrays import Array
from dyemix.errors import DyemixError

WIDTH, HEIGHT = 186.0, 256.0
MARK = 16.0
_TOP, _BOTTOM = 20.0, 172.0
_GUTTER, _STRIP = 5.0, 5.5
#: Left, top, width, height.
GREY_BOX = (2.0, 186.0, 78.0, 30.0)
CARD_BOX = (88.0, 177.0, 96.0, 60.0)


def quad(left: float, top: float, width: float, height: float) -> Array:
    """Corners ``(4, 2)`` of a rectangle, clockwise from the top left."""
    right, bottom = left + width, top + height
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]])


def parts(corners: Array, rows: int, columns: int) -> Array:
    """Corners ``(rows × columns, 4, 2)`` of an even division of a quadrilateral, row by row.

    The division follows the perspective of the corners ``(4, 2)``.
    """
    to_box = homography(quad(0, 0, columns, rows), corners)
    boxes = np.array([quad(c, r, 1, 1) for r in range(rows) for c in range(columns)])
    return project(to_box, boxes)


def homography(source: Array, target: Array) -> Array:
    """The projective map ``(3, 3)`` that takes points ``(N ≥ 4, 2)`` to `target`, least squares.

    Direct linear transform with Hartley's scaling (Hartley & Zisserman 2004, algorithm 4.2).
    """

    def scaling(points: Array) -> Array:
        centre = points.mean(axis=0)
        size = np.sqrt(2.0) / max(np.linalg.norm(points - centre, axis=1).mean(), 1e-12)
        return np.array([[size, 0, -size * centre[0]], [0, size, -size * centre[1]], [0, 0, 1]])

    ts, tt = scaling(source), scaling(target)
    s, t = project(ts, source), project(tt, target)
    one, nought = np.ones(len(s)), np.zeros(len(s))
    x, y, u, v = s[:, 0], s[:, 1], t[:, 0], t[:, 1]
    rows = [
        np.stack([x, y, one, nought, nought, nought, -u * x, -u * y, -u], axis=1),
        np.stack([nought, nought, nought, x, y, one, -v * x, -v * y, -v], axis=1),
    ]
    solution = np.linalg.svd(np.concatenate(rows))[2][-1].reshape(3, 3)
    found = np.linalg.solve(tt, solution @ ts)
    return np.asarray(found / found[2, 2])


def project(matrix: Array, points: Array) -> Array:
    """Points ``(..., 2)`` through a projective map."""
    full = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(full[..., :2] / full[..., 2:])


@dataclass(frozen=True)
class Layout:
    """One division of the sheet: `rows` lettered from the top, `columns` numbered."""

    index: int
    rows: int
    columns: int

    @property
    def count(self) -> int:
        return self.rows * self.columns

    @cached_property
    def labels(self) -> tuple[str, ...]:
        """``A1``, ``A2``, … row by row."""
        letters = string.ascii_uppercase[: self.rows]
        return tuple(f"{row}{i}" for row in letters for i in range(1, self.columns + 1))

    @cached_property
    def _corners(self) -> list[tuple[float, float, float, float]]:
        """Left, top, width, height of each cell with its surround."""
        width, height = WIDTH / self.columns, (_BOTTOM - _TOP) / self.rows
        return [
            (column * width, _TOP + row * height, width, height)
            for row in range(self.rows)
            for column in range(self.columns)
        ]

    @cached_property
    def cells(self) -> Array:
        """Where the cloth lies ``(N, 4, 2)``."""
        return np.array(
            [
                quad(x + _GUTTER / 2, y + 1.5, w - _GUTTER, h - _STRIP - 3.0)
                for x, y, w, h in self._corners
            ]
        )

    @cached_property
    def strips(self) -> Array:
        """The label strip under each cell: left and top ``(N, 2)``."""
        return np.array([[x + _GUTTER / 2, y + h - _STRIP + 0.5] for x, y, w, h in self._corners])

    @cached_property
    def greys(self) -> Array:
        """The square of printed grey in each strip ``(N, 4, 2)``."""
        return np.array([quad(x + 6.0, y, 3.5, 3.5) for x, y in self.strips])

    @cached_property
    def bars(self) -> Array:
        """The black bar in each strip ``(N, 4, 2)``."""
        return np.array([quad(x + 12.0, y + 0.9, 4.5, 1.6) for x, y in self.strips])

    @cached_property
    def whites(self) -> Array:
        """Spots of bare paper ``(M, 4, 2)``: between the cells, and beside each grey square."""
        spots = []
        for (x, y, w, h), (sx, sy) in zip(self._corners, self.strips, strict=True):
            spots += [quad(x - 0.9 if x else 0.4, y + f * h, 1.8, 2.4) for f in (0.15, 0.45)]
            spots += [quad(sx + 9.8, sy + 0.7, 1.6, 2.0), quad(x + w - 2.2, sy + 0.7, 1.8, 2.0)]
        for box in (GREY_BOX, CARD_BOX):
            left, top, width, height = box
            for f in np.linspace(0.1, 0.9, 6):
                spots += [
                    quad(left + f * width - 1, top - 2.6, 2, 1.6),
                    quad(left + f * width - 1, top + height + 1.0, 2, 1.6),
                ]
        return np.array(spots)

    @cached_property
    def marks(self) -> Array:
        """Corners ``(4, 4, 2)`` of the four marks."""
        right, low = WIDTH - MARK, HEIGHT - MARK
        return np.array(
            [quad(x, y, MARK, MARK) for x, y in ((0, 0), (right, 0), (right, low), (0, low))]
        )


LAYOUTS = (Layout(0, 3, 4), Layout(1, 4, 6), Layout(2, 5, 8))


def layout_of(cells: int) -> Layout:
    """The layout with that many cells or the next larger. Raises `DyemixError`."""
    for layout in LAYOUTS:
        if 1 <= cells <= layout.count:
            return layout
    raise DyemixError(
        f"{cells} cells do not fit a sheet: it holds 1 to {LAYOUTS[-1].count}. Print another sheet."
    )
