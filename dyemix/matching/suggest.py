"""At most three recipes for a colour, which differ in what a dyer would choose by, and why.

The likeliest to come out right comes first. Another is shown where, at little cost in the pot, it
is measurably better in something than every one shown before it. Recipes that differ in nothing
are one choice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from dyemix.arrays import Array
from dyemix.dataset.result import Row, Several, Value
from dyemix.dataset.target import AnyColour
from dyemix.matching.constraints import LEAST_DOSE, WORTH, Constraints
from dyemix.matching.match import match
from dyemix.matching.matches import Match, Matches
from dyemix.model.dyes import DyeSet

#: Most that are shown; recipes they are chosen from.
_MOST, _FROM = 3, 24


@dataclass(frozen=True, eq=False)
class Suggestion(Value):
    """A recipe, and what speaks for it beside the others shown, in a few measured words."""

    match: Match
    reasons: tuple[str, ...]

    def __str__(self) -> str:
        return f"{self.match.recipe}: {', '.join(self.reasons)}"


@dataclass(frozen=True, eq=False)
class Suggestions(Several[Suggestion]):
    """At most three recipes that differ, the likeliest to come out right first.

    Attributes
    ----------
    choices : the recipes, each with its reasons; `len`, iteration and indexing go to them.
    found : every recipe that was weighed, with the target and whether the shelf reaches it.
    """

    HELD: ClassVar = "choices"

    choices: tuple[Suggestion, ...]
    found: Matches

    def _rows(self) -> Iterable[Row]:
        """One row a choice: as of a match, and its reasons."""
        for choice in self.choices:
            yield from (dict(row) | {"reasons": choice.reasons} for row in choice.match._rows())

    def __str__(self) -> str:
        return "\n".join(f"{i}  {choice}" for i, choice in enumerate(self.choices, 1))


def suggest(
    dyes: DyeSet, target: AnyColour, left: Mapping[str, float] | None = None, **limits: Any
) -> Suggestions:
    """At most three recipes for a target that differ in what a dyer would choose by, and why.

    By the likely miss in the pot; whether all amounts lie within her own swatches; how many dyes;
    black; another lamp; what the dye costs, where prices are given; what there is to pour; what is
    to be used up; and whether it can be poured from what is `left` in the bottles, % owf by dye.
    Where a kit is given the likely miss is that with its measures. Takes what `match` takes, and
    raises as it does.

    >>> len(suggest(dyes, "#7d8a6e")) <= 3
    True
    """
    wanted, found = Constraints(**limits), match(dyes, target, **{**limits, "count": _FROM})
    likely = np.array([m.measured.likely if m.measured else m.likely for m in found])
    order = np.argsort(np.round(likely, 1), kind="stable")
    # A dose too small to measure stands behind all others, however likely.
    tiny = [min(found[i].recipe.values(), default=1.0) < LEAST_DOSE for i in order]
    order = order[np.argsort(tiny, kind="stable")]
    order = order[likely[order] <= likely[order[:1]] + WORTH]
    weighed = [found[i] for i in order]
    ways = _ways(dyes, wanted, weighed, left or {})

    def beats(way: _Way, i: int, others: list[int]) -> bool:
        rest = way.value[[j for j in others if j != i]]
        better = way.value[i] <= rest * (1.0 - way.share) - way.least
        return bool(np.all(better & (way.value[i] < rest))) and len(rest) > 0

    def reasons(i: int) -> tuple[str, ...]:
        first = f"likeliest to come out right ({likely[order[0]]:.1f})"
        speaks = tuple(way.words(weighed[i]) for way in ways if beats(way, i, shown))
        return speaks if i else (first, *speaks)

    shown = [0]
    for way in ways:
        best = int(np.argmin(way.value))
        if len(shown) < _MOST and best not in shown and beats(way, best, shown):
            shown.append(best)
    shown = sorted(i for i in shown if reasons(i))  # one shown later can take them all
    return Suggestions(tuple(Suggestion(weighed[i], reasons(i)) for i in shown), found)


@dataclass(frozen=True, eq=False)
class _Way:
    """One thing to choose by.

    `value` ``(N,)`` of each recipe, less is better; a recipe is better where it is lower by `share`
    of the other's value and by `least`; `words` say so.
    """

    value: Array
    least: float
    share: float
    words: Callable[[Match], str]


def _ways(
    dyes: DyeSet, wanted: Constraints, found: list[Match], left: Mapping[str, float]
) -> tuple[_Way, ...]:
    """What recipes are told apart by, what matters most first."""
    grey = {dyes.names[i] for i in np.flatnonzero(dyes.greys(dyes.light))}
    kit = wanted.kit

    def poured(m: Match) -> float:
        """mL of stock, or % owf where no kit is given."""
        return sum(d.ml for d in m.measured.doses) if m.measured else m.recipe.total

    def lamp(m: Match) -> float:
        return max((shift.delta_e for shift in m.metamerism or m.inconstancy), default=0.0)

    def short(m: Match) -> bool:
        """Whether a bottle must be made for it."""
        recipe = m.measured.recipe if m.measured else m.recipe
        return any(owf > left.get(dye, 0.0) for dye, owf in recipe.items())

    def told(value: Callable[[Match], float]) -> Array:
        return np.array([value(m) for m in found], dtype=float)

    unit = "mL of stock" if kit else "% owf in all"
    return (
        _Way(told(lambda m: bool(m.prediction.warnings)), 1.0, 0.0,
             lambda m: "all amounts within your own squares"),
        _Way(told(lambda m: len(m.recipe)), 1.0, 0.0,
             lambda m: ("undyed", "only one dye", "only two dyes")[n]
             if (n := len(m.recipe)) < 3 else f"only {n} dyes"),
        _Way(told(lambda m: bool(grey & set(m.recipe))), 1.0, 0.0,
             lambda m: f"no {' or '.join(sorted(grey))}"),
        _Way(told(lambda m: not set(wanted.prefer) & set(m.recipe)), 1.0, 0.0,
             lambda m: f"uses up {' and '.join(sorted(set(wanted.prefer) & set(m.recipe)))}"),
        _Way(told(lambda m: not left or short(m)), 1.0, 0.0,
             lambda m: "from what is left in the bottles"),
        _Way(told(lamp), 0.5, 0.0, lambda m: f"steadiest by lamplight ({lamp(m):.1f})"),
        _Way(told(lambda m: m.cost or 0.0), 0.0, 0.1,
             lambda m: f"cheapest ({m.cost or 0.0:.2f} per kg of cloth)"),
        _Way(told(poured), 0.0, 0.2, lambda m: f"least to pour ({poured(m):.3g} {unit})"),
    )  # fmt: skip
