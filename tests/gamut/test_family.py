"""The fewest dyes that serve a family of colours: exact, against brute force."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchmarks.reach import brute_force, wanted_colours
from dyemix.colour.ciede2000 import delta_e
from dyemix.dataset.serialise import as_json
from dyemix.dataset.swatches import DEMO_WARNING
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError
from dyemix.gamut.coverage import family, smallest_sets
from dyemix.model.dyes import DyeSet


@pytest.mark.parametrize("tolerance", [0.5, 3.0])
def test_same_sets_as_brute_force(dyes: DyeSet, tolerance: float) -> None:
    """Every set of dyes given a search of its own."""
    shelf = dyes.take(["lemon", "scarlet", "rose", "cobalt", "navy", "turquoise", "brown"])
    targets = wanted_colours(dyes, 5, seed=11)
    found = family(shelf, targets, tolerance)
    able = [t for t in targets if t.name not in {u.name for u, _ in found.unserved}]
    assert {found.dyes, *found.others} == set(brute_force(shelf, able, tolerance))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.lists(st.integers(1, 255), min_size=1, max_size=12), min_size=1, max_size=6
    )
)  # fmt: skip
def test_smallest_sets_against_trying_all(choices: list[list[int]]) -> None:
    found = smallest_sets([np.array(c, dtype=np.uint64) for c in choices], 8)
    for size in range(9):
        every = [sum(1 << i for i in c) for c in combinations(range(8), size)]
        good = [m for m in every if all(any(m & s == s for s in c) for c in choices)]
        if good:
            assert sorted(found) == sorted(good)
            return


def test_every_recipe_serves_its_colour(dyes: DyeSet) -> None:
    targets = wanted_colours(dyes, 8, seed=2)
    found = family(dyes, targets, 2.0, cloth_g=250.0, stock_pct=1.0)
    grams = dict.fromkeys(found.dyes, 0.0)
    for target, member in zip(targets, found.members, strict=True):
        recipe = member.prediction.recipe
        assert set(recipe) <= set(found.dyes)
        assert len(recipe) <= 3
        miss = delta_e(target.lab, dyes.predict(recipe, target.light).lab)
        assert float(miss) == pytest.approx(member.residual, abs=1e-6)
        assert member.residual <= 2.0
        assert member.likely > 0
        for name, owf in recipe.items():
            grams[name] += 250.0 * owf / 100.0
    bought = {p.dye: p.grams for p in found.purchases}
    assert bought == pytest.approx(grams)
    for purchase in found.purchases:
        assert purchase.stock_ml == pytest.approx(purchase.grams * 100.0)  # 1 g per 100 mL


def test_out_of_reach_is_said_and_does_not_count(dyes: DyeSet) -> None:
    found = family(dyes, ["#7d8a6e", "#00ff00"], 3.0)
    assert [t.name for t, _ in found.unserved] == ["#00ff00"]
    assert found.unserved[0][1] > 3.0
    assert len(found.members) == 1
    assert "Not served by any dyes of this shelf: #00ff00" in str(found)
    nothing = family(dyes, ["#00ff00"], 3.0)
    assert nothing.dyes == ()
    assert nothing.purchases == ()


def test_a_colour_of_one_dye_needs_one_dye(dyes: DyeSet) -> None:
    target = Target(dyes.predict("rose 1").lab, dyes.light, name="rose")
    assert family(dyes, [target], 0.1).dyes == ("rose",)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda d: family(d, []), "no colour is wanted"),
        (lambda d: family(d, ["sage"]), "not a hex colour"),
        (lambda d: family(d, ["#7d8a6e"], tolerance=0), "tolerance"),
        (lambda d: family(d, ["#7d8a6e"], cloth_g=0), "dry weight"),
        (lambda d: family(d, ["#7d8a6e"], max_dyes=0), "max_dyes"),
        (lambda d: family(d, ["#7d8a6e"], tolerance=1e308), "at most 100"),
    ],
)
def test_bad_input_says_what_would_be_right(
    dyes: DyeSet, call: Callable[[DyeSet], object], says: str
) -> None:
    with pytest.raises(DyemixError, match=says):
        call(dyes)


def test_invented_dyes_are_called_that(dyes: DyeSet) -> None:
    found = family(replace(dyes, demo=True), ["#7d8a6e"])
    assert str(found).startswith(DEMO_WARNING)
    assert next(iter(json.loads(as_json(found)))) == "warning"
    assert len(found.to_frame()) == 1
