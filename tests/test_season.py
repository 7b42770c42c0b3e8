"""A season from the first day to the repeats: each command was printed, and none is refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from command import Command

from tests.season import season


@pytest.mark.slow
def test_a_season_of_printed_commands(tmp_path: Path) -> None:
    first, repeated = season(Command(tmp_path / "work", tmp_path / "cache"), 0)
    assert len(first) == len(repeated) == 5
    assert max(first.mean(), repeated.mean()) < 5.0, "of the same family at the least"
