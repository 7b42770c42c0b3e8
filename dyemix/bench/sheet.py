"""What every sheet can do: be read as text, printed as a page, kept as JSON.

What stands on a sheet is said once, in a template of `templates/sheets` (Jinja; a line that begins
with ``%`` is a statement). Its first line is the title. Then come blocks, each headed by ``== KIND
TITLE``: ``facts`` (a row is ``heading | text``, ``-`` for none), ``table`` (headings first, one
ending in ``>`` is of a column aligned to the right; a last row of one cell is a note), ``pour`` (a
table to read from afar), ``notes``, ``check`` (what to see to first), ``caution``, ``blanks``
(space to write) and ``label`` (to cut out). An indented line goes on with the one before, without a
space where it begins with a comma, semicolon or stop. Here is how the blocks look.
"""

import re
from collections.abc import Iterator
from functools import cache, partial
from html import escape
from importlib.resources import files
from itertools import zip_longest
from textwrap import wrap
from typing import TYPE_CHECKING, Any, ClassVar

from dyemix.bench.settings import ORDERS, BathSettings
from dyemix.console import WIDTH
from dyemix.dataset import units
from dyemix.dataset.recipe import SPOON_SETS, format_amount
from dyemix.dataset.result import Value, marks
from dyemix.dataset.serialise import to_json
from dyemix.errors import data

if TYPE_CHECKING:
    from jinja2 import Environment

#: A number and its unit, which stay on one line of a page.
_AMOUNT = re.compile(r"([\d½¼¾]) (?=(?:%|mL|L|g|kg|g/L|h|tsp|tbsp|°C|days)(?:\W|$))")


class Block(Value):
    """What stands under one heading: rows of cells, and the `kind` that says how they look."""

    kind: str
    title: str
    rows: tuple[tuple[str, ...], ...]


def _columns(rows: tuple[tuple[str, ...], ...]) -> Iterator[str]:
    """Lines of a table whose headings come first; what they and a last row mean is told above."""
    sides = [">" if head.endswith(">") else "<" for head in rows[0]]
    body = [tuple(cell.removesuffix(">") for cell in rows[0]), *rows[1:]]
    note = body.pop()[0] if len(rows[-1]) < len(rows[0]) else ""
    widths = [max(map(len, column)) for column in zip(*body, strict=True)]
    while sum(widths) + 2 * (len(widths) - 1) > WIDTH:
        widths[widths.index(max(widths))] -= 1  # the widest column wraps first
    line = "  ".join(f"{{:{side}{width}}}" for side, width in zip(sides, widths, strict=True))
    for row in body:
        cells = [wrap(cell, width) or [""] for cell, width in zip(row, widths, strict=True)]
        for parts in zip_longest(*cells, fillvalue=""):
            yield line.format(*parts).rstrip()
    yield from _wrapped(note)


def _wrapped(text: str, first: str = "", rest: str = "") -> list[str]:
    """Lines of a text, `first` before the first of them and `rest` before the others."""
    kept = text.replace("[ ]", "[\N{NO-BREAK SPACE}]")  # a box to tick is on one line
    lines = wrap(kept, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)
    return [line.replace("[\N{NO-BREAK SPACE}]", "[ ]") for line in lines]


class Sheet(Value):
    """Something to read or print. `demo`: it is of invented dyes, which comes before all else."""

    #: The template that says what stands on it.
    template: ClassVar[str]
    demo = False  # no field: a sheet of dyes has one of its own

    def read(self) -> tuple[str, tuple[Block, ...]]:
        """Its title, and what stands on it in order."""
        own = getattr(self, "settings", None)
        return written(self.template, own or BathSettings(), sheet=self)

    def __str__(self) -> str:
        return self._laid_out("page.text").removesuffix("\n")

    def _repr_html_(self) -> str:
        return f"<pre>{escape(str(self))}</pre>"

    def to_html(self) -> str:
        """A self-contained page that prints on A4 and Letter."""
        return self._laid_out("page.html")

    def _laid_out(self, layout: str) -> str:
        title, blocks = self.read()
        page, banner = _templates().get_template(layout), "".join(marks(self))
        return page.render(title=title, banner=banner, blocks=blocks, kind=self.template)

    def to_json(self) -> str:
        """Every figure, after the line that must not be overlooked; `from_json` reads them."""
        return to_json(self)


def written(name: str, settings: BathSettings, **values: Any) -> tuple[str, tuple[Block, ...]]:
    """The title and the blocks that the template ``NAME.txt`` makes of these values."""
    text = _templates().get_template(f"{name}.txt").render(
        settings=settings,
        weight=partial(units.weight_text, units=settings.units),
        weigh=partial(units.weight_text, units=settings.units, step=settings.scale_step),
        ml=partial(units.volume_text, units=settings.units),
        degrees=partial(units.temperature_text, units=settings.units),
        money=partial(_cost_text, currency=settings.currency),
        **values,
    )  # fmt: skip
    title, *parts = text.split(_BLOCK)
    blocks = []
    for part in parts:
        head, *lines = part.replace(f"\n{_MORE}", _MORE).split("\n")
        kind, _, heading = head.partition(" ")
        rows = (tuple(map(_joined, line.split(_CELL))) for line in lines if line.strip())
        blocks.append(Block(kind, heading, tuple(rows)))
    return title.strip(), tuple(blocks)


#: What the marks of a template become, so that no word of a dyer's can pass for one.
_BLOCK, _CELL, _MORE = "\x01", "\x02", "\x03"
_MARKS = ((r"^== ?", _BLOCK), (r"^ +", _MORE), (rf"(?:(?<={_MORE})| +)\|(?=\s|$)", _CELL))
_CONTROL = re.compile("[\x00-\x1f\x7f]")


def _whole(text: str) -> str:
    """A text whose amounts stay in one line with their units."""
    return _AMOUNT.sub("\\1\N{NO-BREAK SPACE}", text)


def _joined(text: str) -> str:
    """The lines of a cell as one."""
    text = re.sub(rf"\s*{_MORE}\s*(?=[,;.])", "", text)
    text = re.sub(rf"\s*{_MORE}\s*", " ", text).strip()
    return "" if text == "-" else text


def _cost_text(amount: float, currency: str) -> str:
    """Money with two figures after the point, or more where it would read as nothing."""
    figures = f"{amount:.2f}" if amount >= 0.1 else f"{amount:.2g}"
    return f"{figures} {currency}".rstrip()


def _source(name: str) -> str:
    path = name if "/" in name else f"sheets/{name}"
    text = files("dyemix").joinpath("templates", path).read_text(encoding="utf-8")
    if name.endswith(".txt"):
        for mark, becomes in _MARKS:
            text = re.sub(mark, becomes, text, flags=re.MULTILINE)
    return text


@cache
def _templates() -> "Environment":
    from jinja2 import Environment, FunctionLoader, StrictUndefined, select_autoescape  # slow

    environment = Environment(
        loader=FunctionLoader(_source), autoescape=select_autoescape(["html"]),
        undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
        keep_trailing_newline=True, line_statement_prefix="%",
        finalize=lambda value: _CONTROL.sub(" ", str(value)),
    )  # fmt: skip
    environment.filters |= {
        "whole": _whole, "wrapped": _wrapped, "columns": _columns, "owf": format_amount,
        "one": "{:.1f}".format,
    }  # fmt: skip
    environment.globals |= {
        "caution": data("cautions"), "orders": ORDERS, "spoon_sets": SPOON_SETS,
        "for_weak": units.FOR_WEAK, "n": "{:g}".format, "figures": "{:.3g}".format,
        "width": WIDTH,
    }  # fmt: skip
    return environment


@cache
def pages() -> "Environment":
    """Templates of whole pages, by their path in `templates/`: escaped, nothing left undefined."""
    return _templates().overlay(
        finalize=None, line_statement_prefix=None, keep_trailing_newline=False
    )


def usual() -> tuple[str, ...]:
    """Those of any work with dye, for a page that is no sheet of one bath."""
    return tuple(text for name, text in data("cautions").items() if name != "drain_much")
