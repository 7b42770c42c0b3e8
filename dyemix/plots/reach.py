"""The reach of a shelf in tiles, each of the colour it stands for: can I get this, what stops me?

A staircase goes round what is reached; small squares are reached with the best dye not owned.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import screen_colours
from dyemix.gamut.coverage import Nearest
from dyemix.gamut.reach import ShelfReach
from dyemix.plots.paper import (
    BAR,
    BODY,
    GROUND,
    MARGIN,
    SECTION,
    STRONG,
    SUBTLE,
    Pages,
    Paper,
    pot_codes,
    wide,
)

#: Sizes of panels and the gap between them, in inches.
_PANEL, _GAP, _WHEEL = 3.4, 0.37, 1.33
#: How far wheels go and their tiles, in CIELAB units; and tiles of one hue, a slice high each.
_WIDEST, _TILE, _FINE = 96.0, 8.0, 4.0
_WHEELS = (28.0, 44.0, 60.0, 72.0, 88.0)
#: Pixels an inch of the line round tiles.
_FINENESS = 144
#: Below this chroma a dye has no direction of its own.
_GREY = 12.0
#: A dye that brings a colour nearer by less than this ΔE2000 does not help.
_SEEN = 0.3
#: Where in a name it is looked whether it stands on tiles, in halves of its length and lines.
_SPOTS = np.array([(i, j) for i in (-1.0, -0.5, 0.0, 0.5, 1.0) for j in (-1.0, 0.0, 1.0)])

#: ``place(across, up) -> (x, y)``: where on the page a point of a panel lies.
Place = Callable[[float, float], tuple[float, float]]


def pages(found: ShelfReach) -> Pages:
    """Draw what a shelf reaches: the colour asked for, its hue, its lightness, and the whole."""
    target, number = found.target, len(found.dyes)
    title = f"What {number} dyes reach"
    if target:
        does = "reach it" if target.within else "stop short of it"
        title = f"{target.target.name}: your {number} dyes {does}"
    notes = [f"{found.title}.", *found.findings]
    paper = Paper("reach", title, notes, demo=found.demo, light=found.gamut.light)
    level, x = float(found.gamut.levels[found.gamut.areas.argmax()]), MARGIN
    if target:
        level, x = float(target.target.lab[0]), MARGIN + _PANEL + _GAP
        _asked(paper, found)
        paper.write(MARGIN, paper.y, "This hue: paler up, brighter to the right", bold=True)
        _mark(paper, found, _hue(paper, found, MARGIN, paper.y + 0.25), hue=True)
    paper.write(x, paper.y, f"This lightness (L* {level:.0f}), all hues", bold=True)
    paper.y += 0.25
    place = _wheel(paper, found, x, paper.y, _PANEL, level)
    crowded = _names(paper, found, place, level)
    if target:
        _mark(paper, found, place)
    paper.y += _PANEL + 0.08
    greys = [n for n, lab in zip(found.dyes, found.hues, strict=True) if np.hypot(*lab[1:]) < _GREY]
    key = [
        "○ wanted, × nearest." if target else "",
        f"Small squares: only with {found.additions[0].dye} as well." if found.wider else "",
        "Names: the hue of each dye alone.",
        f"Near grey: {', '.join(greys)}." if greys else "",
        f"No room to name {', '.join(crowded)}." if crowded else "",
    ]
    paper.down(" ".join(filter(None, key)), color=SUBTLE)
    _bars(paper, found)
    paper.y += 0.1
    paper.down("Your whole shelf, from deep to pale", size=SECTION, bold=True)
    for i, wheel in enumerate(_WHEELS):
        x = MARGIN + i * (BODY - _WHEEL) / (len(_WHEELS) - 1)
        place = _wheel(paper, found, x, paper.y, _WHEEL, wheel)
        paper.write(x + _WHEEL / 2, paper.y + _WHEEL + 0.02, f"L* {wheel:.0f}", align="center")
        for wanted in found.wanted:
            lab = wanted.target.lab
            if min(_WHEELS, key=lambda level: abs(level - lab[0])) == wheel:
                face = "black" if wanted.within else "white"
                paper.mark(*place(*lab[1:]), "o", 4, markerfacecolor=face)
    paper.y += _WHEEL + 0.3
    return [paper.end()]


def _asked(paper: Paper, found: ShelfReach) -> None:
    """Wanted beside nearest."""
    assert found.target
    p, x, width = found.target.prediction, MARGIN + 2.8, BODY - 2.8
    paper.box(MARGIN, paper.y, 2.6, 0.8, GROUND)
    paper.patches(MARGIN + 0.1, paper.y + 0.1, 2.4, 0.6, _halves(found.target))
    y = paper.write(x, paper.y, "Left, wanted. Right, the nearest you can dye, below as six pots:")
    y = paper.write(x, y, str(p.recipe), width, size=STRONG, bold=True)
    words = (
        f"{p.screen}: {found.target.residual:.1f} off on paper, likely {found.target.likely:.1f}"
    )
    paper.y = max(paper.write(x, y, words, width), paper.y + 0.8) + 0.15


def _halves(found: Nearest) -> list[list[str]]:
    """Wanted, and touching it what is nearest: promised above, six pots below."""
    pots = pot_codes(found.prediction, found.target.lab, 6)
    return [[found.target.hex] * 6 + half for half in ([found.prediction.hex] * 6, pots)]


def _tiles(paper: Paper, found: ShelfReach, x: float, y: float, size: float, labs: Array) -> None:
    """Tiles ``(R, C, 3)`` of a square panel, top row first; a line round them."""
    from matplotlib.colors import to_rgba_array
    from scipy import ndimage

    shape, flat = labs.shape[:2], labs.reshape(-1, 3)
    codes = np.array([colour.hex for colour in screen_colours(flat)])
    inside = found.gamut.reaches(flat).reshape(shape)
    more = found.wider.reaches(flat).reshape(shape) & ~inside if found.wider else inside & False
    paper.box(x, y, size, size, GROUND)
    paper.patches(x, y, size, size, np.where(inside, codes.reshape(shape), "").tolist())
    n = int(_FINENESS * size / len(labs))
    block, middle = np.ones((n, n), dtype=bool), np.zeros((n, n), dtype=bool)
    middle[n // 3 : -(n // 3), n // 3 : -(n // 3)] = True
    shown = np.kron(inside, block) | np.kron(more, middle)
    pixels = np.kron(to_rgba_array(codes).reshape(*shape, 4), block[..., np.newaxis])
    pixels[..., 3] = np.kron(more, middle)
    pixels[ndimage.binary_dilation(shown, np.ones((3, 3))) & ~shown] = (0.0, 0.0, 0.0, 1.0)
    paper.image(x, y, size, size, pixels, zorder=2)


def _hue(paper: Paper, found: ShelfReach, x: float, y: float) -> Place:
    """The leaf of the wanted hue: C* across, L* up."""
    assert found.target
    turn = np.arctan2(*found.target.target.lab[:0:-1])
    level = found.gamut.levels[::-1, np.newaxis]
    chroma = np.arange(_FINE / 2, _FINE * len(level), _FINE)
    labs = np.stack(
        np.broadcast_arrays(level, chroma * np.cos(turn), chroma * np.sin(turn)), axis=-1
    )
    _tiles(paper, found, x, y, _PANEL, labs)
    unit, top = _PANEL / (_FINE * len(level)), level[0, 0] + _FINE / 2
    return lambda across, up: (x + min(across * unit, _PANEL), y + (top - up) * unit)


def _wheel(paper: Paper, found: ShelfReach, x: float, y: float, size: float, level: float) -> Place:
    """All hues at one lightness."""
    at = np.arange(-_WIDEST + _TILE / 2, _WIDEST, _TILE)
    labs = np.stack(np.broadcast_arrays(level, at, at[::-1, np.newaxis]), axis=-1)
    _tiles(paper, found, x, y, size, labs)
    unit = size / (2 * _WIDEST)
    return lambda a, b: (
        x + float(np.clip((a + _WIDEST) * unit, 0.0, size)),
        y + float(np.clip((_WIDEST - b) * unit, 0.0, size)),
    )


def _mark(paper: Paper, found: ShelfReach, place: Place, hue: bool = False) -> None:
    """Where the colour wanted lies, and the nearest."""
    assert found.target
    for lab, marker in ((found.target.target.lab, "o"), (found.target.prediction.lab, "x")):
        at = place(np.hypot(*lab[1:]), lab[0]) if hue else place(*lab[1:])
        for color, edge in (("white", 4.0), ("black", 1.5)):
            paper.mark(*at, marker, 9, color=color, markeredgewidth=edge, markerfacecolor="none")


def _names(paper: Paper, found: ShelfReach, place: Place, level: float) -> list[str]:
    """Every dye that has a hue, named beside the edge in its own direction; those without room."""
    taken: list[tuple[float, float, float]] = []
    crowded = []
    unit = place(1.0, 0.0)[0] - place(0.0, 0.0)[0]
    for name, (_, a, b) in zip(found.dyes, found.hues, strict=True):
        chroma, half = float(np.hypot(a, b)), wide(name, bold=True) / 2
        for radius in np.arange(0.0, 1.4 * _WIDEST, 3.0) if chroma >= _GREY else ():
            x, y = place(radius * a / chroma, radius * b / chroma)
            x = float(np.clip(x, place(-_WIDEST, 0)[0] + half, place(_WIDEST, 0)[0] - half))
            # The tiles' edge is rougher than the outline, by half a tile.
            spots = (_SPOTS * [half + 0.08, 0.17] + [x, y] - place(0.0, 0.0)) / unit * [1.0, -1.0]
            labs = np.insert(spots, 0, level, axis=1)
            apart = all(abs(x - i) > half + h or abs(y - j) > 0.17 for i, j, h in taken)
            if apart and not found.gamut.reaches(labs).any():
                taken.append((x, y, half))
                paper.write(x, y - 0.09, name, bold=True, align="center")
                break
        else:
            crowded += [name] if chroma >= _GREY else []
    return crowded


def _bars(paper: Paper, found: ShelfReach) -> None:
    """How much nearer each dye not owned would bring the wanted colour."""
    nearer = {a.dye: a.nearest for a in found.additions if a.nearest}
    if not found.target or not nearer:
        return
    paper.y += 0.1
    paper.down("Which dye would bring it nearer", size=SECTION, bold=True)
    miss = found.target.residual
    helps = [dye for dye in nearer if nearer[dye].residual < miss - _SEEN][:4]
    for name in ("as you are", *helps):
        nearest = nearer.get(name, found.target)
        paper.write(MARGIN, paper.y, f"with {name}" if name in nearer else name, bold=True)
        paper.box(MARGIN + 1.4, paper.y + 0.04, 2.6 * nearest.residual / miss, 0.11, BAR)
        paper.write(MARGIN + 4.1, paper.y, f"{nearest.residual:.1f} off")
        recipe = str(nearest.prediction.recipe)
        paper.y = paper.write(MARGIN + 4.8, paper.y, recipe, BODY - 4.8)
    if rest := [dye for dye in nearer if dye not in helps]:
        paper.down(f"Little or no nearer with {', '.join(rest)}.", color=SUBTLE)
