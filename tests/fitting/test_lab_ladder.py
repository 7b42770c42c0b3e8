"""Ladders read as CIELAB only: one curve and one law for all depths, and what stays open.

Checked against the simulated workshop, which is richer than the model and shares no code with it,
and against measured textile spectra of CIE 224:2017, as colour-science carries them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from benchmarks.lab_only import (
    LED,
    A,
    as_lab,
    losses,
    predicted,
    spread_and_error,
    textile_misses,
    textiles,
)
from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_10, WAVELENGTHS, Light, lab, smoothest_reflectance
from dyemix.dataset.conditions import PICTURE
from dyemix.dataset.readings import Clipped
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.errors import FitError
from dyemix.fitting import lab_ladder
from dyemix.fitting.fit import fit
from dyemix.fitting.lab_ladder import LabLadders, cloth_from_lab, stated
from dyemix.model.dyes import DyeSet
from dyemix.model.kubelka_munk import Surface

D50_2 = Light("D50", 2)


def some(swatches: SwatchSet, *dyes: str) -> SwatchSet:
    """Undyed cloth and the ladders of these dyes."""
    kept = [r for r in swatches.readings if r.recipe is not None and set(r.recipe) <= set(dyes)]
    return SwatchSet(tuple(kept))


@pytest.fixture(scope="module")
def ladders(workshop_set: Callable[[int, bool], Any]) -> SwatchSet:
    table: SwatchSet = workshop_set(0, True).ladders
    return table


@pytest.fixture(scope="module")
def exact(workshop_set: Callable[[int, bool], Any]) -> SwatchSet:
    table: SwatchSet = workshop_set(0, False).ladders
    return table


@pytest.fixture(scope="module")
def joint(ladders: SwatchSet) -> DyeSet:
    return fit(as_lab(ladders))


@pytest.mark.slow
@pytest.mark.parametrize("noise", [True, False])
def test_mixtures_lose_little_against_spectra(noise: bool) -> None:
    # Under A more than the 0.5 of curves made to fall to the red, which real dyes need not do and
    # which cost more than it brought on measured sets.
    for loss, most in zip(losses(0, noise, (D65_10, A)), (0.3, 0.95), strict=True):
        assert loss.joint - loss.spectral <= most
        assert loss.added <= 0.57 * loss.added_alone  # once 0.5: dyes stand at the mean surface


def test_textiles_keep_their_colour_under_other_lamps() -> None:
    book = textiles()
    spectra = predicted(book, fit(book.swatches))
    alone = smoothest_reflectance(lab(book.truth, D65_10).reshape(-1, 3), D65_10)
    for light, share in ((A, 0.45), (LED, 0.7)):
        miss = textile_misses(book, spectra, light).mean(axis=0)
        rival = textile_misses(book, alone.reshape(book.truth.shape), light).mean(axis=0)
        assert (miss < share * rival).all()
    # At the mean of the surfaces that fit, not at the best, a square keeps a little of its miss.
    assert textile_misses(book, spectra, D65_10).max() < 0.5


def test_slopes_are_those_of_the_residual(ladders: SwatchSet) -> None:
    dyes = ("rose", "navy")
    table = as_lab(some(ladders, *dyes))
    joint = LabLadders({name: table.ladder(name) for name in dyes}, np.full(31, 0.8))
    counts = np.ones(sum(len(table.ladder(name)) for name in dyes))
    surface = Surface(0.01, 0.1)
    at = joint.solve(surface, counts, joint.near)
    at = at + 0.05 * np.random.default_rng(4).standard_normal(at.shape)
    seen, step = joint._seen(at, surface), 1e-5
    for j in range(at.shape[1]):
        move = step * np.eye(at.shape[1])[j]
        up, down = (joint._seen(at + sign * move, surface).miss for sign in (1.0, -1.0))
        expected = (up - down) / (2.0 * step)
        np.testing.assert_allclose(seen.slope[..., j], expected, rtol=1e-4, atol=1e-4)


def test_the_prior_of_a_curve_is_what_is_said_of_it() -> None:
    """Smooth over 120 nm with a spread of 2, over 40 nm with 0.6, the level with 6; flat at −0.5,
    and falling from 600 nm on, to −2.5 at 700 nm. A hundred-thousandth of it is left out.
    """
    apart = np.arange(400, 701, 10)[:, np.newaxis] - np.arange(400, 701, 10)
    wanted = 4.0 * np.exp(-((apart / 120.0) ** 2) / 2.0)
    wanted += 0.36 * np.exp(-((apart / 40.0) ** 2) / 2.0) + 36.0
    off = wanted - lab_ladder._BASIS @ lab_ladder._BASIS.T
    assert np.trace(off) == pytest.approx(0.0, abs=1e-5 * np.trace(wanted))
    assert np.abs(off).max() < 0.01
    none, (law,) = lab_ladder._meaning(np.zeros((1, lab_ladder._BASIS.shape[1] + 2)))
    np.testing.assert_allclose(none[0, [0, 20, 25, 30]], [-0.5, -0.5, -1.5, -2.5])
    np.testing.assert_allclose(law, [0.95, 0.0])
    _, (law,) = lab_ladder._meaning(np.eye(lab_ladder._BASIS.shape[1] + 2)[-2:].sum(axis=0)[None])
    np.testing.assert_allclose(law, [0.95 + 0.15, 0.05])


def test_laws_are_held_where_dyes_are() -> None:
    """Exponents of 0.3 to 1.6 and bends of 0.15 either way, whatever is asked."""
    far = np.zeros((2, lab_ladder._BASIS.shape[1] + 2))
    far[0, -2:], far[1, -2:] = 50.0, -50.0
    np.testing.assert_allclose(lab_ladder._meaning(far)[1], [[1.6, 0.15], [0.3, -0.15]])


@pytest.mark.parametrize("more", [0.9, 1.1])
def test_what_is_open_of_a_ladder_stands_in_the_order_in_which_it_matters(more: float) -> None:
    """Where all else is known, a bath strays by 3 % in every band alike. Over what is seen of a
    flat curve that weighs 0.03 × √1.01; an error of the exponent 0.15 times itself, one of the
    bend 0.3 times: an error a tenth larger than another in these stands before it.
    """
    flat, parts = np.zeros((1, 31)), lab_ladder._BASIS.shape[1]
    drift = 0.03 * np.sqrt(1.01)

    def modes(exponent: float, bend: float) -> np.ndarray:
        """Errors of the law that weigh so much; 0.15 and 0.05 are those of its prior."""
        covariance = np.zeros((1, parts + 2, parts + 2))
        covariance[0, -2, -2] = (exponent / 0.15 / 0.15) ** 2
        covariance[0, -1, -1] = (bend / 0.3 / 0.05) ** 2
        return lab_ladder._modes(covariance, flat)[0]

    only = modes(0.0, 0.0)
    np.testing.assert_allclose(np.abs(only[0, :31]), 0.03)
    np.testing.assert_allclose(only[1:], 0.0, atol=1e-6)
    first = modes(more * drift, 0.0)[0]
    assert (abs(first[31]) > 0.1) == (more > 1.0)
    first = modes(0.0, more * drift)[0]
    assert (abs(first[32]) > 0.05) == (more > 1.0)


def test_a_row_weighs_by_its_reading_and_its_bath(ladders: SwatchSet) -> None:
    """0.3 ΔE2000 in each part, and 0.07 of ln(strength) along what strength does to the colour."""
    table = as_lab(some(ladders, "navy"))
    joint = LabLadders({"navy": table.ladder("navy")}, np.full(31, 0.8))
    seen = joint._seen(np.zeros((1, lab_ladder._BASIS.shape[1] + 2)), Surface(0.01, 0.1))
    root = joint._whitener(seen, np.ones(len(joint.swatch)))
    along = 0.07 * seen.strength[..., np.newaxis]
    total = along @ along.transpose(0, 2, 1) + 0.09 * np.eye(3)
    np.testing.assert_allclose(np.linalg.inv(root.transpose(0, 2, 1) @ root), total)
    assert np.abs(along).max() > 0.1


def test_a_reading_is_weighed_as_ladders_show_it(
    ladders: SwatchSet, monkeypatch: pytest.MonkeyPatch
) -> None:
    """0.3 stands for 30 parts: n rows that are met exactly leave √(30 · 0.09 ÷ (30 + 3n))."""
    table = as_lab(some(ladders, "navy"))
    joint = LabLadders({"navy": table.ladder("navy")}, np.full(31, 0.8))
    nothing = np.zeros((1, 3, 3))
    monkeypatch.setattr(joint, "solve", lambda *_: None)
    monkeypatch.setattr(joint, "_left", lambda *_: (nothing,) * 5)
    counts = np.ones(len(table.ladder("navy")))
    joint.weigh(Surface(0.01, 0.1), counts)
    rows = len(joint.swatch)
    assert rows >= 6
    assert joint.reading == pytest.approx(np.sqrt(30 * 0.09 / (30 + 3 * rows)))


def test_what_a_picture_is_off_by_moves_all_that_was_read_from_it(
    ladders: SwatchSet, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a reading's stated variance 0.6 is alike in its picture: where one of the two pictures
    that squares were read from is off by a twentieth of that, they fit as `common` says. A picture
    of one square alone is off like any reading."""
    monkeypatch.setattr(lab_ladder, "_TOLERANCE", 1e-9)
    stated = np.array([[1.0, 0.2, 0.1], [0.2, 2.0, -0.3], [0.1, -0.3, 1.5]])
    table, surface = as_lab(some(ladders, "rose", "lemon")), Surface(0.01, 0.1)
    where = [*["a", "b"] * (len(table.readings) // 2 - 1), "c", "d"]

    def joint(off: Array) -> LabLadders:
        readings = tuple(
            replace(
                r, lab=r.lab + (off if picture == "a" else 0.0), covariance=stated,
                conditions={PICTURE: picture},
            )
            for r, picture in zip(table.readings, where, strict=True)
        )  # fmt: skip
        read = SwatchSet(readings)
        return LabLadders({name: read.ladder(name) for name in read.dyes}, np.full(31, 0.8))

    at = joint(np.zeros(3))
    assert at.pictures == ("a", "b")
    counts = np.ones(len(at.swatch))
    whole = at.metric @ (stated / 2.0) @ at.metric.swapaxes(-1, -2)
    own = at.scatter / whole
    np.testing.assert_allclose(np.sort(own, axis=0)[:-1], 0.4)
    np.testing.assert_allclose(own.max(axis=0), 1.0)
    found, _ = at.fit(surface, counts, 0.0)
    common = found.modes.shared[:, 2:]
    assert np.abs(common[:, :3]).max(axis=(1, 2)).min() > 0.01  # of both dyes
    for part, off in enumerate(0.05 * np.linalg.cholesky(0.6 * stated).T):
        again = joint(off)
        again.near = at.near  # from where the first ended: a curve may end in another shape
        moved = np.log(again.fit(surface, counts, 0.0)[0].curves / found.curves)
        wanted = -0.05 * common[:, part, :-2]
        assert np.linalg.norm(moved - wanted) < 0.1 * np.linalg.norm(wanted)


def test_a_square_read_well_and_poorly_is_fitted_to_the_good_reading(ladders: SwatchSet) -> None:
    """Variances of 1 and 4 count as four to one, and leave 0.8 of the smaller (20 of 25)."""
    once = [s.readings[0] for s in as_lab(some(ladders, "rose")).swatches]
    good = tuple(replace(r, covariance=np.eye(3)) for r in once)
    poor = tuple(replace(r, lab=r.lab + 5.0, covariance=4.0 * np.eye(3)) for r in once)
    read = SwatchSet(good + poor)
    at = LabLadders({"rose": read.ladder("rose")}, np.full(31, 0.8))
    lone = LabLadders({"rose": SwatchSet(good).ladder("rose")}, np.full(31, 0.8))
    np.testing.assert_allclose(at.goal, lone.goal + 1.0, atol=1e-4)
    for swatch in read.swatches:
        np.testing.assert_allclose(stated(swatch.readings), 0.8 * np.eye(3), atol=1e-5)


def test_an_odd_reading_of_a_square_hardly_moves_its_ladder(ladders: SwatchSet) -> None:
    """Of three it counts a twentieth: 1 part of 41 in the colour, and 801 of 1681 of the variance
    of one are left instead of 800 of 2400."""
    once = [s.readings[0] for s in as_lab(some(ladders, "rose")).swatches]
    good, off = (
        tuple(
            Reading.from_lab(
                r.lab - [dark, 0, 0], r.light, r.recipe, swatch=r.swatch, covariance=np.eye(3)
            )
            for r in once
        )
        for dark in (0.0, 8.2)
    )
    read = SwatchSet((*good, *good, *off))
    at = LabLadders({"rose": read.ladder("rose")}, np.full(31, 0.8))
    lone = LabLadders({"rose": SwatchSet(good).ladder("rose")}, np.full(31, 0.8))
    np.testing.assert_allclose(at.goal, lone.goal - [0.2, 0.0, 0.0], atol=1e-9)
    for swatch in read.swatches:
        assert len(swatch.odd) == 1
        np.testing.assert_allclose(stated(swatch.readings), 801 / 1681 * np.eye(3), atol=1e-9)


def test_the_solution_is_one_whichever_surface_it_comes_from(ladders: SwatchSet) -> None:
    dyes = ("rose", "lemon", "leaf")
    table = as_lab(some(ladders, *dyes))
    joint = LabLadders({name: table.ladder(name) for name in dyes}, np.full(31, 0.8))
    counts = np.ones(sum(len(table.ladder(name)) for name in dyes))
    surface = Surface(0.01, 0.1)
    cold = joint.solve(surface, counts, joint.near)
    warm = joint.solve(surface, counts, joint.solve(Surface(0.0, 0.4), counts, joint.near))
    first, second = (joint._left(x, surface, counts[joint.swatch])[0] for x in (cold, warm))
    np.testing.assert_allclose(second, first, rtol=0.01)


def test_one_depth_is_refused(ladders: SwatchSet) -> None:
    table = as_lab(some(ladders, "rose", "navy"))
    kept = [r for r in table.readings if r.recipe in ({}, {"navy": 1.0})]
    with pytest.raises(FitError, match=r"navy has one depth.*alone leaves its spectrum open"):
        fit(SwatchSet(tuple(kept)))


def test_two_depths_take_the_law_that_dyes_usually_have(ladders: SwatchSet) -> None:
    table = as_lab(some(ladders, "rose"))
    kept = [
        r for r in table.readings if r.recipe is not None and r.recipe.get("rose") in (None, 1, 4)
    ]
    dyes = fit(SwatchSet(tuple(kept)))
    assert dyes.whole.law[0, 0] == pytest.approx(0.95, abs=0.15)
    assert abs(dyes.whole.law[0, 1]) < 0.05


def test_a_mixed_book_reads_each_dye_as_it_can(exact: SwatchSet) -> None:
    names = ("lemon", "scarlet", "navy")
    spectral, bare = some(exact, *names), as_lab(some(exact, *names))
    mixed = SwatchSet(
        tuple(
            b if s.recipe is not None and "navy" in s.recipe else s
            for s, b in zip(spectral.readings, bare.readings, strict=True)
        )
    )
    two, three = fit(some(exact, "lemon", "scarlet")), fit(mixed)
    both = np.array([[0.5, 0.3], [2.0, 1.0]])
    with_third = np.column_stack([both, np.zeros(2)])
    assert delta_e(two.colours(both), three.colours(with_third)).max() < 0.3
    assert three.report is not None
    assert [d.lab_alone for d in three.report.dyes] == [False, False, True]
    truth = fit(spectral)
    amounts = np.array([[0.0, 0.0, c] for c in (0.3, 0.8, 3.0)])
    miss = delta_e(truth.colours(amounts), three.colours(amounts))
    assert miss.max() < 1.0


def test_a_ladder_may_mix_spectra_and_lab(exact: SwatchSet) -> None:
    """Two depths come as CIELAB, four as spectra: under a lamp no one read, the four help."""
    spectral = some(exact, "navy", "rose", "black")
    bare = as_lab(spectral)
    no_spectrum = [{"navy": 4.0}, {"navy": 0.5}]
    mixed = SwatchSet(
        tuple(
            b if s.recipe in no_spectrum else s
            for s, b in zip(spectral.readings, bare.readings, strict=True)
        )
    )
    swatches = [s for s in spectral.swatches if s.recipe in no_spectrum]
    truth = lab(np.array([s.reflectance for s in swatches]), LED)

    def miss(dyes: DyeSet) -> float:
        amounts = np.array([dyes.amounts(s.recipe) for s in swatches])
        return float(delta_e(truth, dyes.colours(amounts, LED)).mean())

    both = fit(mixed)
    assert miss(both) < 0.5 * miss(fit(bare))
    assert both.report is not None
    assert [d.lab_alone for d in both.report.dyes] == [False, True, False]


def test_each_reading_counts_under_its_own_light(exact: SwatchSet) -> None:
    names = ("scarlet", "navy", "turquoise")
    table = some(exact, *names)
    day, print_trade = as_lab(table), as_lab(table, D50_2)
    both = SwatchSet(
        tuple(
            (a, b)[i % 2]
            for i, (a, b) in enumerate(zip(day.readings, print_trade.readings, strict=True))
        )
    )
    dyes = fit(both)
    assert dyes.report is not None
    note = next(n for n in dyes.report.warnings if "low confidence" in n)
    assert "D65/10°" in note
    assert "D50/2°" in note
    for light in (D65_10, D50_2):
        measured = np.array([lab(s.reflectance, light) for s in table.swatches if s.recipe])
        amounts = np.array([dyes.amounts(s.recipe) for s in table.swatches if s.recipe])
        assert delta_e(measured, dyes.colours(amounts, light)).mean() < 0.35
    # Read as if all were D65/10°, they are far off.
    wrong = SwatchSet(tuple(replace(r, light=D65_10) for r in both.readings))
    fitted = fit(wrong)
    measured = np.array([lab(s.reflectance, D65_10) for s in table.swatches if s.recipe])
    amounts = np.array([fitted.amounts(s.recipe) for s in table.swatches if s.recipe])
    assert delta_e(measured, fitted.colours(amounts, D65_10)).mean() > 1.0


@pytest.mark.slow
def test_what_is_open_widens_under_another_lamp_and_covers_the_error() -> None:
    """What is left open is about as far off as the true spectra are, and further under lamp A."""
    rows = {light: (spread, error) for light, spread, error in spread_and_error(0, True)}
    assert rows[A][0] > 1.1 * rows[D65_10][0]
    for spread, error in rows.values():
        assert 0.6 < spread / error < 4.0


def test_spectra_leave_less_open_than_lab(ladders: SwatchSet) -> None:
    names = ("rose", "navy", "leaf")
    spectral, bare = fit(some(ladders, *names)), fit(as_lab(some(ladders, *names)))

    def spread(dyes: DyeSet) -> float:
        curves = dyes.ladders.modes.own[..., :-2]
        shape = curves - curves.mean(axis=2, keepdims=True)
        return float(np.sqrt((shape**2).sum(axis=1).mean()))

    assert spread(spectral) < 0.3 * spread(bare)


def test_a_mislabelled_swatch_is_named(ladders: SwatchSet) -> None:
    table = as_lab(some(ladders, "rust", "rose"))
    wrong = tuple(
        replace(r, recipe=Recipe({"rust": 1.0}), swatch="wrong") if r.recipe == {"rust": 0.5} else r
        for r in table.readings
        if r.recipe != {"rust": 1.0}
    )
    report = fit(SwatchSet(wrong)).report
    assert report is not None
    rust = next(d for d in report.dyes if d.name == "rust")
    assert len(rust.warnings) == 1
    assert "wrong" in rust.warnings[0]


def test_an_uncertain_reading_counts_less(ladders: SwatchSet) -> None:
    table = as_lab(some(ladders, "scarlet"))

    def shifted(covariance: float) -> DyeSet:
        readings = tuple(
            replace(r, lab=r.lab + np.array([0.0, 4.0, 0.0]), covariance=covariance * np.eye(3))
            if r.recipe == {"scarlet": 1.0} and r.lab is not None
            else r
            for r in table.readings
        )
        return fit(SwatchSet(readings))

    amounts = np.array([[1.0]])
    usual = fit(table).colours(amounts)
    trusted, doubted = (float(delta_e(usual, shifted(v).colours(amounts))[0]) for v in (0.0, 16.0))
    assert doubted < 0.6 * trusted


def test_undyed_cloth_has_its_colour_and_rises_to_the_red() -> None:
    cloth = 0.86 - 0.2 * np.exp(-(WAVELENGTHS - 400.0) / 90.0)
    for light in (D65_10, D50_2):
        found = cloth_from_lab(lab(cloth, light), light)
        np.testing.assert_allclose(lab(found, light), lab(cloth, light), atol=1e-6)
        smooth = smoothest_reflectance(lab(cloth, light), light)[0]
        assert np.abs(found - cloth).max() < np.abs(smooth - cloth).max()
    linen = 0.8 - 0.45 * np.exp(-(WAVELENGTHS - 400.0) / 130.0)  # cream, read in daylight
    under = lab(cloth_from_lab(lab(linen, D65_10), D65_10), A)
    assert delta_e(under, lab(linen, A)) < 0.3
    red = lab(np.where(WAVELENGTHS < 580, 0.05, 0.7), D65_10)
    np.testing.assert_allclose(lab(cloth_from_lab(red, D65_10), D65_10), red, atol=0.01)


def test_of_several_readings_of_undyed_cloth_a_spectrum_comes_first() -> None:
    cloth = 0.86 - 0.2 * np.exp(-(WAVELENGTHS - 400.0) / 90.0)
    squares = [Reading(Recipe({"rust": c}), cloth - 0.2 * c) for c in (0.5, 1.0, 2.0)]
    bare = Reading.from_lab(lab(cloth, D50_2), D50_2, "undyed", swatch="V")
    read = Reading.from_spectrum(cloth, recipe="undyed", swatch="U")
    found = fit(SwatchSet((*squares, bare)))
    np.testing.assert_allclose(lab(found.cloth, D50_2), lab(cloth, D50_2), atol=1e-6)
    assert found.report is not None
    assert "falls smoothly from the blue to the red" in found.report.text(detail=True)
    np.testing.assert_array_equal(fit(SwatchSet((*squares, bare, read))).cloth, cloth)


def test_exact_swatches_keep_a_least_scatter(fitted: Callable[[int, bool], DyeSet]) -> None:
    # Nobody weighs, dyes and rinses to better than a fifth of a per cent.
    assert fitted(0, False).scatter.strength > 0.002


def clipped(reading: Reading, channel: int) -> Reading:
    """A reading whose CIELAB a picture moved 8 units towards grey, with or without saying so."""
    assert reading.lab is not None
    grey = np.array([0.0, *(-8.0 * reading.lab[1:] / np.hypot(*reading.lab[1:]))])
    return replace(
        reading, lab=reading.lab + grey, clipped=Clipped(-grey[np.newaxis]) if channel else None
    )


def test_a_clipped_square_is_a_bound(ladders: SwatchSet) -> None:
    """The deepest scarlet out of a picture's range: said to be a bound, it misleads nobody."""
    table = as_lab(some(ladders, "scarlet"))
    deep = np.array([[1.0], [2.0], [4.0]])
    usual = fit(table).colours(deep)

    def off(said: int) -> float:
        rows = tuple(
            clipped(r, said) if r.recipe in ({"scarlet": 4.0}, {"scarlet": 2.0}) else r
            for r in table.readings
        )
        return float(delta_e(usual, fit(SwatchSet(rows)).colours(deep)).mean())

    assert off(0) > 1.0
    assert off(1) < 0.5 * off(0)


def test_mixtures_in_the_table_calibrate_it(
    workshop_set: Callable[[int, bool], Any], joint: DyeSet
) -> None:
    book = workshop_set(0, True)
    mixtures = as_lab(book.mixtures)
    whole = fit(SwatchSet(as_lab(book.ladders).readings + mixtures.readings))
    assert joint.ladders is not None
    assert whole.ladders is not None
    np.testing.assert_array_equal(whole.ladders.curves, joint.ladders.curves)
    assert whole.report is not None
    assert len(whole.report.own_mixtures) == len(mixtures.swatches)
    amounts = np.array([joint.amounts(s.recipe) for s in mixtures.swatches])
    read = np.array([s.colour(D65_10) for s in mixtures.swatches])
    first, after = (delta_e(dyes.colours(amounts), read).mean() for dyes in (joint, whole))
    assert after < first
    assert whole.predict_many(amounts).likely.mean() < joint.predict_many(amounts).likely.mean()


def test_the_report_says_that_lamps_are_low_confidence(joint: DyeSet) -> None:
    assert joint.report is not None
    text = joint.report.text(detail=True)
    assert text.count("from L*a*b* alone") >= len(joint)
    assert "low confidence" in text
    assert not any(r.startswith("rough") for r in joint.report.warnings)


def test_a_reading_of_its_own_light_is_not_converted(ladders: SwatchSet) -> None:
    reading: Reading = as_lab(some(ladders, "rose"), D50_2).readings[-1]
    assert reading.lab is not None
    np.testing.assert_array_equal(reading.colour(D50_2), reading.lab)
