"""How cloth is dyed: its fibres, what governs a bath beside its recipe, and its salt and soda.

Soda ash in a stirred bath is dosed in g/L of the bath; in low water, where that would be too
little, as a solution by volume; a presoak is a solution of the same strength (common practice).
"""

import re
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import replace
from math import isnan, nan
from typing import Any, Self

from dyemix.bench.settings import ORDERS, BathSettings
from dyemix.bench.stock import Dose
from dyemix.dataset.conditions import normal, same
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.result import Value
from dyemix.errors import DyemixError, data, refuse

#: Figures of a method, by its field: an example with its unit, and what is in range.
FIGURES: Mapping[str, tuple[str, str, float, float, str]] = data("methods")["figures"]


class Method(Value):
    """How a bath is dyed.

    Attributes
    ----------
    liquor_ratio : mL of total liquor per g of dry cloth.
    alkali : when the alkali goes in, one of `settings.ORDERS`.
    salt : g/L of the total liquor.
    temperature, hours : of fixing, °C and h.
    soda : soda ash, g/L of the total liquor; by depth and liquor where it is None.
    soda_solution : strength of the soda solution of low water or of a presoak, g/L; by depth where
        it is None.

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
        refuse(self.alkali not in ORDERS, "bench.alkali", self.alkali, ", ".join(ORDERS))
        for name, (*_, low, high, right) in FIGURES.items():
            value = getattr(self, name)
            wrong = value is not None and not low <= value <= high
            refuse(wrong, "bench.figure", _words(name), value, right)

    @classmethod
    def of(
        cls, asked: Mapping[str, Any], was: Mapping[str, Any], recipe: Recipe, wetted: bool,
        settings: BathSettings,
    ) -> Self:  # fmt: skip
        """What is asked of it, or how the swatches had it (`dyed_as`), or else the settings' way.

        Raises `DyemixError` for words that are not understood.
        """
        asked = {name: stated(name, value) for name, value in asked.items()}
        names = ("liquor_ratio", "alkali", "temperature")
        then = {**{name: getattr(settings, name) for name in names}, **was}
        now = {**then, **asked}
        ratio = now["liquor_ratio"]
        usual_salt, _, usual_solution = settings.doses(recipe.total)
        if now["alkali"] == "presoak":  # which knows of no dose by the liquor
            now |= {"soda_solution": asked["soda"]} if "soda" in asked else {}
            now.pop("soda", None)
        elif "soda" in was and "soda" not in asked:
            # As much to the cloth as the swatches had, where low water has it; never less g/L.
            solution = now.get("soda_solution", usual_solution)
            low = soda_by_volume(ratio, held(wetted, "", settings), solution, settings)
            now["soda"] = max(was["soda"], min(low, was["soda"] * then["liquor_ratio"] / ratio))
        if "salt" not in asked:  # the less, the nearer to low water
            share, before = map(settings.stirred_share, (ratio, then["liquor_ratio"]))
            less = min(1.0, share / before) if before else 1.0
            now["salt"] = was["salt"] * less if "salt" in was else usual_salt * share
        # Hours that the swatches had already hold whatever the slowest dye was given then.
        _, times = settings.slowest(recipe)
        now.setdefault("hours", settings.usual_hours(now["temperature"]) * times)
        return cls(**now)

    @staticmethod
    def same(one: float, other: float) -> bool:
        """Whether two figures are as good as equal: within 5 % (a working value)."""
        return abs(one - other) <= 0.05 * other

    def departures(self, was: Mapping[str, Any]) -> dict[str, tuple[Any, Any, str, bool]]:
        """Each way in which it is not that of the swatches: by condition, what it is now and was
        then, as a number and its unit or in words, and whether it is more.
        """
        out: dict[str, tuple[Any, Any, str, bool]] = {}
        for name, (_, unit, *_) in FIGURES.items():
            value, then = getattr(self, name), was.get(name)
            if then is not None and value is not None and not self.same(value, then):
                out[_words(name)] = (value, then, unit, value > then)
        if was.get("alkali", self.alkali) != self.alkali:
            out["order"] = (ORDERS[self.alkali], ORDERS[was["alkali"]], "", True)
        return out


def _words(name: str) -> str:
    """A field of a method as it is called, and as a condition of a swatch table."""
    return name.replace("_", " ")


def stated(name: str, given: str | float) -> Any:
    """A field of a method: a number, or words as a swatch table has them.

    ``an hour after``, ``1:20``, ``75 F``, ``overnight``, ``Glauber 50 g/L``: these are read as
    `dataset.conditions` compares them. Raises `DyemixError` for any other.
    """
    if not isinstance(given, str):
        return given
    if name == "alkali":
        spelt = data("methods")["order_words"].items()
        found = [order for order, words in spelt if re.search(words, given.lower())]
        refuse(len(found) != 1, "bench.alkali", given, ", ".join(ORDERS))
        return found.pop()
    words = normal(_words(name).removesuffix(" solution"), given)
    number = re.fullmatch(r"([\d.]+)(?: °C| h| g/l(?: glauber)?|:1)", words)
    if number is None:
        right = "".join(FIGURES[name][:2])
        raise DyemixError(f"{_words(name)} {given!r} is not understood: write it as '{right}'.")
    return float(number[1])


def method_in_words(words: str) -> tuple[str, dict[str, Any]]:
    """The cloth of a method's name, as ``linen, alkali with, 5:1``, and what else it says of it."""
    cloth, *rest = [part.strip() for part in " ".join(words.split()).split(",")]
    found: dict[str, Any] = {}
    for part in rest:
        if re.search("alkali|soda|soak", part.lower()):
            found["alkali"] = stated("alkali", part)
        elif ratio := re.fullmatch(r"[a-z ]*(\d+ ?: ?\d+)", part.lower()):
            found["liquor_ratio"] = stated("liquor_ratio", ratio[1])
        else:
            cloth = f"{cloth}, {part}"
    return cloth, found


def dyed_as(
    conditions: Mapping[str, str], settings: BathSettings | None = None
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """What is recorded of how swatches were dyed: fields of `Method`, and what was not understood.

    Soda is the dose of a stirred bath; of a presoak or low water it is the strength of a solution.
    """
    settings = settings or BathSettings()
    known: dict[str, Any] = {}
    unread = []
    for name in ("alkali", *FIGURES):
        words = conditions.get(_words(name), "").strip()
        try:
            known |= {name: stated(name, words)} if words else {}
        except DyemixError:
            unread.append(f"{_words(name)} {words!r}")
    low = settings.is_low_water(known.get("liquor_ratio") or settings.liquor_ratio)
    if "soda" in known and (low or known.get("alkali", settings.alkali) == "presoak"):
        known["soda_solution"] = known.pop("soda")
    return known, tuple(unread)


# Salt and soda ------------------------------------------------------------------------------------


class Auxiliary(Value):
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


class Cost(Value):
    """What a bath costs: dye, salt, soda; `unpriced` names what has no price and is not in it."""

    dye: float
    salt: float
    soda: float
    unpriced: tuple[str, ...]

    @property
    def total(self) -> float:
        return self.dye + self.salt + self.soda

    @classmethod
    def of(
        cls, doses: Iterable[Dose], salt: Auxiliary, soda: Auxiliary, settings: BathSettings
    ) -> Self | None:
        """At the settings' prices per gram; None where there is no price at all.

        The key ``""`` of `dye_cost` is the price of every other dye.
        """
        prices = settings.dye_cost
        if not prices and settings.salt_cost is None and settings.soda_cost is None:
            return None
        parts = [(dose.dye, dose.dye_g, prices.get(dose.dye, prices.get(""))) for dose in doses]
        parts += [("salt", salt.g, settings.salt_cost), ("soda ash", soda.g, settings.soda_cost)]
        unpriced = tuple(name for name, grams, price in parts if price is None and grams > 0)
        *dye, of_salt, of_soda = (grams * (price or 0.0) for _, grams, price in parts)
        return cls(sum(dye), of_salt, of_soda, unpriced)


def held(wetted: bool, alkali: str, settings: BathSettings) -> float:
    """Water in the cloth as it goes in, mL per g of dry cloth; presoaked, it is wet."""
    return float(settings.wet_pickup / 100.0 if wetted or alkali == "presoak" else 0.0)


def soda_by_volume(ratio: float, holds: float, strength: float, settings: BathSettings) -> float:
    """Soda ash, g/L of the total liquor, that a solution of `strength` g/L brings into low water.

    It is `soda_share` times the dye liquor that is poured on, so that ``dye liquor + soda solution
    + what the cloth holds = total liquor``; with more liquor than low water's it stays as much.
    `ratio` is mL of liquor, and `holds` mL of water in the cloth, per g of dry cloth.
    """
    poured = max(min(ratio, settings.low_water) - holds, 0.0)
    return float(strength * poured * settings.soda_share / (1.0 + settings.soda_share) / ratio)


def salt_and_soda(
    method: Method, cloth_g: float, holds_ml: float, depth: float, settings: BathSettings
) -> tuple[Auxiliary, Auxiliary]:
    """Salt and soda ash for a bath of `depth` % owf in all, its cloth holding `holds_ml`.

    What is not stated of soda is what low water would have, until a stirred bath's g/L are more.
    """
    ratio, total = method.liquor_ratio, cloth_g * method.liquor_ratio
    _, stirred, strength = settings.doses(depth)
    strength = method.soda_solution or strength

    def part(
        g_per_l: float, small: float, own: float | None = None, solution: float | None = None
    ) -> Auxiliary:
        """Dry; or as a `solution` of so many g/L; or of a stock of % w/v: the dyer's own, or a
        small one where the grams are too few.
        """
        grams = total * g_per_l / 1000.0
        few = grams < settings.least_weighed and own is None
        made = solution or 10.0 * (own or small * few)
        if not grams or not made:
            return Auxiliary(grams, g_per_l)
        ml = 1000.0 * grams / made
        return Auxiliary(grams, g_per_l, made, ml, ml, 100.0 * grams / small if few else None)

    salt = part(method.salt, settings.small_salt_stock, settings.salt_stock)
    small = settings.small_soda_stock
    if method.alkali == "presoak":
        soda = part(strength * settings.presoak_volume / ratio, small, solution=strength)
        return salt, replace(soda, g_l=strength * holds_ml / total, into_bath_ml=0.0)
    by_volume = soda_by_volume(ratio, holds_ml / cloth_g, strength, settings)
    g_per_l = method.soda or max(by_volume, stirred)
    if settings.is_low_water(ratio):
        return salt, part(g_per_l, small, solution=strength)
    return salt, part(g_per_l, small, settings.soda_stock)


# Fibres -------------------------------------------------------------------------------------------


class Fibre(Value):
    """A cloth by its fibres.

    Attributes
    ----------
    words : what was said of it.
    names : of its fibres; none where its words name none.
    undyed : those of them that take no dye.
    share : how much of its weight takes dye, 0 to 1; None where that is not known.
    weak : whether it is weak when wet.
    hottest : the warmest water it bears for long, °C; None where any will do.
    """

    words: str = ""
    names: tuple[str, ...] = ()
    undyed: tuple[str, ...] = ()
    share: float | None = None
    weak: bool = False
    hottest: float | None = None

    @classmethod
    def told(cls, conditions: Mapping[str, str], cloth: str = "", words: str = "") -> Self:
        """The fibres of a `cloth`, in `words`; else, of another than the swatches', what its name
        tells; else what their `conditions` say of it, or its name there. Raises as `of` does.
        """
        then = conditions.get("cloth", "")
        other = cloth and not same("cloth", cloth, then)
        return cls.of(words or (cloth if other else conditions.get("fibre") or then))

    @property
    def dyed(self) -> float:
        """How much of its weight takes dye: all of it where that is not known."""
        return 1.0 if self.share is None else self.share

    @classmethod
    def of(cls, words: str) -> Self:
        """The fibres of ``cotton lawn``, ``cotton 55 %, linen 45 %``, ``95% cotton 5% elastane``.

        Raises `DyemixError` for a fibre that soda harms, for cloth that takes no dye at all, and
        for shares that do not make up the whole.
        """
        text = " ".join(words.lower().split())
        fibres = data("fibres")
        spelt = {n: rf"(?<![a-z])(?:{'|'.join(fibres[n]['words'])})(?![a-z])" for n in fibres}
        found = {n: row for n, row in fibres.items() if re.search(spelt[n], text)}
        undyed = tuple(name for name, row in found.items() if not row.get("dyes", True))
        harmed = ", ".join(name for name, row in found.items() if row.get("harmed"))
        refuse(harmed, "bench.harmed", harmed)
        refuse(found and len(undyed) == len(found), "bench.undyed", ", ".join(undyed))
        share = None if undyed or not found else 1.0
        parts = {name: _per_cent(text, spelt[name]) for name in found}
        some, numbers = 0 < sum(map(isnan, parts.values())) < len(parts), r"\d+(?:[.,]\d+)?"
        refuse(some and len(re.findall(numbers, text)) > text.count("%"), "bench.sign", words)
        if parts and not isnan(whole := sum(parts.values())):
            refuse(abs(whole - 100.0) > 2.0, "bench.whole", words, whole)
            share = sum(part for name, part in parts.items() if name not in undyed) / 100.0
        refuse(share == 0.0, "bench.undyed", ", ".join(undyed))
        hottest = min((row["hottest"] for row in found.values() if "hottest" in row), default=None)
        weak = any(row.get("weak") for row in found.values())
        return cls(words, tuple(found), undyed, share, weak, hottest)


def dyed_share(conditions: Mapping[str, str], words: str = "") -> float:
    """Of the weight of cloth of such `words`, else as the swatches' was, how much takes dye; 1
    where nobody says.
    """
    with suppress(DyemixError):
        return Fibre.told(conditions, words=words).dyed
    return 1.0


def _per_cent(text: str, fibre: str) -> float:
    """Per cent of a fibre, if said: the number stands before each name of `text`, or after."""
    number = r"(\d+(?:[.,]\d+)?) ?%"
    ways = [rf"{number} (?:[^\W\d]+ )?{fibre}", rf"{fibre}(?: [^\W\d]+)? ?{number}"]
    found = (re.search(way, text) for way in (ways if re.match(r"\d", text) else reversed(ways)))
    return next((float(match[1].replace(",", ".")) for match in found if match), nan)
