"""Swatch tables as comma-, semicolon- or tab-separated text, one reading a row or one band a row.

Two shapes that have a band, not a reading, on each row are turned round. *Long*: columns for the
sample, the wavelength and the value. *Tall*: a column of wavelengths, then a column a sample
(colour-science writes this one).
"""

from __future__ import annotations

import csv
import io
import re

from dyemix.colour.colorimetry import WAVELENGTHS
from dyemix.dataset.swatches import SwatchSet
from dyemix.files.cells import MOST_ROWS, Faults, Sheet, decode, read_sheet
from dyemix.files.headings import KNOWN, band, meaning, of_bands
from dyemix.files.rows import Written
from dyemix.files.table import understand

_WAVELENGTH = re.compile(r"([0-9]{3,4}(?:[.,][0-9]+)?) ?(?:nm)?")


def recognise(data: bytes) -> bool:
    """Whether `data` is text at all. Any text is taken for a table, so this comes last."""
    return decode(data) is not None


def read(data: bytes, file: str) -> SwatchSet:
    """Read a swatch table. Raises `InputError` with every fault of the file."""
    text, note = decode(data) or ("", "")
    return read_table_text(text, [note] if note else [], Faults(file))


def read_table_text(text: str, notes: list[str], faults: Faults) -> SwatchSet:
    """Read a swatch table that is text already; `notes` say how it came to be."""
    sheet = _one_reading_a_row(read_sheet(text, faults), faults)
    sheet.notes[:0] = notes
    return understand(sheet, faults)


def written(swatches: SwatchSet) -> str:
    """The table that `read` reads.

    Conditions that are the same for every reading go above it, the others into columns;
    reflectance is a fraction. A set with nothing read yet gets L*, a*, b* and hex to fill in.
    """
    cells = Written.of(swatches)
    out = io.StringIO()
    out.writelines(f"# {key}: {value}\n" for key, value in cells.shared.items())
    if f"{WAVELENGTHS[-1]:g} nm" in cells.columns:
        out.write("# scale: fraction\n")
    table = csv.DictWriter(out, cells.columns, "", extrasaction="ignore", lineterminator="\n")
    table.writeheader()
    table.writerows(cells.rows)
    return out.getvalue()


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


def _cell(cells: list[str], place: int) -> str:
    return cells[place] if place < len(cells) else ""


def _wavelengths(sheet: Sheet, place: int, faults: Faults) -> list[float]:
    found = []
    for row, cells in sheet.rows:
        cell = _cell(cells, place)
        match = _WAVELENGTH.fullmatch(cell)
        found.append(float(match[1].replace(",", ".")) if match else 0.0)
        if not 300.0 <= found[-1] <= 1100.0:
            what = f"{cell[:40]!r} is not a wavelength: write nm, as 400."
            faults.add(what, row, sheet.headings[place])
    faults.raise_any()
    return found


def _from_long(sheet: Sheet, at: int, value: int, faults: Faults) -> Sheet:
    about = [place for place in range(len(sheet.headings)) if place not in (at, value)]
    same = [place for place in about if meaning(sheet.headings[place]) in KNOWN]
    readings: list[tuple[int, list[str], dict[float, str]]] = []
    open_reading: dict[tuple[str, ...], dict[float, str]] = {}
    wavelengths = _wavelengths(sheet, at, faults)
    for (row, cells), wavelength in zip(sheet.rows, wavelengths, strict=True):
        key = tuple(_cell(cells, place) for place in same)
        reading = open_reading.get(key)
        if reading is None or wavelength in reading:  # the same wavelength again: a repeat
            reading = open_reading[key] = {}
            readings.append((row, [_cell(cells, place) for place in about], reading))
        reading[wavelength] = _cell(cells, value)
    bands = sorted(readings[0][2]) if readings else []
    for row, _, reading in readings:
        if odd := set(reading) ^ set(bands):
            faults.stop(
                f"the reading that begins here has {len(reading)} bands and the first one "
                f"{len(bands)}; they differ at {min(odd):g} nm. Give every reading the same bands, "
                "and every row the name of its sample.",
                row,
            )
    joined = f"one band a row: {len(sheet.rows)} rows were joined into {len(readings)} readings."
    return Sheet(
        sheet.remarks,
        [sheet.headings[place] for place in about] + [f"{w:g} nm" for w in bands],
        sheet.header_row,
        [(row, cells + [reading[w] for w in bands]) for row, cells, reading in readings],
        [*sheet.notes, joined],
    )


def _from_tall(sheet: Sheet, faults: Faults) -> Sheet:
    wavelengths = _wavelengths(sheet, 0, faults)
    width = len(sheet.headings)
    if len(wavelengths) * width > 100 * MOST_ROWS:
        faults.stop("too many bands and samples for a swatch table: split the file.")
    for row, cells in sheet.rows:
        if any(cells[width:]):
            many = f"{len(cells)} cells under {width} headings"
            faults.stop(f"{many}: each sample needs its name above it.", row)
    columns = [
        (place + 1, [heading, *(_cell(cells, place) for _, cells in sheet.rows)])
        for place, heading in enumerate(sheet.headings)
    ]
    faults.counted = "column"
    return Sheet(
        sheet.remarks,
        ["name"] + [f"{w:g} nm" for w in wavelengths],
        sheet.header_row,
        [(n, [c[0] or f"column {n}", *c[1:]]) for n, c in columns[1:] if any(c)],
        [*sheet.notes, "wavelengths run down and samples across; each column is a reading."],
    )
