"""Stock solutions: one dye, one strength, one date; and the sheet to make one by."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from dyemix.bench import cautions
from dyemix.bench.page import Block, Facts, Label, Notes, Page
from dyemix.bench.printed import Printed
from dyemix.bench.settings import BathSettings
from dyemix.dataset.recipe import SPOON_SETS, Spoonfuls, dye_name, spoonfuls
from dyemix.dataset.units import added_to_pct, spoon_set_name, to_step, volume_text
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
        _check_strength(self.strength_pct)
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
class StockSheet(Printed):
    """How to make one stock. `str()` is the sheet, `to_html()` the page, `to_json()` the figures.

    Attributes
    ----------
    dye, lot : what it is.
    strength_pct : % w/v, g per 100 mL.
    make_ml : volume made up to, mL.
    powder_g : powder to weigh, g; `weigh_g` is that to the step of the scale.
    weighing_error_pct : what the step does to the strength.
    powder_spoons : levelled spoons of *powder*, where this dye's grams per teaspoon are known.
    made, use_by : dates.
    added_to_error_pct : how much weaker it would be, had the powder been added to this volume.
    cup_error_pct : strength error if 250 mL is measured with the US cup of 236.6 mL.
    """

    dye: str
    lot: str
    strength_pct: float
    make_ml: float
    powder_g: float
    weigh_g: float
    weighing_error_pct: float
    g_per_teaspoon: float | None
    powder_spoons: Spoonfuls | None
    made: date
    use_by: date
    cold: bool
    added_to_error_pct: float
    cup_error_pct: float
    units: str
    spoons: str
    warnings: tuple[str, ...]

    @property
    def bottle(self) -> Stock:
        """The stock that comes of it, full."""
        return Stock(
            self.dye, self.strength_pct, self.made, self.cold, self.lot, left_ml=self.make_ml
        )

    def page(self) -> Page:
        """The sheet as blocks for text or print."""
        volume = volume_text(self.make_ml, self.units)
        powder = f"{self.weigh_g:g} g of {self.dye} powder"
        if abs(self.weighing_error_pct) >= 0.5:
            powder += f" ({self.weighing_error_pct:+.0f} % of {self.powder_g:.3g} g)"
        strength = f"{self.strength_pct:g} % w/v (g per 100 mL)"
        rows = [
            ("Stock", f"{self.dye} {strength}; lot {self.lot or '________'}"),
            ("Weigh", powder),
        ]
        if self.powder_spoons is not None:
            spoons = (
                f"{self.powder_spoons} of POWDER, levelled: {self.g_per_teaspoon:g} g per teaspoon "
                f"of this dye only ({spoon_set_name(self.spoons)} spoons). Weighing is surer."
            )
            rows.append(("Or spoons", spoons))
        days = (self.use_by - self.made).days
        rows += [
            ("Paste", "stir the powder to a smooth paste with a little lukewarm water; thin it."),
            (
                "Make up",
                f"TO {volume} in all, in a measuring jug; not: add {volume} of water, which makes "
                f"it {abs(self.added_to_error_pct):.1f} % weaker.",
            ),
            (
                "Cups",
                "use mL marks: a US cup taken for 250 mL makes it "
                f"{self.cup_error_pct:.1f} % stronger.",
            ),
            (
                "Keep",
                f"without alkali, closed, labelled, {'cold' if self.cold else 'cool and dark'}, "
                "away from children, never where food or drink is kept. About "
                f"{days} days (common practice), until {self.use_by}.",
            ),
            ("Use", "one dye a bottle: mixed stocks drift in hue, so mix on the day."),
        ]
        label = (
            f"{self.dye} {self.strength_pct:g} %",
            "DYE, NOT DRINK. Keep from children.",
            f"{self.strength_pct:g} g per 100 mL, no alkali"
            + (f"; lot {self.lot}" * bool(self.lot)),
            f"made {self.made}",
            f"use by {self.use_by}" + (", kept cold" if self.cold else ""),
        )
        blocks: list[Block] = [Facts(tuple(rows))]
        if self.warnings:
            blocks.insert(0, Notes("Check first", self.warnings, "!"))
        blocks += [Label(label), Notes("Cautions", cautions.STOCK)]
        return Page(f"Stock sheet: {self.dye} {self.strength_pct:g} %, {volume}", tuple(blocks))


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
    """
    settings = settings or BathSettings()
    name = dye_name(dye)
    if not name:
        raise DyemixError("the dye is not named: say which, as 'navy'.")
    strength = settings.stock_strength if strength_pct is None else strength_pct
    _check_strength(strength)
    if not 0 < make_ml <= 100_000:
        raise DyemixError(f"{make_ml:g} mL of stock is out of range: above 0, at most 100 000 mL.")
    if g_per_teaspoon is None:
        g_per_teaspoon = settings.powder_per_teaspoon.get(name)
    if g_per_teaspoon is not None and not 0 < g_per_teaspoon < 100:
        raise DyemixError(f"{g_per_teaspoon:g} g per levelled teaspoon of {name} is out of range.")
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
    made = made or date.today()
    life = settings.stock_days_cold if cold else settings.stock_days_warm
    return StockSheet(
        dye=name,
        lot=lot,
        strength_pct=float(strength),
        make_ml=float(make_ml),
        powder_g=powder,
        weigh_g=weigh,
        weighing_error_pct=error,
        g_per_teaspoon=g_per_teaspoon,
        powder_spoons=spoons,
        made=made,
        use_by=made + timedelta(days=int(life)),
        cold=cold,
        added_to_error_pct=100.0
        * (added_to_pct(strength, settings.powder_volume) / strength - 1.0),
        cup_error_pct=100.0 * (SPOON_SETS["metric"]["cup"] / SPOON_SETS["us"]["cup"] - 1.0),
        units=settings.units,
        spoons=settings.spoons,
        warnings=warnings,
    )


def _check_strength(pct: float) -> None:
    if not 0 < pct <= 20:
        raise DyemixError(f"stock {pct:g} % is out of range: above 0, at most 20 (% w/v).")
