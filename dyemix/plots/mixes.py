"""Own mixes, a line each: what was promised of them before they were seen, and what came."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from dyemix.colour.colorimetry import screen_colours
from dyemix.colour.difference import Miss
from dyemix.model.fit_report import Evaluation, FitReport, MixtureCheck, promises_kept
from dyemix.plots.paper import GROUND, MARGIN, RULE, Pages, Paper, paged

#: Where bars begin and how long the ruler is, in inches.
BEGIN, LONG = 3.6, 2.9
_DARK, _LIGHT = "#8c8c8c", "#d8d8d8"


#: Mixes of one page.
_ROWS = 36


@dataclass(frozen=True)
class Ruler:
    """A ruler from 0 to `end`."""

    end: float

    @classmethod
    def to(cls, values: Iterable[float]) -> Ruler:
        """A ruler that holds all the values."""
        return cls(max(3.0, float(np.ceil(max(values, default=0.0)))))

    def at(self, miss: float) -> float:
        """Where on the page a ΔE2000 lies."""
        return BEGIN + LONG * miss / self.end

    def head(self, paper: Paper) -> None:
        """Figures along the ruler."""
        for i in range(4):
            miss = self.end * i / 3
            paper.write(self.at(miss), paper.y, f"{miss:.2g}", align="center")
        paper.y += 0.2

    def bar(self, paper: Paper, y: float, dark: float, light: float) -> None:
        """A bar dark to one figure and light to another."""
        paper.box(BEGIN, y, self.at(light) - BEGIN, 0.14, _LIGHT, edgecolor=RULE, zorder=1)
        paper.box(BEGIN, y, self.at(dark) - BEGIN, 0.14, _DARK, zorder=1)


def pages(report: FitReport | Evaluation) -> Pages:
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
