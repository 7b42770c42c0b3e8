"""What is doubtful about a cell: clipped, shadowed, out of focus, uneven, mottled, retouched."""

from __future__ import annotations

import numpy as np

from dyemix.photo.decode import Photograph
from dyemix.photo.flat_field import Flat
from dyemix.photo.layout import BAR_HEIGHT
from dyemix.photo.places import Frame
from dyemix.photo.sample import Cloth, blur_mm, levels

# Working values of our own, each found on photographs of the simulated camera.
_CLIPPED = 0.01  # share of pixels
_SHADOW = 0.06  # the paper around a cell, against the smooth fall of the light
_BLUR_MM = 0.9  # 20–80 % rise of a printed edge
_SLOPE = 0.12  # change of brightness from edge to edge
_SEAM = 0.25  # share of blocks that do not belong to the cloth
_MOTTLED = 0.7  # root mean square ΔE2000 of parts of a cell; level cloth shows 0.2 to 0.5
_EMPTY = 0.035  # bare paper is this near the paper around it
_TONES = 0.04  # printed greys, against each other
#: Paper that differs by more than this (robust standard deviation) after the smooth fall of light.
PATCHY = 0.009


def empty(here: Cloth, flat: Flat) -> bool:
    """Whether a cell shows nothing but the page's own paper."""
    near = np.abs(here.mean / flat.level - 1.0).max() < _EMPTY
    return bool(near and here.blocks.std(axis=0).max() < _EMPTY * flat.level.max())


def mottled(spread: float) -> tuple[str, ...]:
    """The flag of a cell whose parts differ by `spread` ΔE2000, where that is more than usual."""
    flag = f"mottled: parts differ by {spread:.1f} ΔE2000 from their mean"
    return (flag,) if spread > _MOTTLED else ()


def reasons(photo: Photograph, frame: Frame, flat: Flat, i: int, here: Cloth) -> tuple[str, ...]:
    """Why the cell number `i` is to be left out; empty for a sound one."""
    nearby = flat.near(frame.of("swatch")[i].mean(axis=0))
    what = "shadowed" if nearby < 1.0 else "in a bright spot"
    found = [
        (
            here.high > _CLIPPED,
            f"clipped: {100 * here.high:.0f} % of it is at the top of the scale",
        ),
        (
            here.low > _CLIPPED,
            f"clipped: in {100 * here.low:.0f} % of it a channel is at 0, the colour lies beyond "
            "what the file can hold",
        ),
        (
            abs(nearby - 1.0) > _SHADOW,
            f"{what}: the paper around it is {100 * (nearby - 1):+.0f} %",
        ),
        (
            here.left_out > _SEAM,
            f"uneven: {100 * here.left_out:.0f} % of it differs (a seam, a fold, or cloth that "
            "does not fill the cell)",
        ),
        (
            here.slope > _SLOPE,
            f"uneven: brightness changes by {100 * here.slope:.0f} % across it (a fold or a "
            "shadow)",
        ),
    ]
    for bar in frame.of("bar")[i : i + 1]:
        rise = blur_mm(photo, bar, BAR_HEIGHT)
        edges = f"edges are {rise:.1f} mm wide"
        if np.isinf(rise):
            edges = "its black bar cannot be made out (or is covered)"
        found.append((rise > _BLUR_MM, f"out of focus: {edges}"))
    return tuple(reason for wrong, reason in found if wrong)


def retouched(photo: Photograph, frame: Frame, flat: Flat) -> tuple[str, ...]:
    """Signs that the camera changed its tones from place to place, as HDR and night modes do.

    The same paper must look the same once the smooth fall of the light is taken out, and the same
    printed grey too. `photo` has straight tones.
    """
    if not flat.known:
        return ()
    signs = []
    if flat.residual > PATCHY:
        signs.append(
            f"the same paper differs by {100 * flat.residual:.1f} % from place to place: the "
            "camera changed tones locally (HDR, night mode, filters), or the light was patchy"
        )
    if len(checks := frame.of("check")) >= 4:
        bright = (levels(photo, checks, 0.5) / flat.at(checks.mean(axis=1))).mean(axis=1)
        off = np.abs(bright / np.median(bright) - 1.0)
        odd = [label for label, far in zip(frame.labels, off > _TONES, strict=True) if far]
        if odd:
            signs.append(
                f"the same printed grey differs by up to {100 * off.max():.0f} % (under "
                f"{', '.join(odd)}): the camera changed tones locally, or a shadow or cloth lies "
                "on it"
            )
    return tuple(signs)
