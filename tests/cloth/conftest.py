"""Small pieces of the simulated strike, analysed once."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dyemix.cloth.levelness import Levelness
from tests.simulated.strike import MIXES, ORDERS, Dyed, dye
from tests.simulated.struck import by_eye, shop, spectral_dyes

SIZE = (64, 64)


@pytest.fixture(scope="session")
def struck() -> dict[str, Dyed]:
    """The clear mix by each order, on the same folds."""
    return {order: dye(MIXES["clear"], order, 3, SIZE, shop=shop()) for order in ORDERS}


@pytest.fixture(scope="session")
def seen(struck: dict[str, Dyed]) -> dict[str, Levelness]:
    """The same as a perfect observer sees them."""
    dyes = spectral_dyes(tuple(MIXES["clear"]))
    return {
        order: replace(by_eye(piece, dyes, 1.0), order=order, name=f"{order}.jpg")
        for order, piece in struck.items()
    }
