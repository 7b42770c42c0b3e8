"""The array type of every signature: float64, its shape told in the docstring."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
