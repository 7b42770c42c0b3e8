"""What was promised beside what came: dyes, own mixes, and a finished piece to judge.

Of dyes, which are ready, and which swatch to dye next; of mixes, whether promises are kept; of a
piece, whether to leave it or change it.
"""

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.appearance import Miss, difference
from dyemix.colour.colorimetry import D65_2, D65_10, lab, screen_colour, screen_colours
from dyemix.dataset.recipe import format_amount
from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import refuse, said
from dyemix.matching.correct import Correction
from dyemix.model.dyes import DyeSet
from dyemix.model.fit_report import DyeReport, Evaluation, FitReport, MixtureCheck, promises_kept
from dyemix.model.uncertainty import pots
from dyemix.plots import paper as on
from dyemix.plots.paper import BODY, MARGIN, RULE, Pages, Paper, paged, pot_codes

#: Where the patches of dyes begin, how wide they are, how high, and a row, in inches.
_PATCHES, _WIDE, _HIGH, _ROW = 2.1, 3.3, 0.36, 0.64
#: Where bars begin, and how long the longest is; a panel's side; where misses of depths begin, how
#: long that column is, and the largest of them.
_BEGIN, _LONG, _PANEL = 3.6, 2.9, 1.9
_OFF, _FAR = (5.65, 2.0), 3.0


def _ruled(paper: Paper, misses: Iterable[float]) -> None:
    """A column of ΔE2000 that all misses fit in; thirds of it are whole."""
    paper.scale(_BEGIN, _LONG, 3.0 * max(1.0, float(np.ceil(max(misses, default=0.0) / 3.0))))
    paper.y += 0.2


def bar(axes: Any, at: float, dark: float, light: float, high: float = 0.14) -> None:
    """A bar dark to one figure and light to another."""
    for miss, fill in ((light, on.LIGHT_BAR), (dark, on.BAR)):
        axes.barh(at, miss, high, color=fill, edgecolor=RULE, linewidth=0.5)


def promised(axes: Any, at: float, check: MixtureCheck, high: float = 0.14) -> None:
    """A mix: dark to the median promised and light to nine in ten; the mark is what came."""
    bar(axes, at, check.median, check.bound, high)
    marker, fill = ("o", "black") if check.kept else ("D", "white")
    _dot(axes, check.delta_e, at, marker, fill)


def _dot(axes: Any, miss: float, at: float, marker: str, fill: str) -> None:
    """A mark, whole at the ends of a column too."""
    look = {"color": "black", "markerfacecolor": fill, "markersize": 5, "clip_on": False}
    axes.plot(miss, at, marker, **look)


def dyes(dyes: DyeSet, swatches: SwatchSet | None = None) -> Pages:
    """Draw the fitted dyes, a row each, those that want a swatch first.

    `swatches`, where given, stand above what is predicted for them. Raises `DyemixError` where they
    hold none of the dyes.
    """
    others = swatches is not None and not set(swatches.dyes) & set(dyes.names)
    refuse(others, "pictures.fit.others", ", ".join(dyes.names))
    told = {report.name: report for report in dyes.report.dyes} if dyes.report else {}
    # A dye that no report tells of is shown at both ends of its range.
    ends = zip(dyes.names, dyes.palest.tolist(), dyes.deepest.tolist(), strict=True)
    reports = [told.get(name) or DyeReport(name, tuple(both), "", (), "") for name, *both in ends]
    wanting = [report for report in reports if report.next or report.warnings]
    ready = [report for report in reports if report not in wanting]
    heads = {"Dye these next": wanting[:1], "Ready": ready[:1]}
    places = _places(reports)

    def begin() -> Paper:
        title = f"{len(ready)} of {len(dyes)} dyes are ready"
        notes = [dyes.report.verdict] if dyes.report else []
        light = dyes.report.light if dyes.report else dyes.light
        upper = said("pictures.fit.upper") if swatches else ""
        paper = Paper("fit", title, notes, demo=dyes.demo, upper=upper, light=light)
        paper.write(_PATCHES, paper.y, "paler", color=on.SUBTLE)
        paper.write(_PATCHES + _WIDE, paper.y, "deeper", color=on.SUBTLE, ha="right")
        paper.scale(*_OFF, _FAR, 2)
        paper.y += 0.22
        return paper

    def draw(paper: Paper, report: DyeReport) -> None:
        for head, first in heads.items():
            if report in first:
                paper.down(head, "section")
        y = paper.y
        paper.box((_PATCHES - 0.08, y, _WIDE + 0.16, _ROW))
        _ladder(paper, dyes, report, places[report.name], swatches)
        likely = "" if report.mean is None else f"likely {report.mean:.1f} off"
        end = paper.write(MARGIN, y, report.name, 1.5, "strong")
        end = paper.write(MARGIN, end, report.next or likely, 1.5)
        paper.y = max(end, y + _ROW)
        _misses(paper, y, report)
        for warning in report.warnings:
            paper.down(warning)

    return paged([*wanting, *ready], begin, draw)


def _places(reports: Sequence[DyeReport]) -> dict[str, dict[float, Array]]:
    """The middle and the width of the patch of each depth of each dye, in inches.

    On one scale of log depth for all dyes, so that a depth which is missing is a hole.
    """
    ladders = [sorted(set(filter(None, (*r.depths, r.next_depth)))) for r in reports]
    logs = [np.log2(ladder) for ladder in ladders]
    gaps, least = np.concatenate([np.diff(log) for log in logs]), min(log[0] for log in logs)
    cell = float(min(np.median(gaps), 1.0)) if len(gaps) else 1.0
    scale = _WIDE / (float(max(log[-1] for log in logs) - least) + cell)
    cell *= scale
    out = {}
    for report, ladder, log in zip(reports, ladders, logs, strict=True):
        middles = _PATCHES + cell / 2 + (log - least) * scale
        apart = np.pad(np.diff(middles), 1, constant_values=cell)
        widths = np.minimum(cell, np.minimum(apart[1:], apart[:-1]))
        out[report.name] = dict(zip(ladder, np.stack([middles, widths], axis=1), strict=True))
    return out


def _ladder(
    paper: Paper, dyes: DyeSet, report: DyeReport, at: Mapping[float, Array],
    swatches: SwatchSet | None,
) -> None:  # fmt: skip
    """The depths of one dye, as read where there are `swatches` and as predicted, and the next."""
    depths, wanted, y = report.depths, report.next_depth, paper.y
    alone = np.eye(len(dyes))[dyes.index(report.name)]
    fitted = dyes.reflectance(np.outer(depths, alone))
    shown = lab(fitted, D65_2)
    if report.left_out:
        shown = shown + np.array(report.left_out) - lab(fitted, dyes.light)
    rows = [[colour.hex for colour in screen_colours(shown)]]
    if swatches is not None:
        ladder = [(s.recipe[report.name], s.reflectance) for s in swatches.ladder(report.name)]
        read = [[r for c, r in ladder if c == depth] for depth in depths]
        rows.insert(0, [screen_colour(np.mean(r, axis=0)).hex if r else "" for r in read])
    drawn = np.array([at[depth] for depth in depths])
    # Patches alike and touching are one block.
    middles, widths = drawn.T
    apart = np.abs(np.diff(middles) - widths[1:]) + np.abs(np.diff(widths)) > 0.01
    for first, last in pairwise([0, *map(int, np.flatnonzero(apart) + 1), len(drawn)]):
        middle, width = drawn[first]
        area = (middle - width / 2, y + 0.06, width * (last - first), _HIGH)
        paper.patches(area, [row[first:last] for row in rows])
    if wanted:
        middle, width = at[wanted]
        area = (middle - width / 2, y + 0.06, width, _HIGH)
        if wanted not in depths:
            code = screen_colour(dyes.reflectance(np.outer([wanted], alone))[0]).hex
            paper.patches(area, [[""], [code]] if swatches is not None else [[code]])
        paper.box(area, "none", edgecolor=on.INK, linestyle="--", linewidth=1.0, zorder=3)
    # Figures of near depths stand apart, so that they do not collide.
    gaps = pairwise(np.pad(np.diff([x for x, _ in at.values()]), 1, constant_values=9.0))
    for (depth, (x, _)), (before, after) in zip(at.items(), gaps, strict=True):
        beside = "right" if after < 0.3 <= before else "left" if before < 0.3 else "center"
        under = f"{depth:g}" if depth in depths else f"{depth:.2g}"
        paper.write(x, y + _HIGH + 0.08, under, ha=beside)


def _misses(paper: Paper, y: float, report: DyeReport) -> None:
    """A dot for every depth left out, by how far off it is; those at the ends are hollow."""
    if not (both := [*report.inner, *report.ends]):
        paper.write(_OFF[0], y + 0.17, "too few depths to tell", color=on.SUBTLE)
        return
    paper.column.hlines(y + 0.25, 0.0, _FAR, RULE, linewidth=0.8)
    paper.column.vlines((1.5, _FAR), y, y + 0.5, RULE, linewidth=0.8)
    for i, miss in enumerate(both):
        marker, fill = "oD"[miss > _FAR], "black" if i < len(report.inner) else "white"
        _dot(paper.column, min(miss, _FAR), y + 0.25, marker, fill)
    if (worst := max(both)) > _FAR:
        paper.write(sum(_OFF) + 0.05, y + 0.04, f"{worst:.1f} ▸", ha="right")


def mixes(report: FitReport | Evaluation) -> Pages:
    """Draw what was promised of own mixes, each by a fit that had not seen it, and what came."""
    checks = sorted(report.checks, key=lambda c: -c.delta_e / c.bound)
    kept = sum(check.kept for check in checks)
    title, notes = "No mix of yours has been read yet", list[str]()
    if checks:
        title = f"{kept} of {len(checks)} mixes came within what was promised"
        notes = [f"{promises_kept(tuple(checks))}."]

    def begin() -> Paper:
        paper = Paper("mixes", title, notes, demo=report.demo, light=report.light)
        _ruled(paper, (max(check.delta_e, check.bound) for check in checks))
        return paper

    def draw(paper: Paper, check: MixtureCheck) -> None:
        top, both = paper.y, np.array([check.predicted, check.measured])
        end = paper.write(MARGIN, top, check.label, _BEGIN - MARGIN - 0.85)
        paper.box((_BEGIN - 0.8, top, 0.7, end - top + 0.03))
        codes = [colour.hex for colour in screen_colours(both)]
        paper.patches((_BEGIN - 0.75, top + 0.02, 0.6, end - top - 0.02), [codes])
        promised(paper.column, top + 0.09, check)
        word = (Miss.of(*both).words or ("the same",))[0]
        font = "text" if check.kept else "bold"
        paper.write(_BEGIN + _LONG + 0.12, top, word, font=font)
        paper.y = end + 0.03

    return paged(checks, begin, draw)


def trial(found: Correction) -> Pages:
    """Draw a finished piece: what was got, what was aimed at, what each choice promises."""
    often = f"{100 * found.chance:.0f}" if found.chance >= 0.01 else "fewer than one"
    sentence, pot, aim = found.outcome.value, found.corrected, found.target
    paper = Paper(
        "trial", f"{sentence[0].upper()}{sentence[1:]}", found.warnings, demo=found.demo,
        miss=found.miss, often=often, light=aim.light,
    )  # fmt: skip
    paper.box((MARGIN, paper.y, BODY, 1.3))
    codes = pot_codes(pot.prediction, aim.lab, 24)
    got = screen_colours(found.trial.reading.colour(D65_2))[0].hex
    rows = [[*[got] * 8, *[aim.hex] * 8, *codes[i::3]] for i in range(3)]
    paper.patches((MARGIN + 0.15, paper.y + 0.3, BODY - 0.3, 0.7), rows)
    labels = {"got": f"{got}  {found.miss.delta_e:.1f} off", "aim": aim.hex}
    pots_of = f"24 pots of the {'next' if found.changed else 'same'} recipe"
    labels[pots_of] = f"likely {pot.likely:.1f} off, nine in ten below {pot.bound:.1f}"
    for i, (above, below) in enumerate(labels.items()):
        x = MARGIN + 0.15 + i * (BODY - 0.3) / 3
        paper.write(x, paper.y + 0.07, above, font="bold")
        paper.write(x, paper.y + 1.05, below)
    paper.y += 1.45
    _scatter(paper, found)
    if found.changed:
        paper.down("What to change", "section")
        for name in dict.fromkeys([*found.trial.recipe, *pot.recipe]):
            before, after = (recipe.get(name, 0.0) for recipe in (found.trial.recipe, pot.recipe))
            more = f"{100 * (after / before - 1):+.0f} %" if before else "new"
            amounts = " → ".join(map(format_amount, (before, after)))
            paper.down(f"{name}  {amounts} %  ({more})")
        paper.y += 0.1
    paper.down("What each choice promises", "section")
    _ruled(paper, [found.miss.delta_e, *(choice.bound for choice in found.choices.values())])
    top = paper.y
    for name, choice in found.choices.items():
        y = paper.write(MARGIN, paper.y, name, font="bold")
        bar(paper.column, paper.y + 0.12, choice.likely, choice.bound)
        paper.column.vlines(choice.residual, paper.y + 0.02, paper.y + 0.23, on.INK, linewidth=2)
        paper.y = paper.write(MARGIN, y, str(choice.recipe), _BEGIN - MARGIN - 0.1) + 0.08
    paper.column.vlines(found.miss.delta_e, top, paper.y, on.INK, "--", linewidth=0.8)
    at = _BEGIN + _LONG * found.miss.delta_e / paper.column.get_xlim()[1]
    paper.y = paper.write(at, paper.y, "this piece", ha="center") + 0.1
    return [paper.end()]


def _scatter(paper: Paper, found: Correction) -> None:
    """Pots of one recipe about the aim, by scatter alone, and where the piece lies among them."""
    paper.down("Is the piece one of them? 100 pots of one recipe (dots), this piece (×)", "bold")
    aim, got = found.target.lab, found.trial.reading.colour(found.target.light or D65_10)
    stray = difference(aim, pots(aim, aim, found.scatter, 30.0, 100))
    piece = difference(aim, got)
    unit = _PANEL / 2.2 / max(float(np.abs(stray).max()), float(np.abs(piece).max()))
    # Three units across the hue of the aim, either way: what the eye calls that.
    across = np.roll(aim[1:], 1) * [-3.0, 3.0] / max(np.hypot(*aim[1:]), 3.0)
    sides = [Miss.of(aim, aim + sign * np.insert(across, 0, 0.0)).words for sign in (-1.0, 1.0)]
    hues = [(words or ("",))[0] for words in sides]
    for i, (axis, words) in enumerate(((1, ("quieter", "brighter")), (2, hues))):
        x, y = MARGIN + i * (_PANEL + 1.2), paper.y
        middle, up = x + _PANEL / 2, y + _PANEL / 2
        paper.frame((x, y, _PANEL, _PANEL))
        paper.line([x, x + _PANEL], [up] * 2, color=RULE)
        paper.line([middle] * 2, [y, y + _PANEL], color=RULE)
        for off in stray:
            paper.mark(middle + unit * off[axis], up - unit * off[0], "o", 2.0, color=on.SUBTLE)
        paper.mark(middle + unit * piece[axis], up - unit * piece[0], "x", 9.0, markeredgewidth=2)
        paper.write(x + _PANEL + 0.06, y, "paler")
        paper.write(x + _PANEL + 0.06, y + _PANEL - 0.18, "deeper")
        paper.write(x, y + _PANEL + 0.03, words[0])
        paper.write(x + _PANEL, y + _PANEL + 0.03, words[1], ha="right")
    paper.y += _PANEL + 0.35
