"""A picture of what was read: the squared-up photograph, each cell with its label, patch and flag.

It carries no metadata of the photograph.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.colorimetry import screen_colours
from dyemix.errors import DyemixError
from dyemix.photo.decode import Photograph, need
from dyemix.photo.layout import HEIGHT, WIDTH, project
from dyemix.photo.read import CORE
from dyemix.photo.results import Cell, PhotoReading
from dyemix.photo.sample import inset

_PER_MM = 6.0
_MARGIN = 3.0  # mm of page shown around the frame of the sheet
_LONGEST = 1800  # px of a picture without the sheet
_FORMATS = (".png", ".jpg", ".jpeg")
#: First words of a reason or flag, as the picture shows them.
_SHORT = 22


def _codes(photo: Photograph, codes: NDArray[Any]) -> NDArray[np.uint8]:
    """Codes as 8-bit sRGB-like values to look at."""
    if codes.dtype == np.uint8:
        return codes
    level = photo.curve[:, 1][codes]
    return np.asarray(np.rint(255 * np.clip(level, 0, 1) ** (1 / 2.2)), dtype=np.uint8)


def _squared(read: PhotoReading) -> tuple[NDArray[np.uint8], Array]:
    """The picture ``(H, W, 3)`` and the map ``(3, 3)`` from its pixels to the photograph's."""
    cv2 = need("cv2", "photo", ".")
    photo = read.photograph
    if read.frame.to_pixels is None:
        shrink = max(1.0, max(photo.codes.shape[:2]) / _LONGEST)
        to_photo = np.diag([shrink, shrink, 1.0])
        size = (int(photo.codes.shape[1] / shrink), int(photo.codes.shape[0] / shrink))
    else:
        to_mm = np.array([[1, 0, -_MARGIN * _PER_MM], [0, 1, -_MARGIN * _PER_MM], [0, 0, _PER_MM]])
        to_photo = read.frame.to_pixels @ (to_mm / _PER_MM)
        size = (int((WIDTH + 2 * _MARGIN) * _PER_MM), int((HEIGHT + 2 * _MARGIN) * _PER_MM))
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    picture = cv2.warpPerspective(photo.codes, to_photo, size, flags=flags, borderValue=(255,) * 3)
    return _codes(photo, picture), to_photo


def contact_sheet(read: PhotoReading, path: str | os.PathLike[str]) -> Path:
    """Write the contact sheet as PNG or JPEG.

    A kept cell has a solid outline round the part that was read, one left out a dashed outline and
    a cross. In its corner stands the colour read; under it the label, recipe and first flag.

    Raises `DyemixError` for another ending.
    """
    path = Path(path)
    if path.suffix.lower() not in _FORMATS:
        raise DyemixError(f"{path.name}: a contact sheet is written as {', '.join(_FORMATS)}.")
    image_draw = need("PIL.ImageDraw", "photo", ".")
    image_font = need("PIL.ImageFont", "photo", ".")
    pil = need("PIL.Image", "photo", ".")
    pixels, to_photo = _squared(read)
    picture = pil.fromarray(pixels)
    draw = image_draw.Draw(picture)
    to_picture = np.linalg.inv(to_photo).astype(float)
    codes = screen_colours(np.array([cell.lab for cell in read.cells]))
    for cell, code in zip(read.cells, codes, strict=True):
        outer = project(to_picture, cell.place.quad)
        side = float(np.linalg.norm(outer[1] - outer[0]))
        _outline(draw, project(to_picture, inset(cell.place.quad, CORE)), bool(cell.left_out))
        _patch(draw, outer, 0.3 * side, code.hex)
        _text(draw, image_font, outer, side, cell, read.frame.layout is not None)
    for place in read.frame.places:
        if place.role in ("patch", "grey"):
            _line(draw, project(to_picture, inset(place.quad, 0.4)), "white", 3)
            _line(draw, project(to_picture, inset(place.quad, 0.4)), "black", 1)
    picture.save(path)
    return path


def _line(draw: Any, corners: Array, colour: str, width: int) -> None:
    points = [tuple(point) for point in (*corners, corners[0])]
    draw.line(points, fill=colour, width=width)


def _outline(draw: Any, corners: Array, left_out: bool) -> None:
    """White with a black core, so that it shows on any cloth; dashed with a cross if left out."""
    if not left_out:
        _line(draw, corners, "white", 5)
        _line(draw, corners, "black", 2)
        return
    edges = list(zip(corners, np.roll(corners, -1, axis=0), strict=True))
    for a, b in [*edges, (corners[0], corners[2]), (corners[1], corners[3])]:
        for start in np.arange(0.0, 1.0, 0.2):
            ends = [tuple(a + (b - a) * f) for f in (start, start + 0.12)]
            draw.line(ends, fill="white", width=6)
            draw.line(ends, fill="black", width=3)


def _patch(draw: Any, outer: Array, size: float, code: str) -> None:
    """The colour as read, in the top right corner of the cell."""
    x, y = outer[1]
    box = (x - size, y, x, y + size)
    draw.rectangle(box, fill=code, outline="black", width=2)


def _text(draw: Any, image_font: Any, outer: Array, side: float, cell: Cell, below: bool) -> None:
    """Label and recipe, values, first flag: on white, below the cell or over its foot."""
    size = int(np.clip(side / 11.0, 9, 16))
    font = image_font.load_default(size)
    doubts = [*cell.left_out, *cell.flags]
    lines = [cell.title, "{:.0f} {:.0f} {:.0f} ± {:.1f}".format(*cell.lab, cell.error)]
    if doubts:
        word = doubts[0].split(":")[0].split("(")[0].strip()[:_SHORT]
        lines.append(f"OUT: {word}" if cell.left_out else word)
    most = max(4, int(side / (0.52 * size)))
    lines = [line[:most] for line in lines]
    x, y = outer[3]
    top = y + 1 if below else y - len(lines) * (size + 2) - 2
    draw.rectangle((x, top, x + side, top + len(lines) * (size + 2) + 1), fill="white")
    for i, line in enumerate(lines):
        draw.text((x + 2, top + i * (size + 2)), line, fill="black", font=font)
