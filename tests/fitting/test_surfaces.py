"""The mean surface of those on a grid, weighed by what they cost."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from dyemix.fitting.surfaces import Solver
from dyemix.model.kubelka_munk import Surface


@pytest.mark.parametrize(
    ("spectra", "lowest", "trust", "top"),
    [(True, 0.05, 3.0, 0.045), (False, 0.05, 1.0, 0.045), (True, 0.2, 3.0, 0.06)],
)
def test_the_mean_surface_and_its_spread(
    spectra: bool, lowest: float, trust: float, top: float
) -> None:
    """(cost ÷ least cost)⁻³ of spectra, ⁻¹ of CIELAB, over four r0 up to nine tenths of the lowest
    reading, 0.06 at most, and k2 of 0 to 0.6; where there are spectra, theirs alone counts.
    """

    def cost(surface: Surface) -> float:
        return 1.0 + surface.k2 + 20.0 * surface.r0

    data: Any = SimpleNamespace(
        lowest=lambda: lowest, counts=None, lab=[1], spectral=[0], _of_lab=None,
        _of_spectra=object() if spectra else None,
        fit=lambda surface, _, strength: SimpleNamespace(
            cost=np.array([cost(surface), 2.0 * cost(surface)])
        ),
    )  # fmt: skip
    found, spread = Solver.surfaces(data)
    r0, k2 = np.meshgrid(np.linspace(0.0, top, 4), [0.0, 0.2, 0.4, 0.6], indexing="ij")
    weights = (1.0 + k2 + 20.0 * r0) ** -trust
    weights /= weights.sum()
    mean = [(weights * x).sum() for x in (r0, k2)]
    assert (found.r0, found.k2) == pytest.approx(mean)
    wanted = [np.sqrt((weights * (x - m) ** 2).sum()) for x, m in zip((r0, k2), mean, strict=True)]
    assert spread == pytest.approx(wanted)
