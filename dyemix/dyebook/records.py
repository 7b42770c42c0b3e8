"""What a dye book holds, as it is given back."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from operator import itemgetter
from typing import TYPE_CHECKING, ClassVar

from dyemix.bench.bath_sheet import BathSheet
from dyemix.bench.sheet import Sheet
from dyemix.colour.appearance import Miss
from dyemix.colour.colorimetry import D65_10
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.result import Value
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.dataset.target import Target, Trial

if TYPE_CHECKING:
    from dyemix.cloth.levelness import Levelness  # it needs what reads photographs


class Cloth(Value):
    """A cloth: its name, its fibre, a note."""

    name: str
    fibre: str = ""
    note: str = ""


class DyeLot(Value):
    """A lot of dye powder; `bought` where somebody wrote it down."""

    dye: str
    lot: str = ""
    bought: date | None = None
    note: str = ""

    def __str__(self) -> str:
        return f"{self.dye} (lot {self.lot})" if self.lot else self.dye


class KeptSet(Value):
    """A swatch set: its name, the day it was added, how many readings, how many struck.

    One that was `replaced` is kept, and not used.
    """

    name: str
    added: date
    readings: int
    replaced: bool = False
    struck: int = 0

    def __str__(self) -> str:
        struck = f", {self.struck} struck" if self.struck else ""
        replaced = ", replaced" if self.replaced else ""
        return f"{self.name} ({self.readings} readings{struck}, {self.added}{replaced})"


class KeptMethod(Value):
    """A method of a book, and what is held of it.

    Attributes
    ----------
    name, number : what it is called, and its row.
    held : its swatches, without tables that were replaced and rows that were struck.
    conditions : how its swatches were dyed and read, as written; and the fibre of their cloth.
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
        squares, trials = len(self.held) - mixes, self.trials
        counts = ((squares, "square", "s"), (mixes, "mix", "es"), (trials, "trial", "s"))
        words = ", ".join(f"{n} {word}{more * (n != 1)}" for n, word, more in counts)
        return f"{self.name} ({words}{borrowed})"


class Event(Value):
    """One thing that was done in the book, and when."""

    at: str
    what: str


class KeptRecipe(Value):
    """A recipe kept under a job, with what it was for."""

    job: str
    on: date
    recipe: Recipe
    target: Target | None = None
    note: str = ""


class KeptTrial(Value):
    """A trial kept under a job, the method it was dyed by, and how many pictures are kept of it."""

    job: str
    trial: Trial
    note: str = ""
    method: str | None = None
    pictures: int = 0

    @property
    def miss(self) -> Miss | None:
        """How the piece missed what was wanted; None where nothing was."""
        if self.trial.target is None:
            return None
        wanted = self.trial.target.under(self.trial.reading.light or D65_10)
        return Miss.of(wanted.lab, self.trial.reading.colour(wanted.light or D65_10))


class SignOff(Value):
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
        return replace(Target.of(self.reading), name=self.name)


class JobRecord(Sheet):
    """Everything under one job, oldest first; `corrections` says what each trial led to."""

    template: ClassVar[str] = "job"

    name: str
    recipes: tuple[KeptRecipe, ...]
    sheets: tuple[BathSheet, ...]
    trials: tuple[KeptTrial, ...]
    sign_offs: tuple[SignOff, ...]
    pieces: "tuple[Levelness, ...]"
    demo: bool
    corrections: tuple[str, ...] = ()
    struck: tuple[Event, ...] = ()

    @property
    def wanted(self) -> Target | None:
        """The colour that was asked for last."""
        told = [(kept.trial.date or date.min, kept.trial.target) for kept in self.trials]
        told += [(kept.on, kept.target) for kept in self.recipes]
        by_day = sorted(told, key=itemgetter(0))
        return next((target for _, target in reversed(by_day) if target is not None), None)


class Contents(Sheet):
    """What a book holds, counted and named."""

    template: ClassVar[str] = "contents"

    path: str
    methods: tuple[str, ...]
    cloths: tuple[str, ...]
    dyes: tuple[str, ...]
    bottles: tuple[str, ...]
    sets: tuple[str, ...]
    jobs: tuple[str, ...]
    recipes: int
    sheets: int
    trials: int
    standards: tuple[str, ...]
    demo: bool
    warnings: tuple[str, ...] = ()


class PastPiece(Value):
    """A piece near a colour: what it is, its recipe, its colour, and ΔE2000 from what was asked."""

    kind: str
    name: str
    recipe: str
    on: date | None
    hex: str
    delta_e: float


class PastWork(Sheet):
    """Past pieces near a colour, nearest first; where none is near, the nearest `beyond`."""

    template: ClassVar[str] = "past"
    #: Pieces farther off are not of the same family (common practice, ΔE2000).
    far: ClassVar[float] = 5.0

    target: Target
    pieces: tuple[PastPiece, ...]
    beyond: PastPiece | None
    searched: int
    demo: bool
