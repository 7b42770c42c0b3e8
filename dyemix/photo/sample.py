"""Linear light inside the places of a picture, and what is doubtful about it."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array, Flags, robust_deviation
from dyemix.errors import said
from dyemix.photo.decode import Photograph, sayings
from dyemix.photo.layout import BAR_HEIGHT, HEAD, inset, parts, quad, within
from dyemix.photo.light import Flat, covered
from dyemix.photo.places import Frame

#: The middle of a piece that is read, in both directions; frayed edges lie outside it.
CORE = 0.66
#: Blocks along each side of a cell; a block is then some threads wide and evens the weave out.
BLOCKS = 6
#: An even thing is clipped beyond this share of pixels.
_CLIPPED = 0.02
#: A block that differs from the others by so many robust standard deviations, and so much, is a
#: seam, a loose thread or a hole.
_ODD_BLOCK, _ODD_SHARE = 4.0, 0.03
_LARGEST_RASTER = 240
#: A block of paper differs by less than this from the paper around it, as a fraction.
_UNLIKE_PAPER = 0.035
#: In a noisy or patchy picture paper differs from paper: by so many robust standard deviations.
_NOISE = 6.0
#: A shadow that takes more than this (log light) is none, but cloth.
_DEEPEST = -0.45
#: Nor is dyed cloth brighter than paper: what is, by less than this, is paper beside a shadow.
_BRIGHTER = 0.12
#: Cloth is looked for in blocks of this size, up to so far around its cell; nothing narrower is
#: cloth.
_BLOCK_MM, _AROUND_MM, _NARROWEST_MM = 0.8, 2.0, 4.0
#: Blocks of cloth differ from those around by 0.015 to 0.03 (log light, standard deviation), of
#: paper by 0.004 at most: on photographs of the simulated camera.
_WOVEN = 0.007


def raster(
    photo: Photograph, corners: Array, most: int = _LARGEST_RASTER, size: Any = None
) -> tuple[NDArray[np.float32], Array]:
    """Square a place ``(4, 2)`` up as the lens shows it: near the resolution of the picture, or to
    a `size` (width, height).

    Gives its linear light ``(H, W, 3)``, and the shares ``(2, 3)`` of its pixels at the bottom and
    at the top of each channel. Codes become light before they are interpolated. Pixels beyond the
    picture count as clipped.
    """
    import cv2

    sides = np.linalg.norm(np.diff(photo.lens(corners[[1, 0, 3]]), axis=0), axis=1)
    width, height = np.clip(np.rint(sides), 4, most).astype(int) if size is None else size
    y, x = (np.indices((height, width)) + 0.5) / np.array([height, width])[:, None, None]
    at = photo.lens(within(corners, np.stack([x, y], axis=-1)))
    limits = np.array(photo.codes.shape[1::-1])
    low = np.clip(np.floor(at.min(axis=(0, 1))).astype(int) - 1, 0, limits - 1)
    high = np.clip(np.ceil(at.max(axis=(0, 1))).astype(int) + 2, low + 1, limits)
    crop = photo.codes[low[1] : high[1], low[0] : high[0]]
    x, y = np.moveaxis((at - low).astype(np.float32), 2, 0)
    how, both = cv2.INTER_LINEAR, [crop <= photo.limits[0], crop >= photo.limits[1]]
    light = np.asarray(cv2.remap(photo.light(crop), x, y, how), dtype=np.float32)
    shares = np.zeros((2, 3))
    if (at < 0.0).any() or (at > limits - 1.0).any() or np.any(both):  # else none is clipped
        ends = (end.astype(np.float32) for end in both)
        beyond = [cv2.remap(end, x, y, how, borderValue=(1, 1, 1)) for end in ends]
        shares = np.mean(beyond, axis=(1, 2), dtype=float)
    return light, shares


def levels(
    photo: Photograph, places: Array, share: float, among: tuple[float, float] = (0.25, 0.75)
) -> tuple[Array, Flags]:
    """Mean linear light ``(N, 3)`` of the middles of even things ``(N, 4, 2)``: paper, patches; and
    whether they are within the scale ``(N,)``.

    Of the sorted values those `among` two shares are averaged, so that specks, scratches and what
    covers an edge do not count.
    """
    found, shown = np.empty((len(places), 3)), np.empty(len(places), dtype=bool)
    for i, corners in enumerate(places):
        light, ends = raster(photo, inset(corners, share), 60)
        values = np.sort(light.reshape(-1, 3), axis=0)
        found[i] = values[slice(*(int(part * len(values)) for part in among))].mean(axis=0)
        shown[i] = ends.max() <= _CLIPPED
    return found, shown


@dataclass(frozen=True, eq=False)
class Cloth:
    """What the middle of a cell holds, in linear light.

    Attributes
    ----------
    piece, core : ``(4, 2)`` where it lies, and where it was read.
    size : ``(2,)`` of the piece in mm; 0 where all is paper, infinite where there is no page to
        tell it from.
    share : of the rectangle of that size that is unlike the paper; 1 where it is woven only.
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

    piece, size, share = corners, np.full(2, np.inf), 1.0
    if flat.known and not whole:
        piece, size, share = _piece(photo, corners, flat)
    core = inset(piece, CORE)
    light, ends = raster(photo, core)
    means = cv2.resize(light, (BLOCKS, BLOCKS), interpolation=cv2.INTER_AREA)
    middles = parts(core, BLOCKS, BLOCKS).mean(axis=1)
    means = means.reshape(-1, 3).astype(float) / flat.at(middles)
    bright = means @ photo.to_xyz[1]  # as the eye: blue is the noisiest under warm lamps
    middle = np.median(bright)
    spread = robust_deviation(bright - middle)
    kept = np.abs(bright - middle) <= max(_ODD_BLOCK * spread, _ODD_SHARE * middle)
    good = means[kept]
    mean = good.mean(axis=0)
    fine = np.cov(good.T) / len(good)
    grid = np.where(kept[:, np.newaxis], means, mean).reshape(BLOCKS, BLOCKS, 3)
    half = BLOCKS // 2
    groups = grid.reshape(half, 2, half, 2, 3).mean(axis=(1, 3)).reshape(-1, 3)
    coarse = np.cov(groups.T) / len(groups)
    place = np.indices((BLOCKS, BLOCKS)).reshape(2, -1) / (BLOCKS - 1)
    place = np.column_stack([np.ones(BLOCKS**2), *place])
    tilt = np.linalg.lstsq(place[kept], bright[kept], rcond=None)[0][1:]
    covariance = coarse if np.trace(coarse) > np.trace(fine) else fine
    left_out, slope = 1.0 - float(kept.mean()), float(np.abs(tilt).max() / max(middle, 1e-6))
    return Cloth(piece, core, size, share, mean, covariance, good, left_out, slope, ends)


def _piece(photo: Photograph, corners: Array, flat: Flat) -> tuple[Array, Array, float]:
    """The cloth that lies in a cell ``(4, 2)`` of the photo page: a rectangle, turned as it lies.

    The cell and its surround are looked at in blocks; those unlike the paper are cloth, once the
    head of the cell, where words stand, is taken away, what is narrower than any cloth (the printed
    outline), and a shadow or reflection: what is neutral and no dimmer or brighter than the paper
    around, or no dimmer than the surround where most of that is neutral and dim.

    Returns the rectangle ``(4, 2)``, its size ``(2,)`` in mm, and the share of it that is cloth; of
    what is all like paper the cell, noughts, and 1 where its middle has a weave: white cloth.
    """
    import cv2

    size = np.ptp(corners, axis=0) + 2.0 * _AROUND_MM
    outer = quad(*(corners[0] - _AROUND_MM), *size)
    columns, rows = (int(n) for n in np.rint(size / _BLOCK_MM))
    blocks = cv2.resize(raster(photo, outer)[0], (columns, rows), interpolation=cv2.INTER_AREA)
    paper = flat.level * flat.at(parts(outer, rows, columns).mean(axis=1))
    off = np.log(np.maximum(blocks.reshape(-1, 3), 1e-5) / paper)
    least = max(_UNLIKE_PAPER, _NOISE * flat.residual)
    level, neutral = off.mean(axis=1), np.ptp(off, axis=1) < least
    darkest, brightest = (np.log(flat.near(corners.mean(axis=0), 8, share)) for share in (0.0, 1.0))
    brightest = max(brightest, _BRIGHTER)
    around = np.ones((rows, columns), dtype=bool)
    around[2:-2, 2:-2] = False
    dim = np.sort(level[neutral & (level < 0) & around.ravel()])
    if len(dim) > around.sum() / 2:
        darkest = min(darkest, max(dim[len(dim) // 20], _DEEPEST))
    shadow = neutral & (darkest - least < level) & (level < brightest + least)
    unlike = (np.abs(off).max(axis=1) > least) & ~shadow
    unlike = unlike.reshape(rows, columns).astype(np.uint8)
    unlike[: int(np.ceil((HEAD + _AROUND_MM) / _BLOCK_MM))] = 0
    narrow = np.ones((round(_NARROWEST_MM / _BLOCK_MM),) * 2, np.uint8)
    opened = cv2.morphologyEx(unlike, cv2.MORPH_OPEN, narrow, borderValue=0)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(opened)
    if count < 2:
        down, across = (slice(int(0.3 * n), int(0.7 * n)) for n in (rows, columns))
        middle = level.reshape(rows, columns)[down, across]
        return corners, np.zeros(2), float(np.std(middle - cv2.blur(middle, (5, 5))) > _WOVEN)
    largest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    blocks_at = np.argwhere(labels == largest)[:, ::-1].astype(np.float32) + 0.5
    middle, sides, turn = cv2.minAreaRect(blocks_at)
    whole = np.add(sides, 1.0)  # from the middles of blocks to their edges
    box = cv2.boxPoints((middle, tuple(whole), turn)) / (columns, rows)
    share = len(blocks_at) / float(np.prod(whole))
    return within(outer, box.astype(float)), whole * _BLOCK_MM, share


def blur_mm(photo: Photograph, bar: Array) -> float:
    """How soft the edges of a printed bar ``(4, 2)`` are: the 20–80 % rise in mm; inf where none is
    seen.
    """
    light = raster(photo, within(bar, quad(0.2, -0.5, 0.6, 2.0)), 120)[0]
    rows = np.linspace(0, len(light) - 1, 240)
    profile = np.interp(rows, np.arange(len(light)), light.mean(axis=(1, 2), dtype=float))
    bottom = 80 + int(np.argmin(profile[80:160]))  # in the bar, not in dark cloth beside it
    low, high = profile[bottom], np.quantile(profile, 0.9)
    share = (profile - low) / max(high - low, 1e-9)
    sides = (share[bottom::-1], share[bottom:]) if low <= 0.7 * high else ()
    rises = [np.argmax(side > 0.8) - np.argmax(side > 0.2) for side in sides if side.max() > 0.8]
    return float(min(rises, default=np.inf)) / len(profile) * 2.0 * BAR_HEIGHT


# Working values of our own, each found on photographs of the simulated camera.
CLIPPED = 0.1  # share of pixels: fewer hardly move a mean
_CHANNELS = np.array(["red", "green", "blue"])
_SHADOW = 0.06  # the paper around a cell, against the smooth fall of the light
_BLUR_MM = 0.9  # 20–80 % rise of a printed edge
_SLOPE = 0.12  # change of brightness from edge to edge
_SEAM = 0.25  # share of blocks that do not belong to the cloth
MOTTLED = 0.7  # root mean square ΔE2000 of parts of a cell; level cloth shows 0.2 to 0.5
_SMALLEST = 9.0  # mm; smaller than that, frayed edges are much of it
_RAGGED = 0.75  # share of its rectangle that cloth fills
_TONES = 0.04  # printed greys, against each other
#: Paper that differs by more than this (robust standard deviation) after the smooth fall of light.
PATCHY = 0.009


def clipped(ends: Array) -> str:
    """Which channels of a cell stand at an end of the scale, of shares ``(2, 3)``; '' for none."""
    low, high = (" and ".join(_CHANNELS[end]) for end in ends > CLIPPED)
    where = sayings({"at_bottom": low, "at_top": high}, low=low, high=high)
    return ", ".join(["clipped", *where]) if where else ""


def reasons(here: Cloth, nearby: float, rise: float) -> tuple[str, ...]:
    """Why a cell is to be left out; empty for a sound one.

    `nearby` is the light of the paper around it over what it should be, `rise` the width in mm of a
    printed edge.
    """
    holds = {
        "all_clipped": here.ends.max(axis=0).min() > CLIPPED,
        "shadowed": abs(nearby - 1.0) > _SHADOW,
        "seam": here.left_out > _SEAM,
        "fold": here.slope > _SLOPE,
        "too_small": 0 < here.size.min() < _SMALLEST,
        "ragged": 0 < here.share < _RAGGED,
        "blurred": rise > _BLUR_MM,
    }
    return tuple(sayings(
        holds, what="shadowed" if nearby < 1.0 else "in a bright spot", paper=100 * (nearby - 1.0),
        odd=100 * here.left_out, fall=100 * here.slope, width=here.size[0], height=here.size[1],
        edges="gone" if np.isinf(rise) else f"{rise:.1f} mm wide",
    ))  # fmt: skip


def retouched(photo: Photograph, frame: Frame, flat: Flat) -> list[str]:
    """Signs that the camera changed its tones from place to place, as HDR and night modes do.

    The same paper must look the same once the smooth fall of the light is taken out, and the same
    printed grey too, where no cloth lies on it. `photo` has straight tones.
    """
    checks = frame.of("check")
    light = np.log(levels(photo, checks, 0.5)[0] / flat.at(checks.mean(axis=1)))
    off = light - np.median(light, axis=0) if len(checks) else light
    hidden, seen = covered(off, np.ones(3))
    far = np.abs(seen - 1.0)
    odd = flat.known & ~hidden & (far > _TONES)
    where = ", ".join(label for label, differs in zip(frame.labels, odd, strict=False) if differs)
    holds = {
        "overexposed": flat.clipped,
        "local_paper": flat.residual > PATCHY and not flat.clipped,
        "local_grey": odd.any(),
    }
    return sayings(
        holds, where=where, most=100 * far[odd].max(initial=0.0), paper=100 * flat.residual,
        local=said("photo.local"), remedy=said("photo.remedy"),
    )  # fmt: skip
