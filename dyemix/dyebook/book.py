"""The dye book: a workshop's cloths, dyes, stocks, swatches, recipes, sheets and trials.

One SQLite file. What a method has added when it returns is on the disk; a method that raises has
added nothing.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Sequence
from datetime import date, datetime
from types import TracebackType
from typing import Any, Self, TypeVar

from dyemix.bench.bath_page import BathSheet
from dyemix.bench.stock import Stock
from dyemix.dataset.recipe import Recipe, dye_name
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.dataset.target import Target
from dyemix.dataset.trial import Trial
from dyemix.dyebook import rows
from dyemix.dyebook.connection import BookFile, Say
from dyemix.dyebook.records import (
    Cloth,
    Contents,
    DyeLot,
    JobRecord,
    KeptRecipe,
    KeptSet,
    KeptTrial,
    SignOff,
)
from dyemix.errors import DyemixError, Fault, InputError
from dyemix.model.dyes import DyeSet
from dyemix.model.saved import from_text, saved_text
from dyemix.shelf import fit, kept_fit

T = TypeVar("T")


class DyeBook:
    """An open dye book; close it, or use it in a ``with``.

    Every method raises `SavedError` where the file is damaged, locked or cannot be written, and
    `InputError` for what the book does not hold or does not take.

    >>> with DyeBook("workshop.dyebook") as book:
    ...     book.add_swatches(demo())
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
        self.notes = self._file.notes

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        self._file.close()

    def backup(self, path: str | os.PathLike[str]) -> None:
        """Copy the book as it stands to a new file, others writing or not."""
        self._file.backup(path)

    @property
    def demo(self) -> bool:
        """Whether the book is of invented dyes; it holds either those or a dyer's own."""
        with self._file.reading() as db:
            return rows.is_demo(db)

    # Cloths, dyes, stocks -----------------------------------------------------------------------

    def _all(self, kind: type[T], query: str) -> tuple[T, ...]:
        with self._file.reading() as db:
            return tuple(rows.made(kind, row) for row in db.execute(f"SELECT {query} ORDER BY 1"))

    def add_cloth(self, cloth: Cloth) -> None:
        """Add a cloth, or what is now known of one."""
        with self._file.writing() as db:
            number = rows.named(db, "cloth", name=_name(cloth.name, "a cloth"))
            db.execute(
                "UPDATE cloth SET fibre = ?, note = ? WHERE id = ?",
                (cloth.fibre, cloth.note, number),
            )

    def cloths(self) -> tuple[Cloth, ...]:
        return self._all(Cloth, "* FROM cloth")

    def add_dye(self, dye: DyeLot) -> None:
        """Add a lot of dye powder, or what is now known of one."""
        bought = None if dye.bought is None else dye.bought.isoformat()
        with self._file.writing() as db:
            number = rows.dye_number(db, _name(dye.dye, "a dye"), dye.lot)
            db.execute(
                "UPDATE dye SET bought = ?, note = ? WHERE id = ?", (bought, dye.note, number)
            )

    def dye_lots(self) -> tuple[DyeLot, ...]:
        return self._all(DyeLot, "*, name AS dye FROM dye")

    def add_stocks(self, *stocks: Stock) -> None:
        """Add bottles."""
        with self._file.writing() as db:
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

    # Swatches and fits --------------------------------------------------------------------------

    def add_swatches(self, swatches: SwatchSet, name: str = "") -> None:
        """Add a swatch set under a name, by default that of its file.

        Raises `InputError` for a name that is taken, and for invented dyes in a book of real ones.
        """
        name = _name(name or swatches.source, "a swatch set")
        with self._file.writing() as db:
            if db.execute("SELECT 1 FROM swatch_set WHERE name = ?", (name,)).fetchone():
                raise InputError(
                    Fault(f"{self.path} has swatches called {name!r} already: name these anew.")
                )
            rows.admit(db, swatches.demo)
            number = rows.insert(
                db, "swatch_set", name=name, added=date.today(), notes=swatches.notes
            )
            rows.add_readings(db, swatches.readings, number)

    def sets(self) -> tuple[KeptSet, ...]:
        return self._all(
            KeptSet,
            "t.id, t.name, t.added, COUNT(r.id) AS readings FROM swatch_set t "
            "LEFT JOIN swatch s ON s.swatch_set = t.id LEFT JOIN reading r ON r.swatch = s.id "
            "GROUP BY t.id",
        )

    def swatches(self, names: Sequence[str] = ()) -> SwatchSet:
        """The swatches of the sets named, or of all. Raises `InputError` where there are none."""
        with self._file.reading() as db:
            found = db.execute("SELECT id, name, notes FROM swatch_set ORDER BY id").fetchall()
            have = ", ".join(name for _, name, _ in found) or "none"
            missing = [name for name in names if name not in {row[1] for row in found}]
            if missing or not found:
                wanted = f" called {', '.join(missing)}" if missing else ""
                raise InputError(
                    Fault(
                        f"{self.path} holds no swatches{wanted} (it has {have}): add a table with "
                        "'dyemix book add'."
                    )
                )
            sets = [
                (name, SwatchSet(rows.read_set(db, number), tuple(json.loads(notes)), name))
                for number, name, notes in found
                if not names or name in names
            ]
            return rows.joined(sets, rows.is_demo(db))

    def _digest(self) -> str:
        """What the swatches are, in short: it changes when they do."""
        digest = hashlib.sha256()
        with self._file.reading() as db:
            for table in ("swatch_set", "swatch", "reading", "kind"):
                for row in db.execute(f"SELECT * FROM {table} ORDER BY id"):
                    digest.update(repr(tuple(row)).encode())
        return digest.hexdigest()

    def keep_fit(self, dyes: DyeSet, note: str = "", learnt: bool = False) -> None:
        """Keep fitted dyes: they stand for the book's swatches until those change.

        `learnt` says that trials have gone into them.
        """
        swatches = self._digest()
        with self._file.writing() as db:
            rows.admit(db, dyes.demo)
            rows.insert(
                db, "fit", kept=datetime.now().isoformat(timespec="seconds"), swatches=swatches,
                learnt=learnt, note=note, content=saved_text(dyes),
            )  # fmt: skip

    def kept_fit(self, learnt: bool = True) -> DyeSet | None:
        """The fit kept last of the swatches as they are now; None where there is none.

        Without `learnt`, one that no trial has gone into.
        """
        swatches = self._digest()
        with self._file.reading() as db:
            found = db.execute(
                "SELECT content FROM fit WHERE swatches = ? AND learnt <= ? "
                "ORDER BY id DESC LIMIT 1",
                (swatches, int(learnt)),
            ).fetchone()
        return None if found is None else from_text(found[0], f"{self.path}, fit")

    def kept_fits(self) -> tuple[DyeSet, ...]:
        """Every fit that was kept, oldest first."""
        with self._file.reading() as db:
            found = db.execute("SELECT content FROM fit ORDER BY id").fetchall()
        return tuple(from_text(content, f"{self.path}, fit") for (content,) in found)

    def fitted(self, aside: SwatchSet | None = None, left_out: Sequence[str] = ()) -> DyeSet:
        """The book's swatches fitted, or from the cache; the arguments are those of `fit`."""
        held = "" if aside is None else aside.to_frame().to_csv()
        key = repr((self._digest(), held, tuple(left_out)))
        return kept_fit(key, lambda: fit(self.swatches().without(left_out), aside))

    def dyes(self, learnt: bool = True) -> DyeSet:
        """The fit kept, or the swatches fitted, with every trial since; without `learnt`, none.

        Trials that went into a kept fit weigh as they did there. One of a dye without a ladder is
        passed over.
        """
        from dyemix.fitting.learn import learn

        found = self.kept_fit(learnt) or self.fitted()
        if not learnt:
            return found
        trials = [kept.trial for kept in self.trials()]
        since = [trial for trial in trials if set(trial.recipe) <= set(found.names)]
        return learn(found, since, again=False).dyes if since else found

    # Jobs ---------------------------------------------------------------------------------------

    def add_recipe(
        self, job: str, recipe: Recipe | str, target: Target | None = None, note: str = "",
        on: date | None = None,
    ) -> None:  # fmt: skip
        """Keep a recipe under a job."""
        parsed = Recipe.parse(recipe)
        with self._file.writing() as db:
            rows.insert(
                db, "recipe", job=rows.named(db, "job", name=_name(job, "a job")),
                kept=on or date.today(), recipe=parsed, as_written=parsed.as_written,
                target=target, note=note,
            )  # fmt: skip

    def recipes(self, job: str | None = None) -> tuple[KeptRecipe, ...]:
        with self._file.reading() as db:
            found = rows.of_job(db, "recipe", job, ', t.kept AS "on"')
            return tuple(rows.made(KeptRecipe, row) for row in found)

    def add_sheets(self, *sheets: BathSheet) -> None:
        """Keep bath sheets, each under its job, or under its recipe where it names none."""
        with self._file.writing() as db:
            for sheet in sheets:
                rows.admit(db, sheet.demo)
                rows.insert(
                    db, "sheet", job=rows.job_number(db, sheet.job, sheet.recipe), made=sheet.on,
                    content=sheet.to_json(),
                )  # fmt: skip

    def sheets(self, job: str | None = None) -> tuple[BathSheet, ...]:
        with self._file.reading() as db:
            found = rows.of_job(db, "sheet", job)
            return tuple(BathSheet.from_json(row["content"]) for row in found)

    def add_trial(self, trial: Trial, job: str = "", note: str = "") -> None:
        """Keep a trial under a job, or under its recipe where none is named."""
        with self._file.writing() as db:
            over = None if trial.on is None else rows.add_readings(db, [trial.on])[0]
            rows.insert(
                db, "trial", job=rows.job_number(db, job, trial.recipe), dyed=trial.date,
                recipe=trial.recipe, as_written=trial.recipe.as_written, lot=trial.lot,
                target=trial.target, reading=rows.add_readings(db, [trial.reading])[0],
                note=note, bath=trial.bath, over=over,
            )  # fmt: skip

    def trials(self, job: str | None = None) -> tuple[KeptTrial, ...]:
        """Trials in the order in which they were kept, of one job or of all."""

        def trial(db: Any, row: Any) -> Trial:
            reading, over = (rows.read_one(db, row[name]) for name in ("reading", "over"))
            return rows.made(Trial, row, reading=reading, on=over)

        with self._file.reading() as db:
            found = rows.of_job(db, "trial", job, ", t.dyed AS date").fetchall()
            return tuple(KeptTrial(row["job"], trial(db, row), row["note"]) for row in found)

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
        with self._file.writing() as db:
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
        with self._file.reading() as db:
            fits, recipes, sheets, trials = (
                db.execute(f"SELECT COUNT(*) FROM {table}").fetchone()[0]
                for table in ("fit", "recipe", "sheet", "trial")
            )
        bottles = tuple(
            f"{s.dye} {s.strength_pct:g} %" + (f" of {s.made}" if s.made else "")
            for s in self.stocks()
        )
        return Contents(
            str(self.path), tuple(c.name for c in self.cloths()), tuple(map(str, self.dye_lots())),
            bottles, tuple(map(str, self.sets())), fits, self.jobs(), recipes, sheets, trials,
            tuple(s.name for s in self.sign_offs()), self.demo, self.notes,
        )  # fmt: skip


def _name(text: str, what: str) -> str:
    name = " ".join(text.split())
    if not name:
        raise InputError(Fault(f"{what} needs a name."))
    return dye_name(name) if what == "a dye" else name
