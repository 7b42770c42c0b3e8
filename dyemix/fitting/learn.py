"""Let finished pieces move the dyes, mixes of the table and trials alike; and say which squares to
dye next: those that most lower the likely miss of the recipes wanted.

To first order a recipe's CIELAB is ``f + A θ`` with θ the unknowns of the calibration, so a square
z read with noise R leaves ``Σ − Σ Azᵀ (Az Σ Azᵀ + R)⁻¹ Az Σ`` of Σ = Cov θ (Kalman, J. Basic Eng.
82 (1960) 35), and a wanted recipe w the covariance ``Aw Σ Awᵀ`` beside its own error, dosing, pot
and reading. What colour the square turns out does not matter to that, so every candidate can be
tried before any is dyed.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import combinations
from math import comb
from typing import Any, NamedTuple, Self

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import Light
from dyemix.dataset.conditions import METHOD, PICTURE, mottled
from dyemix.dataset.result import Result, Row
from dyemix.dataset.swatches import Swatch, SwatchSet
from dyemix.dataset.target import Trial
from dyemix.errors import FitError, expect, refuse, said
from dyemix.fitting.calibration import condition
from dyemix.fitting.lab_ladder import bound, stated
from dyemix.model import uncertainty
from dyemix.model.dyes import DyeSet, Pot
from dyemix.model.fit_report import FitReport, MixtureCheck, mixture_checks, promises_kept
from dyemix.model.uncertainty import PRIOR_SECOND_BATH, PRIOR_WORTH

#: How much a trial of another lot counts.
_OTHER_LOT = 0.25
#: How much the oldest trial counts: it teaches nothing, and figures stay finite.
_LEAST = 1e-6
#: A change of strength below so many per cent is not worth a sentence.
_WORTH_SAYING = 1.0
#: Mixes of three are tried as squares while they are no more than this; else only pairs.
_MOST = 250
_LINE = 3


# Pots ---------------------------------------------------------------------------------------------


def calibrated(
    alone: DyeSet, report: FitReport, swatches: SwatchSet, *aside: SwatchSet | None
) -> DyeSet:
    """The dyes moved by the mixtures of a table, and their report brought up to date.

    The mixtures of `aside` are only predicted; those of a dye without a ladder are passed over.
    """

    def known(some: SwatchSet) -> list[Swatch]:
        return [s for s in some.mixtures if set(s.recipe) <= set(alone.names)]

    method = "; ".join(f"{k} {alone.conditions[k]}" for k in METHOD if k in alone.conditions)
    report = replace(report, method=method or "not recorded")
    pots = [_pot(s, alone.light, label=s.label) for s in known(swatches)]
    dyes, _ = _moved_by(replace(alone, report=report), pots)
    kept = [s for some in aside if some is not None for s in known(some)]
    checks = dyes.evaluate(kept).checks if kept else ()
    return replace(dyes, report=replace(dyes.report or report, set_aside=checks))


def _pot(piece: Swatch, light: Light, **told: Any) -> Pot:
    """A finished piece as the calibration sees it; what is `told` beside its readings is kept."""
    covariance = stated(piece.readings)
    pictures = tuple(sorted({r.conditions.get(PICTURE, "") for r in piece.readings}))
    return Pot(
        piece.recipe, piece.colour(light), covariance if covariance.any() else None,
        bound(piece.readings), pictures=pictures, **told,
    )  # fmt: skip


def _moved_by(dyes: DyeSet, pots: Iterable[Pot]) -> tuple[DyeSet, dict[Any, MixtureCheck]]:
    """The dyes as these pots show them, with a report that knows of it; and each pot of a first
    bath, by its identity, as the others predict it.

    Raises `FitError` for readings that no dyes give.
    """
    try:
        found = condition(dyes, pots)
        miss = uncertainty.likely(found.lab, found.lab, found.covariance, found.dyes.known.freedom)
    except np.linalg.LinAlgError:
        raise FitError(said("fit.contradict")) from None
    labels = [pot.label or str(pot.recipe) for pot in found.pots]
    measured = np.reshape([pot.lab for pot in found.pots], found.lab.shape)
    checks = mixture_checks(labels, measured, found.lab, miss.mean, miss.median, miss.bound)
    dyes = _second_baths(found.dyes)
    if dyes.report is not None:
        mean, low, high, next_swatches = None, 0.0, 0.0, ""
        if len(dyes) > 1:
            pairs = middle_mixes(dyes, 2)
            many = len(dyes) > 2 and comb(len(dyes), 3) <= _MOST
            squares = np.concatenate([pairs, middle_mixes(dyes, 3)]) if many else pairs
            squares = as_deep(dyes, squares)
            known = Knowledge.of(dyes, pairs, squares)
            mean, next_swatches = float(known.likely()), known.in_words(dyes, squares)
            low, high = (share * mean for share in dyes.known.spread)
        report = replace(
            dyes.report, own_mixtures=checks, expected=mean, between=(low, high),
            next_swatches=next_swatches,
        )  # fmt: skip
        dyes = replace(dyes, report=report)
    return dyes, {pot.identity: check for pot, check in zip(found.pots, checks, strict=True)}


# Which squares to dye next ------------------------------------------------------------------------


class Knowledge(NamedTuple):
    """What is open about the dyes, and what W recipes and Z squares have to do with it.

    Attributes
    ----------
    labs : ``(W, 3)`` of the recipes.
    wanted, squares : slopes ``(W, 3, P)`` and ``(Z, 3, P)`` by the unknowns.
    noise, square_noise : covariance of both that no other square tells of.
    open : ``(P, P)``, covariance of the unknowns.
    """

    labs: Array
    wanted: Array
    squares: Array
    noise: Array
    square_noise: Array
    open: Array

    @classmethod
    def of(cls, dyes: DyeSet, amounts: Array, squares: Array) -> Self:
        """Before any square: recipes of amounts ``(W, D)``, squares ``(Z, D)``."""
        both, w, modes = np.concatenate([amounts, squares]), len(amounts), dyes.ladders.modes
        made, slopes = uncertainty.effects(dyes.whole, both, dyes.light, modes)
        spread = uncertainty.causes(made, slopes, both, modes, dyes.known, dyes.scatter).total
        own = spread - uncertainty.propagated(slopes, dyes.known.covariance)
        return cls(made.lab[:w], slopes[:w], slopes[w:], own[:w], own[w:], dyes.known.covariance)

    def likely(self, gains: Array | None = None) -> Array:
        """Mean likely ΔE2000 of the recipes, each aimed at its own prediction; with `gains`, those
        ``(Z,)`` after each of such squares.
        """
        spread = uncertainty.propagated(self.wanted, self.open) + self.noise
        if gains is not None:
            seen = np.einsum("wip,zpj->zwij", self.wanted, gains, optimize=True)
            spread = spread - seen @ seen.swapaxes(-1, -2)
        labs = np.broadcast_to(self.labs, spread.shape[:-1]).reshape(-1, 3)
        # At its own prediction itself ΔE2000 has no slope by hue.
        miss = uncertainty.expected_miss(labs, labs + 1e-6, spread.reshape(-1, 3, 3))
        return np.asarray(miss.reshape(spread.shape[:-2]).mean(axis=-1))

    @property
    def floor(self) -> float:
        """The same if nothing about the dyes were open."""
        return float(self._replace(open=0.0 * self.open).likely())

    def gains(self) -> Array:
        """Roots ``(Z, P, 3)`` of what each square takes off `open` once it was dyed and read."""
        through = self.open @ self.squares.transpose(0, 2, 1)
        # A saved set may state no error at all: no more is learnt of a colour than can be read.
        values, axes = np.linalg.eigh(self.squares @ through + self.square_noise)
        return np.asarray(through @ (axes / np.sqrt(np.maximum(values, 1e-9))[:, np.newaxis]))

    def best(self, count: int) -> Iterable[tuple[int, float, float]]:
        """Squares one after the other, each counting on those before it: which, before, after."""
        known, before, taken = self, float(self.likely()), list[int]()
        for _ in range(count):
            gains = known.gains()
            after = known.likely(gains)
            after[taken] = np.inf  # dyed again, a square brings its own error back with it
            taken.append(z := int(np.argmin(after)))
            yield z, before, float(after[z])
            known, before = known.after(gains[z]), float(after[z])

    def after(self, gain: Array) -> Self:
        """What stays open once a square of this gain ``(P, 3)`` has been dyed and read."""
        return self._replace(open=self.open - gain @ gain.T)

    def in_words(self, dyes: DyeSet, squares: Array) -> str:
        """Which three of the squares ``(Z, D)`` to dye next, and what they would buy."""
        chosen = list(self.best(min(_LINE, len(squares))))
        recipes = "; ".join(str(dyes.recipe(squares[z].round(2))) for z, _, _ in chosen)
        return said("fit.next_squares", recipes=recipes, before=chosen[0][1], after=chosen[-1][2])


def middle_mixes(dyes: DyeSet, size: int) -> Array:
    """Amounts ``(N, D)`` of every mix of `size` dyes, each at the middle (in ratio) of its range.

    They share the depth of one dye: each gets its part of its own middle.
    """
    index = np.array(list(combinations(range(len(dyes)), size)))
    amounts = np.zeros((len(index), len(dyes)))
    middle = dyes.middle_depths * 2.0 / size
    np.put_along_axis(amounts, index, middle[index], axis=1)
    return amounts


def as_deep(dyes: DyeSet, squares: Array) -> Array:
    """Squares ``(Z, D)`` that low water holds: paled to what the deepest square of one of their
    dyes has in all, which its bath held. In more water none is too deep.
    """
    if not mottled(dyes.conditions):
        return squares
    most = np.where(squares > 0.0, dyes.deepest, 0.0).max(axis=1)
    return np.asarray(squares * np.minimum(most / squares.sum(axis=1), 1.0)[:, np.newaxis])


def in_one_line(dyes: DyeSet, wanted: Array) -> str:
    """Which three of the mixes among recipes ``(W, D)`` to dye next, and what they would buy."""
    mixes = as_deep(dyes, wanted[(wanted > 0).sum(axis=1) > 1])
    return Knowledge.of(dyes, wanted, mixes).in_words(dyes, mixes) if len(mixes) else ""


# Trials -------------------------------------------------------------------------------------------


class Learnt(Result):
    """What trials taught.

    Attributes
    ----------
    dyes : the dyes to go on with.
    trials : those of a first bath, ``T`` of them.
    weights : ``(T,)`` how much each counted, 1 for a recent one of the same lot.
    before, after : ``(T,)`` ΔE2000 of each trial from its prediction: by the dyes without any of
        these trials, and by the dyes that learnt from all of them but this one.
    checks : every pot that moved the dyes, those of the table too, each as the others predict it.
    changes : what changed, one sentence each.
    """

    dyes: DyeSet
    trials: tuple[Trial, ...]
    weights: Array
    before: Array
    after: Array
    checks: tuple[MixtureCheck, ...]
    changes: tuple[str, ...] = ()

    def _rows(self) -> Iterable[Row]:
        """One row a trial: recipe, date, lot, weight, before, after."""
        for trial, *figures in zip(self.trials, self.weights, self.before, self.after, strict=True):
            about = {name: getattr(trial, name) for name in ("recipe", "date", "lot")}
            yield about | dict(zip(("weight", "before", "after"), figures, strict=True))

    @property
    def demo(self) -> bool:
        return self.dyes.demo

    def _lines(self) -> Iterable[str]:
        if not len(self.before):
            return [said("fit.no_trial"), *self.changes]
        off = {"before": self.before.mean(), "after": self.after.mean()}
        trials = said("fit.trials", count=len(self.trials), light=self.dyes.light, **off)
        return [trials, f"{promises_kept(self.checks)}.", *self.changes]


def learn(
    dyes: DyeSet, trials: Sequence[Trial] | Trial, *, half_life_days: float | None = None,
    lot: str | None = None,
) -> Learnt:  # fmt: skip
    """The dyes given these trials beside all that moved them before, each counted once.

    A trial that is told again changes nothing but its weight; `forget` takes one out.

    Parameters
    ----------
    trials : of recipes of these dyes. Those of a first bath teach what the dyes do in company and
        what their ladders left open; those of a second bath how far second baths stray.
    half_life_days : a trial this many days older than the newest counts half; by default age does
        not matter.
    lot : the lot in use; trials of another count a quarter. By default lots do not matter.

    Raises `DyemixError` for a half-life out of range, or a trial without a date where age is to
    count; `RecipeError` for a dye that the shelf does not have.

    >>> read = Reading.from_lab([52.1, -8.0, 14.0], "D65/10")
    >>> learnt = learn(dyes, [Trial("marigold 0.42 + navy 0.22", read)])
    >>> len(learnt.dyes.pots) - len(dyes.pots)
    1
    """
    trials = [trials] if isinstance(trials, Trial) else trials
    for trial in trials:
        expect(trial, Trial, "Trial(recipe, reading) makes one")
    weights = _weights(trials, half_life_days, lot)
    told = [_tried(dyes, t, float(w)) for t, w in zip(trials, weights, strict=True)]
    new = {pot.identity for pot in told}
    others = [pot for pot in dyes.pots if pot.identity not in new]
    before = condition(dyes, others).dyes
    learnt, checks = _moved_by(dyes, [*others, *told])
    first = [i for i, pot in enumerate(told) if pot.on is None]
    off = [delta_e(told[i].lab, before.colours(before.amounts(told[i].recipe))[0]) for i in first]
    after = [checks[told[i].identity].delta_e for i in first]
    return Learnt(
        learnt, tuple(trials[i] for i in first), weights[first], np.array(off), np.array(after),
        tuple(checks.values()), _changes(learnt),
    )  # fmt: skip


def forget(dyes: DyeSet, trials: Sequence[Trial]) -> DyeSet:
    """The dyes as if these trials had never been told."""
    gone = {_tried(dyes, trial).identity for trial in trials}
    kept = [pot for pot in dyes.pots if pot.identity not in gone]
    return dyes if len(kept) == len(dyes.pots) else _moved_by(dyes, kept)[0]


def _tried(dyes: DyeSet, trial: Trial, weight: float = 1.0) -> Pot:
    """A trial as the calibration sees it."""
    return _pot(
        Swatch.of(trial.recipe, (trial.reading,)), dyes.light,
        on=None if trial.on is None else trial.on.reflectance,
        date=trial.date, lot=trial.lot, weight=weight, label=str(trial),
    )  # fmt: skip


def _weights(trials: Sequence[Trial], half_life: float | None, lot: str | None) -> Array:
    """How much each trial counts ``(T,)``, by age and lot."""
    weights = np.ones(len(trials))
    if half_life is not None:
        refuse(not half_life > 0.0, "fit.no_time", days=half_life)
        undated = [t.recipe for t in trials if t.date is None]
        refuse(undated, "fit.undated", count=len(undated), first=undated)
        days = np.array([t.date.toordinal() for t in trials if t.date], dtype=float)
        weights *= np.maximum(0.5 ** ((days.max(initial=0.0) - days) / half_life), _LEAST)
    if lot is not None:
        weights *= [1.0 if t.lot == lot else _OTHER_LOT for t in trials]
    return weights


def _changes(dyes: DyeSet) -> tuple[str, ...]:
    """What the pots changed, in words, largest first."""
    error, words = 100.0 * np.sqrt(np.diag(dyes.known.covariance)), []
    stronger = 100.0 * np.expm1(dyes.whole.company)
    adds = 100.0 * np.expm1(dyes.whole.interaction * np.log(2.0))  # at 1 % owf
    for i in np.argsort(-np.abs(stronger)):
        if (share := abs(stronger[i])) >= _WORTH_SAYING:
            way = "fit.stronger" if stronger[i] > 0 else "fit.weaker"
            words.append(said(way, dye=dyes.names[i], share=share, error=error[i]))
    most = int(np.argmax(np.abs(adds)))
    if (share := abs(adds[most])) >= _WORTH_SAYING:
        way = "fit.adds" if adds[most] > 0 else "fit.costs"
        words.append(said(way, dye=dyes.names[most], share=share))
    seconds = sum(pot.on is not None for pot in dyes.pots)
    if not words and seconds < len(dyes.pots):
        words.append(said("fit.unmoved"))
    if seconds:
        shares = {"share": 100.0 * dyes.scatter.second_bath, "prior": 100.0 * PRIOR_SECOND_BATH}
        words.append(said("fit.second_baths", count=seconds, **shares))
    return tuple(words)


def _second_baths(dyes: DyeSet) -> DyeSet:
    """`Scatter.second_bath` from second baths: how much more or less of its dyes each gave.

    Along the colour v that the bath adds, ``s = vᵀWe / vᵀWv`` with W the inverse covariance of
    everything else. Its own error ``1 / vᵀWv`` is taken off, down to zero for each bath, which errs
    on the wide side; the prior is worth `PRIOR_WORTH` baths.
    """
    seconds = [(pot, pot.on) for pot in dyes.pots if pot.on is not None]
    squares = 0.0
    for pot, under in seconds:
        on = replace(dyes.on(under), scatter=dyes.scatter.over_piece())
        found = on.predict_many(np.array([[1.0], [1.01], [0.99]]) * on.amounts(pot.recipe))
        (seen, more, less), weight = found.lab, np.linalg.inv(found.covariance[0])
        v = (more - less) / 0.02
        known = float(v @ weight @ v)
        gave = float(v @ weight @ (pot.lab - seen)) / known
        squares += max(gave**2 - 1.0 / known, 0.0)
    total = (PRIOR_WORTH * PRIOR_SECOND_BATH**2 + squares) / (PRIOR_WORTH + len(seconds))
    return replace(dyes, scatter=replace(dyes.scatter, second_bath=float(np.sqrt(total))))
