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

import re
from collections import Counter
from collections.abc import Iterator
from contextlib import suppress
from xml.etree.ElementTree import Element, ParseError  # reading goes through defusedxml

from dyemix.arrays import LAB
from dyemix.colour.spectra import band
from dyemix.errors import data, said
from dyemix.files.cells import KNOWN, MOST_COLUMNS, MOST_ROWS, Faults, Remarks, Sheet, meaning, tidy

_FIRST = re.compile(r"\s*(?:CGATS\.\d|ISO ?28178|IT8\.7)", re.IGNORECASE)
_BLOCK = re.compile(r"^[ \t]*BEGIN_DATA(?:_FORMAT)?[ \t]*(?:#.*)?$", re.MULTILINE)
_TOKEN = re.compile(r'"((?:[^"]|"")*)"|(#).*|([^\s"]+)|(")')
#: A field that ends in a wavelength is a band, whatever a writer puts before it.
_SPECTRAL = re.compile(r"(?:.*[^\d.])?(\d{3,4}(?:\.\d+)?)(?:_?NM)?", re.IGNORECASE)

_MARKS = ("BEGIN_DATA_FORMAT", "END_DATA_FORMAT", "BEGIN_DATA", "END_DATA")
_WORDS = data("instruments")
_SCALES: dict[str, str] = _WORDS["scales"]


#: Lines, or sets of values: the number of each, and the words in it.
_Lines = list[tuple[int, list[str]]]


def is_cgats(text: str) -> bool:
    """Whether text names its standard first, or holds a line BEGIN_DATA."""
    return bool(_FIRST.match(text) or ("BEGIN_DATA" in text and _BLOCK.search(text)))


def read_cgats(text: str, faults: Faults) -> Sheet:
    """The sets of an ISO 28178 or CGATS.17 file. Raises `InputError` for what they cannot be."""
    faults.counted = "line"
    faults.note("cgats")
    marks, told = _scan(text, faults)
    keywords, remarks = _keywords(told[""])
    fields = [token for _, tokens in told["BEGIN_DATA_FORMAT"] for token in tokens]
    begins, format_line = marks["BEGIN_DATA"], (marks["BEGIN_DATA_FORMAT"] or [1])[0]
    stated, _ = keywords.get("NUMBER_OF_SETS", ("", 0))
    sets = _whole_sets(told["BEGIN_DATA"], len(fields), stated, faults)
    for mark in ("BEGIN_DATA_FORMAT", "BEGIN_DATA"):
        at, lines = marks[mark], " and ".join(map(str, marks[mark][:3]))
        faults.tell("blocks", *at[:1], when=at[1:], mark=mark, count=len(at), lines=lines)
    faults.tell("no_fields", *begins[-1:], when=not fields)
    faults.tell("no_data", when=not begins)
    faults.tell("no_end", *begins[-1:], when=begins and not marks["END_DATA"])
    for name, count in {"NUMBER_OF_FIELDS": len(fields), "NUMBER_OF_SETS": len(sets)}.items():
        stated, line = keywords.pop(name, (str(count), 1))
        wrong = stated != str(count)
        faults.tell("states", line, when=wrong, name=name, stated=stated, count=count)
    faults.raise_any()
    fields, sets = _pairs(fields, sets, format_line, faults)
    scale = _stated_scale(fields, *keywords.pop("SPECTRAL_NORM", ("", 0)), faults)
    faults.raise_any()
    names = {field.upper() for field in fields}
    headings = [_heading(field, names) for field in fields]
    remarks += [(line, f"{key}: {value}") for key, (value, line) in keywords.items()]
    assumed = [f"scale: {scale}"] if scale else []
    conditions = {meaning(remark.partition(":")[0]) for _, remark in remarks} | {*headings}
    if "L*" in headings and conditions.isdisjoint(_LIT):
        assumed += ["illuminant: D50", "observer: 2"]
        faults.note("d50")
    remarks += [(format_line, remark) for remark in assumed]
    return Sheet.of_rows(remarks, headings, format_line, sets)


def _scan(text: str, faults: Faults) -> tuple[dict[str, list[int]], dict[str, _Lines]]:
    """Where marks stand, and the lines after each that begins a block; all others under ``""``."""
    marks: dict[str, list[int]] = {mark: [] for mark in _MARKS}
    told: dict[str, _Lines] = {"": [], "BEGIN_DATA_FORMAT": [], "BEGIN_DATA": []}
    place, fields = "", 0
    for number, line in enumerate(re.split("\r\n?|\n", text), 1):
        tokens = _tokens(line, number, faults)
        word = tokens[0].upper() if tokens and not line.lstrip().startswith('"') else ""
        if word in marks:
            place = word if word in told else ""
            marks[word].append(number)
        elif tokens:
            told[place].append((number, tokens))
            fields += len(tokens) if place == "BEGIN_DATA_FORMAT" else 0
        many = fields > 2 * MOST_COLUMNS or len(told["BEGIN_DATA"]) > MOST_ROWS
        faults.refuse(many, "many_sets", number, fields=2 * MOST_COLUMNS, sets=MOST_ROWS)
    return marks, told


def _tokens(line: str, number: int, faults: Faults) -> list[str]:
    found = []
    for quoted, remark, word, open_quote in _TOKEN.findall(line):
        faults.tell("open_quote", number, when=open_quote)
        if open_quote or remark:
            break
        found.append(word or quoted.replace('""', '"'))
    return found


def _keywords(lines: _Lines) -> tuple[dict[str, tuple[str, int]], Remarks]:
    """What keywords say, each with its line, and what else the lines tell."""
    keywords: dict[str, tuple[str, int]] = {}
    remarks = []
    for number, (first, *rest) in lines:
        name, value = first.upper(), " ".join(rest)
        if name == "KEYWORD" or (number == 1 and not rest):
            continue  # KEYWORD only declares a name that is used below; line 1 names the standard
        if name == "WEIGHTING_FUNCTION" and "," in value:  # "ILLUMINANT, D50"
            name, _, value = (part.strip() for part in value.partition(","))
        if not value:
            remarks.append((number, first))
        elif keywords.setdefault(name.upper(), (value, number))[0] != value:
            remarks.append((number, said("tables.again", name=name.upper(), value=value)))
    return keywords, remarks


def _whole_sets(sets: _Lines, width: int, stated: str, faults: Faults) -> _Lines:
    """Sets that run over several lines become one; a set of any other length is a fault."""
    line, length = next(((n, len(row)) for n, row in sets if len(row) != width), (0, 0))
    if not line or not width:
        return sets
    cells = [(n, cell) for n, row in sets for cell in row]
    if stated == f"{len(cells) / width:g}":
        rows = (cells[i : i + width] for i in range(0, len(cells), width))
        return [(row[0][0], [cell for _, cell in row]) for row in rows]
    faults.tell("uneven", line, length=length, width=width)
    return sets


def _pairs(fields: list[str], sets: _Lines, line: int, faults: Faults) -> tuple[list[str], _Lines]:
    """Give SPECTRAL_PCT the wavelength in the SPECTRAL_NM before it, which all sets must share."""
    upper = [*map(str.upper, fields), ""]
    at = [i for i, name in enumerate(upper) if name == "SPECTRAL_NM"]
    if not at or not sets:
        return fields, sets
    faults.refuse({upper[i + 1] for i in at} - _SCALES.keys(), "pairs", line)
    first = {i + 1: sets[0][1][i] for i in at}
    for number, cells in sets:
        differ = [cells[i] for i in at] != [*first.values()]
        faults.refuse(differ, "other_wavelengths", number)
    keep = [i for i in range(len(fields)) if i not in at]
    named = [fields[i] + first.get(i, "") for i in keep]
    return named, [(number, [cells[i] for i in keep]) for number, cells in sets]


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


def _stated_scale(fields: list[str], norm: str, line: int, faults: Faults) -> str:
    """Percent or fraction, where field names or the file's norm state it."""
    kinds = {_SCALES[start] for field in fields if (start := field.upper()[:12]) in _SCALES}
    if stated := _SCALES.get(re.sub(r"\.0*$", "", norm)):
        kinds.add(stated)
    elif norm:
        faults.tell("norm", line, norm=norm[:20])
    faults.tell("both_scales", line, when=len(kinds) > 1)
    return min(kinds, default="")


# CxF3 -------------------------------------------------------------------------------------------

_SPECTRUM, _LAB, _LIT = "ReflectanceSpectrum", "ColorCIELab", ("illuminant", "observer")
_NOTHING = ("", "unknown", "not stated", "none")
_ANGLES = ("illumination", "measurement")
#: Conditions, and where bands begin and how far they stand apart.
_Specification = tuple[dict[str, str], dict[str, str]]
#: The number of a row, the headings of its bands, and its cells by heading.
_Row = tuple[int, tuple[str, ...], dict[str, str]]


def is_xml(data: bytes) -> bool:
    """Whether `data` begins as XML."""
    start = data[:400].replace(b"\0", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    return start.startswith((b"<?xml", b"<!DOCTYPE", b"<!--", b"<CxF", b"<cc:CxF"))


def read_cxf(data: bytes, faults: Faults) -> Sheet:
    """The objects of a CxF3 file. Raises `InputError` for what they cannot be."""
    faults.counted = "object"
    root = _parse(data, faults)
    objects = list(root.iter("Object"))
    faults.refuse(len(objects) > MOST_ROWS, "many_objects", most=MOST_ROWS)
    given = {e.get("Id", ""): _stated(e) for e in root.iter("ColorSpecification")}
    passed: Counter[str] = Counter()
    rows = [*_rows(objects, given, faults, passed)]
    faults.raise_any()
    faults.refuse(not rows, "no_object")
    bands = next((own for _, own, _ in rows if own), ())  # CIELAB alone stands among the spectra
    for number, own, _ in rows:
        faults.refuse(own not in ((), bands), "other_grid", number)
    faults.note("cxf")
    collections = len(list(root.iter("ObjectCollection")))
    faults.note("collections", when=collections > 1, count=collections)
    for what, count in passed.items():
        faults.note("passed", when=count, what=what, count=count)
    about = dict.fromkeys(key for _, _, row in rows for key in row if key not in bands)
    headings = [*([] if about.keys() & KNOWN else ["name"]), *about, *bands]
    cells = [(number, [row.get(heading, "") for heading in headings]) for number, _, row in rows]
    remarks = _about(root) + ([(1, "scale: fraction")] if bands else [])
    return Sheet.of_rows(remarks, headings, rows[0][0], cells)


def _parse(data: bytes, faults: Faults) -> Element:
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        root: Element = fromstring(data, forbid_dtd=True)
    except DefusedXmlException:
        faults.refuse(True, "document_type")
    except (ParseError, ValueError, LookupError) as error:
        line = getattr(error, "position", (None, 0))[0]
        where = f" (line {line})" if line else ""
        faults.refuse(True, "bad_xml", where=where, error=str(error))
    for element in root.iter():
        element.tag = element.tag.rpartition("}")[2]
    faults.refuse(root.tag != "CxF", "other_xml", root=root.tag[:40])
    return root


def _text(element: Element, path: str) -> str:
    return tidy(element.findtext(path) or "")


def _stated(specification: Element) -> _Specification:
    """What a ColorSpecification states: conditions, and where bands begin and stand."""
    found = {key: _text(specification, path) for key, path in _WORDS["conditions"].items()}
    angles = "/".join(re.sub(r"\.0+$", "", found.pop(angle)) for angle in _ANGLES).strip("/")
    sphere, unknown = found.pop("sphere"), found.pop("unknown")
    found["geometry"] = angles or _WORDS["sphere"].get(sphere, sphere) or unknown
    found["observer"] = found["observer"].replace("_", " ")
    bands = specification.find("MeasurementSpec/WavelengthRange")
    stated = {key: value for key, value in found.items() if value.lower() not in _NOTHING}
    return stated, {} if bands is None else bands.attrib


def _about(root: Element) -> Remarks:
    """What the file says of itself, as the remark lines of a table."""
    told = [("about", _text(root, "FileInformation/Description"))]
    told += [(t.get("Name", ""), t.get("Value", "")) for t in root.iterfind("FileInformation//Tag")]
    return [(1, tidy(f"{key}: {value}")) for key, value in told if value]


def _rows(
    objects: list[Element], given: dict[str, _Specification], faults: Faults, passed: Counter[str]
) -> Iterator[_Row]:
    """The readings of each object: a row a spectrum, or one for CIELAB where there is none.

    What is passed over is counted in `passed`.
    """
    for number, item in enumerate(objects, 1):
        about = {"name": item.get("Name", "")}
        about |= {"object type": kind} if (kind := item.get("ObjectType", "")) else {}
        about |= {meaning(t.get("Name", "")): tidy(t.get("Value", "")) for t in item.iter("Tag")}
        values = item.findall("ColorValues/*")
        spectra, colours = ([e for e in values if e.tag == name] for name in (_SPECTRUM, _LAB))
        passed["a ColorCIELab after the first of its object"] += max(len(colours) - 1, 0)
        passed["ColorCIELab beside a spectrum, which is used,"] += bool(spectra and colours)
        passed.update(e.tag for e in values if e.tag not in (_SPECTRUM, _LAB))
        passed["an object without ReflectanceSpectrum or ColorCIELab"] += not (spectra or colours)
        for value in spectra or colours[:1]:
            name = value.get("ColorSpecification", "")
            absent, place = name and name not in given, (number, value.tag)
            faults.tell("no_specification", *place, when=absent, name=name[:40])
            stated, begins = given.get(name, ({}, {}))
            texts = (
                (value.text or "").split() if spectra else [_text(value, axis) for axis in "LAB"]
            )
            bands = _bands(begins | value.attrib, len(texts), number, faults) if spectra else ()
            if spectra:  # the light goes with a CIELAB; a spectrum has none
                stated = {key: words for key, words in stated.items() if key not in _LIT}
            if bands or not spectra:
                yield number, bands, stated | about | dict(zip(bands or LAB, texts, strict=True))


def _bands(stated: dict[str, str], count: int, number: int, faults: Faults) -> tuple[str, ...]:
    """The headings of a spectrum; empty, and a fault, where its wavelengths are not stated."""
    start, step = stated.get("StartWL", ""), stated.get("Increment", "")
    with suppress(ValueError):
        first, apart = float(start), float(step)
        if 300 <= first <= 1100 and 0 < apart <= 100 and 2 <= count <= MOST_COLUMNS:
            return tuple(f"{first + apart * i:g} nm" for i in range(count))
    told = {"count": count, "start": start or "?", "step": step or "?"}
    faults.tell("no_grid", number, _SPECTRUM, **told)
    return ()
