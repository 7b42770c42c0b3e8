"""What trials may still move: strength of each dye, depth of the cloth, and competition.

Parameters of D dyes in one vector θ ``(P,)``, P = D + 2: log strength of each dye, log of the K/S
of the undyed cloth, and competition κ above that of the set. Their prior is what the swatches left
open: 0, with the standard errors of `prior_sd`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import Light
from dyemix.errors import DyemixError
from dyemix.model.dyes import Draws, DyeSet
from dyemix.model.mixtures import working_amounts

#: Standard errors of the depth of the cloth (a share) and of κ (per % owf) once swatches are read.
#: Working values of ours: undyed squares differ by a few per cent of K/S, and half a dozen mixtures
#: tell κ to about 0.01. On simulated workshops 0.02 for κ gave worse pots after three trials.
PRIOR_CLOTH, PRIOR_COMPETITION = 0.02, 0.01
#: Share (of variance) of the error in a mix that a dye takes with it from mix to mix; the rest
#: belongs to the one recipe, and no trial of another tells it. Nothing measured: an even split.
LASTING = 0.5
#: The least standard error of a pot's strength that is believed, as a share.
LEAST_POT = 0.01
_STEP = 1e-4


def with_dosing(dyes: DyeSet, dosing: float | None) -> DyeSet:
    """The dyes with the scatter of single squares split into dosing and pot for repeats of a mix.

    Squares of one dye show both together, and only in a mix do they differ. `dosing`, a share, is
    taken off where the dyer knows how well she measures; else each gets half of the variance.
    Measured on simulated workshops: to hold on to an assumed 3 % makes corrections too bold where
    it is 5 %. Raises `DyemixError` for a share that is not between 0 and 1.
    """
    scatter = dyes.scatter
    both = float(np.hypot(scatter.dosing, scatter.pot))
    if dosing is None:
        half = both * float(np.sqrt(0.5))
        return replace(dyes, scatter=replace(scatter, dosing=half, pot=half))
    if not 0.0 <= dosing < 1.0:
        raise DyemixError(f"dosing {dosing:g} is not a share: 3 % is 0.03.")
    # However she measures, pots of hand-dyed cloth differ by more than nothing.
    pot = max(float(np.sqrt(max(both**2 - dosing**2, 0.0))), LEAST_POT)
    return replace(dyes, scatter=replace(scatter, dosing=dosing, pot=pot))


def lasting_sd(dyes: DyeSet) -> float:
    """Standard error of a dye's strength in mixes, beyond its own squares, as a share."""
    return float(dyes.scatter.mixing * np.sqrt(LASTING))


def prior_sd(dyes: DyeSet) -> Array:
    """Standard errors ``(P,)`` of θ before any trial: fit and lasting error in mixes together."""
    from_fit = np.zeros(len(dyes))
    if dyes.draws is not None:
        from_fit = strengths_of_draws(dyes, dyes.draws).std(axis=0, ddof=1)
    return np.array(
        [*np.hypot(from_fit, lasting_sd(dyes)), PRIOR_CLOTH, PRIOR_COMPETITION], dtype=float
    )


def strengths_of_draws(dyes: DyeSet, draws: Draws) -> Array:
    """Strength ``(E, D)`` of each draw beside the fit, at the middle of each dye's ladder."""
    middle = np.sqrt(dyes.palest * dyes.deepest)
    g = working_amounts(middle, dyes.exponent, dyes.capacity, 0.0)
    g_drawn = working_amounts(middle, draws.exponent, draws.capacity, 0.0)
    along = (draws.curves * dyes.curves).sum(axis=2) / (dyes.curves**2).sum(axis=1)
    return np.asarray(along * g_drawn / g)


def moved(dyes: DyeSet, theta: Array) -> DyeSet:
    """The dyes with θ ``(P,)`` applied: curves and their draws, cloth and competition."""
    strength = np.exp(theta[:-2])[:, np.newaxis]
    k = dyes.surface.k_over_s(dyes.cloth) * np.exp(theta[-2])
    draws = dyes.draws and replace(dyes.draws, curves=dyes.draws.curves * strength)
    return replace(
        dyes,
        curves=dyes.curves * strength,
        cloth=dyes.surface.reflectance(k),
        competition=max(dyes.competition + float(theta[-1]), 0.0),
        draws=draws,
    )


def lab_by_theta(dyes: DyeSet, theta: Array, amounts: Array, light: Light) -> tuple[Array, Array]:
    """CIELAB ``(T, 3)`` of amounts ``(T, D)`` and its slope ``(T, 3, P)``, by central differences.

    Second-order differences at this step are good to far below what a reading can tell.
    """
    base = replace(dyes, draws=None)
    values = moved(base, theta).predict_many(amounts, light)
    slope = np.empty((*values.shape, len(theta)))
    for p, step in enumerate(np.eye(len(theta)) * _STEP):
        ahead = moved(base, theta + step).predict_many(amounts, light)
        behind = moved(base, theta - step).predict_many(amounts, light)
        slope[:, :, p] = (ahead - behind) / (2.0 * _STEP)
    return values, slope
