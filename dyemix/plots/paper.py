"""Paper to draw on: text wrapped by measure, blocks of patches, and marks.

Everything lies in inches from the top left of a page that fits A4 and Letter, and the page ends
where the drawing does. Patches of one block touch and are one image, so that no seam shows;
they lie on neutral grey, and marks are black, white and grey.
"""

import re
from bisect import bisect_right
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache, partial
from typing import TYPE_CHECKING, Any, TypeAlias, TypeVar

import numpy as np
from numpy.typing import ArrayLike

from dyemix.arrays import Array
from dyemix.colour.appearance import adapted
from dyemix.colour.colorimetry import D65_2, Light, lab, screen_colours
from dyemix.dataset.result import DEMO_WARNING
from dyemix.dataset.target import Target
from dyemix.errors import said
from dyemix.model.prediction import Prediction
from dyemix.writing import figure_bytes

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Row = TypeVar("Row")
#: The pages of a picture.
Pages: TypeAlias = "list[Figure]"
#: Inches: A4 is the narrower paper, Letter the lower one.
WIDTH, HEIGHT, MARGIN = 8.27, 11.0, 0.5
#: Room above the foot of a page and below it.
_ABOVE, _BELOW = 0.04, 0.3
BODY = WIDTH - 2 * MARGIN

#: Sizes of letters by what they are for, in points; all but "text" are bold.
SIZES = {"title": 14.0, "section": 11.0, "strong": 10.0, "bold": 9.0, "text": 9.0}
_WEIGHTS = {"text": "normal"}
#: From line to line, in times the size of letters; and of common text in inches.
_LEADING = 1.4 / 72.0
LINE = 9.0 * _LEADING
#: Left, top, width and height.
Area: TypeAlias = tuple[float, float, float, float]
INK, SUBTLE, RULE, BAR, LIGHT_BAR = "#1a1a1a", "#555555", "#b8b8b8", "#707070", "#d8d8d8"
#: L* 55 (D65/2°), which black letters can be read on: 4.5 to 1.
GROUND = "#848484"


@lru_cache(maxsize=4096)
def wide(text: str, font: str = "text") -> float:
    """Width of a line of text in inches."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    shape = FontProperties(
        family="DejaVu Sans", size=SIZES[font], weight=_WEIGHTS.get(font, "bold")
    )
    # A screen rounds the advance of each letter to whole pixels: 3 % is the room for that.
    return float(text_to_path.get_text_width_height_descent(text, shape, False)[0]) / 72.0 * 1.03


#: Where a line may end, best first: not before an amount or a plus, between words, anywhere.
_BREAKS = tuple(map(re.compile, (r"(?<=\S) (?![\d+])", r"(?<=\S) ", "(?<=.)")))


def wrapped(text: str, width: float, font: str = "text") -> list[str]:
    """Lines of at most `width` inches; a dye stands before its amount."""
    lines = []
    for rest in text.split("\n"):
        while len(rest) > 1 and wide(rest, font) > width:
            end = _first_line(rest, width, font)
            lines.append(rest[:end])
            rest = rest[end:].lstrip()
        lines.append(rest)
    return lines


def _first_line(text: str, width: float, font: str) -> int:
    """Where the first of the lines of a text ends."""
    for place in _BREAKS:
        ends = [found.start() for found in place.finditer(text)]
        if fit := bisect_right(ends, width, key=lambda end: wide(text[:end], font)):
            return ends[fit - 1]
    return 1


def pot_codes(prediction: Prediction, target: Array, count: int) -> list[str]:
    """Hex codes of pots of a recipe, each as likely as the next, nearest to a target first."""
    return on_screen(prediction, prediction.pots(target, count))


def on_screen(prediction: Prediction, labs: Array, lamp: Light | None = None) -> list[str]:
    """Hex codes of CIELAB ``(N, 3)`` about a prediction, in its light.

    Under another `lamp` they are seen by an eye used to it.
    """
    spectrum = prediction.reflectance
    seen = lab(spectrum, D65_2) if lamp is None else adapted(spectrum, D65_2, lamp)
    return [c.hex for c in screen_colours(labs - lab(spectrum, prediction.light) + seen)]


def target_code(target: Target, lamp: Light | None = None) -> str:
    """Hex code of a wanted colour; of a spectrum under a `lamp`, as an eye used to it sees it."""
    if lamp is None or target.reflectance is None:
        return target.hex
    return screen_colours(adapted(target.reflectance, D65_2, lamp))[0].hex


def new_figure(
    inside: tuple[float, float, float, float], height: float = HEIGHT
) -> "tuple[Figure, Axes]":
    """A figure that no global state knows, and axes in it that show themselves in a notebook."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH, height), facecolor="white")
    axes = figure.add_axes(inside)
    setattr(axes, "_repr_png_", partial(figure_bytes, [figure], ".png"))  # noqa: B010
    return figure, axes


class Paper:
    """A figure with one layer, filled from the top; `y` is where the next thing may begin.

    It begins with the title and how it is read, and ends with its foot, both as
    `data/pictures.toml` has them of the `picture`; `values` fill them in.
    """

    def __init__(
        self, picture: str, title: str, notes: Sequence[str] = (), *, demo: bool, **values: object
    ) -> None:
        self.figure, self.layer = new_figure((0, 0, 1, 1))
        self.layer.set(autoscale_on=False)  # its limits are those of the page
        self.layer.axis("off")
        how = said(f"pictures.{picture}.how", screen=D65_2, **values)
        self.foot = said(f"pictures.{picture}.foot", screen=D65_2, **values)
        self.y = 0.35
        if demo:
            self.down(DEMO_WARNING, color=SUBTLE)
        self.down(title, "title")
        for text in filter(None, [how, *notes]):
            self.down(text)
        self.y += 0.12

    def write(
        self, x: float, y: float, text: str, width: float = np.inf, font: str = "text", **look: Any
    ) -> float:
        """Write text whose top left (or by `ha` right, or center) is at x, y; where it ends."""
        look = {"color": INK, "size": SIZES[font], "weight": _WEIGHTS.get(font, "bold"), **look}
        step = _LEADING * SIZES[font]
        for line in wrapped(text, width, font):
            self.layer.text(x, y + 0.75 * step, line, **look)
            y += step
        return y

    def down(self, text: str, font: str = "text", **look: Any) -> None:
        """Write text across the page, and go on below it."""
        self.y = self.write(MARGIN, self.y, text, BODY, font, **look)

    def table(self, xs: Sequence[float], rows: Iterable[Sequence[str]]) -> None:
        """Write rows of cells that begin at `xs`, the first of each wrapped in its column."""
        for first, *cells in rows:
            end = self.write(xs[0], self.y, first, xs[1] - xs[0] - 0.1)
            for x, cell in zip(xs[1:], cells, strict=True):
                self.write(x, self.y, cell)
            self.y = end

    def box(self, area: Area, fill: str = GROUND, **look: Any) -> None:
        """A rectangle, of the grey that patches lie on unless told otherwise."""
        from matplotlib.patches import Rectangle

        look = {"edgecolor": "none", "linewidth": 0.5, "zorder": 0, **look}
        self.layer.add_artist(Rectangle(area[:2], *area[2:], facecolor=fill, **look))

    def frame(self, area: Area, **look: Any) -> None:
        """A thin line round a rectangle."""
        self.box(area, "none", edgecolor=RULE, zorder=2, **look)

    def patches(self, area: Area, rows: Sequence[Sequence[str]]) -> None:
        """Patches that touch, hex codes row by row; ``""`` is left out; a thin line round all."""
        from matplotlib.colors import to_rgba

        colours = [[to_rgba(code or (0, 0, 0, 0)) for code in row] for row in rows]
        self.image(area, np.array(colours))
        if all(code for row in rows for code in row):
            self.frame(area)

    def image(self, area: Area, pixels: Array, **look: Any) -> None:
        """Pixels ``(R, C, 4)`` with hard edges, unless told otherwise."""
        (x, y, width, height), look = area, {"interpolation": "nearest", "zorder": 1, **look}
        self.layer.imshow(pixels, extent=(x, x + width, y + height, y), aspect="auto", **look)

    def line(self, xs: ArrayLike, ys: ArrayLike, **look: Any) -> None:
        """A line."""
        self.layer.plot(xs, ys, **{"color": INK, "linewidth": 0.8, "zorder": 2, **look})

    def mark(self, x: float, y: float, marker: str, size: float, **look: Any) -> None:
        """A mark, black unless told otherwise."""
        look = {"color": "black", "markersize": size, "zorder": 3, **look}
        self.layer.plot([x], [y], marker, **look)

    def scale(self, x: float, long: float, end: float, parts: int = 3) -> None:
        """A column of the page in which figures from 0 to `end` run across, some of them above.

        What is drawn in `column` stands at such a figure, and at inches down the page.
        """
        for i in range(parts + 1):
            self.write(x + long * i / parts, self.y, f"{end * i / parts:g}", ha="center")
        self.column = self.figure.add_axes((x / WIDTH, 0, long / WIDTH, 1), sharey=self.layer)
        self.column.set(xlim=(0, end))
        self.column.axis("off")

    @property
    def left(self) -> float:
        """How much of the page is left above its foot, inches."""
        foot = _ABOVE + LINE * len(wrapped(self.foot, BODY)) if self.foot else 0.0
        return HEIGHT - _BELOW - foot - self.y

    def end(self) -> "Figure":
        """The finished figure, its foot written, as high as it is filled."""
        if self.foot:
            self.y += _ABOVE
            self.down(self.foot, color=SUBTLE)
        height = self.y + _BELOW
        self.figure.set_size_inches(WIDTH, height)
        self.layer.set(xlim=(0, WIDTH), ylim=(height, 0))
        return self.figure


def paged(
    rows: Sequence[Row], begin: Callable[[], Paper], draw: Callable[[Paper, Row], None]
) -> Pages:
    """Pages of as many rows as fit, one page at least."""
    paper = begin()
    for i, row in enumerate(rows):
        draw(paper, row)
        if i and paper.left < 0.0:  # what cannot be taken back is drawn anew
            return [*paged(rows[:i], begin, draw), *paged(rows[i:], begin, draw)]
    return [paper.end()]
