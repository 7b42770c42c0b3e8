"""Series as bands of patches, steps touching: which way leads quieter, paler or darker, how far."""

from __future__ import annotations

import numpy as np

from dyemix.plots.paper import BODY, MARGIN, RULE, Pages, Paper, pot_codes
from dyemix.series.steps import Route, Series, Step

#: Rows of pots of a step, each as likely as the next, nearest to what is asked at the left.
_ROWS, _POTS = 3, 8
#: Patches side by side, the start among them, how high a band is and the chart, in inches.
_ACROSS, _HIGH, _EDGE, _CHART = 6, 0.54, 0.06, 0.8
_STEP = (BODY - 2 * _EDGE) / _ACROSS
#: A letter, a dash and a mark a route.
_LOOKS = (
    ("A", "-", "o"), ("B", "--", "s"), ("C", ":", "^"), ("D", "-.", "D"),
    ("E", (0, (5, 1, 1, 1, 1, 1)), "v"), ("F", (0, (1, 3)), "<"),
)  # fmt: skip


def pages(found: Series) -> Pages:
    """Draw a series, a band a route; a route that runs out leaves grey, and how it falls short."""
    notes, light = [found.start_line, *found.warnings], found.start.light
    paper = Paper("series", found.title, notes, demo=found.demo, light=light)
    # Every route but over a piece is asked the same colours.
    alike = len(found.best) > 1 and found.piece is None and len(found.steps) < _ACROSS
    if alike:
        for i, lab in enumerate([found.start.lab, *(step.asked for step in found.steps)]):
            words = f"{f'step {i}' if i else 'start'}\nC* {np.hypot(*lab[1:]):.0f}"
            paper.write(MARGIN + _EDGE + i * _STEP, paper.y, words, font="bold")
        paper.y += 0.4
    for (letter, *_), route in zip(_LOOKS, found.best, strict=False):
        name = f"{letter}  by {route.title}" if route.kind else ""
        if name and not alike:
            paper.down(name, "section")
        _band(paper, found, route, name if alike else "")
    if len(found.best) > 1:
        _strays(paper, found)
    return [paper.end()]


def _band(paper: Paper, found: Series, route: Route, name: str) -> None:
    """The start and the steps reached, in rows of patches with recipes under them.

    `name` of a route stands under the start, where steps are told above all routes.
    """
    shown: list[Step | None] = [None, *route.steps]
    stops = route.kind is not None and route.reached < len(route.steps)
    if stops:
        shown = shown[: route.reached + 1]
    elif route.steps[0].from_start < 1e-6:  # a gradient begins with its first step
        shown = shown[1:]
    for first in range(0, len(shown), _ACROSS):
        row, x, top = shown[first : first + _ACROSS], MARGIN + _EDGE, paper.y
        end, paper.y = x + len(row) * _STEP, top + _HIGH + 2 * _EDGE + 0.03
        paper.box((MARGIN, top, BODY, _HIGH + 2 * _EDGE))
        if stops and len(row) < _ACROSS:
            words = f"stops here:\n{route.steps[route.reached].short}"
            paper.write(end + 0.08, top + _EDGE, words, MARGIN + BODY - end - 0.1)
        blocks, bottom = [], paper.y
        for i, step in enumerate(row):
            p = step.prediction if step else found.start
            # What is promised above, and as high, pots below.
            pots = pot_codes(p, step.asked, _ROWS * _POTS) if step else [p.hex] * _ROWS * _POTS
            blocks.append([[p.hex] * _POTS] * _ROWS + [pots[i::_ROWS] for i in range(_ROWS)])
            words = name or f"start\n{p.hex}"
            if step:
                words = str(step.recipe).replace(" + ", "\n") + ("" if step.reached else " ~")
                words += "" if name else f"\n{p.hex}\nL* {p.lab[0]:.0f}, C* {step.chroma:.0f}"
            font = "text" if step or not name else "bold"
            bottom = max(bottom, paper.write(x + i * _STEP, paper.y, words, _STEP - 0.05, font))
        paper.patches((x, top + _EDGE, end - x, _HIGH), np.hstack(blocks).tolist())
        paper.y = bottom + 0.1


def _strays(paper: Paper, found: Series) -> None:
    """Likely miss by step, a line a route."""
    paper.down("Which route strays least?", "section")
    paper.down("Likely miss, ΔE2000, by step: to 1.5 excellent, to 3 sound.")
    shown = [[step.likely for step in route.steps[: route.reached]] for route in found.best]
    most, across = max(3.0, *(miss for route in shown for miss in route)), 3.2 / len(found.steps)
    y, x, key = paper.y + 0.1, MARGIN + 0.4, paper.y + 0.1
    middles = x + across * (np.arange(len(found.steps)) + 0.5)
    for level in (0.0, 1.5, 3.0):
        at = y + _CHART * (1 - level / most)
        paper.line([x, x + 3.2], [at, at], color=RULE)
        paper.write(x - 0.08, at - 0.09, f"{level:g}", ha="right")
    for step, middle in enumerate(middles, 1):
        paper.write(middle, y + _CHART + 0.03, str(step), ha="center")
    for (letter, dash, marker), route, misses in zip(_LOOKS, found.best, shown, strict=False):
        look = {"linestyle": dash, "marker": marker, "markerfacecolor": "white", "markersize": 4}
        paper.line([x + 3.4, x + 3.8], [key + 0.09] * 2, **look)
        key = paper.write(x + 3.95, key, f"{letter}  {route.title}", 2.7)
        ups = [y + _CHART * (1 - miss / most) for miss in misses]
        paper.line(middles[: len(misses)], ups, **look)
    paper.y = max(y + _CHART + 0.3, key + 0.1)
