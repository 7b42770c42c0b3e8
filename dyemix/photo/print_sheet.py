"""Draw the printable swatch sheet: corner marks, cells, places for the cards, how to photograph.

Advice: common practice.
"""

from __future__ import annotations

import csv
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import DyemixError
from dyemix.files.writing import recipe_text
from dyemix.photo.decode import need
from dyemix.photo.find import dictionary
from dyemix.photo.layout import CARD_BOX, GREY_BOX, HEIGHT, MARK, WIDTH, Layout, layout_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
_MM = 1.0 / 25.4
_FORMATS = (".pdf", ".png", ".svg")
_ADVICE_TOP = (
    "Swatch sheet: lay or pin one dry, ironed swatch on each cell, four layers thick.",
    "Keep the strips under the cells and the white between them bare.",
    "Light: open shade or a window without direct sun; no other lamp, no shadow on the sheet.",
)
_ADVICE_BOTTOM = (
    "Camera: flash, HDR, night mode and filters off. Hold focus and exposure on the grey",
    "card (long press). All four corner marks in the picture, nothing pure white or black.",
    "Print in black on plain paper, at any scale. Matt, not glossy.",
)


@dataclass(frozen=True)
class PrintedSheet:
    """Where the page and its table of cells were written.

    The table (columns cell, recipe, swatch) says what lies where and is given to the reader with
    the photograph; recipes still blank are filled in by hand.
    """

    page: Path
    table: Path
    layout: Layout
    paper: str

    def __str__(self) -> str:
        size = f"{self.layout.rows} × {self.layout.columns}"
        return (
            f"{self.page}: swatch sheet of {size} cells for {self.paper} paper.\n"
            f"{self.table}: write there which swatch lies in which cell."
        )


def _mark(axes: Axes, number: int, left: float, top: float) -> None:
    from matplotlib.patches import Rectangle

    aruco = need("cv2", "photo", ".").aruco
    image = aruco.generateImageMarker(dictionary(), number, 7)  # 5 squares and a border
    square = MARK / 7.0
    axes.add_patch(Rectangle((left, top), MARK, MARK, facecolor="black", linewidth=0))
    for row in range(7):
        for column in range(7):
            if image[row, column] > 127:
                corner = (left + column * square, top + row * square)
                axes.add_patch(Rectangle(corner, square, square, facecolor="white", linewidth=0))


def _box(axes: Axes, box: Sequence[float], text: str) -> None:
    from matplotlib.patches import Rectangle

    left, top, width, height = box
    axes.add_patch(
        Rectangle((left, top), width, height, fill=False, edgecolor="0.6", linewidth=0.5)
    )
    axes.text(
        left + width / 2, top + height / 2, text, ha="center", va="center", fontsize=7, color="0.4"
    )


def _recipes(swatches: SwatchSet | None) -> list[tuple[str, str]]:
    """Recipe and swatch name, once a piece of cloth, in the order of the table."""
    pieces: dict[tuple[str, str], None] = {}
    for reading in swatches.readings if swatches else ():
        pieces[recipe_text(reading.recipe), reading.swatch or reading.name] = None
    return list(pieces)


def swatch_sheet(
    path: str | os.PathLike[str],
    swatches: SwatchSet | None = None,
    cells: int | None = None,
    paper: str = "A4",
) -> PrintedSheet:
    """Write a page to print, lay swatches on and photograph, and its table of cells.

    Parameters
    ----------
    path : PDF, SVG or PNG, by its ending. The table goes beside it, with the ending ``.csv``.
    swatches : pieces to print into the cells, in their order; a plan with blank readings will do.
    cells : how many cells, rounded up to the 12, 24 or 40 of a sheet; as many as `swatches` need,
        or 24.
    paper : A4 or Letter.

    Raises `DyemixError` for another ending or paper, and for more than 40 pieces.
    """
    path = Path(path)
    if path.suffix.lower() not in _FORMATS:
        raise DyemixError(f"{path.name}: a sheet is written as {', '.join(_FORMATS)}.")
    if paper.lower() not in PAPERS:
        raise DyemixError(f"paper {paper!r} is unknown: A4 or Letter.")
    pieces = _recipes(swatches)
    layout = layout_of(max(cells or (0 if pieces else 24), len(pieces)))
    pieces += [("", "")] * (layout.count - len(pieces))

    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.patches import Rectangle

    width, height = PAPERS[paper.lower()]
    figure = Figure(figsize=(width * _MM, height * _MM))
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    x0, y0 = (width - WIDTH) / 2, (height - HEIGHT) / 2
    axes.set(xlim=(-x0, WIDTH + x0), ylim=(HEIGHT + y0, -y0))
    axes.axis("off")
    for i, corners in enumerate(layout.marks):
        _mark(axes, 4 * layout.index + i, corners[0, 0], corners[0, 1])
    for lines, top in ((_ADVICE_TOP, 4.0), (_ADVICE_BOTTOM, HEIGHT - 11.5)):
        for i, line in enumerate(lines):
            axes.text(MARK + 4.0, top + 4.2 * i, line, fontsize=7.5, va="center")
    scale = min(1.0, 6.0 / layout.columns + 0.25)
    for cell, strip, grey, bar, label, (recipe, swatch) in zip(
        layout.cells, layout.strips, layout.greys, layout.bars, layout.labels, pieces, strict=True
    ):
        size = cell[2] - cell[0]
        text = "\n+ ".join(recipe.split(" + ")) + (f"\n({swatch})" if swatch else "")
        axes.add_patch(Rectangle(tuple(cell[0]), *size, fill=False, edgecolor="0.6", linewidth=0.5))
        x, y = cell.mean(axis=0)
        axes.text(x, y, text, ha="center", va="center", fontsize=7 * scale)
        axes.text(strip[0], strip[1] + 1.8, label, fontsize=7.5, va="center", weight="bold")
        axes.add_patch(Rectangle(tuple(grey[0]), 3.5, 3.5, facecolor="0.6", linewidth=0))
        axes.add_patch(Rectangle(tuple(bar[0]), *(bar[2] - bar[0]), facecolor="0", linewidth=0))
    _box(axes, GREY_BOX, "grey card here, lightest step to the left")
    _box(
        axes, CARD_BOX, "patch card here, first patch top left;\na smaller card anywhere in the box"
    )
    with mpl.rc_context({"svg.fonttype": "path", "pdf.fonttype": 42, "svg.hashsalt": "sheet"}):
        undated = {".svg": {"Date": None}, ".pdf": {"CreationDate": None}, ".png": {}}
        figure.savefig(path, dpi=300, metadata=undated[path.suffix.lower()])
    table = path.with_suffix(".csv")
    with table.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(["cell", "recipe", "swatch"])
        out.writerows([label, *piece] for label, piece in zip(layout.labels, pieces, strict=True))
    return PrintedSheet(path, table, layout, "A4" if paper.lower() == "a4" else "Letter")
