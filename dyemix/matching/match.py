"""Which blends of the shelf reach a colour, and which of them the pot is likeliest to hold to."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor, Future
from dataclasses import replace
from math import comb
from typing import Unpack

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e, delta_e_residual
from dyemix.colour.colorimetry import Light, lab
from dyemix.colour.metamerism import LAMPS, inconstancy, metamerism
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError
from dyemix.matching.constraints import LIKELY, Constraints, Limits
from dyemix.matching.dispensing import measured
from dyemix.matching.matches import LampShift, Match, Matches, Reach
from dyemix.matching.ranking import advice, chosen, shortlist, which_way
from dyemix.matching.refine import refined
from dyemix.matching.subsets import Found
from dyemix.model.dyes import DyeSet
from dyemix.model.uncertainty import CAUSE_WORDS

#: Recipes whose likely miss is estimated, and worked out, beside those that are shown.
_WEIGHED, _SPARE = 24, 4
#: Targets in one chunk of work, and of those how many are searched in the same arrays: few enough
#: for the processor's cache.
_CHUNK, _AT_ONCE = 64, 16

_UNSURE_TARGET = "the target's own reading: photograph it again, or have it measured"


def match(
    dyes: DyeSet,
    target: Target | str,
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
    """
    return match_many(dyes, [target], constraints=constraints, **limits)[0]


def match_many(
    dyes: DyeSet,
    targets: Iterable[Target | str],
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
    """
    wanted = Constraints.of(constraints, limits)
    aims = [Target.parse(t) if isinstance(t, str) else t for t in targets]
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
    """Matches of several targets, those of one light side by side."""
    dyes = wanted.shelf(shelf)
    lights = [dyes.light_of(target) for target in targets]
    out: dict[int, Matches] = {}
    for light in dict.fromkeys(lights):
        alike = [i for i, own in enumerate(lights) if own == light]
        for first in range(0, len(alike), _AT_ONCE):
            some = alike[first : first + _AT_ONCE]
            out |= zip(some, _under(dyes, wanted, [targets[i] for i in some], light), strict=True)
    return [out[i] for i in range(len(targets))]


def _under(
    dyes: DyeSet, wanted: Constraints, targets: Sequence[Target], light: Light
) -> list[Matches]:
    """Matches of several targets under one light: search, choose, weigh, choose again, describe."""
    k = wanted.k_lightness
    problem = wanted.problem(dyes, np.array([target.lab for target in targets]), light)
    found = refined(problem, targets)
    nearest = problem.colours(found.best().amounts)
    reach = [which_way(*both, k) for both in zip(problem.labs, nearest, strict=True)]
    other = _other_lamp(dyes, targets, light, found)
    short = shortlist(found, other, _WEIGHED + wanted.count)
    found, other = found.rows(short), other[short]

    likely_first = wanted.rank_by == LIKELY
    score = np.sqrt(found.cost)
    made = dyes.predict_many(found.amounts, light)
    own = np.array([target.spread for target in targets])[found.which]
    if likely_first:
        labs = problem.colours(found.amounts)
        score = expected_miss(problem.labs[found.which], labs, parts.total + own, k)
    first = chosen(found, score, other, dyes, wanted, wanted.count + _SPARE)
    found, other, score = found.rows(first), other[first], score[first]
    spectra = dyes.reflectance(found.amounts)
    labs, screens = lab(spectra, light), screen_colours(lab(spectra, D65_2))
    each = {words: getattr(parts, cause)[first] for cause, words in CAUSE_WORDS.items()}
    each[_UNSURE_TARGET] = own[first]
    aims = problem.labs[found.which][:, np.newaxis]
    pot = likely(aims, labs, np.sum(list(each.values()), axis=0), k)
    _, slope = delta_e_residual(labs, labs + 1e-6, k)
    sizes = [np.einsum("nij,njk,nik->n", slope, part, slope) for part in each.values()]
    limits = np.argmax(sizes, axis=0)
    lamps = [Light(name, light.observer) for name in LAMPS if name != light.illuminant]
    shifts = [_shifts(targets, light, lamp, found, made.reflectance) for lamp in lamps]

    if likely_first:  # the first score knows nothing of the jumps of ΔE2000
        score = pot.mean
    matches: list[list[Match]] = [[] for _ in targets]
    for i in chosen(found, score, other, dyes, wanted, wanted.count):
        recipe, target = dyes.recipe(found.amounts[i]), targets[found.which[i]]
        changes = tuple(
            LampShift(str(lamp), float(x[i])) for lamp, x in zip(lamps, shifts, strict=True)
        )
        bare = target.reflectance is None
        matches[found.which[i]].append(
            Match(
                predictions[i],
                float(np.sqrt(found.cost[i])),
                float(pot.mean[i]),
                float(pot.median[i]),
                float(pot.bound[i]),
                float(pot.sound[i]),
                float(pot.excellent[i]),
                metamerism=() if bare else changes,
                inconstancy=changes if bare else (),
                limit=list(each)[limits[i]],
                cost=wanted.cost(recipe),
                measured=measured(dyes, recipe, wanted.kit, target.lab, light, k)
                if wanted.kit
                else None,
            )
        )
    far = [t for t, way in enumerate(reach) if way is not Reach.WITHIN]
    said = advice(problem, found, far) if far else {}
    blends = sum(comb(len(dyes), size + 1) for size in range(min(wanted.max_dyes, len(dyes))))
    note = f"The target names no light: taken as {light}, the light of the swatches."
    return [
        Matches(
            target.under(light),
            tuple(matches[t]),
            reach[t],
            blends,
            k,
            said.get(t, ()),
            (*target.doubts, *(() if target.light else (note,))),
            dyes.demo,
        )
        for t, target in enumerate(targets)
    ]


def _spectra(targets: Sequence[Target], which: NDArray[np.intp], otherwise: Array) -> Array:
    """Spectra ``(M, B)`` of the target of each row; those of a row itself where it has none."""
    spectra = [targets[t].reflectance for t in which]
    return np.array([own if s is None else s for s, own in zip(spectra, otherwise, strict=True)])


def _other_lamp(dyes: DyeSet, targets: Sequence[Target], light: Light, found: Found) -> Array:
    """ΔE2000 ``(M,)`` under the first of `LAMPS`, where the target has a spectrum; else 0."""
    if all(target.reflectance is None for target in targets):
        return np.zeros(len(found.which))
    lamp, made = Light(LAMPS[0], light.observer), dyes.reflectance(found.amounts)
    return delta_e(lab(_spectra(targets, found.which, made), lamp), lab(made, lamp))


def _shifts(
    targets: Sequence[Target], light: Light, lamp: Light, found: Found, made: Array
) -> Array:
    """Special metamerism index ``(M,)``; where the target has no spectrum, colour inconstancy."""
    bare = np.array([target.reflectance is None for target in targets])[found.which]
    special = metamerism(_spectra(targets, found.which, made), made, light, lamp)
    return np.where(bare, inconstancy(made, light, lamp), special)
