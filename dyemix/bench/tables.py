"""Tables of jobs and of stock bottles, as CSV, semicolon- or tab-separated text."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

from dyemix.bench.plan import Job
from dyemix.bench.stock import MADE_UP_TO, Stock
from dyemix.dataset.units import parse_weight
from dyemix.errors import DyemixError, Fault, InputError
from dyemix.files.cells import Faults, decode, read_sheet
from dyemix.matching.dispensing import parse_stock

_Reader = Callable[[str], Any]


def _number(text: str) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise DyemixError(f"{text!r} is not a number.") from None


def _grams(text: str) -> float:
    return parse_weight(text if text[-1].isalpha() else f"{text} g")


def _ratio(text: str) -> float:
    return _number(text.removesuffix(":1"))


def _whole(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise DyemixError(f"{text!r} is not a whole number of 1 or more.")
    return int(text)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise DyemixError(f"{text!r} is not a date: write 2026-05-03.") from None


def _yes(text: str) -> bool:
    if text.lower() not in ("yes", "no"):
        raise DyemixError(f"{text!r} is not yes or no.")
    return text.lower() == "yes"


#: Heading of a column → field and how to read it.
_JOBS: dict[str, tuple[str, _Reader]] = {
    "job": ("job", str),
    "recipe": ("recipe", str),
    "cloth_g": ("cloth_g", _grams),
    "cloth": ("cloth", str),
    "pieces": ("pieces", _whole),
    "target": ("target", str),
    "liquor ratio": ("liquor_ratio", _ratio),
    "alkali": ("alkali", str),
}
_STOCKS: dict[str, tuple[str, _Reader]] = {
    "dye": ("dye", str),
    "stock_pct": ("strength_pct", _number),
    "made": ("made", _day),
    "cold": ("cold", _yes),
    "lot": ("lot", str),
    "how": ("how", str),
    "left_ml": ("left_ml", _number),
}


def read_jobs(path: str | os.PathLike[str]) -> tuple[Job, ...]:
    """Jobs, one a row.

    Columns ``job``, ``recipe``, ``cloth_g`` (or with a unit, as ``8.5 oz``), and if wanted
    ``cloth``, ``pieces``, ``target``, ``liquor ratio``, ``alkali``.

    Raises `InputError` with every fault of the file.
    """
    faults = Faults(Path(path).name)
    jobs = [
        Job(**values, row=row, file=faults.file)
        for row, values in _rows(path, _JOBS, ("job", "recipe", "cloth_g"), faults)
    ]
    faults.raise_any()
    return tuple(jobs)


def read_stocks(path: str | os.PathLike[str]) -> tuple[Stock, ...]:
    """Bottles, one a row.

    Columns ``dye``, ``stock_pct`` (% w/v), and if known ``made`` (2026-05-03), ``cold`` (yes or
    no), ``lot``, ``how`` (made up to, added to), ``left_ml``.

    Raises `InputError` with every fault of the file.
    """
    faults = Faults(Path(path).name)
    stocks = []
    for row, values in _rows(path, _STOCKS, ("dye", "stock_pct"), faults):
        try:
            stocks.append(Stock(**{"how": MADE_UP_TO, **values}))
        except DyemixError as error:
            faults.add(str(error), row)
    faults.raise_any()
    return tuple(stocks)


def parse_stocks(text: str) -> tuple[Stock, ...] | float:
    """The stocks as a dyer names them.

    A table of bottles (a file name with an ending); ``2`` for every dye (% w/v); or
    ``navy 1, gold 2``. Raises `InputError` for the table, `DyemixError` for the rest.
    """
    if Path(text).suffix.lower() in (".csv", ".tsv", ".txt"):
        return read_stocks(text)
    strengths = parse_stock(text)
    if "" not in strengths:
        return tuple(Stock(dye, strength) for dye, strength in strengths.items())
    if len(strengths) > 1:
        raise DyemixError(
            f"{text!r} gives some stocks without a dye: write one strength for all, as '2', or "
            "one for each, as 'navy 1, gold 2' (% w/v)."
        )
    return Stock("every dye", strengths[""]).strength_pct


def _rows(
    path: str | os.PathLike[str],
    columns: dict[str, tuple[str, _Reader]],
    required: tuple[str, ...],
    faults: Faults,
) -> Iterator[tuple[int, dict[str, Any]]]:
    """Row numbers and values by field; a row with a fault is told and left out."""
    try:
        data = Path(path).read_bytes()
    except OSError as error:
        raise InputError(Fault(f"cannot be read: {error.strerror}.", faults.file)) from None
    text, note = decode(data) or ("", "")
    if note:  # a name guessed wrong would be another dye
        faults.add("the file is not in UTF-8: save it as 'CSV UTF-8'.")
    sheet = read_sheet(text, faults)
    faults.raise_any()
    headings = [heading.lower() for heading in sheet.headings]
    for heading in headings:
        if heading not in columns:
            known = ", ".join(columns)
            faults.add(f"is unknown: this table has {known}.", sheet.header_row, heading or "blank")
        elif headings.count(heading) > 1:
            faults.add("stands twice.", sheet.header_row, heading)
    for heading in required:
        if heading not in headings:
            faults.add("this column is missing.", sheet.header_row, heading)
    if not sheet.rows:
        faults.add("the table has headings but no rows.")
    faults.raise_any()
    for row, cells in sheet.rows:
        before = len(faults)
        values: dict[str, Any] = {}
        if len(cells) > len(headings):
            faults.add(f"{len(cells)} cells under {len(headings)} headings.", row)
        for heading, cell in zip(headings, cells, strict=False):
            field, read = columns[heading]
            try:
                if cell:
                    values[field] = read(cell)
            except DyemixError as error:
                faults.add(str(error), row, heading)
        for heading in required:
            if columns[heading][0] not in values and len(faults) == before:
                faults.add("is blank.", row, heading)
        if len(faults) == before:
            yield row, values
