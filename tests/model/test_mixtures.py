"""What blends look like, against sums worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dyemix.model.kubelka_munk import Surface
from dyemix.model.mixtures import Blends


def blends(interaction: float = 0.0, surface: Surface | None = None) -> Blends:
    """Two dyes: grey curves of 1 and of 0.5 per unit, on cloth of K/S 0.05."""
    curves = np.stack([np.full(31, 1.0), np.full(31, 0.5)])
    law, cloth = np.tile([1.0, 0.0], (2, 1)), np.full(31, 0.05)
    acts = np.full(2, interaction)
    return Blends(curves, law, np.zeros(2), cloth, surface or Surface(), acts)


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
