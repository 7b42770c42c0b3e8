"""The examples in docstrings, run on one fit of the demo; each public name has one."""

from __future__ import annotations

import doctest
import pkgutil
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

import dyemix
from dyemix.cloth.levelness import levelness
from dyemix.cloth.preview import preview
from dyemix.colour.appearance import HueSpace, Scale
from dyemix.matching.advice import suggest
from dyemix.series.steps import RouteKind

MODULES = ["dyemix", *(m.name for m in pkgutil.walk_packages(dyemix.__path__, "dyemix."))]
FLAGS = doctest.ELLIPSIS | doctest.IGNORE_EXCEPTION_DETAIL


@cache
def _names() -> dict[str, Any]:
    """What an example may use: the public names, and `dyes`, the demo fitted with its mixes."""
    file = Path(__file__).parents[1] / "swatch_data" / "napkins_mixtures.csv"
    dyes = dyemix.fit(dyemix.demo() + dyemix.read_swatches(file))
    return {name: getattr(dyemix, name) for name in dyemix.__all__} | {"dyes": dyes}


@pytest.mark.parametrize("name", MODULES)
def test_examples_hold(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    module, said = import_module(name), []
    runner = doctest.DocTestRunner(optionflags=FLAGS)
    for example in doctest.DocTestFinder().find(module, name):
        if example.examples:
            example.globs = {**vars(module), **_names(), "dyemix": dyemix}
            runner.run(example, out=said.append)
    assert not runner.failures, "".join(said)


@pytest.mark.parametrize("name", dyemix.__all__)
def test_each_public_name_has_an_example(name: str) -> None:
    assert ">>> " in (getattr(dyemix, name).__doc__ or "")


@pytest.mark.parametrize("value", [HueSpace, Scale, RouteKind, suggest, preview, levelness])
def test_so_has_what_packages_give_beside_them(value: Any) -> None:
    assert ">>> " in value.__doc__
