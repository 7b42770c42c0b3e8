"""What bands and their values may be, at every limit, and what becomes of those off the grid."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from dyemix.colour.spectra import (
    Unit,
    band,
    fractions,
    grid_fault,
    grid_notes,
    headed_bands,
    onto_grid,
    spectrum_to_lab,
    too_bright,
)
from dyemix.errors import DyemixError, InputError

BANDS = np.arange(400.0, 701.0, 10.0)
GREY = np.full(31, 0.4)


def steps(first: float, last: float, step: float) -> np.ndarray:
    return np.arange(first, last + step / 2, step)


# Headings ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("heading", "wavelength"),
    [
        ("400", 400), ("R_400 nm", 400), ("%R700", 700), ("Reflectance 400,5", 400.5),
        (" nm 550.25 ", 550.25), ("spectral_nm 460", 460), ("SPECTRAL NM460", 460),
        ("300", 300), ("299.9", None), ("1100", 1100), ("1100.1", None), ("12", None),
        ("x400", None), ("400 cm", None), ("", None),
    ],
)  # fmt: skip
def test_a_heading_that_names_a_wavelength(heading: str, wavelength: float | None) -> None:
    assert band(heading) == wavelength


def test_bands_are_those_of_the_labels_or_of_the_grid() -> None:
    labelled = pd.Series([0.3, 0.5], index=["R500", "R510"])
    np.testing.assert_array_equal(headed_bands(labelled), [500, 510])
    for unlabelled in (GREY, pd.Series(GREY), labelled.rename(index={"R500": "name"})):
        np.testing.assert_array_equal(headed_bands(unlabelled), BANDS)


# Values -----------------------------------------------------------------------------------------


def test_spectra_on_the_grid_are_taken_as_they_are() -> None:
    np.testing.assert_array_equal(fractions(GREY), GREY)
    np.testing.assert_array_equal(fractions(np.stack([GREY, GREY / 2]), BANDS)[1], GREY / 2)
    np.testing.assert_allclose(fractions(100 * GREY, scale="percent"), GREY)
    np.testing.assert_allclose(fractions(100 * GREY, scale=Unit.PERCENT), GREY)
    assert fractions(np.empty((0, 31)), scale="percent").shape == (0, 31)
    ramp = np.linspace(0.1, 0.7, 31)
    np.testing.assert_array_equal(fractions(ramp[::-1], BANDS[::-1]), ramp)


def test_spectra_off_the_grid_keep_their_shape() -> None:
    """A straight line is one under any interpolation; bands may come in any order."""
    at = steps(400, 700, 20)
    line = 0.1 + (at - 400) / 1000
    found = fractions(np.stack([[line, line], [2 * line, line]])[..., ::-1], at[::-1])
    assert found.shape == (2, 2, 31)
    np.testing.assert_allclose(found[0, 1], 0.1 + (BANDS - 400) / 1000, atol=1e-12)
    np.testing.assert_allclose(found[1, 0], 0.2 + (BANDS - 400) / 500, atol=1e-12)


@pytest.mark.parametrize(
    ("values", "scale", "words"),
    [
        (np.r_[2.0, GREY[1:]], "fraction", ""),
        (np.r_[2.001, GREY[1:]], "fraction", "2.001 is no fraction: is it scale='percent'"),
        (np.full(31, 1.0999), "fraction", ""),
        (np.full(31, 1.1001), "fraction", "is no fraction"),
        (np.r_[200.1, 100 * GREY[1:]], "percent", "is no fraction"),
        (np.full(31, 1.0), "percent", ""),
        (np.full(31, 0.99), "percent", "0.99 % at most: is it scale='fraction'"),
        (np.full(31, 0.001), "fraction", ""),
        (np.zeros(31), "fraction", ""),
        (np.r_[-0.001, GREY[1:]], "fraction", "0 or more"),
        (np.r_[np.nan, GREY[1:]], "fraction", "0 or more"),
        (np.r_[np.inf, GREY[1:]], "percent", "0 or more"),
    ],
)  # fmt: skip
def test_what_a_reflectance_may_be(values: np.ndarray, scale: str, words: str) -> None:
    if not words:
        assert fractions(values, scale=scale).shape == (31,)
        return
    with pytest.raises(InputError, match=words):
        fractions(values, scale=scale)


def test_which_of_several_are_too_bright() -> None:
    """Above 2 in one band, or above 1.1 in the mean of them: whitened cloth is below both."""
    one = np.full((4, 4), 0.5)
    one[1, 2], one[2], one[3] = 2.01, 1.11, 1.1
    one[0, 3] = 2.0
    np.testing.assert_array_equal(too_bright(one), [False, True, True, False])


@pytest.mark.parametrize(
    ("values", "at", "words"),
    [
        (GREY[:30], None, "give the wavelengths"),
        (0.5, None, "give the wavelengths"),
        (GREY, BANDS[:30], "one value a wavelength"),
        (np.full(16, 0.5), steps(400, 715, 21), "21 nm apart, 16 in all"),
        (np.r_[-0.1, np.full(15, 0.5)], steps(400, 700, 20), "0 or more"),
    ],
)  # fmt: skip
def test_bands_that_do_not_fit_are_refused(values: object, at: object, words: str) -> None:
    with pytest.raises(DyemixError, match=words):
        fractions(values, at)  # type: ignore[arg-type]


def test_a_perfect_white_is_the_white_of_every_light() -> None:
    for light in ("D65/10", "A/2", "FL11/10"):
        np.testing.assert_allclose(spectrum_to_lab([100.0] * 31, None, light, "percent"),
                                   [100, 0, 0], atol=1e-9)  # fmt: skip


# Grids ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("at", "words"),
    [
        (BANDS, ""), (steps(400, 700, 20), ""), (steps(360, 780, 5), ""), (steps(395, 705, 10), ""),
        (np.array([500.0]), "one band is not a spectrum"),
        (np.array([400.0, 700.0]), "300 nm apart, 2 in all: steps of 20 nm or less"),
        (steps(400, 700, 20.1), "and 699.|699.5 to 700 nm is missing|20.1 nm apart"),
        (steps(400, 700, 25), "25 nm apart, 13 in all"),
        (steps(401, 701, 10), "400 to 401 nm is missing"),
        (steps(399, 699, 10), "699 to 700 nm is missing"),
        (steps(410, 690, 10), "400 to 410 nm and 690 to 700 nm is missing"),
        (BANDS + 1.1e-5 * (BANDS == 450), "450 nm is followed|440 nm is followed by 450 nm where"),
        (BANDS + 0.9e-5 * (BANDS == 450), ""),
        (np.insert(BANDS, 6, 455.0), "450 nm is followed by 455 nm where the others are 10 nm"),
        (np.delete(BANDS, 5), "440 nm is followed by 460 nm where the others are 10 nm apart"),
    ],
)  # fmt: skip
def test_what_a_grid_must_be(at: np.ndarray, words: str) -> None:
    fault = grid_fault(at)
    assert bool(fault) is bool(words)
    assert any(part in fault for part in words.split("|"))


@pytest.mark.parametrize(
    ("at", "said"),
    [
        (BANDS, ["400 to 700 nm every 10 nm, 31 in all"]),
        (steps(400, 700, 5), ["every 5 nm, 61 in all", "those at 400, 410"]),
        (steps(400, 700, 20), ["every 20 nm", "interpolated"]),
        (steps(395, 705, 10), ["395 to 705 nm", "interpolated", "less than 10 nm beyond"]),
        (steps(380, 730, 10), ["380 to 730 nm", "(380 to 730 nm) are folded"]),
        (steps(390, 700, 10), ["390 to 700 nm", "(390 to 390 nm) are folded"]),
        (steps(400, 710, 10), ["400 to 710 nm", "(710 to 710 nm) are folded"]),
        (steps(350, 700, 10), ["350 to 700 nm", "(350 to 390 nm) are folded"]),
        (steps(392, 700, 4), ["every 4 nm", "interpolated", "less than 10 nm beyond"]),
        (steps(385, 775, 5), ["every 5 nm", "those at 400", "(385 to 775 nm) are folded"]),
    ],
)  # fmt: skip
def test_what_is_said_of_a_grid(at: np.ndarray, said: list[str]) -> None:
    notes = grid_notes(at)
    assert len(notes) == len(said)
    assert all(words in note for words, note in zip(said, notes, strict=True))


def test_bands_on_the_grid_are_picked_out_of_finer_ones() -> None:
    at = steps(400, 700, 5)
    values = np.random.default_rng(0).uniform(0.1, 0.9, (3, len(at)))
    np.testing.assert_array_equal(onto_grid(at, values), values[:, ::2])
    # To within a millionth of a nm; farther off they are interpolated, which gives nearly the same.
    aside = (at == 450) - 1.0 * (at == 560)
    np.testing.assert_array_equal(onto_grid(at + 9e-7 * aside, values), values[:, ::2])
    moved = onto_grid(at + 1.1e-6 * aside, values)
    assert 0 < np.abs(moved - values[:, ::2]).max() < 1e-6


@pytest.mark.parametrize(
    ("end", "beyond", "weights"),
    [
        # D65 (ISO/CIE 11664-2) times x̄ of 1964 (CIE 015:2018), as colour-science carries them:
        # at 380 nm 49.9755 × 0.000160, at 390 54.6482 × 0.002362, at 400 82.7549 × 0.019110.
        (0, [380, 390], np.array([49.9755 * 0.000160, 54.6482 * 0.002362, 82.7549 * 0.019110])),
        # At 700 nm 71.6091 × 0.009577, at 710 74.3490 × 0.004553, at 720 61.6040 × 0.002175.
        (-1, [720, 710], np.array([61.6040 * 0.002175, 74.3490 * 0.004553, 71.6091 * 0.009577])),
    ],
)  # fmt: skip
def test_bands_beyond_the_grid_weigh_as_much_as_they_are_seen(
    end: int, beyond: list[int], weights: np.ndarray
) -> None:
    at = np.sort(np.r_[BANDS, beyond])
    values = np.zeros((3, len(at)))
    for row, place in enumerate([*beyond, 400 if end == 0 else 700]):
        values[row, at == place] = 1.0
    found = onto_grid(at, values)
    np.testing.assert_allclose(found[:, end], weights / weights.sum(), rtol=2e-3)
    assert np.delete(found, end, axis=1).max() == 0.0


def test_nothing_is_made_of_what_lies_below_360_and_above_780_nm() -> None:
    """There no table of the observer weighs it; a grid of 10 nm starts at the next whole ten."""
    at = steps(340, 800, 10)
    values = np.random.default_rng(1).uniform(0.1, 0.9, (2, len(at)))
    inside = (at >= 360) & (at <= 780)
    np.testing.assert_array_equal(onto_grid(at, values), onto_grid(at[inside], values[:, inside]))
    odd = steps(385, 715, 5)
    values = np.random.default_rng(2).uniform(0.1, 0.9, (2, len(odd)))
    inside = (odd >= 390) & (odd <= 710)
    np.testing.assert_array_equal(onto_grid(odd, values), onto_grid(odd[inside], values[:, inside]))


def test_a_spectrum_that_a_spline_takes_below_zero_stays_between_its_neighbours() -> None:
    at = steps(400, 700, 20)
    steep, smooth = np.where(at > 560, 0.8, 0.0), 0.4 + 0.2 * np.sin(at / 60)
    found = onto_grid(at, np.stack([steep, smooth, steep]))
    np.testing.assert_array_equal(found[0], found[2])
    assert found[0].min() >= 0.0
    assert found[0].max() <= 0.8
    np.testing.assert_allclose(found[:, ::2], [steep, smooth, steep], atol=1e-9)
    np.testing.assert_allclose(found[1], onto_grid(at, smooth[np.newaxis])[0], rtol=1e-12)
    # What was below zero before is none of the spline's doing.
    below = onto_grid(at, np.stack([steep - 0.01, smooth]))
    assert below[0].min() < -0.02
    assert onto_grid(at, np.stack([[steep, smooth]])).shape == (1, 2, 31)
