"""Find the patches of a card that lies in the sheet's box but is smaller, or a little askew.

The card's own reference values say which place is right: at the right one the patches look like
them, up to exposure, balance and contrast.
"""

from __future__ import annotations

from itertools import product

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_2, lab_from_xyz, xyz_from_lab
from dyemix.photo.decode import Photograph
from dyemix.photo.layout import CARD_BOX, project, quad
from dyemix.photo.places import box_parts
from dyemix.photo.sample import raster

_PER_MM = 4.0
#: mm around the box that the card may reach into.
_AROUND = 3.0
#: The middle of a patch that is averaged, in both directions.
_CORE = 0.4
#: Mean ΔE*ab beyond which the card is looked for: a card in its place, seen by a camera that was
#: not yet corrected, comes to less.
FAR = 15.0
_WORTH_MOVING = 0.5
_CONTRASTS = np.array([1.0, 0.85, 0.7])


class _View:
    """The box and its surround, squared up, with sums over any rectangle at hand."""

    def __init__(self, photo: Photograph, to_pixels: Array) -> None:
        left, top, width, height = CARD_BOX
        self.origin = np.array([left - _AROUND, top - _AROUND])
        size = np.array([width, height]) + 2 * _AROUND
        corners = project(to_pixels, quad(*self.origin, *size))
        light = raster(photo, corners, int(size.max() * _PER_MM)).light.astype(float)
        self.per_mm = np.array([light.shape[1], light.shape[0]]) / size
        self.sums = np.zeros((light.shape[0] + 1, light.shape[1] + 1, 3))
        self.sums[1:, 1:] = light.cumsum(axis=0).cumsum(axis=1)

    def means(self, quads: Array) -> Array:
        """Mean light ``(P, 3)`` of the middles of patches ``(P, 4, 2)`` in sheet mm."""
        centre = quads.mean(axis=1)
        half = np.abs(quads[:, 2] - quads[:, 0]) * _CORE / 2
        limit = np.array(self.sums.shape[1::-1]) - 1
        low = np.clip(((centre - half - self.origin) * self.per_mm).astype(int), 0, limit - 1)
        high = np.clip(((centre + half - self.origin) * self.per_mm).astype(int), low + 1, limit)
        s = self.sums
        total = (
            s[high[:, 1], high[:, 0]]
            - s[low[:, 1], high[:, 0]]
            - s[high[:, 1], low[:, 0]]
            + s[low[:, 1], low[:, 0]]
        )
        return np.asarray(total / np.prod(high - low, axis=1)[:, np.newaxis])


def unlike(light: Array, lab: Array, to_xyz: Array) -> float:
    """Mean ΔE*ab of patches' light ``(P, 3)`` to their CIELAB, after a gain and a contrast.

    The camera's exposure, balance and tones are not known yet: one gain a channel, the median, and
    the best of a few contrasts are allowed for.
    """
    known = np.log(np.maximum(xyz_from_lab(lab, D65_2) / 100.0 @ np.linalg.inv(to_xyz).T, 1e-3))
    log = np.log(np.maximum(light, 1e-5)) * _CONTRASTS[:, np.newaxis, np.newaxis]
    gained = np.exp(log + np.median(known - log, axis=1, keepdims=True))
    seen = lab_from_xyz(100.0 * np.maximum(gained @ to_xyz.T, 0.0), D65_2)
    return float(np.linalg.norm(seen - lab, axis=2).mean(axis=1).min())


def align_card(photo: Photograph, to_pixels: Array, rows: int, columns: int, lab: Array) -> Array:
    """Corners ``(P, 4, 2)`` in sheet mm of the patches, row by row.

    `to_pixels` takes sheet mm to the picture; `lab` ``(P, 3)`` are the reference values. Where the
    patches fill the box that is where they are left; else size and place are searched, coarsely and
    then by the simplex method.
    """
    view = _View(photo, to_pixels)

    def patches(values: Array) -> Array:
        dx, dy, sx, sy, turn = values
        quads = box_parts(CARD_BOX, rows, columns)
        left, top, width, height = CARD_BOX
        middle = np.array([left + width / 2, top + height / 2])
        cos, sin = np.cos(turn), np.sin(turn)
        shape = np.array([[cos * sx, -sin * sy], [sin * sx, cos * sy]])
        return np.asarray((quads - middle) @ shape.T + middle + np.array([dx, dy]))

    def miss(values: Array, known: Array = lab) -> float:
        return unlike(view.means(patches(np.asarray(values))), known, photo.to_xyz)

    nominal = np.array([0.0, 0.0, 1.0, 1.0, 0.0])
    starts = [nominal]
    if miss(nominal, lab[::-1]) < 0.6 * miss(nominal):
        return patches(nominal)  # upside down: the dyer is told, not indulged
    if miss(nominal) > FAR:
        for sx, sy in product(np.arange(0.5, 1.06, 0.09), repeat=2):
            free = np.array(CARD_BOX[2:]) * (1 - np.minimum([sx, sy], 1)) / 2 + _AROUND
            for fx, fy in product(np.linspace(-1, 1, 5), repeat=2):
                starts.append(np.array([fx * free[0], fy * free[1], sx, sy, 0.0]))
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
