"""What the benchmarks and the tests share: swatch sets of the simulated workshop, and targets."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_10
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.fitting.fit import fit
from dyemix.matching.subsets import Problem
from dyemix.model.dyes import DyeSet
from dyemix.model.mixtures import in_company
from tests.simulated.workshop import Row, Workshop


def swatch_set(rows: Iterable[Row]) -> SwatchSet:
    """Rows of the workshop as the swatch set that an importer would give."""
    return SwatchSet(tuple(Reading(Recipe.parse(r.recipe), r.reading, r.swatch) for r in rows))


#: ΔE2000 on paper up to which a target counts as one that the shelf can meet.
NEAR = 0.3


@lru_cache(maxsize=8)
def shelf(seed: int = 0, noise: bool = True) -> DyeSet:
    """The twelve dyes of a workshop, fitted to the ladder that it dyed and read."""
    return fit(swatch_set(Workshop(seed, noise).ladder()))


def moved(dyes: DyeSet, theta: Array) -> DyeSet:
    """The dyes with their unknowns at θ ``(P,)``."""
    return replace(dyes, posterior=replace(dyes.known, mean=theta))


def in_mixes(dyes: DyeSet, change: Array) -> DyeSet:
    """The dyes with curves that change by so much (ln) in company ``(D, B)``: to predict by."""
    whole, out = dyes.whole, replace(dyes)
    added = np.maximum(in_company(whole.curves) * np.expm1(change), -whole.curves)
    vars(out)["whole"] = replace(whole, company_curve=added)
    return out


def standing(dyes: DyeSet, **parts: Any) -> DyeSet:
    """The dyes with some parts of what they do, as `Blends` names them, as given; curves keep their
    shape in company.
    """
    whole = replace(dyes.whole, **parts)
    alone = {k: getattr(whole, k) for k in ("curves", "law", "surface", "interaction")}
    theta = np.zeros(dyes.ladders.modes.unknowns)
    theta[: len(dyes)] = whole.company
    return moved(replace(dyes, ladders=replace(dyes.ladders, **alone)), theta)


@lru_cache(maxsize=8)
def targets(dyes: DyeSet, count: int = 50, seed: int = 1, max_dyes: int = 4) -> Array:
    """CIELAB ``(T, 3)`` under D65/10°: half within reach of the shelf, then half out of it.

    Drawn evenly from L* 15–95 and a*, b* ±60 until both halves are full, so that nothing about
    them comes from the dyes.
    """
    rng = np.random.default_rng(seed)
    near: list[Array] = []
    far: list[Array] = []
    while min(len(near), len(far)) < count // 2:
        lab = rng.uniform([15.0, -60.0, -60.0], [95.0, 60.0, 60.0])
        nearest = np.sqrt(Problem.of(dyes, lab[np.newaxis], D65_10, max_dyes).search().cost.min())
        (near if nearest <= NEAR else far).append(lab)
    return np.array(near[: count // 2] + far[: count // 2])
