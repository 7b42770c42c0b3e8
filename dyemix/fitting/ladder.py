"""Ladders of spectra, ladders of all kinds under one surface after another, and their squares.

Under a given surface each swatch is one curve times one strength: ``k = h a(λ)``. Curve and
strengths are found in turn. Given the strengths each band of the curve is a least squares of one
unknown, its residuals weighted by ``|dR/dk|``, which makes a least squares on K/S one on
reflectance, where the errors are made (Walowit, McCarthy & Berns, Color Res. Appl. 12 (1987) 340).
Given the curve the strengths follow the depth law up to the scatter from bath to bath,
``ln h = α + ln g(c; n, q) + ε``, a regression under priors of exponent and bend: a stray bath moves
its own ε, not the curve. The posterior of α, n and q is what the ladder leaves open, and by how
much the curve turns with depth: mixes may see that of another.

No criterion on single squares finds the surface that mixes prefer, so none is picked: under each
surface of a grid the ladders are fitted, and weighed softly by what they leave (`Solver.surfaces`).
The fit stands at the mean surface. How curves and laws follow the surface, a standard
deviation to either side, is kept among what is open, and mixes move it
(`dyemix.fitting.calibration`). On simulated worlds that predicts as well as an average over all
surfaces.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from dyemix.arrays import Array, Flags, robust_deviation
from dyemix.colour.ciede2000 import delta_e_residual, metric
from dyemix.colour.colorimetry import WAVELENGTHS, Light
from dyemix.dataset.conditions import mottled
from dyemix.dataset.swatches import Swatch, SwatchSet
from dyemix.errors import said
from dyemix.fitting.lab_ladder import DRIFT, LAW, LAW_BOUNDS, LAW_SPREAD, Fitted, LabLadders, padded
from dyemix.model.dyes import Ladders
from dyemix.model.kubelka_munk import Surface, depth_law, depth_law_by_law
from dyemix.model.mixtures import Blends
from dyemix.model.uncertainty import (
    PRIOR_MOTTLE,
    PRIOR_READING,
    PRIOR_STRENGTH,
    PRIOR_WORTH,
    Scatter,
)
from dyemix.model.unknowns import Modes

#: Standard error of a reading in one band, reflectance: a working value of ours.
READING_SD = 0.004
#: How far ln a turns with ln depth, the standard deviation of the prior. Mixes may see it turned as
#: over so much of ln depth, and by this at most.
_TURNS, _AS_OVER, _TURNS_MOST = 0.3, np.log(3.0), 0.7
_ROUNDS = 8
_LEAST = 1e-9
#: A log strength this many times the usual one, and above this, is mislabelling, not scatter.
_STRAY, _AMISS = 4.0, 0.15
#: A square tells strength only where doubling it would move the colour by this much ΔE2000 or
#: more (per unit of ln): below that its reading says nothing of it.
_SEEN = 2.0
#: The grid of surfaces: r0 from 0 to this share of the lowest reflectance read, and at most this;
#: the reflection inside. Cloth shows 0 to 0.06, and 0 to 0.6.
_R0_SHARE, _R0_MOST, _R0_STEPS = 0.9, 0.06, 4
_INSIDE = (0.0, 0.2, 0.4, 0.6)
#: Weight of a surface: what it leaves of the ladders to the power of minus this. Of spectra a few
#: squares' worth, of CIELAB hardly anything: on measured sets it prefers r0 far too low, on
#: simulated worlds weights that are quite flat cost 0.7 ΔE2000 before the first own mix.
_TRUST, _TRUST_LAB = 3.0, 1.0


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
        k = surface.k_over_s(np.minimum(self.reflectance, 1.0)) - surface.k_over_s(self.cloth)
        # A dye that shines of itself outshines its cloth: a band tells no more there than cloth.
        lit = surface.inside(np.minimum(self.reflectance, self.cloth))
        weight = surface.slope(lit) ** 2 * counted[..., np.newaxis]
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
        turn = np.append(self._turns(weight, k, h, curves), np.zeros_like(law), axis=1)
        modes = np.append(level, root[..., 1:], axis=2)
        return Fitted(np.log(curves), law, np.append(modes, turn[:, np.newaxis], axis=1), cost)

    def _turns(self, weight: Array, k: Array, h: Array, curves: Array) -> Array:
        """How ln of each curve changes ``(D, B)`` as over a threefold depth.

        A regression of what is left of K/S, band by band: bands that move or flatten as a dye
        stacks, and light that it gives out and takes back, go on to do so in company, either way.
        """
        alone, log = h[..., np.newaxis] * curves[:, np.newaxis], np.log(self.depths)
        tells = np.maximum(weight * alone**2, _LEAST)
        # Each band about the depth where its curve stands.
        middle = np.einsum("dsb,ds->db", tells, log) / tells.sum(axis=1)
        by_turn = alone * (log[..., np.newaxis] - middle[:, np.newaxis])
        seen = (weight * by_turn**2).sum(axis=1) + (READING_SD / _TURNS) ** 2
        turns = (weight * by_turn * (k - alone)).sum(axis=1) / seen
        return np.asarray(np.clip(_AS_OVER * turns, -_TURNS_MOST, _TURNS_MOST))

    @staticmethod
    def _curves(weight: Array, k: Array, h: Array) -> Array:
        """Curves ``(D, B)`` for strengths ``(D, S)``. A dye does not brighten cloth: a bound."""
        strength = h[..., np.newaxis]
        bottom = np.maximum((weight * strength**2).sum(axis=1), 1e-300)
        return np.asarray(np.maximum((weight * strength * k).sum(axis=1) / bottom, _LEAST))


# Surfaces -----------------------------------------------------------------------------------------


class Beside(NamedTuple):
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


class Solver:
    """Fits of the ladders of a table under one surface after another; each sets out from the last.

    Attributes, a ladder each
    -------------------------
    names, swatches : the dyes and their squares.
    depths, measured, counts : of those, % owf ``(S,)``, CIELAB ``(S, 3)`` under `light`, and how
        much each counts ``(S,)``.
    cloth : ``(B,)`` of the undyed cloth.
    spectral, lab : places of the ladders that are spectra, and of those that are not all spectra.
    """

    def __init__(self, ladders: Mapping[str, Sequence[Swatch]], cloth: Array, light: Light) -> None:
        self.names, self.swatches = tuple(ladders), tuple(ladders.values())
        self.light, self.cloth = light, cloth
        self.depths = [np.array([s.recipe.total for s in some]) for some in self.swatches]
        self.measured = [np.array([s.colour(light) for s in some]) for some in self.swatches]
        self.counts = [np.ones(len(some)) for some in self.swatches]
        rough = [any(s.rough for s in some) for some in self.swatches]
        self.lab = [i for i, some in enumerate(rough) if some]
        self.spectral = [i for i, some in enumerate(rough) if not some]
        kinds = [{self.names[i]: self.swatches[i] for i in of} for of in (self.spectral, self.lab)]
        self._of_spectra = SpectralLadders(kinds[0], cloth) if kinds[0] else None
        self._of_lab = LabLadders(kinds[1], cloth) if kinds[1] else None
        self._last: Array | None = None

    def lowest(self) -> float:
        """The lowest reflectance, or stimulus as a share of white, of any swatch."""
        spectra = [s.reflectance.min() for i in self.spectral for s in self.swatches[i]]
        return float(min([*spectra, *([self._of_lab.lowest] if self._of_lab else [])]))

    def fit(self, surface: Surface, counts: Sequence[Array], strength: float) -> Fitted:
        """Every dye under this surface; `counts` says how much each swatch of a dye counts."""
        parts = []
        if self._of_spectra:
            some = [counts[i] for i in self.spectral]
            parts.append((self.spectral, self._of_spectra.fit(surface, some, strength)))
        if self._of_lab:
            some = [counts[i] for i in self.lab]
            self._last = self._of_lab.solve(surface, some, self._last)
            parts.append((self.lab, self._of_lab.fit(surface, some, self._last)))
        return Fitted.joined(parts)

    def left_out(self, surface: Surface) -> list[Beside | None]:
        """Each dye's squares as a fit without their depth shows them; None under three depths."""
        steps = [np.unique(c) for c in self.depths]
        found: list[Beside | None] = [None] * len(steps)
        for fold in range(max(len(x) for x in steps)):
            one = [x[fold : fold + 1] if len(x) > 2 else x[:0] for x in steps]
            out = [np.isin(c, x) for c, x in zip(self.depths, one, strict=True)]
            kept = [np.where(o, 0.0, c) for o, c in zip(out, self.counts, strict=True)]
            fitted = self.fit(surface, kept, PRIOR_STRENGTH)
            for i, rows in enumerate(out):
                if rows.any():
                    here = self.beside(fitted, surface, i)
                    before = found[i] = found[i] or here
                    for told, values in zip(before, here, strict=True):
                        told[rows] = values[rows]
        return found

    def beside(self, fitted: Fitted, surface: Surface, dye: int) -> Beside:
        """The squares of a dye beside this fit of them."""
        curve, law = np.exp(fitted.curves[[dye]]), fitted.law[[dye]]
        ground, none = surface.k_over_s(self.cloth), np.zeros(1)
        blends = Blends(curve, law, none, ground, surface, none, np.zeros_like(curve))
        seen = blends.strengths(self.depths[dye][:, np.newaxis], self.light)
        miss, _ = delta_e_residual(seen.lab, self.measured[dye])
        by_lab = metric(seen.lab)
        way = (by_lab @ seen.by_strength)[..., 0]
        size = (way * way).sum(axis=1)
        logs = (miss * way).sum(axis=1) / np.maximum(size, 1e-12)
        along = way / np.sqrt(np.maximum(size, 1e-12))[:, np.newaxis]
        off_way = np.eye(3) - along[:, :, np.newaxis] * along[:, np.newaxis, :]
        curves, laws = np.split(fitted.modes[dye], [-2], axis=1)
        by_mode = seen.by_band @ (curve * curves).T * seen.g[..., np.newaxis]
        by_mode = by_mode + seen.by_strength * (seen.by_law[:, 0] @ laws.T)[:, np.newaxis]
        return Beside(
            seen.lab, np.sqrt((miss * miss).sum(axis=1)),
            ((off_way @ miss[..., np.newaxis]) ** 2).sum(axis=(1, 2)),
            ((off_way @ by_lab @ by_mode) ** 2).sum(axis=(1, 2)) + 2.0 * PRIOR_READING**2,
            np.clip(logs, -3.0, 3.0), size > _SEEN**2,
        )  # fmt: skip

    def surfaces(self) -> tuple[Surface, Array]:
        """The mean surface, and the spread ``(2,)`` of r0 and k2 about it."""
        top = min(_R0_MOST, _R0_SHARE * self.lowest())
        if self._of_lab:
            counts = [self.counts[i] for i in self.lab]
            self._of_lab.weigh(Surface(0.4 * top, 0.3), counts)
            self._last = None
        grid = [(r0, k2) for r0 in np.linspace(0.0, top, _R0_STEPS) for k2 in _INSIDE]
        some, trust = (self.spectral, _TRUST) if self._of_spectra else (self.lab, _TRUST_LAB)
        surfaces = (Surface(r0, k2) for r0, k2 in grid)
        cost = [self.fit(one, self.counts, PRIOR_STRENGTH).cost[some].sum() for one in surfaces]
        weights = (np.array(cost) / min(cost)) ** -trust
        points, weights = np.array(grid), weights / weights.sum()
        mean = weights @ points
        return Surface(*mean.tolist()), np.sqrt(weights @ (points - mean) ** 2)

    def ladders(self, surface: Surface, spread: Array, strength: float) -> tuple[Ladders, Fitted]:
        """The dyes at this surface, and all that is open of them."""
        middle, ceiling = self.fit(surface, self.counts, strength), _R0_SHARE * self.lowest()
        at = np.array([surface.r0, surface.k2])
        high = np.minimum(at + spread, [max(ceiling, surface.r0), _INSIDE[-1] + 0.05])
        low = np.maximum(at - spread, 0.0)
        curves = np.zeros((2, *middle.curves.shape))
        laws = np.zeros((2, *middle.law.shape))
        for axis in range(2):
            if high[axis] > low[axis]:
                ends = [np.where(np.arange(2) == axis, end, at) for end in (high, low)]
                one, other = (self.fit(Surface(*e.tolist()), self.counts, strength) for e in ends)
                share = spread[axis] / (high - low)[axis]
                curves[axis] = share * (one.curves - other.curves)
                laws[axis] = share * (one.law - other.law)
        modes = Modes(
            middle.modes[..., :-2].copy(), middle.modes[..., -2:].copy(), spread, curves, laws
        )
        return Ladders(np.exp(middle.curves), middle.law, surface, modes, ceiling), middle


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
            straight = np.abs(logs) <= max(_STRAY * robust_deviation(logs), _AMISS)
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
