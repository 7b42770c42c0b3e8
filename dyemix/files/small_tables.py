"""The one reader of small tables: jobs, bottles, samples, corners, lists of colours.

A table says which columns it may have and how a cell of each is read; the faults of all rows come
back together, each with its file, row and column::

    JOBS = (
        Column("recipe", needed=True),
        Column("cloth_g", grams, needed=True),
        Column("pieces", whole, also=("how many",)),
    )
    table = read_table("jobs.csv", JOBS)
    for row, values in table.rows:              # {"recipe": "gold 2", "cloth_g": 240.0}
        if values["cloth_g"] > 10_000:
            table.faults.add("this is more than a bath holds.", row, "cloth_g")
    table.faults.raise_any()
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dyemix.dataset.result import said
from dyemix.errors import DyemixError
from dyemix.files.cells import Faults, cleaned, meaning, placed, read_sheet, read_text, spelling


def number(text: str) -> float:
    """A finite number; a comma counts as a decimal point. Raises `DyemixError`."""
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise DyemixError(said("tables.no_number", text=text[:40]))
    return value


@dataclass(frozen=True)
class Column:
    """A column that a table may have.

    Attributes
    ----------
    name : its heading, and the key of its values. Case, ``_`` and ``-`` do not matter in a file.
    read : how a cell that is not blank is read; raises `DyemixError` for what it cannot be.
    needed : whether the table must have it, with a value in every row.
    blank : whether rows may leave it blank where it is needed.
    also : other headings for it, beyond those that swatch tables take for this name.
    """

    name: str
    read: Callable[[str], Any] = str
    needed: bool = False
    blank: bool = False
    also: tuple[str, ...] = ()

    def stands_under(self, heading: str) -> bool:
        names = (self.name, *self.also)
        return meaning(heading) in names or spelling(heading) in map(spelling, names)


@dataclass
class Table:
    """A table that was read. `rows` are those without a fault: row of the file, values by column.

    A blank cell has no value. `remarks` are the ``#`` lines above the headings, `notes` what was
    guessed of the file or not used; `faults` takes what the caller finds, to raise all together.
    """

    faults: Faults
    rows: list[tuple[int, dict[str, Any]]]
    remarks: list[tuple[int, str]]
    notes: list[str]


def read_table(
    path: str | os.PathLike[str], columns: Sequence[Column], *, others: bool = False
) -> Table:
    """Read a comma-, semicolon- or tab-separated table.

    `others` lets it have columns that are not listed, which are noted and not used;
    without it they are faults. Raises `InputError` for a file that cannot be read, and for headings
    that do not serve; what is wrong with rows is left in `faults`.
    """
    text, faults = read_text(path)
    sheet = cleaned(read_sheet(text, faults), faults)
    notes = list(faults.notes)
    before = len(faults)

    def name_of(heading: str) -> str:
        return next((c.name for c in columns if c.stands_under(heading)), heading)

    places = placed(sheet, name_of, faults)
    known = {column.name: column for column in columns}
    needed = [column.name for column in columns if column.needed]
    unused = [name for name in places if name not in known]
    for name in () if others else unused:
        faults.add(said("tables.unknown", known=", ".join(known)), sheet.header_row, name)
    for name in (name for name in needed if name not in places):
        faults.add(said("tables.missing", needed=" and ".join(needed)), sheet.header_row, name)
    if not sheet.rows and not len(faults):
        faults.add(said("tables.no_rows"))
    if len(faults) > before:
        faults.raise_any()
    notes += [said("tables.unused", columns=", ".join(map(repr, unused)))] if unused else []
    read = {places[name]: column for name, column in known.items() if name in places}
    rows = [
        (row, values)
        for row, cells in sheet.rows
        if (values := _values(row, cells, read, sheet.headings, faults)) is not None
    ]
    return Table(faults, rows, sheet.remarks, notes)


def _values(
    row: int, cells: list[str], columns: Mapping[int, Column], headings: list[str], faults: Faults
) -> dict[str, Any] | None:
    """What a row holds; None, and faults, where it cannot be read."""
    before, values = len(faults), {}
    for place, column in columns.items():
        try:
            if cells[place]:
                values[column.name] = column.read(cells[place])
            elif column.needed and not column.blank:
                faults.add(said("tables.blank"), row, headings[place])
        except DyemixError as error:
            faults.add(str(error), row, headings[place])
    return values if len(faults) == before else None
