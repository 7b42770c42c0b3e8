"""Readings, targets and recipes as values of a row, and back to the last digit."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import WAVELENGTHS, Light
from dyemix.dataset.recipe import Recipe, dye_name
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError, Fault, InputError, RecipeError, SavedError
from dyemix.files.writing import recipe_text


def exact_text(recipe: Recipe) -> str:
    """A recipe with every digit. Raises `RecipeError` for a name that could not be read back."""
    text = recipe_text(recipe)
    try:
        same = Recipe.parse(text) == recipe
    except RecipeError:
        same = False
    if not same:
        raise RecipeError(
            f"{text!r} cannot be kept: name its dyes with letters, digits, spaces and hyphens."
        )
    return text


def written_recipe(text: str, as_written: str) -> Recipe:
    """The recipe that `exact_text` wrote. Raises `SavedError` for anything else."""
    try:
        return Recipe(Recipe.parse(text), as_written)
    except RecipeError as error:
        raise SavedError(f"a recipe of this book is damaged: {error}") from None


def day(value: date | None) -> str | None:
    return None if value is None else value.isoformat()


def from_day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)


def as_list(values: Array | None) -> str | None:
    """Raises `InputError` for numbers that are not finite."""
    if values is not None and not np.isfinite(values).all():
        raise InputError(Fault("a reading holds a number that is not finite: read it again."))
    return None if values is None else json.dumps(values.tolist())


def from_list(text: str | None, *shape: int) -> Array | None:
    """Raises `SavedError` where a list of another shape, or none, stands."""
    if text is None:
        return None
    try:
        values = np.array(json.loads(text), dtype=float)
    except (ValueError, TypeError):
        values = np.empty(0)
    if values.shape != shape or not np.isfinite(values).all():
        raise SavedError(f"a list of {shape} numbers is damaged in this book: {text[:40]!r}.")
    return values


def target_text(target: Target | None) -> str | None:
    if target is None:
        return None
    content = {
        "lab": target.lab.tolist(),
        "light": None if target.light is None else str(target.light),
        "reflectance": None if target.reflectance is None else target.reflectance.tolist(),
        "name": target.name,
        "kind": target.kind,
    }
    return json.dumps(content, ensure_ascii=False, allow_nan=False)


def from_target_text(text: str | None) -> Target | None:
    """Raises `SavedError` for anything that `target_text` does not write."""
    if text is None:
        return None
    try:
        content = json.loads(text)
        light, spectrum = content["light"], content["reflectance"]
        return Target(
            np.array(content["lab"], dtype=float),
            None if light is None else Light.parse(light),
            None if spectrum is None else np.array(spectrum, dtype=float),
            content["name"],
            content["kind"],
        )
    except (ValueError, TypeError, KeyError, DyemixError) as error:
        raise SavedError(f"a target of this book is damaged: {error}.") from None


def insert(db: sqlite3.Connection, table: str, **values: Any) -> int:
    """Add a row and give its number. Table and column names are the package's own."""
    marks = ", ".join("?" for _ in values)
    statement = f"INSERT INTO {table} ({', '.join(values)}) VALUES ({marks})"
    return int(db.execute(statement, tuple(values.values())).lastrowid or 0)


def named(db: sqlite3.Connection, table: str, **key: str) -> int:
    """The row with this key, added if it is not there."""
    where = " AND ".join(f"{column} = ?" for column in key)
    found = db.execute(f"SELECT id FROM {table} WHERE {where}", tuple(key.values())).fetchone()
    return int(found[0]) if found else insert(db, table, **key)


def add_readings(
    db: sqlite3.Connection, readings: Iterable[Reading], swatch_set: int | None = None
) -> list[int]:
    """Write readings, each under its piece of cloth; the numbers of their rows."""
    pieces: dict[tuple[Recipe | None, str], int] = {}
    rows = []
    for reading in readings:
        piece = (reading.recipe, reading.swatch)
        if piece not in pieces:
            cloth = " ".join(reading.conditions.get("cloth", "").split())
            pieces[piece] = insert(
                db, "swatch", swatch_set=swatch_set, label=reading.swatch,
                recipe=None if reading.recipe is None else exact_text(reading.recipe),
                cloth=named(db, "cloth", name=cloth) if cloth else None,
            )  # fmt: skip
        number = insert(
            db, "reading", swatch=pieces[piece], kind=reading.kind, place=reading.place,
            name=reading.name,
            as_written="" if reading.recipe is None else reading.recipe.as_written,
            spectrum=as_list(reading.reflectance),
            lab=as_list(reading.lab),
            light=None if reading.light is None else str(reading.light),
            covariance=as_list(reading.covariance),
            conditions=json.dumps(dict(reading.conditions), ensure_ascii=False),
            flags=json.dumps(reading.flags, ensure_ascii=False),
        )  # fmt: skip
        rows.append(number)
    return rows


_READING = """SELECT s.recipe, s.label, r.as_written, r.kind, r.spectrum, r.lab, r.light,
    r.covariance, r.conditions, r.flags, r.place, r.name
    FROM reading r JOIN swatch s ON s.id = r.swatch """


def read_one(db: sqlite3.Connection, number: int) -> Reading:
    """The reading of a row."""
    return _reading(db.execute(_READING + "WHERE r.id = ?", (number,)).fetchone())


def read_set(db: sqlite3.Connection, swatch_set: int) -> tuple[Reading, ...]:
    """The readings of a swatch set, in the order in which they came."""
    rows = db.execute(_READING + "WHERE s.swatch_set = ? ORDER BY r.id", (swatch_set,))
    return tuple(_reading(row) for row in rows)


def _reading(row: tuple[Any, ...]) -> Reading:
    recipe, label, as_written, kind, spectrum, lab, light, covariance, conditions, flags = row[:10]
    try:
        return Reading(
            recipe=None if recipe is None else written_recipe(recipe, as_written),
            reflectance=from_list(spectrum, len(WAVELENGTHS)),
            swatch=label,
            kind=kind,
            lab=from_list(lab, 3),
            light=None if light is None else Light.parse(light),
            covariance=from_list(covariance, 3, 3),
            conditions=json.loads(conditions),
            flags=tuple(json.loads(flags)),
            place=row[10],
            name=row[11],
        )
    except (ValueError, TypeError) as error:
        raise SavedError(f"a reading of this book is damaged: {error}.") from None


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


def dye_number(db: sqlite3.Connection, name: str, lot: str) -> int:
    """The row of a lot of dye, added if it is not there."""
    return named(db, "dye", name=dye_name(name), lot=lot.strip())


def job_number(db: sqlite3.Connection, name: str, otherwise: str) -> int:
    """The row of a job, added if it is not there; of `otherwise` where it has no name."""
    return named(db, "job", name=" ".join(name.split()) or otherwise)


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
    notes = tuple(dict.fromkeys(note for _, swatches in sets for note in swatches.notes))
    return SwatchSet(readings, notes, ", ".join(name for name, _ in sets), demo)


def of_job(
    db: sqlite3.Connection, columns: str, table: str, job: str | None
) -> list[tuple[Any, ...]]:
    """Rows of a table with the name of their job first; all where `job` is None."""
    listed = ", ".join(f"t.{column.strip()}" for column in columns.split(","))
    return db.execute(
        f"SELECT j.name, {listed} FROM {table} t JOIN job j ON j.id = t.job "
        "WHERE ?1 IS NULL OR j.name = ?1 ORDER BY t.id",
        (job,),
    ).fetchall()
