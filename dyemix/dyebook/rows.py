"""Values of the package as values of a row, and back to the last digit."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields, replace
from datetime import date
from enum import Enum
from typing import Any, TypeVar

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import WAVELENGTHS, Light
from dyemix.dataset.clipped import Clipped
from dyemix.dataset.recipe import Recipe, dye_name
from dyemix.dataset.serialise import plain
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.dataset.target import Target
from dyemix.dataset.trial import Bath
from dyemix.dyebook.schema import TABLES
from dyemix.errors import DyemixError, Fault, InputError, RecipeError, SavedError

T = TypeVar("T")


def exact_text(recipe: Recipe) -> str:
    """A recipe with every digit. Raises `RecipeError` for a name that could not be read back."""
    text = recipe.exact
    try:
        same = Recipe.parse(text) == recipe
    except RecipeError:
        same = False
    if not same:
        raise RecipeError(
            f"{text!r} cannot be kept: name its dyes with letters, digits, spaces and hyphens."
        )
    return text


def _cell(value: Any) -> Any:
    """A value as the book holds it. Raises `InputError` for numbers that are not finite."""
    if isinstance(value, Recipe):
        return exact_text(value)
    if isinstance(value, date | Enum | Light):
        return plain(value)
    if isinstance(value, np.ndarray) and not np.isfinite(value).all():
        raise InputError(Fault("a reading holds a number that is not finite: read it again."))
    if isinstance(value, np.ndarray | Target | Mapping | tuple):
        return json.dumps(plain(value), ensure_ascii=False)
    return value


def _array(*shape: int) -> Callable[[str], Array]:
    def read(text: str) -> Array:
        values = np.array(json.loads(text), dtype=float)
        if values.shape != shape or not np.isfinite(values).all():
            raise ValueError(f"{text[:40]!r} is not {shape} numbers")
        return values

    return read


def _target(text: str) -> Target:
    content = json.loads(text)
    light, spectrum = content["light"], content["reflectance"]
    return Target(
        np.array(content["lab"], dtype=float),
        None if light is None else Light.parse(light),
        None if spectrum is None else np.array(spectrum, dtype=float),
        content["name"],
        content["kind"],
    )


#: How the field of a record is read from its cell; one that is not listed is taken as it is.
_READ: Mapping[str, Callable[[Any], Any]] = {
    **dict.fromkeys(("added", "bought", "made", "date", "on"), date.fromisoformat),
    "cold": bool,
    "replaced": bool,
    "bath": Bath,
    "target": _target,
    "light": Light.parse,
    "reflectance": _array(len(WAVELENGTHS)),
    "lab": _array(3),
    "covariance": _array(3, 3),
    "clipped": Clipped.parse,
    "conditions": json.loads,
    "warnings": lambda text: tuple(json.loads(text)),
}


def made(kind: type[T], row: sqlite3.Row, **given: Any) -> T:
    """A record from a row whose columns are called like its fields; `given` are its other fields.

    Raises `SavedError` for anything that `insert` does not write.
    """
    try:
        names = {f.name for f in fields(kind)}  # type: ignore[arg-type]
        for name in names & set(row.keys()) - given.keys():
            value = row[name]
            if value is not None and name == "recipe":
                value = Recipe(Recipe.parse(value), row["as_written"])
            elif value is not None and name in _READ:
                value = _READ[name](value)
            given[name] = value
        return kind(**given)
    except (ValueError, TypeError, KeyError, DyemixError) as error:
        raise SavedError(f"a {kind.__name__} of this book is damaged: {error}") from None


def insert(db: sqlite3.Connection, table: str, **values: Any) -> int:
    """Add a row and give its number. Table and column names are the package's own."""
    marks = ", ".join("?" for _ in values)
    statement = f"INSERT INTO {table} ({', '.join(values)}) VALUES ({marks})"
    number = int(db.execute(statement, [_cell(v) for v in values.values()]).lastrowid or 0)
    if table not in ("event", "change"):
        _remember(db, table, number)
    return number


def update(db: sqlite3.Connection, table: str, number: int, **values: Any) -> None:
    """Change a row."""
    columns = ", ".join(values)
    row = db.execute(f"SELECT {columns} FROM {table} WHERE id = ?", (number,)).fetchone()
    _remember(db, table, number, json.dumps(dict(row)))
    _set(db, table, number, {name: _cell(value) for name, value in values.items()})


def _set(db: sqlite3.Connection, table: str, number: int, cells: Mapping[str, Any]) -> None:
    columns = ", ".join(f"{name} = ?" for name in cells)
    db.execute(f"UPDATE {table} SET {columns} WHERE id = ?", (*cells.values(), number))


def _remember(db: sqlite3.Connection, table: str, number: int, before: str | None = None) -> None:
    """Note a row that the last event adds or changes."""
    (event,) = db.execute("SELECT MAX(id) FROM event").fetchone()
    if event is not None:
        insert(db, "change", event=event, place=table, row=number, before=before)


def undo(db: sqlite3.Connection) -> str:
    """Take the last event back, and say what it was. Raises `InputError` where there is none."""
    event = db.execute("SELECT id, what FROM event ORDER BY id DESC LIMIT 1").fetchone()
    if event is None:
        raise InputError(Fault("nothing is left that could be undone."))
    changes = db.execute("SELECT * FROM change WHERE event = ? ORDER BY id DESC", (event["id"],))
    for change in changes.fetchall():
        db.execute("DELETE FROM change WHERE id = ?", (change["id"],))
        cells = json.loads(change["before"] or "null")
        known = change["place"] in TABLES and (cells is None or isinstance(cells, dict))
        if not known or not all(map(str.isidentifier, cells or ())):
            raise SavedError("what was done last is damaged in this book: it cannot be undone.")
        if cells is None:
            db.execute(f"DELETE FROM {change['place']} WHERE id = ?", (change["row"],))
        else:
            _set(db, change["place"], change["row"], cells)
    db.execute("DELETE FROM event WHERE id = ?", (event["id"],))
    return str(event["what"])


def named(db: sqlite3.Connection, table: str, **key: str) -> int:
    """The row with this key, added if it is not there."""
    where = " AND ".join(f"{column} = ?" for column in key)
    found = db.execute(f"SELECT id FROM {table} WHERE {where}", tuple(key.values())).fetchone()
    return int(found[0]) if found else insert(db, table, **key)


def dye_number(db: sqlite3.Connection, name: str, lot: str) -> int:
    """The row of a lot of dye, added if it is not there."""
    return named(db, "dye", name=dye_name(name), lot=lot.strip())


def job_number(db: sqlite3.Connection, name: str, otherwise: object) -> int:
    """The row of a job, added if it is not there; of `otherwise` where it has no name."""
    return named(db, "job", name=" ".join(name.split()) or str(otherwise))


def of_job(db: sqlite3.Connection, table: str, job: str | None, also: str = "") -> Any:
    """Rows of a table, `job` being the name of theirs; all where `job` is None."""
    return db.execute(
        f"SELECT j.name AS job, t.*{also} FROM {table} t JOIN job j ON j.id = t.job "
        "WHERE ?1 IS NULL OR j.name = ?1 ORDER BY t.id",
        (job,),
    )


def add_readings(
    db: sqlite3.Connection, readings: Iterable[Reading], swatch_set: int | None = None
) -> list[int]:
    """Write readings, each under its piece of cloth; the numbers of their rows."""
    pieces: dict[tuple[Recipe | None, str], int] = {}
    numbers = []
    for reading in readings:
        piece = (reading.recipe, reading.swatch)
        if piece not in pieces:
            cloth = " ".join(reading.conditions.get("cloth", "").split())
            pieces[piece] = insert(
                db, "swatch", swatch_set=swatch_set, label=reading.swatch, recipe=reading.recipe,
                cloth=named(db, "cloth", name=cloth) if cloth else None,
            )  # fmt: skip
        number = insert(
            db, "reading", swatch=pieces[piece], kind=reading.kind, place=reading.place,
            name=reading.name, spectrum=reading.reflectance, lab=reading.lab, light=reading.light,
            as_written="" if reading.recipe is None else reading.recipe.as_written,
            covariance=reading.covariance, conditions=reading.conditions, flags=reading.warnings,
            clipped=None if reading.clipped is None else str(reading.clipped),
        )  # fmt: skip
        numbers.append(number)
    return numbers


_READING = """SELECT s.label AS swatch, s.recipe, r.*, r.spectrum AS reflectance,
    r.flags AS warnings FROM reading r JOIN swatch s ON s.id = r.swatch WHERE """


def read_one(db: sqlite3.Connection, number: int | None) -> Reading | None:
    """The reading of a row. Raises `SavedError` where it is gone."""
    if number is None:
        return None
    row = db.execute(_READING + "r.id = ?", (number,)).fetchone()
    if row is None:
        raise SavedError(f"reading {number} of this book is missing: it is damaged.")
    return made(Reading, row)


def read_set(db: sqlite3.Connection, swatch_set: int) -> tuple[Reading, ...]:
    """The readings of a swatch set, in the order in which they came, without those struck."""
    found = db.execute(
        _READING + "s.swatch_set = ? AND r.struck IS NULL ORDER BY r.id", (swatch_set,)
    )
    return tuple(made(Reading, row) for row in found)


def digest(value: Any) -> str:
    """A swatch set or a trial in short: it changes when anything in it does."""
    return hashlib.sha256(json.dumps(plain(value), ensure_ascii=False).encode()).hexdigest()


def admit(db: sqlite3.Connection, demo: bool) -> None:
    """Settle whether the book holds invented dyes. Raises `InputError` where it is the other."""
    found = db.execute("SELECT demo FROM kind").fetchone()
    if found is None:
        insert(db, "kind", id=1, demo=int(demo))
    elif bool(found[0]) != demo:
        raise InputError(
            Fault(
                "this book is of your own dyes: keep the demo's invented ones in another book."
                if demo
                else "this book is of the demo's invented dyes: keep your own work in another book."
            )
        )


def is_demo(db: sqlite3.Connection) -> bool:
    """Whether the book is known to hold invented dyes."""
    found = db.execute("SELECT demo FROM kind").fetchone()
    return found is not None and bool(found[0])


def joined(sets: Iterable[tuple[str, SwatchSet]], demo: bool) -> SwatchSet:
    """Named swatch sets as one. Pieces that two sets call the same stay two pieces."""
    sets = tuple(sets)
    sets_of: dict[tuple[Recipe | None, str], set[str]] = {}
    for name, swatches in sets:
        for reading in swatches.readings:
            sets_of.setdefault((reading.recipe, reading.swatch), set()).add(name)
    readings = tuple(
        reading
        if len(sets_of[reading.recipe, reading.swatch]) == 1
        else replace(reading, swatch=f"{name} {reading.swatch}".strip())
        for name, swatches in sets
        for reading in swatches.readings
    )
    notes = tuple(dict.fromkeys(note for _, swatches in sets for note in swatches.warnings))
    return SwatchSet(readings, notes, ", ".join(name for name, _ in sets), demo)
