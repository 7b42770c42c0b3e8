"""One page for the bench: blocks of text that become plain text or a page to print.

A sheet says *what* is on the page, once; this module says how it looks. Nothing is computed here.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from itertools import zip_longest
from textwrap import wrap
from typing import Any

_WIDTH = 100
_HEAD = 10
_AMOUNT = re.compile(r"([\d½¼¾]) (?=(?:%|mL|L|g|h|tsp|tbsp|°C|days)(?:\W|$))")


@dataclass(frozen=True)
class Facts:
    """Rows of a short heading and what it says."""

    rows: tuple[tuple[str, str], ...]
    title: str = ""
    kind: str = "facts"


@dataclass(frozen=True)
class Table:
    """Columns with headings; `right` are the columns aligned to the right. `note` stands below."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: tuple[int, ...] = ()
    title: str = ""
    note: str = ""
    kind: str = "table"


@dataclass(frozen=True)
class Notes:
    """Sentences, each on its own; `mark` stands before each."""

    title: str
    lines: tuple[str, ...]
    mark: str = "-"
    kind: str = "notes"


@dataclass(frozen=True)
class Blanks:
    """Space to write: each heading with `lines` empty lines, or a box for a swatch."""

    rows: tuple[tuple[str, int], ...]
    swatch: str = ""
    kind: str = "blanks"


@dataclass(frozen=True)
class Label:
    """A label to cut out, its first line large."""

    lines: tuple[str, ...]
    title: str = "Label to cut out"
    kind: str = "label"


Block = Facts | Table | Notes | Blanks | Label


@dataclass(frozen=True)
class Page:
    """Title, an opening line that must not be overlooked (a demo), and the blocks in order."""

    title: str
    blocks: tuple[Block, ...]
    banner: str = ""

    def text(self) -> str:
        """Plain text, at most 100 columns."""
        lines = [self.banner] if self.banner else []
        lines += wrap(self.title, _WIDTH)
        for block in self.blocks:
            lines += ["", *_TEXT[block.kind](block)]
        return "\n".join(lines)

    def html(self) -> str:
        """A self-contained page that prints on A4 and Letter."""
        from jinja2 import Environment, PackageLoader, StrictUndefined  # takes time to import

        environment = Environment(
            loader=PackageLoader("dyemix"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        environment.filters["whole"] = _whole
        return environment.get_template("bench_page.html").render(page=self)


def _whole(text: str) -> str:
    """A number and its unit kept on one line."""
    return _AMOUNT.sub("\\1\N{NO-BREAK SPACE}", text)


def _row(heading: str, text: str) -> list[str]:
    return wrap(
        text,
        _WIDTH,
        initial_indent=f"{heading:<{_HEAD}}",
        subsequent_indent=" " * _HEAD,
        break_on_hyphens=False,
    ) or [heading]


def _facts(block: Facts) -> list[str]:
    title = [block.title] if block.title else []
    return title + [line for heading, text in block.rows for line in _row(heading, text)]


def _table(block: Table) -> list[str]:
    rows = (block.heads, *block.rows)
    widths = [max(len(row[i]) for row in rows) for i in range(len(block.heads))]
    while sum(widths) + 2 * (len(widths) - 1) > _WIDTH:
        widths[widths.index(max(widths))] -= 1  # the widest column wraps first
    lines = [block.title] if block.title else []
    for row in rows:
        cells = [wrap(cell, width) or [""] for cell, width in zip(row, widths, strict=True)]
        for parts in zip_longest(*cells, fillvalue=""):
            padded = [
                part.rjust(width) if i in block.right else part.ljust(width)
                for i, (part, width) in enumerate(zip(parts, widths, strict=True))
            ]
            lines.append("  ".join(padded).rstrip())
    return lines + (wrap(block.note, _WIDTH) if block.note else [])


def _notes(block: Notes) -> list[str]:
    lines = [block.title]
    for text in block.lines:
        lines += wrap(
            text, _WIDTH, initial_indent=f"{block.mark} ", subsequent_indent="  ",
            break_on_hyphens=False,
        )  # fmt: skip
    return lines


def _blanks(block: Blanks) -> list[str]:
    lines = []
    for heading, count in block.rows:
        lines.append(f"{heading} ".ljust(_WIDTH - 20, "_"))
        lines += ["_" * (_WIDTH - 20)] * (count - 1)
    if block.swatch:
        edge, inside = f"+{'-' * 38}+", [*wrap(block.swatch, 36), "", "", "", ""]
        lines += [edge, *(f"| {line:<36} |" for line in inside), edge]
    return lines


def _label(block: Label) -> list[str]:
    width = min(_WIDTH - 4, max(len(line) for line in block.lines))
    inside = [part for line in block.lines for part in wrap(line, width)]
    edge = "- " * ((width + 4) // 2) + "-"
    return [block.title, edge, *(f"¦ {line:<{width}} ¦" for line in inside), edge]


_TEXT: dict[str, Callable[[Any], list[str]]] = {
    "facts": _facts,
    "table": _table,
    "notes": _notes,
    "blanks": _blanks,
    "label": _label,
}
