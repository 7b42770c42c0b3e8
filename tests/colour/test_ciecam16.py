"""Hue and colourfulness against CIECAM16 written out here, itself held to the published example."""

from __future__ import annotations

import numpy as np
import pytest

from dyemix.colour.appearance import (
    ADAPTING,
    BACKGROUND,
    DRIFTING,
    VIEWING,
    HueSpace,
    Scale,
    appearance,
    lab_hue,
    of_hue,
    quieter,
    usual_hue,
)
from dyemix.colour.colorimetry import D65_2, D65_10, Light, xyz_from_lab
from dyemix.errors import DyemixError

#: ASTM E308, white points (as public code carries its tables).
WHITES = {
    D65_2: (95.047, 100.0, 108.883),
    D65_10: (94.811, 100.0, 107.304),
    Light("A", 10): (111.144, 100.0, 35.200),
}
COLOURS = [
    (55.0, -10.0, 13.0), (45.0, 60.0, 35.0), (80.0, 5.0, 75.0), (25.0, 10.0, -35.0),
    (60.0, -45.0, -5.0), (92.0, 0.5, 3.0), (18.0, 0.3, -0.4),
]  # fmt: skip


def ciecam16(
    xyz: tuple[float, float, float], white: tuple[float, float, float], l_a: float, y_b: float
) -> tuple[float, float, float, float]:
    """J, C, h and M of one stimulus in an average surround: the steps of CIE 248:2022, section 6.

    For stimuli within its two linear extensions, which no reflecting cloth leaves.
    """
    m16 = np.array([[0.401288, 0.650173, -0.051461],
                    [-0.250268, 1.204414, 0.045854],
                    [-0.002079, 0.048952, 0.953127]])  # fmt: skip
    f, c, n_c = 1.0, 0.69, 1.0  # average surround
    rgb_w = m16 @ np.array(white)
    d = f * (1.0 - np.exp((-l_a - 42.0) / 92.0) / 3.6)
    gain = d * white[1] / rgb_w + 1.0 - d
    k = 1.0 / (5.0 * l_a + 1.0)
    f_l = 0.2 * k**4 * 5.0 * l_a + 0.1 * (1.0 - k**4) ** 2 * (5.0 * l_a) ** (1.0 / 3.0)
    n = y_b / white[1]
    n_bb = n_cb = 0.725 * n**-0.2
    z = 1.48 + np.sqrt(n)

    def compressed(rgb: np.ndarray) -> np.ndarray:
        x = (f_l * gain * rgb / 100.0) ** 0.42
        return 400.0 * x / (x + 27.13)

    r, g, b = compressed(m16 @ np.array(xyz))
    r_w, g_w, b_w = compressed(rgb_w)
    red_green = r - 12.0 * g / 11.0 + b / 11.0
    yellow_blue = (r + g - 2.0 * b) / 9.0
    h = np.arctan2(yellow_blue, red_green)
    e_t = (np.cos(h % (2.0 * np.pi) + 2.0) + 3.8) / 4.0
    achromatic, of_white = ((2.0 * p + q + s / 20.0) * n_bb for p, q, s in
                            ((r, g, b), (r_w, g_w, b_w)))  # fmt: skip
    j = 100.0 * (achromatic / of_white) ** (c * z)
    t = 50000.0 / 13.0 * n_c * n_cb * e_t * np.hypot(red_green, yellow_blue)
    t /= r + g + 1.05 * b + 0.305
    chroma = t**0.9 * np.sqrt(j / 100.0) * (1.64 - 0.29**n) ** 0.73
    return j, chroma, np.degrees(h) % 360.0, chroma * f_l**0.25


def test_the_steps_written_out_here_give_the_published_example() -> None:
    """CIE 248:2022, section 7 (values as public code cites them from it)."""
    j, c, h, _ = ciecam16((60.70, 49.60, 10.29), (96.46, 100.0, 108.62), 40.0, 16.0)
    assert (j, c, h) == pytest.approx((70.4406, 58.6035, 57.9145), abs=1e-4)


def test_viewing_conditions_are_what_they_say() -> None:
    """1000 lx on a white give 1000/π = 318.31 cd/m²; a fifth of it is 63.66."""
    assert pytest.approx(63.662, abs=1e-3) == ADAPTING
    assert BACKGROUND == 20.0
    assert "1000 lx" in VIEWING
    assert "64 cd/m²" in VIEWING


@pytest.mark.parametrize("light", WHITES, ids=str)
@pytest.mark.parametrize("colour", COLOURS, ids=str)
def test_hue_and_colourfulness_are_those_of_ciecam16(
    colour: tuple[float, float, float], light: Light
) -> None:
    xyz = xyz_from_lab(colour, light)
    _, _, hue, colourfulness = ciecam16(tuple(xyz), WHITES[light], ADAPTING, BACKGROUND)
    (seen,), (angle,) = appearance([colour], light)
    assert seen == pytest.approx(colourfulness, abs=0.02)
    if colourfulness > 2:  # the hue of a grey is a matter of the last digits of its white
        assert angle == pytest.approx(hue, abs=0.05)


@pytest.mark.parametrize(
    ("a", "b", "degrees"), [(1, 0, 0), (0, 2, 90), (-3, 0, 180), (0, -1, 270), (1, -1, 315)]
)
def test_cielab_hue_angles(a: float, b: float, degrees: float) -> None:
    assert lab_hue([50.0, a, b]) == pytest.approx(degrees)


@pytest.mark.parametrize("degrees", [0, 100, 219, 321])
def test_cielab_hue_is_held_where_it_does_not_drift(degrees: float) -> None:
    assert usual_hue(polar(degrees)) is HueSpace.CIELAB


@pytest.mark.parametrize("degrees", [221, 270, 319])
def test_ciecam16_hue_is_held_where_cielab_hue_drifts(degrees: float) -> None:
    assert DRIFTING == (220.0, 320.0)
    assert usual_hue(polar(degrees)) is HueSpace.CIECAM16


def test_the_ends_of_that_range_belong_to_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dyemix.colour.appearance.DRIFTING", (90.0, 315.0))
    assert [usual_hue(np.array([50.0, *ab])) for ab in ((0, 2), (1, -1))] == [HueSpace.CIECAM16] * 2


def polar(degrees: float, chroma: float = 40.0, lightness: float = 45.0) -> np.ndarray:
    turn = np.deg2rad(degrees)
    return np.array([lightness, chroma * np.cos(turn), chroma * np.sin(turn)])


@pytest.mark.parametrize("hue", HueSpace)
@pytest.mark.parametrize("degrees", [30.0, 265.0])
def test_a_hue_is_held_at_the_lightness_and_chroma_asked_for(degrees: float, hue: HueSpace) -> None:
    start = polar(degrees)
    lightness, chroma = np.array([45.0, 60.0, 30.0]), np.array([40.0, 10.0, 25.0])
    held = of_hue(start, lightness, chroma, hue, D65_10)
    np.testing.assert_allclose(held[:, 0], lightness)
    np.testing.assert_allclose(np.hypot(held[:, 1], held[:, 2]), chroma, rtol=1e-9)
    np.testing.assert_allclose(held[0], start, atol=1e-6)
    angles = lab_hue(held) if hue is HueSpace.CIELAB else appearance(held, D65_10)[1]
    np.testing.assert_allclose(angles, angles[0], atol=1e-6)
    if hue is HueSpace.CIECAM16 and degrees == 265.0:  # the two part here, by degrees
        assert abs(lab_hue(held)[1] - 265.0) > 2.0


def test_a_hue_is_found_in_few_rounds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each gains about a digit; 16 looks are enough for eight."""
    looks = []
    monkeypatch.setattr(
        "dyemix.colour.appearance.appearance", lambda *x: looks.append(1) or appearance(*x)
    )
    of_hue(polar(265.0), np.array([30.0, 60.0]), np.array([10.0, 40.0]), HueSpace.CIECAM16, D65_10)
    assert len(looks) <= 16


@pytest.mark.parametrize("hue", HueSpace)
def test_a_share_is_of_the_scale_that_is_asked_for(hue: HueSpace) -> None:
    start, shares = polar(280.0), np.array([1.0, 0.5, 0.2])
    lightness = np.full(3, 45.0)
    plain = quieter(start, lightness, shares, hue, Scale.CHROMA, D65_10)
    np.testing.assert_allclose(np.hypot(plain[:, 1], plain[:, 2]), 40.0 * shares, rtol=1e-9)
    seen = quieter(start, lightness, shares, hue, Scale.COLOURFULNESS, D65_10)
    colourful = appearance(seen, D65_10)[0]
    np.testing.assert_allclose(colourful, shares * colourful[0], rtol=1e-4)
    assert colourful[0] == pytest.approx(appearance(start, D65_10)[0], rel=1e-5)
    np.testing.assert_allclose(seen[:, 0], 45.0)


def test_a_colourfulness_below_that_of_a_grey_is_refused() -> None:
    """An eye that is not wholly adapted sees a little colour in a grey of CIELAB."""
    light, start = Light("A", 10), polar(30.0)
    grey, full = appearance([[45.0, 0.0, 0.0], start], light)[0]
    assert grey > 1.0

    def left(colourfulness: float) -> np.ndarray:
        share = np.array([colourfulness / full])
        return quieter(start, start[:1], share, HueSpace.CIELAB, Scale.COLOURFULNESS, light)

    found = appearance(left(1.2 * grey), light)[0]
    assert found == pytest.approx(1.2 * grey, rel=1e-5)
    with pytest.raises(DyemixError, match="no colour of this hue"):
        left(0.9 * grey)
