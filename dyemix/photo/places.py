"""Which part of a picture is which: the cells, the grey card, the patches, the bare paper.

Two ways to say it: the photo page, found by its four corner marks, or a grid with four corners. The
marks are ArUco markers (Garrido-Jurado et al., Pattern Recognition 47 (2014) 2280), found by OpenCV
in a reduced picture; their corners are then refined at full size.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from dyemix.arrays import Array, Indices
from dyemix.errors import InputError, refuse, said
from dyemix.photo.decode import Photograph, need, sayings
from dyemix.photo.layout import HEIGHT, LAYOUTS, WIDTH, Layout, homography, parts, project, quad

#: Longest side (px) of the picture in which the marks are looked for.
_SEARCH = 2400
#: Marks that are up to so many mm off their places lie on one page; a sheet of paper bends.
_NOT_FLAT = 3.0
#: A page whose marks are so many times larger than any other in the picture is the one meant.
_NEARER = 1.5
_CORNERS = ("top left", "top right", "bottom right", "bottom left")


@dataclass(frozen=True, eq=False)
class Frame:
    """Where in one picture everything lies, and how it was found.

    Attributes
    ----------
    labels : of the cells.
    places : for each role, quadrilaterals ``(N, 4, 2)``: corners clockwise from the top left, in mm
        of the page, or in pixels where there is none. The roles are ``"swatch"``, ``"white"`` for
        bare paper, ``"check"`` for the printed grey and ``"bar"`` for the printed black of each
        cell, ``"mark"`` for the corner marks, and ``"grey box"`` and ``"card box"`` ``(1, 4, 2)``,
        where cards lie; of what lies in these, ``"grey"`` for each step and ``"patch"`` for each
        patch.
    layout : which page, where one was found.
    notes : what was found, one sentence each.
    """

    labels: tuple[str, ...]
    places: Mapping[str, Array]
    layout: Layout | None = None
    notes: tuple[str, ...] = ()

    def of(self, role: str) -> Array:
        """The places of one role ``(N, 4, 2)``, in order; none where there are none."""
        return self.places.get(role, np.empty((0, 4, 2)))


@dataclass(frozen=True, eq=False)
class Lens:
    """From places (mm on the page) to pixels: a projective map, then the bend of the lens.

    A point at `r` from the middle of the picture, in half diagonals, lies at ``r / (1 + bend r²)``
    through a straight lens: the division model (Fitzgibbon, CVPR 2001), whose one number is below
    0 for a barrel. `middle` is ``(2,)`` and `radius` half a diagonal, in pixels.
    """

    to_pixels: Array
    middle: Array
    radius: float
    bend: float = 0.0

    @classmethod
    def of(cls, places: Array, pixels: Array, size: Array) -> "Lens":
        """The lens that best takes places ``(N, 2)`` to pixels of a picture of `size` ``(2,)``."""
        from scipy.optimize import minimize_scalar

        middle = (size - 1.0) / 2.0

        def bent(bend: float) -> "Lens":
            lens = cls(np.eye(3), middle, float(np.linalg.norm(middle)), bend)
            return replace(lens, to_pixels=homography(places, lens.straight(pixels)))

        def off(bend: float) -> float:
            return float(np.sum((bent(bend)(places) - pixels) ** 2))

        found = minimize_scalar(off, bounds=(-0.3, 0.3), method="bounded", options={"xatol": 1e-4})
        return bent(float(found.x))

    def __call__(self, places: Array) -> Array:
        out = (project(self.to_pixels, places) - self.middle) / self.radius
        far = 4.0 * self.bend * np.einsum("...i,...i", out, out)[..., np.newaxis]
        shrunk = out * 2.0 / (1.0 + np.sqrt(np.maximum(1.0 - far, 0.0)))
        return np.asarray(self.middle + self.radius * shrunk)

    def straight(self, pixels: Array) -> Array:
        """Where pixels ``(..., 2)`` would lie without the bend."""
        out = (pixels - self.middle) / self.radius
        stretched = out / (1.0 + self.bend * np.sum(out**2, axis=-1, keepdims=True))
        return np.asarray(self.middle + self.radius * stretched)

    def back(self, pixels: Array) -> Array:
        """The places of pixels ``(..., 2)``."""
        return project(np.asarray(np.linalg.inv(self.to_pixels)), self.straight(pixels))


_GRID = re.compile(r"\s*(\d+)\s*[x×]\s*(\d+)")
_POINT = re.compile(r"(-?\d+(?:\.\d+)?)\s*,\s*(-?\d+(?:\.\d+)?)")


def read_grid(text: str, grey_at: str = "", card_at: str = "") -> Frame:
    """Places in even rows and columns, where the photo page is not in the picture.

    `text` says how many and where their four outer corners are, clockwise from the top left:
    ``4x6 120,80 2000,90 1990,1500 110,1490``. Cells are labelled A1, A2, … row by row. `grey_at`
    and `card_at` are four points too: the corners of the grey card (its steps side by side) and of
    the patches of the patch card. Raises `InputError`.
    """
    size, how = _GRID.match(text), said("photo.grid")
    rows, columns = (int(size[1]), int(size[2])) if size else (0, 0)
    if size is None or not (0 < rows <= 26 and 0 < columns <= 50):
        raise InputError(said("photo.no_grid", text=text, help=how))
    places: dict[str, Array] = {}
    words = {"swatch": text[size.end() :] + " ", "grey box": grey_at, "card box": card_at}
    for role, points in words.items():
        box = np.array([(float(x), float(y)) for x, y in _POINT.findall(points)])
        upright = box.shape == (4, 2) and box[1, 0] - box[0, 0] > abs(box[1, 1] - box[0, 1])
        # Half the cross product of the diagonals is the area, positive where they run clockwise.
        (x, y), (u, v) = box[2:] - box[:2] if upright else np.zeros((2, 2))
        wrong = points and x * v - y * u < 200.0
        refuse(wrong, "photo.four_corners", role=role, help=how, error=InputError)
        places |= {role: box[np.newaxis]} if points else {}
    block = places["swatch"][0]
    width, height = np.linalg.norm(np.diff(block[:3], axis=0), axis=1)
    told, other = np.abs(np.log(width / height * np.array([rows / columns, columns / rows])))
    long = {"rows": rows, "columns": columns, "help": how}
    refuse(2.0 * other < told, "photo.long_cells", **long, error=InputError)
    places["swatch"] = parts(block, rows, columns)
    return Frame(Layout(-1, rows, columns).labels, places)


def mark_dictionary() -> Any:
    """The marks of the page: 5 × 5 squares, the first 50."""
    aruco = need("cv2", "photo").aruco
    return aruco.getPredefinedDictionary(aruco.DICT_5X5_50)


def _marks(photo: Photograph) -> tuple[Indices, Array]:
    """Numbers ``(M,)`` and corners ``(M, 4, 2)`` in pixels of every mark of a page in the picture.

    A number stands there twice where there are two pages.
    """
    dictionary = mark_dictionary()
    import cv2

    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    whole = np.array(photo.codes.shape[1::-1])
    width, height = np.rint(whole * min(1.0, _SEARCH / whole.max())).astype(int)
    to_see = np.rint(255.0 * photo.curve[:, 1] ** (1 / 2.2)).astype(np.uint8)
    green = cv2.resize(to_see[photo.codes[..., 1]], (width, height), interpolation=cv2.INTER_AREA)
    quads, seen, _ = cv2.aruco.ArucoDetector(dictionary, settings).detectMarkers(green)
    numbers = np.array([] if seen is None else seen, dtype=int).ravel()
    corners = (np.reshape(quads, (-1, 4, 2)) + 0.5) * (whole / (width, height)) - 0.5
    ours = numbers < 4 * len(LAYOUTS)
    return numbers[ours], corners[ours]


def find_page(photo: Photograph) -> tuple[Frame, Lens]:
    """Find the photo page: where everything lies on it, and how the lens shows it.

    Raises
    ------
    InputError
        No mark found, a corner of the page outside the picture, marks that do not belong
        together, or another page about as near.
    """
    numbers, corners = _marks(photo)
    photo.refuse(not len(numbers), "photo.no_page")
    sides = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).min(axis=1)
    order = np.argsort(sides)
    largest = dict(zip(numbers[order], order, strict=True))
    layout = LAYOUTS[numbers[order[-1]] // 4]
    wanted = dict(zip(4 * layout.index + np.arange(4), _CORNERS, strict=True))
    missing = " and ".join(name for mark, name in wanted.items() if mark not in largest)
    photo.refuse(missing, "photo.out_of_picture", missing=missing)
    four = np.array([largest[mark] for mark in wanted])
    marks, pixels = layout.places["mark"].reshape(-1, 2), corners[four].reshape(-1, 2)
    size, others = np.array(photo.codes.shape[1::-1]), np.delete(sides, four)
    lens = Lens.of(marks, pixels, size)
    off = float(np.linalg.norm(lens.back(pixels) - marks, axis=1).max())
    near = off > _NOT_FLAT or np.any(_NEARER * others > sides[four].mean())
    photo.refuse(len(others) and near, "photo.two_pages")
    photo.refuse(off > _NOT_FLAT, "photo.not_flat", off=off)
    page = lens(quad(0, 0, WIDTH, HEIGHT))
    per_mm = np.linalg.norm(page[1] - page[0]) / WIDTH
    photo.refuse(page.min() < -1 or (page.max(axis=0) > size + 1).any(), "photo.runs_out")
    holds = {"another_page": len(others), "bent_page": off > 1.0, "nearer": per_mm < 4.0}
    notes = sayings(holds, off=off, per_mm=per_mm)
    return Frame(layout.labels, layout.places, layout, tuple(notes)), lens
