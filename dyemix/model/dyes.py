"""The fitted dyes of one shelf on one cloth, and what a recipe of them looks like."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_2, D65_10, Light, ScreenColour, lab, screen_colours
from dyemix.dataset.recipe import Recipe, format_amount
from dyemix.dataset.serialise import Shape
from dyemix.dataset.swatches import DEMO_WARNING, Reading, Swatch
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError, RecipeError
from dyemix.model.fit_report import FitReport
from dyemix.model.kubelka_munk import Surface
from dyemix.model.ladders import Ladders, Pot
from dyemix.model.mixtures import Blends
from dyemix.model.scatter import Scatter
from dyemix.model.uncertainty import Likely, Predictions, causes, likely, pots
from dyemix.model.unknowns import Modes, Posterior


@dataclass(frozen=True, eq=False)
class Prediction:
    """What a recipe is expected to look like, on paper and in the pot.

    Attributes
    ----------
    recipe : % owf.
    reflectance : ``(B,)`` fraction.
    lab : ``(3,)`` CIELAB under `light`.
    covariance : ``(3, 3)`` of that CIELAB in the pot.
    freedom : degrees of freedom of the likely miss.
    screen : sRGB code, from the spectrum under D65/2°.
    warnings : where the recipe leaves the range of the swatches.
    """

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

    def __str__(self) -> str:
        lines = [DEMO_WARNING] if self.demo else []
        values = "L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*self.lab)
        lines.append(f"{self.recipe}  (% owf)")
        lines.append(f"{values} ({self.light}), {self.screen}")
        return "\n".join([*lines, *self.warnings])


@dataclass(frozen=True, eq=False)
class DyeSet:
    """The dyes of one shelf, fitted on one cloth. Immutable; saved by `dyemix.save`.

    Attributes
    ----------
    names : the dyes, ``D`` of them.
    curves : ``(D, B)`` absorption per unit of g, ≥ 0.
    law : ``(D, 2)`` exponent and bend of the depth law.
    palest, deepest : ``(D,)`` % owf, the range its swatches cover.
    cloth : ``(B,)`` measured reflectance of the undyed cloth.
    surface : the surface term of the set.
    light : the light of the readings, taken for a bare CIELAB target.
    company : ``(D,)`` how much stronger each dye is in mixes, ln; 0 where no mixtures were read.
    interaction : κ of `dyemix.model.mixtures`; 0 where no mixtures were read.
    conditions : how the swatches were dyed.
    scatter : how far pots of one recipe stray from each other, by cause.
    ladders : the dyes as single squares alone show them, where a fit made them.
    pots : the mixes and trials that moved them from there.
    posterior : what is known of the unknowns after those; by default their prior.
    """

    names: tuple[str, ...]
    curves: Annotated[Array, Shape("D", "B")]
    law: Annotated[Array, Shape("D", 2)]
    palest: Annotated[Array, Shape("D")]
    deepest: Annotated[Array, Shape("D")]
    cloth: Annotated[Array, Shape("B")]
    surface: Surface
    light: Light = D65_10
    company: Annotated[Array, Shape("D")] = field(default_factory=lambda: np.zeros(0))
    interaction: float = 0.0
    conditions: Mapping[str, str] = field(default_factory=dict)
    scatter: Scatter = field(default_factory=Scatter)
    report: FitReport | None = None
    ladders: Ladders | None = None
    pots: tuple[Pot, ...] = ()
    posterior: Posterior | None = None
    demo: bool = False

    def __post_init__(self) -> None:
        if not len(self.company):
            object.__setattr__(self, "company", np.zeros(len(self.names)))
        for name in ("curves", "law", "palest", "deepest", "cloth", "company"):
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
            self.law[i],
            self.company[i],
            self.surface.k_over_s(self.cloth),
            self.surface,
            self.interaction,
        )

    @cached_property
    def whole(self) -> Blends:
        """The forward model of blends of every dye; its arrays have a first axis of one."""
        return self.blends([np.arange(len(self))])

    @property
    def modes(self) -> Modes:
        """What the ladders leave open."""
        return self.ladders.modes if self.ladders else Modes.none(*self.curves.shape)

    @cached_property
    def known(self) -> Posterior:
        """What is known of the unknowns: the posterior, or the prior where nothing was read."""
        return self.posterior or Posterior.prior(self.modes)

    def _checked(self, amounts: ArrayLike) -> Array:
        c = np.atleast_2d(np.asarray(amounts, dtype=float))
        if c.shape[1] != len(self) or not np.all(c >= 0):
            raise DyemixError(f"amounts are {len(self)} columns of % owf, 0 or more.")
        return c

    def reflectance(self, amounts: ArrayLike) -> Array:
        """Reflectance ``(N, B)`` of amounts ``(N, D)`` in % owf. Raises `DyemixError` below 0."""
        g = self.whole.working(self._checked(amounts))
        return self.surface.reflectance(self.whole.cloth + g @ self.curves)

    def colours(self, amounts: ArrayLike, light: Light | None = None) -> Array:
        """CIELAB ``(..., 3)`` of amounts ``(..., D)`` in % owf, under `light`: on paper alone."""
        c = np.atleast_2d(np.asarray(amounts, dtype=float))
        spectra = self.reflectance(c.reshape(-1, c.shape[-1]))
        return lab(spectra, light or self.light).reshape(*c.shape[:-1], 3)

    def predict_many(
        self, amounts: ArrayLike, light: Light | None = None, dosing: Array | None = None
    ) -> Predictions:
        """What amounts ``(N, D)`` in % owf are expected to look like, on paper and in the pot.

        `dosing` ``(N, D)`` is the standard error of each amount in % owf, where it is known; by
        default the usual share of the amount. Raises `DyemixError` for amounts below 0.
        """
        c, light = self._checked(amounts), light or self.light
        labs, by_cause = causes(self.whole, c, light, self.modes, self.known, self.scatter, dosing)
        return Predictions(self.reflectance(c), labs, light, by_cause, self.known.freedom)

    def described(self, found: Predictions, recipes: Sequence[Recipe]) -> list[Prediction]:
        """Each of the predictions by itself, with what is to be said of its recipe."""
        screens = screen_colours(lab(found.reflectance, D65_2))
        return [
            Prediction(
                recipe, found.reflectance[i], found.lab[i], found.light, found.covariance[i],
                found.freedom, screens[i], self.warnings(recipe), self.demo,
            )
            for i, recipe in enumerate(recipes)
        ]  # fmt: skip

    def predict(self, recipe: Mapping[str, float] | str, light: Light | None = None) -> Prediction:
        """What a recipe (% owf) is expected to look like under `light`. Raises `RecipeError`."""
        parsed = Recipe.parse(recipe)
        return self.described(self.predict_many(self.amounts(parsed), light), [parsed])[0]

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
        # A calibration on this cloth would need pots on it; what is known of the dyes stays.
        return replace(self, cloth=values, pots=())

    def take(self, names: list[str] | tuple[str, ...]) -> DyeSet:
        """A shelf with only these dyes. Raises `RecipeError` for one it does not have."""
        i = [self.index(name) for name in names]
        return replace(
            self,
            names=tuple(names),
            curves=self.curves[i],
            law=self.law[i],
            company=self.company[i],
            palest=self.palest[i],
            deepest=self.deepest[i],
            ladders=self.ladders and self.ladders.take(i),
            posterior=self.posterior and self.posterior.take(self.modes.places(i)),
            pots=tuple(pot for pot in self.pots if set(pot.recipe) <= set(names)),
        )

    def __str__(self) -> str:
        if self.report is not None:
            return str(self.report)
        return f"{len(self)} dyes: {', '.join(self.names)} ({self.light}, sRGB {D65_2})"
