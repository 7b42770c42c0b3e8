"""Fitted dyes, a row each: which are ready, which swatch to dye next."""

from __future__ import annotations

import numpy as np

from dyemix.colour.colorimetry import D65_2, lab, screen_colour, screen_colours
from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet
from dyemix.plots.paper import MARGIN, RULE, SUBTLE, Pages, Paper, paged, said

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
    reports = {report.name: report for report in dyes.report.dyes} if dyes.report else {}
    wanting = [name for name, r in reports.items() if name in dyes.names and (r.next or r.warnings)]
    ready = [name for name in dyes.names if name not in wanting]
    heads = {
        group[0]: head for group, head in ((wanting, "Dye these next"), (ready, "Ready")) if group
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

    def draw(paper: Paper, name: str) -> None:
        if name in heads:
            paper.down(heads[name], "section")
        i, y, report = dyes.names.index(name), paper.y, reports.get(name)
        depths = report.depths if report else (float(dyes.palest[i]), float(dyes.deepest[i]))
        fitted = dyes.reflectance(np.outer(depths, np.eye(len(dyes))[i]))
        shown = lab(fitted, D65_2)
        if report and report.left_out:
            shown = shown + np.array(report.left_out) - lab(fitted, dyes.light)
        rows = [[colour.hex for colour in screen_colours(shown)]]
        if swatches is not None:
            ladder = [(s.recipe[name], s.reflectance) for s in swatches.ladder(name)]
            read = [[r for c, r in ladder if c == depth] for depth in depths]
            rows.insert(0, [screen_colour(np.mean(r, axis=0)).hex if r else "" for r in read])
        paper.box((_PATCHES - 0.08, y, _WIDE + 0.16, _ROW + 0.14))
        paper.patches((_PATCHES, y + 0.06, _WIDE, _HIGH), rows)
        for j, depth in enumerate(depths):
            x = _PATCHES + (j + 0.5) * _WIDE / len(depths)
            paper.write(x, y + _HIGH + 0.08, f"{depth:g}", ha="center")
        words = "\n".join([report.next, *report.warnings]).strip() if report else ""
        if report and report.mean is not None and not words:
            words = f"likely {report.mean:.1f} off"
        end = paper.write(MARGIN, y, name, 1.5, "strong")
        paper.y = max(paper.write(MARGIN, end, words, 1.5), y + _ROW + 0.14)
        paper.line([_at(0), _at(_END)], [y + 0.25] * 2, color=RULE)
        for value in (1.5, _END):
            paper.line([_at(value)] * 2, [y, y + _ROW], color=RULE)
        for misses, fill in ((report.inner, "black"), (report.ends, "white")) if report else ():
            for miss in misses:
                marker = "D" if miss > _END else "o"
                paper.mark(_at(miss), y + 0.25, marker, 5, markerfacecolor=fill)

    return paged([*wanting, *ready], _ROWS, begin, draw)


def _at(miss: float) -> float:
    return _DOTS + _SCALE * min(miss, _END) / _END
