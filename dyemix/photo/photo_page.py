"""What is drawn: the page to print and photograph, and the contact sheet of what was read.

Advice: common practice.
"""

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
from dyemix.errors import data, refuse
from dyemix.photo.layout import HEIGHT, WIDTH, Layout, inset, layouts_of, parts, quad
from dyemix.photo.places import mark_dictionary
from dyemix.photo.results import PhotoReading
from dyemix.photo.sample import raster
from dyemix.writing import Named, csv_text, ending, figure_bytes, write, write_all

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}


@dataclass(frozen=True)
class PhotoPage:
    """Where the pages and their table of cells were written.

    The table (columns cell, recipe, swatch; how it was dyed above them) says what lies where and is
    given to the reader with the photographs; what is still blank is filled in by hand. `wanted` is
    how many cells were, where a number was asked for.
    """

    pages: tuple[Path, ...]
    table: Path
    layouts: tuple[Layout, ...]
    paper: str
    wanted: int | None = None

    def __str__(self) -> str:
        pages = [
            f"{path}: photo page of {layout.rows} × {layout.columns} cells for {self.paper} paper."
            for path, layout in zip(self.pages, self.layouts, strict=True)
        ]
        count = sum(len(layout.labels) for layout in self.layouts)
        if self.wanted not in (None, count):
            page = "page" if len(pages) == 1 else "pair of pages"
            pages.append(f"{self.wanted} cells: the {page} for {count} is the next larger one.")
        return "\n".join([*pages, f"{self.table}: write there which swatch lies in which cell."])


#: What is printed where, and how.
_THIN: dict[str, Any] = {"fill": False, "edgecolor": "0.6", "linewidth": 0.5}
_FULL: dict[str, Any] = {"linewidth": 0}
_PRINTED = {
    "swatch": _THIN, "grey box": _THIN, "card box": _THIN,
    "check": {**_FULL, "color": "0.6"}, "bar": {**_FULL, "color": "0"},
}  # fmt: skip


def _sheet(inches: Array, shown: Array) -> tuple[Any, Any]:
    """A figure of some inches ``(2,)`` and axes in it that show a place ``(4, 2)``, y downwards."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=tuple(inches))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0), autoscale_on=False)
    axes.set(xlim=shown[[0, 2], 0], ylim=shown[[2, 0], 1])
    axes.axis("off")
    return figure, axes


def _drawn(
    layout: Layout, pieces: Sequence[tuple[str, str]], paper: str, form: str, number: str
) -> bytes:
    """The page as a file; `number` says which of how many."""
    marks = mark_dictionary()
    import cv2
    from matplotlib.patches import Polygon

    size = np.array(PAPERS[paper])
    left, top = (np.array([WIDTH, HEIGHT]) - size) / 2
    figure, axes = _sheet(size / 25.4, quad(left, top, *size))
    for i, corners in enumerate(layout.places["mark"]):
        image = cv2.aruco.generateImageMarker(marks, 4 * layout.index + i, 7)
        for square, white in zip(parts(corners, 7, 7), image.ravel() > 127, strict=True):
            axes.add_artist(Polygon(square, color=str(int(white)), **_FULL))
    for role, style in _PRINTED.items():
        for corners in layout.places[role]:
            axes.add_artist(Polygon(corners, **style))
    width, height = np.ptp(layout.places["swatch"][0], axis=0)
    told = {"cell": f"{width:.0f} × {height:.0f}", "layout": layout.index, "page": number}
    for left, top, points, line in data("photo_page")["lines"]:
        axes.text(left, top, line.format(**told), size=points, va="center")
    for i, (recipe, swatch) in enumerate(pieces):
        # Two lines at most, in the head of the cell.
        head = textwrap.wrap(f"{recipe} {swatch and f'({swatch})'}", int(width / 1.05))[:2]
        at = layout.places["swatch"][i, 0] + [0.6, 0.5]
        axes.text(*at, "\n".join(head), size=5, va="top", linespacing=1.0)
        at = layout.places["check"][i, 0] + [-6.0, 1.8]
        axes.text(*at, layout.labels[i], size=7.5, va="center", weight="bold")
    return figure_bytes([figure], form, 300)


def write_photo_page(
    path: Named,
    swatches: SwatchSet | None = None,
    cells: int | None = None,
    paper: str = "A4",
    *,
    force: bool = False,
    inputs: Iterable[Named | None] = (),
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
    form = ending(path, "the photo page", ".pdf, .svg or .png")
    table, paper = path.with_suffix(".csv"), paper.title()
    refuse(cells is not None and cells < 1, f"{cells} cells make no page: 12, 24 or 40.")
    refuse(paper not in PAPERS, f"paper {paper!r} is unknown: A4 or Letter.")
    readings = () if swatches is None else swatches.readings
    named = [("" if r.recipe is None else r.recipe.exact, r.swatch or r.name) for r in readings]
    pieces = list(dict.fromkeys(named))  # each piece of cloth once, in the order of the table
    layouts = layouts_of(wanted := max(cells or (0 if pieces else 24), len(pieces)))
    labels = [label for layout in layouts for label in layout.labels]
    pieces += [("", "")] * (len(labels) - len(pieces))
    labelled = ((label, *piece) for label, piece in zip(labels, pieces, strict=True))
    said = {key: value for r in readings for key, value in r.conditions.items()}
    keys = dict.fromkeys((*METHOD[:7], *said))
    method = "".join(f"# {key}: {said.get(key, '')}".rstrip() + "\n" for key in keys)
    cells_table = method + csv_text([("cell", "recipe", "swatch"), *labelled])
    pages = [path, path.with_stem(f"{path.stem}-2")][: len(layouts)]
    whole: list[tuple[Path, str | bytes]] = []
    for i, (page, layout) in enumerate(zip(pages, layouts, strict=True)):
        here = pieces[i * len(layout.labels) : (i + 1) * len(layout.labels)]
        whole.append((page, _drawn(layout, here, paper, form, f"{i + 1} of {len(pages)}")))
    write_all([*whole, (table, cells_table)], force=force, inputs=inputs)
    return PhotoPage(tuple(pages), table, layouts, paper, None if cells is None else wanted)


#: Of the contact sheet: pixels a mm of the page, mm of paper shown around its frame, pixels of a
#: picture without the page, pixels an inch, and points and pixels of a letter and of a line.
_PER_MM, _MARGIN, _LONGEST, _DPI, _POINTS, _LETTER, _LINE = 8.0, 3.0, 1800, 100, 8.7, 7.2, 15


def write_contact_sheet(read: PhotoReading, path: Named, *, force: bool = False) -> None:
    """Write the contact sheet as PNG or JPEG; `force` lets it replace a file.

    It carries no metadata of the photograph.

    The cloth found in a cell has a thin outline, the part of it that was read a thick one: dashed,
    with a cross, where it is left out. In the corner of the cell stands the colour read, under it
    label, recipe and values. What is doubtful stands in full at the foot.

    Raises `DyemixError` for another ending, and where it cannot be written.
    """
    form = ending(path, "the contact sheet", ".png, .jpg or .jpeg")
    photo, paged = read.photograph, read.frame.layout is not None
    height, width = photo.codes.shape[:2]
    shown, per_unit = quad(-0.5, -0.5, width, height), min(1.0, _LONGEST / max(height, width))
    if paged:
        shown = quad(-_MARGIN, -_MARGIN, WIDTH + 2 * _MARGIN, HEIGHT + 2 * _MARGIN)
        per_unit = _PER_MM
    width, height = np.rint(per_unit * np.ptp(shown, axis=0)).astype(int)
    light = np.clip(raster(photo, shown, size=(width, height))[0], 0.0, 1.0)
    told = [f"{cell.title}: {'; '.join(cell.words)}" for cell in read.cells if cell.words]
    long = int(width / _LETTER)
    foot = [line for words in told for line in textwrap.wrap(words, long, subsequent_indent="   ")]
    size = np.array([width, height + _LINE * (len(foot) + 1)])
    figure, axes = _sheet(size / _DPI, quad(0, 0, *size))
    axes.imshow(light ** (1 / 2.2), extent=(0, width, height, 0), aspect="auto")
    style = {"size": _POINTS, "va": "top", "linespacing": 1.1}
    axes.text(4, height + 4, "\n".join(foot), **style)
    style["bbox"] = {"facecolor": "white", "linewidth": 0, "pad": 1}
    labs = np.array([cell.under(D65_2).lab for cell in read.cells])
    for cell, code in zip(read.cells, screen_colours(labs), strict=True):
        places = np.array([cell.corners, cell.cloth.piece, cell.cloth.core])
        corners, piece, core = per_unit * (places - shown[0])
        side = float(np.linalg.norm(corners[1] - corners[0]))
        _outline(axes, piece, 0.7)
        _outline(axes, core, 1.5, bool(cell.left_out))
        x, y = corners[1]
        patch = quad(x - 0.3 * side, y, 0.3 * side, 0.3 * side)
        axes.fill(*patch.T, facecolor=code.hex, edgecolor="black", linewidth=1.5)
        values = "{:.0f} {:.0f} {:.0f} ±{:.1f}".format(*cell.lab, cell.error)
        mark = ["OUT, see below" if cell.left_out else "see below"] if cell.words else []
        lines = [words[: int(side / _LETTER)] for words in (cell.title, values, *mark)]
        at = corners[3] + (2, 3 if paged else -_LINE * len(lines))
        axes.text(*at, "\n".join(lines), **style)
    for place in (*read.frame.of("patch"), *read.frame.of("grey")):
        _outline(axes, per_unit * (inset(place, 0.4) - shown[0]), 0.7)
    write(path, figure_bytes([figure], form, _DPI), force=force)


def _outline(axes: Any, corners: Array, width: float, crossed: bool = False) -> None:
    """White with a black core, so that it shows on any cloth; or dashed, with a cross."""
    from matplotlib.patheffects import withStroke

    around = corners[[0, 1, 2, 3, 0, 2, 1, 3] if crossed else [0, 1, 2, 3, 0]]
    halo = [withStroke(linewidth=width + 1.5, foreground="white")]
    axes.plot(*around.T, "--" if crossed else "-", c="black", lw=width, path_effects=halo)
