"""Which blends of the shelf reach a colour, and which of them the pot is likeliest to hold to."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e, delta_e_residual
from dyemix.colour.colorimetry import D65_2, Light, lab, screen_colours
from dyemix.colour.metamerism import LAMPS, inconstancy, metamerism
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError
from dyemix.matching.advice import advice
from dyemix.matching.constraints import Wishes
from dyemix.matching.dispensing import Kit, measured
from dyemix.matching.far_side import across_grey
from dyemix.matching.matches import LampShift, LikelyMiss, Match, Matches, Reach
from dyemix.matching.ranking import (
    EARNS_ITS_PLACE,
    allowed,
    different,
    rank,
    tell,
    which_way,
    worth_showing,
)
from dyemix.matching.settling import settle
from dyemix.matching.subsets import Goal, Subsets, finish_all, search_many
from dyemix.model.dyes import DyeSet, Prediction
from dyemix.model.uncertainty import CAUSE_WORDS, causes, expected_miss, lab_covariance, likely

#: How many of the best subsets of each size get the last steps.
_SHORT_LIST = 20
#: Recipes whose likely miss is worked out, beside those that are shown.
_WEIGHED = 24
#: From this miss on the best answer is also looked for across grey. Against differential
#: evolution a better one stood there only where the miss was above 16.
_FAR = 12.0
#: A blend this near to the target is on the spot: one that holds it is not tried. Whatever that
#: might gain is less than this, since no ΔE2000 lies below 0.
_ON_THE_SPOT = 0.02
#: Targets searched side by side, and targets in one chunk of work for another process.
_SIDE_BY_SIDE, _CHUNK = 64, 64

LIKELY, PAPER = "likely", "paper"


def delta_e_goal(target: Array, k_lightness: float = 1.0) -> Goal:
    """ΔE2000 from the target as a goal: its squares add up to ΔE2000²."""
    return lambda sample: delta_e_residual(target, sample, k_lightness)


@dataclass(frozen=True)
class _Question:
    """Everything about a match but its target; picklable, for other processes."""

    dyes: DyeSet
    wishes: Wishes
    count: int
    k_lightness: float
    kit: Kit | None
    rank_by: str

    def __post_init__(self) -> None:
        if self.count < 1 or self.k_lightness <= 0:
            raise DyemixError("count is 1 or more, k_lightness is above 0.")
        if self.rank_by not in (LIKELY, PAPER):
            raise DyemixError(f"ranking by {self.rank_by!r} is unknown: {LIKELY} or {PAPER}.")


def match(
    dyes: DyeSet,
    target: Target | str,
    max_dyes: int = 3,
    count: int = 8,
    k_lightness: float = 1.0,
    *,
    wishes: Wishes | None = None,
    kit: Kit | None = None,
    rank_by: str = LIKELY,
) -> Matches:
    """The blends that come nearest to a target, the likeliest to come out right first.

    Matching happens in the target's own light, both sides computed from spectra; a bare CIELAB
    takes the light of the swatches. Amounts run from 0 to the deepest swatch of each dye. Where
    dyes outnumber three and the target is within reach, the free direction is settled by least
    metamerism (a target with a spectrum), else by least total depth. A blend in which one dye
    brings the target nearer by less than `EARNS_ITS_PLACE` gives way to the blend without it,
    and of neighbouring recipes one is shown.

    Parameters
    ----------
    max_dyes : most dyes in a recipe; `wishes`, where given, has its own.
    wishes : dyes to use, avoid or prefer, what is left of them, the total depth, prices.
    kit : what amounts are measured with; recipes are then rounded to it, all dyes together.
    rank_by : ``"likely"`` (mean ΔE2000 in the pot) or ``"paper"`` (ΔE2000 of the prediction).

    Raises `TargetError` for a target that is not a colour, `DyemixError` for a bad limit.
    """
    question = _Question(
        dyes, wishes or Wishes(max_dyes=max_dyes), count, k_lightness, kit, rank_by
    )
    return _answer(question, [Target.parse(target) if isinstance(target, str) else target])[0]


def match_many(
    dyes: DyeSet,
    targets: Iterable[Target | str],
    max_dyes: int = 3,
    count: int = 8,
    k_lightness: float = 1.0,
    *,
    wishes: Wishes | None = None,
    kit: Kit | None = None,
    rank_by: str = LIKELY,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> list[Matches]:
    """`match` for many targets: the same answers in the same order, several at a time.

    `executor` is any ``concurrent.futures`` executor, on this machine or on others; a chunk of
    work that fails there is tried once more here. `progress` is told how many targets are done,
    and of how many. Raises as `match` does, naming the target.
    """
    question = _Question(
        dyes, wishes or Wishes(max_dyes=max_dyes), count, k_lightness, kit, rank_by
    )
    wanted = [Target.parse(t) if isinstance(t, str) else t for t in targets]
    size = _SIDE_BY_SIDE if executor is None else _CHUNK
    chunks = [wanted[i : i + size] for i in range(0, len(wanted), size)]
    waiting = [_submitted(executor, question, chunk) for chunk in chunks] if executor else []
    out: list[Matches] = []
    for i, chunk in enumerate(chunks):
        if executor is None:
            out += _answer(question, chunk)
        else:
            out += _outcome(waiting[i], question, chunk, len(out) + 1)
        if progress is not None:
            progress(len(out), len(wanted))
    return out


def _submitted(
    executor: Executor, question: _Question, chunk: Sequence[Target]
) -> Future[list[Matches]]:
    """The chunk on its way; an executor that takes no more work is a failure of the chunk."""
    try:
        return executor.submit(_answer, question, chunk)
    except Exception as failure:
        refused: Future[list[Matches]] = Future()
        refused.set_exception(failure)
        return refused


def _outcome(
    future: Future[list[Matches]], question: _Question, chunk: Sequence[Target], first: int
) -> list[Matches]:
    """What came back for the targets from number `first` on; worked out here where nothing did."""
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
    return [replace(m, notes=(*m.notes, note)) for m in _answer(question, chunk)]


def _answer(question: _Question, targets: Sequence[Target]) -> list[Matches]:
    """Matches of several targets, those of one light side by side."""
    dyes = question.wishes.shelf(question.dyes)
    settled = [t.under(dyes.light) for t in targets]
    out: list[Matches | None] = [None] * len(targets)
    for light in dict.fromkeys(t.light for t in settled if t.light is not None):
        alike = [i for i, t in enumerate(settled) if t.light == light]
        for first in range(0, len(alike), _SIDE_BY_SIDE):
            some = alike[first : first + _SIDE_BY_SIDE]
            group = [settled[i] for i in some]
            for i, found in zip(some, _solve(question, dyes, group, light), strict=True):
                out[i] = _present(question, dyes, targets[i], settled[i], light, found)
    return [m for m in out if m is not None]


@dataclass(frozen=True, eq=False)
class _Solved:
    """Short list for one target: amounts ``(M, D)``, ΔE2000 ``(M,)``, and how many were tried."""

    amounts: Array
    miss: Array
    searched: int


def _solve(
    question: _Question, dyes: DyeSet, targets: Sequence[Target], light: Light
) -> list[_Solved]:
    """Search and last steps for several targets of one light."""
    wishes, labs = question.wishes, np.array([t.lab for t in targets])
    top = wishes.tops(dyes)

    def goal(lab: Array, which: NDArray[np.intp]) -> tuple[Array, Array]:
        return delta_e_residual(labs[which], lab, question.k_lightness)

    def value(lab: Array, which: NDArray[np.intp]) -> tuple[Array, Array]:
        return delta_e_residual(labs[which], lab, question.k_lightness, slope=False)

    # Without a spectrum to match, a dye that must be in or a depth to keep to, a blend that holds
    # a smaller one on the spot cannot earn its place: it need not be tried.
    limited = bool(wishes.use) or wishes.total is not None
    plain = not limited and all(t.reflectance is None for t in targets)
    enough = _ON_THE_SPOT**2 if plain else None
    found = search_many(
        dyes, goal, len(targets), light, wishes.max_dyes, top, wishes.total, enough, value
    )
    lists: list[Subsets] = []
    which: list[int] = []
    for t, sizes in enumerate(found):
        for size in sizes:
            short = _holding(size, dyes, wishes).best(_SHORT_LIST, _ON_THE_SPOT**2)
            if len(short.cost):
                lists.append(short)
                which.append(t)
    owners = np.array(which, dtype=np.intp)
    bottom = wishes.bottoms(dyes)
    finished = finish_all(dyes, goal, light, lists, owners, bottom, top, wishes.total)
    out = []
    for t, target in enumerate(targets):
        mine = [s for s, owner in zip(finished, which, strict=True) if owner == t]
        one = delta_e_goal(target.lab, question.k_lightness)
        out.append(
            _Solved(
                *_gather(question, dyes, one, target, light, mine),
                sum(len(s.cost) for s in found[t]),
            )
        )
    return out


def _holding(size: Subsets, dyes: DyeSet, wishes: Wishes) -> Subsets:
    """Those subsets that hold every dye that must be used."""
    if not wishes.use:
        return size
    has = np.all([np.any(size.index == dyes.index(d), axis=1) for d in wishes.use], axis=0)
    return Subsets(size.index[has], size.amounts[has], size.cost[has])


def _gather(
    question: _Question,
    dyes: DyeSet,
    goal: Goal,
    target: Target,
    light: Light,
    sizes: Sequence[Subsets],
) -> tuple[Array, Array]:
    """Amounts ``(M, D)`` as told, and their ΔE2000 ``(M,)``; free directions settled."""
    top, k_lightness = question.wishes.tops(dyes), question.k_lightness
    total = np.inf if question.wishes.total is None else question.wishes.total
    rows = []
    for some in sizes:
        amounts = some.amounts
        if some.index.shape[1] > 3:
            free = np.sqrt(some.cost) < EARNS_ITS_PLACE
            if free.any():
                part = Subsets(some.index[free], amounts[free], some.cost[free])
                settled = settle(dyes, goal, target, light, part, top).amounts
                amounts = amounts.copy()
                # The wish knows nothing of the depth in all, nor of dyes that must be in.
                bottom = question.wishes.bottoms(dyes)[part.index]
                keeps = np.all(settled >= bottom, axis=1) & (settled.sum(axis=1) <= total)
                amounts[free] = np.where(keeps[:, np.newaxis], settled, part.amounts)
        rows.append(_spread(dyes, some.index, amounts))
    nearest = min(sizes, key=lambda s: float(s.cost.min()))
    if nearest.cost.min() > _FAR**2:
        best = across_grey(
            dyes, target.lab, k_lightness, light, nearest.best(1), top, question.wishes.total
        )
        rows.append(_spread(dyes, best.index, best.amounts))
    told = tell(np.concatenate(rows))
    return told, delta_e(target.lab, dyes.predict_many(told, light), k_lightness)


def _spread(dyes: DyeSet, index: NDArray[np.intp], amounts: Array) -> Array:
    full = np.zeros((len(index), len(dyes)))
    np.put_along_axis(full, index, amounts, axis=1)
    return full


def _present(
    question: _Question, dyes: DyeSet, asked: Target, target: Target, light: Light, found: _Solved
) -> Matches:
    """Choose, weigh and describe the recipes to show."""
    wishes, k = question.wishes, question.k_lightness
    amounts, miss = found.amounts, found.miss
    other = _other_lamp(dyes, target, light, amounts)
    good = allowed(amounts, dyes, wishes)
    kept = worth_showing(amounts, miss, other, good)
    if not len(kept):
        must = f", or free {' and '.join(wishes.use)} from having to be in" if wishes.use else ""
        raise DyemixError(
            f"no recipe for {asked.name or target} keeps to these limits: allow more depth or "
            f"more dyes{must}."
        )
    kept = kept[np.argsort(miss[kept], kind="stable")[: _WEIGHED + question.count]]
    labs = dyes.predict_many(amounts[kept], light)
    score = miss[kept]
    if question.rank_by == LIKELY:
        covariance = lab_covariance(dyes, amounts[kept], light)
        score = expected_miss(target.lab, labs, covariance, k)
    order = rank(amounts[kept], score, None if other is None else other[kept], dyes, wishes)
    shown = kept[order][different(amounts[kept][order], dyes, question.count)]
    matches = _describe(question, dyes, target, light, amounts[shown], miss[shown])
    nearest = int(np.argmin(np.where(good, miss, np.inf)))
    colour = dyes.predict_many(amounts[nearest : nearest + 1], light)[0]
    residual, _ = delta_e_residual(colour, target.lab, k, slope=False)
    reach = which_way(target.lab, residual, float(miss[nearest]))
    notes: tuple[str, ...] = ()
    if asked.light is None:
        notes = (f"The target names no light: taken as {light}, the light of the swatches.",)
    return Matches(
        target=target,
        matches=matches,
        reach=reach,
        searched=found.searched,
        k_lightness=k,
        advice=()
        if reach is Reach.WITHIN
        else advice(dyes, target, light, amounts[good], miss[good], wishes, k),
        notes=notes,
        demo=dyes.demo,
    )


def _other_lamp(dyes: DyeSet, target: Target, light: Light, amounts: Array) -> Array | None:
    """ΔE2000 ``(M,)`` under the first of `LAMPS`, for a target with a spectrum."""
    if target.reflectance is None:
        return None
    lamp = Light(LAMPS[0], light.observer)
    return delta_e(lab(target.reflectance, lamp), dyes.predict_many(amounts, lamp))


def _describe(
    question: _Question, dyes: DyeSet, target: Target, light: Light, amounts: Array, miss: Array
) -> tuple[Match, ...]:
    k = question.k_lightness
    spectra = dyes.reflectance(amounts)
    labs, screens = lab(spectra, light), screen_colours(lab(spectra, D65_2))
    parts = causes(dyes, amounts, light)
    pot = likely(target.lab, labs, parts.total, k)
    _, slope = delta_e_residual(labs, labs + 1e-6, k)
    size = {
        name: np.einsum("nij,njk,nik->n", slope, getattr(parts, name), slope)
        for name in CAUSE_WORDS
    }
    lamps = [Light(name, light.observer) for name in LAMPS if name != light.illuminant]
    shifts = [
        inconstancy(spectra, light, lamp)
        if target.reflectance is None
        else metamerism(target.reflectance, spectra, light, lamp)
        for lamp in lamps
    ]
    out = []
    for i, row in enumerate(amounts):
        recipe = dyes.recipe(row)
        by_lamp = tuple(
            LampShift(str(lamp), float(s[i])) for lamp, s in zip(lamps, shifts, strict=True)
        )
        out.append(
            Match(
                prediction=Prediction(
                    recipe, spectra[i], labs[i], light, screens[i], dyes.warnings(recipe), dyes.demo
                ),
                delta_e=float(miss[i]),
                likely=LikelyMiss(
                    *(
                        float(getattr(pot, name)[i])
                        for name in ("mean", "median", "bound", "sound", "excellent")
                    )
                ),
                metamerism=() if target.reflectance is None else by_lamp,
                inconstancy=by_lamp if target.reflectance is None else (),
                limit=CAUSE_WORDS[max(size, key=lambda name: float(size[name][i]))],
                cost=question.wishes.cost(recipe),
                measured=None
                if question.kit is None
                else measured(dyes, recipe, question.kit, target.lab, light, k),
            )
        )
    return tuple(out)
