"""What is doubtful about a cell: clipped, shadowed, out of focus, uneven, mottled, retouched."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.photo.decode import Photograph
from dyemix.photo.flat_field import Flat, covered
from dyemix.photo.layout import BAR_HEIGHT
from dyemix.photo.places import Frame
from dyemix.photo.sample import Cloth, blur_mm, levels

# Working values of our own, each found on photographs of the simulated camera.
CLIPPED = 0.1  # share of pixels: fewer hardly move a mean
_SHADOW = 0.06  # the paper around a cell, against the smooth fall of the light
_BLUR_MM = 0.9  # 20–80 % rise of a printed edge
_SLOPE = 0.12  # change of brightness from edge to edge
_SEAM = 0.25  # share of blocks that do not belong to the cloth
_MOTTLED = 0.7  # root mean square ΔE2000 of parts of a cell; level cloth shows 0.2 to 0.5
_SMALLEST = 9.0  # mm; smaller than that, frayed edges are much of it
_RAGGED = 0.75  # share of its rectangle that cloth fills
_TONES = 0.04  # printed greys, against each other
REMEDY = (
    "Save Display P3 or raw instead of sRGB, expose two thirds of a stop less, or dye it paler."
)
#: Paper that differs by more than this (robust standard deviation) after the smooth fall of light.
PATCHY = 0.009


def mottled(spread: float) -> tuple[str, ...]:
    """The flag of a cell whose parts differ by `spread` ΔE2000, where that is more than usual."""
    flag = f"mottled: parts differ by {spread:.1f} ΔE2000 from their mean"
    return (flag,) if spread > _MOTTLED else ()


def printed_greys(photo: Photograph, frame: Frame, flat: Flat) -> tuple[Array, NDArray[np.bool_]]:
    """How far the printed grey of each cell is from the others, as a fraction ``(N,)``, and whether
    cloth lies on it ``(N,)``. `photo` has straight tones.
    """
    checks = frame.of("check")
    light = np.log(levels(photo, checks, 0.5) / flat.at(checks.mean(axis=1)))
    off = light - np.median(light, axis=0) if len(checks) else light
    return np.expm1(off.mean(axis=1)), covered(off)


def softness(photo: Photograph, frame: Frame) -> Array:
    """How wide the edges of the black bar of each cell are in mm ``(N,)``: the focus there."""
    rises = [blur_mm(photo, bar, BAR_HEIGHT) for bar in frame.of("bar")]
    return np.array(rises) if rises else np.zeros(len(frame.labels))


def clipped(ends: Array) -> str:
    """Which channels of a cell stand at an end of the scale, of shares ``(2, 3)``; '' for none."""
    words = (
        "at 0: the colour lies beyond what the file can hold",
        "at the top: overexposed, or so",
    )
    where = [
        f"{' and '.join(np.array(['red', 'green', 'blue'])[end])} {word}"
        for end, word in zip(ends > CLIPPED, words, strict=True)
        if end.any()
    ]
    return "clipped, " + ", ".join(where) if where else ""


def reasons(here: Cloth, nearby: float, rise: float) -> tuple[str, ...]:
    """Why a cell is to be left out; empty for a sound one.

    `nearby` is the light of the paper around it over what it should be, `rise` the width in mm of a
    printed edge.
    """
    edges = "gone" if np.isinf(rise) else f"{rise:.1f} mm wide"
    what = "shadowed" if nearby < 1.0 else "in a bright spot"
    found = [
        (
            here.ends.max(axis=0).min() > CLIPPED,
            "clipped: every channel is at an end of the scale; expose it a stop differently",
        ),
        (
            abs(nearby - 1.0) > _SHADOW,
            f"{what}: the paper around it is {100 * (nearby - 1):+.0f} %",
        ),
        (
            here.left_out > _SEAM,
            f"uneven: {100 * here.left_out:.0f} % of it differs (a seam, a fold or a shadow)",
        ),
        (
            here.slope > _SLOPE,
            f"uneven: brightness changes by {100 * here.slope:.0f} % across it (a fold or a "
            "shadow)",
        ),
        (
            0 < here.size.min() < _SMALLEST,
            "too small: {:.0f} × {:.0f} mm of cloth; cut it larger".format(*here.size),
        ),
        (0 < here.share < _RAGGED, "uneven: what lies there is no rectangle, or white as paper"),
        (rise > _BLUR_MM, f"out of focus: edges are {edges}"),
    ]
    return tuple(reason for wrong, reason in found if wrong)


def retouched(frame: Frame, flat: Flat, greys: Array, hidden: NDArray[np.bool_]) -> list[str]:
    """Signs that the camera changed its tones from place to place, as HDR and night modes do.

    The same paper must look the same once the smooth fall of the light is taken out, and the same
    printed grey too: `greys` is how far each is off, and `hidden` where cloth lies on it.
    """
    signs = []
    if flat.clipped:
        signs.append(f"the paper is at the top of the scale: overexposed. {REMEDY}")
    elif flat.residual > PATCHY:
        signs.append(
            f"the same paper differs by {100 * flat.residual:.1f} % from place to place: the "
            "camera changed tones locally (HDR, night mode, filters), or the light was patchy"
        )
    odd = flat.known & ~hidden & (np.abs(greys) > _TONES)
    if odd.any():
        where = ", ".join(label for label, far in zip(frame.labels, odd, strict=True) if far)
        signs.append(
            f"the same printed grey differs by up to {100 * np.abs(greys[odd]).max():.0f} % (under "
            f"{where}): the camera changed tones locally, or a shadow lies on it"
        )
    return signs
