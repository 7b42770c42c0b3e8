"""The dyer's own figures: defaults from one commented file, hers over them, checked and frozen.

`data/settings.toml` says what each figure is, its unit and where it comes from; it is what
``dyemix settings`` prints, to be edited. Here stand only the type and range of each.
"""

from __future__ import annotations

import difflib
import os
import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from itertools import pairwise
from math import log
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, get_type_hints

import numpy as np

from dyemix.dataset.recipe import SPOON_SETS, dye_name
from dyemix.dataset.units import to_mark, to_step
from dyemix.errors import Fault, InputError
from dyemix.writing import read_bytes

#: Orders in which the alkali may go in, in words; a recorded condition of every swatch (common
#: practice).
ORDERS = {
    "presoak": "cloth presoaked in alkali",
    "with": "alkali in with the dye",
    "after": "alkali after the dye",
}


Check = Callable[[Any], Any]  # gives the value as it is kept, or raises with what would be right


def _number(low: float, high: float, unit: str = "") -> Check:
    def check(value: Any) -> float:
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if not number or not low <= value <= high:
            raise ValueError(f"a number from {low:g} to {high:g} {unit}".rstrip())
        return float(value)

    return check


def _one_of(choices: Iterable[str] = ()) -> Check:
    def check(value: Any) -> str:
        if not isinstance(value, str) or (choices and value not in choices):
            raise ValueError(f"one of {', '.join(choices)}" if choices else 'a text, as "EUR"')
        return value

    return check


def _list_of(each: Check, example: str, count: int | None = None) -> Check:
    def check(value: Any) -> tuple[Any, ...]:
        if not isinstance(value, list | tuple) or len(value) != (count or max(len(value), 1)):
            raise ValueError(f"a list, as {example}")
        return tuple(map(each, value))

    return check


def _by_dye(each: Check) -> Check:
    def check(value: Any) -> Mapping[str, float]:
        if not isinstance(value, Mapping):
            raise ValueError("a table, as { turquoise = 2.0 }")
        return MappingProxyType({dye_name(str(k)): each(v) for k, v in value.items()})

    return check


def _depth_rows(value: Any) -> tuple[tuple[float, ...], ...]:
    right = "rows [depth, salt, soda, solution], as [0.5, 30.0, 5.5, 40.0], whose depth rises"
    rows: tuple[tuple[float, ...], ...] = _list_of(_list_of(_number(0, 400), right), right)(value)
    rising = all(paler[0] < deeper[0] for paler, deeper in pairwise(rows))
    # A kept sheet of before has no solution in its rows: there `soda_solution` says it.
    if {len(row) for row in rows} not in ({3}, {4}) or not rising:
        raise ValueError(right)
    return rows


#: g/L of a soda solution where neither `depths` nor `soda_solution` says one (common practice).
_SOLUTION = 45.0
_HOURS, _WARMTH, _DEPTH = _number(0.1, 240, "h"), _number(0, 99, "°C"), _number(0.001, 20, "% owf")
_SODA, _STOCK = _number(1, 215, "g/L of soda ash"), _number(0.1, 36, "% w/v")
_LIQUOR, _PRICE = _number(1, 200, "mL per g of dry cloth"), _number(0, 1e4, "per g")


@dataclass(frozen=True)
class Making:
    """A solution as a scale can make it.

    Attributes
    ----------
    weigh_g, make_ml, pct : so many grams made up to so many mL, which is so many % w/v.
    take_ml, up_to_ml : where that is stronger than wanted, so much of it made up to so much; else
        0, and what was made.
    """

    weigh_g: float
    make_ml: float
    pct: float
    take_ml: float
    up_to_ml: float


@dataclass(frozen=True, init=False)
class BathSettings:
    """Every figure a bath or stock sheet rests on; `data/settings.toml` says what each is.

    Made with the figures that are not the default's: ``BathSettings(wet_pickup=65)``. Raises
    `InputError` with every fault of them.
    """

    liquor_ratio: Annotated[float, _LIQUOR]
    low_water: Annotated[float, _number(1, 100, "mL per g of dry cloth")]
    low_water_below: Annotated[float, _number(0, 100, "mL per g of dry cloth")]
    wet_pickup: Annotated[float, _number(0, 400, "% of dry weight")]
    tolerance: Annotated[float, _number(0, 20, "ΔE2000")]
    mixtures: Annotated[tuple[str, ...], _list_of(_one_of(), '["black", "navy"]')]
    large: Annotated[float, _number(0, 1e6, "g of cloth")]
    pot: Annotated[float, _number(0.1, 1e4, "L")]
    alkali: Annotated[str, _one_of(ORDERS)]
    alkali_after: Annotated[float, _number(0, 24, "h")]
    depths: Annotated[tuple[tuple[float, ...], ...], _depth_rows]
    soda_solution: Annotated[float | None, _SODA]
    soda_solution_usual: Annotated[tuple[float, ...], _list_of(_SODA, "[30.0, 60.0]", 2)]
    soda_share: Annotated[float, _number(0, 10, "volumes")]
    presoak_volume: Annotated[float, _LIQUOR]
    crystals: Annotated[float, _number(1, 4, "g")]
    soda_monohydrate: Annotated[float, _number(1, 4, "g")]
    glauber_crystals: Annotated[float, _number(1, 4, "g")]
    salt_stock: Annotated[float | None, _STOCK]
    soda_stock: Annotated[float | None, _number(0.1, 21.5, "% w/v")]
    small_salt_stock: Annotated[float, _STOCK]
    small_soda_stock: Annotated[float, _number(0.1, 21.5, "% w/v")]
    drain_limit: Annotated[float, _number(0, 1e6, "g")]
    temperature: Annotated[float, _WARMTH]
    hours: Annotated[float, _HOURS]
    faster_by_10: Annotated[float, _number(1.1, 10, "times")]
    coolest: Annotated[float, _WARMTH]
    slow_dyes: Annotated[Mapping[str, float], _by_dye(_number(0, 100, "times"))]
    soak_temperature: Annotated[float, _number(20, 99, "°C")]
    stock_strength: Annotated[float, _number(0.001, 20, "% w/v")]
    stock_days_warm: Annotated[float, _number(0, 365, "days")]
    stock_days_cold: Annotated[float, _number(0, 365, "days")]
    powder_volume: Annotated[float, _number(0, 2, "mL per g")]
    soluble: Annotated[Mapping[str, float], _by_dye(_number(0.1, 20, "% w/v"))]
    bottle: Annotated[float, _number(10, 1e5, "mL")]
    stock_spare: Annotated[float, _number(0, 200, "%")]
    stock_batch: Annotated[float, _number(1, 5000, "mL")]
    units: Annotated[str, _one_of(("metric", "us"))]
    spoons: Annotated[str, _one_of(SPOON_SETS)]
    measuring_step: Annotated[float, _number(0.01, 50, "mL")]
    smallest_dose: Annotated[float, _number(0.05, 100, "mL")]
    jug_from: Annotated[float, _number(0, 1e5, "mL")]
    scale_step: Annotated[float, _number(0.0001, 10, "g")]
    fewest_steps: Annotated[float, _number(1, 1000, "steps")]
    powder_per_teaspoon: Annotated[Mapping[str, float], _by_dye(_number(0.1, 99, "g"))]
    first_depths: Annotated[tuple[float, ...], _list_of(_DEPTH, "[2.0, 0.5, 0.125]")]
    first_mix: Annotated[float, _DEPTH]
    currency: Annotated[str, _one_of()]
    dye_cost: Annotated[Mapping[str, float], _by_dye(_PRICE)]
    salt_cost: Annotated[float | None, _PRICE]
    soda_cost: Annotated[float | None, _PRICE]

    def __init__(self, **changes: Any) -> None:
        checks, defaults = _checks_and_defaults()
        faults = []
        for name in sorted(set(changes) - set(checks)):
            near = difflib.get_close_matches(name, checks, 1)
            hint = f"did you mean {near[0]}?" if near else "no setting has this name."
            faults.append(Fault(f"is unknown: {hint}", column=name))
        given = {**dict.fromkeys(checks), **defaults, **changes}
        for name, check in checks.items():
            off = given[name] is None and name not in defaults
            try:
                value = None if off else check(given[name])
            except ValueError as error:
                faults.append(Fault(f"{given[name]!r} will not do: it is {error}.", column=name))
            else:
                object.__setattr__(self, name, value)
        if not faults and self.low_water > self.low_water_below:
            right = f"it is at most low_water_below, {self.low_water_below:g}"
            faults.append(Fault(f"{self.low_water:g} will not do: {right}.", column="low_water"))
        if faults:
            raise InputError(faults)

    @classmethod
    def load(cls, path: str | os.PathLike[str]) -> BathSettings:
        """Read a TOML file; what it leaves out keeps its default. Raises `InputError`."""
        name = Path(path).name
        try:
            return cls(**tomllib.loads(read_bytes(path).decode()))
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            raise InputError(Fault(f"is not a TOML file: {error}.", name)) from None
        except InputError as error:
            raise InputError([replace(f, file=name) for f in error.faults]) from None

    def doses(self, depth: float) -> tuple[float, float, float]:
        """For a total depth in % owf: salt and soda ash of a stirred bath, and the soda solution of
        low water and of a presoak, each in g/L.
        """
        depths, *rows = zip(*self.depths, strict=True)
        salt, soda, *solution = (float(np.interp(depth, depths, row)) for row in rows)
        return salt, soda, self.soda_solution or (solution or [_SOLUTION])[0]

    def stirred_share(self, liquor_ratio: float) -> float:
        """How far a bath is from low water to stirred, 0 to 1."""
        return float(np.interp(liquor_ratio, (self.low_water, self.low_water_below), (0.0, 1.0)))

    @property
    def least_weighed(self) -> float:
        """The least that the scale weighs well, g."""
        return self.scale_step * self.fewest_steps

    def making(self, pct: float, wanted_ml: float, strongest: float = 0.0) -> Making:
        """How to make `wanted_ml` or a little more of a solution of `pct` % w/v.

        Nothing is weighed that the scale does not weigh well: where the grams are too few, more is
        made, or a solution of the `strongest` % w/v that dissolves, which is then diluted.
        """
        least = self.least_weighed
        grams = to_step(max(pct * wanted_ml / 100.0, least), self.scale_step)
        volume = 100.0 * grams / pct
        if volume <= max(1.05 * wanted_ml, self.bottle) or strongest <= pct:
            return Making(grams, volume, pct, 0.0, volume)
        take = max(wanted_ml * pct / strongest, self.smallest_dose)
        take = to_mark(take, self.measuring_step)
        grams = to_step(max(strongest * take / 100.0, least), self.scale_step)
        return Making(grams, 100.0 * grams / strongest, strongest, take, take * strongest / pct)

    def strongest(self, dye: str) -> float:
        """Stock of a dye, % w/v, up to which it dissolves without care."""
        return self.soluble.get(dye, self.soluble.get("", 20.0))

    def usual_hours(self, temperature: float) -> float:
        """Hours of fixing at a temperature in °C, to three figures, for a dye that is not slow."""
        hours = self.hours * self.faster_by_10 ** ((self.temperature - temperature) / 10.0)
        return float(f"{hours:.3g}")

    def warmer(self, times: float) -> float:
        """How many °C more do as well as so many times the hours."""
        return 10.0 * log(times) / log(self.faster_by_10)

    def slowest(self, dyes: Iterable[str]) -> tuple[str, float]:
        """The slowest of these dyes and how many times the hours it wants; "" and 1 if none is."""
        slow = [(f, dye) for dye in dyes for word, f in self.slow_dyes.items() if word in dye]
        factor, dye = max(slow, default=(1.0, ""))
        return (dye, factor) if factor > 1 else ("", 1.0)


def defaults_text() -> str:
    """The commented file of every default."""
    return files("dyemix").joinpath("data", "settings.toml").read_text(encoding="utf-8")


@cache
def _checks_and_defaults() -> tuple[dict[str, Check], dict[str, Any]]:
    hints = get_type_hints(BathSettings, include_extras=True)
    checks = {name: hint.__metadata__[0] for name, hint in hints.items()}
    return checks, tomllib.loads(defaults_text())
