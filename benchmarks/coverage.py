"""Does the likely miss hold in the pot? Intervals of ΔE2000 against pots that no fit has seen.

    python -m benchmarks.coverage              # workshop seeds 20 to 29
    python -m benchmarks.coverage 0 1 2        # these

Each workshop dyes its ladders and 64 mixtures. Some of the mixtures are in the table that is
fitted (they weigh the model's own error); the others are pots to come. The miss is ΔE2000 between
the prediction and one reading of the pot, in the light of the set. All of them are one workshop,
whose scatter the priors of the package equal, and seeds 20 to 24 chose the priors of learning: what
no constant has seen is in `promised`.

The readings are spectra, CIELAB alone, or a simulated photograph: sheets of 40 cells with a patch
card, two cameras in turn, both the swatches and the pots read from it.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from benchmarks.lab_only import as_lab
from benchmarks.photo_path import CELLS, by_camera
from benchmarks.shelf import swatch_set
from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_10, lab
from dyemix.dataset.swatches import SwatchSet
from dyemix.fitting.fit import fit
from dyemix.model.uncertainty import FREEDOM, causes, lab_covariance, likely
from tests.simulated.camera import Camera
from tests.simulated.photographs import print_page
from tests.simulated.workshop import Workshop

#: Mixtures a workshop dyes beside its ladders, and how many of them are in the table.
MIXTURES, OWN = 64, 24
SEEDS = tuple(range(20, 30))
SPECTRA, CIELAB, PHOTOGRAPHS = "spectra", "CIELAB", "photographs"
_QUANTILES = (0.1, 0.25, 0.5, 0.75, 0.9)


@dataclass(frozen=True, eq=False)
class Pots:
    """Pots to come, arrays ``(N,)`` of ΔE2000: what they missed by, and what was stated."""

    miss: Array
    mean: Array
    median: Array
    bound: Array

    @classmethod
    def joined(cls, parts: Sequence[Pots]) -> Pots:
        return cls(
            *(
                np.concatenate([getattr(p, name) for p in parts])
                for name in ("miss", "mean", "median", "bound")
            )
        )

    @property
    def half(self) -> float:
        """Share of pots below the stated median."""
        return float(np.mean(self.miss <= self.median))

    @property
    def nine_tenths(self) -> float:
        """Share of pots below the stated 90 % bound."""
        return float(np.mean(self.miss <= self.bound))

    @property
    def width(self) -> float:
        """Mean stated 90 % bound over the true 90th percentile."""
        return float(self.bound.mean() / np.quantile(self.miss, 0.9))

    def __str__(self) -> str:
        return (
            f"{len(self.miss):>5} {self.miss.mean():>6.2f} {self.mean.mean():>7.2f} "
            f"{100 * self.half:>6.1f} {100 * self.nine_tenths:>6.1f} {self.width:>6.2f}"
        )


@dataclass(frozen=True, eq=False)
class Dyed:
    """What one workshop dyed and read."""

    ladder: SwatchSet
    mixtures: SwatchSet

    def split(self, own: int, seed: int) -> tuple[SwatchSet, SwatchSet]:
        """The table with `own` of the mixtures, drawn by lot, and the pots to come."""
        swatches = self.mixtures.swatches
        order = np.random.default_rng([3, seed]).permutation(len(swatches))
        table = [r for i in order[:own] for r in swatches[i].readings]
        rest = [swatches[i].readings[0] for i in order[own:]]
        return SwatchSet(self.ladder.readings + tuple(table)), SwatchSet(tuple(rest))


def read(seed: int, way: str) -> Dyed:
    """The workshop of a seed, read one way."""
    shop = Workshop(seed)
    ladder, mixtures = swatch_set(shop.ladder()), swatch_set(shop.mixtures(MIXTURES))
    if way == CIELAB:
        return Dyed(as_lab(ladder, D65_10), as_lab(mixtures, D65_10))
    if way == PHOTOGRAPHS:
        camera = Camera(seed % 2, "D65", megapixels=12.0, styled=False, seed=seed)
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            page = print_page(folder, CELLS)
            return Dyed(
                by_camera(ladder, camera, page, folder, card=True),
                by_camera(mixtures, camera, page, folder, card=True),
            )
    return Dyed(ladder, mixtures)


def pots(dyed: Dyed, own: int, seed: int) -> Pots:
    """Fit with `own` mixtures; the others as they were stated and as they came out."""
    table, rest = dyed.split(own, seed)
    dyes = fit(table)
    amounts = np.array([dyes.amounts(r.recipe or {}) for r in rest.readings])
    seen = np.array([r.colour(dyes.light) for r in rest.readings])
    wanted = dyes.predict_many(amounts)
    covariance = lab_covariance(dyes, amounts, dyes.light)
    stated = [
        likely(target, target[np.newaxis], one[np.newaxis])
        for target, one in zip(wanted, covariance, strict=True)
    ]
    return Pots(
        delta_e(wanted, seen),
        *(np.array([getattr(s, name)[0] for s in stated]) for name in ("mean", "median", "bound")),
    )


def coverage(seed: int, way: str, owns: Sequence[int]) -> list[Pots]:
    """One workshop, for each number of own mixtures."""
    dyed = read(seed, way)
    return [pots(dyed, own, seed) for own in owns]


def simulate(shop: Workshop, recipe: dict[str, float], many: int) -> Array:
    """CIELAB ``(many, 3)`` of a recipe weighed, dyed and read `many` times, under D65/10°."""
    return lab(np.array([shop.read(shop.dye(recipe)) for _ in range(many)]), D65_10)


@dataclass(frozen=True, eq=False)
class Shop:
    """ΔE2000 quantiles of one recipe at one workshop: dyed many times, and as stated.

    `pots` and `stated` are from the predicted colour, and hold what the fit and the model are off
    by; `around` and `stated_around` are around the pots' own mean: dosing, pot and reading alone.
    """

    recipe: str
    pots: Array
    stated: Array
    around: Array
    stated_around: Array


def whole_shop(seed: int, recipes: Sequence[dict[str, float]], many: int) -> list[Shop]:
    """Weigh, dye and read each recipe `many` times, beside what was stated before."""
    shop = Workshop(seed)
    table, _ = read(seed, SPECTRA).split(OWN, seed)
    dyes = fit(table)
    out = []
    for recipe in recipes:
        amounts = dyes.amounts(recipe)[np.newaxis]
        labs = simulate(shop, recipe, many)
        parts = causes(dyes, amounts, D65_10)
        wanted, mean = dyes.predict_many(amounts), labs.mean(axis=0)
        own = parts.dosing + parts.pot + parts.reading
        out.append(
            Shop(
                str(dyes.recipe(amounts[0])),
                np.quantile(delta_e(wanted, labs), _QUANTILES),
                stated_quantiles(wanted, parts.total),
                np.quantile(delta_e(mean, labs), _QUANTILES),
                stated_quantiles(mean[np.newaxis], own),
            )
        )
    return out


def pots_as_stated(wanted: Array, covariance: Array, many: int, rng: np.random.Generator) -> Array:
    """CIELAB ``(many, 3)`` of pots as `dyemix.model.uncertainty.likely` takes them: Student's t."""
    drawn = rng.multivariate_normal(np.zeros(3), covariance, many)
    scale = np.sqrt((FREEDOM - 2.0) / rng.chisquare(FREEDOM, (many, 1)))
    return np.asarray(wanted + scale * drawn)


def stated_quantiles(wanted: Array, covariance: Array) -> Array:
    """Quantiles of ΔE2000 of pots drawn around `wanted` ``(1, 3)``."""
    drawn = pots_as_stated(wanted[0], covariance[0], 20_000, np.random.default_rng(5))
    return np.asarray(np.quantile(delta_e(wanted[0], drawn), _QUANTILES))


def five_recipes() -> list[dict[str, float]]:
    """One dye, two, three, a subdued mix of complements, a deep one."""
    return [
        {"marigold": 1.0},
        {"marigold": 0.8, "navy": 0.25},
        {"lemon": 0.5, "scarlet": 0.3, "cobalt": 0.4},
        {"scarlet": 0.15, "leaf": 0.2},
        {"plum": 1.5, "brown": 1.0},
    ]


def across_shops(seeds: Sequence[int], many: int) -> tuple[Array, Array]:
    """Quantiles over mixtures set aside of every workshop, `many` pots of each, and as stated."""
    rng = np.random.default_rng(6)
    came: list[Array] = []
    stated: list[Array] = []
    for seed in seeds:
        shop = Workshop(seed)
        table, rest = read(seed, SPECTRA).split(OWN, seed)
        dyes = fit(table)
        for reading in rest.readings[:10]:
            recipe = dict(reading.recipe or {})
            amounts = dyes.amounts(recipe)[np.newaxis]
            wanted = dyes.predict_many(amounts)[0]
            covariance = lab_covariance(dyes, amounts, D65_10)[0]
            came.append(delta_e(wanted, simulate(shop, recipe, many)))
            stated.append(delta_e(wanted, pots_as_stated(wanted, covariance, many, rng)))
    return (
        np.quantile(np.concatenate(came), _QUANTILES),
        np.quantile(np.concatenate(stated), _QUANTILES),
    )


def _print_coverage(seeds: Sequence[int]) -> None:
    print("Pots to come: ΔE2000 between prediction and one reading of the pot.")
    print("Wanted: 50 % intervals 45–55, 90 % intervals 86–94, bound / true 90th at most 1.3.\n")
    heads = f"{'miss':>6} {'likely':>7} {'50 %':>6} {'90 %':>6} {'bound':>6}"
    print(f"{'read by':<14}{'own':>4} {'pots':>5} {heads}")
    with ProcessPoolExecutor(2) as pool:
        for way, owns in ((SPECTRA, (OWN, 6, 0)), (CIELAB, (OWN, 6, 0)), (PHOTOGRAPHS, (OWN, 0))):
            found = list(pool.map(partial(coverage, way=way, owns=owns), seeds))
            for own, parts in zip(owns, zip(*found, strict=True), strict=True):
                print(f"{way:<14}{own:>4} {Pots.joined(parts)}", flush=True)


def _row(name: str, values: Array) -> str:
    return f"{name:<48}" + "".join(f"{x:7.2f}" for x in values)


def _print_shop(seeds: Sequence[int]) -> None:
    print("\nThe whole shop, 10,000 pots a recipe (weigh, dye, read): quantiles of ΔE2000.\n")
    print(f"{'':<48}" + "".join(f"{100 * q:6.0f}%" for q in _QUANTILES))
    for one in whole_shop(seeds[0], five_recipes(), 10_000):
        print(_row(f"{one.recipe}", one.pots))
        print(_row("   stated", one.stated))
        print(_row("   around their own mean", one.around))
        print(_row("   stated: dosing, pot and reading", one.stated_around))
    came, stated = across_shops(seeds, 100)
    print(_row(f"\n{len(seeds)} workshops, 10 recipes each, 100 pots of each", came))
    print(_row("   stated", stated), flush=True)


def main(seeds: Sequence[int] = SEEDS) -> None:
    """Print both tables; about ten minutes, most of it photographs."""
    _print_coverage(seeds)
    _print_shop(seeds)


if __name__ == "__main__":
    main([int(word) for word in sys.argv[1:]] or SEEDS)
