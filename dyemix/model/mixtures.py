"""The forward model on arrays: what many blends look like, and how that changes with each amount.

``k_mix(λ) = k_cloth(λ) + Σᵢ gᵢ aᵢ(λ) (1 + mᵢ tᵢ(λ))``: single-constant Kubelka–Munk, the dye
absorbing and the cloth scattering (Kubelka & Munk 1931). A dye in company does not work quite as it
does alone:

    gᵢ = law(cᵢ) · exp(mᵢ eᵢ) · (1 + T)^κ / (1 + cᵢ)^κᵢ,    κ = Σⱼ κⱼ cⱼ / T,    T = Σⱼ cⱼ,

where mᵢ = oᵢ / (oᵢ + w cᵢ), with oᵢ the depth (% owf) of the other dyes together. eᵢ, the dye's
`company`, is how much stronger it is in mixes than its own squares say; κᵢ, its `interaction`, is
what it does to itself and all others, where it fills the fibre or its sites: of that the law, from
squares of the dye by itself, holds its own part. tᵢ is how a curve changes beside others. All are 0
until mixes were read (`dyemix.fitting.calibration`). The share mᵢ lets a mix go over into a dye by
itself without a jump: 0 alone, and near 1 as soon as the others are not few (w = `HALF_COMPANY`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import Light, lab_from_xyz, lab_slope, weights
from dyemix.model.kubelka_munk import Surface, depth_law, depth_law_by_law, depth_law_slope

#: Others of this share of a dye's own depth give it half of its company. On simulated worlds 0.05
#: and 0.25 predict alike; the wider one bends a solver's path less.
HALF_COMPANY = 0.25
#: Company changes a curve everywhere by so much of its highest point at least.
COMPANY_FLOOR = 0.05


def company_share(c: Array) -> tuple[Array, Array]:
    """How far each dye of amounts `c` ``(N, k)`` is in company, m ``(N, k)``; and the others' o."""
    others = c.sum(axis=-1, keepdims=True) - c
    whole = others + HALF_COMPANY * c
    return np.divide(others, whole, out=np.zeros_like(c), where=whole > 0.0), others


def filled_by(c: Array) -> Array:
    """Each dye's part of ln(1 + T) ``(N, D)`` in amounts `c` ``(N, D)``: how full they are."""
    total = c.sum(axis=-1, keepdims=True)
    parts = c * np.divide(np.log1p(total), total, out=np.ones_like(total), where=total > 0.0)
    return np.asarray(parts)


def in_company(curves: Array) -> Array:
    """What of curves ``(D, B)`` company changes by a share: where a dye absorbs nothing, others
    can still make it do so, or take away what hid it."""
    return np.asarray(curves + COMPANY_FLOOR * curves.max(axis=1, keepdims=True))


@dataclass(frozen=True, eq=False)
class Strengths:
    """What the unknowns of a calibration do to N colours under one light.

    `lab` ``(N, 3)``; `by_band` ``(N, 3, B)`` its slope by K/S; `g` ``(N, D)`` how much of each dye
    works; `by_strength` ``(N, 3, D)`` slope by its logarithm; `by_law` ``(N, D, 2)`` d ln g by
    exponent and bend; `by_dose` ``(N, D)`` d ln g / d ln c of the depth law; `share` and `others`
    as `company_share`.
    """

    lab: Array
    by_band: Array
    g: Array
    by_strength: Array
    by_law: Array
    by_dose: Array
    share: Array
    others: Array


@dataclass(frozen=True, eq=False)
class Blends:
    """What any blend of D dyes looks like.

    Attributes
    ----------
    curves : ``(D, B)`` absorption per unit of g.
    law : ``(D, 2)``, exponent and bend of the depth law.
    company : ``(D,)`` log strength in company.
    cloth : ``(B,)`` K/S of the undyed cloth.
    surface : the surface term.
    interaction : ``(D,)`` κ, what each dye does to the others.
    company_curve : ``(D, B)`` absorption per unit of g that company adds; None for nothing.
    """

    curves: Array
    law: Array
    company: Array
    cloth: Array
    surface: Surface
    interaction: Array
    company_curve: Array | None = None

    def grown(self, c: Array) -> Array:
        """How much stronger each dye of `c` ``(N, D)`` is than alone, ln ``(N, D)``."""
        acts = (filled_by(c) @ self.interaction)[..., np.newaxis]
        return np.asarray(
            company_share(c)[0] * self.company + acts - self.interaction * np.log1p(c)
        )

    def working(self, c: Array) -> Array:
        """How much of each dye works, g ``(N, D)``, for amounts `c` ``(N, D)`` in % owf."""
        return np.asarray(depth_law(c, self.law) * np.exp(self.grown(c)))

    def absorption(self, c: Array, g: Array) -> Array:
        """K/S ``(N, B)`` of amounts `c` ``(N, D)`` that work as g ``(N, D)``."""
        k = self.cloth + g @ self.curves
        if self.company_curve is not None:
            k = k + (g * company_share(c)[0]) @ self.company_curve
        return np.asarray(k)

    def reflectance(self, amounts: Array) -> Array:
        """Reflectance ``(N, B)`` of amounts ``(N, D)`` in % owf."""
        return self.surface.reflectance(self.absorption(amounts, self.working(amounts)))

    def strengths(self, amounts: Array, light: Light) -> Strengths:
        """What each unknown of the dyes does to the colours of amounts ``(N, D)``."""
        g, w = self.working(amounts), weights(light)
        r, dr = self.surface.reflectance_and_slope(self.absorption(amounts, g))
        xyz = r @ w
        by_band = (lab_slope(xyz, light) @ w.T) * dr[:, np.newaxis, :]
        alone = depth_law(amounts, self.law)
        dose = amounts * depth_law_slope(amounts, self.law)
        share, others = company_share(amounts)
        by_strength = (by_band @ self.curves.T) * g[:, np.newaxis, :]
        if self.company_curve is not None:
            pull = by_band @ self.company_curve.T
            by_strength = by_strength + pull * (g * share)[:, np.newaxis, :]
        return Strengths(
            lab_from_xyz(xyz, light), by_band, g, by_strength,
            depth_law_by_law(amounts, self.law),
            np.divide(dose, alone, out=np.ones_like(dose), where=alone > 0.0),
            share, others,
        )  # fmt: skip
