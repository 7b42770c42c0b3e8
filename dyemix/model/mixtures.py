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

`Blends` works on amounts of every dye; `Blending` on many blends of few of them, fast enough for a
search. There the N blends stand last in every array, so that each operation runs over all of them
at once; a blend names its k dyes by index; and one product over the bands gives the slope by every
dye of the shelf, those of the blend and all others.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from dyemix.arrays import Array, Indices
from dyemix.colour.colorimetry import (
    TO_LAB,
    Light,
    cube_root_and_slope,
    lab_from_xyz,
    lab_slope,
    weights,
)
from dyemix.model.kubelka_munk import (
    PIVOT,
    SHIFT,
    Surface,
    depth_law,
    depth_law_by_law,
    depth_law_slope,
)
from dyemix.model.least_squares import Residual

#: ``goal(lab (3, M), rows (M,)) -> (r (m, M), dr/dlab (m, 3, M))``: what a search makes small.
Goal = Callable[[Array, Indices], tuple[Array, Array]]
#: Dyes of N blends ``(k, N)``, as indices into the shelf.
Index = Indices

#: The root of K (K + 2) is held above this, as R is below 0.999: there its slope stays finite.
_LEAST_ROOT = 1e-3
#: Others of this share of a dye's own depth give it half of its company. On simulated worlds 0.05
#: and 0.25 predict alike; the wider one bends a solver's path less.
HALF_COMPANY = 0.25
#: Company changes a curve everywhere by so much of its highest point at least.
COMPANY_FLOOR = 0.05


def company_share(c: Array) -> Array:
    """How far each dye of amounts `c` ``(N, k)`` is in company, m ``(N, k)``."""
    others = c.sum(axis=-1, keepdims=True) - c
    whole = others + HALF_COMPANY * c
    return np.asarray(np.divide(others, whole, out=np.zeros_like(c), where=whole > 0.0))


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
    exponent and bend; `by_dose` ``(N, D)`` d ln g / d ln c of the depth law; `share` as
    `company_share`.
    """

    lab: Array
    by_band: Array
    g: Array
    by_strength: Array
    by_law: Array
    by_dose: Array
    share: Array


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
    company_curve : ``(D, B)`` absorption per unit of g that company adds.
    """

    curves: Array
    law: Array
    company: Array
    cloth: Array
    surface: Surface
    interaction: Array
    company_curve: Array

    @cached_property
    def plain(self) -> bool:
        """Whether a dye does in company what it does alone."""
        return not (self.company.any() or self.interaction.any() or self.company_curve.any())

    def grown(self, c: Array) -> Array:
        """How much stronger each dye of `c` ``(N, D)`` is than alone, ln ``(N, D)``."""
        acts = (filled_by(c) @ self.interaction)[..., np.newaxis]
        return np.asarray(company_share(c) * self.company + acts - self.interaction * np.log1p(c))

    def working(self, c: Array) -> Array:
        """How much of each dye works, g ``(N, D)``, for amounts `c` ``(N, D)`` in % owf."""
        alone = depth_law(c, self.law)
        return alone if self.plain else np.asarray(alone * np.exp(self.grown(c)))

    def absorption(self, c: Array, g: Array) -> Array:
        """K/S ``(N, B)`` of amounts `c` ``(N, D)`` that work as g ``(N, D)``."""
        k = self.cloth + g @ self.curves
        return np.asarray(k if self.plain else k + (g * company_share(c)) @ self.company_curve)

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
        share = company_share(amounts)
        by_strength = (by_band @ self.curves.T) * g[:, np.newaxis, :]
        by_strength += (by_band @ self.company_curve.T) * (g * share)[:, np.newaxis, :]
        by_dose = np.divide(dose, alone, out=np.ones_like(dose), where=alone > 0.0)
        return Strengths(
            lab_from_xyz(xyz, light), by_band, g, by_strength,
            depth_law_by_law(amounts, self.law), by_dose, share,
        )  # fmt: skip


# Many blends at once -----------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Works:
    """How much of each dye works, `g` ``(k, N)``, and its slopes.

    `own` ``(k, N)`` by the dye's own amount less `joint`, that by the amount of any dye (None where
    it is nothing). `share` is how far a dye is in company, and `own_share` and `joint_share` are
    its slopes in the same way. `level` ``(N,)`` is how much more (ln) all dyes work by interaction.
    By the amount of one it rises by `full` ``(N,)`` times the dye's interaction and `by_total`
    ``(N,)``: `acting` ``(k, N)``.
    """

    g: Array
    own: Array
    joint: Array | None
    share: Array | float = 0.0
    own_share: Array | float = 0.0
    joint_share: Array | float = 0.0
    acting: Array | float = 0.0
    level: Array | float = 0.0
    full: Array | float = 0.0
    by_total: Array | float = 0.0


class Blending:
    """The forward model of a shelf under one light, with what can be worked out beforehand.

    Attributes
    ----------
    blends : of D dyes.
    law : ``(2, D)`` exponent and bend.
    less : ``(D,)`` what the shifted depth law takes off.
    entering : ``(D, 1)`` slope of g where there is no dye yet: one that enters is wholly in
        company.
    curves : ``(B, D)`` absorption per unit of g; where mixes were read, beside it what company
        adds to each, ``(B, 2 D)``.
    cloth : ``(B, 1)`` K/S of the undyed cloth.
    seen : ``(3, B)`` weight of each band in XYZ over that of white, less what the surface keeps.
    by_curve : ``(3 D, B)`` or ``(6 D, B)``, the same by each of the curves.
    """

    def __init__(self, blends: Blends, light: Light) -> None:
        surface, w, curves = blends.surface, weights(light).T, blends.curves
        if blends.company_curve.any():
            curves = np.concatenate([curves, blends.company_curve])
        self.blends, self.law, self.less = blends, blends.law.T, SHIFT ** blends.law[:, 0]
        entering = depth_law_slope(np.zeros(len(blends.law)), blends.law) * np.exp(blends.company)
        self.entering = entering[:, np.newaxis]
        self.curves, self.cloth = np.ascontiguousarray(curves.T), blends.cloth[:, np.newaxis]
        self.seen = (1.0 - surface.r0) * (1.0 - surface.k2) * w / w.sum(axis=1, keepdims=True)
        self.by_curve = (self.seen[:, np.newaxis] * curves).reshape(-1, len(blends.cloth))

    def towards(self, goal: Goal, index: Index) -> Residual:
        """A goal on CIELAB as a function of amounts ``(k, M)`` of rows of `index` ``(k, N)``."""

        def residual(amounts: Array, rows: Indices) -> tuple[Array, Array]:
            here = index[:, rows]
            r, by_root, by_g, works = self._mixed(amounts, here, goal, rows)
            own, shared, _ = self._by_own(by_g, here, works)
            return r, _through(by_root, own + shared)

        return residual

    def prices(self, amounts: Array, index: Index, goal: Goal) -> tuple[Array, Array]:
        """What N blends miss, ``(m, N)``, and its slope ``(m, D, N)`` by dyes not yet in them."""
        r, by_root, by_g, works = self._mixed(amounts, index, goal, np.arange(amounts.shape[1]))
        _, shared, whole = self._by_own(by_g, index, works)
        count = len(self.less)
        by_new = by_g if by_g.shape[1] == count else by_g[:, :count] + by_g[:, count:]
        acting = self.blends.interaction[:, np.newaxis] * works.full + works.by_total
        by_new = by_new * (self.entering * np.exp(works.level))
        return r, _through(by_root, by_new + (whole * acting + shared))

    def spectra(self, amounts: Array, index: Index) -> tuple[Array, Array]:
        """Reflectance ``(B, N)`` of amounts ``(k, N)``, and its slope by them ``(B, k, N)``."""
        k, works = self._absorption(amounts, index)
        r, by_k = self.blends.surface.reflectance_and_slope(k)
        by_g = np.broadcast_to(self.curves[..., np.newaxis], (*self.curves.shape, k.shape[1]))
        own, shared, _ = self._by_own(by_g, index, works)
        return r, by_k[:, np.newaxis] * (own + shared)

    def _by_own(
        self, by_g: Array, index: Index, works: _Works
    ) -> tuple[Array, Array | float, Array | float]:
        """Slopes by amounts, from those by g ``(m, D, N)``: a dye's own part ``(m, k, N)``, what
        one more of any dye does by way of the others ``(m, 1, N)``, and by all that works."""
        count, columns = len(self.less), np.arange(index.shape[1])
        by = by_g[:, index, columns]
        joint = works.joint
        if joint is None:
            return by * works.own, 0.0, 0.0
        by_share: Array | float = 0.0
        if by_g.shape[1] > count:
            by_company = by_g[:, index + count, columns]
            by, by_share = by + works.share * by_company, works.g * by_company
        whole = (by * works.g).sum(axis=1, keepdims=True)
        shared = (by * joint + by_share * works.joint_share).sum(axis=1, keepdims=True)
        return by * works.own + by_share * works.own_share + whole * works.acting, shared, whole

    def _mixed(
        self, amounts: Array, index: Index, goal: Goal, rows: Indices
    ) -> tuple[Array, Array, Array, _Works]:
        """The residual ``(m, N)``, its slope by the cube roots of XYZ, theirs by g of every dye
        ``(3, D, N)`` (and by what works in company, ``(3, 2 D, N)``), and `_Works`.
        """
        k, works = self._absorption(amounts, index)
        root = np.sqrt(k * (k + 2.0))
        k2 = self.blends.surface.k2
        k += root + (1.0 - k2)
        v = np.divide(1.0, k, out=k)  # of 1/R − k2, where 1/R = 1 + k + root
        f, by_xyz = cube_root_and_slope(self.seen @ v + self.blends.surface.r0)
        lab = TO_LAB @ f
        lab[0] -= 16.0
        slope = v * (1.0 + k2 * v) / np.maximum(root, _LEAST_ROOT)
        by_g = (self.by_curve @ slope).reshape(3, self.curves.shape[1], -1)
        r, by_lab = goal(lab, rows)
        return r, (TO_LAB.T @ by_lab) * -by_xyz, by_g, works

    def _absorption(self, amounts: Array, index: Index) -> tuple[Array, _Works]:
        """K/S ``(B, N)`` of amounts ``(k, N)``, and how much of each dye works."""
        works, columns = self._working(amounts, index), np.arange(amounts.shape[1])
        working = np.zeros((self.curves.shape[1], len(columns)))
        working[index, columns] = works.g
        if len(working) > len(self.less):
            working[index + len(self.less), columns] = works.g * works.share
        k = self.curves @ working
        k += self.cloth
        return k, works

    def _working(self, c: Array, index: Index) -> _Works:
        """How much of each dye works, and its slopes."""
        n, q = self.law[:, index]
        depth = c + SHIFT
        log = np.log(depth)
        power = np.exp(n * log)
        log -= np.log(PIVOT)
        rise = power - self.less[index]
        bend = np.exp(0.5 * q * log * log)
        g, own = rise * bend, (n * power + rise * (q * log)) / depth * bend
        if self.blends.plain:
            return _Works(g, own, None)
        own_company, own_acts = self.blends.company[index], self.blends.interaction[index]
        total = c.sum(axis=0)
        others = total - c
        whole = np.maximum(others + HALF_COMPANY * c, 1e-12)
        share, bend = others / whole, HALF_COMPANY / (whole * whole)
        # The interaction κ of all, how full they are, and ln(1 + T) κ by T.
        safe = np.maximum(total, 1e-12)
        kappa, filled = (own_acts * c).sum(axis=0) / safe, np.log1p(total)
        level, full = kappa * filled, filled / safe
        by_total = kappa * (1.0 / (1.0 + total) - full)
        grown = np.exp(share * own_company + level - own_acts * np.log1p(c))
        g = g * grown
        joint_share = bend * c
        own_share = -bend * others - joint_share
        joint = g * own_company * joint_share
        own = own * grown + g * (own_company * own_share - own_acts / (1.0 + c))
        acting = own_acts * full + by_total
        return _Works(
            g, own, joint, share, own_share, joint_share, acting, level, full, by_total
        )  # fmt: skip


def _through(by_root: Array, slope: Array) -> Array:
    """Slopes ``(m, k, N)`` of a residual from its ``(m, 3, N)`` and those ``(3, k, N)`` of XYZ."""
    parts = by_root[:, :, np.newaxis] * slope
    return np.asarray(parts[:, 0] + parts[:, 1] + parts[:, 2])
