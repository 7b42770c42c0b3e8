"""The usual cautions, in one place (`data/cautions.toml`), and which sheet prints which."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files

#: Cautions of a sheet, in order: for a bath, where no powder is handled; for a day, from powder to
#: the last rinse; for making stock.
SHEETS = {
    "bath": "bath soda hot food bleach disposal powder defer",
    "day": "gloves powder soda hot food bleach disposal defer",
    "stock": "powder food disposal soda bleach defer",
}


@cache
def cautions(sheet: str) -> tuple[str, ...]:
    """What a sheet of `SHEETS` prints."""
    text = files("dyemix").joinpath("data", "cautions.toml").read_text(encoding="utf-8")
    words = tomllib.loads(text)
    return tuple(words[name] for name in SHEETS[sheet].split())
