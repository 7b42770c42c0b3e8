"""The steps from a picture's values to colours, each on its own: squaring, tones, light, matrix."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dyemix.colour.ciede2000 import delta_e, metric
from dyemix.colour.colorimetry import D65_2, lab_from_xyz, xyz_from_lab
from dyemix.errors import DyemixError
from dyemix.photo.decode import SRGB_TO_XYZ
from dyemix.photo.layout import HEIGHT, LAYOUTS, MARK, WIDTH, layouts_of, parts, quad
from dyemix.photo.light import BEND, Tone, Witnesses, covered, fit_flat
from dyemix.photo.patches import balance, features, fit_patches, grid_of, spread_in_lab
from dyemix.photo.places import Lens, read_grid
from tests.simulated.camera import Camera, lab_d65, other_samples, patch_card

NAMES, SPECTRA = patch_card()
PATCHES = lab_d65(SPECTRA)


def seen(which: int, light: str) -> np.ndarray:
    """What a camera without noise gives of the patch card."""
    camera = Camera(which, light)
    return np.maximum(camera.render(SPECTRA) / camera.render(np.ones((1, 81))), 0.0)


# --- squaring up


@pytest.mark.parametrize("bend", [-0.1, 0.0, 0.06])
def test_a_lens_that_bends_lines_is_found_by_the_marks(bend: float) -> None:
    size = np.array([3000, 4000])
    marks = LAYOUTS[1].places["mark"].reshape(-1, 2)
    view = np.array([[12.0, 0.4, 300], [-0.3, 12.5, 350], [1e-4, 2e-4, 1.0]])
    lens = Lens(view, (size - 1) / 2, 2500.0, bend)
    seen = lens(marks) + np.random.default_rng(1).normal(0, 0.15, marks.shape)
    cells = LAYOUTS[1].places["swatch"].reshape(-1, 2)
    found = Lens.of(marks, seen, size)
    assert np.linalg.norm(found(cells) - lens(cells), axis=1).max() < 3.0  # px, a quarter mm
    assert found.back(found(cells)) == pytest.approx(cells, abs=1e-6)


def test_parts_follow_the_perspective() -> None:
    corners = np.array([[0.0, 0], [100, 0], [80, 100], [20, 100]])
    cells = parts(corners, 2, 2)
    assert cells[0, 0] == pytest.approx([0, 0])
    assert cells[3, 2] == pytest.approx([80, 100])
    # The diagonals of the outline meet where the four cells do.
    assert cells[0, 2] == pytest.approx([50, 62.5])


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda layout: str(layout.index))
def test_nothing_on_the_sheet_overlaps(layout) -> None:
    taken = np.zeros((int(HEIGHT * 10), int(WIDTH * 10)), int)
    for box in np.concatenate(list(layout.places.values())):
        (x0, y0), (x1, y1) = np.rint(10 * box[0]).astype(int), np.rint(10 * box[2]).astype(int)
        assert 0 <= x0 < x1 <= taken.shape[1]
        assert 0 <= y0 < y1 <= taken.shape[0]
        taken[y0:y1, x0:x1] += 1
    assert taken.max() == 1
    assert len(set(layout.labels)) == layout.rows * layout.columns
    assert layout.places["mark"][2, 2] == pytest.approx([WIDTH, HEIGHT])
    assert layout.places["mark"][0, 2] == pytest.approx([MARK, MARK])


def test_layouts_by_count() -> None:
    pages = {n: layouts_of(n) for n in (1, 12, 13, 24, 25, 40)}
    counts = {n: [len(page.labels) for page in each] for n, each in pages.items()}
    assert counts == {1: [12], 12: [12], 13: [24], 24: [24], 25: [20, 20], 40: [20, 20]}
    assert min(np.ptp(page.places["swatch"], axis=1).min() for page in pages[40]) >= 30.0  # mm
    assert not set(pages[40][0].labels) & set(pages[40][1].labels)
    with pytest.raises(DyemixError, match="41 cells do not fit"):
        layouts_of(41)


def test_card_grids() -> None:
    assert [grid_of(n, 1.6) for n in (24, 30, 12, 6)] == [(4, 6), (5, 6), (3, 4), (2, 3)]
    assert [grid_of(7, aspect) for aspect in (6.0, 0.2)] == [(1, 7), (7, 1)]


def test_a_grid_is_read_and_refused() -> None:
    frame = read_grid(" 2x3 0,0 300,0 300,200 0,200", grey_at="0,210 100,210 100,240 0,240")
    assert frame.labels == ("A1", "A2", "A3", "B1", "B2", "B3")
    assert frame.of("swatch")[5] == pytest.approx(quad(200, 100, 100, 100))
    assert frame.of("grey box")[0] == pytest.approx(quad(0, 210, 100, 30))
    with pytest.raises(DyemixError, match="clockwise from the top left of the upright picture"):
        read_grid("2x3 300,0 300,200 0,200 0,0")  # begun at the top right
    with pytest.raises(DyemixError, match="3 rows and 2 columns even ones"):
        read_grid("2x3 0,0 200,0 200,300 0,300")
    for text in ("0,0 1,1", "2x3 0,0 300,0", "2x3 0,0 0,200 300,200 300,0", "0x3 0,0 9,0 9,9 0,9"):
        with pytest.raises(DyemixError, match=r"grid|corners|cells"):
            read_grid(text)


# --- tones

STEPS = np.array([0.9, 0.59, 0.36, 0.19, 0.09, 0.045])


def s_curve(light: np.ndarray) -> np.ndarray:
    v = light ** (1 / 2.2)
    return (v + 0.7 * (v - 0.5) * v * (1 - v)) ** 2.2


def tones(seen: np.ndarray, known: np.ndarray, *more: tuple[np.ndarray, float, float]) -> Tone:
    """The tones by one card ``(N, 3)`` and by further things: seen, known, in error by so much."""
    seen, known = (
        np.vstack([x, *(thing[i] * np.ones((1, 3)) for thing in more)])
        for i, x in enumerate((seen, known))
    )
    count = len(seen) - len(more)
    source = np.r_[np.zeros(count, int), np.arange(1, len(more) + 1)]
    error = np.array([(0.01, 0.006, 0.02)] * count + [(0.0, 0.01, thing[2]) for thing in more])
    return Tone(Witnesses(seen, known, source, error))


KNOWN = np.repeat(STEPS[:, np.newaxis], 3, axis=1)
GAINS = np.array([0.6, 0.7, 0.5])


def test_straight_tones_are_left_alone() -> None:
    tone = tones(KNOWN * GAINS, KNOWN)
    assert tone.bends < 0.1
    assert tone.off < 1e-9
    values = np.linspace(0.03, 0.9, 20)[:, np.newaxis] * GAINS
    assert tone(values) == pytest.approx(values / GAINS, rel=0.01)


@settings(deadline=None)
@given(st.tuples(*[st.floats(0.45, 0.95)] * 3))
def test_an_s_curve_is_undone(gains: tuple[float, float, float]) -> None:
    tone = tones(s_curve(KNOWN * gains), KNOWN)
    assert tone.bends > 0.99
    ramp = np.linspace(0.05, 0.85, 60)[:, np.newaxis] * gains
    assert tone(s_curve(ramp)) == pytest.approx(ramp / gains, rel=0.06)
    values = np.repeat(np.linspace(0.003, 0.95, 300)[:, np.newaxis], 3, axis=1)
    assert np.all(np.diff(tone(values), axis=0) > 0)
    assert tone.undo(tone(values)) == pytest.approx(values, rel=1e-3)


def test_how_likely_tones_are_bent_by_hand() -> None:
    """Half of cameras bend tones, by √2 · 0.065 over 1.2 in log light, others by 0.005. Densities
    of what a card and the paper say, with their errors: of each, of each channel, and of all."""
    seen, known = np.array([[0.1] * 3, [0.4] * 3]) ** 1.1, np.array([[0.1] * 3, [0.4] * 3])
    tone = tones(seen[:1], known[:1], (seen[1:], known[1:], 0.03))
    white = np.median(seen / known)
    glare = -0.01 * white / seen[:, 0]
    noise = np.kron(np.diag([0.01**2 + 0.02**2, 0.03**2]), np.ones((3, 3)))
    noise += np.kron(np.diag([0.006**2, 0.01**2]) + 0.004**2 * np.eye(2), np.eye(3))
    density = []
    for bend in (0.065 * np.sqrt(2), 0.005):
        far = np.exp(-0.5 * (np.log(seen[1, 0] / seen[0, 0]) / 1.2) ** 2)
        alike = bend**2 * np.array([[1, far], [far, 1]]) + np.outer(glare, glare)
        prior = np.kron(alike, np.ones((3, 3))) + 9 * np.kron(np.ones((2, 2)), np.eye(3))
        off = np.log(known / seen).ravel()
        miss = off @ np.linalg.inv(prior + noise) @ off
        density.append(np.exp(-0.5 * miss) / np.sqrt(np.linalg.det(prior + noise)))
    assert tone.bends == pytest.approx(density[0] / sum(density))
    assert 0.55 < tone.bends < 0.95


def test_a_smooth_bend_is_told_from_steps_that_scatter() -> None:
    bump = 1.0 + 0.01 * np.array([1, -1, 1, -1, 1, -1])[:, np.newaxis]
    assert tones(KNOWN * bump, KNOWN).bends < 0.2
    assert tones(KNOWN**1.07, KNOWN).bends > 0.9
    assert "bends its tones" in str(tones(KNOWN**1.07, KNOWN))
    assert "proportional within 0.0 %." in str(tones(KNOWN, KNOWN))


def test_two_steps_tell_nothing_of_a_curve() -> None:
    tone = tones(KNOWN[:2], KNOWN[:2])
    assert not tone.known
    assert "no grey steps" in str(tone)


def test_the_prior_of_tones_is_what_is_said_of_it() -> None:
    """Bent by 0.065 over 1.2 in log light, 1 % of glare, any gain of a channel (e³ either way).

    Values below 0.002 are as that. White is at 1: glare takes 0.01 / v from log v, from v = 0.012.
    """
    tone = tones(KNOWN[:1], KNOWN[:1])
    a, b, dark, darker = (np.full((1, 3), v) for v in (0.5, 0.1, 0.002, 0.0005))
    bend = 0.065**2 * np.exp(-((np.log(5) / 1.2) ** 2) / 2)
    wanted = np.full((3, 3), bend + 0.02 * 0.1) + 9 * np.eye(3)
    np.testing.assert_allclose(tone._prior(a, b, BEND), wanted)
    np.testing.assert_allclose(tone._prior(darker, a, BEND), tone._prior(dark, a, BEND))
    far = 0.065**2 * np.exp(-((np.log(250) / 1.2) ** 2) / 2) + 0.02 * 0.01 / 0.012
    np.testing.assert_allclose(tone._prior(dark, a, BEND), far + 9 * np.eye(3))


def test_tones_are_surest_near_the_greys_and_the_dark_is_open_to_glare() -> None:
    tone = tones(KNOWN[3:4] * GAINS, KNOWN[3:4])
    error = [np.sqrt(tone.covariance(at * GAINS[np.newaxis])[0, 1, 1]) for at in (0.19, 0.5, 0.02)]
    assert error[0] < 0.03 < 0.06 < error[1] < error[2]
    more = tones(KNOWN * GAINS, KNOWN)
    assert np.sqrt(more.covariance(0.5 * GAINS[np.newaxis])[0, 1, 1]) < 0.03


def test_a_shadow_on_one_card_is_added_to_its_own_error() -> None:
    # Of three witnesses one lies in a shadow of 25 %: the two others agree, and are believed.
    white, other = (0.9 * GAINS, 0.9, 0.03), (0.5 * GAINS, 0.5, 0.02)
    tone = tones(0.75 * KNOWN * GAINS, KNOWN, white, other)
    assert tone(0.5 * GAINS) == pytest.approx(0.5, rel=0.05)
    # Of two nobody can say which: the error is about half the gap.
    torn = tones(0.75 * KNOWN * GAINS, KNOWN, white)
    assert 0.08 < np.sqrt(torn.covariance(0.5 * GAINS[np.newaxis])[0, 1, 1]) < 0.3


# --- light


def test_flat_field_recovers_the_fall_of_light_under_covered_spots() -> None:
    rng = np.random.default_rng(5)
    spots = rng.uniform([0, 0], [2000, 3000], (140, 2))

    def light(at: np.ndarray) -> np.ndarray:
        x, y = at[:, 0] / 2000 - 0.5, at[:, 1] / 3000 - 0.5
        fall = (1 - 0.2 * x + 0.1 * y) * (1 + 0.55 * (0.56 * x * x + y * y)) ** -2
        return 0.8 * fall[:, np.newaxis] * [1.0, 0.97, 0.9]

    values = light(spots) * rng.normal(1, 0.003, (140, 1))
    values[:20] *= rng.uniform(0.2, 0.8, (20, 1))  # cloth lies over these
    flat = fit_flat(spots, values)
    grid = np.stack(np.meshgrid(np.linspace(100, 1900, 12), np.linspace(100, 2900, 12)), -1)
    at = grid.reshape(-1, 2)
    ratio = flat.at(at) * flat.level / light(at)
    assert np.abs(ratio - 1).max() < 0.01
    assert flat.residual == pytest.approx(0.003, rel=0.5)
    assert not fit_flat(spots[:3], values[:3]).known


def test_noise_in_blue_that_hardly_counts_is_no_cloth_and_a_shadow_neither() -> None:
    """Warm white, an eighth as blue as it is red: its blue is off by 7 % here and there."""
    share, noise = np.array([1.0, 0.9, 0.24]), np.array([0.005, 0.005, 0.07])
    off = np.random.default_rng(2).normal(0.0, noise, (300, 3))
    for shadow in (0.0, -0.2):
        hidden, light = covered(off + shadow, share)
        assert hidden.mean() < 0.1
        assert np.median(light) == pytest.approx(np.exp(shadow), rel=0.02)
    for cloth in ([-0.3, 0.0, 0.0], [0.0, -0.3, 0.0], [-0.7, -0.7, -0.7]):
        assert covered(off + np.array(cloth), share)[0].mean() > 0.98
    assert covered(off, np.ones(3))[0].mean() > 0.4  # in daylight that would be a colour


# --- colour


@pytest.mark.parametrize("count", [3, 6])
@settings(deadline=None)
@given(st.floats(0.05, 2.0))
def test_colour_keeps_its_hue_when_the_exposure_changes(count, exposure) -> None:
    # Finlayson, Mackiewicz & Hurlbert 2015: root-polynomials are homogeneous of degree one.
    rgb = np.array([[0.3, 0.5, 0.1], [0.02, 0.4, 0.3]])
    assert features(exposure * rgb, count) == pytest.approx(exposure * features(rgb, count))


@pytest.mark.parametrize("count", [6, 10, 24])
def test_a_known_matrix_is_recovered(count: int) -> None:
    xyz = xyz_from_lab(PATCHES[:count], D65_2) / 100.0
    matrix = SRGB_TO_XYZ @ (np.eye(3) + 0.05 * np.array([[0, 1, -1], [1, 0, 1], [-1, 1, 0]]))
    rgb = xyz @ np.linalg.inv(matrix).T
    found = fit_patches(rgb, PATCHES[:count], NAMES[:count], SRGB_TO_XYZ)
    assert delta_e(PATCHES[:count], found.lab(rgb)).max() < 0.3
    assert found.coefficients.shape[1] == (6 if count == 24 else 3)


@pytest.mark.parametrize("which", [0, 1])
@pytest.mark.parametrize("light", ["D55", "D65", "LED-B3"])
def test_a_patch_card_beats_the_files_own_colours(which: int, light: str) -> None:
    rgb = seen(which, light)
    found = fit_patches(rgb, PATCHES, NAMES, SRGB_TO_XYZ)
    own = balance(SRGB_TO_XYZ)
    camera = Camera(which, light)
    grey = camera.render(np.ones((1, 81)))
    samples = np.maximum(camera.render(other_samples()) / grey, 0.0)
    truth = lab_d65(other_samples())
    assert found.left_out.mean() < 2.0
    assert delta_e(truth, found.lab(samples)).mean() < 2.6
    if light != "D55":  # under D55 the camera's own matrix was fitted to these very samples
        assert delta_e(truth, found.lab(samples)).mean() < delta_e(truth, own.lab(samples)).mean()


def test_slope_of_the_correction_is_its_derivative() -> None:
    rgb = seen(0, "D65")[:5] + 0.01
    found = fit_patches(seen(0, "D65"), PATCHES, NAMES, SRGB_TO_XYZ)
    step = 1e-6 * np.array([0.3, -0.5, 0.8])
    moved = (found.lab(rgb + step) - found.lab(rgb)) / 1e-6
    assert found.slope(rgb) @ [0.3, -0.5, 0.8] == pytest.approx(moved, rel=1e-3, abs=1e-3)


def test_error_in_delta_e_returns_from_lab() -> None:
    lab = np.array([[50.0, 40.0, -20.0], [80.0, -30.0, 60.0]])
    error = np.diag([1.0, 2.0, 0.5])
    covariance = spread_in_lab(lab, error)
    slope = metric(lab)
    assert slope @ covariance @ slope.transpose(0, 2, 1) == pytest.approx(
        np.broadcast_to(error, (2, 3, 3)), abs=1e-6
    )
    rng = np.random.default_rng(0)
    shift = rng.multivariate_normal(np.zeros(3), 0.01 * covariance[0], 4000)
    miss = delta_e(lab[0], lab[0] + shift)
    assert np.sqrt(np.mean(miss**2)) == pytest.approx(0.1 * np.sqrt(3.5), rel=0.05)


def test_file_colours_are_srgb() -> None:
    # IEC 61966-2-1: white of sRGB is the white of D65.
    assert balance(SRGB_TO_XYZ).lab(np.ones((1, 3)))[0] == pytest.approx([100, 0, 0], abs=0.05)
    assert lab_from_xyz(100 * SRGB_TO_XYZ.sum(axis=1), D65_2)[0] == pytest.approx(100, abs=0.01)
