"""What is drawn: the page to print and photograph, and the contact sheet of what was read.

Advice: common practice.
"""

from __future__ import annotations

import csv
import io
import os
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_2, screen_colours
from dyemix.dataset.conditions import METHOD
from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import DyemixError
from dyemix.photo.decode import need
from dyemix.photo.layout import HEIGHT, WIDTH, Layout, inset, layouts_of, parts, quad
from dyemix.photo.places import mark_dictionary
from dyemix.photo.results import PhotoReading
from dyemix.photo.sample import raster
from dyemix.writing import csv_text, destination, write

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
#: What stands on every page: mm from its left and top, size, words.
_WORDS = Path(__file__).parents[1] / "data" / "photo_page.csv"


@dataclass(frozen=True)
class PhotoPage:
    """Where the pages and their table of cells were written.

    The table (columns cell, recipe, swatch; how it was dyed above them) says what lies where and is
    given to the reader with the photographs; what is still blank is filled in by hand.
    """

    pages: tuple[Path, ...]
    table: Path
    layouts: tuple[Layout, ...]
    paper: str

    def __str__(self) -> str:
        pages = [
            f"{path}: photo page of {layout.rows} × {layout.columns} cells for {self.paper} paper."
            for path, layout in zip(self.pages, self.layouts, strict=True)
        ]
        return "\n".join([*pages, f"{self.table}: write there which swatch lies in which cell."])


def _drawn(
    layout: Layout, pieces: Sequence[tuple[str, str]], paper: str, form: str, number: str
) -> bytes:
    """The page as a file; `number` says which of how many."""
    marks = mark_dictionary()
    import cv2
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.patches import Rectangle

    size = np.array(PAPERS[paper])
    figure = Figure(figsize=tuple(size / 25.4))
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    x, y = (size - (WIDTH, HEIGHT)) / 2
    axes.set(xlim=(-x, WIDTH + x), ylim=(HEIGHT + y, -y))
    axes.axis("off")

    def box(corners: Array, **style: Any) -> None:
        axes.add_patch(Rectangle(tuple(corners[0]), *(corners[2] - corners[0]), **style))

    def words(at: Array, text: str, size: float, **style: Any) -> None:
        axes.text(at[0], at[1], text, **{"va": "center", "fontsize": size, **style})

    for i, corners in enumerate(layout.marks):
        image = cv2.aruco.generateImageMarker(marks, 4 * layout.index + i, 7)
        box(corners, facecolor="0", linewidth=0)
        for square in parts(corners, 7, 7)[image.ravel() > 127]:
            box(square, facecolor="1", linewidth=0)
    for role in ("swatch", "grey box", "card box"):
        for corners in layout.places[role]:
            box(corners, fill=False, edgecolor="0.6", linewidth=0.5)
    for role, grey in (("check", "0.6"), ("bar", "0")):
        for corners in layout.places[role]:
            box(corners, facecolor=grey, linewidth=0)
    width, height = np.ptp(layout.cells[0], axis=0)
    said = {"cell": f"{width:.0f} × {height:.0f}", "layout": layout.index, "page": number}
    with _WORDS.open(encoding="utf-8", newline="") as file:
        for left, top, points, line in csv.reader(file):
            at = np.array([float(left), float(top)])
            words(at, line.format(**said), float(points))
    for i, (recipe, swatch) in enumerate(pieces):
        # Two lines at most, in the head of the cell.
        head = textwrap.wrap(f"{recipe} {swatch and f'({swatch})'}", int(width / 1.05))[:2]
        words(layout.cells[i, 0] + [0.6, 0.5], "\n".join(head), 5, va="top", linespacing=1.0)
        words(layout.strips[i] + [0, 1.8], layout.labels[i], 7.5, weight="bold")
    undated: Any = {"svg": {"Date": None}, "pdf": {"CreationDate": None}, "png": {}}
    data = io.BytesIO()
    with mpl.rc_context({"svg.fonttype": "path", "pdf.fonttype": 42, "svg.hashsalt": "page"}):
        figure.savefig(data, format=form, dpi=300, metadata=undated[form])
    return data.getvalue()


def write_photo_page(
    path: str | os.PathLike[str],
    swatches: SwatchSet | None = None,
    cells: int | None = None,
    paper: str = "A4",
    *,
    force: bool = False,
    inputs: Iterable[str | os.PathLike[str] | None] = (),
) -> PhotoPage:
    """Write a page to print, lay swatches on and photograph, and its table of cells.

    More than 24 cells lie on two pages, of which the second has ``-2`` in its name.

    Parameters
    ----------
    path : PDF, SVG or PNG, by its ending. The table goes beside it, with the ending ``.csv``.
    swatches : pieces to print into the cells, in their order; a plan with blank readings will do.
    cells : how many cells, rounded up to the 12, 24 or 40 of a page; as many as `swatches` need,
        or 24.
    paper : A4 or Letter.
    force, inputs : what is written over, and what never: as `dyemix.writing.write` has them.

    Raises `DyemixError` for another ending or paper, for more than 40 pieces, and where it cannot
    be written.
    """
    path = Path(path)
    form, table, paper = path.suffix.lower().lstrip("."), path.with_suffix(".csv"), paper.title()
    if form not in ("pdf", "png", "svg"):
        raise DyemixError(f"{path.name}: a photo page is written as .pdf, .png, .svg.")
    if paper not in PAPERS:
        raise DyemixError(f"paper {paper!r} is unknown: A4 or Letter.")
    readings = () if swatches is None else swatches.readings
    # Each piece of cloth once, in the order of the table.
    names = ("" if r.recipe is None else r.recipe.exact for r in readings)
    pieces = list(
        dict.fromkeys((n, r.swatch or r.name) for n, r in zip(names, readings, strict=True))
    )
    layouts = layouts_of(max(cells or (0 if pieces else 24), len(pieces)))
    labels = [label for layout in layouts for label in layout.labels]
    pieces += [("", "")] * (len(labels) - len(pieces))
    labelled = [(label, *piece) for label, piece in zip(labels, pieces, strict=True)]
    said = {key: value for r in readings for key, value in r.conditions.items()}
    keys = dict.fromkeys((*METHOD[:7], *said))
    method = "".join(f"# {key}: {said.get(key, '')}".rstrip() + "\n" for key in keys)
    cells_table = method + csv_text([("cell", "recipe", "swatch"), *labelled])
    destination(table, force=force, inputs=inputs)  # refused before a page is written, not after
    pages = [path, path.with_stem(f"{path.stem}-2")][: len(layouts)]
    for i, (page, layout) in enumerate(zip(pages, layouts, strict=True)):
        here = pieces[i * layout.count : (i + 1) * layout.count]
        drawn = _drawn(layout, here, paper, form, f"{i + 1} of {len(pages)}")
        write(page, drawn, force=force, inputs=inputs)
    write(table, cells_table, force=force, inputs=inputs)
    return PhotoPage(tuple(pages), table, layouts, paper)


#: Of the contact sheet.
_PER_MM = 8.0
_MARGIN = 3.0  # mm of paper shown around the frame of the page
_LONGEST = 1800  # px of a picture without the page
_FORMATS = {".png": "PNG", ".jpg": "JPEG", ".jpeg": "JPEG"}
_TEXT = 12  # px


def write_contact_sheet(
    read: PhotoReading, path: str | os.PathLike[str], *, force: bool = False
) -> None:
    """Write the contact sheet as PNG or JPEG; `force` lets it replace a file.

    It carries no metadata of the photograph.

    The cloth found in a cell has a thin outline, the part of it that was read a thick one: dashed,
    with a cross, where it is left out. In the corner of the cell stands the colour read, under it
    label, recipe and values. What is doubtful is numbered there and stands in full at the foot.

    Raises `DyemixError` for another ending, and where it cannot be written.
    """
    if (form := _FORMATS.get(Path(path).suffix.lower())) is None:
        raise DyemixError(f"{path}: a contact sheet is written as {', '.join(_FORMATS)}.")
    from matplotlib.font_manager import findfont

    pil, drawing = need("PIL.Image", "photo"), need("PIL.ImageDraw", "photo")
    font = need("PIL.ImageFont", "photo").truetype(findfont("DejaVu Sans"), _TEXT)
    photo, paged = read.photograph, read.frame.layout is not None
    height, width = photo.codes.shape[:2]
    shown, per_unit = quad(-0.5, -0.5, width, height), min(1.0, _LONGEST / max(height, width))
    if paged:
        shown = quad(-_MARGIN, -_MARGIN, WIDTH + 2 * _MARGIN, HEIGHT + 2 * _MARGIN)
        per_unit = _PER_MM
    size = np.rint(per_unit * np.ptp(shown, axis=0)).astype(int)
    light = raster(photo, shown, size=size)[0]
    photographed = pil.fromarray(np.rint(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8))
    told = [f"{cell.title}: {'; '.join(cell.words)}" for cell in read.cells if cell.words]
    wide = int(size[0] / (0.6 * _TEXT))
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
            short = words[: int(side / (0.6 * _TEXT))]
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
