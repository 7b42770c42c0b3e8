"""How cloth is dyed, by a name: cloth, alkali order, liquor ratio, salt, time, warmth, lot.

Swatches of one method do not predict another, so each is fitted by itself, together with every
trial that was dyed by it.
"""

import json
import sqlite3
from collections import Counter
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import date, datetime
from difflib import get_close_matches
from functools import lru_cache

from dyemix.dataset.conditions import METHOD, same
from dyemix.dataset.recipe import Recipe, meant
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.dyebook.records import KeptMethod
from dyemix.dyebook.rows import Rows, record
from dyemix.errors import AmbiguousError, InputError, refuse, said
from dyemix.files.cells import tidy


class Methods(Rows):
    """The methods of a book, and the swatches of each."""

    def methods(self) -> tuple[KeptMethod, ...]:
        """Every method, in the order in which they were begun."""
        with self.reading():
            return tuple(map(self._method, self._rows("SELECT * FROM kept_method ORDER BY number")))

    def _method(self, row: sqlite3.Row) -> KeptMethod:
        held = self._held(row["number"])
        own = tuple(dye for dye in held.dyes if held.ladder(dye))
        told = dict(held.conditions())
        known = "SELECT fibre FROM cloth WHERE name = ? AND fibre <> ''"
        for (fibre,) in self._rows(known, told.get("cloth", "")):
            told["fibre"] = fibre
        return self._made(KeptMethod, row, held=held, conditions=told, dyes=own)

    def _standing(self, method: int) -> list[sqlite3.Row]:
        """Readings of a method, without tables that were replaced and rows that were struck."""
        query = "SELECT * FROM kept_reading WHERE method = ? AND stands ORDER BY swatch_set, id"
        return self._rows(query, method)

    def _held(self, method: int) -> SwatchSet:
        """The swatches of a method, as they stand."""
        return _swatches(tuple(self._standing(method)), self.demo)

    def method(
        self, name: str = "", dyes: Iterable[str] = (), job: str = "",
        among: Sequence[KeptMethod] | None = None,
    ) -> KeptMethod:  # fmt: skip
        """The method named, else that of the job's work, else the one with all of these dyes.

        Reading them takes a while: those that it is `among` may be given.

        Raises `InputError` where there is none, `AmbiguousError` where several would do.
        """
        methods = self.methods() if among is None else among
        wanted, name, job = set(dyes), tidy(name), tidy(job)
        refuse(not methods, "dyebook.no_swatches", error=InputError)
        query = "SELECT method FROM kept_sheet WHERE job = ?1 UNION SELECT method FROM kept_trial "
        dyed = {row["method"] for row in self._rows(f"{query} WHERE job = ?1", job)} - {None}
        fitting = [m for m in methods if (m.name == name if name else wanted <= set(m.dyes))]
        fitting = [m for m in fitting if m.name in dyed] or fitting
        what = f"is called {name!r}" if name else f"has {', '.join(sorted(wanted))}"
        have = "; ".join(f"{m.name!r} of {', '.join(m.dyes)}" for m in methods)
        refuse(not fitting, f"no method {what}: this book has {have}.", error=InputError)
        return _one_of(fitting)

    def swatches(self, method: str = "") -> SwatchSet:
        """The swatches of a method, as they stand. Raises `InputError` where there are none."""
        return self.method(method).held

    def _settled(self, swatches: SwatchSet, name: str, borrows: str) -> int:
        """The method that new swatches belong to: the one named, the one they were dyed by, or a
        new one. Raises `InputError` for swatches that were dyed another way than the method named.
        """
        stated, others = swatches.conditions(), {method.name: method for method in self.methods()}
        lender = self.method(borrows) if borrows else None

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
                self._update("method", others[name].number, borrows=lender.number)
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
        return self._insert("method", name=name, borrows=lender and lender.number)

    def _belongs(
        self, recipe: Recipe, job: str, method: str, among: Sequence[KeptMethod] | None = None
    ) -> dict[str, int | None]:
        """The rows of the job of work, its recipe where it has no name, and of its method: the one
        named, else the only one with its dyes.
        """
        number = None
        with suppress(InputError):
            number = self.method(method, recipe, job, among).number
        return {"job": self._named("job", job.strip() or str(recipe)), "method": number}

    def _retire(self, name: str) -> str:
        """Put a swatch set out of use under another name; gives the name of its method.

        Raises `InputError` for a name that no set has.
        """
        sets = {row["name"]: row for row in self._rows("SELECT * FROM kept_set")}
        known = ", ".join(sets) or "none"
        refuse(name not in sets, "dyebook.no_set", name, known, error=InputError)
        until = f"{name} (until {datetime.now():%Y-%m-%d %H:%M:%S})"
        self._update("swatch_set", sets[name]["id"], name=until, replaced=date.today())
        return str(sets[name]["method"])

    def holding(self, label: str, method: str = "") -> KeptMethod:
        """The method named, else the one with a swatch of this label or recipe.

        Raises `InputError` where none has it, `AmbiguousError` where several have.
        """
        among = [self.method(method)] if method else self.methods()
        found = [m for m in among if self._in_use(m, label)]
        if not found:
            every = (row for m in among for row in self._standing(m.number))
            names = [name for row in every for name in called(row)]
            refuse(not names, "dyebook.no_swatches", error=InputError)
            (near,) = get_close_matches(label, names, 1, 0.0)
            whose = method or "this book"
            raise InputError(said("dyebook.no_swatch", whose, label, near))
        return _one_of(found)

    def _in_use(self, method: KeptMethod, label: str) -> list[sqlite3.Row]:
        """The readings of a method that stand, of the swatch of this label or recipe."""
        found = self._standing(method.number)
        recipes = (Recipe.parse(row["recipe"] or "undyed") for row in found)
        return meant(label, zip(found, recipes, map(called, found), strict=True))


@lru_cache(maxsize=8)
def _swatches(rows: tuple[sqlite3.Row, ...], demo: bool) -> SwatchSet:
    """The swatches of a method from the rows of its readings.

    Pieces that two of its tables call the same stay two pieces. A command asks for them several
    times, a page with every answer: while the rows stand as they are, they are read once.
    """
    read = [(row["of_set"], record(Reading, row)) for row in rows]
    pieces = {(table, r.recipe, r.swatch) for table, r in read}
    of = Counter((recipe, swatch) for _, recipe, swatch in pieces)
    readings = tuple(
        replace(r, swatch=f"{table} {r.swatch}".strip()) if of[r.recipe, r.swatch] > 1 else r
        for table, r in read
    )
    warnings = dict.fromkeys(word for row in rows for word in json.loads(row["notes"]))
    source = ", ".join(dict.fromkeys(table for table, _ in read))
    return SwatchSet(readings, tuple(warnings), source, demo)


def _one_of(methods: Sequence[KeptMethod]) -> KeptMethod:
    """The only one of these. Raises `AmbiguousError` where there are several."""
    if len(methods) > 1:
        options = [("--method", method.name) for method in methods]
        raise AmbiguousError("more than one method would do", options)
    return methods[0]


def called(row: sqlite3.Row) -> list[str]:
    """What a swatch may be called: its label, its recipe, both as a fit shows them; last of all
    with its table.
    """
    recipe, label, table = row["recipe"], row["swatch"], f"{row['of_set']} {row['swatch']}".strip()
    short = str(Recipe.parse(recipe)) if recipe else "undyed"
    names = (label, table, short, recipe or "", f"{short} ({label})", f"{short} ({table})")
    return [name for name in names if name]
