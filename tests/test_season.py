"""A season from the first day to the repeats: each command was printed, and none is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from command import Command

from tests.season import season


@pytest.mark.slow
def test_a_season_of_printed_commands(tmp_path: Path) -> None:
    """One cloth's squares typed, the other's photographed."""
    first, repeated = season(Command(tmp_path / "work", tmp_path / "cache"), 0, photographed=True)
    assert len(first) == len(repeated) == 5
    assert max(first.mean(), repeated.mean()) < 5.0, "of the same family at the least"


@pytest.mark.slow
def test_repeats_come_nearer_than_first_pots(tmp_path: Path) -> None:
    """Over 40 seasons, each family with five seeds, a season's mean being one observation.

    Pieces that were left alone count as well.
    """
    gains = []
    for number in range(40):
        run = Command(tmp_path / f"work{number}", tmp_path / "cache")
        first, repeated = season(run, number)
        gains.append(float((first - repeated).mean()))
    mean, error = np.mean(gains), np.std(gains, ddof=1) / np.sqrt(len(gains))
    print(f"repeats come nearer by {mean:.2f} ± {error:.2f} ΔE2000")
    assert mean > 2.02 * error, "Student's t of 39 degrees of freedom, 95 % of both sides"
