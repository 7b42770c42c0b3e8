"""Recipes as they are read at first sight: in % owf, and in mL of the stock at hand."""

import re
from collections.abc import Iterable
from itertools import chain
from typing import Any

from dyemix.bench.stock import Bottles
from dyemix.console import WIDTH
from dyemix.dataset.conditions import mottled
from dyemix.dataset.result import marks
from dyemix.matching.correct import Correction
from dyemix.matching.limits import Kit, measured
from dyemix.matching.matches import Matches, Pot, Reach, verdict
from dyemix.series.steps import Series

#: Most recipes that are shown; one less of a colour out of reach, of which there is more to say.
MOST = 3
#: What a reason was measured at.
_FIGURE = re.compile(r" \([^)]*\)$")


def dyed_before(found: Correction) -> str:
    """How a recipe was come by that a piece of the very colour wanted led to."""
    day = found.trial.date
    pot = f"your pot of {day}" if day else "your undated pot"
    return f"{pot}{', corrected' if found.changed else ''} ({found.miss.delta_e:.1f} off)"


def to_choose_from(answer: Matches, before: Correction | None) -> list[tuple[Any, tuple[str, ...]]]:
    """Recipes to choose from, each with what speaks for it: a `Pot` or the `Match`.

    What a piece dyed `before` leads to stands for all of its dyes: it is likelier to come out right
    than any that is like it. It comes first, or second where one of other dyes is likelier still.
    """
    if before is None:
        return [(match, match.reasons) for match in answer.choices]
    pot = before.corrected
    others = [m for m in answer.choices if m.recipe.keys() != pot.recipe.keys()]
    at = int(any(_likely(m) < _likely(pot) for m in others[:1]))
    told = [m.reasons[not at and m is answer.choices[0] :] for m in others]
    rows = list(zip(others, told, strict=True))
    return [*rows[:at], (pot, (dyed_before(before),)), *rows[at:]]


def _likely(pot: Pot) -> float:
    """The likely miss as it is shown, with the measures that it was rounded to."""
    return round((getattr(pot, "measured", None) or pot).likely, 1)


def suggested(
    answer: Matches, bottles: Bottles, cloth_g: float, before: Correction | None = None,
    kit: Kit | None = None,
) -> str:  # fmt: skip
    """A target and its recipes in a dozen lines: amounts, misses, reasons, the first warning.

    Amounts are of `bottles` for `cloth_g` of dry cloth, or by the kit that recipes were rounded to.
    Where a piece was dyed for it `before`, the recipe that it leads to is among them, by that `kit`
    too.
    """
    shown = to_choose_from(answer, before)[: MOST - (answer.reach is not Reach.WITHIN)]
    lines = [*marks(answer), f"Target {answer.target}, {answer.reach.value}."]
    recipes = [pot.recipe for pot, _ in shown]
    width, of_first = max(len(str(recipe)) for recipe in recipes), ()
    for i, (pot, reasons) in enumerate(shown, 1):
        recipe, rounded = pot.recipe, getattr(pot, "measured", None)
        miss = rounded or pot
        if kit and not rounded:  # what a pot taught moves its prediction, not what doses do to it
            there = answer.dyes.predict(recipe)
            rounded = measured(answer.dyes, recipe, kit, there.lab, there.light)
        if i == 1:
            of_first = (*pot.prediction.warnings, *(rounded.weaker if rounded else ()))
        worth = verdict(miss.likely, answer[0].proven)
        misses = f"{miss.residual:.1f} on paper, {miss.likely:.1f} in the pot: {worth}"
        lines.append(f"{i}  {recipe!s:<{width}}  {misses}")
        poured = bottles.words(recipe, cloth_g, rounded) or "nothing to pour"
        lines.append(_with_reasons(f"   {poured}", reasons))
    strengths = bottles.strengths(chain(*recipes))
    stock = f", of stock ({strengths}) for {cloth_g:g} g{bottles.undyed}" if strengths else ""
    lines.append(f"% of dry cloth weight{stock}. Misses are {answer.formula}.")
    warnings = (
        *mottled(answer.dyes.conditions),
        *(() if answer.reach is Reach.WITHIN else answer.warnings[:1]),
        *of_first,
    )
    more = f" ({len(warnings) - 1} more with --detail)" if len(warnings) > 1 else ""
    return "\n".join([*lines, *(f"{warning}{more}" for warning in warnings[:1])])


def in_steps(found: Series, bottles: Bottles, cloth_g: float, detail: bool = False) -> str:
    """A series, with what to measure of each step below its recipe."""
    steps = (step.recipe for route in found.best for step in route.steps)
    strengths = bottles.strengths(chain.from_iterable(steps))
    cloth = f"{cloth_g:g} g of dry cloth{bottles.undyed}"
    about = f"Of stock ({strengths}), for {cloth}." if strengths else ""
    return found.text(lambda s: bottles.words(s.recipe, cloth_g, s.measured), about, detail)


def _with_reasons(line: str, reasons: Iterable[str]) -> str:
    """What to measure, and as many reasons as the line holds, at a pinch without their figures."""
    between = ": "
    for reason in reasons:
        for words in (reason, _FIGURE.sub("", reason)):
            if len(line) + len(between) + len(words) <= WIDTH:
                line, between = f"{line}{between}{words}", ", "
                break
    return line
