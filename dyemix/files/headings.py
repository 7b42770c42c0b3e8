"""What the headings and header lines of a swatch table mean, by one table: data/headings.csv."""

from __future__ import annotations

import csv
import re
from importlib.resources import files

from dyemix.arrays import LAB
from dyemix.colour.spectra import band as band
from dyemix.dataset.conditions import METHOD, RECORD

#: What may stand in a ``# key: value`` line, or (but for scale and demo) as a column.
CONDITIONS = (*METHOD, *RECORD, "stock_pct", "cloth_g", "spoons", "poured_ml", "about")
HEADER_ONLY = ("scale", "demo")
READING = (*LAB, "hex")

_TEXT = files("dyemix").joinpath("data", "headings.csv").read_text("utf-8")
_TABLE = csv.reader(line for line in _TEXT.splitlines() if line and line[0] != "#")
_SPELLINGS = {spelling: name for name, *spellings in _TABLE for spelling in spellings}
_OF_BANDS = ("wavelength", "value")
#: What a column can mean, bands apart.
KNOWN = frozenset(_SPELLINGS.values()) - {*HEADER_ONLY, *_OF_BANDS}


def spelling(heading: str) -> str:
    """A heading as headings are compared: lower case, single spaces, no brackets."""
    return " ".join(re.sub(r"[()\[\],_-]", " ", heading.lower()).split())


def meaning(heading: str) -> str:
    """The package's name for a heading or key; the heading itself, tidied, where it has none."""
    name = _SPELLINGS.get(spelling(heading))
    return name if name and name not in _OF_BANDS else " ".join(heading.split())


def of_bands(heading: str) -> str | None:
    """``wavelength`` or ``value`` for such a column of a table with a band on each row."""
    name = _SPELLINGS.get(spelling(heading))
    return name if name in _OF_BANDS else None


def known(heading: str) -> bool:
    """Whether a heading means something in a swatch table."""
    return band(heading) is not None or meaning(heading) in KNOWN


def is_swatch_table(headings: list[str]) -> bool:
    """Whether headings are those of a swatch table: a recipe, and room for a reading."""
    names = {meaning(heading) for heading in headings}
    named = "recipe" in names or {"dye", "owf"} <= names
    bands = (band(h) is not None or of_bands(h) == "wavelength" for h in headings)
    return named and (not names.isdisjoint(READING) or any(bands))
