"""What recipes are expected to look like, on paper and in the pot: one, or many as arrays."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_2, WAVELENGTHS, Light, ScreenColour, lab, screen_colours
from dyemix.dataset.recipe import Recipe, format_amount
from dyemix.dataset.result import DEMO_WARNING, Frame, Result, Row, Value, colour_row
from dyemix.dataset.target import Target
from dyemix.model.uncertainty import Causes, Likely, expected_miss, likely, pots


@dataclass(frozen=True, eq=False)
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
        # The last digit that is printed must not make a warning.
        pale = (amounts > 0) & (amounts < self.palest * (1 - 1e-9))
        deep = amounts > self.deepest * (1 + 1e-9)
        out = []
        for i in np.flatnonzero(pale | deep):
            word, edges = ("deeper", self.deepest) if deep[i] else ("paler", self.palest)
            edge = f"{word} than your {word.removesuffix('r')}st square ({edges[i]:g})"
            out.append(f"{self.names[i]} {format_amount(amounts[i])} is {edge}: dye that one next.")
        return tuple(out)


@dataclass(frozen=True, eq=False)
class Prediction(Result):
    """What a recipe is expected to look like, on paper and in the pot.

    Attributes
    ----------
    recipe : % owf.
    reflectance : ``(B,)`` fraction at `wavelengths` in nm.
    lab : ``(3,)`` CIELAB under `light`.
    covariance : ``(3, 3)`` of that CIELAB in the pot.
    freedom : degrees of freedom of the likely miss.
    screen : sRGB code, from the spectrum under D65/2°.
    warnings : where the recipe leaves the range of the swatches.
    """

    wavelengths: ClassVar[Array] = WAVELENGTHS
    recipe: Recipe
    reflectance: Array
    lab: Array
    light: Light
    covariance: Array
    freedom: float
    screen: ScreenColour
    warnings: tuple[str, ...] = ()
    demo: bool = False

    @cached_property
    def _pot(self) -> Likely:
        return likely(self.lab, self.lab[np.newaxis], self.covariance[np.newaxis], self.freedom)

    @property
    def likely(self) -> float:
        """Mean ΔE2000 between this prediction and the pot."""
        return float(self._pot.mean[0])

    @property
    def median(self) -> float:
        """The ΔE2000 that half of the pots stay below."""
        return float(self._pot.median[0])

    @property
    def bound(self) -> float:
        """The ΔE2000 that nine pots in ten stay below."""
        return float(self._pot.bound[0])

    @property
    def hex(self) -> str:
        return self.screen.hex

    def pots(self, target: Array, count: int) -> Array:
        """CIELAB ``(count, 3)`` of pots, each as likely as the next, nearest to a target first."""
        return pots(target, self.lab, self.covariance, self.freedom, count)

    def as_target(self) -> Target:
        """This colour, with its spectrum, as something to reach."""
        return Target.of_reflectance(self.reflectance, self.light, str(self.recipe), "prediction")

    @property
    def row(self) -> dict[str, object]:
        """As columns of a table: recipe, depth in all, colour with its light, warnings."""
        colour = colour_row(self.lab, self.light, self.hex)
        more = {"C*": float(np.hypot(*self.lab[1:])), "warnings": self.warnings}
        return {"recipe": self.recipe, "total_owf": self.recipe.total, **colour, **more}

    def _rows(self) -> Iterable[Row]:
        return [self.row | {name: getattr(self, name) for name in ("likely", "median", "bound")}]

    def __str__(self) -> str:
        lines = [DEMO_WARNING] if self.demo else []
        values = "L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*self.lab)
        lines.append(f"{self.recipe}  (% owf)")
        lines.append(f"{values} ({self.light}), {self.screen}")
        return "\n".join([*lines, *self.warnings])


@dataclass(frozen=True, eq=False)
class Predictions(Result):
    """N recipes as they are expected to come out of the pot, under one light.

    `len`, iteration and indexing go to them one by one, each a `Prediction`.

    Attributes
    ----------
    amounts : ``(N, D)`` % owf, of the dyes of `span`.
    reflectance : ``(N, B)`` fraction at `wavelengths` in nm.
    lab : ``(N, 3)`` CIELAB.
    causes : covariances of that CIELAB in the pot, by cause.
    freedom : degrees of freedom of the likely miss.
    recipes : as they were given; else those of `amounts`.
    index : of the rows, where they came in a frame or a column.
    """

    wavelengths: ClassVar[Array] = WAVELENGTHS
    amounts: Array
    reflectance: Array
    lab: Array
    light: Light
    causes: Causes
    freedom: float
    span: Span
    recipes: tuple[Recipe, ...] = ()
    index: Any = None
    demo: bool = False

    @cached_property
    def covariance(self) -> Array:
        """``(N, 3, 3)`` of CIELAB in the pot."""
        return self.causes.total

    def rows(self, rows: NDArray[np.intp]) -> Predictions:
        """Some of the recipes."""
        return replace(
            self, amounts=self.amounts[rows], reflectance=self.reflectance[rows],
            lab=self.lab[rows], causes=self.causes.rows(rows), index=None,
            recipes=tuple(self.recipes[i] for i in rows) if self.recipes else (),
        )  # fmt: skip

    def __len__(self) -> int:
        return len(self.amounts)

    def __getitem__(self, i: int) -> Prediction:
        return next(iter(self.rows(np.arange(len(self))[[i]])))

    def __iter__(self) -> Iterator[Prediction]:
        recipes = self.recipes or map(self.span.recipe, self.amounts)
        screens = screen_colours(lab(self.reflectance, D65_2))
        for i, (recipe, screen) in enumerate(zip(recipes, screens, strict=True)):
            yield Prediction(
                recipe, self.reflectance[i], self.lab[i], self.light, self.covariance[i],
                self.freedom, screen, self.span.warnings(self.amounts[i]), self.demo,
            )  # fmt: skip

    @property
    def hex(self) -> list[str]:
        """sRGB codes, from the spectra under D65/2°."""
        return [screen.hex for screen in screen_colours(lab(self.reflectance, D65_2))]

    @property
    def warnings(self) -> list[tuple[str, ...]]:
        """Of each recipe, where it leaves the range of the swatches."""
        return [self.span.warnings(amounts) for amounts in self.amounts]

    def in_pot(
        self, target: Array, k_lightness: float = 1.0, spread: Array | float = 0.0
    ) -> Likely:
        """ΔE2000 in the pot from a target ``(3,)`` or ``(N, 3)``.

        `spread`, ``(3, 3)`` or ``(N, 3, 3)``, is the covariance of the target itself.
        """
        return likely(target, self.lab, self.covariance + spread, self.freedom, k_lightness)

    def expected(
        self, target: Array, k_lightness: float = 1.0, spread: Array | float = 0.0
    ) -> Array:
        """Mean ΔE2000 ``(N,)`` of `in_pot`, cheaply, for ranking."""
        return expected_miss(target, self.lab, self.covariance + spread, k_lightness)

    @cached_property
    def _of_itself(self) -> Likely:
        return self.in_pot(self.lab)

    @property
    def likely(self) -> Array:
        """Mean ΔE2000 ``(N,)`` between prediction and pot."""
        return self._of_itself.mean

    @property
    def median(self) -> Array:
        """The ΔE2000 ``(N,)`` that half of the pots stay below."""
        return self._of_itself.median

    @property
    def bound(self) -> Array:
        """The ΔE2000 ``(N,)`` that nine pots in ten stay below."""
        return self._of_itself.bound

    def _rows(self) -> Iterable[Row]:
        figures = zip(self.likely, self.median, self.bound, strict=True)
        for one, (mean, median, bound) in zip(self, figures, strict=True):
            yield one.row | {"likely": mean, "median": median, "bound": bound}

    def to_frame(self) -> Frame:
        """One row a recipe: amounts (% owf), colour, misses in the pot, warnings; index kept."""
        out = super().to_frame()
        return out if self.index is None else out.set_axis(self.index, axis=0)

    def __str__(self) -> str:
        lines = [DEMO_WARNING] if self.demo else []
        likely = f", likely {self.likely.mean():.1f} off" if len(self) else ""
        lines.append(f"{len(self)} recipes{likely} ({self.light})")
        return "\n".join(lines)
