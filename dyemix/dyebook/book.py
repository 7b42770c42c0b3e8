"""The dye book: a workshop's cloths, dyes, stocks, swatches, recipes, sheets and trials.

One SQLite file. What a method has added when it returns is on the disk; a method that raises has
added nothing.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime
from functools import partial
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from dyemix.bench.bath_sheet import BathSheet
from dyemix.bench.method import Fibre
from dyemix.bench.stock import Stock
from dyemix.dataset.conditions import OF_READING
from dyemix.dataset.recipe import Recipe, meant
from dyemix.dataset.serialise import to_json
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.dataset.target import AnyColour, Target, Trial
from dyemix.dyebook import records
from dyemix.dyebook.connection import TABLES
from dyemix.dyebook.methods import Methods, called
from dyemix.dyebook.rows import digest
from dyemix.errors import InputError, expect, refuse
from dyemix.files import swatch_table
from dyemix.files.cells import tidy
from dyemix.model.dyes import DyeSet
from dyemix.shelf import kept_fit
from dyemix.writing import Named, put

if TYPE_CHECKING:
    from dyemix.cloth.levelness import Levelness  # it needs what reads photographs

T = TypeVar("T")


def _kept(kind: type[T], view: str) -> Callable[..., tuple[T, ...]]:
    """A method that gives every record of a view in the order in which they were kept.

    ``(job=None, method="")`` : those of a job and a method, where they are named.
    """

    def records_of(book: "DyeBook", job: str | None = None, method: str = "") -> tuple[T, ...]:
        with book.reading():
            return tuple(book._made(kind, row) for row in book._of_job(view, job, method))

    return records_of


class DyeBook(Methods):
    """An open dye book; close it, or use it in a ``with``.

    Every method raises `SavedError` where the file is damaged, locked or cannot be written, and
    `InputError` for what the book does not hold or does not take.

    >>> with DyeBook("workshop.dyebook") as book:
    ...     kept = book.add_swatches(demo())
    ...     len(book.swatches())
    85
    """

    @contextmanager
    def _writing(self, what: str) -> Iterator[None]:
        """All of one thing that is done, which `undo` takes back, or nothing of it."""
        with self.writing():
            self._insert("event", at=datetime.now().isoformat(timespec="seconds"), what=what)
            yield

    def _of_job(self, view: str, job: str | None = None, method: str = "") -> list[Any]:
        """Rows of a view, of one job or of all; where a method is named, of that or of none."""
        where, which = ("", ()) if job is None else ("WHERE job = ?", (tidy(job),))
        found = self._rows(f"SELECT * FROM {view} {where} ORDER BY id", *which)
        return [row for row in found if not method or row["method"] in (tidy(method), None)]

    #: What was done, oldest first; books of earlier layouts kept no account of it.
    history = _kept(records.Event, "event")

    def search(self, words: str) -> tuple[tuple[str, ...], ...]:
        """Where all of these words stand: what that is, its name, and the text around them."""
        wanted = words.casefold().split()
        written = self._rows("SELECT what, trim(name), trim(words) FROM written")
        told = [tuple(map(str, row)) for row in written]
        return tuple(t for t in told if all(word in " ".join(t).casefold() for word in wanted))

    # Cloths, dyes, stocks -----------------------------------------------------------------------

    def add_cloth(self, cloth: records.Cloth) -> None:
        """Add a cloth, or what is now known of one.

        Raises `DyemixError` for one that no bath takes.
        """
        Fibre.of(cloth.fibre or cloth.name)
        with self._writing(f"cloth {cloth.name}"):
            number = self._named("cloth", cloth.name)
            self._update("cloth", number, fibre=cloth.fibre, note=cloth.note)

    cloths = _kept(records.Cloth, "cloth")

    def add_dye(self, dye: records.DyeLot) -> None:
        """Add a lot of dye powder, or what is now known of one."""
        with self._writing(f"dye {dye}"):
            number = self._named("dye", dye.dye, lot=dye.lot.strip())
            self._update("dye", number, bought=dye.bought, note=dye.note)

    dye_lots = _kept(records.DyeLot, "kept_dye")

    def add_stocks(self, *stocks: Stock) -> None:
        """Add bottles."""
        with self._writing(f"stock of {', '.join(stock.dye for stock in stocks)}"):
            for stock in stocks:
                dye = self._named("dye", stock.dye, lot=stock.lot.strip())
                self._insert("stock", stock, dye=dye)

    #: Every bottle.
    stocks = _kept(Stock, "kept_stock")

    # Swatches, by method ------------------------------------------------------------------------

    def add_swatches(
        self, swatches: SwatchSet, name: str = "", method: str = "", *, replaces: str = "",
        borrows: str = "",
    ) -> records.KeptMethod:  # fmt: skip
        """Add a swatch set under a name, by default that of its file, and give its method.

        Parameters
        ----------
        method : what they were dyed by; by default the method of the same conditions, or a new one.
        replaces : a set that this one stands for from now on; it is kept, and not used.
        borrows : the method whose dyes lend it their curves (a second cloth).

        Raises `InputError` for a name that is taken, for readings without a recipe, where nothing
        was read yet, for swatches dyed another way than their method, and for invented dyes in a
        book of real ones; `AmbiguousError` where it could be either of two methods.
        """
        expect(swatches, SwatchSet, "read_swatches and SwatchSet.from_frame give one")
        unnamed = len(swatches.unnamed)  # no method that holds one could be fitted
        refuse(unnamed, "fit.unnamed_there", count=unnamed, error=InputError)
        name, count = tidy(name or swatches.source), len(swatches.readings)
        refuse(not swatches.swatches, "fit.unread", table=name, count=count, error=InputError)
        with self._writing(f"swatches {name}"):
            self._admit(swatches.demo)
            was = self._retire(replaces) if replaces else ""
            self._new("swatch_set", name, f"name these anew, or --replace {name!r} by them")
            number = self._settled(swatches, tidy(method) or was, borrows)
            swatch_set = self._insert(
                "swatch_set", name=name, added=date.today(), notes=swatches.warnings,
                method=number,
            )  # fmt: skip
            self._insert_readings(swatches.readings, swatch_set)
            return next(m for m in self.methods() if m.number == number)

    def strike(
        self, label: str, why: str, reading: Reading | None = None, method: str = ""
    ) -> tuple[str, ...]:
        """Strike every reading of a swatch, by its label or recipe; `reading` takes their place.

        They are kept, with the day and why. Gives what they are called. Raises as `holding` does,
        and `InputError` for a label of several recipes, or one `reading` of several pieces.
        """
        with self._writing(f"struck {label}: {why}"):
            hits = self._in_use(self.holding(label, method), label)
            names = tuple(dict.fromkeys(called(row)[-1] for row in hits))
            recipes = tuple(dict.fromkeys(row["recipe"] for row in hits))
            several = len(recipes) > 1 or (len(names) > 1 and reading is not None)
            each = names if len(names) >= len(recipes) else recipes  # where some are shown alike
            refuse(several, "dyebook.several", label, "; ".join(each), error=InputError)
            for row in hits:
                self._update("reading", row["id"], struck=f"{date.today()}: {why}")
            if reading is not None:
                recipe = Recipe.parse(hits[0]["recipe"] or "undyed")
                recipe = recipe if reading.recipe is None else reading.recipe
                # The piece was dyed as it was, however it is read now.
                then = self._made(Reading, hits[0]).conditions.items()
                dyed = {key: words for key, words in then if key not in OF_READING}
                own = {**dyed, **reading.conditions}
                new = replace(reading, recipe=recipe, swatch=hits[0]["swatch"], conditions=own)
                self._insert_readings([new], hits[0]["swatch_set"])
            return names

    def strike_trial(
        self, job: str, why: str, reading: Reading | None = None, method: str = "",
        recipe: str = "",
    ) -> tuple[str, ...]:  # fmt: skip
        """Strike the reading of the last trial of a job; of that by a method, or of a recipe, as
        it is shown or to every digit, where they are named. `reading` takes its place, or the trial
        counts no more. What stood is kept, with the day and why.

        Gives the trial in words. Raises `InputError` for a job that has none.
        """
        with self._writing(f"struck the trial of {job}: {why}"):
            found, of = self._of_job("kept_trial", job, method), ""
            if recipe:
                of = f" of {Recipe.parse(recipe)}"
                found = meant(recipe, ((row, Recipe.parse(row["recipe"]), ()) for row in found))
            refuse(not found, "dyebook.no_trial", of, job, error=InputError)
            row = found[-1]
            trial = self._made(records.KeptTrial, row).trial
            self._update("reading", row["reading"], struck=f"{date.today()}: {why}")
            if reading is not None:
                number = self._insert_readings([replace(reading, recipe=trial.recipe)])[0]
                self._update("trial", row["id"], reading=number)
        return (str(trial),)

    sets = _kept(records.KeptSet, "kept_set")

    def dyes(
        self, method: str = "", learnt: bool = True, aside: SwatchSet | None = None,
        left_out: Sequence[str] = (),
    ) -> DyeSet:  # fmt: skip
        """The dyes of a method, fitted to all that it holds: swatches, mixes and trials.

        `aside` and `left_out` are as in `fit`; without `learnt`, no trial moves them. A fit is made
        anew whenever what it rests on has changed, and cached until then. Their conditions tell
        the fibre that the book knows of the cloth.
        """
        from dyemix.fitting.fit import fit
        from dyemix.fitting.learn import learn
        from dyemix.fitting.transfer import borrow

        kept = self.method(method)
        swatches = kept.held.without(left_out)
        lent = self.dyes(kept.borrows) if kept.borrows else None
        key = " ".join(map(digest, [swatches, aside, lent]))
        make = partial(borrow, lent, swatches, aside) if lent else partial(fit, swatches, aside)
        found = kept_fit(key, make)
        trials = [t.trial for t in self.trials() if learnt and t.method == kept.name]
        trials = [trial for trial in trials if set(trial.recipe) <= set(found.names)]
        if trials:
            age, lot = kept.half_life, kept.lot
            key += " ".join(map(digest, [age, lot, *trials]))
            teach = partial(learn, found, trials, half_life_days=age, lot=lot)
            found = kept_fit(key, lambda: teach().dyes)
        fibre = kept.conditions.get("fibre")
        return replace(found, conditions={**found.conditions, "fibre": fibre}) if fibre else found

    def weigh(self, method: str, half_life: float | None, lot: str | None) -> None:
        """Let trials of a method count less with age, or where they are of another lot."""
        with self._writing(f"how trials of {method} are weighed"):
            number = self.method(method).number
            self._update("method", number, half_life=half_life, lot=lot)

    # Jobs ---------------------------------------------------------------------------------------

    def add_recipe(
        self, job: str, recipe: Recipe | str, target: "AnyColour | None" = None, note: str = "",
        on: date | None = None,
    ) -> None:  # fmt: skip
        """Keep a recipe under a job; `target` is whatever is a colour.

        Raises `RecipeError` and `TargetError` for what is none.
        """
        parsed, wanted = Recipe.parse(recipe), None if target is None else Target.of(target)
        day = _day(on)
        with self._writing(f"recipe of {job}"):
            self._insert(
                "recipe", job=self._named("job", job), kept=day,
                recipe=parsed, as_written=parsed.as_written, target=wanted, note=note,
            )  # fmt: skip

    recipes = _kept(records.KeptRecipe, "kept_recipe")

    def add_sheets(
        self, *sheets: BathSheet, method: str = "", aims: Mapping[str, object] | None = None
    ) -> None:
        """Keep bath sheets, each under its job, or under its recipe where it names none.

        `aims` are the colours wanted, by job; one that is no `Target` is left to the sheet's words.
        """
        what = ", ".join(sheet.job or str(sheet.recipe) for sheet in sheets)
        with self._writing(f"bath sheet of {what}"):
            methods = self.methods()
            for sheet in sheets:
                self._admit(sheet.demo)
                of = self._belongs(sheet.recipe, sheet.job, method, methods)
                self._insert("sheet", made=sheet.on, content=sheet.to_json(), **of)
                if isinstance(aim := (aims or {}).get(sheet.job), Target):
                    told = {"job": of["job"], "kept": sheet.on, "recipe": sheet.recipe}
                    self._insert("recipe", **told, as_written="", target=aim, note="")

    sheets = _kept(BathSheet, "kept_sheet")

    def add_trial(
        self, trial: Trial, job: str = "", note: str = "", method: str = "",
        picture: bytes | None = None,
    ) -> None:  # fmt: skip
        """Keep a trial under a job, or under its recipe where none is named."""
        expect(trial, Trial, "Trial(recipe, reading) makes one")
        with self._writing(f"trial of {job or trial.recipe}"):
            number = self._insert(
                "trial", trial, dyed=trial.date, as_written=trial.recipe.as_written, note=note,
                bath=trial.bath, over=trial.on, **self._belongs(trial.recipe, job, method),
            )  # fmt: skip
            if picture is not None:
                self._insert("picture", trial=number, content=picture)

    trials = _kept(records.KeptTrial, "kept_trial")
    #: Trials whose reading was struck.
    struck = _kept(records.Event, "kept_struck")
    #: The photographs of trials, JPEG.
    pictures = _kept(bytes, "kept_picture")

    def add_pieces(self, pieces: "Sequence[Levelness]", job: str = "", method: str = "") -> None:
        """Keep analysed pieces of mottled cloth under a job, or each under its recipe."""
        with self._writing(f"mottled pieces of {job or pieces[0].recipe}"):
            methods = self.methods()
            for piece in pieces:
                of = self._belongs(piece.recipe, job, method, methods)
                self._insert("piece", content=to_json(piece), **of)

    def pieces(self, job: str | None = None, method: str = "") -> "tuple[Levelness, ...]":
        """Analysed pieces, of a job and a method where they are named; without their pictures."""
        from dyemix.cloth.levelness import Levelness

        return _kept(Levelness, "kept_piece")(self, job, method)

    def sign_off(
        self, name: str, reading: Reading, job: str = "", tolerance: float = 3.0, note: str = "",
        on: date | None = None,
    ) -> None:  # fmt: skip
        """Make a swatch that the customer signed the standard called `name`.

        `tolerance` is the ΔE2000 agreed on. Raises `InputError` for a name that is taken: a
        standard is never changed, a new one gets a new name.
        """
        name = tidy(name)
        expect(reading, Reading, "make one by Reading.from_spectrum, from_lab or from_hex")
        Target.of(reading)  # refuses a blank reading
        day = _day(on)
        refuse(not 0 < tolerance <= 20, "dyebook.tolerance", tolerance)
        with self._writing(f"standard {name}"):
            self._new("sign_off", name, "a standard stays as signed: name this one anew")
            of = self._named("job", job.strip() or name)
            what = {"note": note, "tolerance": tolerance, "signed": day, "reading": reading}
            self._insert("sign_off", name=name, job=of, **what)

    sign_offs = _kept(records.SignOff, "kept_sign_off")

    def standard(self, name: str) -> Target:
        """The signed swatch of this name as a target. Raises `InputError`."""
        found = {signed.name: signed for signed in self.sign_offs()}
        self._lacks(name, found, "standard")
        return found[name].target

    def _lacks(self, name: str, known: Iterable[str], what: str) -> None:
        none = f"no {what} is called {name!r}: {self.path} has {', '.join(known) or 'none'}."
        refuse(name not in known, none, error=InputError)

    def job(self, name: str) -> records.JobRecord:
        """Everything under one job. Raises `InputError` for one the book does not have."""
        self._lacks(name := tidy(name), self.jobs(), "job")
        kinds = ("recipes", "sheets", "trials", "sign_offs", "pieces", "struck")
        held = {kind: getattr(self, kind)(name) for kind in kinds}
        return records.JobRecord(name, demo=self.demo, **held)

    def jobs(self) -> tuple[str, ...]:
        return tuple(row["name"] for row in self._of_job("job"))

    def contents(self) -> records.Contents:
        """What the book holds."""
        bottles = (
            f"{s.dye} {s.strength_pct:g} %" + (f" of {s.made}" if s.made else "")
            for s in self.stocks()
        )
        return records.Contents(
            str(self.path), tuple(map(str, self.methods())), tuple(c.name for c in self.cloths()),
            tuple(map(str, self.dye_lots())), tuple(bottles), tuple(map(str, self.sets())),
            self.jobs(), len(self.recipes()), len(self.sheets()), len(self.trials()),
            tuple(s.name for s in self.sign_offs()), self.demo, self.warnings,
        )  # fmt: skip

    def export(self, folder: Named) -> tuple[Path, ...]:
        """Write every table as ``TABLE.csv`` into a new or empty folder, and the swatches of each
        method as ``swatches-NUMBER.csv``, which `read_swatches` reads back; whole or not at all.
        A list that one column of the book holds, as a spectrum, is JSON.

        Gives the tables written. Raises `InputError` for a folder with files in it or that cannot
        be written.
        """
        with self.reading():
            held = {f"swatches-{m.number}": m.held for m in self.methods() if m.held}
            swatches = ((f"{name}.csv", swatch_table(some).encode()) for name, some in held.items())
            put({Path(folder): chain(self._tables(), swatches)})
        return tuple(Path(folder, f"{table}.csv") for table in (*TABLES, *held))


def _day(on: date | None) -> date:
    """The day meant, today where none is. Raises `DyemixError` for what is no date."""
    expect(on or date.min, date, "write datetime.date(2026, 1, 31)")
    return on or date.today()
