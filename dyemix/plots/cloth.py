"""Mottled cloth as it was seen, as its amounts re-colour it, dye by dye, and as a preview of it.

Depth of a dye is a grey that is even to the eye: L* falls in proportion to it.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from dyemix.arrays import Array
from dyemix.cloth.figures import Shade
from dyemix.cloth.levelness import Levelness, PieceComparison
from dyemix.cloth.preview import Previews
from dyemix.colour.colorimetry import screen_pixels
from dyemix.errors import said
from dyemix.plots.paper import BODY, MARGIN, Pages, Paper

#: L* of cloth without a dye and of the most that its map shows; how many times the dose that is.
_PALE, _DARK, _MOST = 95.0, 15.0, 2.0
_GAP, _STRIP, _HIGHEST = 0.15, 0.42, 2.6


def _pixels(responses: Any, inside: Any = 1.0) -> Array:
    """RGBA ``(H, W, 4)`` of responses ``(H, W, 3)``; outside of the cloth is clear."""
    rgb = screen_pixels(np.asarray(responses, dtype=float))
    return np.dstack([rgb, np.broadcast_to(inside, rgb.shape[:2])])


def _seen(piece: Levelness) -> Array | None:
    """The pixels of a piece as it was photographed, where they are at hand."""
    cells = piece.cells
    return None if cells is None else _pixels(cells.responses, cells.inside)


def _grey(relative: Any) -> Array:
    """Responses ``(..., 3)`` of the greys that stand for amounts over the dose."""
    level = _PALE - (_PALE - _DARK) * np.clip(relative / _MOST, 0.0, 1.0)
    return np.asarray(((level[..., np.newaxis] + 16.0) / 116.0) ** 3 * np.ones(3))


def _row(
    paper: Paper, images: Sequence[tuple[str, Array | None]], columns: int
) -> tuple[list[float], float]:
    """Images side by side under their titles: where their columns begin, and how wide they are."""
    width, top = (BODY - (columns - 1) * _GAP) / columns, paper.y
    xs = [MARGIN + i * (width + _GAP) for i in range(columns)]
    for x, (title, pixels) in zip(xs, images, strict=False):
        y = paper.write(x, top, title, width, "bold") + 0.03
        if pixels is not None:
            high, wide = pixels.shape[:2]
            size = min(width / wide, _HIGHEST / high)
            paper.box((x, y, wide * size, high * size))
            paper.image((x, y, wide * size, high * size), pixels)
            y += high * size
        paper.y = max(paper.y, y + 0.12)
    return xs, width


def _palette(paper: Paper, x: float, width: float, shades: Sequence[Shade]) -> None:
    """Shades as wide as their shares, and their shares and codes below where there is room."""
    at = x
    for shade in shades:
        wide = width * shade.share / 100.0
        paper.box((at, paper.y, wide, _STRIP), shade.hex, zorder=1)
        if wide > 0.36:
            words = f"{shade.share:.0f} %" + (f"\n{shade.hex}" if wide > 0.62 else "")
            paper.write(at, paper.y + _STRIP + 0.03, words)
        at += wide
    paper.frame((x, paper.y, width, _STRIP))
    paper.y += _STRIP + 0.45


def _legend(paper: Paper) -> None:
    """The scale of the maps, in times the dose."""
    width, shares = 2.4, np.linspace(0.0, 1.0, 5)
    paper.image((MARGIN, paper.y, width, 0.14), _pixels(_grey(np.linspace(0.0, _MOST, 240)[None])))
    paper.frame((MARGIN, paper.y, width, 0.14))
    for share in shares:
        paper.write(MARGIN + width * share, paper.y + 0.16, f"×{_MOST * share:g}", ha="center")
    paper.write(MARGIN + width + 1.0, paper.y, said("pictures.cloth.scale"), BODY - width - 1.0)
    paper.y += 0.5


def piece(found: Levelness) -> Pages:
    """Draw an analysed piece: as it was seen, re-coloured, dye by dye, and in figures."""
    order = f", alkali: {found.order}" if found.order else ""
    paper = Paper("cloth", f"{found.name}: {found.recipe}{order}", demo=found.demo)
    if (cells := found.cells) is not None:
        inside = cells.inside
        again = ("its amounts, re-coloured", _pixels(cells.recoloured, inside))
        _row(paper, [("as photographed", _seen(found)), again], 2)
        greys = [
            (dye.dye, _pixels(_grey(cells.amounts[..., i] / dye.dose), inside))
            for i, dye in enumerate(found.dyes)
        ]
        for first in range(0, len(greys), 3):
            _row(paper, greys[first : first + 3], 3)
        _legend(paper)
    _palette(paper, MARGIN, BODY, found.palette)
    top, x = paper.y, MARGIN + BODY / 2 + 0.15
    rows = [(each.name, str(each), f"{each.block_mm:.1f} mm") for each in found.figures]
    paper.table((MARGIN, MARGIN + 1.75, MARGIN + 2.9), rows)
    bottom, paper.y = paper.y, top
    for text in ("Amounts, % owf; one 2 mm block:", *map(str, found.dyes), *found.warnings):
        paper.y = paper.write(x, paper.y, " ".join(text.split()), BODY / 2 - 0.15)
    paper.y = max(bottom, paper.y) + 0.1
    return [paper.end()]


def compared(found: PieceComparison) -> Pages:
    """Draw analysed pieces side by side."""
    pieces, columns = found.pieces, min(len(found), 3)
    paper = Paper("cloths", str(pieces[0].recipe), demo=pieces[0].demo)
    for first in range(0, len(pieces), columns):
        some = pieces[first : first + columns]
        titles = [f"{piece.order} {piece.name}".strip() for piece in some]
        xs, width = _row(paper, [*zip(titles, map(_seen, some), strict=True)], columns)
        top = paper.y
        for x, piece in zip(xs, some, strict=False):
            paper.y = top
            _palette(paper, x, width, piece.palette)
            paper.table((x, x + 1.2), [(figure.name, str(figure)) for figure in piece.main])
        paper.y += 0.15
    for text in (*found.differences, *found.warnings):
        paper.down(text)
    return [paper.end()]


def previews(found: Previews) -> Pages:
    """Draw previews, one below the other."""
    paper = Paper("preview", "How these mixes may split", demo=found.demo)
    side, x, width = 1.9, MARGIN + 2.1, BODY - 2.1
    for item in found:
        paper.down(f"{item.recipe}, alkali: {item.order}", "bold")
        paper.y += 0.03
        end = paper.y + side
        pixels = _pixels(item.responses)
        paper.image((MARGIN, paper.y, side, side), pixels, interpolation="bilinear")
        if item.illustrative:
            paper.box((MARGIN, end - 0.22, side, 0.22), "white", zorder=2)
            paper.write(MARGIN + side / 2, end - 0.2, "ILLUSTRATIVE", font="bold", ha="center")
        _palette(paper, x, width, item.palette)
        paper.table((x, x + 1.2), [(figure.name, str(figure)) for figure in item.figures])
        paper.y = max(paper.write(x, paper.y, item.source, width), end) + 0.2
    return [paper.end()]
