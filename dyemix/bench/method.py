"""How cloth is dyed: what governs a bath beside its recipe, and how the swatches had it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from dyemix.bench.settings import ORDERS
from dyemix.dataset.conditions import normal
from dyemix.errors import DyemixError

#: Figures of a method, by the condition of a swatch table: the field, and the unit as printed.
FIGURES = {
    "liquor ratio": ("liquor_ratio", ":1"),
    "salt": ("salt", " g/L"),
    "soda": ("soda", " g/L"),
    "temperature": ("temperature", " °C"),
    "hours": ("hours", " h"),
}
#: 'Dye after alkali' turns the order round, so what comes after the alkali is not 'after'.
_ORDER_WORDS = {
    "presoak": r"pre-?\s?soak|\bsoak(?:ed)?\b|before (?:the )?dye",
    "with": r"\bwith\b|\bin the dye|together|mixed",
    "after": r"\bafter(?! (?:the )?(?:alkali|soda))",
}


@dataclass(frozen=True)
class Method:
    """How a bath is dyed.

    Attributes
    ----------
    liquor_ratio : mL of total liquor per g of dry cloth.
    alkali : when the alkali goes in, one of `settings.ORDERS`.
    salt : g/L of the total liquor.
    temperature, hours : of fixing, °C and h.
    soda : soda ash of a stirred bath, g/L of the total liquor; by depth where it is None.
    soda_solution : strength of the soda solution of low water or of a presoak, g/L; likewise.

    Raises `DyemixError` for one out of range.
    """

    liquor_ratio: float
    alkali: str
    salt: float
    temperature: float
    hours: float
    soda: float | None = None
    soda_solution: float | None = None

    def __post_init__(self) -> None:
        if self.alkali not in ORDERS:
            raise DyemixError(f"alkali {self.alkali!r} is unknown: use {', '.join(ORDERS)}.")
        for name, low, high, right in (
            ("liquor_ratio", 1, 200, "1 to 200 mL per g"),
            ("salt", 0, 360, "0 to 360 g/L"),  # a saturated brine holds 360 (common practice)
            ("temperature", 0.1, 99.9, "above 0 and below 100 °C"),
            ("hours", 0.01, 480, "above 0, up to 480 h"),
            ("soda", 0.1, 215, "0.1 to 215 g/L"),  # what dissolves at 20 °C (common practice)
            ("soda_solution", 0.1, 215, "0.1 to 215 g/L"),
        ):
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                raise DyemixError(
                    f"a {name.replace('_', ' ')} of {value:g} is out of range: {right}."
                )


def alkali_order(text: str) -> str | None:
    """``presoak``, ``with`` or ``after``, from a dyer's words; None where they do not say one."""
    found = [order for order, words in _ORDER_WORDS.items() if re.search(words, text.lower())]
    return found[0] if len(found) == 1 else None


def dyed_as(conditions: Mapping[str, str]) -> tuple[dict[str, Any], tuple[str, ...]]:
    """What is recorded of how swatches were dyed: fields of `Method`, and what was not understood.

    Words are read as `dataset.conditions` compares them: ``1:20``, ``75 F``, ``overnight``. Soda is
    the dose of a stirred bath, or the solution of a presoak or low water: `bath_sheet` knows which.
    """
    known: dict[str, Any] = {}
    unread = []
    words = conditions.get("alkali", "").strip()
    if order := alkali_order(words):
        known["alkali"] = order
    elif words:
        unread.append(f"alkali {words!r}")
    for key, (name, _) in FIGURES.items():
        words = conditions.get(key, "").strip()
        number = re.fullmatch(r"([\d.]+)(?: °C| h| g/l(?: glauber)?|:1)", normal(key, words))
        if number:
            known[name] = float(number[1])
        elif words:
            unread.append(f"{key} {words!r}")
    return known, tuple(unread)


def same(one: float, other: float) -> bool:
    """Whether two figures of a method are as good as equal: within 5 % (a working value)."""
    return abs(one - other) <= 0.05 * other


def departures(now: Method, was: Mapping[str, Any]) -> dict[str, tuple[str, str, bool]]:
    """Each way in which a method is not that of the swatches: by condition, what it is now and was
    then, in words, and whether it is more.
    """
    out = {}
    for key, (name, unit) in FIGURES.items():
        value, then = getattr(now, name), was.get(name)
        if name == "soda" and value is None:  # in low water or by a presoak, if anywhere
            value = now.soda_solution
        if then is not None and value is not None and not same(value, then):
            out[key] = (f"{value:g}{unit}", f"{then:g}{unit}", value > then)
    if was.get("alkali", now.alkali) != now.alkali:
        out["order"] = (ORDERS[now.alkali], ORDERS[was["alkali"]], True)
    return out
