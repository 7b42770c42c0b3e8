"""What the light and the camera made of colours in one picture, as the cards and the page show it.

Are the tones straight, how does the light fall and of what colour is it, which colours are these,
and is the grey what it is said to be?
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_2, xyz_from_lab
from dyemix.photo import patches
from dyemix.photo.decode import Photograph
from dyemix.photo.light import BEND, STRAIGHT, Flat, Tone, Witnesses, fit_flat
from dyemix.photo.patches import CameraMatrix, Patches
from dyemix.photo.places import Frame
from dyemix.photo.sample import cloth, levels

#: A patch counts as a grey step up to this chroma.
_NEUTRAL = 6.0
#: Cloth that is too large covers an edge of the bare paper: the brighter half is paper still.
_UNCOVERED = (0.5, 0.9)
#: Share of the white spots that must be bare for the light to be known.
_LEAST_BARE = 0.6
#: The same grey in two places may differ by this share.
_SAME_GREY = 0.04
#: Within a grey step brightness changes by less than this share, and fewer parts differ.
_EVEN = 0.08
#: Phones bend tones by a fifth; steps that are further off proportional are other steps.
_MOST_BENT = 0.4
#: What white paper reflects, as a fraction: 0.7 (recycled) to 0.95 (brightened), common practice;
#: with a margin for the printer's paper, and for a camera that may have bent its tones.
_WHITE_PAPER, _PAPER_BENT = (0.66, 1.02), (0.66, 1.12)
#: CIELAB of undyed white cotton and paper where they were not measured (from memory).
_UNDYED, _PAPER = np.array([[92.0, 0.0, 3.0]]), np.array([[94.0, 0.5, -3.0]])
#: Standard errors (log light) of each step, of its channels, and of all of one card: of grey cards
#: and patches (how evenly they lie in the light; makers' tolerances), of undyed cloth and of paper.
_CARD_ERROR, _UNDYED_ERROR, _PAPER_ERROR = (0.01, 0.006, 0.02), (0.03, 0.03, 0.06), (0, 0.05, 0.08)
#: Log ratio of red to blue in white paper from which the light's colour is named, and by which it
#: differs over the cells where lights are mixed; daylight from noon to shade spans 0.7.
_COLOURED, _MIXED = 0.6, 0.2
_CURE = (
    "tell all its steps as they are, lightest first; lay it to fill its box, lightest to the left, "
    "and keep shadow, glare and fingers off it."
)
_NO_GREY = "no grey card: the undyed cloth, as white as white cotton usually is, is the anchor"


@dataclass(frozen=True, eq=False)
class Characterisation:
    """What the light and the camera made of colours in one picture, as the cards show it.

    `tone` straightens the picture's values to about 1 at a perfect white, `flat` evens them, and
    `matrix` brings them to colours. `cast` is the log ratio of red to blue of white light for which
    the matrix stands. `notes` say what was found, `warnings` what is said of every reading.
    """

    tone: Tone
    flat: Flat
    matrix: CameraMatrix
    cast: float
    notes: tuple[str, ...]
    warnings: tuple[str, ...]

    def camera(self, rgb: Array, at: Array) -> Array:
        """Covariance ``(N, 3, 3)``, in the three parts of ΔE2000, of the camera's own error at
        straight, even values ``(N, 3)`` of places ``(N, 2)``.
        """
        light, lab = self.flat.at(at), self.matrix.lab(rgb)
        slope = patches.metric(lab) @ self.matrix.slope(rgb) * rgb[:, np.newaxis]
        tone = slope @ self.tone.covariance(self.tone.undo(rgb * light)) @ slope.transpose(0, 2, 1)
        return np.asarray(self.matrix.stated(lab, cast(light) - self.cast) + tone)


def cast(light: Array) -> Array:
    """Log ratio of red to blue of lights ``(N, 3)``."""
    return np.asarray(np.log(light[:, 0] / light[:, 2]))


class _Seen(NamedTuple):
    """Neutral things of one kind: places ``(N, 2)``, light seen and known ``(N, 3)``, errors."""

    at: Array
    seen: Array
    known: Array
    error: tuple[float, float, float]


class Cards:
    """Sees the cards once; the tone curve, the flat field and the colours follow from it.

    `anchors` ``(A, 4, 2)`` are the cells with undyed cloth, where that is the only white known.
    """

    def __init__(
        self, photo: Photograph, frame: Frame, grey: Sequence[float], reference: Patches,
        anchors: Array,
    ) -> None:  # fmt: skip
        self.photo, self.reference = photo, reference
        self.frame = frame = patches.with_cards(photo, frame, len(grey), reference.lab)
        self._steps = np.array(grey if len(frame.of("grey")) else (), dtype=float)
        self._grey, self._patch = frame.of("grey"), frame.of("patch")
        for places, known in ((self._grey, self._steps), (self._patch, reference.lab)):
            if len(known) and len(places) != len(known):
                counts = f"{len(places)} places for a card's greys or patches, {len(known)} values"
                raise photo.refuse(f"{counts}: give one for each, grey lightest first.")
        self._grey, self._patch = self._grey[: len(self._steps)], self._patch[: len(reference.lab)]
        self._light, self._usable = levels(photo, self._patch, patches.CORE)
        if len(reference.lab):
            patches.check_patches(photo, self._light, reference.lab)
        steps, shown = levels(photo, self._grey, 0.5)
        grey_card = np.outer(self._steps, np.ones(3))
        neutral = self._usable & (np.hypot(*reference.lab.T[1:]) < _NEUTRAL)
        undyed = self._linear(np.repeat(_UNDYED, len(anchors), axis=0))
        at = (places.mean(axis=1) for places in (self._grey[shown], self._patch[neutral], anchors))
        self._kinds = [
            _Seen(next(at), steps[shown], grey_card[shown], _CARD_ERROR),
            _Seen(
                next(at), self._light[neutral], self._linear(reference.lab[neutral]), _CARD_ERROR
            ),
            _Seen(next(at), levels(photo, anchors, 0.3)[0], undyed, _UNDYED_ERROR),
        ]
        self._spots = frame.of("white").mean(axis=1)
        self._white = levels(photo, frame.of("white"), 0.6, _UNCOVERED)[0]

    def _linear(self, lab: Array) -> Array:
        """Linear values ``(N, 3)`` of colours in the picture's primaries."""
        return np.asarray(xyz_from_lab(lab, D65_2) / 100.0 @ np.linalg.inv(self.photo.to_xyz).T)

    @cached_property
    def straight(self) -> tuple[Tone, Flat]:
        """Tone curve and flat field, each found by the other in turn, to rest.

        Raises `InputError` where the grey is not as told.
        """
        flat = raw = fit_flat(self._spots, self._white)
        kinds = [kind for kind in self._kinds if len(kind.at)]
        if not kinds:
            raise self.photo.refuse(
                "no grey card or patch card is stated or usable, and no cell is named 'undyed': "
                "lay a grey card in the picture."
            )
        if raw.known:
            paper = self._linear(_PAPER)
            kinds.append(_Seen(np.full((1, 2), np.nan), raw.level[np.newaxis], paper, _PAPER_ERROR))
        counts = [len(kind.at) for kind in kinds]
        at, seen, known = (np.concatenate([kind[i] for kind in kinds]) for i in range(3))
        error = np.repeat([kind.error for kind in kinds], counts, axis=0)
        source = np.repeat(np.arange(len(kinds)), counts)
        bend = STRAIGHT if "linear" in self.photo.encoding else BEND
        for _ in range(3):
            light = np.nan_to_num(flat.at(at), nan=1.0)  # that of the paper is 1 on average
            tone = Tone(Witnesses(seen, known * light, source, error), bend)
            flat = fit_flat(self._spots, tone(self._white))
        top = self.photo.curve[self.photo.limits[1]].min()
        flat = replace(flat, clipped=bool(raw.known and raw.level.max() >= top))
        self._check_grey(tone, flat, self._paper(kinds[0], tone, raw))
        return tone, flat

    def characterise(self, measured: Patches | None = None) -> Characterisation:
        """Tone curve, flat field, exposure and colours of this picture.

        `measured` are swatches that serve as further patches. Raises `InputError` where nothing
        tells how the light falls.
        """
        tone, flat = self.straight
        if flat.bare < _LEAST_BARE:
            raise self.photo.refuse(
                "most of the white between the cells is covered: cut the swatches no larger than "
                "their cells, and lay them inside."
            )
        matrix, notes, doubts = self._matrix(tone, flat, measured or Patches())
        gains = [
            np.log(kind.known * flat.at(kind.at) / tone(kind.seen)).mean() if len(kind.at) else 0.0
            for kind in self._kinds[:2]
        ]
        off = np.expm1(gains[1] - gains[0]) if len(self._kinds[0].at) else 0.0
        white = cast(tone.undo(np.ones((1, 3))))[0]
        over = cast(flat.at(self.frame.of("swatch").mean(axis=1)))
        card = np.concatenate([self._patch if len(self._patch) else self._grey]).mean(axis=1)
        unlike = f"the grey card and the greys of the patch card differ by {100 * off:.0f} %"
        for doubtful, doubt in (
            (not tone.known, "camera tone curve unknown"),
            (not flat.known, "evenness of the light unknown"),
            (not self._grey.size + self._patch.size, _NO_GREY),
            (len(self._patch) and abs(off) > _SAME_GREY, f"{unlike}: a shadow lies on one"),
            (white > _COLOURED, "the light is warm, as of a lamp: colours are surer in daylight"),
            (white < -_COLOURED, "the light is cool, as of deep shade: colours are surer in sun"),
            (np.ptp(over) > _MIXED, "two lights are mixed: one side of the page is warmer"),
        ):
            doubts += [doubt] if doubtful else []
        stands = -white if matrix.kind == "grey" else float(cast(flat.at(card)).mean())
        return Characterisation(tone, flat, matrix, stands, (str(tone), *notes), tuple(doubts))

    def _matrix(
        self, tone: Tone, flat: Flat, measured: Patches
    ) -> tuple[CameraMatrix, list[str], list[str]]:
        """The camera's matrix by the patches of the card and the measured ones; notes, doubts."""
        to_xyz, card, good = self.photo.to_xyz, self.reference, self._usable
        matrix, notes, doubts = patches.balance(to_xyz, tone.bent or not tone.known), [], []
        names = np.array([*card.names, *measured.names])
        lab = np.concatenate([card.lab, measured.lab])
        light = tone(self._light) / flat.at(self._patch.mean(axis=1))
        light = np.concatenate([light, measured.light])
        used = np.concatenate([good, np.ones(len(measured.lab), dtype=bool)])
        if not used.all():
            notes.append(f"clipped patches were left out: {', '.join(sorted(names[~used]))}.")
        if used.sum() >= 6:
            odd = used & patches.shaded(light, lab, to_xyz, used)
            if odd.any():
                where = ", ".join(names[odd])
                doubts.append(f"shadow or glare lies on patches of the card ({where}): left out")
            used &= ~odd
            matrix = patches.fit_patches(light[used], lab[used], tuple(names[used]), to_xyz)
        elif used.any():
            notes.append(f"{used.sum()} patches are too few to fit a matrix to: 6 are needed.")
        return matrix, [*notes, str(matrix)], doubts

    def _check_grey(self, tone: Tone, flat: Flat, paper: float) -> None:
        """Refuse a grey that is not as told: the page around it is the other witness."""
        straight, known = self.photo.straightened(tone), self._steps
        steps = [cloth(straight, at, flat, whole=True) for at in self._grey]
        steepest = _EVEN if flat.known else 2.0 * _EVEN
        uneven = [i for i, x in enumerate(steps) if x.left_out > _EVEN or x.slope > steepest]
        darkest = steps[np.argmin(known)].mean.mean() if steps else 0.0
        only_paper = flat.known and steps and known.min() < 0.7 < darkest / flat.level.mean() / 1.2
        least, most = _WHITE_PAPER if tone.known else _PAPER_BENT
        grey_paper = flat.known and not flat.clipped and not least <= paper <= most
        where = f"step {' and '.join(str(i + 1) for i in uneven)} of {len(steps)}"
        for wrong, message in (
            (only_paper, "no grey card lies in its place, only paper or its back: or tell none."),
            (uneven, f"the grey card is not even where {where} is told to be: {_CURE}"),
            (tone.off > _MOST_BENT, f"the grey steps are off by {100 * tone.off:.0f} %: {_CURE}"),
            (
                grey_paper,
                "if the grey or the undyed cloth is as told, the paper of the page reflects "
                f"{100 * paper:.0f} %, which no white paper does: {_CURE}",
            ),
        ):
            if wrong:
                raise self.photo.refuse(message)

    def _paper(self, grey: _Seen, tone: Tone, raw: Flat) -> float:
        """What the paper would reflect (Y, 0 to 1) if the first grey is as told.

        One grey alone is taken with straight tones.
        """
        gain = np.log(grey.known * raw.at(grey.at) / grey.seen).mean(axis=0)
        light = tone(raw.level) if tone.known else raw.level * np.exp(gain)
        return float((self.photo.to_xyz @ light)[1])
