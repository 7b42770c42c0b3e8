"""What the light and the camera made of colours in one picture, as the cards and the page show it.

Are the tones straight, how does the light fall and of what colour is it, which colours are these,
and is the grey what it is said to be?
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_2, xyz_from_lab
from dyemix.photo.camera_matrix import (
    LIGHT_ERROR,
    CameraMatrix,
    balance,
    fit_patches,
    metric,
    shaded,
)
from dyemix.photo.decode import Photograph
from dyemix.photo.flat_field import Flat, fit_flat
from dyemix.photo.layout import inset
from dyemix.photo.places import Frame
from dyemix.photo.reference_cards import CORE, Patches, check_patches, with_cards
from dyemix.photo.sample import cloth, levels, raster
from dyemix.photo.tones import BEND, STRAIGHT, Tone, Witnesses

#: A patch counts as a grey step up to this chroma.
_NEUTRAL = 6.0
#: A card's clipped patch is left out beyond this share of pixels.
_CLIPPED = 0.02
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
_NO_GREY = "no grey card: the undyed cloth, as white as white cotton usually is, is the anchor"


@dataclass(frozen=True, eq=False)
class Characterisation:
    """What the light and the camera made of colours in one picture, as the cards show it.

    `tone` straightens the picture's values to about 1 at a perfect white, `flat` evens them, and
    `matrix` brings them to colours. `cast` is the log ratio of red to blue of white light for which
    the matrix stands. `notes` say what was found, `doubts` what every reading is flagged with.
    """

    tone: Tone
    flat: Flat
    matrix: CameraMatrix
    cast: float
    notes: tuple[str, ...]
    doubts: tuple[str, ...]

    def camera(self, rgb: Array, at: Array) -> Array:
        """Covariance ``(N, 3, 3)``, in the three parts of ΔE2000, of the camera's own error at
        straight, even values ``(N, 3)`` of places ``(N, 2)``.
        """
        light = self.flat.at(at)
        slope = metric(self.matrix.lab(rgb)) @ self.matrix.slope(rgb) * rgb[:, np.newaxis]
        tone = slope @ self.tone.covariance(self.tone.undo(rgb * light)) @ slope.transpose(0, 2, 1)
        far = (cast(light) - self.cast)[:, np.newaxis, np.newaxis]
        return np.asarray(self.matrix.error + tone + far**2 * np.diag(np.square(LIGHT_ERROR)))


def cast(light: Array) -> Array:
    """Log ratio of red to blue of lights ``(N, 3)``."""
    return np.asarray(np.log(light[:, 0] / light[:, 2]))


class Cards:
    """Sees the cards once; the tone curve, the flat field and the colours follow from it.

    `anchors` ``(A, 4, 2)`` are the cells with undyed cloth, where that is the only white known.
    """

    def __init__(
        self,
        photo: Photograph,
        frame: Frame,
        grey: Sequence[float],
        reference: Patches,
        anchors: Array,
    ) -> None:
        self.photo, self.reference = photo, reference
        self.frame = frame = with_cards(photo, frame, len(grey), reference.lab)
        steps = np.array(grey if len(frame.of("grey")) else (), dtype=float)
        for role, known in (("grey", steps), ("patch", reference.lab)):
            if len(known) and len(frame.of(role)) != len(known):
                raise photo.refuse(
                    f"{len(frame.of(role))} places for {role} in the picture and {len(known)} "
                    "values: give one for each, grey lightest first."
                )
        self._grey, self._patch = (
            frame.of(role)[: len(known)]
            for role, known in (("grey", steps), ("patch", reference.lab))
        )
        self._steps, self._usable = steps, self._unclipped(self._patch)
        self._seen_patch = levels(photo, self._patch, CORE)
        if len(reference.lab):
            check_patches(photo, self._seen_patch, reference.lab)
        neutral = self._usable & (np.hypot(*reference.lab.T[1:]) < _NEUTRAL)
        shown, undyed = self._unclipped(self._grey), np.repeat(_UNDYED, len(anchors), axis=0)
        whole = np.outer(steps, np.ones(3))
        greys = levels(photo, self._grey, 0.5)
        # Of each kind: where it lies, what is seen and known of it, and how well.
        self._kinds = [
            kind
            for kind in (
                (self._grey[shown], greys[shown], whole[shown], _CARD_ERROR),
                (
                    self._patch[neutral], self._seen_patch[neutral],
                    self._linear(reference.lab[neutral]), _CARD_ERROR,
                ),
                (anchors, levels(photo, anchors, 0.3), self._linear(undyed), _UNDYED_ERROR),
            )
            if len(kind[0])
        ]  # fmt: skip
        self._spots = frame.of("white").mean(axis=1)
        self._white = levels(photo, frame.of("white"), 0.6, _UNCOVERED)

    def _linear(self, lab: Array) -> Array:
        """Linear values ``(N, 3)`` of colours in the picture's primaries."""
        return np.asarray(xyz_from_lab(lab, D65_2) / 100.0 @ np.linalg.inv(self.photo.to_xyz).T)

    def _unclipped(self, places: Array) -> NDArray[np.bool_]:
        ends = [raster(self.photo, inset(corners, 0.5), 40).ends.max() for corners in places]
        return np.array([end <= _CLIPPED for end in ends], dtype=bool)

    @cached_property
    def straight(self) -> tuple[Tone, Flat]:
        """Tone curve and flat field, each found by the other in turn, to rest.

        Raises `InputError` where the grey is not as told.
        """
        bend = STRAIGHT if "linear" in self.photo.encoding else BEND
        flat = raw = fit_flat(self._spots, self._white)
        kinds = list(self._kinds)
        if raw.known and kinds:
            kinds.append(
                (self._spots[:0], raw.level[np.newaxis], self._linear(_PAPER), _PAPER_ERROR)
            )
        if not kinds:
            raise self.photo.refuse(
                "no grey card and no patch card is stated or usable, and no cell is named "
                "'undyed': nothing tells how bright the light was. Lay a grey card in the picture."
            )
        counts = [len(kind[1]) for kind in kinds]
        seen = np.concatenate([kind[1] for kind in kinds])
        error = np.repeat([kind[3] for kind in kinds], counts, axis=0)
        source = np.repeat(np.arange(len(kinds)), counts)
        for _ in range(3):
            light = [flat.at(at.mean(axis=1)) if at.ndim == 3 else 1.0 for at, *_ in kinds]
            known = [kind[2] * here for kind, here in zip(kinds, light, strict=True)]
            tone = Tone(Witnesses(seen, np.concatenate(known), source, error), bend)
            flat = fit_flat(self._spots, tone(self._white))
        top = self.photo.curve[self.photo.limits[1]].min()
        flat = replace(flat, clipped=bool(raw.known and raw.level.max() >= top))
        self._check_grey(tone, flat, raw)
        return tone, flat

    def characterise(self, measured: Patches | None = None) -> Characterisation:
        """Tone curve, flat field, exposure and colours of this picture.

        `measured` are swatches that serve as further patches. Raises `InputError` where nothing
        tells how the light falls.
        """
        tone, flat = self.straight
        if flat.bare < _LEAST_BARE:
            raise self.photo.refuse(
                "most of the white between the cells is covered, so that nothing tells how the "
                "light falls: cut the swatches no larger than their cells, and lay them inside."
            )
        matrix, notes, doubts = self._matrix(tone, flat, measured or Patches())
        doubts += [] if tone.known else ["camera tone curve unknown"]
        doubts += [] if flat.known else ["evenness of the light unknown"]
        doubts += [] if self._grey.size + self._patch.size else [_NO_GREY]
        if self._steps.size and len(self._kinds) > 1 and self._patch.size:
            gains = [
                np.log(known / tone(seen) * flat.at(at.mean(axis=1))).mean()
                for at, seen, known, _ in self._kinds[:2]
            ]
            if abs(off := np.expm1(gains[1] - gains[0])) > _SAME_GREY:
                doubts.append(
                    f"the grey card and the greys of the patch card differ by {100 * off:.0f} %: "
                    "the camera changed tones from place to place, or a shadow lies on one"
                )
        white = cast(tone.undo(np.ones((1, 3))))[0]
        over = cast(flat.at(self.frame.of("swatch").mean(axis=1)))
        warm = "warm, as of a lamp" if white > 0 else "cool, as of deep shade"
        if abs(white) > _COLOURED:
            doubts.append(f"the light is {warm}: colours are surer in daylight")
        if np.ptp(over) > _MIXED:
            doubts.append("two lights are mixed: white paper is warmer on one side than the other")
        card = self._patch if len(self._patch) else self._grey
        here = cast(flat.at(card.mean(axis=(0, 1))[np.newaxis]))[0] if len(card) else 0.0
        stands = here if matrix.kind != "grey" else -white
        return Characterisation(tone, flat, matrix, stands, (str(tone), *notes), tuple(doubts))

    def _matrix(
        self, tone: Tone, flat: Flat, measured: Patches
    ) -> tuple[CameraMatrix, list[str], list[str]]:
        """The camera's matrix by the patches of the card and the measured ones; notes, doubts."""
        to_xyz, card, good = self.photo.to_xyz, self.reference, self._usable
        matrix, notes, doubts = balance(to_xyz, tone.bent or not tone.known), [], []
        names = np.array([*card.names, *measured.names])
        lab = np.concatenate([card.lab, measured.lab])
        light = tone(self._seen_patch) / flat.at(self._patch.mean(axis=1))
        light = np.concatenate([light, measured.light])
        used = np.concatenate([good, np.ones(len(measured.lab), dtype=bool)])
        if not used.all():
            notes.append(f"clipped patches were left out: {', '.join(sorted(names[~used]))}.")
        if used.sum() >= 6:
            odd = used & shaded(light, lab, to_xyz, used)
            if odd.any():
                where = ", ".join(names[odd])
                doubts.append(f"shadow or glare lies on patches of the card ({where}): left out")
            used &= ~odd
            matrix = fit_patches(light[used], lab[used], tuple(names[used]), to_xyz)
        elif used.any():
            notes.append(f"{used.sum()} patches are too few to fit a matrix to: 6 are needed.")
        return matrix, [*notes, str(matrix)], doubts

    def _check_grey(self, tone: Tone, flat: Flat, raw: Flat) -> None:
        """Refuse a grey that is not as told: the page around it is the other witness."""
        straight, known = self.photo.straightened(tone), self._steps
        steps = [cloth(straight, at, flat, whole=True) for at in self._grey]
        steepest = _EVEN if flat.known else 2.0 * _EVEN
        uneven = [i for i, x in enumerate(steps) if x.left_out > _EVEN or x.slope > steepest]
        darkest = steps[np.argmin(known)].mean.mean() if steps else 0.0
        paper = 0.85 if flat.clipped or not flat.known else self._paper(tone, raw)
        least, most = _WHITE_PAPER if tone.known else _PAPER_BENT
        cure = "tell all its steps as they are, lightest first"
        for wrong, message in (
            (
                flat.known and steps and known.min() < 0.7 < darkest / flat.level.mean() / 1.2,
                "no grey card lies in its place, only paper or its back: lay it there, grey side "
                "up, or say that there is none and name the undyed cloth.",
            ),
            (
                uneven,
                f"the grey card is not even where step {' and '.join(str(i + 1) for i in uneven)} "
                f"of {len(steps)} is told to be: {cure}; lay it to fill its box, lightest to the "
                "left, and keep shadow, glare and fingers off it.",
            ),
            (
                tone.off > _MOST_BENT,
                f"the grey steps are off by {100 * tone.off:.0f} % from what is told: {cure}.",
            ),
            (
                not least <= paper <= most,
                "if the grey or the undyed cloth is as told, the paper of the page reflects "
                f"{100 * paper:.0f} %, which no white paper does: {cure}, and keep shadow and "
                "glare off it.",
            ),
        ):
            if wrong:
                raise self.photo.refuse(message)

    def _paper(self, tone: Tone, raw: Flat) -> float:
        """What the paper would reflect (Y, 0 to 1) if the first grey is as told.

        One grey alone is taken with straight tones.
        """
        at, seen, known, _ = self._kinds[0]
        light = known * raw.at(at.mean(axis=1)) / seen
        level = raw.level * np.exp(np.log(light).mean(axis=0))
        return float((self.photo.to_xyz @ (tone(raw.level) if tone.known else level))[1])
