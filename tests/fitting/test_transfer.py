"""A second cloth: a square a dye, shape and law borrowed, judged by cloth the fit never saw.

The second cloth is the simulated workshop with its own cloth, and every dye stronger by a factor of
its own and bent a little otherwise. The frozen settings are not touched.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from benchmarks.shelf import moved, standing, swatch_set
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_10, Light, lab
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, Swatch, SwatchSet
from dyemix.errors import FitError
from dyemix.fitting.fit import fit
from dyemix.fitting.lent_ladder import ENOUGH_DEPTHS, LentLadders
from dyemix.fitting.transfer import borrow
from dyemix.model.dyes import DyeSet
from dyemix.model.kubelka_munk import Surface, depth_law_by_law
from tests.simulated.workshop import Row, Workshop

SEEDS = (0, 1, 2)
DEPTHS = (0.125, 0.25, 0.5, 1.0, 2.0, 4.0)


def second(seed: int) -> tuple[Workshop, np.ndarray]:
    """Workshop `seed` with another cloth, and by how much each dye is stronger on it.

    Anew for each test: what one draws of its noise must not move what another sees.
    """
    shop = Workshop(seed)
    rng = np.random.default_rng([seed, 99])
    stronger = rng.uniform(1.0, 1.5, len(shop.dyes))
    bend = np.exp(0.15 * rng.standard_normal(len(shop.dyes)))
    shop._bands[1] *= stronger[:, np.newaxis]
    shop._tail *= stronger
    shop._cloth = 1.2 * shop._cloth
    shop._laws = [
        (kind, size * b, shape) for (kind, size, shape), b in zip(shop._laws, bend, strict=True)
    ]
    return shop, stronger


def squares(shop: Workshop, dyes: tuple[str, ...], depths: tuple[float, ...] = (1.0,)) -> list[Row]:
    rows = [row for i in range(2) for row in shop.swatch(f"U{i}", {})]
    for dye in dyes:
        for depth in depths:
            rows += shop.swatch(f"{dye} {depth}", {dye: depth})
    return rows


@lru_cache
def first(seed: int) -> DyeSet:
    return fit(swatch_set(Workshop(seed).ladder()))


@lru_cache
def lent(seed: int) -> DyeSet:
    shop, _ = second(seed)
    return borrow(first(seed), swatch_set(squares(shop, shop.dyes)))


def miss(dyes: DyeSet, shop: Workshop, recipes: list[dict[str, float]]) -> float:
    """Mean ΔE2000 (D65/10°) of predictions against the workshop's noise-free truth."""
    truth = lab(np.array([shop.true_reflectance(recipe) for recipe in recipes]), D65_10)
    return float(delta_e(truth, [dyes.predict(r, D65_10).lab for r in recipes]).mean())


@pytest.mark.slow
@pytest.mark.parametrize("seed", SEEDS)
def test_one_square_a_dye_predicts_a_cloth_nearly_as_a_library_does(seed: int) -> None:
    shop, _ = second(seed)
    depths = [{dye: depth} for dye in shop.dyes for depth in DEPTHS]
    mixtures = shop.mixture_recipes()
    whole = fit(swatch_set(shop.ladder()))  # six depths of every dye: the alternative at its best
    other = first(seed).on(lent(seed).cloth)  # only the cloth exchanged, no square
    for recipes in (depths, mixtures):
        borrowed = miss(lent(seed), shop, recipes)
        assert borrowed < miss(whole, shop, recipes) + 0.35
        assert borrowed < 0.5 * miss(other, shop, recipes)


@pytest.mark.parametrize("seed", SEEDS)
def test_strengths_come_out_within_their_own_error(seed: int) -> None:
    _, stronger = second(seed)
    found = lent(seed).whole.curves.sum(axis=1) / first(seed).whole.curves.sum(axis=1)
    # A square's own error, and that of a law that is another on this cloth.
    assert np.abs(np.log(found / stronger)).max() < 0.15
    assert np.sqrt(np.mean(np.log(found / stronger) ** 2)) < 0.08


def test_the_interval_is_wider_and_holds_the_truth() -> None:
    """Over all dyes and depths, the borrowed fit's own covariance explains its misses."""
    ratios, wider = [], []
    for seed in SEEDS:
        shop, _ = second(seed)
        amounts = np.concatenate([np.eye(len(shop.dyes)) * depth for depth in (0.25, 1.0, 4.0)])
        names = shop.dyes
        truth = lab(
            np.array([shop.true_reflectance(dict(zip(names, a, strict=True))) for a in amounts]),
            D65_10,
        )
        found = lent(seed).predict_many(amounts, D65_10)
        covariance, off = found.causes.fit, truth - found.lab
        ratios += list((off**2).sum(axis=1) / np.trace(covariance, axis1=1, axis2=2))
        alone = first(seed).predict_many(amounts, D65_10).causes.fit
        wider.append(
            np.trace(covariance, axis1=1, axis2=2).mean() / np.trace(alone, axis1=1, axis2=2).mean()
        )
    assert min(wider) > 1.5
    assert np.mean(np.array(ratios) < 4.0) > 0.9


def test_away_from_the_square_the_interval_grows() -> None:
    """The law pivots on the square at 1 %: there only the strength's own error is left."""
    dyes = lent(0)
    spread = []
    for depth in (1.0, 0.125):
        by_law = depth_law_by_law(depth, dyes.whole.law)
        curves, laws = np.split(dyes.ladders.modes.own, [-2], axis=2)
        level = curves.mean(axis=2) + np.einsum("dl,dql->dq", by_law, laws)
        spread.append(np.sqrt((level**2).sum(axis=1)).mean())
    assert spread[1] > 1.2 * spread[0]
    # By 0.05 of the exponent n. Of (c + 0.01)^n - 0.01^n at n = 1 the logarithm changes by it with
    # (1.01 ln 1.01 - 0.01 ln 0.01) / 1 = 0.056 at 1 %, and -1.794 at 0.125 %: 0.05 * 1.850.
    own = dyes.ladders.modes.own[:, 1]
    exponent = own[:, :-2].mean(axis=1) + own[:, -2:] @ [
        depth_law_by_law(0.125, dyes.whole.law)[0, 0], 0.0
    ]  # fmt: skip
    assert np.abs(exponent) == pytest.approx(0.0925, abs=4e-3)


def test_another_surface_term_shows_the_same_cloth() -> None:
    """Under a surface term fitted elsewhere a dye is as its own squares said it is there, up to two
    standard deviations; beyond, each middle depth has the same reflectance. So squares that were
    read as they show them come out as read; squares of the mean surface nearly so."""
    dyes = first(0)
    middle = np.diag(np.sqrt(dyes.palest * dyes.deepest))
    at, size = dyes.whole.surface, dyes.ladders.modes.surface

    def shown(read: np.ndarray, surface: Surface) -> DyeSet:
        rows = zip(dyes.names, middle, read, strict=True)
        squares = {n: (Swatch(dyes.recipe(c), r, (Reading(None, r),)),) for n, c, r in rows}
        lent = LentLadders(dyes, D65_10, squares, dyes.cloth)
        found, _ = lent.fit(surface, np.ones(len(dyes)), 0.05)
        return standing(dyes, curves=found.curves, law=found.law, surface=surface)

    seen, colours = dyes.reflectance(middle), dyes.colours(middle)
    nearly = {(0.004, 0.3): 0.3, (0.02, 0.1): 0.3, (0.03, 0.6): 0.6}
    for (r0, k2), most in {(at.r0, at.k2): 1e-3, **nearly}.items():
        surface, theta = Surface(r0, k2), np.array(dyes.known.mean)
        away = np.array([r0 - at.r0, k2 - at.k2]) / size
        assert (np.abs(away).max() > 2.0) == (most > 0.5)
        theta[dyes.ladders.modes.of_surface] += np.clip(away, -2.0, 2.0)
        there = moved(dyes, theta).reflectance(middle)
        np.testing.assert_allclose(shown(there, surface).reflectance(middle), there, atol=1e-6)
        assert delta_e(shown(seen, surface).colours(middle), colours).max() < most
        left_alone = standing(dyes, surface=surface)
        assert most < 0.1 or delta_e(left_alone.colours(middle), colours).max() > 2.0


def test_a_dye_without_a_square_is_left_out_by_name() -> None:
    shop, _ = second(0)
    dyes = borrow(first(0), swatch_set(squares(shop, ("rose", "navy"))))
    assert dyes.names == ("rose", "navy")
    notes = "\n".join(dyes.report.warnings)
    assert "left out: lemon, marigold, scarlet" in notes
    assert "no factor without one" in notes.lower()


def test_what_is_borrowed_is_marked() -> None:
    report = lent(0).report
    assert {dye.law for dye in report.dyes} == {"borrowed"}
    assert {dye.depths for dye in report.dyes} == {(1.0,)}
    text = report.text(detail=True)
    assert "No mix of yours has been read" in text.splitlines()[0]
    assert "prior: log-normal about 1, standard deviation 0.35" in text
    assert "rose 1." in text
    assert "0.25 and 4 %, then it is fitted on this cloth" in text


def test_it_is_replaced_as_squares_arrive() -> None:
    shop, _ = second(1)
    rows = squares(shop, ("rose", "navy", "leaf"))
    more = [r for d in (0.25, 4.0) for r in shop.swatch(f"rose {d}", {"rose": d})]
    two = shop.swatch("navy 4", {"navy": 4.0})
    mixture = shop.swatch("M", {"rose": 0.5, "leaf": 0.5})
    dyes = borrow(first(1), swatch_set([*rows, *more, *two, *mixture]))
    laws = {dye.name: (dye.law == "borrowed", dye.depths) for dye in dyes.report.dyes}
    assert laws == {
        "rose": (False, (0.25, 1.0, 4.0)),
        "navy": (True, (1.0, 4.0)),
        "leaf": (True, (1.0,)),
    }
    assert len(laws["rose"][1]) == ENOUGH_DEPTHS
    own = fit(swatch_set([r for r in [*rows, *more] if r.recipe.split()[0] in ("rose", "undyed")]))
    i = dyes.index("rose")
    np.testing.assert_allclose(dyes.ladders.curves[i], own.whole.curves[0])
    np.testing.assert_array_equal(dyes.cloth, own.cloth)
    assert len(dyes.ladders.modes.own) == 3
    # However the surface turns out, every square stays as it was read.
    at, theta = dyes.ladders.modes.of_surface, dyes.known.mean.copy()
    theta[at] += 0.5
    leaf = moved(dyes, theta).predict("leaf 1", D65_10).lab
    assert delta_e(leaf, dyes.predict("leaf 1", D65_10).lab) < 0.3
    assert [check.label for check in dyes.report.own_mixtures] == ["rose 0.50 + leaf 0.50 (M)"]
    assert dyes.report.own_mixtures[0].delta_e < 3.0

    # Under a surface term fitted here, a borrowed dye still gives its square. Of two squares its
    # borrowed bend gives neither: one is as much too light as the other is too dark.
    def off(recipe: dict[str, float]) -> np.ndarray:
        read = [lab(r.reflectance, D65_10) for r in squared.readings if r.recipe == recipe]
        return dyes.predict(recipe, D65_10).lab - np.mean(read, axis=0)

    squared = swatch_set([*rows, *two])
    assert np.abs(off({"leaf": 1.0})).max() < 0.5
    lighter, darker = off({"navy": 1.0})[0], -off({"navy": 4.0})[0]
    assert 0.0 < lighter < 1.5
    assert lighter == pytest.approx(darker, abs=0.5)


def test_swatches_called_check_are_only_predicted_and_the_fit_of_the_ladders_is_heard() -> None:
    shop, _ = second(1)
    shelf, rows = first(1).take(["rose", "leaf"]), squares(shop, ("rose",), (0.25, 1.0, 4.0))
    rows += shop.swatch("leaf 1", {"leaf": 1.0})
    kept, aside = shop.swatch("M", {"rose": 0.5, "leaf": 0.5}), {"rose": 1.0, "leaf": 0.2}
    dyes = borrow(shelf, swatch_set([*rows, *kept, *shop.swatch("CHECK", aside)]))
    assert dyes.report is not None
    assert [mix.label for mix in dyes.report.own_mixtures] == ["rose 0.50 + leaf 0.50 (M)"]
    assert [mix.label for mix in dyes.report.set_aside] == ["rose 1.00 + leaf 0.20 (CHECK)"]
    assert set(dyes.scatter.warnings) <= set(dyes.report.warnings)


def test_a_new_dye_with_a_ladder_joins_and_one_with_a_single_square_is_refused() -> None:
    shop, _ = second(0)
    shelf = first(0).take(["navy", "leaf"])
    rows = squares(shop, ("rose",), (0.25, 1.0, 4.0)) + shop.swatch("n", {"navy": 1.0})
    assert borrow(shelf, swatch_set(rows)).names == ("rose", "navy")
    alone = borrow(shelf, swatch_set(squares(shop, ("rose",), (0.25, 1.0, 4.0))))
    assert alone.names == ("rose",)
    assert "left out: navy, leaf" in " ".join(alone.report.warnings)
    with pytest.raises(FitError, match="rose: one depth here and nothing to borrow"):
        borrow(shelf, swatch_set(squares(shop, ("rose", "navy"))))


def test_the_prior_holds_a_dye_to_the_first_cloth_by_little() -> None:
    """A square three times as strong is believed: the prior pulls ln 3 by its small share."""
    dyes = first(0).take(["navy"])
    strong = standing(dyes, curves=3.0 * dyes.whole.curves)
    readings = (
        Reading(Recipe(), dyes.cloth.copy(), "U"),
        Reading(Recipe({"navy": 1.0}), strong.reflectance([[1.0]])[0], "S"),
    )
    found = borrow(dyes, SwatchSet(readings))
    share = 1.0 + (np.hypot(dyes.scatter.dosing, dyes.scatter.pot) / 0.35) ** 2
    (curve,), (lent,) = found.whole.curves, dyes.whole.curves
    logs = np.log(curve / lent)[lent > 1e-6]
    assert logs == pytest.approx(np.log(3.0) / share, abs=0.006)


def test_a_square_of_another_dye_is_told() -> None:
    shop, _ = second(0)
    rows = squares(shop, ("rose",))
    wrong = [Row(r.swatch, r.recipe.replace("rose", "leaf"), r.reading) for r in rows]
    notes = "\n".join(borrow(first(0), swatch_set(wrong)).report.warnings)
    assert "mislabelled, or another dye on this cloth?" in notes


def test_lab_readings_may_be_borrowed_for_too() -> None:
    shop, stronger = second(0)
    light = Light("D65", 10)
    rows = swatch_set(squares(shop, ("rose", "navy", "leaf"))).readings
    rough = tuple(replace(r, kind="Lab", lab=lab(r.reflectance, light), light=light) for r in rows)
    dyes = borrow(first(0), SwatchSet(rough))
    assert dyes.report is not None
    lender = first(0).take(list(dyes.names))
    found = dyes.whole.curves.sum(axis=1) / lender.whole.curves.sum(axis=1)
    wanted = [stronger[shop.dyes.index(name)] for name in dyes.names]
    assert found == pytest.approx(wanted, rel=0.2)


def conditions(swatches: SwatchSet, **kept: str) -> SwatchSet:
    named = {key.replace("_", " "): value for key, value in kept.items()}
    return replace(
        swatches, readings=tuple(replace(r, conditions=named) for r in swatches.readings)
    )


def test_conditions_of_the_two_cloths() -> None:
    shop, _ = second(0)
    rows = swatch_set(squares(shop, ("rose",)))
    lender = replace(
        first(0), conditions={"cloth": "lawn", "geometry": "SCE", "alkali": "with the dye"}
    )
    dyes = borrow(
        lender,
        conditions(rows, cloth="viscose", geometry="d/8 specular excluded", alkali="1 h later"),
    )
    notes = "\n".join(dyes.report.warnings)
    assert "borrowed from cloth 'lawn' to 'viscose'" in notes
    assert "alkali 'with the dye', here '1 h later'" in notes
    assert "starting guess" in notes
    assert dyes.conditions["cloth"] == "viscose"
    with pytest.raises(FitError, match="read 'SCE' and this one 'SCI'"):
        borrow(lender, conditions(rows, geometry="SCI"))


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([("rose 1", 0.3)], "no undyed reading: add a row"),
        ([("undyed", 0.8)], "no dye has a square"),
        ([("undyed", 0.8), ("rose 1 + navy 1", 0.2)], "no dye has a square"),
    ],
)
def test_refusals(rows: list[tuple[str, float]], words: str) -> None:
    readings = tuple(Reading(Recipe.parse(recipe), np.full(31, value)) for recipe, value in rows)
    with pytest.raises(FitError, match=words):
        borrow(first(0), SwatchSet(readings))
    with pytest.raises(FitError, match="name them"):
        borrow(first(0), SwatchSet((Reading(None, np.full(31, 0.5)),)))
