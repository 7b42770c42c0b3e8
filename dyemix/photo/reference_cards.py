"""The cards in the picture: are the tones straight, how bright is it, which colours are these?"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_2, xyz_from_lab
from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import Fault, InputError
from dyemix.files import read_swatches
from dyemix.photo.align import FAR, unlike
from dyemix.photo.camera_correction import (
    BENT_ERROR,
    TONE_ERROR,
    UNDYED_ERROR,
    Correction,
    balance,
    fit_patches,
)
from dyemix.photo.decode import Photograph
from dyemix.photo.flat_field import NO_FLAT, Flat, fit_flat
from dyemix.photo.places import Frame, Place
from dyemix.photo.sample import inset, level, raster
from dyemix.photo.tone_curve import UNKNOWN, Tone, fit_tone

#: A patch counts as a grey step up to this chroma.
_NEUTRAL = 6.0
#: A card's clipped patch is left out beyond this share of pixels.
_CLIPPED = 0.02
#: The same grey in two places may differ by this share.
SAME_GREY = 0.04
#: CIELAB taken for undyed white cotton where it was not measured (a working value, from memory).
_UNDYED_LAB = np.array([93.0, 0.0, 3.0])


@dataclass(frozen=True, eq=False)
class Reference:
    """What a patch card should read: names and CIELAB ``(P, 3)`` under D65/2°, row by row."""

    names: tuple[str, ...]
    lab: Array


def read_reference(card: str | os.PathLike[str] | SwatchSet) -> Reference:
    """Reference values of a patch card, in the order of its rows, from any swatch table.

    Values in another light are brought to D65/2° through their spectra, or the smoothest ones.
    """
    table = card if isinstance(card, SwatchSet) else read_swatches(card)
    read = [r for r in table.readings if r.reflectance is not None]
    if len(read) < 6:
        raise InputError(
            Fault(
                f"{len(read)} patches with values: a patch card needs 6 or more (24 are usual), "
                "one a row from its top left.",
                table.source or None,
            )
        )
    names = tuple(r.name or r.swatch or f"patch {i}" for i, r in enumerate(read, start=1))
    return Reference(names, np.array([r.colour(D65_2) for r in read]))


@dataclass(frozen=True, eq=False)
class Light:
    """The light of a picture and its camera, as the cards show them.

    `scale` ``(3,)`` brings straight, even light to about 1 at a perfect white; `tone` and `flat`
    come before it, `colour` after. `notes` say what was found, `doubts` what every reading is
    flagged with.
    """

    tone: Tone
    flat: Flat
    scale: Array
    colour: Correction
    notes: tuple[str, ...]
    doubts: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class _Steps:
    """Grey steps of one card: their light ``(N, 3)`` and their known linear values ``(N, 3)``."""

    light: Array
    known: Array


@dataclass(frozen=True, eq=False)
class Extra:
    """Measured swatches in the picture that serve as patches: values ``(N, 3)``, CIELAB, names."""

    light: Array
    lab: Array
    names: tuple[str, ...]


def _levels(photo: Photograph, places: Sequence[Place], share: float) -> Array:
    return np.array([level(photo, place.quad, share) for place in places]).reshape(-1, 3)


def _centres(places: Sequence[Place]) -> Array:
    return np.array([place.quad.mean(axis=0) for place in places]).reshape(-1, 2)


def _clipped(photo: Photograph, places: Sequence[Place]) -> NDArray[np.bool_]:
    """Which of these places hold clipped pixels ``(N,)``."""
    found = [raster(photo, inset(place.quad, 0.5), 40) for place in places]
    return np.array([max(each.high, each.low) > _CLIPPED for each in found], dtype=bool)


class Cards:
    """Sees the cards once; the tone curve, the flat field and the colours follow from it."""

    def __init__(
        self, photo: Photograph, frame: Frame, grey: Sequence[float], reference: Reference | None
    ) -> None:
        self.photo, self.frame, self.reference = photo, frame, reference
        self.grey = np.asarray(grey, dtype=float)
        self.grey_places = frame.of("grey")
        self.patch_places = frame.of("patch")
        self.whites = frame.of("white")
        self._refuse_bad_input()
        self.white_seen = _levels(photo, self.whites, 0.6)
        self.grey_seen = _levels(photo, self.grey_places, 0.5)
        self.patch_seen = _levels(photo, self.patch_places, 0.4)
        self._check_card()
        self.patch_usable = ~_clipped(photo, self.patch_places)
        self.grey_usable = ~_clipped(photo, self.grey_places)

    def _refuse_bad_input(self) -> None:
        def refuse(message: str) -> InputError:
            return InputError(Fault(message, self.photo.file))

        if len(self.grey) and not np.all((self.grey > 0) & (self.grey < 1)):
            raise refuse("the grey card's steps are reflectances between 0 and 1, as 0.18.")
        if len(self.grey_places) != len(self.grey):
            raise refuse(
                f"{len(self.grey_places)} places for grey and {len(self.grey)} grey values: give a "
                "reflectance for each step, lightest first."
            )
        if self.reference and len(self.patch_places) != len(self.reference.lab):
            raise refuse(
                f"{len(self.patch_places)} patches in the picture and {len(self.reference.lab)} in "
                "the reference table: they must be the same card."
            )

    @cached_property
    def straight(self) -> tuple[Tone, Flat]:
        """Tone curve and flat field.

        The curve is fitted to evenly lit steps and the flat field to straight tones, so each is
        found in turn, to rest: a step is straightened, evened and bent back.
        """
        tone, flat = UNKNOWN, NO_FLAT
        spots = _centres(self.whites)
        for _ in range(4):
            flat = fit_flat(spots, tone(self.white_seen))
            card = max(self._steps(tone, flat), key=lambda steps: len(steps.known), default=None)
            if card is None:
                return tone, flat
            before, tone = tone, fit_tone(tone.undo(card.light), card.known)
            if not tone.bent and not before.bent:
                return tone, flat
        return tone, fit_flat(spots, tone(self.white_seen))

    def _even(self, tone: Tone, flat: Flat, seen: Array, places: Sequence[Place]) -> Array:
        """Straight, evenly lit light ``(N, 3)`` of what was seen at these places."""
        return np.asarray(tone(seen) / flat.at(_centres(places)))

    def _steps(self, tone: Tone, flat: Flat) -> list[_Steps]:
        """The grey steps in the picture, a set for each card that has any."""
        found = []
        if self.grey_usable.any():
            light = self._even(tone, flat, self.grey_seen, self.grey_places)
            known = np.repeat(self.grey[:, np.newaxis], 3, axis=1)
            found.append(_Steps(light[self.grey_usable], known[self.grey_usable]))
        if self.reference is not None:
            lab = self.reference.lab
            neutral = self.patch_usable & (np.hypot(lab[:, 1], lab[:, 2]) < _NEUTRAL)
            light = self._even(tone, flat, self.patch_seen, self.patch_places)
            known = xyz_from_lab(lab, D65_2) / 100.0 @ np.linalg.inv(self.photo.to_xyz).T
            found.append(_Steps(light[neutral], known[neutral]))
        return [steps for steps in found if len(steps.known)]

    def light(self, extra: Extra | None = None, undyed: Array | None = None) -> Light:
        """Tone curve, flat field, exposure and colour of this picture.

        `extra` holds measured swatches as further patches; `undyed` ``(3,)`` is the even light of
        undyed cloth, the anchor where there is no grey. Raises `InputError` where there is neither,
        and for a patch card that does not look like its reference values.
        """
        tone, flat = self.straight
        notes, doubts = [str(tone)], []
        if not tone.known:
            doubts.append("camera tone curve unknown")
        if not flat.known:
            notes.append("no bare paper to see: the light is taken to be even.")
            doubts.append("evenness of the light unknown")
        steps = self._steps(tone, flat)
        self._check_grey(tone, flat)
        scale = self._scale(steps, undyed)
        colour = self._colour(tone, flat, scale, extra, notes)
        error = colour.error
        if not steps:
            anchored = "no grey card: undyed cloth is the anchor; expect errors of 5 ΔE2000 or more"
            notes.append(anchored + ".")
            doubts.append(anchored)
            error = error + np.diag(np.square(UNDYED_ERROR))
        if tone.bent:
            error = error + np.diag(np.square(BENT_ERROR))
        if not tone.known:
            error = error + np.diag(np.square(TONE_ERROR))
            wider = float(np.linalg.norm(TONE_ERROR))
            notes[0] += f" Every error is widened by {wider:.1f} ΔE2000."
        doubts += self._two_values(steps, flat)
        return Light(tone, flat, scale, replace(colour, error=error), tuple(notes), tuple(doubts))

    def _scale(self, steps: Sequence[_Steps], undyed: Array | None) -> Array:
        """Gain ``(3,)`` that brings grey to its known value, from the first card that has grey."""
        if steps:
            return np.asarray(np.exp(np.mean(np.log(steps[0].known / steps[0].light), axis=0)))
        if undyed is None:
            raise InputError(
                Fault(
                    "no grey card and no patch card is stated or usable, and no cell is named "
                    "'undyed': nothing tells how bright the light was. Lay a grey card in the "
                    "picture.",
                    self.photo.file,
                )
            )
        known = np.linalg.solve(self.photo.to_xyz, xyz_from_lab(_UNDYED_LAB, D65_2) / 100.0)
        return np.asarray(known / undyed)

    def _colour(
        self, tone: Tone, flat: Flat, scale: Array, extra: Extra | None, notes: list[str]
    ) -> Correction:
        rgb, lab = np.empty((0, 3)), np.empty((0, 3))
        names: tuple[str, ...] = ()
        if self.reference is not None:
            light = self._even(tone, flat, self.patch_seen, self.patch_places) * scale
            rgb, lab = light[self.patch_usable], self.reference.lab[self.patch_usable]
            kept = zip(self.reference.names, self.patch_usable, strict=True)
            names = tuple(name for name, usable in kept if usable)
            gone = set(self.reference.names) - set(names)
            if gone:
                notes.append(f"clipped patches were left out: {', '.join(sorted(gone))}.")
        if extra is not None:
            rgb = np.concatenate([rgb, extra.light * scale])
            lab = np.concatenate([lab, extra.lab])
            names += extra.names
        if len(rgb) >= 6:
            colour = fit_patches(rgb, lab, names, self.photo.to_xyz)
        else:
            colour = balance(self.photo.to_xyz)
            if len(rgb):
                notes.append(f"{len(rgb)} patches are too few to fit a matrix to: 6 are needed.")
        notes.append(str(colour))
        return colour

    def _check_grey(self, tone: Tone, flat: Flat) -> None:
        """Refuse a grey card that is not there: bare paper in its place."""
        if not (flat.known and len(self.grey)):
            return
        light = self._even(tone, flat, self.grey_seen, self.grey_places)
        share = (light / flat.level).mean(axis=1)[np.argmin(self.grey)]
        if self.grey.min() < 0.7 and share > 0.85:
            raise InputError(
                Fault(
                    "no grey card lies in its place, only paper: lay it there, or say that there "
                    "is none and name the undyed cloth.",
                    self.photo.file,
                )
            )

    def _check_card(self) -> None:
        """Refuse a card that is turned, missing or not the one of the table."""
        if self.reference is None:
            return
        lab, to_xyz = self.reference.lab, self.photo.to_xyz
        miss = unlike(self.patch_seen, lab, to_xyz)
        if miss <= FAR:
            return
        found = (
            "it lies upside down: turn it, first patch top left."
            if unlike(self.patch_seen, lab[::-1], to_xyz) < 0.6 * miss
            else "lay it in its place, first patch top left, or give the table of this card."
        )
        raise InputError(
            Fault(
                f"the patch card does not look like its reference values (off by {miss:.0f} ΔE*ab "
                f"on average): {found}",
                self.photo.file,
            )
        )

    def _two_values(self, steps: Sequence[_Steps], flat: Flat) -> list[str]:
        """Signs that the camera changed tones from place to place."""
        if len(steps) == 2:
            first, second = (np.log(s.known / s.light).mean() for s in steps)
            off = float(np.exp(second - first) - 1.0)
            if abs(off) > SAME_GREY:
                return [
                    f"the grey card and the greys of the patch card differ by {100 * off:.0f} %: "
                    "the camera changed tones from place to place, or a shadow lies on one"
                ]
        return []
