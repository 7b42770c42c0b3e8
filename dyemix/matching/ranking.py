"""From many solved blends to a short list of recipes worth telling apart, and what limits them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e, delta_e_parts, delta_e_residual
from dyemix.matching.constraints import PREFERENCE, WORTH, Constraints, RankBy
from dyemix.matching.matches import Reach
from dyemix.matching.refine import EARNS_ITS_PLACE, tell
from dyemix.matching.subsets import Found, Problem
from dyemix.model.dyes import DyeSet

#: A target is within reach when the best recipe comes this near on paper.
WITHIN_REACH = 0.3
#: A recipe this much ΔE2000 further off than the best is another colour, and not shown.
HOPELESS = 5.0
#: Two recipes are neighbours when less than this share of their absorption is of other dyes.
_NEIGHBOURS = 0.15
#: How much more a turn of hue counts when the hue is to be held; and blends turned back to it.
_HOLD_HUE, _TRIED = 6.0, 20


def shortlist(found: Found, other_lamp: Array, count: int) -> NDArray[np.intp]:
    """The `count` nearest of each target that no simpler recipe stands for, as rows.

    A recipe earns its place by coming nearer than every one made of some of its dyes, by
    `EARNS_ITS_PLACE`, on paper or, for a target with a spectrum, under the other lamp ``(M,)``.
    """
    residual = np.sqrt(found.cost)
    order = np.lexsort((found.amounts.sum(axis=1), residual, found.used.sum(axis=1), found.which))
    out = []
    for t in np.unique(found.which):
        mine = order[found.which[order] == t]
        used, miss, lamp = found.used[mine].astype(float), residual[mine], other_lamp[mine]
        inside = (1.0 - used) @ used.T == 0.0  # [i, j]: no dye of j is not in i
        nearer = miss[:, np.newaxis] < miss - EARNS_ITS_PLACE
        nearer |= lamp[:, np.newaxis] < lamp - EARNS_ITS_PLACE
        kept = np.zeros(len(mine), dtype=bool)
        for i in range(len(mine)):
            kept[i] = np.all(nearer[i] | ~(kept & inside[i]))
        out += list(mine[kept][np.argsort(miss[kept], kind="stable")[:count]])
    return np.array(out, dtype=np.intp)


def chosen(
    found: Found, score: Array, other_lamp: Array, dyes: DyeSet, wanted: Constraints, count: int
) -> NDArray[np.intp]:
    """The `count` recipes to show of each target, best first, as rows.

    Scores ``(M,)`` that differ by less than the eye can see rank as equal (steps of
    `EARNS_ITS_PLACE`); then the least metamerism goes first where the target has a spectrum, then
    the cheapest where prices are known, then fewer dyes, then less dye. A preferred dye is worth
    `PREFERENCE`; whatever holds a dose too small to measure stands last. A recipe `HOPELESS`
    further off than the best is none, and so is one that is a neighbour of one before it.
    """
    amounts = found.amounts
    liked = np.any(amounts[:, [dyes.index(dye) for dye in wanted.prefer]] > 0, axis=1)
    off, lamp = score, np.round(other_lamp / EARNS_ITS_PLACE)
    if wanted.rank_by is RankBy.COST:
        best = {t: score[found.which == t].min() for t in np.unique(found.which)}
        off = np.maximum(score, WORTH + np.array([best[t] for t in found.which]))
        lamp = np.zeros(len(score))
    steps = np.round((off - PREFERENCE * liked) / EARNS_ITS_PLACE)
    cost = amounts @ [wanted.price.get(dye, 0.0) for dye in dyes.names]
    tiny = np.any((amounts > 0) & (amounts < wanted.least_dose), axis=1)
    order = np.lexsort((amounts.sum(axis=1), found.used.sum(axis=1), cost, lamp, steps, tiny))
    weight = amounts * dyes.curves.sum(axis=1)
    out: list[int] = []
    for t in np.unique(found.which):
        mine = order[found.which[order] == t]
        shown: list[int] = []
        for i in mine[score[mine] <= score[mine].min() + HOPELESS]:
            own, others = weight[i], weight[shown]
            apart = np.abs(own - others).sum(axis=1) / np.maximum(own, others).sum(axis=1).clip(
                1e-12
            )
            if len(shown) < count and np.all(apart > _NEIGHBOURS):
                shown.append(int(i))
        out += shown
    return np.array(out, dtype=np.intp)


def which_way(target: Array, nearest: Array, k_lightness: float) -> Reach:
    """Which way a target ``(3,)`` lies from the nearest colour, by the largest part of ΔE2000."""
    parts, _ = delta_e_residual(nearest, target, k_lightness, slope=False)
    if np.sqrt(parts @ parts) <= WITHIN_REACH:
        return Reach.WITHIN
    sides = (Reach.TOO_LIGHT, Reach.TOO_DARK), (Reach.TOO_CLEAN, Reach.TOO_DULL)
    largest = int(np.argmax(np.abs(parts)))
    return Reach.OFF_IN_HUE if largest == 2 else sides[largest][int(parts[largest] < 0)]


def limits_of(problem: Problem, found: Found, far: Sequence[int]) -> dict[int, tuple[str, ...]]:
    """Sentences on each of the targets that lie too `far` out.

    What limits the nearest recipe, and the nearest colour of the very hue: of the `_TRIED` best
    recipes, each turned back to the hue with its own dyes.
    """
    dyes, upper, k = problem.dyes, problem.upper, problem.k_lightness
    near = found.rows(np.isin(found.which, far)).best(_TRIED)
    aims, force = problem.labs[near.which], np.array([[1.0], [1.0], [_HOLD_HUE]])

    def holding(lab: Array, rows: NDArray[np.intp]) -> tuple[Array, Array]:
        value, slope = delta_e_parts(aims[rows].T, lab, k)
        return value * force, slope * force[:, np.newaxis]

    turned = problem.descend(near, 60, 1e-7, problem.on_lab(holding))
    told = tell(turned.amounts, problem.total)
    off = delta_e(aims, problem.colours(told), k)
    out = {}
    for t in far:
        mine = np.flatnonzero(near.which == t)
        best, nearest = near.amounts[mine[0]], float(np.sqrt(near.cost[mine[0]]))
        names = [dyes.names[i] for i in np.flatnonzero(best)]
        full = [dyes.names[i] for i in np.flatnonzero(best) if best[i] >= 0.999 * upper[i]]
        limit = (
            f"{' and '.join(full)}, as deep as there is a square or stock for."
            if full
            else f"{' and '.join(names) or 'the undyed cloth'}: no dye here is cleaner."
        )
        lines = [f"Nearest on paper: {dyes.recipe(best)}, {nearest:.1f} off. Limited by {limit}"]
        held = mine[np.argmin(turned.cost[mine])]
        if off[held] > max(nearest + EARNS_ITS_PLACE, WITHIN_REACH):
            lines.append(f"Holding the hue: {dyes.recipe(told[held])}, {off[held]:.1f} off.")
        out[t] = tuple(lines)
    return out
