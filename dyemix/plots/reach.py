"""The reach of a shelf in tiles, each of the colour it stands for: can I get this, what stops me?

A staircase goes round what is reached; small squares are reached with the best dye not owned.
"""

from collections.abc import Callable
from typing import Any

import numpy as np

from dyemix.arrays import Array, Flags
from dyemix.colour.appearance import Miss
from dyemix.colour.colorimetry import screen_colours
from dyemix.gamut.coverage import Nearest
from dyemix.gamut.reach import ShelfReach
from dyemix.model.dyes import GREY
from dyemix.plots.paper import BAR, BODY, MARGIN, SUBTLE, Pages, Paper, pot_codes, wide

#: Sizes of panels and the gap between them, in inches.
_PANEL, _GAP, _WHEEL = 3.4, 0.37, 1.33
#: How far wheels go and their tiles, in CIELAB units; and tiles of one hue, a slice high each.
_WIDEST, _TILE, _FINE = 96.0, 8.0, 4.0
_WHEELS = (28.0, 44.0, 60.0, 72.0, 88.0)
#: Pixels an inch of the line round tiles.
_FINENESS = 144
#: A dye that brings a colour nearer by less than this ΔE2000 does not help.
_SEEN = 0.3

#: Where on the page the CIELAB ``(3,)`` of a panel lies.
Place = Callable[[Array], tuple[Any, Any]]


def pages(found: ShelfReach) -> Pages:
    """Draw what a shelf reaches: the colour asked for, its hue, its lightness, and the whole."""
    target, number = found.target, len(found.dyes)
    title = f"What {number} dyes reach"
    if target:
        does = "reach it" if target.within else "stop short of it"
        title = f"{target.target.name}: your {number} dyes {does}"
    # What is said of the target stands beside its patches.
    notes = [f"{found.title}.", *found.findings[bool(target) :]]
    paper = Paper("reach", title, notes, demo=found.demo, light=found.gamut.light)
    level, x = float(found.gamut.levels[found.gamut.areas.argmax()]), MARGIN
    if target:
        level, x = float(target.target.lab[0]), MARGIN + _PANEL + _GAP
        _asked(paper, target)
        paper.write(MARGIN, paper.y, "This hue: paler up, brighter to the right", font="bold")
        _mark(paper, target, _hue(paper, found, target, MARGIN, paper.y + 0.25))
    paper.write(x, paper.y, f"This lightness (L* {level:.0f}), all hues", font="bold")
    paper.y += 0.25
    place, tiles = _wheel(paper, found, x, paper.y, _PANEL, level)
    crowded = _names(paper, found, x, tiles)
    if target:
        _mark(paper, target, place)
    paper.y += _PANEL + 0.08
    greys = [n for n, lab in zip(found.dyes, found.hues, strict=True) if np.hypot(*lab[1:]) < GREY]
    key = [
        "○ wanted, × nearest, of its own lightness and hue." if target else "",
        f"Small squares: only with {found.additions[0].dye} as well." if found.wider else "",
        "Names: the hue of each dye alone.",
        f"Near grey: {', '.join(greys)}." if greys else "",
        f"No room to name {', '.join(crowded)}." if crowded else "",
    ]
    paper.down(" ".join(filter(None, key)), color=SUBTLE)
    _bars(paper, found)
    paper.y += 0.1
    paper.down("Your whole shelf, from deep to pale", "section")
    for i, level in enumerate(_WHEELS):
        x = MARGIN + i * (BODY - _WHEEL) / (len(_WHEELS) - 1)
        place, _ = _wheel(paper, found, x, paper.y, _WHEEL, level)
        paper.write(x + _WHEEL / 2, paper.y + _WHEEL + 0.02, f"L* {level:.0f}", ha="center")
        for wanted in found.wanted:
            if np.abs(np.array(_WHEELS) - wanted.target.lab[0]).argmin() == i:
                fill, edge = ("black", "white") if wanted.within else ("white", "black")
                paper.mark(*place(wanted.target.lab), "o", 5, color=edge, markerfacecolor=fill)
    paper.y += _WHEEL + 0.3
    return [paper.end()]


def _asked(paper: Paper, target: Nearest) -> None:
    """Wanted, and touching it what is nearest: promised above, six pots below."""
    p, x, width = target.prediction, MARGIN + 2.8, BODY - 2.8
    paper.box((MARGIN, paper.y, 2.6, 0.8))
    halves = [[p.hex] * 6, pot_codes(p, target.target.lab, 6)]
    rows = [[target.target.hex] * 6 + half for half in halves]
    paper.patches((MARGIN + 0.1, paper.y + 0.1, 2.4, 0.6), rows)
    y = paper.write(x, paper.y, "Left, wanted. Right, the nearest you can dye, below as six pots:")
    y = paper.write(x, y, str(p.recipe), width, "strong")
    how = "".join(f", {word}" for word in Miss.of(target.target.lab, p.lab).words)
    words = f"{p.screen}: {target.residual:.1f} off on paper{how}; likely {target.likely:.1f}"
    paper.y = max(paper.write(x, y, words, width), paper.y + 0.8) + 0.15


def _tiles(paper: Paper, found: ShelfReach, x: float, y: float, size: float, labs: Array) -> Flags:
    """Tiles ``(R, C, 3)`` of a square panel, top row first; a line round those drawn, and which."""
    from matplotlib.colors import to_rgba_array
    from scipy import ndimage

    shape, flat = labs.shape[:2], labs.reshape(-1, 3)
    codes = np.array([colour.hex for colour in screen_colours(flat)])
    inside = found.gamut.reaches(flat).reshape(shape)
    more = (found.wider or found.gamut).reaches(flat).reshape(shape) & ~inside
    paper.box((x, y, size, size))
    paper.patches((x, y, size, size), np.where(inside, codes.reshape(shape), "").tolist())
    n = int(_FINENESS * size / len(labs))
    block, middle = np.ones((n, n), dtype=bool), np.zeros((n, n), dtype=bool)
    middle[n // 3 : -(n // 3), n // 3 : -(n // 3)] = True
    shown = np.kron(inside, block) | np.kron(more, middle)
    pixels = np.kron(to_rgba_array(codes).reshape(*shape, 4), block[..., np.newaxis])
    pixels[..., 3] = np.kron(more, middle)
    pixels[ndimage.binary_dilation(shown, np.ones((3, 3))) & ~shown] = (0.0, 0.0, 0.0, 1.0)
    paper.image((x, y, size, size), pixels, zorder=2)
    return np.asarray(inside | more)


def _hue(paper: Paper, found: ShelfReach, target: Nearest, x: float, y: float) -> Place:
    """The leaf of the wanted hue: C* across, L* up."""
    turn, level = np.arctan2(*target.target.lab[:0:-1]), found.gamut.levels[::-1, np.newaxis]
    chroma, along = np.arange(_FINE / 2, _FINE * len(level), _FINE), [np.cos(turn), np.sin(turn)]
    sides = np.broadcast_arrays(level, *np.multiply.outer(along, chroma))
    _tiles(paper, found, x, y, _PANEL, np.stack(sides, axis=-1))
    unit, top = _PANEL / (_FINE * len(level)), level[0, 0] + _FINE / 2

    # Of a colour of another hue, as much as lies in this one.
    return lambda lab: (x + np.clip(lab[1:] @ along * unit, 0, _PANEL), y + (top - lab[0]) * unit)


def _wheel(
    paper: Paper, found: ShelfReach, x: float, y: float, size: float, level: float
) -> tuple[Place, Flags]:
    """All hues at one lightness; which tiles are drawn."""
    at = np.arange(-_WIDEST + _TILE / 2, _WIDEST, _TILE)
    labs = np.stack(np.broadcast_arrays(level, at, at[::-1, np.newaxis]), axis=-1)

    def place(lab: Array) -> tuple[float, float]:
        across, down = size * np.clip(0.5 + lab[1:] * [0.5, -0.5] / _WIDEST, 0.0, 1.0)
        return x + across, y + down

    return place, _tiles(paper, found, x, y, size, labs)


def _mark(paper: Paper, target: Nearest, place: Place) -> None:
    """Where the colour wanted lies, and the nearest."""
    for lab, marker in ((target.target.lab, "o"), (target.prediction.lab, "x")):
        for color, edge in (("white", 4.0), ("black", 1.5)):
            look: dict[str, Any] = {"color": color, "markeredgewidth": edge}
            paper.mark(*place(lab), marker, 9, markerfacecolor="none", **look)


def _names(paper: Paper, found: ShelfReach, left: float, busy: Flags) -> list[str]:
    """Every dye with a hue, named in its direction on tiles not `busy`; those without room."""
    cell, crowded = _PANEL / len(busy), []
    for name, (_, a, b) in zip(found.dyes, found.hues, strict=True):
        chroma, half = float(np.hypot(a, b)), wide(name, "bold") / 2
        if chroma < GREY:
            continue
        for radius in np.arange(0.0, 1.4, 0.03):
            x, y = _PANEL / 2 * (1.0 + radius * np.array([a, -b]) / chroma)
            edge = np.array([half + 0.08, 0.12])
            x, y = np.clip([x, y], edge, _PANEL - edge)
            ends = ((y - 0.1, y + 0.1), (x - half - 0.04, x + half + 0.04))
            under = tuple(slice(max(int(i / cell), 0), int(j / cell) + 1) for i, j in ends)
            if not busy[under].any():
                busy[under] = True
                paper.write(left + x, paper.y + y - 0.09, name, font="bold", ha="center")
                break
        else:
            crowded.append(name)
    return crowded


def _bars(paper: Paper, found: ShelfReach) -> None:
    """How much nearer each dye not owned would bring the wanted colour."""
    nearer = {a.dye: a.nearest for a in found.additions if a.nearest}
    if not found.target or not nearer:
        return
    paper.y += 0.1
    paper.down("Which dye would bring it nearer", "section")
    miss = found.target.residual
    helps = [dye for dye in nearer if nearer[dye].residual < miss - _SEEN][:4]
    rows = {"as you are": found.target, **{f"with {dye}": nearer[dye] for dye in helps}}
    for name, nearest in rows.items():
        paper.write(MARGIN, paper.y, name, font="bold")
        paper.box((MARGIN + 1.4, paper.y + 0.04, 2.6 * nearest.residual / miss, 0.11), BAR)
        paper.write(MARGIN + 4.1, paper.y, f"{nearest.residual:.1f} off")
        recipe = str(nearest.recipe)
        paper.y = paper.write(MARGIN + 4.8, paper.y, recipe, BODY - 4.8)
    if rest := [dye for dye in nearer if dye not in helps]:
        paper.down(f"Little or no nearer with {', '.join(rest)}.", color=SUBTLE)
