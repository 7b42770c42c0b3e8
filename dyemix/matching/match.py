"""Which blends of the shelf reach a colour, and which of them the pot is likeliest to hold to."""

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import ExitStack
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from dyemix.arrays import Array, Flags, Indices
from dyemix.colour.appearance import LAMPS
from dyemix.colour.ciede2000 import delta_e, delta_e_parts, delta_e_residual
from dyemix.colour.colorimetry import Light, lab
from dyemix.dataset.conditions import mottled
from dyemix.dataset.recipe import index_of
from dyemix.dataset.target import AnyColour, Target
from dyemix.errors import DyemixError, refuse, said
from dyemix.matching.limits import LEAST_DOSE, PREFERENCE, WORTH, Constraints, RankBy, measured
from dyemix.matching.matches import WITHIN_REACH, ManyMatches, Match, Matches, Pot, Reach
from dyemix.matching.subsets import EARNS_ITS_PLACE, Found, Problem, batches, number_of_blends
from dyemix.model.dyes import DyeSet
from dyemix.model.least_squares import Residual
from dyemix.model.mixtures import Index

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
#: How many of the best blends of each number of dyes get the last steps.
_SHORT_LIST = 20
#: How many of the blends of each size are tried with one dye more: all there are of twelve dyes.
_BEAM = 400
#: Blends this much ΔE2000 further off than the nearest come to nothing that is shown.
_HOPEFUL = 8.0
#: A blend this near to the target is on the spot: one that holds it is not tried. Whatever that
#: might gain is less than this, since no ΔE2000 lies below 0.
_ON_THE_SPOT = 0.02
#: From this miss on the best answer is also looked for across grey. Against differential
#: evolution a better one stood there only where the miss was above 16. So many blends set out.
_FAR, _SIDES = 12.0, 3
#: Where that looks: at these turns from the target's hue (radians) and chromas. Just short of the
#: jump at half a turn; at 100° the rotation term (mean hue 275°) bends the valley for purples.
_ACROSS, _CHROMAS = np.deg2rad([179.95, -179.95, 100.0, -100.0]), np.geomspace(0.3, 40.0, 60)
#: How hard it is held on its side of the jump, and by how much chroma (a*, b*) short of it: softly
#: first, or it would creep along the edge.
_HOLDS = ((3.0, 0.0), (300.0, 0.003))
#: Weights of the spectrum beside ΔE2000, in turn: a small weight makes a narrow, bent valley, in
#: which descent creeps. The last moves ΔE2000 by less than its square.
_WEIGHTS = (1.0, 0.1, 0.01)


def match(dyes: DyeSet, target: AnyColour, **limits: Any) -> Matches:
    """The blends that come nearest to a target, the likeliest to come out right first.

    Matching happens in the target's own light, both sides computed from spectra; a bare CIELAB
    takes the light of the swatches. Amounts run from 0 to the deepest swatch of each dye. Where
    dyes outnumber three and the target is within reach, a target with a spectrum is also matched
    as a spectrum. A blend in which one dye brings the target nearer by less than
    `EARNS_ITS_PLACE` gives way to the blend without it, and of neighbouring recipes one is shown.

    Parameters
    ----------
    limits : ``max_dyes``, ``use``, ``avoid``, ``prefer``, ``total``, ``in_hand``, ``price``,
        ``kit``, ``count``, ``rank_by`` and ``k_lightness`` as in `Constraints`.

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
    best = found.best()
    far = np.flatnonzero(best.cost > WITHIN_REACH**2)
    reach = np.full(len(targets), Reach.WITHIN)
    limited: dict[int, tuple[str, ...]] = {}
    if len(far):
        reach[far] = which_way(problem.labs[far], problem.colours(best.amounts[far]), k)
        limited = limits_of(problem, found, far)
    # Twice: the first score is quick, but knows nothing of the jumps of ΔE2000.
    misses = np.stack([np.sqrt(found.cost), _under_lamp(problem, found)])
    found = found.rows(earning(found, misses)).best(_WEIGHED + count, _ON_THE_SPOT**2)
    made, other = dyes.predict_many(found.amounts, light), _under_lamp(problem, found)
    score = np.sqrt(found.cost)
    aims, spread = problem.labs, np.array([target.spread for target in targets])
    if likely_first := wanted.rank_by is not RankBy.PAPER:
        score = made.expected(aims[found.which], k, spread[found.which])
    rows = chosen(found, score, other, dyes, wanted, count + _SPARE)
    found, made, other, score = found.rows(rows), made[rows], other[rows], score[rows]
    pot = made.in_pot(aims[found.which], k, spread[found.which])
    rows = chosen(found, pot.mean if likely_first else score, other, dyes, wanted, count)

    matches: list[list[Match]] = [[] for _ in targets]
    settled = [target.under(light) for target in targets]
    for row, prediction in zip(rows, map(made.__getitem__, rows), strict=True):
        which, recipe = found.which[row], prediction.recipe
        kit, bounds = wanted.kit, (k, problem.upper, problem.total, spread[which])
        rounded = measured(dyes, recipe, kit, aims[which], light, *bounds) if kit else None
        off, (*miss,) = float(np.sqrt(found.cost[row])), (float(part[row]) for part in pot)
        whole = vars(Pot(prediction, settled[which], off, *miss))
        one = Match(**whole, cost=wanted.cost(recipe), measured=rounded, proven=bool(dyes.pots))
        matches[which].append(one)
    note, low = said("matching.match.target_light", light), mottled(dyes.conditions)
    out = []
    for t, target in enumerate(targets):
        notes = (*limited.get(t, ()), *target.warnings, *low, *(() if target.light else (note,)))
        out.append(Matches(settled[t], tuple(matches[t]), reach[t], blends, dyes, k, notes))
    return out


def _under_lamp(problem: Problem, found: Found) -> Array:
    """ΔE2000 ``(M,)`` under the first of `LAMPS`, where the targets have a spectrum; else 0."""
    if problem.spectra is None:
        return np.zeros(len(found.which))
    lamp = Light(LAMPS[0], problem.light.observer)
    wanted = lab(problem.spectra, lamp)[found.which]
    return delta_e(wanted, problem.dyes.colours(found.amounts, lamp))


def earning(found: Found, misses: Array, by: float = EARNS_ITS_PLACE) -> Flags:
    """Which blends ``(M,)`` no simpler one stands for.

    A blend earns its place by coming nearer than every one made of some of its dyes, by so much, in
    one of the `misses` ``(V, M)``.
    """
    out, order = np.ones(len(found.which), dtype=bool), np.lexsort((misses[0], found.number))
    for t in np.unique(found.which):
        mine = order[found.which[order] == t]
        own, miss, kept = found.number[mine], misses[:, mine], out[mine]
        nearer = (miss[..., np.newaxis] < miss[:, np.newaxis] - by).any(axis=0)
        beaten = np.tril(found.rows(mine).holds & ~nearer, -1)
        for size in np.unique(own):
            kept[own == size] = ~(beaten[own == size] & kept).any(axis=1)
        out[mine] = kept
    return out


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
        best = np.full(found.which.max() + 1, np.inf)
        np.minimum.at(best, found.which, score)
        off, lamp = np.maximum(score, WORTH + best[found.which]), np.zeros(len(score))
    steps = np.round((off - PREFERENCE * liked) / EARNS_ITS_PLACE)
    cost = amounts @ [wanted.price.get(dye, 0.0) for dye in dyes.names]
    tiny = np.any((amounts > 0) & (amounts < LEAST_DOSE), axis=1)
    order = np.lexsort((amounts.sum(axis=1), found.number, cost, lamp, steps, tiny))
    weight = amounts.T * dyes.whole.curves.sum(axis=1)[:, np.newaxis]
    out: list[int] = []
    for t in np.unique(found.which):
        mine = order[found.which[order] == t]
        mine = mine[score[mine] <= score[mine].min() + HOPELESS]
        # The sum of |a − b| over dyes is twice that of the larger of both, less both sums.
        own, whole = weight[:, mine], weight[:, mine].sum(axis=0)
        most = np.maximum(own[:, :, np.newaxis], own[:, np.newaxis]).sum(axis=0)
        near = (2.0 - _NEIGHBOURS) * most <= whole[:, np.newaxis] + whole
        free, end = np.ones(len(mine), dtype=bool), len(out) + count
        while free.any() and len(out) < end:
            i = free.argmax()
            out.append(mine[i])
            free &= ~near[i]
    return np.array(out, dtype=np.intp)


def which_way(targets: Array, nearest: Array, k_lightness: float) -> list[Reach]:
    """Which way targets ``(T, 3)`` out of reach lie from the nearest colours, by the largest part
    of ΔE2000."""
    parts, _ = delta_e_residual(nearest, targets, k_lightness, slope=False)
    ways = list(Reach)[1:]  # two of lightness, two of chroma, one of hue
    largest = np.abs(parts).argmax(axis=1)
    return [ways[min(2 * i + int(own[i] < 0.0), 4)] for i, own in zip(largest, parts, strict=True)]


def limits_of(problem: Problem, found: Found, far: Indices) -> dict[int, tuple[str, ...]]:
    """Sentences on each of the targets that lie too `far` out.

    What limits the nearest recipe, and the nearest colour of the very hue: of the `_TRIED` best
    recipes, each turned back to the hue with its own dyes.
    """
    recipe, upper = problem.dyes.span.recipe, problem.upper
    near = found.rows(np.isin(found.which, far)).best(_TRIED)
    holding = problem.weighed(near.which, (1.0, 1.0, _HOLD_HUE))
    turned = problem.descend(near, 6, 1e-3, partial(problem.blending.towards, holding))
    told, out = problem.told(turned), {}
    for t in far:
        mine = np.flatnonzero(near.which == t)
        best, nearest = near.amounts[mine[0]], float(np.sqrt(near.cost[mine[0]]))
        full = recipe(np.where(best >= 0.999 * upper, best, 0.0))
        names = " and ".join(full or recipe(best)) or "the undyed cloth"
        limit = said(f"matching.match.{'full' if full else 'clean'}", names)
        lines = [said("matching.match.nearest", recipe(best), nearest, limit)]
        held = mine[np.argmin(turned.cost[mine])]
        if (off := np.sqrt(told.cost[held])) > nearest + EARNS_ITS_PLACE:
            lines.append(said("matching.match.hue", recipe(told.amounts[held]), off))
        out[t] = tuple(lines)
    return out


# The last steps for the few blends that will be looked at -----------------------------------------


def refined(problem: Problem) -> Found:
    """The best blends for each target, amounts as they are told."""
    level = _ON_THE_SPOT**2
    some = problem.search(level, _BEAM).best(5 * _SHORT_LIST, level, by_number=True)
    if problem.spectra is None:
        # Or yet might, where the smaller one is not so near that nothing can earn its place.
        miss = np.maximum(np.sqrt(some.cost), EARNS_ITS_PLACE)
        some = some.rows(earning(some, miss[np.newaxis], 0.0))
        some = some.best(_SHORT_LIST, level, by_number=True)
    some = problem.finish(some.rows(~problem.behind(some.which, some.cost, by=_HOPEFUL)))
    loose = (some.number > 3) & (some.cost < EARNS_ITS_PLACE**2)
    if problem.spectra is not None and loose.any():
        some.amounts[loose] = as_spectra(problem, some.rows(loose)).amounts
    return problem.told(Found.joined([some, *_across_grey(problem, some.best().cost)]))


def as_spectra(problem: Problem, some: Found) -> Found:
    """Blends of the same colour as before, and of the nearest spectra to those of their targets."""
    assert problem.spectra is not None
    wanted = problem.spectra[some.which]

    def wished(weight: float, index: Index) -> Residual:
        near = problem.blending.towards(problem.goal(some.which), index)

        def residual(amounts: Array, rows: Indices) -> tuple[Array, Array]:
            value, slope = near(amounts, rows)
            r, by_amount = problem.blending.spectra(amounts, index[:, rows])
            # In units of one hundredth reflectance: about what an instrument tells apart.
            wish, by_wish = (100.0 * weight * x for x in (r - wanted[rows].T, by_amount))
            return np.concatenate([value, wish]), np.concatenate([slope, by_wish])

        return residual

    for weight in _WEIGHTS:
        some = problem.descend(some, 100, 1e-15, partial(wished, weight))
    return some


def _across_grey(problem: Problem, cost: Array) -> list[Found]:
    """The far side of grey, for targets whose nearest blend, of `cost` ``(T,)``, is a poor one.

    Just short of its jump ΔE2000 can have a second, narrow minimum: for a target of high chroma a
    dull colour of the opposite hue. Descent does not find it from the target's own side. So the
    nearest of the `_ACROSS` colours, where they come nearer, is a target of its own, and its blend
    sets out from there, held on its side of the jump while ΔE2000 is continued smoothly past it.
    """
    labs, k = problem.labs, problem.k_lightness
    if (cost <= _FAR**2).all():
        return []
    turn = _ACROSS[:, np.newaxis] + np.arctan2(labs[:, 2], labs[:, 1])  # (A, T)
    chroma = _CHROMAS[:, np.newaxis, np.newaxis]
    parts = labs[:, 0], chroma * np.cos(turn), chroma * np.sin(turn)
    colours = np.stack(np.broadcast_arrays(*parts), axis=-1)  # (C, A, T, 3)
    miss = delta_e(labs, colours, k)
    across, which = np.nonzero((miss.min(axis=0) ** 2 < cost) & (cost > _FAR**2))
    if not len(which):
        return []
    there = colours[np.argmin(miss, axis=0)[across, which], across, which]
    some = replace(problem, labs=there, spectra=None).search().best(_SIDES)
    which, side = which[some.which], np.sign(_ACROSS[across[some.which]])
    some, aims = replace(some, which=which), labs[which]
    # Distance (a*, b*) from the line through grey on which the target's hue and its opposite lie.
    off = side * np.stack([np.zeros(len(which)), -aims[:, 2], aims[:, 1]])
    off /= np.maximum(np.hypot(aims[:, 1], aims[:, 2]), 1e-9)

    def held(force: float, margin: float, lab: Array, rows: Indices) -> tuple[Array, Array]:
        value, slope = delta_e_parts(aims[rows].T, lab, k, side=side[rows])
        beyond = np.maximum(margin - (lab * off[:, rows]).sum(axis=0, keepdims=True), 0.0)
        hold = -force * (beyond > 0.0) * off[:, rows]
        return np.concatenate([value, force * beyond]), np.concatenate([slope, hold[np.newaxis]])

    for force, margin in _HOLDS:
        down = partial(problem.blending.towards, partial(held, force, margin))
        some = problem.descend(some, 60, 1e-8, down)
    return [some]
