"""The order slip: all that goes along from view to view. The address of a view is its slip.

So nothing is lost with a tab, a second tab or the server: to open an address again is to stand
where one stood. Amounts are carried exactly, in % owf; only what is shown is rounded.
"""

from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any, Self
from urllib.parse import urlencode

from dyemix.dataset.recipe import Measures, Recipe, format_amount, spoonfuls
from dyemix.dataset.units import JUG_FROM, STOCK_PCT, parse_weight, stock_ml
from dyemix.errors import DyemixError, data
from dyemix.files.rows import parse_stock
from dyemix.matching.limits import Kit

#: The places in the order of the work, and what one press moves.
PLACES, PRESSES = data("page")["places"], data("page")["presses"]
#: Longest entry, most mixes pinned and most steps to undo.
LONGEST, PINNED, UNDONE = 400, 6, 12
#: Lamps to judge by, where the wanted colour has a spectrum.
LAMPS = ("D65/10", "D50/10", "A/10", "FL11/10", "LED-B3/10")


@dataclass(frozen=True)
class Slip:
    """What is wanted, and what has been taken for it so far.

    Attributes
    ----------
    wanted : the colour as typed, or a standard of the book by name.
    recipe, stood : the mix, and as it stood when it was taken up; % owf, exactly.
    name : why this mix was taken.
    job, cloth, stock, light : as on the slip; stock in % w/v, of all or by dye.
    unit, by : what amounts are moved in, and which of three steps a press is.
    quiet, route, rung : the mix that a quieter series starts from, by which route, how far down.
    reading, date, lot, note : of the dry piece.
    jars : dyes that stand out, in the mix or not.
    pins : mixes on the line, each a name and a recipe.
    past : mixes to go back to, latest last.
    dark : whether the room is dark.
    share, spoons : of the weight of the cloth, how much takes dye, and the set of spoons: as the
        workshop knows them.
    """

    wanted: str = ""
    recipe: str = ""
    stood: str = ""
    name: str = ""
    job: str = ""
    cloth: str = "240 g"
    stock: str = f"{STOCK_PCT:g}"
    light: str = ""
    unit: str = "spoons"
    by: str = "1"
    quiet: str = ""
    route: str = ""
    rung: str = "0"
    reading: str = ""
    date: str = ""
    lot: str = ""
    note: str = ""
    jars: tuple[str, ...] = ()
    pins: tuple[str, ...] = ()
    past: tuple[str, ...] = ()
    dark: str = ""
    share: str = "1"
    spoons: str = "metric"

    @classmethod
    def of(cls, query: Iterable[tuple[str, str]]) -> Self:
        """The slip of an address. Raises `DyemixError` for one that no view of ours has."""
        said: dict[str, list[str]] = {}
        for name, value in query:
            if len(value) > LONGEST:
                raise DyemixError(f"{name} has {len(value)} letters, at most {LONGEST} are read.")
            said.setdefault(name, []).append(value)
        several = {"jars", "pins", "past"}
        known = [field.name for field in fields(cls) if field.name in said]
        values: dict[str, Any] = {
            name: tuple(said[name]) if name in several else said[name][-1] for name in known
        }
        slip = cls(**values)
        choices = {"unit": PRESSES, "by": ("0", "1", "2")}
        if any(getattr(slip, name) not in allowed for name, allowed in choices.items()):
            raise DyemixError("this address is of no view here: begin again at What colour?")
        return replace(slip, pins=slip.pins[:PINNED], past=slip.past[-UNDONE:])

    def but(self, **changes: Any) -> Self:
        """The same slip with something changed."""
        return replace(self, **changes)

    def wanting(self, wanted: str) -> Self:
        """A new colour: what was mixed for the last one is put away, the line stays."""
        gone = ("recipe", "stood", "name", "quiet", "route", "rung", "reading", "jars", "past")
        return replace(self, wanted=wanted, **{name: getattr(_EMPTY, name) for name in gone})

    def taking(self, recipe: Recipe, name: str) -> Self:
        """A mix taken up: it stands as it is, and what was tried before is put away."""
        exact = recipe.exact
        return replace(self, recipe=exact, stood=exact, name=name, jars=tuple(recipe), past=(),
                       quiet="", route="", rung="0")  # fmt: skip

    def mixed(self, recipe: Recipe, **changes: Any) -> Self:
        """The mix moved, with the way back kept."""
        past = (*self.past, self.recipe)[-UNDONE:]
        return replace(self, recipe=recipe.exact, past=past, **changes)

    @property
    def pairs(self) -> list[tuple[str, str]]:
        """What differs from an empty slip, as fields of a form."""
        return [
            (field.name, each)
            for field in fields(self)
            if (value := getattr(self, field.name)) != field.default
            for each in (value if isinstance(value, tuple) else (value,))
        ]

    def at(self, place: str, beside: Iterable[tuple[str, str]] = (), **changes: Any) -> str:
        """The address of a place with this slip, and what else goes along."""
        query = urlencode([*replace(self, **changes).pairs, *beside])
        return f"/{place}?{query}" if query else f"/{place}"

    # What it means ------------------------------------------------------------------------------

    @cached_property
    def mix(self) -> Recipe:
        """The recipe, % owf. Raises `RecipeError`."""
        return Recipe.parse(self.recipe) if self.recipe else Recipe()

    @cached_property
    def cloth_g(self) -> float:
        return parse_weight(self.cloth)

    @cached_property
    def dyed_g(self) -> float:
        """The part of the cloth that takes dye, g."""
        return self.cloth_g * float(self.share)

    @cached_property
    def strengths(self) -> dict[str, float]:
        """Of the stocks by dye, % w/v; the key ``""`` stands for every other."""
        return {"": STOCK_PCT, **parse_stock(self.stock)}

    def strength(self, dye: str) -> float:
        """Of the stock of a dye, % w/v."""
        return self.strengths.get(dye, self.strengths[""])

    @property
    def measures(self) -> Measures:
        return Measures(self.strengths, self.dyed_g, self.spoons)

    @property
    def kit(self) -> Kit:
        measure = "spoons" if self.unit == "spoons" else "syringe"
        return Kit(self.dyed_g, self.strengths, measure, spoons=self.spoons)

    def ml(self, dye: str, recipe: Recipe) -> float:
        """mL of stock of a dye in a recipe."""
        return stock_ml(self.dyed_g, recipe.get(dye, 0.0), self.strength(dye))

    def measured(self, dye: str, recipe: Recipe) -> str:
        """How much of a dye, in the unit of amounts."""
        ml = self.ml(dye, recipe)
        if ml <= 0.0:
            return "none"
        if self.unit == "%":
            return f"{format_amount(recipe[dye])} %"
        if self.unit == "mL":
            return f"{ml:.4g} mL"
        found = spoonfuls(ml, self.spoons, JUG_FROM)
        return found.text if abs(found.error_pct) < 0.5 else f"about {found.text}"

    def moved(self, dye: str, amount: str, sign: float) -> Self:
        """More or less of a dye by an amount as ``1 tsp``; never less than none."""
        number, unit = amount.split()
        by = self.measures.owf(dye, sign * float(number), unit)
        left = self.mix.get(dye, 0.0) + by
        return self.holding(dye, left if left > 1e-9 else 0.0)

    def holding(self, dye: str, owf: float) -> Self:
        """So much of a dye, % owf, and of the others as they are."""
        amounts = {name: self.mix.get(name, 0.0) for name in dict.fromkeys((*self.mix, dye))}
        jars = tuple(dict.fromkeys((*self.jars, *self.mix, dye)))
        return self.mixed(Recipe({**amounts, dye: owf}), jars=jars)


_EMPTY = Slip()
