"""Shade cards on paper: all blends touching, then each true to size with room to pin the real one.

Neighbours touch, so that a jump or a dull place shows, and no word stands on a patch.
"""

from __future__ import annotations

from collections.abc import Sequence

from dyemix.dataset.recipe import format_amount
from dyemix.plots.paper import A4, BODY, GROUND, MARGIN, RULE, TEXT, WIDTH, Pages, Paper, wrapped
from dyemix.series.shade_card import Blend, ShadeCard

_LINE = TEXT * 1.4 / 72.0
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
    return [*_overview(card, title), *_pinning(card, title)]


def _overview(card: ShadeCard, title: str) -> Pages:
    cloth = f" On {card.cloth}." if card.cloth else ""
    paper = Paper("card", title, demo=card.demo, cloth=cloth)
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
            paper.write(x, y, f"{blend.name[:-1]}{depth}", bold=True, align="right")
    paper.patches(left, top, places * width, height * rows, halves)
    bottom, right = top + rows * height + 0.08, left + places * width
    for place in range(places):
        x = left + (place + 0.5) * width
        paper.write(x, bottom, str(place + 1), bold=True, align="center")
    if triangle:
        _sureness(paper, card, top)
    half = places * width / 2 - 0.1
    ends = [
        paper.write(left, bottom + 0.25, f"all {card.names[-2]}", half, bold=True),
        paper.write(right, bottom + 0.25, f"all {card.names[-1]}", half, bold=True, align="right"),
    ]
    if triangle:
        middle = (left + right) / 2
        paper.write(middle, top - 0.25, f"all {card.names[0]}", bold=True, align="center")
    paper.box(MARGIN, paper.y, BODY, max(ends) + 0.1 - paper.y, GROUND)
    paper.y = max(ends) + 0.25
    if len(card.blends) <= _LISTED:
        _list(paper, card)
    return [paper.end()]


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
    paper.down(
        f"Parts {' : '.join(card.names)}, hex, likely miss.   ~ a dye outside its squares",
        bold=True,
    )
    down = -(-len(card.blends) // _ACROSS)
    for i, blend in enumerate(card.blends):
        column, line = divmod(i, down)
        x, y = MARGIN + column * BODY / _ACROSS, paper.y + line * _LINE
        shares = [card.parts * blend.recipe.get(n, 0.0) / blend.recipe.total for n in card.names]
        paper.write(x, y, blend.name, bold=True)
        paper.write(x + 0.45, y, ":".join(f"{share:.0f}" for share in shares) + _mark(blend))
        paper.write(x + 1.25, y, f"{blend.prediction.hex}   {blend.prediction.likely:.1f}")
    paper.y += down * _LINE + 0.1


def _mark(blend: Blend) -> str:
    return " ~" if blend.prediction.warnings else ""


def _pinning(card: ShadeCard, title: str) -> Pages:
    """A patch, a frame and a label for every blend, on as many pages as it takes."""
    step = (BODY - (_ACROSS - 1) * _GUTTER) / _ACROSS
    labels = [
        [f"{b.name}  {b.recipe}", f"{b.prediction.hex}, % owf{_mark(b)}"] for b in card.blends
    ]
    lines = max(sum(len(wrapped(t, step, TEXT, True)) for t in label) for label in labels)
    height = PIN_HEIGHT + lines * _LINE + 0.12
    pages, start = [], 0
    while start < len(card.blends):
        paper = Paper("pins", title, demo=card.demo)
        paper.line([MARGIN, MARGIN + BAR], [paper.y] * 2, linewidth=2, solid_capstyle="butt")
        paper.y += 0.15
        rows = max(int((A4 - paper.y - 0.2) / height), 1)
        _pins(paper, card.blends[start : start + rows * _ACROSS], labels[start:], step, height)
        start += rows * _ACROSS
        pages.append(paper.end(A4))
    return pages


def _pins(
    paper: Paper, blends: Sequence[Blend], labels: Sequence[list[str]], step: float, height: float
) -> None:
    for i, (blend, label) in enumerate(zip(blends, labels, strict=False)):
        row, column = divmod(i, _ACROSS)
        x, y = MARGIN + column * (step + _GUTTER), paper.y + row * height
        paper.patches(x, y, PIN_WIDTH, PIN_HEIGHT, [[blend.prediction.hex]])
        paper.box(
            x + PIN_WIDTH, y, PIN_WIDTH, PIN_HEIGHT, "none", edgecolor=RULE, linestyle=(0, (4, 2))
        )
        at = paper.write(x, y + PIN_HEIGHT + 0.03, label[0], width=step, bold=True)
        paper.write(x, at, label[1], width=step)
