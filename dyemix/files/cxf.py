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
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING
from xml.etree import ElementTree  # builds and writes; reading goes through defusedxml

from dyemix.colour.colorimetry import WAVELENGTHS
from dyemix.dataset.swatches import SwatchSet
from dyemix.files.cells import MOST_COLUMNS, MOST_ROWS, Faults, Sheet
from dyemix.files.headings import KNOWN, READING, band, meaning
from dyemix.files.rows import Written
from dyemix.files.table import understand

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

_NAMESPACE = "http://colorexchangeformat.com/CxF3-core"
_SPECTRUM, _LAB = "ReflectanceSpectrum", "ColorCIELab"
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


def read(data: bytes, file: str) -> SwatchSet:
    """Read a CxF3 file. Raises `InputError` with every fault of the file."""
    faults = Faults(file, "object")
    root = _parse(data, faults)
    if _name(root) != "CxF":
        faults.stop(
            f"this is XML, but its root is {_name(root)[:40]!r}, not CxF: save the readings as "
            "CxF3 (ISO 17972-1), or as CSV."
        )
    collections = list(_every(root, "ObjectCollection"))
    objects = [item for collection in collections for item in _every(collection, "Object")]
    if not objects:
        faults.stop("the file holds no object: an ObjectCollection lists the samples.")
    if len(objects) > MOST_ROWS:
        faults.stop(f"more than {MOST_ROWS:,} objects: split the file.")
    given = {e.get("Id", ""): _Specification.of(e) for e in _every(root, "ColorSpecification")}
    groups: dict[tuple[float, ...], list[tuple[int, dict[str, str]]]] = {}
    passed: Counter[str] = Counter()
    for number, item in enumerate(objects, 1):
        for grid, row in _rows(item, number, given, faults, passed):
            groups.setdefault(grid, []).append((number, row))
    faults.raise_any()
    if groups.keys() > {()} and len(groups) == 2:  # Lab-only objects among spectra of one grid
        bare = groups.pop(())
        (grid,) = groups
        groups[grid] = sorted([*groups[grid], *bare], key=lambda pair: pair[0])
    many = f"{len(collections)} object collections were joined."
    notes = ["CxF3 (ISO 17972-1); 100 % is 1.0.", *([many] if len(collections) > 1 else [])]
    notes += [f"{name} is not read ({n} of them)." for name, n in passed.items() if n]
    sets = [
        understand(_sheet(grid, rows, _about(root), list(notes)), faults)
        for grid, rows in groups.items()
    ]
    order = [number for rows in groups.values() for number, _ in rows]
    readings = [reading for one in sets for reading in one.readings]
    pairs = sorted(zip(order, readings, strict=True), key=lambda pair: pair[0])
    told = dict.fromkeys(note for one in sets for note in one.notes)
    demo = any(one.demo for one in sets)
    return SwatchSet(tuple(reading for _, reading in pairs), tuple(told), file, demo)


def _parse(data: bytes, faults: Faults) -> Element:
    from defusedxml import DefusedXmlException
    from defusedxml import ElementTree as Safe

    try:
        root: Element = Safe.fromstring(data, forbid_dtd=True)
    except DefusedXmlException:
        faults.stop(
            "the file declares a document type or entities, which can make a reader fetch or "
            "swell without end; CxF3 needs none: save it again without."
        )
    except (ElementTree.ParseError, ValueError, LookupError) as error:
        line = getattr(error, "position", (None, 0))[0]
        where = f" (line {line})" if line else ""
        faults.stop(f"the XML is damaged or cut short{where}: {str(error)[:120]}.")
    return root


def _name(element: Element) -> str:
    return element.tag.rpartition("}")[2]


def _every(element: Element, name: str) -> Iterator[Element]:
    return (e for e in element.iter() if _name(e) == name)


def _first(element: Element | None, *path: str) -> Element | None:
    for name in path:
        if element is not None:
            element = next((e for e in element if _name(e) == name), None)
    return element


def _text(element: Element | None, *path: str) -> str:
    found = _first(element, *path)
    return " ".join((found.text or "").split()) if found is not None else ""


@dataclass(frozen=True)
class _Specification:
    """A ColorSpecification: where its spectra begin and step, and the conditions it states."""

    start: str = ""
    increment: str = ""
    conditions: dict[str, str] = field(default_factory=dict)

    @classmethod
    def of(cls, element: Element) -> _Specification:
        measured = _first(element, "MeasurementSpec")
        grid = _first(measured, "WavelengthRange")
        geometry = _first(measured, "GeometryChoice")
        sphere = _text(geometry, "SphereGeometry")
        conditions = {
            "geometry": _SPHERE.get(sphere, sphere) or _text(geometry, "UnknownGeometry"),
            "backing": _text(measured, "Backing"),
            "illuminant": _text(element, "TristimulusSpec", "Illuminant"),
            "observer": _text(element, "TristimulusSpec", "Observer").replace("_", " "),
        }
        if (angle := _first(geometry, "SingleAngle")) is not None:
            angles = (_text(angle, f"{part}Angle") for part in ("Illumination", "Measurement"))
            conditions["geometry"] = "/".join(re.sub(r"\.0+$", "", a) for a in angles)
        stated = {key: value for key, value in conditions.items() if value.lower() not in _NOTHING}
        begins = {} if grid is None else grid.attrib
        return cls(begins.get("StartWL", ""), begins.get("Increment", ""), stated)


def _about(root: Element) -> list[tuple[int, str]]:
    """What the file says of itself, as the remark lines of a table."""
    information = _first(root, "FileInformation")
    described = _text(information, "Description")
    tags = _every(information, "Tag") if information is not None else ()
    told = [f"about: {described}"] if described else []
    told += [f"{tag.get('Name', '')}: {tag.get('Value', '')}" for tag in tags]
    return [(1, text) for text in told]


def _rows(
    item: Element,
    number: int,
    given: dict[str, _Specification],
    faults: Faults,
    passed: Counter[str],
) -> Iterator[tuple[tuple[float, ...], dict[str, str]]]:
    """The readings of an object: a row a spectrum, or one for CIELAB where there is none.

    What is passed over is counted in `passed`.
    """
    about = {"name": item.get("Name", "")}
    about |= {"object type": kind} if (kind := item.get("ObjectType", "")) else {}
    for tag in _every(item, "Tag"):
        about[meaning(tag.get("Name", ""))] = " ".join(tag.get("Value", "").split())
    found = _first(item, "ColorValues")
    values = [] if found is None else list(found)
    spectra, colours = ([e for e in values if _name(e) == name] for name in (_SPECTRUM, _LAB))
    passed["a ColorCIELab after the first of its object"] += max(len(colours) - 1, 0)
    passed["ColorCIELab beside a spectrum, which is used,"] += bool(spectra and colours)
    passed.update(_name(e) for e in values if e not in spectra and e not in colours)
    passed["an object without ReflectanceSpectrum or ColorCIELab"] += not (spectra or colours)
    for value in spectra or colours[:1]:
        name = value.get("ColorSpecification", "")
        if name and name not in given:
            missing = f"its ColorSpecification {name[:40]!r} is not in the file."
            faults.add(missing, number, _name(value))
        specification = given.get(name, _Specification())
        if not spectra:
            lab = dict(zip(READING, (_text(value, axis) for axis in "LAB"), strict=False))
            yield (), {**specification.conditions, **about, **lab}
            continue
        texts = (value.text or "").split()
        if grid := _grid(value, specification, len(texts), number, faults):
            stated = dict(specification.conditions)
            for light in ("illuminant", "observer"):  # they go with a CIELAB; a spectrum has none
                stated.pop(light, None)
            yield grid, stated | about | dict(zip(_bands(grid), texts, strict=True))


def _bands(grid: tuple[float, ...]) -> list[str]:
    return [f"{wavelength:g} nm" for wavelength in grid]


def _grid(
    spectrum: Element, specification: _Specification, count: int, number: int, faults: Faults
) -> tuple[float, ...]:
    """The wavelengths of a spectrum, in nm; empty, and a fault, where they are not stated."""
    start = spectrum.get("StartWL", "") or specification.start
    step = spectrum.get("Increment", "") or specification.increment
    try:
        first, apart = float(start), float(step)
        if 300 <= first <= 1100 and 0 < apart <= 100 and 2 <= count <= MOST_COLUMNS:
            return tuple(first + apart * i for i in range(count))
    except ValueError:
        pass
    faults.add(
        f"{count} values from {start or 'nowhere stated'} in steps of "
        f"{step or 'a size nowhere stated'}: StartWL and Increment say where bands stand, in "
        "nm, on the spectrum or in the WavelengthRange of its ColorSpecification.",
        number,
        _SPECTRUM,
    )
    return ()


def _sheet(
    grid: tuple[float, ...],
    rows: list[tuple[int, dict[str, str]]],
    remarks: list[tuple[int, str]],
    notes: list[str],
) -> Sheet:
    bands = _bands(grid)
    about = dict.fromkeys(key for _, row in rows for key in row if key not in bands)
    headings = [*([] if about.keys() & KNOWN else ["name"]), *about, *bands]
    cells = [(number, [row.get(heading, "") for heading in headings]) for number, row in rows]
    remarks += [(1, "scale: fraction")] if bands else []
    return Sheet(remarks, headings, rows[0][0], cells, notes)


# Writing ----------------------------------------------------------------------------------------


def _add(parent: Element, name: str, text: str = "", **attributes: str) -> Element:
    element = ElementTree.SubElement(parent, name, attributes)
    element.text = text or None
    return element


def written(swatches: SwatchSet) -> bytes:
    """The CxF3 that `read` reads.

    Spectra and CIELAB stand where the standard has them, recipes and conditions in tags.
    """
    cells = Written.of(swatches)
    root = ElementTree.Element("CxF", xmlns=_NAMESPACE)
    information = _add(root, "FileInformation")
    _add(information, "Creator", "dyemix")
    for key, value in cells.shared.items():
        _add(information, "Tag", Name=key, Value=value)
    resources = _add(root, "Resources")
    objects = _add(resources, "ObjectCollection")
    bands = [column for column in cells.columns if band(column) is not None]
    now = datetime.now(UTC).isoformat(timespec="seconds")  # the schema asks for one
    lights: dict[tuple[str, str], str] = {}
    for number, row in enumerate(cells.rows, 1):
        name = row.get("name", "")
        item = _add(objects, "Object", ObjectType="Sample", Name=name, Id=f"o{number}")
        _add(item, "CreationDate", now)
        values = _add(item, "ColorValues")
        if any(row.get(column) for column in bands):
            spectrum = " ".join(row[column] for column in bands)
            _add(values, _SPECTRUM, spectrum, ColorSpecification="spectrum")
        elif row.get("L*"):
            stated = cells.shared | row
            light = (stated.get("illuminant", "D65"), stated.get("observer", "10"))
            named = lights.setdefault(light, f"light{len(lights) + 1}")
            colour = _add(values, _LAB, ColorSpecification=named)
            for axis, heading in zip("LAB", READING, strict=False):
                _add(colour, axis, row[heading])
        tags = _add(item, "TagCollection", Name="swatch")
        for key, value in row.items():
            if value and key not in bands and key not in (*READING[:3], "name"):
                _add(tags, "Tag", Name=key, Value=value)
    specifications = _add(resources, "ColorSpecificationCollection")
    geometry = cells.shared.get("geometry", "not stated")
    if bands:
        measured = _specification(specifications, "spectrum", None, geometry)
        start, step = WAVELENGTHS[0], WAVELENGTHS[1] - WAVELENGTHS[0]
        _add(measured, "WavelengthRange", StartWL=f"{start:g}", Increment=f"{step:g}")
    for light, name in lights.items():
        _specification(specifications, name, light, geometry)
    ElementTree.indent(root)
    text: bytes = ElementTree.tostring(root, encoding="utf-8", xml_declaration=True)
    return text + b"\n"


def _specification(
    parent: Element, name: str, light: tuple[str, str] | None, geometry: str
) -> Element:
    """Add a ColorSpecification, of spectra or of CIELAB in a light; its MeasurementSpec."""
    element = _add(parent, "ColorSpecification", Id=name)
    if light is not None:
        tristimulus = _add(element, "TristimulusSpec")
        _add(tristimulus, "Illuminant", light[0])
        _add(tristimulus, "Observer", f"{light[1]}_Degree")
        _add(tristimulus, "Method", "E308_Table5")
    measured = _add(element, "MeasurementSpec")
    kind = "Spectrum_Reflectance" if light is None else "Colorimetric_Reflectance"
    _add(measured, "MeasurementType", kind)
    _add(_add(measured, "GeometryChoice"), "UnknownGeometry", geometry)
    return measured
