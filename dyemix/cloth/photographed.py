"""A piece of cloth that lies beside the photo page: where it is, and its amounts cell by cell.

The page gives scale, grey, light and the undyed square; the table round about says what is no
cloth. Linear light is averaged over cells first and then turned into amounts, or every pixel is
turned and the amounts averaged. Strips of a few rows go through at a time, so that memory does not
grow with the picture.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.cloth.amounts import Single, Unmixer
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_2, lab_from_xyz, white, xyz_from_lab
from dyemix.errors import Fault, InputError
from dyemix.photo import PhotoReading
from dyemix.photo.layout import HEIGHT, WIDTH, quad
from dyemix.photo.patches import features
from dyemix.photo.places import Lens

#: Cloth is looked for in blocks of this size; what is narrower than the second is none, and so
#: wide a rim of it is left out: it frays, and the light of the table falls on it.
_BLOCK_MM, _NARROWEST_MM, _RIM_MM = 1.0, 8.0, 2.0
#: Paper reaches so far beyond the frame of the page, on A4 and Letter (mm, across and along).
_PAPER = (16.0, 21.0)
#: Cloth differs from the table by so much of its light, and by so many robust deviations of it.
_UNLIKE, _DEVIATIONS = 0.12, 5.0
#: The undyed square and the undyed cloth of the shelf, ΔE2000, up to which they may be one cloth.
_SAME_CLOTH = 6.0
_STRIP = 1 << 20  # pixels
#: A place counts as too bright to read where a channel is at the top of the scale there.
_CLIPPED = 0.02


@dataclass(frozen=True, eq=False)
class Photographed:
    """A piece in cells of `cell_mm`, evenly lit.

    Attributes
    ----------
    responses : ``(H, W, 3)`` XYZ under D65/2°, each 1 for a perfect white.
    amounts : ``(H, W, k)`` % owf of the recipe's dyes.
    inside : ``(H, W)`` whether a cell is cloth; `missed` ``(H, W)`` whether no amounts give it.
    places : ``(H, W, 2)`` of the middles of the cells, in mm of the page.
    camera : ``(3, 3)`` covariance of the camera's error in the three parts of ΔE2000.
    clipped : share of the piece at the top of the camera's scale.
    anchored : whether an undyed square on the page sets its white.
    warnings : what was found, one sentence each.
    """

    responses: Single
    amounts: Single
    inside: NDArray[np.bool_]
    missed: NDArray[np.bool_]
    cell_mm: float
    places: Single
    camera: Array
    clipped: float
    anchored: bool
    warnings: tuple[str, ...]


def read_piece(
    seen: PhotoReading, unmixer: Unmixer, corners: Array | None, cell_mm: float, every_pixel: bool
) -> Photographed:
    """Read the piece beside the page of a photograph.

    `corners` ``(4, 2)`` in pixels say where it lies; by default it is looked for. Raises
    `InputError` where there is no page, or no cloth beside it.
    """
    import cv2

    photo, found = seen.photograph.straightened(seen.characterisation.tone), seen.characterisation
    rough = _outline(seen) if corners is None else corners
    low = np.clip(np.floor(rough.min(axis=0)).astype(int), 0, None)
    high = np.minimum(np.ceil(rough.max(axis=0)).astype(int), photo.codes.shape[1::-1])
    per_mm = _pixels_per_mm(seen, rough.mean(axis=0))
    lens, n = _lens(seen), max(1, round(cell_mm * per_mm))
    width, height = np.maximum((high - low) // n, 1)
    inside = np.zeros((height, width), np.uint8)
    cv2.fillPoly(inside, [np.rint((rough - low) / n * 16).astype(np.int32)], 1, shift=4)
    rim = 2 * max(1, round(_RIM_MM * per_mm / n)) + 1
    inside = cv2.erode(inside, np.ones((rim, rim), np.uint8), borderValue=0)
    if inside.sum() * (n / per_mm) ** 2 < 400.0:
        raise photo.refuse(
            "less than 2 × 2 cm of cloth is seen beside the page: lay the piece 2 cm or more from "
            "it, flat, on a plain table of another colour; or give its corners (--outline)."
        )
    gain, notes = _anchor(seen, unmixer)
    light_at, uneven = _light(seen)
    to_xyz = (found.matrix.coefficients / white(D65_2)[:, np.newaxis] * 100.0).T.astype(np.float32)
    shape = (height, width)
    responses = np.zeros((*shape, 3), np.float32)
    amounts = np.zeros((*shape, len(unmixer.dose)), np.float32)
    places, sample = np.zeros((*shape, 2), np.float32), []
    missed, burnt = np.zeros(shape, dtype=bool), 0.0
    for rows in _strips(height, max(1, _STRIP // (n * n * max(width, 1)))):
        top, count = low[1] + rows.start * n, rows.stop - rows.start
        codes = photo.codes[top : top + count * n, low[0] : low[0] + width * n]
        bright = (codes >= photo.limits[1]).any(axis=2).reshape(count, n, width, n)
        burnt += float((bright.mean(axis=(1, 3)) * inside[rows]).sum())
        light = photo.light(codes)
        y, x = np.indices((count, width))
        middles = np.stack([x, y], axis=-1) * n + (n - 1) / 2.0 + [low[0], top]
        places[rows] = lens.back(middles)
        gains = 1.0 / light_at(middles.reshape(-1, 2))
        even: NDArray[Any] = np.asarray(gains, dtype=np.float32).reshape(count, width, 3)
        if every_pixel:
            even = np.asarray(even.repeat(n, axis=0).repeat(n, axis=1))
        else:
            light = np.asarray(cv2.resize(light, (int(width), count), interpolation=cv2.INTER_AREA))
        rgb: NDArray[Any] = (light * even).reshape(-1, 3)
        sample.append(rgb[:: max(1, len(rgb) // 16)])
        xyz = (features(rgb, found.matrix.kind).astype(np.float32) @ to_xyz) * gain
        here = inside[rows].astype(bool)
        wanted = here.repeat(n, axis=0).repeat(n, axis=1) if every_pixel else here
        part = np.zeros((len(xyz), amounts.shape[2] + 4), np.float32)
        part[:, :3] = xyz
        part[wanted.ravel(), 3:-1], part[wanted.ravel(), -1] = unmixer.solve(xyz[wanted.ravel()])
        step = n if every_pixel else 1
        part = part.reshape(count, step, width, step, -1).mean(axis=(1, 3))
        responses[rows], amounts[rows], missed[rows] = (
            part[..., :3],
            part[..., 3:-1],
            part[..., -1] > 0.5,
        )
    clipped = burnt / float(inside.sum())
    if uneven > _UNLIKE / 4.0:
        notes.append(f"The light on the paper differs by {100 * uneven:.0f} % from a smooth fall.")
    if clipped > _CLIPPED:
        notes.append(
            f"{100 * clipped:.0f} % of the piece is at the top of the camera's scale: pale places "
            "read as undyed. Photograph it again, ⅔ stop darker."
        )
    middle = np.array([[WIDTH / 2.0, HEIGHT / 2.0]])
    some = np.maximum(np.concatenate(sample).astype(float), 1e-3)
    camera = found.camera(some, np.repeat(middle, len(some), axis=0)).mean(axis=0)
    return Photographed(
        responses, amounts, inside.astype(bool), missed, n / per_mm, places, camera, clipped,
        bool((gain != 1.0).any()), tuple(notes),
    )  # fmt: skip


def read_outline(text: str) -> Array:
    """Corners ``(P, 2)`` of words as ``120,80 900,90 890,700 110,690``. Raises `InputError`."""
    try:
        corners = np.array([[float(x) for x in point.split(",")] for point in text.split()])
    except ValueError:
        corners = np.empty(0)
    if corners.ndim != 2 or corners.shape[1] != 2 or len(corners) < 3:
        raise InputError(
            Fault(f"{text!r} is no outline: three corners or more, as '120,80 900,90 890,700'.")
        )
    return corners


def _strips(height: int, rows: int) -> Iterator[slice]:
    return (slice(i, min(i + rows, height)) for i in range(0, height, rows))


def _pixels_per_mm(seen: PhotoReading, pixel: Array) -> float:
    """Pixels a mm of the page's plane at a pixel ``(2,)``: the root of the area."""
    mm = _lens(seen).back(pixel + np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    (a, b), (c, d) = mm[1:] - mm[0]
    return float(1.0 / np.sqrt(abs(a * d - b * c)))


def _lens(seen: PhotoReading) -> Lens:
    """The lens that the page shows."""
    lens = seen.photograph.lens
    if not isinstance(lens, Lens):
        raise seen.photograph.refuse(
            "the photo page is not in the picture: it gives the scale. Lay the piece beside it "
            "('dyemix photo-page')."
        )
    return lens


def _outline(seen: PhotoReading) -> Array:
    """Outline ``(P, 2)`` in pixels of the largest thing beside the page, unlike the table."""
    import cv2

    photo = seen.photograph
    centre = np.array(photo.codes.shape[1::-1]) / 2.0
    n = max(1, round(_BLOCK_MM * _pixels_per_mm(seen, centre)))
    size = (photo.codes.shape[1] // n, photo.codes.shape[0] // n)
    cut = photo.codes[: size[1] * n, : size[0] * n]
    light = photo.light(cv2.resize(cut, size, interpolation=cv2.INTER_AREA))
    log = np.log(np.maximum(light, 1e-4))
    across, along = _PAPER
    paper = quad(-across, -along, WIDTH + 2 * across, HEIGHT + 2 * along)
    page = np.zeros(size[::-1], np.uint8)
    cv2.fillPoly(page, [np.rint(photo.lens(paper) / n).astype(np.int32)], 1)
    ring = np.ones_like(page)
    edge = max(2, min(size) // 40)
    ring[edge:-edge, edge:-edge] = 0
    table = log[(ring == 1) & (page == 0)]
    if not len(table):
        raise photo.refuse("the page fills the picture: photograph the piece beside it as well.")
    # The table is judged by place: light falls off over the picture, whatever lies there.
    middle = np.median(table, axis=0)
    spread = 1.4826 * np.median(np.abs(table - middle))
    away = np.abs(log - middle).max(axis=2)
    unlike = ((away > max(_UNLIKE, _DEVIATIONS * spread)) & (page == 0)).astype(np.uint8)
    side = max(3, round(_NARROWEST_MM / _BLOCK_MM))
    narrow = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    whole = cv2.morphologyEx(unlike, cv2.MORPH_CLOSE, narrow)
    whole = cv2.morphologyEx(whole, cv2.MORPH_OPEN, narrow, borderValue=0)
    outlines, _ = cv2.findContours(whole, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    if not outlines:
        raise photo.refuse(
            "no cloth is seen beside the page: lay the piece 2 cm or more from it, flat, on a "
            "plain table of another colour; or give its corners (--outline)."
        )
    largest = max(outlines, key=cv2.contourArea)
    return np.asarray((largest[:, 0, :] + 0.5) * n, dtype=float)


def _anchor(seen: PhotoReading, unmixer: Unmixer) -> tuple[Single, list[str]]:
    """Gain ``(3,)`` of the responses by which the undyed square reads as the shelf's cloth."""
    undyed = [c.lab for c in seen.cells if c.content.recipe is not None and not c.content.recipe]
    if not undyed:
        note = "No undyed square is named on the page: how white the cloth is rests on the card."
        return np.ones(3, np.float32), [note]
    read = xyz_from_lab(np.mean(undyed, axis=0), D65_2) / white(D65_2)
    cloth = unmixer.responses(np.zeros((1, len(unmixer.dose))))[0]
    one, other = (lab_from_xyz(x * white(D65_2), D65_2) for x in (read, cloth))
    miss = float(delta_e(one, other))
    notes = []
    if miss > _SAME_CLOTH:
        notes.append(
            f"The undyed square is {miss:.1f} ΔE2000 from the undyed cloth of the shelf: is it the "
            "same cloth? Amounts hold for the cloth of the swatches."
        )
    return np.asarray(cloth / read, dtype=np.float32), notes


def _light(seen: PhotoReading) -> tuple[Callable[[Array], Array], float]:
    """The light at pixels ``(N, 2)`` beside the page, and how far the paper is from it.

    The surface that evens the page may bend as it likes beyond it. Here the fall of the light is a
    plane and a term of the distance from the middle of the picture, as lenses have (the first term
    of cos⁴), fitted to the same white spots.
    """
    flat = seen.characterisation.flat
    centre = np.array(seen.photograph.codes.shape[1::-1]) / 2.0

    def terms(pixels: Array) -> Array:
        x, y = ((pixels - centre) / np.linalg.norm(centre)).T
        return np.stack([np.ones_like(x), x, y, x * x + y * y], axis=1)

    if len(flat.spots) < 8:
        return lambda pixels: np.ones((len(pixels), 3)), 0.05
    log = np.log(flat.at(flat.spots)) + np.log(flat.ratio)[:, np.newaxis]
    known = terms(seen.photograph.lens(flat.spots))
    found = np.linalg.lstsq(known, log, rcond=None)[0]
    off = float(np.abs(log - known @ found).mean())
    return lambda pixels: np.exp(terms(pixels) @ found), off
