"""Salt and soda ash of a bath, by the order in which the alkali goes in; and what a bath costs.

Soda ash in a stirred bath is dosed in g/L of the bath; in low water, where that would be too
little, as a solution by volume; a presoak is a solution of the same strength (common practice).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from dyemix.bench.dosing import Dose
from dyemix.bench.method import Method
from dyemix.bench.settings import BathSettings
from dyemix.dataset.units import auxiliary_stock_ml


@dataclass(frozen=True)
class Auxiliary:
    """Salt, or soda ash.

    Attributes
    ----------
    g : to weigh.
    g_l : in the bath once it is all in, g/L of the total liquor.
    solution_g_l, solution_ml : the solution to make up; None where it goes in dry, or is dissolved
        in some of the water.
    into_bath_ml : liquid it brings into the bath (none by a presoak: the cloth holds that).
    """

    g: float
    g_l: float
    solution_g_l: float | None = None
    solution_ml: float | None = None
    into_bath_ml: float = 0.0


@dataclass(frozen=True)
class Cost:
    """What a bath costs: dye, salt, soda; `unpriced` names what has no price and is not in it."""

    dye: float
    salt: float
    soda: float
    unpriced: tuple[str, ...]

    @property
    def total(self) -> float:
        return self.dye + self.salt + self.soda


def auxiliary(cloth_g: float, ratio: float, g_per_l: float, stock_pct: float | None) -> Auxiliary:
    """So much for `g_per_l` of the total liquor, dry or as a stock of so many % w/v."""
    grams = cloth_g * ratio * g_per_l / 1000.0
    if stock_pct is None or not g_per_l:
        return Auxiliary(grams, g_per_l)
    ml = auxiliary_stock_ml(cloth_g, ratio, g_per_l, stock_pct)
    return Auxiliary(grams, g_per_l, 10.0 * stock_pct, ml, ml)


def salt_and_soda(
    method: Method, cloth_g: float, holds_ml: float, depth: float, settings: BathSettings
) -> tuple[Auxiliary, Auxiliary]:
    """Salt and soda ash for a bath of `depth` % owf in all, its cloth holding `holds_ml`.

    In full low water the solution of soda is `soda_share` times the dye liquor that is poured on,
    so that ``dye liquor + soda solution + what the cloth holds = total liquor``. With more liquor
    it stays as much, until a stirred bath's g/L come to more.
    """
    ratio, total = method.liquor_ratio, cloth_g * method.liquor_ratio
    salt = auxiliary(cloth_g, ratio, method.salt, settings.salt_stock)
    strength = settings.soda_solution
    if method.alkali == "presoak":
        make = cloth_g * settings.presoak_volume
        carried = strength * holds_ml / total
        return salt, Auxiliary(strength * make / 1000.0, carried, strength, make)
    share = settings.soda_share / (1.0 + settings.soda_share)
    by_volume = max(min(total, cloth_g * settings.low_water) - holds_ml, 0.0) * share
    _, stirred = settings.salt_and_soda(depth)
    g_per_l = max(strength * by_volume / total, stirred)
    low = ratio < settings.low_water_below
    return salt, auxiliary(cloth_g, ratio, g_per_l, strength / 10.0 if low else settings.soda_stock)


def cost_of(
    doses: Iterable[Dose], salt: Auxiliary, soda: Auxiliary, settings: BathSettings
) -> Cost | None:
    """Cost at the settings' prices per gram; None where there is no price at all.

    The key ``""`` of `dye_cost` is the price of every other dye.
    """
    prices = settings.dye_cost
    if not prices and settings.salt_cost is None and settings.soda_cost is None:
        return None
    dyes = [(dose.dye, dose.dye_g, prices.get(dose.dye, prices.get(""))) for dose in doses]
    others = [("salt", salt.g, settings.salt_cost), ("soda ash", soda.g, settings.soda_cost)]
    unpriced = tuple(name for name, grams, price in dyes + others if price is None and grams > 0)
    costs = [grams * (price or 0.0) for _, grams, price in dyes + others]
    return Cost(sum(costs[:-2]), costs[-2], costs[-1], unpriced)
