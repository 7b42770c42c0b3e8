"""ISO 17972-1 (CxF3): XML in which every object is a sample with its spectra and colours.

Namespaces and their prefixes differ between writers and are not looked at. Where a spectrum begins
and how far its bands stand apart is said once, in the ColorSpecification it refers to; reflectance
is a fraction there (100 % = 1.0). A file may hold several collections of objects.

A document type declaration is refused as such: with it go entity bombs, external entities and
anything that would be fetched. CxF3 needs none.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree import ElementTree  # builds and writes; reading goes through defusedxml

import numpy as np

from dyemix.colour.colorimetry import WAVELENGTHS
from dyemix.dataset.swatches import SwatchSet
from dyemix.files.cells import MOST_COLUMNS, MOST_ROWS, Faults, Sheet
from dyemix.files.headings import KNOWN, READING, band, meaning
from dyemix.files.table import understand
from dyemix.files.writing import cells_of

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

_NAMESPACE = "http://colorexchangeformat.com/CxF3-core"
_SPHERE = {
    "Specular_Included": "sphere, specular included",
    "Specular_Excluded": "sphere, specular excluded",
    "Diffuse": "sphere, diffuse",
}
_NOTHING = ("", "unknown", "not stated", "none")


def recognise(data: bytes) -> bool:
    """Whether `data` begins as XML."""
    start = data[:400].replace(b"\0", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    return start.startswith((b"<?xml", b"<!DOCTYPE", b"<!--", b"<CxF", b"<cc:CxF"))


def _name(element: Element) -> str:
    return str(element.tag).rpartition("}")[2]


def _every(element: Element, name: str) -> Iterator[Element]:
    return (e for e in element.iter() if isinstance(e.tag, str) and _name(e) == name)


def _first(element: Element | None, *path: str) -> Element | None:
    for name in path:
        if element is None:
            return None
        element = next((e for e in element if isinstance(e.tag, str) and _name(e) == name), None)
    return element


def _text(element: Element | None, *path: str) -> str:
    found = _first(element, *path)
    return " ".join((found.text or "").split()) if found is not None else ""


@dataclass(frozen=True)
class _Specification:
    """A ColorSpecification: where its spectra begin and step, and the conditions it states."""

    start: str
    increment: str
    conditions: dict[str, str]

    @classmethod
    def of(cls, element: Element) -> _Specification:
        measured = _first(element, "MeasurementSpec")
        grid = _first(measured, "WavelengthRange")
        geometry = _first(measured, "GeometryChoice")
        angle = _first(geometry, "SingleAngle")
        sphere = _text(geometry, "SphereGeometry")
        conditions = {
            "geometry": _SPHERE.get(sphere, sphere) or _text(geometry, "UnknownGeometry"),
            "backing": _text(measured, "Backing"),
            "illuminant": _text(element, "TristimulusSpec", "Illuminant"),
            "observer": _text(element, "TristimulusSpec", "Observer").replace("_", " "),
        }
        if angle is not None:
            lit, seen = _text(angle, "IlluminationAngle"), _text(angle, "MeasurementAngle")
            conditions["geometry"] = f"{_tidy(lit)}/{_tidy(seen)}"
        return cls(
            "" if grid is None else grid.get("StartWL", ""),
            "" if grid is None else grid.get("Increment", ""),
            {key: value for key, value in conditions.items() if value.lower() not in _NOTHING},
        )


def _tidy(number: str) -> str:
    try:
        return f"{float(number):g}"
    except ValueError:
        return number


def read(data: bytes, file: str) -> SwatchSet:
    """Read a CxF3 file. Raises `InputError` with every fault of the file."""
    faults = Faults(file, "object")
    root = _parse(data, faults)
    if _name(root) != "CxF":
        faults.add(
            f"this is XML, but its root is {_name(root)[:40]!r}, not CxF: save the readings as "
            "CxF3 (ISO 17972-1), or as CSV."
        )
        faults.raise_any()
    given = {e.get("Id", ""): _Specification.of(e) for e in _every(root, "ColorSpecification")}
    objects = [o for group in _every(root, "ObjectCollection") for o in _every(group, "Object")]
    if not objects:
        faults.add("the file holds no object: an ObjectCollection lists the samples.")
    if len(objects) > MOST_ROWS:
        faults.add(f"more than {MOST_ROWS:,} objects: split the file.")
    faults.raise_any()
    groups: dict[tuple[float, ...], list[tuple[int, dict[str, str]]]] = {}
    passed: dict[str, int] = {}
    for number, item in enumerate(objects, 1):
        for grid, row in _rows(item, number, given, faults, passed):
            groups.setdefault(grid, []).append((number, row))
    faults.raise_any()
    if groups.keys() > {()} and len(groups) == 2:  # Lab-only objects among spectra of one grid
        bare = groups.pop(())
        (grid,) = groups
        groups[grid] = sorted([*groups[grid], *bare], key=lambda pair: pair[0])
    collections = sum(1 for _ in _every(root, "ObjectCollection"))
    notes = ["CxF3 (ISO 17972-1); 100 % is 1.0."]
    notes += [f"{collections} object collections were joined."] if collections > 1 else []
    notes += [f"{name} is not read ({n} of them)." for name, n in passed.items()]
    remarks = _about(root)
    read_sets = [
        understand(_sheet(grid, rows, remarks, notes), faults) for grid, rows in groups.items()
    ]
    order = [number for rows in groups.values() for number, _ in rows]
    readings = [reading for one in read_sets for reading in one.readings]
    pairs = sorted(zip(order, readings, strict=True), key=lambda pair: pair[0])
    told = dict.fromkeys(note for one in read_sets for note in one.notes)
    demo = any(one.demo for one in read_sets)
    return SwatchSet(tuple(reading for _, reading in pairs), tuple(told), file, demo)


def _parse(data: bytes, faults: Faults) -> Element:
    from defusedxml import DefusedXmlException
    from defusedxml import ElementTree as Safe

    try:
        root: Element = Safe.fromstring(data, forbid_dtd=True)
        return root
    except DefusedXmlException:
        faults.add(
            "the file declares a document type or entities, which can make a reader fetch or "
            "swell without end; CxF3 needs none: save it again without."
        )
    except (ElementTree.ParseError, ValueError, LookupError) as error:
        line = getattr(error, "position", (None, 0))[0]
        where = f" (line {line})" if line else ""
        faults.add(f"the XML is damaged or cut short{where}: {str(error)[:120]}.")
    faults.raise_any()
    raise AssertionError("unreachable")


def _about(root: Element) -> list[tuple[int, str]]:
    """What the file says of itself, as the remark lines of a table."""
    information = _first(root, "FileInformation")
    if information is None:
        return []
    told = [(1, f"about: {text}") for text in [_text(information, "Description")] if text]
    for tag in _every(information, "Tag"):
        told.append((1, f"{tag.get('Name', '')}: {tag.get('Value', '')}"))
    return told


def _rows(
    item: Element,
    number: int,
    given: dict[str, _Specification],
    faults: Faults,
    passed: dict[str, int],
) -> Iterator[tuple[tuple[float, ...], dict[str, str]]]:
    """The readings of an object: a row a spectrum, or one for CIELAB where there is none."""
    about = {"name": item.get("Name", "")}
    kind = item.get("ObjectType", "")
    about |= {"object type": kind} if kind else {}
    for tag in _every(item, "Tag"):
        about[meaning(tag.get("Name", ""))] = " ".join(tag.get("Value", "").split())
    values = _first(item, "ColorValues")
    spectra = [] if values is None else [e for e in values if _name(e) == "ReflectanceSpectrum"]
    colours = [] if values is None else [e for e in values if _name(e) == "ColorCIELab"]

    def passes(what: str, times: int = 1) -> None:
        if times > 0:
            passed[what] = passed.get(what, 0) + times

    passes("a ColorCIELab after the first of its object", len(colours) - 1)
    passes("ColorCIELab beside a spectrum, which is used,", min(len(spectra), len(colours), 1))
    for other in values if values is not None else ():
        passes(_name(other), other not in spectra and other not in colours)
    for spectrum in spectra:
        specification = _refer(spectrum, number, given, faults)
        text = (spectrum.text or "").split()
        grid = _grid(spectrum, specification, len(text), number, faults)
        if grid:
            bands = {f"{w:g} nm": value for w, value in zip(grid, text, strict=True)}
            stated = dict(specification.conditions)
            for light in ("illuminant", "observer"):  # they go with a CIELAB; a spectrum has none
                stated.pop(light, None)
            yield grid, {**stated, **about, **bands}
    if colours and not spectra:
        specification = _refer(colours[0], number, given, faults)
        lab = dict(zip(READING, (_text(colours[0], axis) for axis in "LAB"), strict=False))
        yield (), {**specification.conditions, **about, **lab}
    passes("an object without ReflectanceSpectrum or ColorCIELab", not spectra and not colours)


def _refer(
    value: Element, number: int, given: dict[str, _Specification], faults: Faults
) -> _Specification:
    name = value.get("ColorSpecification", "")
    if name and name not in given:
        faults.add(
            f"its ColorSpecification {name[:40]!r} is not in the file.", number, _name(value)
        )
    return given.get(name, _Specification("", "", {}))


def _grid(
    spectrum: Element, specification: _Specification, count: int, number: int, faults: Faults
) -> tuple[float, ...]:
    """The wavelengths of a spectrum, in nm; empty, and a fault, where they are not stated."""
    start = spectrum.get("StartWL", "") or specification.start
    step = spectrum.get("Increment", "") or specification.increment
    try:
        first, apart = float(start), float(step)
        if not (300 <= first <= 1100 and 0 < apart <= 100 and 2 <= count <= MOST_COLUMNS):
            raise ValueError
    except ValueError:
        faults.add(
            f"{count} values from {start or 'nowhere stated'} in steps of "
            f"{step or 'a size nowhere stated'}: StartWL and Increment say where bands stand, in "
            "nm, on the spectrum or in the WavelengthRange of its ColorSpecification.",
            number,
            "ReflectanceSpectrum",
        )
        return ()
    return tuple(float(x) for x in first + apart * np.arange(count))


def _sheet(
    grid: tuple[float, ...],
    rows: list[tuple[int, dict[str, str]]],
    remarks: list[tuple[int, str]],
    notes: list[str],
) -> Sheet:
    bands = [f"{w:g} nm" for w in grid]
    used = dict.fromkeys(key for _, row in rows for key in row)
    about = [key for key in used if key not in bands]
    if not any(key in KNOWN for key in about):
        about = ["name", *about]
    headings = [*about, *bands]
    return Sheet(
        remarks=[*remarks, *([(1, "scale: fraction")] if bands else [])],
        headings=headings,
        header_row=rows[0][0],
        rows=[(number, [row.get(heading, "") for heading in headings]) for number, row in rows],
        notes=notes,
        counted="object",
    )


def write_cxf(swatches: SwatchSet, path: str | os.PathLike[str]) -> None:
    """Write readings as CxF3 that `read_swatches` reads back, to six decimals.

    Spectra and CIELAB stand where the standard has them, recipes and conditions in tags.
    """
    shared, columns, rows = cells_of(swatches)
    root = ElementTree.Element("CxF", {"xmlns": _NAMESPACE})
    information = ElementTree.SubElement(root, "FileInformation")
    ElementTree.SubElement(information, "Creator").text = "dyemix"
    for key, value in [*shared.items(), *([("demo", "yes")] if swatches.demo else [])]:
        ElementTree.SubElement(information, "Tag", {"Name": key, "Value": value})
    resources = ElementTree.SubElement(root, "Resources")
    objects = ElementTree.SubElement(resources, "ObjectCollection")
    bands = [column for column in columns if band(column) is not None]
    written = datetime.now(UTC).isoformat(timespec="seconds")  # the schema asks for one
    lights: dict[tuple[str, str], str] = {}
    for number, row in enumerate(rows, 1):
        item = ElementTree.SubElement(
            objects,
            "Object",
            {"ObjectType": "Sample", "Name": row.get("name", ""), "Id": f"o{number}"},
        )
        ElementTree.SubElement(item, "CreationDate").text = written
        values = ElementTree.SubElement(item, "ColorValues")
        if any(row.get(column) for column in bands):
            spectrum = ElementTree.SubElement(
                values, "ReflectanceSpectrum", {"ColorSpecification": "spectrum"}
            )
            spectrum.text = " ".join(row[column] for column in bands)
        elif row.get("L*"):
            light = (
                row.get("illuminant", shared.get("illuminant", "D65")),
                row.get("observer", shared.get("observer", "10")),
            )
            name = lights.setdefault(light, f"light{len(lights) + 1}")
            colour = ElementTree.SubElement(values, "ColorCIELab", {"ColorSpecification": name})
            for axis, heading in zip("LAB", READING, strict=False):
                ElementTree.SubElement(colour, axis).text = row[heading]
        tags = ElementTree.SubElement(item, "TagCollection", {"Name": "swatch"})
        for key, value in row.items():
            if value and key not in bands and key not in (*READING[:3], "name"):
                ElementTree.SubElement(tags, "Tag", {"Name": key, "Value": value})
    specifications = ElementTree.SubElement(resources, "ColorSpecificationCollection")
    if bands:
        _specification(specifications, "spectrum", None, shared)
    for light, name in lights.items():
        _specification(specifications, name, light, shared)
    ElementTree.indent(root)
    text = ElementTree.tostring(root, encoding="utf-8", xml_declaration=True)
    Path(path).write_bytes(text + b"\n")


def _specification(
    parent: Element, name: str, light: tuple[str, str] | None, shared: dict[str, str]
) -> None:
    element = ElementTree.SubElement(parent, "ColorSpecification", {"Id": name})
    if light is not None:
        tristimulus = ElementTree.SubElement(element, "TristimulusSpec")
        ElementTree.SubElement(tristimulus, "Illuminant").text = light[0]
        ElementTree.SubElement(tristimulus, "Observer").text = f"{light[1]}_Degree"
        ElementTree.SubElement(tristimulus, "Method").text = "E308_Table5"
    measured = ElementTree.SubElement(element, "MeasurementSpec")
    kind = "Spectrum_Reflectance" if light is None else "Colorimetric_Reflectance"
    ElementTree.SubElement(measured, "MeasurementType").text = kind
    geometry = ElementTree.SubElement(measured, "GeometryChoice")
    ElementTree.SubElement(geometry, "UnknownGeometry").text = shared.get("geometry", "not stated")
    if light is None:
        step = WAVELENGTHS[1] - WAVELENGTHS[0]
        ElementTree.SubElement(
            measured,
            "WavelengthRange",
            {"StartWL": f"{WAVELENGTHS[0]:g}", "Increment": f"{step:g}"},
        )
