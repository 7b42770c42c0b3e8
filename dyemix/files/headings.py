"""What the headings and header lines of a swatch table mean: one table of names."""

from __future__ import annotations

import re
from types import MappingProxyType

from dyemix.swatches import METHOD, RECORD

#: The package's name for each thing → the spellings taken for it, lower case, single spaces,
#: ``_`` and ``-`` as spaces.
NAMES = MappingProxyType(
    {
        "recipe": ("recipe", "dye recipe"),
        "dye": ("dye", "colorant", "colourant"),
        "owf": ("owf", "% owf", "owf %", "owf pct", "depth", "depth % owf", "amount"),
        "swatch": ("swatch", "piece", "square"),
        "name": ("name", "sample", "sample name", "sample id"),
        "as written": ("as written",),
        "flags": ("flags",),
        "L*": ("l*", "l", "l star", "cie l*"),
        "a*": ("a*", "a", "a star", "cie a*"),
        "b*": ("b*", "b", "b star", "cie b*"),
        "hex": ("hex", "hex code", "srgb", "srgb hex"),
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
#: Between the flags of one cell.
FLAG_SEPARATOR = " | "
_LOOKUP = {spelling: name for name, spellings in NAMES.items() for spelling in spellings}

#: What may stand in a ``# key: value`` line, or (but for scale and demo) as a column.
CONDITIONS = (*METHOD, *RECORD, "stock_pct", "cloth_g", "spoons", "poured_ml", "about")
HEADER_ONLY = ("scale", "demo")
READING = ("L*", "a*", "b*", "hex")
#: What a column can mean, bands apart.
KNOWN = frozenset(NAMES) - {*HEADER_ONLY}

_BAND = re.compile(
    r"(?:%?r%?|refl|reflectance|nm|spectral(?:[ _]nm)?)?[ _]*([0-9]{3,4}(?:[.,][0-9]+)?)\s*(?:nm)?",
    re.IGNORECASE,
)


def meaning(heading: str) -> str:
    """The package's name for a heading or key; the heading itself, tidied, where it has none."""
    tidy = " ".join(heading.split())
    plain = re.sub(r"[()\[\]]", " ", tidy.lower().replace("_", " ").replace("-", " "))
    return _LOOKUP.get(" ".join(plain.split()), tidy)


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
