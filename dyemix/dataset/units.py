"""Weights and volumes at the bench: the sums of a bath, and what a syringe or a spoon can hold.

The sums are common practice; stock strength is % w/v, g per 100 mL. `recipe` holds the ones that
turn stock into % owf and back.
"""

import re
from collections.abc import Mapping
from math import floor, log10

from dyemix.errors import data, refuse

#: Strength of a stock where none is stated, % w/v (g per 100 mL): a working value.
STOCK_PCT = 1.0
#: mL above which a jug measures, and no spoons: six tablespoons (a working value).
JUG_FROM = 90.0
#: A weaker stock, mixed on the day, is this many times weaker for each time over; and at most.
_TENFOLD, _WEAKEST = 10, 1000
#: Stock that a weaker one takes, mL: it is made up to ten times as much.
FOR_WEAK = 10.0

#: Grams or millilitres by what a unit is called.
_WEIGHTS: Mapping[str, float] = data("recipes")["weights"]
_VOLUMES: Mapping[str, float] = data("recipes")["volumes"]
_AMOUNT = re.compile(r"(?P<number>\d+(?:[.,]\d+)?|[.,]\d+)\s*(?P<unit>[a-z ]*)", re.IGNORECASE)


def dye_g(cloth_g: float, owf: float) -> float:
    """Grams of dye for a depth in % owf (on weight of dry fibre)."""
    return cloth_g * owf / 100.0


def stock_ml(cloth_g: float, owf: float, stock_pct: float) -> float:
    """Millilitres of stock: ``cloth g × % owf ÷ stock % (w/v)`` (common practice)."""
    return cloth_g * owf / stock_pct


def added_to_pct(strength_pct: float, powder_volume: float) -> float:
    """Strength of a stock whose powder was added *to* 100 mL, not made up to it.

    The powder takes up room (`powder_volume` in mL per g): 5 g added to 100 mL is about 3 %
    weaker than 5 g made up to 100 mL (common practice).
    """
    return strength_pct / (1.0 + powder_volume * strength_pct / 100.0)


def dilution(stock_ml: float, smallest_ml: float) -> int:
    """How far to dilute a stock so that `stock_ml` of it is a dose of `smallest_ml` or more.

    1 (as it is), 10, 100 or 1000: 10 mL made up to 100 mL, and again. 1000 also where even that
    leaves the dose too small, which the caller sees by multiplying.
    """
    times = 1
    while stock_ml * times < smallest_ml * (1 - 1e-9) and times < _WEAKEST:
        times *= _TENFOLD
    return times


def to_step(amount: float, step: float) -> float:
    """The nearest whole number of steps, never none. Free of the noise of binary fractions."""
    return round(max(1, round(amount / step)) * step, 6)


def to_mark(ml: float, step: float) -> float:
    """A volume to the marks of what holds it: a syringe's `step` below 100 mL, above it three
    figures, as a jug shows. A half goes up, and what five printed figures make of a half.
    """
    ml *= 1 + 1e-5
    return to_step(ml, step if ml < 100 else max(step, 10.0 ** (floor(log10(ml)) - 2)))


def parse_weight(text: str) -> float:
    """Grams of ``240g``, ``0.24 kg``, ``8.5 oz``, ``1 lb``. Raises `DyemixError`."""
    return _parse(text, _WEIGHTS, "recipes.no_weight")


def parse_volume(text: str) -> float:
    """Millilitres of ``500ml``, ``0.5 L``, ``16 fl oz``, ``1 qt`` (US). Raises `DyemixError`.

    A cup is refused: ‘250 mL ≈ 1 US cup’ is a 5.7 % error of strength, so say which in mL.
    """
    return _parse(text, _VOLUMES, "recipes.no_measure")


def _parse(text: str, units: Mapping[str, float], words: str) -> float:
    match = _AMOUNT.fullmatch(" ".join(text.split()))
    unit = match["unit"].strip().lower() if match else ""
    amount = float(match["number"].replace(",", ".")) if match and unit in units else 0.0
    refuse(not amount > 0, words, text=text)
    return amount * units[unit]


def weight_text(grams: float, units: str, step: float = 0.0) -> str:
    """Grams to the `step` of a scale, kilograms from 1000 g; ounces beside it for US units."""
    shown = to_step(grams, step) if step else grams
    metric = f"{shown / 1000:.3g} kg" if shown >= 999.5 else f"{shown:.3g} g"
    return f"{metric} ({grams / _WEIGHTS['oz']:.3g} oz)" if units == "us" else metric


def volume_text(ml: float, units: str) -> str:
    """Millilitres or litres, and US fluid ounces or quarts beside it for US units."""
    litres = ml / 1000
    metric = f"{ml:.1f} mL" if ml < 99.95 else f"{ml:.0f} mL" if ml < 999.5 else f"{litres:.2f} L"
    if litres >= 9.995:
        metric = f"{litres:.1f} L" if litres < 99.95 else f"{litres:.0f} L"
    if units != "us":
        return metric
    ounces = ml / _VOLUMES["fl oz"]
    return f"{metric} ({ounces / 32:.3g} qt)" if ounces >= 32 else f"{metric} ({ounces:.2g} fl oz)"


def temperature_text(celsius: float, units: str) -> str:
    """Degrees Celsius, and Fahrenheit beside it for US units."""
    return f"{celsius:g} °C ({celsius * 9 / 5 + 32:.0f} °F)" if units == "us" else f"{celsius:g} °C"
