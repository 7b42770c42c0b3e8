"""Spreadsheet workbooks (.xlsx): the one sheet that holds a swatch table, as if saved as CSV.

openpyxl reads the cells. Nothing is calculated: where a formula stands, the value saved beside it
is used and said, and a formula without one is refused. A workbook is a zip archive of XML: its
unpacked size is bounded here, and openpyxl reads with defusedxml, which refuses entities.
"""

from __future__ import annotations

import csv
import io
import re
import warnings
import zipfile
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any

from dyemix.dataset.swatches import SwatchSet
from dyemix.files import delimited
from dyemix.files.cells import MOST_COLUMNS, MOST_ROWS, Faults, band, few, is_swatch_table, known

#: Unpacked, no dyer's workbook is larger (bytes); an archive that says so may be a zip bomb.
LARGEST_UNPACKED = 60_000_000
_MOST_PARTS = 5_000
_HEADER_ROWS = 60
_MOST = MOST_ROWS + _HEADER_ROWS
_PERCENT = re.compile(r"0[.0#]*%")


def recognise(data: bytes) -> bool:
    """Whether `data` is a zip archive, or an old binary workbook (which is then refused)."""
    return data.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0"))


def read(data: bytes, faults: Faults) -> SwatchSet:
    """Read the swatch table of a workbook. Raises `InputError` with every fault of the file."""
    pages = [page for page in _pages(data, faults) if any(map(any, page.rows))]
    if not pages:
        faults.stop("empty")
    tables = [page for page in pages if page.is_table]
    page = (tables or pages)[0]
    if len(tables) > 1:
        names = few([repr(table.title) for table in tables], 5)
        faults.tell("sheets", count=len(tables), names=names)
    if len(page.rows) > _MOST:
        faults.tell("long_sheet", title=page.title, most=_MOST)
    for where, formula in [(w, f) for w, f, saved in page.formulas if not saved][:20]:
        faults.tell("formula", where=where, formula=formula)
    faults.raise_any()
    faults.note("workbook", title=page.title)
    if others := [repr(other.title) for other in pages if other is not page]:
        faults.note("other_sheets", names=few(others, 5))
    if page.formulas:
        where, formula, _ = page.formulas[0]
        faults.note("formulas", count=len(page.formulas), where=where, formula=formula)
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(page.rows)
    return delimited.read(out.getvalue(), faults)


@dataclass
class _Page:
    """The text of one sheet, a list of cells a row.

    `formulas` are place, formula, and whether a value was saved beside it; `bands` the places of
    band headings, once a row of those has been met.
    """

    title: str
    rows: list[list[str]] = field(default_factory=list)
    formulas: list[tuple[str, str, bool]] = field(default_factory=list)
    bands: set[int] = field(default_factory=set)

    @property
    def is_table(self) -> bool:
        rows = self.rows[:_HEADER_ROWS]
        return any(is_swatch_table(row) or sum(map(known, row)) > 3 for row in rows)


def _pages(data: bytes, faults: Faults) -> list[_Page]:
    """Every sheet, read twice: once for formulas and once for the values saved beside them."""
    import openpyxl

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive, warnings.catch_warnings():
            parts = archive.infolist()
            if len(parts) > _MOST_PARTS:
                raise ValueError(f"{len(parts):,} parts, where a workbook has dozens")
            if (size := sum(part.file_size for part in parts)) > LARGEST_UNPACKED:
                raise ValueError(f"{size / 1e6:,.0f} MB when unpacked")
            if bad := archive.testzip():
                raise ValueError(f"{bad} is damaged")
            warnings.simplefilter("ignore")  # what openpyxl does not know is no part of a table
            values, formulas = (
                openpyxl.load_workbook(archive.fp, read_only=True, data_only=only)
                for only in (True, False)
            )
            pairs = zip(values.worksheets, formulas.worksheets, strict=True)
            return [_page(value, formula) for value, formula in pairs]
    except Exception as error:  # a damaged or another file raises whatever its bytes lead to
        why = " ".join(str(error).split())[:100] or type(error).__name__
        faults.stop("bad_workbook", why=why)


def _page(values: Any, formulas: Any) -> _Page:
    page = _Page(values.title)
    for sheet in (values, formulas):
        sheet.reset_dimensions()  # the size a file states is not to be trusted
    for saved, written in zip(values.iter_rows(), formulas.iter_rows(), strict=True):
        cells: list[str] = []
        for value, formula in zip(saved[: MOST_COLUMNS + 1], written, strict=False):
            if formula.data_type == "f":
                saved_too = value.value is not None
                page.formulas.append((formula.coordinate, str(formula.value)[:40], saved_too))
            cells.append(_text(value, len(cells) in page.bands))
        while cells and not cells[-1]:
            cells.pop()
        page.rows.append(cells)
        if not page.bands:
            bands = {place for place, cell in enumerate(cells) if band(cell) is not None}
            page.bands = bands if len(bands) > 1 else set()
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
    if isinstance(value, datetime) and value.time() == time():
        return value.date().isoformat()
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, float | int) and not isinstance(value, bool):
        if _PERCENT.fullmatch(cell.number_format or "") and not in_band:
            return f"{100.0 * value:.12g}%"
        return f"{value:.12g}"
    return " ".join(str(value).split())
