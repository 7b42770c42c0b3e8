"""Let trials move the fitted dyes, as far as they say and no further.

Maximum posterior: Gauss–Newton on the CIELAB of the trials, weighed by what differs between pots
(dosing, pot, reading, and what a recipe's model error keeps to itself), under the prior of
`dyemix.fitting.strengths`. Whether to believe the result is decided on trials it has not seen: each
is left out in turn and predicted from the others.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum
from typing import TYPE_CHECKING

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.dataset.swatches import DEMO_WARNING
from dyemix.dataset.trial import Bath, Trial
from dyemix.errors import DyemixError
from dyemix.fitting.strengths import (
    LASTING,
    lab_by_theta,
    moved,
    prior_sd,
    strengths_of_draws,
    with_dosing,
)
from dyemix.model.dyes import DyeSet
from dyemix.model.scatter import PRIOR_SECOND_BATH, PRIOR_WORTH
from dyemix.model.uncertainty import lab_covariance

if TYPE_CHECKING:
    import pandas as pd

#: Fewer trials than this teach nothing: left-out misses of one or two cannot be told from chance.
FEWEST = 3
#: Left-out trials must come nearer by this much ΔE2000 on average, or nothing is learnt.
LEAST_GAIN = 0.001
#: A change of strength below this share is not worth a sentence.
_WORTH_SAYING = 0.01
_STEPS = 4


class Lesson(Enum):
    """Whether the trials were believed; the value is the sentence shown."""

    LEARNT = "learnt: trials left out in turn come nearer"
    NO_HELP = "nothing learnt: trials left out in turn come no nearer, so the dyes stay as fitted"
    TOO_FEW = "nothing learnt: fewer than three trials of a first bath, so the dyes stay as fitted"


@dataclass(frozen=True, eq=False)
class Learnt:
    """What trials taught.

    Attributes
    ----------
    dyes : the dyes to go on with; those given, where nothing was learnt.
    outcome : whether the trials were believed, and why.
    trials : those of a first bath, ``T`` of them.
    weights : ``(T,)`` how much each counted, 1 for a recent one of the same lot.
    before, after : ``(T,)`` ΔE2000 of each trial from its prediction: by the dyes as they were, and
        by dyes that learnt from the other trials.
    changes : what changed, one sentence each; empty where nothing was learnt.
    """

    dyes: DyeSet
    outcome: Lesson
    trials: tuple[Trial, ...]
    weights: Array
    before: Array
    after: Array
    changes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for values in (self.weights, self.before, self.after):
            values.setflags(write=False)

    def to_frame(self) -> pd.DataFrame:
        """One row a trial: recipe, date, lot, weight, before, after."""
        import pandas as pd

        rows = zip(self.trials, self.weights, self.before, self.after, strict=True)
        return pd.DataFrame(
            {
                "recipe": str(t.recipe), "date": t.date, "lot": t.lot, "weight": w, "before": b,
                "after": a,
            }
            for t, w, b, a in rows
        )  # fmt: skip

    def __str__(self) -> str:
        lines = [DEMO_WARNING] if self.dyes.demo else []
        lines.append(f"{self.outcome.value[0].upper()}{self.outcome.value[1:]}.")
        if len(self.before):
            lines.append(
                f"Left out in turn, {len(self.trials)} trials were off by {self.before.mean():.2f} "
                f"before and {self.after.mean():.2f} after (ΔE2000, {self.dyes.light})."
            )
        return "\n".join([*lines, *self.changes])


def learn(
    dyes: DyeSet,
    trials: Sequence[Trial],
    *,
    half_life_days: float | None = None,
    today: datetime.date | None = None,
    lot: str | None = None,
    other_lot: float = 0.25,
    dosing: float | None = None,
) -> Learnt:
    """Move strengths, cloth and competition by what trials say, where that helps.

    Parameters
    ----------
    trials : of recipes of these dyes. Those of a first bath teach strengths; those of a second bath
        teach how far second baths stray.
    half_life_days : a trial this many days old counts half; by default age does not matter.
    today : the day ages are counted from; by default that of the newest trial.
    lot : the lot in use; trials of another count `other_lot` (0 to 1). By default lots do not
        matter.
    dosing : standard error of one dye's amount, as a share, as in `correct`.

    Learning is believed where the mean ΔE2000 of trials left out in turn falls. The prior already
    holds every change back; to ask for one standard error more as well, as for a richer model,
    threw away about half of what learning gains on simulated workshops.

    Raises `DyemixError` for a half-life or a share out of range, or a trial without a date where
    age is to count; `RecipeError` for a dye that the shelf does not have.
    """
    weights = _weights(trials, half_life_days, today, lot, other_lot)
    first = np.array([t.bath is Bath.FIRST for t in trials], dtype=bool)
    firsts = tuple(t for t in trials if t.bath is Bath.FIRST)
    weights = weights[first] if len(trials) else weights
    seconds = [t for t in trials if t.bath is Bath.SECOND]
    if len(firsts) < FEWEST:
        wider, words = _second_baths(dyes, seconds)
        none = np.empty(0)
        return Learnt(wider, Lesson.TOO_FEW, firsts, weights, none, none.copy(), words)
    amounts = np.array([dyes.amounts(t.recipe) for t in firsts])
    measured = np.array([t.reading.colour(dyes.light) for t in firsts])
    posterior = _posterior(with_dosing(dyes, dosing), amounts, measured, weights)
    before = delta_e(measured, dyes.predict_many(amounts))
    after = delta_e(measured, posterior.left_out)
    if np.average(before - after, weights=weights) < LEAST_GAIN:
        wider, words = _second_baths(dyes, seconds)
        return Learnt(wider, Lesson.NO_HELP, firsts, weights, before, after, words)
    learnt = _apply(dyes, posterior)
    wider, words = _second_baths(learnt, seconds)
    changes = (*_changes(dyes, posterior), *words)
    return Learnt(wider, Lesson.LEARNT, firsts, weights, before, after, changes)


def _weights(
    trials: Sequence[Trial],
    half_life: float | None,
    today: datetime.date | None,
    lot: str | None,
    other_lot: float,
) -> Array:
    """How much each trial counts ``(T,)``, by age and lot."""
    weights = np.ones(len(trials))
    if not 0.0 < other_lot <= 1.0:
        raise DyemixError(f"other_lot {other_lot:g} is not a weight: above 0, at most 1.")
    if half_life is not None:
        if not half_life > 0.0:
            raise DyemixError(f"half_life_days {half_life:g} is not a time: it must be above 0.")
        dates = [t.date for t in trials]
        undated = [str(t.recipe) for t in trials if t.date is None]
        if undated:
            raise DyemixError(
                f"age cannot count: {len(undated)} trials have no date ({undated[0]}): date them."
            )
        now = today or max((d for d in dates if d is not None), default=datetime.date.min)
        ages = np.array([(now - d).days for d in dates if d is not None], dtype=float)
        weights *= 0.5 ** (np.maximum(ages, 0.0) / half_life)
    if lot is not None:
        weights *= [1.0 if t.lot == lot else other_lot for t in trials]
    return weights


@dataclass(frozen=True, eq=False)
class _Posterior:
    """θ ``(P,)`` with its prior and posterior standard errors, and each trial predicted without it.

    `left_out` ``(T, 3)``, CIELAB.
    """

    theta: Array
    prior: Array
    sd: Array
    left_out: Array


def _posterior(dyes: DyeSet, amounts: Array, measured: Array, weights: Array) -> _Posterior:
    """Maximum posterior of θ, and the same without each trial, linearised at the one with all."""
    prior = prior_sd(dyes)
    # What θ stands for must not be counted as noise again.
    scatter = replace(dyes.scatter, mixing=dyes.scatter.mixing * float(np.sqrt(1.0 - LASTING)))
    noise = lab_covariance(replace(dyes, draws=None, scatter=scatter), amounts, dyes.light)
    weight = np.linalg.inv(noise) * weights[:, np.newaxis, np.newaxis]
    theta = np.zeros(len(prior))
    for _ in range(_STEPS):
        labs, slope = lab_by_theta(dyes, theta, amounts, dyes.light)
        by_trial = slope.transpose(0, 2, 1) @ weight
        hessians = by_trial @ slope
        # Aimed at θ itself, not at a step: the right-hand side carries the point of expansion.
        rights = (by_trial @ (measured - labs + slope @ theta)[..., np.newaxis])[..., 0]
        normal = hessians.sum(axis=0) + np.diag(prior**-2.0)
        theta = _bounded(normal, rights.sum(axis=0), -dyes.competition)
    left_out = np.array(
        [
            moved(dyes, _bounded(normal - h, rights.sum(axis=0) - r, -dyes.competition))
            .predict_many(a[np.newaxis])[0]
            for h, r, a in zip(hessians, rights, amounts, strict=True)
        ]
    )  # fmt: skip
    return _Posterior(theta, prior, np.sqrt(np.diag(np.linalg.inv(normal))), left_out)


def _bounded(normal: Array, right: Array, lowest: float) -> Array:
    """Minimum of a quadratic ``(P,)`` whose last unknown, κ less that of the set, has a bound."""
    theta = np.linalg.solve(normal, right)
    if theta[-1] < lowest:
        rest = np.linalg.solve(normal[:-1, :-1], right[:-1] - normal[:-1, -1] * lowest)
        theta = np.append(rest, lowest)
    return np.asarray(theta)


def _apply(dyes: DyeSet, posterior: _Posterior) -> DyeSet:
    """The dyes with θ applied, and what was open narrowed as far as the trials narrowed it."""
    out = moved(dyes, posterior.theta)
    narrowed = (posterior.sd / posterior.prior)[: len(dyes)]
    if out.draws is not None:
        # Only the strength of each draw comes nearer to the fit; its shape is as open as before.
        strength = strengths_of_draws(out, out.draws)
        factor = np.maximum(strength, 1e-3) ** (narrowed - 1.0)
        curves = out.draws.curves * factor[:, :, np.newaxis]
        out = replace(out, draws=replace(out.draws, curves=curves))
    left = 1.0 - LASTING * (1.0 - float(np.mean(narrowed**2)))
    scatter = replace(out.scatter, mixing=float(out.scatter.mixing * np.sqrt(left)))
    return replace(out, scatter=scatter)


def _changes(dyes: DyeSet, posterior: _Posterior) -> tuple[str, ...]:
    """What changed, in words, largest first."""
    strength = np.expm1(posterior.theta[:-2])
    words = []
    for i in np.argsort(-np.abs(strength)):
        if abs(strength[i]) >= _WORTH_SAYING:
            way = "stronger" if strength[i] > 0 else "weaker"
            words.append(
                f"{dyes.names[i]} comes out {100.0 * abs(strength[i]):.0f} % {way} than its "
                f"squares said (± {100.0 * posterior.sd[i]:.0f} %)."
            )
    if abs(posterior.theta[-2]) >= _WORTH_SAYING:
        way = "deeper" if posterior.theta[-2] > 0 else "paler"
        share = 100.0 * abs(np.expm1(posterior.theta[-2]))
        words.append(f"The undyed cloth is {share:.0f} % {way} (K/S) than its squares said.")
    if abs(posterior.theta[-1]) >= 0.002:
        now = 100.0 * (dyes.competition + posterior.theta[-1])
        words.append(
            f"In a mix, 1 % owf of other dyes costs a dye about {now:.1f} % of its strength; the "
            f"squares said {100.0 * dyes.competition:.1f} %."
        )
    return tuple(words) or ("No dye moved by more than 1 %.",)


def _second_baths(dyes: DyeSet, trials: Sequence[Trial]) -> tuple[DyeSet, tuple[str, ...]]:
    """`Scatter.second_bath` from second baths: how much more or less of its dyes each gave.

    Along the colour v that the bath adds, ``s = vᵀWe / vᵀWv`` with W the inverse covariance of
    everything else. Its own error ``1 / vᵀWv`` is taken off, down to zero for each bath, which errs
    on the wide side; the prior is worth `PRIOR_WORTH` baths.
    """
    if not trials:
        return dyes, ()
    squares = 0.0
    for trial in trials:
        assert trial.on is not None
        on = replace(
            dyes.on(trial.on), scatter=replace(dyes.scatter, reading=2.0 * dyes.scatter.reading)
        )
        amounts = on.amounts(trial.recipe)[np.newaxis]
        weight = np.linalg.inv(lab_covariance(on, amounts, on.light)[0])
        labs, slope = on.blends([np.arange(len(on))]).lab_and_slope(amounts, on.light)
        v = slope[0] @ amounts[0]
        known = float(v @ weight @ v)
        gave = float(v @ weight @ (trial.reading.colour(on.light) - labs[0])) / known
        squares += max(gave**2 - 1.0 / known, 0.0)
    total = (PRIOR_WORTH * PRIOR_SECOND_BATH**2 + squares) / (PRIOR_WORTH + len(trials))
    scatter = replace(dyes.scatter, second_bath=float(np.sqrt(total)))
    words = (
        f"Second baths give their dyes to within {100.0 * scatter.second_bath:.0f} % (from "
        f"{len(trials)} of them, {100.0 * PRIOR_SECOND_BATH:.0f} % assumed before)."
    )
    return replace(dyes, scatter=scatter), (words,)
