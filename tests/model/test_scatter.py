"""How far pots stray: how the causes add up, and what holds before anything was dyed again."""

from __future__ import annotations

from dataclasses import FrozenInstanceError

import numpy as np
import pytest

from dyemix.model.scatter import Scatter


def test_causes_add_up_by_their_variances(monkeypatch: pytest.MonkeyPatch) -> None:
    """3-4-5: standard errors of what is independent add up by Pythagoras."""
    one = Scatter(dosing=0.04, pot=0.03, reading=np.diag([1.0, 2.0, 3.0]), second_bath=0.04)
    assert one.strength == pytest.approx(0.05)
    second = one.second()
    assert (second.dosing, second.pot) == pytest.approx((0.04, 0.05))
    assert second.reading == pytest.approx(np.diag([2.0, 4.0, 6.0])), "the piece was read as well"
    assert one.mottled().reading == pytest.approx(np.diag([2.0, 3.0, 4.0])), "by one ΔE2000"
    monkeypatch.setattr("dyemix.model.scatter.PRIOR_MOTTLE", 2.0)
    assert one.mottled().reading == pytest.approx(np.diag([5.0, 6.0, 7.0])), "by its square"


def test_what_holds_before_anything_was_dyed_again() -> None:
    """The working values that the documentation states, each half of the variance of squares."""
    assumed = Scatter()
    assert assumed.strength == pytest.approx(0.05)
    assert assumed.dosing == assumed.pot
    assert assumed.reading == pytest.approx(0.15**2 * np.eye(3))
    assert assumed.second_bath == 0.2
    assert len({assumed, Scatter()}) == 1, "what says the same is one"
    with pytest.raises(FrozenInstanceError):
        assumed.pot = 0.0  # type: ignore[misc]
