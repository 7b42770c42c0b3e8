"""A season from the first day to the repeats: no command refused, and repeats miss less."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from command import Command

from tests.season import season

#: Student's t of 19 degrees of freedom, one-sided 95 % (printed in any table).
_T = 1.729


@pytest.mark.slow
def test_repeats_miss_less_than_first_pots(tmp_path: Path) -> None:
    pots = [season(Command(tmp_path / f"work{n}", tmp_path / "cache"), n) for n in range(20)]
    first, repeated = (np.array(misses).mean(axis=1) for misses in zip(*pots, strict=True))
    change = repeated - first
    bound = change.mean() + _T * change.std(ddof=1) / np.sqrt(len(change))
    print(f"first {first.mean():.2f}, repeated {repeated.mean():.2f}, 95 % below {bound:+.2f}")
    assert bound < 0.0
