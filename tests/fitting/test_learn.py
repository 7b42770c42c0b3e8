"""Learning from trials: what it says, what age and lots weigh, and what it is worth."""

from __future__ import annotations

import datetime

import numpy as np
import pytest

from benchmarks.correction import run
from benchmarks.shelf import standing
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading
from dyemix.dataset.target import Trial
from dyemix.errors import DyemixError, RecipeError
from dyemix.fitting.learn import learn
from dyemix.model.dyes import DyeSet
from dyemix.model.uncertainty import PRIOR_SECOND_BATH
from tests.fitting.conftest import RECIPES


def dyed(truth: DyeSet, recipe: Recipe, **more) -> Trial:
    """A trial of a recipe that comes out exactly as these dyes say."""
    return Trial(recipe, Reading(recipe, truth.predict(recipe).reflectance), **more)


def with_navy(dyes: DyeSet, log: float) -> DyeSet:
    """The same dyes, navy stronger in mixes."""
    company = np.array(dyes.whole.company)
    company[dyes.index("navy")] = log
    return standing(dyes, company=company)


def test_what_was_learnt_is_said(dyes):
    trials = [dyed(with_navy(dyes, 0.2), r) for r in RECIPES]
    found = learn(dyes, trials)
    assert found.after.mean() < 0.7 * found.before.mean()
    assert any(c.startswith("navy comes out") and "stronger" in c for c in found.changes)
    assert "Of your 8 mixes" in str(found)
    frame = found.to_frame()
    assert list(frame["after"]) == list(found.after)
    assert [c.label for c in found.checks] == [str(p.label) for p in found.dyes.pots]
    assert found.dyes.report.own_mixtures == found.checks
    assert found.dyes.report.expected < dyes.report.expected


def test_few_trials_teach_and_say_that_they_are_few(dyes):
    found = learn(dyes, [dyed(with_navy(dyes, 0.2), r) for r in RECIPES[:2]])
    assert found.dyes.whole.company[dyes.index("navy")] > 0.02
    assert "too few to tell" in str(found)
    assert learn(dyes, []).changes == ()


def test_a_dye_that_is_not_on_the_shelf_is_an_error(dyes):
    reading = Reading(Recipe({"sienna": 1.0}), np.full(31, 0.5))
    with pytest.raises(RecipeError, match="sienna"):
        learn(dyes, [Trial(Recipe({"sienna": 1.0}), reading)])


def test_what_was_long_forgotten_teaches_nothing_and_breaks_nothing(dyes):
    stronger, day = with_navy(dyes, 0.05), datetime.date(2026, 1, 1)
    new = [dyed(stronger, r, date=day) for r in RECIPES[:4]]
    old = [dyed(dyes, r, date=day - datetime.timedelta(3000)) for r in RECIPES[4:]]
    wanted = learn(dyes, new).dyes.predict(RECIPES[0]).lab
    found = learn(dyes, [*new, *old], half_life_days=0.1).dyes.predict(RECIPES[0]).lab
    np.testing.assert_allclose(found, wanted, atol=1e-3)


def test_old_trials_and_other_lots_count_less(dyes):
    day = datetime.date(2026, 5, 3)
    new = [dyed(with_navy(dyes, 0.2), r, date=day, lot="B") for r in RECIPES]
    old = [dyed(with_navy(dyes, -0.2), r, date=day.replace(year=2025), lot="A") for r in RECIPES]

    def navy(**options) -> float:
        return float(learn(dyes, [*new, *old], **options).dyes.whole.company[dyes.index("navy")])

    assert abs(navy()) < 0.02  # trials that contradict each other say nothing together
    assert navy(half_life_days=60) > 0.04
    assert navy(lot="B") > 0.028
    weights = learn(dyes, [*new, *old], half_life_days=365, lot="B").weights
    assert weights == pytest.approx([1.0] * 8 + [0.5 * 0.25] * 8)
    with pytest.raises(DyemixError, match="have no date"):
        learn(dyes, [dyed(dyes, r) for r in RECIPES], half_life_days=60)
    with pytest.raises(DyemixError, match="above 0"):
        learn(dyes, new, half_life_days=0)


def test_second_baths_teach_how_far_they_stray(dyes):
    """Baths that all give 40 % less widen what is expected; exact ones narrow it."""
    under = Reading(None, dyes.predict("marigold 0.5").reflectance)
    on = dyes.on(under)

    def second(share: float) -> float:
        trials = []
        for depth in np.linspace(0.2, 1.0, 10):
            asked = Recipe({"navy": float(depth)})
            read = Reading(None, on.predict({"navy": float(depth) * share}).reflectance)
            trials.append(Trial(asked, read, on=under))
        found = learn(dyes, trials)
        assert "Second baths" in str(found)
        np.testing.assert_array_equal(found.dyes.whole.curves, dyes.whole.curves)
        # Told in two goes it is the same.
        apart = learn(learn(dyes, trials[:3]).dyes, trials[3:]).dyes.scatter.second_bath
        assert apart == pytest.approx(found.dyes.scatter.second_bath)
        return found.dyes.scatter.second_bath

    assert second(1.0) < 0.75 * PRIOR_SECOND_BATH < PRIOR_SECOND_BATH < second(0.6)


@pytest.mark.slow
def test_on_the_workshop_ten_trials_help():
    """The table is in benchmarks/correction.py; this is a small part of it."""
    found = run((0, 1), 0.03, palettes=6, targets=4)
    change = found.after[10] - found.again
    assert change.mean() < -0.01
    assert found.after[10].mean() < found.after[3].mean()
