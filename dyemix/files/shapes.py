"""Tables that have a band, not a reading, on each row are turned round: one reading a row.

Two such shapes are in use. *Long*: columns for the sample, the wavelength and the value. *Tall*: a
column of wavelengths, then a column a sample (colour-science writes this one).
"""

from __future__ import annotations

import re

from dyemix.files.cells import MOST_ROWS, Faults, Sheet
from dyemix.files.headings import KNOWN, band, is_value, is_wavelength, meaning

_WAVELENGTH = re.compile(r"([0-9]{3,4}(?:[.,][0-9]+)?) ?(?:nm)?")


def _wavelength(cell: str) -> float | None:
    match = _WAVELENGTH.fullmatch(cell)
    return float(match[1].replace(",", ".")) if match else None


def one_reading_a_row(sheet: Sheet, faults: Faults) -> Sheet:
    """The same sheet, or one turned round. Raises `InputError` where it cannot be turned."""
    at = [place for place, heading in enumerate(sheet.headings) if is_wavelength(heading)]
    if len(at) != 1 or any(band(heading) is not None for heading in sheet.headings):
        return sheet
    values = [place for place, heading in enumerate(sheet.headings) if is_value(heading)]
    named = any(meaning(heading) in KNOWN for heading in sheet.headings)
    if len(values) == 1 and named:
        return _from_long(sheet, at[0], values[0], faults)
    if at[0] == 0 and len(sheet.headings) > 1 and not named:
        return _from_tall(sheet, faults)
    return sheet


def _read_wavelengths(sheet: Sheet, place: int, faults: Faults) -> list[float]:
    found = []
    for row, cells in sheet.rows:
        cell = cells[place] if place < len(cells) else ""
        wavelength = _wavelength(cell)
        if wavelength is None or not 300.0 <= wavelength <= 1100.0:
            faults.add(
                f"{cell[:40]!r} is not a wavelength: write nm, as 400.", row, sheet.headings[place]
            )
        else:
            found.append(wavelength)
    faults.raise_any()
    return found


def _from_long(sheet: Sheet, at: int, value: int, faults: Faults) -> Sheet:
    wavelengths = _read_wavelengths(sheet, at, faults)
    about = [place for place in range(len(sheet.headings)) if place not in (at, value)]
    same = [place for place in about if meaning(sheet.headings[place]) in KNOWN]
    readings: list[tuple[int, list[str], dict[float, str]]] = []
    open_reading: dict[tuple[str, ...], dict[float, str]] = {}
    for (row, short), wavelength in zip(sheet.rows, wavelengths, strict=True):
        cells = short + [""] * (len(sheet.headings) - len(short))
        key = tuple(cells[place] for place in same)
        reading = open_reading.get(key)
        if reading is None or wavelength in reading:  # the same wavelength again: a repeat
            reading = open_reading[key] = {}
            readings.append((row, [cells[place] for place in about], reading))
        reading[wavelength] = cells[value]
    bands = sorted(readings[0][2]) if readings else []
    for row, _, reading in readings:
        if odd := set(reading) ^ set(bands):
            first = min(odd)
            faults.add(
                f"the reading that begins here has {len(reading)} bands and the first one "
                f"{len(bands)}; they differ at {first:g} nm. Give every reading the same bands, "
                "and every row the name of its sample.",
                row,
            )
            faults.raise_any()
    return Sheet(
        remarks=sheet.remarks,
        headings=[sheet.headings[place] for place in about] + [f"{w:g} nm" for w in bands],
        header_row=sheet.header_row,
        rows=[(row, cells + [reading[w] for w in bands]) for row, cells, reading in readings],
        notes=[
            *sheet.notes,
            f"one band a row: {len(sheet.rows)} rows were joined into {len(readings)} readings.",
        ],
    )


def _from_tall(sheet: Sheet, faults: Faults) -> Sheet:
    wavelengths = _read_wavelengths(sheet, 0, faults)
    if len(wavelengths) * len(sheet.headings) > 100 * MOST_ROWS:
        faults.add("too many bands and samples for a swatch table: split the file.")
        faults.raise_any()
    for row, cells in sheet.rows:
        if any(cells[len(sheet.headings) :]):
            faults.add(
                f"{len(cells)} cells under {len(sheet.headings)} headings: each sample needs its "
                "name above it.",
                row,
            )
            faults.raise_any()
    columns = [
        (
            place + 1,
            [heading or f"column {place + 1}"]
            + [cells[place] if place < len(cells) else "" for _, cells in sheet.rows],
        )
        for place, heading in enumerate(sheet.headings)
        if place and (heading or any(len(c) > place and c[place] for _, c in sheet.rows))
    ]
    faults.counted = "column"
    return Sheet(
        remarks=sheet.remarks,
        headings=["name"] + [f"{w:g} nm" for w in wavelengths],
        header_row=sheet.header_row,
        rows=columns,
        notes=[*sheet.notes, "wavelengths run down and samples across; each column is a reading."],
        counted="column",
    )
