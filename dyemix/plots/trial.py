"""A finished piece: leave the recipe or change it, and what each choice promises."""

from __future__ import annotations

import numpy as np

from dyemix.colour.colorimetry import D65_2, D65_10, screen_colours
from dyemix.matching.correct import Correction
from dyemix.model.uncertainty import pots
from dyemix.plots.mixes import BEGIN, Ruler
from dyemix.plots.paper import BODY, GROUND, MARGIN, RULE, SECTION, SUBTLE, Pages, Paper, pot_codes
from dyemix.series.search import difference

_PANEL = 1.9


def pages(found: Correction) -> Pages:
    """Draw a finished piece: what was got, what was aimed at, what each choice promises."""
    changed = found.changed
    often = f"{100 * found.chance:.0f}" if found.chance >= 0.01 else "fewer than one"
    sentence = found.outcome.value
    paper = Paper(
        "trial", f"{sentence[0].upper()}{sentence[1:]}", found.warnings, demo=found.demo,
        miss=found.miss, often=often, light=found.target.light,
    )  # fmt: skip
    paper.box(MARGIN, paper.y, BODY, 1.3, GROUND)
    pot = found.corrected
    codes = pot_codes(pot.prediction, found.target.lab, 24)
    got = screen_colours(found.trial.reading.colour(D65_2))[0].hex
    rows = [[*[got] * 8, *[found.target.hex] * 8, *codes[i::3]] for i in range(3)]
    paper.patches(MARGIN + 0.15, paper.y + 0.3, BODY - 0.3, 0.7, rows)
    which = f"24 pots of the {'next' if changed else 'same'} recipe"
    under = f"likely {pot.likely:.1f} off, nine in ten below {pot.bound:.1f}"
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
    _scatter(paper, found)
    if changed:
        paper.down("What to change", size=SECTION, bold=True)
        for name in dict.fromkeys([*found.trial.recipe, *pot.recipe]):
            before, after = (recipe.get(name, 0.0) for recipe in (found.trial.recipe, pot.recipe))
            more = f"{100 * (after / before - 1):+.0f} %" if before else "new"
            paper.down(f"{name}  {before:.3g} → {after:.3g} %  ({more})")
        paper.y += 0.1
    paper.down("What each choice promises", size=SECTION, bold=True)
    ruler = Ruler.to([found.miss.delta_e, *(choice.bound for choice in found.choices.values())])
    ruler.head(paper)
    top = paper.y
    for name, choice in found.choices.items():
        y = paper.write(MARGIN, paper.y, name, bold=True)
        ruler.bar(paper, paper.y + 0.05, choice.likely, choice.bound)
        paper.line([ruler.at(choice.residual)] * 2, [paper.y + 0.02, paper.y + 0.23], linewidth=2)
        paper.y = paper.write(MARGIN, y, str(choice.recipe), BEGIN - MARGIN - 0.1) + 0.08
    at = ruler.at(found.miss.delta_e)
    paper.line([at, at], [top, paper.y], linestyle="--")
    paper.y = paper.write(at, paper.y, "this piece", align="center") + 0.1
    return [paper.end()]


def _scatter(paper: Paper, found: Correction) -> None:
    """Pots of one recipe about the aim, by scatter alone, and where the piece lies among them."""
    paper.down("Is the piece one of them? 100 pots of one recipe (dots), this piece (×)", bold=True)
    aim, got = found.target.lab, found.trial.reading.colour(found.target.light or D65_10)
    stray = difference(aim, pots(aim, aim, found.scatter, 30.0, 100))
    piece = difference(aim, got[np.newaxis])[0]
    widest = 1.1 * max(float(np.abs(stray).max()), float(np.abs(piece).max()))
    for i, (axis, words) in enumerate(((1, ("quieter", "brighter")), (2, ("ΔH* −", "ΔH* +")))):
        x, y = MARGIN + i * (_PANEL + 1.2), paper.y
        paper.box(x, y, _PANEL, _PANEL, "white", edgecolor=RULE)
        unit, middle = _PANEL / 2 / widest, _PANEL / 2
        at = np.array([x, y]) + middle
        paper.line([x, x + _PANEL], [at[1]] * 2, color=RULE)
        paper.line([at[0]] * 2, [y, y + _PANEL], color=RULE)
        for off in stray:
            paper.mark(at[0] + unit * off[axis], at[1] - unit * off[0], "o", 2.0, color=SUBTLE)
        paper.mark(at[0] + unit * piece[axis], at[1] - unit * piece[0], "x", 9.0, markeredgewidth=2)
        paper.write(x + _PANEL + 0.06, y, "paler")
        paper.write(x + _PANEL + 0.06, y + _PANEL - 0.18, "deeper")
        paper.write(x, y + _PANEL + 0.03, words[0])
        paper.write(x + _PANEL, y + _PANEL + 0.03, words[1], align="right")
    paper.y += _PANEL + 0.35
