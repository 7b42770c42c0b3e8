"""What came of a recipe: the reading of a finished piece, with what was dyed and over what."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from dyemix.dataset.readings import Reading
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.result import Value
from dyemix.dataset.target import Target
from dyemix.errors import Choice, Fault, InputError, RecipeError, expect


class Bath(Choice):
    """Whether a piece was dyed white, or dyed already; the value is the word shown.

    >>> Bath("second bath").name
    'SECOND'
    """

    FIRST = "first bath"
    SECOND = "second bath"


@dataclass(frozen=True, eq=False)
class Trial(Value):
    """One finished piece: dyed, washed, dry and read.

    >>> print(Trial("rust 1.5", Reading.from_hex("#8d4a2c", "rust 1.5"), lot="spring"))
    rust 1.50 (first bath, lot spring)

    Attributes
    ----------
    recipe : what was dyed, in % owf; of a second bath, what that bath added.
    reading : of the finished piece, dry.
    target : what was wanted, where something was.
    date : the day it was dyed; needed only to let old trials count for less.
    lot : which lots of dye were used, as the dyer writes it.
    bath : `Bath.FIRST`, or `Bath.SECOND` over a finished piece.
    on : reading of the piece that a second bath went over, washed and dry.

    Raises `RecipeError` for a recipe of no dye, `InputError` for a reading that is still blank, and
    for a second bath without the piece under it or a first bath with one.
    """

    recipe: Recipe
    reading: Reading
    target: Target | None = None
    date: datetime.date | None = None
    lot: str = ""
    bath: Bath = Bath.FIRST
    on: Reading | None = None

    def __post_init__(self) -> None:
        expect(self.reading, Reading, "make one by Reading.from_spectrum, from_lab or from_hex")
        expect(self.date or datetime.date.min, datetime.date, "write datetime.date(2026, 1, 31)")
        given = {"recipe": Recipe.parse(self.recipe), "bath": Bath(self.bath)}
        given |= {} if self.target is None else {"target": Target.of(self.target)}
        for name, value in given.items():
            object.__setattr__(self, name, value)
        super().__post_init__()
        if not self.recipe:
            raise RecipeError("a trial is of a recipe with dye in it: undyed cloth is a swatch.")
        second, on = self.bath is Bath.SECOND, self.on or self.reading
        for wrong, words in (
            (
                self.reading.reflectance is None or on.reflectance is None,
                "has not been read: read it dry and ironed.",
            ),
            (second and self.on is None, "is a second bath without a reading of what is under it."),
            (self.on and not second, "names a piece under it, but no second bath: say so."),
        ):
            if wrong:
                raise InputError(Fault(f"the trial of {self.recipe} {words}"))

    def __str__(self) -> str:
        over = f" over {self.on.recipe or self.on.name or 'a piece'}" if self.on else ""
        when = f", {self.date}" if self.date else ""
        lot = f", lot {self.lot}" if self.lot else ""
        return f"{self.recipe}{over} ({self.bath.value}{when}{lot})"
