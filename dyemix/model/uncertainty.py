"""The likely miss in the pot: covariance of a prediction by cause, and the ΔE2000 it leads to.

``Cov = H Σθ Hᵀ + own + J diag(sd²) Jᵀ + σ_pot² (J c)(J c)ᵀ + Σ_reading``, with θ the unknowns of
`dyemix.model.unknowns`, H the slope of CIELAB by them, and J that by the amounts c.
"""

from dataclasses import field, replace
from functools import lru_cache
from math import prod
from typing import Annotated, NamedTuple, Self

import numpy as np

from dyemix.arrays import Array, Indices
from dyemix.colour.ciede2000 import delta_e, delta_e_residual, metric
from dyemix.colour.colorimetry import Light, lab, lab_slope, weights
from dyemix.dataset.result import Value
from dyemix.model.kubelka_munk import depth_law_and_slope, depth_law_by_law, saturation
from dyemix.model.mixtures import FLOOR, Blends, by_shift, company_share, fullness, in_company
from dyemix.model.unknowns import OWN_SHARE, Modes, Posterior

#: Standard error of ln(strength) from one bath of a recipe to the next before any is dyed again,
#: of one reading (ΔE2000), and of what a second bath gives; and how many observations each is
#: worth. Working values of ours, wider than a balance: common practice for small baths by hand. No
#: square tells of a second bath before one was dyed, so that it starts wide.
PRIOR_STRENGTH, PRIOR_READING, PRIOR_SECOND_BATH = 0.05, 0.15, 0.2
PRIOR_WORTH = 4.0
#: The same of one spot of cloth dyed in low water, which is mottled, about the mean of its piece: a
#: working value of ours until readings of own squares in several places have measured it.
PRIOR_MOTTLE = 1.0
_HALF = float(PRIOR_STRENGTH * np.sqrt(0.5))
#: Draws of the distribution of ΔE2000 for one recipe.
_DRAWS = 512
#: The root of x⁵ = x + 1, for points in four dimensions.
_GOLDEN = 1.1673039782614187
#: Recipes whose pots are drawn at once: few enough for the processor's cache.
_AT_ONCE = 16


# Scatter ----------------------------------------------------------------------------------------


class Scatter(Value):
    """The causes of a difference between two pots of one recipe.

    Attributes
    ----------
    dosing : standard error of one dye's amount, as a share of it.
    pot : standard error of the strength of a pot, common to its dyes, as a share.
    reading : ``(3, 3)`` covariance of one reading in the three parts of ΔE2000 (lightness,
        chroma, hue), under the light of the set; what that is in CIELAB depends on the colour.
    second_bath : what a second bath gives more or less of its dyes than the same bath on white
        cloth, as a share common to them: sites are taken, but nobody has measured how many.
    warnings : which of these were measured, from how many swatches, and which are assumed.
    """

    dosing: float = _HALF
    pot: float = _HALF
    reading: Annotated[Array, 3, 3] = field(default_factory=lambda: np.eye(3) * PRIOR_READING**2)
    second_bath: float = PRIOR_SECOND_BATH
    warnings: tuple[str, ...] = ("every scatter is assumed: no swatch was dyed or read again",)

    def mottled(self) -> Self:
        """That of level squares, for one spot of cloth dyed in low water."""
        return replace(self, reading=self.reading + np.eye(3) * PRIOR_MOTTLE**2)

    def over_piece(self) -> Self:
        """That over a piece, which was read with an error of its own."""
        return replace(self, reading=2.0 * self.reading)

    def second(self) -> Self:
        """That of second baths: over a piece, and by `second_bath` more from pot to pot."""
        return replace(self.over_piece(), pot=float(np.hypot(self.pot, self.second_bath)))

    @property
    def strength(self) -> float:
        """Standard error of ln(strength) from bath to bath, dosing and pot together."""
        return float(np.hypot(self.dosing, self.pot))

    @property
    def reading_variance(self) -> float:
        """Variance of one reading in a part of ΔE2000, mean over the three."""
        return float(np.trace(self.reading)) / 3.0


# The unknowns -----------------------------------------------------------------------------------


@lru_cache(maxsize=4)
def _opened(blends: Blends, modes: Modes) -> tuple[Array, Array, Array, Array]:
    """What unknowns change of D dyes, the K of surface and pictures first, which add up over them.

    Curves ``(D, K + Q, B)``; what company adds, bands that move last, ``(D, K + Q + 1, B)``; laws
    ``(D, K + Q, 2)``; and K/S of the cloth by r0 and k2, ``(B, 2)``.
    """
    whole = np.maximum(in_company(blends.curves), 1e-12)
    curves, laws = np.split(np.append(modes.shared, modes.own, axis=1), [-2], axis=2)
    changed = blends.curves[:, np.newaxis] * curves
    peaks = changed[np.arange(len(changed)), :, blends.curves.argmax(axis=1), np.newaxis]
    added = (changed + FLOOR * peaks) * (blends.company_curve / whole)[:, np.newaxis]
    moving = (whole + blends.company_curve) * by_shift(blends.curves)
    cloth = blends.surface.k_over_s_slope(blends.surface.reflectance(blends.cloth))
    return changed, np.concatenate([added, moving[:, np.newaxis]], axis=1), laws, cloth


class Strengths(NamedTuple):
    """N colours under one light, and what the strengths of dyes do to them.

    `reflectance` ``(N, B)``; `lab` ``(N, 3)``; `by_strength` ``(N, 3, D)`` its slope by ln g;
    `by_dose` ``(N, D)`` d ln g / d ln c of the depth law; `share` as `company_share`.
    """

    reflectance: Array
    lab: Array
    by_strength: Array
    by_dose: Array
    share: Array


def effects(blends: Blends, amounts: Array, light: Light, modes: Modes) -> tuple[Strengths, Array]:
    """Colours of amounts ``(N, D)``, and their slope ``(N, 3, P)`` by θ."""
    g, w, share = blends.working(amounts), weights(light), company_share(amounts)
    r, dr = blends.surface.reflectance_and_slope(blends.absorption(amounts, g))
    by_band = (lab_slope(r @ w, light) @ w.T) * dr[:, np.newaxis, :]  # by K/S
    by_strength = (by_band @ blends.curves.T) * g[:, np.newaxis, :]
    by_strength += (by_band @ blends.company_curve.T) * (g * share)[:, np.newaxis, :]
    alone, slope = depth_law_and_slope(amounts, blends.law)
    by_dose = np.divide(amounts * slope, alone, out=np.ones_like(slope), where=alone > 0.0)
    pull = by_strength * share[:, np.newaxis, :]
    full = amounts * fullness(amounts.sum(axis=1, keepdims=True))
    by_acting = by_strength.sum(axis=2, keepdims=True) * full[:, np.newaxis, :]
    by_acting -= by_strength * np.log1p(amounts)[:, np.newaxis, :]

    def through(working: Array, changes: Array) -> Array:
        """Slope ``(N, 3, D, Q)`` by changes ``(D, Q, B)`` of the curves of what works so much."""
        slope = np.tensordot(by_band, changes, (2, 2))
        return np.asarray(slope * working[:, np.newaxis, :, np.newaxis])

    changed, added, laws, cloth = _opened(blends, modes)
    by_law = np.einsum("ndl,dql->ndq", depth_law_by_law(amounts, blends.law), laws)
    in_mixes = through(g * share, added)
    modal = by_strength[..., np.newaxis] * by_law[:, np.newaxis]
    modal = modal + through(g, changed) + in_mixes[..., :-1]
    # Reflectance at the same K/S moves as if K/S moved the other way, and the cloth stays as read.
    moved = (cloth - blends.surface.k_over_s_slope(r)) * modes.surface
    shared = modes.shared.shape[1]
    by_shared = modal[..., :shared].sum(axis=2)
    by_shared[..., :2] += by_band @ moved
    common = [pull.sum(axis=2), by_acting.sum(axis=2), by_acting @ saturation(blends.law)]
    columns = [pull, *common, by_shared, modal[..., shared:], in_mixes[..., -1], by_acting]
    # Not -1, which no blends at all leave open.
    flat = [x.reshape(*x.shape[:2], prod(x.shape[2:])) for x in columns]
    seen = Strengths(r, lab(r, light), by_strength, by_dose, share)
    return seen, np.concatenate(flat, axis=2)


# Covariances by cause ---------------------------------------------------------------------------


class Causes(Value):
    """CIELAB covariance ``(N, 3, 3)`` of N pots, by cause; they add up to `total`.

    `fit` is what the ladders leave open, `model` what a mix does beyond its dyes: lasting and its
    own. The rest differs from pot to pot.
    """

    fit: Array
    model: Array
    dosing: Array
    pot: Array
    reading: Array

    @property
    def random(self) -> Array:
        """What differs between two pots of one recipe; the rest comes back with the next."""
        return self.dosing + self.pot + self.reading

    @property
    def total(self) -> Array:
        return self.fit + self.model + self.random

    def rows(self, rows: Indices | int) -> Self:
        """Those of some of the pots."""
        return type(self)(*(part[rows] for part in vars(self).values()))


def propagated(slopes: Array, covariance: Array) -> Array:
    """Covariance ``(N, 3, 3)`` of CIELAB with slopes ``(N, 3, P)`` by unknowns of ``(P, P)``."""
    n, m, p = slopes.shape
    through = slopes.reshape(n * m, p) @ covariance  # one product: N small ones take thrice as long
    return np.asarray(through.reshape(n, m, p) @ slopes.transpose(0, 2, 1))


def _squared(part: Array) -> Array:
    return np.asarray(part @ part.transpose(0, 2, 1))


def pot_to_pot(
    seen: Strengths, amounts: Array, scatter: Scatter, dosing: Array | None = None
) -> tuple[Array, Array]:
    """CIELAB covariance ``(N, 3, 3)`` by dosing and by pot; `dosing` as in `causes`."""
    by_dose = seen.by_strength * seen.by_dose[:, np.newaxis, :]
    sd = scatter.dosing * amounts if dosing is None else dosing
    share = np.divide(sd, amounts, out=np.zeros_like(amounts), where=amounts > 0.0)
    whole = by_dose.sum(axis=2, keepdims=True)
    return _squared(by_dose * share[:, np.newaxis, :]), _squared(scatter.pot * whole)


def causes(
    seen: Strengths, slopes: Array, amounts: Array, modes: Modes, known: Posterior,
    scatter: Scatter, dosing: Array | None = None,
) -> Causes:  # fmt: skip
    """The covariance of the pots of amounts ``(N, D)``, by cause, from their `effects`.

    `dosing` ``(N, D)`` is the standard error of each amount in % owf, where the kit is known; by
    default the usual share of the amount.
    """
    ladders = modes.of_ladders
    fit = propagated(slopes[..., ladders], known.covariance[ladders, ladders])
    taught = propagated(slopes, known.covariance)
    pull = seen.by_strength * (OWN_SHARE * known.strength * seen.share)[:, np.newaxis, :]
    mixed = ((amounts > 0.0).sum(axis=1) > 1).astype(float)
    rest = mixed * known.rest**2 + (1.0 - mixed) * known.alone**2
    inverse = np.linalg.inv(metric(seen.lab))
    in_lab = inverse @ inverse.transpose(0, 2, 1)
    reading = inverse @ scatter.reading @ inverse.transpose(0, 2, 1)
    by_dosing, by_pot = pot_to_pot(seen, amounts, scatter, dosing)
    model = taught - fit + _squared(pull) + rest[:, np.newaxis, np.newaxis] * in_lab
    wider = ((known.widening - 1.0) * mixed)[:, np.newaxis, np.newaxis]
    model = model + wider * (fit + model + by_dosing + by_pot + reading)
    return Causes(fit, model, by_dosing, by_pot, reading)


# The miss ---------------------------------------------------------------------------------------


class Likely(NamedTuple):
    """The distribution of ΔE2000 between target and pot, for N recipes: arrays ``(N,)``.

    `mean`, `median`, `bound` (nine pots in ten stay below), and the chances of a `sound` (≤ 3)
    and an `excellent` (≤ 1.5) match (common practice for hand-dyed goods).
    """

    mean: Array
    median: Array
    bound: Array
    sound: Array
    excellent: Array


@lru_cache(maxsize=64)
def _draws(tenths: int) -> Array:
    """Draws ``(_DRAWS, 3)`` of Student's t, the same each time: mean 0, covariance 1 exactly.

    `tenths` is ten times the degrees of freedom. Points of an additive recurrence, which lie
    evenly (Roberts' generalised golden ratio): quantiles of so few independent draws would be 6 %
    off. Chi-square by Wilson & Hilferty's cube (Proc. Natl. Acad. Sci. 17 (1931) 684). No mirror
    images, since ±x miss a target in the middle by the same.
    """
    from statistics import NormalDist  # scipy.special takes longer to import than a match does

    steps = np.outer(np.arange(1, _DRAWS + 1), _GOLDEN ** -np.arange(1.0, 5.0))
    points = np.vectorize(NormalDist().inv_cdf)((0.5 + steps) % 1.0)
    freedom = tenths / 10.0
    spread = 2.0 / (9.0 * freedom)
    square = np.maximum(1.0 - spread + points[:, 3:] * np.sqrt(spread), 0.05) ** 3
    drawn = points[:, :3] / np.sqrt(square)
    drawn -= drawn.mean(axis=0)
    root = np.linalg.cholesky(drawn.T @ drawn / len(drawn))
    return np.asarray(np.linalg.solve(root, drawn.T).T)


def _pots(labs: Array, covariance: Array, freedom: float) -> Array:
    """CIELAB ``(N, _DRAWS, 3)`` of pots spread around `labs` ``(N, 3)``."""
    # The floor (a thousandth of a unit) only keeps a zero covariance solvable.
    roots = np.linalg.cholesky(covariance + 1e-6 * np.eye(3))
    drawn = labs[..., np.newaxis] + roots @ _draws(round(10.0 * freedom)).T
    return np.asarray(drawn.transpose(0, 2, 1))  # each of L*, a*, b* side by side in memory


def pots(target: Array, lab: Array, covariance: Array, freedom: float, count: int) -> Array:
    """CIELAB ``(count, 3)`` of pots, each as likely as the next, those nearest to a target first.

    They stand at the middles of equal shares of the draws of `likely`, ranked by their miss: so
    many of them within a bound is the chance itself. `target`, `lab` ``(3,)``.
    """
    drawn = _pots(lab[np.newaxis], covariance[np.newaxis], freedom)[0]
    middles = (np.arange(count) + 0.5) * len(drawn) / count
    return np.asarray(drawn[np.argsort(delta_e(target, drawn))[middles.astype(int)]])


def likely(
    target: Array, labs: Array, covariance: Array, freedom: float, k_lightness: float = 1.0
) -> Likely:
    """ΔE2000 from `target` ``(3,)`` or ``(N, 3)`` of pots spread around `labs` ``(N, 3)``.

    `covariance` is ``(N, 3, 3)``; 512 pots a recipe, the same ones each time, of Student's t with
    `freedom` degrees of freedom.
    """
    aims = np.broadcast_to(target, labs.shape)[:, np.newaxis]
    miss = np.empty((len(labs), _DRAWS))
    for i in range(0, len(labs), _AT_ONCE):
        some = slice(i, i + _AT_ONCE)
        miss[some] = delta_e(aims[some], _pots(labs[some], covariance[some], freedom), k_lightness)
    miss.sort(axis=1)  # `np.quantile` takes thrice as long
    at = np.array([0.5, 0.9]) * (_DRAWS - 1)
    low = at.astype(int)
    median, bound = (miss[:, low] + (at - low) * (miss[:, low + 1] - miss[:, low])).T
    sound, excellent = ((miss <= most).mean(axis=1) for most in (3.0, 1.5))
    return Likely(miss.mean(axis=1), median, bound, sound, excellent)


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
