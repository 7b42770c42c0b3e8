"""The fitted dyes of one shelf on one cloth, and what a recipe of them looks like."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_2, D65_10, Light, ScreenColour, lab, screen_colour
from dyemix.dataset.recipe import Recipe, format_amount
from dyemix.dataset.swatches import DEMO_WARNING, Reading, Swatch
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError, RecipeError
from dyemix.model.fit_report import FitReport
from dyemix.model.kubelka_munk import Surface
from dyemix.model.mixtures import Blends, working_amounts
from dyemix.model.scatter import Scatter

LINEAR = "linear"


def law_name(exponent: float, capacity: float) -> str:
    """``linear``, ``Langmuir`` or ``Freundlich``, from the parameters of the depth law."""
    if np.isfinite(capacity):
        return "Langmuir"
    return LINEAR if exponent == 1.0 else "Freundlich"


@dataclass(frozen=True, eq=False)
class Prediction:
    """What a recipe is expected to look like, on paper.

    Attributes
    ----------
    recipe : % owf.
    reflectance : ``(B,)`` fraction.
    lab : ``(3,)`` CIELAB under `light`.
    screen : sRGB code, from the spectrum under D65/2°.
    warnings : where the recipe leaves the range of the swatches.
    """

    recipe: Recipe
    reflectance: Array
    lab: Array
    light: Light
    screen: ScreenColour
    warnings: tuple[str, ...] = ()
    demo: bool = False

    @property
    def hex(self) -> str:
        return self.screen.hex

    def as_target(self) -> Target:
        """This colour, with its spectrum, as something to reach."""
        return Target.of_reflectance(self.reflectance, self.light, str(self.recipe), "prediction")

    def __str__(self) -> str:
        lines = [DEMO_WARNING] if self.demo else []
        values = "L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*self.lab)
        lines.append(f"{self.recipe}  (% owf)")
        lines.append(f"{values} ({self.light}), {self.screen}")
        return "\n".join([*lines, *self.warnings])


@dataclass(frozen=True, eq=False)
class Draws:
    """E equally likely versions of the fitted dyes: what the swatches leave open.

    `curves` ``(E, D, B)``, `exponent` and `capacity` ``(E, D)``. The spread of what they predict
    is the part of a prediction's error that comes from the fit, correlations included.
    """

    curves: Array
    exponent: Array
    capacity: Array

    def __post_init__(self) -> None:
        for values in (self.curves, self.exponent, self.capacity):
            values.setflags(write=False)


@dataclass(frozen=True, eq=False)
class DyeSet:
    """The dyes of one shelf, fitted on one cloth. Immutable; saved by `dyemix.save`.

    Attributes
    ----------
    names : the dyes, ``D`` of them.
    curves : ``(D, B)`` absorption per unit of g, ≥ 0.
    exponent, capacity : ``(D,)`` of the depth law (1 and ∞ where it has none).
    palest, deepest : ``(D,)`` % owf, the range its swatches cover.
    cloth : ``(B,)`` measured reflectance of the undyed cloth.
    surface : the surface term of the set.
    light : the light of the readings, taken for a bare CIELAB target.
    competition : κ of `dyemix.model.mixtures`, per % owf; 0 where no mixtures were read.
    conditions : how the swatches were dyed.
    scatter : how far pots stray from a prediction, by cause.
    draws : equally likely versions of the curves and laws, where the fit gives them.
    """

    names: tuple[str, ...]
    curves: Array
    exponent: Array
    capacity: Array
    palest: Array
    deepest: Array
    cloth: Array
    surface: Surface
    light: Light = D65_10
    competition: float = 0.0
    conditions: Mapping[str, str] | None = None
    scatter: Scatter = field(default_factory=Scatter)
    report: FitReport | None = None
    draws: Draws | None = None
    demo: bool = False

    def __post_init__(self) -> None:
        for name in ("curves", "exponent", "capacity", "palest", "deepest", "cloth"):
            getattr(self, name).setflags(write=False)

    def __len__(self) -> int:
        return len(self.names)

    def index(self, dye: str) -> int:
        """Position of a dye. Raises `RecipeError` that suggests the nearest name."""
        if dye in self.names:
            return self.names.index(dye)
        near = difflib.get_close_matches(dye, self.names, 1)
        hint = f"did you mean {near[0]}?" if near else f"the shelf has {', '.join(self.names)}."
        raise RecipeError(f"no swatch of {dye!r} on this shelf: {hint}")

    def amounts(self, recipe: Mapping[str, float] | str) -> Array:
        """Amounts ``(D,)`` in % owf, in the order of `names`. Raises `RecipeError`."""
        out = np.zeros(len(self))
        for dye, amount in Recipe.parse(recipe).items():
            out[self.index(dye)] = amount
        return out

    def recipe(self, amounts: ArrayLike) -> Recipe:
        """The recipe of amounts ``(D,)`` in % owf."""
        values = np.asarray(amounts, dtype=float)
        return Recipe({n: float(a) for n, a in zip(self.names, values, strict=True) if a > 0})

    def blends(self, index: ArrayLike) -> Blends:
        """The forward model of N blends of the dyes at `index` ``(N, k)``."""
        i = np.asarray(index, dtype=np.intp)
        return Blends(
            self.curves[i],
            self.exponent[i],
            self.capacity[i],
            self.surface.k_over_s(self.cloth),
            self.surface,
            self.competition,
        )

    def reflectance(self, amounts: ArrayLike) -> Array:
        """Reflectance ``(N, B)`` of amounts ``(N, D)`` in % owf. Raises `DyemixError` below 0."""
        c = np.atleast_2d(np.asarray(amounts, dtype=float))
        if c.shape[1] != len(self) or not np.all(c >= 0):
            raise DyemixError(f"amounts are {len(self)} columns of % owf, 0 or more.")
        g = working_amounts(c, self.exponent, self.capacity, self.competition)
        return self.surface.reflectance(self.surface.k_over_s(self.cloth) + g @ self.curves)

    def predict(self, recipe: Mapping[str, float] | str, light: Light | None = None) -> Prediction:
        """What a recipe (% owf) is expected to look like under `light`. Raises `RecipeError`."""
        parsed = Recipe.parse(recipe)
        light = light or self.light
        r = self.reflectance(self.amounts(parsed))[0]
        return Prediction(
            parsed, r, lab(r, light), light, screen_colour(r), self.warnings(parsed), self.demo
        )

    def predict_many(self, amounts: ArrayLike, light: Light | None = None) -> Array:
        """CIELAB ``(N, 3)`` of amounts ``(N, D)`` in % owf, under `light`."""
        return lab(self.reflectance(amounts), light or self.light)

    def light_of(self, asked: Target | Light | None) -> Light:
        """The one light of an answer: that asked for, or of the target; else of the swatches."""
        return (asked.light if isinstance(asked, Target) else asked) or self.light

    def warnings(self, recipe: Mapping[str, float]) -> tuple[str, ...]:
        """One sentence for each dye that leaves the range of its swatches."""
        out = []
        for dye, amount in Recipe.parse(recipe).items():
            i = self.index(dye)
            # The last digit that is printed must not make a warning.
            if amount < self.palest[i] * (1 - 1e-9):
                edge, word = self.palest[i], "paler than your palest"
            elif amount > self.deepest[i] * (1 + 1e-9):
                edge, word = self.deepest[i], "deeper than your deepest"
            else:
                continue
            out.append(
                f"{dye} {format_amount(amount)} is {word} square ({edge:g}): dye that one next."
            )
        return tuple(out)

    def on(self, cloth: Reading | Swatch | ArrayLike) -> DyeSet:
        """The same dyes on other cloth: a reflectance ``(B,)``, or a reading of a dyed piece.

        Absorption adds to what the cloth already carries. Raises `DyemixError` for a cloth that
        is darker than the surface alone.
        """
        r = cloth.reflectance if isinstance(cloth, Reading | Swatch) else cloth
        values = np.array(r, dtype=float)
        if values.shape != self.cloth.shape or not np.all(values > self.surface.r0):
            raise DyemixError(
                f"this cloth reflects less than its surface alone ({self.surface.r0:.3f}) in some "
                "band: read it again, or fit again with darker swatches."
            )
        return replace(self, cloth=values)

    def take(self, names: list[str] | tuple[str, ...]) -> DyeSet:
        """A shelf with only these dyes. Raises `RecipeError` for one it does not have."""
        i = [self.index(name) for name in names]
        draws = self.draws and Draws(
            self.draws.curves[:, i], self.draws.exponent[:, i], self.draws.capacity[:, i]
        )
        return replace(
            self,
            draws=draws,
            names=tuple(names),
            curves=self.curves[i],
            exponent=self.exponent[i],
            capacity=self.capacity[i],
            palest=self.palest[i],
            deepest=self.deepest[i],
        )

    def __str__(self) -> str:
        if self.report is not None:
            return str(self.report)
        return f"{len(self)} dyes: {', '.join(self.names)} ({self.light}, sRGB {D65_2})"
