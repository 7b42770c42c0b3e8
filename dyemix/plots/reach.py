"""The reach of a shelf as slices of CIELAB: what lies inside each line can be dyed.

Numbers stand for dyes and shapes for colours, so that the page reads in greyscale. Labels are
placed by measure: one that finds no free room near its point moves out on a thin line.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import numpy as np

from dyemix.arrays import Array
from dyemix.gamut.reach import ShelfReach
from dyemix.plots.drawing import (
    BLUE,
    FRAME,
    INK,
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
    text_width,
)  # fmt: skip

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_COLUMNS, _GAP = 3, 0.42
#: Where a label may stand, in widths of a letter from its point, and which way.
_AWAY = (1.0, 1.7, 2.6, 3.6)
_WAYS = np.deg2rad(np.arange(0, 360, 30))
_LETTER = SMALL / 72.0


class _Labels:
    """Labels of one diagram, each in free room, in data units of square axes."""

    def __init__(self, axes: Axes, reach: float, inches: float) -> None:
        self.axes = axes
        self.reach = reach
        self.unit = 2.0 * reach / inches
        self.taken: list[tuple[float, float, float, float]] = []

    def keep_free(self, x: float, y: float) -> None:
        """Room of a marker."""
        half = 0.03 * self.unit
        self.taken.append((x - half, y - half, x + half, y + half))

    def put(self, x: float, y: float, text: str) -> None:
        """Write `text` beside a point, where nothing else stands; far off with a line to it."""
        width = text_width(text, SMALL, "normal") * self.unit
        height = 1.1 * _LETTER * self.unit
        for away in _AWAY:
            for way in _WAYS:
                step = away * _LETTER * self.unit
                cx = x + np.cos(way) * (step + width / 2.0 - _LETTER * self.unit / 3.0)
                cy = y + np.sin(way) * step
                box = (cx - width / 2, cy - height / 2, cx + width / 2, cy + height / 2)
                inside = max(abs(v) for v in box) < self.reach
                if inside and not any(_meet(box, other) for other in self.taken):
                    self.taken.append(box)
                    self.axes.text(cx, cy, text, ha="center", va="center", zorder=5)
                    if away > _AWAY[1]:
                        self.axes.plot([x, cx], [y, cy], color=FRAME, linewidth=0.4, zorder=3)
                    return


def _meet(one: tuple[float, ...], two: tuple[float, ...]) -> bool:
    return one[0] < two[2] and two[0] < one[2] and one[1] < two[3] and two[1] < one[3]


def draw_reach(found: ShelfReach, path: str | os.PathLike[str] | None = None) -> Figure:
    """Draw the gamut of a shelf as a*b* slices, the dye ladders and wanted colours on it.

    Parameters
    ----------
    found : what `reach` worked out.
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
    gamut = found.gamut
    levels = [i for i, area in enumerate(gamut.areas) if area > 0]
    points = [gamut.boundary(i) for i in levels]
    colours = [w.target.lab for w in (*found.wanted, found.target) if w is not None]
    every = [*points, *(ladder.labs[:, 1:] for ladder in found.ladders), *(c[1:] for c in colours)]
    reach = 10.0 * np.ceil(1.12 * max(float(np.abs(p).max()) for p in every) / 10.0)
    size = (WIDTH - 2 * MARGIN - 0.3 - (_COLUMNS - 1) * _GAP) / _COLUMNS
    rows = -(-(len(levels) + 1) // _COLUMNS)
    key = ", ".join(f"{i} {ladder.dye}" for i, ladder in enumerate(found.ladders, 1))
    marks = [f"Numbers: {key}; in a slice, where the dye alone has that lightness."]
    if found.wanted:
        marks.append(
            "Wanted colours, in the slice nearest in lightness: full squares are within "
            f"{found.tolerance:g} ΔE2000 on paper, hollow ones are not. Their own L* is not quite "
            "the slice's."
        )
    if found.target is not None:
        marks.append(f"Cross: {found.target.target.name}, in the slice nearest in lightness.")
    with styled():
        head = heading(
            f"{found.title}.",
            [
                f"CIELAB, {gamut.light}. Inside a line: what blends can reach on paper, at that "
                f"L*. Axes: a* across, b* up, {reach:.0f} to either side.",
                *marks,
                *found.findings,
            ],
            found.demo,
        )
        top = TOP + height_of(head) + 0.45
        page = Page(top + rows * (size + 0.5) + 0.1)
        y = TOP
        for block in head:
            y = page.write(block, MARGIN, y)
        for panel in range(len(levels) + 1):
            row, column = divmod(panel, _COLUMNS)
            x = MARGIN + 0.3 + column * (size + _GAP)
            axes = _axes(page, x, top + row * (size + 0.5), size, reach)
            labels = _Labels(axes, reach, size)
            if panel == len(levels):
                page.write(
                    Block.of("all ladders, from cloth", size, LARGE, "bold"), x,
                    top + row * (size + 0.5) - 0.2,
                )  # fmt: skip
                _ladders(found, axes, labels)
                continue
            level = float(gamut.levels[levels[panel]])
            page.write(
                Block.of(f"L* {level:.0f}", size, LARGE, "bold"), x,
                top + row * (size + 0.5) - 0.2,
            )  # fmt: skip
            _slice(found, axes, labels, levels[panel])
        return save(page.figure, file)


def _axes(page: Page, x: float, y: float, size: float, reach: float) -> Axes:
    ends = (x / WIDTH, 1 - (y + size) / page.height, size / WIDTH, size / page.height)
    axes = page.figure.add_axes(ends)
    tick = 50.0 if reach > 60 else 20.0
    axes.set(xlim=(-reach, reach), ylim=(-reach, reach), xticks=[-tick, 0, tick],
             yticks=[-tick, 0, tick])  # fmt: skip
    axes.grid(color="#d0d0d0", linewidth=0.5)
    axes.set_axisbelow(True)
    axes.tick_params(length=2, pad=2)
    return axes


def _slice(found: ShelfReach, axes: Axes, labels: _Labels, i: int) -> None:
    """The boundary at one L*, the dyes that have it, the colours nearest to it."""
    gamut = found.gamut
    level = float(gamut.levels[i])
    a, b = gamut.boundary(i).T
    axes.fill(a, b, facecolor="#f2f2f2", edgecolor=INK, linewidth=1.0, zorder=2)
    for x, y in zip(a, b, strict=True):
        labels.keep_free(float(x), float(y))
    for wanted in found.wanted:
        if _nearest(found, wanted.target.lab) == i:
            x, y = wanted.target.lab[1:]
            face = BLUE if wanted.within else "white"
            axes.plot(x, y, "s", markersize=4, markerfacecolor=face, markeredgecolor=BLUE,
                      markeredgewidth=0.9, zorder=4)  # fmt: skip
            labels.keep_free(x, y)
    if found.target is not None and _nearest(found, found.target.target.lab) == i:
        x, y = found.target.target.lab[1:]
        axes.plot(x, y, "x", markersize=7, color=INK, markeredgewidth=1.8, zorder=4)
        labels.keep_free(x, y)
    at: list[tuple[float, float, str]] = []
    for number, ladder in enumerate(found.ladders, 1):
        lightness = ladder.labs[::-1, 0]
        if lightness.min() <= level <= lightness.max() and np.all(np.diff(lightness) > 0):
            x, y = (float(np.interp(level, lightness, ladder.labs[::-1, c])) for c in (1, 2))
            axes.plot(x, y, "o", markersize=2.5, color=INK, zorder=3)
            labels.keep_free(x, y)
            at.append((x, y, str(number)))
    for x, y, text in at:
        labels.put(x, y, text)


def _ladders(found: ShelfReach, axes: Axes, labels: _Labels) -> None:
    """Every dye alone, from bare cloth to its deepest square."""
    for ladder in found.ladders:
        axes.plot(*ladder.labs.T[1:], color=INK, linewidth=0.8, marker=".", markersize=2)
        for x, y in ladder.labs[:, 1:]:
            labels.keep_free(float(x), float(y))
    for number, ladder in enumerate(found.ladders, 1):
        labels.put(float(ladder.labs[-1, 1]), float(ladder.labs[-1, 2]), str(number))


def _nearest(found: ShelfReach, lab: Array) -> int:
    """The slice nearest in lightness that can be reached at all."""
    there = np.flatnonzero(found.gamut.areas > 0)
    return int(there[np.argmin(np.abs(found.gamut.levels[there] - lab[0]))])
