"""Files of instruments: ISO 28178 text (CGATS.17 and its relatives), and ISO 17972-1 (CxF3).

The text is keywords, then field names between BEGIN_DATA_FORMAT and END_DATA_FORMAT, then the sets
between BEGIN_DATA and END_DATA; strings stand in double quotes and ``#`` begins a remark. Fields
are known by name, never by place. NUMBER_OF_FIELDS and NUMBER_OF_SETS say again what the file
holds: they are compared with it, so that a file cut short is noticed.

CxF3 is XML in which every object is a sample with its spectra and colours. Namespaces and their
prefixes differ between writers and are not looked at. Where a spectrum begins and how far its bands
stand apart is said once, in the ColorSpecification it refers to; reflectance is a fraction there
(100 % = 1.0). A file may hold several collections of objects. A document type declaration is
refused as such: with it go entity bombs, external entities and anything that would be fetched. CxF3
needs none.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from xml.etree.ElementTree import Element, ParseError  # reading goes through defusedxml

from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import data, said
from dyemix.files import cells as sheets
from dyemix.files.cells import MOST_COLUMNS, MOST_ROWS, READING, Faults, Sheet, band, meaning, tidy
from dyemix.files.table import understand

_FIRST = re.compile(r"\s*(?:CGATS\.\d|ISO ?28178|IT8\.7)", re.IGNORECASE)
_BLOCK = re.compile(r"^[ \t]*BEGIN_DATA(?:_FORMAT)?[ \t]*(?:#.*)?$", re.MULTILINE)
_TOKEN = re.compile(r'"((?:[^"]|"")*)"|(#).*|([^\s"]+)|(")')
#: A field that ends in a wavelength is a band, whatever a writer puts before it.
_SPECTRAL = re.compile(r"(?:.*[^\d.])?(\d{3,4}(?:\.\d+)?)(?:_?NM)?", re.IGNORECASE)

#: Keywords that say again what the file holds, or how its numbers are to be taken.
_COUNTS = ("NUMBER_OF_FIELDS", "NUMBER_OF_SETS", "SPECTRAL_BANDS", "SPECTRAL_NORM")
_MARKS = ("BEGIN_DATA_FORMAT", "END_DATA_FORMAT", "BEGIN_DATA", "END_DATA")
_WORDS = data("instruments")
_SCALES: dict[str, str] = _WORDS["scales"]


def is_cgats(text: str) -> bool:
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


def read_cgats(text: str, faults: Faults) -> SwatchSet:
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
    scale = _pairs(file) or _stated_scale(file)
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
    return known if known in sheets.KNOWN and len(name) > 1 else name


def _stated_scale(file: _File) -> str:
    """Percent or fraction, where field names or the file's norm state it."""
    kinds = {_SCALES[start] for n in file.fields if (start := n.upper()[:12]) in _SCALES}
    norm, line = file.keywords.get("SPECTRAL_NORM", ("", 0))
    if stated := _SCALES.get(re.sub(r"\.0*$", "", norm)):
        kinds.add(stated)
    elif norm:
        file.faults.tell("norm", line, norm=norm[:20])
    if len(kinds) > 1:
        file.faults.tell("both_scales", line)
    return min(kinds, default="")


# CxF3 -------------------------------------------------------------------------------------------

_SPECTRUM, _LAB = "ReflectanceSpectrum", "ColorCIELab"
_NOTHING = ("", "unknown", "not stated", "none")
_ANGLES = ("Illumination", "Measurement")
_NONE = Element("none")
#: The headings of a row's bands, and its cells by heading.
_Row = tuple[tuple[str, ...], dict[str, str]]


def is_xml(data: bytes) -> bool:
    """Whether `data` begins as XML."""
    start = data[:400].replace(b"\0", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    return start.startswith((b"<?xml", b"<!DOCTYPE", b"<!--", b"<CxF", b"<cc:CxF"))


def read_cxf(data: bytes, faults: Faults) -> SwatchSet:
    """Read a CxF3 file. Raises `InputError` with every fault of the file."""
    faults.counted = "object"
    root = _parse(data, faults)
    objects = list(root.iter("Object"))
    if not objects:
        faults.stop("no_object")
    if len(objects) > MOST_ROWS:
        faults.stop("many_objects", most=MOST_ROWS)
    given = {e.get("Id", ""): e for e in root.iter("ColorSpecification")}
    rows: dict[tuple[str, ...], list[tuple[int, dict[str, str]]]] = {}
    passed: Counter[str] = Counter()
    for number, item in enumerate(objects, 1):
        for bands, row in _rows(item, number, given, faults, passed):
            rows.setdefault(bands, []).append((number, row))
    faults.raise_any()
    if () in rows and len(rows) == 2:  # Lab-only objects among spectra of the same bands
        bare = rows.pop(())
        ((bands, spectra),) = rows.items()
        rows[bands] = sorted([*spectra, *bare], key=lambda pair: pair[0])
    faults.note("cxf")
    if (collections := len(list(root.iter("ObjectCollection")))) > 1:
        faults.note("collections", count=collections)
    faults.notes += [said("tables.passed", what=what, count=n) for what, n in passed.items() if n]
    sets = []
    for bands, group in rows.items():
        about = dict.fromkeys(key for _, row in group for key in row if key not in bands)
        headings = [*([] if about.keys() & sheets.KNOWN else ["name"]), *about, *bands]
        cells = [(number, [row.get(heading, "") for heading in headings]) for number, row in group]
        remarks = _about(root) + ([(1, "scale: fraction")] if bands else [])
        sets.append(understand(Sheet.of_rows(remarks, headings, group[0][0], cells), faults))
    readings = [reading for one in sets for reading in one.readings]
    readings.sort(key=lambda reading: int(reading.place.rpartition(" ")[2]))
    return SwatchSet(tuple(readings), sets[-1].warnings, faults.file, any(one.demo for one in sets))


def _parse(data: bytes, faults: Faults) -> Element:
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        root: Element = fromstring(data, forbid_dtd=True)
    except DefusedXmlException:
        faults.stop("document_type")
    except (ParseError, ValueError, LookupError) as error:
        line = getattr(error, "position", (None, 0))[0]
        faults.stop("bad_xml", where=f" (line {line})" if line else "", error=str(error))
    for element in root.iter():
        element.tag = element.tag.rpartition("}")[2]
    if root.tag != "CxF":
        faults.stop("other_xml", root=root.tag[:40])
    return root


def _text(element: Element, path: str) -> str:
    return tidy(element.findtext(path) or "")


def _stated(specification: Element) -> dict[str, str]:
    """The conditions that a ColorSpecification states."""
    choice = "MeasurementSpec/GeometryChoice"
    sphere = _text(specification, f"{choice}/SphereGeometry")
    each = [_text(specification, f"{choice}/SingleAngle/{angle}Angle") for angle in _ANGLES]
    stated = {key: _text(specification, path) for key, path in _WORDS["conditions"].items()}
    stated["observer"] = stated["observer"].replace("_", " ")
    angles = "/".join(re.sub(r"\.0+$", "", angle) for angle in each).strip("/")
    unknown = _text(specification, f"{choice}/UnknownGeometry")
    stated["geometry"] = angles or _WORDS["sphere"].get(sphere, sphere) or unknown
    return {key: value for key, value in stated.items() if value.lower() not in _NOTHING}


def _about(root: Element) -> list[tuple[int, str]]:
    """What the file says of itself, as the remark lines of a table."""
    described = _text(root, "FileInformation/Description")
    told = [f"about: {described}"] if described else []
    tags = root.iterfind("FileInformation//Tag")
    told += [f"{tag.get('Name', '')}: {tag.get('Value', '')}" for tag in tags]
    return [(1, text) for text in told]


def _rows(
    item: Element, number: int, given: dict[str, Element], faults: Faults, passed: Counter[str]
) -> Iterator[_Row]:
    """The readings of an object: a row a spectrum, or one for CIELAB where there is none.

    What is passed over is counted in `passed`.
    """
    about = {"name": item.get("Name", "")}
    about |= {"object type": kind} if (kind := item.get("ObjectType", "")) else {}
    for tag in item.iter("Tag"):
        about[meaning(tag.get("Name", ""))] = tidy(tag.get("Value", ""))
    values = item.findall("ColorValues/*")
    spectra, colours = ([e for e in values if e.tag == name] for name in (_SPECTRUM, _LAB))
    passed["a ColorCIELab after the first of its object"] += max(len(colours) - 1, 0)
    passed["ColorCIELab beside a spectrum, which is used,"] += bool(spectra and colours)
    passed.update(e.tag for e in values if e.tag not in (_SPECTRUM, _LAB))
    passed["an object without ReflectanceSpectrum or ColorCIELab"] += not (spectra or colours)
    for value in spectra or colours[:1]:
        name = value.get("ColorSpecification", "")
        if name and name not in given:
            faults.tell("no_specification", number, value.tag, name=name[:40])
        specification = given.get(name, _NONE)
        stated = _stated(specification)
        if not spectra:
            lab = dict(zip(READING, (_text(value, axis) for axis in "LAB"), strict=False))
            yield (), stated | about | lab
            continue
        for light in ("illuminant", "observer"):  # they go with a CIELAB; a spectrum has none
            stated.pop(light, None)
        texts = (value.text or "").split()
        if bands := _bands(value, specification, len(texts), number, faults):
            yield bands, stated | about | dict(zip(bands, texts, strict=True))


def _bands(
    spectrum: Element, specification: Element, count: int, number: int, faults: Faults
) -> tuple[str, ...]:
    """The headings of a spectrum; empty, and a fault, where its wavelengths are not stated."""
    begins = specification.find("MeasurementSpec/WavelengthRange")
    stated = {**({} if begins is None else begins.attrib), **spectrum.attrib}
    start, step = stated.get("StartWL", ""), stated.get("Increment", "")
    try:
        first, apart = float(start), float(step)
        if 300 <= first <= 1100 and 0 < apart <= 100 and 2 <= count <= MOST_COLUMNS:
            return tuple(f"{first + apart * i:g} nm" for i in range(count))
    except ValueError:
        pass
    told = {"count": count, "start": start or "?", "step": step or "?"}
    faults.tell("no_grid", number, _SPECTRUM, **told)
    return ()
