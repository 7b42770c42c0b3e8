"""Sentences stand in data/*.toml: each is used, and code fills each blank of it."""

from __future__ import annotations

import ast
import tomllib
from collections.abc import Iterator
from pathlib import Path
from string import Formatter

import pytest

import dyemix

PACKAGE = Path(dyemix.__file__).parent
NODES = [
    (path, node)
    for path in (file.relative_to(PACKAGE) for file in sorted(PACKAGE.rglob("*.py")))
    for node in ast.walk(ast.parse((PACKAGE / path).read_text("utf-8")))
    if isinstance(node, ast.Call | ast.Constant)
]
#: Which of its arguments names a sentence.
WHICH = {"said": 0, "refuse": 1, "misused": 1}
CALLS = [
    (path, node, WHICH[node.func.id])
    for path, node in NODES
    if isinstance(node, ast.Call)
    and isinstance(node.func, ast.Name)
    and len(node.args) > WHICH.get(node.func.id, 99)
]
WORDS = {
    node.value
    for _, node in NODES
    if isinstance(node, ast.Constant) and isinstance(node.value, str)
}


def _sentences(held: object, path: str) -> Iterator[tuple[str, str]]:
    if isinstance(held, dict):
        for key, value in held.items():
            yield from _sentences(value, f"{path}.{key}")
    elif isinstance(held, str):
        yield path, held


SENTENCES = dict(
    pair
    for table in sorted((PACKAGE / "data").glob("*.toml"))
    for pair in _sentences(tomllib.loads(table.read_text("utf-8")), table.stem)
)


def _literals(node: ast.expr) -> list[str]:
    """The sentences that a call may mean, where it names them itself."""
    if isinstance(node, ast.Constant):
        return [str(node.value)]
    if isinstance(node, ast.IfExp):
        return _literals(node.body) + _literals(node.orelse)
    return []


NAMED = [
    pytest.param(call.args[which + 1 :], call, name, id=f"{path}:{call.lineno}:{name}")
    for path, call, which in CALLS
    for name in _literals(call.args[which])
    if " " not in name  # words, no name of them
]
#: What tells of a file takes its sentences from one table.
NAMED += [
    pytest.param([], node, f"tables.{name}", id=f"{path}:{node.lineno}:{name}")
    for path, node in NODES
    if isinstance(node, ast.Call)
    and isinstance(node.func, ast.Attribute)
    and node.func.attr in ("tell", "note", "refuse")
    and path.parts[0] == "files"
    for name in _literals(node.args[node.func.attr == "refuse"])
]


@pytest.mark.parametrize(("values", "call", "name"), NAMED)
def test_a_sentence_is_there_and_every_blank_of_it_is_filled(
    values: list[ast.expr], call: ast.Call, name: str
) -> None:
    blanks = {
        field.split(".")[0].split("[")[0]
        for _, field, _, _ in Formatter().parse(SENTENCES[name])
        if field is not None
    }
    by_place = {blank for blank in blanks if not blank or blank.isdigit()}
    given = {keyword.arg for keyword in call.keywords} - ({"error", "of", "when"} - blanks)
    if None not in given:  # ``**values`` are told by the tests of what is said
        assert blanks - by_place == given
    spread = any(isinstance(value, ast.Starred) for value in values)
    assert spread or bool(by_place) == (len(values) > 0)


def _is_used(name: str) -> bool:
    """Whether code has the sentence's whole name, its last part, or a table of several by name."""
    table, *parts = name.split(".")
    within = [".".join([table, *parts[:count]]) for count in range(1, len(parts))]
    return bool(WORDS & {name, *parts, *(f"{part}." for part in within)})


def test_every_sentence_is_used() -> None:
    tables = {str(call.values[2]).split(".")[0] for call in NAMED}
    sentences = [name for name in SENTENCES if name.split(".")[0] in tables]
    assert sentences
    assert [name for name in sentences if not _is_used(name)] == []
