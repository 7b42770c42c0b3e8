"""Fitted dyes, a row each: which are ready, which swatch to dye next."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_2, lab, screen_colour, screen_colours
from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet
from dyemix.model.fit_report import DyeReport
from dyemix.plots.paper import INK, MARGIN, RULE, SUBTLE, Pages, Paper, paged, said

#: Where columns begin and how wide they are, in inches; ΔE2000 at the end of the scale.
_PATCHES, _WIDE, _DOTS, _SCALE, _END = 2.1, 3.3, 5.65, 2.0, 3.0
_HIGH, _ROW, _ROWS = 0.36, 0.54, 12


def pages(dyes: DyeSet, swatches: SwatchSet | None = None) -> Pages:
    """Draw the fitted dyes, twelve a page, those that want a swatch first.

    `swatches`, where given, stand above what is predicted for them. Raises `DyemixError` where they
    hold none of the dyes.
    """
    if swatches is not None and not set(swatches.dyes) & set(dyes.names):
        raise DyemixError(
            f"these swatches hold none of the dyes fitted ({', '.join(dyes.names)}): pass the "
            "table that was fitted."
        )
    # A dye that no report tells of is shown at both ends of its range.
    ends = zip(dyes.names, dyes.palest.tolist(), dyes.deepest.tolist(), strict=True)
    reports = {name: DyeReport(name, (pale, deep), "", (), "") for name, pale, deep in ends}
    told = [r for r in dyes.report.dyes if r.name in reports] if dyes.report else []
    reports |= {report.name: report for report in told}
    wanting = [report for report in told if report.next or report.warnings]
    ready = [report for report in reports.values() if report not in wanting]

    placed = {
        name: sorted(set(filter(None, (*report.depths, report.next_depth))))
        for name, report in reports.items()
    }
    axis = _Depths(list(placed.values()))
    heads = {
        group[0].name: head
        for group, head in ((wanting, "Dye these next"), (ready, "Ready"))
        if group
    }

    def begin() -> Paper:
        title = f"{len(ready)} of {len(dyes)} dyes are ready"
        notes = [dyes.report.verdict] if dyes.report else []
        light = dyes.report.light if dyes.report else dyes.light
        upper = said("fit", "upper") if swatches else ""
        paper = Paper("fit", title, notes, demo=dyes.demo, upper=upper, light=light)
        for value in (0.0, 1.5, _END):
            paper.write(_at(value), paper.y, f"{value:g}", ha="center")
        paper.write(_PATCHES, paper.y, "paler", color=SUBTLE)
        paper.write(_PATCHES + _WIDE, paper.y, "deeper", color=SUBTLE, ha="right")
        paper.y += 0.22
        return paper

    def draw(paper: Paper, report: DyeReport) -> None:
        name, depths, wanted = report.name, report.depths, report.next_depth
        if name in heads:
            paper.down(heads[name], "section")
        y, alone = paper.y, np.eye(len(dyes))[dyes.index(name)]
        fitted = dyes.reflectance(np.outer(depths, alone))
        shown = lab(fitted, D65_2)
        if report.left_out:
            shown = shown + np.array(report.left_out) - lab(fitted, dyes.light)
        rows = [[colour.hex for colour in screen_colours(shown)]]
        if swatches is not None:
            ladder = [(s.recipe[name], s.reflectance) for s in swatches.ladder(name)]
            read = [[r for c, r in ladder if c == depth] for depth in depths]
            rows.insert(0, [screen_colour(np.mean(r, axis=0)).hex if r else "" for r in read])
        paper.box((_PATCHES - 0.08, y, _WIDE + 0.16, _ROW + 0.14))
        at = dict(zip(placed[name], axis.patches(placed[name]), strict=True))
        drawn = np.array([at[depth] for depth in depths])
        for first, last in _touching(drawn):
            middle, width = drawn[first]
            area = (middle - width / 2, y + 0.06, width * (last - first), _HIGH)
            paper.patches(area, [row[first:last] for row in rows])
        if wanted:
            middle, width = at[wanted]
            area = (middle - width / 2, y + 0.06, width, _HIGH)
            if wanted not in depths:
                code = screen_colour(dyes.reflectance(np.outer([wanted], alone))[0]).hex
                paper.patches(area, [[""], [code]] if swatches is not None else [[code]])
            paper.box(area, "none", edgecolor=INK, linestyle="--", linewidth=1.0, zorder=3)
        for (depth, (x, _)), beside in zip(at.items(), _beside(at), strict=True):
            under = f"{depth:g}" if depth in depths else f"{depth:.2g}"
            paper.write(x, y + _HIGH + 0.08, under, ha=beside)
        words = "\n".join([report.next, *report.warnings]).strip()
        if report.mean is not None and not words:
            words = f"likely {report.mean:.1f} off"
        end = paper.write(MARGIN, y, name, 1.5, "strong")
        paper.y = max(paper.write(MARGIN, end, words, 1.5), y + _ROW + 0.14)
        _misses(paper, y, report)

    return paged([*wanting, *ready], _ROWS, begin, draw)


class _Depths:
    """One scale of log depth for all dyes, so that a depth which is missing is a hole.

    Depths of each of the `ladders` rise, % owf.
    """

    def __init__(self, ladders: Sequence[Sequence[float]]) -> None:
        logs = [np.log2(ladder) for ladder in ladders]
        gaps = np.concatenate([np.diff(log) for log in logs])
        least, most = min(log[0] for log in logs), max(log[-1] for log in logs)
        cell = float(min(np.median(gaps), 1.0)) if len(gaps) else 1.0
        self._least, self._scale = float(least), _WIDE / (float(most - least) + cell)
        self._cell = cell * self._scale

    def patches(self, depths: Sequence[float]) -> Array:
        """The middle and the width of the patch of each depth ``(N, 2)``, in inches."""
        middles = _PATCHES + self._cell / 2 + (np.log2(depths) - self._least) * self._scale
        gaps = np.pad(np.diff(middles), 1, constant_values=self._cell)
        widths = np.minimum(self._cell, np.minimum(gaps[1:], gaps[:-1]))
        return np.stack([middles, widths], axis=1)


def _beside(at: Mapping[float, Array]) -> list[str]:
    """How the figure under each patch stands, so that two of near depths do not collide."""
    gaps = np.pad(np.diff([x for x, _ in at.values()]), 1, constant_values=9.0)
    return ["right" if b < 0.3 <= a else "left" if a < 0.3 else "center" for a, b in pairwise(gaps)]


def _touching(patches: Array) -> Iterator[tuple[int, int]]:
    """Runs of patches ``(N, 2)`` alike and touching, as the first and one beyond the last."""
    (middles, widths), near = patches.T, 0.01
    apart = np.abs(np.diff(middles) - widths[1:]) + np.abs(np.diff(widths)) > near
    return pairwise([0, *map(int, np.flatnonzero(apart) + 1), len(patches)])


def _misses(paper: Paper, y: float, report: DyeReport) -> None:
    """A dot for every depth left out, by how far off it is; those at the ends are hollow."""
    if not report.inner and not report.ends:
        paper.write(_DOTS, y + 0.17, "too few depths to tell", color=SUBTLE)
        return
    paper.line([_at(0), _at(_END)], [y + 0.25] * 2, color=RULE)
    for value in (1.5, _END):
        paper.line([_at(value)] * 2, [y, y + _ROW], color=RULE)
    for misses, fill in ((report.inner, "black"), (report.ends, "white")):
        for miss in misses:
            marker = "D" if miss > _END else "o"
            paper.mark(_at(miss), y + 0.25, marker, 5, markerfacecolor=fill)
    if (worst := max((*report.inner, *report.ends))) > _END:
        paper.write(_at(worst) + 0.05, y + 0.04, f"{worst:.1f} ▸", ha="right")


def _at(miss: float) -> float:
    return _DOTS + _SCALE * min(miss, _END) / _END
