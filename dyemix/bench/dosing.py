"""From % owf to what a syringe or a spoon can measure; and how the swatches were dyed."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from dyemix.bench.settings import BathSettings
from dyemix.bench.stock import ADDED_TO, Stock
from dyemix.dataset.recipe import Measures, Recipe, Spoonfuls, format_amount, spoonfuls, stock_ml
from dyemix.dataset.units import dilution, dye_g, to_step
from dyemix.errors import DyemixError, RecipeError

#: Stock that one weaker stock takes, mL: 10 mL made up to 100 mL.
_FOR_WEAK = 10.0


@dataclass(frozen=True)
class Dose:
    """One dye of a bath: what the recipe asks, and what to measure.

    Attributes
    ----------
    dye, owf : the recipe's, % owf.
    dye_g : dye in it, g.
    stock : the bottle it comes from.
    actual_pct : strength of that bottle, % w/v.
    dilution : 1 for the stock as it is; 10, 100 or 1000 for a weaker stock mixed on the day,
        where the dose would be too small to measure.
    exact_ml : volume the recipe asks, of the stock so diluted.
    ml : that to the marks of the syringe; `error_pct` is what this does to the dose.
    spoons : the same volume in spoons of *liquid*, with its own error.
    day : age of the stock in days; None without a date. `life_days` is how long it keeps.
    past_life : whether it is older.
    """

    dye: str
    owf: float
    dye_g: float
    stock: Stock
    actual_pct: float
    dilution: int
    exact_ml: float
    ml: float
    error_pct: float
    spoons: Spoonfuls
    day: int | None
    life_days: float
    past_life: bool

    @property
    def stock_ml(self) -> float:
        """Stock of full strength in the measured volume, mL."""
        return self.ml / self.dilution

    @property
    def needed_ml(self) -> float:
        """Stock of full strength to have at hand: a weak stock takes 10 mL of it."""
        return self.stock_ml if self.dilution == 1 else _FOR_WEAK

    @property
    def of(self) -> str:
        """What to measure from, in words."""
        strength = f"{self.stock.strength_pct:g} % stock"
        if self.stock.how == ADDED_TO:
            strength += f" 'added to' (really {self.actual_pct:.3g} %)"
        if self.dilution > 1:
            strength = f"WEAK, 1 in {self.dilution} of {strength}"
        if self.stock.made is None:
            return f"{strength}, no date"
        kept = f"day {self.day} of {self.life_days:.0f}" + (": PAST" if self.past_life else "")
        return f"{strength}, {self.stock.made.day} {self.stock.made:%b}, {kept}"

    @property
    def warnings(self) -> tuple[str, ...]:
        """What to see to before this dose is measured."""
        out = []
        if self.past_life:
            where = "kept cold" if self.stock.cold else "at room temperature"
            out.append(
                f"{self.dye} stock is {self.day} days old, past its {self.life_days:.0f} days "
                f"{where}: make it fresh, or expect it paler."
            )
        if self.dilution > 1:
            times = len(str(self.dilution)) - 1
            again = f", {times} times over" if times > 1 else ""
            out.append(
                f"{self.dye} {format_amount(self.owf)} % is {self.exact_ml / self.dilution:.2g} mL "
                f"of stock, too little to measure. Make {_FOR_WEAK:g} mL of stock up TO 100 "
                f"mL{again}, and measure {self.ml:g} mL of that."
            )
        if self.stock.left_ml is not None and self.needed_ml > self.stock.left_ml:
            out.append(
                f"{self.dye}: {self.needed_ml:.1f} mL is needed, {self.stock.left_ml:g} mL "
                "is left: make more."
            )
        return tuple(out)


def dose(
    dye: str, owf: float, cloth_g: float, stock: Stock, on: date, settings: BathSettings
) -> Dose:
    """Measure one dye. Raises `RecipeError` where even a stock 1 in 1000 leaves too little."""
    strength = stock.actual_pct(settings)
    strong = stock_ml(cloth_g, owf, strength)
    times = dilution(strong, settings.smallest_dose)
    exact = strong * times
    if exact < settings.smallest_dose * (1 - 1e-9):
        raise RecipeError(
            f"{dye} {owf:g} % on {cloth_g:g} g is {strong:.1g} mL of stock: too little even of "
            f"a stock 1 in {times}. Leave it out, or dye more cloth at once."
        )
    ml = to_step(exact, settings.measuring_step)
    return Dose(
        dye=dye,
        owf=owf,
        dye_g=dye_g(cloth_g, owf),
        stock=stock,
        actual_pct=strength,
        dilution=times,
        exact_ml=exact,
        ml=ml,
        error_pct=100.0 * (ml / exact - 1.0),
        spoons=spoonfuls(exact, settings.spoons),
        day=stock.age_days(on),
        life_days=stock.life_days(settings),
        past_life=stock.past_life(on, settings),
    )


def measures_of(
    stocks: tuple[Stock, ...] | float | None, cloth_g: float, settings: BathSettings
) -> Measures:
    """What turns mL, spoons and grams into % owf on this cloth.

    The strength of a stock must have been stated: where `stocks` is None, mL and spoons are
    refused on reading.
    """
    if stocks is None:
        return Measures({}, cloth_g, settings.spoons)
    if isinstance(stocks, int | float):
        return Measures({"": float(stocks)}, cloth_g, settings.spoons)
    strengths = {bottle.dye: bottle.actual_pct(settings) for bottle in newest_last(stocks)}
    return Measures(strengths, cloth_g, settings.spoons)


def newest_last(stocks: Iterable[Stock]) -> list[Stock]:
    """Bottles by the day they were made, one without a date first."""
    return sorted(stocks, key=lambda bottle: bottle.made or date.min)


def shelf_of(
    stocks: Iterable[Stock] | float | None, recipe: Recipe, settings: BathSettings
) -> Mapping[str, Stock]:
    """The bottle for each dye of a recipe; a number is the strength of every one (% w/v).

    Of two bottles of one dye the one made last is taken. Raises `RecipeError` for a dye without.
    """
    if stocks is None or isinstance(stocks, int | float):
        strength = settings.stock_strength if stocks is None else float(stocks)
        return {dye: Stock(dye, strength) for dye in recipe}
    shelf = {bottle.dye: bottle for bottle in newest_last(stocks)}
    missing = [dye for dye in recipe if dye not in shelf]
    if missing:
        raise RecipeError(
            f"no stock of {', '.join(missing)}: say its strength, or make it (dyemix stock)."
        )
    return shelf


@dataclass(frozen=True)
class DyedAs:
    """How the swatches were dyed, as far as it can be read; None where it was not recorded.

    `order` is the alkali's, one of `settings.ORDERS`; `salt` in g/L, `temperature` in °C.
    `unread` lists conditions whose words were not understood, for a warning.
    """

    order: str | None = None
    ratio: float | None = None
    temperature: float | None = None
    hours: float | None = None
    salt: float | None = None
    unread: tuple[str, ...] = ()


#: 'Dye after alkali' turns the order round, so what comes after the alkali is not 'after'.
_ORDER_WORDS = (
    ("presoak", r"pre-?\s?soak|\bsoak(?:ed)?\b|before (?:the )?dye"),
    ("with", r"\bwith\b|\bin the dye|together|mixed"),
    ("after", r"\bafter(?! (?:the )?(?:alkali|soda))"),
)


def alkali_order(text: str) -> str | None:
    """``presoak``, ``with`` or ``after``, from a dyer's words; None where they do not say one."""
    plain = text.lower()
    found = [order for order, words in _ORDER_WORDS if re.search(words, plain)]
    return found[0] if len(found) == 1 else None


def dyed_as(conditions: Mapping[str, str]) -> DyedAs:
    """Read the recorded conditions of a dye set."""
    unread: list[str] = []

    def number(key: str, pattern: str) -> float | None:
        text = conditions.get(key, "").strip()
        match = re.fullmatch(pattern, text, re.IGNORECASE)
        if text and match is None:
            unread.append(f"{key} {text!r}")
        return float(match[1].replace(",", ".")) if match else None

    figure = r"(?:about |ca\.? ?)?(\d+(?:[.,]\d+)?)"
    words = conditions.get("alkali", "").strip()
    order = alkali_order(words)
    if words and order is None:
        unread.append(f"alkali {words!r}")
    salt = conditions.get("salt", "").strip().lower()
    ratio = number("liquor ratio", figure + r"(?: ?[:/] ?1| to 1)?")
    temperature = number("temperature", figure + r" ?°? ?C?")
    hours = number("hours", figure + r" ?(?:h|hours?)?")
    grams = 0.0 if salt in ("none", "no") else number("salt", figure + r" ?g ?(?:/|per) ?L")
    return DyedAs(order, ratio, temperature, hours, grams, tuple(unread))


def check_cloth(cloth_g: float) -> None:
    """Raises `DyemixError` for a dry weight out of range."""
    if not 0 < cloth_g <= 1_000_000:
        raise DyemixError(f"{cloth_g:g} g of cloth is out of range: its dry weight is above 0.")
