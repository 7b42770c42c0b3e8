"""Find the photo page in a picture, by its four corner marks.

The marks are ArUco markers (Garrido-Jurado et al., Pattern Recognition 47 (2014) 2280), found by
OpenCV in a reduced picture; their corners are then refined at full size.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.photo.decode import Photograph, need
from dyemix.photo.layout import (
    CARD_BOX,
    GREY_BOX,
    HEIGHT,
    LAYOUTS,
    WIDTH,
    homography,
    project,
    quad,
)
from dyemix.photo.places import Frame

#: Longest side (px) of the picture in which the marks are looked for.
_SEARCH = 1800
_CORNER_NAMES = ("top left", "top right", "bottom right", "bottom left")


def dictionary() -> Any:
    """The marks of the page: 5 × 5 squares, the first 50."""
    aruco = need("cv2", "photo", ", or give the corners of the cells in a table.").aruco
    return aruco.getPredefinedDictionary(aruco.DICT_5X5_50)


def _marks(photo: Photograph) -> dict[int, Array]:
    """Corners ``(4, 2)`` of every mark of a page in the picture, by number."""
    marks = dictionary()
    import cv2

    codes = photo.codes
    shrink = max(1, int(np.ceil(max(codes.shape[:2]) / _SEARCH)))
    detector = cv2.aruco.ArucoDetector(marks, cv2.aruco.DetectorParameters())
    found: dict[int, Array] = {}
    for step in dict.fromkeys((shrink, max(1, shrink // 2))):
        size = (codes.shape[1] // step, codes.shape[0] // step)
        small = codes if step == 1 else cv2.resize(codes, size, interpolation=cv2.INTER_AREA)
        corners, numbers, _ = detector.detectMarkers(_eight_bit(small[..., 1], photo))
        scale = np.array(codes.shape[1::-1]) / size
        for number, mark in zip([] if numbers is None else numbers.ravel(), corners, strict=True):
            if number < 4 * len(LAYOUTS):
                found[int(number)] = (mark.reshape(4, 2).astype(float) + 0.5) * scale - 0.5
        if len(found) >= 4:
            break
    return {number: _refine(photo, corners) for number, corners in found.items()}


def _eight_bit(green: NDArray[Any], photo: Photograph) -> NDArray[np.uint8]:
    """The green codes; sixteen-bit ones as 8-bit ones with sRGB's spacing, whatever the curve."""
    if green.dtype != np.uint8:
        level = photo.curve[:, 1].astype(float)
        encoded = np.where(level <= 0.0031308, 12.92 * level, 1.055 * level ** (1 / 2.4) - 0.055)
        green = np.rint(255.0 * np.clip(encoded, 0, 1)).astype(np.uint8)[green]
    return np.ascontiguousarray(green)


def _refine(photo: Photograph, corners: Array) -> Array:
    """Corners of a mark to a fraction of a pixel, at full size."""
    import cv2

    side = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).min()
    window = int(np.clip(side / 14.0, 2, 12))  # half a square of the mark, which has seven
    low = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 3 * window, 0)
    high = np.ceil(corners.max(axis=0)).astype(int) + 3 * window
    patch = _eight_bit(photo.codes[low[1] : high[1], low[0] : high[0], 1], photo)
    start = (corners - low).astype(np.float32).reshape(-1, 1, 2)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 30, 0.01)
    fine = cv2.cornerSubPix(patch, start, (window, window), (-1, -1), stop).reshape(4, 2)
    return np.asarray(fine + low, dtype=float)


def find_page(photo: Photograph) -> Frame:
    """Find the photo page and say where in the picture everything on it lies.

    Raises
    ------
    InputError
        No mark found, a corner of the page outside the picture, or marks that do not belong
        together.
    """
    found = _marks(photo)
    if not found:
        raise photo.refuse(
            "no photo page was found: all four corner marks must be in the picture and sharp. "
            "Without the printed page, give the corners of the cells in a table."
        )
    kinds = {number // 4 for number in found}
    if len(kinds) > 1:
        raise photo.refuse(
            "corner marks of two different pages are in the picture: photograph one."
        )
    layout = LAYOUTS[kinds.pop()]
    numbers = range(4 * layout.index, 4 * layout.index + 4)
    missing = [name for name, i in zip(_CORNER_NAMES, numbers, strict=True) if i not in found]
    if missing:
        raise photo.refuse(
            f"the page is partly out of the picture or covered: its {' and '.join(missing)} "
            "corner mark is not to be seen. Photograph all four."
        )
    pixels = np.concatenate([found[i] for i in numbers])
    marks = layout.marks.reshape(-1, 2)
    to_pixels = homography(marks, pixels)
    page = project(to_pixels, quad(0, 0, WIDTH, HEIGHT))
    per_mm = np.linalg.norm(page[1] - page[0]) / WIDTH
    off = np.linalg.norm(project(to_pixels, marks) - pixels, axis=1).max() / per_mm
    if off > 3.0:
        raise photo.refuse(
            f"the corner marks are {off:.0f} mm off their places: lay the page flat, print it in "
            "one piece."
        )
    if page.min() < -1 or (page.max(axis=0) > np.array(photo.codes.shape[1::-1]) + 1).any():
        raise photo.refuse("the page runs out of the picture: photograph all of it.")
    notes = []
    if off > 1.0:
        notes.append(f"the page was not quite flat: marks up to {off:.1f} mm off.")
    if per_mm < 4.0:
        notes.append(
            f"the page is small in the picture ({per_mm:.1f} pixels a mm; 6 or more are good): "
            "go nearer."
        )
    lying = {
        "swatch": layout.cells,
        "check": layout.greys,
        "bar": layout.bars,
        "white": layout.whites,
        "grey box": quad(*GREY_BOX)[np.newaxis],
        "card box": quad(*CARD_BOX)[np.newaxis],
    }
    places = {role: project(to_pixels, quads) for role, quads in lying.items()}
    return Frame(layout.labels, places, layout, to_pixels, tuple(notes))
