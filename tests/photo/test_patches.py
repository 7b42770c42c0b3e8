"""The patch card and the camera's matrix, without a photograph: places, checks, stated errors."""

from __future__ import annotations

from dataclasses import FrozenInstanceError
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from dyemix.colour.ciede2000 import delta_e, delta_e_residual
from dyemix.colour.colorimetry import D65_2, lab_from_xyz, xyz_from_lab
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.errors import InputError
from dyemix.photo import patches
from dyemix.photo.decode import SRGB_TO_XYZ
from dyemix.photo.layout import CARD_BOX, LAYOUTS, parts, quad
from dyemix.photo.patches import CameraMatrix, Patches, balance, check_patches, fit_patches
from dyemix.photo.places import Frame
from tests.photo.drawn import Nothing
from tests.simulated.camera import lab_d65, patch_card
from tests.simulated.camera.scenes import write_reference

NAMES, SPECTRA = patch_card()
LAB = lab_d65(SPECTRA)
RGB = xyz_from_lab(LAB, D65_2) / 100.0 @ np.linalg.inv(SRGB_TO_XYZ).T
PHOTO: Any = Nothing()
MIDDLE = np.array([CARD_BOX[0] + CARD_BOX[2] / 2, CARD_BOX[1] + CARD_BOX[3] / 2])
SIZE = np.array(CARD_BOX[2:])


def lying(rgb: np.ndarray, off: tuple[float, float], scale: float, turn: float) -> Any:
    """A `raster` of white paper on which a card of 4 × 6 patches lies so, in mm and radians."""

    def raster(photo: Any, at: np.ndarray, size: np.ndarray) -> tuple[np.ndarray, None]:
        y, x = np.indices(size[::-1]) + 0.5
        place = at[0] + np.stack([x, y], axis=-1) / size * (at[2] - at[0]) - MIDDLE - off
        cos, sin = np.cos(turn), np.sin(turn)
        share = place @ np.array([[cos, -sin], [sin, cos]]) / scale / SIZE + 0.5
        column, row = np.floor(share * [6, 4]).astype(int).reshape(-1, 2).T
        on = (column >= 0) & (column < 6) & (row >= 0) & (row < 4)
        light = np.where(on[:, np.newaxis], rgb[(row * 6 + column) * on], 0.9)
        return light.reshape(*x.shape, 3).astype(np.float32), None

    return raster


def places(monkeypatch: pytest.MonkeyPatch, *how: Any) -> np.ndarray:
    """Where the patches of a card that lies so are found, on a photo page."""
    monkeypatch.setattr(patches, "raster", lying(*how))
    frame = Frame((), {"card box": quad(*CARD_BOX)[np.newaxis]}, LAYOUTS[1])
    return patches.with_cards(PHOTO, frame, 0, LAB).of("patch")


NOMINAL = parts(quad(*CARD_BOX), 4, 6)


def test_a_card_that_fills_its_box_is_left_there(monkeypatch: pytest.MonkeyPatch) -> None:
    gains = np.array([0.5, 0.6, 0.4])
    np.testing.assert_allclose(places(monkeypatch, RGB * gains, (0, 0), 1.0, 0.0), NOMINAL)
    np.testing.assert_allclose(places(monkeypatch, RGB * gains, (0.5, 0.5), 1.0, 0.0), NOMINAL)
    # Turned round, or another card: not searched for, so that it is refused afterwards.
    np.testing.assert_allclose(places(monkeypatch, RGB[::-1], (0, 0), 1.0, 0.0), NOMINAL)


@pytest.mark.parametrize(
    ("off", "scale", "turn"), [((6.0, -4.0), 0.8, 0.04), ((-9.0, 5.0), 0.7, -0.04)]
)
def test_a_card_that_lies_askew_is_found(
    monkeypatch: pytest.MonkeyPatch, off: tuple[float, float], scale: float, turn: float
) -> None:
    found = places(monkeypatch, RGB * 0.5, off, scale, turn)
    cos, sin = np.cos(turn), np.sin(turn)
    true = scale * (NOMINAL - MIDDLE) @ np.array([[cos, sin], [-sin, cos]]) + MIDDLE + off
    assert np.abs(found.mean(axis=1) - true.mean(axis=1)).max() < 3.0
    # mm: the middle 0.4 that is read then lies within its patch, of 10.5 mm or more.


def test_cards_by_their_corners_alone_are_divided_evenly() -> None:
    boxes = {"card box": quad(0, 0, 60, 40)[np.newaxis], "grey box": quad(0, 50, 30, 9)[np.newaxis]}
    found = patches.with_cards(PHOTO, Frame((), boxes), 3, LAB)
    np.testing.assert_allclose(found.of("patch"), parts(quad(0, 0, 60, 40), 4, 6))
    np.testing.assert_allclose(found.of("grey"), parts(quad(0, 50, 30, 9), 1, 3))
    standing = patches.with_cards(
        PHOTO, Frame((), {"card box": quad(0, 0, 20, 50)[np.newaxis]}), 0, LAB
    )
    np.testing.assert_allclose(standing.of("patch"), parts(quad(0, 0, 20, 50), 8, 3))
    nothing = patches.with_cards(PHOTO, Frame((), boxes), 0, LAB[:0])
    assert len(nothing.of("grey")) == len(nothing.of("patch")) == 0


def test_exposure_balance_and_contrast_are_allowed_for() -> None:
    some = RGB.min(axis=1) > 0.002  # what sRGB holds
    light = (RGB[some] * [0.5, 0.6, 0.4]) ** (1 / 0.85)
    check_patches(PHOTO, light, LAB[some])
    assert patches._unlike(light, LAB[some], SRGB_TO_XYZ) == pytest.approx(0.0, abs=1e-3)
    other = LAB[some].copy()
    other[3, 0] += 10.0  # 10 ΔE*ab of one patch, which moves no median far
    assert patches._unlike(RGB[some], other, SRGB_TO_XYZ) == pytest.approx(
        10.0 / len(other), rel=0.4
    )


def test_another_card_is_refused_and_a_turned_one_named() -> None:
    with pytest.raises(InputError, match=r"by [34]\d ΔE\*ab on average\): it lies upside down"):
        check_patches(PHOTO, RGB[::-1], LAB)
    with pytest.raises(InputError, match="first patch top left, or give the table"):
        check_patches(PHOTO, np.roll(RGB, 5, axis=0), LAB)


@pytest.mark.parametrize(("miss", "fits"), [(21.9, True), (22.1, False)])
def test_a_card_is_another_one_from_22_on(
    monkeypatch: pytest.MonkeyPatch, miss: float, fits: bool
) -> None:
    """ΔE*ab on average; it lies upside down where the other way round is below 0.6 of that."""
    for share, words in ((0.59, "it lies upside down"), (0.61, "lay it in its place")):

        def unlike(_: Any, lab: np.ndarray, __: Any, share: float = share) -> float:
            return miss * (1.0 if lab is LAB else share)

        monkeypatch.setattr(patches, "_unlike", unlike)
        if fits:
            check_patches(PHOTO, RGB, LAB)
            continue
        with pytest.raises(InputError, match=words):
            check_patches(PHOTO, RGB, LAB)


def found_at(monkeypatch: pytest.MonkeyPatch, first: float, gained: float) -> tuple[Any, Any]:
    """Where patches are found that look so unlike at first, and `gained` times that askew; and the
    bounds of the search, None where nothing was searched for."""
    searched: list[Any] = []

    def search(miss: Any, bounds: Any, **_: Any) -> Any:
        searched.append(np.array(bounds))
        assert miss(np.array([0.0, 0.0, 1.0, 1.0, 0.0])) == first
        return SimpleNamespace(x=np.array([5.0, -3.0, 0.8, 0.9, 0.05]), fun=gained * first)

    monkeypatch.setattr(patches, "_unlike", lambda *_: first)
    monkeypatch.setattr("scipy.optimize.differential_evolution", search)
    at = places(monkeypatch, RGB, (0, 0), 1.0, 0.0)
    return at, searched[0] if searched else None


def test_a_card_is_searched_for_where_patches_look_unlike_by_12(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """And it is moved where it then looks half as unlike. It may be half as large as its box or a
    twentieth larger, a quarter of it and 3 mm aside, and turned by 0.06."""
    at, bounds = found_at(monkeypatch, 11.9, 0.1)
    assert bounds is None
    np.testing.assert_allclose(at, NOMINAL)
    at, bounds = found_at(monkeypatch, 12.1, 0.51)
    np.testing.assert_allclose(at, NOMINAL)
    np.testing.assert_allclose(
        bounds, [[-27, 27], [-18, 18], [0.5, 1.05], [0.5, 1.05], [-0.06, 0.06]]
    )
    # Made smaller in its own directions, turned about its middle as x goes to y, then moved.
    x, y = np.moveaxis((NOMINAL - MIDDLE) * [0.8, 0.9], -1, 0)
    turned = (x + 1j * y) * np.exp(0.05j) + 5.0 - 3.0j
    at, _ = found_at(monkeypatch, 12.1, 0.49)
    np.testing.assert_allclose(at - MIDDLE, np.stack([turned.real, turned.imag], axis=-1))


def test_patches_are_looked_at_in_their_middles(monkeypatch: pytest.MonkeyPatch) -> None:
    """Four pixels a mm of a box of 96 × 60 mm and 3 mm around it; 0.4 of a patch of 16 × 15 mm."""
    import cv2

    seen: list[Any] = []
    card = lying(RGB, (0, 0), 1.0, 0.0)
    real = cv2.blur
    monkeypatch.setattr(cv2, "blur", lambda light, size: seen.append(size) or real(light, size))
    monkeypatch.setattr(
        patches, "raster", lambda *how, size: seen.append((how[1], size)) or card(*how, size)
    )
    frame = Frame((), {"card box": quad(*CARD_BOX)[np.newaxis]}, LAYOUTS[1])
    patches.with_cards(PHOTO, frame, 0, LAB)
    (at, size), middles = seen
    left, top, width, height = CARD_BOX
    np.testing.assert_allclose(at, quad(left - 3, top - 3, width + 6, height + 6))
    assert tuple(size) == (408, 264)
    assert middles == [25, 24]


@pytest.mark.parametrize(
    ("count", "aspect", "grid"),
    [(24, 1.6, (4, 6)), (24, 0.4, (8, 3)), (6, 1.5, (2, 3)), (7, 1.2, (1, 7)), (7, 0.8, (7, 1)),
     (16, 1.0, (4, 4)), (1, 3.0, (1, 1))],
)  # fmt: skip
def test_a_card_is_divided_as_its_box_is_shaped(
    count: int, aspect: float, grid: tuple[int, int]
) -> None:
    assert patches.grid_of(count, aspect) == grid


@pytest.mark.parametrize("power", [1.0, 0.85, 0.7])
def test_contrasts_of_cameras_are_allowed_for(power: float) -> None:
    """Written out for one contrast: a gain a channel, the median of what is wanting."""
    some = RGB.min(axis=1) > 0.002
    light = (RGB[some] * [0.5, 0.6, 0.4]) ** (1 / power)
    assert patches._unlike(light, LAB[some], SRGB_TO_XYZ) == pytest.approx(0.0, abs=1e-3)
    light[2] *= 1.5
    log, known = power * np.log(light), np.log(RGB[some])
    seen = np.exp(log + np.median(known - log, axis=0)) @ SRGB_TO_XYZ.T
    apart = np.linalg.norm(lab_from_xyz(100.0 * seen, D65_2) - LAB[some], axis=1).mean()
    assert patches._unlike(light, LAB[some], SRGB_TO_XYZ) == pytest.approx(apart, rel=1e-3)


def test_light_that_is_not_there_counts_as_a_hundred_thousandth() -> None:
    """And what a card should reflect beyond what the file holds as a thousandth."""
    lab, linear = LAB[:7].copy(), np.maximum(RGB[:7], 1e-3)
    light = linear.copy()
    light[0] = 0.0
    wanted = linear.copy()
    wanted[0] = 1e-5
    assert patches._unlike(light, lab, SRGB_TO_XYZ) == pytest.approx(
        patches._unlike(wanted, lab, SRGB_TO_XYZ)
    )
    vivid = np.array([[50.0, -90.0, 20.0]] * 7)  # red below nothing in sRGB
    same = np.tile([0.001, 0.3, 0.15], (7, 1))
    seen = np.maximum(xyz_from_lab(vivid, D65_2)[:1] / 100 @ np.linalg.inv(SRGB_TO_XYZ).T, 1e-3)
    apart = np.linalg.norm(lab_from_xyz(100 * seen @ SRGB_TO_XYZ.T, D65_2) - vivid[0])
    assert patches._unlike(same, vivid, SRGB_TO_XYZ) == pytest.approx(apart, rel=1e-6)


def test_roots_of_products_by_hand() -> None:
    """√(0.25 · 0.64) = 0.4, √(0.25 · 0.04) = 0.1, √(0.64 · 0.04) = 0.16; none below nothing."""
    rgb = np.array([[0.25, 0.64, 0.04], [-0.1, 0.64, 0.04]])
    np.testing.assert_allclose(
        patches.features(rgb, 6),
        [[0.25, 0.64, 0.04, 0.4, 0.1, 0.16], [-0.1, 0.64, 0.04, 0.0, 0.0, 0.16]],
    )
    assert patches.features(rgb, 3) is rgb


# --- stated errors


def test_usual_errors_stand_in_the_table_and_between_its_rows_on_straight_lines_of_logs() -> None:
    """Beyond its ends as at them; halfway between two rows their geometric mean. Of that of a hue,
    C* / (C* + 4) counts, from 315° on to 0° as well.
    """
    rows = np.loadtxt(str(patches._USUAL), dtype=str, delimiter=",", skiprows=1)
    lab = np.array([[50.0, 12.0, 16.0], [50.0, 20.0, 0.0], [50.0, 0.0, -30.0], [57.5, 0.0, 0.0],
                    [1.0, 90.0, 0.0], [50.0, *(20.0 * np.array([0.92388, -0.38268]))]])  # fmt: skip
    part = np.degrees(np.arctan2(16.0, 12.0)) / 45.0 - 1.0
    for of in ("card", *patches.LIT_BY, "untold"):
        table = {tuple(x[1:4]): x[4:].astype(float) for x in rows if x[0] == of}
        plane = {(int(x[0]), int(x[1])): row for x, row in table.items() if not x[2]}
        turned = {int(x[2]): row for x, row in table.items() if x[2]}
        wanted = [
            plane[50, 20] * (turned[45] ** (1 - part) * turned[90] ** part) ** (20 / 24),
            plane[50, 20] * turned[0] ** (20 / 24),
            np.sqrt(plane[50, 20] * plane[50, 40]) * turned[270] ** (30 / 34),
            np.sqrt(plane[50, 0] * plane[65, 0]), plane[20, 70] * turned[0] ** (90 / 94),
            plane[50, 20] * np.sqrt(turned[315] * turned[0]) ** (20 / 24),
        ]  # fmt: skip
        np.testing.assert_allclose(patches.usual(lab, of), wanted, rtol=1e-4)


def test_errors_of_a_camera_balanced_on_grey_by_hand() -> None:
    """Those that are usual in the light, and independent of them 0, 0.85, 0.95 a unit of cast;
    and where tones are bent 0.02, 0.11, 0.03 of the chroma as ΔE2000 counts it, 30 / (1 + 1.35).
    """
    lab, cast = np.array([[50.0, 18.0, 24.0], [30.0, 0.0, 0.0]]), np.array([0.5, 0.0])
    light, bends = np.array([0.0, 0.7225, 0.9025]), np.array([0.0004, 0.0121, 0.0009])
    for lit_by, of in (("", "untold"), *((word, word) for word in patches.LIT_BY)):
        matrix = balance(SRGB_TO_XYZ, bent=0.4, lit_by=lit_by)
        rgb = xyz_from_lab(lab, D65_2) / 100.0 @ np.linalg.inv(matrix.coefficients).T
        wanted = [np.diag(own**2) for own in patches.usual(lab, of)]
        wanted[0] += np.diag(0.25 * light + 0.4 * bends * (30 / 2.35) ** 2)
        np.testing.assert_allclose(matrix.stated(rgb, cast), wanted, atol=1e-9)
    card = CameraMatrix(SRGB_TO_XYZ, "card", 1.5)
    own = patches.usual(card.lab(RGB[:1]), "card")[0]
    stated = card.stated(RGB[:1], np.array([0.5]))[0]
    np.testing.assert_allclose(stated, np.diag(2.25 * own**2 + 0.25 * light))


def test_a_light_that_is_not_told_is_taken_as_it_shows() -> None:
    rgb = np.array([[0.5, 0.5, 0.5], [0.6, 0.2, 0.1]])
    told = {light: balance(SRGB_TO_XYZ, lit_by=light).lab(rgb) for light in ("", *patches.LIT_BY)}
    np.testing.assert_allclose(told[""], told["daylight"])
    np.testing.assert_allclose(told["halogen"], told["warm"])
    apart = [delta_e(told["daylight"], told[light])[1] for light in ("white", "warm")]
    assert 0.5 < apart[0] < apart[1]
    # In a camera set to daylight that shows a lamp as red as warm ones are, nothing is open.
    shown = np.exp([0.9, 0.0, -0.9])
    same = [balance(SRGB_TO_XYZ, shown, lit_by=light).coefficients for light in ("", "warm")]
    np.testing.assert_allclose(*same)


def test_a_camera_set_to_another_light_is_balanced_where_its_sensor_counts() -> None:
    """White stays white, in any primaries; a sensor that is the typical one is made good whole."""
    sensor = np.array([[0.54, 0.37, 0.09], [0.11, 0.72, 0.17], [0.05, 0.24, 0.71]])
    white, wide = np.array([1.3, 1.0, 1.3]), SRGB_TO_XYZ @ np.diag([0.9, 1.0, 1.1])
    for primaries in (SRGB_TO_XYZ, wide):
        counted = sensor @ np.linalg.inv(SRGB_TO_XYZ) @ primaries
        gains = counted @ white / counted.sum(axis=1)
        seen = RGB @ counted.T * gains @ np.linalg.inv(counted).T
        found = balance(primaries, white).lab(seen / white)
        np.testing.assert_allclose(found, lab_from_xyz(100 * RGB @ primaries.T, D65_2), atol=1e-6)
    # A lamp shows cloth otherwise, and white as white; so does one that is told of only.
    lamp = balance(SRGB_TO_XYZ, np.array([1.6, 1.0, 0.5]))
    for matrix in (lamp, balance(SRGB_TO_XYZ, lit_by="warm")):
        assert matrix.lab(np.ones((1, 3)))[0] == pytest.approx([100, 0, 0], abs=0.05)


def test_what_a_redder_lamp_shows_otherwise_is_added(monkeypatch: pytest.MonkeyPatch) -> None:
    """A unit of ln(red ÷ blue): by ln 2 where white counts twice as much of red as of blue; 0.4 at
    least in white lamps and 1.7 in warm ones."""
    otherwise = np.array([[-0.2, 0.1, 0.1], [0.0, 0.0, 0.0], [0.3, -0.1, -0.2]])
    monkeypatch.setattr(patches, "_SENSOR", np.eye(3))
    monkeypatch.setattr(patches, "_LAMP", otherwise)
    found = balance(SRGB_TO_XYZ, np.array([2.0, 1.5, 1.0])).coefficients
    np.testing.assert_allclose(found, SRGB_TO_XYZ @ (np.eye(3) + np.log(2) * otherwise))
    for lit_by, least in (("white", 0.4), ("warm", 1.7)):
        found = balance(SRGB_TO_XYZ, lit_by=lit_by).coefficients
        np.testing.assert_allclose(found, SRGB_TO_XYZ @ (np.eye(3) + least * otherwise))


def test_a_card_pulls_the_files_matrix_by_what_an_eye_sees_of_its_patches() -> None:
    """(JᵀJ + 30)(M − own) = JᵀJ (true − own), with J what ΔE2000 changes by a change of the matrix,
    here by differences, a patch of luminance Y weighing Y / (Y + 0.03)."""
    rgb, lab = RGB[:9], LAB[:9]
    own = SRGB_TO_XYZ * (1.0 + 1e-3 * np.random.default_rng(1).standard_normal((3, 3)))
    columns = []
    for step in 1e-5 * np.eye(9).reshape(9, 3, 3):
        ends = [lab_from_xyz(100.0 * rgb @ (SRGB_TO_XYZ + x).T, D65_2) for x in (step, -step)]
        parts_of = [delta_e_residual(lab, end, slope=False)[0] for end in ends]
        columns.append((parts_of[0] - parts_of[1]) / 2e-5)
    luminance = (rgb @ SRGB_TO_XYZ.T)[:, 1]
    j = np.stack(columns, axis=2) * (luminance / (luminance + 0.03))[:, np.newaxis, np.newaxis]
    square = np.einsum("nip,niq->pq", j, j)
    wanted = np.linalg.solve(square + 30 * np.eye(9), square @ (SRGB_TO_XYZ - own).ravel())
    found = fit_patches(rgb, lab, NAMES[:9], own).coefficients
    np.testing.assert_allclose((found - own).ravel(), wanted, rtol=0.002, atol=1e-7)


def test_roots_need_twenty_patches() -> None:
    for count, columns in ((19, 3), (20, 6)):
        found = fit_patches(RGB[:count], LAB[:count], NAMES[:count], SRGB_TO_XYZ)
        assert found.coefficients.shape == (3, columns)


@pytest.mark.parametrize("count", [6, 12, 24])
def test_a_camera_that_is_right_is_left_as_it_is(count: int) -> None:
    found = fit_patches(RGB[:count], LAB[:count], NAMES[:count], SRGB_TO_XYZ)
    np.testing.assert_allclose(found.coefficients[:, :3], SRGB_TO_XYZ, atol=1e-6)
    np.testing.assert_allclose(found.lab(RGB), LAB, atol=1e-4)
    assert found.left_out.max() < 1e-4


@pytest.mark.parametrize("bad", [0.0, 0.5])
def test_errors_of_a_fitted_card_by_its_patches_left_out(bad: float) -> None:
    """The power 0.7 of what patches miss, over what is usual at the colour read: root mean square
    of ΔE2000, each at most four times the median.
    """
    noise = np.random.default_rng(3).normal(1.0, 0.02, RGB[:12].shape)
    noise[4] += bad
    found = fit_patches(RGB[:12] * noise, LAB[:12], NAMES[:12], SRGB_TO_XYZ)
    miss = found.left_out
    guess = []
    for i in range(12):
        rest = np.arange(12) != i
        fitted = fit_patches((RGB[:12] * noise)[rest], LAB[:12][rest], NAMES[:11], SRGB_TO_XYZ)
        guess.append(fitted.lab((RGB[:12] * noise)[~rest])[0])
    np.testing.assert_allclose(delta_e(LAB[:12], np.array(guess)), miss)
    assert (miss.max() > 4.0 * np.median(miss)) == (bad > 0)
    size = miss / np.linalg.norm(patches.usual(np.array(guess), "card"), axis=1)
    capped = np.minimum(size, 4.0 * np.median(size))
    assert found.times == pytest.approx(np.mean(capped**2) ** 0.35)
    assert np.argmax(miss) == 4 or not bad


def test_a_matrix_says_how_far_it_misses() -> None:
    names, missed = ("a", "b", "c"), np.array([0.4, 2.0, 0.6])
    found = CameraMatrix(np.eye(3), "card", patches=names, left_out=missed)
    assert "on 3 patches" in str(found)
    assert "1.0 ΔE2000 on average, 2.0 at worst (b)" in str(found)
    roots = CameraMatrix(np.eye(3, 6), "card", patches=names, left_out=missed)
    assert ("matrix with roots on" in str(roots), "roots" in str(found)) == (True, False)
    assert "allows for daylight and for lamps" in str(balance(SRGB_TO_XYZ))
    assert "narrower" not in str(balance(SRGB_TO_XYZ))  # warm lamps have the widest
    assert "of the light that is named" in str(balance(SRGB_TO_XYZ, lit_by="white"))


@pytest.mark.parametrize("kept", [balance(SRGB_TO_XYZ), Patches()])
def test_what_was_found_stays_as_it_is(kept: Any) -> None:
    assert len({kept, kept}) == 1
    with pytest.raises(FrozenInstanceError):
        kept.names = ()


def test_the_table_of_a_card(tmp_path: Path) -> None:
    path = write_reference(tmp_path / "card.csv")
    card = Patches.read(path)
    assert card.names == tuple(name.split("(")[0].strip() for name in NAMES)
    np.testing.assert_allclose(card.lab, LAB, atol=0.3)
    lines = path.read_text().splitlines()  # two remarks, the headings, the patches
    greys = [Reading(Recipe({}), np.full(31, 0.1 * i), "black" * (i == 1)) for i in range(1, 7)]
    assert Patches.read(SwatchSet(tuple(greys))).names[:3] == ("black", "patch 2", "patch 3")
    path.write_text("\n".join(lines[:9]))
    assert len(Patches.read(path).names) == 6
    path.write_text("\n".join(lines[:8]))
    with pytest.raises(InputError, match=r"card\.csv: 5 patches with values"):
        Patches.read(path)
