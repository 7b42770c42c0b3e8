"""Bars of what is promised in the pot, on one ruler of ΔE2000."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from dyemix.plots.paper import RULE, Paper

#: Where bars begin and how long the ruler is, in inches.
BEGIN, LONG = 3.6, 2.9
_DARK, _LIGHT = "#8c8c8c", "#d8d8d8"


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
