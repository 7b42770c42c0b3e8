"""What the documents say is so: README examples run, every command is described."""

from __future__ import annotations

import doctest
import importlib
import pkgutil
import re
from pathlib import Path

import pytest

import dyemix
from dyemix.cli.book import book
from dyemix.cli.commands import MODULES

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_readme_examples(monkeypatch):
    monkeypatch.chdir(ROOT)
    result = doctest.testfile(str(ROOT / "README.md"), module_relative=False, encoding="utf-8")
    assert result.attempted > 3
    assert result.failed == 0


@pytest.mark.parametrize(
    "name", [m.name for m in pkgutil.walk_packages(dyemix.__path__, "dyemix.")] + ["dyemix"]
)
def test_docstring_examples(name, monkeypatch):
    monkeypatch.chdir(ROOT)
    assert doctest.testmod(importlib.import_module(name)).failed == 0


@pytest.mark.parametrize("name", [name for name in MODULES if name != "book"])
def test_every_command_is_described(name):
    assert f"dyemix {name}" in README


@pytest.mark.parametrize("name", book.commands)
def test_every_command_of_the_book_is_described(name):
    assert f"dyemix book {name}" in " ".join(README.split())


def test_readme_opens_with_the_job_and_two_commands():
    blocks = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    assert len(blocks) == 2
    assert all(block.startswith("python3 -m venv .venv && ") for block in blocks)
    assert all(len(block.strip().splitlines()) == 1 for block in blocks)


def test_every_package_is_in_the_tree():
    table = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for path in (ROOT / "dyemix").iterdir():
        if path.suffix == ".py" and path.stem != "__init__":
            assert f"`{path.stem}`" in table, f"{path.stem} is not in DEVELOPERS.md"
        elif (path / "__init__.py").exists():
            assert f"`{path.name}/`" in table, f"{path.name}/ is not in DEVELOPERS.md"
