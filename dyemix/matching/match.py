"""Which blends of the shelf reach a colour, and which of them the pot is likeliest to hold to."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor, Future
from dataclasses import replace
from math import comb
from typing import Unpack

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import Light, lab
from dyemix.colour.metamerism import LAMPS, inconstancy, metamerism
from dyemix.dataset.target import AnyColour, Target
from dyemix.errors import DyemixError
from dyemix.fitting.next_squares import in_one_line
from dyemix.matching.constraints import LIKELY, Constraints, Limits
from dyemix.matching.dispensing import measured
from dyemix.matching.matches import LampShift, Match, Matches, Reach
from dyemix.matching.ranking import advice, chosen, shortlist, which_way
from dyemix.matching.refine import refined
from dyemix.matching.subsets import Found, Problem
from dyemix.model.dyes import DyeSet
from dyemix.model.fit_report import FEWEST_TO_TELL
from dyemix.model.prediction import Predictions
from dyemix.model.uncertainty import CAUSE_WORDS, metric

#: Recipes whose likely miss is estimated, and worked out, beside those that are shown.
_WEIGHED, _SPARE = 24, 4
#: Targets in one chunk of work, and of those how many are searched in the same arrays: few enough
#: for the processor's cache.
_CHUNK, _AT_ONCE = 64, 16

_UNSURE_TARGET = "the target's own reading: photograph it again, or have it measured"


def match(
    dyes: DyeSet,
    target: AnyColour,
    *,
    constraints: Constraints | None = None,
    **limits: Unpack[Limits],
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
        ``price``, ``kit``, ``count``, ``rank_by`` and ``k_lightness`` as in `Constraints`, for this
        match alone.

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
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
    **limits: Unpack[Limits],
) -> list[Matches]:
    """`match` for many targets: the same answers in the same order, several at a time.

    `executor` is any ``concurrent.futures`` executor, on this machine or on others; a chunk of
    work that fails there is tried once more here. `progress` is told how many targets are done,
    and of how many. Raises as `match` does, naming the target.

    >>> [len(found) for found in match_many(dyes, ["#7d8a6e", [56, -10, 13]], count=3)]
    [3, 3]
    """
    wanted = Constraints.of(constraints, limits)
    aims = [Target.of(target) for target in targets]
    chunks = [aims[i : i + _CHUNK] for i in range(0, len(aims), _CHUNK)]
    sent = [_sent(executor, dyes, wanted, chunk) if executor else None for chunk in chunks]
    out: list[Matches] = []
    for chunk, future in zip(chunks, sent, strict=True):
        if future is None:
            out += _answer(dyes, wanted, chunk)
        else:
            out += _outcome(future, dyes, wanted, chunk, len(out) + 1)
        if progress is not None:
            progress(len(out), len(aims))
    return out


def _sent(
    executor: Executor, dyes: DyeSet, wanted: Constraints, chunk: Sequence[Target]
) -> Future[list[Matches]]:
    """The chunk on its way; an executor that takes no more work is a failure of the chunk."""
    try:
        return executor.submit(_answer, dyes, wanted, chunk)
    except Exception as failure:
        refused: Future[list[Matches]] = Future()
        refused.set_exception(failure)
        return refused


def _outcome(
    future: Future[list[Matches]],
    dyes: DyeSet,
    wanted: Constraints,
    chunk: Sequence[Target],
    first: int,
) -> list[Matches]:
    """What came back for targets from number `first` on; worked out here where nothing did."""
    try:
        return future.result()
    except DyemixError:
        raise
    except Exception as failure:  # whatever befell the worker, the work can be done here
        names = " to ".join(t.name or str(t) for t in (chunk[0], chunk[-1]))
        note = (
            f"Worked out here: colours {first} to {first + len(chunk) - 1} ({names}) failed "
            f"elsewhere: {failure!r}."
        )
    return [replace(m, notes=(*m.notes, note)) for m in _answer(dyes, wanted, chunk)]


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
    k, light = wanted.k_lightness, dyes.light_of(targets[0])
    problem = wanted.problem(dyes, targets, light)
    found = refined(problem)
    nearest = problem.colours(found.best().amounts)
    reach = [which_way(*both, k) for both in zip(problem.labs, nearest, strict=True)]
    other = _under_lamp(problem, found)
    short = shortlist(found, other, _WEIGHED + wanted.count)
    found, other, likely_first = found.rows(short), other[short], wanted.rank_by == LIKELY

    # Twice: the first score is quick, but knows nothing of the jumps of ΔE2000.
    made, score = dyes.predict_many(found.amounts, light), np.sqrt(found.cost)
    spread = np.array([target.spread for target in targets])[found.which]
    if likely_first:
        score = made.expected(problem.labs[found.which], k, spread)
    first = chosen(found, score, other, dyes, wanted, wanted.count + _SPARE)
    pot = made.rows(first).miss(problem.labs[found.which[first]], k, spread[first])
    score = pot.mean if likely_first else score[first]
    best = chosen(found.rows(first), score, other[first], dyes, wanted, wanted.count)

    shown = first[best]
    found, made = found.rows(shown), made.rows(shown)
    recipes = [dyes.recipe(amounts) for amounts in found.amounts]
    predictions, shifts = list(made), _shifts(problem, found, made.reflectance)
    limits, spectral = _limits(made, spread[shown]), problem.spectra is not None
    matches: list[list[Match]] = [[] for _ in targets]
    for i, (at, recipe, which) in enumerate(zip(best, recipes, found.which, strict=True)):
        aim, kit = problem.labs[which], wanted.kit
        matches[which].append(
            Match(
                predictions[i], float(np.sqrt(found.cost[i])), float(pot.mean[at]),
                float(pot.median[at]), float(pot.bound[at]), float(pot.sound[at]),
                float(pot.excellent[at]), shifts[i] if spectral else (),
                () if spectral else shifts[i], limits[i], wanted.cost(recipe),
                measured(dyes, recipe, kit, aim, light, k, problem.upper, problem.total)
                if kit else None, proven=bool(dyes.pots),
            )
        )  # fmt: skip
    far = [t for t, way in enumerate(reach) if way is not Reach.WITHIN]
    said = advice(problem, found, far) if far else {}
    blends = sum(comb(len(dyes), size + 1) for size in range(min(wanted.max_dyes, len(dyes))))
    note = f"The target names no light: taken as {light}, the light of the swatches."
    return [
        Matches(
            target.under(light), tuple(matches[t]), reach[t], blends, k, said.get(t, ()),
            (*target.warnings, *(() if target.light else (note,))), dyes.demo,
            _next_squares(dyes, found.amounts[found.which == t]),
        )
        for t, target in enumerate(targets)
    ]  # fmt: skip


def _next_squares(dyes: DyeSet, amounts: Array) -> str:
    """Which squares to dye next for recipes ``(M, D)``, while too few mixes of hers were read."""
    return in_one_line(dyes, amounts) if len(dyes.pots) < FEWEST_TO_TELL else ""


def _limits(made: Predictions, spread: Array) -> list[str]:
    """Which cause contributes most to the miss of each recipe, in words."""
    each = {words: getattr(made.causes, cause) for cause, words in CAUSE_WORDS.items()}
    each[_UNSURE_TARGET] = spread
    slope = metric(made.lab)
    sizes = [np.einsum("nij,njk,nik->n", slope, part, slope) for part in each.values()]
    return [list(each)[i] for i in np.argmax(sizes, axis=0)]


def _under_lamp(problem: Problem, found: Found) -> Array:
    """ΔE2000 ``(M,)`` under the first of `LAMPS`, where the targets have a spectrum; else 0."""
    if problem.spectra is None:
        return np.zeros(len(found.which))
    lamp = Light(LAMPS[0], problem.light.observer)
    made = lab(problem.dyes.reflectance(found.amounts), lamp)
    return delta_e(lab(problem.spectra, lamp)[found.which], made)


def _shifts(problem: Problem, found: Found, made: Array) -> list[tuple[LampShift, ...]]:
    """What each lamp does to each recipe, of spectra ``(M, B)``."""
    here, out = problem.light, []
    for lamp in [Light(name, here.observer) for name in LAMPS if name != here.illuminant]:
        if problem.spectra is None:
            moved = inconstancy(made, here, lamp)
        else:
            moved = metamerism(problem.spectra[found.which], made, here, lamp)
        out.append([LampShift(str(lamp), float(x)) for x in moved])
    return list(zip(*out, strict=True))
