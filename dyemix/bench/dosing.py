"""From % owf to what a syringe or a spoon can measure, of the bottles at hand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date

from dyemix.bench.settings import BathSettings
from dyemix.bench.stock import Stock
from dyemix.dataset.recipe import Measures, Spoonfuls, spoonfuls, stock_ml
from dyemix.dataset.units import FOR_WEAK, dilution, dye_g, to_mark, volume_text
from dyemix.errors import RecipeError
from dyemix.matching.dispensing import Measured

#: A dose this near to quarter teaspoons, %, is one of them but for the digits of its recipe.
_SPOON_EXACT = 0.05


@dataclass(frozen=True)
class Dose:
    """One dye of a bath: what the recipe asks, and what to measure.

    Attributes
    ----------
    dye, owf : the recipe's, % owf.
    dye_g : dye in it, g.
    stock : the bottle it comes from.
    dilution : 1 for the stock as it is; 10, 100 or 1000 for a weaker stock mixed on the day,
        where the dose would be too small to measure.
    exact_ml : volume the recipe asks, of the stock so diluted.
    ml : that to the marks of the syringe or jug; `error_pct` is what this does to the dose. What
        quarter teaspoons measure exactly was measured by them before, and is not rounded again.
    spoons : the same volume in spoons of *liquid*, with its own error.
    """

    dye: str
    owf: float
    dye_g: float
    stock: Stock
    dilution: int
    exact_ml: float
    ml: float
    error_pct: float
    spoons: Spoonfuls

    @property
    def measure(self) -> str:
        """What to measure, and by how much that misses."""
        error = f" ({self.error_pct:+.0f} %)" if abs(self.error_pct) >= 0.5 else ""
        ml = f"{self.ml:g} mL" if self.ml < 1000 else volume_text(self.ml, "metric")
        return ml + error

    @property
    def ticks(self) -> str:
        """A box to tick for each spoon: a lost count spoils a bath."""
        *big, small = self.spoons.text.split(" + ")
        tablespoons = int((big or [small])[0].split()[0]) if "tbsp" in self.spoons.text else 0
        return "☐" * tablespoons + f" ☐ {small}" * small.endswith("tsp")

    @property
    def needed_ml(self) -> float:
        """Stock of full strength to have at hand, mL."""
        return self.ml if self.dilution == 1 else FOR_WEAK


@dataclass(frozen=True)
class Bottles:
    """The stocks at hand.

    Attributes
    ----------
    by_dye : of each dye the bottle made last; the key ``""`` stands for every other dye.
    """

    by_dye: Mapping[str, Stock]
    settings: BathSettings

    @classmethod
    def of(cls, stocks: Iterable[Stock] | float | None, settings: BathSettings) -> Bottles:
        """Bottles as a dyer gives them: each, or one strength (% w/v) for all, or none."""
        if stocks is None or isinstance(stocks, int | float):
            stocks = [Stock("", settings.stock_strength if stocks is None else stocks)]
        ordered = sorted(stocks, key=lambda bottle: bottle.made or date.min)
        return cls({bottle.dye: bottle for bottle in ordered}, settings)

    def measures(self, cloth_g: float | None) -> Measures:
        """What turns mL, spoons and grams into % owf on so much cloth."""
        strengths = {dye: b.actual_pct(self.settings) for dye, b in self.by_dye.items()}
        return Measures(strengths, cloth_g, self.settings.spoons)

    def of_dye(self, dye: str) -> Stock:
        """The bottle of a dye. Raises `RecipeError` where there is none."""
        found = self.by_dye.get(dye, self.by_dye.get(""))
        if found is None:
            raise RecipeError(f"no stock of {dye}: say its strength, or make it (dyemix stock).")
        return found if found.dye == dye else replace(found, dye=dye)

    def words(
        self, recipe: Mapping[str, float], cloth_g: float, rounded: Measured | None = None
    ) -> str:
        """What to measure of a recipe, in a line; by the kit that it was `rounded` to."""
        if rounded is not None:
            return " + ".join(map(str, rounded.doses))
        doses = self.doses(recipe, cloth_g)
        weak = (f" of 1 in {d.dilution}" if d.dilution > 1 else "" for d in doses)
        return " + ".join(f"{d.dye} {d.ml:g} mL{w}" for d, w in zip(doses, weak, strict=True))

    def strengths(self, dyes: Iterable[str]) -> str:
        """How strong the stocks of these dyes are, said once where they are alike."""
        found = {dye: f"{self.of_dye(dye).strength_pct:g} %" for dye in dyes}
        alike = {*found.values()}
        return alike.pop() if len(alike) == 1 else ", ".join(map(" ".join, found.items()))

    def doses(self, recipe: Mapping[str, float], cloth_g: float) -> tuple[Dose, ...]:
        """What to measure of each dye, in the order of the recipe.

        Raises `RecipeError` for a dye without stock, and where even a stock 1 in 1000 leaves too
        little.
        """
        return tuple(self._dose(dye, owf, cloth_g) for dye, owf in recipe.items())

    def _dose(self, dye: str, owf: float, cloth_g: float) -> Dose:
        settings = self.settings
        stock = self.of_dye(dye)
        strong = stock_ml(cloth_g, owf, stock.actual_pct(settings))
        times = dilution(strong, settings.smallest_dose)
        exact = strong * times
        if exact < settings.smallest_dose * (1 - 1e-9):
            raise RecipeError(
                f"{dye} {owf:g} % on {cloth_g:g} g is {strong:.1g} mL of stock: too little even of "
                f"a stock 1 in {times}. Leave it out, or dye more cloth at once."
            )
        spoons = spoonfuls(exact, settings.spoons)
        ml = to_mark(exact, settings.measuring_step)
        if exact <= settings.jug_from and abs(spoons.error_pct) < _SPOON_EXACT:
            ml = round(spoons.ml, 2)
        return Dose(
            dye=dye, owf=owf, dye_g=dye_g(cloth_g, owf), stock=stock, dilution=times,
            exact_ml=exact, ml=ml, error_pct=100.0 * (ml / exact - 1.0), spoons=spoons,
        )  # fmt: skip
