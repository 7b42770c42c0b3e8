"""What is taken where nothing is stated is one figure, whichever package is asked."""

from __future__ import annotations

from dyemix.bench.plan import first_swatches
from dyemix.bench.settings import BathSettings
from dyemix.dataset.units import STOCK_PCT
from dyemix.gamut.coverage import family
from dyemix.matching.limits import Kit
from tests.cli.test_commands import TREE


def test_one_strength_of_stock() -> None:
    """1 % w/v everywhere: 2 % in one command and 1 % in another is a dose wrong by half."""
    assert STOCK_PCT == 1.0
    assert BathSettings().stock_strength == STOCK_PCT
    assert Kit(60.0).strength("navy") == STOCK_PCT
    planned = first_swatches("navy", "linen").sheets[1]
    assert planned.doses[0].stock.strength_pct == STOCK_PCT
    assert family.__kwdefaults__["stock_pct"] == STOCK_PCT
    strengths = [
        option.default
        for command in TREE.values()
        for option in command.params
        if {"--stock", "--strength"} & {*option.opts}
    ]
    assert len(strengths) > 3
    own = [strength for strength in strengths if isinstance(strength, int | float | str)]
    assert own == [], "a command has one of its own"
