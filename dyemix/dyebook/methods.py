"""How cloth is dyed, by a name: cloth, alkali order, liquor ratio, salt, time, warmth, lot.

Swatches of one method do not predict another, so each is fitted by itself, together with every
trial that was dyed by it.
"""

import json
import sqlite3
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import date, datetime

from dyemix.dataset.conditions import METHOD, same
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.result import Value
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.dyebook import rows
from dyemix.errors import AmbiguousError, InputError, refuse, said
from dyemix.files.cells import tidy


class KeptMethod(Value):
    """A method of a book, and what is held of it.

    Attributes
    ----------
    name, number : what it is called, and its row.
    held : its swatches, without tables that were replaced and rows that were struck.
    conditions : how its swatches were dyed and read, as written.
    dyes : those with a swatch of their own.
    trials : how many.
    borrows : the method whose dyes lend it their curves; "" where none does.
    lot, half_life : how its trials are weighed.
    """

    name: str
    number: int
    held: SwatchSet
    conditions: Mapping[str, str]
    dyes: tuple[str, ...]
    trials: int
    borrows: str = ""
    lot: str | None = None
    half_life: float | None = None

    def __str__(self) -> str:
        borrowed = f", on what {self.borrows} lends" if self.borrows else ""
        mixes = len(self.held.mixtures)
        counts = {"square": len(self.held) - mixes, "mix": mixes, "trial": self.trials}
        several = {"square": "squares", "mix": "mixes", "trial": "trials"}
        words = ", ".join(f"{n} {word if n == 1 else several[word]}" for word, n in counts.items())
        return f"{self.name} ({words}{borrowed})"


def _standing(db: sqlite3.Connection, method: int) -> list[sqlite3.Row]:
    """Readings of a method, without tables that were replaced and rows that were struck."""
    query = "SELECT * FROM kept_reading WHERE method = ? AND stands ORDER BY swatch_set, id"
    return db.execute(query, (method,)).fetchall()


def _swatches_of(db: sqlite3.Connection, method: int) -> SwatchSet:
    """The swatches of a method, as they stand.

    Pieces that two of its tables call the same stay two pieces.
    """
    found = _standing(db, method)
    read = [(row["of_set"], rows.made(db, Reading, row)) for row in found]
    pieces = {(table, r.recipe, r.swatch) for table, r in read}
    tables = Counter((recipe, swatch) for _, recipe, swatch in pieces)
    readings = tuple(
        replace(r, swatch=f"{table} {r.swatch}".strip()) if tables[r.recipe, r.swatch] > 1 else r
        for table, r in read
    )
    warnings = dict.fromkeys(word for row in found for word in json.loads(row["notes"]))
    source = ", ".join(dict.fromkeys(table for table, _ in read))
    return SwatchSet(readings, tuple(warnings), source, rows.is_demo(db))


def known(db: sqlite3.Connection) -> tuple[KeptMethod, ...]:
    """Every method, in the order in which they were begun."""

    def made(row: sqlite3.Row) -> KeptMethod:
        held = _swatches_of(db, row["number"])
        own = tuple(dye for dye in held.dyes if held.ladder(dye))
        how = {"held": held, "conditions": held.conditions(), "dyes": own}
        return rows.made(db, KeptMethod, row, **how)

    return tuple(map(made, db.execute("SELECT * FROM kept_method ORDER BY number").fetchall()))


def chosen(
    db: sqlite3.Connection, name: str = "", dyes: Iterable[str] = (), job: str = ""
) -> KeptMethod:
    """The method of this name, or else the one with all of these dyes: that of the job, if any.

    Raises `InputError` where there is none, `AmbiguousError` where several would do.
    """
    methods, wanted, name, job = known(db), set(dyes), tidy(name), tidy(job)
    refuse(not methods, "dyebook.no_swatches", error=InputError)
    query = "SELECT method FROM kept_sheet WHERE job = ?1 UNION SELECT method FROM kept_trial "
    dyed = {row[0] for row in db.execute(f"{query} WHERE job = ?1", (job,))} - {None}
    fitting = [m for m in methods if (m.name == name if name else wanted <= set(m.dyes))]
    fitting = [m for m in fitting if m.name in dyed] or fitting
    what = f"is called {name!r}" if name else f"has {', '.join(sorted(wanted))}"
    have = ", ".join(
        repr(m.name) if name else f"{m.name!r} of {', '.join(m.dyes)}" for m in methods
    )
    refuse(not fitting, f"no method {what}: this book has {have}.", error=InputError)
    return _one_of(fitting)


def _one_of(methods: Sequence[KeptMethod]) -> KeptMethod:
    """The only one of these. Raises `AmbiguousError` where there are several."""
    if len(methods) > 1:
        options = [("--method", method.name) for method in methods]
        raise AmbiguousError("more than one method would do", options)
    return methods[0]


def settled(db: sqlite3.Connection, swatches: SwatchSet, name: str, borrows: str) -> int:
    """The method that new swatches belong to: the one named, the one they were dyed by, or a new
    one. Raises `InputError` for swatches that were dyed another way than the method named.
    """
    stated, others = swatches.conditions(), {method.name: method for method in known(db)}
    lender = chosen(db, borrows) if borrows else None

    def departs(method: KeptMethod) -> list[str]:
        of = method.conditions
        return [k for k in METHOD if k in of and k in stated and not same(k, of[k], stated[k])]

    if name in others:
        for key in departs(others[name]):
            there = others[name].conditions[key]
            raise InputError(said("dyebook.other", key, stated[key], there, name))
        if lender is not None:
            circle = lender.borrows or lender.name == name
            refuse(circle, "dyebook.circle", lender.name, name, error=InputError)
            rows.update(db, "method", others[name].number, borrows=lender.number)
        return others[name].number
    if not name and not borrows and (fitting := [m for m in others.values() if not departs(m)]):
        return _one_of(fitting).number
    if not name:
        cloth = stated.get("cloth", "first method")
        other = [k for k in departs(others[cloth]) if k != "cloth"] if cloth in others else []
        so = (stated[k] if k in stated[k] else f"{k} {stated[k]}" for k in other)
        name = ", ".join([cloth, *so])
        if name in others:
            name = f"{name} {len(others) + 1}"
    return rows.insert(db, "method", name=name, borrows=lender and lender.number)


def of_work(db: sqlite3.Connection, name: str, recipe: Recipe, job: str) -> int | None:
    """The row of the method that work is of: the one named, else the only one with its dyes."""
    with suppress(InputError):
        return chosen(db, name, recipe, job).number
    return None


def retire(db: sqlite3.Connection, name: str) -> str:
    """Put a swatch set out of use under another name; gives the name of its method.

    Raises `InputError` for a name that no set has.
    """
    sets = {row["name"]: row for row in db.execute("SELECT * FROM kept_set")}
    refuse(name not in sets, "dyebook.no_set", name, ", ".join(sets) or "none", error=InputError)
    until = f"{name} (until {datetime.now():%Y-%m-%d %H:%M:%S})"
    rows.update(db, "swatch_set", sets[name]["id"], name=until, replaced=date.today())
    return str(sets[name]["method"])


def holding(db: sqlite3.Connection, label: str, method: str) -> KeptMethod:
    """The method named, else the one with a swatch of this label or recipe.

    Raises `InputError` where none has it, `AmbiguousError` where several have.
    """
    among = [chosen(db, method)] if method else known(db)
    found = [m for m in among if _in_use(db, m, label)]
    refuse(not found, "dyebook.no_swatch", method or "this book", label, error=InputError)
    return _one_of(found)


def strike(
    db: sqlite3.Connection, method: KeptMethod, label: str, why: str, reading: Reading | None
) -> tuple[str, ...]:
    """Strike every reading of a swatch, by its label or recipe; `reading` takes their place.

    Gives what the pieces are called.
    """
    hits = _in_use(db, method, label)
    for row in hits:
        rows.update(db, "reading", row["id"], struck=f"{date.today()}: {why}")
    if reading is not None:
        meant = Recipe.parse(hits[0]["recipe"] or "undyed")
        meant = meant if reading.recipe is None else reading.recipe
        new = replace(reading, recipe=meant, swatch=hits[0]["swatch"])
        rows.add_readings(db, [new], hits[0]["swatch_set"])
    return tuple(dict.fromkeys(_called(row)[-1] for row in hits))


def _in_use(db: sqlite3.Connection, method: KeptMethod, label: str) -> list[sqlite3.Row]:
    """The readings of a method that stand, of the swatch of this label or recipe."""
    wanted = tidy(label).lower()
    found = _standing(db, method.number)
    return [row for row in found if wanted in map(str.lower, _called(row))]


def _called(row: sqlite3.Row) -> list[str]:
    """What a swatch may be called: its label, its recipe, both as a fit shows them; last of all
    with its table.
    """
    recipe, label, table = row["recipe"], row["swatch"], f"{row['of_set']} {row['swatch']}".strip()
    short = str(Recipe.parse(recipe)) if recipe else "undyed"
    names = (label, table, short, recipe or "", f"{short} ({label})", f"{short} ({table})")
    return [name for name in names if name]
