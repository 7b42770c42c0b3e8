"""One panel of a result, in axes of whoever asks: spectra, promises, or colours."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from dyemix.colour.colorimetry import WAVELENGTHS, screen_colour
from dyemix.dataset.readings import Reading, Swatch
from dyemix.dataset.result import Result
from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import DyemixError
from dyemix.model.fit_report import Evaluation, FitReport, MixtureCheck
from dyemix.model.prediction import Prediction, Predictions
from dyemix.plots.paper import BAR, LIGHT_BAR, new_figure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SPECTRA = (Reading, Swatch, SwatchSet, Prediction, Predictions)


def pages(result: Any) -> list[Figure]:
    """A panel by itself."""
    figure, axes = new_figure((0.12, 0.16, 0.84, 0.78), height=5.0)
    panel(result, axes)
    return [figure]


def panel(result: Any, axes: Axes) -> Axes:
    """Draw a result in axes, and give them back. Raises `DyemixError` where it has no picture."""
    if isinstance(result, _SPECTRA):
        _spectra(result, axes)
    elif isinstance(result, Evaluation | FitReport):
        _promised(result.checks, axes)
    else:
        rows = list(result._rows()) if isinstance(result, Result) else []
        rows = [row for row in rows if row.get("hex")]
        if not rows:
            raise DyemixError(f"there is no picture of a {type(result).__name__}.")
        _labelled(axes, [str(next(iter(row.values()))) for row in rows])
        codes = np.array([[list(bytes.fromhex(str(row["hex"])[1:]))] for row in rows])
        axes.imshow(codes, extent=(0, 1, len(rows) - 0.5, -0.5), aspect="auto")
        axes.set_xticks([])
    return axes


def _spectra(result: Any, axes: Axes) -> None:
    several = isinstance(result, SwatchSet | Predictions)
    for one in result if several else [result]:
        if one.reflectance is not None:
            color = screen_colour(one.reflectance).hex
            axes.plot(WAVELENGTHS, one.reflectance, color=color, label=str(one.recipe))
    axes.set(xlabel="wavelength, nm", ylabel="reflectance", ylim=(0, None))


def _promised(checks: Sequence[MixtureCheck], axes: Axes) -> None:
    """A bar a mix, dark to the median promised and light to nine in ten; the mark is what came."""
    _labelled(axes, [check.label for check in checks])
    places = np.arange(len(checks))
    axes.barh(places, [check.bound for check in checks], color=LIGHT_BAR, label="nine in ten")
    axes.barh(places, [check.median for check in checks], color=BAR, label="half")
    for kept, marker in ((True, "o"), (False, "D")):
        found = [(check.delta_e, i) for i, check in enumerate(checks) if check.kept == kept]
        axes.plot(*np.reshape(found, (-1, 2)).T, marker, color="black", label="came")
    axes.set(xlabel="ΔE2000", xlim=(0, None))


def _labelled(axes: Axes, labels: Sequence[str]) -> None:
    axes.set_yticks(range(len(labels)), labels)
    axes.set_ylim(len(labels) - 0.5, -0.5)
