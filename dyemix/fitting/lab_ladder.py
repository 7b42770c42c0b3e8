"""Fit dyes to ladders of swatches that were read as CIELAB only.

Three numbers do not give a spectrum, but a ladder gives three numbers at every depth, and all of
them come from one absorption curve and one depth law. `lab_inversion` finds both together; here
the law, the stiffness of the curve and the surface term are chosen by depths left out.

What the readings leave open is kept: `LabFit.draw` fits perturbed readings against a perturbed
prior (randomise, then optimise: Bardsley et al., SIAM J. Sci. Comput. 36 (2014) A1895).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e_residual
from dyemix.colour.colorimetry import (
    D65_10,
    WAVELENGTHS,
    Light,
    lab,
    smoothest_reflectance,
    weights,
    white,
    xyz_from_lab,
)
from dyemix.dataset.swatches import Swatch
from dyemix.fitting.lab_inversion import (
    BANDS,
    LAW_MEAN,
    LAW_SPREAD,
    LAWS,
    PRIOR_MEAN,
    READING_SCATTER,
    Problem,
    Rows,
    law_parameters,
    minimise,
)
from dyemix.fitting.ladder import TYPICAL_EXPONENT, TYPICAL_LAW, Curve, DyeFit, LeftOut
from dyemix.model.kubelka_munk import Surface, k_over_s, reflectance, reflectance_slope

#: Candidate standard deviations of the bend of the log curve, per (10 nm)², stiffest first.
#: The last is the bend of a band of 24 nm half width, narrower than any dye's on cloth.
STIFFNESS = (0.045, 0.08, 0.14, 0.25)
TYPICAL_STIFFNESS = 0.14
#: Surface term of a book whose ladders have two depths: in the middle of what cloth shows.
TYPICAL_R0 = 0.01
_HIGHEST_R0 = 0.04
#: Scatter of ln(strength) from bath to bath, as the choice of the surface term weighs it: common
#: practice for small baths.
BATH_SCATTER = 0.05
#: Share of a stated reading variance that is a ladder's own: a working value of ours, from
#: simulated photographs. The rest is common to all dyes and to the pot, and parts nobody.
_OF_A_LADDER = 0.4
#: A spectrum in a ladder that also has bare CIELAB is seen under these lights.
_LOOKS = (D65_10, Light("A", 10), Light("FL11", 10), Light("LED-B3", 10))


def cloth_from_lab(colour: Array, light: Light) -> Array:
    """Reflectance ``(B,)`` of undyed cloth of CIELAB `colour` ``(3,)`` under `light`.

    Undyed cellulose has no bands, only an absorption that falls smoothly from the blue to the
    red: log K/S is taken as a parabola in wavelength, which three numbers determine. Where no
    parabola has that colour (cloth that is dyed), it is the smoothest reflectance with it.
    """
    u = (WAVELENGTHS - 550.0) / 150.0
    basis = np.stack([np.ones(BANDS), u, u * u - 1.0 / 3.0], axis=1)
    goal, w = xyz_from_lab(colour, light), weights(light)
    q = np.array([np.log(0.02), -0.8, 0.2])
    for _ in range(40):
        k = np.exp(basis @ q)
        r = reflectance(k)
        miss = goal - r @ w
        if np.abs(miss).max() < 1e-9:
            return np.asarray(r)
        step = np.linalg.lstsq((w.T * (reflectance_slope(r) * k)) @ basis, miss, rcond=None)[0]
        q = np.clip(q + step * min(1.0, 1.0 / np.abs(step).max()), -12.0, 12.0)
    return np.asarray(smoothest_reflectance(colour, light)[0])


@dataclass(frozen=True, eq=False)
class LabLadder:
    """One dye's swatches as CIELAB: a row for each swatch and light.

    `depths` ``(S,)`` % owf; `lab` ``(S, 3)`` under `lights`; `scatter` ``(S, 3, 3)`` covariance
    of that CIELAB (0 where none was given); `swatch` ``(S,)`` which swatch a row is of; `spectra`
    ``(S, B)`` any spectra of these colours, to start from.
    """

    depths: Array
    lab: Array
    lights: tuple[Light, ...]
    scatter: Array
    swatch: NDArray[np.intp]
    spectra: Array

    @classmethod
    def of(cls, dye: str, swatches: Sequence[Swatch]) -> LabLadder:
        """From a ladder in which at least one reading has no spectrum."""
        rows: list[tuple[int, Light, Array, Array]] = []
        for i, swatch in enumerate(swatches):
            groups: dict[Light, list[tuple[Array, Array]]] = {}
            for r in swatch.readings:
                if r.rough:
                    light = r.light or D65_10
                    spread = np.zeros((3, 3)) if r.covariance is None else r.covariance
                    groups.setdefault(light, []).append((r.colour(light), spread))
                elif r.reflectance is not None:
                    for light in _LOOKS:
                        look = (lab(r.reflectance, light), np.zeros((3, 3)))
                        groups.setdefault(light, []).append(look)
            for light, group in groups.items():
                mean = np.mean([x for x, _ in group], axis=0)
                spread = np.sum([v for _, v in group], axis=0) / len(group) ** 2
                rows.append((i, light, mean, spread))
        index = np.array([i for i, *_ in rows])
        return cls(
            depths=np.array([swatches[i].recipe[dye] for i in index]),
            lab=np.array([x for _, _, x, _ in rows]),
            lights=tuple(light for _, light, _, _ in rows),
            scatter=np.array([v for *_, v in rows]),
            swatch=index,
            spectra=np.array([swatches[i].reflectance for i in index]),
        )


def _pack(ladders: Sequence[LabLadder], counts: Sequence[Array]) -> Rows:
    most = max(len(x.depths) for x in ladders)
    filled = Rows(
        np.ones((len(ladders), most)),
        np.full((len(ladders), most, 3), 50.0),
        np.zeros((len(ladders), most, 3, 3)),
        np.zeros((len(ladders), most, BANDS, 3)) + weights(D65_10),
        np.zeros((len(ladders), most)),
    )
    for i, (ladder, count) in enumerate(zip(ladders, counts, strict=True)):
        n = len(ladder.depths)
        filled.depths[i, :n], filled.goal[i, :n] = ladder.depths, ladder.lab
        filled.scatter[i, :n], filled.counts[i, :n] = ladder.scatter, count[ladder.swatch]
        for j, light in enumerate(ladder.lights):
            filled.weights[i, j] = weights(light) * (white(D65_10) / white(light))
    return filled


@dataclass(frozen=True, eq=False)
class _Jobs:
    """N problems of D ladders: which ladder, law and stiffness, and the depth left out (or NaN)."""

    dye: NDArray[np.intp]
    law: NDArray[np.intp]
    stiffness: Array
    left_out: Array

    @classmethod
    def of(cls, jobs: Sequence[tuple[int, int, float, float]]) -> _Jobs:
        dye, law, stiffness, left_out = zip(*jobs, strict=True)
        return cls(np.array(dye), np.array(law), np.array(stiffness), np.array(left_out))


@dataclass(frozen=True, eq=False)
class _Solved:
    """The problems of some jobs, their unknowns, and how each row fits: arrays ``(N, S)``.

    `miss` is ΔE2000, `shape` the whitened residual (strength set apart), `strength` how strong
    the swatch is beside what is predicted.
    """

    problem: Problem
    unknowns: Array
    miss: Array
    shape: Array
    strength: Array


@dataclass(frozen=True, eq=False)
class LabLadders:
    """The Lab-only ladders of a book on its cloth, ready to be fitted together.

    `counts` says for each ladder how much each swatch counts; `cloth` ``(B,)`` is measured
    reflectance.
    """

    ladders: tuple[LabLadder, ...]
    counts: tuple[Array, ...]
    cloth: Array

    def _solve(self, jobs: _Jobs, surface: Surface) -> _Solved:
        packed = _pack(self.ladders, self.counts)
        rows = packed[jobs.dye]
        kept = np.where(rows.depths == jobs.left_out[:, np.newaxis], 0.0, rows.counts)
        short = np.array([len(np.unique(x.depths)) < 3 for x in self.ladders])[jobs.dye]
        many, most = rows.depths.shape
        problem = Problem(
            rows=replace(rows, counts=kept),
            law=jobs.law,
            law_mean=LAW_MEAN[jobs.law],
            # Two depths do not show a law: the typical one is held.
            law_spread=np.where(short, 1e-4, LAW_SPREAD[jobs.law]),
            stiffness=np.full(many, STIFFNESS[0]),
            prior_mean=np.broadcast_to(PRIOR_MEAN, (many, len(PRIOR_MEAN))),
            noise=np.zeros((many, most, 3)),
            whitener=np.broadcast_to(np.eye(3) / READING_SCATTER, (many, most, 3, 3)),
            cloth=surface.k_over_s(self.cloth),
            surface=surface,
        )
        start = np.array([_start(x, self.cloth) for x in self.ladders])[jobs.dye]
        start = np.concatenate([start, LAW_MEAN[jobs.law][:, np.newaxis]], axis=1)
        rough = minimise(problem, start, 8, 1e-3)
        problem = replace(problem, stiffness=jobs.stiffness).with_whitener(rough)
        unknowns = minimise(problem, rough, 20, 1e-5)
        seen = problem.seen(unknowns)
        miss, by_strength = seen.miss, seen.by_strength
        along = (by_strength * by_strength).sum(axis=-1)
        apart = (problem.with_whitener(unknowns).whitener @ miss[..., np.newaxis])[..., 0]
        return _Solved(
            problem,
            unknowns,
            np.sqrt((miss * miss).sum(axis=-1)),
            np.sqrt((apart * apart).sum(axis=-1)),
            np.exp(np.clip(-(miss * by_strength).sum(axis=-1) / along, -3.0, 3.0)),
        )

    def _steps(self, dye: int) -> Array:
        return np.unique(self.ladders[dye].depths)

    def best_surface(self) -> Surface:
        """The flat surface term under which left-out depths are predicted best.

        Misses of shape and of strength count, each in its own scatter. A book of two-depth
        ladders, which leave nothing out, gets `TYPICAL_R0`.
        """
        from scipy.optimize import minimize_scalar

        jobs = [
            (dye, LAWS.index("Freundlich"), TYPICAL_STIFFNESS, depth)
            for dye in range(len(self.ladders))
            if len(self._steps(dye)) > 2
            for depth in self._steps(dye)
        ]
        if not jobs:
            return Surface(TYPICAL_R0)
        table = _Jobs.of(jobs)
        packed = _pack(self.ladders, self.counts)
        stimuli = xyz_from_lab(packed.goal[packed.counts > 0], D65_10) / white(D65_10)
        top = min(_HIGHEST_R0, 0.95 * float(stimuli.min()))

        def cost(r0: float) -> float:
            solved = self._solve(table, Surface(r0))
            out = solved.problem.rows.depths == table.left_out[:, np.newaxis]
            counts = packed[table.dye].counts * out
            off = solved.shape**2 + (np.log(solved.strength) / BATH_SCATTER) ** 2
            return float((counts * off).sum() / counts.sum())

        found = minimize_scalar(cost, bounds=(0.0, top), method="bounded", options={"xatol": 5e-4})
        return Surface(float(found.x))

    def fit(self, surface: Surface) -> LabFit:
        """Law of each dye and one stiffness for all, by depths left out; then all depths."""
        jobs = []
        for dye in range(len(self.ladders)):
            steps = self._steps(dye)
            short = len(steps) < 3
            for stiffness in STIFFNESS:
                for law in [LAWS.index("Freundlich")] if short else range(len(LAWS)):
                    folds = [np.nan] if short else [np.nan, *steps]
                    jobs += [(dye, law, stiffness, fold) for fold in folds]
        table = _Jobs.of(jobs)
        solved = self._solve(table, surface)
        choices = [self._choose_laws(table, solved, stiffness) for stiffness in STIFFNESS]
        scores = [np.concatenate([c.shape for c in choice]) for choice in choices]
        best = STIFFNESS.index(TYPICAL_STIFFNESS)
        if len(scores[0]) > 1:
            best = int(np.argmin([score.mean() for score in scores]))
        picked = np.array([c.job for c in choices[best]])
        fits = tuple(c.fit for c in choices[best])
        return LabFit(fits, STIFFNESS[best], solved.problem[picked], solved.unknowns[picked])

    def _choose_laws(self, table: _Jobs, solved: _Solved, stiffness: float) -> list[_Choice]:
        out = []
        for dye, ladder in enumerate(self.ladders):
            mine = (table.dye == dye) & (table.stiffness == stiffness)
            whole = {
                int(table.law[j]): int(j) for j in np.nonzero(mine & np.isnan(table.left_out))[0]
            }
            if len(whole) == 1:
                ((law, job),) = whole.items()
                fit = DyeFit(_curve(law, solved.unknowns[job]), None, TYPICAL_LAW)
                out.append(_Choice(job, fit, np.empty(0)))
                continue
            left, shapes = {}, {}
            for law in whole:
                rows = np.nonzero(mine & (table.law == law) & ~np.isnan(table.left_out))[0]
                left[law], shapes[law] = _gather(ladder, rows, table, solved)
            inner = left[0].inner
            miss = {law: x.delta_e[inner] for law, x in left.items()}
            # The prior holds a bent law's parameter: it needs no head start over the straight one.
            law = min(miss, key=lambda law: float(miss[law].mean()))
            fit = DyeFit(_curve(law, solved.unknowns[whole[law]]), left[law])
            out.append(_Choice(whole[law], fit, shapes[law][inner]))
        return out


@dataclass(frozen=True, eq=False)
class _Choice:
    job: int
    fit: DyeFit
    shape: Array


def _start(ladder: LabLadder, cloth: Array) -> Array:
    """Log curve ``(B,)`` to start from: the mean over the given spectra, typical law."""
    r = np.clip(ladder.spectra, 1e-3, 0.999)
    k = k_over_s(r) - k_over_s(cloth)
    k = np.maximum(k, 0.02 * k.max(axis=1, keepdims=True))
    g = ladder.depths[:, np.newaxis] ** TYPICAL_EXPONENT
    return np.asarray(np.log(np.maximum(k, 1e-6) / g).mean(axis=0))


def _curve(law: int, unknowns: Array) -> Curve:
    n, q = law_parameters(np.array(law), unknowns[-1])
    return Curve(float(n), float(q), np.exp(unknowns[:BANDS]), 0.0)


def _gather(
    ladder: LabLadder, jobs: NDArray[np.intp], table: _Jobs, solved: _Solved
) -> tuple[LeftOut, Array]:
    """Left-out figures of one dye and law, a number a swatch: the mean over its rows."""
    count = len(ladder.depths)
    values = np.zeros((3, count))
    for j in jobs:
        out = ladder.depths == table.left_out[j]
        for value, rows in zip(
            values, (solved.miss, np.log(solved.strength), solved.shape), strict=True
        ):
            value[out] = rows[j, :count][out]
    per = np.bincount(ladder.swatch)
    miss, logs, shape = (np.bincount(ladder.swatch, v) / per for v in values)
    depths = np.bincount(ladder.swatch, ladder.depths) / per
    steps = np.unique(ladder.depths)
    inner = (depths > steps[0] * (1 + 1e-9)) & (depths < steps[-1] * (1 - 1e-9))
    return LeftOut(miss, inner, np.exp(logs)), shape


@dataclass(frozen=True, eq=False)
class LabFit:
    """Lab-only dyes, fitted: a `DyeFit` each, the stiffness chosen, and what a draw needs."""

    fits: tuple[DyeFit, ...]
    stiffness: float
    problem: Problem
    unknowns: Array

    def draw(
        self, many: int, strength: float, rng: np.random.Generator
    ) -> tuple[Array, Array, Array]:
        """`many` equally likely curves ``(E, D, B)``, exponents and capacities ``(E, D)``.

        Readings are moved by what the fit leaves, and each swatch along its ladder by the
        bath-to-bath scatter `strength` of ln(strength); the prior by its own spread. What the
        reader states as its error moves a ladder as a whole: a camera misreads all depths of one
        dye alike, since it sees one spectrum in them.
        """
        dyes = len(self.fits)
        seen = self.problem.seen(self.unknowns)
        counts = self.problem.rows.counts
        left = (self.problem.whitener @ seen.miss[..., np.newaxis])[..., 0]
        bend = self.problem.prior_residual(self.unknowns)
        # At the minimum the weighted squares of readings and prior together expect the number of
        # readings: what they come to instead says how far off the stated scatters are.
        squares = (counts * (left**2).sum(axis=-1)).sum() + (bend**2).sum()
        scale = float(np.sqrt(squares / (3.0 * counts.sum())))
        pick = np.repeat(np.arange(dyes), many)
        problem, unknowns = self.problem[pick], self.unknowns[pick]
        shape = problem.rows.goal.shape
        pots = strength * rng.standard_normal(shape[:2])[..., np.newaxis] * seen.by_strength[pick]
        noise = scale * READING_SCATTER * rng.standard_normal(shape) + pots
        if self.problem.rows.scatter.any():
            alike = rng.standard_normal((len(pick), 1, 3, 1))
            share = np.sqrt(_OF_A_LADDER)
            noise = noise + share * (self._stated_roots()[pick] @ alike)[..., 0]
        bent = scale * self.stiffness * rng.standard_normal(problem.prior_mean.shape)
        problem = replace(problem, noise=noise, prior_mean=problem.prior_mean + bent)
        drawn = minimise(problem, unknowns, 15, 1e-3)
        n, q = law_parameters(problem.law, drawn[:, -1])
        order = (dyes, many)
        curves = np.exp(drawn[:, :BANDS]).reshape(*order, BANDS).transpose(1, 0, 2)
        return curves, n.reshape(order).T, q.reshape(order).T

    def _stated_roots(self) -> Array:
        """Symmetric roots ``(D, S, 3, 3)`` of the stated covariances, in the parts of ΔE2000."""
        rows = self.problem.rows
        _, metric = delta_e_residual(rows.goal, rows.goal + 1e-6)
        values, vectors = np.linalg.eigh(metric @ rows.scatter @ np.swapaxes(metric, -1, -2))
        roots = np.sqrt(np.maximum(values, 0.0))[..., np.newaxis, :]
        return np.asarray((vectors * roots) @ np.swapaxes(vectors, -1, -2))
