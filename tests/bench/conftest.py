"""Four invented dyes, and an ordinary bath of them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import numpy as np
import pytest

from dyemix.bench.bath_sheet import BathSheet, bath_sheet
from dyemix.bench.stock import Stock
from dyemix.model.dyes import DyeSet, Ladders
from dyemix.model.kubelka_munk import Surface
from dyemix.model.unknowns import Modes

ON = date(2026, 5, 8)
STIRRED = {"liquor ratio": "20:1", "alkali": "about 1 h after the dye"}


def four_dyes(**changes: Any) -> DyeSet:
    """Lightest to darkest in the order of the names."""
    nm = np.arange(400.0, 701.0, 10.0)
    peaks = ((430, 35, 3), (510, 45, 6), (660, 60, 8), (600, 110, 10))
    curves = np.array([height * np.exp(-(((nm - at) / width) ** 2)) for at, width, height in peaks])
    law = np.tile([1.0, 0.0], (4, 1))
    made: dict[str, Any] = {
        "names": ("gold", "scarlet", "turquoise", "navy"),
        "palest": np.full(4, 0.125),
        "deepest": np.full(4, 4.0),
        "cloth": np.full(31, 0.85),
        "ladders": Ladders(curves, law, Surface(0.02), Modes.none(*curves.shape)),
        "conditions": STIRRED,
    }
    return DyeSet(**{**made, **changes})


@pytest.fixture
def dyed() -> Callable[..., DyeSet]:
    """``dyed(temperature="21")``: the four dyes, their swatches dyed stirred, with conditions."""
    return lambda **conditions: four_dyes(conditions={**STIRRED, **conditions})


@pytest.fixture
def sage() -> Callable[..., BathSheet]:
    """``sage(alkali="with")``: 240 g of a sage green from 2 % stocks, changed as asked."""

    def sheet(**changes: Any) -> BathSheet:
        bottles = [Stock(dye, 2, date(2026, 5, 3)) for dye in ("gold", "scarlet", "navy")]
        asked = {"stocks": bottles, "dyes": four_dyes(), "on": ON, "cloth": "cotton lawn"}
        return bath_sheet("navy 0.22 + gold 0.40 + scarlet 0.05", 240, **{**asked, **changes})

    return sheet
