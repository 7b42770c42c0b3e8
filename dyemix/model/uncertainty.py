"""The likely miss in the pot: covariance of a prediction by cause, and the ΔE2000 it leads to.

``Cov = fit + J diag(sd²) Jᵀ + σ_pot² (J c)(J c)ᵀ + Σ_reading + Σ_model``, with J the slope of
CIELAB by the amounts c. Each cause enters once: the fit by equally likely versions of itself
(`dyes.Draws`), dosing dye by dye, the pot as one factor common to its dyes, and the model by what
mixtures it had not seen were off by *beyond* all of that.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e, delta_e_residual
from dyemix.colour.colorimetry import Light, lab
from dyemix.dataset.swatches import Swatch, SwatchSet
from dyemix.model.dyes import DyeSet
from dyemix.model.mixtures import working_amounts
from dyemix.model.scatter import (
    PRIOR_DOSING,
    PRIOR_MIXING,
    PRIOR_MODEL,
    PRIOR_POT,
    PRIOR_READING,
    PRIOR_WORTH,
    Scatter,
)

#: Degrees of freedom of a covariance: what a few dozen pots and a prior are worth. A working value
#: of ours.
FREEDOM = 12.0
#: Draws of the distribution of ΔE2000 for one recipe.
_DRAWS = 512
#: Spread of the prior of the competition κ around 0, per % owf.
_PRIOR_COMPETITION = 0.05
_COMPETITIONS = np.linspace(0.0, 0.2, 81)
#: A square tells strength only where doubling it would move the colour by this much ΔE2000 or
#: more (per unit of ln): below that its reading says nothing of it.
_SEEN = 2.0
#: Share of a stated reading variance that parts a pot from its dyes' squares: most of what a camera
#: misreads it misreads in both. A working value of ours, from simulated photographs.
_OF_A_POT = 0.1
#: A log strength this many times the usual one, and above this, is mislabelling, not scatter.
_STRAY, _AMISS = 4.0, 0.15


@dataclass(frozen=True, eq=False)
class Likely:
    """The distribution of ΔE2000 between target and pot, for N recipes: arrays ``(N,)``.

    `mean`, `median`, `bound` (nine pots in ten stay below), and the chances of a `sound` (≤ 3)
    and an `excellent` (≤ 1.5) match (common practice for hand-dyed goods).
    """

    mean: Array
    median: Array
    bound: Array
    sound: Array
    excellent: Array


@lru_cache(maxsize=4)
def _draws(draws: int) -> Array:
    """Draws ``(draws, 3)`` of Student's t, the same each time: mean 0, covariance 1 exactly.

    Not normal, since the covariance they are for is itself known from few pots. Points of Sobol',
    which lie evenly: quantiles of so few independent draws would be 6 % off. No mirror images,
    since ±x miss a target in the middle by the same.
    """
    from scipy.stats import chi2, norm, qmc

    even = qmc.Sobol(4, rng=0).random(draws)
    points = norm.ppf(even[:, :3]) / np.sqrt(chi2.ppf(even[:, 3:], FREEDOM))
    points -= points.mean(axis=0)
    root = np.linalg.cholesky(points.T @ points / len(points))
    return np.asarray(np.linalg.solve(root, points.T).T)


def likely(
    target: Array, labs: Array, covariance: Array, k_lightness: float = 1.0, draws: int = _DRAWS
) -> Likely:
    """ΔE2000 from `target` ``(3,)`` of pots spread around `labs` ``(N, 3)``.

    `covariance` is ``(N, 3, 3)``; `draws` pots a recipe, the same ones each time, of Student's t
    with `FREEDOM` degrees of freedom.
    """
    pots = labs[:, np.newaxis] + _draws(draws) @ _roots(covariance).transpose(0, 2, 1)
    miss = delta_e(target, pots, k_lightness)
    median, bound = np.quantile(miss, [0.5, 0.9], axis=1)
    return Likely(
        miss.mean(axis=1), median, bound, (miss <= 3.0).mean(axis=1), (miss <= 1.5).mean(axis=1)
    )


def _roots(covariance: Array) -> Array:
    """Cholesky roots; the floor (a thousandth of a unit) only keeps a zero covariance solvable."""
    return np.asarray(np.linalg.cholesky(covariance + 1e-6 * np.eye(3)))


def expected_miss(target: Array, labs: Array, covariance: Array, k_lightness: float = 1.0) -> Array:
    """Mean ΔE2000 ``(N,)`` by its first two moments: close to `likely`, and cheap, for ranking.

    With ``r`` the residual, K its slope and ``A = K Σ Kᵀ``: ``E[ΔE²] = |r|² + tr A``,
    ``Var[ΔE²] = 2 tr A² + 4 rᵀ A r``, and ``E[ΔE] ≈ √E (1 − Var / 8E²)`` (second-order Taylor).
    """
    r, slope = delta_e_residual(target, labs, k_lightness)
    a = slope @ covariance @ slope.transpose(0, 2, 1)
    square = np.einsum("nm,nm->n", r, r) + np.einsum("nii->n", a)
    spread = 2.0 * np.einsum("nij,nji->n", a, a) + 4.0 * np.einsum("ni,nij,nj->n", r, a, r)
    safe = np.maximum(square, 1e-12)
    # The series leaves its range when one direction rules; a half-normal's mean is the least.
    return np.asarray(np.sqrt(safe) * np.maximum(1.0 - spread / (8.0 * safe * safe), 0.7979))


@dataclass(frozen=True, eq=False)
class Causes:
    """CIELAB covariance ``(N, 3, 3)`` of N pots, by cause; they add up to `total`."""

    fit: Array
    dosing: Array
    pot: Array
    reading: Array
    model: Array

    @property
    def total(self) -> Array:
        return self.fit + self.dosing + self.pot + self.reading + self.model


#: The causes in the dyer's words.
CAUSE_WORDS = {
    "fit": "what the squares leave open: more squares near this colour",
    "dosing": "measuring: a finer measure or a weaker stock",
    "pot": "pot to pot: the same time, warmth and alkali each time",
    "reading": "the reading: fold to opacity, four readings turned by a quarter",
    "model": "the model in a mix: more squares of mixes",
}


def causes(dyes: DyeSet, amounts: Array, light: Light, dosing: Array | None = None) -> Causes:
    """Covariance of the pots of amounts ``(N, D)`` under `light`, by cause.

    `dosing` ``(N, D)`` is the standard error of each amount in % owf, where the kit is known; by
    default the usual share of the amount.
    """
    scatter = dyes.scatter
    sd = scatter.dosing * amounts if dosing is None else dosing
    mixed = (amounts > 0).sum(axis=1)[:, np.newaxis, np.newaxis] > 1
    labs, slope = dyes.blends(np.tile(np.arange(len(dyes)), (len(amounts), 1))).lab_and_slope(
        amounts, light
    )

    def squared(part: Array) -> Array:
        return np.asarray(part @ part.transpose(0, 2, 1))

    in_a_mix = squared(slope * (scatter.mixing * amounts)[:, np.newaxis, :])
    rest = _in_lab(labs, scatter.model**2 * np.eye(3))
    return Causes(
        fit=fit_covariance(dyes, amounts, light),
        dosing=squared(slope * sd[:, np.newaxis, :]),
        pot=squared(scatter.pot * (slope @ amounts[:, :, np.newaxis])),
        reading=_in_lab(labs, scatter.reading),
        model=np.where(mixed, in_a_mix + rest, 0.0),
    )


def lab_covariance(
    dyes: DyeSet, amounts: Array, light: Light, dosing: Array | None = None
) -> Array:
    """CIELAB covariance ``(N, 3, 3)`` of the pots of amounts ``(N, D)``, all `causes` together."""
    return causes(dyes, amounts, light, dosing).total


def _metric(labs: Array) -> Array:
    """Slope ``(N, 3, 3)`` of the three parts of ΔE2000 by CIELAB, for small steps from `labs`."""
    _, slope = delta_e_residual(labs, labs + 1e-6)  # at the very same colour the hue has no slope
    return slope


def _in_lab(labs: Array, covariance: Array) -> Array:
    """CIELAB covariance ``(N, 3, 3)`` at `labs` of a covariance ``(3, 3)`` of ΔE2000's parts."""
    inverse = np.linalg.inv(_metric(labs))
    return np.asarray(inverse @ covariance @ inverse.transpose(0, 2, 1))


def fit_covariance(dyes: DyeSet, amounts: Array, light: Light) -> Array:
    """The part of `lab_covariance` that the fit itself leaves open, from its draws."""
    if dyes.draws is None:
        return np.zeros((len(amounts), 3, 3))
    g = working_amounts(
        amounts, dyes.draws.exponent[:, np.newaxis], dyes.draws.capacity[:, np.newaxis],
        dyes.competition,
    )  # fmt: skip
    cloth = dyes.surface.k_over_s(dyes.cloth)
    labs = lab(dyes.surface.reflectance(cloth + g @ dyes.draws.curves), light)
    apart = labs - labs.mean(axis=0)
    return np.asarray(np.einsum("eni,enj->nij", apart, apart) / (len(labs) - 1))


@dataclass(frozen=True, eq=False)
class Weighed:
    """What the swatches say about scatter and competition.

    `dyes` carries both; `left_out` ``(M,)`` is the ΔE2000 of each mixture in `mixtures`, predicted
    with a competition fitted without it.
    """

    dyes: DyeSet
    mixtures: tuple[Swatch, ...]
    left_out: Array


def weigh(dyes: DyeSet, swatches: SwatchSet) -> Weighed:
    """Estimate competition and every scatter from the swatches, each under its prior."""
    dosing, pot, note = _dosing_and_pot(*strength_scatter(dyes, swatches))
    notes = [note]
    reading = _reading_scatter(dyes, swatches, notes)
    known = replace(dyes, scatter=Scatter(dosing, pot, reading))
    mixtures = tuple(s for s in swatches.mixtures if all(dye in dyes.names for dye in s.recipe))
    if not mixtures:
        notes.append("no mixtures: the model's own error in a mix is assumed")
        return Weighed(
            replace(dyes, scatter=Scatter(dosing, pot, reading, notes=tuple(notes))),
            (),
            np.empty(0),
        )
    amounts = np.array([dyes.amounts(s.recipe) for s in mixtures])
    measured = np.array([s.colour(dyes.light) for s in mixtures])
    competition, left_out = _competition(known, amounts, measured)
    settled = replace(known, competition=competition)
    pot, mixing, model = _model_scatter(settled, amounts, measured - left_out)
    many = f"{len(mixtures)} mixtures" if len(mixtures) > 1 else "one mixture"
    notes.append(f"error of the model in a mix: from {many} left out in turn")
    return Weighed(
        replace(settled, scatter=Scatter(dosing, pot, reading, mixing, model, notes=tuple(notes))),
        mixtures,
        delta_e(measured, left_out),
    )


def strength_scatter(dyes: DyeSet, swatches: SwatchSet) -> tuple[float, str]:
    """Standard error of ln(strength) from one bath of a recipe to another, and where it is from.

    Each square of one dye came out stronger or weaker than predicted: its CIELAB miss along the
    way the colour takes with depth. Squares dyed again count in full; how far single squares lie
    from their law counts at a third, since it holds the law's own misfit too.
    """
    squares = freedom = ladder_squares = ladder_freedom = 0.0
    for i, name in enumerate(dyes.names):
        ladder = swatches.ladder(name)
        depths = np.array([s.recipe[name] for s in ladder])
        measured = np.array([s.colour(dyes.light) for s in ladder])
        labs, slope = dyes.blends(np.full((len(ladder), 1), i)).lab_and_slope(
            depths[:, np.newaxis], dyes.light
        )
        residual, metric = delta_e_residual(labs, measured)
        way = np.einsum("nij,nj->ni", metric, slope[:, :, 0] * depths[:, np.newaxis])
        size = np.einsum("ni,ni->n", way, way)
        seen = size > _SEEN**2
        if not seen.any():
            continue
        depths = depths[seen]
        logs = np.einsum("ni,ni->n", residual, way)[seen] / size[seen]
        straight = np.abs(logs) <= max(_STRAY * 1.4826 * float(np.median(np.abs(logs))), _AMISS)
        means = []
        for depth in np.unique(depths):
            same = logs[(depths == depth) & straight]
            if len(same):
                means.append(same.mean())
                squares += float(((same - same.mean()) ** 2).sum())
                freedom += len(same) - 1
        bent = np.isfinite(dyes.capacity[i]) or dyes.exponent[i] != 1.0
        ladder_squares += float(np.square(means).sum())
        ladder_freedom += max(len(means) - (2 if bent else 1), 0)
    prior = PRIOR_DOSING**2 + PRIOR_POT**2
    total = (PRIOR_WORTH * prior + squares + ladder_squares / 3.0) / (
        PRIOR_WORTH + freedom + ladder_freedom / 3.0
    )
    origin = f"{freedom:.0f} squares dyed again and {ladder_freedom:.0f} on their ladders"
    return float(np.sqrt(total)), origin


def _dosing_and_pot(strength: float, origin: str) -> tuple[float, float, str]:
    """Split the scatter of single squares: the stated dosing error is taken off, the pot is left.

    A dosing error can be no more than most of the whole, however it was stated.
    """
    dosing = min(PRIOR_DOSING, float(np.sqrt(0.7)) * strength)
    pot = float(np.sqrt(strength**2 - dosing**2))
    note = (
        f"dosing {100 * dosing:.1f} % a dye (assumed), pot {100 * pot:.1f} % common to its dyes: "
        f"from {origin}"
    )
    return dosing, pot, note


def _reading_scatter(dyes: DyeSet, swatches: SwatchSet, notes: list[str]) -> Array:
    """`Scatter.reading` ``(3, 3)``: stated by the reader, or from repeats.

    Taken in the parts of ΔE2000 colour by colour: a mean over CIELAB would be ruled by the a* and
    b* of the most colourful squares, and be far too much for a grey.
    """
    stated = [r for r in swatches.readings if r.covariance is not None]
    if stated:
        notes.append(f"reading: as stated with {len(stated)} readings")
        metric = _metric(np.array([r.colour(r.light or dyes.light) for r in stated]))
        covariance = np.array([r.covariance for r in stated])
        return _OF_A_POT * np.asarray(
            (metric @ covariance @ metric.transpose(0, 2, 1)).mean(axis=0)
        )
    apart = [np.empty((0, 3))]
    freedom = 0
    for swatch in swatches.swatches:
        if len(swatch.readings) > 1:
            labs = np.array([r.colour(dyes.light) for r in swatch.readings])
            mean = labs.mean(axis=0)
            apart.append((labs - mean) @ _metric(mean[np.newaxis])[0].T)
            freedom += len(labs) - 1
    rows = np.concatenate(apart)
    prior = np.eye(3) * PRIOR_READING**2
    notes.append(
        f"reading: from {freedom} readings repeated"
        if freedom
        else "reading: assumed, none repeated"
    )
    return np.asarray((PRIOR_WORTH * prior + rows.T @ rows) / (PRIOR_WORTH + freedom))


def _competition(dyes: DyeSet, amounts: Array, measured: Array) -> tuple[float, Array]:
    """κ, and the CIELAB ``(M, 3)`` of each mixture predicted with a κ fitted without it."""
    weight = np.linalg.inv(lab_covariance(dyes, amounts, dyes.light))
    labs = np.array(
        [replace(dyes, competition=float(k)).predict_many(amounts) for k in _COMPETITIONS]
    )
    apart = measured - labs
    cost = np.einsum("kmi,mij,kmj->km", apart, weight, apart)
    prior = (_COMPETITIONS / _PRIOR_COMPETITION) ** 2
    best = float(_COMPETITIONS[np.argmin(cost.sum(axis=1) + prior)])
    without = np.argmin(cost.sum(axis=1, keepdims=True) - cost + prior[:, np.newaxis], axis=0)
    return best, labs[without, np.arange(len(amounts))]


def _model_scatter(dyes: DyeSet, amounts: Array, error: Array) -> tuple[float, float, float]:
    """`Scatter.pot`, `Scatter.mixing` and `Scatter.model`: posterior means on a grid.

    ``error ~ N(0, known + pot² (Jc)(Jc)ᵀ + mixing² Σ cᵢ² JᵢJᵢᵀ + model² U)``: variances cannot
    fall below zero, and what dosing, reading and fit already explain is not counted again. The
    mixtures also speak on the pot, since each is one. Means of the variances, not their likeliest
    values, which lie below.
    """
    bare = replace(dyes, scatter=replace(dyes.scatter, pot=0.0, mixing=0.0, model=0.0))
    known = lab_covariance(bare, amounts, dyes.light)
    labs, slope = dyes.blends(np.tile(np.arange(len(dyes)), (len(amounts), 1))).lab_and_slope(
        amounts, dyes.light
    )
    scaled = slope * amounts[:, np.newaxis, :]
    as_dye = scaled @ scaled.transpose(0, 2, 1)
    whole = scaled.sum(axis=2, keepdims=True)
    as_pot = whole @ whole.transpose(0, 2, 1)
    unit = _in_lab(labs, np.eye(3))
    # Half of what is assumed without mixtures stands for competition, which is fitted by now.
    priors = (dyes.scatter.pot, PRIOR_MIXING / 2.0, PRIOR_MODEL / 2.0)
    steps = np.geomspace(0.2, 6.0, 13)
    pots, mixings, models = (x.ravel() for x in np.meshgrid(*[p * steps for p in priors]))
    cost = np.empty(len(pots))
    for i in range(len(pots)):
        total = known + pots[i] ** 2 * as_pot + mixings[i] ** 2 * as_dye + models[i] ** 2 * unit
        cost[i] = (
            np.einsum("mi,mij,mj->", error, np.linalg.inv(total), error)
            + np.linalg.slogdet(total)[1].sum()
        )
    # Scaled inverse chi-square priors, each worth PRIOR_WORTH observations.
    for values, prior in zip((pots, mixings, models), priors, strict=True):
        cost += PRIOR_WORTH * ((prior / values) ** 2 + 2.0 * np.log(values / prior))
    weight = np.exp(-0.5 * (cost - cost.min()))
    pot, mixing, model = (
        float(np.sqrt(np.average(values**2, weights=weight))) for values in (pots, mixings, models)
    )
    return pot, mixing, model
