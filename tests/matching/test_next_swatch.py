"""Which square to dye next: the sums behind the choice, and what it is worth on the workshop."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from benchmarks.next_swatch import CHOSEN, run
from dyemix.dataset.recipe import Recipe
from dyemix.errors import DyemixError, TargetError
from dyemix.fitting.learn import Knowledge, in_one_line, middle_mixes
from dyemix.matching.advice import candidates, choose, next_swatch

RECIPES = [
    Recipe.parse(text)
    for text in ("marigold 0.8 + navy 0.25", "navy 0.6 + scarlet 0.3", "marigold 0.4 + scarlet 0.5")
]


@pytest.fixture
def few(dyes):
    return dyes.take(("marigold", "navy", "scarlet", "turquoise"))


@pytest.fixture
def known(few):
    amounts = np.array([few.amounts(r) for r in RECIPES])
    return Knowledge.of(few, amounts, candidates(few, amounts))


def test_slopes_and_own_noise_make_up_the_whole_covariance(few, known):
    spread = known.wanted @ known.open @ known.wanted.transpose(0, 2, 1) + known.noise
    amounts = np.array([few.amounts(r) for r in RECIPES])
    np.testing.assert_allclose(spread, few.predict_many(amounts).covariance, rtol=1e-9)
    for noise in (*known.noise, *known.square_noise):
        assert np.linalg.eigvalsh(noise).min() > 0.0


def test_two_squares_one_after_the_other_are_two_at_once(known):
    """Against Gaussian conditioning on both readings together, written out."""
    first, second = 3, len(known.squares) - 1
    once = known.after(known.gains()[first])
    one_by_one = once.after(once.gains()[second]).open
    a = known.squares[[first, second]].reshape(6, -1)
    noise = np.zeros((6, 6))
    noise[:3, :3], noise[3:, 3:] = known.square_noise[first], known.square_noise[second]
    prior = known.open
    at_once = prior - prior @ a.T @ np.linalg.inv(a @ prior @ a.T + noise) @ a @ prior
    assert one_by_one == pytest.approx(at_once, abs=1e-9)


def test_trying_is_dyeing(known):
    """What is promised for each square is what is left once it has been dyed."""
    gains = known.gains()
    tried = known.likely(gains)
    for z in (0, len(tried) // 2, len(tried) - 1):
        assert tried[z] == pytest.approx(known.after(gains[z]).likely())


def test_the_best_is_chosen_and_the_likely_miss_only_falls(few):
    found = choose(few, RECIPES, 4)
    amounts = np.array([few.amounts(r) for r in RECIPES])
    known = Knowledge.of(few, amounts, candidates(few, amounts))
    assert found.choices[0].after == pytest.approx(known.likely(known.gains()).min())
    falls = [found.choices[0].before, *(c.after for c in found.choices)]
    assert np.all(np.diff(falls) < 0.0)
    assert falls[-1] > found.floor
    text = str(found)
    assert str(found.choices[0].recipe) in text
    assert "ΔE2000" in text
    assert len(found.to_frame()) == 4


def test_the_dye_that_is_known_worst_is_chosen(few):
    known = few.known
    covariance = known.covariance.copy()
    i = few.index("scarlet")
    covariance[i, i] *= 25.0
    vague = replace(few, posterior=replace(known, covariance=covariance))
    assert "scarlet" in choose(vague, RECIPES).choices[0].recipe
    # A dye that no wanted colour holds is never chosen alone.
    assert "turquoise" not in choose(few, RECIPES).choices[0].recipe


def test_from_colours(few):
    found = next_swatch(few, ["#7d8a6e", "56 -10 13"], count=2)
    assert len(found.choices) == 2
    assert len(found.recipes) == 2


def test_a_line_says_three_squares_and_what_they_buy(dyes, few):
    for shelf in (dyes, few):
        line = in_one_line(shelf, middle_mixes(shelf, 2))
        squares, figures = line.split("(% owf)")
        assert len(set(squares.split(": ")[1].strip().split("; "))) == 3  # each another one
        now, after = (float(x) for x in re.findall(r"\d+\.\d", figures))
        assert after < now
        assert "off its own prediction" in figures  # not the miss of a colour, which stands above
    assert in_one_line(few, np.array([few.amounts("navy 1")])) == ""


def test_bad_input(few):
    with pytest.raises(DyemixError, match="one colour or more"):
        next_swatch(few, [])
    with pytest.raises(DyemixError, match="count"):
        next_swatch(few, ["#7d8a6e"], count=0)
    with pytest.raises(TargetError):
        next_swatch(few, ["sage"])


@pytest.mark.slow
def test_on_the_workshop_chance_takes_more_squares():
    """The table is in benchmarks/next_swatch.py; this is one job of it."""
    (job,) = run(0, 1)
    assert job.chosen < job.before
    assert job.from_list > 1.5 * CHOSEN
    assert job.from_ladders > job.from_list
