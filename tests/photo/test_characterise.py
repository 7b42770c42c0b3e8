"""What the light and the camera made of colours, part by part, on pages that are drawn."""

from __future__ import annotations

import warnings
from dataclasses import FrozenInstanceError, replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from dyemix.colour.colorimetry import D65_2, lab_from_xyz
from dyemix.errors import InputError
from dyemix.photo import patches
from dyemix.photo.characterise import Cards, Characterisation, cast
from dyemix.photo.decode import SRGB_TO_XYZ
from dyemix.photo.layout import HEIGHT, WIDTH, parts, quad
from dyemix.photo.light import BEND, Witnesses
from dyemix.photo.patches import LIGHT_ERROR, Patches, balance
from dyemix.photo.sample import raster
from tests.photo.drawn import PAGE, PAPER, Nothing, look, picture

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # colour-science speaks of optional packages on import
    import colour

STEPS = (0.9, 0.59, 0.36, 0.19, 0.09)
GAINS = np.array([0.8, 0.7, 0.5])
#: Linear sRGB of cloth and of patches.
COLOURS = np.array(
    [[0.4, 0.1, 0.1], [0.1, 0.4, 0.15], [0.1, 0.15, 0.4], [0.5, 0.4, 0.1], [0.4, 0.15, 0.4],
     [0.15, 0.4, 0.45], [0.6, 0.6, 0.6], [0.2, 0.2, 0.2]]
)  # fmt: skip


def labs(linear: Any) -> np.ndarray:
    """CIELAB of linear sRGB, by colour-science."""
    xyz = np.asarray(linear) @ SRGB_TO_XYZ.T
    white = colour.XYZ_to_xy(np.array([95.047, 100.0, 108.883]))
    return np.asarray(colour.XYZ_to_Lab(xyz, white))


def reference(count: int = 8) -> Patches:
    names = tuple(f"patch {i}" for i in range(1, count + 1))
    return Patches(names, labs(COLOURS[:count]))


def refused(**how: Any) -> Any:
    return pytest.raises(InputError, **how)


# --- a picture without any fault


@pytest.mark.parametrize(
    ("left", "top", "beyond"),
    [(-5.0, 60.0, 0.25), (60.0, HEIGHT - 5.0, 0.75), (60.0, 60.0, 0.0), (WIDTH - 20.0, 60.0, 0.0)],
)
def test_what_lies_beyond_a_picture_is_clipped(left: float, top: float, beyond: float) -> None:
    """20 mm of paper, so much of it beyond the left or lower edge; and wholly within, to the very
    edge."""
    light, shares = raster(picture(), quad(left, top, 20.0, 20.0))
    assert light.shape == (80, 80, 3)
    np.testing.assert_allclose(shares, beyond, atol=0.015)
    assert light[10, -20] == pytest.approx(PAPER, abs=1e-3)  # within in all of them


def test_straight_tones_in_even_light_are_divided_by_what_white_is() -> None:
    cards = look(picture(steps=STEPS, light=lambda at: GAINS), STEPS)
    assert cards.tone.known
    assert cards.tone.bends < 0.1
    np.testing.assert_allclose(cards.tone(COLOURS * GAINS), COLOURS, rtol=0.01)
    np.testing.assert_allclose(cards.flat.at(PAGE.places["swatch"].mean(axis=1)), 1.0, atol=1e-3)
    np.testing.assert_allclose(cards.flat.level, PAPER, rtol=0.005)
    assert not cards.flat.clipped
    found = cards.characterise(None, "")
    matrix = balance(SRGB_TO_XYZ, GAINS)
    np.testing.assert_allclose(found.matrix.coefficients, matrix.coefficients, rtol=0.01, atol=5e-3)
    assert found.warnings == ()
    # The light shows in the picture: a matrix for daylight is off by all of it, one for a light
    # that is named by nothing.
    assert found.cast == pytest.approx(-np.log(8 / 5), rel=0.01)
    assert cards.characterise(None, "white").cast == 0.0
    assert cards.characterise(None, "daylight").cast == pytest.approx(found.cast)


def test_errors_of_grey_alone_hold_what_bent_tones_do_to_colours() -> None:
    """As likely as the witnesses leave it that they are bent: steps settle it, one grey does not,
    and half of all cameras bend them."""
    bent = picture(steps=STEPS, tones=lambda x: x**1.1, encoding="sRGB")
    for photo, told, least, most in (
        (picture(steps=STEPS, encoding="sRGB"), STEPS, 0.0, 0.1),
        (bent, STEPS, 0.95, 1.0),
        (picture(steps=(0.18,), encoding="sRGB"), (0.18,), 0.1, 0.6),
        (picture(steps=STEPS), STEPS, 0.0, 0.0),
    ):
        cards = look(photo, told)
        share = cards.characterise(None, "daylight").matrix.bent
        assert share == cards.tone.bends
        assert least <= share <= most


def s_curve(x: np.ndarray) -> np.ndarray:
    v = x ** (1 / 2.2)
    return np.asarray((v + 0.42 * (v - 0.5) * v * (1 - v)) ** 2.2)


def test_printed_greys_are_averaged_by_the_light_that_falls_on_them() -> None:
    """The dimmest third (by green), and so on, of those that no cloth covers, as geometric means;
    as sure as they scatter within a third, over √n."""
    at = PAGE.places["check"]
    values = 0.3 * np.exp(0.02 * np.random.default_rng(4).standard_normal(len(at)))

    def light(at: np.ndarray) -> np.ndarray:
        return 0.6 * np.exp(-0.3 * at @ [[1.0], [0.37]] / WIDTH * [-1.0, 1.0, -1.0])

    hides = (at[0], (0.5, 0.1, 0.1))
    photo = picture(steps=STEPS, light=light, over=[*zip(at, values, strict=True), hides])
    paper, found = look(photo, STEPS)._witnesses(PAGE.places["swatch"][:0])[-2:]
    shown = np.arange(1, len(at))
    parts_of = np.array_split(shown[np.argsort(light(at.mean(axis=1))[1:, 1])], 3)
    logs = [np.log(values[i]) for i in parts_of]
    beside = [np.log(PAPER * light(at.mean(axis=1)[i])).mean(axis=0) for i in parts_of]
    np.testing.assert_allclose(paper.seen, np.exp(beside), rtol=2e-3)
    shares = [log.mean() - np.log(PAPER) for log in logs]
    np.testing.assert_allclose(
        np.log(found.seen / paper.seen), np.outer(shares, np.ones(3)), atol=2e-3
    )
    scatter = np.sqrt(np.mean([log.var(ddof=1) for log in logs]) / (len(shown) / 3))
    assert found.error[0, 0] == pytest.approx(scatter, rel=0.03)
    # Of fewer than six there are no thirds to compare.
    for shown, kinds in ((5, 3), (6, 5)):
        hides = [(x, ((0.5, 0.1, 0.5), (0.1, 0.5, 0.1))[i % 2]) for i, x in enumerate(at[shown:])]
        few = picture(steps=STEPS, light=light, over=hides)
        assert len(look(few, STEPS)._witnesses(PAGE.places["swatch"][:0])) == kinds


def test_printed_greys_in_unlike_light_tell_of_a_bend() -> None:
    """A curve that makes the paper paler beside the grey where there is more light: as shares of
    the paper the printed greys are not alike then. With undyed cloth alone nothing else tells."""
    light = np.array([[0.25], [0.75]])
    for tones, least, most in ((lambda x: x, 0.1, 0.4), (s_curve, 0.8, 1.0)):
        photo = picture(
            {0: np.full(3, 0.8)}, tones=tones, encoding="sRGB",
            light=lambda at: 0.9 * np.exp(-0.3 * at[..., :1] / WIDTH),
        )  # fmt: skip
        tone = look(photo, anchors=PAGE.places["swatch"][:1]).tone
        assert np.sum(tone.witnesses.place >= 0) == 6
        assert least < tone.bends < most
        dim, bright = tone(tones(light * np.ones(3)))
        np.testing.assert_allclose(bright / dim, 3.0, rtol=0.04)


def test_linear_files_are_not_bent() -> None:
    for encoding, bend in (("sRGB", BEND), ("raw, linear", 0.0)):
        assert look(picture(steps=STEPS, encoding=encoding), STEPS).tone.bend == bend


def test_the_fall_of_the_light_is_divided_out() -> None:
    def light(at: np.ndarray) -> np.ndarray:
        return 0.9 * np.exp(-0.3 * at[..., :1] / WIDTH) * [1.0, 1.0, 0.8]

    cards = look(picture(steps=STEPS, light=light), STEPS)
    middles = PAGE.places["swatch"].mean(axis=1)
    over = cards.flat.at(middles) / light(middles)
    np.testing.assert_allclose(over, np.broadcast_to(over[0], over.shape), rtol=2e-3)
    # Steps at the dim end of the card are known by the light that falls there.
    here = cards.tone(0.5 * light(middles)) / cards.flat.at(middles)
    np.testing.assert_allclose(here / here[0], 1.0, rtol=0.005)
    assert np.ptp(here, axis=1).max() < 0.01 * here.max()


def test_a_card_gives_a_matrix_and_stands_for_the_light_that_falls_on_it() -> None:
    """A camera that mixes its channels is undone, and the light is that of the card."""
    mixes = np.array([[0.9, 0.1, 0.0], [0.05, 0.9, 0.05], [0.0, 0.1, 0.9]])

    def light(at: np.ndarray) -> np.ndarray:
        return 0.8 * np.exp(-0.1 * at[..., :1] / WIDTH * np.array([1.0, 0.0, -1.0]))

    seen = COLOURS @ mixes.T
    cards = look(picture(steps=STEPS, patches=seen, light=light), STEPS, reference())
    found = cards.characterise(None, "")
    np.testing.assert_allclose(found.matrix.lab(seen), labs(COLOURS), atol=1.0)
    assert found.matrix.patches == reference().names
    # The middle of the card lies at 136 of 186 mm; the light is 1 on average over the white spots.
    middle = PAGE.places["white"][..., 0].mean()
    assert found.cast == pytest.approx(-0.2 * (136 - middle) / WIDTH, abs=0.002)


def test_a_speck_that_shines_is_not_read_as_paper() -> None:
    """A quarter of a millimetre in each white spot moves it by less than 1 %."""
    specks = [(quad(*at.mean(axis=0), 0.25, 0.25), 1.0) for at in PAGE.places["white"]]
    level = look(picture(steps=STEPS, over=specks), STEPS).flat.level
    np.testing.assert_allclose(level, PAPER, rtol=0.01)


def test_without_a_card_measured_cloth_stands_for_the_light_of_the_page() -> None:
    cards = look(picture({0: 0.82}), anchors=PAGE.places["swatch"][:1])
    found = cards.characterise(replace(reference(), light=COLOURS), "")
    assert found.matrix.patches == reference().names
    assert found.cast == 0.0


# --- what is told of a whole picture


def told(photo: Any, steps: Any = STEPS, **how: Any) -> str:
    return "; ".join(look(photo, steps, **how).characterise(None, "").warnings)


@pytest.mark.parametrize(
    ("over_blue", "words"),
    [(1.75, ""), (1.9, "the light is warm"), (1 / 1.75, ""), (1 / 1.9, "the light is cool")],
)
def test_the_light_is_named_from_a_log_ratio_of_0_6_on(over_blue: float, words: str) -> None:
    """e^0.6 = 1.82."""
    gains = np.array([over_blue, 1.0, 1.0]) * 0.5
    assert words in (found := told(picture(steps=STEPS, light=lambda at: gains)))
    assert bool(found) == bool(words)


@pytest.mark.parametrize(("fall", "mixed"), [(0.24, False), (0.29, True)])
def test_two_lights_are_told_from_a_difference_of_0_2_over_the_cells(
    fall: float, mixed: bool
) -> None:
    """The middles of four columns span three quarters of the page."""

    def light(at: np.ndarray) -> np.ndarray:
        return 0.8 * np.exp(-fall * at[..., :1] / WIDTH * np.array([1.0, 0.5, 0.0]))

    assert ("two lights are mixed" in told(picture(steps=STEPS, light=light))) is mixed


def test_veiling_glare_is_told_by_printed_black() -> None:
    """Black of 4.5 %, and from one per cent of white paper more on."""
    assert told(picture(steps=STEPS, black=0.053 * PAPER)) == ""
    for share in (9, 60):
        words = f"(black is {share} % of the paper)"
        assert words in told(picture(steps=STEPS, black=share / 100 * PAPER))


def test_glare_is_judged_by_green_where_black_ink_is_coloured() -> None:
    """Green is most of luminance: IEC 61966-2-1."""
    for ink, tells in (([0.2, 0.053, 0.2], False), ([0.045, 0.2, 0.045], True)):
        assert ("veiling glare" in told(picture(steps=STEPS, black=np.array(ink) * PAPER))) is tells


def test_what_is_missing_is_told() -> None:
    undyed = picture({0: 0.82})
    found = told(undyed, (), anchors=PAGE.places["swatch"][:1])
    assert found.startswith("camera tone curve unknown; no grey card: the undyed cloth")
    grey = picture(steps=(0.18,))
    assert told(grey, (0.18,)) == "camera tone curve unknown"
    at = parts(quad(2.0, 186.0, 78.0, 30.0), 1, 5)
    bare = told(picture(steps=STEPS), without=("white", "bar"), grey=at)
    assert bare == "evenness of the light unknown"
    eight = (0.9, 0.75, 0.6, 0.45, 0.36, 0.27, 0.18, 0.09)
    both = picture(steps=eight, patches=COLOURS)  # as many greys as patches
    assert told(both, eight, reference=reference()) == ""
    with refused(match="lay a grey card in the picture"):
        look(grey)
    with refused(match="lay a grey card in the picture"):  # overexposed, and all of it
        look(picture({0: 1.0}), anchors=PAGE.places["swatch"][:1])


@pytest.mark.parametrize(("spots", "known"), [(25, True), (36, False)])
def test_the_light_is_known_by_six_in_ten_of_the_white_spots(spots: int, known: bool) -> None:
    """Of 72; cloth lies over so many of them."""
    cloth = [(at, (0.3, 0.05, 0.05)) for at in PAGE.places["white"][:spots]]
    cards = look(picture(steps=STEPS, over=cloth), STEPS)
    assert len(PAGE.places["white"]) == 72
    if known:
        cards.flat = replace(cards.flat, bare=0.6)
        cards.characterise(None, "")
        return
    with refused(match="most of the white between the cells is covered"):
        cards.characterise(None, "")


@pytest.mark.parametrize(("times", "narrow"), [(3.1, False), (3.3, True)])
def test_a_light_that_lacks_colours_is_refused(
    monkeypatch: pytest.MonkeyPatch, times: float, narrow: bool
) -> None:
    monkeypatch.setattr(patches, "counted", lambda to_xyz: np.eye(3))
    photo = picture(steps=STEPS, light=lambda at: np.array([1.0, 0.6, 1.0 / times]))
    if not narrow:
        look(photo, STEPS)
        return
    with refused(match="next to nothing of some colours"):
        look(photo, STEPS)
    at = parts(quad(2.0, 186.0, 78.0, 30.0), 1, 5)
    look(photo, STEPS, without=("white",), grey=at)  # the paper is not seen


def test_paper_at_the_top_of_the_scale_is_no_witness_of_the_card() -> None:
    dim = picture(steps=(0.18,), light=lambda at: 1.1)
    assert not look(dim, (0.18,)).flat.clipped
    bright = picture(steps=(0.10,), light=lambda at: 1.3)
    assert look(bright, (0.18,)).flat.clipped
    with refused(match="the paper of the page reflects 153 %"):
        look(picture(steps=(0.10,)), (0.18,))


# --- cards in shadow, and two that do not agree


def shaded(ratio: Any, spots: Any, other: bool) -> tuple[bool, list[str]]:
    """Of a card of 40 × 20 mm about (50, 60)."""
    cards: Any = SimpleNamespace(
        _raw=SimpleNamespace(spots=np.array(spots, float), ratio=np.array(ratio)), _doubts=[],
        photo=Nothing(),
    )  # fmt: skip
    box = quad(30, 50, 40, 20)[np.newaxis]
    return Cards._shaded(cards, "grey card", box, other), cards._doubts


BESIDE = [(74.9, 60.0), (50.0, 45.1), (25.2, 60.0), (20.0, 20.0), (75.0, 60.0), (50.0, 45.0)]


@pytest.mark.parametrize("light", [0.93, 1.07, 0.4, 1.6])
def test_two_papers_beside_a_card_tell_a_shadow_or_glare_on_it(light: float) -> None:
    for ratio in ([light, 0.95, 1.0, 1, 1, 1], [1.05, 0.95, 1.05, light, light, light]):
        assert shaded(ratio, BESIDE, other=True) == (False, [])
    assert shaded([light], BESIDE[:1], other=False) == (False, [])
    seen = [light, 1.0, 0.3, 1.0, 1.0, 1.0]
    left_out, doubts = shaded(seen, BESIDE, other=True)
    assert left_out
    off = 100 * abs(light - 1)
    words = f"a shadow or glare lies on the grey card: the paper beside it differs by {off:.0f} %"
    assert doubts == [f"{words}, and it was left out"]
    with refused(match=rf"{words}\. Lay it in even light"):
        shaded(seen, BESIDE, other=False)


def shadow(box: tuple[float, ...]) -> Any:
    left, top, width, height = box

    def light(at: np.ndarray) -> np.ndarray:
        inside = np.abs(at - [left + width / 2, top + height / 2]) < [width / 2 + 4, height / 2 + 4]
        return np.where(inside.all(axis=-1)[..., np.newaxis], 0.85, 1.0)

    return light


def test_the_card_in_a_shadow_is_left_out_for_the_other() -> None:
    from dyemix.photo.layout import CARD_BOX, GREY_BOX

    grey = picture(steps=STEPS, patches=COLOURS, light=shadow(GREY_BOX))
    cards = look(grey, STEPS, reference())
    assert len(cards._steps) == 0
    assert len(cards._patch) == 8
    assert "lies on the grey card" in cards.characterise(None, "").warnings[0]
    patch = picture(steps=STEPS, patches=COLOURS, light=shadow(CARD_BOX))
    cards = look(patch, STEPS, reference())
    assert len(cards._steps) == 5
    assert len(cards._patch) == 0
    assert "lies on the patch card" in cards.characterise(None, "").warnings[0]
    for photo, steps, card in ((grey, STEPS, None), (patch, (), reference())):
        with refused(match="Lay it in even light, and the page too"):
            look(photo, steps, card)


@pytest.mark.parametrize("sign", [1, -1])
def test_the_greys_of_two_cards_are_one_light(sign: int) -> None:
    def check(off: float) -> list[str]:
        raw = SimpleNamespace(at=lambda at: np.repeat(0.5 + at[:, :1], 3, axis=1))
        cards: Any = SimpleNamespace(_raw=raw, _doubts=[], photo=Nothing())
        known = np.outer([0.1, 0.9, 0.4], np.ones(3))
        at = np.array([[0.0, 9.0], [0.3, 9.0], [0.1, 9.0]])
        greys = Witnesses.of(at, 0.4 * known * raw.at(at), known, (0, 0, 0))
        steps = np.outer([0.2, 0.5, 0.7], np.ones(3))
        seen = 0.4 * steps * np.array([[1.0 + off], [1.0 + off], [1.0 + abs(off) + off]])
        Cards._check_light(
            cards, Witnesses.of(2 * at, seen * raw.at(2 * at), steps, (0, 0, 0)), greys
        )
        return cards._doubts

    assert check(sign * 0.035) == []
    (doubt,) = check(sign * 0.06)
    assert f"differ from the grey card by {6 * sign} %" in doubt
    with refused(match=f"by {9 * sign} %: a shadow or glare lies on one, or it is not as told"):
        check(sign * 0.09)
    with refused(match="by 60 %"):
        check(0.6)


def test_cards_in_two_lights_are_refused() -> None:
    with refused(match="the patch card differ from the grey card by 43 %"):
        look(picture(steps=STEPS, patches=0.7 * COLOURS), STEPS, reference())


# --- witnesses


def test_witnesses_are_known_as_they_are_told() -> None:
    """Linear values by the matrix of IEC 61966-2-1 to sRGB, of CIELAB by colour-science."""
    to_srgb = np.array(
        [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
    )
    white = colour.XYZ_to_xy(np.array([95.047, 100.0, 108.883]))

    def linear(*lab: float) -> np.ndarray:
        return to_srgb @ colour.Lab_to_XYZ(lab, white)

    nearly = np.array([linear(96, 5.8, 0), linear(50, 0, 6.0), linear(30, -4.0, 4.0)])
    values = np.concatenate([COLOURS[:3], nearly])
    names = tuple("abcdef")
    photo = picture({0: linear(92, 0, 3)}, STEPS, values, light=lambda at: 0.9)
    cards = look(photo, STEPS, Patches(names, np.array([*labs(COLOURS[:3]), [96, 5.8, 0],
                 [50, 0, 6.0], [30, -4.0, 4.0]])))  # fmt: skip
    steps, greys, cloth, paper, black, beside, printed = cards._witnesses(PAGE.places["swatch"][:1])
    for kind, known, error in (
        (steps, np.outer(STEPS, np.ones(3)), (0.01, 0.006, 0.02)),
        (greys, nearly[[0, 2]], (0.01, 0.006, 0.02)),
        (cloth, [linear(92, 0, 3)], (0.018, 0.018, 0.042)),
        (paper, [linear(94, 0.5, -3)], (0, 0.05, 0.08)),
        (black, [[0.045] * 3], (0, 0.3, 0.35)),
    ):
        np.testing.assert_allclose(kind.known, known, atol=0.002)
        assert {*map(tuple, kind.error)} == {error}
    for kind, seen in ((steps, steps.known), (greys, greys.known), (cloth, cloth.known)):
        np.testing.assert_allclose(kind.seen, 0.9 * seen, atol=0.002)
    np.testing.assert_allclose(cloth.at, PAGE.places["swatch"][:1].mean(axis=1))
    for kind, seen in ((paper, 0.9 * PAPER), (black, 0.9 * 0.045)):
        np.testing.assert_allclose(kind.seen, np.full((1, 3), seen), rtol=0.01)
        assert np.isnan(kind.at).all()
    np.testing.assert_allclose(beside.known, np.tile(paper.known, (3, 1)))
    np.testing.assert_allclose(printed.known, 0.35 * beside.known)
    np.testing.assert_allclose(printed.seen, np.full((3, 3), 0.9 * 0.3), rtol=0.01)
    np.testing.assert_allclose(beside.seen, np.full((3, 3), 0.9 * PAPER), rtol=0.01)
    assert {*map(tuple, printed.error)} == {(0.001, 0.03, 0.25)}
    assert not beside.error.any()
    assert [*printed.place] == [*beside.place] == [0, 1, 2]
    # Black is that of the darkest quarter of the bars, in even light.
    some = [(at, 0.045 * (2 if i % 2 else 1)) for i, at in enumerate(PAGE.places["bar"])]

    def falling(at: np.ndarray) -> np.ndarray:
        return 0.9 * np.exp(-0.3 * at[..., :1] / WIDTH) * np.ones(3)

    dark = look(picture(steps=STEPS, over=some, light=falling), STEPS)._witnesses(
        PAGE.places["swatch"][:0]
    )
    level = dark[1].seen / PAPER
    np.testing.assert_allclose(dark[2].seen / level, np.full((1, 3), 0.045), rtol=0.02)


def test_too_few_patches_are_told_and_clipped_ones_left_out() -> None:
    """Of eight two are clipped; one more, and too few are left, but for measured swatches."""

    def cards(clipped: int) -> Cards:
        values = COLOURS.copy()
        values[:clipped, 1] = 0.98
        return look(picture(steps=STEPS, patches=values), STEPS, Patches(names, labs(values)))

    names = reference().names
    six = cards(2).characterise(None, "")
    assert six.matrix.patches == names[2:]
    assert "clipped patches were left out: patch 1, patch 2." in six.notes
    assert not any("too few" in note for note in six.notes)
    five = cards(3).characterise(None, "")
    assert five.matrix.patches == ()
    assert "5 patches are too few to fit a matrix to: 6 are needed." in five.notes
    own = Patches(("navy",), labs([[0.05, 0.06, 0.2]]), np.array([[0.05, 0.06, 0.2]]))
    more = cards(3).characterise(own, "")
    assert more.matrix.patches == (*names[3:], "navy")
    np.testing.assert_allclose(more.matrix.lab(own.light), own.lab, atol=0.5)
    bare = look(picture(steps=STEPS), STEPS)
    none = bare.characterise(None, "").notes
    assert not any("too few" in note or "clipped" in note for note in none)
    assert any("1 patches are too few" in note for note in bare.characterise(own, "").notes)


# --- a grey that is not as told


def grey(lying: Any, told: Any, **how: Any) -> None:
    look(picture(steps=lying, **how), told)


def test_a_grey_that_paper_contradicts_is_refused() -> None:
    """What the paper, of 85 %, would reflect: 66 to 102 % by tones that are known, 66 to 115 % by
    one grey alone."""
    for times in (0.79, 1.34):
        grey((0.18,), (0.18 * times,))
    for times, paper in ((0.76, 65), (1.37, 116)):
        with refused(match=f"the paper of the page reflects {paper} %"):
            grey((0.18,), (0.18 * times,))
    dim = np.array(STEPS) / 2.6  # what paper usually reflects holds against a card, too
    for times in (0.5, 1.6):
        grey(dim, tuple(dim * times))
    for times in (0.35, 2.0):
        with refused(match="the paper of the page reflects"):
            grey(dim, tuple(dim * times))


def test_paper_in_the_place_of_a_grey_card_is_told() -> None:
    """As bright as 77 % of the paper and more, where a step below 70 % is told of."""
    with refused(match="no grey card lies in its place, only paper"):
        grey((0.79 * PAPER,), (0.18,))
    with refused(match="the paper of the page reflects 24 %"):
        grey((0.75 * PAPER,), (0.18,))
    with refused(match="the paper of the page reflects 24 %"):  # where paper is not, light is less
        grey((0.75 * PAPER,), (0.18,), light=lambda at: np.exp(-0.4 * at[..., :1] / WIDTH))
    with refused(match="only paper"):
        grey((0.79 * PAPER,), (0.69,))
    grey((0.79 * PAPER,), (0.7,))
    with refused(match="only paper"):
        grey([PAPER] * 3, (0.9, 0.36, 0.09))
    pale = (0.95, 0.85, 0.3)  # one dark step is no paper
    grey(pale, pale)


def test_steps_that_are_far_from_proportional_are_other_steps() -> None:
    """Of 1, 1, 1 + 2 × 0.35 times what is told the ends are 35 % off."""
    told = np.array([0.9, 0.36, 0.09])
    grey(told * [1, 1, 1.7], tuple(told), black=0.1)
    for times, off in ((1.9, 45), (2.8, 90)):
        with refused(match=f"the grey steps are off by {off} %"):
            grey(told * [1, 1, times], tuple(told), black=0.1)


def test_within_a_step_light_falls_by_less_than_8_per_cent() -> None:
    """From edge to edge of its middle; twice that where no paper shows how the light falls."""
    at = parts(quad(2.0, 186.0, 78.0, 30.0), 1, 5)

    def falling(share: float) -> Any:
        """In the second step of five, of 15.6 mm, of which the middle two thirds count."""

        def light(place: np.ndarray) -> np.ndarray:
            inside = np.abs(place[..., :1] - 25.4) < 7.8
            inside &= np.abs(place[..., 1:] - 201.0) < 15.0
            return 1.0 + inside * share * (place[..., 1:] - 201.0) / (30.0 * 0.66 * 5 / 6)

        return picture(steps=STEPS, light=light)

    look(falling(0.07), STEPS)
    with refused(match="the grey card is not even where step 2 of 5"):
        look(falling(0.09), STEPS)
    bare = {"without": ("white",), "grey": at}
    look(falling(0.15), STEPS, **bare)
    with refused(match="the grey card is not even where step 2 of 5"):
        look(falling(0.17), STEPS, **bare)


def test_what_lies_on_a_step_covers_fewer_than_8_per_cent() -> None:
    """Three of its 36 blocks are 8.3 %."""
    block = np.array([15.6, 30.0]) * 0.66 / 6
    corner = np.array([17.6, 186.0]) + np.array([15.6, 30.0]) * 0.17

    def thread(blocks: int) -> list[Any]:
        return [(quad(*corner, block[0], block[1] * blocks), 0.05)]

    grey(STEPS, STEPS, over=thread(2))
    with refused(match="not even where step 2 of 5"):
        grey(STEPS, STEPS, over=thread(3))
    with refused(match="not even where step 2 of 5"):  # near the top, too: no words stand there
        grey(STEPS, STEPS, over=[(quad(*corner, 3 * block[0], block[1]), 0.05)])
    with refused(match="not even where step 2 and 4 of 5"):
        corner[0] += 31.2
        more = thread(3)
        corner[0] -= 31.2
        grey(STEPS, STEPS, over=thread(3) + more)


def test_noise_in_the_blue_of_a_dark_step_is_nothing_that_lies_on_it() -> None:
    """Under warm lamps there is little blue, and evenness is judged as the eye sees it: four blocks
    of 36 are 15 % bluer, by 5 % of all channels alike, by 1 % of luminance."""
    block, corner = np.array([15.6, 30.0]) * 0.66 / 6, np.array([64.4, 186.0])
    corner = corner + np.array([15.6, 30.0]) * 0.17
    over = [(quad(*corner, block[0], 4 * block[1]), STEPS[-1] * np.array([1.0, 1.0, 1.15]))]
    grey(STEPS, STEPS, over=over)


# --- what is said of colours


def test_the_error_of_the_camera_is_its_own_and_that_of_tones_by_hand() -> None:
    """With slopes that are 1: the matrix's own, at the light there; and the tones', once in each
    value, as CIELAB changes by them (by differences)."""
    lights = np.array([[1.0, 1.0, 0.5], [0.9, 1.0, 0.9]])
    rgb = np.array([[0.2, 0.3, 0.1], [0.5, 0.4, 0.3]])
    matrix = balance(SRGB_TO_XYZ)
    seen: list[np.ndarray] = []

    def covariance(values: np.ndarray) -> np.ndarray:
        seen.append(values)
        return np.broadcast_to(np.diag([1e-4, 4e-4, 9e-4]), (2, 3, 3))

    tone: Any = SimpleNamespace(undo=lambda straight: 0.5 * straight, covariance=covariance)
    flat: Any = SimpleNamespace(at=lambda at: lights)
    found = Characterisation(tone, flat, matrix, 0.2, (), ()).camera(rgb, np.zeros((2, 2)))
    np.testing.assert_allclose(seen[0], 0.5 * rgb * lights)
    shifts = np.log([2.0, 1.0]) - 0.2
    for i, value in enumerate(rgb):
        total = matrix.stated(value[np.newaxis], np.zeros(1))[0]
        total += np.diag((shifts[i] * np.array(LIGHT_ERROR)) ** 2)
        here = lab_from_xyz(100.0 * value @ SRGB_TO_XYZ.T, D65_2)
        for channel, error in enumerate((0.01, 0.02, 0.03)):
            moved = value * np.where(np.arange(3) == channel, np.exp(1e-5), 1.0)
            there = lab_from_xyz(100.0 * moved @ SRGB_TO_XYZ.T, D65_2)
            off = parts_of(here, there) / 1e-5
            total += error**2 * np.outer(off, off)
        np.testing.assert_allclose(found[i], total, rtol=0.01, atol=1e-4)


def parts_of(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    from dyemix.colour.ciede2000 import delta_e_residual

    return delta_e_residual(one, other, slope=False)[0]


def test_what_is_found_stays_as_it_is() -> None:
    nothing: Any = None
    found = Characterisation(nothing, nothing, nothing, 0.0, (), ())
    with pytest.raises(FrozenInstanceError):
        found.cast = 1.0  # type: ignore[misc]
    assert found != replace(found)  # arrays inside: alike is no yes or no


def test_red_over_blue() -> None:
    lights = np.array([[2.0, 7.0, 1.0], [1.0, 7.0, 4.0]])
    np.testing.assert_allclose(cast(lights), [np.log(2), -np.log(4)])


@pytest.mark.parametrize(
    ("chroma", "light", "patches", "grey"),
    [
        ([9.9] * 6, 50, (), True),
        ([9.9] * 5, 50, (), False),
        ([9.9] * 6, 84.9, (), True),
        ([9.9] * 6, 85, (), False),
        ([10.0] * 6, 50, (), False),
        ([2.0] * 10 + [40.0], 50, (), True),
        ([2.0] * 9 + [40.0] * 2, 50, (), False),
        ([9.9] * 6, 50, ("a",), False),
    ],
)
def test_cloth_that_looks_all_grey(chroma: Any, light: float, patches: Any, grey: bool) -> None:
    """Six pieces darker than L* 85, of which nine in ten have a chroma below 10."""
    turn = np.pi / 2 * np.arange(len(chroma))
    lab = np.column_stack(
        [np.full(len(chroma), light), chroma * np.cos(turn), chroma * np.sin(turn)]
    )
    lab = np.concatenate([lab, [[95.0, 30.0, 0.0]] * 3])
    matrix: Any = SimpleNamespace(lab=lambda rgb: rgb, patches=patches)
    nothing: Any = None
    assert Characterisation(nothing, nothing, matrix, 0.0, (), ()).colourless(lab) is grey
