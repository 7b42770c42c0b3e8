"""What every sheet can do: be read as text, printed as a page, kept as JSON.

A sheet says *what* stands on it, once, as blocks; this module says how it looks.
"""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import cache, partial
from itertools import zip_longest
from textwrap import wrap
from typing import TYPE_CHECKING, Any, ClassVar, Self

from dyemix.bench.settings import ORDERS, BathSettings
from dyemix.dataset.recipe import format_amount
from dyemix.dataset.serialise import from_json, to_json
from dyemix.dataset.swatches import DEMO_WARNING
from dyemix.dataset.units import temperature_text, volume_text, weight_text

if TYPE_CHECKING:
    from jinja2 import Environment

#: Columns of plain text, and of the headings of its facts.
_WIDTH, _HEAD = 100, 10
#: A number and its unit, which stay on one line of a page.
_AMOUNT = re.compile(r"([\d½¼¾]) (?=(?:%|mL|L|g|h|tsp|tbsp|°C|days)(?:\W|$))")


class Block(ABC):
    """A part of a sheet; `kind` is the name by which the page's template knows it."""

    kind: ClassVar[str]

    @abstractmethod
    def lines(self) -> list[str]:
        """Plain text, at most 100 columns."""


@dataclass(frozen=True)
class Facts(Block):
    """Rows of a short heading and what it says."""

    rows: tuple[tuple[str, str], ...]
    kind: ClassVar[str] = "facts"

    def lines(self) -> list[str]:
        return [
            line
            for heading, text in self.rows
            for line in _wrapped(text, f"{heading:<{_HEAD}}", _HEAD) or [heading]
        ]


@dataclass(frozen=True)
class Table(Block):
    """Columns with headings; `right` are the columns aligned to the right. `note` stands below."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: tuple[int, ...] = ()
    title: str = ""
    note: str = ""
    kind: ClassVar[str] = "table"

    def lines(self) -> list[str]:
        rows = (self.heads, *self.rows)
        widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
        while sum(widths) + 2 * (len(widths) - 1) > _WIDTH:
            widths[widths.index(max(widths))] -= 1  # the widest column wraps first
        lines = [self.title] if self.title else []
        for row in rows:
            cells = [wrap(cell, width) or [""] for cell, width in zip(row, widths, strict=True)]
            for parts in zip_longest(*cells, fillvalue=""):
                padded = [
                    part.rjust(width) if i in self.right else part.ljust(width)
                    for i, (part, width) in enumerate(zip(parts, widths, strict=True))
                ]
                lines.append("  ".join(padded).rstrip())
        return lines + wrap(self.note, _WIDTH)


@dataclass(frozen=True)
class Notes(Block):
    """Sentences, each on its own; `mark` stands before each."""

    title: str
    notes: tuple[str, ...]
    mark: str = "-"
    kind: ClassVar[str] = "notes"

    def lines(self) -> list[str]:
        marked = (_wrapped(text, f"{self.mark} ", 2) for text in self.notes)
        return [self.title, *(line for lines in marked for line in lines)]


@dataclass(frozen=True)
class Blanks(Block):
    """Space to write two lines under each heading, and a box for the dry swatch of `swatch`."""

    headings: tuple[str, ...]
    swatch: str
    kind: ClassVar[str] = "blanks"

    def lines(self) -> list[str]:
        line = _WIDTH - 20
        blank = [
            x for heading in self.headings for x in (f"{heading} ".ljust(line, "_"), "_" * line)
        ]
        edge, inside = f"+{'-' * 38}+", [*wrap(self.swatch, 36), "", "", "", ""]
        return [*blank, edge, *(f"| {text:<36} |" for text in inside), edge]


@dataclass(frozen=True)
class Label(Block):
    """A label to cut out, its first line large."""

    texts: tuple[str, ...]
    title: str = "Label to cut out"
    kind: ClassVar[str] = "label"

    def lines(self) -> list[str]:
        width = min(_WIDTH - 4, max(map(len, self.texts)))
        inside = [part for text in self.texts for part in wrap(text, width)]
        edge = "- " * ((width + 4) // 2) + "-"
        return [self.title, edge, *(f"¦ {line:<{width}} ¦" for line in inside), edge]


def check_first(warnings: tuple[str, ...]) -> tuple[Block, ...]:
    """What to see to before all else, where there is anything."""
    return (Notes("Check first", warnings, "!"),) if warnings else ()


class Sheet(ABC):
    """Something to read or print. `demo`: it is of invented dyes, which comes before all else."""

    demo: bool = False

    @property
    @abstractmethod
    def title(self) -> str:
        """What it is, in a line."""

    @abstractmethod
    def blocks(self) -> tuple[Block, ...]:
        """What stands on it, in order."""

    @property
    def banner(self) -> str:
        """The line that must not be overlooked."""
        return DEMO_WARNING if self.demo else ""

    def __str__(self) -> str:
        lines = [self.banner] if self.demo else []
        lines += wrap(self.title, _WIDTH)
        for block in self.blocks():
            lines += ["", *block.lines()]
        return "\n".join(lines)

    def to_html(self) -> str:
        """A self-contained page that prints on A4 and Letter."""
        return _templates().get_template("page.html").render(page=self)

    def to_json(self) -> str:
        """Every figure of the sheet, after the line that must not be overlooked."""
        return to_json(self, self.banner)

    @classmethod
    def from_json(cls, text: str) -> Self:
        """The sheet that `to_json` wrote. Raises `SavedError` for anything else."""
        return from_json(cls, text)


def cost_text(amount: float, settings: BathSettings) -> str:
    """Money with two figures after the point, or more where it would read as nothing."""
    figures = f"{amount:.2f}" if amount >= 0.1 else f"{amount:.2g}"
    return f"{figures} {settings.currency}".rstrip()


def facts(name: str, settings: BathSettings, **values: Any) -> tuple[Facts, ...]:
    """The blocks of facts that the template ``NAME.txt`` makes of these values.

    A line of it is ``heading | text``; an indented line goes on, after a comma or semicolon of its
    own without a space; ``--`` ends a block.
    """
    amounts = {
        "g": partial(weight_text, units=settings.units),
        "ml": partial(volume_text, units=settings.units),
        "degrees": partial(temperature_text, units=settings.units),
        "money": partial(cost_text, settings=settings),
        "owf": format_amount,
        "n": "{:g}".format,
    }
    template = _templates().get_template(f"{name}.txt")
    text = template.render(settings=settings, orders=ORDERS, **amounts, **values)
    blocks: list[list[tuple[str, str]]] = [[]]
    for line in text.split("\n"):
        words = line.strip()
        if words == "--":
            blocks.append([])
        elif not words:
            continue
        elif line[0] == " " and words[0] != "|":
            heading, so_far = blocks[-1].pop()
            blocks[-1].append((heading, so_far + " " * (words[0] not in ",;") + words))
        else:
            heading, _, words = line.partition("|")
            blocks[-1].append((heading.strip(), words.strip()))
    return tuple(Facts(tuple(rows)) for rows in blocks)


@cache
def _templates() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape  # slow

    environment = Environment(
        loader=PackageLoader("dyemix", "templates/bench"),
        autoescape=select_autoescape(["html"]),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        line_statement_prefix="%",
        finalize=lambda value: value.replace("\n", " ") if isinstance(value, str) else value,
    )
    environment.filters["whole"] = lambda text: _AMOUNT.sub("\\1\N{NO-BREAK SPACE}", text)
    return environment


def _wrapped(text: str, first: str, indent: int) -> list[str]:
    """Lines of a text that begins after `first`, the others indented."""
    return wrap(
        text, _WIDTH, initial_indent=first, subsequent_indent=" " * indent, break_on_hyphens=False
    )
