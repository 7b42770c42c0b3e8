"""The simulated strike does what its page says."""

import numpy as np
import pytest

from tests.simulated.strike import MIXES, ORDERS, dye, struck
from tests.simulated.struck import shop

HELD, SPREADS, FIXES = np.array([0.3, 1.2]), np.array([3.9e-3, 2.0e-3]), np.array([6e-4, 7e-4])


@pytest.mark.parametrize("order", ORDERS)
def test_no_dye_comes_from_nothing(order: str):
    """No more fixes than the bath held (22 mm of liquor), and it fixes where liquor comes."""
    fixed = struck(order, HELD, SPREADS, FIXES)
    assert (fixed >= 0.0).all()
    assert (fixed.sum(axis=2) <= 22.0 / 1.0 + 1e-6).all()
    assert (fixed[..., 0] > fixed[..., 60]).all()


def test_undyed_and_uneven_fall_from_order_to_order():
    """As common practice says of alkali before, with and after the dye."""
    for mix in MIXES.values():
        pieces = [dye(mix, order, 4, (48, 48), shop=shop()) for order in ORDERS]
        assert pieces[0].undyed > pieces[1].undyed >= pieces[2].undyed
        assert pieces[0].unevenness > pieces[1].unevenness > pieces[2].unevenness


def test_the_mean_of_each_dye_is_its_dose():
    piece = dye(MIXES["dull"], "with", 1, (32, 32), shop=shop())
    assert piece.amounts.mean(axis=(0, 1)) == pytest.approx(piece.dose)
