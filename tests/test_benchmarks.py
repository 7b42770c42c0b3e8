"""What `python -m benchmarks --against FILE` calls worse."""

from __future__ import annotations

from benchmarks.__main__ import worse


def test_a_ratio_that_is_worse_by_more_than_a_fifth_is_named() -> None:
    kept = {"speed: match": 0.010, "speed: many": 0.005, "start: help": 1.0}
    assert worse({"speed: match": 0.0119, "speed: many": 0.001}, kept) is None
    found = worse({"speed: match": 0.0121, "speed: many": 0.005, "start: help": 0.5}, kept)
    assert found is not None
    assert found.splitlines() == ["worse by more than a fifth:", "speed: match: 0.0121, kept 0.01"]
