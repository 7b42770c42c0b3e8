"""ISO 28178 text (CGATS.17 and its relatives): columns by name, keywords kept.

A file is keywords, then field names between BEGIN_DATA_FORMAT and END_DATA_FORMAT, then the sets
between BEGIN_DATA and END_DATA; strings stand in double quotes and ``#`` begins a remark. Fields
are known by name, never by place. NUMBER_OF_FIELDS and NUMBER_OF_SETS say again what the file
holds: they are compared with it, so that a file cut short is noticed.
"""

from __future__ import annotations

import math
import os
import re
from dataclasses import dataclass, field
from pathlib import Path

from dyemix.dataset.swatches import SwatchSet
from dyemix.files.cells import MOST_COLUMNS, MOST_ROWS, Faults, Sheet, decode
from dyemix.files.headings import COVARIANCE, KNOWN, band, meaning
from dyemix.files.table import understand
from dyemix.files.writing import cells_of

_FIRST = re.compile(r"\s*(?:CGATS\.\d|ISO ?28178|IT8\.7)", re.IGNORECASE)
_BLOCK = re.compile(r"^[ \t]*BEGIN_DATA(?:_FORMAT)?[ \t]*(?:#.*)?$", re.MULTILINE)
_TOKEN = re.compile(r'"((?:[^"]|"")*)"|(#).*|([^\s"]+)|(")')
_SPECTRAL = re.compile(
    r"(?:SPECTRAL_?)?(?:NM|PCT|DEC|R|SPEC|REFL?)?_?(\d{3,4}(?:\.\d+)?)(?:_?NM)?", re.IGNORECASE
)

#: Fields of the standard → headings of a swatch table.
_FIELDS = {"SAMPLE_NAME": "name", "LAB_L": "L*", "LAB_A": "a*", "LAB_B": "b*", "STRING": "name"}
#: Keywords of the standard → conditions of a swatch table.
_KEYWORDS = {
    "MEASUREMENT_GEOMETRY": "geometry",
    "SAMPLE_BACKING": "backing",
    "ILLUMINANT": "illuminant",
    "OBSERVER": "observer",
    "OBSERVER_ANGLE": "observer",
}
_COUNTS = ("NUMBER_OF_FIELDS", "NUMBER_OF_SETS", "SPECTRAL_BANDS")


def recognise(data: bytes) -> bool:
    """Whether `data` is text that names its standard first, or holds a line BEGIN_DATA."""
    if (text := decode(data)) is None:
        return False
    return bool(_FIRST.match(text[0]) or _BLOCK.search(text[0]))


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
        if word in ("BEGIN_DATA_FORMAT", "BEGIN_DATA"):
            place = word
            if word == "BEGIN_DATA":
                file.data_lines.append(number)
            elif file.fields:
                faults.add(
                    f"a second list of fields; the first is in line {file.format_line}: keep one "
                    "table in a file.",
                    number,
                )
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


def _check_counts(file: _File, faults: Faults) -> None:
    """Hold the file against what it says of itself."""
    if len(file.data_lines) > 1:
        lines = " and ".join(str(line) for line in file.data_lines[:3])
        faults.add(
            f"{len(file.data_lines)} data blocks begin here, in lines {lines}: keep one in a file.",
            file.data_lines[0],
        )
    if not file.fields:
        faults.add("there are no field names: a BEGIN_DATA_FORMAT block lists them.")
    if not file.data_lines:
        faults.add("there is no BEGIN_DATA block: the file is cut short, or holds no readings.")
    elif not file.closed:
        faults.add("END_DATA is missing: the file is cut short.", file.data_lines[-1])
    held = {"NUMBER_OF_FIELDS": len(file.fields), "NUMBER_OF_SETS": len(file.sets)}
    for name, count in held.items():
        if name not in file.keywords:
            continue
        value, line = file.keywords[name]
        if value != str(count):
            faults.add(f"{name} is {value[:20]}, and the file holds {count}.", line)


def _whole_sets(file: _File, faults: Faults) -> None:
    """Sets that run over several lines become one; a set of any other length is a fault."""
    width = len(file.fields)
    uneven = [line for line, cells in file.sets if len(cells) != width]
    if not uneven or not width:
        return
    cells = [(line, cell) for line, row in file.sets for cell in row]
    stated = file.keywords.get("NUMBER_OF_SETS", ("", 0))[0]
    if len(cells) == width * len(cells[::width]) and stated == str(len(cells) // width):
        starts = range(0, len(cells), width)
        file.sets = [(cells[i][0], [c for _, c in cells[i : i + width]]) for i in starts]
        return
    odd = next(row for line, row in file.sets if line == uneven[0])
    faults.add(f"{len(odd)} values under {width} fields: each set needs one a field.", uneven[0])


def _wavelength(name: str) -> float | None:
    match = _SPECTRAL.fullmatch(name)
    if match is None:
        return band(name)
    return float(match[1]) if 300.0 <= float(match[1]) <= 1100.0 else None


def _pairs(file: _File, faults: Faults) -> str:
    """Turn SPECTRAL_NM, SPECTRAL_PCT pairs, wavelengths in the sets, into spectral fields."""
    upper = [name.upper() for name in file.fields]
    at = [i for i, name in enumerate(upper) if name == "SPECTRAL_NM"]
    if not at:
        return ""
    kinds = {upper[i + 1] if i + 1 < len(upper) else "" for i in at}
    if len(kinds) != 1 or not kinds <= {"SPECTRAL_PCT", "SPECTRAL_DEC"}:
        faults.add(
            "each SPECTRAL_NM must be followed by SPECTRAL_PCT, or each by SPECTRAL_DEC.",
            file.format_line,
        )
        return ""
    first = [file.sets[0][1][i] for i in at] if file.sets else []
    for line, cells in file.sets:
        if [cells[i] for i in at] != first:
            faults.add("the wavelengths of this set differ from those of the first.", line)
            return ""
    fields = list(file.fields)
    for i, wavelength in zip(at, first, strict=True):
        fields[i + 1] = f"SPECTRAL_NM{wavelength}"
    keep = [i for i in range(len(fields)) if i not in at]
    file.fields = [fields[i] for i in keep]
    file.sets = [(line, [cells[i] for i in keep]) for line, cells in file.sets]
    return "percent" if kinds == {"SPECTRAL_PCT"} else "fraction"


def _heading(name: str, names: set[str]) -> str:
    upper = name.upper()
    if upper == "SAMPLE_ID":
        return "sample number" if "SAMPLE_NAME" in names else "name"
    if (wavelength := _wavelength(name)) is not None:
        return f"{wavelength:g} nm"
    if upper in _FIELDS:
        return _FIELDS[upper]
    known = meaning(name)
    return known if known in KNOWN and len(name) > 1 and known not in ("L*", "a*", "b*") else name


def _scale(file: _File, faults: Faults) -> str:
    """Percent or fraction, where field names or the file's norm state it."""
    kinds = {m[1] for n in file.fields if (m := re.match(r"SPECTRAL_(PCT|DEC)", n.upper()))}
    norm, line = file.keywords.get("SPECTRAL_NORM", ("", 0))
    try:
        norms = {"": set(), "100": {"PCT"}, "1": {"DEC"}}[f"{float(norm):g}" if norm else ""]
    except (KeyError, ValueError):
        faults.add(f"SPECTRAL_NORM is {norm[:20]!r}: 100 is percent and 1 is fraction.", line)
        return ""
    if len(kinds | norms) > 1:
        faults.add("the file says percent and fraction of its reflectances: correct one.", line)
        return ""
    return {"PCT": "percent", "DEC": "fraction"}.get("".join(kinds | norms), "")


def read(data: bytes, file_name: str) -> SwatchSet:
    """Read an ISO 28178 or CGATS.17 file. Raises `InputError` with every fault of the file."""
    text, note = decode(data) or ("", "")
    faults = Faults(file_name, "line")
    file = _scan(text, faults)
    _whole_sets(file, faults)
    _check_counts(file, faults)
    faults.raise_any()
    scale = _pairs(file, faults) or _scale(file, faults)
    faults.raise_any()
    names = {name.upper() for name in file.fields}
    headings = [_heading(name, names) for name in file.fields]
    remarks = [(line, text) for line, text in file.remarks if text.strip()]
    for name, (value, line) in file.keywords.items():
        if name == "SPECTRAL_BANDS":
            count = sum(heading.endswith(" nm") for heading in headings)
            if value != str(count):
                faults.add(f"SPECTRAL_BANDS is {value[:20]}, and the file holds {count}.", line)
        elif name not in (*_COUNTS, "SPECTRAL_NORM"):
            remarks.append((line, f"{_KEYWORDS.get(name, name)}: {value}"))
    if scale:
        remarks.append((file.format_line, f"scale: {scale}"))
    notes = ["ISO 28178 / CGATS.17 text; fields are taken by name.", *([note] if note else [])]
    stated = {meaning(remark.partition(":")[0]) for _, remark in remarks} | set(headings)
    if "L*" in headings and stated.isdisjoint({"illuminant", "observer"}):
        remarks += [(file.format_line, "illuminant: D50"), (file.format_line, "observer: 2")]
        notes.append(
            "CIELAB without its light stated is taken to be D50, 2°, which ISO 13655 prescribes "
            "for files of this kind."
        )
    sheet = Sheet(
        remarks=remarks,
        headings=headings,
        header_row=file.format_line,
        rows=file.sets,
        notes=notes,
        counted="line",
    )
    return understand(sheet, faults)


_WRITTEN = {"L*": "LAB_L", "a*": "LAB_A", "b*": "LAB_B", "name": "SAMPLE_NAME"}
_STANDARD = ("SAMPLE_ID", *_WRITTEN.values())


def write_cgats(swatches: SwatchSet, path: str | os.PathLike[str]) -> None:
    """Write readings as ISO 28178 text that `read_swatches` reads back, to six decimals.

    Reflectance goes into SPECTRAL_DEC fields, as a fraction, and CIELAB into LAB_L, LAB_A, LAB_B;
    recipes and conditions into fields of their own, declared by KEYWORD as the standard asks.
    """
    shared, columns, rows = cells_of(swatches)
    names = []
    for column in columns:
        wavelength = band(column)
        spectral = None if wavelength is None else f"SPECTRAL_DEC{wavelength:g}"
        names.append(spectral or _WRITTEN.get(column) or _field_name(column))
    own = [n for n in names if n not in _STANDARD and not n.startswith("SPECTRAL_DEC")]
    keywords = {_field_name(key): value for key, value in shared.items()}
    if swatches.demo:
        keywords["DEMO"] = "yes"
    lines = ["ISO28178", *(f'KEYWORD "{name}"' for name in dict.fromkeys((*keywords, *own)))]
    lines += [f"{key} {_quoted(value)}" for key, value in keywords.items()]
    lines += [f"NUMBER_OF_FIELDS {len(names) + 1}", "BEGIN_DATA_FORMAT"]
    lines += [" ".join(["SAMPLE_ID", *names]), "END_DATA_FORMAT"]
    lines += [f"NUMBER_OF_SETS {len(rows)}", "BEGIN_DATA"]
    for number, row in enumerate(rows, 1):
        cells = [row.get(column, "") for column in columns]
        lines.append(" ".join([str(number), *(_quoted(c) if not _plain(c) else c for c in cells)]))
    Path(path).write_text("\n".join([*lines, "END_DATA", ""]), encoding="utf-8")


def _field_name(heading: str) -> str:
    return heading if heading in COVARIANCE else re.sub(r"\W+", "_", heading).upper()


def _plain(cell: str) -> bool:
    try:
        return math.isfinite(float(cell))
    except ValueError:
        return False


def _quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'
