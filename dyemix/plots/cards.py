"""Shade cards on paper: pages of A4, true to size, with room to pin the real swatch.

The first page shows the whole card with a number below every patch; the pages after it hold, for
every number, the predicted patch, an empty frame of the same size, and the label. Words stand
beside patches, never on them, so that the card reads in greyscale.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from dyemix.colour.colorimetry import D65_2
from dyemix.dataset.recipe import format_amount
from dyemix.errors import DyemixError
from dyemix.plots.drawing import (
    FRAME,
    INK,
    MARGIN,
    METADATA,
    SMALL,
    TOP,
    WIDTH,
    Block,
    Page,
    checked,
    heading,
    height_of,
    save,
    styled,
)  # fmt: skip
from dyemix.series.shade_card import Blend, ShadeCard

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: A4 upright, in inches; every page is one.
A4 = 11.69
MM = 1.0 / 25.4
#: A patch and the frame to pin a swatch in, side by side: common practice pins a thumb's size.
PATCH_WIDTH, PATCH_HEIGHT = 28.0 * MM, 17.0 * MM
_ACROSS, _GUTTER = 3, 0.2
_BAR = 50.0 * MM
_PIN = (
    f"Left: predicted ({D65_2}). Right: pin the swatch here, dry and ironed. Print at 100 %: this "
    "bar is then 50 mm."
)


def draw_card(card: ShadeCard, path: str | os.PathLike[str] | None = None) -> list[Figure]:
    """Draw a shade card as pages of A4 that print true to size.

    Parameters
    ----------
    card : what `shade_card` predicted.
    path : where given, the pages are also written: all in one PDF; PNG and SVG hold one page, so
        further pages get a number after the name (``card-2.png``).

    Returns
    -------
    list of Figure
        One a page, 8.27 × 11.69 inches. Letters are 8 points or more.

    Raises
    ------
    DyemixError
        An ending that is none of these, or a file that cannot be written.
    """
    file = checked(path)
    with styled():
        first = _overview(card)
        pages = [first.page.figure, *_pinning(card, first)]
        if file is not None:
            _write(pages, file)
    return pages


def _write(pages: Sequence[Figure], file: Path) -> None:
    if file.suffix.lower() != ".pdf":
        for i, page in enumerate(pages, 1):
            save(page, file if i == 1 else file.with_name(f"{file.stem}-{i}{file.suffix}"))
        return
    from matplotlib.backends.backend_pdf import PdfPages

    try:
        with PdfPages(file, metadata=METADATA[".pdf"]) as book:
            for page in pages:
                book.savefig(page)
    except OSError as error:
        raise DyemixError(f"{file.name}: the card cannot be written ({error}).") from error


@dataclass(frozen=True, eq=False)
class _Started:
    """A page that is filled down to `end`, in inches from its top."""

    page: Page
    end: float


def _head(card: ShadeCard, lines: Sequence[str]) -> list[Block]:
    return heading(card.title, lines, card.demo)


def _overview(card: ShadeCard) -> _Started:
    """The whole card on one page, a number below every patch."""
    head = _head(
        card,
        [
            f"Predicted colours, sRGB ({D65_2}); a screen or a printer shows them roughly. The "
            "number below each patch stands again beside its recipe, with a frame to pin the real "
            "swatch in.",
            *card.warnings,
        ],
    )
    page = Page(A4)
    y = TOP
    for block in head:
        y = page.write(block, MARGIN, y)
    y += 0.45
    rows = 1 + max(cell.row for cell in card.blends)
    columns = 1 + max(cell.column for cell in card.blends)
    left = MARGIN + (0.0 if len(card.depths) == 1 else 0.6)
    width = min((WIDTH - MARGIN - left) / columns, 1.2)
    height = min((A4 - y - 1.0) / rows, 0.9)
    for cell in card.blends:
        x, top = _place(card, cell, left, y, width, height, columns)
        _patch(page, x + 0.03, top, width - 0.06, height - 0.24, cell.prediction.hex)
        page.layer.text(x + width / 2, top + height - 0.2, str(cell.number), ha="center", va="top")
    if len(card.depths) > 1:
        for row, depth in enumerate(card.depths):
            text = f"{format_amount(depth)} %"
            page.layer.text(MARGIN, y + row * height + 0.1, text, va="top")
    bottom = y + rows * height + 0.05
    if len(card.names) == 3:
        middle = left + columns * width / 2
        page.layer.text(middle, y - 0.08, card.names[0], ha="center", weight="bold")
        page.layer.text(left, bottom, card.names[1], va="top", weight="bold")
        page.layer.text(
            left + columns * width, bottom, card.names[2], va="top", ha="right", weight="bold"
        )
    else:
        page.layer.text(left, y - 0.08, card.names[0], weight="bold")
        right = left + columns * width
        page.layer.text(right, y - 0.08, card.names[1], ha="right", weight="bold")
    return _Started(page, bottom + 0.3)


def _place(
    card: ShadeCard, cell: Blend, left: float, y: float, width: float, height: float, columns: int
) -> tuple[float, float]:
    """Left and top of a cell on the overview."""
    indent = 0.0
    if len(card.names) == 3:
        indent = (columns - 1 - cell.row) * width / 2
    return left + indent + cell.column * width, y + cell.row * height


def _patch(page: Page, x: float, y: float, width: float, height: float, colour: str) -> None:
    page.patch(x, y, width, height, colour)
    page.frame([x, x + width, x + width, x, x], [y, y, y + height, y + height, y])


def _label(cell: Blend, width: float) -> list[Block]:
    p = cell.prediction
    mark = " (outside your squares)" if p.warnings else ""
    return [
        Block.of(f"{cell.number}  {cell.recipe} % owf", width, SMALL, "bold"),
        Block.of(f"{p.hex}, {format_amount(cell.recipe.total)} % in all{mark}", width),
    ]


def _pinning(card: ShadeCard, first: _Started) -> list[Figure]:
    """A patch, a frame, a label for every blend: on the first page where all fit, else after."""
    width = (WIDTH - 2 * MARGIN - (_ACROSS - 1) * _GUTTER) / _ACROSS
    labels = [_label(cell, width) for cell in card.blends]
    height = PATCH_HEIGHT + max(height_of(label) for label in labels) + 0.2
    words = Block.of(_PIN, WIDTH - 2 * MARGIN)
    rows = -(-len(card.blends) // _ACROSS)
    if first.end + words.height + 0.35 + rows * height < A4 - 0.3:
        _pins(first.page, first.end, words, card.blends, labels, height)
        return []
    head = _head(card, [])
    top = TOP + height_of(head)
    down = max(int((A4 - top - words.height - 0.65) / height), 1)
    figures = []
    for start in range(0, len(card.blends), down * _ACROSS):
        page = Page(A4)
        y = TOP
        for block in head:
            y = page.write(block, MARGIN, y)
        part = slice(start, start + down * _ACROSS)
        _pins(page, y, words, card.blends[part], labels[part], height)
        figures.append(page.figure)
    return figures


def _pins(
    page: Page,
    y: float,
    words: Block,
    cells: Sequence[Blend],
    labels: Sequence[list[Block]],
    height: float,
) -> None:
    """Rows of patches with their frames and labels, from `y` downwards."""
    y = page.write(words, MARGIN, y)
    page.layer.plot([MARGIN, MARGIN + _BAR], [y + 0.12] * 2, color=INK, linewidth=2,
                    solid_capstyle="butt")  # fmt: skip
    width = (WIDTH - 2 * MARGIN - (_ACROSS - 1) * _GUTTER) / _ACROSS
    for i, (cell, label) in enumerate(zip(cells, labels, strict=True)):
        row, column = divmod(i, _ACROSS)
        x, top = MARGIN + column * (width + _GUTTER), y + 0.35 + row * height
        right, bottom = x + PATCH_WIDTH, top + PATCH_HEIGHT
        _patch(page, x, top, PATCH_WIDTH, PATCH_HEIGHT, cell.prediction.hex)
        page.layer.plot(
            [right, right + PATCH_WIDTH, right + PATCH_WIDTH, right], [top, top, bottom, bottom],
            color=FRAME, linewidth=0.5, linestyle=(0, (4, 2)),
        )  # fmt: skip
        at = bottom + 0.03
        for block in label:
            at = page.write(block, x, at)
