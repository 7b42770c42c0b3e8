"""Steps away from a recipe as rows of patches, each beside the colour that it sets out from.

Words stand below patches, never on them, and every patch has a frame, so that the page reads in
greyscale.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING

from dyemix.colour.colorimetry import D65_2
from dyemix.plots.drawing import (
    LARGE,
    MARGIN,
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
from dyemix.series.steps import Series, Step

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Patches side by side, the start among them, and how high one is, in inches.
_ACROSS, _HIGH, _GAP = 6, 0.7, 0.08


def draw_series(found: Series, path: str | os.PathLike[str] | None = None) -> Figure:
    """Draw a series: quieter by the best route of each kind, over a piece, or tint, shade, tone.

    Parameters
    ----------
    found : what `subdue`, `subdue_on`, `tint`, `shade`, `tone` or `gradient` worked out.
    path : where given, the figure is also written there, as PNG, SVG or PDF by its ending.

    Returns
    -------
    Figure
        As wide as A4. Letters are 8 points or more.

    Raises
    ------
    DyemixError
        An ending that is none of these, or a file that cannot be written.
    """
    file = checked(path)
    rows = [(f"By {r.title}: {r.verdict}" if r.kind else "", r.steps) for r in found.best]
    note = (
        f"Patches: predicted, sRGB ({D65_2}); a screen or a printer shows them roughly. Amounts: % "
        "owf. In the pot: ΔE2000 from what was asked, on average and nine times in ten."
    )
    width = (WIDTH - 2 * MARGIN - (_ACROSS - 1) * _GAP) / _ACROSS
    with styled():
        head = heading(
            found.title, [found.start_line, *found.notes, note, *found.warnings], found.demo
        )
        parts = [
            (
                Block.of(words, WIDTH - 2 * MARGIN, LARGE, "bold"),
                _cells(found.start.hex, steps, width),
            )
            for words, steps in rows
        ]
        height = TOP + height_of(head) + 0.2
        for words, cells in parts:
            height += words.height + 0.06 + sum(_row_height(row) for row in cells) + 0.1
        page = Page(height + 0.15)
        y = TOP
        for block in head:
            y = page.write(block, MARGIN, y)
        y += 0.2
        for words, cells in parts:
            y = page.write(words, MARGIN, y) + 0.06
            for row in cells:
                for i, (colour, label) in enumerate(row):
                    x = MARGIN + i * (width + _GAP)
                    page.patch(x, y, width, _HIGH, colour)
                    page.frame([x, x + width, x + width, x, x], [y, y, y + _HIGH, y + _HIGH, y])
                    at = y + _HIGH + 0.03
                    for block in label:
                        at = page.write(block, x, at)
                y += _row_height(row)
            y += 0.1
        return save(page.figure, file)


_Row = list[tuple[str, list[Block]]]


def _cells(start: str, steps: Sequence[Step], width: float) -> list[_Row]:
    """Patches with their labels in rows; the colour set out from comes first."""
    cells: _Row = [(start, [Block.of("start", width, SMALL, "bold"), Block.of(start, width)])]
    if steps[0].from_start == 0.0:  # a gradient begins with it
        cells = []
    for i, step in enumerate(steps, 1):
        mark = "" if step.reached else " (not reached)"
        cells.append(
            (
                step.prediction.hex,
                [
                    Block.of(f"{i}{mark}", width, SMALL, "bold"),
                    Block.of(str(step.recipe).replace(" + ", "\n"), width),
                    Block.of(f"{step.prediction.hex}\nC* {step.chroma:.0f}", width),
                    Block.of(f"in the pot {step.likely:.1f}, within {step.bound:.1f}", width),
                ],
            )
        )
    return [cells[i : i + _ACROSS] for i in range(0, len(cells), _ACROSS)]


def _row_height(row: _Row) -> float:
    return _HIGH + 0.03 + max(height_of(label) for _, label in row) + 0.1
