"""Find the printed sheet in a picture, by its four corner marks.

The marks are ArUco markers (Garrido-Jurado et al., Pattern Recognition 47 (2014) 2280), found by
OpenCV in a reduced picture; their corners are then refined at full size.
"""

from __future__ import annotations

import numpy as np

from dyemix.arrays import Array
from dyemix.errors import Fault, InputError
from dyemix.photo.align import align_card
from dyemix.photo.decode import Photograph, need
from dyemix.photo.layout import (
    CARD_BOX,
    GREY_BOX,
    HEIGHT,
    LAYOUTS,
    WIDTH,
    homography,
    parts,
    project,
    quad,
)
from dyemix.photo.places import Frame, Place, grid_of

#: Longest side (px) of the picture in which the marks are looked for.
_SEARCH = 1800
_CORNER_NAMES = ("top left", "top right", "bottom right", "bottom left")


def dictionary() -> object:
    """The marks of the sheet: 5 × 5 squares, the first 50."""
    aruco = need("cv2", "photo", ".").aruco
    return aruco.getPredefinedDictionary(aruco.DICT_5X5_50)


def _marks(photo: Photograph) -> dict[int, Array]:
    """Corners ``(4, 2)`` of every mark in the picture, by number."""
    cv2 = need("cv2", "photo", ", or give the corners of the cells in a table.")
    codes = photo.codes
    shrink = max(1, int(np.ceil(max(codes.shape[:2]) / _SEARCH)))
    detector = cv2.aruco.ArucoDetector(dictionary(), cv2.aruco.DetectorParameters())
    found: dict[int, Array] = {}
    for step in dict.fromkeys((shrink, max(1, shrink // 2))):
        size = (codes.shape[1] // step, codes.shape[0] // step)
        small = codes if step == 1 else cv2.resize(codes, size, interpolation=cv2.INTER_AREA)
        grey = small[..., 1] if photo.top == 255 else _eight_bit(small[..., 1], photo)
        corners, numbers, _ = detector.detectMarkers(np.ascontiguousarray(grey))
        scale = np.array([codes.shape[1] / grey.shape[1], codes.shape[0] / grey.shape[0]])
        for number, quad_ in zip([] if numbers is None else numbers.ravel(), corners, strict=True):
            found[int(number)] = (quad_.reshape(4, 2).astype(float) + 0.5) * scale - 0.5
        if sum(number < 4 * len(LAYOUTS) for number in found) >= 4:
            break
    return {number: _refine(photo, corners) for number, corners in found.items()}


def _eight_bit(green: Array, photo: Photograph) -> Array:
    """Sixteen-bit codes as 8-bit ones with sRGB's spacing, whatever the file's curve."""
    level = photo.curve[:, 1].astype(float)
    encoded = np.where(level <= 0.0031308, 12.92 * level, 1.055 * level ** (1 / 2.4) - 0.055)
    table = np.rint(255.0 * np.clip(encoded, 0, 1)).astype(np.uint8)
    return np.asarray(table[green])


def _refine(photo: Photograph, corners: Array) -> Array:
    """Corners of a mark to a fraction of a pixel, at full size."""
    cv2 = need("cv2", "photo", ".")
    side = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).min()
    window = int(np.clip(side / 14.0, 2, 12))  # half a square of the mark, which has seven
    low = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 3 * window, 0)
    high = np.ceil(corners.max(axis=0)).astype(int) + 3 * window
    patch = photo.codes[low[1] : high[1], low[0] : high[0], 1]
    grey = patch if photo.top == 255 else _eight_bit(patch, photo)
    start = (corners - low).astype(np.float32).reshape(-1, 1, 2)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 30, 0.01)
    fine = cv2.cornerSubPix(
        np.ascontiguousarray(grey), start, (window, window), (-1, -1), stop
    ).reshape(4, 2)
    return np.asarray(fine + low, dtype=float)


def find_sheet(photo: Photograph, grey_steps: int, card: Array | None) -> Frame:
    """Find the sheet and say where in the picture everything on it lies.

    `grey_steps` is how many steps the grey card has, side by side from the left, 0 for none;
    `card` the CIELAB ``(P, 3)`` of the patches of the patch card, None for no card.

    Raises
    ------
    InputError
        No mark found, a corner of the sheet outside the picture, or marks that do not belong
        together.
    """
    found = _marks(photo)

    def refuse(message: str) -> InputError:
        return InputError(Fault(message, photo.file))

    known = {number: c for number, c in found.items() if number < 4 * len(LAYOUTS)}
    if not known:
        raise refuse(
            "no swatch sheet was found: all four corner marks must be in the picture and sharp. "
            "Without the printed sheet, give the corners of the cells in a table."
        )
    kinds = {number // 4 for number in known}
    if len(kinds) > 1:
        raise refuse("corner marks of two different sheets are in the picture: photograph one.")
    layout = LAYOUTS[kinds.pop()]
    missing = [name for i, name in enumerate(_CORNER_NAMES) if 4 * layout.index + i not in known]
    if missing:
        raise refuse(
            f"the sheet is partly out of the picture or covered: its {' and '.join(missing)} "
            "corner mark is not to be seen. Photograph all four."
        )
    pixels = np.concatenate([known[4 * layout.index + i] for i in range(4)])
    to_pixels = homography(layout.marks.reshape(-1, 2), pixels)
    sheet = project(to_pixels, quad(0, 0, WIDTH, HEIGHT))
    per_mm = np.linalg.norm(sheet[1] - sheet[0]) / WIDTH
    off = np.linalg.norm(project(to_pixels, layout.marks.reshape(-1, 2)) - pixels, axis=1) / per_mm
    if off.max() > 3.0:
        raise refuse(
            f"the corner marks are {off.max():.0f} mm off their places: lay the sheet flat, print "
            "it in one piece."
        )
    height, width = photo.codes.shape[:2]
    if sheet.min() < -1 or sheet[:, 0].max() > width + 1 or sheet[:, 1].max() > height + 1:
        raise refuse("the sheet runs out of the picture: photograph all of it.")
    notes = []
    if off.max() > 1.0:
        notes.append(f"the sheet was not quite flat: marks up to {off.max():.1f} mm off.")
    if per_mm < 4.0:
        notes.append(
            f"the sheet is small in the picture ({per_mm:.1f} pixels a mm; 6 or more are good): "
            "go nearer."
        )
    places = [
        Place(label, "swatch", q)
        for label, q in zip(layout.labels, project(to_pixels, layout.cells), strict=True)
    ]
    for role, quads in (("check", layout.greys), ("bar", layout.bars)):
        places += [
            Place(label, role, q)
            for label, q in zip(layout.labels, project(to_pixels, quads), strict=True)
        ]
    places += [
        Place(f"white {i}", "white", q)
        for i, q in enumerate(project(to_pixels, layout.whites), start=1)
    ]
    if grey_steps:
        steps = parts(project(to_pixels, quad(*GREY_BOX)), 1, grey_steps)
        places += [Place(f"grey {i}", "grey", q) for i, q in enumerate(steps, start=1)]
    if card is not None:
        rows, columns = grid_of(len(card), CARD_BOX[2] / CARD_BOX[3])
        patches = project(to_pixels, align_card(photo, to_pixels, rows, columns, card))
        places += [Place(f"patch {i}", "patch", q) for i, q in enumerate(patches, start=1)]
    return Frame(tuple(places), layout, to_pixels, tuple(notes))
