"""A picture of what was read: the squared-up photograph, each cell with its label, patch and flag.

It carries no metadata of the photograph.
"""

from __future__ import annotations

import io
import os
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.colorimetry import screen_colours
from dyemix.errors import DyemixError
from dyemix.photo.decode import Photograph, need
from dyemix.photo.layout import HEIGHT, WIDTH, inset, project
from dyemix.photo.results import CellReading, PhotoReading
from dyemix.writing import write

_PER_MM = 6.0
_MARGIN = 3.0  # mm of paper shown around the frame of the page
_LONGEST = 1800  # px of a picture without the page
_FORMATS = {".png": "PNG", ".jpg": "JPEG", ".jpeg": "JPEG"}
#: First words of a reason or flag, as the picture shows them.
_SHORT = 22


def _eight_bit(photo: Photograph, codes: NDArray[Any]) -> NDArray[np.uint8]:
    """Codes as 8-bit sRGB-like values to look at."""
    if codes.dtype == np.uint8:
        return codes
    level = photo.curve[:, 1][codes]
    return np.asarray(np.rint(255 * np.clip(level, 0, 1) ** (1 / 2.2)), dtype=np.uint8)


def _squared(read: PhotoReading) -> tuple[NDArray[np.uint8], Array]:
    """The picture ``(H, W, 3)`` and the map ``(3, 3)`` from the photograph's pixels to its own."""
    import cv2

    photo = read.photograph
    height, width = photo.codes.shape[:2]
    if read.frame.to_pixels is None:
        shrink = max(1.0, max(height, width) / _LONGEST)
        to_photo = np.diag([shrink, shrink, 1.0])
        size = (int(width / shrink), int(height / shrink))
    else:
        to_mm = np.array([[1 / _PER_MM, 0, -_MARGIN], [0, 1 / _PER_MM, -_MARGIN], [0, 0, 1]])
        to_photo = read.frame.to_pixels @ to_mm
        size = (int((WIDTH + 2 * _MARGIN) * _PER_MM), int((HEIGHT + 2 * _MARGIN) * _PER_MM))
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    picture = cv2.warpPerspective(photo.codes, to_photo, size, flags=flags, borderValue=(255,) * 3)
    return _eight_bit(photo, picture), np.linalg.inv(to_photo)


def write_contact_sheet(
    read: PhotoReading, path: str | os.PathLike[str], *, force: bool = False
) -> None:
    """Write the contact sheet as PNG or JPEG; `force` lets it replace a file.

    A kept cell has a solid outline round the part that was read, one left out a dashed outline and
    a cross. In its corner stands the colour read; under it the label, recipe and first flag.

    Raises `DyemixError` for another ending, and where it cannot be written.
    """
    if (form := _FORMATS.get(Path(path).suffix.lower())) is None:
        raise DyemixError(f"{path}: a contact sheet is written as {', '.join(_FORMATS)}.")
    pixels, to_picture = _squared(read)
    picture = need("PIL.Image", "photo").fromarray(pixels)
    draw = need("PIL.ImageDraw", "photo").Draw(picture)
    codes = screen_colours(np.array([cell.lab for cell in read.cells]))
    for cell, code in zip(read.cells, codes, strict=True):
        outer = project(to_picture, cell.corners)
        side = float(np.linalg.norm(outer[1] - outer[0]))
        _outline(draw, project(to_picture, cell.core), bool(cell.left_out))
        x, y = outer[1]  # the colour as read, in the top right corner
        draw.rectangle((x - 0.3 * side, y, x, y + 0.3 * side), code.hex, "black", 2)
        _caption(draw, outer[3], side, cell, read.frame.layout is not None)
    for corners in (*read.frame.of("patch"), *read.frame.of("grey")):
        for colour, width in (("white", 3), ("black", 1)):
            _line(draw, project(to_picture, inset(corners, 0.4)), colour, width)
    data = io.BytesIO()
    picture.save(data, form)
    write(path, data.getvalue(), force=force)


def _line(draw: Any, corners: Array, colour: str, width: int) -> None:
    draw.line([tuple(point) for point in (*corners, corners[0])], fill=colour, width=width)


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


def _caption(draw: Any, corner: Array, side: float, cell: CellReading, below: bool) -> None:
    """Label and recipe, values, first flag: on white, below the cell or over its foot."""
    size = int(np.clip(side / 11.0, 9, 16))
    font = need("PIL.ImageFont", "photo").load_default(size)
    lines = [cell.title, "{:.0f} {:.0f} {:.0f} ± {:.1f}".format(*cell.lab, cell.error)]
    for doubt in [*cell.left_out, *cell.flags][:1]:
        word = doubt.split(":")[0].split("(")[0].strip()[:_SHORT]
        lines.append(f"OUT: {word}" if cell.left_out else word)
    most = max(4, int(side / (0.52 * size)))
    x, y = corner
    top = y + 1 if below else y - len(lines) * (size + 2) - 2
    draw.rectangle((x, top, x + side, top + len(lines) * (size + 2) + 1), fill="white")
    for i, line in enumerate(lines):
        draw.text((x + 2, top + i * (size + 2)), line[:most], fill="black", font=font)
