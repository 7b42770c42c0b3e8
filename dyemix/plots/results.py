"""Pictures of fitted dyes and of recipes beside their target, as PNG, SVG or PDF.

What is drawn was worked out elsewhere; only the layout is decided here. Every picture reads in
greyscale: curves differ in dashes, and words stand beside patches, never on them.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_2, WAVELENGTHS, screen_colour, screen_colours
from dyemix.dataset.swatches import SwatchSet
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError
from dyemix.matching.matches import Match, Matches
from dyemix.model.dyes import DyeSet, law_name
from dyemix.model.fit_report import DyeReport
from dyemix.plots.drawing import (
    BAND,
    BLUE,
    GUTTER,
    INK,
    LARGE,
    MARGIN,
    SMALL,
    TOP,
    WIDTH,
    Block,
    Page,
    checked,
    heading,
    height_of,
    save,
    styled,
    text_width,
)  # fmt: skip

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Dashes that still differ at the width of a panel, in points on and off; the first is unbroken.
_DASHES: tuple[Any, ...] = (
    "solid", (0, (5, 2)), (0, (1, 1.2)), (0, (7, 2, 1, 2)), (0, (2.5, 1.2)), (0, (7, 2, 1, 2, 1, 2))
)  # fmt: skip
#: Seven, so that with six dashes no pair comes back before 42 recipes.
_MARKERS = ("o", "s", "^", "D", "v", "x", "P")
#: All at least 4.5 to 1 on white paper.
_COLOURS = (INK, BLUE, "#a84300", "#00705a", "#86417a", "#6b5b00", "#b0184c")


def _ladder_depths(dyes: DyeSet, i: int, report: DyeReport | None) -> tuple[float, ...]:
    """The depths that were dyed; of a set without a report only the range is known."""
    return report.depths if report else (float(dyes.palest[i]), float(dyes.deepest[i]))


def _caption(dyes: DyeSet, i: int, report: DyeReport | None) -> str:
    if report is None:
        return f"law: {law_name(float(dyes.exponent[i]), float(dyes.capacity[i]))}"
    if report.mean is None:
        miss = "left-out miss not known: under three depths"
    else:
        miss = f"left-out miss {report.mean:.1f}, worst {max(report.inner):.1f}"
    return "\n".join([f"law: {report.law}", miss, *report.odd])


@dataclass(frozen=True, eq=False)
class _Ladder:
    """What one panel shows: curves ``(S, B)`` and patches at S depths (% owf), and its words."""

    name: str
    title: Block
    depths: tuple[float, ...]
    curves: Array
    caption: Block
    upright: bool

    @classmethod
    def of(cls, dyes: DyeSet, i: int, report: DyeReport | None, width: float) -> _Ladder:
        depths = _ladder_depths(dyes, i, report)
        amounts = np.zeros((len(depths), len(dyes)))
        amounts[:, i] = depths
        widest = max(text_width(f"{depth:g}", SMALL, "normal") for depth in depths)
        return cls(
            dyes.names[i],
            Block.of(dyes.names[i], width, LARGE, "bold"),
            depths,
            dyes.reflectance(amounts),
            Block.of(_caption(dyes, i, report), width),
            widest + 0.02 > width / len(depths),
        )

    @property
    def label_height(self) -> float:
        longest = max(text_width(f"{depth:g}", SMALL, "normal") for depth in self.depths)
        return longest + 0.05 if self.upright else 0.16

    def draw(
        self, page: Page, x: float, y: float, width: float, height: float, points: SwatchSet | None
    ) -> None:
        """A diagram `height` high at x, y; title above; line samples, patches, words below."""
        page.write(self.title, x, y - self.title.height - 0.06)
        axes = page.spectra(x, y, width, height)
        for swatch in points.ladder(self.name) if points else ():
            if not swatch.rough:
                axes.plot(
                    WAVELENGTHS[::2], swatch.reflectance[::2], "+", markersize=3, color=BLUE,
                    markeredgewidth=0.5, clip_on=False, zorder=3,
                )  # fmt: skip
        top = y + height + 0.28
        step = width / len(self.depths)
        for i, (depth, curve) in enumerate(zip(self.depths, self.curves, strict=True)):
            dashes = _DASHES[i % len(_DASHES)]
            axes.plot(WAVELENGTHS, curve, color=INK, linewidth=1.0, linestyle=dashes)
            left = x + i * step
            page.layer.plot(
                [left + 0.02, left + step - 0.04], [top, top], color=INK, linewidth=1.0,
                linestyle=dashes,
            )  # fmt: skip
            page.patch(left, top + 0.06, step, 0.28, screen_colour(curve).hex)
            page.layer.text(
                left + step / 2, top + 0.38, f"{depth:g}", ha="center", va="top",
                rotation=90 if self.upright else 0,
            )  # fmt: skip
        page.frame(
            [x, x + width, x + width, x, x],
            [top + 0.06, top + 0.06, top + 0.34, top + 0.34, top + 0.06],
        )
        page.write(self.caption, x, top + 0.38 + self.label_height)


def draw_dyes(
    dyes: DyeSet, swatches: SwatchSet | None = None, path: str | os.PathLike[str] | None = None
) -> Figure:
    """Draw the fitted dyes, a panel each: curves and patches of its ladder, law, left-out miss.

    Parameters
    ----------
    dyes : the fit.
    swatches : where given, every swatch's spectrum stands beside its curve as crosses.
    path : where given, the figure is also written there, as PNG, SVG or PDF by its ending.

    Returns
    -------
    Figure
        As wide as A4; twelve dyes of six depths fill the page. Letters are 8 points or more.

    Raises
    ------
    DyemixError
        An ending that is none of these, a file that cannot be written, or swatches of none of
        these dyes.
    """
    file = checked(path)
    if swatches is not None and not set(swatches.dyes) & set(dyes.names):
        raise DyemixError(
            f"these swatches hold none of the dyes fitted ({', '.join(dyes.names)}): pass the "
            "table that was fitted."
        )
    reports = {report.name: report for report in dyes.report.dyes} if dyes.report else {}
    most = max(len(_ladder_depths(dyes, i, reports.get(n))) for i, n in enumerate(dyes.names))
    columns = min(3 if most <= 6 else 2 if most <= 10 else 1, len(dyes))
    width = (WIDTH - 2 * MARGIN - (columns - 1) * GUTTER) / columns
    height = {3: 0.87, 2: 1.6}.get(columns, 2.2)
    cloth = (dyes.conditions or {}).get("cloth")
    points = "" if swatches is None else " Crosses: swatches as read."
    rough = dyes.report is not None and dyes.report.rough
    with styled():
        head = heading(
            f"Fitted dyes on {cloth}" if cloth else "Fitted dyes",
            [
                dyes.report.verdict if dyes.report else "",
                "Lines: predicted reflectance, % over nm; the sample above a patch is its line."
                f"{points} Depths: % owf.",
                f"Patches: predicted colour, sRGB ({D65_2}). Left-out miss: ΔE2000 "
                f"({dyes.report.light if dyes.report else dyes.light}), mean over the inner "
                "depths, each predicted without its own swatches.",
                "Some readings are three numbers, not spectra: they have a rough curve and no "
                "crosses."
                if rough
                else "",
            ],
            dyes.demo,
        )
        panels = [
            _Ladder.of(dyes, i, reports.get(name), width) for i, name in enumerate(dyes.names)
        ]
        rows = [panels[i : i + columns] for i in range(0, len(panels), columns)]
        above = [max(p.title.height for p in row) + 0.06 for row in rows]
        below = [max(p.label_height + p.caption.height for p in row) + 0.76 for row in rows]
        page = Page(TOP + height_of(head) + 0.1 + sum(above) + sum(below) + len(rows) * height)
        y = TOP
        for block in head:
            y = page.write(block, MARGIN, y)
        y += 0.1
        for row, title, rest in zip(rows, above, below, strict=True):
            y += title
            for i, panel in enumerate(row):
                panel.draw(page, MARGIN + i * (width + GUTTER), y, width, height, swatches)
            y += height + rest
        return save(page.figure, file)


def _screen_of(target: Target) -> tuple[str, str]:
    """Hex code of a target, and what is to be said about it."""
    if target.reflectance is not None:
        return target.hex, str(screen_colour(target.reflectance))
    text = str(screen_colours(target.lab)[0])
    if target.light != D65_2:
        text += f" (rough: stated under {target.light}, with no spectrum)"
    return target.hex, text


def _recipe_blocks(number: int, match: Match, formula: str, width: float) -> list[Block]:
    p = match.prediction
    miss = (
        f"on paper {match.residual:.1f}, likely in the pot {match.likely:.1f}: "
        f"{match.verdict.value} ({formula})"
    )
    if match.metamerism:
        lamps = ", ".join(f"{shift.lamp} {shift.delta_e:.1f}" for shift in match.metamerism)
        miss += f"; metamerism {lamps}"
    colour = "L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*p.lab)
    return [
        Block.of(f"{number}  {match.recipe}", width, weight="bold"),
        Block.of(f"{p.screen}; {colour} ({p.light})", width),
        Block.of(miss, width),
    ]


def draw_match(matches: Matches, path: str | os.PathLike[str] | None = None) -> Figure:
    """Draw a target beside every recipe found for it, with their spectra.

    Parameters
    ----------
    matches : what `match` found.
    path : where given, the figure is also written there, as PNG, SVG or PDF by its ending.

    Returns
    -------
    Figure
        As wide as A4; eight recipes fill a page. Letters are 8 points or more.

    Raises
    ------
    DyemixError
        An ending that is none of these, or a file that cannot be written.
    """
    from matplotlib.ticker import AutoLocator

    file = checked(path)
    target = matches.target
    colour, words = _screen_of(target)
    size, text_x = 1.2, MARGIN + 2 * 1.2 + 0.75
    with styled():
        spectrum = (
            "The broad grey line is the spectrum of the target."
            if target.reflectance is not None
            else "The target has no spectrum: it can be compared in this light only."
        )
        head = heading(
            f"Target {target}, {matches.reach.value}.",
            [
                f"Amounts: % owf. On paper: {matches.formula}. Patches: sRGB ({D65_2}); a screen "
                "or a printer shows them roughly.",
                f"Target on screen: {words}.",
                *matches.notes,
            ],
            matches.demo,
        )
        rows = [
            _recipe_blocks(i, m, matches.formula, WIDTH - MARGIN - text_x)
            for i, m in enumerate(matches, 1)
        ]
        steps = [max(0.56, height_of(row) + 0.14) for row in rows]
        notes = [Block.of(text, WIDTH - 2 * MARGIN) for text in (spectrum, *matches.warnings)]
        top = TOP + height_of(head) + 0.35
        foot = top + sum(steps) + 0.2
        page = Page(foot + 2.5 + 0.55 + height_of(notes) + 0.3)
        y = TOP
        for block in head:
            y = page.write(block, MARGIN, y)
        page.layer.text(MARGIN, top - 0.07, "target", weight="bold")
        page.layer.text(MARGIN + size, top - 0.07, "predicted", weight="bold")
        page.layer.text(text_x - 0.6, top - 0.07, "line", weight="bold")
        page.layer.text(text_x, top - 0.07, "recipe", weight="bold")
        axes = page.spectra(MARGIN + 0.35, foot, WIDTH - 2 * MARGIN - 0.35, 2.5)
        axes.set(xlabel="wavelength, nm", ylabel="reflectance, %")
        axes.yaxis.set_major_locator(AutoLocator())
        axes.autoscale(axis="y")
        if target.reflectance is not None:
            axes.plot(WAVELENGTHS, target.reflectance, color=BAND, linewidth=5, label="target")
        y = top
        page.patch(MARGIN, top, size, sum(steps) - 0.03, colour)
        page.frame([MARGIN + size, MARGIN, MARGIN, MARGIN + size],
                   [top, top, foot - 0.23, foot - 0.23])  # fmt: skip
        for i, (m, row, step) in enumerate(zip(matches, rows, steps, strict=True)):
            look: dict[str, Any] = {
                "color": _COLOURS[i % len(_COLOURS)],
                "linestyle": _DASHES[i % len(_DASHES)],
                "marker": _MARKERS[i % len(_MARKERS)],
                "linewidth": 1.1,
                "markersize": 4,
            }
            axes.plot(
                WAVELENGTHS, m.prediction.reflectance, markevery=(i % 6, 6), clip_on=False, **look
            )
            left, right, bottom = MARGIN + size, MARGIN + 2 * size, y + step - 0.03
            page.patch(left, y, size, step - 0.03, m.prediction.hex)
            page.frame([left, right, right, left], [y, y, bottom, bottom])
            middle = y + 0.08
            sample = np.array([text_x - 0.6, text_x - 0.37, text_x - 0.14])
            page.layer.plot(sample, np.full(3, middle), markevery=[1], **look)
            at = y
            for block in row:
                at = page.write(block, text_x, at)
            y += step
        axes.set_ylim(bottom=0)
        y = foot + 2.5 + 0.5
        for block in notes:
            y = page.write(block, MARGIN, y)
        return save(page.figure, file)
