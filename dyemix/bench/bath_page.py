"""The bath sheet: every figure of one bath. Its words are in `templates/sheets/bath.txt`."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from math import ceil
from typing import ClassVar

from dyemix.bench.auxiliaries import Auxiliary, Cost
from dyemix.bench.dosing import Dose
from dyemix.bench.fibre import UNKNOWN, Fibre
from dyemix.bench.method import Method
from dyemix.bench.settings import BathSettings
from dyemix.bench.sheet import Sheet
from dyemix.dataset.recipe import Recipe


@dataclass(frozen=True)
class BathSheet(Sheet):
    """One bath. `str()` is the text for the bench, `to_html()` a page, `to_json()` the figures.

    Attributes
    ----------
    job, cloth, target, expect : the caller's words, printed as they are.
    on : the date of the sheet.
    cloth_g : dry weight, g, of all `pieces`.
    recipe : % owf.
    method : how it is dyed; `as_swatches` is what of it was taken from the swatches, in words.
    total_ml : the liquor in all.
    cloth_holds_ml : what the wetted (or presoaked) cloth already holds.
    doses : palest dye first where `palest_first`; else as written.
    salt, soda, water_ml : the rest of the bath; water is what makes it up to `total_ml`.
    syringe_miss, spoon_miss : what rounding does to the colour on paper, ΔE2000; None without
        fitted dyes.
    warnings : what to see to first.
    settings : the figures it rests on.
    fibre : what the cloth is made of, as far as it was said.
    """

    template: ClassVar[str] = "bath"

    job: str
    on: date
    cloth: str
    cloth_g: float
    pieces: int
    target: str
    expect: str
    recipe: Recipe
    method: Method
    as_swatches: tuple[str, ...]
    wetted: bool
    total_ml: float
    cloth_holds_ml: float
    doses: tuple[Dose, ...]
    palest_first: bool
    salt: Auxiliary
    soda: Auxiliary
    water_ml: float
    cost: Cost | None
    syringe_miss: float | None
    spoon_miss: float | None
    warnings: tuple[str, ...]
    settings: BathSettings
    fibre: Fibre = UNKNOWN
    demo: bool = False

    @property
    def fibre_named(self) -> str:
        """The cloth in words, with its fibres where they were said apart."""
        of = self.fibre.words
        apart = self.cloth and of not in ("", self.cloth)
        return f"{self.cloth} ({of})" if apart else self.cloth or of

    @property
    def low_water(self) -> bool:
        """Whether there is too little water to stir."""
        return self.method.liquor_ratio < self.settings.low_water_below

    @property
    def stocks_ml(self) -> float:
        """Every stock, mL."""
        return sum(dose.ml for dose in self.doses)

    @property
    def poured_ml(self) -> float:
        """Dye liquor poured on: every stock, the salt solution and the water, mL."""
        return self.stocks_ml + self.salt.into_bath_ml + self.water_ml

    @property
    def pots(self) -> int:
        """Pots of equal size that the liquor takes."""
        return ceil(self.total_ml / (1000.0 * self.settings.pot))
