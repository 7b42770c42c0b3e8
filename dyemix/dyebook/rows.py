"""Values of the package as values of a row, and back to the last digit."""

import hashlib
import io
import json
import sqlite3
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import fields
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from dyemix.dataset.readings import Clipped
from dyemix.dataset.recipe import Recipe, dye_name
from dyemix.dataset.serialise import from_json, from_plain, hints, plain
from dyemix.dataset.swatches import Reading
from dyemix.dataset.target import Trial
from dyemix.dyebook.connection import TABLES
from dyemix.errors import DyemixError, InputError, RecipeError, SavedError, refuse, said
from dyemix.files.cells import tidy
from dyemix.writing import Named

if TYPE_CHECKING:
    from dyemix.photo.decode import Photograph

T = TypeVar("T")
#: Longest side of a picture that is kept, pixels, and its JPEG quality.
_LONGEST, _QUALITY = 1600, 85


def _exact_text(recipe: Recipe) -> str:
    """A recipe with every digit. Raises `RecipeError` for a name that could not be read back."""
    with suppress(RecipeError):
        if Recipe.parse(recipe.exact) == recipe:
            return recipe.exact
    raise RecipeError(said("dyebook.unnamed", recipe.exact))


def _cell(value: Any) -> Any:
    """A value as the book holds it. Raises `InputError` for numbers that are not finite."""
    if isinstance(value, Recipe):
        return _exact_text(value)
    odd = isinstance(value, np.ndarray) and not np.isfinite(value).all()
    refuse(odd, "a reading holds a number that is not finite: read it again.", error=InputError)
    if isinstance(value, bytes):
        return value
    cell = str(value) if isinstance(value, Clipped) else plain(value)
    return json.dumps(cell, ensure_ascii=False) if isinstance(cell, dict | list) else cell


#: Fields of a record whose cells hold JSON.
_JSON = frozenset({"conditions", "warnings", "target", "reflectance", "lab", "covariance"})


def made(db: sqlite3.Connection, kind: type[T], row: sqlite3.Row, **given: Any) -> T:
    """A record from a row whose columns are called like its fields; `given` are its other fields.

    A number where a reading belongs is that of the reading; a trial is made of the same row, and a
    document of its content. Raises `SavedError` for anything that `insert` does not write.
    """
    if "content" in row.keys():  # noqa: SIM118  (a row is no mapping)
        return row["content"] if kind is bytes else from_json(kind, row["content"])
    try:
        types, cells = hints(kind), dict(row)
        if "trial" in types:
            given["trial"] = made(db, Trial, row)
        for name in types.keys() & cells.keys() - given.keys():
            value, where = cells[name], f"{kind.__name__}.{name} of this book"
            if name in ("reading", "on") and isinstance(value, int):
                value = read_one(db, value)
            elif value is not None and name == "recipe":
                value = Recipe(Recipe.parse(value), cells["as_written"])
            elif value is not None and name == "clipped":
                value = Clipped.parse(value)
            elif types[name] is bool:
                value = bool(value)
            else:
                plain_value = json.loads(value) if value and name in _JSON else value
                value = from_plain(types[name], plain_value, where)
            given[name] = value
        return kind(**given)
    except SavedError:
        raise
    except (ValueError, TypeError, KeyError, DyemixError) as error:
        raise SavedError(f"a {kind.__name__} of this book is damaged: {error}") from None


def insert(db: sqlite3.Connection, table: str, record: Any = None, /, **values: Any) -> int:
    """Add a row and give its number: what a record has that the table has, and other values.

    A reading is a row of its own, and is kept by its number.
    Table and column names are the package's own.
    """
    if record is not None:
        columns = {row["name"] for row in db.execute(f"PRAGMA table_info({table})")}
        same = columns & {f.name for f in fields(record)} - values.keys()
        values |= {name: getattr(record, name) for name in same}
    given = [add_readings(db, [v])[0] if isinstance(v, Reading) else v for v in values.values()]
    marks = ", ".join("?" for _ in values)
    statement = f"INSERT INTO {table} ({', '.join(values)}) VALUES ({marks})"
    number = int(db.execute(statement, [*map(_cell, given)]).lastrowid or 0)
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
    refuse(event is None, "nothing is left that could be undone.", error=InputError)
    changes = db.execute("SELECT * FROM change WHERE event = ? ORDER BY id DESC", (event["id"],))
    for change in changes.fetchall():
        db.execute("DELETE FROM change WHERE id = ?", (change["id"],))
        cells = json.loads(change["before"] or "null")
        known = change["place"] in TABLES and (cells is None or isinstance(cells, dict))
        sound = known and all(map(str.isidentifier, cells or ()))
        refuse(not sound, "dyebook.not_undone", error=SavedError)
        if cells is None:
            db.execute(f"DELETE FROM {change['place']} WHERE id = ?", (change["row"],))
        else:
            _set(db, change["place"], change["row"], cells)
    db.execute("DELETE FROM event WHERE id = ?", (event["id"],))
    return str(event["what"])


def named(db: sqlite3.Connection, table: str, name: str, **key: str) -> int:
    """The row of this name, and of the rest of its `key`, added if it is not there.

    Raises `InputError` for no name.
    """
    key = {"name": dye_name(name) if table == "dye" else tidy(name), **key}
    refuse(not key["name"], f"a {table} needs a name.", error=InputError)
    where = " AND ".join(f"{column} = ?" for column in key)
    found = db.execute(f"SELECT id FROM {table} WHERE {where}", tuple(key.values())).fetchone()
    return int(found[0]) if found else insert(db, table, **key)


def add_readings(
    db: sqlite3.Connection, readings: Iterable[Reading], swatch_set: int | None = None
) -> list[int]:
    """Write readings, each under its piece of cloth; the numbers of their rows."""
    pieces: dict[tuple[Recipe | None, str], int] = {}
    numbers = []
    for reading in readings:
        piece = (reading.recipe, reading.swatch)
        if piece not in pieces:
            cloth = reading.conditions.get("cloth", "").strip()
            of = named(db, "cloth", cloth) if cloth else None
            how = {"swatch_set": swatch_set, "label": reading.swatch, "cloth": of}
            pieces[piece] = insert(db, "swatch", recipe=reading.recipe, **how)
        number = insert(
            db, "reading", reading, swatch=pieces[piece], spectrum=reading.reflectance,
            as_written="" if reading.recipe is None else reading.recipe.as_written,
            flags=reading.warnings,
        )  # fmt: skip
        numbers.append(number)
    return numbers


def read_one(db: sqlite3.Connection, number: int) -> Reading:
    """The reading of a row. Raises `SavedError` where it is gone."""
    row = db.execute("SELECT * FROM kept_reading WHERE id = ?", (number,)).fetchone()
    refuse(row is None, "dyebook.missing", number, error=SavedError)
    return made(db, Reading, row)


def digest(value: Any) -> str:
    """A swatch set or a trial in short: it changes when anything in it does."""
    return hashlib.sha256(json.dumps(plain(value), ensure_ascii=False).encode()).hexdigest()


def admit(db: sqlite3.Connection, demo: bool) -> None:
    """Settle whether the book holds invented dyes. Raises `InputError` where it is the other."""
    if db.execute("SELECT 1 FROM kind").fetchone() is None:
        insert(db, "kind", id=1, demo=int(demo))
    held = "dyebook.own" if demo else "dyebook.invented"
    refuse(is_demo(db) != demo, held, error=InputError)


def is_demo(db: sqlite3.Connection) -> bool:
    """Whether the book is known to hold invented dyes."""
    found = db.execute("SELECT demo FROM kind").fetchone()
    return found is not None and bool(found[0])


def plain_picture(photo: "Named | Photograph") -> bytes:
    """The picture of a file, or one decoded, as JPEG. Raises `InputError`.

    Its pixels alone are coded anew, so that place, owner, serial numbers and the thumbnail of a
    camera's file stay outside.
    """
    from PIL import Image

    from dyemix.photo.decode import Photograph, decode

    codes = (photo if isinstance(photo, Photograph) else decode(photo)).codes
    picture = Image.fromarray((codes >> 8).astype(np.uint8) if codes.dtype == np.uint16 else codes)
    picture.thumbnail((_LONGEST, _LONGEST))
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=_QUALITY)
    return out.getvalue()
