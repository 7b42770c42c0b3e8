"""Equally likely versions of fitted dyes: what the swatches leave open.

Spectral ladders by a parametric bootstrap (Efron & Tibshirani, An Introduction to the Bootstrap,
1993, chapter 6): the strength of each swatch is moved by the scatter from bath to bath, dosing and
pot together, and curve and law are fitted again. Lab-only ladders by `LabFit.draw`,
which moves the prior as well, since there the prior speaks where the readings do not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from dyemix.fitting.lab_ladder import LabFit
from dyemix.fitting.ladder import LAWS, TYPICAL_EXPONENT, DyeFit, Ladder, Laws, fit_law
from dyemix.model.dyes import Draws, law_name

#: Versions that are drawn. Their spread is known to about an eighth of itself.
VERSIONS = 32


def draw_versions(
    fits: Sequence[DyeFit],
    ladders: Mapping[int, Ladder],
    lab_dyes: Sequence[int],
    lab_fit: LabFit | None,
    strength: float,
    seed: int = 0,
) -> Draws:
    """`VERSIONS` equally likely versions of all dyes; the same ones for the same swatches.

    Parameters
    ----------
    fits : of every dye, ``D``.
    ladders : the spectral ladders by the dye's place in `fits`.
    lab_dyes, lab_fit : the places of the Lab-only dyes, in the order of `lab_fit`.
    strength : standard error of ln(strength) of one bath, as `uncertainty.strength_scatter` gives
        it.
    """
    rng = np.random.default_rng(seed)
    dyes = len(fits)
    bands = len(fits[0].curve.curve)
    curves = np.empty((VERSIONS, dyes, bands))
    exponent, capacity = np.ones((VERSIONS, dyes)), np.full((VERSIONS, dyes), np.inf)
    for i, ladder in ladders.items():
        laws = LAWS[law_name(fits[i].curve.exponent, fits[i].curve.capacity)]
        if fits[i].left_out is None:
            laws = Laws.freundlich(np.array([TYPICAL_EXPONENT]))
        factors = np.exp(strength * rng.standard_normal((VERSIONS, len(ladder.depths), 1)))
        for version in range(VERSIONS):
            drawn = fit_law(replace(ladder, k=ladder.k * factors[version]), laws)
            curves[version, i] = drawn.curve
            exponent[version, i], capacity[version, i] = drawn.exponent, drawn.capacity
    if lab_fit is not None:
        places = list(lab_dyes)
        curves[:, places], exponent[:, places], capacity[:, places] = lab_fit.draw(
            VERSIONS, strength, rng
        )
    return Draws(curves, exponent, capacity)
