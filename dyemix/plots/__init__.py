"""Results to pictures; computes nothing."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dyemix.errors import DyemixError
from dyemix.gamut.reach import ShelfReach
from dyemix.matching.correct import Correction
from dyemix.matching.matches import Matches
from dyemix.model.dyes import DyeSet
from dyemix.model.fit_report import FitReport
from dyemix.plots.card import card_pages
from dyemix.plots.fit import fit_pages
from dyemix.plots.match import match_pages
from dyemix.plots.paper import FORMATS, file_bytes, styled
from dyemix.plots.promises import mixes_pages, trial_pages
from dyemix.plots.reach import reach_pages
from dyemix.plots.series import series_pages
from dyemix.series.shade_card import ShadeCard
from dyemix.series.steps import Series
from dyemix.writing import destination, write

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_PICTURES: dict[type, Callable[..., list[Figure]]] = {
    DyeSet: fit_pages,
    Matches: match_pages,
    Series: series_pages,
    ShadeCard: card_pages,
    ShelfReach: reach_pages,
    Correction: trial_pages,
    FitReport: mixes_pages,
}


def plot(
    result: Any,
    path: str | os.PathLike[str] | None = None,
    *,
    force: bool = False,
    inputs: Iterable[str | os.PathLike[str] | None] = (),
    **options: Any,
) -> Figure:
    """Draw a result: fitted dyes, a match, a series, a shade card, reach, a correction, own mixes.

    Parameters
    ----------
    result : what `fit`, `match`, `subdue` and its kin, `shade_card`, `reach` or `correct` gave; or
        the report of fitted dyes, for what was promised of own mixes and what came.
    path : where given, the picture is written there, as PNG, SVG or PDF by its ending. What takes
        several pages is a PDF; of a shade card PNG and SVG hold the page of all blends.
    force, inputs : as in `dyemix.writing.write`.
    options : of fitted dyes, `swatches`: the table that was fitted, to stand beside it.

    Returns
    -------
    Figure
        The first page, 8.27 inches wide. Letters are 9 points or more; no global setting of
        matplotlib is changed.

    Raises
    ------
    DyemixError
        A result that has no picture, an ending that is none of these, or several pages for a file
        that holds one. `InputError` for a file that cannot be written.
    """
    make = next((make for kind, make in _PICTURES.items() if isinstance(result, kind)), None)
    if make is None:
        raise DyemixError(f"there is no picture of a {type(result).__name__}.")
    suffix = Path(path).suffix.lower() if path is not None else ""
    if path is not None:
        if suffix not in FORMATS:
            ending = f"ends in {suffix!r}" if suffix else "has no ending"
            raise DyemixError(f"{Path(path).name} {ending}: name the picture .png, .svg or .pdf.")
        destination(path, force=force, inputs=inputs)  # refused before any time is spent
    with styled():
        pages = make(result, **options)
        if path is not None:
            if suffix != ".pdf" and isinstance(result, ShadeCard):
                pages = pages[:1]
            if suffix != ".pdf" and len(pages) > 1:
                raise DyemixError(f"{Path(path).name}: {len(pages)} pages: name it .pdf.")
            write(path, file_bytes(pages, suffix), force=force, inputs=inputs)
    return pages[0]
