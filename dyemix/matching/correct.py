"""What a finished piece says about the next one: the miss, and a recipe re-aimed by part of it.

A reading y of a recipe c differs from its prediction f(c) by the error of the model for that
recipe, which comes back when it is dyed again, and by dosing, pot and reading, which do not. With
covariances Σs of what comes back and Σr of what does not, the best linear estimate of the former is
``b = Σs (Σs + Σr)⁻¹ (y − f(c))``, and the next recipe c′ solves ``f(c′) = target − b``: re-aimed by
the miss, shrunk by model variance over total variance. Both are those of the calibration; the
recipe's own error, which tells nothing of other recipes, comes back with this one.

A pot is spent long before its piece is dry, so nothing is ever added to it. A second bath is
another matter: the same dyes on a cloth that carries dye. It only deepens or dulls.
"""

from collections.abc import Iterable
from dataclasses import replace
from enum import Enum

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.appearance import Miss
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import Light
from dyemix.dataset.conditions import mottled
from dyemix.dataset.result import Result, Row
from dyemix.dataset.target import Target, Trial
from dyemix.errors import DyemixError, expect, refuse, said
from dyemix.fitting.learn import forget
from dyemix.matching.match import match
from dyemix.matching.matches import Pot
from dyemix.matching.subsets import Found, Problem
from dyemix.model.dyes import DyeSet
from dyemix.model.uncertainty import Scatter

#: A miss counts as scatter while every second pot of the very same recipe would lie as far out.
#: Measured on simulated workshops: a stricter level (one pot in ten) leaves half of what correcting
#: gains behind, and a laxer one gains little more, since the correction is shrunk anyway.
LEVEL = 0.5
#: Fewer pots in all than this share stray as far from a prediction: a slip is likelier.
ASTRAY = 0.001
#: A correction that lowers the likely ΔE2000 by less than this is not worth a new recipe.
LEAST_GAIN = 0.01
#: A further dye must bring this much ΔE2000 to be worth its trouble; a second bath, what is seen.
WORTH_IT, SEEN = 0.1, 1.0
#: A miss to 1.5 is excellent on hand-dyed goods (common practice); one of 10 and more is a slip,
#: and says nothing of the recipe (a working value).
EXCELLENT, HOPELESS = 1.5, 10.0
#: The least standard error of a pot's strength that is believed, as a share.
LEAST_POT = 0.01
#: A second bath is of few dyes: it tones a piece that is nearly right.
SECOND_BATH_DYES = 2


class Outcome(Enum):
    """What to do; the value is the sentence shown."""

    LEAVE = "within your own scatter: change nothing"
    EXCELLENT = "excellent as it is: change nothing"
    TOLERATED = "within what was agreed with the customer: change nothing"
    LOOK_FIRST = said("matching.outcome.look_first")
    A_SLIP = said("matching.outcome.a_slip")
    NEXT_PIECE = "more than your own scatter: dye the next piece by the corrected recipe"
    AT_THE_EDGE = "more than your own scatter, but these dyes come no nearer: change nothing"


class Over(Enum):
    """What a second bath over this piece can do; the value is the sentence shown."""

    HELPS = "a second bath over this piece, washed, dry and read; try it on an offcut first"
    NO_NEED = "no second bath: this piece is near enough"
    CANNOT = said("matching.outcome.cannot")


class Correction(Result):
    """What to do about a piece.

    Attributes
    ----------
    trial, target : what was dyed and read, and what was wanted, its light settled.
    miss : how the piece differs from the target.
    chance : share of pots of the very same recipe that lie as far from what they were aimed at, by
        dosing, pot and reading alone (chi-square with 3 degrees of freedom).
    outcome : what to do.
    again : the same recipe dyed again, and what to expect of it.
    corrected : the recipe for the next piece; `again` where nothing is to be changed.
    shrunk : what share of how far the piece lies from its prediction (distance in CIELAB) was put
        down to the model; the rest is scatter.
    over : what a second bath over this piece can do; None where that was not asked.
    second_bath : that bath, where it helps.
    warnings : what was assumed.
    scatter : ``(3, 3)`` covariance in CIELAB by which pots of one recipe stray from each other.
    sure : share of such second baths that bring the piece nearer, where one helps.
    """

    trial: Trial
    target: Target
    miss: Miss
    chance: float
    outcome: Outcome
    again: Pot
    corrected: Pot
    shrunk: float
    over: Over | None
    second_bath: Pot | None
    warnings: tuple[str, ...]
    demo: bool
    scatter: Array
    sure: float | None

    @property
    def changed(self) -> bool:
        """Whether the next piece is to be dyed by another recipe."""
        return self.corrected is not self.again

    @property
    def choices(self) -> dict[str, Pot]:
        """What can be dyed now, in words."""
        next_one = {"the next recipe": self.corrected} if self.changed else {}
        over = {"a second bath over this piece": self.second_bath} if self.second_bath else {}
        return {"the same recipe again": self.again, **next_one, **over}

    def _rows(self) -> Iterable[Row]:
        """One row a choice."""
        return (
            {"choice": name, **row} for name, pot in self.choices.items() for row in pot._rows()
        )

    def _lines(self) -> Iterable[str]:
        often = f"{100.0 * self.chance:.0f} %" if self.chance >= 0.01 else "under 1 %"
        judged = self.changed or self.outcome is Outcome.LEAVE
        lines = [f"Target {self.target}", f"Dyed   {self.trial}"]
        lines += [f"Miss   {self.miss} ({self.target.light})"]
        lines += [said("matching.trial.often", often)] if judged else []
        lines += [_sentence(self.outcome), f"Again  {self.again}"]
        if self.changed:
            lines.append(f"Next   {self.corrected}")
            lines.append(said("matching.trial.shrunk", 100.0 * self.shrunk))
        lines += [_sentence(self.over)] if self.over else []
        if self.sure is not None:
            more, share = "over " if self.sure > 0.99 else "", 100.0 * min(self.sure, 0.99)
            lines += [f"Over   {self.second_bath}", said("matching.trial.sure", more, share)]
        lines += [*self.corrected.prediction.warnings, *self.warnings]
        return dict.fromkeys(lines)


def _sentence(word: Enum) -> str:
    return f"{word.value[0].upper()}{word.value[1:]}."


def _spread(ground: DyeSet, pot: float, amounts: Array, light: Light) -> tuple[Array, Array]:
    """Covariance ``(N, 3, 3)`` of what differs from pot to pot, and of what comes back.

    How much more or less dye a second bath gives than a first one, which strays by `pot`, comes
    back with the next one on its like.
    """
    parts = ground.predict_many(amounts, light).causes
    again = (1.0 - (pot / ground.scatter.pot) ** 2) * parts.pot
    return parts.random - again, parts.fit + parts.model + again


def correct(
    dyes: DyeSet, trial: Trial, target: Target | str | None = None, other_dyes: bool = False,
    second_bath: bool = True, dosing: float | None = None, tolerance: float = 0.0,
) -> Correction:  # fmt: skip
    """What to do about a finished piece that was meant to be `target`.

    Parameters
    ----------
    trial : the recipe (% owf) and the reading of the piece, dry. Dyes that have learnt from it
        already forget it first: it counts once.
    target : what was wanted; by default the trial's own.
    other_dyes : whether one more dye of the shelf may join the corrected recipe, where it brings
        the piece nearer by more than `WORTH_IT`.
    second_bath : whether to look for a second bath over this very piece.
    dosing : standard error of one dye's amount, as a share, where it is known how well this dyer
        measures; by default half of the variance that single squares show.

    tolerance : ΔE2000 that the customer agreed to.

    A piece that is excellent, within the scatter or within the tolerance is left alone; one that
    lies farther out than any known error explains is to be looked at first; and `HOPELESS` far out,
    nothing is corrected. The next piece keeps the trial's dyes. Where the trial was a second bath,
    so is the corrected recipe: for the next piece like the one it went over.

    Raises `RecipeError` for a dye that the shelf does not have, `DyemixError` where no target is
    stated, `TargetError` for one that is not a colour.

    >>> read = Reading.from_lab([59.0, -12.0, 18.0], "D65/10")
    >>> trial = Trial("marigold 0.42 + navy 0.22", read, target="56 -10 13 D65/10")
    >>> correct(dyes, trial, second_bath=False).again.recipe
    Recipe({'marigold': 0.42, 'navy': 0.22})
    """
    from scipy.special import gammaincc

    expect(trial, Trial, "Trial(recipe, reading, target) makes one")
    refuse(not tolerance >= 0, f"a tolerance of {tolerance:g} is no ΔE2000: 0 or more.")
    dyes = _with_dosing(forget(dyes, [trial]), dosing)
    stated = trial.target if target is None else target
    if stated is None:
        raise DyemixError("no target: say what the piece was meant to be, as #7d8a6e.")
    wanted = Target.of(stated).under(dyes.light)
    light, pot = dyes.light_of(wanted), dyes.scatter.pot
    ground = dyes if trial.on is None else dyes.over(trial.on)
    amounts = dyes.amounts(trial.recipe)[np.newaxis]
    read = trial.reading.colour(light)
    (random,), (comes_back,) = _spread(ground, pot, amounts, light)
    shrunk = comes_back @ np.linalg.inv(random + comes_back)
    (there,) = ground.colours(amounts, light)
    strays = read - there
    error = shrunk @ strays
    left = comes_back - shrunk @ comes_back  # still open once the trial has spoken

    miss = read - wanted.lab
    chance = float(gammaincc(1.5, float(miss @ np.linalg.solve(random, miss)) / 2.0))
    again = _pot(ground, amounts, wanted, error, random + left)
    found, corrected = Miss.of(wanted.lab, read), again
    astray = float(strays @ np.linalg.solve(random + comes_back, strays))
    if chance >= LEVEL:
        outcome = Outcome.LEAVE
    elif found.delta_e <= max(EXCELLENT, tolerance):
        outcome = Outcome.EXCELLENT if found.delta_e <= EXCELLENT else Outcome.TOLERATED
    else:
        better = _aim(ground, amounts, wanted, error, other_dyes)
        (random_then,), _ = _spread(ground, pot, better, light)
        nearer = _pot(ground, better, wanted, error, random_then + left)
        strange = gammaincc(1.5, astray / 2.0) < ASTRAY
        at_the_edge = again.likely - nearer.likely < LEAST_GAIN
        if found.delta_e >= HOPELESS and (strange or not at_the_edge):
            outcome = Outcome.A_SLIP
        elif at_the_edge:
            outcome = Outcome.AT_THE_EDGE
        else:
            outcome, corrected = Outcome.LOOK_FIRST if strange else Outcome.NEXT_PIECE, nearer
    over, bath, sure = None, None, None
    if second_bath and outcome in (Outcome.LEAVE, Outcome.EXCELLENT, Outcome.TOLERATED):
        over = Over.NO_NEED
    elif second_bath and outcome is not Outcome.A_SLIP:
        over, bath, sure = _second_bath(dyes, trial, wanted)
    usual = dyes.scatter.warnings
    notes = (*mottled(dyes.conditions), *(usual if usual == Scatter().warnings else ()))
    notes += (said("matching.trial.rough"),) if bath is not None and trial.reading.rough else ()
    share = float(np.linalg.norm(error)) / max(float(np.linalg.norm(strays)), 1e-9)
    judged = trial, wanted, found, chance, outcome, again, corrected, share
    return Correction(*judged, over, bath, notes, dyes.demo, random, sure)


def _with_dosing(dyes: DyeSet, dosing: float | None) -> DyeSet:
    """The dyes with `dosing`, a share, and for the pot what is left of their squares' scatter.

    Raises `DyemixError` for a share that is not between 0 and 1.
    """
    if dosing is None:
        return dyes
    refuse(not 0.0 <= dosing < 1.0, f"dosing {dosing:g} is not a share: 3 % is 0.03.")
    # However she measures, pots of hand-dyed cloth differ by more than nothing.
    pot = max(float(np.sqrt(max(dyes.scatter.strength**2 - dosing**2, 0.0))), LEAST_POT)
    return replace(dyes, scatter=replace(dyes.scatter, dosing=dosing, pot=pot))


def _pot(dyes: DyeSet, amounts: Array, target: Target, error: Array, spread: Array) -> Pot:
    """What to expect of amounts ``(1, D)`` whose prediction is off by `error` ``(3,)``."""
    paper = dyes.predict(dyes.recipe(*amounts), target.light)
    return Pot.of(replace(paper, lab=paper.lab + error, covariance=spread), target)


def _aim(dyes: DyeSet, amounts: Array, target: Target, error: Array, other_dyes: bool) -> Array:
    """Amounts ``(1, D)``, begun at others, whose prediction plus `error` ``(3,)`` comes nearest to
    the target; with one more dye where that is worth it.
    """
    own = amounts > 0
    one_more = own | np.eye(len(dyes), dtype=bool)[~own.ravel()]
    used = np.concatenate([own, one_more]) if other_dyes else own
    start = Found.of(used, np.tile(amounts, (len(used), 1)))
    aim = target.lab - error
    problem = Problem.of(dyes, aim[np.newaxis], dyes.light_of(target), len(dyes))
    # What was dyed may go deeper than any swatch; the answer must not be cut off short of it.
    problem = replace(problem, upper=np.maximum(dyes.deepest, amounts.ravel()))
    found = problem.descend(start, 100, 1e-9)
    miss = np.sqrt(found.cost)
    best = int(np.argmin(miss))
    return found.amounts[[best if miss[0] - miss[best] >= WORTH_IT else 0]]


def _second_bath(
    dyes: DyeSet, trial: Trial, target: Target
) -> tuple[Over, Pot | None, float | None]:
    """The bath over this piece that matches best, where that gains what can be seen.

    And the share of such baths that bring the piece nearer than it is.
    """
    found = match(dyes.over(trial.reading), target, max_dyes=SECOND_BATH_DYES, count=1)
    bath = Pot.of(found[0].prediction, target)
    now = float(delta_e(target.lab, trial.reading.colour(dyes.light_of(target))))
    if not bath.recipe or bath.likely > now - SEEN:
        return Over.CANNOT, None, None
    nearer = delta_e(target.lab, bath.prediction.pots(target.lab, 100)) < now
    return Over.HELPS, bath, float(nearer.mean())
