"""What the headings and header lines of a swatch table mean: one table of names."""

from __future__ import annotations

import re
from types import MappingProxyType

from dyemix.dataset.conditions import METHOD, RECORD

#: The package's name for each thing → the spellings taken for it, lower case, single spaces,
#: ``_`` and ``-`` as spaces.
NAMES = MappingProxyType(
    {
        "recipe": ("recipe", "dye recipe"),
        "dye": ("dye", "colorant", "colourant"),
        "owf": ("owf", "% owf", "owf %", "owf pct", "depth", "depth % owf", "amount"),
        "swatch": ("swatch", "piece", "square"),
        "name": ("name", "sample", "sample name", "sample id", "specimen"),
        "as written": ("as written",),
        "flags": ("flags",),
        "L*": ("l*", "l", "l star", "cie l*"),
        "a*": ("a*", "a", "a star", "cie a*"),
        "b*": ("b*", "b", "b star", "cie b*"),
        "hex": ("hex", "hex code", "srgb", "srgb hex"),
        "var_L": ("var l", "var l*"),
        "var_a": ("var a", "var a*"),
        "var_b": ("var b", "var b*"),
        "cov_La": ("cov la", "cov l*a*"),
        "cov_Lb": ("cov lb", "cov l*b*"),
        "cov_ab": ("cov ab", "cov a*b*"),
        "cloth": ("cloth", "fabric"),
        "alkali": ("alkali", "alkali order", "when alkali"),
        "liquor ratio": ("liquor ratio", "liquor to cloth", "bath ratio"),
        "temperature": ("temperature", "temp", "temperature c", "temperature °c"),
        "hours": ("hours", "time", "time h", "hours in alkali"),
        "salt": ("salt", "salt g/l"),
        "geometry": ("geometry", "measuring geometry"),
        "backing": ("backing", "background"),
        "lot": ("lot", "dye lot", "lots"),
        "date": ("date", "dyed on"),
        "illuminant": ("illuminant", "light"),
        "observer": ("observer", "observer angle"),
        "stock_pct": ("stock pct", "stock %", "stock", "stock strength"),
        "cloth_g": ("cloth g", "cloth weight", "dry weight", "dry weight g", "cloth weight g"),
        "spoons": ("spoons", "spoon set"),
        "poured_ml": ("poured ml", "poured"),
        "scale": ("scale", "reflectance scale"),
        "demo": ("demo",),
        "about": ("about",),
    }
)
#: Columns of the shape that has one band of one reading on a row.
_WAVELENGTH = ("wavelength", "wavelength nm", "wave length", "lambda", "λ", "wl", "nm")
_VALUE = (
    "value", "reflectance", "reflectance %", "reflectance factor", "r", "r %", "% r", "reading",
)  # fmt: skip
_OF_BANDS = {**dict.fromkeys(_WAVELENGTH, "wavelength"), **dict.fromkeys(_VALUE, "value")}
#: Between the flags of one cell.
FLAG_SEPARATOR = " | "
_LOOKUP = {spelling: name for name, spellings in NAMES.items() for spelling in spellings}

#: What may stand in a ``# key: value`` line, or (but for scale and demo) as a column.
CONDITIONS = (*METHOD, *RECORD, "stock_pct", "cloth_g", "spoons", "poured_ml", "about")
HEADER_ONLY = ("scale", "demo")
READING = ("L*", "a*", "b*", "hex")
#: Variances and covariances of L*, a*, b*, where the reader knows how good they are.
COVARIANCE = ("var_L", "var_a", "var_b", "cov_La", "cov_Lb", "cov_ab")
#: What a column can mean, bands apart.
KNOWN = frozenset(NAMES) - {*HEADER_ONLY}

_BAND = re.compile(
    r"(?:%?r%?|refl|reflectance|nm|spectral(?:[ _]nm)?)?[ _]*([0-9]{3,4}(?:[.,][0-9]+)?)\s*(?:nm)?",
    re.IGNORECASE,
)


def meaning(heading: str) -> str:
    """The package's name for a heading or key; the heading itself, tidied, where it has none."""
    return _LOOKUP.get(spelling(heading), " ".join(heading.split()))


def spelling(heading: str) -> str:
    """A heading as headings are compared: lower case, single spaces, no brackets."""
    text = heading.lower().replace("_", " ").replace("-", " ")
    return " ".join(re.sub(r"[()\[\],]", " ", text).split())


def of_bands(heading: str) -> str | None:
    """``wavelength`` or ``value`` for such a column of a table with a band on each row."""
    return _OF_BANDS.get(spelling(heading))


def band(heading: str) -> float | None:
    """The wavelength in nm (300–1100) that a heading such as ``R_400 nm`` names, or None."""
    match = _BAND.fullmatch(heading.strip())
    if match is None:
        return None
    wavelength = float(match[1].replace(",", "."))
    return wavelength if 300.0 <= wavelength <= 1100.0 else None


def known(heading: str) -> bool:
    """Whether a heading means something in a swatch table."""
    return band(heading) is not None or meaning(heading) in KNOWN


def is_swatch_table(headings: list[str]) -> bool:
    """Whether headings are those of a swatch table: a recipe, and room for a reading."""
    names = {meaning(heading) for heading in headings}
    named = "recipe" in names or {"dye", "owf"} <= names
    bands = (band(h) is not None or of_bands(h) == "wavelength" for h in headings)
    return named and (not names.isdisjoint(READING) or any(bands))
