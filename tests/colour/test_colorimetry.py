"""Colorimetry against ASTM E308, CIE 224:2017 and colour-science."""

from __future__ import annotations

import warnings
from dataclasses import FrozenInstanceError
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linprog

from benchmarks import make_lights
from benchmarks.textile_targets import TEXTILES, textiles, textiles_at_10_nm
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import (
    D65_2,
    D65_10,
    WAVELENGTHS,
    Light,
    hex_to_lab,
    lab,
    lab_from_xyz,
    lab_slope,
    lab_to_hex,
    screen_colour,
    screen_colours,
    screen_pixels,
    smoothest,
    smoothest_reflectance,
    weights,
    weights_from_colour_science,
    white,
    xyz_from_lab,
)
from dyemix.errors import DyemixError, TargetError

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # colour-science speaks of optional packages on import
    import colour

OBSERVERS = {2: "CIE 1931 2 Degree Standard Observer", 10: "CIE 1964 10 Degree Standard Observer"}
LABS = st.tuples(st.floats(0.0, 100.0), st.floats(-80.0, 80.0), st.floats(-80.0, 80.0))


@pytest.mark.parametrize("observer", [2, 10])
@pytest.mark.parametrize("illuminant", ["A", "C", "D50", "D55", "D65", "D75", "FL2", "FL7", "FL11"])
def test_white_points_are_those_of_astm_e308(
    illuminant: str, observer: int, check_values: dict[str, Any]
) -> None:
    # ASTM E308, tables of the perfect diffuser (as public code quotes them).
    x, z = check_values["e308_white_points"][f"{illuminant}_{observer}"]
    np.testing.assert_allclose(white(Light(illuminant, observer)), [x, 100.0, z], atol=0.01)


@pytest.mark.parametrize("observer", [2, 10])
@pytest.mark.parametrize("illuminant", make_lights.ILLUMINANTS)
def test_shipped_weights_are_those_of_colour_science(illuminant: str, observer: int) -> None:
    light = Light(illuminant, observer)
    np.testing.assert_allclose(weights(light), weights_from_colour_science(light), atol=1e-9)


def test_weights_are_read_only() -> None:
    for values in (weights(D65_10), WAVELENGTHS):
        with pytest.raises(ValueError, match="read-only"):
            values[0] = 1.0


def by_integration(spectra: np.ndarray, illuminant: str, observer: int) -> np.ndarray:
    """CIELAB ``(N, 3)`` of spectra ``(N, 401)`` by colour-science at 1 nm, 380–780 nm."""
    shape = colour.SpectralShape(380, 780, 1)
    cmfs = colour.MSDS_CMFS[OBSERVERS[observer]].copy().align(shape)
    lamp = colour.SDS_ILLUMINANTS[illuminant].copy().align(shape)
    xyz = colour.msds_to_XYZ(spectra, cmfs, lamp, method="Integration", shape=shape)
    perfect = (cmfs.values * lamp.values[:, None]).sum(axis=0)
    return np.asarray(colour.XYZ_to_Lab(xyz / 100.0, colour.XYZ_to_xy(perfect)))


@pytest.mark.parametrize(("illuminant", "limit"), [("D65", 0.15), ("A", 0.35)])
@pytest.mark.parametrize("observer", [2, 10])
def test_textiles_at_10_nm_agree_with_integration_at_1_nm(
    illuminant: str, limit: float, observer: int
) -> None:
    # The 21 measured textiles of CIE 224:2017, as colour-science carries them.
    ours = lab(textiles_at_10_nm(), Light(illuminant, observer))
    miss = delta_e(by_integration(textiles(), illuminant, observer), ours)
    if observer == 2:
        # Sample 74 is a red edge still rising at 700 nm, and the 2° observer sees more of what
        # lies beyond (0.154 under D65, 0.393 under A). E308 continues the end value and so do we:
        # nothing is invented beyond what was read. Ended the same way, it meets the limit.
        red = TEXTILES.index(74)
        ended = np.where(np.arange(380, 781) > 700, textiles()[red, 320], textiles()[red])
        miss[red] = delta_e(by_integration(ended[np.newaxis], illuminant, 2), ours[red])[0]
    assert miss.max() <= limit


@given(LABS)
def test_lab_agrees_with_colour_science(values: tuple[float, float, float]) -> None:
    for light in (D65_10, Light("A", 2)):
        stimuli = xyz_from_lab(values, light)
        theirs = colour.XYZ_to_Lab(stimuli / 100.0, colour.XYZ_to_xy(white(light)))
        np.testing.assert_allclose(theirs, values, atol=1e-6)
        np.testing.assert_allclose(lab_from_xyz(stimuli, light), values, atol=1e-9)


@given(st.lists(st.floats(0.01, 1.0), min_size=31, max_size=31))
def test_slope_of_lab_is_that_of_differences(reflectance: list[float]) -> None:
    stimuli = np.array(reflectance) @ weights(D65_10)
    step = 1e-5
    ends = stimuli + step * np.eye(3), stimuli - step * np.eye(3)
    differences = (lab_from_xyz(ends[0], D65_10) - lab_from_xyz(ends[1], D65_10)) / (2.0 * step)
    np.testing.assert_allclose(lab_slope(stimuli, D65_10), differences.T, rtol=1e-4, atol=1e-6)


@given(st.integers(0, 0xFFFFFF))
def test_hex_agrees_with_colour_science(number: int) -> None:
    code = f"#{number:06x}"
    ours = hex_to_lab(code)
    srgb = np.array([number >> 16, number >> 8 & 255, number & 255]) / 255.0
    # IEC 61966-2-1 through colour-science; it adapts nothing, sRGB being D65 already.
    theirs = colour.XYZ_to_sRGB(xyz_from_lab(ours, D65_2) / 100.0)
    np.testing.assert_allclose(theirs, srgb, atol=1.0 / 255.0)
    back = screen_colours(ours)[0]
    assert back.hex == code
    assert back.inside


def test_a_colour_beyond_srgb_says_so() -> None:
    (beyond,) = screen_colours([60.0, -90.0, 40.0])
    assert not beyond.inside
    assert beyond.hex[:3] == "#00"
    assert "beyond sRGB" in str(beyond)
    with pytest.raises(FrozenInstanceError):
        beyond.inside = True  # type: ignore[misc]
    (bright,) = screen_colours([97.0, -5.0, 95.0])  # red above 1, blue not below 0
    assert not bright.inside
    assert bright.hex[:3] == "#ff"


def test_half_a_step_beyond_srgb_counts_as_inside() -> None:
    """Greys 0.4 and 0.6 of one of 255 steps over 1 and under 0, by IEC 61966-2-1 and CIE 015."""
    above = ((1.0 + np.array([0.4, 0.6]) / 255 + 0.055) / 1.055) ** 2.4
    below = -np.array([0.4, 0.6]) / 255 / 12.92
    lightness = np.concatenate([116.0 * np.cbrt(above) - 16.0, (29 / 3) ** 3 * below])
    found = screen_colours(np.column_stack([lightness, np.zeros((4, 2))]))
    assert [each.inside for each in found] == [True, False, True, False]
    assert [each.hex for each in found] == ["#ffffff"] * 2 + ["#000000"] * 2


def test_what_a_screen_shows_of_shares_of_white() -> None:
    """IEC 61966-2-1: 1.055 × 0.5^(1/2.4) − 0.055 = 0.7354 and 12.92 × 0.002 = 0.0258."""
    shown = screen_pixels(np.array([[1.0] * 3, [0.5] * 3, [0.002] * 3, [3.0] * 3, [0.0, 0.3, 0.0]]))
    np.testing.assert_allclose(shown[:4].T, [[1, 0.7354, 0.0258, 1]] * 3, atol=1e-3)
    assert shown[4, 0] == shown[4, 2] == 0.0
    assert shown[4, 1] > 0.6


def test_codes_of_single_colours() -> None:
    """The middle code 128 is (0.50196 + 0.055)/1.055 to the 2.4, Y 0.21586, L* 53.585."""
    assert lab_to_hex([53.585, 0.0, 0.0]) == "#808080"
    for bad in ([50.0, 0.0], [[50.0, 0.0, 0.0]], [50.0, 0.0, np.nan], [50.0] * 4):
        with pytest.raises(TargetError, match="is not one colour"):
            lab_to_hex(bad)
    np.testing.assert_array_equal(hex_to_lab("#7aF"), hex_to_lab("77aaff"))
    assert hex_to_lab("#808080") == pytest.approx([53.585, 0.0, 0.0], abs=0.01)
    for bad in ("#7af0", "#12345g", "", "##7d8a6e"):
        with pytest.raises(TargetError, match="is not a hex colour"):
            hex_to_lab(bad)


def test_common_lights_come_with_the_package(monkeypatch: pytest.MonkeyPatch) -> None:
    """So that colour-science, which takes a second to import, is not asked for them."""
    monkeypatch.setattr("dyemix.colour.colorimetry.weights_from_colour_science", None)
    for illuminant in make_lights.ILLUMINANTS:
        assert weights.__wrapped__(Light(illuminant, 2)).shape == (31, 3)


def test_a_hex_code_comes_from_the_spectrum_under_d65_and_2_degrees() -> None:
    # A textile of CIE 224:2017 that the two observers see differently.
    spectrum = textiles_at_10_nm()[TEXTILES.index(79)]
    assert screen_colour(spectrum) == screen_colours(lab(spectrum, D65_2))[0]
    assert delta_e(lab(spectrum, D65_2), lab(spectrum, D65_10)) > 0.5


def test_smoothest_reflectance_has_the_colour_and_stays_within_0_and_1() -> None:
    spectra = textiles_at_10_nm()
    for light in (D65_2, D65_10, Light("A", 10)):
        wanted = lab(spectra, light)
        made = smoothest_reflectance(wanted, light)
        np.testing.assert_allclose(lab(made, light), wanted, atol=0.01)
        assert made.min() > 0.0
        assert made.max() < 1.0


def test_smoothest_reflectance_is_smoother_than_what_it_stands_for() -> None:
    spectra = textiles_at_10_nm()

    def roughness(r: np.ndarray) -> np.ndarray:
        r = np.clip(r, 1e-4, 1.0 - 1e-4)
        return np.square(np.diff(np.log(r / (1.0 - r)), axis=1)).sum(axis=1)

    made = smoothest_reflectance(lab(spectra, D65_10), D65_10)
    assert np.all(roughness(made) <= roughness(spectra) + 1e-6)


def test_a_colour_out_of_reach_leaves_its_neighbours_alone() -> None:
    """Worked out together or alone, a spectrum is the same."""
    wanted = np.array([[56.0, -8.0, 12.0], [50.0, 150.0, 150.0], [-5.0, 10.0, 10.0], [30.0, 2, 3]])
    together, reached = smoothest(wanted, D65_10)
    assert reached.tolist() == [True, False, False, True]
    for i in (0, 3):
        np.testing.assert_allclose(together[i], smoothest(wanted[i], D65_10)[0][0], atol=1e-9)


def test_the_smoothest_reflectance_takes_few_steps(monkeypatch: pytest.MonkeyPatch) -> None:
    """Newton's method doubles the digits with each: of 21 textiles none takes more than 11."""
    solve, taken = np.linalg.solve, []
    monkeypatch.setattr(np.linalg, "solve", lambda *x: taken.append(1) or solve(*x))
    for colour in lab(textiles_at_10_nm(), D65_10):
        taken.clear()
        smoothest_reflectance(colour, D65_10)
        assert len(taken) <= 11


@pytest.mark.parametrize(
    ("light", "lightness", "b"),
    [
        (D65_10, 30.0, 0.0),
        (D65_10, 50.0, 40.0),
        (D65_10, 80.0, -10.0),
        (Light("FL11", 10), 17.0, -60.5),
        (Light("FL11", 10), 22.0, -42.0),
    ],
    ids=str,
)
def test_what_a_reflectance_can_reach_is_what_linear_programming_says(
    light: Light, lightness: float, b: float
) -> None:
    """At one L* and b*, a* tells X alone, which is linear in R: its most is a linear programme."""
    w = weights(light)
    _, y, z = xyz_from_lab([lightness, 0.0, b], light)
    best = linprog(-w[:, 0], A_eq=w[:, 1:].T, b_eq=[y, z], bounds=(0.0, 1.0))
    most = lab_from_xyz([-best.fun, y, z], light)[1]
    wanted = [[lightness, a, b] for a in (0.9 * most, 0.97 * most, most + 0.05)]
    assert smoothest(wanted, light)[1].tolist() == [True, True, False]


def test_a_grey_is_flat() -> None:
    (made,) = smoothest_reflectance([50.0, 0.0, 0.0], D65_10)
    assert np.ptp(made) < 1e-6


@pytest.mark.parametrize("impossible", [(50.0, 150.0, 0.0), (95.0, 0.0, -60.0), (5.0, 60.0, 40.0)])
def test_a_colour_that_no_cloth_can_have_is_refused(impossible: tuple[float, ...]) -> None:
    with pytest.raises(TargetError, match="no cloth can have"):
        smoothest_reflectance(impossible, D65_10)


@pytest.mark.parametrize(
    ("text", "light"),
    [
        ("D65/10", D65_10),
        ("d65/2°", D65_2),
        ("A 2", Light("A", 2)),
        ("D50", Light("D50", 10)),
        ("TL84/10", Light("FL11", 10)),
    ],
)
def test_lights_are_read_as_people_write_them(text: str, light: Light) -> None:
    assert Light.parse(text) == light


@pytest.mark.parametrize("text", ["D65/5", "moon", "", "10"])
def test_a_light_nobody_has_tables_for_is_refused(text: str) -> None:
    with pytest.raises(DyemixError):
        Light.parse(text)


def test_the_grid_is_400_to_700_nm_at_10_nm() -> None:
    np.testing.assert_array_equal(WAVELENGTHS, np.arange(400, 701, 10))
