"""CIEDE2000 against its published pairs and colour-science; its residual and slope."""

from __future__ import annotations

import csv
import warnings
from pathlib import Path

import numpy as np
import pytest

from dyemix.colour.ciede2000 import delta_e, delta_e_parts, delta_e_residual, metric
from dyemix.errors import DyemixError

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # colour-science speaks of optional packages on import
    import colour

PAIRS = Path(__file__).parents[1] / "data" / "ciede2000_pairs.csv"


def published() -> list[list[float]]:
    with PAIRS.open(encoding="utf-8") as file:
        return [[float(x) for x in row] for row in list(csv.reader(file))[1:]]


def random_labs(count: int, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return rng.uniform([0.0, -90.0, -90.0], [100.0, 90.0, 90.0], (count, 3))


def hue_apart(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Angle between the hues of two colours, in degrees, by plain a* and b*."""
    turn = np.arctan2(one[..., 2], one[..., 1]) - np.arctan2(other[..., 2], other[..., 1])
    return np.degrees(np.abs((turn + np.pi) % (2.0 * np.pi) - np.pi))


def test_there_are_34_published_pairs() -> None:
    assert len(published()) == 34


@pytest.mark.parametrize("pair", published())
def test_published_pairs(pair: list[float]) -> None:
    # Sharma, Wu & Dalal, Color Res. Appl. 30 (2005) 21, table 1, printed to four decimals.
    one, other, expected = pair[:3], pair[3:6], pair[6]
    assert delta_e(one, other) == pytest.approx(expected, abs=5.1e-5)
    assert delta_e(other, one) == pytest.approx(expected, abs=5.1e-5)


@pytest.mark.parametrize("spread", [0.5, 5.0, 100.0])
def test_random_pairs_agree_with_colour_science(spread: float) -> None:
    one = random_labs(2000, 1)
    other = one + spread * np.random.default_rng(2).uniform(-1.0, 1.0, one.shape)
    np.testing.assert_allclose(
        delta_e(one, other), colour.delta_E(one, other, method="CIE 2000"), atol=1e-9
    )
    np.testing.assert_allclose(
        delta_e(one, other, k_lightness=2.0),
        colour.delta_E(one, other, method="CIE 2000", textiles=True),
        atol=1e-9,
    )


def test_symmetric_and_zero() -> None:
    one, other = random_labs(500, 3), random_labs(500, 4)
    np.testing.assert_allclose(delta_e(one, other), delta_e(other, one), rtol=1e-12)
    assert delta_e(one, one).max() == 0.0


def test_squares_of_the_residual_add_up() -> None:
    one, other = random_labs(500, 5), random_labs(500, 6)
    residual, _ = delta_e_residual(one, other)
    theirs = colour.delta_E(one, other, method="CIE 2000")
    np.testing.assert_allclose((residual**2).sum(axis=-1), theirs**2, rtol=1e-9)


def test_greys_are_harmless() -> None:
    residual, slope = delta_e_residual([50.0, 0.0, 0.0], [[50.0, 0.0, 0.0], [60.0, 0.0, 0.0]])
    assert np.all(np.isfinite(residual))
    assert np.all(np.isfinite(slope))


@pytest.mark.parametrize("k_lightness", [1.0, 2.0])
@pytest.mark.parametrize("spread", [3.0, 30.0])
def test_slope_is_that_of_differences(spread: float, k_lightness: float) -> None:
    one = random_labs(4000, 7)
    other = one + spread * np.random.default_rng(8).uniform(-1.0, 1.0, one.shape)
    # The formula jumps where hues stand 180° apart (Sharma, Wu & Dalal 2005, section 3): there
    # no difference quotient means anything.
    away = (hue_apart(one, other) < 170.0) & (np.hypot(other[:, 1], other[:, 2]) > 1.0)
    away &= np.hypot(one[:, 1], one[:, 2]) > 1.0
    one, other = one[away], other[away]
    assert len(one) > 3000
    _, slope = delta_e_residual(one, other, k_lightness)
    step = 1e-4
    for axis in range(3):
        aside = step * np.eye(3)[axis]
        above, _ = delta_e_residual(one, other + aside, k_lightness, slope=False)
        below, _ = delta_e_residual(one, other - aside, k_lightness, slope=False)
        np.testing.assert_allclose(
            slope[..., axis], (above - below) / (2.0 * step), rtol=1e-4, atol=1e-5
        )


def test_a_side_continues_the_formula_smoothly_past_the_jump() -> None:
    # Equal to ΔE2000 on its own side; across the jump no step, where the formula itself has one.
    reference = np.array([60.0, 30.0, 10.0])
    hue = np.arctan2(10.0, 30.0) + np.radians([150.0, 179.9, 180.1, 210.0])
    labs = np.column_stack([np.full(4, 55.0), 12.0 * np.cos(hue), 12.0 * np.sin(hue)])
    plain = delta_e(reference, labs)
    left, right = (
        np.sqrt(np.square(delta_e_parts(reference[:, None], labs.T, side=side)[0]).sum(axis=0))
        for side in (1, -1)
    )
    np.testing.assert_allclose(left[:2], plain[:2], rtol=1e-12)
    np.testing.assert_allclose(right[2:], plain[2:], rtol=1e-12)
    assert abs(plain[2] - plain[1]) > 1.0
    assert abs(left[2] - left[1]) < 0.05
    assert abs(right[2] - right[1]) < 0.05


def test_hues_that_stand_opposite_exactly() -> None:
    # Sharma, Wu & Dalal 2005, eqs. 10 and 14: 180° stays what it is, and the mean is that of both.
    one = np.array([[50.0, 30.0, 0.0], [50.0, 0.0, 30.0], [40.0, -20.0, 0.0]])
    other = one * [1.1, -0.5, -0.5]
    theirs = colour.delta_E(one, other, method="CIE 2000")
    np.testing.assert_allclose(delta_e(one, other), theirs, rtol=1e-9)
    np.testing.assert_allclose(delta_e(other, one), theirs, rtol=1e-9)


def test_colours_of_any_number_of_axes_broadcast() -> None:
    one, other = random_labs(1, 9)[0], random_labs(20, 10)
    flat, by_flat = delta_e_residual(np.tile(one, (20, 1)), other)
    for shape in ((20, 3), (4, 5, 3), (2, 2, 5, 3)):
        residual, slope = delta_e_residual(one, other.reshape(shape))
        np.testing.assert_allclose(residual, flat.reshape(shape))
        np.testing.assert_allclose(slope, by_flat.reshape(*shape, 3))
        np.testing.assert_allclose(
            delta_e(other.reshape(shape), one), delta_e(other, one).reshape(shape[:-1])
        )


def test_within_a_quarter_turn_a_side_changes_nothing() -> None:
    reference = np.array([[60.0], [30.0], [0.0]])
    turn = np.radians([80.0, -80.0, 100.0, -100.0])
    labs = np.array([np.full(4, 55.0), 20.0 * np.cos(turn), 20.0 * np.sin(turn)])
    plain = delta_e_parts(reference, labs)[0]
    left, right = (delta_e_parts(reference, labs, side=side)[0] for side in (1, -1))
    np.testing.assert_allclose(left[:, :3], plain[:, :3])
    np.testing.assert_allclose(right[:, [0, 1, 3]], plain[:, [0, 1, 3]])
    assert left[2, 3] > 0.0 > plain[2, 3]
    assert right[2, 2] < 0.0 < plain[2, 2]


def test_a_quarter_turn_itself_is_on_no_side() -> None:
    """A side takes over from more than a quarter turn the other way on."""
    reference, opposite = np.array([[60.0], [30.0], [0.0]]), np.array([[55.0], [0.0], [-20.0]])
    turned = delta_e_parts(reference, opposite, side=1)[0]
    np.testing.assert_allclose(turned, delta_e_parts(reference, opposite)[0])
    # Past it, all the way round: the hue goes on rising where the formula's has fallen.
    turn = np.radians([-91.0, -120.0, -170.0, 170.0])
    labs = np.array([np.full(4, 55.0), 20.0 * np.cos(turn), 20.0 * np.sin(turn)])
    around = delta_e_parts(reference, labs, side=1)[0][2]
    assert np.all(around > 0.0)


def test_the_metric_is_that_of_small_steps_at_greys_too() -> None:
    labs = np.array(
        [[50.0, 0.0, 0.0], [40.0, 30.0, -20.0], [70.0, -2e-3, 2e-3], [70.0, 0.0, -1e-9]]
    )
    for lab, slope in zip(labs, metric(labs), strict=True):
        for step in 1e-4 * np.eye(3):
            miss = colour.delta_E(lab, lab + step, method="CIE 2000")
            assert np.linalg.norm(slope @ step) == pytest.approx(miss, rel=0.01)
    # Chroma, the second part, grows along b* alone where that is all the colour there is.
    assert abs(metric(np.array([70.0, 0.0, 2e-3]))[1, 1]) < 0.01


@pytest.mark.parametrize(
    ("one", "other"),
    [((2, 3), (3, 3)), ((2, 4, 3), (2, 2, 3)), ((2, 4, 3), (3, 4, 3)), ((2, 2, 3), (4, 3))],
)
def test_colours_without_partners_are_refused(one: tuple[int, ...], other: tuple[int, ...]) -> None:
    with pytest.raises(DyemixError, match="have no partners"):
        delta_e(np.ones(one), np.ones(other))
    for few in (np.ones(one), np.ones((1, *one[1:]))):
        assert delta_e(few, np.ones((1, 1, 3))).max() == 0.0
    assert delta_e(np.ones((2, 1, 3)), np.ones((1, 4, 3))).shape == (2, 4)
    for bad in ((3, 2), (3, 4), (1,)):
        with pytest.raises(DyemixError, match="holds no CIELAB"):
            delta_e(np.ones(bad), [50.0, 0.0, 0.0])
        with pytest.raises(DyemixError, match="holds no CIELAB"):
            delta_e([50.0, 0.0, 0.0], np.ones(bad))


@pytest.mark.parametrize(("factor", "allowed"), [
    (0.01, True), (0.0099, False), (-0.5, False), (100.0, True), (100.01, False), (99.5, True),
])  # fmt: skip
def test_lightness_counts_between_a_hundredth_and_a_hundredfold(
    factor: float, allowed: bool
) -> None:
    one, other = [50.0, 0.0, 0.0], [53.0, 0.0, 0.0]
    if allowed:
        assert delta_e(one, other, factor) == pytest.approx(delta_e(one, other) / factor)
        return
    with pytest.raises(DyemixError):
        delta_e(one, other, factor)
