"""The conditions of a swatch, compared: the same one written in two ways is one condition.

`24 C` and `24 °C`, `SCE` and `d/8 specular excluded`, `1 day` and `24 h`, `none` and `0 g/L` each
say the same. A swatch keeps its conditions as the dyer wrote them; only comparisons go through
here.
"""

import re
from collections.abc import Mapping
from contextlib import suppress
from datetime import date, datetime
from fractions import Fraction

from dyemix.errors import data, refuse, said

#: The conditions under which a swatch was dyed and read that a fit must not mix.
METHOD = ("cloth", "alkali", "liquor ratio", "temperature", "hours", "salt", "soda", "geometry",
          "backing")  # fmt: skip
#: The photograph that a reading is from, by its name and a mark of its pixels, as 'photo.jpg
#: #0badcafe': what its camera does to all colours is common to them.
PICTURE = "photograph"
#: Conditions that are kept but may differ between swatches of one fit.
RECORD = ("lot", "date", "illuminant", "observer", PICTURE)
#: Those that tell of a reading, not of how its piece was dyed.
OF_READING = ("geometry", "backing", "illuminant", "observer", PICTURE)
#: All that are columns of a table under their own name; any other is one as ``# name``.
CONDITIONS = (*METHOD, *RECORD)

_NUMBER = r"([0-9]+(?:[.,][0-9]+)?)"
_WORDS = data("recipes")
#: By condition, what units are called: the unit that is compared, and how theirs becomes it.
_UNITS: dict[str, dict[str, tuple[str, str, int]]] = _WORDS["units"]
_RATIO = re.compile(rf"{_NUMBER}(?: ?(?::|to) ?{_NUMBER})?")
#: Salt and soda in g/L, with the words that say of which.
_DOSE = re.compile(
    rf"((?:[a-z' ]+ )??){_NUMBER} ?(?:g ?(?:/|per) ?(?:l|litre|liter))?((?: [a-z' ]+)?)"
)
_DOSE_WORDS: dict[str, dict[str, str]] = _WORDS["doses"]
_ANGLES = re.compile(r"\b(45|0)(?:[ax]|°)?[/:](45|0)(?:[ax]|°)?")


def normal(key: str, value: str) -> str:
    """One spelling for a condition, for comparison only."""
    text = " ".join(value.casefold().split()).strip(" .,;")
    text = _WORDS["in_words"].get(key, {}).get(text, text)
    if key in _DOSE_WORDS or key in _UNITS or key == "liquor ratio":
        text = re.sub(r"^(?:about |ca\.? |~ ?)", "", text)
    if key in _DOSE_WORDS:
        return _dose(key, text.replace("’", "'"))
    if key in _UNITS:
        match = re.fullmatch(rf"{_NUMBER} ?(.*)", text)
        if match is None or match[2] not in _UNITS[key]:
            return text
        (unit, times, zero), number = _UNITS[key][match[2]], match[1].replace(",", ".")
        return f"{float((Fraction(number) - zero) * Fraction(times)):.4g} {unit}"
    if key == "liquor ratio" and (match := _RATIO.fullmatch(text)):
        less, more = sorted(float(part.replace(",", ".")) for part in match.groups("1"))
        return f"{more / less:.4g}:1" if less > 0.0 else "0"  # which is no ratio
    if key == "geometry":
        return _geometry(text.replace("°", ""))
    return text


def _dose(key: str, text: str) -> str:
    """Salt or soda in g/L of the anhydrous; Glauber's salt stays apart from common salt."""
    match, known = _DOSE.fullmatch(text), _DOSE_WORDS[key]
    words = f"{match[1]} {match[3]}".split() if match else []
    if match is None or not known.keys() >= {*words}:
        return text
    said_of = " ".join(sorted({known[word] for word in words} - {""}))
    number = float(match[2].replace(",", ".")) / _WORDS["holds"][key].get(said_of, 1.0)
    return f"{number:.4g} g/l{' glauber' * ('glauber' in said_of)}"


def _geometry(text: str) -> str:
    found = [str(name) for name, sign in _WORDS["geometry"].items() if re.search(sign, text)]
    specular = [name for name in found if name != "sphere"]
    if len(specular) == 1:
        return specular[0]
    if angles := _ANGLES.search(text):
        return f"{angles[1]}/{angles[2]}"
    return "sphere" if "sphere" in found and len(text) < 12 else text


def mottled(conditions: Mapping[str, str] | None) -> tuple[str, ...]:
    """What to say of swatches dyed in less than 10:1, too little to stir (common practice)."""
    key = "liquor ratio"
    ratio = re.fullmatch(r"([0-9.e+]+):1", normal(key, (conditions or {}).get(key, "")))
    return (said("recipes.mottled"),) if ratio and float(ratio[1]) < 10.0 else ()


def same(key: str, one: str, other: str) -> bool:
    """Whether two ways of writing condition `key` say the same."""
    return normal(key, one) == normal(key, other)


_MONTHS = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]
#: The words of a day that are its numbers and its month, by the first letters.
_OF_A_DAY = re.compile(rf"\d+|(?<![^\W\d_])(?:{'|'.join(_MONTHS)})")
#: In which order they stand. A month in words is m5: of its name Python asks the locale.
_DAYS = ("%Y %m %d", "%d %m %Y", "%d m%m %Y", "m%m %d %Y", "%Y m%m %d", "%m %d %Y")


def parse_day(text: str) -> date:
    """A day: ``2026-05-03``, ``3 May 2026``, ``May 3, 2026``, ``3.5.2026`` (the day first, as with
    points everywhere) or ``25/5/2026``.

    Raises `DyemixError` for what is none, and for one that could be two days, as ``03/05/2026``.
    """
    words, found = " ".join(_OF_A_DAY.findall(text.lower())), dict[date, None]()
    for number, month in enumerate(_MONTHS, 1):
        words = words.replace(month, f"m{number}")
    for order in _DAYS:
        with suppress(ValueError):
            found[datetime.strptime(words, order).date()] = None
    refuse(not found, "recipes.no_date", text=text)
    both = " or ".join(map(str, found)) if "." not in text and len(found) > 1 else ""
    refuse(both, "recipes.two_days", text=text, both=both)
    return next(iter(found))
