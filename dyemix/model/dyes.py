"""The fitted dyes of one shelf on one cloth, and what a recipe of them looks like.

They keep the evidence of their fit: the dyes as single squares show them, the pots read since, and
what these say of the unknowns. What the dyes do follows from that. A calibration always starts from
the squares, so that a pot counts once however often it is told of, and leaves nothing behind when
it is taken out.
"""

import datetime
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field, replace
from functools import cached_property
from types import MappingProxyType
from typing import Annotated, Any, Self

import numpy as np
from numpy.typing import ArrayLike

from dyemix.arrays import Array, Flags, numbers
from dyemix.colour.colorimetry import D65_2, D65_10, AnyLight, Light, lab
from dyemix.colour.spectra import fractions
from dyemix.dataset.readings import Clipped, Reading, Swatch
from dyemix.dataset.recipe import ManyRecipes, OneRecipe, Recipe, dye_names, in_order, is_one, place
from dyemix.dataset.result import Result, Row, Value, colour_row
from dyemix.dataset.swatches import SwatchSet
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError, RecipeError, expect, refuse, said
from dyemix.model.fit_report import Evaluation, FitReport, mixture_checks
from dyemix.model.kubelka_munk import Surface, saturation
from dyemix.model.mixtures import Blends, by_shift, in_company
from dyemix.model.prediction import Prediction, Span
from dyemix.model.uncertainty import Scatter, causes, effects
from dyemix.model.unknowns import Modes, Posterior

#: Depths of a dye alone, from its palest swatch to its deepest; below so much C* at the middle one
#: it has no colour of its own (a working value of ours).
_DEPTHS, GREY = 21, 12.0
#: Laws stay above this exponent: below 0 more dye would be less.
_LEAST_EXPONENT = 0.2


class Ladders(Value):
    """The dyes as single squares alone show them.

    Attributes
    ----------
    curves : ``(D, B)`` absorption per unit of g, ≥ 0.
    law : ``(D, 2)`` exponent and bend of the depth law.
    surface : the surface term of the set.
    modes : what the squares leave open.
    ceiling : what r0 stays below: the lowest reflectance read, with some room.
    misfit : ΔE2000 by which left-out depths miss beyond what scatter explains.
    interaction : ``(D,)`` what each dye does to all in its bath before any mix, κ of
        `dyemix.model.mixtures`: None, but for dyes saved by an older fit.
    pictures : photographs whose errors are among `modes`, three parts each.
    """

    curves: Annotated[Array, "D", "B"]
    law: Annotated[Array, "D", 2]
    surface: Surface
    modes: Modes
    ceiling: float = 0.06
    misfit: float = 0.0
    interaction: Annotated[Array, "D"] | None = None
    pictures: tuple[str, ...] = ()

    def take(self, index: list[int]) -> Self:
        """Those of some of the dyes."""
        acts = None if self.interaction is None else self.interaction[index]
        curves, law, modes = self.curves[index], self.law[index], self.modes.take(index)
        return replace(self, curves=curves, law=law, interaction=acts, modes=modes)

    def blends(self, theta: Array, cloth: Array) -> Blends:
        """The forward model of these dyes with θ ``(P,)`` applied, on cloth of a reflectance
        ``(B,)``.
        """
        modes = self.modes
        strength, (bias, common, saturating), shared, u, shift, acting = modes.split(theta)
        change = np.einsum("k,dkm->dm", shared, modes.shared)
        change += np.einsum("dq,dqm->dm", u, modes.own)
        curves, law = self.curves * np.exp(change[:, :-2]), self.law + change[:, -2:]
        law[:, 0] = np.maximum(law[:, 0], _LEAST_EXPONENT)
        r0, k2 = np.array([self.surface.r0, self.surface.k2]) + modes.surface * shared[:2]
        surface, old = Surface(float(r0), float(k2)), self.interaction
        acts = (0.0 if old is None else old) + acting + common + saturating * saturation(law)
        added = in_company(curves) * np.expm1(shift[:, np.newaxis] * by_shift(curves))
        added, ground = np.maximum(added, -curves), surface.k_over_s(cloth)
        return Blends(curves, law, strength + bias, ground, surface, acts, added)


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
    pictures : the photographs it was read from, each of whose errors is common to all in it.
    """

    recipe: Recipe
    lab: Annotated[Array, 3]
    covariance: Annotated[Array, 3, 3] | None = None
    clipped: Clipped | None = None
    on: Annotated[Array, "B"] | None = None
    date: datetime.date | None = None
    lot: str = ""
    weight: float = 1.0
    label: str = ""
    pictures: tuple[str, ...] = ("",)

    @property
    def identity(self) -> tuple[object, ...]:
        """What makes it the same pot however it is told of: all but weight and label."""
        over = None if self.on is None else tuple(np.round(self.on, 6))
        recipe = tuple(sorted(self.recipe.items()))
        return recipe, tuple(np.round(self.lab, 6)), over, self.date, self.lot


class DyeSet(Result):
    """The dyes of one shelf, fitted on one cloth. Immutable; saved by `dyemix.save`.

    Attributes
    ----------
    names : the dyes, ``D`` of them.
    palest, deepest : ``(D,)`` % owf, the range its swatches cover.
    cloth : ``(B,)`` measured reflectance of the undyed cloth.
    ladders : the dyes as single squares alone show them.
    light : the light of the readings, taken for a bare CIELAB target.
    pots : the mixes and trials that moved them from there.
    posterior : what is known of the unknowns after those; by default their prior.
    conditions : how the swatches were dyed.
    scatter : how far pots of one recipe stray from each other, by cause.

    >>> dyes.predict("rust 1 + navy 0.125").light
    Light(illuminant='D65', observer=10)
    >>> dyes.predict([{"rust": 1.0}, {"navy": 0.5}]).lab.shape
    (2, 3)
    >>> len(dyes.cross_validate()) == len(dyes.pots)
    True
    """

    READ = MappingProxyType({"cloth": fractions})
    names: tuple[str, ...]
    palest: Annotated[Array, "D"]
    deepest: Annotated[Array, "D"]
    cloth: Annotated[Array, "B"]
    ladders: Ladders
    light: Light = D65_10
    pots: tuple[Pot, ...] = ()
    posterior: Posterior | None = None
    conditions: Mapping[str, str] = field(default_factory=dict)
    scatter: Scatter = field(default_factory=Scatter)
    report: FitReport | None = None
    demo: bool = False

    def __len__(self) -> int:
        return len(self.names)

    @cached_property
    def _hash(self) -> int:
        return super().__hash__()

    def __hash__(self) -> int:
        # Caches ask for it in every match, and all that was read goes into it.
        return self._hash

    def index(self, dye: str) -> int:
        """Position of a dye. Raises `RecipeError` that suggests the nearest name."""
        return place(dye, self.names)

    def amounts(self, recipe: "OneRecipe | Array") -> Array:
        """Amounts ``(D,)`` in % owf, in the order of `names`. Raises `RecipeError` for several."""
        found = in_order(recipe, self.names)[0]
        refuse(len(found) != 1, "fit.one_recipe", len(found), error=RecipeError)
        return np.asarray(found[0])

    @cached_property
    def span(self) -> Span:
        """What the swatches of each dye cover."""
        return Span(self.names, self.palest, self.deepest)

    @property
    def middle_depths(self) -> Array:
        """The middle, in ratio, of the range that swatches cover, ``(D,)`` % owf."""
        return np.sqrt(self.palest * self.deepest)

    def recipe(self, amounts: ArrayLike) -> Recipe:
        """The recipe of amounts ``(D,)`` in % owf. Raises `RecipeError` for what are none."""
        return self.span.recipe(self.amounts(np.atleast_1d(numbers(amounts))))

    @cached_property
    def whole(self) -> Blends:
        """The forward model of blends of every dye, as all that was read shows them."""
        blends = self.ladders.blends(self.known.mean, self.cloth)
        for array in (blends.curves, blends.law, blends.company, blends.interaction):
            array.setflags(write=False)  # every later answer is worked out from them
        return blends

    @cached_property
    def known(self) -> Posterior:
        """What is known of the unknowns: the posterior, or the prior where nothing was read."""
        ladders, reading = self.ladders, self.scatter.reading_variance
        return self.posterior or Posterior.prior(ladders.modes, ladders.misfit, reading)

    def reflectance(self, amounts: ArrayLike) -> Array:
        """Reflectance ``(N, B)`` of amounts ``(N, D)`` in % owf. Raises `RecipeError` below 0."""
        return self.whole.reflectance(in_order(numbers(amounts), self.names)[0])

    def colours(self, amounts: ArrayLike, light: AnyLight = None) -> Array:
        """CIELAB ``(..., 3)`` of amounts ``(..., D)`` in % owf, under `light`: on paper alone."""
        c = np.atleast_2d(numbers(amounts))
        spectra = self.reflectance(c.reshape(-1, c.shape[-1] or 1))
        return lab(spectra, self.light_of(light)).reshape(*c.shape[:-1], 3)

    def alone(self, light: AnyLight) -> Array:
        """CIELAB ``(D, 21, 3)`` of each dye alone, from its palest swatch to its deepest."""
        depths = np.geomspace(self.palest, self.deepest, _DEPTHS, axis=1)
        return self.colours(depths[:, :, np.newaxis] * np.eye(len(self))[:, np.newaxis], light)

    def middles(self, light: AnyLight) -> Array:
        """CIELAB ``(D, 3)`` of each dye alone, at the middle of its swatches."""
        return self.colours(np.diag(self.middle_depths), light)

    def greys(self, light: AnyLight) -> Flags:
        """Which dyes ``(D,)`` have no colour of their own there."""
        return np.asarray(np.hypot(*self.middles(light).T[1:]) < GREY)

    def predict_many(
        self, recipes: "ManyRecipes | OneRecipe", light: AnyLight = None,
        dosing: "ManyRecipes | None" = None,
    ) -> Prediction:  # fmt: skip
        """What recipes are expected to look like, on paper and in the pot.

        Parameters
        ----------
        recipes : amounts ``(N, D)`` in % owf in the order of `names`; a frame with a column a dye,
            in any order; or a column or a list of recipes.
        light : of the colours, as ``D65/10``; by default that of the swatches.
        dosing : standard error of each amount, as amounts are given, where it is known; by default
            the usual share of the amount.

        Raises `RecipeError` for a dye the shelf does not have, a frame with a column missing or too
        many, and amounts below 0.
        """
        c, told, index = in_order(recipes, self.names)
        if dosing is not None:
            dosing = in_order(dosing, self.names)[0]
            rows = len(c), len(dosing)
            refuse(dosing.shape != c.shape, "fit.dosing_rows", *rows, error=RecipeError)
        seen, modes = self.light_of(light), self.ladders.modes
        made, slopes = effects(self.whole, c, seen, modes)
        by_cause = causes(made, slopes, c, modes, self.known, self.scatter, dosing)
        return Prediction(
            c, made.reflectance, made.lab, seen, by_cause.total, by_cause,
            self.known.freedom, self.span, told, index, self.demo,
        )  # fmt: skip

    def predict(self, recipe: "OneRecipe | ManyRecipes", light: AnyLight = None) -> Prediction:
        """What a recipe is expected to look like under `light`; or many, as `predict_many`.

        One recipe is text, a mapping, or a series indexed by dye, in % owf. Raises `RecipeError`.
        """
        found = self.predict_many(recipe, light)
        return found[0] if is_one(recipe) else found

    def evaluate(self, swatches: SwatchSet | Sequence[Swatch]) -> Evaluation:
        """Swatches of these dyes as they were read, and as these dyes predict them.

        Says nothing of how good the dyes are where they were fitted to the same swatches: see
        `cross_validate`. Raises `RecipeError` for a dye the shelf does not have, `DyemixError`
        where none was dyed and read.
        """
        for swatch in swatches:
            expect(swatch, Swatch, "read_swatches and SwatchSet.from_frame give those")
        dyed = [swatch for swatch in swatches if swatch.recipe]
        refuse(not dyed, "fit.none_read")
        found = self.predict_many([s.recipe for s in dyed])
        read = np.array([s.colour(self.light) for s in dyed])
        labels, promised = [s.label for s in dyed], (found.likely, found.median, found.bound)
        checks = mixture_checks(labels, read, found.lab, *promised)
        return Evaluation(checks, str(self.light), self.demo)

    def cross_validate(self) -> Evaluation:
        """Own mixes as they were read, and as the calibration on all the others predicts them.

        Raises `DyemixError` where no mix of these dyes was read.
        """
        if self.report is None or not self.report.checks:
            raise DyemixError(said("fit.no_mix_read"))
        return Evaluation(self.report.checks, self.report.light, self.demo)

    def light_of(self, asked: Target | AnyLight) -> Light:
        """The one light of an answer: that asked for, or of the target; else of the swatches."""
        return Light.parse((asked.light if isinstance(asked, Target) else asked) or self.light)

    def on(self, cloth: Reading | Swatch | ArrayLike) -> Self:
        """The same dyes on other cloth: a reflectance ``(B,)``, or a reading of a dyed piece.

        Absorption adds to what the cloth already carries. Raises `InputError` for what is no
        reflectance, `DyemixError` for a cloth that is darker than the surface alone.
        """
        read: Any = cloth.reflectance if isinstance(cloth, Reading | Swatch) else cloth
        values, r0 = fractions(read), self.whole.surface.r0
        refuse(not np.all(values > r0), "fit.too_dark", r0)
        # A calibration on this cloth would need pots on it; what is known of the dyes stays.
        return replace(self, cloth=values, pots=())

    def over(self, cloth: Reading | Swatch | ArrayLike) -> Self:
        """The same dyes in a second bath: as `on`, by the scatter of second baths."""
        return replace(self.on(cloth), scatter=self.scatter.second())

    def take(self, names: Iterable[str] | str) -> Self:
        """A shelf with only these dyes. Raises `RecipeError` for one it does not have."""
        names = tuple(dict.fromkeys(dye_names(names)))
        i = [self.index(name) for name in names]
        refuse(not i, "a shelf holds one dye or more: name the ones to take.")
        return replace(
            self, names=names, palest=self.palest[i], deepest=self.deepest[i],
            ladders=self.ladders.take(i),
            posterior=self.posterior and self.posterior.take(self.ladders.modes.places(i)),
            pots=tuple(pot for pot in self.pots if set(pot.recipe) <= set(names)),
        )  # fmt: skip

    def _rows(self) -> Iterable[Row]:
        """One row a dye: name, palest and deepest swatch (% owf), its colour at the deepest."""
        deepest = self.predict_many(np.diag(self.deepest))
        for i, name in enumerate(self.names):
            span = {"palest": float(self.palest[i]), "deepest": float(self.deepest[i])}
            yield {"dye": name, **span, **colour_row(deepest.lab[i], self.light, deepest.hex[i])}

    def __str__(self) -> str:
        names = f"{len(self)} dyes: {', '.join(self.names)} ({self.light}, sRGB {D65_2})"
        return str(self.report or names)
