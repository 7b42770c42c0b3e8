"""The dye book: a workshop's cloths, dyes, stocks, swatches, recipes, sheets and trials.

One SQLite file. What a method has added when it returns is on the disk; a method that raises has
added nothing.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from types import TracebackType
from typing import Any, Self, TypeVar

from dyemix.bench.bath_sheet import BathSheet
from dyemix.bench.stock import Stock
from dyemix.dataset.recipe import Recipe, dye_name
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.dataset.target import Target
from dyemix.dataset.trial import Trial
from dyemix.dyebook import methods, rows
from dyemix.dyebook.connection import BookFile, Say
from dyemix.dyebook.methods import KeptMethod
from dyemix.dyebook.records import (
    Cloth,
    Contents,
    DyeLot,
    Event,
    JobRecord,
    KeptRecipe,
    KeptSet,
    KeptTrial,
    SignOff,
)
from dyemix.errors import DyemixError, Fault, InputError
from dyemix.model.dyes import DyeSet
from dyemix.shelf import fit, kept_fit

T = TypeVar("T")


class DyeBook:
    """An open dye book; close it, or use it in a ``with``.

    Every method raises `SavedError` where the file is damaged, locked or cannot be written, and
    `InputError` for what the book does not hold or does not take.

    >>> with DyeBook("workshop.dyebook") as book:
    ...     kept = book.add_swatches(demo())
    ...     len(book.swatches())
    85
    """

    def __init__(
        self, path: str | os.PathLike[str], create: bool = True, say: Say | None = None
    ) -> None:
        """Open a book, or begin one. `say` is told of waits and of what was found and mended."""
        self._file = BookFile(path, create, say)
        self.path = self._file.path
        #: What was found on opening, a sentence each.
        self.warnings = self._file.warnings
        self.close, self.backup = self._file.close, self._file.backup

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self.close()

    @property
    def demo(self) -> bool:
        """Whether the book is of invented dyes; it holds either those or a dyer's own."""
        with self._file.reading() as db:
            return rows.is_demo(db)

    @contextmanager
    def _writing(self, what: str) -> Iterator[Any]:
        """All of one thing that is done, which `undo` takes back, or nothing of it."""
        with self._file.writing() as db:
            rows.insert(db, "event", at=datetime.now().isoformat(timespec="seconds"), what=what)
            yield db

    def undo(self) -> str:
        """Take back what was done last, and say what it was. Raises `InputError` for nothing."""
        with self._file.writing() as db:
            return rows.undo(db)

    def history(self) -> tuple[Event, ...]:
        """What was done, oldest first; books of earlier layouts kept no account of it."""
        return self._all(Event, "* FROM event")

    def _all(self, kind: type[T], query: str) -> tuple[T, ...]:
        with self._file.reading() as db:
            return tuple(rows.made(kind, row) for row in db.execute(f"SELECT {query} ORDER BY 1"))

    # Cloths, dyes, stocks -----------------------------------------------------------------------

    def add_cloth(self, cloth: Cloth) -> None:
        """Add a cloth, or what is now known of one."""
        with self._writing(f"cloth {cloth.name}") as db:
            number = rows.named(db, "cloth", name=_name(cloth.name, "a cloth"))
            rows.update(db, "cloth", number, fibre=cloth.fibre, note=cloth.note)

    def cloths(self) -> tuple[Cloth, ...]:
        return self._all(Cloth, "* FROM cloth")

    def add_dye(self, dye: DyeLot) -> None:
        """Add a lot of dye powder, or what is now known of one."""
        with self._writing(f"dye {dye}") as db:
            number = rows.dye_number(db, _name(dye.dye, "a dye"), dye.lot)
            rows.update(db, "dye", number, bought=dye.bought, note=dye.note)

    def dye_lots(self) -> tuple[DyeLot, ...]:
        return self._all(DyeLot, "*, name AS dye FROM dye")

    def add_stocks(self, *stocks: Stock) -> None:
        """Add bottles."""
        with self._writing(f"stock of {', '.join(stock.dye for stock in stocks)}") as db:
            for stock in stocks:
                rows.insert(
                    db, "stock", dye=rows.dye_number(db, stock.dye, stock.lot), how=stock.how,
                    strength_pct=stock.strength_pct, made=stock.made, cold=stock.cold,
                    left_ml=stock.left_ml,
                )  # fmt: skip

    def stocks(self) -> tuple[Stock, ...]:
        """Every bottle, in the order in which they were added."""
        return self._all(
            Stock,
            "s.id, d.name AS dye, d.lot, s.strength_pct, s.made, s.cold, s.how, s.left_ml "
            "FROM stock s JOIN dye d ON d.id = s.dye",
        )

    # Swatches, by method ------------------------------------------------------------------------

    def add_swatches(
        self, swatches: SwatchSet, name: str = "", method: str = "", *, replaces: str = "",
        borrows: str = "",
    ) -> KeptMethod:  # fmt: skip
        """Add a swatch set under a name, by default that of its file, and give its method.

        Parameters
        ----------
        method : what they were dyed by; by default the method of the same conditions, or a new one.
        replaces : a set that this one stands for from now on; it is kept, and not used.
        borrows : the method whose dyes lend it their curves (a second cloth).

        Raises `InputError` for a name that is taken, for swatches dyed another way than their
        method, and for invented dyes in a book of real ones; `AmbiguousError` where it could be
        either of two methods.
        """
        name = _name(name or swatches.source, "a swatch set")
        with self._writing(f"swatches {name}") as db:
            rows.admit(db, swatches.demo)
            was = methods.retire(db, replaces) if replaces else ""
            if db.execute("SELECT 1 FROM swatch_set WHERE name = ?", (name,)).fetchone():
                raise InputError(
                    Fault(
                        f"{self.path} has swatches called {name!r} already: name these anew, or "
                        f"put them in their place with --replace {name!r}."
                    )
                )
            number = methods.settled(db, swatches, " ".join(method.split()) or was, borrows)
            swatch_set = rows.insert(
                db, "swatch_set", name=name, added=date.today(), notes=swatches.warnings,
                method=number,
            )  # fmt: skip
            rows.add_readings(db, swatches.readings, swatch_set)
            return next(m for m in methods.known(db) if m.number == number)

    def strike(
        self, label: str, why: str, reading: Reading | None = None, method: str = ""
    ) -> None:
        """Strike every reading of a swatch, by its label or recipe; `reading` takes their place.

        They are kept, with the day and why. Raises `InputError` for a label that no swatch has.
        """
        with self._writing(f"struck {label}: {why}") as db:
            methods.strike(db, methods.chosen(methods.known(db), method), label, why, reading)

    def sets(self) -> tuple[KeptSet, ...]:
        return self._all(
            KeptSet,
            "t.id, t.name, t.added, m.name AS method, t.replaced IS NOT NULL AS replaced, "
            "COUNT(r.id) AS readings, COUNT(r.struck) AS struck FROM swatch_set t "
            "LEFT JOIN method m ON m.id = t.method LEFT JOIN swatch s ON s.swatch_set = t.id "
            "LEFT JOIN reading r ON r.swatch = s.id GROUP BY t.id",
        )

    def methods(self) -> tuple[KeptMethod, ...]:
        with self._file.reading() as db:
            return methods.known(db)

    def method(self, name: str = "", dyes: Iterable[str] = (), job: str = "") -> KeptMethod:
        """The method named, else that of the job's last work, else the one with all of these dyes.

        Raises `InputError` where there is none, `AmbiguousError` where several would do.
        """
        with self._file.reading() as db:
            return methods.chosen(methods.known(db), name or methods.of_job(db, job), dyes)

    def swatches(self, method: str = "") -> SwatchSet:
        """The swatches of a method, as they stand. Raises `InputError` where there are none."""
        number = self.method(method).number
        with self._file.reading() as db:
            return methods.swatches_of(db, number)

    def dyes(
        self, method: str = "", learnt: bool = True, aside: SwatchSet | None = None,
        left_out: Sequence[str] = (),
    ) -> DyeSet:  # fmt: skip
        """The dyes of a method, fitted to all that it holds: swatches, mixes and trials.

        `aside` and `left_out` are as in `fit`; without `learnt`, no trial moves them. A fit is made
        anew whenever what it rests on has changed, and cached until then.
        """
        from dyemix.fitting.learn import learn
        from dyemix.fitting.transfer import borrow

        kept = self.method(method)
        every = self.swatches(kept.name)
        swatches = every.without(left_out) if left_out else every
        key = f"{rows.digest(swatches)} {rows.digest(aside)}"
        if kept.borrows:
            lent = self.dyes(kept.borrows)
            key += rows.digest(lent)
            found = kept_fit(key, lambda: borrow(lent, swatches, aside))
        else:
            found = kept_fit(key, lambda: fit(swatches, aside))
        trials = [t.trial for t in self.trials() if learnt and t.method == kept.name]
        trials = [trial for trial in trials if set(trial.recipe) <= set(found.names)]
        if not trials:
            return found
        age, lot = kept.half_life, kept.lot
        key += " ".join(map(rows.digest, [age, lot, *trials]))
        return kept_fit(key, lambda: learn(found, trials, half_life_days=age, lot=lot).dyes)

    def weigh(self, method: str, half_life: float | None, lot: str | None) -> None:
        """Let trials of a method count less with age, or where they are of another lot."""
        with self._writing(f"how trials of {method} are weighed") as db:
            number = methods.chosen(methods.known(db), method).number
            rows.update(db, "method", number, half_life=half_life, lot=lot)

    # Jobs ---------------------------------------------------------------------------------------

    def add_recipe(
        self, job: str, recipe: Recipe | str, target: Target | None = None, note: str = "",
        on: date | None = None,
    ) -> None:  # fmt: skip
        """Keep a recipe under a job."""
        parsed = Recipe.parse(recipe)
        with self._writing(f"recipe of {job}") as db:
            rows.insert(
                db, "recipe", job=rows.named(db, "job", name=_name(job, "a job")),
                kept=on or date.today(), recipe=parsed, as_written=parsed.as_written,
                target=target, note=note,
            )  # fmt: skip

    def recipes(self, job: str | None = None) -> tuple[KeptRecipe, ...]:
        with self._file.reading() as db:
            found = rows.of_job(db, "recipe", job, ', t.kept AS "on"')
            return tuple(rows.made(KeptRecipe, row) for row in found)

    def add_sheets(self, *sheets: BathSheet, method: str = "") -> None:
        """Keep bath sheets, each under its job, or under its recipe where it names none."""
        what = ", ".join(sheet.job or str(sheet.recipe) for sheet in sheets)
        with self._writing(f"bath sheet of {what}") as db:
            for sheet in sheets:
                rows.admit(db, sheet.demo)
                rows.insert(
                    db, "sheet", job=rows.job_number(db, sheet.job, sheet.recipe), made=sheet.on,
                    content=sheet.to_json(), method=methods.of_work(db, method, sheet.recipe),
                )  # fmt: skip

    def sheets(self, job: str | None = None) -> tuple[BathSheet, ...]:
        with self._file.reading() as db:
            found = rows.of_job(db, "sheet", job)
            return tuple(BathSheet.from_json(row["content"]) for row in found)

    def add_trial(
        self, trial: Trial, job: str = "", note: str = "", method: str = "",
        picture: bytes | None = None,
    ) -> None:  # fmt: skip
        """Keep a trial under a job, or under its recipe where none is named."""
        with self._writing(f"trial of {job or trial.recipe}") as db:
            over = None if trial.on is None else rows.add_readings(db, [trial.on])[0]
            number = rows.insert(
                db, "trial", job=rows.job_number(db, job, trial.recipe), dyed=trial.date,
                recipe=trial.recipe, as_written=trial.recipe.as_written, lot=trial.lot,
                target=trial.target, reading=rows.add_readings(db, [trial.reading])[0],
                note=note, bath=trial.bath, over=over,
                method=methods.of_work(db, method, trial.recipe),
            )  # fmt: skip
            if picture is not None:
                rows.insert(db, "picture", trial=number, content=picture)

    def trials(self, job: str | None = None) -> tuple[KeptTrial, ...]:
        """Trials in the order in which they were kept, of one job or of all."""

        def trial(db: Any, row: Any) -> Trial:
            reading, over = (rows.read_one(db, row[name]) for name in ("reading", "over"))
            return rows.made(Trial, row, reading=reading, on=over)

        also = (
            ", t.dyed AS date, (SELECT name FROM method WHERE id = t.method) AS called, "
            "(SELECT COUNT(*) FROM picture WHERE trial = t.id) AS pictures"
        )
        with self._file.reading() as db:
            return tuple(
                KeptTrial(row["job"], trial(db, row), row["note"], row["called"], row["pictures"])
                for row in rows.of_job(db, "trial", job, also).fetchall()
            )

    def pictures(self, job: str) -> tuple[bytes, ...]:
        """The photographs of a job's trials, JPEG, oldest first."""
        query = "JOIN trial t ON t.id = p.trial JOIN job j ON j.id = t.job WHERE j.name = ?"
        with self._file.reading() as db:
            found = db.execute(f"SELECT content FROM picture p {query} ORDER BY p.id", (job,))
            return tuple(content for (content,) in found)

    def sign_off(
        self, name: str, reading: Reading, job: str = "", tolerance: float = 3.0, note: str = "",
        on: date | None = None,
    ) -> None:  # fmt: skip
        """Make a swatch that the customer signed the standard called `name`.

        `tolerance` is the ΔE2000 agreed on. Raises `InputError` for a name that is taken: a
        standard is never changed, a new one gets a new name.
        """
        name = _name(name, "a standard")
        Target.of(reading)  # refuses a blank reading
        if not 0 < tolerance <= 20:
            raise DyemixError(f"a tolerance of {tolerance:g} is out of range: above 0, to 20.")
        with self._writing(f"standard {name}") as db:
            if db.execute("SELECT 1 FROM sign_off WHERE name = ?", (name,)).fetchone():
                raise InputError(
                    Fault(f"{name!r} is a standard already, and stays as signed: name it anew.")
                )
            rows.insert(
                db, "sign_off", name=name, job=rows.job_number(db, job, name), note=note,
                tolerance=tolerance, signed=on or date.today(),
                reading=rows.add_readings(db, [reading])[0],
            )  # fmt: skip

    def sign_offs(self, job: str | None = None) -> tuple[SignOff, ...]:
        with self._file.reading() as db:
            found = rows.of_job(db, "sign_off", job, ', t.signed AS "on"').fetchall()
            return tuple(
                rows.made(SignOff, row, reading=rows.read_one(db, row["reading"])) for row in found
            )

    def standard(self, name: str) -> Target:
        """The signed swatch of this name as a target. Raises `InputError`."""
        found = {signed.name: signed for signed in self.sign_offs()}
        if name not in found:
            have = ", ".join(found) or "none"
            raise InputError(Fault(f"no standard is called {name!r}: {self.path} has {have}."))
        return found[name].target

    def job(self, name: str) -> JobRecord:
        """Everything under one job. Raises `InputError` for one the book does not have."""
        jobs = self.jobs()
        if name not in jobs:
            have = ", ".join(jobs) or "none"
            raise InputError(Fault(f"no job is called {name!r}: {self.path} has {have}."))
        return JobRecord(
            name, self.recipes(name), self.sheets(name), self.trials(name), self.sign_offs(name),
            self.demo,
        )  # fmt: skip

    def jobs(self) -> tuple[str, ...]:
        with self._file.reading() as db:
            return tuple(name for (name,) in db.execute("SELECT name FROM job ORDER BY id"))

    def contents(self) -> Contents:
        """What the book holds."""
        bottles = (
            f"{s.dye} {s.strength_pct:g} %" + (f" of {s.made}" if s.made else "")
            for s in self.stocks()
        )
        return Contents(
            str(self.path), tuple(map(str, self.methods())), tuple(map(str, self.cloths())),
            tuple(map(str, self.dye_lots())), tuple(bottles), tuple(map(str, self.sets())),
            self.jobs(), len(self.recipes()), len(self.sheets()), len(self.trials()),
            tuple(s.name for s in self.sign_offs()), self.demo, self.warnings,
        )  # fmt: skip


def _name(text: str, what: str) -> str:
    name = " ".join(text.split())
    if not name:
        raise InputError(Fault(f"{what} needs a name."))
    return dye_name(name) if what == "a dye" else name
