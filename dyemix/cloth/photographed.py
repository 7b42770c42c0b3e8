"""A piece of cloth that lies beside the photo page: where it is, and its amounts cell by cell.

The page gives scale, grey, light and the undyed square; the table round about says what is no
cloth. Linear light is averaged over cells first and then turned into amounts, or every pixel is
turned and the amounts averaged. Strips of a few rows go through at a time, so that memory does not
grow with the picture.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array, Flags, robust_deviation
from dyemix.cloth.amounts import Single, Unmixer, slices
from dyemix.cloth.figures import labs
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_2, white, xyz_from_lab
from dyemix.errors import Fault, InputError, refuse, said
from dyemix.photo import PhotoReading
from dyemix.photo.layout import HEIGHT, WIDTH, quad
from dyemix.photo.patches import features
from dyemix.photo.places import Lens

#: Side of the cells whose mean colour becomes amounts.
CELL_MM = 0.5
#: Cloth is looked for in blocks of this size; what is narrower than the second is none, and so
#: wide a rim of it is left out: it frays, and the light of the table falls on it.
_BLOCK_MM, _NARROWEST_MM, _RIM_MM = 0.5, 8.0, 1.0
#: Paper reaches so far beyond the frame of the page, on A4 and Letter (mm, across and along).
_PAPER = (16.0, 21.0)
#: Cloth differs from the table by so much of its light, and by so many robust deviations of it.
_UNLIKE, _DEVIATIONS = 0.12, 5.0
#: The undyed square and the undyed cloth of the shelf, ΔE2000, up to which they may be one cloth.
_SAME_CLOTH = 6.0
_STRIP = 1 << 20  # pixels
#: A place counts as too bright to read where a channel is at the top of the scale there.
_CLIPPED = 0.02
#: Up to this share of its convex hull the outline of whole cloth lacks, by fraying; and more where
#: cloth looks like the table: simulated pieces lacked 0.009 to 0.013, one so bitten 0.064.
_BAYS = 0.03


@dataclass(frozen=True, eq=False)
class Photographed:
    """A piece in cells of `cell_mm`, evenly lit.

    Attributes
    ----------
    unmixer, name : of its recipe; of the photograph.
    responses : ``(H, W, 3)`` XYZ under D65/2°, each 1 for a perfect white.
    amounts : ``(H, W, k)`` % owf of the recipe's dyes.
    inside : ``(H, W)`` whether a cell is cloth; `missed` ``(H, W)`` whether no amounts give it.
    places : ``(H, W, 2)`` of the middles of the cells, in mm of the page.
    matrix : ``(3, F)`` of the camera; `camera` ``(3, 3)`` covariance of its error in the three
        parts of ΔE2000.
    anchored : whether an undyed square on the page sets its white.
    warnings : what was found, one sentence each.
    """

    unmixer: Unmixer
    name: str
    responses: Single
    amounts: Single
    inside: Flags
    missed: Flags
    cell_mm: float
    places: Array
    matrix: Array
    camera: Array
    anchored: bool
    warnings: tuple[str, ...]

    @cached_property
    def recoloured(self) -> Single:
        """Responses ``(H, W, 3)`` of level cloth of the amounts of each cell."""
        return np.array([self.unmixer.responses(row) for row in self.amounts], np.float32)


def read_piece(
    seen: PhotoReading, unmixer: Unmixer, piece: Array | str | None, every_pixel: bool
) -> Photographed:
    """Read the piece beside the page of a photograph.

    `piece`, corners ``(P, 2)`` in pixels, says where it lies; by default it is looked for. Raises
    `InputError` where there is no page, or no cloth beside it.
    """
    import cv2

    found, lens = seen.characterisation, seen.photograph.lens
    photo = seen.photograph.straightened(found.tone)
    if not isinstance(lens, Lens):
        raise InputError(Fault(said("cloth.no_scale"), photo.file))
    if isinstance(piece, str):
        piece = read_outline(piece)
    rough = _outline(seen, lens) if piece is None else piece
    low = np.clip(np.floor(rough.min(axis=0)).astype(int), 0, None)
    high = np.minimum(np.ceil(rough.max(axis=0)).astype(int), photo.codes.shape[1::-1])
    per_mm = _pixels_per_mm(lens, rough.mean(axis=0))
    n = max(1, round(CELL_MM * per_mm))
    width, height = (int(side) for side in np.maximum((high - low) // n, 1))
    mask = np.zeros((height, width), np.uint8)
    cv2.fillPoly(mask, [np.rint((rough - low) / n * 16).astype(np.int32)], 1, shift=4)
    rim = 2 * max(1, round(_RIM_MM * per_mm / n)) + 1
    inside = cv2.erode(mask, np.ones((rim, rim), np.uint8), borderValue=0).astype(bool)
    photo.refuse(inside.sum() * (n / per_mm) ** 2 < 400.0, "cloth.too_small")
    gain, notes = _anchor(seen, unmixer)
    cells = np.stack(np.meshgrid(np.arange(width), np.arange(height)), axis=-1)
    middles = cells * n + (n - 1) / 2.0 + low
    gains, uneven = _gains(seen, middles)
    to_xyz = (found.matrix.coefficients / white(D65_2)[:, np.newaxis] * 100.0).T.astype(np.float32)
    # Responses, amounts, and whether they miss: of pixels, or of the means of cells.
    out = np.zeros((height, width, len(unmixer.dose) + 4), np.float32)
    step, sample, burnt = n if every_pixel else 1, [], 0.0
    for rows in slices(height, max(1, _STRIP // (n * n * width))):
        count = rows.stop - rows.start
        codes = photo.codes[low[1] + rows.start * n : low[1] + rows.stop * n]
        codes = codes[:, low[0] : low[0] + width * n]
        below = cv2.inRange(codes, (0, 0, 0), (photo.limits[1] - 1,) * 3)
        below = cv2.resize(below, (width, count), interpolation=cv2.INTER_AREA)
        burnt += float((1.0 - below[inside[rows]] / 255.0).sum())
        size = (width * step, count * step)
        light = cv2.resize(photo.light(codes), size, interpolation=cv2.INTER_AREA)
        rgb: NDArray[Any] = (light * _finer(gains[rows], step)).reshape(-1, 3)
        sample.append(rgb[:: max(1, len(rgb) // 16)])
        xyz = (features(rgb, len(to_xyz)).astype(np.float32) @ to_xyz) * gain
        wanted = _finer(inside[rows], step).ravel()
        part = np.zeros((len(xyz), out.shape[2]), np.float32)
        part[:, :3] = xyz
        part[wanted, 3:-1], part[wanted, -1] = unmixer.solve(xyz[wanted])
        out[rows] = part.reshape(count, step, width, step, -1).mean(axis=(1, 3))
    hull, area = cv2.convexHull(rough.astype(np.float32)), cv2.contourArea(rough.astype(np.float32))
    if piece is None and (bays := 1.0 - area / cv2.contourArea(hull)) > _BAYS:
        notes.append(said("cloth.bays", share=100 * bays))
    if uneven > _UNLIKE / 4.0:
        notes.append(said("cloth.uneven", uneven=100 * uneven))
    if (clipped := burnt / float(inside.sum())) > _CLIPPED:
        notes.append(said("cloth.clipped", clipped=100 * clipped))
    some = np.maximum(np.concatenate(sample).astype(float), 1e-3)
    middle = np.repeat([[WIDTH / 2.0, HEIGHT / 2.0]], len(some), axis=0)
    same = unmixer.dyes.conditions.get("geometry") == "photograph"
    notes += [*found.warnings, *([said("cloth.same_camera")] if same else [])]
    return Photographed(
        unmixer, photo.file, out[..., :3], out[..., 3:-1], inside, out[..., -1] > 0.5, n / per_mm,
        lens.back(middles), found.matrix.coefficients, found.camera(some, middle).mean(axis=0),
        bool((gain != 1.0).any()), tuple(notes),
    )  # fmt: skip


def read_outline(text: str) -> Array:
    """Corners ``(P, 2)`` of words as ``120,80 900,90 890,700 110,690``. Raises `InputError`."""
    try:
        corners = np.array([[float(x) for x in point.split(",")] for point in text.split()])
    except ValueError:
        corners = np.empty(0)
    wrong = corners.shape[1:] != (2,) or len(corners) < 3
    refuse(wrong, "cloth.no_outline", text=text, error=InputError)
    return corners


def _finer(cells: NDArray[Any], step: int) -> NDArray[Any]:
    """Each cell as so many a side."""
    return cells.repeat(step, axis=0).repeat(step, axis=1)


def _pixels_per_mm(lens: Lens, pixel: Array) -> float:
    """Pixels a mm of the page's plane at a pixel ``(2,)``: the root of the area."""
    mm = lens.back(pixel + np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    return float(abs(np.linalg.det(mm[1:] - mm[0])) ** -0.5)


def _outline(seen: PhotoReading, lens: Lens) -> Array:
    """Outline ``(P, 2)`` in pixels of the largest thing beside the page, unlike the table."""
    import cv2

    photo = seen.photograph
    centre = np.array(photo.codes.shape[1::-1]) / 2.0
    n = max(1, round(_BLOCK_MM * _pixels_per_mm(lens, centre)))
    size = (photo.codes.shape[1] // n, photo.codes.shape[0] // n)
    cut = photo.codes[: size[1] * n, : size[0] * n]
    light = photo.light(cv2.resize(cut, size, interpolation=cv2.INTER_AREA))
    log = np.log(np.maximum(light, 1e-4))
    across, along = _PAPER
    paper = quad(-across, -along, WIDTH + 2 * across, HEIGHT + 2 * along)
    page = np.zeros(size[::-1], np.uint8)
    cv2.fillPoly(page, [np.rint(lens(paper) / n).astype(np.int32)], 1)
    ring, edge = page == 0, max(2, min(size) // 40)
    ring[edge:-edge, edge:-edge] = False
    table = log[ring]
    photo.refuse(not len(table), "cloth.no_table")
    # The table is judged by place: light falls off over the picture, whatever lies there.
    middle = np.median(table, axis=0)
    spread = robust_deviation(table - middle)
    away = np.abs(log - middle).max(axis=2)
    unlike = ((away > max(_UNLIKE, _DEVIATIONS * spread)) & (page == 0)).astype(np.uint8)
    side = 2 * round(_NARROWEST_MM / _BLOCK_MM / 2) + 1  # odd: an even one moves what it closes
    narrow = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    whole = cv2.morphologyEx(unlike, cv2.MORPH_CLOSE, narrow)
    whole = cv2.morphologyEx(whole, cv2.MORPH_OPEN, narrow, borderValue=0)
    outlines, _ = cv2.findContours(whole, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    photo.refuse(not outlines, "cloth.no_cloth")
    largest = max(outlines, key=cv2.contourArea)
    return np.asarray((largest[:, 0, :] + 0.5) * n, dtype=float)


def _anchor(seen: PhotoReading, unmixer: Unmixer) -> tuple[Single, list[str]]:
    """Gain ``(3,)`` of the responses by which the undyed square reads as the shelf's cloth."""
    undyed = [c.lab for c in seen.cells if c.content.recipe is not None and not c.content.recipe]
    if not undyed:
        return np.ones(3, np.float32), [said("cloth.no_undyed")]
    read = xyz_from_lab(np.mean(undyed, axis=0), D65_2) / white(D65_2)
    cloth = unmixer.responses(np.zeros((1, len(unmixer.dose))))[0]
    miss = float(delta_e(labs(read), labs(cloth)))
    notes = [said("cloth.other_cloth", miss=miss)] if miss > _SAME_CLOTH else []
    return np.asarray(cloth / read, dtype=np.float32), notes


def _gains(seen: PhotoReading, pixels: Array) -> tuple[Single, float]:
    """What evens the light at pixels ``(..., 2)`` beside the page, ``(..., 3)``; and how far the
    paper is from that light.

    The surface that evens the page may bend as it likes beyond it. Here the fall of the light is a
    plane and a term of the distance from the middle of the picture, as lenses have (the first term
    of cos⁴), fitted to the same white spots.
    """
    flat = seen.characterisation.flat
    centre = np.array(seen.photograph.codes.shape[1::-1]) / 2.0
    if len(flat.spots) < 8:
        return np.ones((*pixels.shape[:-1], 3), np.float32), 0.05

    def terms(pixels: Array) -> Array:
        x, y = np.moveaxis((pixels - centre) / np.linalg.norm(centre), -1, 0)
        return np.stack([np.ones_like(x), x, y, x * x + y * y], axis=-1)

    log = np.log(flat.at(flat.spots)) + np.log(flat.ratio)[:, np.newaxis]
    known = terms(seen.photograph.lens(flat.spots))
    found = np.linalg.lstsq(known, log, rcond=None)[0]
    gains = np.exp(-terms(pixels) @ found).astype(np.float32)
    return gains, float(np.abs(log - known @ found).mean())
