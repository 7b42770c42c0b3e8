"""How dye strikes scrunched cloth: simulated pieces of low-water dyeing, with a known truth.

**The strike.** Liquor is poured on scrunched cloth and goes inwards along the folded path d (mm).
Of each dye M is what can still move, c = M/(1+K) of it in the liquor and the rest held by the fibre
(substantivity K), and F is what has fixed:

    ∂M/∂t = −∂(u c)/∂d + D ∂²c/∂d² − kf P 2K/(1+K) M − 0.12 kf P M
    ∂F/∂t = kf P 2K/(1+K) M

The last term of the first is dye that the water spoils. Wicking carries the liquor in at
u = (L w/τ) e^(−t/τ), L 26 mm, τ 1500 s, w the wetness of the place; presoaked cloth is full, and
takes 0.12 L. The bath is finite: what has gone in is not there any more. Alkali P is there from
the start ("presoak"), rides in with the liquor ("with"), or comes after an hour, everywhere, with a
push of more liquor ("after"). D is 1.6 to 4.5e-3 mm²/s, K 0.17 to 1.35, kf 5 to 8e-4 /s, spread
over the dyes; K goes with the strike rate that the workshop gives them.

**The piece.** Random folds say how deep in the bundle each place lay, and how wet it was there; F
is read off at that d and w. The mean of each dye over the piece is its dose, so amounts are % owf
as a level square would have them, and 0.25 mm of cloth is one point.

**The look.** Amounts go through the workshop's own physics (`tests/simulated/workshop`): laws of
several forms, dyes that compete, scatter that changes with load, bands that change with depth. The
fibres take dye unevenly, threads are brighter and darker, and folds that were not ironed out shade
the piece by up to a stated share. `photographed` lays it beside the printed page, before a camera
of measured parts (`tests/simulated/camera`).

Undyed share and unevenness then fall from presoak over with to after (common practice); which order
splits most depends on the dyes and on how the alkali is poured, so it is not asserted. All figures
are invented, and nothing here is shared with `dyemix.cloth`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.simulated.camera.camera import WAVELENGTHS as CAMERA_NM
from tests.simulated.camera.camera import Camera, Scene
from tests.simulated.eye import Array, lab
from tests.simulated.workshop import WAVELENGTHS, Workshop
from tests.simulated.workshop.workshop import SETTINGS, fixation

ORDERS = ("presoak", "with", "after")
#: Three mixes that a dyer would try (% owf): clear primaries, a quiet one, two dull dyes.
MIXES: dict[str, dict[str, float]] = {
    "clear": {"lemon": 0.8, "rose": 0.5, "turquoise": 0.6},
    "quiet": {"black": 0.35, "cobalt": 0.3, "rust": 0.4},
    "dull": {"brown": 0.7, "plum": 0.5},
}
_DEEPEST_MM, _STEP_MM, _STEP_S, _HOURS = 80.0, 1.0, 20.0, 6.0
_LENGTH_MM, _DECAY_S, _BATH_MM = 26.0, 1500.0, 22.0
_WETNESS = np.linspace(0.5, 1.6, 5)
#: Points of a piece, per mm.
FINE = 4


@dataclass(frozen=True, eq=False)
class Dyed:
    """A dyed piece, and the truth of it.

    Attributes
    ----------
    shop : whose physics it has.
    names, dose : dyes, and their amounts ``(k,)`` in % owf.
    amounts : ``(H, W, k)`` % owf, at `FINE` points a mm.
    light : ``(H, W)`` brightness by threads and folds, mean 1.
    """

    shop: Workshop
    names: tuple[str, ...]
    dose: Array
    amounts: Array
    light: Array

    def reflectance(self, amounts: Array) -> Array:
        """True reflectance ``(..., 31)`` of amounts ``(..., k)`` in % owf."""
        inner = _inner(self.shop, self.names, amounts.reshape(-1, len(self.names)))
        surface = self.shop.mean_surface
        seen = surface + (1.0 - surface) * inner
        return np.asarray(seen.reshape(*amounts.shape[:-1], -1))

    @cached_property
    def spectra(self) -> NDArray[np.float32]:
        """``(H, W, 31)`` evenly lit, without threads."""
        out = np.empty((*self.amounts.shape[:2], len(WAVELENGTHS)), np.float32)
        for i, row in enumerate(self.amounts):
            out[i] = self.reflectance(row)
        return out

    def blocks(self, values: NDArray[Any], size_mm: float = 2.0) -> Array:
        """Means ``(h, w, ...)`` over blocks, what is left over at the right and bottom cut off."""
        n = round(size_mm * FINE)
        h, w = (side // n for side in values.shape[:2])
        cut = values[: h * n, : w * n].reshape(h, n, w, n, *values.shape[2:])
        return np.asarray(cut.mean(axis=(1, 3), dtype=float))

    @cached_property
    def _relative(self) -> Array:
        return self.blocks(self.amounts) / self.dose

    @property
    def undyed(self) -> float:
        """Percent of 2 mm blocks that hold under a tenth of the dose."""
        return float(100.0 * (self._relative.mean(axis=2) < 0.1).mean())

    @property
    def unevenness(self) -> float:
        """Coefficient of variation of depth over 2 mm blocks."""
        depth = self._relative.mean(axis=2)
        return float(depth.std() / depth.mean())

    @property
    def splitting(self) -> float:
        """Root mean square a*b* distance of 2 mm blocks from the recipe's own path, at equal L*."""
        labs = lab(self.blocks(self.spectra), observer=2).reshape(-1, 3)
        depths = np.concatenate([[0.0], np.geomspace(1e-3, 12.0, 400)])
        path = lab(self.reflectance(depths[:, np.newaxis] * self.dose), observer=2)[::-1]
        on = np.stack([np.interp(labs[:, 0], path[:, 0], path[:, i]) for i in (1, 2)], axis=1)
        return float(np.sqrt(((labs[:, 1:] - on) ** 2).sum(axis=1).mean()))

    @property
    def mean_colour(self) -> Array:
        """CIELAB ``(3,)`` under D65/2° of the mean reflectance."""
        return lab(self.spectra.mean(axis=(0, 1), dtype=float), observer=2)


def _inner(shop: Workshop, names: Sequence[str], amounts: Array) -> Array:
    """Reflectance below the surface ``(N, 31)``: `Workshop._fix` and `_inner`, many at a time."""
    index = [shop.dyes.index(name) for name in names]
    grid = np.concatenate([[0.0], np.geomspace(1e-4, 60.0, 600)])
    alone = np.stack(
        [np.interp(c, grid, _law(*shop._laws[i])) for i, c in zip(index, amounts.T, strict=True)],
        axis=1,
    )
    strike = shop._strike[index]
    pull = amounts * strike
    fixed = np.zeros((len(amounts), len(shop.dyes)))
    others = pull.sum(axis=1, keepdims=True) - pull
    fixed[:, index] = alone / (1.0 + shop._compete * others / strike)
    return np.concatenate(
        [shop._inner(part, shop._cloth) for part in np.array_split(fixed, len(fixed) // 4000 + 1)]
    )


@cache
def _law(kind: str, size: float, shape: float) -> Array:
    grid = np.concatenate([[0.0], np.geomspace(1e-4, 60.0, 600)])
    return np.array([fixation(kind, size, shape, float(c)) if c else 0.0 for c in grid])


# The strike ---------------------------------------------------------------------------------------


def struck(order: str, held: Array, spreads: Array, fixes: Array) -> Array:
    """Dye fixed ``(k, wetness, depth)`` of k dyes along the path.

    `held` K, `spreads` D in mm²/s and `fixes` kf in 1/s are ``(k,)``.
    """
    cells = int(_DEEPEST_MM / _STEP_MM)
    moving = np.zeros((len(held), len(_WETNESS), cells))
    fixed, alkali = np.zeros_like(moving), np.zeros((len(_WETNESS), cells))
    bath = np.full((len(held), len(_WETNESS)), _BATH_MM)
    k, d, kf = (x[:, np.newaxis, np.newaxis] for x in (held, spreads, fixes))
    length = _LENGTH_MM * (0.12 if order == "presoak" else 1.0)
    for t in np.arange(0.0, 3600.0 * _HOURS, _STEP_S):
        u = length * _WETNESS / _DECAY_S * np.exp(-t / _DECAY_S)
        since = t - 3600.0
        if order == "after" and since >= 0.0:
            u = u + 0.4 * length * _WETNESS / _DECAY_S * np.exp(-since / _DECAY_S)
        if order == "presoak":
            p: Array | float = 1.0
        elif order == "after":
            p = float(-np.expm1(-max(since, 0.0) / 900.0))
        else:
            alkali = _carried(alkali, u[:, np.newaxis], 8e-3, np.ones(len(_WETNESS)))[0]
            p = np.clip(alkali, 0.0, 1.0)
        liquor = moving / (1.0 + k)
        change, entered = _carried(liquor, u[np.newaxis, :, np.newaxis], d, bath / _BATH_MM)
        bath = np.maximum(bath - entered, 0.0)
        gain = _STEP_S * kf * p * 2.0 * k / (1.0 + k) * moving
        lost = _STEP_S * 0.12 * kf * p * moving
        moving = np.maximum(moving + (change - liquor) - gain - lost, 0.0)
        fixed += gain
    return fixed


def _carried(
    liquor: Array, u: Array, spread: Array | float, at_mouth: Array
) -> tuple[Array, Array]:
    """Concentrations one step later, carried upstream to downstream and spread; what entered."""
    before = np.concatenate([at_mouth[..., np.newaxis], liquor], axis=-1)
    flux = u * before - spread * np.diff(before, axis=-1, append=before[..., -1:]) / _STEP_MM
    flux = np.concatenate([flux[..., :-1], np.zeros_like(flux[..., :1])], axis=-1)
    return liquor - _STEP_S / _STEP_MM * np.diff(flux, axis=-1), _STEP_S * flux[..., 0]


def _field(rng: np.random.Generator, shape: tuple[int, int], size_mm: float) -> Array:
    """A smooth Gaussian field of mean 0 and variance 1."""
    coarse = max(1, int(size_mm * FINE / 4))
    small = tuple(side // coarse + 24 for side in shape)
    noise = cv2.GaussianBlur(rng.standard_normal(small), (0, 0), size_mm * FINE / coarse)
    field = cv2.resize(noise[8:-8, 8:-8], shape[::-1], interpolation=cv2.INTER_CUBIC)
    return np.asarray((field - field.mean()) / field.std())


def dye(
    recipe: dict[str, float], order: str, seed: int, size_mm: tuple[int, int] = (130, 100),
    shading: float = 0.05, shop: Workshop | None = None,
) -> Dyed:  # fmt: skip
    """Dye a piece `size_mm` (height, width) by one order; the same folds for a seed."""
    rng = np.random.default_rng([seed, 18])
    shop = shop or Workshop(0, noise=False)
    names = tuple(recipe)
    dose = np.array(list(recipe.values()))
    rates = np.array([SETTINGS["dyes"][name]["strike"] for name in names])
    place = np.clip((rates - 0.6) / 0.8 + 0.08 * rng.standard_normal(len(names)), 0.0, 1.0)
    held = 0.17 * (1.35 / 0.17) ** place
    spreads = 1e-3 * np.clip(4.5 - 2.9 * place + 0.4 * rng.standard_normal(len(names)), 1.6, 4.5)
    fixes = 1e-4 * rng.uniform(5.0, 8.0, len(names))
    shape = (size_mm[0] * FINE, size_mm[1] * FINE)
    folds = np.abs(_field(rng, shape, 9.0) + 0.45 * _field(rng, shape, 3.5))
    depth = 10.0 * folds + 0.5 * np.abs(_field(rng, shape, 1.2))
    wet = np.clip(1.0 + 0.2 * _field(rng, shape, 14.0), _WETNESS[0], _WETNESS[-1])
    fixed = struck(order, held, spreads, fixes)
    where = np.stack(
        [
            (wet - _WETNESS[0]) / (_WETNESS[1] - _WETNESS[0]),
            np.clip(depth / _STEP_MM, 0.0, _DEEPEST_MM / _STEP_MM - 1.001),
        ]
    )
    from scipy.ndimage import map_coordinates

    amounts = np.stack([map_coordinates(f, where, order=1, mode="nearest") for f in fixed], axis=2)
    grain = np.exp(
        0.05 * rng.standard_normal((*shape, 1)) + 0.02 * rng.standard_normal(amounts.shape)
    )
    amounts = np.maximum(amounts, 0.0) * grain
    amounts *= dose / amounts.mean(axis=(0, 1))
    creases = _field(rng, shape, 18.0) + 0.5 * _field(rng, shape, 6.0)
    y, x = np.indices(shape) / FINE
    thread = 0.06 * np.cos(np.pi * x / 0.55) * np.cos(np.pi * y / 0.55)
    light = (1.0 + shading * creases / np.abs(creases).max()) * (1.0 + thread)
    return Dyed(shop, names, dose, amounts, light / light.mean())


# The photograph -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Bench(Camera):
    """The camera above a page with a piece of cloth to its right, all turned by a quarter."""

    piece: Any = None
    gap_mm: float = 14.0

    def _lay(self, scene: Scene, rng: np.random.Generator) -> NDArray[np.float32]:
        page = super()._lay(scene, rng)
        if self.piece is None:
            return page
        spread = np.stack(
            [np.interp(CAMERA_NM, WAVELENGTHS, unit) for unit in np.eye(len(WAVELENGTHS))]
        )
        values = self.piece.spectra @ self.balanced(spread).astype(np.float32)
        values *= self.piece.light[..., np.newaxis].astype(np.float32)
        scale = scene.per_mm / FINE
        values = cv2.resize(values, None, fx=scale, fy=scale, interpolation=cv2.INTER_LINEAR)
        gap = int(self.gap_mm * scene.per_mm)
        tall = max(page.shape[0], values.shape[0] + 2 * gap)
        wide = page.shape[1] + values.shape[1] + 2 * gap
        table = np.broadcast_to(page[0, 0], (tall, wide, 3)).copy()
        table[: page.shape[0], : page.shape[1]] = page
        top = (tall - values.shape[0]) // 2
        left = page.shape[1] + gap
        table[top : top + values.shape[0], left : left + values.shape[1]] = values
        return np.ascontiguousarray(np.rot90(table))
