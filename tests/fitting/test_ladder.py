"""What a ladder of spectra leaves open, and the scatter it shows, by hand-worked sums."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from dyemix.arrays import Array
from dyemix.dataset.readings import Reading
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import SwatchSet
from dyemix.fitting.ladder import Beside, SpectralLadders, Squares, scatter_of
from dyemix.fitting.ladder import beside as side_by_side
from dyemix.model.dyes import Ladders
from dyemix.model.kubelka_munk import Surface
from dyemix.model.unknowns import Modes

DEPTHS = np.array([0.25, 1.0, 4.0])


def law(n: float, q: float) -> Array:
    """((c + 0.01)ⁿ − 0.01ⁿ) exp(½ q ln²((c + 0.01)/0.5)) at the depths."""
    shifted = DEPTHS + 0.01
    return (shifted**n - 0.01**n) * np.exp(0.5 * q * np.log(shifted / 0.5) ** 2)


def test_what_a_ladder_leaves_open() -> None:
    """Of level, exponent and bend, the inverse of XᵀWX with priors of 0.15 and 0.05 on the latter
    two, and a drift of 0.03 on the level. W is 1 ÷ (0.01² + the error of a strength by a
    reflectance that is off by 0.004 in each band). The squares lie on the prior's own law.
    """
    curve, ground = np.linspace(0.5, 4.0, 31), 0.01 / 1.8  # K/S of an R of 0.9
    works = law(0.95, 0.0)
    k = ground + works[:, np.newaxis] * curve
    seen = 1.0 / (1.0 + k + np.sqrt(k * k + 2.0 * k))
    squares: Any = [
        SimpleNamespace(recipe={"gold": c}, reflectance=r)
        for c, r in zip(DEPTHS, seen, strict=True)
    ]
    ladders = SpectralLadders({"gold": squares}, np.full(31, 0.9))
    found, _ = ladders.fit(Surface(), np.ones(3), 0.01)
    np.testing.assert_allclose(found.curves[0], curve, rtol=1e-6)
    np.testing.assert_allclose(found.law[0], [0.95, 0.0], atol=1e-9)

    by_strength = 2.0 * seen**2 / (1.0 - seen**2) * curve  # dR/dk of Kubelka & Munk
    error = 0.004 / np.sqrt((by_strength**2).sum(axis=1)) / works
    assert error.max() > 0.005, "so that it matters beside 0.01"
    step = 1e-5
    by_n, by_q = (
        np.log(law(0.95 + i * step, j * step) / law(0.95 - i * step, -j * step)) / (2 * step)
        for i, j in ((1, 0), (0, 1))
    )
    x = np.stack([np.ones(3), by_n, by_q], axis=1)
    normal = x.T @ np.diag(1.0 / (0.01**2 + error**2)) @ x
    wanted = np.linalg.inv(normal + np.diag([0.0, 0.15**-2, 0.05**-2]))
    wanted[0, 0] += 0.03**2
    modes = found.modes.own[0][:, [0, -2, -1]]
    np.testing.assert_allclose(modes.T @ modes, wanted, rtol=1e-5)
    np.testing.assert_array_equal(found.modes.own[0][:3, 0], found.modes.own[0][:3, 30])
    np.testing.assert_allclose(
        found.modes.own[0][3], 0.0, atol=1e-12
    )  # it does not turn with depth


def test_how_a_curve_turns_with_depth() -> None:
    """Short waves gain 0.05 in ln a, long ones lose it, with each unit of ln depth: seen as told,
    as over a threefold depth, but for the little that readings leave of the prior."""
    turns = np.where(np.arange(31) < 15, 0.05, -0.05)
    k = 0.01 / 1.8 + 2.0 * law(0.95, 0.0)[:, np.newaxis] * np.exp(np.outer(np.log(DEPTHS), turns))
    seen = 1.0 / (1.0 + k + np.sqrt(k * k + 2.0 * k))
    squares: Any = [
        SimpleNamespace(recipe={"gold": c}, reflectance=r)
        for c, r in zip(DEPTHS, seen, strict=True)
    ]
    ladders = SpectralLadders({"gold": squares}, np.full(31, 0.9))
    found, _ = ladders.fit(Surface(), np.ones(3), 0.03)
    *_, turn = found.modes.own[0]
    assert turn[:15].mean() - turn[15:31].mean() == pytest.approx(0.1 * np.log(3.0), rel=0.1)
    np.testing.assert_array_equal(turn[31:], 0.0)  # the law does not turn


def beside(logs: list[float]) -> Beside:
    zeros = np.zeros(len(logs))
    return Beside(np.zeros((len(logs), 3)), zeros, zeros, zeros, np.array(logs), zeros == 0.0)


def lab(*lightness: float) -> SwatchSet:
    readings = (
        Reading.from_lab([value, 0.0, 0.0], "D65/10", Recipe({"gold": 1.0}), swatch="1")
        for value in lightness
    )
    return SwatchSet(tuple(readings))


@pytest.mark.parametrize(
    ("dyes", "variance"),
    [
        # Nothing seen: the prior of 0.05.
        ([], 0.0025),
        # At depth 1 0.12 ± 0.02 twice, at 2 −0.05: (4 × 0.0025 + 0.0008 + (0.0144 + 0.0025)/3)
        # ÷ (4 + 1 + (2 − 1.5)/3).
        ([([1, 1, 2], [0.10, 0.14, -0.05])], 0.0164333 / (5 + 1 / 6)),
        # The last strays more than 4 × 1.4826 × 0.05 = 0.297, and is none of hers; 0.28 is.
        ([([1, 2, 3, 4], [0.05, -0.05, 0.05, 0.32])], (0.01 + 0.0025) / 4.5),
        ([([1, 2, 3, 4], [0.05, -0.05, 0.05, 0.28])], (0.01 + 0.0859 / 3) / (4 + 2.5 / 3)),
        # To 0.15 nothing is amiss, however alike the others are.
        ([([1, 2, 3, 4], [0.0, 0.0, 0.0, 0.16])], 0.01 / 4.5),
        ([([1, 2, 3, 4], [0.0, 0.0, 0.0, 0.14])], (0.01 + 0.0196 / 3) / (4 + 2.5 / 3)),
    ],
)
def test_the_scatter_of_squares(dyes: list[Any], variance: float) -> None:
    """Half of it is taken for dosing and half for the pot; the prior of 0.05 is worth four."""
    of = np.repeat(np.arange(len(dyes)), [len(c) for c, _ in dyes])
    depths, logs = ([float(x) for ladder in dyes for x in ladder[i]] for i in range(2))
    found = scatter_of(beside(logs), of, np.array(depths), lab(50.0))
    assert found.dosing == found.pot == pytest.approx(np.sqrt(variance / 2.0), rel=1e-5)


def test_ladders_that_are_hardly_dye_tell_little_of_scatter() -> None:
    """At a trust of a quarter, squares off their law count a quarter of a third."""
    squares = beside([0.05, -0.05, 0.05, 0.28]), np.zeros(4, dtype=np.intp), np.arange(1.0, 5.0)
    variance = (0.01 + 0.0859 / 12.0) / (4.0 + 2.5 / 12.0)
    found = scatter_of(*squares, lab(50.0), 0.25)
    assert found.dosing == pytest.approx(np.sqrt(variance / 2.0), rel=1e-5)


def test_the_scatter_of_readings() -> None:
    """At L* 50 S_L is 1: of 49.8 and 50.2 (4 × 0.15² + 2 × 0.2²) ÷ (4 + 1) in lightness."""
    nothing = beside([]), np.empty(0, dtype=np.intp), np.empty(0)
    found = scatter_of(*nothing, lab(49.8, 50.2)).reading
    np.testing.assert_allclose(found, np.diag([0.17, 0.09, 0.09]) / 5.0, atol=1e-6)
    np.testing.assert_allclose(scatter_of(*nothing, lab(50.0)).reading, 0.0225 * np.eye(3))


def test_dyes_beside_others_keep_their_places_and_pictures() -> None:
    """Two dyes of spectra, one of photographs: what one kind does not have open is 0 for it."""

    def some(dyes: int, own: int, *pictures: str) -> Ladders:
        shared = np.full((dyes, 2 + 3 * len(pictures), 33), 1.0 + dyes)
        modes = Modes(np.array([0.01, 0.2]), shared, np.full((dyes, own, 33), 1.0 * own))
        law = np.full((dyes, 2), 0.9)
        return Ladders(np.full((dyes, 31), 1.0 * dyes), law, Surface(), modes, pictures=pictures)

    both = side_by_side(some(2, 4), some(1, 3, "a", "b"))
    assert both.pictures == ("a", "b")
    np.testing.assert_array_equal(both.curves[:, 0], [2.0, 2.0, 1.0])
    np.testing.assert_array_equal(both.modes.own[..., 0], [[4.0] * 4, [4.0] * 4, [3, 3, 3, 0]])
    spectra = [3.0] * 2 + [0.0] * 6
    np.testing.assert_array_equal(both.modes.shared[..., 0], [spectra, spectra, [2.0] * 8])


@pytest.mark.parametrize(("photographs", "variance"), [(2, 0.17 / 5), (3, 9.0 / 1.0722**2)])
def test_how_the_next_piece_is_read(photographs: int, variance: float) -> None:
    """As most of these were: photographs beside as many readings by an instrument do not widen it,
    and where they lie says nothing of how the instrument repeats. At L* 56 S_L is 1.0722."""
    table = lab(49.8, 50.2, *[56.0] * photographs)
    stated = [replace(r, covariance=9.0 * np.eye(3)) for r in table.readings[2:]]
    both = replace(table, readings=(*table.readings[:2], *stated))
    found = scatter_of(beside([]), np.empty(0, dtype=np.intp), np.empty(0), both).reading
    assert found[0, 0] == pytest.approx(variance, rel=1e-3)


@pytest.mark.parametrize(
    ("spectra", "lowest", "trust", "top"),
    [(True, 0.05, 3.0, 0.045), (False, 0.05, 1.0, 0.045), (True, 0.2, 3.0, 0.06)],
)
def test_the_mean_surface_and_its_spread(
    spectra: bool, lowest: float, trust: float, top: float
) -> None:
    """(cost ÷ least cost)⁻³ of spectra, ⁻¹ of CIELAB, over four r0 up to nine tenths of the lowest
    reading, 0.06 at most, and k2 of 0 to 0.6; where there are spectra, theirs alone counts.
    """

    def cost(surface: Surface) -> float:
        return 1.0 + surface.k2 + 20.0 * surface.r0

    data: Any = SimpleNamespace(
        lowest=lowest, counts=None, rough=np.array([not spectra, True]), _kinds=(),
        fit=lambda surface, _, strength: (None, np.array([cost(surface), 2.0 * cost(surface)])),
    )  # fmt: skip
    found, spread = Squares.surfaces(data)
    r0, k2 = np.meshgrid(np.linspace(0.0, top, 4), [0.0, 0.2, 0.4, 0.6], indexing="ij")
    weights = (1.0 + k2 + 20.0 * r0) ** -trust
    weights /= weights.sum()
    mean = [(weights * x).sum() for x in (r0, k2)]
    assert (found.r0, found.k2) == pytest.approx(mean)
    wanted = [np.sqrt((weights * (x - m) ** 2).sum()) for x, m in zip((r0, k2), mean, strict=True)]
    assert spread == pytest.approx(wanted)


def test_a_dye_that_outshines_its_cloth_keeps_its_curve_and_law() -> None:
    """Light that a dye gives out beyond 600 nm says nothing of what it absorbs below."""
    curve = np.where(np.arange(31) < 20, 3.0, 0.0)
    k = 0.01 / 1.8 + law(0.95, 0.0)[:, np.newaxis] * curve
    seen = 1.0 / (1.0 + k + np.sqrt(k * k + 2.0 * k)) + 0.3 * (curve == 0.0)
    squares: Any = [
        SimpleNamespace(recipe={"gold": c}, reflectance=r)
        for c, r in zip(DEPTHS, seen, strict=True)
    ]
    ladders = SpectralLadders({"gold": squares}, np.full(31, 0.9))
    found, _ = ladders.fit(Surface(), np.ones(3), 0.03)
    np.testing.assert_allclose(found.curves[0, :20], 3.0, rtol=1e-6)
    np.testing.assert_allclose(found.law[0], [0.95, 0.0], atol=1e-6)
