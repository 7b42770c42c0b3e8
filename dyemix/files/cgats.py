"""ISO 28178 text (CGATS.17 and its relatives): columns by name, keywords kept.

A file is keywords, then field names between BEGIN_DATA_FORMAT and END_DATA_FORMAT, then the sets
between BEGIN_DATA and END_DATA; strings stand in double quotes and ``#`` begins a remark. Fields
are known by name, never by place. NUMBER_OF_FIELDS and NUMBER_OF_SETS say again what the file
holds: they are compared with it, so that a file cut short is noticed.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field

from dyemix.dataset.swatches import SwatchSet
from dyemix.files.cells import MOST_COLUMNS, MOST_ROWS, Faults, Sheet, decode
from dyemix.files.headings import COVARIANCE, KNOWN, READING, band, meaning
from dyemix.files.rows import Written
from dyemix.files.table import understand

_FIRST = re.compile(r"\s*(?:CGATS\.\d|ISO ?28178|IT8\.7)", re.IGNORECASE)
_BLOCK = re.compile(r"^[ \t]*BEGIN_DATA(?:_FORMAT)?[ \t]*(?:#.*)?$", re.MULTILINE)
_TOKEN = re.compile(r'"((?:[^"]|"")*)"|(#).*|([^\s"]+)|(")')
_SPECTRAL = re.compile(
    r"(?:SPECTRAL_?)?(?:NM|PCT|DEC|R|SPEC|REFL?)?_?(\d{3,4}(?:\.\d+)?)(?:_?NM)?", re.IGNORECASE
)

#: Fields of the standard → headings of a swatch table; a sample's number is its name if need be.
_FIELDS = {"SAMPLE_NAME": "name", "LAB_L": "L*", "LAB_A": "a*", "LAB_B": "b*", "STRING": "name"}
#: Keywords of the standard → conditions of a swatch table.
_KEYWORDS = {
    "MEASUREMENT_GEOMETRY": "geometry",
    "SAMPLE_BACKING": "backing",
    "ILLUMINANT": "illuminant",
    "OBSERVER": "observer",
    "OBSERVER_ANGLE": "observer",
}
#: Keywords that say again what the file holds, or how its numbers are to be taken.
_COUNTS = ("NUMBER_OF_FIELDS", "NUMBER_OF_SETS", "SPECTRAL_BANDS", "SPECTRAL_NORM")
_SCALES = {"SPECTRAL_PCT": "percent", "SPECTRAL_DEC": "fraction"}
_NORMS = {"100": "percent", "1": "fraction"}


def recognise(data: bytes) -> bool:
    """Whether `data` is text that names its standard first, or holds a line BEGIN_DATA."""
    text, _ = decode(data) or ("", "")
    return bool(_FIRST.match(text) or _BLOCK.search(text))


@dataclass
class _File:
    """What the lines say, before it is understood; places are lines of the file, from 1."""

    keywords: dict[str, tuple[str, int]] = field(default_factory=dict)
    remarks: list[tuple[int, str]] = field(default_factory=list)
    fields: list[str] = field(default_factory=list)
    format_line: int = 1
    sets: list[tuple[int, list[str]]] = field(default_factory=list)
    data_lines: list[int] = field(default_factory=list)
    closed: bool = False

    def check(self, name: str, count: int, faults: Faults) -> None:
        """Hold a count that the file states against what it holds."""
        stated, line = self.keywords.get(name, (str(count), 1))
        if stated != str(count):
            faults.add(f"{name} is {stated[:20]}, and the file holds {count}.", line)


def read(data: bytes, file_name: str) -> SwatchSet:
    """Read an ISO 28178 or CGATS.17 file. Raises `InputError` with every fault of the file."""
    text, note = decode(data) or ("", "")
    faults = Faults(file_name, "line")
    file = _scan(text, faults)
    _whole_sets(file, faults)
    _check(file, faults)
    faults.raise_any()
    scale = _pairs(file, faults) or _scale(file, faults)
    faults.raise_any()
    names = {name.upper() for name in file.fields}
    headings = [_heading(name, names) for name in file.fields]
    file.check("SPECTRAL_BANDS", sum(heading.endswith(" nm") for heading in headings), faults)
    remarks = file.remarks + [
        (line, f"{_KEYWORDS.get(name, name)}: {value}")
        for name, (value, line) in file.keywords.items()
        if name not in _COUNTS
    ]
    notes = ["ISO 28178 / CGATS.17 text; fields are taken by name.", *([note] if note else [])]
    stated = {meaning(remark.partition(":")[0]) for _, remark in remarks} | set(headings)
    assumed = [f"scale: {scale}"] if scale else []
    if "L*" in headings and stated.isdisjoint({"illuminant", "observer"}):
        assumed += ["illuminant: D50", "observer: 2"]
        notes.append(
            "CIELAB without its light stated is taken to be D50, 2°, which ISO 13655 prescribes "
            "for files of this kind."
        )
    remarks += [(file.format_line, remark) for remark in assumed]
    return understand(Sheet(remarks, headings, file.format_line, file.sets, notes), faults)


def _tokens(line: str, number: int, faults: Faults) -> list[str]:
    found = []
    for match in _TOKEN.finditer(line):
        if match[2]:
            break
        if match[4]:
            faults.add("a quotation mark is not closed.", number)
            break
        found.append(match[3] if match[3] is not None else match[1].replace('""', '"'))
    return found


def _scan(text: str, faults: Faults) -> _File:
    file = _File()
    place = ""
    for number, line in enumerate(text.replace("\r\n", "\n").replace("\r", "\n").split("\n"), 1):
        tokens = _tokens(line, number, faults)
        if not tokens:
            continue
        word = tokens[0].upper() if not line.lstrip().startswith('"') else ""
        if word == "BEGIN_DATA":
            place = word
            file.data_lines.append(number)
        elif word == "BEGIN_DATA_FORMAT":
            place = word
            if file.fields:
                first = f"a second list of fields; the first is in line {file.format_line}"
                faults.add(f"{first}: keep one table in a file.", number)
            else:
                file.format_line = number
        elif word in ("END_DATA_FORMAT", "END_DATA"):
            file.closed |= word == "END_DATA"
            place = ""
        elif place == "BEGIN_DATA_FORMAT":
            file.fields += tokens
        elif place == "BEGIN_DATA":
            file.sets.append((number, tokens))
        else:
            _keyword(file, tokens, line, number)
        if len(file.fields) > 2 * MOST_COLUMNS or len(file.sets) > MOST_ROWS:
            faults.add(
                f"more than {2 * MOST_COLUMNS:,} fields or {MOST_ROWS:,} sets: too much for a "
                "swatch table. Split the file.",
                number,
            )
            break
    return file


def _keyword(file: _File, tokens: list[str], line: str, number: int) -> None:
    name, value = tokens[0].upper(), " ".join(tokens[1:])
    if name == "KEYWORD" or (number == 1 and len(tokens) == 1):
        return  # KEYWORD only declares a name that is used below; line 1 names the standard
    if name == "WEIGHTING_FUNCTION" and "," in value:  # "ILLUMINANT, D50", "OBSERVER, 2 degree"
        name, _, value = (part.strip() for part in value.partition(","))
        name = name.upper()
    if not value:
        file.remarks.append((number, line.strip()))
    elif name in file.keywords and file.keywords[name][0] != value:
        file.remarks.append((number, f"{name} again: {value}"))
    else:
        file.keywords[name] = (value, number)


def _check(file: _File, faults: Faults) -> None:
    """Hold the file against what it says of itself."""
    if len(file.data_lines) > 1:
        lines = " and ".join(map(str, file.data_lines[:3]))
        many = f"{len(file.data_lines)} data blocks begin here, in lines {lines}"
        faults.add(f"{many}: keep one in a file.", file.data_lines[0])
    if not file.fields:
        faults.add("there are no field names: a BEGIN_DATA_FORMAT block lists them.")
    if not file.data_lines:
        faults.add("there is no BEGIN_DATA block: the file is cut short, or holds no readings.")
    elif not file.closed:
        faults.add("END_DATA is missing: the file is cut short.", file.data_lines[-1])
    file.check("NUMBER_OF_FIELDS", len(file.fields), faults)
    file.check("NUMBER_OF_SETS", len(file.sets), faults)


def _whole_sets(file: _File, faults: Faults) -> None:
    """Sets that run over several lines become one; a set of any other length is a fault."""
    width = len(file.fields)
    uneven = [(line, len(row)) for line, row in file.sets if len(row) != width]
    if not uneven or not width:
        return
    cells = [(line, cell) for line, row in file.sets for cell in row]
    sets, rest = divmod(len(cells), width)
    if rest == 0 and file.keywords.get("NUMBER_OF_SETS", ("", 0))[0] == str(sets):
        starts = range(0, len(cells), width)
        file.sets = [(cells[i][0], [c for _, c in cells[i : i + width]]) for i in starts]
    else:
        line, length = uneven[0]
        faults.add(f"{length} values under {width} fields: each set needs one a field.", line)


def _pairs(file: _File, faults: Faults) -> str:
    """Turn SPECTRAL_NM, SPECTRAL_PCT pairs, wavelengths in the sets, into spectral fields."""
    upper = [name.upper() for name in file.fields]
    at = [i for i, name in enumerate(upper) if name == "SPECTRAL_NM"]
    if not at or not file.sets:
        return ""
    kinds = {upper[i + 1] if i + 1 < len(upper) else "" for i in at}
    if len(kinds) != 1 or not kinds <= _SCALES.keys():
        faults.stop(
            "each SPECTRAL_NM must be followed by SPECTRAL_PCT, or each by SPECTRAL_DEC.",
            file.format_line,
        )
    first = [file.sets[0][1][i] for i in at]
    for line, cells in file.sets:
        if [cells[i] for i in at] != first:
            faults.stop("the wavelengths of this set differ from those of the first.", line)
    for i, wavelength in zip(at, first, strict=True):
        file.fields[i + 1] = f"SPECTRAL_NM{wavelength}"
    keep = [i for i in range(len(upper)) if i not in at]
    file.fields = [file.fields[i] for i in keep]
    file.sets = [(line, [cells[i] for i in keep]) for line, cells in file.sets]
    return _SCALES[kinds.pop()]


def _heading(name: str, names: set[str]) -> str:
    """The heading of a swatch table for a field; `names` are all fields in capitals."""
    upper = name.upper()
    if upper == "SAMPLE_ID":
        return "sample number" if "SAMPLE_NAME" in names else "name"
    match = _SPECTRAL.fullmatch(name)
    wavelength = float(match[1]) if match else band(name) or 0.0
    if 300.0 <= wavelength <= 1100.0:
        return f"{wavelength:g} nm"
    known = meaning(name)
    taken = known in KNOWN and len(name) > 1 and known not in READING[:3]
    return _FIELDS.get(upper) or (known if taken else name)


def _scale(file: _File, faults: Faults) -> str:
    """Percent or fraction, where field names or the file's norm state it."""
    kinds = {_SCALES[start] for n in file.fields if (start := n.upper()[:12]) in _SCALES}
    norm, line = file.keywords.get("SPECTRAL_NORM", ("", 0))
    try:
        kinds |= {_NORMS[f"{float(norm):g}"]} if norm else set()
    except (KeyError, ValueError):
        faults.add(f"SPECTRAL_NORM is {norm[:20]!r}: 100 is percent and 1 is fraction.", line)
    if len(kinds) > 1:
        faults.add("the file says percent and fraction of its reflectances: correct one.", line)
    return min(kinds, default="")


def written(swatches: SwatchSet) -> str:
    """ISO 28178 text that `read` reads.

    Reflectance goes into SPECTRAL_DEC fields, as a fraction, and CIELAB into LAB_L, LAB_A, LAB_B;
    recipes and conditions into fields of their own, declared by KEYWORD as the standard asks.
    """
    cells = Written.of(swatches)
    standard = {heading: name for name, heading in _FIELDS.items() if name != "STRING"}
    fields = {column: standard.get(column) or _field(column) for column in cells.columns}
    own = [f for f in fields.values() if f not in _FIELDS and not f.startswith("SPECTRAL_DEC")]
    keywords = {_field(key): value for key, value in cells.shared.items()}
    rows = [[row.get(column, "") for column in fields] for row in cells.rows]
    lines = [
        "ISO28178",
        *(f'KEYWORD "{name}"' for name in dict.fromkeys((*keywords, *own))),
        *(f"{key} {_quoted(value)}" for key, value in keywords.items()),
        f"NUMBER_OF_FIELDS {len(fields) + 1}",
        "BEGIN_DATA_FORMAT",
        " ".join(["SAMPLE_ID", *fields.values()]),
        "END_DATA_FORMAT",
        f"NUMBER_OF_SETS {len(rows)}",
        "BEGIN_DATA",
        *(" ".join([str(n), *map(_quoted, row)]) for n, row in enumerate(rows, 1)),
        "END_DATA",
    ]
    return "\n".join(lines) + "\n"


def _field(heading: str) -> str:
    if (wavelength := band(heading)) is not None:
        return f"SPECTRAL_DEC{wavelength:g}"
    return heading if heading in COVARIANCE else re.sub(r"\W+", "_", heading).upper()


def _quoted(cell: str) -> str:
    """A cell in quotation marks, unless it is a number."""
    try:
        number = math.isfinite(float(cell))
    except ValueError:
        number = False
    return cell if number else '"' + cell.replace('"', '""') + '"'
