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

    Raises `DyemixError` for one out of range.
    """

    liquor_ratio: float
    alkali: str
    salt: float
    temperature: float
    hours: float

    def __post_init__(self) -> None:
        if self.alkali not in ORDERS:
            raise DyemixError(f"alkali {self.alkali!r} is unknown: use {', '.join(ORDERS)}.")
        for name, low, high, right in (
            ("liquor_ratio", 1, 200, "1 to 200 mL per g"),
            ("salt", 0, 360, "0 to 360 g/L"),  # a saturated brine holds 360 (common practice)
            ("temperature", 0.1, 99.9, "above 0 and below 100 °C"),
            ("hours", 0.01, 480, "above 0, up to 480 h"),
        ):
            value = getattr(self, name)
            if not low <= value <= high:
                raise DyemixError(
                    f"a {name.replace('_', ' ')} of {value:g} is out of range: {right}."
                )


def alkali_order(text: str) -> str | None:
    """``presoak``, ``with`` or ``after``, from a dyer's words; None where they do not say one."""
    found = [order for order, words in _ORDER_WORDS.items() if re.search(words, text.lower())]
    return found[0] if len(found) == 1 else None


def dyed_as(conditions: Mapping[str, str]) -> tuple[dict[str, Any], tuple[str, ...]]:
    """What is recorded of how swatches were dyed: fields of `Method`, and what was not understood.

    Words are read as `dataset.conditions` compares them: ``1:20``, ``75 F``, ``1 day``.
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
        number = re.fullmatch(r"([\d.]+)(?: °C| h| g/l|:1)", normal(key, words))
        if key == "salt" and words.lower() in ("none", "no"):
            known[name] = 0.0
        elif number:
            known[name] = float(number[1])
        elif words:
            unread.append(f"{key} {words!r}")
    return known, tuple(unread)


def same(one: float, other: float) -> bool:
    """Whether two figures of a method are as good as equal: within 5 % (a working value)."""
    return abs(one - other) <= 0.05 * other


def departures(now: Method, was: Mapping[str, Any]) -> list[str]:
    """A sentence for each way in which a method is not that of the swatches."""
    out = [
        f"{key} {getattr(now, name):g}{unit} is unlike your swatches' {was[name]:g}{unit}: they do "
        "not predict this bath. Dye a test square."
        for key, (name, unit) in FIGURES.items()
        if name in was and not same(getattr(now, name), was[name])
    ]
    if was.get("alkali", now.alkali) != now.alkali:
        out.append(
            f"{ORDERS[now.alkali]} is unlike your swatches ({ORDERS[was['alkali']]}): swatches of "
            "one order do not predict another. Dye a test square."
        )
    return out
