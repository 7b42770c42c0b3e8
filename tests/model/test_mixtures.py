"""What blends look like, against sums worked by hand; many at once against one by one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.shelf import in_mixes, shelf, standing
from dyemix.arrays import Array
from dyemix.colour.colorimetry import Light
from dyemix.model.dyes import DyeSet
from dyemix.model.kubelka_munk import Surface
from dyemix.model.mixtures import Blending, Blends, Index


def blends(interaction: float = 0.0, surface: Surface | None = None) -> Blends:
    """Two dyes: grey curves of 1 and of 0.5 per unit, on cloth of K/S 0.05."""
    curves = np.stack([np.full(31, 1.0), np.full(31, 0.5)])
    law, cloth = np.tile([1.0, 0.0], (2, 1)), np.full(31, 0.05)
    acts = np.full(2, interaction)
    none = np.zeros_like(curves)
    return Blends(curves, law, np.zeros(2), cloth, surface or Surface(), acts, none)


def test_dyes_that_do_not_act_on_each_other_work_as_alone() -> None:
    amounts = np.array([[2.0, 3.0], [1.0, 0.0]])
    np.testing.assert_allclose(blends().working(amounts), amounts, rtol=1e-12)


@pytest.mark.parametrize(
    ("interaction", "works"),
    [
        ([0.0, 0.0], [1.0, 2.0]),
        ([1.0, 1.0], [1 * 4 / 2, 2 * 4 / 3]),
        ([-1.0, -1.0], [1 * 2 / 4, 2 * 3 / 4]),
        ([0.0, 1.5], [1 * 4.0, 2 * 4 / 3**1.5]),  # κ is 2/3 of 1.5
    ],
)
def test_what_dyes_do_to_each_other_by_hand(interaction: list[float], works: list[float]) -> None:
    """(1 + T)^κ ÷ (1 + c)^κᵢ, where 1 % and 2 % make a total of 3 %; nothing to a dye alone."""
    acting = replace(blends(), interaction=np.array(interaction))
    g = acting.working(np.array([[1.0, 2.0], [1.0, 0.0]]))
    np.testing.assert_allclose(g, [works, [1.0, 0.0]], rtol=1e-12)


def test_company_by_hand() -> None:
    """m = o ÷ (o + c/4): of 1 % beside 1 % 0.8, of 4 % beside 1 % half, of a dye alone nothing."""
    twice = replace(blends(), company=np.full(2, np.log(2.0)))
    g = twice.working(np.array([[1.0, 1.0], [4.0, 1.0]]))
    np.testing.assert_allclose(g[0], [2.0**0.8, 2.0**0.8], rtol=1e-12)
    np.testing.assert_allclose(g[1, 0], 4.0 * 2.0**0.5, rtol=1e-12)
    alone = np.array([[4.0, 0.0], [0.0, 0.0]])
    np.testing.assert_allclose(twice.working(alone), alone, rtol=1e-12)


def test_a_curve_that_changes_in_company_by_hand() -> None:
    """1 % beside 1 % is in company to 0.8: 0.05 + 1 + 0.5 + 0.8 × 0.25 = 1.75; alone nothing."""
    changed = replace(blends(), company_curve=np.stack([np.zeros(31), np.full(31, 0.25)]))
    r = changed.reflectance(np.array([[1.0, 1.0], [0.0, 1.0]]))
    np.testing.assert_allclose((1 - r) ** 2 / (2 * r), [[1.75] * 31, [0.55] * 31], rtol=1e-9)


def test_reflectance_of_a_blend_by_hand() -> None:
    """K/S adds (Kubelka & Munk 1931): 0.05 + 0.1 × 1 + 0.2 × 0.5 = 0.25, which is R 0.5 exactly.

    0.05 + 0.775 × 1 + 0.6 × 0.5 = 1.125, which is R 1/4. Through a surface of k1 0.04 and k2 0.4
    the first reads 0.40 (Saunderson 1942).
    """
    amounts = np.array([[0.1, 0.2], [0.775, 0.6]])
    r = blends().reflectance(amounts)
    np.testing.assert_allclose(r, [np.full(31, 0.5), np.full(31, 0.25)], rtol=1e-12)
    through = blends(surface=Surface(0.04, 0.4)).reflectance(amounts)
    np.testing.assert_allclose(through[0], 0.40, rtol=1e-12)


def test_dyes_that_cost_each_other_strength_give_a_paler_blend_by_hand() -> None:
    """κ −1: 1 × 2 ÷ 4 + 2 × 3 ÷ 4 × 0.5 + 0.05 = 1.3, where without it 2.05 is."""
    r = blends(-1.0).reflectance(np.array([[1.0, 2.0], [1.0, 2.0]]))
    np.testing.assert_allclose((1 - r) ** 2 / (2 * r), 1.3, rtol=1e-9)


# Many blends at once -----------------------------------------------------------------------------


def shelves() -> list[DyeSet]:
    """As fitted; with an interaction of either sign; other curves in company; other laws."""
    plain, rng = shelf(0, True), np.random.default_rng(0)
    company, acts = rng.normal(0.0, 0.1, (2, len(plain)))
    return [
        plain,
        standing(plain, company=company, interaction=acts - 0.1),
        standing(plain, company=company, interaction=acts + 0.2),
        in_mixes(
            standing(plain, company=company, interaction=acts),
            rng.normal(0.0, 0.2, plain.whole.curves.shape),
        ),
        standing(plain, law=plain.whole.law + np.array([0.0, 0.05]), surface=Surface(0.02, 0.4)),
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
    blending, rows = Blending(dyes.whole, light), np.arange(30)

    def plain(lab: Array, _: Index) -> tuple[Array, Array]:
        return lab, np.repeat(np.eye(3)[..., np.newaxis], lab.shape[1], axis=2)

    whole = np.zeros((30, len(dyes)))
    whole[rows, index] = amounts
    labs, slope = blending.towards(plain, index)(amounts, rows)
    np.testing.assert_allclose(labs.T, dyes.colours(whole, light), atol=1e-9)
    spectra, by_amount = blending.spectra(amounts, index)
    np.testing.assert_allclose(spectra.T, dyes.reflectance(whole), rtol=1e-9)
    _, prices = blending.towards(plain, index, entering=True)(amounts, rows)
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
