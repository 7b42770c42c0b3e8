"""Where everything lies on the photo page, in millimetres, and the geometry of looking at it.

The frame runs from the outer corner of the top left mark (0, 0) to that of the bottom right one
(`WIDTH`, `HEIGHT`); it fits A4 and US Letter with margins, and the scale of the print does not
matter. Four corner marks say which layout it is: the marks of layout ``i`` carry the numbers
``4 i`` to ``4 i + 3``, clockwise from the top left. More cells than one page holds lie on two, each
with a layout and rows of its own.

Under each cell stands a strip with its label, a square of printed grey and a black bar. The white
between the cells tells how even the light was, the greys whether the camera changed its tones from
place to place, and the bars whether it was in focus.
"""

import string
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from dyemix.arrays import Array
from dyemix.errors import DyemixError

WIDTH, HEIGHT = 186.0, 256.0
MARK = 16.0
_TOP = 20.0
_GUTTER, _STRIP = 5.0, 5.5
BAR_HEIGHT = 1.6
#: Print stands in the head of a cell, so high: there cloth is not told from it.
HEAD = 4.6
#: Left, top, width, height.
GREY_BOX = (2.0, 186.0, 78.0, 30.0)
CARD_BOX = (88.0, 177.0, 96.0, 60.0)


def quad(left: ArrayLike, top: ArrayLike, width: ArrayLike, height: ArrayLike) -> Array:
    """Corners ``(..., 4, 2)`` of rectangles, clockwise from the top left."""
    right, bottom = np.add(left, width), np.add(top, height)
    corners = np.broadcast_arrays(left, top, right, top, right, bottom, left, bottom)
    return np.stack(corners, axis=-1).reshape(*corners[0].shape, 4, 2)


_UNIT = quad(0.0, 0.0, 1.0, 1.0)


def parts(corners: Array, rows: int, columns: int) -> Array:
    """Corners ``(rows × columns, 4, 2)`` of an even division of a quadrilateral, row by row.

    The division follows the perspective of the corners ``(4, 2)``.
    """
    row, column = np.indices((rows, columns)).reshape(2, -1)
    return project(homography(quad(0, 0, columns, rows), corners), quad(column, row, 1, 1))


def homography(source: Array, target: Array) -> Array:
    """The projective map ``(3, 3)`` that takes points ``(N ≥ 4, 2)`` to `target`, least squares."""
    import cv2

    return np.asarray(cv2.findHomography(source, target)[0])


def project(matrix: Array, points: Array) -> Array:
    """Points ``(..., 2)`` through a projective map."""
    full = matrix[:, :2] @ points.reshape(-1, 2).T + matrix[:, 2:]  # long rows are quick
    return np.asarray((full[:2] / full[2]).T.reshape(points.shape))


def inset(corners: Array, share: float) -> Array:
    """The middle `share` of a quadrilateral ``(4, 2)`` in both directions."""
    return within(corners, 0.5 + share * (_UNIT - 0.5))


def within(corners: Array, points: Array) -> Array:
    """Points ``(..., 2)`` of the unit square, as they lie in a quadrilateral ``(4, 2)``."""
    return project(homography(_UNIT, corners), points)


@dataclass(frozen=True)
class Layout:
    """One division of the page: `rows` lettered from the `first` on, `columns` numbered.

    The cells with their strips end at `bottom`.
    """

    index: int
    rows: int
    columns: int
    first: int = 0
    bottom: float = 172.0

    @cached_property
    def labels(self) -> tuple[str, ...]:
        """``A1``, ``A2``, … row by row."""
        letters = string.ascii_uppercase[self.first : self.first + self.rows]
        return tuple(f"{row}{i}" for row in letters for i in range(1, self.columns + 1))

    @cached_property
    def places(self) -> dict[str, Array]:
        """What lies and stands where ``(N, 4, 2)``: the roles of a `Frame`."""
        row, column = np.indices((self.rows, self.columns)).reshape(2, -1)
        w, h = WIDTH / self.columns, (self.bottom - _TOP) / self.rows
        x, y = column * w, _TOP + row * h
        left, top = x + _GUTTER / 2, y + h - _STRIP + 0.5
        between = np.where(x > 0, x - 0.9, 0.4)
        white = [quad(between, y + share * h, 1.8, 2.4) for share in (0.15, 0.45)]
        white += [quad(left + 9.8, top + 0.7, 1.6, 2.0), quad(x + w - 2.2, top + 0.7, 1.8, 2.0)]
        for start, edge, width, height in (GREY_BOX, CARD_BOX):
            along = start + np.linspace(0.1, 0.9, 6) * width - 1
            white += [quad(along, beside, 2, 1.6) for beside in (edge - 2.6, edge + height + 1.0)]
        return {
            "swatch": quad(left, y + 1.5, w - _GUTTER, h - _STRIP - 3.0),
            "check": quad(left + 6.0, top, 3.5, 3.5),
            "bar": quad(left + 12.0, top + 0.9, 4.5, BAR_HEIGHT),
            "white": np.concatenate(white),
            "grey box": quad(*GREY_BOX)[np.newaxis],
            "card box": quad(*CARD_BOX)[np.newaxis],
            "mark": quad(0, 0, WIDTH - MARK, HEIGHT - MARK)[:, np.newaxis] + quad(0, 0, MARK, MARK),
        }


#: Every layout that was ever printed. Of the third, cells are too small, and it is printed no more.
LAYOUTS = (
    Layout(0, 3, 4), Layout(1, 4, 6), Layout(2, 5, 8),
    Layout(3, 4, 5, bottom=174.0), Layout(4, 4, 5, first=4, bottom=174.0),
)  # fmt: skip
#: What is printed together.
_SETS = ((LAYOUTS[0],), (LAYOUTS[1],), (LAYOUTS[3], LAYOUTS[4]))


def layouts_of(cells: int) -> tuple[Layout, ...]:
    """The pages with that many cells or the next more. Raises `DyemixError`."""
    for pages in _SETS:
        if 1 <= cells <= sum(len(page.labels) for page in pages):
            return pages
    raise DyemixError(f"{cells} cells do not fit a page: 1 to 40 do. Print another page.")


def printed_with(page: Layout) -> set[str]:
    """The labels of all cells that are printed together with those of a page, its own included."""
    pages = next((pages for pages in _SETS if page in pages), (page,))
    return {label for each in pages for label in each.labels}
