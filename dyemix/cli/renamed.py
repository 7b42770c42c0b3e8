"""Commands and options of earlier versions, and how each is written now."""

from __future__ import annotations

import csv
import shlex
from pathlib import Path

from dyemix.reading import is_picture

#: An earlier command → the present one; ``{}`` takes its next argument. And of a command as it is
#: called now, an earlier option → the present one; ``{}`` takes its value.
COMMANDS: dict[str, str] = {}
OPTIONS: dict[str, dict[str, str]] = {}
with Path(__file__).parents[1].joinpath("data", "renamed.csv").open(encoding="utf-8") as _file:
    for _row in csv.DictReader(_file):
        _table = OPTIONS.setdefault(_row["command"], {}) if _row["command"] else COMMANDS
        if _row["was"]:
            _table[_row["was"]] = _row["is"]
#: What an earlier command wrote unasked, and now wants to be asked for.
_OUTPUTS = {
    "start": ["-o", "swatches.csv"], "photo-page": ["-o", "page.pdf"],
    "read": ["--names", "cells.csv", "-o", "read.csv"],
}  # fmt: skip


def written_anew(words: list[str]) -> str:
    """A sentence with the whole command as it is written now; "" where nothing in it is earlier."""
    old = [part for word in words for part in (word.split("=", 1) if word[:2] == "--" else [word])]
    rest = list(old)
    new = _taken(rest, COMMANDS) if rest else []
    rest = new + rest
    name = next((n for n in (" ".join(rest[:2]), *rest[:1]) if n in OPTIONS), "")
    new, rest = rest[: len(name.split())], rest[len(name.split()) :]
    if rest and not rest[0].startswith("-"):  # its one argument
        if name == "fit" and is_picture(rest[0]):
            new, name = ["read"], "read"
        elif name == "fit":
            new.append("--swatches")
        if name == "match" and "--cell" in rest[:-1]:
            cell = rest.index("--cell")
            rest = [f"{rest[0]} {rest[cell + 1]}", *rest[1:cell], *rest[cell + 2 :]]
    while rest:
        new += _taken(rest, OPTIONS.get(name, {}))
    if new != old and not {"-o", "--output"} & {*new}:
        new += _OUTPUTS.get(name, [])
    return "" if new == old else f"That is written so now: dyemix {shlex.join(new)}"


def _taken(words: list[str], table: dict[str, str]) -> list[str]:
    """The first of the words as it is written now; what becomes of it is taken off them."""
    word = words.pop(0)
    if word not in table:
        return [word]
    out = []
    for part in shlex.split(table[word]):
        values = [words.pop(0) if words else "" for _ in range(part.count("{}"))]
        out.append(part.format(*values))
    return out
