"""Series as bands of patches, steps touching: which way leads quieter, paler or darker, how far."""

from __future__ import annotations

import numpy as np

from dyemix.plots.paper import BODY, GROUND, MARGIN, RULE, SECTION, Pages, Paper, pot_codes
from dyemix.series.steps import Route, Series, Step

#: Rows of pots of a step, each as likely as the next, nearest to what is asked at the left.
_ROWS, _POTS = 3, 8
#: Patches side by side, the start among them, how high a band is and the chart, in inches.
_ACROSS, _HIGH, _EDGE, _CHART = 6, 0.54, 0.06, 0.8
_STEP = (BODY - 2 * _EDGE) / _ACROSS
_DASHES = ("-", "--", ":", "-.", (0, (5, 1, 1, 1, 1, 1)), (0, (1, 3)))
_MARKERS = "os^Dv<"


def pages(found: Series) -> Pages:
    """Draw a series, a band a route; a route that runs out leaves grey, and how it falls short."""
    notes, light = [found.start_line, *found.warnings], found.start.light
    paper = Paper("series", found.title, notes, demo=found.demo, light=light)
    # Every route but over a piece is asked the same colours.
    alike = len(found.best) > 1 and found.piece is None and len(found.steps) < _ACROSS
    if alike:
        for i, lab in enumerate([found.start.lab, *(step.asked for step in found.steps)]):
            name = f"step {i}" if i else "start"
            words = f"{name}\nC* {np.hypot(*lab[1:]):.0f}"
            paper.write(MARGIN + _EDGE + i * _STEP, paper.y, words, bold=True)
        paper.y += 0.4
    for letter, route in zip("ABCDEF", found.best, strict=False):
        name = f"{letter}  by {route.title}" if route.kind else ""
        if not alike and name:
            paper.down(name, size=SECTION, bold=True)
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
        row, x = shown[first : first + _ACROSS], MARGIN + _EDGE
        paper.box(MARGIN, paper.y, BODY, _HIGH + 2 * _EDGE, GROUND)
        codes = [(step.prediction if step else found.start).hex for step in row]
        blocks = [
            [[code] * _POTS] * 2 * _ROWS if step is None else _block(step)
            for code, step in zip(codes, row, strict=True)
        ]
        paper.patches(x, paper.y + _EDGE, len(row) * _STEP, _HIGH, np.hstack(blocks).tolist())
        end = x + len(row) * _STEP
        if stops and len(row) < _ACROSS:
            words = f"stops here:\n{_short(route.steps[route.reached])}"
            paper.write(end + 0.08, paper.y + _EDGE, words, width=MARGIN + BODY - end - 0.1)
        bottom = paper.y = paper.y + _HIGH + 2 * _EDGE + 0.03
        for i, (step, code) in enumerate(zip(row, codes, strict=True)):
            words = name or f"start\n{code}"
            if step:
                words = str(step.recipe).replace(" + ", "\n") + ("" if step.reached else " ~")
                if not name:
                    words += f"\n{code}\nL* {step.prediction.lab[0]:.0f}, C* {step.chroma:.0f}"
            at = paper.write(x + i * _STEP, paper.y, words, _STEP - 0.05, bold=words == name)
            bottom = max(bottom, at)
        paper.y = bottom + 0.1


def _block(step: Step) -> list[list[str]]:
    """A step: what is promised above, and as high, pots below."""
    pots = pot_codes(step.prediction, step.asked, _ROWS * _POTS)
    return [[step.prediction.hex] * _POTS] * _ROWS + [pots[i::_ROWS] for i in range(_ROWS)]


def _short(step: Step) -> str:
    """How the step that a route does not reach falls short."""
    words = (("L*", "pale", "deep"), ("C*", "bright", "quiet"))
    parts = [
        f"{abs(off):.0f} {name} too {more if off > 0 else less}"
        for (name, more, less), off in zip(words, step.off, strict=False)
        if abs(off) >= 0.5
    ]
    return ", ".join(parts) or f"hue off by {abs(step.off[2]):.1f}"


def _strays(paper: Paper, found: Series) -> None:
    """Likely miss by step, a line a route."""
    paper.down("Which route strays least?", size=SECTION, bold=True)
    paper.down("Likely miss, ΔE2000, by step: to 1.5 excellent, to 3 sound.")
    shown = [[step.likely for step in route.steps[: route.reached]] for route in found.best]
    count, most = len(found.steps), max(3.0, *(miss for route in shown for miss in route))
    y, x, across = paper.y + 0.1, MARGIN + 0.4, 3.2 / len(found.steps)
    for level in (0.0, 1.5, 3.0):
        at = y + _CHART * (1 - level / most)
        paper.line([x, x + 3.2], [at, at], color=RULE)
        paper.write(x - 0.08, at - 0.09, f"{level:g}", align="right")
    for step in range(count):
        paper.write(x + (step + 0.5) * across, y + _CHART + 0.03, str(step + 1), align="center")
    key = y
    for i, (route, misses) in enumerate(zip(found.best, shown, strict=True)):
        look = {"linestyle": _DASHES[i], "marker": _MARKERS[i], "markerfacecolor": "white"}
        paper.line([x + 3.4, x + 3.8], [key + 0.09] * 2, markersize=4, **look)
        key = paper.write(x + 3.95, key, f"{'ABCDEF'[i]}  {route.title}", 2.7)
        xs = [x + (step + 0.5) * across for step in range(len(misses))]
        paper.line(xs, [y + _CHART * (1 - miss / most) for miss in misses], markersize=4, **look)
    paper.y = max(y + _CHART + 0.3, key + 0.1)
