"""What a dye book holds, as it is given back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from dyemix.bench import BathSheet
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


@dataclass(frozen=True)
class KeptSet:
    """A swatch set of the book: its name, the day it was added, how many readings."""

    name: str
    added: date
    readings: int


@dataclass(frozen=True, eq=False)
class KeptRecipe:
    """A recipe kept under a job, with what it was for."""

    job: str
    on: date
    recipe: Recipe
    target: Target | None = None
    note: str = ""


@dataclass(frozen=True, eq=False)
class KeptTrial:
    """A trial kept under a job."""

    job: str
    trial: Trial
    note: str = ""


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
        rows = [(f"{r.on}", f"recipe {r.recipe}{_for(r.target)}{_note(r.note)}")
                for r in self.recipes]  # fmt: skip
        rows += [
            (f"{s.on}", f"bath sheet: {s.recipe} on {s.cloth_g:g} g {s.cloth}".rstrip())
            for s in self.sheets
        ]
        rows += [
            (
                f"{t.trial.date or 'no date'}",
                f"trial: {t.trial}{_for(t.trial.target)}{_note(t.note)}",
            )
            for t in self.trials
        ]
        rows += [
            (f"{s.on}", f"signed off as {s.name}: {s.target}, to {s.tolerance:g} ΔE2000"
             + _note(s.note))
            for s in self.sign_offs
        ]  # fmt: skip
        return (Table(("date", "what"), tuple(rows)),)


def _for(target: Target | None) -> str:
    return "" if target is None else f", for {target}"


def _note(note: str) -> str:
    return f" ({note})" if note else ""


@dataclass(frozen=True)
class Contents(Sheet):
    """What a book holds, counted and named."""

    path: str
    cloths: tuple[str, ...]
    dyes: tuple[DyeLot, ...]
    bottles: tuple[str, ...]
    sets: tuple[KeptSet, ...]
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
        lots = tuple(f"{d.dye} (lot {d.lot})" if d.lot else d.dye for d in self.dyes)
        sets = tuple(f"{s.name} ({s.readings} readings, {s.added})" for s in self.sets)
        rows = (
            ("Cloths", _list(self.cloths)),
            ("Dyes", _list(lots)),
            ("Stocks", _list(self.bottles)),
            ("Swatches", _list(sets)),
            ("Fits", f"{self.fits} kept"),
            ("Jobs", _list(self.jobs)),
            ("Work", f"{self.recipes} recipes, {self.sheets} bath sheets, {self.trials} trials"),
            ("Standards", _list(self.standards)),
        )
        return (Facts(rows), *((Notes("Note", self.notes),) if self.notes else ()))


def _list(names: tuple[str, ...]) -> str:
    return ", ".join(names) or "none"


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
        rows = tuple(
            (f"{p.delta_e:.1f}", p.hex, p.kind, p.name, p.recipe, str(p.on or "no date"))
            for p in self.pieces
        )
        heads = ("ΔE2000", "hex", "what", "name", "recipe, % owf", "date")
        if not rows:
            return (Notes("Nothing", ("no piece of this book has been read yet.",)),)
        return (Table(heads, rows, (0,)),)
