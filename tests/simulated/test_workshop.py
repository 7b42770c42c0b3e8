"""Checks of the simulated workshop: is it fit to judge a fit by?

Colour is computed by colour-science (CIE 1964 10 degree observer, CIE D65, CIEDE2000), a general
library: nothing here comes from the package that the workshop is there to test.
"""

import csv
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.simulated.workshop import (
    SETTINGS,
    WAVELENGTHS,
    Row,
    Workshop,
    format_recipe,
    parse_recipe,
    write_table,
)
from tests.simulated.workshop.make_demo import demo_tables, main

Array = NDArray[np.float64]
SEEDS = range(5)
SWATCH_DATA = Path(__file__).resolve().parents[2] / "swatch_data"


def lab(reflectance: Array) -> Array:
    """CIELAB (..., 3) under D65 for the 10 degree observer, by plain summation at 10 nm."""
    import colour

    shape = colour.SpectralShape(400, 700, 10)
    observer = colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"].copy().align(shape).values
    lamp = colour.SDS_ILLUMINANTS["D65"].copy().align(shape).values
    weights = observer * lamp[:, None] / (observer[:, 1] @ lamp)
    return np.asarray(
        colour.XYZ_to_Lab(reflectance @ weights, colour.XYZ_to_xy(weights.sum(axis=0)))
    )


def delta_e(one: Array, other: Array) -> Array:
    """CIEDE2000 between reflectances (..., B)."""
    import colour

    return np.asarray(colour.delta_E(lab(one), lab(other), method="CIE 2000"))


def k_over_s(reflectance: Array) -> Array:
    return (1.0 - reflectance) ** 2 / (2.0 * reflectance)


def from_k_over_s(ratio: Array) -> Array:
    return 1.0 + ratio - np.sqrt(ratio**2 + 2.0 * ratio)


def amounts(shop: Workshop, recipes: list[dict[str, float]]) -> Array:
    return np.array([[recipe.get(dye, 0.0) for dye in shop.dyes] for recipe in recipes])


def readings(rows: list[Row]) -> Array:
    return np.array([row.reading for row in rows])


def linear_miss(shop: Workshop) -> float:
    """Mean CIEDE2000 by which the plainest fit misses the mixtures.

    K/S linear in amount, no surface term, unweighted least squares on the ladders.
    """
    ladder, mixtures = shop.ladder(), shop.mixtures()
    known = amounts(shop, [parse_recipe(row.recipe) for row in ladder])
    design = np.column_stack([np.ones(len(known)), known])
    slopes = np.linalg.lstsq(design, k_over_s(readings(ladder)), rcond=None)[0]
    asked = amounts(shop, [parse_recipe(row.recipe) for row in mixtures])
    ratio = np.column_stack([np.ones(len(asked)), asked]) @ slopes
    return float(delta_e(from_k_over_s(np.maximum(ratio, 1e-9)), readings(mixtures)).mean())


def oracle_miss(shop: Workshop) -> float:
    """Mean CIEDE2000 between truth and the sum of K/S of each dye alone at the exact depth.

    What is left of the mixtures for someone who knows every ladder perfectly, and adds.
    """
    surface = shop.mean_surface

    def ratio(recipe: dict[str, float]) -> Array:
        return k_over_s((shop.true_reflectance(recipe) - surface) / (1.0 - surface))

    undyed = ratio({})
    recipes = shop.mixture_recipes()
    added = [undyed + sum(ratio({d: c}) - undyed for d, c in r.items()) for r in recipes]
    predicted = surface + (1.0 - surface) * from_k_over_s(np.array(added))
    return float(delta_e(predicted, np.array([shop.true_reflectance(r) for r in recipes])).mean())


def dye_again_scatter(shop: Workshop, times: int = 6) -> float:
    """Mean CIEDE2000 between two dyeings of a recipe, one reading each, over the mixtures."""
    again = np.array(
        [[shop.read(shop.dye(r)) for _ in range(times)] for r in shop.mixture_recipes()]
    )
    return float(
        np.mean([delta_e(again[:, i], again[:, j]) for i, j in combinations(range(times), 2)])
    )


def reading_scatter(shop: Workshop, times: int = 6) -> float:
    """Mean CIEDE2000 between two readings of a piece, over the mixtures."""
    pieces = [shop.dye(recipe) for recipe in shop.mixture_recipes()]
    again = np.array([[shop.read(piece) for _ in range(times)] for piece in pieces])
    return float(
        np.mean([delta_e(again[:, i], again[:, j]) for i, j in combinations(range(times), 2)])
    )


@pytest.mark.parametrize("seed", SEEDS)
def test_dyeing_again_scatters_as_a_hand_dyer_does(seed: int) -> None:
    assert 0.6 <= dye_again_scatter(Workshop(seed)) <= 1.2


@pytest.mark.parametrize("seed", SEEDS)
def test_reading_again_scatters_far_less_than_dyeing_again(seed: int) -> None:
    assert 0.1 <= reading_scatter(Workshop(seed)) <= 0.2


@pytest.mark.parametrize("noise", [True, False])
@pytest.mark.parametrize("seed", SEEDS)
def test_plain_linear_fit_is_not_enough(seed: int, noise: bool) -> None:
    assert linear_miss(Workshop(seed, noise=noise)) >= 2.0


@pytest.mark.parametrize("seed", SEEDS)
def test_ladders_tell_most_but_not_all_of_the_mixtures(seed: int) -> None:
    assert 0.4 <= oracle_miss(Workshop(seed, noise=False)) <= 0.7


@pytest.mark.parametrize("seed", SEEDS)
def test_competition_takes_a_few_percent_unequally(seed: int) -> None:
    shop = Workshop(seed, noise=False)

    def lost(total: float) -> Array:
        half = total / 2
        alone = {d: shop.dye({d: half}).fixed for d in shop.dyes}
        pairs = list(combinations(range(len(shop.dyes)), 2))
        both = [shop.dye({shop.dyes[i]: half, shop.dyes[j]: half}).fixed for i, j in pairs]
        return np.array(
            [
                1.0 - fixed[i] / alone[shop.dyes[i]][i]
                for pair, fixed in zip(pairs, both, strict=True)
                for i in pair
            ]
        )

    medium, deep = lost(2.0), lost(4.0)
    assert 0.02 <= np.median(medium) <= 0.06
    assert np.all(deep > medium)
    assert np.ptp(medium) > 0.02


def test_undyed_cloth_is_the_cloth_described() -> None:
    for seed in SEEDS:
        undyed = Workshop(seed, noise=False).true_reflectance({})
        assert undyed[0] == pytest.approx(0.60, abs=0.03)
        assert undyed[-1] == pytest.approx(0.85, abs=0.03)
        assert np.all(np.diff(undyed) > 0)


@pytest.mark.parametrize("seed", SEEDS)
def test_ladders_run_from_pale_to_deep(seed: int) -> None:
    shop = Workshop(seed, noise=False)
    for dye in shop.dyes:
        curves = np.array([shop.true_reflectance({dye: c}) for c in (0.0, 0.125, 0.5, 2.0, 4.0)])
        band = int(curves[-1].argmin())
        assert np.all(np.diff(curves[:, band]) < 0), dye
        assert curves[1].min() > 0.25, f"{dye} is not pale at 0.125 % owf"
        assert curves[3].min() < 0.12, f"{dye} is not deep at 2 % owf"
        assert curves.min() > shop.mean_surface.max()
        assert np.abs(np.diff(curves, n=2, axis=1)).max() < 0.12, f"{dye} is not smooth"


def test_several_depth_laws_are_of_no_usual_form() -> None:
    """K/S at the peak against the best of amount, power and Langmuir, fitted on a grid."""
    shop = Workshop(0, noise=False)
    depths = np.array(SETTINGS["ladder"]["depths"])
    forms = [depths**n for n in np.linspace(0.6, 1.3, 71)]
    forms += [depths / (1.0 + depths / q) for q in np.geomspace(1.0, 1000.0, 121)]
    odd = []
    for i, dye in enumerate(shop.dyes):
        fixed = np.array([shop.dye({dye: c}).fixed[i] for c in depths])
        spread = min(float(np.ptp(np.log(fixed / form))) for form in forms)
        odd += [dye] if spread > 0.02 else []
    assert len(odd) >= 4, odd
    assert "lemon" not in odd
    assert "brown" not in odd


def test_noise_changes_the_cloth_and_not_the_physics() -> None:
    noisy, quiet = Workshop(3), Workshop(3, noise=False)
    recipe = {"marigold": 0.8, "navy": 0.25}
    truth = quiet.true_reflectance(recipe)
    np.testing.assert_array_equal(noisy.true_reflectance(recipe), truth)
    np.testing.assert_array_equal(quiet.read(quiet.dye(recipe)), truth)
    many = np.array([noisy.read(noisy.dye(recipe)) for _ in range(400)])
    assert float(delta_e(many.mean(axis=0), truth)) < 0.2
    assert float(delta_e(Workshop(4).true_reflectance(recipe), truth)) > 1.0


def test_the_same_seed_gives_the_same_cloth() -> None:
    one, other = Workshop(5).mixtures(4), Workshop(5).mixtures(4)
    np.testing.assert_array_equal(readings(one), readings(other))


def test_dosing_error_is_the_one_asked_for() -> None:
    shop = Workshop(0)
    for asked, expected in ((None, SETTINGS["noise"]["dosing_cv"]), (0.1, 0.1), (0.0, 0.0)):
        weighed = np.array(
            [list(shop.weigh({"rose": 2.0, "rust": 1.0}, asked).values()) for _ in range(2000)]
        )
        np.testing.assert_allclose(weighed.mean(axis=0), [2.0, 1.0], rtol=0.01)
        np.testing.assert_allclose(
            weighed.std(axis=0) / weighed.mean(axis=0), expected, rtol=0.08, atol=1e-12
        )
    assert Workshop(0, noise=False).weigh({"rose": 2.0}) == {"rose": 2.0}


def test_pots_and_surfaces_vary_as_set() -> None:
    shop = Workshop(0)
    pieces = [shop.dye({"rose": 2.0, "rust": 1.0}, dosing_cv=0.0) for _ in range(1000)]
    fixed = np.array([piece.fixed for piece in pieces])[:, [3, 9]]
    strength = fixed / fixed.mean(axis=0)
    np.testing.assert_allclose(strength.std(axis=0), SETTINGS["noise"]["pot_cv"], rtol=0.08)
    np.testing.assert_allclose(strength[:, 0], strength[:, 1])  # a pot moves all its dyes alike
    surface = np.array([piece.surface for piece in pieces])
    np.testing.assert_allclose(surface.mean(axis=0), shop.mean_surface, rtol=0.02)
    np.testing.assert_allclose(
        surface.std(axis=0) / shop.mean_surface, SETTINGS["surface"]["cv"], rtol=0.08
    )


def test_a_second_bath_adds_to_the_first() -> None:
    shop = Workshop(2, noise=False)
    first = shop.dye({"cobalt": 1.0})
    second = shop.dye_on(first, {"scarlet": 0.5})
    fresh = shop.dye({"scarlet": 0.5})
    scarlet, cobalt = shop.dyes.index("scarlet"), shop.dyes.index("cobalt")
    assert second.under is first
    assert second.fixed[cobalt] == first.fixed[cobalt]
    assert 0.9 * fresh.fixed[scarlet] < second.fixed[scarlet] < fresh.fixed[scarlet]
    assert lab(second.reflectance)[0] < lab(first.reflectance)[0]
    np.testing.assert_array_equal(
        shop.dye_on(shop.dye({}), {"scarlet": 0.5}).reflectance, fresh.reflectance
    )


def test_pieces_are_read_only() -> None:
    piece = Workshop(0).dye({"leaf": 1.0})
    with pytest.raises(ValueError, match="read-only"):
        piece.reflectance[0] = 0.5
    with pytest.raises(TypeError):
        piece.recipe["leaf"] = 2.0  # type: ignore[index]


def test_recipes_read_as_they_are_written() -> None:
    recipe = {"marigold": 0.8, "navy": 0.25}
    assert format_recipe(recipe) == "marigold 0.8 + navy 0.25"
    assert parse_recipe(format_recipe(recipe)) == recipe
    assert parse_recipe(format_recipe({})) == {}
    for text in ("", "navy", "navy 1 + navy 2", "navy one"):
        with pytest.raises(ValueError, match=r"want each dye once|could not convert"):
            parse_recipe(text)


@pytest.mark.parametrize("recipe", [{"mauve": 1.0}, {"navy": -0.1}, {"navy": float("nan")}])
def test_bad_recipes_are_refused(recipe: dict[str, float]) -> None:
    shop = Workshop(0)
    for act in (shop.weigh, shop.dye, shop.true_reflectance):
        with pytest.raises(ValueError, match=next(iter(recipe))):
            act(recipe)


def test_mixtures_differ_and_stay_within_the_ladders() -> None:
    shop = Workshop(1)
    recipes = shop.mixture_recipes()
    depths = SETTINGS["ladder"]["depths"]
    assert len(recipes) == 24
    assert {len(recipe) for recipe in recipes} == {2, 3}
    assert len({frozenset(recipe) for recipe in recipes}) == 24
    assert {dye for recipe in recipes for dye in recipe} == set(shop.dyes)
    assert all(min(depths) <= c <= max(depths) for r in recipes for c in r.values())
    colours = [shop.true_reflectance(recipe) for recipe in recipes]
    one, other = np.array(list(combinations(colours, 2))).swapaxes(0, 1)
    assert delta_e(one, other).min() > 1.0
    with pytest.raises(ValueError, match="differ"):
        shop.mixture_recipes(400)


def read_back(path: Path) -> tuple[dict[str, str], list[str], list[Row]]:
    """Comments, column names and rows of a swatch table."""
    lines = path.read_text(encoding="utf-8").splitlines()
    comments = dict(line[2:].split(": ", 1) for line in lines if line.startswith("# "))
    names, *body = csv.reader(line for line in lines if not line.startswith("#"))
    return comments, names, [Row(b[0], b[1], np.array(b[2:], dtype=float) / 100) for b in body]


def test_tables_come_back_as_written(tmp_path: Path) -> None:
    rows = Workshop(0).mixtures(3)
    write_table(tmp_path / "table.csv", rows, {"scale": "percent", "cloth": "a: b"})
    comments, names, back = read_back(tmp_path / "table.csv")
    assert comments == {"scale": "percent", "cloth": "a: b"}
    assert names == ["swatch", "recipe", *(f"{nm:g} nm" for nm in WAVELENGTHS)]
    assert [(r.swatch, r.recipe) for r in back] == [(r.swatch, r.recipe) for r in rows]
    np.testing.assert_allclose(readings(back), readings(rows), atol=5.1e-5)


def test_demo_files_are_the_ones_the_script_writes(tmp_path: Path) -> None:
    main([str(tmp_path / "once")])
    main([str(tmp_path / "twice")])
    for name in ("napkins.csv", "napkins_mixtures.csv"):
        once = tmp_path / "once" / name
        assert once.read_bytes() == (tmp_path / "twice" / name).read_bytes()
        comments, names, rows = read_back(once)
        kept_comments, kept_names, kept = read_back(SWATCH_DATA / name)
        assert (comments, names) == (kept_comments, kept_names)
        assert comments["demo"] == "yes"
        assert "invented" in comments["about"]
        assert [(r.swatch, r.recipe) for r in rows] == [(r.swatch, r.recipe) for r in kept]
        # Another machine's exp() may round the last printed digit the other way.
        np.testing.assert_allclose(readings(rows), readings(kept), atol=1.01e-4)


def test_demo_ladder_holds_what_a_dyer_keeps() -> None:
    _, _, rows = read_back(SWATCH_DATA / "napkins.csv")
    swatches = {row.swatch: row.recipe for row in rows}
    labels = list(swatches.values())
    shop = Workshop(SETTINGS["demo"]["seed"])
    assert len(rows) == 2 * len(swatches)
    assert labels.count("undyed") == 3
    for dye in shop.dyes:
        for depth in SETTINGS["ladder"]["depths"]:
            assert format_recipe({dye: depth}) in labels
    again = len(labels) - 3 - 12 * 6
    assert again == pytest.approx(72 / 7, abs=1)
    _, _, mixtures = read_back(SWATCH_DATA / "napkins_mixtures.csv")
    assert len({row.swatch for row in mixtures}) == 24
    assert len(mixtures) == 48


def test_exactly_one_demo_swatch_is_mislabelled() -> None:
    demo = SETTINGS["demo"]
    shop = Workshop(demo["seed"], noise=False)
    ladder, mixtures = demo_tables()
    rows = ladder + mixtures
    truth = np.array([shop.true_reflectance(parse_recipe(row.recipe)) for row in rows])
    miss = delta_e(readings(rows), truth)
    doubtful = {row.swatch: row for row, far in zip(rows, miss, strict=True) if far > 4.0}
    assert len(doubtful) == 1
    ((swatch, row),) = doubtful.items()
    assert row.recipe == format_recipe({demo["mislabelled_dye"]: demo["mislabelled_as"]})
    assert [r.recipe for r in rows].count(row.recipe) == 2, "no repeat to give it away"
    dyed = shop.true_reflectance({demo["mislabelled_dye"]: demo["mislabelled_dyed"]})
    assert float(delta_e(row.reading, dyed)) < 2.5
    assert swatch not in {r.swatch for r in mixtures}
