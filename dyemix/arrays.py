"""The array type of every signature: float64, its shape told in the docstring."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from dyemix.errors import DyemixError

Array = NDArray[np.float64]


def numbers(values: Any) -> Array:
    """A copy of what was given, as numbers. Raises `DyemixError` for what is none."""
    try:
        return np.array(values, dtype=float)
    except (TypeError, ValueError):
        raise DyemixError(
            f"{str(values)[:60]!r} should be numbers, in rows of one length."
        ) from None
