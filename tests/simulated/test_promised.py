"""The measure of promises: shares, gaps and worst cases as defined, and right about the truth."""

from dataclasses import dataclass

import numpy as np
import pytest

from benchmarks import promised
from benchmarks.promised import OWN, Row, closed, worsening, worst_family
from tests.simulated.eye import Array
from tests.simulated.worlds import LAB, SPECTRUM, world


@dataclass(frozen=True, eq=False)
class Stated:
    """What a calibration states of N recipes."""

    lab: Array
    likely: Array
    median: Array
    bound: Array


def rows(found: dict[int, float], family: str = "pairs", seed: int = 100) -> list[Row]:
    return [Row(SPECTRUM, family, seed, n, 0.9, 0.5, 1.0, x, 0.5) for n, x in found.items()]


def test_the_gap_closed_is_that_of_worlds_worth_it() -> None:
    some = rows({0: 2.5, 10: 1.5}) + rows({0: 1.0, 10: 3.0}, seed=101)
    assert closed(some, 10) == pytest.approx(0.5)
    assert worsening(some, 10) == (pytest.approx(2.0), "pairs 101")
    assert OWN[0] == 0


def test_the_worst_family_is_the_one_least_covered() -> None:
    bad = [Row(SPECTRUM, "paint", s, 0, x, 0.5, 1.0, 1.0, 0.5) for s, x in enumerate((0.5, 0.7))]
    name, share, low, high = worst_family(rows({0: 1.0}) + bad)
    assert (name, share) == ("paint", pytest.approx(0.6))
    assert low <= share <= high


def test_a_calibration_that_knows_the_truth_is_found_right(monkeypatch: pytest.MonkeyPatch) -> None:
    some = world("drift", 107)

    class Truth:
        names = some.names

        def predict(self, amounts: Array) -> Stated:
            labs = some.truth_lab(amounts)
            many = np.repeat(amounts, 40, axis=0)
            miss = np.concatenate(
                [some.floor(some.read(some.dye(many, k), LAB, k)) for k in range(3, 6)]
            ).reshape(3, len(amounts), 40)
            every = miss.transpose(1, 0, 2).reshape(len(amounts), -1)
            median, bound = np.quantile(every, [0.5, 0.9], axis=1)
            return Stated(labs, every.mean(axis=1), median, bound)

    monkeypatch.setitem(promised.WAYS, "truth", lambda ladders: lambda mixes: Truth())
    monkeypatch.setattr(promised, "OWN", (0,))
    (row,) = promised.run(promised.Job(LAB, "drift", 107, "truth", 1, ""))
    assert row.found == pytest.approx(row.floor, rel=0.02)
    assert row.promised == pytest.approx(row.found, rel=0.15)
    assert 0.8 <= row.under_bound <= 0.97
    assert 0.35 <= row.under_median <= 0.65
