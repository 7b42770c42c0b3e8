"""Tables of jobs and of stock bottles, and stocks as a dyer names them."""

from __future__ import annotations

import os
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any

from dyemix.bench.method import stated
from dyemix.bench.plan import Job
from dyemix.bench.stock import Stock
from dyemix.dataset.days import parse_day
from dyemix.dataset.units import parse_weight
from dyemix.errors import DyemixError
from dyemix.files.small_tables import Column, Table, number, read_table
from dyemix.matching.dispensing import parse_stock


def _whole(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise DyemixError(f"{text!r} is not a whole number of 1 or more.")
    return int(text)


def _yes(text: str) -> bool:
    if text.lower() not in ("yes", "no"):
        raise DyemixError(f"{text!r} is not yes or no.")
    return text.lower() == "yes"


_JOBS = (
    Column("job", needed=True),
    Column("recipe", needed=True),
    Column("cloth_g", lambda text: parse_weight(text + " g" * text[-1].isdigit()), needed=True),
    Column("cloth"),
    Column("pieces", _whole),
    Column("target"),
    Column("liquor ratio", partial(stated, "liquor_ratio")),
    Column("alkali"),
)
_STOCKS = (
    Column("dye", needed=True),
    Column("stock_pct", number, needed=True),
    Column("made", parse_day),
    Column("cold", _yes),
    Column("lot"),
    Column("how"),
    Column("left_ml", number),
)


def read_jobs(path: str | os.PathLike[str]) -> tuple[Job, ...]:
    """Jobs, one a row.

    Columns ``job``, ``recipe``, ``cloth_g`` (or with a unit, as ``8.5 oz``), and if wanted
    ``cloth``, ``pieces``, ``target``, ``liquor ratio``, ``alkali``.

    Raises `InputError` with every fault of the file.
    """
    table = _read(path, _JOBS)
    file = table.faults.file
    table.faults.raise_any()
    return tuple(Job(**_fields(values), row=row, file=file) for row, values in table.rows)


def read_recipes(path: str | os.PathLike[str], cloth_g: float) -> tuple[Job, ...]:
    """A job for each target of the recipes that ``match --targets`` wrote, on so much cloth.

    Its best recipe is the first. Raises `InputError` with every fault of the file.
    """
    table = read_table(path, (Column("target", needed=True), _JOBS[1]), others=True)
    table.faults.raise_any()
    jobs: dict[str, Job] = {}
    for row, values in table.rows:
        name = values["target"]
        job = Job(name, values["recipe"], cloth_g, target=name, row=row, file=table.faults.file)
        jobs.setdefault(name, job)
    return tuple(jobs.values())


def read_stocks(path: str | os.PathLike[str]) -> tuple[Stock, ...]:
    """Bottles, one a row.

    Columns ``dye``, ``stock_pct`` (% w/v), and if known ``made`` (2026-05-03), ``cold`` (yes or
    no), ``lot``, ``how`` (made up to, added to), ``left_ml``.

    Raises `InputError` with every fault of the file.
    """
    table = _read(path, _STOCKS)
    stocks = []
    for row, values in table.rows:
        try:
            stocks.append(Stock(strength_pct=values.pop("stock_pct"), **_fields(values)))
        except DyemixError as error:
            table.faults.add(str(error), row)
    table.faults.raise_any()
    return tuple(stocks)


def parse_stocks(text: str) -> tuple[Stock, ...]:
    """The stocks as a dyer names them, the one without a dye for every other dye.

    A table of bottles (a file name with an ending); ``2`` for every dye (% w/v); or
    ``navy 1, gold 2``. Raises `InputError` for the table, `DyemixError` for the rest.
    """
    if Path(text).suffix.lower() in (".csv", ".tsv", ".txt"):
        return read_stocks(text)
    return tuple(Stock(dye, strength) for dye, strength in parse_stock(text).items())


def _read(path: str | os.PathLike[str], columns: Sequence[Column]) -> Table:
    table = read_table(path, columns)
    for note in table.notes:  # letters guessed wrong would be the name of another dye
        if "Windows-1252" in note:
            table.faults.add(f"{note} Save it as 'CSV UTF-8'.")
    return table


def _fields(values: dict[str, Any]) -> dict[str, Any]:
    return {name.replace(" ", "_"): value for name, value in values.items()}
