"""Ladders of spectra: the curve and depth law of every dye, by weighted least squares.

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

from dyemix.arrays import Array
from dyemix.colour.colorimetry import WAVELENGTHS
from dyemix.dataset.swatches import Swatch
from dyemix.model.kubelka_munk import Surface, depth_law, depth_law_by_law

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
        most = max(part.modes.shape[1] for _, part in parts)
        same = [
            np.pad(part.modes, ((0, 0), (0, most - part.modes.shape[1]), (0, 0)))
            for _, part in parts
        ]

        def all_of(name: str) -> Array:
            return np.concatenate([getattr(part, name) for _, part in parts])[order]

        return cls(all_of("curves"), all_of("law"), np.concatenate(same)[order], all_of("cost"))


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
