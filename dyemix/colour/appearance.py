"""How colours differ to the eye: in the words of the trade, under another lamp, in hue held.

Lines of constant CIELAB hue bend towards purple between about 220° and 320° (Ebner & Fairchild,
Proc. SPIE 3300 (1998) 107, from memory); CIECAM16's stay nearer to one hue there. The model is
CIE 248:2022, as colour-science computes it.

Viewing conditions, stated because the model needs them: cloth under 1000 lx beside a mid grey
(Y_b = 20, average surround), hence an adapting luminance L_A = 1000/π · 0.2 = 63.7 cd/m².

What another lamp does: CIE 015:2018, special metamerism index for a change of illuminant (with the
mismatch under the first illuminant corrected first); colour inconstancy by corresponding colours
through CAT02 at full adaptation, as in CMCCON02 (Luo, Li, Hunt, Rigg & Smith, Color. Technol. 119
(2003) 280; the basis of ISO 105-J05). Differences are ΔE2000.
"""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from dyemix.arrays import Array
from dyemix.colour import colorimetry
from dyemix.colour.ciede2000 import delta_e, delta_e_residual
from dyemix.colour.colorimetry import Light, colour_science, lab, lab_from_xyz, white, xyz
from dyemix.errors import Choice, refuse

ILLUMINANCE, BACKGROUND = 1000.0, 20.0
ADAPTING = ILLUMINANCE / np.pi * BACKGROUND / 100.0
VIEWING = (
    f"CIECAM16 at {ILLUMINANCE:.0f} lx (L_A {ADAPTING:.0f} cd/m²), Y_b {BACKGROUND:.0f}, "
    "average surround"
)
#: CIELAB hue angles between which CIELAB hue drifts, in degrees.
DRIFTING = (220.0, 320.0)
#: More rounds than a colour needs to be found (each gains about a digit).
_ROUNDS = 60
#: Parts of a miss below this ΔE2000 are not named: nobody sees them on cloth.
SEEN = 0.3
#: Below this chroma a colour is a near neutral: it turns red or blue, and has no hue of its own.
_NEUTRAL = 5.0
#: A hue this near (in degrees) to the axis ahead turns towards the one after it.
_NEAR = 20.0
_AXES = ("redder", "yellower", "greener", "bluer")
#: Tungsten, a phosphor LED and a narrow-band shop fluorescent.
LAMPS = ("A", "LED-B3", "FL11")
# CAT02 (CIE 159:2004).
_CAT02 = np.array([[0.7328, 0.4296, -0.1624], [-0.7036, 1.6975, 0.0061], [0.0030, 0.0136, 0.9834]])


# How a piece misses its target -------------------------------------------------------------------


def difference(asked: Array, labs: Array) -> Array:
    """ΔL*, ΔC* and ΔH* ``(..., 3)`` of `labs` from `asked`, both CIELAB (CIE 015:2018, 8.2)."""
    (l1, a1, b1), (l2, a2, b2) = np.moveaxis(asked, -1, 0), np.moveaxis(labs, -1, 0)
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    turn = np.arctan2(a1 * b2 - b1 * a2, a1 * a2 + b1 * b2)
    return np.stack([l2 - l1, c2 - c1, 2.0 * np.sqrt(c1 * c2) * np.sin(turn / 2.0)], axis=-1)


@dataclass(frozen=True)
class Miss:
    """How a piece differs from its target, both under one light.

    Attributes
    ----------
    delta_e : ΔE2000.
    lightness, chroma, hue : ΔL*, ΔC*, ΔH* of CIELAB (CIE 015:2018), piece less target.
    words : the parts of ΔE2000 that can be seen, largest first, as ``("lighter", "redder")``.
    """

    delta_e: float
    lightness: float
    chroma: float
    hue: float
    words: tuple[str, ...]

    @classmethod
    def of(cls, target: Array, piece: Array) -> Self:
        """The miss of a piece ``(3,)`` from a target ``(3,)``, in CIELAB."""
        (lightness, more, turned), (_, a, b) = difference(target, piece).tolist(), piece - target
        (light, _, hue), _ = delta_e_residual(target, piece)
        chroma, own = np.hypot(*piece[1:]), np.hypot(*target[1:])
        if min(chroma, own) < _NEUTRAL:
            turns = [(a, "redder", "greener"), (b, "yellower", "bluer")]
        else:
            # Not the second part of ΔE2000: its turn in the blues puts some of the hue into it.
            clean = (chroma - own) / (1.0 + 0.0225 * (chroma + own))  # S_C, CIE 142
            # The next axis that way round (counter-clockwise where ΔH* is above 0).
            turn = np.sign(hue)
            axis = _AXES[int(turn * ((turn * lab_hue(target) + _NEAR) // 90.0 + 1.0)) % 4]
            turns = [(clean, "cleaner", "duller"), (hue, axis, axis)]
        parts = [(light, "lighter", "darker"), *turns]
        sizes = sorted((abs(part), more if part > 0 else less) for part, more, less in parts)
        words = tuple(word for size, word in reversed(sizes) if size >= SEEN)
        return cls(float(delta_e(target, piece)), lightness, more, turned, words)

    def __str__(self) -> str:
        words = ", ".join(self.words) or "no difference that shows"
        return f"{self.delta_e:.1f} ΔE2000: {words}"


# Under another lamp ------------------------------------------------------------------------------


def metamerism(target: Array, samples: Array, light: Light, lamp: Light) -> Array:
    """Special metamerism index ``(N,)`` of samples ``(N, B)`` to a target spectrum ``(B,)``.

    The samples' XYZ under `lamp` are multiplied by what makes them match under `light`
    (multiplicative correction of CIE 015), so that the index says what the change of lamp adds.
    """
    correction = xyz(target, light) / xyz(samples, light)
    return delta_e(lab(target, lamp), lab_from_xyz(xyz(samples, lamp) * correction, lamp))


def adapted(samples: Array, light: Light, lamp: Light) -> Array:
    """CIELAB ``(N, 3)`` under `light` that looks as samples ``(N, B)`` to an eye used to `lamp`."""
    gain = (_CAT02 @ white(light)) / (_CAT02 @ white(lamp))
    seen = np.linalg.solve(_CAT02, (gain * (xyz(samples, lamp) @ _CAT02.T)).T).T
    return lab_from_xyz(seen, light)


def inconstancy(samples: Array, light: Light, lamp: Light) -> Array:
    """ΔE2000 ``(N,)`` between samples ``(N, B)`` under `light` and, adapted to it, under `lamp`."""
    return delta_e(lab(samples, light), adapted(samples, light, lamp))


# One hue, quieter --------------------------------------------------------------------------------


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


def appearance(lab: ArrayLike, light: Light) -> tuple[Array, Array]:
    """CIECAM16 colourfulness M and hue angle h in degrees ``(N,)`` of CIELAB ``(N, 3)`` under
    `light`; `VIEWING` conditions.
    """
    stimuli = colorimetry.xyz_from_lab(np.atleast_2d(np.asarray(lab, dtype=float)), light)
    seen = colour_science().XYZ_to_CIECAM16(stimuli, white(light), ADAPTING, BACKGROUND)
    return np.asarray(seen.M, dtype=float), np.asarray(seen.h, dtype=float)


def lab_hue(lab: ArrayLike) -> Array:
    """CIELAB hue angle h_ab ``(...)`` in degrees, 0 to 360."""
    values = np.asarray(lab, dtype=float)
    return np.asarray(np.degrees(np.arctan2(values[..., 2], values[..., 1])) % 360.0)


def usual_hue(lab: Array) -> HueSpace:
    """The space whose hue to hold for a colour ``(3,)``: CIECAM16 where CIELAB hue drifts."""
    within = DRIFTING[0] <= float(lab_hue(lab)) <= DRIFTING[1]
    return HueSpace.CIECAM16 if within else HueSpace.CIELAB


def of_hue(
    lab: Array, lightness: Array, size: Array, hue: HueSpace, light: Light,
    scale: Scale = Scale.CHROMA,
) -> Array:  # fmt: skip
    """CIELAB ``(N, 3)`` of the hue of `lab` ``(3,)`` at other L* ``(N,)``, and of a `size` ``(N,)``
    of C* or, on the scale of colourfulness, of CIECAM16's M.

    Raises `DyemixError` where no CIELAB colour has it.
    """
    by_eye, colourful = hue is HueSpace.CIECAM16, scale is Scale.COLOURFULNESS
    held = appearance(lab, light)[1] if by_eye else 0.0
    degrees, chroma, last = lab_hue(lab), size, np.array(np.inf)
    for _ in range(_ROUNDS):
        turn = np.deg2rad(degrees)
        found = np.column_stack([lightness, chroma * np.cos(turn), chroma * np.sin(turn)])
        if not (by_eye or colourful) or np.abs(found - last).max() < 1e-8:
            break
        last, (seen, angle) = found, appearance(found, light)
        degrees = degrees + held - angle if by_eye else degrees
        chroma = chroma * size / seen if colourful else chroma
    there = not colourful or np.allclose(seen, size, rtol=1e-5)
    refuse(not there, "no colour of this hue and lightness has that colourfulness.")
    return found


def quieter(
    lab: Array, lightness: Array, shares: Array, hue: HueSpace, scale: Scale, light: Light
) -> Array:
    """CIELAB ``(N, 3)`` of the hue of `lab` ``(3,)``, with `shares` ``(N,)`` of its chroma left, or
    of its colourfulness, as `of_hue` takes it.
    """
    whole = np.hypot(lab[1], lab[2]) if scale is Scale.CHROMA else appearance(lab, light)[0]
    return of_hue(lab, lightness, shares * whole, hue, light, scale)
