"""What recipes are expected to look like, on paper and in the pot: one, or many as arrays."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from functools import cached_property
from typing import Any, ClassVar, Self

import numpy as np

from dyemix.arrays import Array, Flags, Indices
from dyemix.colour.colorimetry import D65_2, WAVELENGTHS, Light, lab, screen_colours
from dyemix.dataset.recipe import DEEP_OWF, Recipe, format_amount
from dyemix.dataset.result import Frame, Result, Row, Value, colour_row, colour_text
from dyemix.dataset.target import Target
from dyemix.model.uncertainty import Causes, Likely, expected_miss, likely, pots


class Span(Value):
    """The range that the swatches of each dye cover: `palest`, `deepest` ``(D,)`` in % owf."""

    names: tuple[str, ...]
    palest: Array
    deepest: Array

    def recipe(self, amounts: Array) -> Recipe:
        """The recipe of amounts ``(D,)`` in % owf."""
        return Recipe({n: float(a) for n, a in zip(self.names, amounts, strict=True) if a > 0})

    def warnings(self, amounts: Array) -> tuple[str, ...]:
        """One sentence for each dye of amounts ``(D,)`` that leaves the range of its swatches."""
        out, (pale, deep) = [], self.beyond(amounts)
        for i in np.flatnonzero(pale | deep):
            word, edges = ("deeper", self.deepest) if deep[i] else ("paler", self.palest)
            edge = f"{word} than your {word.removesuffix('r')}st square ({edges[i]:g})"
            doubtful = amounts[i] > DEEP_OWF
            cure = "is it % of dry cloth weight?" if doubtful else "dye that one next."
            out.append(f"{self.names[i]} {format_amount(amounts[i])} is {edge}: {cure}")
        return tuple(out)

    def beyond(self, amounts: Array) -> tuple[Flags, Flags]:
        """Which of amounts ``(..., D)`` are paler, and which deeper, than the range."""
        # The last digit that is printed must not make a warning.
        pale = (amounts > 0) & (amounts < self.palest * (1 - 1e-9))
        return pale, amounts > self.deepest * (1 + 1e-9)


class Prediction(Result):
    """What N recipes are expected to look like, on paper and in the pot, under one light.

    `len`, iteration and indexing go to them one by one. Of one recipe, as `DyeSet.predict` gives
    it, nothing has the axis N, and figures, code and recipe are single ones.

    Attributes
    ----------
    amounts : ``(N, D)`` % owf, of the dyes of `span`.
    reflectance : ``(N, B)`` fraction at `wavelengths` in nm.
    lab : ``(N, 3)`` CIELAB under `light`.
    covariance : ``(N, 3, 3)`` of that CIELAB in the pot.
    causes : the same by cause.
    freedom : degrees of freedom of the likely miss.
    recipes : as they were given; else those of `amounts`.
    index : of the rows, where they came in a frame or a column.
    """

    wavelengths: ClassVar[Array] = WAVELENGTHS
    TOLD: ClassVar = (
        "recipe", "reflectance", "lab", "light", "covariance", "freedom", "screen", "warnings",
        "demo",
    )  # fmt: skip
    amounts: Array
    reflectance: Array
    lab: Array
    light: Light
    covariance: Array
    causes: Causes
    freedom: float
    span: Span
    recipes: tuple[Recipe, ...] = ()
    index: Any = None
    demo: bool = False

    def __len__(self) -> int:
        return len(np.atleast_2d(self.amounts))

    def __getitem__(self, i: int | Indices) -> Self:
        """One by its place, or those at several."""
        if self.amounts.ndim == 1:
            return (self,)[int(i)]
        return replace(
            self, amounts=self.amounts[i], reflectance=self.reflectance[i], lab=self.lab[i],
            covariance=self.covariance[i], causes=self.causes.rows(i), index=None,
            recipes=tuple(self.recipes[j] for j in np.atleast_1d(i)) if self.recipes else (),
        )  # fmt: skip

    def __iter__(self) -> Iterator[Self]:
        return map(self.__getitem__, range(len(self)))

    def _of_one(self, several: Any) -> Any:
        """Things of several recipes as they are; of one recipe the only one."""
        return several if self.amounts.ndim > 1 else several[0]

    @property
    def recipe(self) -> Recipe:
        """The recipe in % owf, or N of them."""
        all_of = self.recipes or [*map(self.span.recipe, np.atleast_2d(self.amounts))]
        found: Recipe = self._of_one(all_of)
        return found

    @property
    def screen(self) -> Any:
        """The colour on a screen, from the spectrum under D65/2°, or N of them."""
        return self._of_one(screen_colours(lab(np.atleast_2d(self.reflectance), D65_2)))

    @property
    def hex(self) -> Any:
        """The sRGB code of that, or N of them."""
        return [one.hex for one in self.screen] if self.amounts.ndim > 1 else self.screen.hex

    @property
    def warnings(self) -> Any:
        """Where the recipe leaves the range of the swatches, in sentences; or N times those."""
        return self._of_one([*map(self.span.warnings, np.atleast_2d(self.amounts))])

    def in_pot(
        self, target: Array, k_lightness: float = 1.0, spread: Array | float = 0.0
    ) -> Likely:
        """ΔE2000 in the pot from a target ``(3,)`` or ``(N, 3)``, as arrays ``(N,)``.

        `spread`, ``(3, 3)`` or ``(N, 3, 3)``, is the covariance of the target itself.
        """
        covariance = self.covariance.reshape(-1, 3, 3) + spread
        return likely(target, np.atleast_2d(self.lab), covariance, self.freedom, k_lightness)

    def expected(
        self, target: Array, k_lightness: float = 1.0, spread: Array | float = 0.0
    ) -> Array:
        """Mean ΔE2000 ``(N,)`` of `in_pot`, cheaply, for ranking."""
        return expected_miss(target, self.lab, self.covariance + spread, k_lightness)

    @cached_property
    def _of_itself(self) -> Likely:
        return self.in_pot(self.lab)

    @property
    def likely(self) -> Any:
        """Mean ΔE2000 between prediction and pot, one or ``(N,)``."""
        return self._of_one(self._of_itself.mean)

    @property
    def median(self) -> Any:
        """The ΔE2000 that half of the pots stay below, one or ``(N,)``."""
        return self._of_one(self._of_itself.median)

    @property
    def bound(self) -> Any:
        """The ΔE2000 that nine pots in ten stay below, one or ``(N,)``."""
        return self._of_one(self._of_itself.bound)

    def pots(self, target: Array, count: int) -> Array:
        """CIELAB ``(count, 3)`` of pots of one recipe, each as likely as the next, nearest to a
        target first.
        """
        return pots(target, self.lab, self.covariance, self.freedom, count)

    def as_target(self) -> Target:
        """The colour of one recipe, with its spectrum, as something to reach."""
        return Target.of_spectrum(self.reflectance, self.light, str(self.recipe), "prediction")

    @property
    def row(self) -> dict[str, object]:
        """One recipe as columns of a table: recipe, depth in all, colour and light, warnings."""
        colour = colour_row(self.lab, self.light, self.hex)
        more = {"C*": float(np.hypot(*self.lab[1:])), "warnings": self.warnings}
        return {"recipe": self.recipe, "total_owf": self.recipe.total, **colour, **more}

    def _rows(self) -> Iterable[Row]:
        found = self._of_itself
        for one, *figures in zip(self, found.mean, found.median, found.bound, strict=True):
            yield one.row | dict(zip(("likely", "median", "bound"), figures, strict=True))

    def to_frame(self) -> Frame:
        """One row a recipe: amounts (% owf), colour, misses in the pot, warnings; index kept."""
        out = super().to_frame()
        return out if self.index is None else out.set_axis(self.index, axis=0)

    def _lines(self, wanted: bool = False) -> Iterable[str]:
        """Without the likely miss where a colour is `wanted`: that from it is told instead."""
        if self.amounts.ndim > 1:
            miss = f", likely {self.likely.mean():.1f} off" if len(self) else ""
            return [f"{len(self)} recipes{miss} ({self.light})"]
        told = f"likely {self.likely:.1f} ΔE2000 off in the pot, nine in ten below {self.bound:.1f}"
        seen = f"{colour_text(self.lab, self.light)}, {self.screen}"
        lines = f"{self.recipe}  (% owf)", seen, told
        return [*lines[: 2 if wanted else 3], *self.warnings]


class Predicted(Value):
    """The base of what tells of one `prediction`: its recipe is that of the prediction."""

    prediction: Prediction

    @property
    def recipe(self) -> Recipe:
        return self.prediction.recipe
