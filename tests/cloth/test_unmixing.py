"""Amounts from responses: the inverse of the forward model, and the optimum where there is none."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares

from dyemix.cloth.amounts import MOST, Unmixer
from dyemix.colour.colorimetry import D65_2, weights
from dyemix.errors import RecipeError
from tests.simulated.strike import MIXES
from tests.simulated.struck import spectral_dyes

SENSED = weights(D65_2) / weights(D65_2).sum(axis=0)


def unmixer(mix: str = "clear") -> Unmixer:
    return Unmixer(spectral_dyes(tuple(MIXES[mix])), MIXES[mix])


@pytest.mark.parametrize("mix", MIXES)
def test_amounts_come_back_from_what_they_look_like(mix: str):
    found = unmixer(mix)
    amounts = np.random.default_rng(0).uniform(0.0, 2.0, (500, len(found.dose))) * found.dose
    looks = found.dyes.reflectance(amounts) @ SENSED
    back, missed = found.solve(looks)
    assert np.abs(back - amounts).max() < 1e-4 * MOST * found.dose.max()
    assert not missed.any()


@pytest.mark.parametrize("mix", MIXES)
def test_what_no_amounts_give_is_the_nearest_there_is(mix: str):
    """Noisy undyed cloth and colours out of reach, against scipy from several starts."""
    found = unmixer(mix)
    rng = np.random.default_rng(1)
    pale = found.responses(np.zeros((6, len(found.dose)))) * rng.normal(1.0, 0.02, (6, 3))
    seen = np.concatenate([pale, [[0.2, 0.5, 0.2], [0.6, 0.3, 0.7]]])
    back, missed = found.solve(seen)
    assert missed[-2:].all()
    assert back.min() >= 0.0
    got = np.cbrt(found.responses(back.astype(float))) - np.cbrt(seen)
    residual, top = found.residual(np.cbrt(seen).T), found._most
    for i in range(len(seen)):
        at = np.array([i])
        best = min(
            least_squares(
                lambda x, at=at: residual(x[:, np.newaxis], at)[0][:, 0], start, bounds=(0.0, top)
            ).cost
            for start in (np.full(len(top), 0.05), np.ones(len(top)))
        )
        assert np.sum(got[i] ** 2) <= 2.0 * best * (1 + 1e-3) + 1e-7


def test_the_slope_is_that_of_the_forward_model():
    found = unmixer()
    x = np.random.default_rng(2).uniform(0.1, 2.0, (3, 4))
    residual = found.residual(np.zeros((3, 4)))
    _, slope = residual(x, np.arange(4))
    for i in range(3):
        step = np.zeros((3, 1))
        step[i] = 1e-6
        ends = [residual(x + side, np.arange(4))[0] for side in (step, -step)]
        assert slope[:, i] == pytest.approx((ends[0] - ends[1]) / 2e-6, rel=1e-4, abs=1e-7)


def test_of_more_than_three_dyes_the_ratios_of_the_recipe_decide():
    names = ("lemon", "rose", "turquoise", "navy")
    recipe = dict.fromkeys(names, 0.4)
    found = Unmixer(spectral_dyes(names), recipe)
    wanted = np.full((1, 4), 0.4) * np.array([[0.3], [1.0], [2.0]])
    back, _ = found.solve(found.responses(wanted))
    assert back[1] == pytest.approx(wanted[1], rel=1e-3)
    # The prior is on what works of each dye, which is in proportion to depth only nearly.
    assert back == pytest.approx(wanted, rel=0.15)


def test_an_undyed_recipe_is_refused():
    with pytest.raises(RecipeError, match="undyed"):
        Unmixer(spectral_dyes(tuple(MIXES["clear"])), {})
