"""What to dye first: the squares of a first weekend, on one page, and the table to fill in."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap

from dyemix.dataset.recipe import (
    SPOON_SETS,
    Recipe,
    Spoonfuls,
    dye_name,
    format_amount,
    spoonfuls,
    stock_ml,
)
from dyemix.dataset.swatches import CHECK, Reading, SwatchSet
from dyemix.dataset.units import STOCK_PCT, dilution
from dyemix.errors import RecipeError
from dyemix.files import write_swatches

#: Depths of each dye, % owf: each a quarter of the one before (common practice halves; three
#: depths have to span the same range).
DEPTHS = (2.0, 0.5, 0.125)
#: Depth of each dye in the mix: inside the range of the ladders and on none of their steps.
MIX_DEPTH = 0.25
#: Which label tells the mix apart: it is to check the first fit, and stays out of it.
_MIXED = 3
#: Liquor ratios of the two ways to dye (common practice).
_LIQUOR = (("stirred bath", 20), ("low water", 5))

_WIDTH = 100
_LINE = "{:<7} {:<15} {:>6}  {:>9}  {:<14} {:<20} {}"
_SPOONS = (
    "always of LIQUID, never powder; {} set, {:.4g} and {:.4g} mL. The % is what rounding adds: "
    "where it is over 5, measure the mL with a syringe kept for dye."
)
_STOCK = "{} % is {} g of powder made up TO 500 mL, not added to it (that is weaker)."
_CLOTH = (
    "weigh a length of {} × {} = {} g dry, scoured, and cut it into that many equal squares: no "
    "fine scale needed. Mark each with a thread or laundry marker that outlasts the bath."
)
_CUPS = (
    "one a square, filled with water to the same total: {}. Keep to one. The undyed square goes "
    "through all of it as well: alkali, time, rinse, hot soak."
)
#: Heading, text; a paragraph each. Common practice throughout.
_METHOD_TEXT = """
Alkali   one order for all: cloth soaked in it before, or in with the dye, or an hour after.
Swatches of one order do not predict another. Write it above the table, with the temperature
(21 °C at least), hours (some at 35 °C, a day at 21 °C), salt and date.

Soda     ash 5–10 g/L in a stirred bath; in low water a solution of 30–60 g/L, as much as the dye
liquor to start with (common practice).

Rinse    cool until nearly clear, then soak hot, about 60 °C (it scalds: tongs, thick gloves),
until a white scrap stays white.

Read     dry and ironed, folded to four layers (eight for thin pale cloth), four times, turned by
90°. Fill in L*, a*, b* or hex, not both; copy the square's row for each further reading.

Check    the square of that name is kept out of the first fit: predict it, then compare. That miss
is the first honest figure. The repeat shows your own scatter.

More     each further dye takes three squares. Five depths a dye remain the advice for customers'
work. Depths, folds, marks and spoons are common practice, not laws.

SAFETY   Some reactive dye powders sensitise lungs and skin: an adult mixes all powder, over a
damp-paper-lined tray, in a dust mask (P2, FFP2, N95 or better) and gloves; nobody with asthma.
Soda ash seriously irritates eyes: goggles, gloves. Tools and cups never for food again. Stocks
labelled, out of children's reach, never in a food refrigerator. The safety data sheets and local
rules come before this page.
"""


@dataclass(frozen=True)
class Dose:
    """Stock for one square: `ml` of the stock diluted 1 in `dilution` (1: as it is)."""

    dye: str
    owf: float
    stock_ml: float
    dilution: int
    ml: float
    spoons: Spoonfuls


@dataclass(frozen=True)
class Square:
    """One square of cloth: its label, its recipe and what to measure for it."""

    label: str
    recipe: Recipe
    doses: tuple[Dose, ...]
    purpose: str


@dataclass(frozen=True)
class SwatchPlan:
    """The squares of a first weekend. `str(plan)` is the page for the bench.

    `stock_pct` is % w/v (g per 100 mL), `square_g` the dry weight of one square in grams,
    `spoons` the spoon set.
    """

    dyes: tuple[str, ...]
    cloth: str
    stock_pct: float
    square_g: float
    spoons: str
    squares: tuple[Square, ...]

    def table(self) -> SwatchSet:
        """The swatch table with every reading blank."""
        conditions = {
            "cloth": self.cloth,
            **dict.fromkeys(("alkali", "liquor ratio", "temperature", "hours", "salt", "date"), ""),
            "stock_pct": f"{self.stock_pct:g}",
            "cloth_g": f"{self.square_g:g}",
            "spoons": self.spoons,
        }
        return SwatchSet(
            tuple(
                Reading(square.recipe, None, square.label, "blank", conditions=conditions)
                for square in self.squares
            )
        )

    def write(self, path: str | os.PathLike[str]) -> None:
        """Write the swatch table, readings blank: fill in L*, a*, b* or hex, or add bands."""
        write_swatches(self.table(), path)

    def __str__(self) -> str:
        count = len(self.squares)
        title = f"A first {'dozen' if count == 12 else f'{count} squares'}: {', '.join(self.dyes)}"
        amounts = (
            f"{count} squares of {self.square_g:g} g; % of dry cloth weight (% owf); stock "
            f"{self.stock_pct:g} % (g per 100 mL)"
        )
        heads = ("square", "dye", "% owf", "measure", "of", "or in spoons", "dyed")
        lines = [*wrap(f"{title} on {self.cloth}", _WIDTH), amounts, "", _LINE.format(*heads)]
        lines += [line for square in self.squares for line in _rows(square)]
        for heading, text in self._advice():
            lines += wrap(
                text, _WIDTH, initial_indent=f"{heading:<8}", subsequent_indent=" " * 8
            ) or [""]
        return "\n".join(lines)

    def _advice(self) -> list[tuple[str, str]]:
        """What the page says below the squares: heading and text."""
        count, stock = len(self.squares), f"{self.stock_pct:g}"
        spoon = SPOON_SETS[self.spoons]
        doses = [dose for square in self.squares for dose in square.doses]
        weak = "; ".join(
            f"1 in {times} is {1000 / times:g} mL of stock made up TO 1000 mL"
            for times in sorted({dose.dilution for dose in doses} - {1})
        )
        fullest = max(sum(dose.ml for dose in square.doses) for square in self.squares)
        waters = [
            f"{self.square_g * ratio:g} mL ({name}, {ratio}:1)"
            for name, ratio in _LIQUOR
            if self.square_g * ratio >= fullest
        ] or [f"{2 * fullest:.0f} mL"]
        return [
            ("", ""),
            ("Spoons", _SPOONS.format(self.spoons, spoon["tbsp"], spoon["tsp"])),
            ("Stock", _STOCK.format(stock, f"{5 * self.stock_pct:g}")),
            *([("Weak", f"{weak}; mix it on the day.")] if weak else []),
            ("Cloth", _CLOTH.format(count, f"{self.square_g:g}", f"{count * self.square_g:g}")),
            ("Cups", _CUPS.format(" or ".join(waters))),
            *(_paragraph(text) for text in _METHOD_TEXT.strip().split("\n\n")),
        ]


def _paragraph(text: str) -> tuple[str, str]:
    heading, *words = text.split()
    return heading, " ".join(words)


def _rows(square: Square) -> list[str]:
    box = f"[ ] {square.purpose}".rstrip()
    if not square.doses:
        return [_LINE.format(square.label, "undyed", "0", "–", "–", "–", box)]
    return [
        _LINE.format(
            "" if number else square.label,
            dose.dye,
            f"{dose.owf:g}",
            f"{format_amount(dose.ml)} mL",
            "stock" if dose.dilution == 1 else f"weak, 1 in {dose.dilution}",
            str(dose.spoons),
            "" if number else box,
        ).rstrip()
        for number, dose in enumerate(square.doses)
    ]


def _dose(dye: str, owf: float, plan_stock: float, square_g: float, spoons: str) -> Dose:
    """Stock as it is, or ten- or hundredfold diluted where a quarter teaspoon holds too much."""
    strong = stock_ml(square_g, owf, plan_stock)
    times = dilution(strong, SPOON_SETS[spoons]["tsp"] / 4)
    return Dose(dye, owf, strong, times, strong * times, spoonfuls(strong * times, spoons))


def first_swatches(
    dyes: Sequence[str] | str,
    cloth: str,
    stock_pct: float = STOCK_PCT,
    square_g: float = 5.0,
    spoons: str = "metric",
) -> SwatchPlan:
    """Plan the first squares: undyed, three depths a dye, one repeat and one mix as a check.

    Parameters
    ----------
    dyes : names of the stock dyes, or one text with commas between them. Three make a dozen
        squares; the mix is of the first three.
    cloth : what it is dyed on, in words.
    stock_pct : strength of every stock, % w/v (g per 100 mL), above 0 and at most 20.
    square_g : dry weight of one square, grams, above 0.
    spoons : spoon set, one of ``us``, ``metric``, ``australian``, ``imperial``.

    Raises
    ------
    RecipeError
        For no dye, one named twice, a name that a recipe cannot hold, or an amount out of range.
    """
    given = dyes.split(",") if isinstance(dyes, str) else list(dyes)
    names = tuple(dye_name(name) for name in given if name.strip())
    if not names:
        raise RecipeError("no dyes are named: give at least one, as 'gold, scarlet, navy'.")
    for number, name in enumerate(names):
        if name in names[:number]:
            raise RecipeError(f"{name} is named twice: each dye gets three squares once.")
        try:
            sound = Recipe.parse(f"{name} 1") == {name: 1.0}
        except RecipeError:
            sound = False
        if not sound:
            raise RecipeError(f"{name!r} cannot stand in a recipe: use letters, as 'navy 2'.")
    cloth = " ".join(cloth.split())
    if not cloth:
        raise RecipeError("the cloth is not named: say what it is, as 'cotton lawn'.")
    if not 0 < stock_pct <= 20:
        raise RecipeError(f"stock {stock_pct:g} % is out of range: above 0, at most 20 (% w/v).")
    if not 0 < square_g < 1000:
        raise RecipeError(f"squares of {square_g:g} g are out of range: above 0, under 1000 g.")
    if spoons not in SPOON_SETS:
        raise RecipeError(f"spoon set {spoons!r} is unknown: use one of {', '.join(SPOON_SETS)}.")

    planned = [(Recipe(), "")]
    planned += [(Recipe({name: depth}), "") for name in names for depth in DEPTHS]
    planned.append((Recipe({names[0]: DEPTHS[1]}), "repeat"))
    planned.append((Recipe(dict.fromkeys(names[:_MIXED], MIX_DEPTH)), "not fitted"))
    squares = tuple(
        Square(
            label=CHECK if number == len(planned) else str(number),
            recipe=recipe,
            doses=tuple(
                _dose(dye, owf, stock_pct, square_g, spoons) for dye, owf in recipe.items()
            ),
            purpose=purpose,
        )
        for number, (recipe, purpose) in enumerate(planned, start=1)
    )
    return SwatchPlan(names, cloth, stock_pct, square_g, spoons, squares)
