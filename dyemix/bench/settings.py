"""The dyer's own figures: defaults from one commented file, hers over them, checked and frozen.

`data/settings.toml` says what each figure is, its unit and where it comes from; it is what
``dyemix settings`` prints, to be edited; `data/settings_ranges.toml` says what each may be.
"""

import difflib
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from importlib.resources import files
from itertools import pairwise
from math import ceil, log
from pathlib import Path
from types import MappingProxyType
from typing import Any, Self

import numpy as np

from dyemix.dataset.recipe import dye_name
from dyemix.dataset.result import Value
from dyemix.dataset.units import to_mark, to_step
from dyemix.errors import DyemixError, Fault, InputError, data, refuse, said
from dyemix.writing import Named, read_bytes

#: Orders in which the alkali may go in, in words.
ORDERS: Mapping[str, str] = data("methods")["orders"]


def _kept(value: Any, like: Any, allowed: Sequence[Any]) -> Any:
    """A value as it is kept, of the kind that `like` is of, where the ranges say it is `allowed`.

    Raises `DyemixError` with what would be right.
    """
    if isinstance(like, list):
        refuse(not isinstance(value, list | tuple) or not value, f"a list, as {like}")
        return tuple(_kept(each, like[0], allowed) for each in value)
    if isinstance(like, dict):
        refuse(not isinstance(value, Mapping), "a table, as { turquoise = 2.0 }")
        each = {dye_name(str(dye)): _kept(number, 0.0, allowed) for dye, number in value.items()}
        return MappingProxyType(each)
    if isinstance(like, str):
        right = f"one of {', '.join(allowed)}" if allowed else 'a text, as "EUR"'
        refuse(not isinstance(value, str) or (allowed and value not in allowed), right)
        return value
    low, high, *unit = allowed
    if isinstance(value, int | float) and not isinstance(value, bool) and low <= value <= high:
        return float(value)
    raise DyemixError(" ".join([f"a number from {low:g} to {high:g}", *unit]))


#: g/L of a soda solution where neither `depths` nor `soda_solution` says one (common practice).
_SOLUTION = 45.0
_ROWS = "rows [depth, salt, soda, solution], as [0.5, 30.0, 5.5, 40.0], whose depth rises"


class Making(Value):
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


#: Each figure by its default, None where it has none; their ranges name all there are.
_DEFAULTS: dict[str, Any] = dict.fromkeys(data("settings_ranges")) | data("settings")
_Figures: Any = Value  # whose fields are told by those files


class BathSettings(_Figures):  # type: ignore[misc]
    """Every figure a bath or stock sheet rests on; `data/settings.toml` says what each is.

    Made with the figures that are not the default's: ``BathSettings(wet_pickup=65)``. Raises
    `InputError` with every fault of them.
    """

    __annotations__ = dict.fromkeys(_DEFAULTS, Any)

    def __init__(self, *figures: Any, **changes: Any) -> None:
        faults, changes = [], dict(zip(_DEFAULTS, figures, strict=False)) | changes
        for name in sorted(set(changes) - set(_DEFAULTS)):
            near = difflib.get_close_matches(name, _DEFAULTS, 1)
            hint = f"did you mean {near[0]}?" if near else "no setting has this name."
            faults.append(Fault(f"is unknown: {hint}", column=name))
        for name, like in _DEFAULTS.items():
            value = changes.get(name, like)
            try:
                if value is not None or like is not None:
                    value = _kept(value, like, data("settings_ranges")[name])
            except DyemixError as error:
                faults.append(Fault(f"{value!r} will not do: it is {error}.", column=name))
            object.__setattr__(self, name, value)
        if not faults:
            rows, usual = self.depths, self.soda_solution_usual
            # A kept sheet of before has no solution in its rows: there `soda_solution` says it.
            sound = {len(row) for row in rows} in ({3}, {4})
            low, below = self.low_water, self.low_water_below
            for value, name, holds, right in (
                (rows, "depths", sound and all(a[0] < b[0] for a, b in pairwise(rows)), _ROWS),
                (usual, "soda_solution_usual", len(usual) == 2, "the least and the most"),
                (low, "low_water", low <= below, f"at most low_water_below, {below:g}"),
            ):
                if not holds:
                    faults.append(Fault(f"{value} will not do: it is {right}.", column=name))
        if faults:
            raise InputError(faults)

    @classmethod
    def load(cls, path: Named) -> Self:
        """Read a TOML file; what it leaves out keeps its default. Raises `InputError`."""
        name = Path(path).name
        try:
            return cls(**tomllib.loads(read_bytes(path).decode()))
        except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
            raise InputError(Fault(said("bench.no_toml", error), name)) from None
        except InputError as error:
            raise InputError([f._replace(file=name) for f in error.faults]) from None

    def doses(self, depth: float) -> tuple[float, float, float]:
        """For a total depth in % owf: salt and soda ash of a stirred bath, and the soda solution of
        low water and of a presoak, each in g/L.
        """
        depths, *rows = zip(*self.depths, strict=True)
        salt, soda, *solution = (float(np.interp(depth, depths, row)) for row in rows)
        return salt, soda, self.soda_solution or (solution or [_SOLUTION])[0]

    def is_low_water(self, liquor_ratio: float) -> bool:
        """Whether a liquor ratio, mL per g, is too little water to stir."""
        return bool(liquor_ratio < self.low_water_below)

    def square_g(self, liquor_ratio: float) -> float:
        """Dry weight of a swatch, g: the small bath of a lighter one in low water does not hold
        the weak stock that it needs.
        """
        return 10.0 if self.is_low_water(liquor_ratio) else 5.0

    def stirred_share(self, liquor_ratio: float) -> float:
        """How far a bath is from low water to stirred, 0 to 1."""
        return float(np.interp(liquor_ratio, (self.low_water, self.low_water_below), (0.0, 1.0)))

    @property
    def least_weighed(self) -> float:
        """The least that the scale weighs well, g."""
        return float(self.scale_step * self.fewest_steps)

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
        take = to_mark(max(wanted_ml * pct / strongest, self.smallest_dose), self.measuring_step)
        steps = ceil(strongest * take / 100.0 / self.scale_step - 1e-9)
        grams = to_step(max(steps * self.scale_step, least), self.scale_step)
        return Making(grams, 100.0 * grams / strongest, strongest, take, take * strongest / pct)

    def strongest(self, dye: str) -> float:
        """Stock of a dye, % w/v, up to which it dissolves without care."""
        return float(self.soluble.get(dye, self.soluble.get("", 20.0)))

    def may_split(self, dyes: Iterable[str]) -> tuple[str, ...]:
        """A warning of those of these dyes that are usually mixtures, where there are any."""
        blends = [d for d in dict.fromkeys(dyes) if any(word in d for word in self.mixtures)]
        return (said("bench.mixture", ", ".join(blends)),) if blends else ()

    def usual_hours(self, temperature: float) -> float:
        """Hours of fixing at a temperature in °C, to three figures, for a dye that is not slow; of
        a hot bath no fewer than `least_hours`.
        """
        hours = self.hours * self.faster_by_10 ** ((self.temperature - temperature) / 10.0)
        return float(f"{max(hours, min(self.least_hours, self.hours)):.3g}")

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
