"""Shade cards on paper: all blends touching, then each true to size with room to pin the real one.

Neighbours touch, so that a jump or a dull place shows, and no word stands on a patch.
"""

from __future__ import annotations

from collections.abc import Sequence

from dyemix.dataset.recipe import format_amount
from dyemix.plots.paper import A4, BODY, LINE, MARGIN, WIDTH, Pages, Paper, paged, wrapped
from dyemix.series.shade_card import Blend, ShadeCard

_MM = 1.0 / 25.4
#: A patch and the frame to pin a swatch in, side by side: common practice pins a thumb's size.
PIN_WIDTH, PIN_HEIGHT, BAR = 28.0 * _MM, 17.0 * _MM, 50.0 * _MM
_ACROSS, _GUTTER = 3, 0.15
#: A longer list than this is left to the pages to pin by.
_LISTED = 80


def pages(card: ShadeCard) -> Pages:
    """Draw a shade card: a page of all blends with their list, then pages of A4 to pin by."""
    depths = ", ".join(format_amount(depth) for depth in card.depths)
    title = f"{', '.join(card.names)}: every blend in {card.parts} parts, {depths} % in all"
    return [_overview(card, title).end(), *_pinning(card, title)]


def _overview(card: ShadeCard, title: str) -> Paper:
    paper = Paper("card", title, demo=card.demo, cloth=f" On {card.cloth}." if card.cloth else "")
    triangle = len(card.names) == 3
    rows, places = 1 + card.blends[-1].row, card.parts + 1
    width = min(0.55 if triangle else 1.1, (BODY - 1.6) / places)
    height = min(0.42 if triangle else 0.9, 4.6 / rows)
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
    if len(card.blends) <= _LISTED:
        _list(paper, card)
    return paper


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
    for column in range(_ACROSS):
        paper.y, x = top, MARGIN + column * BODY / _ACROSS
        for blend in card.blends[column * down : (column + 1) * down]:
            whole, p = blend.recipe.total / card.parts, blend.prediction
            parts = ":".join(f"{blend.recipe.get(n, 0.0) / whole:.0f}" for n in card.names)
            paper.write(x, paper.y, blend.name, font="bold")
            paper.table([x + 0.45, x + 1.25], [(parts + _mark(blend), f"{p.hex}   {p.likely:.1f}")])
    paper.y = top + down * LINE + 0.1


def _mark(blend: Blend) -> str:
    return " ~" if blend.prediction.warnings else ""


def _pinning(card: ShadeCard, title: str) -> Pages:
    """A patch, a frame and a label for every blend, on as many pages as it takes."""
    step = (BODY - (_ACROSS - 1) * _GUTTER) / _ACROSS
    labels = {b.name: f"{b.name}  {b.recipe}" for b in card.blends}
    lines = max(len(wrapped(label, step, "bold")) for label in labels.values())
    height = PIN_HEIGHT + (lines + 1) * LINE + 0.12

    def begin() -> Paper:
        paper = Paper("pins", title, demo=card.demo)
        paper.line([MARGIN, MARGIN + BAR], [paper.y] * 2, linewidth=2, solid_capstyle="butt")
        paper.y += 0.15
        return paper

    def draw(paper: Paper, row: Sequence[Blend]) -> None:
        for column, blend in enumerate(row):
            x, y = MARGIN + column * (step + _GUTTER), paper.y
            paper.patches((x, y, PIN_WIDTH, PIN_HEIGHT), [[blend.prediction.hex]])
            paper.frame((x + PIN_WIDTH, y, PIN_WIDTH, PIN_HEIGHT), linestyle=(0, (4, 2)))
            at = paper.write(x, y + PIN_HEIGHT + 0.03, labels[blend.name], step, "bold")
            paper.write(x, at, f"{blend.prediction.hex}, % owf{_mark(blend)}", step)
        paper.y += height

    rows = [card.blends[i : i + _ACROSS] for i in range(0, len(card.blends), _ACROSS)]
    return paged(rows, max(int((A4 - begin().y - 0.2) / height), 1), begin, draw, A4)
