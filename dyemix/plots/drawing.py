"""A page to draw on: text wrapped by measure, patches, diagrams, and the file it is written to.

Everything is laid out in inches from the top left of a page as wide as A4, before the page is
made, so that no words are ever set on others.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dyemix.dataset.swatches import DEMO_WARNING
from dyemix.errors import DyemixError

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# Inches, but for letters, which are in points.
WIDTH, MARGIN, TOP, GUTTER = 8.27, 0.5, 0.35, 0.38
SMALL, LARGE = 8.0, 10.0
INK, BLUE, FRAME, BAND = "#1a1a1a", "#0067a3", "#767676", "#a8a8a8"
#: No date and no machine in a file: the same figure gives the same bytes.
METADATA: dict[str, dict[str, None]] = {
    ".png": {"Software": None},
    ".svg": {"Date": None},
    ".pdf": {"CreationDate": None},
}
STYLE: dict[str, Any] = {
    "font.family": ["DejaVu Sans"],  # travels with matplotlib, and has Δ, ° and every accent
    "font.size": SMALL,
    "text.color": INK,
    "axes.edgecolor": FRAME,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.6,
    "xtick.color": INK,
    "ytick.color": INK,
    "text.parse_math": False,
    "svg.hashsalt": "dyemix",
    "pdf.fonttype": 42,
}


def styled() -> AbstractContextManager[None]:
    """Our style for the length of a drawing, whatever the reader has set for her own."""
    from matplotlib import style

    return style.context(["default", STYLE])


def text_width(text: str, size: float, weight: str) -> float:
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    font = FontProperties(family=["DejaVu Sans"], size=size, weight=weight)
    # A screen rounds the advance of each letter to whole pixels: 3 % is the room for that.
    return float(text_to_path.get_text_width_height_descent(text, font, False)[0]) / 72.0 * 1.03


def _pieces(text: str, fits: Callable[[str], bool]) -> Iterator[str]:
    """Parts that fit on a line: terms of a recipe, else words, else what goes in of a word."""
    for term in re.split(r"(?<= \+) ", text):
        for word in [term] if fits(term) else term.split():
            rest = word
            while not fits(rest) and len(rest) > 1:
                most = max((i for i in range(1, len(rest)) if fits(rest[:i])), default=1)
                yield rest[:most]
                rest = rest[most:]
            yield rest


@dataclass(frozen=True)
class Block:
    """Lines of text, wrapped to a width before the page is made, so that the page can be."""

    lines: tuple[str, ...]
    size: float = SMALL
    weight: str = "normal"

    @classmethod
    def of(cls, text: str, width: float, size: float = SMALL, weight: str = "normal") -> Block:
        lines: list[str] = []
        for paragraph in text.split("\n"):
            line = ""
            for piece in _pieces(paragraph, lambda x: text_width(x, size, weight) <= width):
                longer = f"{line} {piece}".strip()
                if line and text_width(longer, size, weight) > width:
                    lines.append(line)
                    longer = piece
                line = longer
            lines.append(line)
        return cls(tuple(lines), size, weight)

    @property
    def height(self) -> float:
        return len(self.lines) * self.size * 1.4 / 72.0


class Page:
    """A figure with a layer over the whole of it, in inches from the top left."""

    def __init__(self, height: float) -> None:
        from matplotlib.figure import Figure

        self.figure = Figure(figsize=(WIDTH, height), facecolor="white")
        self.height = height
        self.layer = self.figure.add_axes((0, 0, 1, 1))
        self.layer.set(xlim=(0, WIDTH), ylim=(height, 0))
        self.layer.axis("off")

    def write(self, block: Block, x: float, y: float) -> float:
        """Put a block of text at x, y (its top left) and return where it ends."""
        step = block.size * 1.4 / 72.0
        for i, line in enumerate(block.lines):
            baseline = y + (i + 0.75) * step
            self.layer.text(x, baseline, line, size=block.size, weight=block.weight)
        return y + block.height

    def patch(self, x: float, y: float, width: float, height: float, colour: str) -> None:
        from matplotlib.patches import Rectangle

        self.layer.add_patch(Rectangle((x, y), width, height, facecolor=colour, edgecolor="none"))

    def frame(self, xs: Sequence[float], ys: Sequence[float]) -> None:
        """A thin line, so that a pale patch has an edge on white paper."""
        self.layer.plot(xs, ys, color=FRAME, linewidth=0.5, solid_joinstyle="miter")

    def spectra(self, x: float, y: float, width: float, height: float) -> Axes:
        """An empty diagram of reflectance over wavelength."""
        from matplotlib.ticker import PercentFormatter

        ends = (x / WIDTH, 1 - (y + height) / self.height, width / WIDTH, height / self.height)
        axes = self.figure.add_axes(ends)
        axes.set(xlim=(400, 700), ylim=(0, 1), xticks=[400, 500, 600, 700], yticks=[0, 0.5, 1])
        axes.yaxis.set_major_formatter(PercentFormatter(1.0, symbol=""))
        axes.grid(color="#e4e4e4", linewidth=0.5)
        axes.spines[["top", "right"]].set_visible(False)
        axes.tick_params("y", length=2, pad=2)
        axes.tick_params("x", length=2, pad=4)
        return axes


def save(figure: Figure, path: Path | None) -> Figure:
    if path is not None:
        try:
            figure.savefig(path, dpi=200, metadata=METADATA[path.suffix.lower()])
        except OSError as error:
            raise DyemixError(f"{path.name}: the picture cannot be written ({error}).") from error
    return figure


def checked(path: str | os.PathLike[str] | None) -> Path | None:
    """The path of a picture, refused before any time is spent on drawing."""
    if path is None:
        return None
    found = Path(path)
    if found.suffix.lower() not in METADATA:
        ending = f"ends in {found.suffix!r}" if found.suffix else "has no ending"
        raise DyemixError(f"{found.name} {ending}: name the picture .png, .svg or .pdf.")
    return found


def heading(title: str, lines: Sequence[str], demo: bool) -> list[Block]:
    width = WIDTH - 2 * MARGIN
    warning = [Block.of(DEMO_WARNING, width, LARGE, "bold")] if demo else []
    small = [Block.of(line, width) for line in lines if line]
    return [*warning, Block.of(title, width, LARGE, "bold"), *small]


def height_of(blocks: Sequence[Block]) -> float:
    return sum(block.height for block in blocks)
