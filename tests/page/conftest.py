"""The page asked in this process."""

from __future__ import annotations

import pytest
from asking import Asked

from dyemix.model.dyes import DyeSet


@pytest.fixture
def asked(dyes: DyeSet) -> Asked:
    return Asked(dyes)
