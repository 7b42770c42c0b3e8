"""Ladders that were read as CIELAB only: one curve and one law for all depths of a dye.

Three numbers do not give a spectrum, but a ladder gives three numbers at every depth, and all come
from one absorption curve and one depth law. Prior of ln a(λ): a Gaussian process of two lengths
(120 nm, standard deviation 2; 40 nm, 0.6) about a level that is free. Maximum posterior by damped
Gauss–Newton on all dyes side by side, on the residual whose square is ΔE2000, each reading under
its own light; the leading parts of its Laplace approximation are kept as what is open.

A bath that is a little weak moves a swatch along its own ladder. Residuals are therefore whitened
by a scatter of strength as well as of reading, or the curve would bend to explain the balance.

What a photograph is off by, squares of one picture largely have alike, those of other dyes too: it
stays an unknown that the dyes share (`Modes.shared`), which mixes in other pictures then tell.

Axis letters: D dyes, R rows (a swatch under a light), B bands, K parts of the prior, F pictures.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np

from dyemix.arrays import Array
from dyemix.colour import colorimetry
from dyemix.colour.ciede2000 import delta_e_residual, metric
from dyemix.colour.colorimetry import D65_10, WAVELENGTHS, Light, weights
from dyemix.dataset.conditions import PICTURE
from dyemix.dataset.readings import Clipped, Reading, Swatch, shares
from dyemix.model.dyes import Ladders
from dyemix.model.kubelka_munk import Surface, depth_law, depth_law_by_law
from dyemix.model.least_squares import solve
from dyemix.model.unknowns import Modes

#: Prior of the depth law's exponent and bend: the middle and spread of what dyes on cellulose
#: show. In place of a contest of laws, which three depths cannot decide. And where it is held.
LAW, LAW_SPREAD = np.array([0.95, 0.0]), np.array([0.15, 0.05])
LAW_BOUNDS = np.array([[0.3, 1.6], [-0.15, 0.15]])
#: How far the dyes of later baths may stray from those of the ladder as a whole, ln(strength): a
#: new stock, another day (common practice: a few per cent).
DRIFT = 0.03
#: Kernels of the prior of ln a: length (nm) and standard deviation; and that of the level, wide.
KERNELS, LEVEL_SPREAD = ((120.0, 2.0), (40.0, 0.6)), 6.0
#: Its mean: flat, and falling beyond 600 nm, to this at 700 nm, since blues and blacks let far red
#: pass. D65 hardly sees so far (a fall from 580 nm on misled it on measured sets); lamp A does.
_LEVEL, _FAR_RED, _FALLS_FROM = -0.5, -2.0, 600.0
_MEAN = _LEVEL + _FAR_RED * np.maximum(WAVELENGTHS - _FALLS_FROM, 0.0) / (700.0 - _FALLS_FROM)
#: Standard errors of a reading, ΔE2000, as ladders of CIELAB are weighed, before they themselves
#: say (`LabLadders.weigh`; it is worth so many of its three parts), and of ln(strength) from bath
#: to bath. They hold what the model misses, so they lie above what a reading strays by. Chosen on
#: the DEVELOP families of simulated worlds.
READING, STRENGTH = 0.3, 0.07
_READING_WORTH, _WEIGHINGS = 30.0, 4
#: How much of the stated variance of a photographed reading all of its photograph have alike
#: (exposure, balance, the matrix); and the picture of squares where none is named.
ALIKE, _UNNAMED = 0.6, "of the squares"
#: How many parts of what a ladder leaves open are kept.
MODES = 5
#: A spectrum in a ladder that also has bare CIELAB is seen under these lights.
_LOOKS = (D65_10, Light("A", 10), Light("FL11", 10), Light("LED-B3", 10))
#: How much a change of exponent or bend matters beside one of ln a over all bands: what they do to
#: ln g an octave or two from the middle of a ladder.
_LAW_MATTERS = (0.15, 0.3)
#: A step over this in ln a leaves the region where the linearised colours mean anything.
_LONGEST = 1.5
_STEPS, _TOLERANCE = 30, 1e-4


def stated(readings: Sequence[Reading]) -> Array:
    """Covariance ``(3, 3)`` that the mean of readings is stated to have; 0 where none is."""
    known = [np.zeros((3, 3)) if r.covariance is None else r.covariance for r in readings]
    return np.asarray(np.tensordot(shares(readings) ** 2, known, 1))


def alike(covariance: Array) -> Array:
    """A root ``(…, 3, 3)`` of what readings so stated have in common with all of their picture."""
    return np.asarray(np.linalg.cholesky(ALIKE * covariance + 1e-9 * np.eye(3)))


def bound(readings: Sequence[Reading]) -> Clipped | None:
    """Where the colour of readings may lie beyond what was read."""
    return next((r.clipped for r in readings if r.clipped is not None), None)


def _prior_basis() -> Array:
    """``(B, K)``: ln a = level + basis @ z for z ~ N(0, I), the parts that matter of the prior."""
    apart = WAVELENGTHS[:, np.newaxis] - WAVELENGTHS
    kernel = sum(sd**2 * np.exp(-0.5 * (apart / length) ** 2) for length, sd in KERNELS)
    values, vectors = np.linalg.eigh(kernel + LEVEL_SPREAD**2)
    values, vectors = values[::-1], vectors[:, ::-1]
    kept = int(np.searchsorted(np.cumsum(values) / values.sum(), 1.0 - 1e-5)) + 1
    return np.asarray(vectors[:, :kept] * np.sqrt(values[:kept]))


_BASIS = _prior_basis()
_PARTS = _BASIS.shape[1]
#: ln a and law ``(B + 2, K + 2)`` by the unknowns of a ladder.
_WHOLE = np.pad(_BASIS, ((0, 2), (0, 2)))
_WHOLE[[-2, -1], [-2, -1]] = LAW_SPREAD


def cloth_from_lab(colour: Array, light: Light) -> Array:
    """Reflectance ``(B,)`` of undyed cloth of CIELAB `colour` ``(3,)`` under `light`.

    Undyed cellulose has no bands, only an absorption that falls smoothly from the blue to the
    red: log K/S is taken as a parabola in wavelength, which three numbers determine. Where no
    parabola has that colour (cloth that is dyed), it is the smoothest reflectance with it.
    """
    u = (WAVELENGTHS - 550.0) / 150.0
    basis = np.stack([np.ones(len(u)), u, u * u - 1.0 / 3.0])
    goal, seen = colorimetry.xyz_from_lab(colour, light)[:, np.newaxis], weights(light).T

    def residual(q: Array, _: object) -> tuple[Array, Array]:
        k = np.exp(q.T @ basis)
        r, slope = Surface().reflectance_and_slope(k)
        return seen @ r.T - goal, (seen @ (slope * k * basis).T)[..., np.newaxis]

    start, most = np.array([[np.log(0.02)], [-0.8], [0.2]]), np.full((3, 1), 12.0)
    found = solve(residual, start, most, lower=-most, tolerance=1e-20)
    if found.cost < 1e-18:
        return np.asarray(Surface().reflectance(np.exp(found.x.T @ basis))[0])
    return np.asarray(colorimetry.smoothest_reflectance(colour, light)[0])


def _rows(ladders: Mapping[str, Sequence[Swatch]]) -> Iterator[tuple[Any, ...]]:
    """The rows of ladders in which at least one reading has no spectrum: a swatch under one light.

    Of which dye and swatch, both by number, its depth, `LabLadders.weights`, CIELAB with its
    covariance, the pictures of readings that state one, and where it may lie beyond.
    """
    every = ((i, name, s) for i, (name, some) in enumerate(ladders.items()) for s in some)
    for i, (dye, name, swatch) in enumerate(every):
        groups: dict[Light, list[Reading]] = {}
        for r in swatch.readings:
            for light in (r.light or D65_10,) if r.rough else _LOOKS:
                groups.setdefault(light, []).append(r)
        for light, some in groups.items():
            colour = shares(some) @ [r.colour(light) for r in some]
            own = weights(light) * (colorimetry.white(D65_10) / colorimetry.white(light))
            told = (r for r in some if r.covariance is not None)
            pictures = Counter(r.conditions.get(PICTURE, _UNNAMED) for r in told)
            depth = swatch.recipe[name]
            yield dye, i, depth, own, colour, stated(some), pictures, bound(some)


class _Seen(NamedTuple):
    """Ladders as the model shows them.

    `lab` ``(R, 3)``; `miss` ``(R, 3)`` in the parts of ΔE2000; `slope` ``(R, 3, K + 2)`` of that by
    the unknowns of its dye; `strength` ``(R, 3)`` by ln(strength).
    """

    lab: Array
    miss: Array
    slope: Array
    strength: Array


class LabLadders:
    """The ladders of CIELAB on one cloth.

    `depths` ``(R,)`` % owf; `goal` ``(R, 3)``; `scatter` ``(R, 3, 3)`` its covariance in the parts
    of ΔE2000, but for `common` ``(R, 3, 3 F)``, a root of what each of the `pictures` has in
    common; `metric` ``(R, 3, 3)`` those parts by CIELAB; `weights` ``(R, B, 3)`` those of each
    row's light scaled to the white of D65/10°: CIELAB sees XYZ only through its ratio to the white,
    so one formula then serves every light. `dye` and `swatch` ``(R,)`` which a row is of, swatches
    counted over all ladders, and `own` ``(D, R)`` 1 where it is of a dye; `clipped` those rows that
    are bounds; `near` ``(D, K + 2)`` unknowns near the next solution; `reading` the error of one in
    ΔE2000; `lowest` the lowest stimulus of any row, as a share of the white's: r0 stays below.
    """

    def __init__(self, ladders: Mapping[str, Sequence[Swatch]], cloth: Array) -> None:
        *figures, pictures, bounds = zip(*_rows(ladders), strict=True)
        self.dye, self.swatch, self.depths, *colours = map(np.array, figures)
        self.weights, self.goal, covariance = colours
        self.own, self.metric = np.eye(len(ladders))[:, self.dye], metric(self.goal)
        named = sum(pictures, Counter[str]())
        self.pictures = tuple(sorted(name for name, times in named.items() if times > 1))
        share = np.array([[each[p] / each.total() ** 0.5 if each else 0.0 for p in self.pictures]
                          for each in pictures])  # fmt: skip
        common = np.einsum("rik,rf->rifk", self.metric @ alike(covariance), share)
        self.common = common.reshape(*self.goal.shape, -1)
        own = np.where(share.any(axis=-1), 1.0 - ALIKE, 1.0)[..., np.newaxis, np.newaxis]
        self.scatter = own * (self.metric @ covariance @ self.metric.swapaxes(-1, -2))
        self.clipped = {i: clip for i, clip in enumerate(bounds) if clip is not None}
        self.cloth, self.reading = cloth, READING
        start = np.array([_start(name, some, cloth) for name, some in ladders.items()])
        inverse = np.linalg.inv(_BASIS.T @ _BASIS + 0.05 * np.eye(_PARTS)) @ _BASIS.T
        self.near = np.pad((start - _MEAN) @ inverse.T, ((0, 0), (0, 2)))
        xyz = colorimetry.xyz_from_lab(self.goal, D65_10)
        self.lowest = float((xyz / colorimetry.white(D65_10)).min())

    def solve(self, surface: Surface, counts: Array, x: Array) -> Array:
        """The unknowns ``(D, K + 2)`` of maximum posterior, near `x`: parts of ln a, then those of
        the law.
        """
        counted = counts[self.swatch]
        seen = self._seen(x, surface)
        damping = np.full(len(x), 1.0)
        for _ in range(_STEPS):
            whitener = self._whitener(seen, counted)
            cost, r, slope = self._whitened(whitener, seen, x)
            normal = self._per_dye(slope, slope)
            normal += (1.0 + damping)[:, np.newaxis, np.newaxis] * np.eye(_PARTS + 2)
            gradient = self._per_dye(slope, r[..., np.newaxis])[..., 0] + x
            step = -np.linalg.solve(normal, gradient[..., np.newaxis])[..., 0]
            longest = np.abs(step[:, :_PARTS] @ _BASIS.T).max(axis=1)
            step *= np.minimum(1.0, _LONGEST / np.maximum(longest, 1e-12))[:, np.newaxis]
            tried = self._seen(x + step, surface)
            gain = (cost - self._whitened(whitener, tried, x + step)[0]) / np.maximum(cost, 1e-12)
            better = gain > 0.0
            x = np.where(better[:, np.newaxis], x + step, x)
            rows = better[self.dye]
            for mine, its in zip(seen, tried, strict=True):
                mine[rows] = its[rows]
            damping = np.clip(damping * np.where(better, 0.2, 10.0), 1e-6, 1e8)
            if np.all(gain < _TOLERANCE):
                break
        return x

    def fit(self, surface: Surface, counts: Array, _strength: float) -> tuple[Ladders, Array]:
        """Every dye under this surface, from where the last fit ended, and weighted squares
        ``(D,)`` that are left, priors included; `counts` ``(N,)`` says how much each swatch counts.
        """
        self.near = x = self.solve(surface, counts, self.near)
        cost, _, slope, covariance, whitener = self._left(x, surface, counts[self.swatch])
        curves, law = _meaning(x)
        common = -(self._per_dye(whitener @ self.common, slope) @ covariance) @ _WHOLE.T
        modes = Modes.none(*curves.shape)
        shared = np.append(modes.shared, common, axis=1)
        modes = replace(modes, own=_modes(covariance, curves), shared=shared)
        return Ladders(np.exp(curves), law, surface, modes, pictures=self.pictures), cost

    def _left(self, x: Array, surface: Surface, counted: Array) -> tuple[Array, ...]:
        """Costs ``(D,)`` of unknowns, whitened residuals and slopes, what is open, the whitener."""
        seen = self._seen(x, surface)
        whitener = self._whitener(seen, counted)
        cost, r, slope = self._whitened(whitener, seen, x)
        covariance = np.linalg.inv(self._per_dye(slope, slope) + np.eye(_PARTS + 2))
        return cost, r, slope, np.asarray(covariance), whitener

    def weigh(self, surface: Surface, counts: Array) -> None:
        """Take the error of a reading as these ladders show it, their misfit included.

        Each round is one of expectation and maximisation for a scale (Dempster, Laird & Rubin,
        J. R. Stat. Soc. B 39 (1977) 1): what is left of a row, and what is open of it.
        """
        x, counted = self.near, counts[self.swatch]
        for _ in range(_WEIGHINGS):
            x = self.solve(surface, counts, x)
            _, r, slope, covariance, _ = self._left(x, surface, counted)
            strays = float((r * r).sum() + ((slope @ covariance[self.dye]) * slope).sum())
            total = _READING_WORTH * READING**2 + strays * self.reading**2
            self.reading = float(np.sqrt(total / (_READING_WORTH + 3.0 * counted.sum())))

    def _per_dye(self, one: Array, other: Array) -> Array:
        """Products ``(D, I, J)`` over all rows of a dye, of ``(R, 3, I)`` and ``(R, 3, J)``."""
        return np.tensordot(self.own, one.swapaxes(1, 2) @ other, 1)

    def _whitened(self, whitener: Array, seen: _Seen, x: Array) -> tuple[Array, Array, Array]:
        """Costs ``(D,)`` of unknowns, their prior's with it, residuals ``(R, 3)`` and slopes
        ``(R, 3, K + 2)``.
        """
        r = (whitener @ seen.miss[..., np.newaxis])[..., 0]
        return self.own @ (r * r).sum(axis=1) + (x * x).sum(axis=1), r, whitener @ seen.slope

    def _seen(self, x: Array, surface: Surface) -> _Seen:
        curves, law = _meaning(x)
        law = law[self.dye]
        dye = depth_law(self.depths, law)[:, np.newaxis] * np.exp(curves)[self.dye]
        r, dr = surface.reflectance_and_slope(surface.k_over_s(self.cloth) + dye)
        xyz = np.einsum("rb,rbk->rk", r, self.weights)
        labs = colorimetry.lab_from_xyz(xyz, D65_10)
        miss, by_lab = delta_e_residual(self.goal, labs)
        by_log = (by_lab @ colorimetry.lab_slope(xyz, D65_10)) @ self.weights.swapaxes(1, 2)
        by_log = by_log * (dr * dye)[:, np.newaxis]
        strength = by_log.sum(axis=-1)
        by_law = LAW_SPREAD * depth_law_by_law(self.depths, law)
        last = strength[..., np.newaxis] * by_law[:, np.newaxis]
        return _Seen(labs, miss, np.concatenate([by_log @ _BASIS, last], axis=-1), strength)

    def _whitener(self, seen: _Seen, counted: Array) -> Array:
        """``(R, 3, 3)``, rows that do not count 0."""
        along = STRENGTH * seen.strength[..., np.newaxis]
        total = self.scatter + along @ along.swapaxes(-1, -2)
        for row, clipped in self.clipped.items():
            by_lab = self.metric[row]
            total[row] += by_lab @ clipped.open(seen.lab[row] - self.goal[row]) @ by_lab.T
        total += self.reading**2 * np.eye(3)
        root = np.linalg.inv(np.linalg.cholesky(total))
        return root * np.sqrt(counted)[..., np.newaxis, np.newaxis]


def _start(dye: str, swatches: Sequence[Swatch], cloth: Array) -> Array:
    """ln a ``(B,)`` to start from: the mean over the spectra given or made up."""
    r = np.clip([s.reflectance for s in swatches], 1e-3, 0.999)
    k = Surface().k_over_s(r) - Surface().k_over_s(cloth)
    k = np.maximum(k, 0.02 * k.max(axis=1, keepdims=True))
    g = np.array([[s.recipe[dye]] for s in swatches]) ** LAW[0]
    return np.asarray(np.log(np.maximum(k, 1e-6) / g).mean(axis=0))


def _meaning(x: Array) -> tuple[Array, Array]:
    """ln a ``(D, B)`` and laws ``(D, 2)`` of unknowns ``(D, K + 2)``."""
    curves = np.clip(_MEAN + x[:, :_PARTS] @ _BASIS.T, -30.0, 8.0)
    return curves, np.clip(LAW + LAW_SPREAD * x[:, _PARTS:], *LAW_BOUNDS.T)


def _modes(covariance: Array, curves: Array) -> Array:
    """The `MODES` parts ``(D, Q, B + 2)`` of what is open that matter most to colours.

    Eigenvectors of the covariance of ln a and the law, weighed by how much a band is seen
    and how far the dye absorbs in it.
    """
    open_ = _WHOLE @ covariance @ _WHOLE.T
    open_[:, :-2, :-2] += DRIFT**2
    w = weights(D65_10).sum(axis=1)
    absorbs = np.exp(curves - curves.max(axis=1, keepdims=True))
    matters = np.sqrt(w / w.sum() * (absorbs + 0.01))
    matters = np.append(matters, np.tile(_LAW_MATTERS, (len(curves), 1)), axis=1)
    values, vectors = np.linalg.eigh(matters[:, :, np.newaxis] * open_ * matters[:, np.newaxis, :])
    size = np.sqrt(np.maximum(values[:, ::-1], 0.0))[:, :MODES]
    modes = vectors[:, :, ::-1][:, :, :MODES].swapaxes(1, 2) * size[..., np.newaxis]
    return np.asarray(modes / matters[:, np.newaxis, :])
