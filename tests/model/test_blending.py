"""The fast forward model against the plain one, and its slopes against differences."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.shelf import shelf
from dyemix.arrays import Array
from dyemix.colour.colorimetry import Light
from dyemix.model.blending import Blending, Index
from dyemix.model.dyes import DyeSet
from dyemix.model.kubelka_munk import Surface


def shelves() -> list[DyeSet]:
    """As fitted; with an interaction of either sign; other curves in company; other laws."""
    plain, rng = shelf(0, True), np.random.default_rng(0)
    company, acts = rng.normal(0.0, 0.1, (2, len(plain)))
    return [
        plain,
        replace(plain, company=company, interaction=acts - 0.1),
        replace(plain, company=company, interaction=acts + 0.2),
        replace(
            plain,
            company=company,
            interaction=acts,
            company_curve=rng.normal(0.0, 0.2, plain.curves.shape),
        ),
        replace(plain, law=plain.law + np.array([0.0, 0.05]), surface=Surface(0.02, 0.4)),
    ]


@pytest.mark.parametrize("which", range(5))
@pytest.mark.parametrize("light", [Light("D65", 10), Light("A", 2)])
def test_colours_are_those_of_the_dyes_and_slopes_those_of_the_colours(
    which: int, light: Light
) -> None:
    dyes, rng = shelves()[which], np.random.default_rng(1)
    index = np.array([rng.permutation(len(dyes))[:3] for _ in range(30)]).T
    amounts = rng.uniform(0.01, 3.0, (3, 30))
    amounts[0, :5] = 0.0
    blending, rows = Blending(dyes, light), np.arange(30)

    def plain(lab: Array, _: Index) -> tuple[Array, Array]:
        return lab, np.repeat(np.eye(3)[..., np.newaxis], lab.shape[1], axis=2)

    whole = np.zeros((30, len(dyes)))
    whole[rows, index] = amounts
    labs, slope = blending.towards(plain, index)(amounts, rows)
    np.testing.assert_allclose(labs.T, dyes.colours(whole, light), atol=1e-9)
    spectra, by_amount = blending.spectra(amounts, index)
    np.testing.assert_allclose(spectra.T, dyes.reflectance(whole), rtol=1e-9)
    _, prices = blending.prices(amounts, index, plain)
    step = 1e-6
    for dye in range(len(dyes)):
        more = whole + step * np.eye(len(dyes))[dye]
        by_dye = (dyes.colours(more, light).T - labs) / step
        inside = (index == dye).any(axis=0)
        np.testing.assert_allclose(
            prices[:, dye, ~inside], by_dye[:, ~inside], rtol=1e-3, atol=0.02
        )
        place, row = np.nonzero(index == dye)
        np.testing.assert_allclose(slope[:, place, row], by_dye[:, row], rtol=1e-3, atol=0.02)
        by_dye = (dyes.reflectance(more).T - spectra) / step
        np.testing.assert_allclose(by_amount[:, place, row], by_dye[:, row], rtol=1e-3, atol=1e-4)
