"""What the page asks of the library: each answer is worked out once for the same question."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

import dyemix
from dyemix.arrays import Array
from dyemix.bench.bath_sheet import BathSheet
from dyemix.bench.stock import Stock
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_2, Light, screen_colours, smoothest_reflectance
from dyemix.colour.difference import Miss
from dyemix.colour.metamerism import adapted
from dyemix.dataset.days import parse_day
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading
from dyemix.dataset.target import Target
from dyemix.dataset.trial import Trial
from dyemix.dyebook.book import DyeBook
from dyemix.errors import DyemixError
from dyemix.gamut.reach import ShelfAround, around
from dyemix.matching.correct import Correction
from dyemix.matching.suggest import Suggestions, suggest
from dyemix.model.dyes import DyeSet, Prediction
from dyemix.page.jobs import JobLine, job_lines
from dyemix.page.slip import Slip
from dyemix.page.words import LADDER, counted, shows, worth
from dyemix.plots.paper import pot_codes
from dyemix.series.steps import Series

#: Pots that are shown of a mix.
POTS = 10


@dataclass(frozen=True, eq=False)
class Mix:
    """A mix laid on the wanted cloth: how it looks, and how far it may be off.

    `residual` is ΔE2000 on paper, `likely` and `bound` in the pot, `hex` as it lies beside the
    wanted cloth under the lamp of the slip.
    """

    prediction: Prediction
    target: Target
    hex: str
    residual: float
    likely: float
    bound: float
    proven: bool

    @property
    def recipe(self) -> Recipe:
        return self.prediction.recipe

    @property
    def words(self) -> str:
        """What the likely miss is worth."""
        return LADDER[worth(self.likely, self.proven)][0]

    @property
    def shows(self) -> str:
        """How it differs on paper, in words."""
        return shows(Miss.of(self.target.lab, self.prediction.lab).words)

    @property
    def beyond(self) -> bool:
        """Whether it is cleaner than a screen shows."""
        return not self.prediction.screen.inside

    @cached_property
    def pots(self) -> list[tuple[str, str]]:
        """Codes of `POTS` pots, nearest first, and how each shows."""
        lamp = None if self.target.kind == "hex" else _lamp(self.prediction.light)
        codes = pot_codes(self.prediction, self.target.lab, POTS, lamp)
        labs = self.prediction.pots(self.target.lab, POTS)
        return [
            (c, shows(Miss.of(self.target.lab, x).words)) for c, x in zip(codes, labs, strict=True)
        ]

    @property
    def counted(self) -> str:
        """What these pots are worth, counted."""
        return counted(delta_e(self.target.lab, self.prediction.pots(self.target.lab, POTS)))


def _lamp(light: Light) -> Light | None:
    """The lamp to show a colour by, where that is not daylight."""
    return None if light.illuminant == "D65" else light


def shown(reflectance: Array, light: Light) -> str:
    """The code of cloth under a lamp, as an eye used to that lamp sees it."""
    lamp = Light(light.illuminant, D65_2.observer)
    return screen_colours(adapted(reflectance[None], D65_2, lamp))[0].hex


class Workshop:
    """Fitted dyes and perhaps a dye book, and every answer the page gives of them."""

    def __init__(self, dyes: DyeSet, book: Path | None = None) -> None:
        self.dyes, self.book_path = dyes, book
        self._asking = threading.Lock()  # one answer at a time: two would only slow each other
        self._kept = lru_cache(maxsize=512)(self._work_out)

    def _ask(self, what: str, *question: Any) -> Any:
        with self._asking:
            return self._kept(what, *question)

    def _work_out(self, what: str, *question: Any) -> Any:
        return getattr(self, f"_{what}")(*question)

    def book(self) -> DyeBook:
        """The dye book, open. Raises `DyemixError` where the page was opened without one."""
        if self.book_path is None:
            raise DyemixError(
                "no dye book: open the page with --book workshop.dyebook to keep work."
            )
        return DyeBook(self.book_path, create=True)

    @cached_property
    def stock(self) -> str:
        """The strength of the stocks where the slip states none: the book's, or the swatches'."""
        if self.book_path is not None:
            with self.book() as book:
                bottles = {stock.dye: stock.strength_pct for stock in book.stocks()}
            if bottles:
                return ", ".join(f"{dye} {pct:g}" for dye, pct in bottles.items())
        return self.dyes.conditions.get("stock_pct", "") or Slip().stock

    # Colours ------------------------------------------------------------------------------------

    def wanted(self, slip: Slip) -> Target:
        """The colour wanted under the one light of the slip. Raises `TargetError`."""
        target: Target = self._ask("target", slip.wanted, slip.light)
        return target

    def _target(self, words: str, light: str) -> Target:
        asked = Light.parse(light) if light else self.dyes.light
        if self.book_path is not None:
            with self.book() as book:
                signed = {s.name: s for s in book.sign_offs()}
            if words in signed:
                return replace(Target.of(signed[words].reading, asked), name=words).under(asked)
        return Target.parse(words).under(asked)

    def cloth(self, target: Target) -> str:
        """The code of the wanted cloth under its light."""
        spectrum, light = target.reflectance, target.light
        lamp = light is not None and light.illuminant != "D65"
        return shown(spectrum, light) if spectrum is not None and lamp and light else target.hex

    def mix(self, slip: Slip, recipe: Recipe | str) -> Mix:
        """A recipe laid on the wanted cloth."""
        found: Mix = self._ask("laid", slip.wanted, slip.light, Recipe.parse(recipe))
        return found

    def _laid(self, words: str, light: str, recipe: Recipe) -> Mix:
        target = self._target(words, light)
        made = self.dyes.predict_many([recipe], target.light)
        pot, prediction = made.in_pot(target.lab, spread=target.spread), made[0]
        lamp = target.kind != "hex" and _lamp(prediction.light)
        code = shown(prediction.reflectance, prediction.light) if lamp else prediction.hex
        return Mix(
            prediction, target, code, float(delta_e(target.lab, prediction.lab)),
            float(pot.mean[0]), float(pot.bound[0]), bool(self.dyes.pots),
        )  # fmt: skip

    # Answers ------------------------------------------------------------------------------------

    def choices(self, slip: Slip) -> Suggestions:
        """At most three recipes, and those that they were chosen from."""
        key = (slip.wanted, slip.light, slip.cloth, slip.stock, slip.unit)
        found: Suggestions = self._ask("suggestions", *key)
        return found

    def _suggestions(
        self, words: str, light: str, cloth: str, stock: str, unit: str
    ) -> Suggestions:
        kit = Slip(cloth=cloth, stock=stock, unit=unit).kit
        return suggest(self.dyes, self._target(words, light), kit=kit)

    def quieter(self, slip: Slip) -> Series:
        """The mix it starts from in steps down, by every route. Raises `DyemixError`."""
        found: Series = self._ask("series", slip.quiet, str(self.wanted(slip).light))
        return found

    def _series(self, recipe: str, light: str) -> Series:
        return dyemix.subdue(self.dyes, recipe, steps=5, light=Light.parse(light))

    def shelf(self, slip: Slip) -> ShelfAround:
        """What the shelf gives near the wanted colour."""
        found: ShelfAround = self._ask("around", slip.wanted, slip.light)
        return found

    def _around(self, words: str, light: str) -> ShelfAround:
        return around(self.dyes, self._target(words, light))

    def to_spare(self) -> tuple[str, ...]:
        """Which jar would be missed least."""
        found: tuple[str, ...] = self._ask("spare")
        return found

    def _spare(self) -> tuple[str, ...]:
        return dyemix.reach(self.dyes).findings

    def sheet(self, slip: Slip) -> BathSheet:
        """The bath sheet of the mix. Raises `DyemixError` for what the bath does not hold."""
        named = {dye: pct for dye, pct in slip.strengths.items() if dye}
        every = slip.strengths[""]
        stocks = [Stock(dye, named.get(dye, every)) for dye in slip.mix] if named else every
        target = self.wanted(slip) if slip.wanted else None
        return dyemix.bath_sheet(
            slip.mix, slip.cloth_g, stocks=stocks, dyes=self.dyes, job=slip.job, target=target,
            allow_demo=True,
        )  # fmt: skip

    def trial(self, slip: Slip) -> Trial:
        """The dry piece as it was entered. Raises `DyemixError` for what is no colour or day."""
        read = Target.parse(slip.reading).under(self.dyes.light)
        assert read.light is not None
        spectrum = smoothest_reflectance(read.lab, read.light)[0]
        kind = "hex" if read.kind == "hex" else "Lab"
        reading = Reading(slip.mix, spectrum, "", kind, read.lab, read.light, name=slip.reading)
        day = parse_day(slip.date) if slip.date else date.today()
        return Trial(slip.mix, reading, self.wanted(slip), day, slip.lot)

    def read(self, slip: Slip) -> str:
        """The code of the dry piece as it was entered."""
        return Target.parse(slip.reading).under(self.dyes.light).hex

    def judged(self, slip: Slip) -> Correction:
        """What the dry piece says of the next one."""
        return dyemix.correct(self.dyes, self.trial(slip))

    def jobs(self) -> list[JobLine]:
        """The jobs of the book."""
        with self.book() as book:
            return job_lines(book)

    # What is kept -------------------------------------------------------------------------------

    def keep_sheet(self, slip: Slip) -> str:
        """Keep the bath sheet under its job; the word to say so."""
        if not slip.job.strip():
            raise DyemixError("the job has no name: write one on the slip, and keep it again.")
        with self.book() as book:
            book.add_recipe(slip.job, slip.mix, self.wanted(slip), slip.name)
            book.add_sheets(self.sheet(slip))
        return f"Kept: {slip.job}."

    def keep_trial(self, slip: Slip) -> str:
        """Keep the piece, which moves the dyes from now on."""
        with self.book() as book:
            book.add_trial(self.trial(slip), slip.job, slip.note)
            learnt = book.dyes()
        with self._asking:
            self.dyes = learnt
            self._kept.cache_clear()
        return f"Kept: {slip.job or slip.mix}. The next answers reckon with this piece."

    def keepers(self) -> dict[str, Callable[[Slip], str]]:
        """What can be kept, by its name in an address."""
        return {"sheet": self.keep_sheet, "trial": self.keep_trial}
