"""A match as rows of recipes, the wanted colour a band through the middle of each block."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dyemix.colour.colorimetry import D65_2
from dyemix.dataset.recipe import format_amount
from dyemix.matching.matches import Match, Matches
from dyemix.plots.paper import BAR, GROUND, MARGIN, STRONG, SUBTLE, WIDTH, Paper

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Where columns begin and how wide they are, in inches; recipes of one page.
_NAME, _BARS, _LONGEST, _BLOCK, _WIDE, _WORDS = 0.78, 2.25, 0.45, 2.95, 2.1, 5.3
_ROWS = 8


def match_pages(found: Matches) -> list[Figure]:
    """Draw the recipes of a match, a row each, eight a page."""
    target = found.target
    colour = f"#{target.hex.lstrip('#')}"
    rough = ""
    if target.reflectance is None and target.light != D65_2:
        rough = f" Band: rough, since the target is stated under {target.light} with no spectrum."
    head = f"{target}: {found.reach.value}"
    words = [
        "The band through each block is the colour wanted; above and below it, touching, what the "
        "recipe should look like. Bars: amounts, % of dry cloth.",
        *found.advice,
        *found.notes,
    ]
    pages = []
    for first in range(0, len(found), _ROWS):
        paper, rows = Paper(head, words, demo=found.demo), list(found)[first : first + _ROWS]
        most, top = max(max(m.recipe.values(), default=1.0) for m in rows), paper.y
        for number, m in enumerate(rows, first + 1):
            _row(paper, number, m, colour, most)
        paper.box(_BLOCK - 0.12, top, _WIDE + 0.24, paper.y - top + 0.1, GROUND)
        paper.y += 0.2
        paper.down(
            f"Off: {found.formula}; to 1.5 excellent, to 3 sound, to 5 same family. Patches: sRGB "
            f"({D65_2}), which a screen or a printer shows roughly.{rough}",
            color=SUBTLE,
        )
        for text in found.warnings:
            paper.down(text)
        pages.append(paper.end())
    return pages


def _row(paper: Paper, number: int, m: Match, colour: str, most: float) -> None:
    y = paper.y + 0.12
    paper.write(MARGIN, y, str(number), size=STRONG, bold=True)
    end = y
    for name, amount in m.recipe.items() or [("undyed", 0.0)]:
        paper.box(_BARS, end + 0.05, _LONGEST * amount / most, 0.09, BAR)
        text = f"{name} {format_amount(amount)}"
        end = paper.write(_NAME, end, text, _BARS - _NAME - 0.05, size=STRONG, bold=True)
    shifts = m.metamerism or m.inconstancy
    lamps = ", ".join(f"{shift.lamp.split('/')[0]} {shift.delta_e:.1f}" for shift in shifts)
    words = (
        f"{m.verdict}: on paper {m.residual:.1f}, likely {m.likely:.1f}, nine in ten below "
        f"{m.bound:.1f}\n{m.prediction.screen}; {'metamerism' if m.metamerism else 'turns'} {lamps}"
    )
    end = max(end, y + 0.5, paper.write(_WORDS, y, words, WIDTH - MARGIN - _WORDS))
    own = m.prediction.hex
    paper.patches(_BLOCK, y, _WIDE, end - y, [[own], [colour], [own]])
    paper.y = end + 0.05
