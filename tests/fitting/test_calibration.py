"""The calibration: beside a plain dense Bayesian solve, by what it must not do, and on worlds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.stats import chi2, multivariate_normal

from benchmarks.shelf import in_mixes, moved, standing
from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e, delta_e_residual
from dyemix.dataset.readings import Clipped
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.dataset.target import Trial
from dyemix.errors import FitError
from dyemix.fitting import calibration
from dyemix.fitting.calibration import condition
from dyemix.fitting.fit import fit
from dyemix.fitting.learn import forget, learn
from dyemix.model.dyes import DyeSet, Pot
from dyemix.model.kubelka_munk import Surface, saturation
from dyemix.model.mixtures import in_company
from dyemix.model.uncertainty import effects, likely, pot_to_pot
from dyemix.model.unknowns import Cells
from tests.fitting.conftest import RECIPES
from tests.simulated.as_swatches import swatch_set
from tests.simulated.worlds import SPECTRUM, world

NAMES = ("marigold", "scarlet", "navy", "turquoise")


@pytest.fixture(scope="module")
def four(dyes: DyeSet) -> DyeSet:
    """Four dyes of the workshop, no mix read."""
    return dyes.take(NAMES)


def pots(truth: DyeSet, recipes: tuple[Recipe, ...] = RECIPES) -> list[Pot]:
    """Pots that come out exactly as these dyes say."""
    return [Pot(r, truth.predict(r).lab) for r in recipes]


def same(one: DyeSet, other: DyeSet, within: float = 0.0) -> None:
    """Both dye sets hold the same numbers."""
    for name in ("curves", "law", "company", "interaction"):
        np.testing.assert_allclose(
            getattr(one.whole, name), getattr(other.whole, name), rtol=within
        )
    np.testing.assert_allclose(one.known.covariance, other.known.covariance, rtol=within)
    assert one.known.widening == pytest.approx(other.known.widening)


def planted(dyes: DyeSet, **company: float) -> DyeSet:
    """The same dyes, some stronger or weaker in mixes (ln)."""
    out = np.array(dyes.whole.company)
    for name, value in company.items():
        out[dyes.index(name)] += value
    return standing(dyes, company=out)


# What it learns ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("navy", "scarlet"), [(0.2, -0.15), (-0.2, 0.15)])
def test_mixes_move_the_dyes_in_them_and_no_other(
    dyes: DyeSet, navy: float, scarlet: float
) -> None:
    truth = planted(dyes, navy=navy, scarlet=scarlet)
    found = condition(dyes, pots(truth)).dyes
    company = found.whole.company
    apart = company - np.median(np.delete(company, [dyes.index(n) for n in NAMES]))
    assert 0.3 < apart[dyes.index("navy")] / navy < 1.1
    assert 0.3 < apart[dyes.index("scarlet")] / scarlet < 1.1
    assert apart[dyes.index("rust")] == pytest.approx(0.0, abs=0.02)
    amounts = np.array([dyes.amounts("navy 0.4 + scarlet 0.2")])
    before, after = (delta_e(d.colours(amounts), truth.colours(amounts))[0] for d in (dyes, found))
    assert after < 0.5 * before
    # Dyes by themselves stay where their squares are.
    alone = np.array([dyes.amounts(f"{n} 1") for n in NAMES])
    assert delta_e(found.colours(alone), dyes.colours(alone)).max() < 0.5


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_bias_and_interaction_are_found_with_their_sign(four: DyeSet, sign: float) -> None:
    """Both alike move all dyes of all mixes; how much else there is in the pot tells them apart."""
    for truth in (
        planted(four, **dict.fromkeys(NAMES, 0.12 * sign)),
        standing(four, interaction=np.full(4, 0.25 * sign)),
    ):
        deep = tuple(Recipe({n: 3.0 * a for n, a in r.items()}) for r in RECIPES)
        found = condition(four, pots(truth, RECIPES + deep)).dyes
        amounts = np.array(
            [four.amounts(r) for r in ("marigold 0.2 + navy 0.1", "marigold 2 + scarlet 2")]
        )
        was, now, is_ = (d.colours(amounts)[:, 0] for d in (four, found, truth))
        assert np.all(np.sign(now - was) == np.sign(is_ - was))
        assert np.all(np.abs(now - is_) < 0.4 * np.abs(was - is_))


def test_more_pots_than_a_shelf_can_learn_from_are_refused_at_once(four: DyeSet) -> None:
    recipe = Recipe({"marigold": 0.2, "navy": 0.1})
    many = [Pot(recipe, np.array([50.0 + i * 1e-3, 0.0, 0.0])) for i in range(2001)]
    with pytest.raises(FitError, match="2,001 mixes and trials: a shelf learns from at most 2,000"):
        condition(four, many)


def test_nothing_is_learnt_from_pots_that_come_out_as_predicted(four: DyeSet) -> None:
    found = condition(four, pots(four))
    amounts = np.array([four.amounts(r) for r in RECIPES])
    assert delta_e(found.dyes.colours(amounts), four.colours(amounts)).max() < 1e-6
    assert delta_e(found.lab, [pot.lab for pot in found.pots]).max() < 1e-6
    # But what is promised is less.
    before, after = (d.predict_many(amounts).likely.mean() for d in (four, found.dyes))
    assert after < 0.6 * before
    assert found.dyes.known.widening == 1.0


def test_what_bends_the_ladders_of_dyes_they_may_do_to_all(four: DyeSet) -> None:
    """Two dyes of bent laws that share sites: mixes of one of them tell of the other too."""
    ladders = four.ladders
    law = ladders.law + np.array([[0.0, -0.1], [0.0, 0.0], [0.0, -0.1], [0.0, 0.0]])
    bent = replace(four, ladders=replace(ladders, law=law))
    truth = standing(bent, interaction=2.0 * saturation(law))
    some = [r for r in RECIPES if "navy" not in r]
    deep = [Recipe({n: 3.0 * a for n, a in r.items()}) for r in some]
    found = condition(bent, pots(truth, (*some, *deep))).dyes
    navy = four.index("navy")
    assert found.whole.interaction[navy] < 0.38 * truth.whole.interaction[navy] < 0.0


def test_bands_that_move_in_company_are_found_where_mixes_show_it(four: DyeSet) -> None:
    """Those of navy by 20 nm beside others: its mixes show that; by itself it stays as it was."""
    navy, nm = four.index("navy"), np.arange(400.0, 701.0, 10.0)
    change, curve = np.zeros_like(four.whole.curves), four.whole.curves[navy]
    change[navy] = np.log(np.interp(nm - 20.0, nm, curve) / curve)
    truth = in_mixes(four, change)
    deep = tuple(Recipe({n: 2.0 * a for n, a in r.items()}) for r in RECIPES)
    found = condition(four, pots(truth, RECIPES + deep)).dyes
    amounts = np.array([four.amounts(r) for r in ("navy 0.8 + scarlet 0.5", "navy 1")])
    before, after = (delta_e(d.colours(amounts), truth.colours(amounts)) for d in (four, found))
    assert before[0] > 2.5
    assert after[0] < 0.35 * before[0]
    assert after[1] < 0.5
    whole = found.whole
    moved_by = whole.company_curve / in_company(whole.curves)
    assert np.argmax(np.abs(moved_by).max(axis=1)) == navy
    assert moved_by[navy] @ change[navy] > 0.0


def test_a_law_is_never_moved_to_where_more_dye_is_less(four: DyeSet) -> None:
    ladders = four.ladders
    theta = np.zeros(ladders.modes.unknowns)
    own = slice(ladders.modes.of_surface.stop, ladders.modes.of_ladders.stop)
    for sign in (-3000.0, 3000.0):
        theta[own] = sign * np.abs(ladders.modes.own[..., -2]).ravel()
        far = moved(four, theta)
        assert far.whole.law[:, 0].min() >= 0.2
        assert sign > 0.0 or far.whole.law[:, 0].max() == 0.2  # it would go beyond
        assert np.isfinite(far.predict("navy 0.01 + scarlet 0.4").lab).all()


def test_where_the_surface_meets_its_bound_the_dyes_go_with_it(four: DyeSet) -> None:
    """Mixes that ask for a surface out of bounds leave nothing half done: they fit as they can."""
    ladders = four.ladders
    theta = np.zeros(ladders.modes.unknowns)
    theta[ladders.modes.of_surface][1] = (-0.8 - ladders.surface.k2) / ladders.modes.surface[1]
    thin = moved(four, theta)
    deep = tuple(Recipe({n: 2.0 * a for n, a in r.items()}) for r in RECIPES)
    told = pots(thin, RECIPES + deep)
    found = condition(four, told).dyes
    assert found.whole.surface.k2 >= -0.5 - 1e-9
    amounts = np.array([four.amounts(pot.recipe) for pot in told])
    read = np.array([pot.lab for pot in told])
    before, after = (delta_e(d.colours(amounts), read).mean() for d in (four, found))
    assert after < 0.35 * before


@pytest.mark.parametrize(
    ("k2", "old", "new", "expected"),
    [
        (0.3, (0.0, 0.0), (0.5, -1.0), (0.5, -1.0)),
        (0.3, (0.0, 0.0), (3.0, -1.5), (1.2, -0.6)),  # by no more than 1.2 at once
        (0.3, (-1.5, 1.5), (-2.6, 2.6), (-2.0, 2.25)),  # r0 from 0, k2 to 0.75
        (0.3, (2.5, -3.5), (3.5, -4.5), (3.0, -4.0)),  # r0 to its ceiling, k2 from -0.5
        (0.3, (2.5, 0.0), (3.5, 0.5), (3.0, None)),
        (0.9, (0.0, 0.0), (0.0, 0.5), (None, 0.0)),  # out of bounds by its ladders: no further
        (-0.6, (0.0, 0.0), (0.0, -0.5), (None, 0.0)),
    ],
)
def test_what_goes_with_a_surface_that_stops_short(
    four: DyeSet, k2: float, old: Sequence[float], new: Sequence[float], expected: Sequence[Any]
) -> None:
    """The rest is most likely given it: Σ⁻¹ (θ - mean) is 0 but where the surface is held."""
    modes = replace(four.ladders.modes, surface=np.array([0.01, 0.2]))
    ladders = replace(four.ladders, modes=modes, surface=Surface(0.02, k2), ceiling=0.05)
    root = np.random.default_rng(5).standard_normal((modes.unknowns, 3 * modes.unknowns))
    before, mean, at = np.zeros(modes.unknowns), np.linspace(-1, 1, len(root)), modes.of_surface
    before[at], mean[at] = old, new
    found = SimpleNamespace(theta=mean, covariance=root @ root.T)
    theta = calibration._bounded(before, found, ladders)
    force = np.linalg.solve(found.covariance, theta - mean)
    held = np.zeros(len(theta), bool)
    for i, value in enumerate(expected, at.start):
        held[i] = value is not None and value != new[i - at.start]
        assert value is None or theta[i] == pytest.approx(value)
    np.testing.assert_allclose(force[~held], 0.0, atol=1e-9)


def test_without_pots_there_is_nothing_left_out(four: DyeSet) -> None:
    found = condition(four, [])
    assert found.pots == found.dyes.pots == ()
    assert [x.shape for x in (found.lab, found.covariance)] == [(0, 3), (0, 3, 3)]
    np.testing.assert_array_equal(found.dyes.known.mean, 0.0)


def test_second_baths_are_kept_and_teach_nothing(four: DyeSet) -> None:
    told = pots(planted(four, navy=0.2))
    over = replace(told[0], lab=told[0].lab + 5.0, on=np.full(31, 0.5))
    found = condition(four, [*told[1:], over])
    same(found.dyes, condition(four, told[1:]).dyes)
    assert len(found.dyes.pots) == len(found.pots) + 1 == len(told)


# Each thing once --------------------------------------------------------------------------------


def test_order_and_telling_twice_change_nothing(four: DyeSet) -> None:
    told = pots(planted(four, navy=0.15))
    once = condition(four, told).dyes
    for other in (
        condition(four, told[::-1]).dyes,
        condition(four, [*told, *told[:3]]).dyes,
        condition(once, once.pots).dyes,
        condition(condition(four, told[:4]).dyes, told).dyes,
    ):
        same(once, other)
        assert len(other.pots) == len(told)


def test_learning_adds_to_what_is_known_and_forgetting_undoes_it(four: DyeSet) -> None:
    truth = planted(four, navy=0.15, marigold=-0.1)
    trials = [Trial(r, Reading(r, truth.predict(r).reflectance)) for r in RECIPES]
    whole = learn(four, trials).dyes
    same(whole, learn(learn(four, trials[:5]).dyes, trials[5:]).dyes)
    same(whole, learn(whole, trials).dyes)
    same(forget(whole, trials[2:]), learn(four, trials[:2]).dyes)
    nothing = forget(whole, trials)
    np.testing.assert_array_equal(nothing.whole.curves, four.whole.curves)
    np.testing.assert_array_equal(nothing.whole.company, four.whole.company)


def test_a_mix_teaches_alike_in_the_table_and_in_the_book(dyes: DyeSet) -> None:
    some = world("pairs", 3)
    ladders = swatch_set(some, some.ladders(SPECTRUM))
    read = some.read(some.dye(some.mixes(8, 1), 1), SPECTRUM, 1)
    mixes = swatch_set(some, read, "own ").readings
    table = fit(SwatchSet(ladders.readings + mixes))
    book = learn(fit(ladders), [Trial(r.recipe, r) for r in mixes if r.recipe]).dyes
    amounts = read.amounts[:, [some.names.index(n) for n in table.names]]
    np.testing.assert_allclose(table.colours(amounts), book.colours(amounts), atol=1e-9)
    np.testing.assert_allclose(
        table.predict_many(amounts).bound, book.predict_many(amounts).bound, rtol=1e-9
    )


def test_repeats_of_one_recipe_do_not_count_as_several(four: DyeSet) -> None:
    """Its own error comes back with it: ten pots of one recipe tell less than ten recipes."""
    one = pots(planted(four, navy=0.2))[1]
    again = [replace(one, lot=str(i)) for i in range(10)]
    apart = [
        replace(pot, recipe=Recipe({n: a * (1 + 1e-7 * i) for n, a in pot.recipe.items()}))
        for i, pot in enumerate(again)
    ]
    amounts = four.amounts(one.recipe)
    single, tens, ten = (
        delta_e(one.lab, condition(four, some).dyes.colours(amounts)[0])
        for some in ([one], again, apart)
    )
    assert ten < 0.5 * tens < 0.5 * single


def test_a_pot_of_little_weight_says_little(four: DyeSet) -> None:
    told = pots(planted(four, navy=0.2))
    navy = [
        condition(four, [replace(pot, weight=w) for pot in told]).dyes.whole.company[
            four.index("navy")
        ]
        for w in (1.0, 0.2, 1e-6)
    ]
    assert navy[0] > navy[1] > navy[2]
    assert navy[2] == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize("chroma", [0.0, 1e-6, 0.03])
def test_a_pot_read_as_a_grey_is_promised_as_one_that_is_nearly_grey(
    four: DyeSet, chroma: float
) -> None:
    """From a grey ΔE2000 has no slope by hue: such a pot was promised twice as much, or refused."""
    first, *others = pots(planted(four, navy=0.1))
    spreads = []
    for own in (chroma, 0.21):
        grey = replace(first, lab=np.array([first.lab[0], own, 0.0]))
        found = condition(four, [grey, *others])
        at = [pot.identity for pot in found.pots].index(grey.identity)
        spreads.append(likely(found.lab, found.lab, found.covariance, 30.0).mean[at])
        assert np.linalg.eigvalsh(found.covariance[at]).min() > 0.0
    assert spreads[0] == pytest.approx(spreads[1], rel=0.1)


# Beside slow twins ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "photographed", ["nothing", pytest.param("mixes", marks=pytest.mark.slow), "mixes and squares"]
)
def test_beside_a_dense_bayesian_solve(
    four: DyeSet, photographed: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same linear model, cell by cell of τ, s and ν, by SciPy's multivariate normal: θ, and
    each pot as the others predict it. Photographed, readings have a stated covariance, of which
    those of one picture share 0.6; one recipe was dyed twice, once in either of two pictures, one
    was read from both, and one pot weighs 0.4. Where squares were in one of these pictures, what it
    is off by is an unknown of the squares too, and in another picture one that mixes tell by the
    dyes alone. m pots or pictures move θ by m / (m + ½) of the mean."""
    for name, value in (("_STANDS", 1e-7), ("_AGAIN", 60), ("_NO_WEIGHT", 0.0)):
        monkeypatch.setattr(calibration, name, value)  # to the very end, with every cell
    rng = np.random.default_rng(2)
    labs = np.array([p.lab for p in pots(planted(four, navy=0.1, marigold=-0.05))])
    labs += (0.3 if photographed == "nothing" else 0.6) * rng.standard_normal(labs.shape)
    told = [Pot(r, lab.copy()) for r, lab in zip(RECIPES, labs, strict=True)]
    counts, stated, frames = np.ones(len(told)), np.zeros((3, 3)), np.ones((len(told), 1))
    if photographed != "nothing":
        frames = np.eye(2)[np.arange(len(told)) % 2]
        told = [replace(pot, pictures=(str(i % 2),)) for i, pot in enumerate(told)]
        told[1] = replace(told[1], pictures=("0", "1"))
        frames[1] = np.sqrt([0.5, 0.5])
        frames[0] = 1.0 / 1.75, 0.75 / 1.75
        counts[[0, 3]] = 1.75, 0.4
        stated = np.array([[1.0, 0.2, 0.1], [0.2, 2.0, -0.3], [0.1, -0.3, 1.5]])
        again = replace(
            told[0], lab=labs[0] + np.array([0.4, -0.2, 0.3]), weight=0.75, pictures=("1",)
        )
        labs[0] = (labs[0] + 0.75 * again.lab) / 1.75
        told = [replace(pot, covariance=stated) for pot in (*told, again)]
        told[3] = replace(told[3], weight=0.4)
    if photographed == "mixes and squares":
        modes, count = four.ladders.modes, len(four)
        modes = replace(
            modes, shared=np.append(
                modes.shared, 0.03 * rng.standard_normal((count, 6, 33)), axis=1
            ),
        )  # fmt: skip
        pictured = replace(four.ladders, modes=modes, pictures=("0", "of other squares"))
        four = replace(four, ladders=pictured, posterior=None)
    found = condition(four, told)
    known = found.dyes.known
    ladders, theta = four.ladders, known.mean
    now = moved(four, theta)
    amounts = np.array([four.amounts(recipe) for recipe in RECIPES])
    seen, by_theta = effects(now.whole, amounts, four.light, ladders.modes)
    miss, by_lab = delta_e_residual(labs, seen.lab)
    h = (by_lab @ by_theta).reshape(-1, len(theta))
    y = h @ theta - miss.ravel()
    dosing, pot_alone = pot_to_pot(seen, amounts, four.scatter)
    pull = 0.8 * by_lab @ (seen.by_strength * seen.share[:, np.newaxis])
    cells, dyes_ = Cells.of(ladders.misfit), len(four)
    turned = by_lab.reshape(-1, 3)
    alike = turned @ (0.6 * stated) @ turned.T  # between any two readings of a picture
    alike *= np.kron(frames @ frames.T, np.ones((3, 3)))
    of_squares = np.zeros((len(y), 3))
    if ladders.pictures:  # what the squares of picture 0 tell of too
        root = by_lab @ np.linalg.cholesky(0.6 * stated)
        of_squares = (root * frames[:, :1, np.newaxis]).reshape(-1, 3)
        h[:, dyes_ + 5 : dyes_ + 8] += of_squares
    same_pot = np.kron(np.eye(len(labs)), np.ones((3, 3)))
    logs, means, spreads, each = [], [], [], []
    for tau, s, shared, common, nu, weight in zip(*vars(cells).values(), strict=True):
        prior = np.diag(
            [
                *[tau**2] * dyes_, common * 0.08**2, common * 0.15**2, common,
                *[1.0] * (len(theta) - 3 * dyes_ - 3),
                *[nu**2] * dyes_, *[common * 0.1**2] * dyes_,
            ]
        )  # fmt: skip
        noise = alike * (1.0 - same_pot) - of_squares @ of_squares.T
        for j, count in enumerate(counts):
            at = slice(3 * j, 3 * j + 3)
            reading = by_lab[j] @ (dosing + pot_alone + stated)[j] @ by_lab[j].T
            own = tau**2 * pull[j] @ pull[j].T + s**2 * np.eye(3)
            noise[at, at] += (reading + four.scatter.reading) / count + own / min(count, 1.0)
        total = (h @ prior @ h.T + noise) * np.maximum(same_pot, shared)
        gain = shared * prior @ h.T @ np.linalg.inv(total)
        means.append(gain @ y)
        spreads.append(prior - gain @ h @ prior)
        logs.append(np.log(weight) + multivariate_normal(cov=total).logpdf(y))
        each.append([without(total, y, np.arange(3 * j, 3 * j + 3)) for j in range(len(labs))])
    witnesses = len(told) if photographed == "nothing" else 2
    few = 0.5 / (witnesses + 0.5)  # of what pots say is not believed
    mean, covariance = mixed(np.array(logs), np.array(means), np.array(spreads))
    covariance, mean = covariance + few**2 * np.outer(mean, mean), (1.0 - few) * mean
    sd = np.sqrt(np.diag(covariance))
    np.testing.assert_allclose(known.mean / sd, mean / sd, atol=1e-4)
    np.testing.assert_allclose(
        known.covariance / np.outer(sd, sd), covariance / np.outer(sd, sd), atol=1e-4
    )
    weights = np.exp(np.array(logs) - max(logs))
    weights /= weights.sum()
    assert known.strength == pytest.approx(np.sqrt(weights @ cells.strength**2), rel=1e-4)
    assert known.rest == pytest.approx(np.sqrt(weights @ cells.rest**2), rel=1e-4)
    squares = []
    for j, recipe in enumerate(RECIPES):
        log, off, spread = (np.array(x) for x in zip(*(row[j] for row in each), strict=True))
        off, spread = mixed(np.log(cells.weight) + log, off, spread)
        short = few * (y[3 * j : 3 * j + 3] - off)
        off, spread = off + short, spread + np.outer(short, short)
        squares.append(off @ np.linalg.inv(spread) @ off)
        back = np.linalg.inv(by_lab[j])
        for i, pot in enumerate(found.pots):
            if pot.recipe == recipe:
                np.testing.assert_allclose(found.lab[i], labs[j] - back @ off, atol=1e-3)
                promised = known.widening * back @ spread @ back.T
                np.testing.assert_allclose(found.covariance[i], promised, rtol=1e-3, atol=1e-4)
    assert max(squares) < chi2.ppf(0.99, 3)  # none is wild
    widening = (5 + sum(squares) / 3) / (5 + len(squares))
    assert known.widening == pytest.approx(max(1.0, widening), rel=1e-4)


def test_the_more_pots_and_pictures_tell_the_more_they_are_believed(four: DyeSet) -> None:
    """The same pots, in ever more pictures: each counts as one witness, as does each pot that an
    instrument read."""
    plain = pots(planted(four, navy=0.1))

    def trust(pictured: int, pictures: int) -> float:
        seen = [
            replace(pot, covariance=np.eye(3), pictures=(f"{i % pictures}",))
            for i, pot in enumerate(plain[:pictured])
        ]
        return calibration._Groups(four, [*seen, *plain[pictured:]]).trust

    count = len(plain)
    assert trust(0, 1) == pytest.approx(count / (count + 0.5))
    for pictures in (1, 2, 5):
        assert trust(count, pictures) == pytest.approx(pictures / (pictures + 0.5))
    assert trust(4, 2) == pytest.approx((count - 2) / (count - 1.5))


def test_a_pot_that_hardly_counts_hardly_tells_of_a_picture(four: DyeSet) -> None:
    """Beside one picture, of 1 ÷ 1.5: another that counts a tenth makes 1.1 witnesses of two, and
    so does what an instrument read so long ago. All may be old alike."""
    one, two, *_ = (
        replace(pot, covariance=np.eye(3), pictures=("a",)) for pot in pots(planted(four, navy=0.1))
    )

    def trust(*some: Pot) -> float:
        return calibration._Groups(four, some).trust

    assert trust(replace(one, weight=0.01)) == pytest.approx(1.0 / 1.5)
    other, plain = replace(two, pictures=("b",)), replace(two, covariance=None)
    assert trust(one, replace(other, weight=1e-9)) == pytest.approx(1.0 / 1.5)
    assert trust(one, replace(other, weight=0.1)) == pytest.approx(1.1 / 1.6)
    assert trust(one, replace(two, weight=0.1)) == pytest.approx(1.0 / 1.5)
    assert trust(one, replace(plain, weight=1e-9)) == pytest.approx(1.0 / 1.5)
    assert trust(one, replace(plain, weight=0.1)) == pytest.approx(1.1 / 1.6)


def without(total: Array, y: Array, at: Array) -> tuple[float, Array, Array]:
    """Of Gaussian `y`: log density of all but `at`, by how much they miss it, and its spread."""
    rest = np.setdiff1d(np.arange(len(y)), at)
    gain = total[np.ix_(at, rest)] @ np.linalg.inv(total[np.ix_(rest, rest)])
    density = multivariate_normal(cov=total[np.ix_(rest, rest)]).logpdf(y[rest])
    spread = total[np.ix_(at, at)] - gain @ total[np.ix_(rest, at)]
    return float(density), y[at] - gain @ y[rest], spread


def mixed(logs: Array, means: Array, spreads: Array) -> tuple[Array, Array]:
    """The first two moments of a mixture of normals, weighed by logarithms."""
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    apart = means - weights @ means
    spread = np.einsum("c,cij->ij", weights, spreads)
    return weights @ means, spread + np.einsum("c,ci,cj->ij", weights, apart, apart)


def test_each_pot_left_out_beside_a_calibration_without_it(four: DyeSet) -> None:
    rng = np.random.default_rng(3)
    told = [
        replace(pot, lab=pot.lab + (0.3 + 4.0 * (i == 5)) * rng.standard_normal(3), label=str(i))
        for i, pot in enumerate(pots(planted(four, navy=0.1, marigold=-0.1)))
    ]
    found = condition(four, told)
    for i, pot in enumerate(found.pots):
        rest = condition(four, [other for other in told if other.label != pot.label]).dyes
        slow = rest.predict_many(four.amounts(pot.recipe))
        assert delta_e(found.lab[i], slow.lab[0]) < 0.4
        spread = np.linalg.det([found.covariance[i], slow.covariance[0]]) ** (1 / 6)
        assert spread[0] == pytest.approx(spread[1], rel=0.25)  # as a length, CIELAB


# What it promises -------------------------------------------------------------------------------


def test_pots_that_stray_from_each_other_widen_the_promise(four: DyeSet) -> None:
    rng = np.random.default_rng(4)
    amounts = np.array([four.amounts(r) for r in RECIPES])
    wide = []
    for size in (0.0, 2.0, 6.0):
        told = [replace(pot, lab=pot.lab + size * rng.standard_normal(3)) for pot in pots(four)]
        wide.append(condition(four, told).dyes.predict_many(amounts).likely.mean())
    assert wide[0] < 1.0 < wide[1] < wide[2]
    assert wide[2] > 4.0


def test_what_readings_stray_by_has_no_tails(four: DyeSet) -> None:
    told = pots(planted(four, navy=0.1))[:4]
    rough = replace(four, scatter=replace(four.scatter, reading=4.0 * np.eye(3)))
    least, most = (condition(each, told).dyes.known.freedom for each in (four, rough))
    assert most > 1.5 * least


@pytest.mark.parametrize("last", [5.0, 25.0])
def test_a_promise_that_was_broken_is_widened_by_how_far(four: DyeSet, last: float) -> None:
    """(5 + Σχ²/3) ÷ (5 + n), χ² of each pot left out, at most what one in a hundred exceeds
    where the middle one strays as it does; and every mix is promised so much more."""
    told = pots(four)[:4]
    shifts = np.array([[5.0, 0.0, 0.0], [0.0, 5.0, 0.0], [0.0, 0.0, 5.0], [last, 0.0, 0.0]])
    told = [replace(p, lab=p.lab + shift) for p, shift in zip(told, shifts, strict=True)]
    found = condition(four, told)
    known = found.dyes.known
    miss = np.array([pot.lab for pot in found.pots]) - found.lab
    promised = found.covariance / known.widening
    square = np.einsum("gi,gij,gj->g", miss, np.linalg.inv(promised), miss)
    wild = chi2.ppf(0.99, 3) * max(1.0, np.median(square) / chi2.median(3))
    assert (square.max() > wild) == (last > 5.0)
    square = np.minimum(square, wild)
    assert known.widening == pytest.approx((5 + square.sum() / 3) / (5 + len(told)), rel=1e-3)
    assert known.widening > 1.1
    amounts = np.array([four.amounts(RECIPES[0])])
    calm = replace(found.dyes, posterior=replace(known, widening=1.0))
    wide, usual = (d.predict_many(amounts).covariance[0] for d in (found.dyes, calm))
    mixed = 0.66  # the lesser of two dyes is in company to (c/(c + o/4))², here of 0.8 and 0.25
    assert wide[0, 0] / usual[0, 0] > 1.0 + mixed * (known.widening - 1.0)


def test_one_wild_pot_neither_drags_the_dyes_nor_widens_every_promise(four: DyeSet) -> None:
    """One of eight mixes weighed wrongly, 15 L* off: the others are predicted nearly as before."""
    told = pots(planted(four, navy=0.1))
    wild = [replace(told[0], lab=told[0].lab - np.array([15.0, 0.0, 0.0])), *told[1:]]
    calm, found = (condition(four, some).dyes for some in (told, wild))
    amounts = np.array([four.amounts(pot.recipe) for pot in told[1:]])
    assert delta_e(found.colours(amounts), calm.colours(amounts)).mean() < 1.0
    usual, wide = (d.predict_many(amounts).likely.mean() for d in (calm, found))
    assert usual < wide < 2.5 * usual


@pytest.mark.parametrize(("family", "least"), [("competition", 0.85), ("scattering", 0.80)])
def test_the_bound_holds_on_worlds_of_other_physics(family: str, least: float) -> None:
    """A small part of benchmarks/promised.py, on families that constants were chosen on."""
    under = {0: [], 6: []}
    for seed in (2, 7):
        some = world(family, seed)
        dyes = fit(swatch_set(some, some.ladders(SPECTRUM)))
        own = some.read(some.dye(some.mixes(6, 1), 1), SPECTRUM, 1)
        readings = swatch_set(some, own, "own ").readings
        taught = learn(dyes, [Trial(r.recipe, r) for r in readings if r.recipe]).dyes
        fresh = some.read(some.dye(some.mixes(80, 2), 2), SPECTRUM, 2)
        amounts = fresh.amounts[:, [some.names.index(n) for n in dyes.names]]
        for n, shelf in ((0, dyes), (6, taught)):
            said = shelf.predict_many(amounts)
            under[n].append(delta_e(said.lab, fresh.lab) <= said.bound)
    assert np.mean(under[0]) >= 0.9
    assert least <= np.mean(under[6]) <= 0.995


# Clipped readings -------------------------------------------------------------------------------


def test_a_bound_speaks_only_where_it_is_violated(four: DyeSet) -> None:
    """Of greens whose red channel is below 00, read 6 too far to the red, values mislead; bounds
    that greener colours keep do not. Violated, they count like any other readings."""
    recipe = Recipe.parse("marigold 0.6 + turquoise 3")
    amounts = np.array([share * four.amounts(recipe) for share in (0.8, 1.0, 1.2)])
    true, bound = four.colours(amounts), Clipped(np.array([[0.0, -1.0, 0.0]]))

    def taught(off: float, clipped: Clipped | None) -> Array:
        some = [
            Pot(four.recipe(a), t + np.array([0.0, off, 0.0]), clipped=clipped)
            for a, t in zip(amounts, true, strict=True)
        ]
        return np.asarray((condition(four, some).dyes.colours(amounts) - true)[1])

    assert taught(6.0, None)[1] > 0.4
    assert abs(taught(6.0, bound)[1]) < 0.1
    np.testing.assert_allclose(taught(-6.0, bound), taught(-6.0, None), atol=1e-9)
    assert taught(-6.0, None)[1] < -0.4
