"""What a dyer is advised: which recipes to choose among, and which square to dye next.

At most three recipes are suggested, which differ in what a dyer would choose by. The likeliest to
come out right comes first. Another is shown where, at little cost in the pot, it is measurably
better in something than every one shown before it. Recipes that differ in nothing are one choice.

The next square is the one that most lowers the likely miss over the colours wanted: how that is
worked out is in `dyemix.fitting.learn`.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cache
from itertools import combinations
from typing import Any

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import Light
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.result import Result, Row, Value
from dyemix.dataset.target import AnyColour, Target
from dyemix.errors import refuse, said
from dyemix.fitting.learn import Knowledge
from dyemix.matching.limits import LEAST_DOSE, WORTH, Constraints
from dyemix.matching.match import match, match_many
from dyemix.matching.matches import Match, Matches
from dyemix.model.dyes import DyeSet

#: Most recipes that are suggested; recipes they are chosen from.
_MOST, _FROM = 3, 24
#: By how much, and by what share of the other's, a recipe is better in each thing of `_told`.
_MARGINS = (*[(1.0, 0.0)] * 5, (0.5, 0.0), (0.0, 0.1), (0.0, 0.2))
#: Depths tried for squares of one dye, halving (common practice), within the dye's ladder.
_HALVINGS = 6
#: Squares of a mix are tried as the recipes themselves and as their parts, at these shares.
_SHARES = (1.0, 0.5)
#: And at these, where not each of those can be dyed.
_PALER = (*_SHARES, 0.25, 0.125)


def suggest(
    dyes: DyeSet, target: AnyColour, left: Mapping[str, float] | None = None, **limits: Any
) -> Matches:
    """A match whose `choices` stand first: at most three recipes that a dyer would choose among.

    By the likely miss in the pot; whether all amounts lie within her own swatches; how many dyes;
    black; another lamp; what the dye costs, where prices are given; what there is to pour; what is
    to be used up; and whether it can be poured from what is `left` in the bottles, % owf by dye.
    Where a kit is given the likely miss is that with its measures. Takes what `match` takes, and
    raises as it does.

    >>> len(suggest(dyes, "#7d8a6e").choices) <= 3
    True
    """
    wanted, found = Constraints(**limits), match(dyes, target, **{**limits, "count": _FROM})
    likely = np.array([m.measured.likely if m.measured else m.likely for m in found])
    # A dose too small to measure stands behind all others, however likely.
    tiny = [min(m.recipe.values(), default=1.0) < LEAST_DOSE for m in found]
    order = np.lexsort((np.round(likely, 1), np.array(tiny)))
    order = order[likely[order] <= likely[order[:1]] + WORTH]
    weighed = [found[i] for i in order]
    grey = {dyes.names[i] for i in np.flatnonzero(dyes.greys(dyes.light))}
    told = [_told(m, wanted, grey, left or {}) for m in weighed]
    value = np.array([[value for value, _ in ways] for ways in told], dtype=float)
    (least, share), own = np.array(_MARGINS).T, value[:, np.newaxis]
    # Whether recipe i is better than recipe j in w ``(N, N, W)``.
    better = (own <= value * (1.0 - share) - least) & (own < value)
    better |= np.eye(len(value), dtype=bool)[..., np.newaxis]  # itself stands in nobody's way

    def reasons(i: int) -> tuple[str, ...]:
        first = f"likeliest to come out right ({likely[order[0]]:.1f})"
        alone = better[i, shown].all(axis=0) & (len(shown) > 1)
        speaks = tuple(words for (_, words), so in zip(told[i], alone, strict=True) if so)
        return speaks if i else (first, *speaks)

    shown = [0]
    for w, best in enumerate(value.argmin(axis=0).tolist()):
        if len(shown) < _MOST and best not in shown and better[best, shown, w].all():
            shown.append(best)
    shown = sorted(i for i in shown if reasons(i))  # one shown later can take them all
    choices = [replace(weighed[i], reasons=reasons(i)) for i in shown]
    others = [m for i, m in enumerate(found) if i not in order[shown]]
    return replace(found, matches=(*choices, *others))


def _told(
    m: Match, wanted: Constraints, grey: set[str], left: Mapping[str, float]
) -> list[tuple[float, str]]:
    """What a recipe is told from others by, what matters most first: less is better, and in words
    what is good about it.
    """
    dyes, recipe = set(m.recipe), m.measured.recipe if m.measured else m.recipe
    count, liked = len(dyes), " and ".join(sorted(dyes & set(wanted.prefer)))
    few = {0: "undyed", 1: "only one dye", 2: "only two dyes"}.get(count, f"only {count} dyes")
    there = left and all(owf <= left.get(dye, 0.0) for dye, owf in recipe.items())
    lamp = max(shift.delta_e for shift in m.lamps)
    poured = sum(d.ml for d in m.measured.doses) if m.measured else m.recipe.total
    cost, unit = m.cost or 0.0, "mL of stock" if wanted.kit else "% owf in all"
    return [
        (bool(m.prediction.warnings), "no depth guessed"),
        (count, few),
        (bool(grey & dyes), f"no {' or '.join(sorted(grey))}"),
        (not liked, f"uses up {liked}"),
        (not there, "from what is left in the bottles"),
        (lamp, f"steadiest by lamplight ({lamp:.1f})"),
        (cost, f"cheapest ({cost:.2f} per kg of cloth)"),
        (poured, f"least to pour ({poured:.3g} {unit})"),
    ]


class Choice(Value):
    """A square to dye, and what it brings.

    `recipe` in % owf; `before` and `after` the mean likely ΔE2000 over the colours wanted.
    """

    recipe: Recipe
    before: float
    after: float


class NextSwatch(Result):
    """The squares to dye next, most useful first; each counts on those before it.

    Attributes
    ----------
    choices : the squares.
    recipes : the recipes that the colours wanted would be dyed by, % owf.
    tried : how many squares were tried.
    floor : the mean likely ΔE2000 that would be left if nothing about the dyes were open.
    light : of the colours wanted, where they share one; else of the dyes.
    left_out : how many more squares there were that cannot be dyed.
    """

    choices: tuple[Choice, ...]
    recipes: tuple[Recipe, ...]
    tried: int
    floor: float
    light: Light
    demo: bool = False
    left_out: int = 0

    def _rows(self) -> Iterable[Row]:
        """One row a square: recipe, before, after."""
        return (vars(choice) for choice in self.choices)

    def _lines(self) -> Iterable[str]:
        many = f"{len(self.recipes)} colours" if len(self.recipes) > 1 else "the one colour"
        yield said("matching.next.title", many, self.tried)
        for i, c in enumerate(self.choices, 1):
            yield f"{i:>2}  {c.recipe}: likely miss {c.before:.2f} before, {c.after:.2f} after"
        yield said("matching.next.floor", self.light, self.floor)
        yield from [said("matching.next.left_out", self.left_out)] * bool(self.left_out)


def next_swatch(
    dyes: DyeSet, targets: Sequence[AnyColour], count: int = 1, max_dyes: int = 3,
    dyeable: Callable[[Recipe], bool] | None = None,
) -> NextSwatch:  # fmt: skip
    """The square, of one dye or a mix, that most lowers the mean likely ΔE2000 over `targets`.

    Parameters
    ----------
    targets : what the dyer wants to dye, as targets or as text (hex code, or L* a* b*).
    count : how many squares to choose, one after the other (greedy).
    max_dyes : most dyes in the recipes for the colours.
    dyeable : whether a square can be dyed at all, as by `dyemix.bench.bath_sheet.dyeable`; by
        default every one can.

    Tried are every dye at halving depths of its ladder, the recipes that the colours would be dyed
    by, also at half their depth, and every pair of dyes in them; where some cannot be dyed, paler
    ones too.

    Raises `DyemixError` for no colour, a count below 1 or no such square, `TargetError` for what is
    not a colour.

    >>> found = next_swatch(dyes.take(["rust", "navy"]), ["#8a5a4a"])
    >>> found.choices[0].after <= found.choices[0].before
    True
    """
    wanted = [target.under(dyes.light) for target in Target.all(targets)]
    refuse(not wanted or count < 1, "name one colour or more, and a count of 1 or more.")
    recipes = [found[0].recipe for found in match_many(dyes, wanted, max_dyes=max_dyes, count=1)]
    lights = {dyes.light_of(target) for target in wanted}
    light = lights.pop() if len(lights) == 1 else dyes.light
    return choose(replace(dyes, light=light), recipes, count, dyeable)


def choose(
    dyes: DyeSet, recipes: Sequence[Recipe], count: int = 1,
    dyeable: Callable[[Recipe], bool] | None = None,
) -> NextSwatch:  # fmt: skip
    """`next_swatch` for recipes (% owf) that are known already."""
    amounts = np.array([dyes.amounts(r) for r in recipes])
    fits = cache(dyeable or (lambda recipe: True))  # a sheet is worked out for each, once

    def held(squares: Array) -> Array:
        return squares[[fits(dyes.recipe(square)) for square in squares]]

    squares = held(every := candidates(dyes, amounts))
    if len(squares) < len(every):
        squares = held(every := candidates(dyes, amounts, _PALER))
    refuse(not len(squares), "matching.next.none", len(every))
    known = Knowledge.of(dyes, amounts, squares)
    best = known.best(min(count, len(squares)))
    choices = tuple(Choice(dyes.recipe(squares[z]), before, after) for z, before, after in best)
    told = (len(squares), known.floor, dyes.light, dyes.demo, len(every) - len(squares))
    return NextSwatch(choices, tuple(recipes), *told)


def candidates(dyes: DyeSet, amounts: Array, shares: Sequence[float] = _SHARES) -> Array:
    """Squares to try, ``(Z, D)`` in % owf, for recipes of amounts ``(W, D)``."""
    depths = dyes.deepest * 0.5 ** np.arange(_HALVINGS)[:, np.newaxis]
    alone = depths[..., np.newaxis] * np.eye(len(dyes))
    rows = [*alone[depths >= 0.99 * dyes.palest]]
    for recipe in amounts:
        used = np.flatnonzero(recipe)
        for part in (used, *(combinations(used, 2) if len(used) > 2 else ())):
            rows += [share * recipe * np.isin(np.arange(len(dyes)), part) for share in shares]
    return np.unique(np.round(np.array(rows), 3), axis=0)
