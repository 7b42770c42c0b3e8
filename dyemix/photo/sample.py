"""Linear light inside the places of a picture: rasters, block means, edges."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.photo.decode import Photograph
from dyemix.photo.flat_field import Flat
from dyemix.photo.layout import homography, inset, quad, within

#: The middle of a cell that is read, in both directions; frayed edges lie outside it.
CORE = 0.66
#: Blocks along each side of a cell; a block is then some threads wide and evens the weave out.
BLOCKS = 6
#: A block that differs from the others by so many robust standard deviations, and so much, is a
#: seam, a loose thread or a hole.
_ODD_BLOCK, _ODD_SHARE = 4.0, 0.03
_LARGEST_RASTER = 240


@dataclass(frozen=True, eq=False)
class Raster:
    """Linear light ``(H, W, 3)`` of one place, squared up; shares of pixels clipped, by end."""

    light: NDArray[np.float32]
    high: float
    low: float


def raster(photo: Photograph, corners: Array, most: int = _LARGEST_RASTER) -> Raster:
    """Square a quadrilateral ``(4, 2)`` up, near the resolution of the picture.

    Codes become light before they are interpolated. Pixels beyond the picture count as clipped.
    """
    import cv2

    top, left = corners[1] - corners[0], corners[3] - corners[0]
    width = int(np.clip(round(np.linalg.norm(top)), 4, most))
    height = int(np.clip(round(np.linalg.norm(left)), 4, most))
    limits = np.array(photo.codes.shape[1::-1])
    low = np.clip(np.floor(corners.min(axis=0)).astype(int) - 2, 0, limits - 1)
    high = np.clip(np.ceil(corners.max(axis=0)).astype(int) + 3, low + 1, limits)
    crop = photo.codes[low[1] : high[1], low[0] : high[0]]
    matrix = homography(quad(-0.5, -0.5, width, height), corners - low)

    def squared(values: NDArray[Any], border: tuple[float, ...]) -> NDArray[np.float32]:
        flags, size = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, (width, height)
        found = cv2.warpPerspective(
            values.astype(np.float32), matrix, size, flags=flags, borderValue=border
        )
        return np.asarray(found, dtype=np.float32)

    ends = np.stack([crop >= photo.limits[1], crop <= photo.limits[0]], axis=2)
    high, low_end = squared(np.asarray(ends.any(axis=-1)), (1, 1)).mean(axis=(0, 1))
    return Raster(squared(photo.light(crop), (0,)), float(high), float(low_end))


def levels(photo: Photograph, places: Array, share: float) -> Array:
    """Mean linear light ``(N, 3)`` of the middles of even things ``(N, 4, 2)``: paper, patches.

    The middle half of the sorted values is averaged, so that specks and scratches do not count.
    """
    found = np.empty((len(places), 3))
    for i, corners in enumerate(places):
        light = raster(photo, inset(corners, share), 60).light
        values = np.sort(light.reshape(-1, 3), axis=0)
        quarter = len(values) // 4
        found[i] = values[quarter : len(values) - quarter].mean(axis=0)
    return found


@dataclass(frozen=True, eq=False)
class Cloth:
    """What the middle of a cell holds, in linear light.

    Attributes
    ----------
    mean : ``(3,)``, over the blocks that belong to the cloth.
    covariance : ``(3, 3)`` of that mean, from the scatter of the blocks.
    blocks : ``(K, 3)`` means of the blocks that were kept.
    left_out : share of blocks left out as a seam, a thread or a hole.
    slope : largest change of brightness from edge to edge, as a fraction.
    high, low : shares of pixels clipped.
    """

    mean: Array
    covariance: Array
    blocks: Array
    left_out: float
    slope: float
    high: float
    low: float


def cloth(photo: Photograph, corners: Array, flat: Flat) -> Cloth:
    """Average the middle of a cell ``(4, 2)`` over its weave; `flat` is divided out of it.

    Means are taken in linear light; odd blocks are left out, the median deciding. The covariance
    of the mean takes the larger of what single blocks and groups of four say, since the unevenness
    of dyed cloth is often wider than a block.
    """
    core = inset(corners, CORE)
    found = raster(photo, core)
    steps = (np.arange(BLOCKS) + 0.5) / BLOCKS
    y, x = np.meshgrid(steps, steps, indexing="ij")
    middles = within(core, np.stack([x.ravel(), y.ravel()], axis=1))
    means = _block_means(found.light) / flat.at(middles)
    bright = means.mean(axis=1)
    middle = np.median(bright)
    spread = 1.4826 * np.median(np.abs(bright - middle))
    kept = np.abs(bright - middle) <= max(_ODD_BLOCK * spread, _ODD_SHARE * middle)
    good = means[kept]
    mean = good.mean(axis=0)
    fine = np.cov(good.T) / len(good)
    grid = np.where(kept[:, np.newaxis], means, mean).reshape(BLOCKS, BLOCKS, 3)
    half = BLOCKS // 2
    groups = grid.reshape(half, 2, half, 2, 3).mean(axis=(1, 3)).reshape(-1, 3)
    coarse = np.cov(groups.T) / len(groups)
    place = np.stack(
        [np.ones(BLOCKS**2), *(np.indices((BLOCKS, BLOCKS)).reshape(2, -1) / (BLOCKS - 1))], axis=1
    )
    tilt = np.linalg.lstsq(place[kept], bright[kept], rcond=None)[0][1:]
    return Cloth(
        mean=mean,
        covariance=coarse if np.trace(coarse) > np.trace(fine) else fine,
        blocks=good,
        left_out=1.0 - float(kept.mean()),
        slope=float(np.abs(tilt).max() / max(middle, 1e-6)),
        high=found.high,
        low=found.low,
    )


def _block_means(light: NDArray[np.float32]) -> Array:
    """Means ``(BLOCKS², 3)`` of an even division, row by row."""
    rows = np.linspace(0, light.shape[0], BLOCKS, endpoint=False).astype(int)
    columns = np.linspace(0, light.shape[1], BLOCKS, endpoint=False).astype(int)
    sums = np.add.reduceat(np.add.reduceat(light.astype(float), rows, axis=0), columns, axis=1)
    counts = np.outer(
        np.diff(np.append(rows, light.shape[0])), np.diff(np.append(columns, light.shape[1]))
    )
    return np.asarray((sums / counts[..., np.newaxis]).reshape(-1, 3))


def blur_mm(photo: Photograph, bar: Array, bar_height: float) -> float:
    """How soft the edges of a printed bar are: the 20–80 % rise in mm; inf where none is seen.

    `bar` ``(4, 2)`` are its corners, `bar_height` its height in mm.
    """
    profile = (
        raster(photo, within(bar, quad(0.2, -0.5, 0.6, 2.0)), 120)
        .light.mean(axis=(1, 2))
        .astype(float)
    )
    steps = np.linspace(0, len(profile) - 1, 240)
    profile = np.interp(steps, np.arange(len(profile)), profile)
    low, high = profile.min(), np.quantile(profile, 0.9)
    if high <= 0 or low > 0.7 * high:
        return float("inf")
    share = (profile - low) / (high - low)
    bottom = int(np.argmin(share))
    widths = []
    for side in (share[bottom::-1], share[bottom:]):
        above = [np.argmax(side > at) for at in (0.2, 0.8)]
        if side.max() > 0.8:
            widths.append(float(above[1] - above[0]))
    if not widths:
        return float("inf")
    return min(widths) / len(profile) * 2.0 * bar_height
