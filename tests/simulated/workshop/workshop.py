"""A simulated workshop: weigh, dye and read hand-dyed cotton-linen cloth.

It stands in for cloth where a benchmark needs a known truth, so it is richer than the model that
is fitted to it and shares no code with it: depth laws of several unrelated forms, dyes that compete
for sites, two-constant Kubelka-Munk with scatter that changes with load, bands that change shape
with depth, a surface term that differs from swatch to swatch, unlevel cloth, correlated noise.
Every dye is invented; all figures are in ``settings.toml``.

Axis letters: B bands (31, 400 to 700 nm), D dyes (12), M absorption bands of a dye, P spots.
"""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Recipe = Mapping[str, float]

SETTINGS: Mapping[str, Any] = MappingProxyType(
    tomllib.loads(Path(__file__).with_name("settings.toml").read_text(encoding="utf-8"))
)
WAVELENGTHS: Array = np.arange(400.0, 701.0, 10.0)
WAVELENGTHS.flags.writeable = False


@dataclass(frozen=True, eq=False)
class Piece:
    """A finished, washed and dry piece of cloth.

    ``recipe`` is what was asked of the last bath and ``amounts`` what went into it (both % owf);
    ``reflectance`` (B,) is the mean over the piece, surface included, 0 to 1; ``fixed`` (D,) is the
    effective amount on the fibre from all baths; ``cloth`` (B,) is the absorption of the cloth
    itself and ``surface`` (B,) its surface term; ``under`` is the piece before this bath.
    """

    recipe: Recipe
    amounts: Recipe
    reflectance: Array
    fixed: Array
    cloth: Array
    surface: Array
    under: Piece | None = None


@dataclass(frozen=True, eq=False)
class Row:
    """One line of a swatch table: swatch name, recipe as written, one reading (B,), 0 to 1."""

    swatch: str
    recipe: str
    reading: Array


def parse_recipe(text: str) -> dict[str, float]:
    """Read 'marigold 0.8 + navy 0.25' (% owf) or 'undyed'. Raises ValueError on anything else."""
    if text.strip() == "undyed":
        return {}
    recipe: dict[str, float] = {}
    for part in text.split("+"):
        words = part.split()
        if len(words) != 2 or words[0] in recipe:
            raise ValueError(
                f"recipe {text!r}: want each dye once, as in 'marigold 0.8 + navy 0.25'"
            )
        recipe[words[0]] = float(words[1])
    return recipe


def format_recipe(recipe: Recipe) -> str:
    """Write a recipe (% owf) in the form that :func:`parse_recipe` reads."""
    return " + ".join(f"{name} {amount:g}" for name, amount in recipe.items()) or "undyed"


def kubelka_munk(ratio: Array) -> Array:
    """Reflectance of an opaque layer from K/S (Kubelka & Munk 1931), any shape."""
    return np.asarray(1.0 / (1.0 + ratio + np.sqrt(ratio * (ratio + 2.0))))


def k_over_s(reflectance: Array) -> Array:
    """K/S of an opaque layer from its reflectance (0 to 1, above 0), any shape."""
    return (1.0 - reflectance) ** 2 / (2.0 * reflectance)


def fixation(kind: str, size: float, shape: float, amount: float) -> float:
    """Effective amount fixed (% owf) by a bath of one dye of ``amount`` % owf.

    The kinds are unlike each other on purpose; only 'linear' and 'power' are laws that a usual fit
    offers. Raises ValueError on an unknown kind.
    """
    x = amount / size
    match kind:
        case "linear":
            return amount
        case "power":
            return float(amount**shape)
        case "tanh":
            return float(size * np.tanh(x))
        case "exponential":
            return float(-size * np.expm1(-x))
        case "log":
            return float(size * np.log1p(x))
        case "hill":  # slightly sigmoid: the first traces of dye fix poorly
            return float(size * x**shape / (1.0 + x**shape))
        case "two-site":  # a share of fast sites that fill up, the rest in proportion
            return float(-shape * size * np.expm1(-x) + (1.0 - shape) * amount)
    raise ValueError(f"unknown depth law {kind!r}")


class Workshop:
    """A dyer, her twelve dyes, her cloth and her instrument.

    ``seed`` moves the physics (strengths, bands, laws, competition, cloth) about the settings and
    starts all noise. ``noise=False`` keeps that physics and takes away dosing, pot, cloth-to-cloth,
    surface-to-surface, levelness and reading noise. The order of calls matters to the noise, never
    to the physics.
    """

    def __init__(self, seed: int = 0, noise: bool = True) -> None:
        self.seed = seed
        self.noise = noise
        self.dyes: tuple[str, ...] = tuple(SETTINGS["dyes"])
        self.wavelengths = WAVELENGTHS
        self._random = np.random.default_rng([seed, 1])
        self._set_physics(np.random.default_rng([seed, 0]))

    def _set_physics(self, rng: np.random.Generator) -> None:
        """Draw this seed's physics; the same with and without noise."""
        jitter, cloth = SETTINGS["jitter"], SETTINGS["cloth"]
        relative = (WAVELENGTHS - 550.0) / 150.0
        surface = SETTINGS["surface"]
        self.mean_surface = surface["mean"] * (1.0 + surface["slope"] * relative)
        self.mean_surface.flags.writeable = False
        self._scatter = (WAVELENGTHS / 550.0) ** cloth["scatter_slope"]
        self._load_scatter = cloth["load_scatter"] * (1.0 - cloth["load_scatter_nm"] * relative)
        measured = cloth["top"] - cloth["drop"] * np.exp(-(WAVELENGTHS - 400.0) / cloth["fall_nm"])
        inner = (measured - self.mean_surface) / (1.0 - self.mean_surface)
        self._cloth = k_over_s(inner) * self._scatter * _factor(rng, jitter["cloth_cv"])
        self._compete = SETTINGS["competition"]["b"] * _factor(rng, jitter["competition_cv"])

        count = len(self.dyes)
        most = max(len(dye["bands"]) for dye in SETTINGS["dyes"].values())
        self._bands = np.ones((4, count, most))  # peak nm, height, width short, width long
        self._bands[1] = 0.0
        self._tail, self._shift, self._broaden = np.zeros((3, count))
        self._dye_scatter, self._strike = np.zeros((2, count))
        self._laws: list[tuple[str, float, float]] = []
        for i, dye in enumerate(SETTINGS["dyes"].values()):
            bands = np.array(dye["bands"]).T
            strength = dye["strength"] * _factor(rng, jitter["strength_cv"])
            bands[0] += jitter["band_nm"] * rng.standard_normal(bands.shape[1])
            bands[1] *= strength
            bands[2:] *= _factor(rng, jitter["width_cv"])
            self._bands[:, i, : bands.shape[1]] = bands
            self._tail[i] = dye["tail"] * strength
            self._shift[i] = dye.get("shift_nm", 0.0)
            self._broaden[i] = dye.get("broaden", 0.0)
            self._dye_scatter[i] = dye.get("scatter", 0.0)
            self._strike[i] = dye["strike"] * _factor(rng, jitter["competition_cv"])
            law, bend = dye["law"], _factor(rng, jitter["law_cv"])
            shape = law.get("shape", 1.0)
            if law["kind"] in ("power", "hill"):
                shape = 1.0 + (shape - 1.0) * bend
            self._laws.append((law["kind"], law.get("size", 1.0) / bend, shape))

    def _amounts(self, recipe: Recipe) -> Array:
        """Recipe as amounts (D,), % owf; ValueError on an unknown dye or a bad amount."""
        for name, amount in recipe.items():
            if name not in self.dyes:
                raise ValueError(f"no dye {name!r}; the workshop has {', '.join(self.dyes)}")
            if not (np.isfinite(amount) and amount >= 0):
                raise ValueError(f"{name}: amount {amount} % owf is not zero or more")
        return np.array([recipe.get(name, 0.0) for name in self.dyes])

    def _fix(self, amounts: Array, earlier: Array) -> Array:
        """Effective amounts fixed (D,) by a bath of ``amounts`` where ``earlier`` took sites."""
        alone = np.array(
            [
                fixation(*law, amount) if amount else 0.0
                for law, amount in zip(self._laws, amounts, strict=True)
            ]
        )
        pull = amounts * self._strike
        taken = SETTINGS["competition"]["earlier"] * (earlier * self._strike).sum()
        return np.asarray(
            alone / (1.0 + self._compete * (pull.sum() - pull + taken) / self._strike)
        )

    def _inner(self, fixed: Array, cloth: Array) -> Array:
        """Reflectance below the surface (..., B) from effective amounts (..., D) on the fibre."""
        crowd = (fixed / (fixed + 2.0))[..., None, None]  # aggregation levels off in deep shades
        peak, height, short, long = (values[..., None] for values in self._bands)  # (D, M, 1)
        distance = WAVELENGTHS - peak - self._shift[:, None, None] * crowd
        width = np.where(distance < 0, short, long) * (1.0 + self._broaden[:, None, None] * crowd)
        curves = (height * np.exp2(-((distance / width) ** 2))).sum(axis=-2) + self._tail[:, None]
        absorption = cloth + (fixed[..., None] * curves).sum(axis=-2)
        load = fixed.sum(axis=-1, keepdims=True)
        risen = self._load_scatter * load / (load + SETTINGS["cloth"]["load_half"])
        gained = (fixed * self._dye_scatter).sum(axis=-1, keepdims=True)
        return kubelka_munk(absorption / (self._scatter * (1.0 + risen + gained)))

    def weigh(self, recipe: Recipe, dosing_cv: float | None = None) -> dict[str, float]:
        """Amounts that really went in, % owf.

        ``dosing_cv`` is the relative error per dye: by default the workshop's own, none without
        noise; a value given is used either way.
        """
        self._amounts(recipe)
        if dosing_cv is None:
            dosing_cv = SETTINGS["noise"]["dosing_cv"] if self.noise else 0.0
        return {name: c * _factor(self._random, dosing_cv) for name, c in recipe.items()}

    def dye(self, recipe: Recipe, dosing_cv: float | None = None) -> Piece:
        """Weigh, dye, wash and dry a fresh piece (``{}`` is undyed, through the whole process)."""
        cloth, surface = self._cloth, self.mean_surface
        if self.noise:
            noise = SETTINGS["noise"]
            tilt = noise["cloth_tilt_cv"] * self._random.standard_normal()
            cloth = cloth * _factor(self._random, noise["cloth_cv"])
            cloth = cloth * np.exp(tilt * (WAVELENGTHS - 550.0) / 150.0)
            surface = surface * _factor(self._random, SETTINGS["surface"]["cv"])
        return self._bath(recipe, dosing_cv, cloth, surface, None)

    def dye_on(self, piece: Piece, recipe: Recipe, dosing_cv: float | None = None) -> Piece:
        """Second bath over a finished piece: absorption adds, and part of the sites is taken."""
        return self._bath(recipe, dosing_cv, piece.cloth, piece.surface, piece)

    def _bath(
        self,
        recipe: Recipe,
        dosing_cv: float | None,
        cloth: Array,
        surface: Array,
        under: Piece | None,
    ) -> Piece:
        earlier = np.zeros(len(self.dyes)) if under is None else under.fixed
        weighed = self.weigh(recipe, dosing_cv)
        fixed = self._fix(self._amounts(weighed), earlier)
        spots = np.ones((1, 1))
        if self.noise:
            noise = SETTINGS["noise"]
            fixed = fixed * _factor(self._random, noise["pot_cv"])
            level = noise["level_cv"] * self._random.standard_normal((noise["level_spots"], 1))
            spots = np.exp(level)
        fixed = earlier + fixed
        inner = self._inner(spots * fixed, cloth).mean(axis=0)
        reflectance = surface + (1.0 - surface) * inner
        for array in (reflectance, fixed, cloth, surface):
            array.flags.writeable = False
        return Piece(
            MappingProxyType(dict(recipe)),
            MappingProxyType(weighed),
            reflectance,
            fixed,
            cloth,
            surface,
            under,
        )

    def read(self, piece: Piece) -> Array:
        """One instrument reading (B,) of a piece, 0 to 1, put down afresh; exact without noise."""
        if not self.noise:
            return piece.reflectance.copy()
        noise, rng = SETTINGS["noise"], self._random
        surface = piece.surface
        ratio = k_over_s((piece.reflectance - surface) / (1.0 - surface))
        inner = kubelka_munk(ratio * _factor(rng, noise["position_cv"]))
        seen = (surface + (1.0 - surface) * inner) * _factor(rng, noise["scale_cv"])
        size = np.hypot(noise["band_cv"] * seen, noise["band_floor"])
        apart = (WAVELENGTHS[:, None] - WAVELENGTHS) / noise["band_length_nm"]
        smooth = np.exp(-(apart**2))
        smooth /= np.sqrt((smooth**2).sum(axis=1, keepdims=True))
        return np.asarray(seen + size * (smooth @ rng.standard_normal(WAVELENGTHS.size)))

    def true_reflectance(self, recipe: Recipe) -> Array:
        """Reflectance (B,) of a recipe with no noise of any kind."""
        fixed = self._fix(self._amounts(recipe), np.zeros(len(self.dyes)))
        inner = self._inner(fixed, self._cloth)
        return np.asarray(self.mean_surface + (1.0 - self.mean_surface) * inner)

    def swatch(self, name: str, recipe: Recipe, readings: int | None = None) -> list[Row]:
        """Dye one swatch and read it; a row for each reading."""
        piece = self.dye(recipe)
        count = SETTINGS["ladder"]["readings"] if readings is None else readings
        return [Row(name, format_recipe(recipe), self.read(piece)) for _ in range(count)]

    def ladder(
        self,
        depths: Sequence[float] | None = None,
        repeats: int | None = None,
        readings: int | None = None,
        undyed: int | None = None,
    ) -> list[Row]:
        """Rows of a swatch table: undyed cloth, then each dye at each depth (% owf).

        One swatch in ``repeats`` is dyed again under a name of its own (0: none); every swatch is
        read ``readings`` times; ``undyed`` swatches go through the process with no dye.
        """
        plan = SETTINGS["ladder"]
        depths = plan["depths"] if depths is None else depths
        repeats = plan["repeat_every"] if repeats is None else repeats
        recipes: list[Recipe] = [{}] * (plan["undyed"] if undyed is None else undyed)
        singles = [{dye: float(depth)} for dye in self.dyes for depth in depths]
        recipes += singles + (singles[repeats // 2 :: repeats] if repeats else [])
        return [
            row
            for i, recipe in enumerate(recipes, start=1)
            for row in self.swatch(f"N{i:03d}", recipe, readings)
        ]

    def mixture_recipes(self, n: int = 24) -> list[dict[str, float]]:
        """``n`` two- and three-dye recipes (% owf), the same for a seed however often asked.

        No two share a set of dyes and none is nearly the colour of another. Raises ValueError where
        so many cannot be found.
        """
        plan = SETTINGS["mixtures"]
        rng = np.random.default_rng([self.seed, 2])
        recipes: list[dict[str, float]] = []
        colours = np.empty((n, WAVELENGTHS.size))
        uses = np.zeros(len(self.dyes))
        for _ in range(2000 + 20 * n):
            found = len(recipes)
            if found == n:
                break
            rare = np.exp2(-uses) / np.exp2(-uses).sum()  # so that every dye gets its turn
            members = np.sort(rng.choice(uses.size, size=2 + found % 2, replace=False, p=rare))
            total = np.exp(rng.uniform(*np.log([plan["depth_least"], plan["depth_most"]])))
            doses = np.round(total * rng.dirichlet(np.full(members.size, 2.0)), 2)
            recipe = {self.dyes[i]: float(c) for i, c in zip(members, doses, strict=True)}
            if doses.min() < plan["amount_least"] or recipe.keys() in [r.keys() for r in recipes]:
                continue
            colour = self.true_reflectance(recipe)
            apart = np.sqrt(np.mean((colours[:found] - colour) ** 2, axis=1))
            if np.all(apart >= plan["difference"]):
                recipes.append(recipe)
                colours[found] = colour
                uses[members] += 1
        if len(recipes) < n:
            raise ValueError(f"found only {len(recipes)} mixtures of {n} that differ enough")
        return recipes

    def mixtures(self, n: int = 24, readings: int | None = None) -> list[Row]:
        """Rows of a swatch table for :meth:`mixture_recipes`, dyed and read."""
        return [
            row
            for i, recipe in enumerate(self.mixture_recipes(n), start=1)
            for row in self.swatch(f"M{i:02d}", recipe, readings)
        ]


def _factor(rng: np.random.Generator, cv: float) -> float:
    """Random factor of mean one with coefficient of variation ``cv`` (log-normal)."""
    return float(np.exp(cv * rng.standard_normal() - 0.5 * cv**2))


def write_table(path: Path | str, rows: Iterable[Row], header: Mapping[str, str]) -> None:
    """Write rows as a UTF-8 swatch table: comment lines ``# key: value``, then CSV in percent."""
    with Path(path).open("w", encoding="utf-8", newline="") as file:
        file.writelines(f"# {key}: {value}\n" for key, value in header.items())
        out = csv.writer(file, lineterminator="\n")
        out.writerow(["swatch", "recipe", *(f"{nm:.0f} nm" for nm in WAVELENGTHS)])
        for row in rows:
            out.writerow([row.swatch, row.recipe, *(f"{100.0 * r:.2f}" for r in row.reading)])
