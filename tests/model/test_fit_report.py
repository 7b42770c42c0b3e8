"""What is said of a fit: every sentence of its table is used, and none is asked for in vain."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import dyemix

PACKAGE = Path(dyemix.__file__).parent


def test_sentences_are_those_that_are_asked_for() -> None:
    sentences = tomllib.loads((PACKAGE / "data" / "fit.toml").read_text(encoding="utf-8"))
    modules = [path.read_text(encoding="utf-8") for path in PACKAGE.rglob("*.py")]
    assert set(re.findall(r'"fit\.(\w+)', "".join(modules))) == set(sentences)
