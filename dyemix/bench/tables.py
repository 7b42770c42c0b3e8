"""Tables of jobs and of stock bottles, and stocks as a dyer names them."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from dyemix.bench.method import stated
from dyemix.bench.plan import Job
from dyemix.bench.stock import Stock
from dyemix.dataset.conditions import parse_day
from dyemix.dataset.units import parse_weight
from dyemix.errors import DyemixError, refuse
from dyemix.files.small_tables import Column, number, read_table
from dyemix.matching.limits import parse_stock

T = TypeVar("T")


def _whole(text: str) -> int:
    refuse(not text.isdecimal() or int(text) < 1, f"{text!r} is not a whole number of 1 or more.")
    return int(text)


def _yes(text: str) -> bool:
    refuse(text.lower() not in ("yes", "no"), f"{text!r} is not yes or no.")
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
    return _made(path, _JOBS, lambda place, values: Job(**values, **place))


def read_recipes(path: str | os.PathLike[str], cloth_g: float) -> tuple[Job, ...]:
    """A job for each target of the recipes that ``match --targets`` wrote, on so much cloth.

    Its best recipe is the first. Raises `InputError` with every fault of the file.
    """

    def job(place: dict[str, Any], values: dict[str, Any]) -> Job:
        return Job(values["target"], cloth_g=cloth_g, **values, **place)

    every = _made(path, (Column("target", needed=True), _JOBS[1]), job, others=True)
    return tuple({job.job: job for job in reversed(every)}.values())[::-1]


def read_stocks(path: str | os.PathLike[str]) -> tuple[Stock, ...]:
    """Bottles, one a row.

    Columns ``dye``, ``stock_pct`` (% w/v), and if known ``made`` (2026-05-03), ``cold`` (yes or
    no), ``lot``, ``how`` (made up to, added to), ``left_ml``.

    Raises `InputError` with every fault of the file.
    """
    return _made(path, _STOCKS, lambda _, v: Stock(strength_pct=v.pop("stock_pct"), **v))


def parse_stocks(text: str) -> tuple[Stock, ...]:
    """The stocks as a dyer names them, the one without a dye for every other dye.

    A table of bottles (a file name with an ending); ``2`` for every dye (% w/v); or
    ``navy 1, gold 2``. Raises `InputError` for the table, `DyemixError` for the rest.
    """
    if Path(text).suffix.lower() in (".csv", ".tsv", ".txt"):
        return read_stocks(text)
    return tuple(Stock(dye, strength) for dye, strength in parse_stock(text).items())


def _made(
    path: str | os.PathLike[str], columns: Sequence[Column],
    make: Callable[[dict[str, Any], dict[str, Any]], T], others: bool = False,
) -> tuple[T, ...]:  # fmt: skip
    """What each row makes, of its place and of its values."""
    table = read_table(path, columns, others=others)
    for note in table.notes:  # letters guessed wrong would be the name of another dye
        if "Windows-1252" in note:
            table.faults.add(f"{note} Save it as 'CSV UTF-8'.")
    made = []
    for row, values in table.rows:
        place = {"row": row, "file": table.faults.file}
        try:
            made.append(make(place, {name.replace(" ", "_"): v for name, v in values.items()}))
        except DyemixError as error:
            table.faults.add(str(error), row)
    table.faults.raise_any()
    return tuple(made)
