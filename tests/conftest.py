"""What the tests share: strict floating point, and swatches of the simulated workshop."""

from __future__ import annotations

import one_thread  # noqa: F401  (before numpy)

# isort: split
import gc
import json
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from command import Command
from hypothesis import HealthCheck, Phase, settings

import dyemix
from benchmarks.lab_only import as_lab
from benchmarks.shelf import swatch_set
from dyemix.dataset.swatches import SwatchSet
from dyemix.fitting.fit import fit
from dyemix.model.dyes import DyeSet
from tests.simulated.workshop import Workshop

# The same cases in every run, and none fails because the machine was busy.
settings.register_profile(
    "seeded", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("seeded")
# And where it does not matter which case fails.
settings.register_profile(
    "unshrunk", settings.get_profile("seeded"), phases=(Phase.explicit, Phase.generate)
)


def pytest_collection_finish() -> None:
    """What is imported by now stays: the collector need not look through it again and again."""
    gc.freeze()


@pytest.fixture(autouse=True)
def _strict_floats() -> Iterator[None]:
    """Division by zero, overflow and invalid operations are errors.

    Underflow is let be: the tail of a Gaussian becoming an exact zero is what is meant.
    """
    with np.errstate(all="raise", under="ignore"):
        yield


@dataclass(frozen=True, eq=False)
class Book:
    """What one workshop dyed and read: the ladders a fit sees, the mixtures it does not."""

    ladders: SwatchSet
    mixtures: SwatchSet


@cache
def _book(seed: int, noise: bool) -> Book:
    shop = Workshop(seed, noise)
    return Book(swatch_set(shop.ladder()), swatch_set(shop.mixtures()))


@cache
def _fitted(seed: int, noise: bool) -> DyeSet:
    book = _book(seed, noise)
    return fit(book.ladders, book.mixtures)


@pytest.fixture(scope="session")
def workshop_set() -> Callable[[int, bool], Book]:
    """``workshop_set(seed, noise)``: ladders and mixtures of that workshop."""
    return _book


@pytest.fixture(scope="session")
def fitted() -> Callable[[int, bool], DyeSet]:
    """``fitted(seed, noise)``: the dyes of that workshop, fitted to its ladders."""
    return _fitted


@pytest.fixture(scope="session")
def dyes() -> DyeSet:
    """The noisy workshop of seed 0, fitted."""
    return _fitted(0, True)


@pytest.fixture(scope="session")
def demo_dyes() -> DyeSet:
    """The demo's squares, fitted once for all tests."""
    return fit(dyemix.demo())


@pytest.fixture(scope="session")
def lab_dyes() -> DyeSet:
    """The same, fitted to its ladders read as CIELAB alone."""
    return fit(as_lab(_book(0, True).ladders))


@pytest.fixture(scope="session")
def check_values() -> dict[str, Any]:
    """Published values; each entry names where it is printed."""
    path = Path(__file__).parent / "data" / "check_values.json"
    values: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return values


@pytest.fixture(scope="session")
def _fits(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the commands of this session keep their fits: no test need fit the demo again, on
    whichever worker it runs.
    """
    folder = tmp_path_factory.getbasetemp()
    folder = (folder.parent if "PYTEST_XDIST_WORKER" in os.environ else folder) / "fits"
    folder.mkdir(exist_ok=True)
    return folder


@pytest.fixture
def run(tmp_path: Path, _fits: Path) -> Command:
    """Run ``dyemix …`` in a folder that holds nothing but what the test put there."""
    return Command(tmp_path / "work", _fits)
