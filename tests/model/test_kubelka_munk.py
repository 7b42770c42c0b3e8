"""Kubelka–Munk, the surface term and the depth laws."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from dyemix.model.kubelka_munk import (
    PIVOT,
    SHIFT,
    Surface,
    depth_law,
    depth_law_and_slope,
    depth_law_by_law,
    k_over_s,
    law_text,
    reflectance,
    saturation,
)

REFLECTANCES = st.floats(0.002, 0.998)
K = st.floats(1e-4, 200.0)
SURFACES = st.builds(Surface, st.floats(0.0, 0.05), st.floats(0.0, 0.7))
DEPTHS = st.floats(0.0, 8.0)
EXPONENTS = st.floats(0.4, 1.4)
BENDS = st.floats(-0.12, 0.12)


def test_published_values(check_values: dict[str, Any]) -> None:
    # K/S = (1 − R)²/(2R), Kubelka & Munk 1931; 0.2 → 1.6 is also printed in teaching pages.
    rows = [row for row in check_values["kubelka_munk"] if "R" in row]
    assert len(rows) == 2
    for row in rows:
        assert k_over_s(row["R"]) == pytest.approx(row["K_over_S"], abs=1e-12)
        assert reflectance(row["K_over_S"]) == pytest.approx(row["R"], abs=1e-12)


@pytest.mark.parametrize("k", [0.05, 0.25, 1.6, 9.025])
@pytest.mark.parametrize("ground", [0.0, 0.9])
def test_reflectance_is_what_the_two_streams_of_light_come_to(k: float, ground: float) -> None:
    """Kubelka & Munk 1931, from their differential equation: dR/dx = S (1 − 2 (1 + k) R + R²).

    Integrated through a layer so thick that the ground under it no longer shows.
    """
    thick = solve_ivp(
        lambda _, r: 1.0 - 2.0 * (1.0 + k) * r + r * r,
        (0.0, 40.0),
        [ground],
        rtol=1e-10,
        atol=1e-12,
    )
    assert reflectance(k) == pytest.approx(thick.y[0, -1], abs=1e-8)


@pytest.mark.parametrize(
    ("r", "k", "slope"),
    [
        # (1 − R)²/(2R) and −2R²/(1 − R²) as fractions.
        (1 / 10, 81 / 20, -2 / 99),
        (1 / 4, 9 / 8, -2 / 15),
        (1 / 2, 1 / 4, -2 / 3),
        (4 / 5, 1 / 40, -32 / 9),
    ],
)
def test_sums_worked_by_hand(r: float, k: float, slope: float) -> None:
    assert k_over_s(r) == pytest.approx(k, rel=1e-12)
    assert reflectance(k) == pytest.approx(r, rel=1e-12)
    assert Surface().slope(r) == pytest.approx(slope, rel=1e-12)


def test_the_surface_by_hand() -> None:
    """Saunderson 1942: k1 + (1 − k1)(1 − k2) R / (1 − k2 R), with k1 1/25, k2 2/5 and R 1/2.

    0.04 + 0.96 × 0.6 × 0.5 ÷ 0.8 = 0.40; its slope 0.96 × 0.6 ÷ 0.8² = 0.9. R 1/2 has K/S 1/4,
    whose slope is −2/3, and 0.9 × −2/3 = −0.6.
    """
    surface = Surface(0.04, 0.4)
    assert surface.measured(0.5) == pytest.approx(0.40, rel=1e-12)
    assert surface.slope(0.5) == pytest.approx(-0.6, rel=1e-12)
    assert surface.inside(0.40) == pytest.approx(0.5, rel=1e-12)
    assert surface.k_over_s(0.40) == pytest.approx(0.25, rel=1e-12)
    assert surface.reflectance(0.25) == pytest.approx(0.40, rel=1e-12)
    assert surface.reflectance_and_slope(0.25) == pytest.approx((0.40, -0.6), rel=1e-12)
    assert len({surface, Surface(0.04, 0.4)}) == 1, "what says the same is one"


def test_slopes_by_the_surface_by_hand() -> None:
    """At the same reading 0.40: y = 0.36 ÷ 0.96 = 3/8, R = y ÷ (1 − k2 + k2 y) = y ÷ 3/4 = 1/2.

    dy/dr0 = (0.4 − 1) ÷ 0.96² = −0.651, dR/dy = 0.6 ÷ (3/4)² = 16/15, and of K/S by R there
    −(1 − R²) ÷ 2R² = −3/2: together 25/24. dR/dk2 = y (1 − y) ÷ (3/4)² = 5/12, times −3/2 is −5/8.
    """
    found = Surface(0.04, 0.4).k_over_s_slope(np.full((1, 3), 0.40))
    assert found == pytest.approx(np.tile([25 / 24, -5 / 8], (1, 3, 1)), rel=1e-12)


@pytest.mark.parametrize("k", [1e8, 1e30])
def test_a_black_without_end_moves_as_its_surface(k: float) -> None:
    """What comes out of it is r0: dRm/dr0 = 1 at the same K/S, and dRm/dk2 = 0."""
    surface = Surface(0.04, 0.4)
    measured, slope = surface.reflectance_and_slope(np.array([k]))
    moved = -surface.k_over_s_slope(measured) * slope[:, np.newaxis]
    assert moved == pytest.approx(np.array([[1.0, 0.0]]), abs=1e-6)


def test_a_perfect_white_has_the_slope_of_the_whitest_cloth() -> None:
    """At R 0.999: −2 × 0.998001 ÷ 0.001999 = −998.5."""
    assert Surface().slope(1.0) == Surface().slope(0.999) == pytest.approx(-998.5, abs=0.01)


@given(REFLECTANCES)
def test_round_trip_from_reflectance(r: float) -> None:
    assert reflectance(k_over_s(r)) == pytest.approx(r, rel=1e-9)


def test_no_digits_are_lost_in_deep_colour() -> None:
    # The usual root, 1 + k − √(k² + 2k), keeps no digit here; R → 1/(2k) as k grows.
    assert reflectance(1e9) == pytest.approx(1.0 / (2.0 * (1e9 + 1.0)), rel=1e-9)


@given(K)
def test_slope_of_reflectance(k: float) -> None:
    r = reflectance(k)
    if r < 0.99:
        step = 1e-5 * k
        difference = (reflectance(k + step) - reflectance(k - step)) / (2.0 * step)
        assert Surface().slope(r) == pytest.approx(difference, rel=1e-5)


def test_slope_at_a_perfect_white_is_finite() -> None:
    assert np.isfinite(Surface().slope(1.0))


@given(SURFACES, REFLECTANCES)
def test_surface_round_trip(surface: Surface, inside: float) -> None:
    assert surface.inside(surface.measured(inside)) == pytest.approx(inside, rel=1e-9)


@given(SURFACES)
def test_a_perfect_white_reads_one_and_black_the_surface_alone(surface: Surface) -> None:
    assert surface.measured(1.0) == pytest.approx(1.0)
    assert surface.measured(0.0) == pytest.approx(surface.r0)


@given(SURFACES, K)
def test_slopes_through_the_surface(surface: Surface, k: float) -> None:
    r, slope = surface.reflectance_and_slope(k)
    assert r == pytest.approx(float(surface.reflectance(k)))
    assert surface.k_over_s(r) == pytest.approx(k, rel=1e-6)
    step = 1e-5 * k
    difference = (surface.reflectance(k + step) - surface.reflectance(k - step)) / (2.0 * step)
    if reflectance(k) < 0.99:
        assert slope == pytest.approx(float(difference), rel=1e-5)


def test_no_surface_is_plain_kubelka_munk() -> None:
    r = np.linspace(0.01, 0.99, 50)
    np.testing.assert_allclose(Surface().k_over_s(r), k_over_s(r))


@given(SURFACES, K, st.floats(1.001, 3.0))
def test_more_absorption_is_always_darker(surface: Surface, k: float, factor: float) -> None:
    assert surface.reflectance(factor * k) < surface.reflectance(k)


@pytest.mark.parametrize(
    ("c", "n", "q", "works", "slope"),
    [
        # √(0.24 + 0.01) − √0.01 = 0.4; ½ ÷ √0.25 = 1.
        (0.24, 0.5, 0.0, 0.4, 1.0),
        (3.0, 1.0, 0.0, 3.0, 1.0),
        # At the pivot of 0.5 % (shift included) a bend does nothing, nor to the slope.
        (0.49, 1.0, -0.2, 0.49, 1.0),
        # An e-fold above it: (0.5 e − 0.01) exp(½ q); slope (1 + 0.98·q·…) by hand below.
        (0.5 * np.e - 0.01, 1.0, -0.1, (0.5 * np.e - 0.01) * np.exp(-0.05), None),
    ],
)
def test_the_depth_law_by_hand(c: float, n: float, q: float, works: float, slope: Any) -> None:
    """g = ((c + s)ⁿ − sⁿ) exp(½ q ln²((c + s)/p)) with s = 0.01 and p = 0.5 % owf."""
    assert (SHIFT, PIVOT) == (0.01, 0.5)
    law = np.array([n, q])
    assert depth_law(c, law) == pytest.approx(works, rel=1e-12)
    if slope is not None:
        assert depth_law_and_slope(c, law)[1] == pytest.approx(slope, rel=1e-12)


@given(EXPONENTS, BENDS)
def test_no_dye_does_nothing(n: float, q: float) -> None:
    law = np.array([n, q])
    assert depth_law(0.0, law) == 0.0
    assert np.isfinite(depth_law_and_slope(0.0, law)[1])
    assert np.all(depth_law_by_law(0.0, law) == 0.0)


@given(DEPTHS, EXPONENTS, BENDS)
def test_slopes_of_the_depth_law(c: float, n: float, q: float) -> None:
    step, law = 1e-6, np.array([n, q])
    difference = (depth_law(c + step, law) - depth_law(c, law)) / step
    middle = depth_law_and_slope(c + step / 2.0, law)[1]
    assert middle == pytest.approx(float(difference), rel=1e-4, abs=1e-7)
    if c > 0.01:
        for i, aside in enumerate(step * np.eye(2)):
            logs = np.log(depth_law(c, law + aside)) - np.log(depth_law(c, law - aside))
            expected = pytest.approx(logs / (2 * step), rel=1e-4, abs=1e-6)
            assert depth_law_by_law(c, law)[i] == expected


@given(DEPTHS, st.floats(0.6, 1.4), BENDS)
def test_the_law_rises_with_depth(c: float, n: float, q: float) -> None:
    assert depth_law_and_slope(c, np.array([n, q]))[1] > 0.0


def test_slopes_by_the_law_of_several_dyes_at_once() -> None:
    """Against differences of ln g, each dye at its own depth and law."""
    c, law, step = (
        np.array([0.03, 0.5, 4.0]),
        np.array([[0.8, 0.05], [1.0, 0.0], [1.1, -0.2]]),
        1e-6,
    )
    found = depth_law_by_law(c, law)
    assert found.shape == (3, 2)
    for place in (0, 1):
        change = np.zeros(2)
        change[place] = step
        up, down = (np.log(depth_law(c, law + s * change)) for s in (1, -1))
        assert found[:, place] == pytest.approx((up - down) / (2 * step), abs=1e-7)


def test_how_slowly_dyes_rise_by_hand() -> None:
    """n + q ln(2 ÷ 0.5) − 0.95, with ln 4 = 1.386294."""
    found = saturation(np.array([[0.9, 0.1], [1.0, -0.2]]))
    assert found == pytest.approx([0.0886294, -0.2272589], abs=1e-7)


def test_a_law_in_short() -> None:
    assert law_text(np.array([0.954, 0.0049])) == "c^0.95"
    assert law_text(np.array([0.9, -0.0051])) == "c^0.90, bend -0.01"
    assert law_text(np.array([0.9, 0.005])) == "c^0.90, bend +0.01"
