"""Hue and colourfulness as CIECAM16 sees them, and colours of one hue that grow quieter.

Lines of constant CIELAB hue bend towards purple between about 220° and 320° (Ebner & Fairchild,
Proc. SPIE 3300 (1998) 107, from memory); CIECAM16's stay nearer to one hue there. The model is
CIE 248:2022, as colour-science computes it.

Viewing conditions, stated because the model needs them: cloth under 1000 lx beside a mid grey
(Y_b = 20, average surround), hence an adapting luminance L_A = 1000/π · 0.2 = 63.7 cd/m².
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from dyemix.arrays import Array
from dyemix.colour.colorimetry import Light, colour_science, white, xyz_from_lab
from dyemix.errors import Choice, DyemixError

ILLUMINANCE, BACKGROUND = 1000.0, 20.0
ADAPTING = ILLUMINANCE / np.pi * BACKGROUND / 100.0
VIEWING = (
    f"CIECAM16 at {ILLUMINANCE:.0f} lx (L_A {ADAPTING:.0f} cd/m²), Y_b {BACKGROUND:.0f}, "
    "average surround"
)
#: CIELAB hue angles between which CIELAB hue drifts, in degrees.
DRIFTING = (220.0, 320.0)
#: More rounds than the fixed point below needs by far (each gains about a digit).
_ROUNDS = 60


class HueSpace(Choice):
    """Whose hue is held.

    >>> HueSpace("cielab").value
    'CIELAB'
    """

    CIELAB = "CIELAB"
    CIECAM16 = "CIECAM16"


class Scale(Choice):
    """What falls from step to step.

    >>> Scale("CIELAB chroma").name
    'CHROMA'
    """

    CHROMA = "CIELAB chroma"
    COLOURFULNESS = "CIECAM16 colourfulness"


class Appearance(NamedTuple):
    """CIECAM16 correlates ``(N,)``: colourfulness M, hue angle h in degrees."""

    colourfulness: Array
    hue: Array


def appearance(lab: ArrayLike, light: Light) -> Appearance:
    """CIECAM16 colourfulness and hue of CIELAB ``(N, 3)`` under `light`; `VIEWING` conditions."""
    xyz = xyz_from_lab(np.atleast_2d(np.asarray(lab, dtype=float)), light)
    seen = colour_science().XYZ_to_CIECAM16(
        xyz, white(light), ADAPTING, BACKGROUND, compute_H=False
    )
    return Appearance(np.asarray(seen.M, dtype=float), np.asarray(seen.h, dtype=float))


def lab_hue(lab: ArrayLike) -> Array:
    """CIELAB hue angle h_ab ``(...)`` in degrees, 0 to 360."""
    values = np.asarray(lab, dtype=float)
    return np.asarray(np.degrees(np.arctan2(values[..., 2], values[..., 1])) % 360.0)


def usual_hue(lab: Array) -> HueSpace:
    """The space whose hue to hold for a colour ``(3,)``: CIECAM16 where CIELAB hue drifts."""
    within = DRIFTING[0] <= float(lab_hue(lab)) <= DRIFTING[1]
    return HueSpace.CIECAM16 if within else HueSpace.CIELAB


def of_hue(lab: Array, lightness: Array, chroma: Array, hue: HueSpace, light: Light) -> Array:
    """CIELAB ``(N, 3)`` of the hue of `lab` ``(3,)`` at other L* and C*, each ``(N,)``."""
    start = float(lab_hue(lab))
    angle = np.full(len(lightness), start)
    if hue is HueSpace.CIECAM16:
        held = appearance(lab, light).hue[0]
        for _ in range(_ROUNDS):
            off = (held - appearance(_polar(lightness, chroma, angle), light).hue + 180.0) % 360.0
            angle = angle + off - 180.0
            if np.abs(off - 180.0).max() < 1e-7:
                break
    return _polar(lightness, chroma, angle)


def quieter(
    lab: Array, lightness: Array, shares: Array, hue: HueSpace, scale: Scale, light: Light
) -> Array:
    """CIELAB ``(N, 3)`` of the hue of `lab` ``(3,)``, with `shares` ``(N,)`` of its chroma left.

    On the scale of colourfulness, the share is of CIECAM16's M, whose L* is held as asked. Raises
    `DyemixError` where no CIELAB colour has it.
    """
    chroma = shares * np.hypot(lab[1], lab[2])
    if scale is Scale.CHROMA:
        return of_hue(lab, lightness, chroma, hue, light)
    wanted = shares * appearance(lab, light).colourfulness[0]
    for _ in range(_ROUNDS):
        found = of_hue(lab, lightness, chroma, hue, light)
        ratio = wanted / appearance(found, light).colourfulness
        chroma = chroma * ratio
        if np.abs(ratio - 1.0).max() < 1e-6:
            return of_hue(lab, lightness, chroma, hue, light)
    raise DyemixError("no colour of this hue and lightness has that colourfulness.")


def _polar(lightness: Array, chroma: Array, degrees: Array) -> Array:
    turn = np.deg2rad(degrees)
    return np.stack([lightness, chroma * np.cos(turn), chroma * np.sin(turn)], axis=-1)
