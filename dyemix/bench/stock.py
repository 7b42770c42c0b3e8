"""Stock solutions: as a dyer names them, what to measure of them, and the sheet to make one by."""

import math
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any, ClassVar, Self, TypeVar

from dyemix.bench.settings import BathSettings, Making
from dyemix.bench.sheet import Sheet
from dyemix.dataset import units
from dyemix.dataset.conditions import parse_day
from dyemix.dataset.recipe import SPOON_SETS, Measures, Spoonfuls, dye_name, place, spoonfuls
from dyemix.dataset.result import Value
from dyemix.errors import DyemixError, RecipeError, expect, refuse
from dyemix.files.cells import is_table
from dyemix.files.rows import parse_stock
from dyemix.files.small_tables import Column, number, read_table
from dyemix.matching.limits import Measured
from dyemix.writing import Named

T = TypeVar("T")

MADE_UP_TO = "made up to"
ADDED_TO = "added to"
#: A dose this near to quarter teaspoons, %, is one of them but for the digits of its recipe.
_SPOON_EXACT = 0.05


class Stock(Value):
    """One bottle of stock: one dye in water, no alkali. Raises `DyemixError`.

    Attributes
    ----------
    dye : its name.
    strength_pct : grams of powder per 100 mL, as written on the bottle (% w/v).
    made : the day it was made; None where nobody wrote it down.
    cold : whether it is kept cold.
    lot : lot of the powder.
    how : ``made up to`` 100 mL (the standard), or ``added to`` 100 mL, which is weaker.
    left_ml : millilitres in the bottle; None where unknown.
    """

    dye: str
    strength_pct: float
    made: date | None = None
    cold: bool = False
    lot: str = ""
    how: str = MADE_UP_TO
    left_ml: float | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "dye", dye_name(self.dye))
        refuse(not 0 < self.strength_pct <= 20, "bench.strength", self.strength_pct)
        refuse(self.how not in (MADE_UP_TO, ADDED_TO), "bench.how", self.how)
        left = self.left_ml
        refuse(left is not None and not 0 <= left < math.inf, "bench.left", left, self.dye)

    def actual_pct(self, settings: BathSettings) -> float:
        """% w/v once the room that the powder takes up is counted (`how`)."""
        if self.how == MADE_UP_TO:
            return self.strength_pct
        return units.added_to_pct(self.strength_pct, settings.powder_volume)

    def life_days(self, settings: BathSettings) -> float:
        return float(settings.stock_days_cold if self.cold else settings.stock_days_warm)

    def age_days(self, on: date) -> int | None:
        """Days since it was made, on the day `on`. Raises `DyemixError` before it was made."""
        if self.made is None:
            return None
        days = (on - self.made).days
        refuse(days < 0, "bench.dated", self.dye, self.made, on)
        return days

    def past_life(self, on: date, settings: BathSettings) -> bool:
        """Whether it is older than its life; a stock without a date is not known to be."""
        days = self.age_days(on)
        return days is not None and days > self.life_days(settings)


def _yes(text: str) -> bool:
    refuse(text.lower() not in ("yes", "no"), f"{text!r} is not yes or no.")
    return text.lower() == "yes"


_COLUMNS = (
    Column("dye", needed=True), Column("stock_pct", number, needed=True),
    Column("made", parse_day), Column("cold", _yes), *map(Column, ("lot", "how")),
    Column("left_ml", number),
)  # fmt: skip


def read_stocks(path: Named) -> tuple[Stock, ...]:
    """Bottles, one a row.

    Columns ``dye``, ``stock_pct`` (% w/v), and if known ``made`` (2026-05-03), ``cold`` (yes or
    no), ``lot``, ``how`` (made up to, added to), ``left_ml``.

    Raises `InputError` with every fault of the file.
    """
    return read_each(path, _COLUMNS, lambda _, v: Stock(strength_pct=v.pop("stock_pct"), **v))


def parse_stocks(text: str, known: Collection[str] = ()) -> tuple[Stock, ...]:
    """The stocks as a dyer names them, the one without a dye for every other dye.

    A table of bottles (a file name with an ending), of other dyes too; ``2`` for every dye
    (% w/v); or ``navy 1, gold 2``. Raises `InputError` for the table, `RecipeError` for a dye that
    is none of those `known`, where any are told, `DyemixError` for the rest.
    """
    if is_table(text):
        return read_stocks(text)
    found = parse_stock(text)
    for dye in filter(None, found if known else ()):
        place(dye, [*known])  # one misspelt would be of another strength
    return tuple(Stock(dye, strength) for dye, strength in found.items())


def stated_stocks(conditions: Mapping[str, str], settings: BathSettings) -> tuple[Stock, ...]:
    """Stocks as they are stated with swatches, after the settings' strength for every other dye."""
    told = conditions.get("stock_pct", "").strip()
    return (Stock("", settings.stock_strength), *(parse_stocks(told) if told else ()))


def read_each(
    path: Named, columns: Sequence[Column],
    make: Callable[[dict[str, Any], dict[str, Any]], T], others: bool = False,
) -> tuple[T, ...]:  # fmt: skip
    """What each row of a table makes, of its place and of its values."""
    table = read_table(path, columns, others=others)
    for note in table.faults.notes:  # letters guessed wrong would be the name of another dye
        if "Windows-1252" in note:
            table.faults.add(f"{note} Save it as 'CSV UTF-8'.")
    made = []
    for row, values in table.rows:
        place = {"row": row, "file": table.faults.file}
        try:
            made.append(make(place, {name.replace(" ", "_"): v for name, v in values.items()}))
        except DyemixError as error:
            table.faults.add(str(error), row)
    table.faults.raise_any()
    return tuple(made)


class Dose(Value):
    """One dye of a bath: what the recipe asks, and what to measure.

    Attributes
    ----------
    dye, owf : the recipe's, % owf.
    dye_g : dye in it, g.
    stock : the bottle it comes from.
    dilution : 1 for the stock as it is; 10, 100 or 1000 for a weaker stock mixed on the day,
        where the dose would be too small to measure.
    exact_ml : volume the recipe asks, of the stock so diluted.
    ml : that to the marks of the syringe or jug; `error_pct` is what this does to the dose. What
        quarter teaspoons measure exactly was measured by them before, and is not rounded again.
    spoons : the same volume in spoons of *liquid*, with its own error.
    """

    dye: str
    owf: float
    dye_g: float
    stock: Stock
    dilution: int
    exact_ml: float
    ml: float
    error_pct: float
    spoons: Spoonfuls

    @property
    def measure(self) -> str:
        """What to measure, and by how much that misses."""
        error = f" ({self.error_pct:+.0f} %)" if abs(self.error_pct) > 0.5 else ""
        ml = f"{self.ml:g} mL" if self.ml < 1000 else units.volume_text(self.ml, "metric")
        return ml + error

    @property
    def words(self) -> str:
        """What to measure of which stock, in millilitres."""
        weak = f" of 1 in {self.dilution}" if self.dilution != 1 else ""
        return f"{self.dye} {self.ml:g} mL{weak}"

    @property
    def ticks(self) -> str:
        """A box to tick for each spoon: a lost count spoils a bath."""
        tablespoons, _, rest = self.spoons.text.rpartition(" tbsp")
        teaspoons = rest.removeprefix(" + ")
        return "☐" * int(f"0{tablespoons}") + f" ☐ {teaspoons}" * bool(teaspoons)

    @property
    def needed_ml(self) -> float:
        """Stock of full strength to have at hand, mL."""
        return self.ml if self.dilution == 1 else units.FOR_WEAK


class Bottles(Value):
    """The stocks at hand.

    Attributes
    ----------
    by_dye : of each dye the bottle made last; the key ``""`` stands for every other dye.
    share : of the weight of the cloth that they are for, how much takes dye (above 0, to 1).
    """

    by_dye: Mapping[str, Stock]
    settings: BathSettings
    share: float = 1.0

    @classmethod
    def of(
        cls, stocks: Iterable[Stock] | float | None, settings: BathSettings, share: float = 1.0
    ) -> Self:
        """Bottles as a dyer gives them: each, or one strength (% w/v) for all, or none."""
        if stocks is None or isinstance(stocks, int | float):
            stocks = [Stock("", settings.stock_strength if stocks is None else stocks)]
        for bottle in (stocks := list(stocks)):
            expect(bottle, Stock, "write Stock('navy', 2.0), or one strength for every dye")
        ordered = sorted(stocks, key=lambda bottle: bottle.made or date.min)
        return cls({bottle.dye: bottle for bottle in ordered}, settings, share)

    def measures(self, cloth_g: float | None) -> Measures:
        """What turns mL, spoons and grams into % owf on so much cloth."""
        strengths = {dye: b.actual_pct(self.settings) for dye, b in self.by_dye.items()}
        dyed_g = None if cloth_g is None else cloth_g * self.share
        return Measures(strengths, dyed_g, self.settings.spoons)

    def left(self, cloth_g: float) -> dict[str, float]:
        """% owf of each dye that is left for so much cloth, where its bottle tells how much."""
        owf, rest = self.measures(cloth_g).owf, ((d, b.left_ml) for d, b in self.by_dye.items())
        return {dye: owf(dye, ml, "mL") for dye, ml in rest if dye and ml is not None}

    def of_dye(self, dye: str) -> Stock:
        """The bottle of a dye. Raises `RecipeError` where there is none."""
        found = self.by_dye.get(dye, self.by_dye.get(""))
        if found is None:
            raise RecipeError(f"no stock of {dye}: say its strength, or make it (dyemix stock).")
        return replace(found, dye=dye)

    def words(
        self, recipe: Mapping[str, float], cloth_g: float, rounded: Measured | None = None
    ) -> str:
        """What to measure of a recipe, in a line; by the kit that it was `rounded` to."""
        if rounded is not None:
            return " + ".join(map(str, rounded.doses))
        return " + ".join(dose.words for dose in self.doses(recipe, cloth_g))

    def strengths(self, dyes: Iterable[str]) -> str:
        """How strong the stocks of these dyes are, said once of the most that are alike."""
        found = {dye: f"{self.of_dye(dye).strength_pct:g} %" for dye in dyes}
        told = list(found.values())
        usual = max(told, key=told.count, default="")
        alike = told.count(usual) > 1 or len(told) < 2
        others = [f"{dye} {pct}" for dye, pct in found.items() if not alike or pct != usual]
        return ", ".join([usual] * alike + others)

    def doses(self, recipe: Mapping[str, float], cloth_g: float) -> tuple[Dose, ...]:
        """What to measure of each dye, in the order of the recipe.

        Raises `RecipeError` for a dye without stock, and where even a stock 1 in 1000 leaves too
        little.
        """
        return tuple(self._dose(dye, owf, cloth_g * self.share) for dye, owf in recipe.items())

    @property
    def undyed(self) -> str:
        """How much of the cloth takes dye, to be said after its weight where it is not all."""
        return f", {100 * self.share:.3g} % of it taking dye" if self.share < 1.0 else ""

    def _dose(self, dye: str, owf: float, cloth_g: float) -> Dose:
        settings, stock = self.settings, self.of_dye(dye)
        strong = units.stock_ml(cloth_g, owf, stock.actual_pct(settings))
        times = units.dilution(strong, settings.smallest_dose)
        exact = strong * times
        little = units.dilution(exact, settings.smallest_dose) != 1
        refuse(little, "bench.too_little", dye, owf, cloth_g, strong, times, error=RecipeError)
        spoons = spoonfuls(exact, settings.spoons, settings.jug_from)
        ml = units.to_mark(exact, settings.measuring_step)
        if exact <= settings.jug_from and abs(spoons.error_pct) < _SPOON_EXACT:
            ml = round(spoons.ml, 2)
        grams, error_pct = units.dye_g(cloth_g, owf), 100.0 * (ml / exact - 1.0)
        return Dose(dye, owf, grams, stock, times, exact, ml, error_pct, spoons)


class StockSheet(Sheet):
    """How to make one stock. `str()` is the sheet, `to_html()` the page, `to_json()` the figures.

    Attributes
    ----------
    bottle : the stock that comes of it, full.
    use_by : the day it keeps to.
    how : what to weigh and make up.
    powder_spoons : of *powder*, levelled, where a teaspoon of this dye was weighed.
    settings : the figures it rests on.
    """

    template: ClassVar[str] = "stock"

    bottle: Stock
    use_by: date
    how: Making
    powder_spoons: Spoonfuls | None
    settings: BathSettings

    @property
    def added_to_error_pct(self) -> float:
        """How much the strength changes if the powder is added *to* the volume to make up."""
        weaker = units.added_to_pct(self.how.pct, self.settings.powder_volume)
        return 100.0 * (weaker / self.how.pct - 1)


def stock_sheet(
    dye: str, strength_pct: float | None = None, make_ml: float = 500.0, *, lot: str = "",
    cold: bool = True, made: date | None = None, settings: BathSettings | None = None,
) -> StockSheet:  # fmt: skip
    """The sheet for making one stock.

    Parameters
    ----------
    dye : its name.
    strength_pct : % w/v, above 0 and at most 20; the settings' where left out.
    make_ml : volume, mL; what comes of it may be more, as the scale wants it.
    lot : lot of the powder.
    cold : whether it will be kept cold, which decides the date on the label.
    made : the day; today where left out.

    Raises
    ------
    DyemixError
        For an amount out of range.

    >>> "rust" in str(stock_sheet("rust", 1.0, 500.0))
    True
    """
    settings, made = settings or BathSettings(), made or date.today()
    refuse(not dye_name(dye), "the dye is not named: say which, as 'navy'.")
    refuse(not 0 < make_ml <= 100_000, "bench.make", make_ml)
    strength = float(settings.stock_strength if strength_pct is None else strength_pct)
    stock = Stock(dye, strength, made, cold, lot)
    how = settings.making(strength, make_ml, settings.strongest(stock.dye))
    per_teaspoon = settings.powder_per_teaspoon.get(stock.dye)
    ml = how.weigh_g / (per_teaspoon or math.inf) * SPOON_SETS[settings.spoons]["tsp"]
    spoons = spoonfuls(ml, settings.spoons) if ml else None
    use_by = made + timedelta(days=int(stock.life_days(settings)))
    return StockSheet(replace(stock, left_ml=how.up_to_ml), use_by, how, spoons, settings)
