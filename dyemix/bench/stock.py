"""Stock solutions: one dye, one strength, one date; and the sheet to make one by."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from typing import ClassVar

from dyemix.bench.settings import BathSettings, Making
from dyemix.bench.sheet import Sheet
from dyemix.dataset.recipe import SPOON_SETS, Spoonfuls, dye_name, spoonfuls
from dyemix.dataset.units import added_to_pct
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
        return 100.0 * (added_to_pct(self.how.pct, self.settings.powder_volume) / self.how.pct - 1)


def stock_sheet(
    dye: str,
    strength_pct: float | None = None,
    make_ml: float = 500.0,
    *,
    lot: str = "",
    cold: bool = True,
    made: date | None = None,
    settings: BathSettings | None = None,
) -> StockSheet:
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
    settings = settings or BathSettings()
    if not dye_name(dye):
        raise DyemixError("the dye is not named: say which, as 'navy'.")
    if not 0 < make_ml <= 100_000:
        raise DyemixError(f"{make_ml:g} mL of stock is out of range: above 0, at most 100 000 mL.")
    made = made or date.today()
    strength = float(settings.stock_strength if strength_pct is None else strength_pct)
    stock = Stock(dye, strength, made, cold, lot)
    how = settings.making(strength, make_ml, settings.strongest(stock.dye))
    per_teaspoon = settings.powder_per_teaspoon.get(stock.dye)
    ml = how.weigh_g / (per_teaspoon or math.inf) * SPOON_SETS[settings.spoons]["tsp"]
    return StockSheet(
        bottle=Stock(dye, strength, made, cold, lot, left_ml=how.up_to_ml),
        use_by=made + timedelta(days=int(stock.life_days(settings))), how=how,
        powder_spoons=spoonfuls(ml, settings.spoons) if ml else None,
        settings=settings,
    )  # fmt: skip
