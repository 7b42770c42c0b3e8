"""Tables of swatches as text and as workbooks, one reading a row or one band a row.

Two shapes that have a band, not a reading, on each row are turned round. *Long*: columns for the
sample, the wavelength and the value. *Tall*: a column of wavelengths, then a column a sample
(colour-science writes this one).

A workbook (.xlsx) is read as if its one sheet that holds a table were saved as CSV. openpyxl reads
the cells. Nothing is calculated: where a formula stands, the value saved beside it is used and
said, and a formula without one is refused. A workbook is a zip archive of XML: its unpacked size is
bounded here, and openpyxl reads with defusedxml, which refuses entities.
"""

import csv
import io
import re
import warnings
import zipfile
from datetime import date, datetime, time
from typing import Any, NamedTuple

from dyemix.colour.colorimetry import WAVELENGTHS, screen_colours
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.errors import refuse
from dyemix.files import cells as sheets
from dyemix.files.cells import MOST_ROWS, READING, Faults, Sheet, band, few, meaning, of_bands, tidy
from dyemix.writing import csv_text

#: Unpacked, no dyer's workbook is larger (bytes); an archive that says so may be a zip bomb.
LARGEST_UNPACKED = 60_000_000
_MOST_PARTS = 5_000
_HEADER_ROWS = 60
_MOST = MOST_ROWS + _HEADER_ROWS
_PERCENT = re.compile(r"0[.0#]*%")
_BANDS = [f"{wavelength:g} nm" for wavelength in WAVELENGTHS]


def read_text(text: str, faults: Faults) -> Sheet:
    """The cells of a table, a reading a row. Raises `InputError` for what cannot be split."""
    return _one_reading_a_row(sheets.read_sheet(text, faults), faults)


def written(swatches: SwatchSet) -> str:
    """The table that `read_text` gives back, to six decimals; notes are made anew by reading it.

    Conditions that are the same for every reading go above it, the others into columns;
    reflectance is a fraction. A set with nothing read yet gets L*, a*, b* and hex to fill in.
    """
    conditions = [_conditions(reading) for reading in swatches.readings]
    keys = [*dict.fromkeys(key for each in conditions for key in each)]
    same = [key for key in keys if len({each.get(key) for each in conditions}) == 1]
    shared = {key: conditions[0][key] for key in same if ":" not in key}
    rows = [c | _cells(r) for c, r in zip(conditions, swatches.readings, strict=True)]
    used = {key for row in rows for key, value in row.items() if value and key not in shared}
    used |= {"swatch", "recipe", *(READING if used.isdisjoint((*READING, *_BANDS)) else ())}
    order = ("swatch", "name", "recipe", "as written", *keys, *READING, *_BANDS)
    columns = [name for name in (*order, "covariance", "clipped", "warnings") if name in used]
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
    if reading.kind == "hex" and reading.lab is not None:  # the code says what is clipped
        return row | {"hex": screen_colours(reading.lab)[0].hex, "clipped": ""}
    values = reading.lab if reading.rough else reading.reflectance
    names = READING if reading.rough else _BANDS
    given = () if values is None else zip(names, values, strict=False)
    return row | {name: f"{value:.6f}" for name, value in given}


def _one_reading_a_row(sheet: Sheet, faults: Faults) -> Sheet:
    """The same sheet, or one turned round. Raises `InputError` where it cannot be turned."""
    kinds = [of_bands(heading) for heading in sheet.headings]
    if kinds.count("wavelength") != 1 or any(band(h) is not None for h in sheet.headings):
        return sheet
    at = kinds.index("wavelength")
    named = any(meaning(heading) in sheets.KNOWN for heading in sheet.headings)
    if kinds.count("value") == 1 and named:
        return _from_long(sheet, at, kinds.index("value"), faults)
    if at == 0 and len(sheet.headings) > 1 and not named:
        return _from_tall(sheet, faults)
    return sheet


def _wavelengths(sheet: Sheet, place: int, faults: Faults) -> list[float]:
    texts = sheet.column(place)
    found = [band(text) or 0.0 for text in texts]
    for row, wavelength, text in zip(sheet.numbers, found, texts, strict=True):
        at = row, sheet.headings[place]
        faults.tell("no_wavelength", *at, when=not wavelength, text=text[:40])
    faults.raise_any()
    return found


def _from_long(sheet: Sheet, at: int, value: int, faults: Faults) -> Sheet:
    about = [place for place in range(len(sheet.headings)) if place not in (at, value)]
    same = [place for place in about if meaning(sheet.headings[place]) in sheets.KNOWN]
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
        odd = set(reading) ^ set(bands)
        faults.refuse(odd, "other_bands", row, at=min(odd, default=0))
    faults.note("joined", rows=len(sheet.numbers), readings=len(readings))
    headings = [sheet.headings[place] for place in about] + [f"{w:g} nm" for w in bands]
    rows = [(row, cells + [reading[w] for w in bands]) for row, cells, reading in readings]
    return Sheet.of_rows(sheet.remarks, headings, sheet.header_row, rows)


def _from_tall(sheet: Sheet, faults: Faults) -> Sheet:
    wavelengths = _wavelengths(sheet, 0, faults)
    faults.refuse(len(wavelengths) * len(sheet.headings) > 100 * MOST_ROWS, "too_many")
    readings = [
        (number, [name or f"column {number}", *cells])
        for number, (name, *cells) in enumerate(zip(sheet.headings, *sheet.rows, strict=True), 1)
        if number > 1 and (name or any(cells))
    ]
    faults.counted = "column"
    faults.note("down")
    headings = ["name", *(f"{w:g} nm" for w in wavelengths)]
    return Sheet.of_rows(sheet.remarks, headings, sheet.header_row, readings)


# Workbooks --------------------------------------------------------------------------------------


class _Page(NamedTuple):
    """The text of one sheet, a list of cells a row.

    `formulas` are place, formula, and whether a value was saved beside it.
    """

    title: str
    rows: list[list[str]]
    formulas: list[tuple[str, str, bool]]


def is_workbook(data: bytes) -> bool:
    """Whether `data` is a zip archive, or an old binary workbook (which is then refused)."""
    return data.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0"))


def read_workbook(data: bytes, faults: Faults) -> Sheet:
    """The cells of a workbook's swatch table. Raises `InputError` with every fault of the file."""
    pages = [page for page in _pages(data, faults) if any(map(any, page.rows))]
    faults.refuse(not pages, "empty")
    tables = [page for page in pages if any(map(_is_heading, page.rows[:_HEADER_ROWS]))]
    page = (tables or pages)[0]
    names = few([repr(table.title) for table in tables], 5)
    faults.tell("sheets", when=len(tables) > 1, count=len(tables), names=names)
    faults.tell("long_sheet", when=len(page.rows) > _MOST, title=page.title, most=_MOST)
    for where, formula in [(w, f) for w, f, saved in page.formulas if not saved][:20]:
        faults.tell("formula", where=where, formula=formula)
    faults.raise_any()
    faults.note("workbook", title=page.title)
    others = [repr(other.title) for other in pages if other is not page]
    faults.note("other_sheets", when=others, names=few(others, 5))
    if page.formulas:
        where, formula, _ = page.formulas[0]
        faults.note("formulas", count=len(page.formulas), where=where, formula=formula)
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(page.rows)
    return read_text(out.getvalue(), faults)


def _is_heading(cells: list[str]) -> bool:
    return sheets.is_swatch_table(cells) or sum(map(sheets.known, cells)) > 3


def _pages(data: bytes, faults: Faults) -> list[_Page]:
    """Every sheet, read twice: once for formulas and once for the values saved beside them."""
    import openpyxl

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive, warnings.catch_warnings():
            parts = archive.infolist()
            size, many = sum(part.file_size for part in parts), len(parts)
            refuse(many > _MOST_PARTS, f"{many:,} parts, where a workbook has dozens")
            refuse(size > LARGEST_UNPACKED, f"{size / 1e6:,.0f} MB when unpacked")
            bad = archive.testzip()
            refuse(bad, f"{bad} is damaged")
            warnings.simplefilter("ignore")  # what openpyxl does not know is no part of a table
            values, formulas = (
                openpyxl.load_workbook(archive.fp, read_only=True, data_only=only).worksheets
                for only in (True, False)
            )
            found = [_page(*pair) for pair in zip(values, formulas, strict=True)]
    except Exception as error:  # a damaged or another file raises whatever its bytes lead to
        faults.refuse(True, "bad_workbook", why=tidy(str(error))[:100] or type(error).__name__)
    return found


def _page(values: Any, formulas: Any) -> _Page:
    page, bands = _Page(values.title, [], []), set[int]()
    for sheet in (values, formulas):
        sheet.reset_dimensions()  # the size a file states is not to be trusted
    for saved, written in zip(values.iter_rows(), formulas.iter_rows(), strict=True):
        cells: list[str] = []
        for value, formula in zip(saved[: sheets.MOST_COLUMNS + 1], written, strict=False):
            if formula.data_type == "f":
                saved_too = value.value is not None
                page.formulas.append((formula.coordinate, str(formula.value)[:40], saved_too))
            cells.append(_text(value, len(bands) > 1 and len(cells) in bands))
        while cells and not cells[-1]:
            cells.pop()
        page.rows.append(cells)
        if len(bands) < 2:
            bands = {place for place, cell in enumerate(cells) if band(cell) is not None}
        if len(page.rows) > _MOST:
            break
    return page


def _text(cell: Any, in_band: bool) -> str:
    """A cell as a person would read it.

    Under a band heading what is shown as ``85%`` is the fraction 0.85 that the cell holds.
    """
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, datetime | date | time):
        return value.isoformat().removesuffix("T00:00:00")
    if isinstance(value, float | int) and not isinstance(value, bool):
        if _PERCENT.fullmatch(cell.number_format or "") and not in_band:
            return f"{100.0 * value:.12g}%"
        return f"{value:.12g}"
    return tidy(str(value))
