"""ISO 17972-1 (CxF3): XML in which every object is a sample with its spectra and colours.

Namespaces and their prefixes differ between writers and are not looked at. Where a spectrum begins
and how far its bands stand apart is said once, in the ColorSpecification it refers to; reflectance
is a fraction there (100 % = 1.0). A file may hold several collections of objects.

A document type declaration is refused as such: with it go entity bombs, external entities and
anything that would be fetched. CxF3 needs none.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from xml.etree.ElementTree import Element, ParseError  # reading goes through defusedxml

from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import said
from dyemix.files.cells import KNOWN, MOST_COLUMNS, MOST_ROWS, READING, Faults, Sheet, meaning, tidy
from dyemix.files.table import understand

_SPECTRUM, _LAB = "ReflectanceSpectrum", "ColorCIELab"
#: In the words of CIE 015: 'di' and 'de' are diffuse with the specular component in, and out.
_SPHERE = {
    "Specular_Included": "di:8 (sphere, specular included)",
    "Specular_Excluded": "de:8 (sphere, specular excluded)",
    "Diffuse": "sphere, diffuse",
}
_NOTHING = ("", "unknown", "not stated", "none")
_ANGLES = ("Illumination", "Measurement")
_NONE = Element("none")
#: The headings of a row's bands, and its cells by heading.
_Row = tuple[tuple[str, ...], dict[str, str]]


def recognise(data: bytes) -> bool:
    """Whether `data` begins as XML."""
    start = data[:400].replace(b"\0", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    return start.startswith((b"<?xml", b"<!DOCTYPE", b"<!--", b"<CxF", b"<cc:CxF"))


def read(data: bytes, faults: Faults) -> SwatchSet:
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
        headings = [*([] if about.keys() & KNOWN else ["name"]), *about, *bands]
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
    angles = [_text(specification, f"{choice}/SingleAngle/{a}Angle") for a in _ANGLES]
    conditions = {
        "geometry": "/".join(re.sub(r"\.0+$", "", angle) for angle in angles).strip("/")
        or _SPHERE.get(sphere, sphere)
        or _text(specification, f"{choice}/UnknownGeometry"),
        "backing": _text(specification, "MeasurementSpec/Backing"),
        "illuminant": _text(specification, "TristimulusSpec/Illuminant"),
        "observer": _text(specification, "TristimulusSpec/Observer").replace("_", " "),
    }
    return {key: value for key, value in conditions.items() if value.lower() not in _NOTHING}


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
