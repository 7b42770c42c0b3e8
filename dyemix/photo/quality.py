"""What is doubtful about a cell: clipped, shadowed, out of focus, uneven, mottled, retouched."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dyemix.photo.decode import Photograph
from dyemix.photo.flat_field import Flat
from dyemix.photo.places import Frame, Place
from dyemix.photo.sample import Cloth, blur_mm, level

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
_BAR_MM = 1.6


@dataclass(frozen=True)
class Judged:
    """Reasons to leave a cell out."""

    reasons: tuple[str, ...]

    def flags(self, spread: float) -> tuple[str, ...]:
        """Doubts that the cell is kept with: parts of it differ by `spread` ΔE2000."""
        if spread <= _MOTTLED:
            return ()
        return (f"mottled: parts differ by {spread:.1f} ΔE2000 from their mean",)


def empty(here: Cloth, flat: Flat) -> bool:
    """Whether a cell shows nothing but the sheet's own paper."""
    near = np.abs(here.mean / flat.level - 1.0).max() < _EMPTY
    return bool(near and here.blocks.std(axis=0).max() < _EMPTY * flat.level.max())


def judge(photo: Photograph, frame: Frame, flat: Flat, place: Place, here: Cloth) -> Judged:
    """Look at one cell."""
    reasons = []
    if here.high > _CLIPPED:
        reasons.append(f"clipped: {100 * here.high:.0f} % of it is at the top of the scale")
    if here.low > _CLIPPED:
        reasons.append(
            f"clipped: in {100 * here.low:.0f} % of it a channel is at 0, the colour lies beyond "
            "what the file can hold"
        )
    nearby = flat.near(place.quad.mean(axis=0))
    if abs(nearby - 1.0) > _SHADOW:
        what = "shadowed" if nearby < 1.0 else "in a bright spot"
        reasons.append(f"{what}: the paper around it is {100 * (nearby - 1):+.0f} %")
    if here.left_out > _SEAM:
        reasons.append(
            f"uneven: {100 * here.left_out:.0f} % of it differs (a seam, a fold, or cloth that "
            "does not fill the cell)"
        )
    if here.slope > _SLOPE:
        reasons.append(
            f"uneven: brightness changes by {100 * here.slope:.0f} % across it (a fold or a shadow)"
        )
    for bar in frame.of("bar"):
        if bar.label == place.label:
            rise = blur_mm(photo, bar.quad, _BAR_MM)
            if np.isinf(rise):
                reasons.append("out of focus: its black bar cannot be made out (or is covered)")
            elif rise > _BLUR_MM:
                reasons.append(f"out of focus: edges are {rise:.1f} mm wide")
    return Judged(tuple(reasons))


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
    checks = frame.of("check")
    if len(checks) >= 4:
        centres = np.array([check.quad.mean(axis=0) for check in checks])
        light = np.array([level(photo, check.quad, 0.5) for check in checks]) / flat.at(centres)
        bright = light.mean(axis=1)
        off = bright / np.median(bright) - 1.0
        odd = np.abs(off) > _TONES
        if odd.any():
            where = ", ".join(c.label for c, far in zip(checks, odd, strict=True) if far)
            signs.append(
                f"the same printed grey differs by up to {100 * np.abs(off).max():.0f} % (under "
                f"{where}): the camera changed tones locally, or a shadow or cloth lies on it"
            )
    return tuple(signs)
