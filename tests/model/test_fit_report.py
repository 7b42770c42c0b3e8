"""What is said of a fit: every sentence of its table is used, and none is asked for in vain."""

from __future__ import annotations

import ast
import tomllib
from pathlib import Path

import dyemix

PACKAGE = Path(dyemix.__file__).parent
SENTENCES = tomllib.loads((PACKAGE / "data" / "fit.toml").read_text(encoding="utf-8"))


def test_sentences_are_those_that_are_asked_for() -> None:
    asked, words = set(), set()
    for path in [*(PACKAGE / "model").glob("*.py"), *(PACKAGE / "fitting").glob("*.py")]:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                words.add(node.value)
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "say":
                asked |= {x.value for x in node.args[:1] if isinstance(x, ast.Constant)}
    assert asked <= set(SENTENCES)
    assert set(SENTENCES) <= words
