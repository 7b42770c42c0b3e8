"""Results to pictures; computes nothing."""

from collections.abc import Iterable
from importlib import import_module
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from dyemix.dataset.result import Result
from dyemix.errors import data, refuse
from dyemix.model.fit_report import Evaluation, FitReport
from dyemix.plots.paper import Pages, new_figure
from dyemix.plots.promises import promised
from dyemix.writing import Named, ending, figure_bytes, styled, write_all

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def plot(
    result: Any, path: Named | None = None, *, ax: "Axes | None" = None, force: bool = False,
    inputs: Iterable[Named | None] = (), **options: Any,
) -> "Axes":  # fmt: skip
    """Draw a result as a page to print; or as one panel, into axes of your own.

    Fitted dyes, an evaluation, a match, a series, a shade card, reach and a correction have a page.
    A panel of an evaluation shows what was promised and what came; of any other result, its
    colours.

    Parameters
    ----------
    result : what `fit`, `match`, `subdue` and its kin, `shade_card`, `reach` or `correct` gave; or
        the report of fitted dyes, for what was promised of own mixes and what came.
    path : where given, the page is written there, as PNG, SVG or PDF by its ending. Of several
        pages ``x.png`` is ``x-1.png``, ``x-2.png``; a PDF holds them all.
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
        A result that has no picture, or an ending that is none of these. `InputError` for a file
        that cannot be written.

    >>> axes = plot(match(dyes, "#7d8a6e", max_dyes=2, count=2), "match.png")
    >>> float(axes.get_xlim()[1])
    8.27
    """
    if ax is not None:
        return _panel(result, ax)
    drawing = pages(result, None if path is not None else 1, **options)
    if path is not None:
        save(drawing, path, force=force, inputs=inputs)
    return drawing[0].axes[0]


def save(
    pages: Pages, path: Named, *, force: bool = False, inputs: Iterable[Named | None] = ()
) -> list[Path]:
    """Write pages as `plot` has it, all of the files or none, and name those. Raises as that."""
    place = Path(path)
    suffix, files = ending(place, "the picture", ".png, .svg or .pdf"), {place: pages}
    if suffix != ".pdf" and len(pages) > 1:
        files = {place.with_stem(f"{place.stem}-{i}"): [page] for i, page in enumerate(pages, 1)}
    # The first page comes last: without it nobody takes the others for all there are.
    drawn = ((file, figure_bytes(files[file], suffix)) for file in reversed(files))
    write_all(drawn, force=force, inputs=inputs)
    return list(files)


def drawn(result: Any, **options: Any) -> list[bytes]:
    """The pages of a result's picture as PNG, with the `options` of `plot`; none if it has none."""
    known = type(result).__name__ in data("pictures")["draws"]
    return [figure_bytes([page], ".png") for page in (pages(result, **options) if known else ())]


def pages(result: Any, most: int | None = None, /, **options: Any) -> Pages:
    """The pages of a result's picture, with the `options` of `plot`; only so many at `most`."""
    picture = data("pictures")["draws"].get(type(result).__name__)
    with styled():
        if picture is None:
            figure, axes = new_figure((0.12, 0.16, 0.84, 0.78), height=5.0)
            _panel(result, axes)
            return [figure]
        module, function = picture.split(".")
        draw = getattr(import_module(f"dyemix.plots.{module}"), function)
        return list(islice(draw(result, **options), most))


# One panel of a result, in axes of whoever asks --------------------------------------------------


def _panel(result: Any, axes: "Axes") -> "Axes":
    """Draw a result in axes, and give them back. Raises `DyemixError` where it has no picture."""
    checks = result.checks if isinstance(result, Evaluation | FitReport) else ()
    rows = [row for row in result._rows() if row.get("hex")] if isinstance(result, Result) else []
    refuse(not (rows or checks), f"there is no picture of a {type(result).__name__}.")
    labels = [check.label for check in checks] or [str(next(iter(row.values()))) for row in rows]
    axes.set_yticks(range(len(labels)), labels)
    axes.set_ylim(len(labels) - 0.5, -0.5)
    if checks:
        for i, check in enumerate(checks):
            promised(axes, i, check, 0.8)
        axes.set(xlabel="ΔE2000", xlim=(0, None))
    else:
        codes = np.array([[list(bytes.fromhex(str(row["hex"])[1:]))] for row in rows])
        axes.imshow(codes, extent=(0, 1, len(rows) - 0.5, -0.5), aspect="auto")
        axes.set_xticks([])
    return axes
