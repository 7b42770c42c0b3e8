"""A miss in the words of the trade, against colours whose difference is plain by construction."""

from __future__ import annotations

from dataclasses import FrozenInstanceError

import numpy as np
import pytest

from dyemix.colour.appearance import Miss, difference


def at(lightness: float, chroma: float, degrees: float) -> np.ndarray:
    turn = np.deg2rad(degrees)
    return np.array([lightness, chroma * np.cos(turn), chroma * np.sin(turn)])


def words(target: np.ndarray, piece: np.ndarray) -> tuple[str, ...]:
    return Miss.of(target, piece).words


def test_differences_of_lightness_chroma_and_hue_by_hand() -> None:
    """CIE 015:2018: ΔL* 2; ΔC* from 30 to 20; ΔH* = 2 √(C₁ C₂) sin(Δh/2), 2 × 30 × sin 45°."""
    miss = Miss.of(at(50, 30, 0), at(52, 30, 90))
    assert (miss.lightness, miss.chroma) == pytest.approx((2, 0))
    assert miss.hue == pytest.approx(60 * np.sqrt(0.5))
    assert Miss.of(at(50, 30, 0), at(50, 20, 0)).chroma == pytest.approx(-10)
    assert Miss.of(at(50, 30, 90), at(50, 30, 0)).hue == pytest.approx(-60 * np.sqrt(0.5))
    assert Miss.of(at(50, 0.5, 0), at(50, 0.5, 90)).hue == pytest.approx(np.sqrt(0.5))
    assert Miss.of(at(50, 20, 350), at(50, 20, 10)).hue == pytest.approx(40 * np.sin(np.pi / 18))
    assert Miss.of(at(50, 0, 0), at(50, 20, 0)).hue == 0.0
    with pytest.raises(FrozenInstanceError):
        miss.hue = 0.0  # type: ignore[misc]


def test_differences_of_many_colours_at_once() -> None:
    """ΔL*, ΔC* and ΔH* by the same sums, of colours on any leading axes."""
    asked = np.stack([at(50, 30, 0), at(50, 30, 90)])
    labs = np.stack([at(52, 30, 90), at(45, 40, 90)])
    wanted = [[2.0, 0.0, 60 * np.sqrt(0.5)], [-5.0, 10.0, 0.0]]
    np.testing.assert_allclose(difference(asked, labs), wanted, atol=1e-12)
    whole = difference(asked[:, np.newaxis], labs[:, np.newaxis])
    np.testing.assert_allclose(whole[:, 0], wanted, atol=1e-12)


def test_lightness_alone() -> None:
    """ΔE2000 (CIE 142): 2 ÷ S_L, where S_L = 1 + 0.015 ÷ √21 at a mean L* of 51."""
    miss = Miss.of(np.array([50.0, 0, 0]), np.array([52.0, 0, 0]))
    assert miss.delta_e == pytest.approx(2 / (1 + 0.015 / np.sqrt(21)))
    assert miss.words == ("lighter",)
    assert str(miss) == "2.0 ΔE2000: lighter"
    assert words(np.array([52.0, 0, 0]), np.array([50.0, 0, 0])) == ("darker",)


def test_chroma_alone() -> None:
    """S_C = 1 + 0.045 × mean C* (CIE 142): from 30 to 33, 3 ÷ 2.4175 = 1.24; to 30.7, 0.29."""
    assert words(at(50, 30, 0), at(50, 33, 0)) == ("cleaner",)
    assert words(at(50, 33, 0), at(50, 30, 0)) == ("duller",)
    assert words(at(50, 30, 0), at(50, 30.7, 0)) == ()
    assert words(at(50, 30, 0), at(50, 30.8, 0)) == ("cleaner",)
    assert "no difference that shows" in str(Miss.of(at(50, 30, 0), at(50, 30.7, 0)))


@pytest.mark.parametrize(
    ("degrees", "ahead", "back"),
    [
        # On an axis a hue turns towards the next one, either way.
        (0, "yellower", "bluer"), (90, "greener", "redder"),
        (180, "bluer", "yellower"), (270, "redder", "greener"),
        # Between two axes it turns towards one of them,
        (45, "yellower", "redder"), (135, "greener", "yellower"),
        (225, "bluer", "greener"), (315, "redder", "bluer"),
        # and within 20° of the one ahead it turns past it.
        (69.5, "yellower", "redder"), (70.5, "greener", "redder"), (20.5, "yellower", "redder"),
        (19.5, "yellower", "bluer"), (340.5, "yellower", "bluer"), (339.5, "redder", "bluer"),
    ],
)  # fmt: skip
def test_hue_alone(degrees: float, ahead: str, back: str) -> None:
    assert words(at(50, 30, degrees), at(50, 30, degrees + 4)) == (ahead,)
    assert words(at(50, 30, degrees), at(50, 30, degrees - 4)) == (back,)


def test_a_near_neutral_turns_red_or_blue() -> None:
    """Below a chroma of 5 the two axes are told apart, each by its own size; 0.3 is the least."""
    grey = np.array([50.0, 1.0, 1.0])
    assert words(grey, np.array([50.0, 1.5, 0.2])) == ("bluer", "redder")
    assert words(grey, np.array([50.0, 0.4, 1.9])) == ("yellower", "greener")
    assert words(grey, np.array([50.0, 1.29, 1.0])) == ()
    assert words(grey, np.array([50.0, 1.31, 1.0])) == ("redder",)
    # One of the two is enough: a colour that came out grey has no hue to speak of.
    assert words(np.array([50.0, 20.0, 0.0]), grey) == ("greener", "yellower")
    assert words(np.array([50.0, 4.9, 0.0]), np.array([50.0, 30.0, 0.0])) == ("redder",)
    assert words(np.array([50.0, 5.0, 0.0]), np.array([50.0, 30.0, 0.0])) == ("cleaner",)


def test_a_difference_of_just_so_much_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    grey, redder = np.array([50.0, 1.0, 1.0]), np.array([50.0, 1.5, 1.0])
    monkeypatch.setattr("dyemix.colour.appearance.SEEN", 0.5)
    assert words(grey, redder) == ("redder",)


def test_the_largest_part_comes_first() -> None:
    """Lightness by 1 and chroma from 30 to 40: 10 ÷ (1 + 0.045 × 35) = 3.9."""
    assert words(at(50, 30, 0), at(51, 40, 0)) == ("cleaner", "lighter")
    assert words(at(50, 30, 0), at(60, 32, 0)) == ("lighter", "cleaner")
