"""Swatch tables as comma-, semicolon- or tab-separated text, one reading a row or one band a row.

Two shapes that have a band, not a reading, on each row are turned round. *Long*: columns for the
sample, the wavelength and the value. *Tall*: a column of wavelengths, then a column a sample
(colour-science writes this one).
"""

from __future__ import annotations

from collections.abc import Iterable

from dyemix.colour.colorimetry import WAVELENGTHS, screen_colours
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.files.cells import (
    KNOWN,
    MOST_ROWS,
    READING,
    Faults,
    Sheet,
    band,
    meaning,
    of_bands,
    read_sheet,
    tidy,
)
from dyemix.files.table import understand
from dyemix.writing import csv_text

_BANDS = [f"{wavelength:g} nm" for wavelength in WAVELENGTHS]


def read(text: str, faults: Faults) -> SwatchSet:
    """Read a swatch table. Raises `InputError` with every fault of the file."""
    return understand(_one_reading_a_row(read_sheet(text, faults), faults), faults)


def written(swatches: SwatchSet) -> str:
    """The table that `read` gives back, to six decimals; notes are made anew by reading it.

    Conditions that are the same for every reading go above it, the others into columns;
    reflectance is a fraction. A set with nothing read yet gets L*, a*, b* and hex to fill in.
    """
    conditions = [_conditions(reading) for reading in swatches.readings]
    keys = dict.fromkeys(key for each in conditions for key in each)
    shared = {
        key: conditions[0][key]
        for key in keys
        if ":" not in key and len({each.get(key) for each in conditions}) == 1
    }
    rows = [c | _cells(r) for c, r in zip(conditions, swatches.readings, strict=True)]
    used = {key for row in rows for key, value in row.items() if value and key not in shared}
    readings = [name for name in (*READING, *_BANDS) if name in used] or list(READING)
    columns = ["swatch", *(["name"] if "name" in used else []), "recipe"]
    columns += [name for name in ("as written", *keys) if name in used]
    columns += readings + [n for n in ("covariance", "clipped", "warnings") if n in used]
    above = ({"demo": "yes"} if swatches.demo else {}) | shared
    above |= {"scale": "fraction"} if _BANDS[-1] in used else {}
    told = "".join(f"# {key}: {value}\n" for key, value in above.items())
    return told + csv_text([columns, *([row.get(name, "") for name in columns] for row in rows)])


def _conditions(reading: Reading) -> dict[str, str]:
    """The conditions with the light written out, so that it need not be assumed again."""
    found = {key: tidy(str(value)) for key, value in reading.conditions.items()}
    if reading.kind == "Lab" and reading.light is not None:
        found |= {"illuminant": reading.light.illuminant, "observer": str(reading.light.observer)}
    return found


def _cells(reading: Reading) -> dict[str, str]:
    """What stands in the row of a reading, its conditions apart."""
    row = reading.cells | {"recipe": "" if reading.recipe is None else reading.recipe.exact}
    values: Iterable[tuple[str, float]] = ()
    if reading.kind == "hex" and reading.lab is not None:
        row |= {"hex": screen_colours(reading.lab)[0].hex, "clipped": ""}  # the code says it
    elif reading.kind == "Lab" and reading.lab is not None:
        values = zip(READING, reading.lab, strict=False)
    elif reading.reflectance is not None:
        values = zip(_BANDS, reading.reflectance, strict=True)
    return row | {name: f"{value:.6f}" for name, value in values}


def _one_reading_a_row(sheet: Sheet, faults: Faults) -> Sheet:
    """The same sheet, or one turned round. Raises `InputError` where it cannot be turned."""
    kinds = [of_bands(heading) for heading in sheet.headings]
    if kinds.count("wavelength") != 1 or any(band(h) is not None for h in sheet.headings):
        return sheet
    at = kinds.index("wavelength")
    named = any(meaning(heading) in KNOWN for heading in sheet.headings)
    if kinds.count("value") == 1 and named:
        return _from_long(sheet, at, kinds.index("value"), faults)
    if at == 0 and len(sheet.headings) > 1 and not named:
        return _from_tall(sheet, faults)
    return sheet


def _wavelengths(sheet: Sheet, place: int, faults: Faults) -> list[float]:
    found = [band(text) or 0.0 for text in sheet.column(place)]
    for row, wavelength, text in zip(sheet.numbers, found, sheet.column(place), strict=True):
        if not wavelength:
            faults.tell("no_wavelength", row, sheet.headings[place], text=text[:40])
    faults.raise_any()
    return found


def _from_long(sheet: Sheet, at: int, value: int, faults: Faults) -> Sheet:
    about = [place for place in range(len(sheet.headings)) if place not in (at, value)]
    same = [place for place in about if meaning(sheet.headings[place]) in KNOWN]
    readings: list[tuple[int, list[str], dict[float, str]]] = []
    open_reading: dict[tuple[str, ...], dict[float, str]] = {}
    wavelengths = _wavelengths(sheet, at, faults)
    for row, cells, wavelength in zip(sheet.numbers, sheet.rows, wavelengths, strict=True):
        key = tuple(cells[place] for place in same)
        if wavelength in open_reading.get(key, (wavelength,)):  # again: a repeat
            open_reading[key] = {}
            readings.append((row, [cells[place] for place in about], open_reading[key]))
        open_reading[key][wavelength] = cells[value]
    bands = sorted(readings[0][2]) if readings else []
    for row, _, reading in readings:
        if odd := set(reading) ^ set(bands):
            faults.stop("other_bands", row, at=min(odd))
    faults.note("joined", rows=len(sheet.numbers), readings=len(readings))
    headings = [sheet.headings[place] for place in about] + [f"{w:g} nm" for w in bands]
    rows = [(row, cells + [reading[w] for w in bands]) for row, cells, reading in readings]
    return Sheet.of_rows(sheet.remarks, headings, sheet.header_row, rows)


def _from_tall(sheet: Sheet, faults: Faults) -> Sheet:
    wavelengths = _wavelengths(sheet, 0, faults)
    if len(wavelengths) * len(sheet.headings) > 100 * MOST_ROWS:
        faults.stop("too_many")
    readings = [
        (number, [name or f"column {number}", *sheet.column(number - 1)])
        for number, name in enumerate(sheet.headings, 1)
        if number > 1 and (name or any(sheet.column(number - 1)))
    ]
    faults.counted = "column"
    faults.note("down")
    headings = ["name", *(f"{w:g} nm" for w in wavelengths)]
    return Sheet.of_rows(sheet.remarks, headings, sheet.header_row, readings)
