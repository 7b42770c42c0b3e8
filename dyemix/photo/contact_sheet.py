"""A picture of what was read: the squared-up photograph, each cell with its label, patch and flag.

It carries no metadata of the photograph.
"""

from __future__ import annotations

import io
import os
import textwrap
from pathlib import Path
from typing import Any

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_2, screen_colours
from dyemix.errors import DyemixError
from dyemix.photo.decode import need
from dyemix.photo.layout import HEIGHT, WIDTH, inset, quad
from dyemix.photo.results import PhotoReading
from dyemix.photo.sample import raster
from dyemix.writing import write

_PER_MM = 8.0
_MARGIN = 3.0  # mm of paper shown around the frame of the page
_LONGEST = 1800  # px of a picture without the page
_FORMATS = {".png": "PNG", ".jpg": "JPEG", ".jpeg": "JPEG"}
_TEXT = 13  # px


def write_contact_sheet(
    read: PhotoReading, path: str | os.PathLike[str], *, force: bool = False
) -> None:
    """Write the contact sheet as PNG or JPEG; `force` lets it replace a file.

    The cloth found in a cell has a thin outline, the part of it that was read a thick one: dashed,
    with a cross, where it is left out. In the corner of the cell stands the colour read, under it
    label, recipe and values. What is doubtful is numbered there and stands in full at the foot.

    Raises `DyemixError` for another ending, and where it cannot be written.
    """
    if (form := _FORMATS.get(Path(path).suffix.lower())) is None:
        raise DyemixError(f"{path}: a contact sheet is written as {', '.join(_FORMATS)}.")
    pil, drawing = need("PIL.Image", "photo"), need("PIL.ImageDraw", "photo")
    font = need("PIL.ImageFont", "photo").load_default(_TEXT)
    photo, paged = read.photograph, read.frame.layout is not None
    height, width = photo.codes.shape[:2]
    shown, per_unit = quad(-0.5, -0.5, width, height), min(1.0, _LONGEST / max(height, width))
    if paged:
        shown = quad(-_MARGIN, -_MARGIN, WIDTH + 2 * _MARGIN, HEIGHT + 2 * _MARGIN)
        per_unit = _PER_MM
    size = np.rint(per_unit * np.ptp(shown, axis=0)).astype(int)
    light = raster(photo, shown, size=size).light
    photographed = pil.fromarray(np.rint(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8))
    told = [f"{cell.title}: {'; '.join(cell.words)}" for cell in read.cells if cell.words]
    wide = int(size[0] / (0.55 * _TEXT))
    foot = [line for words in told for line in textwrap.wrap(words, wide, subsequent_indent="   ")]
    line = _TEXT + 3
    picture = pil.new("RGB", (int(size[0]), int(size[1]) + line * len(foot) + _TEXT), "white")
    picture.paste(photographed)
    draw = drawing.Draw(picture)
    labs = np.array([cell.under(D65_2).lab for cell in read.cells])
    for cell, code in zip(read.cells, screen_colours(labs), strict=True):
        places = np.array([cell.corners, cell.cloth.piece, cell.cloth.core])
        corners, piece, core = per_unit * (places - shown[0])
        side = float(np.linalg.norm(corners[1] - corners[0]))
        _outline(draw, piece, 1)
        _outline(draw, core, 2, bool(cell.left_out))
        x, y = corners[1]  # the colour as read, in the top right corner
        draw.rectangle((x - 0.3 * side, y, x, y + 0.3 * side), code.hex, "black", 2)
        mark = ["OUT, see below" if cell.left_out else "see below"] if cell.words else []
        lines = [cell.title, "{:.0f} {:.0f} {:.0f} ±{:.1f}".format(*cell.lab, cell.error), *mark]
        x, y = corners[3] - (0, 0 if paged else line * len(lines))
        draw.rectangle((x, y + 1, x + side, y + 1 + line * len(lines)), fill="white")
        for i, words in enumerate(lines):
            short = words[: int(side / (0.55 * _TEXT))]
            draw.text((x + 2, y + 1 + line * i), short, fill="black", font=font)
    for place in (*read.frame.of("patch"), *read.frame.of("grey")):
        _outline(draw, per_unit * (inset(place, 0.4) - shown[0]), 1)
    for i, words in enumerate(foot):
        draw.text((4, size[1] + line * i), words, fill="black", font=font)
    data = io.BytesIO()
    picture.save(data, form)
    write(path, data.getvalue(), force=force)


def _outline(draw: Any, corners: Array, width: int, left_out: bool = False) -> None:
    """White with a black core, so that it shows on any cloth; dashed with a cross if left out."""
    sides = list(zip(corners, np.roll(corners, -1, axis=0), strict=True))
    dashes, length = [0.0], 1.0
    if left_out:
        sides += [(corners[0], corners[2]), (corners[1], corners[3])]
        dashes, length = [0.0, 0.2, 0.4, 0.6, 0.8], 0.12
    for colour, thick in (("white", width + 2), ("black", width)):
        for a, b in sides:
            for start in dashes:
                ends = [tuple(a + (b - a) * share) for share in (start, start + length)]
                draw.line(ends, fill=colour, width=thick)
