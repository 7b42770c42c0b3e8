"""What a cloth is made of, and how it bears soda and heat (`data/fibres.toml`)."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from dyemix.errors import DyemixError


@dataclass(frozen=True)
class Fibre:
    """A cloth by its fibres.

    Attributes
    ----------
    words : what was said of it.
    names : of its fibres; none where its words name none.
    undyed : those of them that take no dye.
    share : how much of its weight takes dye, 0 to 1; None where that is not known.
    weak : whether it is weak when wet.
    hottest : the warmest water it bears for long, °C; None where any will do.
    """

    words: str = ""
    names: tuple[str, ...] = ()
    undyed: tuple[str, ...] = ()
    share: float | None = None
    weak: bool = False
    hottest: float | None = None

    @classmethod
    def of(cls, words: str) -> Fibre:
        """The fibres of ``cotton lawn``, ``cotton 55 %, linen 45 %``, ``95% cotton 5% elastane``.

        Raises `DyemixError` for a fibre that soda harms, for cloth that takes no dye at all, and
        for shares that do not make up the whole.
        """
        text = " ".join(words.lower().split())
        found = {name: row for name, row in _known().items() if re.search(row["pattern"], text)}
        harmed = ", ".join(name for name, row in found.items() if row.get("harmed"))
        if harmed:
            raise DyemixError(
                f"{harmed}: soda ash harms it, and this sheet is for cotton, linen, hemp, viscose "
                "and their like. Another method is needed: ask for one where the dye is from."
            )
        undyed = tuple(name for name, row in found.items() if not row.get("dyes", True))
        if found and len(undyed) == len(found):
            raise DyemixError(
                f"{', '.join(undyed)} takes no dye in a bath with soda: dye cotton, linen, hemp, "
                "viscose or their like, or ask for another method where the dye is from."
            )
        share = 1.0 if found and not undyed else None
        parts = _shares(text, found)
        if parts:
            if abs(sum(parts.values()) - 100.0) > 2.0:
                raise DyemixError(
                    f"{words!r} makes {sum(parts.values()):g} %: its fibres are 100 % together, as "
                    "'cotton 65 %, polyester 35 %'."
                )
            share = sum(part for name, part in parts.items() if name not in undyed) / 100.0
        limits = [row["hottest"] for row in found.values() if "hottest" in row]
        weak = any(row.get("weak") for row in found.values())
        return cls(words, tuple(found), undyed, share, weak, min(limits, default=None))


UNKNOWN = Fibre()


def _shares(text: str, found: dict[str, Any]) -> dict[str, float]:
    """Per cent by fibre, where each has its own; the number stands before each name, or after."""
    number = r"(\d+(?:[.,]\d+)?) ?%"
    shares = {}
    for name, row in found.items():
        before = re.search(rf"{number} (?:[^\W\d]+ )?{row['pattern']}", text)
        after = re.search(rf"{row['pattern']}(?: [^\W\d]+)? ?{number}", text)
        match = before if re.match(r"\d", text) and before else after or before
        if match:
            shares[name] = float(match[1].replace(",", "."))
    return shares if len(shares) == len(found) else {}


@cache
def _known() -> dict[str, dict[str, Any]]:
    text = files("dyemix").joinpath("data", "fibres.toml").read_text(encoding="utf-8")
    known: dict[str, dict[str, Any]] = tomllib.loads(text)
    for row in known.values():
        row["pattern"] = rf"(?<![a-z])(?:{'|'.join(row['words'])})(?![a-z])"
    return known
