"""Which blends of the shelf reach a colour, and which of them the pot is likeliest to hold to."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import ExitStack
from dataclasses import replace
from typing import Any

import numpy as np

from dyemix.arrays import Array, Indices
from dyemix.colour.appearance import LAMPS
from dyemix.colour.ciede2000 import delta_e, delta_e_parts, delta_e_residual
from dyemix.colour.colorimetry import Light, lab
from dyemix.dataset.conditions import mottled
from dyemix.dataset.recipe import index_of
from dyemix.dataset.target import AnyColour, Target
from dyemix.errors import DyemixError, refuse, said
from dyemix.matching.limits import LEAST_DOSE, PREFERENCE, WORTH, Constraints, RankBy, measured
from dyemix.matching.matches import ManyMatches, Match, Matches, Reach
from dyemix.matching.refine import EARNS_ITS_PLACE, holds, refined, tell
from dyemix.matching.subsets import Found, Problem, batches, number_of_blends
from dyemix.model.dyes import DyeSet

#: A target is within reach when the best recipe comes this near on paper.
WITHIN_REACH = 0.3
#: A recipe this much ΔE2000 further off than the best is another colour, and not shown.
HOPELESS = 5.0
#: Two recipes are neighbours when less than this share of their absorption is of other dyes.
_NEIGHBOURS = 0.15
#: How much more a turn of hue counts when the hue is to be held; and blends turned back to it.
_HOLD_HUE, _TRIED = 6.0, 20
#: Recipes whose likely miss is estimated, and worked out, beside those that are shown.
_WEIGHED, _SPARE = 24, 4
#: Targets in one chunk of work, and of those how many are searched in the same arrays: few enough
#: for the processor's cache.
_CHUNK, _AT_ONCE = 64, 16


def match(dyes: DyeSet, target: AnyColour, **limits: Any) -> Matches:
    """The blends that come nearest to a target, the likeliest to come out right first.

    Matching happens in the target's own light, both sides computed from spectra; a bare CIELAB
    takes the light of the swatches. Amounts run from 0 to the deepest swatch of each dye. Where
    dyes outnumber three and the target is within reach, a target with a spectrum is also matched
    as a spectrum. A blend in which one dye brings the target nearer by less than
    `EARNS_ITS_PLACE` gives way to the blend without it, and of neighbouring recipes one is shown.

    Parameters
    ----------
    limits : ``max_dyes``, ``only``, ``use``, ``avoid``, ``prefer``, ``total``, ``in_hand``,
        ``price``, ``kit``, ``count``, ``rank_by`` and ``k_lightness`` as in `Constraints`.

    Raises `TargetError` for a target that is not a colour, `DyemixError` for a bad limit.

    >>> found = match(dyes, "#7d8a6e", max_dyes=2, avoid="black")
    >>> best = found[0]
    >>> best.residual < best.likely < best.bound
    True
    >>> "black" in best.recipe
    False
    """
    return match_many(dyes, [target], **limits)[0]


def match_many(
    dyes: DyeSet, targets: Iterable[AnyColour], *, workers: int = 1,
    executor: Executor | None = None, progress: Callable[[int, int], None] | None = None,
    **limits: Any,
) -> ManyMatches:  # fmt: skip
    """`match` for many targets: the same answers in the same order, several at a time.

    `workers` processes of this machine share the work; or an `executor` does, which is any
    ``concurrent.futures`` executor, on this machine or on others. A chunk of work that fails there
    is tried once more here. `progress` is told how many targets are done, and of how many. Raises
    as `match` does, naming the target. The index of a column of targets is kept in `to_frame`.

    >>> [len(found) for found in match_many(dyes, ["#7d8a6e", [56, -10, 13]], count=3)]
    [3, 3]
    """
    refuse(workers < 1, f"workers is {workers}: 1 or more.")
    wanted = Constraints(**limits)
    aims = Target.all(targets)
    chunks = [aims[i : i + _CHUNK] for i in range(0, len(aims), _CHUNK)]
    out: list[Matches] = []
    with ExitStack() as stack:
        if workers > 1 and executor is None:
            executor = stack.enter_context(ProcessPoolExecutor(workers))
        sent = [_sent(executor, dyes, wanted, chunk) if executor else None for chunk in chunks]
        for chunk, future in zip(chunks, sent, strict=True):
            try:
                out += future.result() if future else _answer(dyes, wanted, chunk)
            except DyemixError:
                raise
            except Exception as failure:  # whatever befell the worker, the work can be done here
                if future is None:
                    raise
                names = " to ".join(target.name or str(target) for target in (chunk[0], chunk[-1]))
                places = len(out) + 1, len(out) + len(chunk)
                note = said("matching.match.elsewhere", *places, names, failure)
                again = _answer(dyes, wanted, chunk)
                out += [replace(m, warnings=(*m.warnings, note)) for m in again]
            if progress is not None:
                progress(len(out), len(aims))
    return ManyMatches(tuple(out), index_of(targets))


def _sent(executor: Executor, *work: Any) -> Future[list[Matches]]:
    """A chunk of work on its way, or failed where the executor takes no more of it."""
    try:
        return executor.submit(_answer, *work)
    except Exception as failure:
        refused: Future[list[Matches]] = Future()
        refused.set_exception(failure)
        return refused


def _answer(shelf: DyeSet, wanted: Constraints, targets: Sequence[Target]) -> list[Matches]:
    """Matches of several targets, those of one light, with a spectrum or without, side by side."""
    dyes = wanted.shelf(shelf)
    kinds = [(dyes.light_of(target), target.reflectance is None) for target in targets]
    out: dict[int, Matches] = {}
    for some in batches(kinds, _AT_ONCE):
        out |= zip(some, _alike(dyes, wanted, [targets[i] for i in some]), strict=True)
    return [out[i] for i in range(len(targets))]


def _alike(dyes: DyeSet, wanted: Constraints, targets: Sequence[Target]) -> list[Matches]:
    """Matches of targets of one kind: search, choose, weigh, choose again, describe."""
    k, light, count = wanted.k_lightness, dyes.light_of(targets[0]), wanted.count
    blends = number_of_blends(len(dyes), wanted.max_dyes)
    problem = wanted.problem(dyes, targets, light)
    found = refined(problem)
    reach = which_way(problem.labs, problem.colours(found.best().amounts), k)
    far = [t for t, way in enumerate(reach) if way is not Reach.WITHIN]
    limited = limits_of(problem, found, far) if far else {}

    # Twice: the first score is quick, but knows nothing of the jumps of ΔE2000.
    other = _under_lamp(problem, found)
    rows = shortlist(found, other, _WEIGHED + count)
    found, other = found.rows(rows), other[rows]
    made, score = dyes.predict_many(found.amounts, light), np.sqrt(found.cost)
    aims, spread = problem.labs, np.array([target.spread for target in targets])
    if likely_first := wanted.rank_by is not RankBy.PAPER:
        score = made.expected(aims[found.which], k, spread[found.which])
    rows = chosen(found, score, other, dyes, wanted, count + _SPARE)
    found, made, other, score = found.rows(rows), made[rows], other[rows], score[rows]
    pot = made.in_pot(aims[found.which], k, spread[found.which])
    rows = chosen(found, pot.mean if likely_first else score, other, dyes, wanted, count)

    matches: list[list[Match]] = [[] for _ in targets]
    settled = [target.under(light) for target in targets]
    for row, prediction in zip(rows, made[rows], strict=True):
        which, recipe = found.which[row], prediction.recipe
        mean, median, bound, sound, excellent = (float(part[row]) for part in vars(pot).values())
        kit, bounds = wanted.kit, (k, problem.upper, problem.total)
        rounded = measured(dyes, recipe, kit, aims[which], light, *bounds) if kit else None
        one = Match(
            prediction, settled[which], float(np.sqrt(found.cost[row])), mean, median, bound, sound,
            excellent, wanted.cost(recipe), rounded, bool(dyes.pots),
        )  # fmt: skip
        matches[which].append(one)
    note, low = said("matching.match.target_light", light), mottled(dyes.conditions)
    notes = [
        (*limited.get(t, ()), *target.warnings, *low, *(() if target.light else (note,)))
        for t, target in enumerate(targets)
    ]
    return [
        Matches(settled[t], tuple(matches[t]), reach[t], blends, dyes, k, notes[t])
        for t in range(len(targets))
    ]


def _under_lamp(problem: Problem, found: Found) -> Array:
    """ΔE2000 ``(M,)`` under the first of `LAMPS`, where the targets have a spectrum; else 0."""
    if problem.spectra is None:
        return np.zeros(len(found.which))
    lamp = Light(LAMPS[0], problem.light.observer)
    made = problem.dyes.colours(found.amounts, lamp)
    return delta_e(lab(problem.spectra, lamp)[found.which], made)


def shortlist(found: Found, other_lamp: Array, count: int) -> Indices:
    """The `count` nearest of each target that no simpler recipe stands for, as rows.

    A recipe earns its place by coming nearer than every one made of some of its dyes, by
    `EARNS_ITS_PLACE`, on paper or, for a target with a spectrum, under the other lamp ``(M,)``.
    """
    residual = np.sqrt(found.cost)
    order = np.lexsort((found.amounts.sum(axis=1), residual, found.used.sum(axis=1), found.which))
    out = []
    for t in np.unique(found.which):
        mine = order[found.which[order] == t]
        miss, lamp = residual[mine], other_lamp[mine]
        nearer = miss[:, np.newaxis] < miss - EARNS_ITS_PLACE
        nearer |= lamp[:, np.newaxis] < lamp - EARNS_ITS_PLACE
        beaten = np.tril(holds(found.used[mine]) & ~nearer, -1)
        kept = ~beaten.any(axis=1)
        for i in np.flatnonzero(~kept):
            kept[i] = not (beaten[i] & kept).any()
        out += list(mine[kept][np.argsort(miss[kept], kind="stable")[:count]])
    return np.array(out, dtype=np.intp)


def chosen(
    found: Found, score: Array, other_lamp: Array, dyes: DyeSet, wanted: Constraints, count: int
) -> Indices:
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
    tiny = np.any((amounts > 0) & (amounts < LEAST_DOSE), axis=1)
    order = np.lexsort((amounts.sum(axis=1), found.used.sum(axis=1), cost, lamp, steps, tiny))
    weight = amounts * dyes.curves.sum(axis=1)
    out: list[int] = []
    for t in np.unique(found.which):
        mine = order[found.which[order] == t]
        mine = mine[score[mine] <= score[mine].min() + HOPELESS]
        own = weight[mine, np.newaxis]
        apart = np.abs(own - weight[mine]).sum(axis=2)
        near = apart <= _NEIGHBOURS * np.maximum(own, weight[mine]).sum(axis=2).clip(1e-12)
        shown: list[int] = []
        for i in range(len(mine)):
            if len(shown) < count and not near[i, shown].any():
                shown.append(i)
        out += list(mine[shown])
    return np.array(out, dtype=np.intp)


def which_way(targets: Array, nearest: Array, k_lightness: float) -> list[Reach]:
    """Which way targets ``(T, 3)`` lie from the nearest colours, by the largest part of ΔE2000."""
    parts, _ = delta_e_residual(nearest, targets, k_lightness, slope=False)
    ways, out = list(Reach)[1:], []  # two of lightness, two of chroma, one of hue
    for own in parts:
        i = int(np.argmax(np.abs(own)))
        way = ways[min(2 * i + int(own[i] < 0.0), 4)]
        out.append(Reach.WITHIN if own @ own <= WITHIN_REACH**2 else way)
    return out


def limits_of(problem: Problem, found: Found, far: Sequence[int]) -> dict[int, tuple[str, ...]]:
    """Sentences on each of the targets that lie too `far` out.

    What limits the nearest recipe, and the nearest colour of the very hue: of the `_TRIED` best
    recipes, each turned back to the hue with its own dyes.
    """
    dyes, upper, k = problem.dyes, problem.upper, problem.k_lightness
    near = found.rows(np.isin(found.which, far)).best(_TRIED)
    aims, force = problem.labs[near.which], np.array([[1.0], [1.0], [_HOLD_HUE]])

    def holding(lab: Array, rows: Indices) -> tuple[Array, Array]:
        value, slope = delta_e_parts(aims[rows].T, lab, k)
        return value * force, slope * force[:, np.newaxis]

    turned = problem.descend(near, 6, 1e-3, problem.on_lab(holding))
    told = tell(turned.amounts, problem.total)
    off = delta_e(aims, problem.colours(told), k)
    out = {}
    for t in far:
        mine = np.flatnonzero(near.which == t)
        best, nearest = near.amounts[mine[0]], float(np.sqrt(near.cost[mine[0]]))
        names = [dyes.names[i] for i in np.flatnonzero(best)]
        full = [dyes.names[i] for i in np.flatnonzero(best) if best[i] >= 0.999 * upper[i]]
        limit = said("matching.match.clean", " and ".join(names) or "the undyed cloth")
        limit = said("matching.match.full", " and ".join(full)) if full else limit
        lines = [said("matching.match.nearest", dyes.recipe(best), nearest, limit)]
        held = mine[np.argmin(turned.cost[mine])]
        if off[held] > max(nearest + EARNS_ITS_PLACE, WITHIN_REACH):
            lines.append(said("matching.match.hue", dyes.recipe(told[held]), off[held]))
        out[t] = tuple(lines)
    return out
