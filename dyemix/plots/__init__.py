"""Results to pictures; computes nothing."""

from __future__ import annotations

import os
from collections.abc import Iterable
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dyemix.errors import DyemixError
from dyemix.plots.panels import panel
from dyemix.plots.paper import FORMATS, Pages, file_bytes, styled
from dyemix.writing import destination, write

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: The module that draws a type of result, by its function `pages`.
_PICTURES = {
    "DyeSet": "fit",
    "Evaluation": "mixes",
    "FitReport": "mixes",
    "Matches": "match",
    "Series": "series",
    "ShadeCard": "card",
    "ShelfReach": "reach",
    "Correction": "trial",
    "Levelness": "cloth",
    "PieceComparison": "cloth",
    "Previews": "cloth",
}


def plot(
    result: Any,
    path: str | os.PathLike[str] | None = None,
    *,
    ax: Axes | None = None,
    force: bool = False,
    inputs: Iterable[str | os.PathLike[str] | None] = (),
    **options: Any,
) -> Axes:
    """Draw a result as a page to print; or as one panel, into axes of your own.

    Fitted dyes, an evaluation, a match, a series, a shade card, reach and a correction have a page.
    A panel of an evaluation shows what was promised and what came; of readings and predictions,
    their spectra; of any other result, its colours.

    Parameters
    ----------
    result : what `fit`, `match`, `subdue` and its kin, `shade_card`, `reach` or `correct` gave; or
        the report of fitted dyes, for what was promised of own mixes and what came.
    path : where given, the page is written there, as PNG, SVG or PDF by its ending. What takes
        several pages is a PDF; of a shade card PNG and SVG hold the page of all blends.
    ax : where given, the panel is drawn there, in its figure's own style.
    force, inputs : as in `dyemix.writing.write`.
    options : of fitted dyes, `swatches`: the table that was fitted, to stand beside it.

    Returns
    -------
    Axes
        Those given, or of the first page, which shows itself in a notebook: 8.27 inches wide, with
        letters of 9 points or more. No global setting of matplotlib is changed.

    Raises
    ------
    DyemixError
        A result that has no picture, an ending that is none of these, or several pages for a file
        that holds one. `InputError` for a file that cannot be written.

    >>> axes = plot(match(dyes, "#7d8a6e", max_dyes=2, count=2), "match.png")
    >>> float(axes.get_xlim()[1])
    8.27
    """
    kind = type(result).__name__
    if ax is not None:
        return panel(result, ax)
    suffix = Path(path).suffix.lower() if path is not None else ""
    if path is not None:
        if suffix not in FORMATS:
            ending = f"ends in {suffix!r}" if suffix else "has no ending"
            raise DyemixError(f"{Path(path).name} {ending}: name the picture .png, .svg or .pdf.")
        destination(path, force=force, inputs=inputs)  # refused before any time is spent
    pages = _pages(result, options)
    if path is not None:
        if suffix != ".pdf" and kind == "ShadeCard":
            pages = pages[:1]
        if suffix != ".pdf" and len(pages) > 1:
            raise DyemixError(f"{Path(path).name}: {len(pages)} pages: name it .pdf.")
        write(path, file_bytes(pages, suffix), force=force, inputs=inputs)
    axes: Axes = pages[0].axes[0]
    return axes


def drawn(result: Any, **options: Any) -> list[bytes]:
    """The pages of a result's picture as PNG, with the `options` of `plot`; none if it has none."""
    known = type(result).__name__ in _PICTURES
    return [file_bytes([page], ".png") for page in (_pages(result, options) if known else ())]


def _pages(result: Any, options: dict[str, Any]) -> Pages:
    picture = _PICTURES.get(type(result).__name__, "panels")
    with styled():
        found: Pages = import_module(f"dyemix.plots.{picture}").pages(result, **options)
        return found
