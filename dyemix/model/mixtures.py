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

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from dyemix.arrays import Array, Indices
from dyemix.colour.colorimetry import TO_LAB, Light, cube_root_and_slope, weights
from dyemix.model.kubelka_munk import Surface, depth_law, depth_law_and_slope
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
FLOOR = 0.05


def _beside(c: Array, total: Array) -> Array:
    """What the other dyes are counted beside, for amounts `c` of such a total: m is their share."""
    return np.maximum(total - c + HALF_COMPANY * c, 1e-12)


def company_share(c: Array) -> Array:
    """How far each dye of amounts `c` ``(..., D)`` is in company, m."""
    total = c.sum(axis=-1, keepdims=True)
    return np.asarray((total - c) / _beside(c, total))


def fullness(total: Array) -> Array:
    """ln(1 + T) / T of dye in all: how full cloth that takes so much is, for each % owf."""
    safe = np.maximum(total, 1e-12)
    return np.asarray(np.log1p(safe) / safe)


def in_company(curves: Array) -> Array:
    """What of curves ``(D, B)`` company changes by a share: where a dye absorbs nothing, others
    can still make it do so, or take away what hid it."""
    return np.asarray(curves + FLOOR * curves.max(axis=1, keepdims=True))


def by_shift(curves: Array) -> Array:
    """Change of ln of what company changes of curves ``(D, B)``, by each nm that bands move on."""
    whole = np.maximum(in_company(curves), 1e-12)
    return np.asarray(-np.gradient(whole, 10.0, axis=1) / whole)


class Works(NamedTuple):
    """How much of each dye works in N blends of amounts c ``(k, N)``, and what changes that.

    With T the sum of the amounts, and K that of what they do to each other, Σ κᵢ cᵢ:

    Attributes
    ----------
    g : ``(k, N)`` how much works.
    own : ``(k, N)`` its slope by c, at the same T and K.
    share : ``(k, N)`` how far a dye is in company; `share_by_own` and `share_by_total` its slopes.
    level : ``(N,)`` by how much (ln) all work more by K; `by_acting` ``(N,)`` its slope by K, and
        `by_total` ``(N,)`` by T.
    """

    g: Array
    own: Array
    share: Array | float = 0.0
    share_by_own: Array | float = 0.0
    share_by_total: Array | float = 0.0
    level: Array | float = 0.0
    by_acting: Array | float = 0.0
    by_total: Array | float = 0.0


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

    @cached_property
    def parts(self) -> Array:
        """The curves ``(D, B)``, and beside them, where mixes were read, what company adds to
        each, ``(2 D, B)``.
        """
        added = [self.company_curve] if self.company_curve.any() else []
        return np.concatenate([self.curves, *added])

    def works(self, c: Array, index: Index) -> Works:
        """How much of each dye works, for amounts ``(k, N)`` in % owf of `index` ``(k, N)``."""
        g, own = depth_law_and_slope(c, np.moveaxis(self.law.T.take(index, axis=1), 0, -1))
        if self.plain:
            return Works(g, own)
        company, acts, total = self.company[index], self.interaction[index], c.sum(axis=0)
        whole, full = _beside(c, total), fullness(total)
        share, bend = (total - c) / whole, HALF_COMPANY / (whole * whole)
        acting = (acts * c).sum(axis=0)
        by_full = (1.0 / (1.0 + total) - full) / np.maximum(total, 1e-12)
        grown = np.exp(share * company + acting * full - acts * np.log1p(c))
        own = grown * (own - g * (company * bend * total + acts / (1.0 + c)))
        slopes = acting * full, full, acting * by_full
        return Works(g * grown, own, share, -bend * total, bend * c, *slopes)

    def grown(self, c: Array) -> Array:
        """How many times as much of each dye of `c` ``(N, D)`` works as it would alone."""
        level = (fullness(c.sum(axis=1)) * (c @ self.interaction))[:, np.newaxis]
        return np.exp(company_share(c) * self.company + level - self.interaction * np.log1p(c))

    def working(self, c: Array) -> Array:
        """How much of each dye works, g ``(N, D)``, for amounts `c` ``(N, D)`` in % owf."""
        alone = depth_law(c, self.law)
        return alone if self.plain else alone * self.grown(c)

    def absorption(self, c: Array, g: Array) -> Array:
        """K/S ``(N, B)`` of amounts `c` ``(N, D)`` that work as g ``(N, D)``."""
        k = self.cloth + g @ self.curves
        return np.asarray(k if self.plain else k + (g * company_share(c)) @ self.company_curve)

    def reflectance(self, amounts: Array) -> Array:
        """Reflectance ``(N, B)`` of amounts ``(N, D)`` in % owf."""
        return self.surface.reflectance(self.absorption(amounts, self.working(amounts)))


# Many blends at once -----------------------------------------------------------------------------


class Blending:
    """The forward model of a shelf under one light, with what can be worked out beforehand.

    Attributes
    ----------
    blends : of D dyes.
    entering : ``(D, 1)`` slope of g where there is no dye yet: one that enters is wholly in
        company.
    seen : ``(3, B)`` weight of each band in XYZ over that of white, less what the surface keeps.
    absorbing : ``(B, D + 1)`` or ``(B, 2 D + 1)``, `Blends.parts` and, last, the cloth.
    by_curve : ``(3 D, B)`` or ``(6 D, B)``, the same by each of `Blends.parts`.
    """

    def __init__(self, blends: Blends, light: Light) -> None:
        surface, w, self.blends = blends.surface, weights(light).T, blends
        _, entering = depth_law_and_slope(np.zeros(len(blends.law)), blends.law)
        self.entering = (entering * np.exp(blends.company))[:, np.newaxis]
        self.seen = (1.0 - surface.r0) * (1.0 - surface.k2) * w / w.sum(axis=1, keepdims=True)
        self.absorbing = np.concatenate([blends.parts, [blends.cloth]]).T
        self.by_curve = (self.seen[:, np.newaxis] * blends.parts).reshape(-1, w.shape[1])

    def towards(self, goal: Goal, index: Index, entering: bool = False) -> Residual:
        """A goal on CIELAB as a function of amounts ``(k, M)`` of rows of `index` ``(k, N)``.

        With its slope by those amounts, or ``(m, D, M)`` by those of dyes not yet `entering`.
        """

        def residual(amounts: Array, rows: Indices) -> tuple[Array, Array]:
            here = index.take(rows, axis=1)
            lab, by_xyz, v, root, works = self.seen_as(amounts, here)
            slope = v / np.maximum(root, _LEAST_ROOT, out=root)
            slope *= 1.0 + self.blends.surface.k2 * v
            by_g = (self.by_curve @ slope).reshape(3, len(self.blends.parts), -1)
            r, by_lab = goal(lab, rows)
            by_amount = self._by_amount(by_g, here, works, entering)
            return r, np.einsum("mxn,xkn->mkn", (TO_LAB.T @ by_lab) * -by_xyz, by_amount)

        return residual

    def spectra(self, amounts: Array, index: Index) -> tuple[Array, Array]:
        """Reflectance ``(B, N)`` of amounts ``(k, N)``, and its slope by them ``(B, k, N)``."""
        k, works = self._absorption(amounts, index)
        r, by_k = self.blends.surface.reflectance_and_slope(k)
        parts = self.blends.parts.T[..., np.newaxis]
        by_g = np.broadcast_to(parts, (*parts.shape[:2], k.shape[1]))
        return r, by_k[:, np.newaxis] * self._by_amount(by_g, index, works, False)

    def _by_amount(self, by_g: Array, index: Index, works: Works, entering: bool) -> Array:
        """Slopes ``(m, k, N)`` by the amounts of blends, or ``(m, D, N)`` by those of dyes that
        would be `entering` them, from slopes by what works of each curve ``(m, D or 2 D, N)``.
        """
        blends, dyes, n = self.blends, len(self.entering), index.shape[1]
        if entering and blends.plain:
            return by_g * self.entering
        flat, at = by_g.reshape(len(by_g), -1), index * n + np.arange(n)
        by: Array = flat.take(at, axis=1)
        if blends.plain:
            return by * works.own
        by_share: Array | float = 0.0
        if by_g.shape[1] > dyes:
            beside = flat.take(at + dyes * n, axis=1)
            by, by_share = by + works.share * beside, works.g * beside
        if entering:
            whole = by_g.reshape(len(by_g), by_g.shape[1] // dyes, dyes, -1).sum(axis=1)
            own = whole * (self.entering * np.exp(works.level))
            acts = blends.interaction[:, np.newaxis]
        else:
            own, acts = by * works.own + by_share * works.share_by_own, blends.interaction[index]
        # Through the sums T and K any dye changes what works of all others, and of itself.
        working = by * works.g
        by_shares = (working * blends.company[index] + by_share) * works.share_by_total
        by_level = working.sum(axis=1, keepdims=True) * (works.by_total + acts * works.by_acting)
        return np.asarray(own + by_shares.sum(axis=1, keepdims=True) + by_level)

    def seen_as(self, amounts: Array, index: Index) -> tuple[Array, Array, Array, Array, Works]:
        """CIELAB ``(3, N)`` of amounts ``(k, N)``, and what its slope is made of: that of the cube
        roots of XYZ ``(3, N)``; 1 over 1/R − k2, and the root of K (K + 2), by bands ``(B, N)``;
        and `Works`.
        """
        k, works = self._absorption(amounts, index)
        root = k + 2.0
        np.sqrt(np.multiply(root, k, out=root), out=root)
        k += root
        k += 1.0 - self.blends.surface.k2
        v = np.divide(1.0, k, out=k)  # of 1/R − k2, where 1/R = 1 + k + root
        f, by_xyz = cube_root_and_slope(self.seen @ v + self.blends.surface.r0)
        lab = TO_LAB @ f
        lab[0] -= 16.0
        return lab, by_xyz, v, root, works

    def _absorption(self, amounts: Array, index: Index) -> tuple[Array, Works]:
        """K/S ``(B, N)`` of amounts ``(k, N)``, and how much of each dye works."""
        works, columns = self.blends.works(amounts, index), np.arange(index.shape[1])
        working = np.zeros((self.absorbing.shape[1], len(columns)))
        working[index, columns] = works.g
        if len(working) > len(self.entering) + 1:
            working[index + len(self.entering), columns] = works.g * works.share
        working[-1] = 1.0
        return self.absorbing @ working, works
