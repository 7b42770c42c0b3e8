"""The usual cautions, in one place: `data/cautions.toml`; templates print what their work needs."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files


@cache
def cautions() -> dict[str, str]:
    """Every caution by its name."""
    text = files("dyemix").joinpath("data", "cautions.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def usual() -> tuple[str, ...]:
    """Those of any work with dye, for a page that is no sheet of one bath."""
    return tuple(text for name, text in cautions().items() if name != "drain_much")
