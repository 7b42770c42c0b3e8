"""Repeats: an odd reading does not pull the mean, two scatters stay two, conditions compare."""

from __future__ import annotations

import pickle
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_10, lab
from dyemix.dataset.conditions import normal, same
from dyemix.dataset.readings import Clipped
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.repeats import _between, odd_readings, shared
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.errors import FitError
from dyemix.files import read_swatches, write_swatches
from dyemix.fitting.fit import fit
from tests.simulated.workshop import SETTINGS, Workshop

TABLE = Path(__file__).resolve().parents[2] / "swatch_data" / "napkins.csv"
GOLD = Recipe({"gold": 2.0})


def piece(*readings: np.ndarray, recipe: Recipe = GOLD, swatch: str = "1") -> tuple[Reading, ...]:
    return tuple(
        Reading(recipe, r.copy(), swatch, place=f"book.csv, row {i + 2}")
        for i, r in enumerate(readings)
    )


def around(centre: np.ndarray, count: int, size: float, seed: int = 0) -> list[np.ndarray]:
    """Readings about a spectrum: a scale error each, as an instrument put down afresh makes."""
    rng = np.random.default_rng(seed)
    return [centre * (1.0 + size * rng.standard_normal()) for _ in range(count)]


RAMP = np.linspace(0.1, 0.7, 31)


def test_an_odd_reading_hardly_moves_the_mean_and_is_named() -> None:
    good = around(RAMP, 4, 0.003)
    swatches = SwatchSet(piece(*good, 0.8 * RAMP), source="book.csv")
    (swatch,) = swatches.swatches
    assert swatch.odd == (4,)
    assert len(swatch.readings) == 5  # kept
    plain = np.mean([*good, 0.8 * RAMP], axis=0)
    miss, plain_miss = (
        float(delta_e(lab(RAMP, D65_10), lab(r, D65_10))) for r in (swatch.reflectance, plain)
    )
    assert miss < 0.2 < plain_miss
    assert float(delta_e(lab(RAMP, D65_10), swatch.colour(D65_10))) < 0.2
    (doubt,) = swatches.apart
    assert "gold 2.00 (1): the reading book.csv, row 6 lies far from the other 4" in doubt
    assert doubt in str(swatches)


def test_two_that_disagree_are_both_named_and_count_alike() -> None:
    swatches = SwatchSet(piece(RAMP, 0.8 * RAMP))
    (swatch,) = swatches.swatches
    assert swatch.odd == ()
    np.testing.assert_allclose(swatch.reflectance, 0.9 * RAMP)
    apart = float(delta_e(lab(RAMP, D65_10), lab(0.8 * RAMP, D65_10)))
    (doubt,) = swatches.apart
    assert doubt.startswith(f"2 readings of gold 2.00 (1) differ by {apart:.1f} ΔE2000")
    assert "neither can be called the odd one" in doubt
    assert swatches.repeats.reading.freedom == 0  # told, and in no figure


def test_readings_as_good_as_usual_are_never_odd() -> None:
    for seed in range(200):
        readings = np.array(around(RAMP, 2 + seed % 4, 0.003, seed))
        assert not odd_readings(lab(readings, D65_10)).any()


def test_weights() -> None:
    labs = np.array([[50.0, 0, 0], [50.1, 0, 0], [50, 0.1, 0], [60, 0, 0]])
    odd = odd_readings(labs)
    assert shared(1.0, odd) == pytest.approx(np.array([1, 1, 1, 0.05]) / 3.05)
    of = np.array([4.0, 1.0, 1.0, 4.0])
    assert shared(of, odd) == pytest.approx(np.array([4, 1, 1, 0.2]) / 6.2)
    assert shared(1.0, odd_readings(labs[:1])) == pytest.approx([1.0])


def test_a_piece_read_well_and_poorly_lies_nearer_to_the_good_reading() -> None:
    """Variances of 1 and 4 count as four to one; where one reading states none, all are alike."""
    labs, size = np.array([[50.0, 10, 0], [55, 10, 5], [46, 8, 0]]), (1.0, 4.0, None)
    readings = tuple(
        Reading.from_lab(x, D65_10, GOLD, covariance=None if s is None else s * np.eye(3))
        for x, s in zip(labs, size, strict=True)
    )
    (two,), (three,) = SwatchSet(readings[:2]).swatches, SwatchSet(readings).swatches
    np.testing.assert_allclose(two.colour(), [51.0, 10.0, 1.0], atol=1e-5)
    assert not three.odd
    np.testing.assert_allclose(three.colour(), labs.mean(axis=0), atol=1e-9)
    bound = replace(readings[1], clipped=Clipped(np.eye(3)[:1]))
    (clipped,) = SwatchSet((readings[0], bound)).swatches
    np.testing.assert_allclose(clipped.colour(), labs[:2].mean(axis=0), atol=1e-9)


@given(
    st.lists(st.tuples(st.floats(5, 95), st.floats(-60, 60), st.floats(-60, 60)), min_size=1,
             max_size=7),
    st.randoms(use_true_random=False),
)  # fmt: skip
def test_weights_follow_their_readings_in_any_order(labs: list[tuple], shuffle) -> None:
    values = np.array(labs)
    order = list(range(len(values)))
    shuffle.shuffle(order)
    weights = shared(1.0, odd_readings(values))
    assert weights.sum() == pytest.approx(1.0)
    shuffled = shared(1.0, odd_readings(values[order]))
    np.testing.assert_allclose(shuffled, weights[order])
    assert (weights >= weights.max()).sum() * 2 >= len(weights)  # never most of them


# The two figures, against the simulated workshop, whose noise is known


def test_the_two_scatters_of_the_workshop() -> None:
    shop = Workshop(0)
    recipes = [{"rose": 1.0}, {"navy": 0.5}, {"lemon": 2.0}, {"rust": 1.0}, {"leaf": 0.5}]
    rows = [r for c in recipes for i in range(6) for r in shop.swatch(f"{i}", c, 3)]
    swatches = SwatchSet(tuple(Reading(Recipe.parse(r.recipe), r.reading, r.swatch) for r in rows))
    repeats = swatches.repeats
    assert (repeats.reading.freedom, repeats.dye_again.freedom) == (60, 25)
    # A slow twin of the pooled covariance, and what the workshop's own noise makes of it.
    total = np.zeros((3, 3))
    for swatch in swatches.swatches:
        labs = np.array([r.colour() for r in swatch.readings])
        total += (len(labs) - 1) * np.cov(labs.T)
    np.testing.assert_allclose(repeats.reading.covariance, total / 60, rtol=1e-9)
    many = [
        lab(shop.read(piece), D65_10) for piece in [shop.dye({"rose": 1.0})] for _ in range(300)
    ]
    single = np.trace(np.cov(np.array(many).T))
    assert np.trace(repeats.reading.covariance) == pytest.approx(single, rel=0.8)
    assert np.trace(repeats.dye_again.covariance) > 5 * np.trace(repeats.reading.covariance)
    assert 0.1 < repeats.reading.mean < 0.25
    assert 0.4 < repeats.dye_again.mean < 1.5


def test_the_demo_book_tells_both() -> None:
    swatches = read_swatches(TABLE)
    repeats = swatches.repeats
    assert (repeats.reading.freedom, repeats.dye_again.freedom) == (85, 10)
    assert repeats.reading.mean < repeats.dye_again.mean
    assert not repeats.reading.covariance.flags.writeable
    assert "Readings of one swatch: mean 0.1" in str(swatches)
    assert "Swatches of one recipe: mean 0." in str(swatches)
    assert SETTINGS["ladder"]["readings"] == 2


def test_a_mislabelled_repeat_is_named_and_left_out_of_the_figure() -> None:
    rows = []
    for i, depth in enumerate((0.5, 1.0, 2.0, 4.0)):
        for again in range(2):
            size = 1.0 + 0.01 * again
            rows += piece(RAMP**depth * size, recipe=Recipe({"navy": depth}), swatch=f"{i}{again}")
    usual = SwatchSet(tuple(rows)).repeats.dye_again
    rows += piece(RAMP**2, recipe=Recipe({"navy": 3.0}), swatch="8")
    rows += piece(RAMP**3, recipe=Recipe({"navy": 3.0}), swatch="9")
    swatches = SwatchSet(tuple(rows))
    with_odd = swatches.repeats.dye_again
    assert with_odd.freedom == usual.freedom == 4
    np.testing.assert_array_equal(with_odd.covariance, usual.covariance)
    assert "navy 3.00 (8) and navy 3.00 (9) differ by" in swatches.apart[0]
    assert "mislabelled or badly weighed?" in swatches.apart[0]


def test_one_pair_alone_is_held_to_what_hand_dyers_call_excellent() -> None:
    """With a single pair nothing says what is usual: 1.5 ΔE2000 (common practice) is the limit."""
    close, far = SwatchSet(piece(RAMP, 0.96 * RAMP)), SwatchSet(piece(RAMP, 0.9 * RAMP))
    assert 0.5 < close.repeats.reading.mean < 1.5
    assert close.apart == ()
    assert "differ by" in far.apart[0]


def test_no_repeats_is_said() -> None:
    assert "not known, no repeats" in str(SwatchSet(piece(RAMP)))


def test_undyed_cloth_is_no_dyeing_again() -> None:
    rows = piece(RAMP, recipe=Recipe(), swatch="a") + piece(RAMP * 0.9, recipe=Recipe(), swatch="b")
    assert SwatchSet(rows).repeats.dye_again.freedom == 0


# Conditions


@pytest.mark.parametrize(
    ("key", "ways"),
    [
        ("geometry", ["SCE", "d/8 specular excluded", "d/8, SCE", "de:8°", "Specular Excluded"]),
        ("geometry", ["SCI", "d/8 specular included", "di:8"]),
        ("geometry", ["45/0", "45°/0°", "45a:0°"]),
        ("geometry", ["d/8", "d:8°"]),
        ("temperature", ["24 C", "24 °C", "24", "24.0 degrees C", "24,0°C", "75.2 F"]),
        ("hours", ["24", "24 h", "1 day", "1440 min", "24 Hours"]),
        ("salt", ["50 g/L", "50 g/l", "50", "50.0 g per L"]),
        ("liquor ratio", ["20:1", "20 : 1", "1:20", "20 to 1", "20"]),
        ("cloth", ["Cotton lawn", "cotton  LAWN ", "cotton lawn."]),
    ],
)
def test_one_condition_written_in_several_ways(key: str, ways: list[str]) -> None:
    assert len({normal(key, way) for way in ways}) == 1


@pytest.mark.parametrize(
    ("key", "one", "other"),
    [
        ("geometry", "SCE", "SCI"), ("geometry", "d/8", "45/0"), ("geometry", "d/8", "d/8 SCE"),
        ("geometry", "45/0", "0/45"), ("temperature", "24 C", "35 C"),
        ("temperature", "24 C", "24 F"),
        ("hours", "1 h", "1 day"), ("liquor ratio", "5:1", "20:1"), ("salt", "50", "80"),
        ("alkali", "with the dye", "about 1 h after the dye"), ("cloth", "lawn", "viscose"),
        ("temperature", "warm", "24"),
    ],
)  # fmt: skip
def test_different_conditions_stay_different(key: str, one: str, other: str) -> None:
    assert not same(key, one, other)


@given(st.sampled_from(["geometry", "temperature", "hours", "salt", "liquor ratio", "cloth"]),
       st.text(max_size=30))  # fmt: skip
def test_comparing_any_text_ends(key: str, text: str) -> None:
    assert same(key, text, text)


def read_text(tmp_path: Path, text: str) -> SwatchSet:
    (tmp_path / "book.csv").write_text(text, "utf-8")
    return read_swatches(tmp_path / "book.csv")


BOOK = """recipe,L*,a*,b*,geometry,temperature
undyed,93,0,4,{},24 C
gold 2,71,18,66,{},{}
gold 1,75,14,58,,24
gold 0.5,80,9,48,SCE,24 °C
"""


def test_a_fit_takes_one_set_of_conditions_however_written(tmp_path: Path) -> None:
    swatches = read_text(tmp_path, BOOK.format("SCE", "d/8 specular excluded", "24 °C"))
    assert swatches.conditions() == {"geometry": "SCE", "temperature": "24 C"}
    assert fit(swatches).report.method == "temperature 24 C; geometry SCE"
    with pytest.raises(FitError) as caught:
        fit(read_text(tmp_path, BOOK.format("SCE", "SCI", "24 °C")))
    for words in ("'SCE' (book.csv, row 2)", "'SCI' (book.csv, row 3)", "geometry"):
        assert words in str(caught.value)
    with pytest.raises(FitError, match="temperature is '24 C'"):
        fit(read_text(tmp_path, BOOK.format("SCE", "SCE", "35 °C")))


def test_a_book_without_conditions_is_fitted_and_marked(tmp_path: Path) -> None:
    text = "recipe,L*,a*,b*\nundyed,93,0,4\ngold 2,71,18,66\ngold 1,75,14,58\ngold 0.5,80,9,48\n"
    assert fit(read_text(tmp_path, text)).report.method == "not recorded"


# The covariance that a photograph's readings carry


def test_a_covariance_survives_the_table(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    root = rng.standard_normal((3, 3))
    covariance = root @ root.T
    colour = np.array([50.0, 5.0, -8.0])
    reading = Reading(GOLD, None, "1", "Lab", colour, D65_10, covariance)
    write_swatches(SwatchSet((reading, *piece(RAMP, swatch="2"))), tmp_path / "photo.csv")
    first, second = read_swatches(tmp_path / "photo.csv").readings
    assert first.covariance == pytest.approx(covariance, rel=1e-8)
    assert second.covariance is None
    text = (tmp_path / "photo.csv").read_text("utf-8")
    assert ",covariance" in text


@pytest.mark.parametrize(
    ("nine", "words"),
    [
        ("-1 0 0; 0 1 0; 0 0 1", "no covariance"), ("1 2 0; 2 1 0; 0 0 1", "no covariance"),
        ("1 0 0; 0 1 0", "no covariance"), ("1 0 0; 0 one 0; 0 0 1", "rows of three numbers"),
        ("1e300 0 0; 0 1 0; 0 0 1", "no covariance"),
    ],
)  # fmt: skip
def test_numbers_that_are_no_covariance(tmp_path: Path, nine: str, words: str) -> None:
    with pytest.raises(Exception, match=words):
        read_text(tmp_path, f"recipe,L*,a*,b*,covariance\ngold 1,50,0,0,{nine}\n")


def test_readings_travel_to_another_process() -> None:
    one = Reading(
        Recipe({"gold": 1.0}),
        np.full(31, 0.5),
        "a",
        conditions={"cloth": "lawn"},
        warnings=("odd",),
    )
    back = pickle.loads(pickle.dumps(SwatchSet((one,), ("a note",), "mine.csv"))).readings[0]
    assert back.recipe == one.recipe
    assert dict(back.conditions) == {"cloth": "lawn"}
    assert back.warnings == ("odd",)
    np.testing.assert_array_equal(back.reflectance, one.reflectance)
    assert not back.reflectance.flags.writeable


def test_very_many_repeats_are_compared_by_some_and_the_farthest_is_among_them() -> None:
    """Every pair of 3,000 would be 4.5 million; the spread and the outlier stay what they are."""
    labs = np.array([50.0, 10.0, 10.0]) + np.random.default_rng(4).normal(0, 0.3, (3000, 3))
    labs[1234] += 15.0
    some = _between(labs[:150])
    all_of_them = _between(labs)
    assert len(all_of_them) < 25_000
    assert all_of_them.max() == pytest.approx(delta_e(labs[1234], np.median(labs, axis=0)), abs=1.0)
    assert np.median(all_of_them) == pytest.approx(np.median(some), rel=0.15)
