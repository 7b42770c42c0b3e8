"""Two pieces of cloth by photograph: how far apart, and is that more than the camera's error?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.photo.camera_correction import metric
from dyemix.photo.results import Cell, PhotoReading

#: Within one picture the camera is wrong by nearly the same amount on nearly the same colour: the
#: shared part falls as exp(−d/8) with the distance d in ΔE2000, computed with two measured cameras
#: (benchmarks/photo_errors.py).
SHARED_OVER = 8.0


@dataclass(frozen=True, eq=False)
class Difference:
    """The difference of two photographed pieces.

    Attributes
    ----------
    first, second : which cells.
    lab : ``(3,)``, second less first, D65/2°.
    delta_e : ΔE2000.
    error : root mean square ΔE2000 that the camera alone would show between equal pieces.
    same_picture : whether both lay in one photograph.
    """

    first: str
    second: str
    lab: Array
    delta_e: float
    error: float
    same_picture: bool

    @property
    def seen(self) -> bool:
        """Whether the difference is larger than its error."""
        return self.delta_e > self.error

    def __str__(self) -> str:
        text = (
            f"{self.first} to {self.second}: {self.delta_e:.1f} ΔE2000 (D65, 2°), error "
            f"{self.error:.1f}"
        )
        text += ", same photograph." if self.same_picture else ", two photographs."
        if not self.seen:
            return f"{text} Too small to see by phone: change nothing."
        words = [
            up if value > 0 else down
            for value, (up, down) in zip(
                self.lab,
                (("lighter", "darker"), ("redder", "greener"), ("yellower", "bluer")),
                strict=True,
            )
            if abs(value) > 0.5
        ]
        return f"{text} The second is {', '.join(words)}." if words else text


def difference(first: PhotoReading, label: str, second: PhotoReading, other: str) -> Difference:
    """Compare a cell of one photograph with a cell of the same or another one.

    In one photograph the camera's error is largely shared by like colours and drops out; between
    two photographs each brings its own. Raises `TargetError` for a cell that was not read.
    """
    a, b = first.cell(label), second.cell(other)
    same = first is second
    shared = np.exp(-float(delta_e(a.lab, b.lab)) / SHARED_OVER) if same else 0.0
    covariance = _own(a) + _own(b) + (1.0 - shared) * (a.colour + b.colour)
    slope = metric(((a.lab + b.lab) / 2.0)[np.newaxis])[0]
    places = ("", "") if same else (f"{first.photograph.file} ", f"{second.photograph.file} ")
    return Difference(
        first=places[0] + a.label,
        second=places[1] + b.label,
        lab=b.lab - a.lab,
        delta_e=float(delta_e(a.lab, b.lab)),
        error=float(np.sqrt(np.trace(slope @ covariance @ slope.T))),
        same_picture=same,
    )


def _own(cell: Cell) -> Array:
    return np.asarray(cell.within + cell.between)
