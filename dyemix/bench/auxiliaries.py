"""Salt and soda ash of a bath, by the order in which the alkali goes in; and what a bath costs.

Soda ash in a stirred bath is dosed in g/L of the bath; in low water, where that would be too
little, as a solution by volume; a presoak is a solution of the same strength (common practice).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from dyemix.bench.dosing import Dose
from dyemix.bench.settings import BathSettings
from dyemix.dataset.units import auxiliary_stock_ml


@dataclass(frozen=True)
class Salt:
    """Salt: `g` in all, `g_l` of the total liquor; `solution_ml` where it comes as a stock."""

    g: float
    g_l: float
    stock_pct: float | None
    solution_ml: float


@dataclass(frozen=True)
class Soda:
    """Soda ash, by the order in which it goes in (one of `settings.ORDERS`).

    Attributes
    ----------
    g : soda ash to weigh; `crystals_g` is washing-soda crystals instead of it.
    g_l : soda ash in the bath once it is all in, g/L of the total liquor.
    wanted_g_l : what the settings' table wants of a stirred bath.
    solution_g_l, solution_ml : the solution to make up; None where it is dissolved in some of
        the water.
    into_bath_ml : liquid it brings into the bath (none by a presoak: the cloth holds that).
    """

    order: str
    g: float
    crystals_g: float
    g_l: float
    wanted_g_l: float
    solution_g_l: float | None
    solution_ml: float | None
    into_bath_ml: float


@dataclass(frozen=True)
class Cost:
    """What a bath costs: dye, salt, soda; `unpriced` names what has no price and is not in it."""

    dye: float
    salt: float
    soda: float
    unpriced: tuple[str, ...]
    currency: str

    @property
    def total(self) -> float:
        return self.dye + self.salt + self.soda


def salt_for(cloth_g: float, ratio: float, g_per_l: float, settings: BathSettings) -> Salt:
    """Salt for `g_per_l` of the total liquor, weighed or as the settings' solution."""
    solution = 0.0
    if settings.salt_stock is not None:
        solution = auxiliary_stock_ml(cloth_g, ratio, g_per_l, settings.salt_stock)
    return Salt(cloth_g * ratio * g_per_l / 1000.0, g_per_l, settings.salt_stock, solution)


def soda_for(
    order: str, cloth_g: float, ratio: float, holds_ml: float, depth: float, settings: BathSettings
) -> Soda:
    """Soda ash for a bath of `ratio` mL per g, of `depth` % owf in all.

    In low water the solution is `soda_share` times the dye liquor that is poured on, so that
    ``dye liquor + soda solution + what the cloth holds = total liquor``.
    """
    total = cloth_g * ratio
    wanted = settings.depth_row(depth).soda
    strength: float | None = settings.soda_solution
    make: float | None
    if order == "presoak":
        make, into_bath = cloth_g * settings.presoak_volume, 0.0
        carried = settings.soda_solution * holds_ml / 1000.0
        grams = settings.soda_solution * make / 1000.0
    elif ratio < settings.low_water_below:
        share = settings.soda_share / (1.0 + settings.soda_share)
        make = into_bath = max(total - holds_ml, 0.0) * share
        grams = carried = settings.soda_solution * make / 1000.0
    else:
        grams = carried = wanted * total / 1000.0
        make, into_bath, strength = None, 0.0, None
        if settings.soda_stock is not None:
            strength = 10.0 * settings.soda_stock
            make = into_bath = auxiliary_stock_ml(cloth_g, ratio, wanted, settings.soda_stock)
    return Soda(
        order=order,
        g=grams,
        crystals_g=grams * settings.crystals,
        g_l=1000.0 * carried / total,
        wanted_g_l=wanted,
        solution_g_l=strength,
        solution_ml=make,
        into_bath_ml=into_bath,
    )


def cost_of(doses: Iterable[Dose], salt: Salt, soda: Soda, settings: BathSettings) -> Cost | None:
    """Cost at the settings' prices per gram; None where there is no price at all.

    The key ``""`` of `dye_cost` is the price of every other dye.
    """
    prices = settings.dye_cost
    if not prices and settings.salt_cost is None and settings.soda_cost is None:
        return None
    unpriced, dye = [], 0.0
    for part in doses:
        price = prices.get(part.dye, prices.get(""))
        if price is None:
            unpriced.append(part.dye)
        else:
            dye += part.dye_g * price
    for name, grams, price in (
        ("salt", salt.g, settings.salt_cost),
        ("soda ash", soda.g, settings.soda_cost),
    ):
        if price is None and grams > 0:
            unpriced.append(name)
    return Cost(
        dye=dye,
        salt=salt.g * (settings.salt_cost or 0.0),
        soda=soda.g * (settings.soda_cost or 0.0),
        unpriced=tuple(unpriced),
        currency=settings.currency,
    )
