"""Values of the package as values of a row, and back to the last digit."""

import hashlib
import io
import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import fields
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from dyemix.dataset.readings import Clipped
from dyemix.dataset.recipe import Recipe, dye_name
from dyemix.dataset.serialise import from_json, from_plain, hints, plain
from dyemix.dataset.swatches import Reading
from dyemix.dataset.target import Trial
from dyemix.dyebook.connection import TABLES, BookFile
from dyemix.errors import DyemixError, InputError, RecipeError, SavedError, refuse, said
from dyemix.files.cells import tidy
from dyemix.writing import Named, csv_text

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


def record(kind: type[T], row: sqlite3.Row, **given: Any) -> T:
    """A record whose cells stand in a row; `given` are its other fields. Raises as `_made` does."""
    try:
        types, cells = hints(kind), dict(row)
        for name in types.keys() & cells.keys() - given.keys():
            value, where = cells[name], f"{kind.__name__}.{name} of this book"
            if value is not None and name == "recipe":
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


class Rows(BookFile):
    """A book file by its rows, and the records that are made of them.

    Table and column names are the package's own.
    """

    @property
    def demo(self) -> bool:
        """Whether the book is of invented dyes; it holds either those or a dyer's own."""
        return any(row["demo"] for row in self._rows("SELECT demo FROM kind"))

    def _admit(self, demo: bool) -> None:
        """Settle whether it holds invented dyes. Raises `InputError` where it is the other."""
        if not self._rows("SELECT 1 FROM kind"):
            self._insert("kind", id=1, demo=demo)
        held = "dyebook.own" if demo else "dyebook.invented"
        refuse(self.demo != demo, held, error=InputError)

    def _rows(self, query: str, *of: Any) -> list[sqlite3.Row]:
        """What a query finds."""
        with self.reading() as db:
            return db.execute(query, of).fetchall()

    def _made(self, kind: type[T], row: sqlite3.Row, **given: Any) -> T:
        """A record from a row whose columns are called like its fields; `given` are its others.

        A number where a reading belongs is that of the reading; a trial is made of the same row,
        and a document of its content. Raises `SavedError` for what `_insert` does not write.
        """
        if "content" in row.keys():  # noqa: SIM118  (a row is no mapping)
            return row["content"] if kind is bytes else from_json(kind, row["content"])
        types = hints(kind)
        if "trial" in types:
            given["trial"] = self._made(Trial, row)
        for name in {"reading", "on"} & types.keys() & {*row.keys()}:
            if isinstance(row[name], int):
                given[name] = self._reading(row[name])
        return record(kind, row, **given)

    def _reading(self, number: int) -> Reading:
        """The reading of a row. Raises `SavedError` where it is gone."""
        found = self._rows("SELECT * FROM kept_reading WHERE id = ?", number)
        refuse(not found, "dyebook.missing", number, error=SavedError)
        return self._made(Reading, found[0])

    def _insert(self, table: str, record: Any = None, /, **values: Any) -> int:
        """Add a row and give its number: what a record has that the table has, and other values.

        A reading is a row of its own, and is kept by its number.
        """
        if record is not None:
            there = {row["name"] for row in self._rows(f"PRAGMA table_info({table})")}
            same = there & {f.name for f in fields(record)} - values.keys()
            values |= {name: getattr(record, name) for name in same}
        read = (k for k, value in values.items() if isinstance(value, Reading))
        values |= {name: self._insert_readings([values[name]])[0] for name in read}
        columns, marks = ", ".join(values), ", ".join("?" * len(values))
        statement = f"INSERT INTO {table} ({columns}) VALUES ({marks})"
        number = int(self.db.execute(statement, [*map(_cell, values.values())]).lastrowid or 0)
        if table not in ("event", "change"):
            self._remember(table, number)
        return number

    def _update(self, table: str, number: int, **values: Any) -> None:
        """Change a row."""
        (row,) = self._rows(f"SELECT {', '.join(values)} FROM {table} WHERE id = ?", number)
        self._remember(table, number, json.dumps(dict(row)))
        self._set(table, number, {name: _cell(value) for name, value in values.items()})

    def _set(self, table: str, number: int, cells: Mapping[str, Any]) -> None:
        columns = ", ".join(f"{name} = ?" for name in cells)
        self.db.execute(f"UPDATE {table} SET {columns} WHERE id = ?", (*cells.values(), number))

    def _remember(self, table: str, number: int, before: str | None = None) -> None:
        """Note a row that the last event adds or changes."""
        for (event,) in self._rows("SELECT id FROM event ORDER BY id DESC LIMIT 1"):
            self._insert("change", event=event, place=table, row=number, before=before)

    def undo(self) -> str:
        """Take back what was done last, and say what it was. Raises `InputError` for nothing."""
        with self.writing() as db:
            event = db.execute("SELECT id, what FROM event ORDER BY id DESC LIMIT 1").fetchone()
            refuse(event is None, "nothing is left that could be undone.", error=InputError)
            changes = "SELECT * FROM change WHERE event = ? ORDER BY id DESC"
            for change in self._rows(changes, event["id"]):
                db.execute("DELETE FROM change WHERE id = ?", (change["id"],))
                cells = json.loads(change["before"] or "null")
                known = change["place"] in TABLES and (cells is None or isinstance(cells, dict))
                sound = known and all(map(str.isidentifier, cells or ()))
                refuse(not sound, "dyebook.not_undone", error=SavedError)
                if cells is None:
                    db.execute(f"DELETE FROM {change['place']} WHERE id = ?", (change["row"],))
                else:
                    self._set(change["place"], change["row"], cells)
            db.execute("DELETE FROM event WHERE id = ?", (event["id"],))
        return str(event["what"])

    def _named(self, table: str, name: str, **key: str) -> int:
        """The row of this name, and of the rest of its `key`, added if it is not there.

        Raises `InputError` for no name.
        """
        key = {"name": dye_name(name) if table == "dye" else tidy(name), **key}
        refuse(not key["name"], f"a {table} needs a name.", error=InputError)
        where = " AND ".join(f"{column} = ?" for column in key)
        found = self._rows(f"SELECT id FROM {table} WHERE {where}", *key.values())
        return int(found[0]["id"]) if found else self._insert(table, **key)

    def _insert_readings(
        self, readings: Iterable[Reading], swatch_set: int | None = None
    ) -> list[int]:
        """Write readings, each under its piece of cloth; the numbers of their rows."""
        pieces: dict[tuple[Recipe | None, str], int] = {}
        numbers = []
        for reading in readings:
            piece = (reading.recipe, reading.swatch)
            if piece not in pieces:
                cloth = reading.conditions.get("cloth", "").strip()
                of = self._named("cloth", cloth) if cloth else None
                how = {"swatch_set": swatch_set, "label": reading.swatch, "cloth": of}
                pieces[piece] = self._insert("swatch", recipe=reading.recipe, **how)
            own: dict[str, Any] = {"swatch": pieces[piece], "flags": reading.warnings}
            own["as_written"] = getattr(reading.recipe, "as_written", "")
            numbers.append(self._insert("reading", reading, spectrum=reading.reflectance, **own))
        return numbers

    def _tables(self) -> Iterator[tuple[str, bytes]]:
        """Every table as CSV, and each document that it holds as a file of its own."""
        for table in TABLES:
            found = self.db.execute(f"SELECT * FROM {table} ORDER BY id")
            rows: list[list[Any]] = [[name for name, *_ in found.description]]
            for row in map(dict, found):
                if "content" in row:
                    whole = row["content"]
                    is_picture = isinstance(whole, bytes)
                    row["content"] = f"{table}-{row['id']}.{'jpg' if is_picture else 'json'}"
                    yield row["content"], whole if is_picture else whole.encode()
                rows.append([*row.values()])
            yield f"{table}.csv", csv_text(rows, "\r\n").encode()  # a lone CR is quoted then

    def _new(self, table: str, name: str, cure: str) -> None:
        """Raises `InputError` for no name, and for one that is taken."""
        refuse(not name, "this needs a name.", error=InputError)
        there = self._rows(f"SELECT 1 FROM {table} WHERE name = ?", name)
        refuse(there, f"{name!r} is in the book already: {cure}.", error=InputError)


def digest(value: Any) -> str:
    """A swatch set or a trial in short: it changes when anything in it does."""
    return hashlib.sha256(json.dumps(plain(value), ensure_ascii=False).encode()).hexdigest()


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
