"""Whether a page can be read: by measure, as it is drawn, with and without colour.

Contrast is that of WCAG 2.2 (W3C): 4.5 to 1 for text.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np

from dyemix.plots.paper import GROUND

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from matplotlib.text import Text
    from matplotlib.transforms import Bbox


def texts(figure: Figure) -> list[Text]:
    """What is written, in order, legends and the labels of ticks within the limits included."""
    from matplotlib.text import Text

    drawn = []
    for axes in figure.axes:
        scales = {axes.xaxis: axes.get_xlim(), axes.yaxis: axes.get_ylim()}
        ticks = {id(t) for t in [*axes.get_xticklabels(), *axes.get_yticklabels()] if axes.axison}
        shown = {
            id(tick.label1)
            for axis, (low, high) in scales.items()
            for tick in (axis.get_major_ticks() if axes.axison else ())
            if low <= tick.get_loc() <= high
        }
        parts = [part for part in axes.get_children() if axes.axison or part not in scales]
        written = [text for part in parts for text in part.findobj(Text)]
        found = [t for t in written if t.get_visible() and t.get_text().strip()]
        drawn += [t for t in found if id(t) not in ticks or id(t) in shown]
    return drawn


def words(figure: Figure) -> str:
    """All text as one line, wrapped lines joined."""
    return " ".join(t.get_text() for t in texts(figure)).replace("\xa0", " ")


def luminance(colour: str) -> float:
    from matplotlib.colors import to_rgb

    s = np.array(to_rgb(colour))
    linear = np.where(s <= 0.04045, s / 12.92, ((s + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, other: str) -> float:
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def _apart(a: Bbox, b: Bbox, slack: float = 0.5) -> bool:
    return bool(
        a.x1 <= b.x0 + slack or b.x1 <= a.x0 + slack or a.y1 <= b.y0 + slack or b.y1 <= a.y0 + slack
    )


def assert_legible(figure: Figure) -> None:
    """Letters are 9 points, in contrast to what they lie on; none leaves the page, lies on another
    or on a patch; and the page fits A4 (8.27 × 11.69 in) and Letter (8.5 × 11 in)."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.colors import to_hex
    from matplotlib.patches import Rectangle

    canvas = FigureCanvasAgg(figure)
    figure.draw_without_rendering()  # all is put in its place; no pixel is asked for
    renderer = canvas.get_renderer()
    boxes = [(t, t.get_window_extent(renderer)) for t in texts(figure)]
    assert len(boxes) > 5
    page, layer = figure.bbox, figure.axes[0]
    width, height = figure.get_size_inches()
    assert width <= 8.27
    assert height <= 11.0
    grounds, patches = [], []
    for p in (p for axes in figure.axes for p in axes.patches):
        if isinstance(p, Rectangle) and p.get_facecolor()[3] > 0:
            is_ground = to_hex(p.get_facecolor()) == GROUND
            (grounds if is_ground else patches).append(p.get_window_extent(renderer))
    shown = []
    for image in (image for image in layer.images if image.get_zorder() < 2):  # edges lie over
        x0, x1, y1, y0 = image.get_extent()
        cells = image.get_array()
        rows, columns = cells.shape[:2]
        for r, c in np.argwhere(cells[..., 3] > 0):
            corners = [
                (x0 + (x1 - x0) * (c + i) / columns, y0 + (y1 - y0) * (r + i) / rows)
                for i in (0, 1)
            ]
            shown.append(np.sort(layer.transData.transform(corners), axis=0).ravel())
    cells = np.array(shown).reshape(-1, 4)
    for (one, a), (other, b) in itertools.combinations(boxes, 2):
        assert _apart(a, b), f"{one.get_text()!r} and {other.get_text()!r} overlap"
    for text, box in boxes:
        said = repr(text.get_text())
        inside = box.x0 >= 0 and box.x1 <= page.x1 and box.y0 >= 0 and box.y1 <= page.y1
        assert inside, f"{said} leaves the page"
        assert text.get_fontsize() >= 9
        assert all(_apart(box, patch) for patch in patches), f"{said} stands on a patch"
        on = (
            (box.x0 < cells[:, 2] - 1) & (box.x1 > cells[:, 0] + 1)
            & (box.y0 < cells[:, 3] - 1) & (box.y1 > cells[:, 1] + 1)
        )  # fmt: skip
        assert not on.any(), f"{said} stands on a patch"
        on_grey = any(not _apart(box, ground) for ground in grounds)
        assert contrast(str(text.get_color()), GROUND if on_grey else "white") >= 4.5, said
