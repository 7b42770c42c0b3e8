"""What the dyer wants beyond the colour: kept by every recipe, or refused in a sentence."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from scipy.optimize import differential_evolution

from benchmarks.shelf import shelf
from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_10
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError, RecipeError
from dyemix.files.rows import parse_in_hand, parse_prices
from dyemix.matching.limits import PREFERENCE, WORTH, Constraints
from dyemix.matching.match import match, refined
from dyemix.matching.matches import Reach
from dyemix.matching.subsets import EARNS_ITS_PLACE
from dyemix.model.dyes import DyeSet

SAGE = Target(np.array([55.0, -10.0, 13.0]), D65_10, name="sage")
#: Far out of reach of any cloth, and nearer across grey than where the search first ends.
CRIMSON = Target(np.array([21.5, 108.4, 13.6]), D65_10, name="crimson")


@pytest.fixture(scope="module")
def dyes() -> DyeSet:
    return shelf(0, True)


def test_dyes_to_use_are_in_every_recipe_and_dyes_to_avoid_in_none(dyes: DyeSet) -> None:
    found = match(dyes, SAGE, use=("Leaf",), avoid=("black", "brown"))
    assert len(found) > 1
    for one in found:
        assert "leaf" in one.recipe
        assert not {"black", "brown"} & set(one.recipe)


def test_a_dye_that_must_be_in_is_in_even_where_it_only_does_harm(dyes: DyeSet) -> None:
    yellow = Target(np.array([85.0, -10.0, 100.0]), D65_10)
    found = match(dyes, yellow, use=("black",))
    palest = dyes.palest[dyes.index("black")]
    assert all(one.recipe["black"] >= 0.999 * palest for one in found)
    assert all("black" in line for line in found.warnings if "on paper" in line)


def test_the_number_of_dyes_is_kept(dyes: DyeSet) -> None:
    for most in (1, 2, 4):
        found = match(dyes, SAGE, max_dyes=most)
        assert max(len(one.recipe) for one in found) <= most


@pytest.mark.parametrize("name", ["use", "avoid", "prefer"])
def test_a_lone_name_is_a_name_and_not_its_letters(name: str) -> None:
    assert getattr(Constraints(**{name: "Dark  Leaf"}), name) == ("dark leaf",)  # type: ignore[arg-type]
    assert getattr(Constraints(**{name: "leaf, rust"}), name) == ("leaf", "rust")  # type: ignore[arg-type]


@pytest.mark.parametrize("target", [SAGE, CRIMSON], ids=["sage", "crimson"])
@pytest.mark.parametrize("max_dyes", [3, 4])
def test_what_is_left_in_the_jars_is_enough(dyes: DyeSet, target: Target, max_dyes: int) -> None:
    free = match(dyes, target, count=3, max_dyes=max_dyes)
    most = {name: 0.5 * amount for one in free for name, amount in one.recipe.items()}
    found = match(dyes, target, max_dyes=max_dyes, in_hand=most)
    for one in found:
        for name, amount in one.recipe.items():
            assert amount <= most.get(name, np.inf) + 1e-6
    assert found[0].residual >= free[0].residual - EARNS_ITS_PLACE


def test_the_look_across_grey_keeps_to_what_is_left(dyes: DyeSet) -> None:
    few = dyes.take(("scarlet", "leaf", "black"))
    most = {"scarlet": 0.3, "leaf": 2.0, "black": 0.8}
    for one in match(few, CRIMSON, count=20, in_hand=most):
        assert all(amount <= most[name] + 1e-6 for name, amount in one.recipe.items())


def test_an_empty_jar_is_a_dye_to_avoid(dyes: DyeSet) -> None:
    found = match(dyes, SAGE, in_hand={"leaf": 0.0, "black": 0.0})
    assert not any({"leaf", "black"} & set(one.recipe) for one in found)


@pytest.mark.parametrize("with_spectrum", [True, False])
def test_the_total_depth_is_kept_and_costs_accuracy(dyes: DyeSet, with_spectrum: bool) -> None:
    made = dyes.predict("marigold 0.5 + navy 0.3 + scarlet 0.2")
    target = made.as_target() if with_spectrum else Target(made.lab, D65_10)
    free = match(dyes, target, max_dyes=4)
    total = 0.5 * min(one.recipe.total for one in free)
    found = match(dyes, target, max_dyes=4, total=total)
    for one in found:
        assert one.recipe.total <= total + 1e-12
    assert found[0].residual > free[0].residual
    assert found.reach is not Reach.WITHIN
    assert found.warnings


def test_a_total_is_reached_rather_than_given_up(demo_dyes: DyeSet) -> None:
    # Undyed was the answer, 67.9 off, where black alone comes to 8.9.
    found = match(demo_dyes, "#303030", total=1.5)
    assert min(one.residual for one in found) < 9.0
    assert found[0].recipe.total == pytest.approx(1.5, abs=1e-5)


def scaled_targets(dyes: DyeSet, count: int, seed: int) -> Iterator[tuple[Target, float, float]]:
    """Colours of recipes, a share of their depth, and ΔE2000 of the recipe scaled down to that."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        amounts = np.zeros((1, len(dyes)))
        some = rng.choice(len(dyes), rng.integers(1, 4), replace=False)
        amounts[0, some] = np.exp(rng.uniform(np.log(0.1), np.log(2.0), len(some)))
        share = rng.choice([0.9, 0.75, 0.6, 0.5])
        both = dyes.colours(np.concatenate([amounts, share * amounts]))
        yield Target(both[0], D65_10), share * float(amounts.sum()), float(delta_e(*both))


@pytest.mark.parametrize("count", [12, pytest.param(200, marks=pytest.mark.slow)])
def test_under_a_total_nothing_is_worse_than_the_recipe_scaled_down(
    dyes: DyeSet, count: int
) -> None:
    for target, total, scaled in scaled_targets(dyes, count, seed=count):
        found = match(dyes, target, total=total, rank_by="paper")
        assert max(one.recipe.total for one in found) <= total + 1e-12
        assert min(one.residual for one in found) <= scaled + 0.01


@pytest.mark.parametrize("count", [2, pytest.param(200, marks=pytest.mark.slow)])
def test_under_a_total_a_global_solver_finds_nothing_nearer(dyes: DyeSet, count: int) -> None:
    # Differential evolution in which amounts above the total are scaled down to it.
    few = dyes.take(("lemon", "scarlet", "cobalt", "black"))
    for target, total, _ in scaled_targets(few, count, seed=count):

        def objective(amounts: np.ndarray, target: Target = target, total: float = total) -> Array:
            kept = amounts * np.minimum(1.0, total / np.maximum(amounts.sum(axis=0), 1e-12))
            return delta_e(target.lab, few.colours(kept.T))

        least = differential_evolution(
            objective, [(0.0, top) for top in few.deepest], tol=1e-8, atol=1e-5, rng=1,
            vectorized=True, updating="deferred", polish=False,
        ).fun  # fmt: skip
        limits = Constraints(max_dyes=4, total=total)
        found = refined(limits.problem(few, [target], D65_10))
        assert found.amounts.sum(axis=1).max() <= total + 1e-12
        assert float(np.sqrt(found.cost.min())) <= least + 0.01


def test_a_preferred_dye_goes_first_but_not_at_any_price(dyes: DyeSet) -> None:
    usual = match(dyes, SAGE)
    last = [set(one.recipe) for one in usual][-1] - set(usual[0].recipe)
    dye = sorted(last)[0]
    found = match(dyes, SAGE, prefer=(dye,))
    assert dye in found[0].recipe
    assert found[0].likely <= usual[0].likely + PREFERENCE + 2 * EARNS_ITS_PLACE
    # A dye of the wrong hue altogether is not worth its place.
    turquoise = Target(dyes.predict("turquoise 1").lab, D65_10)
    assert "scarlet" not in match(dyes, turquoise, prefer=("scarlet",))[0].recipe


def test_the_cost_of_a_kilogram_of_cloth_is_told_and_breaks_ties(dyes: DyeSet) -> None:
    price = dict.fromkeys(dyes.names, 0.1) | {"black": 9.0}
    found = match(dyes, SAGE, price=price)
    for one in found:
        # 1 % of 1 kg is 10 g.
        assert one.cost == pytest.approx(sum(10 * c * price[d] for d, c in one.recipe.items()))
        assert f"dye costs {one.cost:.2f} per kg of cloth" in str(found)
    steps = [round(one.likely / EARNS_ITS_PLACE) for one in found]
    first = [one.cost for one, step in zip(found, steps, strict=True) if step == steps[0]]
    assert first[0] is not None
    assert first[0] <= min(c for c in first if c is not None) + 0.5
    with pytest.raises(DyemixError, match=r"no price for .*black.*: give one for every"):
        match(dyes, SAGE, price={"navy": 1.0})
    # Only what can be used needs one.
    some = match(dyes.take("navy, leaf"), SAGE, price={"navy": 1.0, "leaf": 2.0})
    assert all(one.cost is not None for one in some)


def test_jars_as_they_are_written() -> None:
    assert parse_in_hand("navy 180 mL 2 %, gold 90 mL 2 %", 240.0)[0] == {
        "navy": pytest.approx(1.5), "gold": pytest.approx(0.75),
    }  # fmt: skip
    one = parse_in_hand("Dark  Navy 7,5ml of 4%", 30.0)
    assert one == ({"dark navy": pytest.approx(1.0)}, "dark navy 4")
    two = parse_in_hand("navy 100 mL 2 %; navy 50 mL 4 %", 100.0)
    assert two == ({"navy": pytest.approx(4.0)}, "navy 4")
    for bad in ("navy", "navy 180 mL", "navy 180 2 %", "", "navy 180 mL 2 % gold 90 mL 2 %"):
        with pytest.raises(DyemixError, match="is not a jar: write 'navy 180 mL 2 %'"):
            parse_in_hand(bad, 240.0)
    with pytest.raises(DyemixError, match="give its dry weight"):
        parse_in_hand("navy 180 mL 2 %", 0.0)


def test_prices_as_they_are_written() -> None:
    assert parse_prices("navy 0.20, Gold 0,15") == {"navy": 0.2, "gold": 0.15}
    for bad in ("navy", "0.2", "navy -1", "navy 1, navy 2"):
        with pytest.raises(DyemixError):
            parse_prices(bad)


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        ({"max_dyes": 0}, "a recipe has one dye or more"),
        ({"use": ("a", "b", "c", "d")}, "4 dyes must be used, but max_dyes is 3"),
        ({"use": ("navy",), "avoid": ("Navy",)}, "navy: to be used and avoided at once"),
        ({"prefer": ("navy",), "avoid": ("Navy",)}, "navy: to be used and avoided at once"),
        ({"total": 0.0}, "a total depth of 0 % owf holds no dye"),
        ({"in_hand": {"navy": -1.0}}, "in_hand of navy is -1: 0 or more"),
        ({"price": {"navy": float("nan")}}, "price of navy is nan: 0 or more"),
        ({"k_lightness": float("inf")}, "k_lightness is inf: from 0.01 to 100"),
        ({"k_lightness": 0.0}, "k_lightness is 0: from 0.01 to 100"),
    ],
)
def test_constraints_that_cannot_be_met_are_refused(limits: dict[str, object], words: str) -> None:
    with pytest.raises(DyemixError, match=words):
        Constraints(**limits)  # type: ignore[arg-type]


def test_constraints_on_dyes_the_shelf_does_not_have_are_refused(dyes: DyeSet) -> None:
    for some in ({"use": ("navi",)}, {"avoid": ("navi",)}, {"in_hand": {"navi": 1.0}}):
        with pytest.raises(RecipeError, match="did you mean navy"):
            match(dyes, SAGE, **some)  # type: ignore[arg-type]
    with pytest.raises(DyemixError, match="every dye of the shelf is to be avoided"):
        match(dyes, SAGE, avoid=dyes.names)


def test_the_cheapest_of_what_is_good_enough_goes_first(dyes: DyeSet) -> None:
    price = {dye: float(i + 1) for i, dye in enumerate(reversed(dyes.names))}
    likeliest = match(dyes, SAGE, price=price)[0]
    found = match(dyes, SAGE, price=price, rank_by="cost")
    costs = [one.cost for one in found if one.likely <= likeliest.likely + WORTH - 0.1]
    assert len(costs) > 1
    assert costs == sorted(costs)
    assert found[0].cost < likeliest.cost
    assert found[0].likely <= likeliest.likely + WORTH + 0.1
    with pytest.raises(DyemixError, match="price of every dye"):
        match(dyes, SAGE, rank_by="cost")
