"""From a dyer's own swatches to the blend of stock dyes that comes nearest to a colour.

`fit` makes dyes of swatches, `match` and `predict` ask them, `learn` lets trials move them; `demo`
gives swatches to try it on. Names are imported when they are first used, from the modules that
`__init__.pyi` says.

>>> import dyemix
>>> dyes = dyemix.fit(dyemix.demo())
>>> found = dyemix.match(dyes, "#7d8a6e", max_dyes=3)
>>> len(found[0].recipe) <= 3
True
"""

import re
from importlib import import_module
from pathlib import Path

# The stub tells type checkers where each public name lives; here it tells Python.
_STUB = Path(__file__).with_suffix(".pyi").read_text(encoding="utf-8")
_FOUND = re.findall(r"^from (\S+) import (\w+) as \w+$", _STUB, re.MULTILINE)
_HOMES = {name: module for module, name in _FOUND}
__all__ = sorted(_HOMES)


def __getattr__(name: str) -> object:
    if name == "__version__":
        return import_module("importlib.metadata").version("dyemix")
    if name not in _HOMES:
        raise AttributeError(f"module 'dyemix' has no attribute {name!r}")
    value = globals()[name] = getattr(import_module(_HOMES[name]), name)
    return value


def __dir__() -> list[str]:
    return [*__all__, "__doc__", "__version__"]
