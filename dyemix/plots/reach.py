"""The reach of a shelf in tiles, each of the colour it stands for: can I get this, what stops me?

A staircase goes round what is reached; small squares are reached with the best dye not owned.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.colorimetry import screen_colours
from dyemix.gamut.boundary import Gamut
from dyemix.gamut.reach import ShelfReach
from dyemix.plots.paper import BAR, BODY, GROUND, INK, MARGIN, SECTION, STRONG, SUBTLE, Paper, wide

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Sizes of panels and the gap between them, in inches; how far wheels go, and their tiles, in
#: CIELAB units; tiles of one hue.
_PANEL, _GAP, _WHEEL = 3.4, 0.37, 1.33
_WIDEST, _TILE, _FINE = 96.0, 8.0, 4.0
_WHEELS = (28.0, 44.0, 60.0, 72.0, 88.0)
#: Where a name is tried for standing on tiles, from one end to the other.
_ACROSS_NAME = (-1.0, -0.5, 0.0, 0.5, 1.0)
#: Below this chroma a dye has no direction of its own.
_GREY = 12.0
#: A dye that brings a colour nearer by less than this ΔE2000 does not help.
_SEEN = 0.3


def reach_pages(found: ShelfReach) -> list[Figure]:
    """Draw what a shelf reaches: the colour asked for, its hue, its lightness, and the whole."""
    target, number = found.target, len(found.dyes)
    title = f"What {number} dyes reach"
    if target:
        does = "reach it" if target.within else "stop short of it"
        title = f"{target.target.name}: your {number} dyes {does}"
    paper = Paper(title, [f"{found.title}.", *found.findings], demo=found.demo)
    level = float(found.gamut.levels[found.gamut.areas.argmax()])
    right = MARGIN
    if target:
        level, right = float(target.target.lab[0]), MARGIN + _PANEL + _GAP
        _asked(paper, found)
        paper.write(MARGIN, paper.y, "This hue: paler up, brighter to the right", bold=True)
        _hue(paper, found, paper.y + 0.25)
    paper.write(right, paper.y, f"This lightness (L* {level:.0f}), all hues", bold=True)
    paper.y += 0.25
    _names(paper, found, right, level)
    paper.y += _PANEL + 0.08
    greys = [n for n, lab in zip(found.dyes, found.hues, strict=True) if np.hypot(*lab[1:]) < _GREY]
    key = ["○ wanted, × nearest."] if target else []
    key += [f"Small squares: only with {found.additions[0].dye} as well."] if found.wider else []
    key += ["Names: the hue of each dye alone."]
    key += [f"Near grey: {', '.join(greys)}."] if greys else []
    paper.down(" ".join(key), color=SUBTLE)
    _bars(paper, found)
    paper.y += 0.1
    paper.down("Your whole shelf, from deep to pale", size=SECTION, bold=True)
    for i, wheel in enumerate(_WHEELS):
        x = MARGIN + i * (BODY - _WHEEL) / (len(_WHEELS) - 1)
        _wheel(paper, found, x, paper.y, _WHEEL, wheel)
        paper.write(x + _WHEEL / 2, paper.y + _WHEEL + 0.02, f"L* {wheel:.0f}", align="center")
    paper.y += _WHEEL + 0.3
    dots = "Dots: wanted colours, full within reach, hollow not. " if found.wanted else ""
    paper.down(
        f"Wheels: red to the right, yellow up, green left, blue down, grey in the middle. {dots}"
        f"{found.gamut.light}; sRGB: a colour beyond it is drawn as the nearest code.",
        color=SUBTLE,
    )
    return [paper.end()]


def _asked(paper: Paper, found: ShelfReach) -> None:
    """Wanted beside nearest."""
    assert found.target
    p = found.target.prediction
    paper.box(MARGIN, paper.y, 2.6, 0.8, GROUND)
    paper.patches(MARGIN + 0.1, paper.y + 0.1, 2.4, 0.6, [[found.target.target.hex, p.hex]])
    x = MARGIN + 2.8
    y = paper.write(x, paper.y, "Left, wanted. Right, the nearest you can dye:")
    y = paper.write(x, y, str(p.recipe), width=BODY - 2.8, size=STRONG, bold=True)
    words = f"{p.screen}: {found.target.miss:.1f} off on paper, likely {found.target.likely:.1f}"
    paper.y = max(paper.write(x, y, words, width=BODY - 2.8), paper.y + 0.8) + 0.15


def _tiles(paper: Paper, found: ShelfReach, x: float, y: float, size: float, labs: Array) -> None:
    """Tiles ``(R, C, 3)`` of a square panel, top row first."""
    rows, columns = labs.shape[:2]
    high, width = size / rows, size / columns
    flat = labs.reshape(-1, 3)
    codes = np.array([colour.hex for colour in screen_colours(flat)]).reshape(rows, columns)
    inside = _reached(found.gamut, labs)
    paper.box(x, y, size, size, GROUND)
    paper.patches(x, y, size, size, np.where(inside, codes, "").tolist())
    xs: list[float] = []
    ys: list[float] = []
    for r, c in np.argwhere(np.diff(np.pad(inside, 1).astype(int), axis=1)[1:-1]):
        xs += [x + c * width, x + c * width, np.nan]
        ys += [y + r * high, y + (r + 1) * high, np.nan]
    for r, c in np.argwhere(np.diff(np.pad(inside, 1).astype(int), axis=0)[:, 1:-1]):
        xs += [x + c * width, x + (c + 1) * width, np.nan]
        ys += [y + r * high, y + r * high, np.nan]
    paper.line(xs, ys)
    if found.wider:
        more = _reached(found.wider, labs) & ~inside
        for r, c in np.argwhere(more):
            w, h = 0.4 * width, 0.4 * high
            left, top = x + (c + 0.3) * width, y + (r + 0.3) * high
            paper.box(left, top, w, h, str(codes[r, c]), edgecolor=INK, zorder=2)


def _reached(gamut: Gamut, labs: Array) -> NDArray[np.bool_]:
    return np.asarray(gamut.reaches(labs.reshape(-1, 3))).reshape(labs.shape[:2])


def _mark(paper: Paper, x: float, y: float, marker: str) -> None:
    for color, size in (("white", 4.0), ("black", 1.5)):
        paper.line([x], [y], marker=marker, markersize=9, color=color, markeredgewidth=size,
                   markerfacecolor="none", zorder=4)  # fmt: skip


def _hue(paper: Paper, found: ShelfReach, y: float) -> None:
    """The leaf of the wanted hue: C* across, L* up."""
    assert found.target
    a, b = found.target.target.lab[1:]
    turn = np.arctan2(b, a)
    level = np.arange(found.gamut.levels[-1], found.gamut.levels[0] - 1.0, -_FINE)
    chroma = np.arange(_FINE / 2, _FINE * len(level), _FINE)
    labs = np.empty((len(level), len(chroma), 3))
    labs[..., 0] = level[:, np.newaxis]
    labs[..., 1], labs[..., 2] = chroma * np.cos(turn), chroma * np.sin(turn)
    _tiles(paper, found, MARGIN, y, _PANEL, labs)
    for lab, marker in ((found.target.target.lab, "o"), (found.target.prediction.lab, "x")):
        across = min(float(np.hypot(*lab[1:])) / (_FINE * len(chroma)), 1.0)
        down = (level[0] + _FINE / 2 - lab[0]) / (_FINE * len(level))
        _mark(paper, MARGIN + across * _PANEL, y + float(down) * _PANEL, marker)


def _wheel(paper: Paper, found: ShelfReach, x: float, y: float, size: float, level: float) -> None:
    """All hues at one lightness."""
    at = np.arange(-_WIDEST + _TILE / 2, _WIDEST, _TILE)
    labs = np.empty((len(at), len(at), 3))
    labs[..., 0], labs[..., 1], labs[..., 2] = level, at, at[::-1, np.newaxis]
    _tiles(paper, found, x, y, size, labs)
    for wanted in found.wanted:
        lab = wanted.target.lab
        if min(_WHEELS, key=lambda w: abs(w - lab[0])) == level and size == _WHEEL:
            face = "black" if wanted.within else "white"
            paper.line(*_place(lab, x, y, size), marker="o", markersize=4, color="black",
                       markerfacecolor=face, zorder=4)  # fmt: skip


def _place(lab: Array, x: float, y: float, size: float) -> tuple[list[float], list[float]]:
    across, down = (lab[1] + _WIDEST) / (2 * _WIDEST), (_WIDEST - lab[2]) / (2 * _WIDEST)
    return [x + float(across) * size], [y + float(down) * size]


def _names(paper: Paper, found: ShelfReach, x: float, level: float) -> None:
    """The wheel of one lightness, every dye named beside the edge in its own direction."""
    y = paper.y
    _wheel(paper, found, x, y, _PANEL, level)
    taken: list[tuple[float, float, float]] = []
    unit = 2 * _WIDEST / _PANEL
    coloured = [i for i, lab in enumerate(found.hues) if np.hypot(*lab[1:]) >= _GREY]
    for i in sorted(coloured, key=lambda i: np.arctan2(*found.hues[i, :0:-1])):
        name, way = found.dyes[i], found.hues[i, 1:] / np.hypot(*found.hues[i, 1:])
        half = wide(name, bold=True) / 2
        for radius in np.arange(0.0, 1.4 * _WIDEST, 3.0):
            px = float(np.clip(x + (_WIDEST + radius * way[0]) / unit, x + half, x + _PANEL - half))
            py = float(np.clip(y + (_WIDEST - radius * way[1]) / unit, y + 0.1, y + _PANEL - 0.1))
            # The tiles' edge is rougher than the outline, by half a tile.
            spots = np.array([(j, k) for j in _ACROSS_NAME for k in (-1.0, 0.0, 1.0)])
            spots = (spots * [half + 0.08, 0.17] + [px - x, py - y]) * unit - _WIDEST
            labs = np.column_stack([np.full(len(spots), level), spots * [1.0, -1.0]])
            apart = all(abs(px - q) > half + h or abs(py - r) > 0.17 for q, r, h in taken)
            if apart and not found.gamut.reaches(labs).any():
                taken.append((px, py, half))
                paper.write(px, py - 0.09, name, bold=True, align="center")
                break
    if found.target:
        for lab, marker in ((found.target.target.lab, "o"), (found.target.prediction.lab, "x")):
            (px,), (py,) = _place(lab, x, y, _PANEL)
            _mark(paper, px, py, marker)


def _bars(paper: Paper, found: ShelfReach) -> None:
    """How much nearer each dye not owned would bring the wanted colour."""
    nearer = {a.dye: a.nearest for a in found.additions if a.nearest}
    if not found.target or not nearer:
        return
    paper.y += 0.1
    paper.down("Which dye would bring it nearer", size=SECTION, bold=True)
    miss = found.target.miss
    helps = [dye for dye in nearer if nearer[dye].miss < miss - _SEEN][:4]
    rows = [("as you are", found.target), *((f"with {dye}", nearer[dye]) for dye in helps)]
    for name, nearest in rows:
        paper.write(MARGIN, paper.y, name, bold=True)
        paper.box(MARGIN + 1.4, paper.y + 0.04, 2.6 * nearest.miss / miss, 0.11, BAR)
        paper.write(MARGIN + 4.1, paper.y, f"{nearest.miss:.1f} off")
        paper.y = paper.write(
            MARGIN + 4.8, paper.y, str(nearest.prediction.recipe), width=BODY - 4.8
        )
    if rest := [dye for dye in nearer if dye not in helps]:
        paper.down(f"Little or no nearer with {', '.join(rest)}.", color=SUBTLE)
