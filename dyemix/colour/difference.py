"""How a piece misses its target, in the words of the trade: lighter, duller, redder."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e, delta_e_residual

#: Parts of a miss below this ΔE2000 are not named: nobody sees them on cloth.
SEEN = 0.3
#: Below this chroma a colour is a near neutral: it turns red or blue, and has no hue of its own.
_NEUTRAL = 5.0
#: A hue this near (in degrees) to the axis ahead turns towards the one after it.
_NEAR = 20.0
_AXES = ("redder", "yellower", "greener", "bluer")


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
    def of(cls, target: Array, piece: Array) -> Miss:
        """The miss of a piece ``(3,)`` from a target ``(3,)``, in CIELAB."""
        chroma = float(np.hypot(*piece[1:]) - np.hypot(*target[1:]))
        # ΔH* of CIE 015 eq. 8.18, in the form that keeps its sign (Sève 1991, from memory).
        cross = target[1] * piece[2] - target[2] * piece[1]
        mean = np.sqrt(
            (np.hypot(*target[1:]) * np.hypot(*piece[1:]) + target[1:] @ piece[1:]) / 2.0
        )
        hue = float(cross / mean) if mean > 0 else 0.0
        seen = sorted((size, word) for word, size in _parts(target, piece, hue) if size >= SEEN)
        words = tuple(word for _, word in reversed(seen))
        lightness = float(piece[0] - target[0])
        return cls(float(delta_e(target, piece)), lightness, chroma, hue, words)

    def __str__(self) -> str:
        words = ", ".join(self.words) or "no difference that shows"
        return f"{self.delta_e:.1f} ΔE2000: {words}"


def _parts(target: Array, piece: Array, hue: float) -> list[tuple[str, float]]:
    """The word for each of the three parts of a miss, and its size in ΔE2000."""
    parts, _ = delta_e_residual(target, piece, slope=False)
    apart, chromas = piece - target, np.hypot(*np.stack([target, piece], axis=1)[1:])
    light = ("lighter" if apart[0] > 0 else "darker", abs(float(parts[0])))
    if chromas.min() < _NEUTRAL:
        red = ("redder" if apart[1] > 0 else "greener", abs(float(apart[1])))
        return [light, red, ("yellower" if apart[2] > 0 else "bluer", abs(float(apart[2])))]
    # Not parts[1]: the turn of ΔE2000 in the blues puts some of the hue into it.
    clean = abs(chromas[1] - chromas[0]) / (1.0 + 0.0225 * chromas.sum())  # S_C, CIE 142
    angle = float(np.degrees(np.arctan2(target[2], target[1]))) % 360.0
    # The next axis that way round (counter-clockwise where ΔH* is above 0): red, yellow, green ...
    axis = (angle + _NEAR) // 90.0 + 1 if hue > 0 else -((_NEAR - angle) // 90.0) - 1
    cleaner = ("cleaner" if chromas[1] > chromas[0] else "duller", float(clean))
    return [light, cleaner, (_AXES[int(axis) % 4], abs(float(parts[2])))]
