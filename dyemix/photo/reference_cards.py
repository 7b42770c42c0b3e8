"""The patch card and the grey card: what they should read, and where in the picture they lie."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from itertools import product

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_2, lab_from_xyz, xyz_from_lab
from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import Fault, InputError
from dyemix.files import read_swatches
from dyemix.photo.decode import Photograph
from dyemix.photo.layout import CARD_BOX, parts, quad
from dyemix.photo.places import Frame
from dyemix.photo.sample import raster

#: Mean ΔE*ab beyond which the card is looked for: a card in its place, seen by a camera that was
#: not yet corrected, comes to less.
_FAR = 15.0
_WORTH_MOVING = 0.5
_CONTRASTS = np.array([1.0, 0.85, 0.7])
_PER_MM = 4.0
#: mm around the box that the card may reach into.
_AROUND = 3.0
#: The middle of a patch that is averaged, in both directions.
CORE = 0.4


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


def with_cards(photo: Photograph, frame: Frame, steps: int, lab: Array) -> Frame:
    """The frame with places for the steps and patches of the cards that have boxes only."""
    found: dict[str, Array] = {}
    if steps and not len(frame.of("grey")):
        for box in frame.of("grey box"):
            found["grey"] = parts(box, 1, steps)
    if len(lab) and not len(frame.of("patch")):
        for box in frame.of("card box"):
            top, right = np.linalg.norm(box[1:3] - box[:2], axis=1)
            found["patch"] = parts(box, *grid_of(len(lab), float(top / right)))
            if frame.layout is not None:
                found["patch"] = _find_patches(photo, lab)
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


def check_patches(photo: Photograph, seen: Array, lab: Array) -> None:
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


def _find_patches(photo: Photograph, lab: Array) -> Array:
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
    corners = quad(*(middle - around / 2), *around)
    light = raster(photo, corners, int(around.max() * _PER_MM)).light
    per_mm = np.array(light.shape[1::-1]) / around
    smooth = cv2.blur(light, [int(x) for x in CORE * per_mm * size / (columns, rows)])

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
