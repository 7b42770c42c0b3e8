"""Ladders of spectra: the curve and depth law of every dye, by weighted least squares; and squares
of single dyes beside their ladders: how far off, how strong, and how they scatter.

Under a given surface each swatch is one curve times one strength: ``k = h a(λ)``. Curve and
strengths are found in turn. Given the strengths each band of the curve is a least squares of one
unknown, its residuals weighted by ``|dR/dk|``, which makes a least squares on K/S one on
reflectance, where the errors are made (Walowit, McCarthy & Berns, Color Res. Appl. 12 (1987) 340).
Given the curve the strengths follow the depth law up to the scatter from bath to bath,
``ln h = α + ln g(c; n, q) + ε``, a regression under priors of exponent and bend: a stray bath moves
its own ε, not the curve. The posterior of α, n and q is what the ladder leaves open.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from dyemix.arrays import Array, Flags
from dyemix.colour.ciede2000 import metric
from dyemix.colour.colorimetry import WAVELENGTHS
from dyemix.dataset.conditions import mottled
from dyemix.dataset.readings import Clipped
from dyemix.dataset.result import said
from dyemix.dataset.swatches import Reading, Swatch, SwatchSet
from dyemix.model.kubelka_munk import Surface, depth_law, depth_law_by_law
from dyemix.model.scatter import PRIOR_MOTTLE, PRIOR_READING, PRIOR_STRENGTH, PRIOR_WORTH, Scatter

#: Prior of the depth law's exponent and bend: the middle and spread of what dyes on cellulose
#: show. In place of a contest of laws, which three depths cannot decide. And where it is held.
LAW, LAW_SPREAD = np.array([0.95, 0.0]), np.array([0.15, 0.05])
LAW_BOUNDS = np.array([[0.3, 1.6], [-0.15, 0.15]])
#: Standard error of a reading in one band, reflectance: a working value of ours.
READING_SD = 0.004
#: How far the dyes of later baths may stray from those of the ladder as a whole, ln(strength): a
#: new stock, another day (common practice: a few per cent).
DRIFT = 0.03
_ROUNDS = 8
_LEAST = 1e-9
#: A log strength this many times the usual one, and above this, is mislabelling, not scatter.
_STRAY, _AMISS = 4.0, 0.15


@dataclass(frozen=True, eq=False)
class Fitted:
    """D dyes under one surface term.

    Attributes
    ----------
    curves : ``(D, B)`` ln of the absorption per unit of g.
    law : ``(D, 2)`` exponent and bend.
    modes : ``(D, Q, B + 2)`` what is open of ln a and, last, the law: one standard deviation of
        each of Q independent parts.
    cost : ``(D,)`` weighted squares that are left, priors included.
    """

    curves: Array
    law: Array
    modes: Array
    cost: Array

    @classmethod
    def joined(cls, parts: Sequence[tuple[Sequence[int], Fitted]]) -> Fitted:
        """Dyes of several kinds in one order; each part with the places of its dyes."""
        order = np.argsort(np.concatenate([places for places, _ in parts]))
        curves, law, cost = (
            np.concatenate([getattr(part, name) for _, part in parts])[order]
            for name in ("curves", "law", "cost")
        )
        modes = padded([each for _, part in parts for each in part.modes], 0.0)
        return cls(curves, law, modes[order], cost)


def padded(rows: Sequence[Array], fill: float) -> Array:
    """Arrays ``(S_i, …)`` under each other, ``(D, S, …)``, short ones filled up."""
    most = max(len(row) for row in rows)
    out = np.full((len(rows), most, *rows[0].shape[1:]), fill)
    for i, row in enumerate(rows):
        out[i, : len(row)] = row
    return out


class SpectralLadders:
    """Ladders of spectra on one cloth, padded to equally many swatches.

    `depths` ``(D, S)`` % owf; `reflectance` ``(D, S, B)``; `cloth` ``(B,)``.
    """

    def __init__(self, ladders: Mapping[str, Sequence[Swatch]], cloth: Array) -> None:
        depths = [np.array([s.recipe[name] for s in some]) for name, some in ladders.items()]
        spectra = [np.array([s.reflectance for s in some]) for some in ladders.values()]
        self.depths, self.reflectance = padded(depths, 1.0), padded(spectra, 0.5)
        self.cloth = cloth

    def fit(self, surface: Surface, counts: Sequence[Array], strength: float) -> Fitted:
        """Every dye under this surface.

        `counts` says for each dye how much each swatch counts; `strength` is the standard error
        of ln(strength) from bath to bath.
        """
        counted = padded(counts, 0.0)
        there = counted > 0.0
        k = surface.k_over_s(self.reflectance) - surface.k_over_s(self.cloth)
        weight = surface.slope(surface.inside(self.reflectance)) ** 2 * counted[..., np.newaxis]
        law = np.tile(LAW, (len(k), 1))
        astray = np.zeros_like(self.depths)
        variance = strength**2
        for _ in range(_ROUNDS):
            works = depth_law(self.depths, law[:, np.newaxis])
            curves = self._curves(weight, k, works * np.exp(astray))
            bottom = np.where(there, (weight * curves[:, np.newaxis] ** 2).sum(axis=2), 1.0)
            top = (weight * k * curves[:, np.newaxis]).sum(axis=2)
            # A swatch that reads lighter than its cloth has no strength; it is kept out of the log.
            found = np.where(there, np.maximum(top / bottom, 1e-3 * works), works)
            seen = (READING_SD / found) ** 2 / bottom
            trust = np.where(there, counted / (variance + seen), 0.0)[..., np.newaxis]
            y = np.log(found / works)[..., np.newaxis]
            x = np.ones((*self.depths.shape, 3))  # level, exponent, bend
            x[..., 1:] = depth_law_by_law(self.depths, law[:, np.newaxis])
            normal = x.swapaxes(1, 2) @ (trust * x)
            normal[:, [1, 2], [1, 2]] += LAW_SPREAD**-2
            right = (x.swapaxes(1, 2) @ (trust * y))[..., 0]
            right[:, 1:] += (LAW - law) / LAW_SPREAD**2
            step = np.linalg.solve(normal, right[..., np.newaxis])
            law = np.clip(law + step[:, 1:, 0], *LAW_BOUNDS.T)
            astray = np.where(there, variance / (variance + seen) * (y - x @ step)[..., 0], 0.0)
        h = depth_law(self.depths, law[:, np.newaxis]) * np.exp(astray)
        curves = self._curves(weight, k, h)
        shape = weight * (k - h[..., np.newaxis] * curves[:, np.newaxis]) ** 2
        off = (((law - LAW) / LAW_SPREAD) ** 2).sum(axis=1)
        # A spectrum tells about as much as three numbers: its bands do not err apart.
        size = 3.0 / (len(WAVELENGTHS) * READING_SD**2)
        cost = size * shape.sum(axis=(1, 2)) + (astray**2).sum(axis=1) / variance + off
        covariance = np.linalg.inv(normal)
        covariance[:, 0, 0] += DRIFT**2
        root = np.linalg.cholesky(covariance).swapaxes(1, 2)
        level = np.repeat(root[..., :1], len(WAVELENGTHS), axis=2)
        return Fitted(np.log(curves), law, np.append(level, root[..., 1:], axis=2), cost)

    @staticmethod
    def _curves(weight: Array, k: Array, h: Array) -> Array:
        """Curves ``(D, B)`` for strengths ``(D, S)``. A dye does not brighten cloth: a bound."""
        strength = h[..., np.newaxis]
        bottom = np.maximum((weight * strength**2).sum(axis=1), 1e-300)
        return np.asarray(np.maximum((weight * strength * k).sum(axis=1) / bottom, _LEAST))


# Squares beside their ladder ------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Beside:
    """N squares beside what is predicted of them: arrays ``(N,)``.

    `lab` ``(N, 3)`` as predicted, and `delta_e` from it; `across` the square of it that no other
    strength would mend, and `expected` what the fit leaves open of that and readings stray by;
    `stronger` ln of how much stronger a square is
    than predicted; `tells` whether its colour says anything of strength.
    """

    lab: Array
    delta_e: Array
    across: Array
    expected: Array
    stronger: Array
    tells: Flags


def scatter_of(squares: Sequence[Beside], depths: Sequence[Array], swatches: SwatchSet) -> Scatter:
    """Every scatter as the squares of each dye show it, under its prior.

    Squares dyed again count in full; how far single squares lie from their law counts at a third,
    since that holds the law's own misfit too. Half of the variance is taken for dosing and half
    for the pot: squares of one dye show both together.
    """
    again = freedom = ladder = ladder_freedom = 0.0
    for here, c in zip(squares, depths, strict=True):
        logs, c = here.stronger[here.tells], c[here.tells]
        if len(logs):
            usual = 1.4826 * float(np.median(np.abs(logs)))
            straight = np.abs(logs) <= max(_STRAY * usual, _AMISS)
            logs = logs[straight]
            _, at, count = np.unique(c[straight], return_inverse=True, return_counts=True)
            means = np.bincount(at, logs) / count
            again += float(((logs - means[at]) ** 2).sum())
            freedom += len(logs) - len(means)
            ladder += float((means**2).sum())
            ladder_freedom += max(len(means) - 1.5, 0.0)  # a level, and a law under its prior
    total = (PRIOR_WORTH * PRIOR_STRENGTH**2 + again + ladder / 3.0) / (
        PRIOR_WORTH + freedom + ladder_freedom / 3.0
    )
    half = float(np.sqrt(total / 2.0))
    note = said("fit.scatter", half=100.0 * half, again=freedom, ladder=ladder_freedom)
    reading, origin = _reading(swatches)
    return Scatter(half, half, reading, warnings=(note, origin))


def _reading(swatches: SwatchSet) -> tuple[Array, str]:
    """`Scatter.reading` ``(3, 3)``, stated by the reader or from repeats, and where it is from.

    Taken in the parts of ΔE2000 colour by colour: a mean over CIELAB would be ruled by the a* and
    b* of the most colourful squares, and be far too much for a grey. Of low water it is that of one
    spot of mottled cloth, which a reader that states its own error does not know.
    """
    light, uneven = swatches.light, bool(mottled(swatches.conditions()))
    stated = [r for r in swatches.readings if r.covariance is not None]
    known = np.zeros((3, 3))
    if stated:
        by_lab = metric(np.array([r.colour(r.light or light) for r in stated]))
        covariance = np.array([r.covariance for r in stated])
        known = (by_lab @ covariance @ by_lab.transpose(0, 2, 1)).mean(axis=0)
        if not uneven:
            return known, f"reading: as stated with {len(stated)} readings"
    again = [s for s in swatches.swatches if len(s.readings) > 1]
    labs = [np.array([r.colour(light) for r in s.readings]) for s in again]
    means = np.array([each.mean(axis=0) for each in labs]).reshape(-1, 3)
    apart = [(x - m) @ by_lab.T for x, m, by_lab in zip(labs, means, metric(means), strict=True)]
    rows, freedom = np.concatenate([np.empty((0, 3)), *apart]), sum(map(len, labs)) - len(labs)
    prior = PRIOR_MOTTLE if uneven else PRIOR_READING
    total = (PRIOR_WORTH * np.eye(3) * prior**2 + rows.T @ rows) / (PRIOR_WORTH + freedom)
    origin = f"from {freedom} readings repeated" if freedom else "assumed, none repeated"
    return known + total, f"reading{' of one spot in low water' * uneven}: {origin}"


def stated(readings: Sequence[Reading]) -> Array:
    """Covariance ``(3, 3)`` that the mean of readings is stated to have; 0 where none is."""
    known = [np.zeros((3, 3)), *(r.covariance for r in readings if r.covariance is not None)]
    return np.asarray(np.sum(known, axis=0) / len(readings) ** 2)


def bound(readings: Sequence[Reading]) -> Clipped | None:
    """Where the colour of readings may lie beyond what was read."""
    return next((r.clipped for r in readings if r.clipped is not None), None)
