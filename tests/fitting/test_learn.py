"""Learning from trials: what it finds, when it refuses, and what it is worth on the workshop."""

from __future__ import annotations

import datetime
from dataclasses import replace

import numpy as np
import pytest

from benchmarks.correction import run
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading
from dyemix.dataset.trial import Bath, Trial
from dyemix.errors import DyemixError
from dyemix.fitting.learn import Lesson, _posterior, learn
from dyemix.fitting.strengths import LASTING, lab_by_theta, moved, prior_sd, strengths_of_draws
from dyemix.model.scatter import PRIOR_SECOND_BATH
from dyemix.model.uncertainty import causes, fit_covariance

RECIPES = tuple(
    Recipe.parse(text)
    for text in (
        "marigold 0.8 + navy 0.25",
        "navy 0.6 + scarlet 0.3",
        "marigold 0.4 + scarlet 0.5",
        "navy 0.3 + turquoise 0.5",
        "turquoise 0.8 + marigold 0.3",
        "scarlet 1.2 + navy 0.15",
        "marigold 1.5 + turquoise 0.2 + navy 0.2",
        "scarlet 0.2 + turquoise 1.2",
    )
)


def dyed(truth, recipe, **more) -> Trial:
    """A trial of a recipe that comes out exactly as these dyes say."""
    return Trial(recipe, Reading(recipe, truth.predict(recipe).reflectance), **more)


@pytest.fixture
def stronger(dyes):
    """The same dyes, navy 6 % stronger and scarlet 4 % weaker than their squares said."""
    theta = np.zeros(len(dyes) + 2)
    theta[dyes.index("navy")], theta[dyes.index("scarlet")] = np.log(1.06), np.log(0.96)
    return moved(dyes, theta)


def test_slopes_are_those_of_the_recipes(dyes):
    """For a linear law more strength is more dye; a cross-check of the slope by θ."""
    line = replace(dyes, exponent=np.ones(len(dyes)), capacity=np.full(len(dyes), np.inf))
    amounts = np.array([line.amounts(r) for r in RECIPES])
    theta = np.zeros(len(line) + 2)
    alone = replace(line, competition=0.0)
    _, by_amount = alone.blends(np.tile(np.arange(len(line)), (len(RECIPES), 1))).lab_and_slope(
        amounts, line.light
    )
    _, slope = lab_by_theta(alone, theta, amounts, line.light)
    assert slope[:, :, : len(line)] == pytest.approx(by_amount * amounts[:, np.newaxis], abs=1e-3)


def test_strengths_are_found_and_said(dyes, stronger):
    found = learn(dyes, [dyed(stronger, r) for r in RECIPES])
    assert found.outcome is Lesson.LEARNT
    assert found.after.mean() < 0.7 * found.before.mean()
    strength = found.dyes.curves.sum(axis=1) / dyes.curves.sum(axis=1)
    assert 1.02 < strength[dyes.index("navy")] < 1.06
    assert 0.96 < strength[dyes.index("scarlet")] < 0.99
    # A dye that no trial held stays where it was.
    assert strength[dyes.index("rust")] == pytest.approx(1.0, abs=1e-9)
    assert any(c.startswith("navy comes out") and "stronger" in c for c in found.changes)
    assert any(c.startswith("scarlet comes out") and "weaker" in c for c in found.changes)
    assert "stronger" in str(found)
    assert list(found.to_frame()["after"]) == list(found.after)
    amounts = np.array([dyes.amounts("navy 0.4 + scarlet 0.2")])
    miss = [
        np.linalg.norm(d.predict_many(amounts) - stronger.predict_many(amounts))
        for d in (dyes, found.dyes)
    ]
    assert miss[1] < 0.6 * miss[0]


def test_what_was_open_narrows(dyes, stronger):
    found = learn(dyes, [dyed(stronger, r) for r in RECIPES]).dyes
    spread = [strengths_of_draws(d, d.draws).std(axis=0) for d in (dyes, found)]
    navy, rust = dyes.index("navy"), dyes.index("rust")
    assert spread[1][navy] < 0.95 * spread[0][navy]
    assert spread[1][rust] == pytest.approx(spread[0][rust], rel=0.01)
    amounts = np.array([dyes.amounts(RECIPES[0])])
    before, after = (np.trace(fit_covariance(d, amounts, d.light)[0]) for d in (dyes, found))
    assert after < before
    assert found.scatter.mixing < dyes.scatter.mixing


def test_each_trial_left_out_is_predicted_without_it(dyes, stronger):
    """The linearised leave-one-out beside its slow twin: learning again without the trial."""
    trials = [dyed(stronger, r) for r in RECIPES]
    amounts = np.array([dyes.amounts(r) for r in RECIPES])
    measured = np.array([t.reading.colour(dyes.light) for t in trials])
    fast = _posterior(dyes, amounts, measured, np.ones(len(trials))).left_out
    for t in range(len(trials)):
        rest = np.arange(len(trials)) != t
        theta = _posterior(dyes, amounts[rest], measured[rest], np.ones(rest.sum())).theta
        slow = moved(dyes, theta).predict_many(amounts[t : t + 1])[0]
        assert fast[t] == pytest.approx(slow, abs=0.02)


def test_the_posterior_is_the_minimum(dyes, stronger):
    """Nothing near θ has a lower cost: recomputed here from the definition."""
    trials = [dyed(stronger, r) for r in RECIPES]
    amounts = np.array([dyes.amounts(r) for r in RECIPES])
    measured = np.array([t.reading.colour(dyes.light) for t in trials])
    found = _posterior(dyes, amounts, measured, np.ones(len(trials)))
    own = replace(dyes.scatter, mixing=dyes.scatter.mixing * np.sqrt(1.0 - LASTING))
    noise = causes(replace(dyes, draws=None, scatter=own), amounts, dyes.light).total

    def cost(theta):
        off = measured - moved(dyes, theta).predict_many(amounts)
        return np.einsum("ti,tij,tj->", off, np.linalg.inv(noise), off) + np.sum(
            (theta / prior_sd(dyes)) ** 2
        )

    here = cost(found.theta)
    for step in np.random.default_rng(0).normal(0.0, 0.005, (20, len(found.theta))):
        there = found.theta + step
        if there[-1] >= -dyes.competition:
            assert cost(there) > here - 1e-3


def test_few_trials_and_true_dyes_teach_nothing(dyes):
    exact = [dyed(dyes, r) for r in RECIPES]
    found = learn(dyes, exact[:2])
    assert found.outcome is Lesson.TOO_FEW
    assert found.dyes is dyes
    found = learn(dyes, exact)
    assert found.outcome is Lesson.NO_HELP
    assert found.dyes is dyes
    assert found.changes == ()
    assert str(found).startswith("Nothing learnt")
    assert learn(dyes, []).dyes is dyes


def test_noise_alone_is_refused_more_often_than_not(dyes):
    """Misses that have nothing to do with each other are not taken for a lesson."""
    rng = np.random.default_rng(4)
    refused = 0
    for _ in range(12):
        trials = []
        for recipe in RECIPES:
            once = Recipe({n: a * np.exp(0.08 * rng.standard_normal()) for n, a in recipe.items()})
            trials.append(Trial(recipe, Reading(recipe, dyes.predict(once).reflectance)))
        refused += learn(dyes, trials).outcome is Lesson.NO_HELP
    assert refused >= 7


def test_old_trials_and_other_lots_count_less(dyes, stronger):
    day = datetime.date(2026, 5, 3)
    theta = np.zeros(len(dyes) + 2)
    theta[dyes.index("navy")] = np.log(0.85)
    weaker = moved(dyes, theta)
    new = [dyed(stronger, r, date=day, lot="B") for r in RECIPES]
    old = [dyed(weaker, r, date=day.replace(year=2025), lot="A") for r in RECIPES]

    def navy(**options) -> float:
        taught = learn(dyes, [*new, *old], **options)
        i = dyes.index("navy")
        return float(taught.dyes.curves[i].sum() / dyes.curves[i].sum())

    assert navy() <= 1.0  # trials that contradict each other are refused
    assert navy(half_life_days=60) > 1.01
    assert navy(lot="B", other_lot=0.02) > 1.01
    weights = learn(dyes, [*new, *old], half_life_days=365).weights
    assert weights == pytest.approx([1.0] * 8 + [0.5] * 8)
    with pytest.raises(DyemixError, match="have no date"):
        learn(dyes, [dyed(dyes, r) for r in RECIPES], half_life_days=60)
    with pytest.raises(DyemixError, match="above 0"):
        learn(dyes, new, half_life_days=0)
    with pytest.raises(DyemixError, match="not a weight"):
        learn(dyes, new, lot="B", other_lot=2.0)


def test_second_baths_teach_how_far_they_stray(dyes):
    """Baths that all give 20 % less widen what is expected; exact ones narrow it."""
    under = Reading(None, dyes.predict("marigold 0.5").reflectance)
    on = dyes.on(under)

    def second(share: float) -> float:
        trials = []
        for depth in np.linspace(0.2, 1.0, 10):
            asked = Recipe({"navy": float(depth)})
            read = Reading(None, on.predict(asked * share).reflectance)
            trials.append(Trial(asked, read, bath=Bath.SECOND, on=under))
        found = learn(dyes, trials)
        assert found.outcome is Lesson.TOO_FEW
        assert "Second baths" in str(found)
        assert found.dyes.curves is dyes.curves
        return found.dyes.scatter.second_bath

    assert second(1.0) < 0.75 * PRIOR_SECOND_BATH < PRIOR_SECOND_BATH < second(0.75)


def test_on_the_workshop_ten_trials_help():
    """The table is in benchmarks/correction.py; this is a small part of it."""
    found = run((0, 1), 0.03, palettes=6, targets=4)
    change = found.after[10] - found.again
    assert change.mean() < -0.01
    assert found.after[10].mean() < found.after[3].mean()
    refused = found.learnt[:, 0] == 0
    assert found.after[3][refused] == pytest.approx(found.again[refused], abs=1e-3)
