"""From many solved blends to a short list of recipes that are worth telling apart."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.matching.constraints import PREFERENCE, Wishes
from dyemix.matching.matches import Reach
from dyemix.model.dyes import DyeSet

#: A further dye must bring a recipe nearer by this much ΔE2000 (far below what an eye sees), or
#: the recipe without it stands for both.
EARNS_ITS_PLACE = 0.1
#: A target is within reach when the best recipe comes this near on paper.
WITHIN_REACH = 0.3
#: A recipe this much ΔE2000 further off than the best is another colour, and not shown.
HOPELESS = 5.0
#: Two recipes are neighbours when less than this share of their absorption is of other dyes.
_NEIGHBOURS = 0.15
#: Amounts are told to a millionth of a per cent: far below any measure, and the same whichever
#: way the arrays were cut.
_DIGITS = 6


def tell(amounts: Array) -> Array:
    """Amounts as they are told, % owf."""
    return np.asarray(np.round(amounts, _DIGITS))


def allowed(amounts: Array, dyes: DyeSet, wishes: Wishes) -> NDArray[np.bool_]:
    """Which of the recipes ``(M, D)`` hold every dye that must be used, and keep to the total."""
    good = np.all(amounts >= 0.999 * wishes.bottoms(dyes), axis=1)
    if wishes.total is not None:
        good &= amounts.sum(axis=1) <= wishes.total * 1.001
    return np.asarray(good)


def worth_showing(
    amounts: Array, miss: Array, other_lamp: Array | None, among: NDArray[np.bool_]
) -> NDArray[np.intp]:
    """Recipes ``among`` the M that no simpler one stands for, as indices.

    A recipe earns its place by coming nearer than every one made of some of its dyes, by
    `EARNS_ITS_PLACE`, on paper or, for a target with a spectrum, under the other lamp.
    """
    used = amounts > 0
    number, depth = used.sum(axis=1), amounts.sum(axis=1)
    within = ~np.any(used[np.newaxis, :] & ~used[:, np.newaxis], axis=2)  # j within i: [i, j]
    kept: list[int] = []
    for i in np.lexsort((depth, miss, number)):
        if not among[i]:
            continue
        inside = [j for j in kept if within[i, j]]
        if all(
            miss[i] < miss[j] - EARNS_ITS_PLACE
            or (other_lamp is not None and other_lamp[i] < other_lamp[j] - EARNS_ITS_PLACE)
            for j in inside
        ):
            kept.append(int(i))
    return np.array(kept, dtype=np.intp)


def rank(
    amounts: Array, score: Array, other_lamp: Array | None, dyes: DyeSet, wishes: Wishes
) -> NDArray[np.intp]:
    """Order of the recipes ``(M, D)`` worth a look, by `score` ``(M,)``, least first.

    A recipe `HOPELESS` further off than the best is none.

    Scores that differ by less than the eye can see rank as equal (steps of `EARNS_ITS_PLACE`);
    then the least metamerism goes first where the target has a spectrum, then the cheapest where
    prices are known, then fewer dyes, then less dye. A preferred dye is worth `PREFERENCE`.
    """
    liked = np.any(amounts[:, [dyes.index(dye) for dye in wishes.prefer]] > 0, axis=1)
    steps = np.round((score - PREFERENCE * liked) / EARNS_ITS_PLACE)
    level = np.zeros(len(score))
    lamps = level if other_lamp is None else np.round(other_lamp / EARNS_ITS_PLACE)
    costs = [wishes.cost(dyes.recipe(row)) for row in amounts] if wishes.price else level
    price = np.array([np.inf if cost is None else cost for cost in costs])
    number, depth = (amounts > 0).sum(axis=1), amounts.sum(axis=1)
    order = np.lexsort((depth, number, price, lamps, steps))
    return np.asarray(order[score[order] <= score.min() + HOPELESS])


def different(amounts: Array, dyes: DyeSet, count: int) -> list[int]:
    """The first `count` of recipes ``(M, D)``, in order, that are not neighbours of one before."""
    weight = amounts * dyes.curves.sum(axis=1)
    chosen: list[int] = []
    for i in range(len(amounts)):
        apart = [
            np.abs(weight[i] - weight[j]).sum() / np.maximum(weight[i], weight[j]).sum()
            for j in chosen
        ]
        if not apart or min(apart) > _NEIGHBOURS:
            chosen.append(i)
        if len(chosen) == count:
            break
    return chosen


def which_way(target: Array, residual: Array, miss: float) -> Reach:
    """Which way the target lies from the nearest colour, by the largest part of ΔE2000.

    `residual` ``(3,)`` is ΔE2000's lightness, chroma and hue part, from the nearest colour to the
    target.
    """
    if miss <= WITHIN_REACH:
        return Reach.WITHIN
    largest = int(np.argmax(np.abs(residual)))
    if largest == 0:
        return Reach.TOO_LIGHT if residual[0] > 0 else Reach.TOO_DARK
    if largest == 1:
        return Reach.TOO_CLEAN if residual[1] > 0 else Reach.TOO_DULL
    return Reach.OFF_IN_HUE
