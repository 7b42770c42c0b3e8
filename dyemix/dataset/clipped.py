"""Censored readings: a channel at the end of its range is a bound with an error, not a value."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import hex_to_lab
from dyemix.dataset.result import Value
from dyemix.dataset.serialise import Shape
from dyemix.errors import DyemixError

#: Added to the variance along a direction in which a colour may lie anywhere, CIELAB².
_ANYWHERE = 1e4
_STEP = 8


def as_text(matrix: Array) -> str:
    """A matrix ``(R, 3)`` in words, every digit kept."""
    return "; ".join(" ".join(f"{float(x)!r}" for x in row) for row in matrix)


def from_text(text: str) -> Array:
    """The matrix ``(R, 3)`` that `as_text` wrote. Raises `DyemixError` for other words."""
    try:
        rows = np.array([[float(x) for x in part.split()] for part in text.split(";")])
    except ValueError:
        rows = np.zeros((0, 0))
    if rows.ndim != 2 or rows.shape[1] != 3 or not np.isfinite(rows).all():
        raise DyemixError(
            f"{text[:40]!r} should be rows of three numbers, of L*, a* and b*, with ';' between."
        )
    return rows


@dataclass(frozen=True, eq=False)
class Clipped(Value):
    """Where the true colour of a reading may lie beyond what was read.

    Attributes
    ----------
    beyond : ``(C, 3)`` a direction in CIELAB for each channel that stood at an end of its range:
        the colour lies as read, with the reading's own error, or any way farther along it.
    """

    beyond: Annotated[Array, Shape("C", 3)]

    @classmethod
    def of_hex(cls, code: str) -> Clipped | None:
        """The channels of ``#rrggbb`` at 00 or ff, which a picture clips; None where there is none.

        White (all three at ff) is left as it was read: it is paper or cloth, and lies within sRGB.
        """
        digits = code.strip().lstrip("#")
        digits = digits if len(digits) == 6 else "".join(2 * d for d in digits)
        levels = [int(digits[i : i + 2], 16) for i in (0, 2, 4)]
        at_end = [i for i, level in enumerate(levels) if level in (0, 255)]
        if not at_end or levels == [255] * 3:
            return None
        here = hex_to_lab(code)
        beyond = []
        for i in at_end:
            inner = list(levels)
            inner[i] += _STEP if levels[i] == 0 else -_STEP
            beyond.append(here - hex_to_lab("#{:02x}{:02x}{:02x}".format(*inner)))
        rows = np.array(beyond)
        return cls(rows / np.linalg.norm(rows, axis=1, keepdims=True))

    @classmethod
    def parse(cls, text: str) -> Clipped | None:
        """Read back what `str` writes; None for no words. Raises `DyemixError` for other words."""
        return cls(from_text(text)) if text.strip() else None

    def __str__(self) -> str:
        return as_text(self.beyond)

    def open(self, apart: Array) -> Array:
        """Variance ``(3, 3)`` to add to a reading from which a colour lies `apart` ``(3,)``.

        None where the colour violates the bound; all along those directions in which it lies
        beyond, since there the reading says nothing.
        """
        along, *_ = np.linalg.lstsq(self.beyond.T, apart, rcond=None)
        kept = self.beyond[along > 0.0]
        return np.asarray(_ANYWHERE * kept.T @ kept)
