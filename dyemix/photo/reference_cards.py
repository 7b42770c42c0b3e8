"""The cards in the picture: are the tones straight, how bright is it, which colours are these?"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import product

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_2, lab_from_xyz, xyz_from_lab
from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import Fault, InputError
from dyemix.files import read_swatches
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
from dyemix.photo.layout import CARD_BOX, inset, parts, project, quad
from dyemix.photo.places import Frame
from dyemix.photo.sample import levels, raster
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
#: CIELAB taken for undyed white cotton where it was not measured (a working value, from memory).
_UNDYED_LAB = np.array([93.0, 0.0, 3.0])
_NO_GREY = "no grey card: undyed cloth is the anchor; expect errors of 5 ΔE2000 or more"
#: Mean ΔE*ab beyond which the card is looked for: a card in its place, seen by a camera that was
#: not yet corrected, comes to less.
_FAR = 15.0
_WORTH_MOVING = 0.5
_CONTRASTS = np.array([1.0, 0.85, 0.7])
_PER_MM = 4.0
#: mm around the box that the card may reach into.
_AROUND = 3.0
#: The middle of a patch that is averaged, in both directions.
_CORE = 0.4


@dataclass(frozen=True, eq=False)
class Patches:
    """Known colours: names, CIELAB ``(P, 3)`` under D65/2°, and, once they are seen in a picture,
    their straight, even light ``(P, 3)``.
    """

    names: tuple[str, ...] = ()
    lab: Array = field(default_factory=lambda: np.empty((0, 3)))
    light: Array = field(default_factory=lambda: np.empty((0, 3)))

    @classmethod
    def read(cls, card: str | os.PathLike[str] | SwatchSet) -> Patches:
        """What a patch card should read, in the order of its rows, from any swatch table.

        Values in another light are brought to D65/2° through their spectra, or the smoothest ones.
        """
        table = card if isinstance(card, SwatchSet) else read_swatches(card)
        read = [r for r in table.readings if r.reflectance is not None]
        if len(read) < 6:
            message = f"{len(read)} patches with values: a patch card needs 6 or more, one a row."
            raise InputError(Fault(message, table.source or None))
        names = tuple(r.name or r.swatch or f"patch {i}" for i, r in enumerate(read, start=1))
        return cls(names, np.array([r.colour(D65_2) for r in read]))


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
        self.frame = frame = _with_cards(photo, frame, len(grey), reference.lab)
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
        seen = [levels(photo, places[~self._patch], 0.5), levels(photo, places[self._patch], _CORE)]
        self._seen = np.concatenate(seen)
        ends = [raster(photo, inset(corners, 0.5), 40) for corners in places]
        self._usable = np.array([max(end.high, end.low) <= _CLIPPED for end in ends], dtype=bool)
        chroma = np.hypot(lab[:, 1], lab[:, 2])
        self._neutral = np.concatenate([steps > 0, chroma < _NEUTRAL])
        if len(lab):
            _check_patches(photo, seen[1], lab)
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
            if not tone.bent and not before.bent:
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
        self._check_grey(tone, flat)
        scale = self._scale(steps, undyed)
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

    def _check_grey(self, tone: Tone, flat: Flat) -> None:
        """Refuse a grey card that is not there: bare paper in its place."""
        known = self._known[~self._patch, 0]
        if flat.known and len(known) and known.min() < 0.7:
            share = (self._even(tone, flat) / flat.level).mean(axis=1)[np.argmin(known)]
            if share > 0.85:
                raise self.photo.refuse(
                    "no grey card lies in its place, only paper: lay it there, or say that there "
                    "is none and name the undyed cloth."
                )


def _with_cards(photo: Photograph, frame: Frame, steps: int, lab: Array) -> Frame:
    """The frame with places for the steps and patches of the cards that have boxes only."""
    found: dict[str, Array] = {}
    if steps and not len(frame.of("grey")):
        for box in frame.of("grey box"):
            found["grey"] = parts(box, 1, steps)
    if len(lab) and not len(frame.of("patch")):
        for box in frame.of("card box"):
            top, right = np.linalg.norm(box[1:3] - box[:2], axis=1)
            found["patch"] = parts(box, *grid_of(len(lab), float(top / right)))
            if frame.to_pixels is not None:
                patches = _find_patches(photo, frame.to_pixels, lab)
                found["patch"] = project(frame.to_pixels, patches)
    return frame.telling(found)


def grid_of(count: int, aspect: float) -> tuple[int, int]:
    """Rows and columns of a card of `count` patches in a box so many times wider than high."""
    pairs = [(r, count // r) for r in range(1, count + 1) if count % r == 0]
    return min(pairs, key=lambda pair: abs(float(np.log(pair[1] / pair[0] / aspect))))


def _unlike(light: Array, lab: Array, to_xyz: Array) -> float:
    """Mean ΔE*ab of patches' light ``(P, 3)`` to their CIELAB, after a gain and a contrast.

    The camera's exposure, balance and tones are not known yet: one gain a channel, the median, and
    the best of a few contrasts are allowed for.
    """
    known = np.log(np.maximum(xyz_from_lab(lab, D65_2) / 100.0 @ np.linalg.inv(to_xyz).T, 1e-3))
    log = np.log(np.maximum(light, 1e-5)) * _CONTRASTS[:, np.newaxis, np.newaxis]
    gained = np.exp(log + np.median(known - log, axis=1, keepdims=True))
    seen = lab_from_xyz(100.0 * np.maximum(gained @ to_xyz.T, 0.0), D65_2)
    return float(np.linalg.norm(seen - lab, axis=2).mean(axis=1).min())


def _upside_down(light: Array, lab: Array, to_xyz: Array) -> bool:
    return _unlike(light, lab[::-1], to_xyz) < 0.6 * _unlike(light, lab, to_xyz)


def _check_patches(photo: Photograph, seen: Array, lab: Array) -> None:
    """Refuse a card that is turned, missing or not the one of the table."""
    miss = _unlike(seen, lab, photo.to_xyz)
    if miss > _FAR:
        cure = "lay it in its place, first patch top left, or give the table of this card."
        if _upside_down(seen, lab, photo.to_xyz):
            cure = "it lies upside down: turn it, first patch top left."
        raise photo.refuse(
            f"the patch card does not look like its reference values (off by {miss:.0f} ΔE*ab on "
            f"average): {cure}"
        )


def _find_patches(photo: Photograph, to_pixels: Array, lab: Array) -> Array:
    """Corners ``(P, 4, 2)`` in page mm of the patches, row by row.

    The card may be smaller than its box on the page, or lie a little askew. Its own reference
    values ``(P, 3)`` say which place is right: there the patches look like them, up to exposure,
    balance and contrast. Where they fill the box that is where they are left; else size and place
    are searched, coarsely and then by the simplex method.
    """
    import cv2

    left, top, width, height = CARD_BOX
    middle, size = np.array([left + width / 2, top + height / 2]), np.array([width, height])
    rows, columns = grid_of(len(lab), width / height)
    box = parts(quad(*CARD_BOX), rows, columns) - middle
    around = size + 2 * _AROUND
    corners = project(to_pixels, quad(*(middle - around / 2), *around))
    light = raster(photo, corners, int(around.max() * _PER_MM)).light
    per_mm = np.array(light.shape[1::-1]) / around
    smooth = cv2.blur(light, [int(x) for x in _CORE * per_mm * size / (columns, rows)])

    def patches(values: Array) -> Array:
        dx, dy, sx, sy, turn = values
        cos, sin = np.cos(turn), np.sin(turn)
        shape = np.array([[cos * sx, -sin * sy], [sin * sx, cos * sy]])
        return np.asarray(box @ shape.T + middle + np.array([dx, dy]))

    def seen(values: Array) -> Array:
        at = ((patches(values).mean(axis=1) - middle + around / 2) * per_mm).astype(int)
        x, y = np.clip(at, 0, np.array(light.shape[1::-1]) - 1).T
        return np.asarray(smooth[y, x])

    def miss(values: Array) -> float:
        return _unlike(seen(values), lab, photo.to_xyz)

    nominal = np.array([0.0, 0.0, 1.0, 1.0, 0.0])
    if _upside_down(seen(nominal), lab, photo.to_xyz):
        return patches(nominal)  # the dyer is told, not indulged
    starts = [nominal]
    if miss(nominal) > _FAR:
        for sx, sy in product(np.arange(0.5, 1.06, 0.09), repeat=2):
            free = size * (1 - np.minimum([sx, sy], 1)) / 2 + _AROUND
            for shift in product(np.linspace(-1, 1, 5), repeat=2):
                starts.append(np.array([*(shift * free), sx, sy, 0.0]))
        starts = sorted(starts, key=miss)[:4]
    from scipy.optimize import minimize

    steps = np.diag([1.5, 1.5, 0.02, 0.02, 0.02])
    found = [
        minimize(
            miss,
            start,
            method="Nelder-Mead",
            options={"maxfev": 250, "initial_simplex": np.vstack([start, start + steps])},
        )
        for start in starts
    ]
    best = min(found, key=lambda result: float(result.fun))
    # A card that lies a little off is still read in the middles of its patches; moving them for
    # less than this would only fit the camera's own errors.
    return patches(best.x if best.fun < _WORTH_MOVING * miss(nominal) else nominal)
