"""ISO 28178 text (CGATS.17 and its relatives): columns by name, keywords kept.

A file is keywords, then field names between BEGIN_DATA_FORMAT and END_DATA_FORMAT, then the sets
between BEGIN_DATA and END_DATA; strings stand in double quotes and ``#`` begins a remark. Fields
are known by name, never by place. NUMBER_OF_FIELDS and NUMBER_OF_SETS say again what the file
holds: they are compared with it, so that a file cut short is noticed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import said
from dyemix.files.cells import KNOWN, MOST_COLUMNS, MOST_ROWS, Faults, Sheet, band, meaning
from dyemix.files.table import understand

_FIRST = re.compile(r"\s*(?:CGATS\.\d|ISO ?28178|IT8\.7)", re.IGNORECASE)
_BLOCK = re.compile(r"^[ \t]*BEGIN_DATA(?:_FORMAT)?[ \t]*(?:#.*)?$", re.MULTILINE)
_TOKEN = re.compile(r'"((?:[^"]|"")*)"|(#).*|([^\s"]+)|(")')
#: A field that ends in a wavelength is a band, whatever a writer puts before it.
_SPECTRAL = re.compile(r"(?:.*[^\d.])?(\d{3,4}(?:\.\d+)?)(?:_?NM)?", re.IGNORECASE)

#: Keywords that say again what the file holds, or how its numbers are to be taken.
_COUNTS = ("NUMBER_OF_FIELDS", "NUMBER_OF_SETS", "SPECTRAL_BANDS", "SPECTRAL_NORM")
_MARKS = ("BEGIN_DATA_FORMAT", "END_DATA_FORMAT", "BEGIN_DATA", "END_DATA")
_SCALES = {"SPECTRAL_PCT": "percent", "SPECTRAL_DEC": "fraction"}
_NORMS = {"100": "percent", "1": "fraction"}


def recognise(text: str) -> bool:
    """Whether text names its standard first, or holds a line BEGIN_DATA."""
    return bool(_FIRST.match(text) or ("BEGIN_DATA" in text and _BLOCK.search(text)))


@dataclass
class _File:
    """What the lines say, before it is understood; places are lines of the file, from 1."""

    faults: Faults
    keywords: dict[str, tuple[str, int]] = field(default_factory=dict)
    remarks: list[tuple[int, str]] = field(default_factory=list)
    fields: list[str] = field(default_factory=list)
    sets: list[tuple[int, list[str]]] = field(default_factory=list)
    marks: dict[str, list[int]] = field(default_factory=lambda: {mark: [] for mark in _MARKS})
    place: str = ""

    @property
    def format_line(self) -> int:
        return (self.marks["BEGIN_DATA_FORMAT"] or [1])[0]

    def check(self, name: str, count: int) -> None:
        """Hold a count that the file states against what it holds."""
        stated, line = self.keywords.get(name, (str(count), 1))
        if stated != str(count):
            self.faults.tell("states", line, name=name, stated=stated, count=count)


def read(text: str, faults: Faults) -> SwatchSet:
    """Read an ISO 28178 or CGATS.17 file. Raises `InputError` with every fault of the file."""
    faults.counted = "line"
    faults.note("cgats")
    file = _File(faults)
    for number, line in enumerate(re.split("\r\n?|\n", text), 1):
        if tokens := _tokens(line, number, faults):
            _scan(file, tokens, line, number)
    _whole_sets(file)
    _check(file)
    faults.raise_any()
    scale = _pairs(file) or _scale(file)
    faults.raise_any()
    names = {field.upper() for field in file.fields}
    headings = [_heading(field, names) for field in file.fields]
    file.check("SPECTRAL_BANDS", sum(heading.endswith(" nm") for heading in headings))
    told = {key: at for key, at in file.keywords.items() if key not in _COUNTS}
    remarks = file.remarks + [(line, f"{key}: {value}") for key, (value, line) in told.items()]
    stated = {meaning(remark.partition(":")[0]) for _, remark in remarks} | set(headings)
    assumed = [f"scale: {scale}"] if scale else []
    if "L*" in headings and stated.isdisjoint({"illuminant", "observer"}):
        assumed += ["illuminant: D50", "observer: 2"]
        faults.note("d50")
    remarks += [(file.format_line, remark) for remark in assumed]
    return understand(Sheet.of_rows(remarks, headings, file.format_line, file.sets), faults)


def _tokens(line: str, number: int, faults: Faults) -> list[str]:
    found = []
    for quoted, remark, word, open_quote in _TOKEN.findall(line):
        if open_quote:
            faults.tell("open_quote", number)
        if open_quote or remark:
            break
        found.append(word or quoted.replace('""', '"'))
    return found


def _scan(file: _File, tokens: list[str], line: str, number: int) -> None:
    """Take what a line says: the last mark that was met says what of."""
    word = tokens[0].upper() if not line.lstrip().startswith('"') else ""
    if word in file.marks:
        file.place = word
        if file.fields and word == "BEGIN_DATA_FORMAT":
            file.faults.tell("second_format", number)
        file.marks[word].append(number)
    elif file.place == "BEGIN_DATA_FORMAT":
        file.fields += tokens
    elif file.place == "BEGIN_DATA":
        file.sets.append((number, tokens))
    else:
        _keyword(file, tokens, line, number)
    if len(file.fields) > 2 * MOST_COLUMNS or len(file.sets) > MOST_ROWS:
        file.faults.stop("many_sets", number, fields=2 * MOST_COLUMNS, sets=MOST_ROWS)


def _keyword(file: _File, tokens: list[str], line: str, number: int) -> None:
    name, value = tokens[0].upper(), " ".join(tokens[1:])
    if name == "KEYWORD" or (number == 1 and len(tokens) == 1):
        return  # KEYWORD only declares a name that is used below; line 1 names the standard
    if name == "WEIGHTING_FUNCTION" and "," in value:  # "ILLUMINANT, D50", "OBSERVER, 2 degree"
        name, _, value = (part.strip() for part in value.partition(","))
        name = name.upper()
    if not value:
        file.remarks.append((number, line.strip()))
    elif file.keywords.setdefault(name, (value, number))[0] != value:
        file.remarks.append((number, said("tables.again", name=name, value=value)))


def _check(file: _File) -> None:
    """Hold the file against what it says of itself."""
    lines, tell = file.marks["BEGIN_DATA"], file.faults.tell
    if len(lines) > 1:
        tell("blocks", lines[0], count=len(lines), lines=" and ".join(map(str, lines[:3])))
    if not file.fields:
        tell("no_fields")
    if not lines:
        tell("no_data")
    elif not file.marks["END_DATA"]:
        tell("no_end", lines[-1])
    file.check("NUMBER_OF_FIELDS", len(file.fields))
    file.check("NUMBER_OF_SETS", len(file.sets))


def _whole_sets(file: _File) -> None:
    """Sets that run over several lines become one; a set of any other length is a fault."""
    width = len(file.fields)
    uneven = [(line, len(row)) for line, row in file.sets if len(row) != width]
    if not uneven or not width:
        return
    cells = [(line, cell) for line, row in file.sets for cell in row]
    sets, rest = divmod(len(cells), width)
    if rest == 0 and file.keywords.get("NUMBER_OF_SETS", ("", 0))[0] == str(sets):
        rows = (cells[i : i + width] for i in range(0, len(cells), width))
        file.sets = [(row[0][0], [cell for _, cell in row]) for row in rows]
    else:
        line, length = uneven[0]
        file.faults.tell("uneven", line, length=length, width=width)


def _pairs(file: _File) -> str:
    """Turn SPECTRAL_NM, SPECTRAL_PCT pairs, wavelengths in the sets, into spectral fields."""
    upper = [*map(str.upper, file.fields), ""]
    at = [i for i, name in enumerate(upper) if name == "SPECTRAL_NM"]
    if not at or not file.sets:
        return ""
    kinds = {upper[i + 1] for i in at}
    if len(kinds) != 1 or not kinds <= _SCALES.keys():
        file.faults.stop("pairs", file.format_line)
    first = [file.sets[0][1][i] for i in at]
    for line, cells in file.sets:
        if [cells[i] for i in at] != first:
            file.faults.stop("other_wavelengths", line)
    for i, wavelength in zip(at, first, strict=True):
        file.fields[i + 1] = f"SPECTRAL_NM{wavelength}"
    keep = [i for i in range(len(file.fields)) if i not in at]
    file.fields = [file.fields[i] for i in keep]
    file.sets = [(line, [cells[i] for i in keep]) for line, cells in file.sets]
    return _SCALES[kinds.pop()]


def _heading(name: str, names: set[str]) -> str:
    """The heading of a swatch table for a field; `names` are all fields in capitals."""
    if name.upper() == "SAMPLE_ID":
        return "sample number" if "SAMPLE_NAME" in names else "name"
    match = _SPECTRAL.fullmatch(name)
    wavelength = float(match[1]) if match else band(name) or 0.0
    if 300.0 <= wavelength <= 1100.0:
        return f"{wavelength:g} nm"
    known = meaning(name)
    return known if known in KNOWN and len(name) > 1 else name


def _scale(file: _File) -> str:
    """Percent or fraction, where field names or the file's norm state it."""
    kinds = {_SCALES[start] for n in file.fields if (start := n.upper()[:12]) in _SCALES}
    norm, line = file.keywords.get("SPECTRAL_NORM", ("", 0))
    stated = _NORMS.get(re.sub(r"\.0*$", "", norm))
    if norm and stated is None:
        file.faults.tell("norm", line, norm=norm[:20])
    kinds |= {stated} if stated else set()
    if len(kinds) > 1:
        file.faults.tell("both_scales", line)
    return min(kinds, default="")
