"""The dyer's own figures: one table of settings, every default common practice and editable.

`str(BathSettings())` is the whole table as TOML, each figure with its unit and where it comes
from. Edit it, save it, and read it back with `BathSettings.load`.

Figures are common practice: working values that a dyer may change, never constants of nature.
"""

from __future__ import annotations

import difflib
import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from types import MappingProxyType
from typing import Any

from dyemix.dataset.recipe import SPOON_SETS, dye_name
from dyemix.dataset.units import STOCK_PCT
from dyemix.errors import Fault, InputError

#: Orders in which the alkali may go in; a recorded condition of every swatch (common practice).
ORDERS = ("presoak", "with", "after")
#: The orders of alkali and dye in words.
ORDER_TEXT = {
    "presoak": "cloth presoaked in alkali",
    "with": "alkali in with the dye",
    "after": "alkali after the dye",
}

#: Ways to print amounts: in metric, or with US customary beside it.
UNITS = ("metric", "us")


@dataclass(frozen=True)
class DepthRow:
    """Salt and soda ash of a stirred bath, g/L, for a total depth up to `up_to` % owf."""

    up_to: float
    salt: float
    soda: float


#: Ranges of common practice: salt 20–30 g/L to 0.5 %, 40–50 at 1–2 %, 60–80 at 4 %, 80–100 for
#: black; soda ash 5 g/L pale to 10 g/L dark, double for black.
DEPTHS = (
    DepthRow(0.5, 25.0, 5.0),
    DepthRow(2.0, 45.0, 7.5),
    DepthRow(4.0, 70.0, 10.0),
    DepthRow(float("inf"), 90.0, 20.0),
)


def _figure(default: float | None, unit: str, why: str, low: float, high: float) -> Any:
    """A number with its unit, where it comes from, and the range that is read without a fault."""
    return field(default=default, metadata={"unit": unit, "why": why, "low": low, "high": high})


def _word(default: str, why: str, choices: tuple[str, ...] = ()) -> Any:
    return field(default=default, metadata={"why": why, "choices": choices})


def _by_dye(default: Mapping[str, float], unit: str, why: str) -> Any:
    return field(
        default_factory=lambda: MappingProxyType(dict(default)),
        metadata={"unit": unit, "why": why, "low": 0.0, "high": 1e4, "by_dye": True},
    )


@dataclass(frozen=True)
class BathSettings:
    """Every figure a bath or stock sheet rests on. Raises `InputError` listing every fault."""

    liquor_ratio: float = _figure(
        20.0, "mL per g of dry cloth", "stirred bath 20–30; low water 4–5; common practice", 1, 200
    )
    low_water_below: float = _figure(
        10.0, "liquor ratio", "below this, soda goes in as a solution; common practice", 0, 100
    )
    wet_pickup: float = _figure(
        80.0, "% of dry weight", "wrung cloth holds 60–100; weigh yours; common practice", 0, 400
    )
    alkali: str = _word(
        "after", "soda: presoak, with the dye, or about an hour after it; common practice", ORDERS
    )
    alkali_after: float = _figure(1.0, "h after the dye", "common practice", 0, 24)
    soda_solution: float = _figure(
        45.0, "g/L soda ash", "30–60 in low water and presoaks; common practice", 1, 215
    )
    soda_share: float = _figure(
        1.0, "volume per volume of dye liquor", "low water, to start with; common practice", 0, 10
    )
    presoak_volume: float = _figure(
        5.0, "mL per g of dry cloth", "enough to cover; a working value of ours", 1, 200
    )
    crystals: float = _figure(
        2.70, "g washing-soda crystals per g soda ash", "molar masses, 286.14 to 105.99", 1, 4
    )
    salt_stock: float | None = _figure(
        None, "% w/v", "leave out where salt is weighed dry", 0.1, 36
    )
    soda_stock: float | None = _figure(
        None, "% w/v", "stirred bath; leave out where soda ash is weighed dry", 0.1, 21.5
    )
    depths: tuple[DepthRow, ...] = field(
        default=DEPTHS,
        metadata={
            "unit": "up_to % owf in all; salt and soda ash g/L",
            "why": "stirred bath; salt is none in low water; common practice",
        },
    )
    temperature: float = _figure(21.0, "°C", "a day at 21; common practice", 0, 99)
    hours: float = _figure(24.0, "h", "at that temperature; common practice", 0.1, 240)
    warm_temperature: float = _figure(35.0, "°C", "hours at 35; common practice", 0, 99)
    warm_hours: float = _figure(
        4.0, "h", "'hours' is common practice, 4 a working value of ours", 0.1, 240
    )
    coolest: float = _figure(21.0, "°C", "at least; common practice", 0, 99)
    slow_dyes: Mapping[str, float] = _by_dye(
        {"turquoise": 2.0}, "times the hours", "slowest: twice the time or warmth; common practice"
    )
    soak_temperature: float = _figure(60.0, "°C", "hot soak after rinsing; common practice", 20, 99)
    stock_strength: float = _figure(STOCK_PCT, "% w/v (g per 100 mL)", "a working value", 0.001, 20)
    stock_days_warm: float = _figure(
        7.0, "days", "stock without alkali, room temperature; common practice", 0, 365
    )
    stock_days_cold: float = _figure(
        28.0, "days", "stock without alkali, kept cold; common practice", 0, 365
    )
    powder_volume: float = _figure(
        0.6, "mL per g of powder", "5 g added to 100 mL is about 3 % weaker; common practice", 0, 2
    )
    stock_spare: float = _figure(10.0, "%", "stock made beyond the need; a working value", 0, 200)
    stock_batch: float = _figure(50.0, "mL", "stock is made in whole steps of this", 1, 5000)
    tolerance: float = _figure(
        3.0, "ΔE2000", "to 1.5 excellent, to 3 sound, 3–5 in the family; common practice", 0, 20
    )
    units: str = _word("metric", "metric, or us for US customary beside it", UNITS)
    spoons: str = _word("metric", "spoon set", tuple(SPOON_SETS))
    measuring_step: float = _figure(0.2, "mL", "marks of your syringe; your own tool", 0.01, 50)
    smallest_dose: float = _figure(
        2.5,
        "mL",
        "below this a weaker stock is proposed: half a teaspoon; your own tool",
        0.05,
        100,
    )
    scale_step: float = _figure(0.1, "g", "what your scale shows; your own tool", 0.0001, 10)
    powder_per_teaspoon: Mapping[str, float] = _by_dye(
        {}, "g per levelled teaspoon", "a property of a dye: weigh yours; stock sheet only"
    )
    currency: str = _word("", "printed after a cost")
    dye_cost: Mapping[str, float] = _by_dye({}, "per g", "yours; optional")
    salt_cost: float | None = _figure(None, "per g", "yours; optional", 0, 1e4)
    soda_cost: float | None = _figure(None, "per g", "yours; optional", 0, 1e4)

    def __post_init__(self) -> None:
        faults: list[Fault] = []
        for item in fields(self):
            value = getattr(self, item.name)
            if "by_dye" in item.metadata:
                if not isinstance(value, Mapping):
                    fault = f"{value!r} is not a table: {{ turquoise = 2.0 }}."
                    faults.append(Fault(fault, column=item.name))
                    continue
                tidy = {dye_name(str(dye)): number for dye, number in value.items()}
                object.__setattr__(self, item.name, MappingProxyType(tidy))
                for dye, number in tidy.items():
                    faults += _range_fault(item.metadata, f"{item.name}.{dye}", number)
            elif item.name == "depths":
                faults += _depth_faults(value)
            elif "low" in item.metadata:
                if value is not None or item.default is not None:
                    faults += _range_fault(item.metadata, item.name, value)
            elif not isinstance(value, str) or (
                item.metadata["choices"] and value not in item.metadata["choices"]
            ):
                choices = ", ".join(item.metadata["choices"]) or "a text"
                faults.append(Fault(f"{value!r} is unknown: use {choices}.", column=item.name))
        if faults:
            raise InputError(faults)

    @classmethod
    def load(cls, path: str | os.PathLike[str]) -> BathSettings:
        """Read a TOML file; what it leaves out keeps its default. Raises `InputError`."""
        name = Path(path).name
        try:
            table = tomllib.loads(Path(path).read_text(encoding="utf-8"))
        except OSError as error:
            raise InputError(Fault(f"cannot be read: {error.strerror}.", name)) from None
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            raise InputError(Fault(f"is not a TOML file: {error}.", name)) from None
        known = [item.name for item in fields(cls)]
        faults = []
        for key in sorted(set(table) - set(known)):
            near = difflib.get_close_matches(key, known, 1)
            hint = f"did you mean {near[0]}?" if near else "no setting has this name."
            faults.append(Fault(f"is unknown: {hint}", name, column=key))
            del table[key]
        rows = table.pop("depths", None)
        try:
            depths = DEPTHS if rows is None else tuple(DepthRow(**row) for row in rows)
        except TypeError:
            depths = DEPTHS
            faults.append(Fault("each row is { up_to, salt, soda }.", name, column="depths"))
        try:
            settings = cls(depths=depths, **table)
        except InputError as error:
            faults += [Fault(f.message, name, f.row, f.column) for f in error.faults]
        if faults:
            raise InputError(faults)
        return settings

    def depth_row(self, depth: float) -> DepthRow:
        """The row of the salt and soda table for a total depth in % owf."""
        return next(row for row in self.depths if depth <= row.up_to * (1 + 1e-9))

    def slowest(self, dyes: Mapping[str, float] | list[str]) -> tuple[str, float] | None:
        """The slowest of these dyes and how many times the hours it wants; None if none is slow.

        A dye counts as slow where its name contains that of one in `slow_dyes`.
        """
        slow = [
            (factor, dye)
            for dye in dyes
            for word, factor in self.slow_dyes.items()
            if word in dye and factor > 1
        ]
        return (max(slow)[1], max(slow)[0]) if slow else None

    def __str__(self) -> str:
        lines = [
            "# Settings of bath and stock sheets. Every figure is yours; 'common practice' is",
            "# a working value of the trade, not a law. A line left out keeps its default.",
        ]
        for item in fields(self):
            value, meta = getattr(self, item.name), item.metadata
            note = "; ".join(part for part in (meta.get("unit", ""), meta["why"]) if part)
            if item.name == "depths":
                rows = [
                    f"  {{ up_to = {r.up_to}, salt = {r.salt}, soda = {r.soda} }}," for r in value
                ]
                lines += [f"depths = [  # {note}", *rows, "]"]
                continue
            off = "# " if value is None else ""
            lines.append(f"{off}{item.name} = {_toml(value)}  # {note}")
        return "\n".join(lines)


def _range_fault(meta: Mapping[str, Any], name: str, value: object) -> list[Fault]:
    low, high = meta["low"], meta["high"]
    if isinstance(value, int | float) and not isinstance(value, bool) and low <= value <= high:
        return []
    return [Fault(f"{value!r} is out of range: {low:g} to {high:g} {meta['unit']}.", column=name)]


def _depth_faults(rows: tuple[DepthRow, ...]) -> list[Fault]:
    numbers = [x for row in rows for x in (row.up_to, row.salt, row.soda)]
    if not all(isinstance(x, int | float) and x >= 0 for x in numbers) or not rows:
        return [Fault("every figure of the rows is a number, 0 or more.", column="depths")]
    steps = [row.up_to for row in rows]
    if steps != sorted(set(steps)) or steps[-1] != float("inf"):
        return [Fault("up_to rises from row to row and ends with inf.", column="depths")]
    return []


def _toml(value: object) -> str:
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_toml(str(dye))} = {number}" for dye, number in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return "0.0" if value is None else f"{value}"
