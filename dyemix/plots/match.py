"""A match as rows of recipes: which one, what may come out of the pot, what each lamp makes of it.

The colour wanted is a band through the middle of each block; above and below it, touching, lie pots
of the recipe, each as likely as the next.
"""

from __future__ import annotations

from dyemix.colour.appearance import Miss, adapted
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_2, Light, screen_colours
from dyemix.dataset.recipe import format_amount
from dyemix.matching.matches import Match, Matches
from dyemix.plots.paper import BAR, MARGIN, WIDTH, Pages, Paper, paged, pot_codes, said

#: Where columns begin and how long the longest bar is, in inches; recipes of one page.
_NAME, _BARS, _LONGEST, _ROWS = 0.78, 2.24, 0.34, 8
#: Blocks: where they begin, how wide they are, pots, lamp.
_BLOCKS = (
    (2.72, 2.75, 24, "", "daylight"),
    (5.6, 1.0, 8, "FL11", "shop light"),
    (6.72, 1.0, 8, "A", "tungsten"),
)
_HIGH = 0.5


def pages(found: Matches) -> Pages:
    """Draw the recipes of a match, a row each, eight a page."""
    target, band = found.target, ""
    if target.reflectance is None:
        band = said("match", "daylight")
        band += said("match", "rough", light=target.light) if target.light != D65_2 else ""
    lamps = [lamp for *_, lamp, _ in _BLOCKS if lamp]
    turns = [[_turned(found, m, lamp) for lamp in lamps] for m in found]
    least = [min(turn.delta_e for turn in under) for under in zip(*turns, strict=True)]
    most = max((owf for m in found for owf in m.recipe.values()), default=1.0)
    weaker = [text for m in found if m.measured for text in m.measured.weaker]
    notes = [*found.warnings, *dict.fromkeys(weaker)]

    def begin() -> Paper:
        many = "1 recipe" if len(found) == 1 else f"{len(found)} recipes"
        title = f"{target.name or target}: {many}, {found.reach.value}"
        paper = Paper("match", title, notes, demo=found.demo, formula=found.formula, band=band)
        for x, _, _, _, name in _BLOCKS:
            paper.write(x, paper.y, name, font="bold")
        paper.y += 0.15
        return paper

    def draw(paper: Paper, i: int) -> None:
        top, x = paper.y, _BLOCKS[0][0] - 0.1
        _row(paper, found, i, most, turns[i], least)
        paper.box((x, top, WIDTH - MARGIN - x, paper.y - top))

    return paged(range(len(found)), _ROWS, begin, draw)


def _turned(found: Matches, m: Match, lamp: str) -> Miss:
    """How the cloth turns under a lamp, from what is wanted there."""
    p, other = m.prediction, Light(lamp, m.prediction.light.observer)
    spectrum = found.target.reflectance
    wanted = found.target.lab if spectrum is None else adapted(spectrum, p.light, other)
    return Miss.of(wanted, adapted(p.reflectance, p.light, other))


def _row(
    paper: Paper, found: Matches, i: int, most: float, turns: list[Miss], least: list[float]
) -> None:
    """One recipe: its dyes, and pots of it in daylight and under lamps."""
    m, target, y = found[i], found.target, paper.y + 0.1
    p, end = m.prediction, y
    paper.write(MARGIN, y, str(i + 1), font="strong")
    for name, amount in m.recipe.items() or [("undyed", 0.0)]:
        mark = " ¹" if any(text.startswith(f"{name} ") for text in p.warnings) else ""
        paper.box((_BARS, end + 0.05, _LONGEST * amount / most, 0.09), BAR)
        text = f"{name} {format_amount(amount)}{mark}"
        end = paper.write(_NAME, end, text, _BARS - _NAME - 0.05, "strong")
    end = paper.write(_NAME, end, f"likely {m.likely:.1f}, {m.verdict}")
    if m.measured and m.measured.doses:
        smallest = min(m.measured.doses, key=lambda dose: dose.ml)
        end = paper.write(_NAME, end, f"smallest: {smallest}", _BLOCKS[0][0] - _NAME - 0.2)
    under = y + _HIGH + 0.02
    for j, (x, width, count, name, _) in enumerate(_BLOCKS):
        lamp, band = Light(name, p.light.observer) if name else None, target.hex
        if lamp and target.reflectance is not None:
            band = screen_colours(adapted(target.reflectance, D65_2, lamp))[0].hex
        codes = pot_codes(p, target.lab, count, lamp)
        paper.patches((x, y, width, _HIGH), [codes[::2], [band] * (count // 2), codes[1::2]])
        if lamp:
            turn = turns[j - 1]
            words = f"{turn.words[0] if turn.words else 'as it is,'} {turn.delta_e:.1f}"
            paper.write(x, under, words, font="bold" if turn.delta_e <= least[j - 1] else "text")
            continue
        misses = delta_e(target.lab, p.pots(target.lab, count))
        near = int((misses <= 1.5).sum())
        paper.line([x + width * near / count] * 2, [y - 0.05, y])
        paper.write(x, under, f"{near} of {count} within 1.5")
        paper.write(x + width, under, f"farthest {misses[-1]:.1f}", ha="right")
    paper.y = max(end, under + 0.23) + 0.05
