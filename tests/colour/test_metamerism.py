"""What another lamp does: nothing to itself, as the standard's own steps say, and never made up."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
import pytest

from dyemix.colour.appearance import LAMPS, inconstancy, metamerism
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_2, D65_10, WAVELENGTHS, Light, lab, weights
from dyemix.dataset.swatches import Reading
from dyemix.dataset.target import Target
from dyemix.matching.match import match
from dyemix.model.dyes import DyeSet

OBSERVERS = {2: "CIE 1931 2 Degree Standard Observer", 10: "CIE 1964 10 Degree Standard Observer"}


def smooth(seed: int, count: int = 6) -> np.ndarray:
    """Reflectances of no dye in particular, 0.05 to 0.85."""
    rng = np.random.default_rng(seed)
    u = (WAVELENGTHS - 400.0) / 300.0
    waves = [np.cos(np.pi * k * u) * rng.normal(0, 1.0 / (k + 1), (count, 1)) for k in range(5)]
    return 0.05 + 0.8 / (1.0 + np.exp(-np.sum(waves, axis=0)))


def black(light: Light) -> np.ndarray:
    """A metameric black: a change of spectrum that the light does not show (Wyszecki 1953)."""
    w = weights(light)
    bump = np.sin((WAVELENGTHS - 400.0) / 18.0)
    left = bump - w @ np.linalg.lstsq(w, bump, rcond=None)[0]
    return np.asarray(0.04 * left / np.abs(left).max())


@cache
def slow_tables(light: Light) -> tuple[Any, Any, Any]:
    """Observer and lamp of colour-science at the interval at which CIE publishes the lamp."""
    import colour

    step = 1 if light.illuminant in ("A", "D65") else 5
    shape = colour.SpectralShape(360, 780, step)
    observer = colour.MSDS_CMFS[OBSERVERS[light.observer]].copy().align(shape)
    return shape, observer, colour.SDS_ILLUMINANTS[light.illuminant].copy().align(shape)


def slow_xyz(spectrum: np.ndarray, light: Light) -> np.ndarray:
    """XYZ by colour-science, one spectrum at a time, summed as a distribution."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

        shape, observer, lamp = slow_tables(light)
        sd = colour.SpectralDistribution(dict(zip(WAVELENGTHS, spectrum, strict=True)))
        sd = sd.interpolate(
            colour.SpectralShape(400, 700, shape.interval), colour.SpragueInterpolator
        ).extrapolate(shape)
        return np.asarray(colour.sd_to_XYZ(sd, observer, lamp, method="Integration"))


def slow_white(light: Light) -> np.ndarray:
    return slow_xyz(np.ones(len(WAVELENGTHS)), light)


def slow_lab(xyz: np.ndarray, white: np.ndarray) -> np.ndarray:
    """CIE 015 eqs. 8.3 to 8.5, written out."""
    x, y, z = (
        t ** (1 / 3) if t > (24 / 116) ** 3 else (841 / 108) * t + 16 / 116 for t in xyz / white
    )
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


@pytest.mark.parametrize("lamp", LAMPS)
def test_a_spectrum_is_no_metamer_of_itself(lamp: str) -> None:
    for spectrum in smooth(0):
        assert metamerism(spectrum, spectrum[np.newaxis], D65_10, Light(lamp, 10)) < 1e-9


@pytest.mark.parametrize("light", [D65_10, D65_2], ids=str)
@pytest.mark.parametrize("lamp", LAMPS)
def test_the_index_against_the_steps_of_the_standard(light: Light, lamp: str) -> None:
    other = Light(lamp, light.observer)
    target, *samples = smooth(1)
    index = metamerism(target, np.array(samples), light, other)
    for sample, found in zip(samples, index, strict=True):
        corrected = slow_xyz(sample, other) * slow_xyz(target, light) / slow_xyz(sample, light)
        white = slow_white(other)
        wanted = delta_e(slow_lab(slow_xyz(target, other), white), slow_lab(corrected, white))
        assert found == pytest.approx(float(wanted), abs=2e-3)


def test_a_metameric_black_shows_under_the_other_lamp_only() -> None:
    target = smooth(2)[0]
    sample = target + black(D65_10)
    assert float(delta_e(lab(target, D65_10), lab(sample, D65_10))) < 1e-6
    for lamp in LAMPS:
        other = Light(lamp, 10)
        index = metamerism(target, sample[np.newaxis], D65_10, other)[0]
        # A perfect match under the first light needs no correction: the index is plain ΔE2000.
        assert index == pytest.approx(
            float(delta_e(lab(target, other), lab(sample, other))), rel=1e-6
        )
        assert index > 0.3


def test_mismatch_under_the_first_light_is_no_metamerism() -> None:
    # The same spectrum a tenth brighter differs under every lamp, and is corrected away.
    target = 0.8 * smooth(3)[0]
    assert metamerism(target, 1.1 * target[np.newaxis], D65_10, Light("A", 10))[0] < 1e-9


def test_a_spectrum_without_colour_is_constant() -> None:
    for level in (0.05, 0.4, 0.9):
        flat = np.full((1, len(WAVELENGTHS)), level)
        for lamp in LAMPS:
            assert inconstancy(flat, D65_10, Light(lamp, 10))[0] < 1e-6
    assert np.all(inconstancy(smooth(4), D65_10, D65_10) < 1e-9)


@pytest.mark.parametrize("lamp", LAMPS)
def test_inconstancy_against_cat02_of_colour_science(lamp: str) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    other = Light(lamp, 10)
    spectra = smooth(5)
    for spectrum, found in zip(spectra, inconstancy(spectra, D65_10, other), strict=True):
        adapted = colour.adaptation.chromatic_adaptation_VonKries(
            slow_xyz(spectrum, other), slow_white(other), slow_white(D65_10), transform="CAT02"
        )
        here = slow_lab(slow_xyz(spectrum, D65_10), slow_white(D65_10))
        wanted = float(delta_e(here, slow_lab(adapted, slow_white(D65_10))))
        assert found == pytest.approx(wanted, abs=2e-3)


def test_lamps_of_a_match_with_a_spectrum_and_without(
    fitted: Callable[[int, bool], DyeSet],
) -> None:
    dyes = fitted(0, True)
    made = dyes.predict("marigold 0.5 + navy 0.3 + scarlet 0.2")
    measured = match(dyes, made.as_target(), rank_by="paper")
    bare = match(dyes, Target(made.lab, D65_10))
    rough = match(
        dyes,
        Target.of(Reading(None, made.reflectance, kind="Lab", lab=made.lab.copy(), light=D65_10)),
    )
    for one in measured:
        assert [s.lamp for s in one.lamps] == ["A/10°", "LED-B3/10°", "FL11/10°"]
        assert {s.index for s in one.lamps} == {"metamerism"}
        for shift, lamp in zip(one.lamps, LAMPS, strict=True):
            wanted = metamerism(
                made.reflectance, one.prediction.reflectance[np.newaxis], D65_10, Light(lamp, 10)
            )
            assert shift.delta_e == pytest.approx(float(wanted[0]), abs=1e-6)
    assert measured[0].lamps[0].delta_e < 0.1  # its own recipe
    # A target known by its colour alone gets no figure of metamerism, made-up spectrum or not.
    for found in (bare, rough):
        for one in found:
            assert [s.index for s in one.lamps] == ["inconstancy"] * 3
            for shift, lamp in zip(one.lamps, LAMPS, strict=True):
                spectrum, light = one.prediction.reflectance[np.newaxis], one.prediction.light
                own = inconstancy(spectrum, light, Light(lamp, light.observer))
                assert shift.delta_e == pytest.approx(float(own[0]), abs=1e-6)
        assert "metamerism" not in found.text(detail=True)
        assert "colour inconstancy of the recipe" in found.text(detail=True)
    assert "special metamerism index (CIE 015)" in measured.text(detail=True)


def test_the_lamp_of_the_match_itself_is_left_out(fitted: Callable[[int, bool], DyeSet]) -> None:
    found = match(fitted(0, True), "55 -10 13 A/10")
    assert [s.lamp for s in found[0].lamps] == ["LED-B3/10°", "FL11/10°"]
