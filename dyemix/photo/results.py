"""What one photograph gave: each cell with its colour and its error, and the readings kept."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_2, Light, lab, smoothest_reflectance
from dyemix.colour.difference import Miss
from dyemix.dataset.clipped import Clipped
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.dataset.target import Target
from dyemix.errors import TargetError
from dyemix.photo.camera_matrix import metric
from dyemix.photo.characterise import Characterisation
from dyemix.photo.decode import Photograph
from dyemix.photo.places import Frame

if TYPE_CHECKING:
    import pandas as pd

#: Within one picture the camera is wrong by nearly the same amount on nearly the same colour: the
#: shared part falls as exp(−d/8) with the distance d in ΔE2000, computed with two measured cameras
#: (benchmarks/photo_errors.py).
SHARED_OVER = 8.0


@dataclass(frozen=True, eq=False)
class CellReading:
    """One cell as it was read.

    Attributes
    ----------
    label, corners : which cell, and where it is ``(4, 2)``; `piece` where the cloth in it lies, and
        `core` what of that was read.
    content : what the table of cells says lies in it; its recipe is None where nobody said.
    lab : ``(3,)`` CIELAB under `light`.
    reflectance : ``(B,)`` the smoothest one with this colour; None where no cloth can have it.
    within : ``(3, 3)`` covariance of `lab` from the cloth itself: weave, mottle, noise, light.
    between : ``(3, 3)`` from repeats of one swatch, beyond `within`.
    camera : ``(3, 3)`` from the camera and its matrix, shared by like colours in one picture.
    spread : root mean square ΔE2000 of parts of the cell to its mean.
    flags : doubts, in words; `left_out` the reasons for which it is not read, if any.
    clipped : where its colour is a bound only; `accepted` where the dyer keeps it as it is.
    """

    label: str
    corners: Array
    piece: Array
    core: Array
    content: Reading
    lab: Array
    reflectance: Array | None
    within: Array
    between: Array
    camera: Array
    spread: float
    flags: tuple[str, ...]
    left_out: tuple[str, ...]
    clipped: Clipped | None = None
    accepted: bool = False
    light: Light = D65_2

    @property
    def covariance(self) -> Array:
        return np.asarray(self.within + self.between + self.camera)

    @property
    def error(self) -> float:
        """Standard error as one number: root mean square ΔE2000 of the covariance."""
        slope = metric(self.lab[np.newaxis])[0]
        return float(np.sqrt(np.trace(slope @ self.covariance @ slope.T)))

    def under(self, light: Light) -> CellReading:
        """The same in another light, through the smoothest reflectance of this colour."""
        if self.reflectance is None:
            return replace(self, light=light)
        step = np.array([1.0, 1.0, 1.0])
        near = smoothest_reflectance(
            self.lab + np.concatenate([np.diag(step), -np.diag(step)]), self.light
        )
        ends = lab(near, light)
        slope = (ends[:3] - ends[3:]).T / (2 * step)

        def turned(covariance: Array) -> Array:
            return np.asarray(slope @ covariance @ slope.T)

        return replace(
            self, light=light, lab=lab(self.reflectance, light), within=turned(self.within),
            between=turned(self.between), camera=turned(self.camera),
            clipped=None if self.clipped is None else Clipped(self.clipped.beyond @ slope.T),
        )  # fmt: skip

    @property
    def recipe(self) -> str:
        return "" if self.content.recipe is None else str(self.content.recipe)

    @property
    def title(self) -> str:
        return f"{self.label} {self.recipe}".strip()

    @property
    def words(self) -> tuple[str, ...]:
        """Why it is left out, and what else is doubtful."""
        return (*(f"LEFT OUT: {reason}" for reason in self.left_out), *self.flags)

    def reading(self, file: str, doubts: tuple[str, ...]) -> Reading:
        """The reading of what lies in it; `doubts` hold for the whole picture."""
        light = {"illuminant": self.light.illuminant, "observer": str(self.light.observer)}
        seen = {"geometry": "photograph", **light}
        return Reading(
            recipe=self.content.recipe,
            reflectance=self.reflectance,
            swatch=self.content.swatch,
            kind="Lab",
            lab=self.lab.copy(),
            light=self.light,
            covariance=self.covariance,
            conditions={**self.content.conditions, **seen},
            warnings=(*self.flags, *doubts),
            place=f"{file}, cell {self.label}",
            name=self.label,
            clipped=self.clipped,
        )


@dataclass(frozen=True, eq=False)
class PhotoReading:
    """What was read of one photograph.

    Attributes
    ----------
    swatches : the readings of the cells that were kept, each with its covariance.
    cells : every cell with cloth in it, those left out included.
    empty : labels of cells in which nothing lay.
    notes : what was found and assumed, one sentence each.
    characterisation : what the light and the camera made of colours.
    frame, photograph : where everything is in the picture, and the picture.
    """

    swatches: SwatchSet
    cells: tuple[CellReading, ...]
    empty: tuple[str, ...]
    notes: tuple[str, ...]
    characterisation: Characterisation
    frame: Frame
    photograph: Photograph

    def cell(self, label: str) -> CellReading:
        """The cell of that label, left out or not. Raises `TargetError`."""
        for cell in self.cells:
            if cell.label.lower() == label.strip().lower():
                return cell
        have = ", ".join(cell.label for cell in self.cells)
        raise TargetError(f"no cloth was read in a cell {label!r}: there are {have}.")

    def target(self, label: str) -> Target:
        """The colour of one cell as a target, with its error and its doubts.

        Raises `TargetError` where it was not read, and where it is left out, with the reason.
        """
        cell = self.cell(label)
        name = f"cell {cell.label} of {self.photograph.file}"
        if cell.left_out:
            reasons = "; ".join(cell.left_out)
            raise TargetError(f"{name} is left out ({reasons}). Keep it by name if you must.")
        if cell.clipped is not None and not cell.accepted:
            raise TargetError(f"{name} is no target: {cell.flags[0]} Keep it by name if you must.")
        doubts = (*cell.flags, *self.characterisation.doubts)
        said = tuple(f"{name}: {doubt}." for doubt in doubts)
        return Target(cell.lab, cell.light, None, name, "reading", cell.covariance, said)

    def piece(self, label: str) -> Reading:
        """The reading of one cell. Raises `TargetError` as `target` does."""
        self.target(label)
        return self.cell(label).reading(self.photograph.file, self.characterisation.doubts)

    def to_frame(self) -> pd.DataFrame:
        """One row a cell: label, recipe, CIELAB (D65, 2°), error, spread, flags, left out."""
        import pandas as pd

        return pd.DataFrame(
            [
                {
                    "cell": cell.label,
                    "recipe": cell.recipe,
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
        read = f"{len(self.swatches.readings)} of {len(self.cells)} cells read"
        lines = [
            f"{self.photograph.file}: {read}, CIELAB under {self.cells[0].light}.",
            *self.notes,
        ]
        for cell in self.cells:
            values = "L* {:5.1f}  a* {:6.1f}  b* {:6.1f}".format(*cell.lab)
            doubt = "; ".join(cell.words)
            lines.append(f"{cell.title:<28} {values}  ± {cell.error:.1f}  {doubt}".rstrip())
        return "\n".join(lines)


@dataclass(frozen=True, eq=False)
class Difference:
    """The difference of two photographed pieces.

    Attributes
    ----------
    first, second : which cells.
    lab : ``(3,)``, second less first, D65/2°.
    miss : how the second differs from the first.
    error : root mean square ΔE2000 that the camera alone would show between equal pieces.
    same_picture : whether both lay in one photograph.
    """

    first: str
    second: str
    lab: Array
    miss: Miss
    error: float
    same_picture: bool

    @property
    def delta_e(self) -> float:
        return self.miss.delta_e

    @property
    def seen(self) -> bool:
        """Whether the difference is larger than its error."""
        return self.delta_e > self.error

    def __str__(self) -> str:
        pictures = "same photograph" if self.same_picture else "two photographs"
        text = (
            f"{self.first} to {self.second}: {self.delta_e:.1f} ΔE2000 (D65, 2°), error "
            f"{self.error:.1f}, {pictures}."
        )
        if not self.seen:
            return f"{text} Too small to see by phone: change nothing."
        words = ", ".join(self.miss.words)
        return f"{text} The second is {words}." if words else text


def difference(first: PhotoReading, label: str, second: PhotoReading, other: str) -> Difference:
    """Compare a cell of one photograph with a cell of the same or another one.

    In one photograph the camera's error is largely shared by like colours and drops out; between
    two photographs each brings its own. Raises `TargetError` for a cell that was not read.
    """
    a, b = first.cell(label), second.cell(other)
    same = first is second
    shared = np.exp(-float(delta_e(a.lab, b.lab)) / SHARED_OVER) if same else 0.0
    covariance = (
        a.within + a.between + b.within + b.between + (1.0 - shared) * (a.camera + b.camera)
    )
    slope = metric(((a.lab + b.lab) / 2.0)[np.newaxis])[0]
    files = ("", "") if same else (f"{first.photograph.file} ", f"{second.photograph.file} ")
    return Difference(
        first=files[0] + a.label,
        second=files[1] + b.label,
        lab=b.lab - a.lab,
        miss=Miss.of(a.lab, b.lab),
        error=float(np.sqrt(np.trace(slope @ covariance @ slope.T))),
        same_picture=same,
    )
