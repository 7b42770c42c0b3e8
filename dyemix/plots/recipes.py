"""Recipes as patches that touch: of a match, of a series, of a shade card.

A match asks which recipe, what may come out of the pot, and what each lamp makes of it: the colour
wanted is a band through the middle of each block; above and below it lie pots of the recipe, each
as likely as the next. A series asks which way leads quieter, paler or darker, and how far. On a
card neighbours touch, so that a jump or a dull place shows; then each blend stands true to size
with room to pin the real one.
"""

from collections.abc import Iterator, Sequence
from itertools import zip_longest
from operator import attrgetter
from typing import TYPE_CHECKING

import numpy as np

from dyemix.colour.appearance import Miss, adapted
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_2, Light
from dyemix.dataset.recipe import format_amount
from dyemix.errors import data, said
from dyemix.matching.matches import Match, Matches
from dyemix.plots import paper as on
from dyemix.plots.paper import BODY, MARGIN, WIDTH, Pages, Paper, paged, pot_codes
from dyemix.series.steps import Blend, Route, Series, ShadeCard, Step

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Of a match: where columns begin and how long the longest bar is, in inches.
_NAME, _BARS, _LONGEST = 0.74, 2.28, 0.3
#: Its blocks.
_BLOCKS: list[tuple[float, float, int, str, str]] = data("pictures")["blocks"]
_HIGH = 0.5
#: Of a series: rows of pots of a step, nearest to what is asked at the left.
_DEEP, _POTS = 3, 8
#: Patches side by side, the start among them, and how high a band is, in inches.
_STEPS, _BAND, _EDGE = 6, 0.42, 0.06
_STEP = (BODY - 2 * _EDGE) / _STEPS
#: Of a card: a patch and the frame to pin a swatch in, side by side, and the bar that shows the
#: size of the print (28 × 17 mm, 50 mm): common practice pins a thumb's size.
PIN_WIDTH, PIN_HEIGHT, PIN_BAR = 28.0 / 25.4, 17.0 / 25.4, 50.0 / 25.4
_ACROSS, _GUTTER = 3, 0.15
#: A longer list than this is left to the pages to pin by.
_LISTED = 80


def match(found: Matches) -> Pages:
    """Draw the recipes of a match, a row each."""
    target, band = found.target, ""
    if target.reflectance is None:
        rough = target.light != D65_2
        band = said("pictures.match.daylight")
        band += said("pictures.match.rough", light=target.light) if rough else ""
    turns = [[_turned(found, m, lamp) for *_, lamp, _ in _BLOCKS if lamp] for m in found]
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
        """One recipe: its dyes, and pots of it in daylight and under lamps."""
        m, top, y = found[i], paper.y, paper.y + 0.1
        p, end = m.prediction, y
        paper.write(MARGIN, y, str(i + 1), font="strong")
        for name, amount in m.recipe.items() or [("undyed", 0.0)]:
            mark = "\xa0¹" if any(text.startswith(f"{name} ") for text in p.warnings) else ""
            paper.box((_BARS, end + 0.05, _LONGEST * amount / most, 0.09), on.BAR)
            text = f"{name} {format_amount(amount)}{mark}"
            font = "strong" if len(m.recipe) < 5 else "bold"
            end = paper.write(_NAME, end, text, _BARS - _NAME - 0.05, font)
        end = paper.write(_NAME, end, f"likely {m.likely:.1f}, {m.verdict}")
        if m.measured and m.measured.doses:
            smallest = min(m.measured.doses, key=lambda dose: dose.ml)
            end = paper.write(_NAME, end, f"smallest: {smallest}", _BLOCKS[0][0] - _NAME - 0.2)
        under = y + _HIGH + 0.02
        for j, (x, width, count, name, _) in enumerate(_BLOCKS):
            lamp = Light(name, p.light.observer) if name else None
            pots, band = p.pots(target.lab, count), on.target_code(target, lamp)
            codes = on.on_screen(p, pots, lamp)
            paper.patches((x, y, width, _HIGH), [codes[::2], [band] * (count // 2), codes[1::2]])
            if lamp:
                turn = turns[i][j - 1]
                words = f"{turn.words[0] if turn.words else 'as it is,'} {turn.delta_e:.1f}"
                font = "bold" if turn.delta_e <= least[j - 1] else "text"
                paper.write(x, under, words, font=font)
                continue
            misses = delta_e(target.lab, pots)
            near = int((misses <= 1.5).sum())
            paper.line([x + width * near / count] * 2, [y - 0.05, y])
            paper.write(x, under, f"{near} of {count} within 1.5")
            paper.write(x + width, under, f"farthest {misses[-1]:.1f}", ha="right")
        paper.y = max(end, under + 0.23) + 0.05
        x = _BLOCKS[0][0] - 0.1
        paper.box((x, top, WIDTH - MARGIN - x, paper.y - top))

    return paged(range(len(found)), begin, draw)


def _turned(found: Matches, m: Match, lamp: str) -> Miss:
    """How the cloth turns under a lamp, from what is wanted there."""
    p, other = m.prediction, Light(lamp, m.prediction.light.observer)
    spectrum = found.target.reflectance
    wanted = found.target.lab if spectrum is None else adapted(spectrum, p.light, other)
    return Miss.of(wanted, adapted(p.reflectance, p.light, other))


def series(found: Series) -> Pages:
    """Draw a series, a band a route; a route that runs out leaves grey, and how it falls short."""
    best, light = found.best, found.start.light
    title, notes = found.title, [found.start_line, *found.warnings]
    if best[0].kind is not None:  # the sentence of the headline is what the routes come to
        whole = sum(route.reached == len(route.steps) for route in best)
        title, notes = said("pictures.series.routes", whole, len(best)), [title, *notes]
    # Every route but over a piece is asked the same colours.
    alike = len(best) > 1 and found.piece is None and len(found.steps) < _STEPS
    reached = zip_longest(*(route.steps[: route.reached] for route in best))
    sure = [min(filter(None, steps), key=attrgetter("likely")) for steps in reached]

    def begin() -> Paper:
        paper = Paper("series", title, notes, demo=found.demo, light=light)
        asked = [found.start.lab, *(step.asked for step in found.steps)] if alike else []
        for i, lab in enumerate(asked):
            words = f"{f'step {i}' if i else 'start'}\nC* {np.hypot(*lab[1:]):.0f}"
            paper.write(MARGIN + _EDGE + i * _STEP, paper.y, words, font="bold")
        paper.y += 0.4 if alike else 0.0
        return paper

    def draw(paper: Paper, one: tuple[str, Route]) -> None:
        letter, route = one
        name = f"{letter} by {route.title}" if route.kind else ""
        if name and not alike:
            paper.down(name, "section")
        _band(paper, found, route, name if alike else "", sure if len(best) > 1 else ())

    return paged([*zip("ABCDE", best, strict=False)], begin, draw)


def _band(paper: Paper, found: Series, route: Route, name: str, sure: Sequence[Step]) -> None:
    """The start and the steps reached, in rows of patches with recipes under them.

    `name` of a route stands under the start, where steps are told above all routes; those that are
    `sure` to stray least of all routes are told in bold.
    """
    shown: list[Step | None] = [None, *route.steps]
    stops = route.kind is not None and route.reached < len(route.steps)
    if stops:
        shown = shown[: route.reached + 1]
    elif route.steps[0].from_start < 1e-6:  # a gradient begins with its first step
        shown = shown[1:]
    for first in range(0, len(shown), _STEPS):
        row, x, top = shown[first : first + _STEPS], MARGIN + _EDGE, paper.y
        right, paper.y = x + len(row) * _STEP, top + _BAND + 2 * _EDGE + 0.03
        paper.box((MARGIN, top, BODY, _BAND + 2 * _EDGE))
        if stops and len(row) < _STEPS:
            words = f"stops here: {route.steps[route.reached].short}"
            paper.write(right + 0.08, top, words, MARGIN + BODY - right - 0.1)
        blocks, bottom = [], paper.y
        for i, step in enumerate(row):
            p = step.prediction if step else found.start
            # What is promised above, and as high, pots below.
            pots = pot_codes(p, step.asked, _DEEP * _POTS) if step else [p.hex] * _DEEP * _POTS
            blocks.append([[p.hex] * _POTS] * _DEEP + [pots[i::_DEEP] for i in range(_DEEP)])
            words = name or f"start\n{p.hex}"
            if step:
                words = str(step.recipe).replace(" + ", "\n") + ("" if step.reached else " ~")
                words += "" if name else f"\n{p.hex}\nL* {p.lab[0]:.0f}, C* {step.chroma:.0f}"
            font = "text" if step or not name else "bold"
            end = paper.write(x + i * _STEP, paper.y, words, _STEP - 0.05, font)
            if step:
                least = "bold" if any(step is one for one in sure) else "text"
                end = paper.write(x + i * _STEP, end, f"likely {step.likely:.1f}", font=least)
            bottom = max(bottom, end)
        paper.patches((x, top + _EDGE, right - x, _BAND), np.hstack(blocks).tolist())
        paper.y = bottom + 0.1


def card(card: ShadeCard) -> "Iterator[Figure]":
    """Draw a shade card: a page of all blends with their list, then pages to pin by."""
    depths = ", ".join(format_amount(depth) for depth in card.depths)
    title = f"{', '.join(card.names)}: every blend in {card.parts} parts, {depths}\xa0% in all"
    paper = Paper("card", title, demo=card.demo, cloth=f" On {card.cloth}." if card.cloth else "")
    triangle = len(card.names) == 3
    rows, places = 1 + card.blends[-1].row, card.parts + 1
    width = min(0.55 if triangle else 1.1, (BODY - 1.6) / places)
    listed = len(card.blends) <= _LISTED
    down = on.LINE * (-(-len(card.blends) // _ACROSS) + 2) if listed else 0.0
    height = min(0.42 if triangle else 0.9, (paper.left - down - 1.3) / rows)
    left, top = (WIDTH - places * width) / 2 + 0.2, paper.y + 0.4
    halves = [[""] * (2 * places) for _ in range(rows)]
    for blend in card.blends:
        at = 2 * blend.column + (places - 1 - blend.row if triangle else 0)
        halves[blend.row][at : at + 2] = [blend.prediction.hex] * 2
        if blend.column == 0:
            depth = "" if triangle else f"  {format_amount(card.depths[blend.row])} %"
            x, y = left + at * width / 2 - 0.1, top + (blend.row + 0.5) * height - 0.09
            paper.write(x, y, f"{blend.name[:-1]}{depth}", font="bold", ha="right")
    paper.patches((left, top, places * width, height * rows), halves)
    bottom, right = top + rows * height + 0.08, left + places * width
    for place in range(places):
        paper.write(left + (place + 0.5) * width, bottom, f"{place + 1}", font="bold", ha="center")
    if triangle:
        _sureness(paper, card, top)
        middle = (left + right) / 2
        paper.write(middle, top - 0.25, f"all {card.names[0]}", font="bold", ha="center")
    half = places * width / 2 - 0.1
    ends = [
        paper.write(x, bottom + 0.25, f"all {name}", half, "bold", ha=side)
        for x, name, side in zip((left, right), card.names[-2:], ("left", "right"), strict=True)
    ]
    paper.box((MARGIN, paper.y, BODY, max(ends) + 0.1 - paper.y))
    paper.y = max(ends) + 0.25
    if listed:
        _list(paper, card)
    yield paper.end()
    yield from _pinning(card, title)  # most of the work, which one page spares


def _sureness(paper: Paper, card: ShadeCard, top: float) -> None:
    """The triangle again in the free corner, in dots: the bigger, the less sure."""
    step, x = min(0.13, 1.5 / card.parts), MARGIN + 0.15
    likely = [blend.prediction.likely for blend in card.blends]
    for blend, miss in zip(card.blends, likely, strict=True):
        across = blend.column + (card.parts - blend.row) / 2
        paper.mark(x + step * across, top + step * blend.row, "o", 60.0 * step * miss / max(likely))
    words = f"bigger: less sure\n({min(likely):.1f} to {max(likely):.1f} off)"
    paper.write(x, top + step * (card.parts + 1), words)


def _list(paper: Paper, card: ShadeCard) -> None:
    """Every blend in columns: name, parts, hex, and whether it leaves the squares."""
    told = "hex, likely miss.   ~ a dye outside its squares"
    paper.down(f"Parts {' : '.join(card.names)}, {told}", "bold")
    top, down = paper.y, -(-len(card.blends) // _ACROSS)
    for i, blend in enumerate(card.blends):
        x, paper.y = MARGIN + i // down * BODY / _ACROSS, top + i % down * on.LINE
        whole, p = blend.recipe.total / card.parts, blend.prediction
        parts = ":".join(f"{blend.recipe.get(n, 0.0) / whole:.0f}" for n in card.names)
        paper.write(x, paper.y, blend.name, font="bold")
        cells = (parts + _mark(blend), p.hex, f"{p.likely:.1f}")
        paper.table([x + 0.45, x + 1.25, x + 1.95], [cells])
    paper.y = top + down * on.LINE + 0.1


def _mark(blend: Blend) -> str:
    return " ~" if blend.prediction.warnings else ""


def _pinning(card: ShadeCard, title: str) -> Pages:
    """A patch, a frame and a label for every blend, on as many pages as it takes."""
    step = (BODY - (_ACROSS - 1) * _GUTTER) / _ACROSS
    labels = {b.name: f"{b.name}  {b.recipe}" for b in card.blends}
    lines = max(len(on.wrapped(label, step, "bold")) for label in labels.values())

    def begin() -> Paper:
        paper = Paper("pins", title, demo=card.demo)
        paper.line([MARGIN, MARGIN + PIN_BAR], [paper.y] * 2, linewidth=2, solid_capstyle="butt")
        paper.y += 0.15
        return paper

    def draw(paper: Paper, row: Sequence[Blend]) -> None:
        for column, blend in enumerate(row):
            x, y = MARGIN + column * (step + _GUTTER), paper.y
            paper.patches((x, y, PIN_WIDTH, PIN_HEIGHT), [[blend.prediction.hex]])
            paper.frame((x + PIN_WIDTH, y, PIN_WIDTH, PIN_HEIGHT), linestyle=(0, (4, 2)))
            at = paper.write(x, y + PIN_HEIGHT + 0.03, labels[blend.name], step, "bold")
            paper.write(x, at, f"{blend.prediction.hex}, % owf{_mark(blend)}", step)
        paper.y += PIN_HEIGHT + (lines + 1) * on.LINE + 0.12

    rows = [card.blends[i : i + _ACROSS] for i in range(0, len(card.blends), _ACROSS)]
    return paged(rows, begin, draw)
