"""What tests of readers share: a file of this content, read."""

from __future__ import annotations

from pathlib import Path

import pytest
from samples import Read

from dyemix.dataset.swatches import SwatchSet
from dyemix.files import read_swatches


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Read content of any kind: the name says CSV, but the content decides."""

    def reader(content: str | bytes) -> SwatchSet:
        path = tmp_path / "book.csv"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return read_swatches(path)

    return reader
