"""What one photograph gave: each cell with its colour and its error, and the readings kept."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_2
from dyemix.dataset.swatches import SwatchSet
from dyemix.dataset.target import Target
from dyemix.errors import TargetError
from dyemix.photo.decode import Photograph
from dyemix.photo.places import Frame, Named, Place
from dyemix.photo.reference_cards import Light

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, eq=False)
class Cell:
    """One cell as it was read.

    Attributes
    ----------
    label, named, place : which cell, what lies in it (None where nobody said), where it is.
    lab : ``(3,)`` CIELAB under D65/2°.
    within : ``(3, 3)`` covariance of `lab` from the cloth itself: weave, mottle, noise, light.
    between : ``(3, 3)`` from repeats of one swatch, beyond `within`.
    colour : ``(3, 3)`` from the camera and its correction, shared by like colours in one picture.
    spread : root mean square ΔE2000 of parts of the cell to its mean.
    flags : doubts, in words; `left_out` the reasons for which it is not read, if any.
    """

    label: str
    named: Named | None
    place: Place
    lab: Array
    within: Array
    between: Array
    colour: Array
    spread: float
    flags: tuple[str, ...]
    left_out: tuple[str, ...]

    @property
    def covariance(self) -> Array:
        return np.asarray(self.within + self.between + self.colour)

    @property
    def error(self) -> float:
        """Standard error as one number: root mean square ΔE*ab of the covariance."""
        return float(np.sqrt(np.trace(self.covariance)))

    @property
    def title(self) -> str:
        recipe = "" if self.named is None or self.named.recipe is None else str(self.named.recipe)
        return f"{self.label} {recipe}".strip()


@dataclass(frozen=True, eq=False)
class PhotoReading:
    """What one photograph gave.

    Attributes
    ----------
    swatches : the readings kept, for the fit.
    cells : every cell with cloth in it, those left out too.
    empty : labels of cells with no cloth.
    notes : what was found about the picture, one sentence each.
    light, frame, photograph : how it was read.
    """

    swatches: SwatchSet
    cells: tuple[Cell, ...]
    empty: tuple[str, ...]
    notes: tuple[str, ...]
    light: Light
    frame: Frame
    photograph: Photograph

    def cell(self, label: str) -> Cell:
        """The cell of that label, left out or not. Raises `TargetError`."""
        for cell in self.cells:
            if cell.label.lower() == label.strip().lower():
                return cell
        have = ", ".join(cell.label for cell in self.cells)
        raise TargetError(f"no cloth was read in a cell {label!r}: there are {have}.")

    def target(self, label: str) -> Target:
        """The colour of one cell as a target: the customer's cloth, photographed with the swatches.

        The camera's error is then largely the same on both sides and drops out of the match.
        """
        cell = self.cell(label)
        name = f"cell {cell.label} of {self.photograph.file}"
        return Target(cell.lab, D65_2, None, name, "reading")

    def to_frame(self) -> pd.DataFrame:
        """One row a cell: label, recipe, CIELAB (D65, 2°), error, spread, flags, left out."""
        import pandas as pd

        return pd.DataFrame(
            [
                {
                    "cell": cell.label,
                    "recipe": ""
                    if cell.named is None or cell.named.recipe is None
                    else str(cell.named.recipe),
                    **dict(zip(("L*", "a*", "b*"), cell.lab, strict=True)),
                    "error": cell.error,
                    "spread": cell.spread,
                    "flags": "; ".join(cell.flags),
                    "left out": "; ".join(cell.left_out),
                }
                for cell in self.cells
            ]
        )

    def __str__(self) -> str:
        lines = [
            f"{self.photograph.file}: {len(self.swatches.readings)} of {len(self.cells)} cells"
        ]
        lines[0] += " read, CIELAB under D65/2°."
        lines += self.notes
        for cell in self.cells:
            values = "L* {:5.1f}  a* {:6.1f}  b* {:6.1f}".format(*cell.lab)
            doubt = "; ".join([*(f"LEFT OUT: {reason}" for reason in cell.left_out), *cell.flags])
            lines.append(f"{cell.title:<28} {values}  ± {cell.error:.1f}  {doubt}".rstrip())
        return "\n".join(lines)
