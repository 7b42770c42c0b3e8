"""Recipes as people write them: ``marigold 0.8 + navy 0.25``, in % owf (on weight of dry fibre).

Amounts of liquid stock (millilitres, spoons) and of powder (grams) become % owf on the way in,
by ``% owf = mL × stock % ÷ cloth g`` (common practice; stock in % w/v, g per 100 mL). Several, in
whatever form they come, are one array in the order of a shelf's dyes.
"""

import difflib
import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from math import inf
from numbers import Real
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, NamedTuple, TypeAlias, TypeVar

import numpy as np

from dyemix.arrays import Array, labels, numbers
from dyemix.dataset.units import to_mark, volume_text
from dyemix.errors import DyemixError, RecipeError, UnstatedError, data, refuse, said

if TYPE_CHECKING:
    import pandas as pd

T = TypeVar("T")
#: Millilitres by spoon set.
SPOON_SETS: Mapping[str, Mapping[str, float]] = data("recipes")["spoons"]
_SETS = ", ".join(SPOON_SETS)
#: Millilitres of what is measured without spoons, twenty drops to one (common practice); a gram of
#: powder is as a millilitre of 100 % w/v.
_VOLUMES = {"mL": 1.0, "L": 1000.0, "drop": 0.05, "g": 1.0}
#: What a unit is called in a recipe.
_UNITS: Mapping[str, str] = data("recipes")["spelt"]
#: How a recipe says that nothing was dyed.
NO_DYE = ("undyed", "blank", "no dye", "ungefärbt", "non teint")
_NUMBER = r"\d+\s+\d+/\d+|\d+/\d+|\d*[.,]?\d+(?:[eE][-+]?\d+)?"
_INSIDE = r"(?:[\w'’&/ -]|(?<=[^\W\d_])\. )"  # of a name: 'Nr. 3' has a stop in it
#: What a dye's name looks like, for a regular expression.
NAME = rf"[^\W\d_](?:{_INSIDE}*[\w'’])?"
# The name takes as little as it can, or the whole number of '1 1/2 tsp' would belong to it.
_SHORT_NAME = rf"[^\W\d_](?:{_INSIDE}*?[\w'’])??"
_TERM = re.compile(
    rf"(?P<name>{_SHORT_NAME})\s+(?P<number>-?(?:{_NUMBER}))\s*(?P<unit>[^\W\d_]*|% ?(?:owf)?)"
)
_PARTS = re.compile(rf"(?P<number>{_NUMBER})\s+(?P<name>{NAME})(?P<unit>)")
_AT = re.compile(rf"(?P<parts>.+:.+?)\s+at\s+(?P<total>{_NUMBER})\s*%?(?:\s*owf)?")

#: Names and recipes that are not read again.
_REMEMBERED = 10_000


@lru_cache(maxsize=_REMEMBERED)
def dye_name(text: str) -> str:
    """A dye's name as the package compares it: lower case, single spaces."""
    return " ".join(text.split()).lower()


def is_name(text: str) -> bool:
    """Whether a recipe could name a dye so."""
    return re.fullmatch(NAME, text) is not None


def dye_names(given: Iterable[str] | str) -> tuple[str, ...]:
    """Names of dyes: several, or one text with commas between them; a lone name is a name."""
    return tuple(map(dye_name, given.split(",") if isinstance(given, str) else given))


def _number(text: str) -> float:
    whole, _, fraction = text.replace(",", ".").rpartition(" ")
    top, _, bottom = fraction.partition("/")
    refuse(bottom and not float(bottom), "recipes.divides", text=text, error=RecipeError)
    return float(whole or 0.0) + float(top) / float(bottom or 1.0)


def format_amount(owf: float) -> str:
    """An amount in % owf with the digits a dyer can use (three figures, at most five decimals)."""
    return f"{owf:.2f}" if owf >= 0.1 else f"{owf:.3f}" if owf >= 0.01 else f"{owf:.2g}"


@dataclass(frozen=True)  # kept sheets hold its fields by name
class Spoonfuls:
    """A volume in spoons: what to measure, its mL, and by how much that misses the volume (%)."""

    text: str
    ml: float
    error_pct: float

    def __str__(self) -> str:
        return f"{self.text} ({self.error_pct:+.0f} %)" if abs(self.error_pct) > 0.5 else self.text


def _spoon_set(name: str | None) -> Mapping[str, float]:
    refuse(name not in SPOON_SETS, "recipes.no_spoons", name, _SETS, error=RecipeError)
    return SPOON_SETS[str(name)]


def spoonfuls(ml: float, spoons: str, jug_from: float = inf) -> Spoonfuls:
    """The nearest volume that tablespoons and quarter teaspoons make, never less than a quarter.

    Above `jug_from` mL nobody counts spoons: a jug measures, to its marks. Raises `RecipeError` for
    a spoon set not in `SPOON_SETS` and a volume not above 0.
    """
    spoon = _spoon_set(spoons)
    refuse(not 0 < ml < inf, "recipes.no_volume", ml=ml, error=RecipeError)
    if ml > jug_from:
        marked = to_mark(ml, 1.0)
        return Spoonfuls(volume_text(marked, "metric"), marked, 100.0 * (marked / ml - 1.0))
    quarter = spoon["tsp"] / 4
    quarters = max(1, round(ml / quarter))
    big, small = divmod(quarters, round(spoon["tbsp"] / quarter))
    whole, part = divmod(small, 4)
    words = [f"{big} tbsp"] if big else []
    words += [f"{whole or ''}{('', '¼', '½', '¾')[part]} tsp"] if small else []
    return Spoonfuls(" + ".join(words), quarters * quarter, 100.0 * (quarters * quarter / ml - 1.0))


class Measures(NamedTuple):
    """What turns mL, spoons and grams into % owf.

    Attributes
    ----------
    stock_pct : strength of the stock by dye (% w/v); the key ``""`` stands for every other dye.
    cloth_g : dry weight of the cloth, in grams.
    spoons : name of the spoon set, one of `SPOON_SETS`.
    """

    stock_pct: Mapping[str, float] = MappingProxyType({})
    cloth_g: float | None = None
    spoons: str | None = None

    def owf(self, dye: str, amount: float, unit: str) -> float:
        """% owf of `amount` in `unit`. Raises `UnstatedError` naming whatever is not."""
        if unit == "%":
            return amount
        strength = 100.0 if unit == "g" else self.stock_pct.get(dye, self.stock_pct.get(""))
        spoons = self.spoons if unit in SPOON_SETS["us"] else ""
        if self.cloth_g is None or strength is None or spoons is None:
            needed = {"cloth_g": self.cloth_g, "stock_pct": strength, "spoon_set": spoons}
            missing = [said(f"recipes.{n}", known=_SETS) for n, x in needed.items() if x is None]
            powder = "" if unit == "g" else said("recipes.powder")
            told = said("recipes.unstated", dye=dye, unit=unit, missing="; ".join(missing))
            raise UnstatedError(told + powder)
        ml = _VOLUMES[unit] if unit in _VOLUMES else _spoon_set(self.spoons)[unit]
        return amount * ml * strength / self.cloth_g


#: As much dye as cloth (% owf): no cloth takes a fifth of it.
MOST_OWF = 100.0
#: Deeper than this (% owf) is doubtful: black takes 6–10 % owf (common practice).
DEEP_OWF = 20.0


class Recipe(Mapping[str, float]):
    """How much of which dye: dye name → % owf. Undyed cloth is the empty recipe.

    Immutable; compares equal to any mapping with the same amounts. Amounts of a dye that is named
    in two ways, or twice in a series, add up. Raises `RecipeError` for a
    negative amount, or one above `MOST_OWF`.

    >>> Recipe.parse("marigold 0.8 + navy 0.25").total
    1.05
    >>> Recipe.parse("3 marigold : 1 navy at 1 %")
    Recipe({'marigold': 0.75, 'navy': 0.25})
    """

    __slots__ = ("_amounts", "as_written")

    def __init__(self, amounts: Mapping[str, float] | None = None, as_written: str = "") -> None:
        tidy: dict[str, float] = {}
        if not hasattr(amounts := {} if amounts is None else amounts, "items"):
            raise RecipeError(said("recipes.no_mapping", kind=type(amounts).__name__))
        for name, amount in amounts.items():
            known = type(amount) is float or isinstance(amount, Real)  # `Real` takes its time
            if not (known and 0 <= amount < inf):
                raise RecipeError(said("recipes.no_amount", name=str(name), amount=amount))
            if amount > MOST_OWF:
                raise RecipeError(said("recipes.too_much", name=str(name), amount=amount))
            if amount > 0:
                dye = dye_name(str(name))
                tidy[dye] = tidy.get(dye, 0.0) + float(amount)
        self._amounts = tidy
        #: What the dyer wrote, when it was more than % owf.
        self.as_written = as_written

    @classmethod
    def parse(cls, text: str | Mapping[str, float], measures: Measures | None = None) -> "Recipe":
        """Read a recipe.

        ``undyed``; ``marigold 0.8 + navy 0.25`` (% owf); ``marigold 2 tbsp + navy 15 mL`` (liquid
        stock) and ``marigold 2 g`` (powder), where `measures` says how strong and on how much
        cloth; ``3 marigold : 1 navy at 1 %`` (parts by weight of dye, and the depth in all).
        A mapping, or a series by dye, is taken as % owf. Raises `RecipeError`.
        """
        if not isinstance(text, str):
            return text if isinstance(text, Recipe) else cls(text)
        plain = written = " ".join(text.split()).replace("−", "-")
        if not written.isascii():
            spaced = re.sub(r"(\d)(?=[¼-¾⅐-⅞])", r"\1 ", written)
            plain = unicodedata.normalize("NFKC", spaced).replace("\N{FRACTION SLASH}", "/")
        if plain.lower() in NO_DYE:
            return cls({}, written)
        amounts: dict[str, float] = {}
        dye, at = "", _AT.fullmatch(plain) if ":" in plain else None
        refuse(at is None and ":" in plain, "recipes.no_depth", text=written, error=RecipeError)
        for term in map(str.strip, at["parts"].split(":") if at else plain.split("+")):
            more = bool(amounts) and term[:1].isdigit() and not at  # '2 tbsp + 1/4 tsp' of one dye
            found = _term(f"{dye} {term}" if more else term, at is not None)
            if found is None or (more and found[2] == "%"):
                raise RecipeError(said("recipes.no_part" if at else "recipes.no_term", term=term))
            dye, number, unit = found
            if number < 0 or (dye in amounts and not more):
                wrong = "negative" if number < 0 else "twice"
                raise RecipeError(said(f"recipes.{wrong}", term=term, dye=dye, text=written))
            amounts[dye] = amounts.get(dye, 0.0) + (measures or Measures()).owf(dye, number, unit)
        if at:
            total, whole = _number(at["total"]), sum(amounts.values())
            refuse(not whole, "recipes.no_parts", text=at["parts"], error=RecipeError)
            amounts = {name: total * part / whole for name, part in amounts.items()}
        return cls(amounts, written)

    def __getitem__(self, dye: str) -> float:
        return self._amounts[dye_name(dye)]

    def __iter__(self) -> Iterator[str]:
        return iter(self._amounts)

    def __len__(self) -> int:
        return len(self._amounts)

    def __hash__(self) -> int:
        return hash(frozenset(self._amounts.items()))

    @property
    def total(self) -> float:
        """Depth in all, % owf."""
        return sum(self._amounts.values())

    @property
    def exact(self) -> str:
        """Every digit, where `str` gives the three a dyer can use."""
        terms = (f"{dye} {repr(amount).removesuffix('.0')}" for dye, amount in self.items())
        return " + ".join(terms) or "undyed"

    @property
    def as_shown(self) -> "Recipe":
        """The recipe of the digits that `str` gives."""
        return Recipe({dye: float(format_amount(owf)) for dye, owf in self.items()})

    def __str__(self) -> str:
        return " + ".join(f"{n} {format_amount(a)}" for n, a in self.items()) or "undyed"

    def __repr__(self) -> str:
        return f"Recipe({dict(self._amounts)!r})"


@lru_cache(maxsize=_REMEMBERED)
def _term(text: str, is_part: bool) -> tuple[str, float, str] | None:
    """Name, amount and unit of ``navy 15 mL`` or of a part, ``3 navy``; None for what is none."""
    match = (_PARTS if is_part else _TERM).fullmatch(text)
    unit = _UNITS.get(match["unit"].strip().lower()) if match else None
    return (dye_name(match["name"]), _number(match["number"]), unit) if match and unit else None


#: One recipe in % owf: as text, as amounts by dye, or as a series of numbers indexed by dye.
OneRecipe: TypeAlias = "str | Mapping[str, float] | pd.Series[float]"
#: Several: a frame with a column a dye, a column or a list of recipes, an array ``(N, D)``.
ManyRecipes: TypeAlias = "pd.DataFrame | pd.Series[str] | Sequence[Any] | Array"


def is_one(given: Any) -> bool:
    """Whether this is one recipe and not several."""
    if hasattr(given, "to_numpy") and given.ndim == 1:
        return bool(given.dtype.kind in "iuf")
    return isinstance(given, str | Mapping)


def index_of(given: Any) -> Any:
    """The index of a frame or a column; None for what has none."""
    return getattr(given, "index", None) if hasattr(given, "to_numpy") else None


def meant(words: str, pieces: Iterable[tuple[T, Recipe, Iterable[str]]]) -> list[T]:
    """Those of some pieces, each with its recipe and what else it is called, that are meant.

    As they are called or shown; else of this very recipe, however it is typed; else of one that is
    shown so.
    """
    each, typed, asked = list(pieces), dye_name(words), None
    with suppress(DyemixError):
        asked = Recipe.parse(words)
    return (
        [p for p, r, names in each if typed and typed in {str(r), *map(dye_name, names)}]
        or [p for p, r, _ in each if r == asked]
        or [p for p, r, _ in each if r.as_shown == asked]
    )


def place(dye: str, names: Sequence[str]) -> int:
    """Position of a dye on the shelf. Raises `RecipeError` that suggests the nearest name."""
    if dye in names:
        return names.index(dye)
    near = difflib.get_close_matches(dye, names, 1)
    names_it = said("recipes.shelf", names=", ".join(names))
    hint = said("recipes.near", name=near.pop()) if near else names_it
    raise RecipeError(said("recipes.no_swatch", dye=dye, hint=hint))


def in_order(given: Any, names: Sequence[str]) -> tuple[Array, tuple[Recipe, ...], Any]:
    """Amounts ``(N, D)`` in % owf in the order of `names`; recipes as given; the index of rows.

    Raises `RecipeError` for a dye the shelf does not have, a frame with a column missing or too
    many, and for what is no amount.
    """
    recipes: tuple[Recipe, ...] = ()
    if hasattr(given, "columns"):
        values = _columns(given, names)
    elif isinstance(given, np.ndarray) and given.dtype.kind in "if":
        values = np.atleast_2d(given)
    else:
        rows = [given] if is_one(given) or not isinstance(given, Iterable) else list(given)
        if rows and not any(is_one(row) for row in rows):
            values = np.atleast_2d(numbers(rows))
        else:
            recipes = tuple(map(one_recipe, rows))
            values = np.zeros((len(rows), len(names)))
            for row, recipe in zip(values, recipes, strict=True):
                for dye, amount in recipe.items():
                    row[place(dye, names)] = amount
    shaped = values.ndim == 2 and values.shape[1] == len(names)
    refuse(not shaped, "recipes.shape", len(names), values.shape, error=RecipeError)
    bad = np.flatnonzero(~np.all(values >= 0, axis=1))
    refuse(len(bad), "recipes.amounts", *bad, error=RecipeError)  # its words tell the first
    return np.asarray(values, dtype=float), recipes, None if is_one(given) else index_of(given)


def one_recipe(given: Any) -> Recipe:
    """One recipe in % owf. Raises `RecipeError` for what is none, or several."""
    refuse(not is_one(given), "recipes.no_recipe", text=str(given)[:60], error=RecipeError)
    return Recipe.parse(given)


def _columns(table: "pd.DataFrame", names: Sequence[str]) -> Array:
    """The columns of a frame in the order of `names`."""
    found = [dye_name(label) for label in labels(table)]
    wrong = {
        "missing": [name for name in names if name not in found],
        "not a dye here:": [name for name in found if name not in names],
        "twice": sorted({name for name in found if found.count(name) > 1}),
    }
    faults = "; ".join(f"{words} {', '.join(which)}" for words, which in wrong.items() if which)
    refuse(faults, "recipes.frame", faults=faults, error=RecipeError)
    ordered = table.iloc[:, [found.index(name) for name in names]]
    return numbers(ordered.to_numpy())
