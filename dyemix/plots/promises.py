"""What was promised beside what came: own mixes, a line each, and a finished piece to judge."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from dyemix.colour.appearance import Miss, difference
from dyemix.colour.colorimetry import D65_2, D65_10, screen_colours
from dyemix.matching.correct import Correction
from dyemix.model.fit_report import Evaluation, FitReport, MixtureCheck, promises_kept
from dyemix.model.uncertainty import pots
from dyemix.plots import paper as on
from dyemix.plots.paper import BODY, MARGIN, RULE, Pages, Paper, paged, pot_codes

#: Where bars begin and how long the ruler is, in inches; mixes of one page; a panel's side.
_BEGIN, _LONG, _ROWS, _PANEL = 3.6, 2.9, 36, 1.9


class _Ruler:
    """A ruler from 0 to `end`, thirds of which are whole ΔE2000."""

    def __init__(self, misses: Iterable[float]) -> None:
        self.end = 3.0 * max(1.0, float(np.ceil(max(misses, default=0.0) / 3.0)))

    def at(self, miss: float) -> float:
        """Where on the page a ΔE2000 lies."""
        return _BEGIN + _LONG * miss / self.end

    def head(self, paper: Paper) -> None:
        """Figures along the ruler."""
        for miss in np.linspace(0.0, self.end, 4):
            paper.write(self.at(miss), paper.y, f"{miss:g}", ha="center")
        paper.y += 0.2

    def bar(self, paper: Paper, y: float, dark: float, light: float) -> None:
        """A bar dark to one figure and light to another."""
        for miss, fill in ((light, on.LIGHT_BAR), (dark, on.BAR)):
            paper.box((_BEGIN, y, self.at(miss) - _BEGIN, 0.14), fill, edgecolor=RULE, zorder=1)


def mixes(report: FitReport | Evaluation) -> Pages:
    """Draw what was promised of own mixes, each by a fit that had not seen it, and what came."""
    checks = sorted(report.checks, key=lambda c: -c.delta_e / c.bound)
    kept = sum(check.kept for check in checks)
    title = f"{kept} of {len(checks)} mixes came within what was promised"
    note = f"{promises_kept(tuple(checks))}." if checks else "No mix of yours has been read yet."
    ruler = _Ruler(max(check.delta_e, check.bound) for check in checks)

    def begin() -> Paper:
        paper = Paper("mixes", title, [note], demo=report.demo, light=report.light)
        ruler.head(paper)
        return paper

    def draw(paper: Paper, check: MixtureCheck) -> None:
        top, both = paper.y, np.array([check.predicted, check.measured])
        end = paper.write(MARGIN, top, check.label, _BEGIN - MARGIN - 0.85)
        paper.box((_BEGIN - 0.8, top, 0.7, end - top + 0.03))
        codes = [colour.hex for colour in screen_colours(both)]
        paper.patches((_BEGIN - 0.75, top + 0.02, 0.6, end - top - 0.02), [codes])
        ruler.bar(paper, top + 0.02, check.median, check.bound)
        marker, face = ("o", "black") if check.kept else ("D", "white")
        paper.mark(ruler.at(check.delta_e), top + 0.09, marker, 5, markerfacecolor=face)
        word = (Miss.of(*both).words or ("the same",))[0]
        paper.write(_BEGIN + _LONG + 0.12, top, word, font="text" if check.kept else "bold")
        paper.y = end + 0.03

    return paged(checks, _ROWS, begin, draw)


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
    labels = {
        "got": f"{got}  {found.miss.delta_e:.1f} off",
        "aim": aim.hex,
        f"24 pots of the {'next' if found.changed else 'same'} recipe": (
            f"likely {pot.likely:.1f} off, nine in ten below {pot.bound:.1f}"
        ),
    }
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
            paper.down(f"{name}  {before:.3g} → {after:.3g} %  ({more})")
        paper.y += 0.1
    paper.down("What each choice promises", "section")
    ruler = _Ruler([found.miss.delta_e, *(choice.bound for choice in found.choices.values())])
    ruler.head(paper)
    top, at = paper.y, ruler.at(found.miss.delta_e)
    for name, choice in found.choices.items():
        y = paper.write(MARGIN, paper.y, name, font="bold")
        ruler.bar(paper, paper.y + 0.05, choice.likely, choice.bound)
        paper.line([ruler.at(choice.residual)] * 2, [paper.y + 0.02, paper.y + 0.23], linewidth=2)
        paper.y = paper.write(MARGIN, y, str(choice.recipe), _BEGIN - MARGIN - 0.1) + 0.08
    paper.line([at, at], [top, paper.y], linestyle="--")
    paper.y = paper.write(at, paper.y, "this piece", ha="center") + 0.1
    return [paper.end()]


def _scatter(paper: Paper, found: Correction) -> None:
    """Pots of one recipe about the aim, by scatter alone, and where the piece lies among them."""
    paper.down("Is the piece one of them? 100 pots of one recipe (dots), this piece (×)", "bold")
    aim, got = found.target.lab, found.trial.reading.colour(found.target.light or D65_10)
    stray = difference(aim, pots(aim, aim, found.scatter, 30.0, 100))
    piece = difference(aim, got[np.newaxis])[0]
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
