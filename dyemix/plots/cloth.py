"""Mottled cloth as it was seen, as its amounts re-colour it, dye by dye, and as a preview of it.

Depth of a dye is a grey that is even to the eye: L* falls in proportion to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from dyemix.arrays import Array
from dyemix.cloth.amounts import Single
from dyemix.cloth.compare import PieceComparison
from dyemix.cloth.figures import MAIN, Shade
from dyemix.cloth.levelness import Levelness
from dyemix.cloth.preview import Preview, Previews
from dyemix.colour.colorimetry import screen_pixels
from dyemix.plots.paper import BODY, GROUND, MARGIN, RULE, Paper, said

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: L* of cloth without a dye and of the most that its map shows; how many times the dose that is.
_PALE, _DARK, _MOST = 95.0, 15.0, 2.0
_GAP, _STRIP, _HIGHEST = 0.15, 0.42, 2.6


def pages(result: Levelness | PieceComparison | Previews) -> list[Figure]:
    """Draw an analysed piece, several side by side, or previews one below the other."""
    if isinstance(result, Levelness):
        return [_piece(result)]
    return [_compared(result) if isinstance(result, PieceComparison) else _previews(result)]


def _pixels(responses: Array | Single, inside: Array | None = None) -> Array:
    """RGBA ``(H, W, 4)`` of responses ``(H, W, 3)``; outside of the cloth is clear."""
    rgb = screen_pixels(np.asarray(responses, dtype=float))
    alpha = np.ones((*rgb.shape[:2], 1)) if inside is None else inside[..., np.newaxis]
    return np.concatenate([rgb, alpha], axis=2)


def _grey(relative: Array) -> Array:
    """Responses ``(..., 3)`` of the greys that stand for amounts over the dose."""
    level = _PALE - (_PALE - _DARK) * np.clip(relative / _MOST, 0.0, 1.0)
    y = ((level + 16.0) / 116.0) ** 3
    return np.asarray(np.repeat(y[..., np.newaxis], 3, axis=-1))


def _row(paper: Paper, images: Sequence[tuple[str, Array]], columns: int) -> None:
    """Images of one size side by side under their titles."""
    width = (BODY - (columns - 1) * _GAP) / columns
    high, wide = images[0][1].shape[:2]
    height = width * high / wide
    if height > _HIGHEST:
        width, height = width * _HIGHEST / height, _HIGHEST
    head = 0.2
    for i, (title, pixels) in enumerate(images):
        x = MARGIN + i * (width + _GAP)
        paper.write(x, paper.y, title, bold=True)
        paper.box(x, paper.y + head, width, height, GROUND)
        paper.image(x, paper.y + head, width, height, pixels)
    paper.y += head + height + 0.12


def _palette(paper: Paper, x: float, width: float, shades: Sequence[Shade]) -> None:
    """Shades as wide as their shares, and their codes and shares below where there is room."""
    at = x
    for shade in shades:
        wide = width * shade.share / 100.0
        paper.box(at, paper.y, wide, _STRIP, shade.hex, zorder=1)
        if wide > 0.62:
            paper.write(at, paper.y + _STRIP + 0.03, f"{shade.share:.0f} %")
            paper.write(at, paper.y + _STRIP + 0.18, shade.hex)
        elif wide > 0.36:
            paper.write(at, paper.y + _STRIP + 0.03, f"{shade.share:.0f} %")
        at += wide
    paper.box(x, paper.y, width, _STRIP, "none", edgecolor=RULE, zorder=2)


def _legend(paper: Paper) -> None:
    """The scale of the maps, in times the dose."""
    width = 2.4
    ramp = np.linspace(0.0, _MOST, 240)[np.newaxis]
    paper.image(MARGIN, paper.y, width, 0.14, _pixels(_grey(ramp)))
    paper.box(MARGIN, paper.y, width, 0.14, "none", edgecolor=RULE, zorder=2)
    for i in range(5):
        value = _MOST * i / 4
        text = f"×{value:g}" + (" and more" if i == 4 else "")
        paper.write(
            MARGIN + width * i / 4, paper.y + 0.16, text, align="center" if i < 4 else "left"
        )
    paper.write(MARGIN + width + 1.0, paper.y, said("cloth", "scale"), BODY - width - 1.0)
    paper.y += 0.5


def _piece(found: Levelness) -> Figure:
    order = f", alkali {found.order}" if found.order else ""
    paper = Paper("cloth", f"{found.name}: {found.recipe}{order}", demo=found.demo)
    if (maps := found.maps) is not None:
        cells = maps.cells
        inside = cells.inside.astype(float)
        again = maps.recoloured
        _row(paper, [("as photographed", _pixels(cells.responses, inside)),
                     ("its amounts, re-coloured", _pixels(again, inside))], 2)  # fmt: skip
        dose = np.array([d.dose for d in found.dyes])
        greys = [
            (d.dye, _pixels(_grey(cells.amounts[..., i] / dose[i]), inside))
            for i, d in enumerate(found.dyes)
        ]
        for first in range(0, len(greys), 3):
            _row(paper, greys[first : first + 3], 3)
        _legend(paper)
    _palette(paper, MARGIN, BODY, found.palette)
    paper.y += _STRIP + 0.42
    top, half = paper.y, BODY / 2
    for figure in found.figures:
        end = paper.write(MARGIN, paper.y, figure.name, half)
        paper.write(MARGIN + 1.75, paper.y, str(figure))
        paper.write(MARGIN + 2.9, paper.y, f"{figure.block_mm:.1f} mm")
        paper.y = end
    bottom, paper.y = paper.y, top
    x = MARGIN + half + 0.15
    for d in found.dyes:
        words = (
            f"{d.dye}: {d.mean:.2f} ± {d.error:.2f} % owf of {d.dose:g}; one block "
            f"± {100 * d.block_error:.0f} %"
        )
        paper.y = paper.write(x, paper.y, words, half - 0.15)
    for note in found.warnings:
        paper.y = paper.write(x, paper.y + 0.05, note, half - 0.15)
    paper.y = max(bottom, paper.y) + 0.1
    return paper.end()


def _compared(found: PieceComparison) -> Figure:
    pieces = found.pieces
    paper = Paper("cloths", str(pieces[0].recipe), demo=pieces[0].demo)
    columns = min(len(pieces), 3)
    width = (BODY - (columns - 1) * _GAP) / columns
    for first in range(0, len(pieces), columns):
        some = pieces[first : first + columns]
        for i, piece in enumerate(some):
            x, y = MARGIN + i * (width + _GAP), paper.y
            y = paper.write(x, y, piece.order or piece.name, width, bold=True) + 0.03
            if piece.maps is not None:
                cells = piece.maps.cells
                high, wide = cells.inside.shape
                size = min(width / wide, _HIGHEST / high)
                pixels = _pixels(cells.responses, cells.inside.astype(float))
                paper.image(x, y, wide * size, high * size, pixels)
        shown = [piece.maps.cells.inside.shape for piece in some if piece.maps is not None]
        high = max((min(width / w, _HIGHEST / h) * h for h, w in shown), default=0.0)
        paper.y += 0.25 + high + 0.1
        for i, piece in enumerate(some):
            _palette(paper, MARGIN + i * (width + _GAP), width, piece.palette)
        paper.y += _STRIP + 0.42
        top = paper.y
        for i, piece in enumerate(some):
            x, y = MARGIN + i * (width + _GAP), top
            for name, _ in MAIN:
                paper.write(x, y, name)
                y = paper.write(x + 1.2, y, str(piece.figure(name)))
            paper.y = max(paper.y, y)
        paper.y += 0.15
    for text in (*found.differences, *found.warnings):
        paper.down(text)
    return paper.end()


def _previews(found: Previews) -> Figure:
    paper = Paper("preview", "How these mixes may split", demo=found.demo)
    for item in found:
        _preview(paper, item)
    return paper.end()


def _preview(paper: Paper, item: Preview) -> None:
    paper.down(f"{item.recipe}, alkali {item.order}", bold=True)
    side, top = 1.9, paper.y + 0.03
    paper.image(MARGIN, top, side, side, _smooth(item.responses))
    if item.illustrative:
        paper.box(MARGIN, top + side - 0.22, side, 0.22, "white", zorder=2)
        paper.write(MARGIN + side / 2, top + side - 0.2, "ILLUSTRATIVE", bold=True, align="center")
    x, paper.y = MARGIN + side + 0.2, top
    _palette(paper, x, MARGIN + BODY - x, item.palette)
    paper.y += _STRIP + 0.42
    for name, value in item.figures.items():
        paper.write(x, paper.y, name)
        paper.y = paper.write(x + 1.2, paper.y, f"{value:.{1 if value >= 10 else 2}f}")
    paper.y = max(paper.write(x, paper.y, item.source, MARGIN + BODY - x), top + side) + 0.2


def _smooth(responses: Array) -> Any:
    """Blocks as pixels four times as fine, light between their middles."""
    from scipy.ndimage import zoom

    return _pixels(np.clip(zoom(responses, (4, 4, 1), order=1), 0.0, None))
