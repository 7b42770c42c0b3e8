"""Promises as bars: what each choice after a trial promises, and whether own mixes kept theirs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from dyemix.colour.colorimetry import D65_2, screen_colours
from dyemix.colour.difference import Miss
from dyemix.matching.correct import Correction, Outcome
from dyemix.model.fit_report import FitReport, MixtureCheck, promises_kept
from dyemix.plots.paper import (
    BODY,
    GROUND,
    MARGIN,
    RULE,
    SECTION,
    SUBTLE,
    Paper,
    pot_codes,
)  # fmt: skip

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Where bars begin and how long the scale is, in inches; mixes of one page.
_BARS, _SCALE, _ROWS = 3.6, 2.9, 36
_DARK, _LIGHT = "#8c8c8c", "#d8d8d8"


def trial_pages(found: Correction) -> list[Figure]:
    """Draw a finished piece: what was got, what was aimed at, what each choice promises."""
    changed = found.outcome is Outcome.NEXT_PIECE
    often = f"{100 * found.chance:.0f}" if found.chance >= 0.01 else "fewer than one"
    words = [
        f"The piece came out {found.miss}. Of 100 pots of one and the same recipe {often} would "
        "lie as far from the aim by measuring, pot and reading alone.",
        *found.notes,
    ]
    sentence = found.outcome.value
    paper = Paper(f"{sentence[0].upper()}{sentence[1:]}", words, demo=found.demo)
    paper.box(MARGIN, paper.y, BODY, 1.3, GROUND)
    pot = found.corrected
    codes = pot_codes(pot.prediction, found.target.lab, 24)
    got = screen_colours(found.trial.reading.colour(D65_2))[0].hex
    rows = [[*[got] * 8, *[found.target.hex] * 8, *codes[i::3]] for i in range(3)]
    paper.patches(MARGIN + 0.15, paper.y + 0.3, BODY - 0.3, 0.7, rows)
    which = f"24 pots of the {'next' if changed else 'same'} recipe"
    under = f"likely {pot.mean:.1f} off, nine in ten below {pot.bound:.1f}"
    labels = (
        ("got", f"{got}  {found.miss.delta_e:.1f} off"),
        ("aim", found.target.hex),
        (which, under),
    )
    for i, (above, below) in enumerate(labels):
        x = MARGIN + 0.15 + i * (BODY - 0.3) / 3
        paper.write(x, paper.y + 0.07, above, bold=True)
        paper.write(x, paper.y + 1.05, below)
    paper.y += 1.45
    if changed:
        paper.down("What to change", size=SECTION, bold=True)
        for name in dict.fromkeys([*found.trial.recipe, *pot.recipe]):
            before, after = (recipe.get(name, 0.0) for recipe in (found.trial.recipe, pot.recipe))
            more = f"{100 * (after / before - 1):+.0f} %" if before else "new"
            paper.down(f"{name}  {before:.3g} → {after:.3g} %  ({more})")
        paper.y += 0.1
    choices = {"the same recipe again": found.again}
    choices |= {"the next recipe": pot} if changed else {}
    choices |= {"a second bath over this piece": found.second_bath} if found.second_bath else {}
    paper.down("What each choice promises", size=SECTION, bold=True)
    end = _axis(paper, [found.miss.delta_e, *(choice.bound for choice in choices.values())])
    top = paper.y
    for name, choice in choices.items():
        y = paper.write(MARGIN, paper.y, name, bold=True)
        _bar(paper, paper.y + 0.05, choice.mean, choice.bound, end)
        at = _BARS + _SCALE * choice.on_paper / end
        paper.line([at, at], [paper.y + 0.02, paper.y + 0.23], linewidth=2)
        paper.y = paper.write(MARGIN, y, str(choice.recipe), _BARS - MARGIN - 0.1) + 0.08
    at = _BARS + _SCALE * found.miss.delta_e / end
    paper.line([at, at], [top, paper.y], linestyle="--")
    paper.y = paper.write(at, paper.y, "this piece", align="center") + 0.1
    paper.down(
        f"ΔE2000 ({found.target.light}): to 1.5 excellent, to 3 sound. Stroke: on paper. Dark: on "
        f"average in the pot. Light: nine pots in ten. Add nothing to the pot. Patches: sRGB "
        f"({D65_2}).",
        color=SUBTLE,
    )
    return [paper.end()]


def mixes_pages(report: FitReport) -> list[Figure]:
    """Draw what was promised of own mixes, each by a fit that had not seen it, and what came."""
    checks = sorted(report.checks, key=lambda c: -c.delta_e / c.bound)
    kept = sum(check.kept for check in checks)
    title = f"{kept} of {len(checks)} mixes came within what was promised"
    words = [
        f"{promises_kept(tuple(checks))}." if checks else "No mix of yours has been read yet.",
        "One line a mix, farthest from its promise first. Patches: predicted, then read, touching. "
        "The bar is what was promised, dark for half of the pots and light for nine in ten; the "
        "mark is what came: ● inside, ◇ beyond.",
    ]
    pages = []
    for first in range(0, max(len(checks), 1), _ROWS):
        paper, some = Paper(title, words, demo=report.demo), checks[first : first + _ROWS]
        end = _axis(paper, [max(check.delta_e, check.bound) for check in checks])
        for check in some:
            _mix(paper, check, end)
        paper.y += 0.1
        paper.down(f"Off: ΔE2000 ({report.light}): to 1.5 excellent, to 3 sound.", color=SUBTLE)
        pages.append(paper.end())
    return pages


def _mix(paper: Paper, check: MixtureCheck, end: float) -> None:
    both = np.array([check.predicted, check.measured])
    y = paper.write(MARGIN, paper.y, check.label, _BARS - MARGIN - 0.85)
    paper.box(_BARS - 0.8, paper.y, 0.7, y - paper.y + 0.03, GROUND)
    codes = [colour.hex for colour in screen_colours(both)]
    paper.patches(_BARS - 0.75, paper.y + 0.02, 0.6, y - paper.y - 0.02, [codes])
    _bar(paper, paper.y + 0.02, check.median, check.bound, end)
    marker, face = ("o", "black") if check.kept else ("D", "white")
    at = _BARS + _SCALE * check.delta_e / end
    paper.mark(at, paper.y + 0.09, marker, 5, markerfacecolor=face)
    word = (Miss.of(both[0], both[1]).words or ("the same",))[0]
    paper.write(_BARS + _SCALE + 0.12, paper.y, word, bold=not check.kept)
    paper.y = y + 0.03


def _axis(paper: Paper, values: Sequence[float]) -> float:
    """The scale of bars; returns the ΔE2000 at its end."""
    end = max(3.0, float(np.ceil(max(values, default=0.0))))
    for i in range(4):
        x = _BARS + _SCALE * i / 3
        paper.write(x, paper.y, f"{end * i / 3:.2g}", align="center")
    paper.y += 0.2
    return end


def _bar(paper: Paper, y: float, dark: float, light: float, end: float) -> None:
    unit = _SCALE / end
    paper.box(_BARS, y, light * unit, 0.14, _LIGHT, edgecolor=RULE, zorder=1)
    paper.box(_BARS, y, dark * unit, 0.14, _DARK, zorder=1)
