"""A dye book of its own for each test."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from dyemix.dyebook.book import DyeBook


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "workshop.dyebook"


@pytest.fixture
def book(path: Path) -> Iterator[DyeBook]:
    with DyeBook(path) as opened:
        yield opened
