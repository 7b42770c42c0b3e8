"""The likely miss: every cause against brute force, nothing counted twice, nothing negative."""

from __future__ import annotations

from dataclasses import FrozenInstanceError, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import f

from benchmarks.shelf import moved, standing
from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e, delta_e_residual, metric
from dyemix.colour.colorimetry import D65_10
from dyemix.model.dyes import DyeSet
from dyemix.model.uncertainty import Causes, Scatter, _draws, _pots, effects, expected_miss, likely
from dyemix.model.unknowns import Cells, Modes, Posterior

RECIPES = (
    "marigold 0.8",
    "marigold 0.8 + navy 0.25",
    "lemon 0.5 + scarlet 0.3 + cobalt 0.4",
    "plum 1.5 + brown 1.0",
)
MANY = 8_000


def rows(dyes: DyeSet, recipes: tuple[str, ...] = RECIPES) -> Array:
    return np.array([dyes.amounts(recipe) for recipe in recipes])


def certain(dyes: DyeSet) -> Posterior:
    """Nothing open of the dyes, and no error of a mix's own."""
    count = dyes.ladders.modes.unknowns
    return Posterior(np.zeros(count), np.zeros((count, count)), 0.0, 0.0, 0.0, 12.0)


def exact(dyes: DyeSet, known: Posterior | None = None, **scatter: object) -> DyeSet:
    """The same dyes with only the causes that are named."""
    nothing = Scatter(0.0, 0.0, np.zeros((3, 3)))
    return replace(dyes, posterior=known or certain(dyes), scatter=replace(nothing, **scatter))


def causes(dyes: DyeSet, amounts: Array) -> Causes:
    return dyes.predict_many(amounts).causes


def covariances(labs: Array) -> Array:
    """Of ``(N, draws, 3)``."""
    apart = labs - labs.mean(axis=1, keepdims=True)
    return np.einsum("nei,nej->nij", apart, apart) / labs.shape[1]


def agree(stated: Array, simulated: Array, within: float) -> None:
    size = np.linalg.norm(simulated, axis=(1, 2))
    assert np.all(np.linalg.norm(stated - simulated, axis=(1, 2)) <= within * size)


def test_the_causes_add_up_and_none_is_negative(dyes: DyeSet) -> None:
    parts = causes(dyes, rows(dyes))
    names = ("fit", "dosing", "pot", "reading", "model")
    total = np.sum([getattr(parts, name) for name in names], axis=0)
    np.testing.assert_allclose(total, parts.total, rtol=1e-12)
    for name in names:
        values = np.linalg.eigvalsh(getattr(parts, name))
        assert values.min() >= -1e-9 * max(values.max(), 1e-9)
    size = np.trace(parts.model, axis1=1, axis2=2)
    assert size[0] < 0.3 * size[1:].min()  # one dye alone: hardly a mix to be wrong about


def test_without_causes_there_is_no_spread(dyes: DyeSet) -> None:
    found = exact(dyes).predict_many(rows(dyes))
    assert np.all(found.covariance == 0.0)
    target = found.lab[0] + np.array([2.0, 1.0, -1.0])
    pot = found.in_pot(target)
    # A floor of a thousandth of a unit keeps the roots solvable.
    np.testing.assert_allclose(pot.mean, delta_e(target, found.lab), atol=2e-3)
    np.testing.assert_allclose(pot.bound, pot.median, atol=5e-3)
    np.testing.assert_allclose(found.expected(target), delta_e(target, found.lab), rtol=1e-9)


def test_dosing_against_pots_weighed_many_times(dyes: DyeSet) -> None:
    rng = np.random.default_rng(0)
    amounts = rows(dyes)
    weighed = amounts[:, np.newaxis] * (1.0 + 0.03 * rng.standard_normal((1, MANY, len(dyes))))
    labs = dyes.colours(weighed.reshape(-1, len(dyes))).reshape(len(amounts), -1, 3)
    agree(exact(dyes, dosing=0.03).predict_many(amounts).covariance, covariances(labs), 0.05)


def test_a_kit_replaces_the_usual_dosing_error(dyes: DyeSet) -> None:
    rng = np.random.default_rng(1)
    amounts = rows(dyes)
    error = np.where(amounts > 0, 0.02, 0.0)
    weighed = amounts[:, np.newaxis] + error[:, np.newaxis] * rng.standard_normal(
        (1, MANY, len(dyes))
    )
    labs = dyes.colours(weighed.reshape(-1, len(dyes))).reshape(len(amounts), -1, 3)
    stated = exact(dyes).predict_many(amounts, dosing=error).covariance
    agree(stated, covariances(labs), 0.06)


def test_a_pot_moves_all_its_dyes_together(dyes: DyeSet) -> None:
    rng = np.random.default_rng(2)
    amounts = rows(dyes)
    strong = 1.0 + 0.04 * rng.standard_normal((1, MANY, 1))
    labs = dyes.colours((amounts[:, np.newaxis] * strong).reshape(-1, len(dyes)))
    labs = labs.reshape(len(amounts), -1, 3)
    stated = exact(dyes, pot=0.04).predict_many(amounts).covariance
    agree(stated, covariances(labs), 0.05)
    # One factor, one direction: rank one, however many dyes.
    assert np.all(np.linalg.eigvalsh(stated)[:, :2] < 1e-9)


def test_reading_and_rest_are_what_they_are_in_delta_e(dyes: DyeSet) -> None:
    # Readings drawn around a colour are off by the stated parts of ΔE2000, grey or colourful.
    rng = np.random.default_rng(3)
    reading = np.diag([0.1, 0.2, 0.3]) ** 2
    own = replace(certain(dyes), rest=0.2, alone=0.2)
    for some, wanted in (
        (exact(dyes, reading=reading), reading),
        (exact(dyes, own), 0.04 * np.eye(3)),
    ):
        found = some.predict_many(rows(dyes))
        for colour, covariance in zip(found.lab, found.covariance, strict=True):
            drawn = rng.multivariate_normal(colour, covariance, MANY)
            parts, _ = delta_e_residual(colour, drawn)
            np.testing.assert_allclose(parts.T @ parts / len(parts), wanted, atol=0.004)


def test_what_is_left_of_a_mix_is_not_what_is_left_of_a_dye_alone(dyes: DyeSet) -> None:
    """As a calibration takes it: s of every mix, and its own figure where a dye is by itself."""
    amounts = rows(dyes, ("marigold 1 + navy 1", "marigold 1"))
    some = exact(dyes, replace(certain(dyes), rest=0.5, alone=0.1))
    found = some.predict_many(amounts)
    for colour, covariance, wanted in zip(found.lab, found.covariance, (0.25, 0.01), strict=True):
        slope = metric(colour[np.newaxis])[0]
        assert slope @ covariance @ slope.T == pytest.approx(wanted * np.eye(3), abs=1e-9)


def test_a_promise_that_is_widened_is_wider_in_all_its_causes(dyes: DyeSet) -> None:
    """Mixes alone; a dye by itself is none."""
    amounts = rows(dyes, ("marigold 1 + navy 1", "marigold 1"))
    narrow, wide = (
        replace(dyes, posterior=replace(dyes.known, widening=by)).predict_many(amounts).covariance
        for by in (1.0, 2.0)
    )
    assert wide == pytest.approx(narrow * np.array([2.0, 1.0])[:, np.newaxis, np.newaxis])


def test_mean_miss_by_its_first_two_moments() -> None:
    """The mean of |x| for x ~ N(r, I) in three dimensions (noncentral chi): √(8/π) at r = 0, and
    √(2/π) e⁻² + 2.5 erf(√2) = 2.4942 at |r| = 2; of one dimension alone √(2/π)."""
    rose = np.array([50.0, 30.0, 20.0])
    for lightness, wanted, within in ((50.0, np.sqrt(8 / np.pi), 0.006), (52.0, 2.4942, 0.002)):
        lab = np.array([[lightness, 30.0, 20.0]])
        r, slope = delta_e_residual(rose, lab)
        size = float(np.linalg.norm(r)) / 2.0 or 1.0
        inverse = size * np.linalg.inv(slope)
        found = expected_miss(rose, lab, inverse @ inverse.transpose(0, 2, 1))
        assert found[0] / size == pytest.approx(wanted, rel=within)
    along_lightness = np.diag([1.0, 0.0, 0.0])[np.newaxis]
    of_lightness = abs(delta_e_residual(rose, rose[np.newaxis])[1][0, :, 0]).max()
    found = expected_miss(rose, rose[np.newaxis], along_lightness)
    assert found[0] == pytest.approx(of_lightness * np.sqrt(2 / np.pi), rel=1e-3)
    assert expected_miss(rose, rose[np.newaxis], 0.0 * along_lightness)[0] < 1e-5


@pytest.mark.parametrize("freedom", [4.5, 6.0])
def test_pots_lie_as_far_out_as_student_says(freedom: float) -> None:
    """|x|² of t in three dimensions, of covariance 1, is 3 F(3, ν) (ν - 2) / ν."""
    shares = [0.25, 0.5, 0.75, 0.9]
    wanted = np.sqrt(3 * f.ppf(shares, 3, freedom) * (freedom - 2) / freedom)
    drawn = _draws(round(10 * freedom))
    assert np.quantile(np.linalg.norm(drawn, axis=1), shares) == pytest.approx(wanted, rel=0.04)


def test_dyes_that_absorb_nothing_leave_only_the_surface_open(dyes: DyeSet) -> None:
    nothing = 0.0 * dyes.whole.curves
    clear = replace(dyes.whole, curves=nothing, company_curve=nothing)
    _, slopes = effects(clear, rows(dyes), D65_10, dyes.ladders.modes)
    assert np.all(slopes == 0.0)  # and cloth reads as it was read, whatever its surface


def test_many_recipes_are_as_likely_as_one_by_one(dyes: DyeSet) -> None:
    stated = dyes.predict_many(np.tile(rows(dyes), (9, 1)))
    target = stated.lab[0] + 1.0
    found = likely(target, stated.lab, stated.covariance, 9.0)
    for i in range(len(RECIPES)):
        alone = likely(target, stated.lab[i : i + 1], stated.covariance[i : i + 1], 9.0)
        assert found.bound[i :: len(RECIPES)] == pytest.approx(alone.bound[0])


def test_strengths_of_a_mix_own_error_against_brute_force(dyes: DyeSet) -> None:
    rng = np.random.default_rng(5)
    amounts = rows(dyes)[1:]
    stray = 0.8 * 0.05 * rng.standard_normal((1000, len(dyes)))
    labs = np.array([standing(dyes, company=row).colours(amounts) for row in stray])
    own = replace(certain(dyes), strength=0.05)
    stated = exact(dyes, own).predict_many(amounts).covariance
    agree(stated, covariances(labs.transpose(1, 0, 2)), 0.12)


@pytest.mark.parametrize("spectra", [True, False])
def test_what_is_open_spreads_as_the_unknowns_do(
    dyes: DyeSet, lab_dyes: DyeSet, spectra: bool
) -> None:
    """H Σ Hᵀ beside dyes made of θ drawn from Σ: surface, curves, exponents and company."""
    some = dyes if spectra else lab_dyes
    amounts = rows(some)
    covariance = 0.04 * some.known.covariance  # small, so that slopes hold
    drawn = np.random.default_rng(6).multivariate_normal(
        np.zeros(len(covariance)), covariance, 1500
    )
    labs = np.array([moved(some, theta).colours(amounts) for theta in drawn])
    stated = exact(some, replace(certain(some), covariance=covariance)).predict_many(amounts)
    agree(stated.covariance, covariances(labs.transpose(1, 0, 2)), 0.13)


@pytest.mark.parametrize("spectra", [True, False])
def test_slopes_by_every_unknown_are_those_of_differences(
    dyes: DyeSet, lab_dyes: DyeSet, spectra: bool
) -> None:
    """Away from where the ladders left the dyes, curves changed in company included."""
    some = (dyes if spectra else lab_dyes).take(["marigold", "navy", "turquoise"])
    ladders, amounts = some.ladders, np.array([[0.4, 0.2, 0.0], [0.1, 0.6, 1.0]])
    at = 0.1 * np.random.default_rng(8).standard_normal(ladders.modes.unknowns)
    _, slopes = effects(moved(some, at).whole, amounts, some.light, ladders.modes)
    for j, step in enumerate(1e-4 * np.eye(len(at))):
        up, down = (moved(some, at + s * step).colours(amounts) for s in (1.0, -1.0))
        difference = (up - down) / 2e-4
        assert slopes[..., j] == pytest.approx(difference, rel=1e-6, abs=0.006)


def pots_as_stated(
    mean: Array, covariance: Array, freedom: float, count: int, rng: np.random.Generator
) -> Array:
    """CIELAB ``(count, 3)`` of Student's t with exactly this covariance."""
    normal = rng.multivariate_normal(np.zeros(3), covariance, count)
    scale = np.sqrt((freedom - 2.0) / rng.chisquare(freedom, count))
    return np.asarray(mean + normal * scale[:, np.newaxis])


@pytest.mark.parametrize("freedom", [5.0, 12.0, 30.0])
@pytest.mark.parametrize("offset", [(0.0, 0.0, 0.0), (1.0, 0.5, -1.0), (4.0, -3.0, 5.0)])
def test_likely_against_a_hundred_thousand_pots(
    dyes: DyeSet, offset: tuple[float, float, float], freedom: float
) -> None:
    rng = np.random.default_rng(4)
    stated = dyes.predict_many(rows(dyes))
    for i, (colour, covariance) in enumerate(zip(stated.lab, stated.covariance, strict=True)):
        target = colour + np.array(offset)
        one = slice(i, i + 1)
        pots = delta_e(target, pots_as_stated(colour, covariance, freedom, 100_000, rng))
        found = likely(target, stated.lab[one], stated.covariance[one], freedom)
        assert found.mean[0] == pytest.approx(pots.mean(), rel=0.04)
        assert found.median[0] == pytest.approx(np.median(pots), rel=0.07)
        assert found.bound[0] == pytest.approx(np.quantile(pots, 0.9), rel=0.07)
        assert found.sound[0] == pytest.approx(np.mean(pots <= 3.0), abs=0.05)
        assert found.excellent[0] == pytest.approx(np.mean(pots <= 1.5), abs=0.05)
        cheap = expected_miss(target, stated.lab[one], stated.covariance[one])[0]
        assert cheap == pytest.approx(pots.mean(), rel=0.12)


def test_the_bound_is_the_quantile_of_its_pots(dyes: DyeSet) -> None:
    """Between the pots that are nearest to nine in ten, as numpy has it."""
    stated = dyes.predict_many(rows(dyes))
    target = stated.lab + np.array([1.0, 0.5, -1.0])
    found = likely(target, stated.lab, stated.covariance, 5.0)
    pots = delta_e(target[:, np.newaxis], _pots(stated.lab, stated.covariance, 5.0))
    wanted = np.quantile(pots, [0.5, 0.9], axis=1)
    assert np.array([found.median, found.bound]) == pytest.approx(wanted, rel=1e-12)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(0.0, 2.0), min_size=3, max_size=3),
    st.floats(0.0, 0.1), st.floats(0.0, 0.1), st.floats(0.0, 0.2), st.floats(0.0, 1.0),
)  # fmt: skip
def test_more_of_any_cause_is_never_less_spread(
    dyes: DyeSet, doses: list[float], dosing: float, pot: float, strength: float, rest: float
) -> None:
    amounts = np.zeros((1, len(dyes)))
    amounts[0, [0, 3, 6]] = doses

    def spread(more: float, widening: float) -> Array:
        scatter = Scatter(dosing + more, pot + more, 0.01 * np.eye(3))
        known = replace(dyes.known, strength=strength + more, rest=rest + more, widening=widening)
        return replace(dyes, scatter=scatter, posterior=known).predict_many(amounts).covariance[0]

    less, more = spread(0.0, 1.0), spread(0.01, 1.1)
    assert np.linalg.eigvalsh(less).min() > 0.0
    assert np.linalg.eigvalsh(more - less).min() > -1e-9


def test_heavier_tails_where_less_is_known() -> None:
    """Before any mix τ and s are anybody's guess, so that the miss has heavy tails."""
    modes = Modes.none(3, 31)
    first = Posterior.prior(modes)
    assert 4.5 <= first.freedom < 8.0
    low, high = first.spread
    assert low < 0.5 < 1.2 < high
    # One cell holds all the weight: τ and s are known, and the tails are as light as they get.
    cells = Cells.of(0.0)
    one = replace(cells, weight=np.eye(len(cells.weight))[100])
    sure = Posterior.of(first.mean, first.covariance, one, 0.0)
    assert sure.freedom == 30.0
    assert sure.spread == pytest.approx((1.0, 1.0), abs=0.1)


def test_what_ladders_miss_widens_what_is_promised_of_mixes(dyes: DyeSet) -> None:
    amounts = rows(dyes)[1:]
    widths = [
        replace(dyes, posterior=Posterior.prior(dyes.ladders.modes, misfit))
        .predict_many(amounts)
        .likely
        for misfit in (0.0, 1.0, 4.0)
    ]
    assert np.all(widths[1] > 1.1 * widths[0])
    assert np.all(widths[2] > 4.0)
    assert dyes.light == D65_10


def test_pots_are_as_likely_as_each_other(dyes: DyeSet) -> None:
    """So many of them within a bound is its chance, and their mean the likely miss."""
    p = dyes.predict("marigold 0.4 + navy 0.2")
    target = p.lab + np.array([1.0, 0.5, -0.5])
    found = dyes.predict_many(dyes.amounts(p.recipe)).in_pot(target)
    pots = p.pots(target, 128)
    misses = delta_e(target, pots)
    assert pots.shape == (128, 3)
    assert np.all(np.diff(misses) >= 0)
    assert misses.mean() == pytest.approx(found.mean[0], abs=0.03)
    assert (misses <= 1.5).mean() == pytest.approx(found.excellent[0], abs=0.01)
    assert np.quantile(misses, 0.9) == pytest.approx(found.bound[0], rel=0.03)
    assert np.cov(p.pots(p.lab, 512).T) == pytest.approx(p.covariance, rel=0.02, abs=0.01)


# Scatter ----------------------------------------------------------------------------------------


def test_causes_add_up_by_their_variances(monkeypatch: pytest.MonkeyPatch) -> None:
    """3-4-5: standard errors of what is independent add up by Pythagoras."""
    one = Scatter(dosing=0.04, pot=0.03, reading=np.diag([1.0, 2.0, 3.0]), second_bath=0.04)
    assert one.strength == pytest.approx(0.05)
    second = one.second()
    assert (second.dosing, second.pot) == pytest.approx((0.04, 0.05))
    assert second.reading == pytest.approx(np.diag([2.0, 4.0, 6.0])), "the piece was read as well"
    assert one.mottled().reading == pytest.approx(np.diag([2.0, 3.0, 4.0])), "by one ΔE2000"
    monkeypatch.setattr("dyemix.model.uncertainty.PRIOR_MOTTLE", 2.0)
    assert one.mottled().reading == pytest.approx(np.diag([5.0, 6.0, 7.0])), "by its square"


def test_what_holds_before_anything_was_dyed_again() -> None:
    """The working values that the documentation states, each half of the variance of squares."""
    assumed = Scatter()
    assert assumed.strength == pytest.approx(0.05)
    assert assumed.dosing == assumed.pot
    assert assumed.reading == pytest.approx(0.15**2 * np.eye(3))
    assert assumed.second_bath == 0.2
    assert len({assumed, Scatter()}) == 1, "what says the same is one"
    with pytest.raises(FrozenInstanceError):
        assumed.pot = 0.0  # type: ignore[misc]
