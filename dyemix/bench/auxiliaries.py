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
    g : to weigh, as the anhydrous.
    g_l : in the bath once it is all in, g/L of the total liquor.
    solution_g_l, solution_ml : the solution that goes in; None where it goes in dry, or is
        dissolved in some of the water.
    into_bath_ml : liquid it brings into the bath (none by a presoak: the cloth holds that).
    stock_ml : of the stock solution that holds the grams, where they are too few to weigh, to be
        made up to `solution_ml`; None where they are weighed.
    """

    g: float
    g_l: float
    solution_g_l: float | None = None
    solution_ml: float | None = None
    into_bath_ml: float = 0.0
    stock_ml: float | None = None


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


def salt_and_soda(
    method: Method, cloth_g: float, holds_ml: float, depth: float, settings: BathSettings
) -> tuple[Auxiliary, Auxiliary]:
    """Salt and soda ash for a bath of `depth` % owf in all, its cloth holding `holds_ml`.

    In full low water the solution of soda is `soda_share` times the dye liquor that is poured on,
    so that ``dye liquor + soda solution + what the cloth holds = total liquor``. With more liquor
    it stays as much, until a stirred bath's g/L come to more; a dose that the method states for a
    stirred bath holds wherever it is one.
    """
    ratio, total = method.liquor_ratio, cloth_g * method.liquor_ratio
    _, stirred, strength = settings.doses(depth)
    strength = method.soda_solution or strength

    def part(g_per_l: float, own_pct: float | None, small_pct: float) -> Auxiliary:
        """Dry, or as a stock of so many % w/v: the dyer's own, or one for too few grams."""
        grams = total * g_per_l / 1000.0
        few = 0 < grams < settings.least_weighed
        pct = own_pct or (small_pct if few else None)
        if pct is None or not grams:
            return Auxiliary(grams, g_per_l)
        ml = auxiliary_stock_ml(cloth_g, ratio, g_per_l, pct)
        return Auxiliary(grams, g_per_l, 10.0 * pct, ml, ml, ml if few and not own_pct else None)

    def solution(grams: float, g_per_l: float, into_bath: bool) -> Auxiliary:
        few, ml = grams < settings.least_weighed, 1000.0 * grams / strength
        stock_ml = 100.0 * grams / settings.small_soda_stock if few else None
        return Auxiliary(grams, g_per_l, strength, ml, ml * into_bath, stock_ml)

    salt = part(method.salt, settings.salt_stock, settings.small_salt_stock)
    if method.alkali == "presoak":
        made_g = strength * cloth_g * settings.presoak_volume / 1000.0
        return salt, solution(made_g, strength * holds_ml / total, False)
    share = settings.soda_share / (1.0 + settings.soda_share)
    by_volume = max(min(total, cloth_g * settings.low_water) - holds_ml, 0.0) * share
    solution_g = strength * by_volume / 1000.0
    if method.soda is not None:  # fades to that dose, where it is less
        least = min(solution_g, method.soda * cloth_g * settings.low_water_below / 1000.0)
        solution_g += settings.stirred_share(ratio) * (least - solution_g)
    g_per_l = max(1000.0 * solution_g / total, method.soda or stirred)
    if ratio < settings.low_water_below:
        return salt, solution(total * g_per_l / 1000.0, g_per_l, True)
    return salt, part(g_per_l, settings.soda_stock, settings.small_soda_stock)


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
