"""Recipes as they are read at first sight."""

from __future__ import annotations

import pytest

from dyemix.bench.settings import BathSettings
from dyemix.bench.stock import Bottles
from dyemix.bench.suggested import suggested
from dyemix.dataset.target import Target
from dyemix.matching.advice import suggest
from dyemix.matching.matches import Reach
from tests.bench.conftest import four_dyes
