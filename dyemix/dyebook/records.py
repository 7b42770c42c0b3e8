"""What a dye book holds, as it is given back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from dyemix.bench.bath_page import BathSheet
from dyemix.bench.sheet import Block, Facts, Notes, Sheet, Table
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading
from dyemix.dataset.target import Target
from dyemix.dataset.trial import Trial


@dataclass(frozen=True)
class Cloth:
    """A cloth: its name, its fibre, a note."""

    name: str
    fibre: str = ""
    note: str = ""


@dataclass(frozen=True)
class DyeLot:
    """A lot of dye powder; `bought` where somebody wrote it down."""

    dye: str
    lot: str = ""
    bought: date | None = None
    note: str = ""

    def __str__(self) -> str:
        return f"{self.dye} (lot {self.lot})" if self.lot else self.dye


@dataclass(frozen=True)
class KeptSet:
    """A swatch set of the book: its name, the day it was added, how many readings."""

    name: str
    added: date
    readings: int

    def __str__(self) -> str:
        return f"{self.name} ({self.readings} readings, {self.added})"


def _line(words: str, target: Target | None, note: str) -> str:
    aim = "" if target is None else f", for {target}"
    return f"{words}{aim} ({note})" if note else f"{words}{aim}"


@dataclass(frozen=True, eq=False)
class KeptRecipe:
    """A recipe kept under a job, with what it was for."""

    job: str
    on: date
    recipe: Recipe
    target: Target | None = None
    note: str = ""

    def __str__(self) -> str:
        return _line(f"recipe {self.recipe}", self.target, self.note)


@dataclass(frozen=True, eq=False)
class KeptTrial:
    """A trial kept under a job."""

    job: str
    trial: Trial
    note: str = ""

    def __str__(self) -> str:
        return _line(f"trial: {self.trial}", self.trial.target, self.note)


@dataclass(frozen=True, eq=False)
class SignOff:
    """A swatch that a customer signed: from then on the standard of its job.

    `tolerance` is the ΔE2000 agreed on.
    """

    name: str
    job: str
    on: date
    reading: Reading
    tolerance: float
    note: str = ""

    @property
    def target(self) -> Target:
        """The standard as something to reach, with its spectrum where that was measured."""
        return Target.of(self.reading)

    def __str__(self) -> str:
        words = f"signed off as {self.name}: {self.target}, to {self.tolerance:g} ΔE2000"
        return _line(words, None, self.note)


@dataclass(frozen=True, eq=False)
class JobRecord(Sheet):
    """Everything under one job, oldest first."""

    name: str
    recipes: tuple[KeptRecipe, ...]
    sheets: tuple[BathSheet, ...]
    trials: tuple[KeptTrial, ...]
    sign_offs: tuple[SignOff, ...]
    demo: bool

    @property
    def title(self) -> str:
        return f"Job {self.name}"

    def blocks(self) -> tuple[Block, ...]:
        rows = [(str(recipe.on), str(recipe)) for recipe in self.recipes]
        rows += [
            (str(s.on), f"bath sheet: {s.recipe} on {s.cloth_g:g} g {s.cloth}".rstrip())
            for s in self.sheets
        ]
        rows += [(str(kept.trial.date or "no date"), str(kept)) for kept in self.trials]
        rows += [(str(signed.on), str(signed)) for signed in self.sign_offs]
        return (Table(("date", "what"), tuple(rows)),)


@dataclass(frozen=True)
class Contents(Sheet):
    """What a book holds, counted and named."""

    path: str
    cloths: tuple[str, ...]
    dyes: tuple[str, ...]
    bottles: tuple[str, ...]
    sets: tuple[str, ...]
    fits: int
    jobs: tuple[str, ...]
    recipes: int
    sheets: int
    trials: int
    standards: tuple[str, ...]
    demo: bool
    notes: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        return f"Dye book {self.path}"

    def blocks(self) -> tuple[Block, ...]:
        work = f"{self.recipes} recipes, {self.sheets} bath sheets, {self.trials} trials"
        rows = (
            ("Cloths", self.cloths), ("Dyes", self.dyes), ("Stocks", self.bottles),
            ("Swatches", self.sets), ("Fits", (f"{self.fits} kept",)), ("Jobs", self.jobs),
            ("Work", (work,)), ("Standards", self.standards),
        )  # fmt: skip
        facts = Facts(tuple((heading, ", ".join(names) or "none") for heading, names in rows))
        return (facts, *((Notes("Note", self.notes),) if self.notes else ()))


@dataclass(frozen=True)
class PastPiece:
    """A piece near a colour: what it is, its recipe, its colour, and ΔE2000 from what was asked."""

    kind: str
    name: str
    recipe: str
    on: date | None
    hex: str
    delta_e: float


@dataclass(frozen=True, eq=False)
class PastWork(Sheet):
    """Past pieces near a colour, nearest first."""

    target: Target
    pieces: tuple[PastPiece, ...]
    searched: int
    demo: bool

    @property
    def title(self) -> str:
        return f"Past work near {self.target}; {self.searched} pieces looked at"

    def blocks(self) -> tuple[Block, ...]:
        if not self.pieces:
            return (Notes("Nothing", ("no piece of this book has been read yet.",)),)
        rows = tuple(
            (f"{p.delta_e:.1f}", p.hex, p.kind, p.name, p.recipe, str(p.on or "no date"))
            for p in self.pieces
        )
        return (Table(("ΔE2000", "hex", "what", "name", "recipe, % owf", "date"), rows, (0,)),)
