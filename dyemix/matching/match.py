"""Which blends of the shelf reach a colour, and which of them the pot is likeliest to hold to."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import ExitStack
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import Light, lab
from dyemix.colour.metamerism import LAMPS
from dyemix.dataset.amounts import index_of
from dyemix.dataset.conditions import mottled
from dyemix.dataset.target import AnyColour, Target
from dyemix.errors import DyemixError
from dyemix.matching.constraints import Constraints, RankBy
from dyemix.matching.dispensing import measured
from dyemix.matching.matches import ManyMatches, Match, Matches, Reach
from dyemix.matching.ranking import chosen, limits_of, shortlist, which_way
from dyemix.matching.refine import refined
from dyemix.matching.subsets import Found, Problem, number_of_blends
from dyemix.model.dyes import DyeSet

#: Recipes whose likely miss is estimated, and worked out, beside those that are shown.
_WEIGHED, _SPARE = 24, 4
#: Targets in one chunk of work, and of those how many are searched in the same arrays: few enough
#: for the processor's cache.
_CHUNK, _AT_ONCE = 64, 16


def match(
    dyes: DyeSet, target: AnyColour, *, constraints: Constraints | None = None, **limits: Any
) -> Matches:
    """The blends that come nearest to a target, the likeliest to come out right first.

    Matching happens in the target's own light, both sides computed from spectra; a bare CIELAB
    takes the light of the swatches. Amounts run from 0 to the deepest swatch of each dye. Where
    dyes outnumber three and the target is within reach, a target with a spectrum is also matched
    as a spectrum. A blend in which one dye brings the target nearer by less than
    `EARNS_ITS_PLACE` gives way to the blend without it, and of neighbouring recipes one is shown.

    Parameters
    ----------
    constraints : what several matches share.
    limits : ``max_dyes``, ``only``, ``use``, ``avoid``, ``prefer``, ``total``, ``in_hand``,
        ``price``, ``kit``, ``count``, ``rank_by``, ``k_lightness`` and ``least_dose`` as in
        `Constraints`, for this match alone.

    Raises `TargetError` for a target that is not a colour, `DyemixError` for a bad limit.

    >>> found = match(dyes, "#7d8a6e", max_dyes=2, avoid="black")
    >>> best = found[0]
    >>> best.residual < best.likely < best.bound
    True
    >>> "black" in best.recipe
    False
    """
    return match_many(dyes, [target], constraints=constraints, **limits)[0]


def match_many(
    dyes: DyeSet,
    targets: Iterable[AnyColour],
    *,
    constraints: Constraints | None = None,
    workers: int = 1,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
    **limits: Any,
) -> ManyMatches:
    """`match` for many targets: the same answers in the same order, several at a time.

    `workers` processes of this machine share the work; or an `executor` does, which is any
    ``concurrent.futures`` executor, on this machine or on others. A chunk of work that fails there
    is tried once more here. `progress` is told how many targets are done, and of how many. Raises
    as `match` does, naming the target. The index of a column of targets is kept in `to_frame`.

    >>> [len(found) for found in match_many(dyes, ["#7d8a6e", [56, -10, 13]], count=3)]
    [3, 3]
    """
    wanted = Constraints.of(constraints, limits)
    aims = Target.all(targets)
    chunks = [aims[i : i + _CHUNK] for i in range(0, len(aims), _CHUNK)]
    out: list[Matches] = []
    with ExitStack() as stack:
        if workers > 1 and executor is None:
            executor = stack.enter_context(ProcessPoolExecutor(workers))
        sent = [_sent(executor, dyes, wanted, chunk) for chunk in chunks]
        for chunk, outcome in zip(chunks, sent, strict=True):
            try:
                out += outcome()
            except DyemixError:
                raise
            except Exception as failure:  # whatever befell the worker, the work can be done here
                if executor is None:
                    raise
                names = " to ".join(target.name or str(target) for target in (chunk[0], chunk[-1]))
                note = (
                    f"Worked out here: colours {len(out) + 1} to {len(out) + len(chunk)} ({names}) "
                    f"failed elsewhere: {failure!r}."
                )
                again = _answer(dyes, wanted, chunk)
                out += [replace(m, warnings=(*m.warnings, note)) for m in again]
            if progress is not None:
                progress(len(out), len(aims))
    return ManyMatches(tuple(out), index_of(targets))


def _sent(executor: Executor | None, *work: Any) -> Callable[[], list[Matches]]:
    """A chunk of work, on its way where there is an executor, and how to have what comes of it."""
    if executor is None:
        return partial(_answer, *work)
    try:
        return executor.submit(_answer, *work).result
    except Exception as failure:  # an executor that takes no more work
        refused: Future[list[Matches]] = Future()
        refused.set_exception(failure)
        return refused.result


def _answer(shelf: DyeSet, wanted: Constraints, targets: Sequence[Target]) -> list[Matches]:
    """Matches of several targets, those of one light, with a spectrum or without, side by side."""
    dyes = wanted.shelf(shelf)
    kinds = [(dyes.light_of(target), target.reflectance is None) for target in targets]
    out: dict[int, Matches] = {}
    for kind in dict.fromkeys(kinds):
        alike = [i for i, own in enumerate(kinds) if own == kind]
        for first in range(0, len(alike), _AT_ONCE):
            some = alike[first : first + _AT_ONCE]
            out |= zip(some, _alike(dyes, wanted, [targets[i] for i in some]), strict=True)
    return [out[i] for i in range(len(targets))]


def _alike(dyes: DyeSet, wanted: Constraints, targets: Sequence[Target]) -> list[Matches]:
    """Matches of targets of one kind: search, choose, weigh, choose again, describe."""
    k, light, count = wanted.k_lightness, dyes.light_of(targets[0]), wanted.count
    blends = number_of_blends(len(dyes), wanted.max_dyes)
    problem = wanted.problem(dyes, targets, light)
    found = refined(problem)
    nearest = problem.colours(found.best().amounts)
    reach = [which_way(*both, k) for both in zip(problem.labs, nearest, strict=True)]
    far = [t for t, way in enumerate(reach) if way is not Reach.WITHIN]
    said = limits_of(problem, found, far) if far else {}

    # Twice: the first score is quick, but knows nothing of the jumps of ΔE2000.
    other = _under_lamp(problem, found)
    rows = shortlist(found, other, _WEIGHED + count)
    found, other = found.rows(rows), other[rows]
    made, score = dyes.predict_many(found.amounts, light), np.sqrt(found.cost)
    aims, spread = problem.labs, np.array([target.spread for target in targets])
    if likely_first := wanted.rank_by is not RankBy.PAPER:
        score = made.expected(aims[found.which], k, spread[found.which])
    rows = chosen(found, score, other, dyes, wanted, count + _SPARE)
    found, made, other, score = found.rows(rows), made.rows(rows), other[rows], score[rows]
    pot = made.in_pot(aims[found.which], k, spread[found.which])
    rows = chosen(found, pot.mean if likely_first else score, other, dyes, wanted, count)

    matches: list[list[Match]] = [[] for _ in targets]
    settled, shown = [target.under(light) for target in targets], made.rows(rows)
    for i, (row, prediction) in enumerate(zip(rows, shown, strict=True)):
        which, recipe = found.which[row], prediction.recipe
        mean, median, bound, sound, excellent = (float(part[row]) for part in vars(pot).values())
        kit, bounds = wanted.kit, (k, problem.upper, problem.total)
        rounded = measured(dyes, recipe, kit, aims[which], light, *bounds) if kit else None
        matches[which].append(
            Match(
                prediction, settled[which], float(np.sqrt(found.cost[row])), mean, median, bound,
                sound, excellent, shown.causes.rows(np.array([i])), wanted.cost(recipe), rounded,
                bool(dyes.pots),
            )
        )  # fmt: skip
    note = f"The target names no light: taken as {light}, the light of the swatches."
    return [
        Matches(
            settled[t], tuple(matches[t]), reach[t], blends, dyes, k,
            (*said.get(t, ()), *target.warnings, *mottled(dyes.conditions),
             *(() if target.light else (note,))),
        )
        for t, target in enumerate(targets)
    ]  # fmt: skip


def _under_lamp(problem: Problem, found: Found) -> Array:
    """ΔE2000 ``(M,)`` under the first of `LAMPS`, where the targets have a spectrum; else 0."""
    if problem.spectra is None:
        return np.zeros(len(found.which))
    lamp = Light(LAMPS[0], problem.light.observer)
    made = lab(problem.dyes.reflectance(found.amounts), lamp)
    return delta_e(lab(problem.spectra, lamp)[found.which], made)
