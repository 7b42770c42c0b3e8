"""What one photograph gave: each cell with its colour and its error, and the readings kept."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from dyemix.arrays import LAB, Array
from dyemix.colour.appearance import Miss
from dyemix.colour.ciede2000 import delta_e, error_of
from dyemix.colour.colorimetry import D65_2, Light, lab, smoothest_reflectance
from dyemix.dataset.conditions import PICTURE
from dyemix.dataset.readings import Clipped
from dyemix.dataset.result import Result, Row
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.dataset.target import Target
from dyemix.errors import TargetError, refuse, said
from dyemix.photo.characterise import Characterisation
from dyemix.photo.decode import Photograph
from dyemix.photo.patches import SHARED_OVER
from dyemix.photo.places import Frame
from dyemix.photo.sample import Cloth


@dataclass(frozen=True, eq=False)
class Laid:
    """What lies in one cell.

    Attributes
    ----------
    label, corners : which cell, and where it is ``(4, 2)``.
    content : what the table of cells says lies in it; its recipe is None where nobody said.
    cloth : what the picture shows.
    left_out : the reasons for which it is not read, if any.
    """

    label: str
    corners: Array
    content: Reading
    cloth: Cloth
    left_out: tuple[str, ...]

    @property
    def title(self) -> str:
        return f"{self.label} {'' if self.content.recipe is None else self.content.recipe}".strip()


@dataclass(frozen=True, eq=False, kw_only=True)
class CellReading(Laid):
    """One cell as it was read.

    Attributes
    ----------
    lab : ``(3,)`` CIELAB under `light`.
    reflectance : ``(B,)`` the smoothest one with this colour; None where no cloth can have it.
    within : ``(3, 3)`` covariance of `lab` from the cloth itself: weave, mottle, noise, light.
    camera : ``(3, 3)`` from the camera and its matrix, shared by like colours in one picture.
    spread : root mean square ΔE2000 of parts of the cell to its mean.
    warnings : what is doubtful, in words.
    clipped : where its colour is a bound only; `accepted` where the dyer keeps it as it is.
    """

    lab: Array
    reflectance: Array | None
    within: Array
    camera: Array
    spread: float
    warnings: tuple[str, ...] = ()
    clipped: Clipped | None = None
    accepted: bool = False
    light: Light = D65_2

    @property
    def covariance(self) -> Array:
        return np.asarray(self.within + self.camera)

    @property
    def error(self) -> float:
        """Standard error as one number: root mean square ΔE2000 of the covariance."""
        return error_of(self.lab, self.covariance)

    def under(self, light: Light) -> "CellReading":
        """The same in another light, through the smoothest reflectance of this colour."""
        if self.reflectance is None or light == self.light:
            return self
        near = smoothest_reflectance(self.lab + np.vstack([np.eye(3), -np.eye(3)]), self.light)
        slope = np.subtract(*np.split(lab(near, light), 2)).T / 2.0
        errors = {name: slope @ getattr(self, name) @ slope.T for name in ("within", "camera")}
        clipped = None if self.clipped is None else Clipped(self.clipped.beyond @ slope.T)
        here = lab(self.reflectance, light)
        return replace(self, light=light, lab=here, clipped=clipped, **errors)

    @property
    def words(self) -> tuple[str, ...]:
        """Why it is left out, and what else is doubtful."""
        return (*(f"LEFT OUT: {reason}" for reason in self.left_out), *self.warnings)

    def reading(self, photograph: Photograph, doubts: tuple[str, ...]) -> Reading:
        """The reading of what lies in it; `doubts` hold for the whole picture."""
        conditions = {
            **self.content.conditions, "geometry": "photograph", PICTURE: photograph.picture,
            "illuminant": self.light.illuminant, "observer": str(self.light.observer),
        }  # fmt: skip
        return replace(
            self.content, reflectance=self.reflectance, kind="Lab", lab=self.lab, light=self.light,
            covariance=self.covariance, clipped=self.clipped, conditions=conditions,
            warnings=(*self.warnings, *doubts), place=f"{photograph.file}, cell {self.label}",
            name=self.label,
        )  # fmt: skip


class PhotoReading(Result):
    """What was read of one photograph.

    Attributes
    ----------
    swatches : the readings of the cells that were kept, each with its covariance; its warnings say
        what was found and assumed, one sentence each.
    cells : every cell with cloth in it, those left out included.
    empty : labels of cells in which nothing lay.
    characterisation : what the light and the camera made of colours.
    frame, photograph : where everything is in the picture, and the picture.
    """

    swatches: SwatchSet
    cells: tuple[CellReading, ...]
    empty: tuple[str, ...]
    characterisation: Characterisation
    frame: Frame
    photograph: Photograph

    def cell(self, label: str) -> CellReading:
        """The cell of that label, left out or not. Raises `TargetError`."""
        found = {cell.label.upper(): cell for cell in self.cells}
        words = f"no cloth was read in a cell {label!r}: there are {', '.join(found)}."
        refuse(label.strip().upper() not in found, words, error=TargetError)
        return found[label.strip().upper()]

    def _value(self, label: str) -> CellReading:
        """The cell of that label that is a value. Raises `TargetError`, with the reason."""
        cell = self.cell(label)
        why = cell.left_out or cell.warnings[:1] * (cell.clipped is not None and not cell.accepted)
        named = {"label": cell.label, "file": self.photograph.file, "why": "; ".join(why)}
        refuse(why, "photo.no_target", error=TargetError, **named)
        return cell

    def _shared(self, apart: float) -> float:
        """The share of the camera's error that colours so many ΔE2000 `apart` have in common."""
        return float(np.exp(-apart / SHARED_OVER[not self.characterisation.matrix.patches]))

    def target(self, label: str, beside: SwatchSet | None = None) -> Target:
        """The colour of one cell as a target, with its error and its doubts.

        Where the dyes were fitted to swatches `beside` it in this photograph, and to none that were
        read otherwise, what the camera does to all like colours of one picture drops out. Raises
        `TargetError` where it was not read, and where it is left out or a bound only.
        """
        cell, name = self._value(label), f"cell {label.upper()} of {self.photograph.file}"
        readings = () if beside is None else beside.readings
        pictures = [reading.conditions.get(PICTURE) for reading in readings]
        of = zip(pictures, readings, strict=True) if all(pictures) else ()
        same = [r.colour(cell.light) for file, r in of if file == self.photograph.picture]
        apart = float(np.min(delta_e(cell.lab, np.array(same)))) if same else np.inf
        own = cell.covariance - self._shared(apart) * cell.camera
        words = (f"{name}: {doubt}." for doubt in (*cell.warnings, *self.characterisation.warnings))
        return Target(cell.lab, cell.light, None, name, "reading", own, tuple(words))

    def piece(self, label: str) -> Reading:
        """The reading of one cell. Raises `TargetError` as `target` does."""
        return self._value(label).reading(self.photograph, self.characterisation.warnings)

    def _rows(self) -> Iterator[Row]:
        """One row a cell: label, recipe, colour, error and spread (ΔE2000), doubts, left out."""
        for cell in self.cells:
            yield {
                "cell": cell.label, "recipe": cell.content.recipe,
                **dict(zip(LAB, cell.lab, strict=True)), "error": cell.error,
                "spread": cell.spread, "warnings": cell.warnings, "left out": cell.left_out,
            }  # fmt: skip

    def _lines(self) -> Iterator[str]:
        counts = {"read": len(self.swatches.readings), "count": len(self.cells)}
        yield said("photo.read", file=self.photograph.file, light=self.cells[0].light, **counts)
        yield from self.swatches.warnings
        width = max(28, *(len(cell.title) for cell in self.cells))
        for cell in self.cells:
            values = "L* {:5.1f}  a* {:6.1f}  b* {:6.1f}".format(*cell.lab)
            doubt = "; ".join(cell.words)
            yield f"{cell.title:<{width}} {values}  ± {cell.error:.1f}  {doubt}".rstrip()


@dataclass(frozen=True, eq=False)
class Difference:
    """The difference of two photographed pieces.

    Attributes
    ----------
    names : which cells.
    miss : how the second differs from the first.
    error : root mean square ΔE2000 that the camera alone would show between equal pieces.
    same_picture : whether both lay in one photograph.
    """

    names: tuple[str, str]
    miss: Miss
    error: float
    same_picture: bool

    @property
    def seen(self) -> bool:
        """Whether the difference is larger than its error."""
        return self.miss.delta_e > self.error

    def __str__(self) -> str:
        return said(
            f"photo.{'seen' if self.seen else 'not_seen'}", names=" to ".join(self.names),
            size=self.miss.delta_e, light=D65_2, error=self.error,
            pictures="same photograph" if self.same_picture else "two photographs",
            words=", ".join(self.miss.words) or "another colour",
        )  # fmt: skip


def difference(first: PhotoReading, label: str, second: PhotoReading, other: str) -> Difference:
    """Compare a cell of one photograph with a cell of the same or another one.

    In one photograph the camera's error is largely shared by like colours and drops out; between
    two photographs each brings its own. Raises `TargetError` for a cell that was not read.
    """
    a, b = first.cell(label), second.cell(other)
    same = first is second
    shared = first._shared(float(delta_e(a.lab, b.lab))) if same else 0.0
    covariance = a.covariance + b.covariance - shared * (a.camera + b.camera)
    error = error_of((a.lab + b.lab) / 2.0, covariance)
    files = ("", "") if same else (f"{first.photograph.file} ", f"{second.photograph.file} ")
    names = (files[0] + a.label, files[1] + b.label)
    return Difference(names, Miss.of(a.lab, b.lab), error, same)
