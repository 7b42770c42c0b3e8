"""What a fit keeps of its evidence: the dyes as single squares show them, and the pots read since.

A calibration always starts from these, so that a pot counts once however often it is told of, and
leaves nothing behind when it is taken out.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from dyemix.arrays import Array
from dyemix.dataset.clipped import Clipped
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.result import Value
from dyemix.dataset.serialise import Shape
from dyemix.model.kubelka_munk import Surface
from dyemix.model.unknowns import Modes


@dataclass(frozen=True, eq=False)
class Ladders(Value):
    """The dyes as single squares alone show them.

    Attributes
    ----------
    curves, law, surface : as in `DyeSet`, before any mix was read.
    modes : what the squares leave open.
    ceiling : what r0 stays below: the lowest reflectance read, with some room.
    misfit : ΔE2000 by which left-out depths miss beyond what scatter explains.
    interaction : κ before any mix: 0, but for dyes saved by an older fit.
    """

    curves: Annotated[Array, Shape("D", "B")]
    law: Annotated[Array, Shape("D", 2)]
    surface: Surface
    modes: Modes
    ceiling: float = 0.06
    misfit: float = 0.0
    interaction: float = 0.0

    def take(self, index: list[int]) -> Ladders:
        """Those of some of the dyes."""
        return Ladders(
            self.curves[index], self.law[index], self.surface, self.modes.take(index),
            self.ceiling, self.misfit, self.interaction,
        )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Pot(Value):
    """A finished piece of known recipe, as a calibration sees it: a swatch of a mix, or a trial.

    Attributes
    ----------
    recipe : % owf.
    lab : ``(3,)`` CIELAB as read, under the light of the dyes.
    covariance : ``(3, 3)`` of that CIELAB, where the reader knows it.
    clipped : channels that are bounds, not values.
    on : ``(B,)`` reflectance of the piece that a second bath went over; None for a first bath.
    date, lot : of a trial, as stated.
    weight : how much it counts, 1 for a recent one of the same lot.
    label : what it is called in a report.
    """

    recipe: Recipe
    lab: Annotated[Array, Shape(3)]
    covariance: Annotated[Array, Shape(3, 3)] | None = None
    clipped: Clipped | None = None
    on: Annotated[Array, Shape("B")] | None = None
    date: datetime.date | None = None
    lot: str = ""
    weight: float = 1.0
    label: str = ""

    @property
    def identity(self) -> tuple[object, ...]:
        """What makes it the same pot however it is told of: all but weight and label."""
        over = None if self.on is None else tuple(np.round(self.on, 6))
        recipe = tuple(sorted(self.recipe.items()))
        return recipe, tuple(np.round(self.lab, 6)), over, self.date, self.lot
