"""Linear light inside the places of a picture: rasters, block means, edges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.photo.decode import Photograph
from dyemix.photo.flat_field import Flat
from dyemix.photo.layout import HEAD, inset, parts, quad, within

#: The middle of a piece that is read, in both directions; frayed edges lie outside it.
CORE = 0.66
#: Blocks along each side of a cell; a block is then some threads wide and evens the weave out.
BLOCKS = 6
#: A block that differs from the others by so many robust standard deviations, and so much, is a
#: seam, a loose thread or a hole.
_ODD_BLOCK, _ODD_SHARE = 4.0, 0.03
_LARGEST_RASTER = 240
#: A block of paper differs by less than this from the paper around it, as a fraction.
_UNLIKE_PAPER = 0.035
#: In a noisy or patchy picture paper differs from paper: by so many robust standard deviations.
_NOISE = 6.0
#: Cloth is looked for in blocks of this size, up to so far around its cell; nothing narrower is
#: cloth.
_BLOCK_MM, _AROUND_MM, _NARROWEST_MM = 0.8, 2.0, 3.2


@dataclass(frozen=True, eq=False)
class Raster:
    """Linear light ``(H, W, 3)`` of one place, squared up; `ends` ``(2, 3)`` are the shares of its
    pixels at the bottom and at the top of each channel.
    """

    light: NDArray[np.float32]
    ends: Array


def raster(
    photo: Photograph,
    corners: Array,
    most: int = _LARGEST_RASTER,
    size: tuple[int, int] | None = None,
) -> Raster:
    """Square a place ``(4, 2)`` up as the lens shows it: near the resolution of the picture, or to
    a size (width, height).

    Codes become light before they are interpolated. Pixels beyond the picture count as clipped.
    """
    import cv2

    sides = np.linalg.norm(np.diff(photo.lens(corners[[3, 0, 1]]), axis=0), axis=1)
    height, width = (int(np.clip(round(side), 4, most)) for side in sides)
    width, height = size or (width, height)
    y, x = (np.indices((height, width)) + 0.5) / np.array([height, width])[:, None, None]
    at = photo.lens(within(corners, np.stack([x, y], axis=-1)))
    limits = np.array(photo.codes.shape[1::-1])
    low = np.clip(np.floor(at.min(axis=(0, 1))).astype(int) - 1, 0, limits - 1)
    high = np.clip(np.ceil(at.max(axis=(0, 1))).astype(int) + 2, low + 1, limits)
    crop = photo.codes[low[1] : high[1], low[0] : high[0]]
    x, y = np.moveaxis((at - low).astype(np.float32), 2, 0)
    ends = np.dstack([crop <= photo.limits[0], crop >= photo.limits[1]]).astype(np.float32)
    light = cv2.remap(photo.light(crop), x, y, cv2.INTER_LINEAR)
    beyond = [
        cv2.remap(end, x, y, cv2.INTER_LINEAR, borderValue=(1, 1, 1))
        for end in np.split(ends, 2, 2)
    ]
    shares = np.mean(beyond, axis=(1, 2), dtype=float)
    return Raster(np.asarray(light, dtype=np.float32), shares)


def levels(
    photo: Photograph, places: Array, share: float, among: tuple[float, float] = (0.25, 0.75)
) -> Array:
    """Mean linear light ``(N, 3)`` of the middles of even things ``(N, 4, 2)``: paper, patches.

    Of the sorted values those `among` two shares are averaged, so that specks, scratches and what
    covers an edge do not count.
    """
    found = np.empty((len(places), 3))
    for i, corners in enumerate(places):
        light = raster(photo, inset(corners, share), 60).light
        values = np.sort(light.reshape(-1, 3), axis=0)
        low, high = (int(part * len(values)) for part in among)
        found[i] = values[low:high].mean(axis=0)
    return found


@dataclass(frozen=True, eq=False)
class Cloth:
    """What the middle of a cell holds, in linear light.

    Attributes
    ----------
    piece, core : ``(4, 2)`` where it lies, and where it was read.
    size : ``(2,)`` of the piece in mm; 0 where all is paper, infinite where there is no page to
        tell it from.
    share : of the rectangle of that size that is unlike the paper.
    mean : ``(3,)``, over the blocks that belong to the cloth.
    covariance : ``(3, 3)`` of that mean, from the scatter of the blocks.
    blocks : ``(K, 3)`` means of the blocks that were kept.
    left_out : share of blocks left out as a seam, a thread or a hole.
    slope : largest change of brightness from edge to edge, as a fraction.
    ends : ``(2, 3)`` shares of pixels at the bottom and at the top of each channel.
    """

    piece: Array
    core: Array
    size: Array
    share: float
    mean: Array
    covariance: Array
    blocks: Array
    left_out: float
    slope: float
    ends: Array


def cloth(photo: Photograph, corners: Array, flat: Flat, whole: bool = False) -> Cloth:
    """Average the middle of a piece of cloth over its weave; `flat` is divided out of it.

    `corners` ``(4, 2)`` are those of its cell on the photo page, in mm, in which it lies anyhow, or
    of something that is the `whole` of it.

    Means are taken in linear light; odd blocks are left out, the median deciding. The covariance
    of the mean takes the larger of what single blocks and groups of four say, since the unevenness
    of dyed cloth is often wider than a block.
    """
    import cv2

    piece, found_size, share = corners, np.full(2, np.inf), 1.0
    if flat.known and not whole:
        piece, found_size, share = _piece(photo, corners, flat)
    core = inset(piece, CORE)
    found = raster(photo, core)
    means = cv2.resize(found.light, (BLOCKS, BLOCKS), interpolation=cv2.INTER_AREA)
    middles = parts(core, BLOCKS, BLOCKS).mean(axis=1)
    means = means.reshape(-1, 3).astype(float) / flat.at(middles)
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
        piece=piece,
        core=core,
        size=found_size,
        share=share,
        mean=mean,
        covariance=coarse if np.trace(coarse) > np.trace(fine) else fine,
        blocks=good,
        left_out=1.0 - float(kept.mean()),
        slope=float(np.abs(tilt).max() / max(middle, 1e-6)),
        ends=found.ends,
    )


def _piece(photo: Photograph, corners: Array, flat: Flat) -> tuple[Array, Array, float]:
    """The cloth that lies in a cell ``(4, 2)`` of the photo page: a rectangle, turned as it lies.

    The cell and its surround are looked at in blocks; those unlike the paper are cloth, once the
    head of the cell, where words stand, is taken away and what is narrower than any cloth (the
    printed outline). Returns the rectangle ``(4, 2)``, its size ``(2,)`` in mm, and the share of it
    that is cloth; the cell and noughts where all is paper.
    """
    import cv2

    size = np.ptp(corners, axis=0) + 2.0 * _AROUND_MM
    outer = quad(*(corners[0] - _AROUND_MM), *size)
    columns, rows = (int(n) for n in np.rint(size / _BLOCK_MM))
    blocks = cv2.resize(raster(photo, outer).light, (columns, rows), interpolation=cv2.INTER_AREA)
    paper = flat.level * flat.at(parts(outer, rows, columns).mean(axis=1))
    away = np.abs(np.log(np.maximum(blocks.reshape(-1, 3), 1e-5) / paper)).max(axis=1)
    unlike = (
        (away > max(_UNLIKE_PAPER, _NOISE * flat.residual)).reshape(rows, columns).astype(np.uint8)
    )
    unlike[: int(np.ceil((HEAD + _AROUND_MM) / _BLOCK_MM))] = 0
    narrow = np.ones((round(_NARROWEST_MM / _BLOCK_MM),) * 2, np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        cv2.morphologyEx(unlike, cv2.MORPH_OPEN, narrow, borderValue=0)
    )
    if count < 2:
        return corners, np.zeros(2), 0.0
    largest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    blocks_at = np.argwhere(labels == largest)[:, ::-1].astype(np.float32) + 0.5
    middle, sides, turn = cv2.minAreaRect(blocks_at)
    whole = np.add(sides, 1.0)  # from the middles of blocks to their edges
    box = cv2.boxPoints((middle, tuple(whole), turn)) / (columns, rows)
    share = len(blocks_at) / float(np.prod(whole))
    return within(outer, box.astype(float)), whole * _BLOCK_MM, share


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
    bottom = 80 + int(np.argmin(profile[80:160]))  # in the bar, not in dark cloth beside it
    low, high = profile[bottom], np.quantile(profile, 0.9)
    if high <= 0 or low > 0.7 * high:
        return float("inf")
    share = (profile - low) / (high - low)
    widths = []
    for side in (share[bottom::-1], share[bottom:]):
        above = [np.argmax(side > at) for at in (0.2, 0.8)]
        if side.max() > 0.8:
            widths.append(float(above[1] - above[0]))
    if not widths:
        return float("inf")
    return min(widths) / len(profile) * 2.0 * bar_height
