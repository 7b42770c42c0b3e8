"""Priors of what is not known of dyes, and what cells weighed by pots come to, by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dyemix.model.kubelka_munk import saturation
from dyemix.model.mixtures import by_shift
from dyemix.model.unknowns import Cells, Modes, Posterior

#: Working values of ours, as the documentation of `dyemix.model.unknowns` states them.
TAUS = np.array([0.02, 0.086, 0.152, 0.218, 0.284, 0.35])
RESTS = 0.2 * 25.0 ** (np.arange(6) / 5)
LIKELY_TAU = np.exp(-0.5 * (TAUS / 0.09) ** 2)


def two_dyes() -> Modes:
    """Two dyes whose ladders leave one part of each open."""
    return replace(Modes.none(2, 31), own=np.zeros((2, 1, 33)))


def test_priors_of_the_unknowns() -> None:
    """τ on its grid under a half-normal of 0.09, bias 0.08, what dyes do to each other 0.15 in
    common and 0.1 each, 1 of their saturation, with a quarter and a hundredth of that variance in
    parts of the weight, ν 0.4 to 9 nm; the rest in standard deviations."""
    found = Posterior.prior(two_dyes())
    tau2 = LIKELY_TAU @ TAUS**2 / LIKELY_TAU.sum()
    nu2 = 0.86 * 0.4**2 + 0.11 * 4.0**2 + 0.03 * 9.0**2
    common = np.array([0.08**2, 0.15**2, 1.0, 0.1**2, 0.1**2]) * (0.52 + 0.18 / 4 + 0.3 / 100)
    wanted = [*[tau2] * 2, *common[:3], *[1.0] * 4, *[nu2] * 2, *common[3:]]
    np.testing.assert_allclose(found.covariance, np.diag(wanted), rtol=1e-12)
    np.testing.assert_array_equal(found.mean, 0.0)
    # Ladders that miss by twice what no dye does leave company twice as open, but for τ, which
    # is a mix's own error too, and not themselves.
    factor, far = np.full(13, 4.0), Posterior.prior(two_dyes(), 4.0)
    factor[[0, 1, 5, 6, 7, 8]] = 1.0
    np.testing.assert_allclose(np.diag(far.covariance), factor * wanted, rtol=1e-12)
    assert found.strength == pytest.approx(np.sqrt(tau2))


@pytest.mark.parametrize("misfit", [0.0, 0.6])
def test_priors_of_a_mix_s_own_error(misfit: float) -> None:
    """s log-normal about 0.45; of dyes by themselves 0.3. What ladders miss adds in squares: with
    0.6 beside 0.45 the median is 0.75 (3-4-5)."""
    median = 0.75 if misfit else 0.45
    rests = RESTS * np.sqrt(median / 0.45)  # below its median there is room for mixes that agree
    likely = np.exp(-0.5 * (np.log(rests / median) / 0.6) ** 2)
    found = Posterior.prior(two_dyes(), misfit)
    rest2 = likely @ rests**2 / likely.sum()
    assert found.rest == pytest.approx(np.sqrt(rest2))
    assert found.alone == pytest.approx(np.sqrt(0.09 + misfit**2))
    cells = Cells.of(misfit)
    assert cells.weight.sum() == pytest.approx(1.0)
    # Pots may tell nothing of each other, and company does less than it may in half of it.
    assert cells.weight @ (cells.shared < 0.5) == pytest.approx(0.3)
    assert cells.weight @ (cells.common < 1.0) == pytest.approx(0.48)
    assert len(cells.weight) == 6 * 6 * 6


def two_cells(
    tau: list[float], s: list[float], weight: list[float], reading: float = 0.0
) -> Posterior:
    values = (np.array(x) for x in (tau, s, [1.0, 1.0], [1.0, 1.0], [0.0, 0.0], weight))
    return Posterior.of(np.zeros(2), np.eye(2), Cells(*values), 0.0, 1.5, reading)


def test_the_freedom_of_the_likely_miss_by_hand() -> None:
    """Variances of a mix 1.64 τ² 5² + s²: 0.41 + 0.09 and 1.64 + 0.36, their mean 1.25, kurtosis
    2.125 ÷ 1.5625 = 1.36 of a normal's, which Student's t of (4 × 1.36 − 2) ÷ 0.36 degrees has.
    Where s is 0.3 in both, the second is 1.73. What readings stray by is no doubt: with 0.25 of
    that they are 0.75 and 2.25, their kurtosis 1.25 of a normal's, and 12 degrees have that.
    """
    found = two_cells([0.1, 0.2], [0.3, 0.6], [0.5, 0.5])
    assert found.freedom == pytest.approx(3.44 / 0.36)
    low, high = np.sqrt(0.5 / 1.25), np.sqrt(2.0 / 1.25)
    assert found.spread == pytest.approx((low, low + 0.8 * (high - low)))
    other = two_cells([0.1, 0.2], [0.3, 0.3], [0.5, 0.5])
    kurtosis = (0.5**2 + 1.73**2) / 2.0 / 1.115**2
    assert other.freedom == pytest.approx((4.0 * kurtosis - 2.0) / (kurtosis - 1.0))
    assert (found.strength, found.rest) == pytest.approx((np.sqrt(0.025), np.sqrt(0.225)))
    assert found.widening == 1.5
    read = two_cells([0.1, 0.2], [0.3, 0.6], [0.5, 0.5], 0.25)
    assert read.freedom == pytest.approx(12.0)
    low, high = np.sqrt(0.75 / 1.5), np.sqrt(2.25 / 1.5)
    assert read.spread == pytest.approx((low, low + 0.8 * (high - low)))
    turned = two_cells([0.2, 0.1], [0.6, 0.3], [0.5, 0.5])
    assert turned.spread == pytest.approx(found.spread)
    assert two_cells([0.1, 0.1], [0.3, 0.3], [0.5, 0.5]).freedom == 30.0
    assert two_cells([0.0, 0.0], [0.1, 5.0], [0.99, 0.01]).freedom == 4.5


def test_readings_narrow_what_a_miss_may_be_before_the_first_mix_too() -> None:
    """What is stated of readings, 3² in each part, is no doubt of what a mix does: the range is of
    the root of both. Degrees of freedom, and so bounds, are the same without."""
    alone, read = (Posterior.prior(two_dyes(), reading=variance) for variance in (0.0, 9.0))
    size = 1.64 * 25.0 * alone.strength**2 + alone.rest**2
    squares = (np.square(alone.spread) * size + 9.0) / (size + 9.0)
    assert read.spread == pytest.approx(np.sqrt(squares), abs=0.02)
    assert 0.1 < alone.spread[0] < 0.6
    assert replace(read, spread=alone.spread) == alone


def test_bands_that_move_and_laws_that_saturate_by_hand() -> None:
    """A straight curve from 50 to 350 with its floor of 17.5 falls by its slope, 1 a nm, over its
    height; ln(2 ÷ 0.5) is 1.386."""
    nm = np.arange(400.0, 701.0, 10.0)
    (moved,) = by_shift(nm[np.newaxis] - 350.0)
    assert moved == pytest.approx(-1.0 / (nm - 332.5))
    law = np.array([[0.95, 0.0], [0.9, -0.05]])
    assert saturation(law) == pytest.approx([0.0, -0.05 - 0.05 * 1.386], abs=1e-4)


def test_some_of_the_dyes_take_their_unknowns_along() -> None:
    modes = two_dyes()
    theta = np.arange(float(modes.unknowns))
    places = modes.places([1])
    strength, common, surface, own, shift, acting = modes.take([1]).split(theta[places])
    assert (strength, common.tolist(), surface.tolist()) == (1.0, [2.0, 3.0, 4.0], [5.0, 6.0])
    assert (own.tolist(), shift.tolist(), acting.tolist()) == ([[8.0]], [10.0], [12.0])
    known = Posterior.prior(modes)
    assert known.take(places).covariance == pytest.approx(known.covariance[np.ix_(places, places)])
