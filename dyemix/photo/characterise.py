"""What the light and the camera made of colours in one picture, as the cards and the page show it.

Are the tones straight, how does the light fall, how bright is it, which colours are these, and is
the grey what it is said to be?
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_2, xyz_from_lab
from dyemix.photo.camera_matrix import (
    BENT_ERROR,
    TONE_ERROR,
    UNDYED_ERROR,
    CameraMatrix,
    balance,
    fit_patches,
)
from dyemix.photo.decode import Photograph
from dyemix.photo.flat_field import Flat, fit_flat
from dyemix.photo.layout import inset
from dyemix.photo.places import Frame
from dyemix.photo.reference_cards import CORE, Patches, check_patches, with_cards
from dyemix.photo.sample import cloth, levels, raster
from dyemix.photo.tone_curve import UNKNOWN, Tone, fit_tone

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
_PAPER, _PAPER_BENT = (0.66, 1.02), (0.66, 1.12)
#: CIELAB taken for undyed white cotton where it was not measured (a working value, from memory).
_UNDYED_LAB = np.array([93.0, 0.0, 3.0])
_NO_GREY = "no grey card: undyed cloth is the anchor; expect errors of 5 ΔE2000 or more"


@dataclass(frozen=True, eq=False)
class Characterisation:
    """What the light and the camera made of colours in one picture, as the cards show it.

    `tone` straightens the picture's values and `flat` evens them; `scale` ``(3,)`` then brings
    them to about 1 at a perfect white, and `matrix` to colours. `notes` say what was found,
    `doubts` what every reading is flagged with.
    """

    tone: Tone
    flat: Flat
    scale: Array
    matrix: CameraMatrix
    notes: tuple[str, ...]
    doubts: tuple[str, ...]


class Cards:
    """Sees the cards once; the tone curve, the flat field and the colours follow from it.

    The patches of both cards stand in one list, the steps of the grey card first: where they are
    (pixels ``(N, 2)``), what is seen there ``(N, 3)``, and what it is in straight, even light
    ``(N, 3)``, up to a gain a channel.
    """

    def __init__(
        self, photo: Photograph, frame: Frame, grey: Sequence[float], reference: Patches
    ) -> None:
        self.photo, self.reference = photo, reference
        self.frame = frame = with_cards(photo, frame, len(grey), reference.lab)
        steps = np.array(grey if len(frame.of("grey")) else (), dtype=float)
        lab = reference.lab
        for role, known in (("grey", steps), ("patch", lab)):
            if len(known) and len(frame.of(role)) != len(known):
                raise photo.refuse(
                    f"{len(frame.of(role))} places for {role} in the picture and {len(known)} "
                    "values: give one for each, grey lightest first."
                )
        linear = xyz_from_lab(lab, D65_2) / 100.0 @ np.linalg.inv(photo.to_xyz).T
        self._known = np.concatenate([np.repeat(steps[:, np.newaxis], 3, axis=1), linear])
        self._patch = np.arange(len(self._known)) >= len(steps)
        places = np.concatenate([frame.of("grey")[: len(steps)], frame.of("patch")[: len(lab)]])
        self._at = places.mean(axis=1)
        seen = [levels(photo, places[~self._patch], 0.5), levels(photo, places[self._patch], CORE)]
        self._seen = np.concatenate(seen)
        ends = [raster(photo, inset(corners, 0.5), 40) for corners in places]
        self._usable = np.array([max(end.high, end.low) <= _CLIPPED for end in ends], dtype=bool)
        chroma = np.hypot(lab[:, 1], lab[:, 2])
        self._neutral = np.concatenate([steps > 0, chroma < _NEUTRAL])
        if len(lab):
            check_patches(photo, seen[1], lab)
        self._spots = frame.of("white").mean(axis=1)
        self._white = levels(photo, frame.of("white"), 0.6, _UNCOVERED)

    def _even(self, tone: Tone, flat: Flat) -> Array:
        """Straight, even light ``(N, 3)`` of every patch."""
        return np.asarray(tone(self._seen) / flat.at(self._at))

    def _steps(self, tone: Tone, flat: Flat) -> list[tuple[Array, Array]]:
        """Light and known values of the grey steps of each card that has any, grey card first."""
        light, good = self._even(tone, flat), self._neutral & self._usable
        cards = [good & ~self._patch, good & self._patch]
        return [(light[card], self._known[card]) for card in cards if card.any()]

    @cached_property
    def straight(self) -> tuple[Tone, Flat]:
        """Tone curve and flat field.

        The curve is fitted to evenly lit steps and the flat field to straight tones, so each is
        found in turn, to rest: a step is straightened, evened and bent back.
        """
        tone, flat = UNKNOWN, fit_flat(self._spots, self._white)
        for _ in range(4):
            steps = self._steps(tone, flat)
            if not steps:
                break
            light, known = max(steps, key=lambda found: len(found[1]))
            before, tone = tone, fit_tone(tone.undo(light), known)
            if (not tone.bent and not before.bent) or tone.off > _MOST_BENT:
                break
            flat = fit_flat(self._spots, tone(self._white))
        return tone, flat

    def characterise(
        self, measured: Patches | None = None, undyed: Array | None = None
    ) -> Characterisation:
        """Tone curve, flat field, exposure and colours of this picture.

        `measured` are swatches that serve as further patches; `undyed` ``(3,)`` is the even light
        of undyed cloth, the anchor where there is no grey. Raises `InputError` where there is
        neither, and where only paper lies in the place of the grey card.
        """
        tone, flat = self.straight
        if flat.bare < _LEAST_BARE:
            raise self.photo.refuse(
                "most of the white between the cells is covered, so that nothing tells how the "
                "light falls: cut the swatches no larger than their cells, and lay them inside."
            )
        steps = self._steps(tone, flat)
        scale = self._scale(steps, undyed)
        self._check_grey(tone, flat, scale)
        matrix, notes = self._matrix(tone, flat, scale, measured or Patches())
        doubts, wider = [], [np.zeros(3)]
        for doubtful, doubt, sizes in (
            (not tone.known, "camera tone curve unknown", TONE_ERROR),
            (not flat.known, "evenness of the light unknown", (0.0, 0.0, 0.0)),
            (not steps, _NO_GREY, UNDYED_ERROR),
            (tone.bent, "", BENT_ERROR),
        ):
            if doubtful:
                wider.append(np.square(sizes))
                doubts += [doubt] if doubt else []
        notes.insert(0, str(tone))
        if not tone.known:
            notes[0] += f" Every error is widened by {np.linalg.norm(TONE_ERROR):.1f} ΔE2000."
        gains = [np.log(known / light).mean() for light, known in steps]
        off = float(np.exp(gains[-1] - gains[0]) - 1.0) if gains else 0.0
        if abs(off) > _SAME_GREY:
            doubts.append(
                f"the grey card and the greys of the patch card differ by {100 * off:.0f} %: the "
                "camera changed tones from place to place, or a shadow lies on one"
            )
        matrix = replace(matrix, error=matrix.error + np.diag(np.sum(wider, axis=0)))
        return Characterisation(tone, flat, scale, matrix, tuple(notes), tuple(doubts))

    def _scale(self, steps: Sequence[tuple[Array, Array]], undyed: Array | None) -> Array:
        """Gain ``(3,)`` that brings grey to its known value, from the first card that has grey."""
        if steps:
            light, known = steps[0]
            return np.asarray(np.exp(np.mean(np.log(known / light), axis=0)))
        if undyed is None:
            raise self.photo.refuse(
                "no grey card and no patch card is stated or usable, and no cell is named "
                "'undyed': nothing tells how bright the light was. Lay a grey card in the picture."
            )
        white = np.linalg.solve(self.photo.to_xyz, xyz_from_lab(_UNDYED_LAB, D65_2) / 100.0)
        return np.asarray(white / undyed)

    def _matrix(
        self, tone: Tone, flat: Flat, scale: Array, measured: Patches
    ) -> tuple[CameraMatrix, list[str]]:
        """The camera's matrix by the patches of the card and the measured ones, and its notes."""
        good, card = self._usable[self._patch], self.reference
        kept = [name for name, usable in zip(card.names, good, strict=True) if usable]
        gone = sorted(set(card.names) - set(kept))
        notes = [f"clipped patches were left out: {', '.join(gone)}."] if gone else []
        names, to_xyz = (*kept, *measured.names), self.photo.to_xyz
        matrix = balance(to_xyz)
        if len(names) >= 6:
            seen = self._even(tone, flat)[self._patch][good]
            light = np.concatenate([seen, measured.light])
            lab = np.concatenate([card.lab[good], measured.lab])
            matrix = fit_patches(light * scale, lab, names, to_xyz)
        elif names:
            notes.append(f"{len(names)} patches are too few to fit a matrix to: 6 are needed.")
        return matrix, [*notes, str(matrix)]

    def _check_grey(self, tone: Tone, flat: Flat, scale: Array) -> None:
        """Refuse a grey that is not as told: the page around it is the other witness."""
        known = self._known[~self._patch, 0]
        straight = self.photo.straightened(tone)
        steps = [cloth(straight, at, flat, None) for at in self.frame.of("grey")[: len(known)]]
        steepest = _EVEN if flat.known else 2.0 * _EVEN
        uneven = [i for i, x in enumerate(steps) if x.left_out > _EVEN or x.slope > steepest]
        darkest = steps[np.argmin(known)].mean.mean() if steps else 0.0
        paper = float((self.photo.to_xyz @ (flat.level * scale))[1])
        least, most = _PAPER if tone.known else _PAPER_BENT
        top = self.photo.curve[self.photo.limits[1]].min()  # clipped paper is said of each cell
        bright = float(flat.level.max()) < top
        cure = "tell all its steps as they are, lightest first"
        for wrong, message in (
            (
                flat.known and len(known) and known.min() < 0.7 < darkest / flat.level.mean() / 1.2,
                "no grey card lies in its place, only paper: lay it there, or say that there is "
                "none and name the undyed cloth.",
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
                flat.known and bright and not least <= paper <= most,
                "if the grey or the undyed cloth is as told, the paper of the page reflects "
                f"{100 * paper:.0f} %, which no white paper does: {cure}, and keep shadow and "
                "glare off it.",
            ),
        ):
            if wrong:
                raise self.photo.refuse(message)
