"""Own mixes, a line each: what was promised of them before they were seen, and what came."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from dyemix.colour.colorimetry import screen_colours
from dyemix.colour.difference import Miss
from dyemix.model.fit_report import Evaluation, FitReport, MixtureCheck, promises_kept
from dyemix.plots.bars import BEGIN, LONG, Ruler
from dyemix.plots.paper import GROUND, MARGIN, Paper, paged

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Mixes of one page.
_ROWS = 36


def pages(report: FitReport | Evaluation) -> list[Figure]:
    """Draw what was promised of own mixes, each by a fit that had not seen it, and what came."""
    checks = sorted(report.checks, key=lambda c: -c.delta_e / c.bound)
    kept = sum(check.kept for check in checks)
    title = f"{kept} of {len(checks)} mixes came within what was promised"
    note = f"{promises_kept(tuple(checks))}." if checks else "No mix of yours has been read yet."
    ruler = Ruler.to(max(check.delta_e, check.bound) for check in checks)

    def begin() -> Paper:
        paper = Paper("mixes", title, [note], demo=report.demo, light=report.light)
        ruler.head(paper)
        return paper

    return paged(checks, _ROWS, begin, lambda paper, check: _mix(paper, check, ruler))


def _mix(paper: Paper, check: MixtureCheck, ruler: Ruler) -> None:
    both = np.array([check.predicted, check.measured])
    y = paper.write(MARGIN, paper.y, check.label, BEGIN - MARGIN - 0.85)
    paper.box(BEGIN - 0.8, paper.y, 0.7, y - paper.y + 0.03, GROUND)
    codes = [colour.hex for colour in screen_colours(both)]
    paper.patches(BEGIN - 0.75, paper.y + 0.02, 0.6, y - paper.y - 0.02, [codes])
    ruler.bar(paper, paper.y + 0.02, check.median, check.bound)
    marker, face = ("o", "black") if check.kept else ("D", "white")
    paper.mark(ruler.at(check.delta_e), paper.y + 0.09, marker, 5, markerfacecolor=face)
    word = (Miss.of(both[0], both[1]).words or ("the same",))[0]
    paper.write(BEGIN + LONG + 0.12, paper.y, word, bold=not check.kept)
    paper.y = y + 0.03
