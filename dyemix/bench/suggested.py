"""Recipes as they are read at first sight: in % owf, and in mL of the stock at hand."""

from __future__ import annotations

from collections.abc import Iterable

from dyemix.bench.stock import Bottles
from dyemix.dataset.conditions import mottled
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.result import DEMO_WARNING
from dyemix.matching.matches import Match, Matches, Reach
from dyemix.series.steps import Series

#: Columns of a line.
_WIDTH = 100


def suggested(answer: Matches, bottles: Bottles, cloth_g: float) -> str:
    """A target and its recipes in a dozen lines: amounts, misses, reasons, the first warning.

    Amounts are of `bottles` for `cloth_g` of dry cloth, or by the kit that recipes were rounded to.
    """
    recipes = [match.recipe for match in answer.choices]
    lines = [DEMO_WARNING] if answer.demo else []
    lines += [f"Target {answer.target}, {answer.reach.value}."]
    lines += () if answer.reach is Reach.WITHIN else answer.warnings[:1]
    lines += mottled(answer.dyes.conditions)
    width = max(len(str(recipe)) for recipe in recipes)
    lines.append(f"   {'% of dry cloth weight':<{width}}  on paper  in the pot")
    for i, match in enumerate(answer.choices, 1):
        as_measured = match.measured or match
        miss = f"{as_measured.residual:>10.1f}{as_measured.likely:>12.1f}"
        lines.append(f"{i}  {match.recipe!s:<{width}}{miss}  {match.verdict}")
        lines.append(_measures(match, bottles, cloth_g))
    lines.append(f"{_about(bottles, recipes, cloth_g)} Misses are {answer.formula}.")
    first, *more = answer.choices[0].prediction.warnings or ("",)
    if first:
        lines.append(f"{first} ({len(more)} more with --detail)" if more else first)
    return "\n".join(lines)


def in_steps(found: Series, bottles: Bottles, cloth_g: float, detail: bool = False) -> str:
    """A series, with what to measure of each step below its recipe."""
    recipes = [step.recipe for route in found.best for step in route.steps]
    about = _about(bottles, recipes, cloth_g)
    return found.text(lambda s: bottles.words(s.recipe, cloth_g, s.measured), about, detail)


def _about(bottles: Bottles, recipes: Iterable[Recipe], cloth_g: float) -> str:
    strengths = bottles.strengths({dye: "" for recipe in recipes for dye in recipe})
    return f"Of stock ({strengths}), for {cloth_g:g} g of dry cloth."


def _measures(match: Match, bottles: Bottles, cloth_g: float) -> str:
    """What to measure, and as many reasons as the line holds, the first in any case."""
    line = "   " + bottles.words(match.recipe, cloth_g, match.measured)
    for i, reason in enumerate(match.reasons):
        more = f"{', ' if i else ': '}{reason}"
        if i == 0 or len(line) + len(more) <= _WIDTH:
            line += more
    return line
