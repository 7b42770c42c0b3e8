"""The array types of every signature: float64 above all, its shape told in the docstring."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dyemix.errors import DyemixError, said

Array = NDArray[np.float64]
#: Which of several; where they stand; dyes, a bit each.
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]
Bits = NDArray[np.uint64]
#: What heads the columns of CIELAB; the stars may be left out.
LAB = ("L*", "a*", "b*")


def labels(values: Any) -> list[str]:
    """What heads the columns of a table or the entries of a series; nothing of any other array."""
    if not hasattr(values, "to_numpy"):
        return []
    found = values.columns if hasattr(values, "columns") else getattr(values, "index", ())
    return [str(label).strip() for label in found]


def headed(values: Any, names: Sequence[str]) -> Any:
    """Values as they are; of a table or series whose labels are words, those of `names`, in order.

    Raises `DyemixError` for words that are others.
    """
    found = [label.rstrip("*") for label in labels(values)]
    if not any(word.isidentifier() for word in found):
        return values
    wanted = [name.rstrip("*") for name in names]
    if sorted(found) != sorted(wanted):
        raise DyemixError(f"columns {', '.join(names)} are wanted, not {', '.join(found)}.")
    return values.to_numpy()[..., [found.index(name) for name in wanted]]


def numbers(values: Any) -> Array:
    """A copy of what was given, as numbers. Raises `DyemixError` for what is none."""
    try:
        return np.array(values, dtype=float)
    except (TypeError, ValueError):
        raise DyemixError(said("readings.no_numbers", str(values)[:60])) from None


def robust_deviation(apart: Array) -> float:
    """Standard deviation of normal deviations from 0, by their median size, which stray ones hardly
    move: of a normal that is 0.6745 of it, the upper quartile, which is 1 / 1.4826.
    """
    return float(1.4826 * np.median(np.abs(apart)))
