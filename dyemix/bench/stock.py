"""Stock solutions: one dye, one strength, one date; and the sheet to make one by."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import ClassVar

from dyemix.bench.settings import BathSettings
from dyemix.bench.sheet import Sheet
from dyemix.dataset.recipe import SPOON_SETS, Spoonfuls, dye_name, spoonfuls
from dyemix.dataset.units import added_to_pct, to_step
from dyemix.errors import DyemixError

MADE_UP_TO = "made up to"
ADDED_TO = "added to"


@dataclass(frozen=True)
class Stock:
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
        if not 0 < self.strength_pct <= 20:
            raise DyemixError(
                f"stock {self.strength_pct:g} % is out of range: above 0, at most 20 (% w/v)."
            )
        if self.how not in (MADE_UP_TO, ADDED_TO):
            raise DyemixError(f"{self.how!r} is unknown: a stock is 'made up to' or 'added to'.")
        if self.left_ml is not None and not 0 <= self.left_ml < float("inf"):
            raise DyemixError(f"{self.left_ml:g} mL of {self.dye} is not a volume left over.")

    def actual_pct(self, settings: BathSettings) -> float:
        """% w/v once the room that the powder takes up is counted (`how`)."""
        if self.how == MADE_UP_TO:
            return self.strength_pct
        return added_to_pct(self.strength_pct, settings.powder_volume)

    def life_days(self, settings: BathSettings) -> float:
        return settings.stock_days_cold if self.cold else settings.stock_days_warm

    def age_days(self, on: date) -> int | None:
        """Days since it was made, on the day `on`. Raises `DyemixError` before it was made."""
        if self.made is None:
            return None
        days = (on - self.made).days
        if days < 0:
            raise DyemixError(
                f"{self.dye} stock is dated {self.made}, after this sheet's {on}: mend one date."
            )
        return days

    def past_life(self, on: date, settings: BathSettings) -> bool:
        """Whether it is older than its life; a stock without a date is not known to be."""
        days = self.age_days(on)
        return days is not None and days > self.life_days(settings)


@dataclass(frozen=True)
class StockSheet(Sheet):
    """How to make one stock. `str()` is the sheet, `to_html()` the page, `to_json()` the figures.

    Attributes
    ----------
    bottle : the stock that comes of it, full.
    use_by : the day it keeps to.
    powder_g : powder to weigh, g; `weigh_g` is that to the step of the scale.
    weighing_error_pct : what the step does to the strength.
    g_per_teaspoon : of *powder*, levelled, where this dye's are known; `powder_spoons` likewise.
    added_to_error_pct : how much weaker it would be, had the powder been added to this volume.
    cup_error_pct : strength error if 250 mL is measured with the US cup of 236.6 mL.
    warnings : what to see to first.
    settings : the figures it rests on.
    """

    template: ClassVar[str] = "stock"

    bottle: Stock
    use_by: date
    powder_g: float
    weigh_g: float
    weighing_error_pct: float
    g_per_teaspoon: float | None
    powder_spoons: Spoonfuls | None
    added_to_error_pct: float
    cup_error_pct: float
    warnings: tuple[str, ...]
    settings: BathSettings


def stock_sheet(
    dye: str,
    strength_pct: float | None = None,
    make_ml: float = 500.0,
    *,
    lot: str = "",
    cold: bool = True,
    made: date | None = None,
    g_per_teaspoon: float | None = None,
    settings: BathSettings | None = None,
) -> StockSheet:
    """The sheet for making one stock.

    Parameters
    ----------
    dye : its name.
    strength_pct : % w/v, above 0 and at most 20; the settings' where left out.
    make_ml : volume, mL.
    lot : lot of the powder.
    cold : whether it will be kept cold, which decides the date on the label.
    made : the day; today where left out.
    g_per_teaspoon : grams of this dye in a levelled teaspoon; the settings' for this dye, if any.
        Levelled teaspoons of five powders ran from 3.8 to 4.9 g (common practice): never a
        figure for all dyes.

    Raises
    ------
    DyemixError
        For an amount out of range.

    >>> "rust" in str(stock_sheet("rust", 1.0, 500.0))
    True
    """
    settings = settings or BathSettings()
    if not dye_name(dye):
        raise DyemixError("the dye is not named: say which, as 'navy'.")
    if not 0 < make_ml <= 100_000:
        raise DyemixError(f"{make_ml:g} mL of stock is out of range: above 0, at most 100 000 mL.")
    strength = float(settings.stock_strength if strength_pct is None else strength_pct)
    made = made or date.today()
    stock = Stock(dye, strength, made, cold, lot, left_ml=float(make_ml))
    if g_per_teaspoon is None:
        g_per_teaspoon = settings.powder_per_teaspoon.get(stock.dye)
    if g_per_teaspoon is not None and not 0 < g_per_teaspoon < 100:
        raise DyemixError(
            f"{g_per_teaspoon:g} g per levelled teaspoon of {stock.dye} is out of range."
        )
    powder = strength * make_ml / 100.0
    weigh = to_step(powder, settings.scale_step)
    error = 100.0 * (weigh / powder - 1.0)
    warnings: tuple[str, ...] = ()
    if abs(error) > 2.0 or powder < 10 * settings.scale_step:
        more = 50 * settings.scale_step / strength * 100.0
        warnings = (
            f"{powder:.3g} g is too little for a scale that shows {settings.scale_step:g} g: make "
            f"{more:.0f} mL or more, or take a finer scale.",
        )
    spoons = None
    if g_per_teaspoon is not None:
        teaspoon = SPOON_SETS[settings.spoons]["tsp"]
        spoons = spoonfuls(powder / g_per_teaspoon * teaspoon, settings.spoons)
    added = added_to_pct(strength, settings.powder_volume)
    cups = SPOON_SETS["metric"]["cup"] / SPOON_SETS["us"]["cup"]
    return StockSheet(
        bottle=stock, use_by=made + timedelta(days=int(stock.life_days(settings))),
        powder_g=powder, weigh_g=weigh, weighing_error_pct=error, g_per_teaspoon=g_per_teaspoon,
        powder_spoons=spoons, added_to_error_pct=100.0 * (added / strength - 1.0),
        cup_error_pct=100.0 * (cups - 1.0), warnings=warnings, settings=settings,
    )  # fmt: skip
