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


@dataclass(frozen=True, eq=False)
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
        parts, _ = delta_e_residual(target, piece, slope=False)
        sizes = dict(zip(_words(target, piece, hue), _sizes(target, piece, parts), strict=True))
        words = sorted((w for w in sizes if sizes[w] >= SEEN), key=lambda w: -sizes[w])
        return cls(
            float(delta_e(target, piece)), float(piece[0] - target[0]), chroma, hue, tuple(words)
        )

    def __str__(self) -> str:
        words = ", ".join(self.words) or "no difference that shows"
        return f"{self.delta_e:.1f} ΔE2000: {words}"


def _neutral(target: Array, piece: Array) -> bool:
    return bool(min(np.hypot(*target[1:]), np.hypot(*piece[1:])) < _NEUTRAL)


def _sizes(target: Array, piece: Array, parts: Array) -> tuple[float, float, float]:
    """Sizes in ΔE2000 of what `_words` names."""
    if _neutral(target, piece):
        apart = np.abs(piece[1:] - target[1:])
        return abs(float(parts[0])), float(apart[0]), float(apart[1])
    chromas = np.hypot(*target[1:]), np.hypot(*piece[1:])
    # Not parts[1]: the turn of ΔE2000 in the blues puts some of the hue into it.
    clean = abs(chromas[1] - chromas[0]) / (1.0 + 0.0225 * sum(chromas))  # S_C, CIE 142
    return abs(float(parts[0])), float(clean), abs(float(parts[2]))


def _words(target: Array, piece: Array, hue: float) -> tuple[str, str, str]:
    """The word for each of the three parts of a miss, whatever its size."""
    apart = piece - target
    light = "lighter" if apart[0] > 0 else "darker"
    if _neutral(target, piece):
        return (
            light,
            "redder" if apart[1] > 0 else "greener",
            "yellower" if apart[2] > 0 else "bluer",
        )
    clean = "cleaner" if np.hypot(*piece[1:]) > np.hypot(*target[1:]) else "duller"
    angle = float(np.degrees(np.arctan2(target[2], target[1]))) % 360.0
    if hue > 0:  # towards the next axis counter-clockwise: red, yellow, green, blue
        return light, clean, _AXES[int((angle + _NEAR) // 90.0 + 1) % 4]
    return light, clean, _AXES[int(-((_NEAR - angle) // 90.0) - 1) % 4]
