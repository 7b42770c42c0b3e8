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
surface of a grid the ladders are fitted, and weighed softly by what they leave
(`Squares.surfaces`). The fit stands at the mean surface. How curves and laws follow the surface, a
standard deviation to either side, is kept among what is open, and mixes move it
(`dyemix.fitting.calibration`). On simulated worlds that predicts as well as an average over all
surfaces.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial, reduce
from typing import Any, NamedTuple

import numpy as np

from dyemix.arrays import Array, Flags, Indices, robust_deviation
from dyemix.colour.ciede2000 import delta_e_residual, metric
from dyemix.colour.colorimetry import WAVELENGTHS, Light
from dyemix.dataset.conditions import mottled
from dyemix.dataset.swatches import Swatch, SwatchSet
from dyemix.errors import said
from dyemix.fitting.lab_ladder import DRIFT, LAW, LAW_BOUNDS, LAW_SPREAD, LabLadders
from dyemix.fitting.lent_ladder import ENOUGH_DEPTHS, LentLadders
from dyemix.model import uncertainty
from dyemix.model.dyes import DyeSet, Ladders
from dyemix.model.kubelka_munk import Surface, depth_law, depth_law_by_law
from dyemix.model.uncertainty import PRIOR_MOTTLE, PRIOR_READING, PRIOR_STRENGTH, PRIOR_WORTH
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
    """Ladders of spectra of D dyes on one cloth, N squares in all.

    `own` ``(D, N)`` is 1 where a square is of a dye, and `dye` ``(N,)`` says of which; `depths`
    ``(N,)`` % owf; `reflectance` ``(N, B)``; `cloth` ``(B,)``.
    """

    def __init__(self, ladders: Mapping[str, Sequence[Swatch]], cloth: Array) -> None:
        every = ((i, name, s) for i, (name, some) in enumerate(ladders.items()) for s in some)
        rows = ((i, swatch.recipe[name], swatch.reflectance) for i, name, swatch in every)
        self.dye, self.depths, self.reflectance = map(np.array, zip(*rows, strict=True))
        self.own, self.cloth = np.eye(len(ladders))[:, self.dye], cloth
        self.lowest = float(self.reflectance.min())

    def fit(self, surface: Surface, counts: Array, strength: float) -> tuple[Ladders, Array]:
        """Every dye under this surface, and weighted squares ``(D,)`` that are left, priors
        included.

        `counts` ``(N,)`` says how much each square counts; `strength` is the standard error of
        ln(strength) from bath to bath.
        """
        there, dye = counts > 0.0, self.dye
        k = surface.k_over_s(np.minimum(self.reflectance, 1.0)) - surface.k_over_s(self.cloth)
        # A dye that shines of itself outshines its cloth: a band tells no more there than cloth.
        lit = surface.inside(np.minimum(self.reflectance, self.cloth))
        weight = surface.slope(lit) ** 2 * counts[:, np.newaxis]
        law, astray = np.tile(LAW, (len(self.own), 1)), np.zeros_like(self.depths)
        variance = strength**2
        for _ in range(_ROUNDS):
            works = depth_law(self.depths, law[dye])
            curves = self._curves(weight, k, works * np.exp(astray))[dye]
            bottom = np.where(there, (weight * curves**2).sum(axis=1), 1.0)
            top = (weight * k * curves).sum(axis=1)
            # A swatch that reads lighter than its cloth has no strength; it is kept out of the log.
            found = np.where(there, np.maximum(top / bottom, 1e-3 * works), works)
            seen = (READING_SD / found) ** 2 / bottom
            trust = self.own * (counts / (variance + seen))
            y = np.log(found / works)
            # Level, exponent, bend.
            x = np.column_stack([np.ones(len(y)), depth_law_by_law(self.depths, law[dye])])
            normal = np.tensordot(trust, x[..., np.newaxis] * x[:, np.newaxis], 1)
            normal[:, [1, 2], [1, 2]] += LAW_SPREAD**-2
            right = trust @ (x * y[:, np.newaxis])
            right[:, 1:] += (LAW - law) / LAW_SPREAD**2
            step = np.linalg.solve(normal, right[..., np.newaxis])[..., 0]
            law = np.clip(law + step[:, 1:], *LAW_BOUNDS.T)
            left = y - (x * step[dye]).sum(axis=1)
            astray = np.where(there, variance / (variance + seen) * left, 0.0)
        h = depth_law(self.depths, law[dye]) * np.exp(astray)
        curves = self._curves(weight, k, h)
        shape = (weight * (k - h[:, np.newaxis] * curves[dye]) ** 2).sum(axis=1)
        off = (((law - LAW) / LAW_SPREAD) ** 2).sum(axis=1)
        # A spectrum tells about as much as three numbers: its bands do not err apart.
        size = 3.0 / (len(WAVELENGTHS) * READING_SD**2)
        cost = self.own @ (size * shape + astray**2 / variance) + off
        covariance = np.linalg.inv(normal)
        covariance[:, 0, 0] += DRIFT**2
        root = np.linalg.cholesky(covariance).swapaxes(1, 2)
        level = np.repeat(root[..., :1], len(WAVELENGTHS), axis=2)
        turn = np.append(self._turns(weight, k, h, curves), np.zeros_like(law), axis=1)
        modes = np.append(level, root[..., 1:], axis=2)
        modes = np.append(modes, turn[:, np.newaxis], axis=1)
        return Ladders(curves, law, surface, replace(Modes.none(*curves.shape), own=modes)), cost

    def _turns(self, weight: Array, k: Array, h: Array, curves: Array) -> Array:
        """How ln of each curve changes ``(D, B)`` as over a threefold depth.

        A regression of what is left of K/S, band by band: bands that move or flatten as a dye
        stacks, and light that it gives out and takes back, go on to do so in company, either way.
        """
        alone, log = h[:, np.newaxis] * curves[self.dye], np.log(self.depths)[:, np.newaxis]
        tells = np.maximum(weight * alone**2, _LEAST)
        # Each band about the depth where its curve stands.
        middle = (self.own @ (tells * log)) / (self.own @ tells)
        by_turn = alone * (log - middle[self.dye])
        seen = self.own @ (weight * by_turn**2) + (READING_SD / _TURNS) ** 2
        turns = self.own @ (weight * by_turn * (k - alone)) / seen
        return np.asarray(np.clip(_AS_OVER * turns, -_TURNS_MOST, _TURNS_MOST))

    def _curves(self, weight: Array, k: Array, h: Array) -> Array:
        """Curves ``(D, B)`` for strengths ``(N,)``. A dye does not brighten cloth: a bound."""
        strength = h[:, np.newaxis]
        bottom = np.maximum(self.own @ (weight * strength**2), 1e-300)
        return np.asarray(np.maximum(self.own @ (weight * strength * k) / bottom, _LEAST))


# Surfaces -----------------------------------------------------------------------------------------


class Beside(NamedTuple):
    """N squares beside what is predicted of them: arrays ``(N,)``.

    `lab` ``(N, 3)`` as predicted, and `delta_e` from it; `across` the square of it that no other
    strength would mend, and `expected` what the fit leaves open of that and readings stray by;
    `stronger` ln of how much stronger a square is than predicted; `tells` whether its colour says
    anything of strength, beyond that of its own dye.
    """

    lab: Array
    delta_e: Array
    across: Array
    expected: Array
    stronger: Array
    tells: Flags


class Squares:
    """The squares of D dyes, N of them, and fits of them under one surface after another.

    Dyes of too few depths borrow from a `lender` that has them.

    Attributes
    ----------
    names : the dyes.
    swatches : the squares, dye by dye, palest first.
    dye, depth, measured : of those, as ``(N,)``, % owf ``(N,)``, CIELAB ``(N, 3)`` under `light`.
    step, last : ``(N,)`` which of the depths of its dye a square is of, and the last of them.
    inner : ``(N,)`` which lie between the palest and the deepest of their dye.
    counts : ``(N,)`` how much each counts.
    cloth : ``(B,)`` of the undyed cloth.
    lent, rough : ``(D,)`` which dyes borrow; which of them all have no ladder of spectra.
    borrowed : what `ladders` borrowed, in sentences.
    lowest : the lowest reflectance, or stimulus as a share of white, of any square.
    """

    def __init__(
        self, ladders: Mapping[str, Sequence[Swatch]], cloth: Array, light: Light,
        lender: DyeSet | None = None,
    ) -> None:  # fmt: skip
        self.names, self.light, self.cloth = tuple(ladders), light, cloth
        self.swatches = [s for some in ladders.values() for s in some]
        self.dye = np.repeat(np.arange(len(ladders)), [len(some) for some in ladders.values()])
        self.depth = np.array([s.recipe.total for s in self.swatches])
        self.measured = np.array([s.colour(light) for s in self.swatches])
        self.counts = np.ones(len(self.swatches))
        of = [np.unique([s.recipe.total for s in x], return_inverse=True) for x in ladders.values()]
        self.step = np.concatenate([step for _, step in of])
        depths = np.array([len(depths) for depths, _ in of])
        self.last = depths[self.dye] - 1
        self.inner = (self.step > 0) & (self.step < self.last)
        lends = np.isin(self.names, lender.names if lender else ())
        self.lent = lends & (depths < ENOUGH_DEPTHS)
        rough = np.array([any(s.rough for s in some) for some in ladders.values()])
        self.rough = rough | self.lent
        self._kind = np.where(self.lent, 2, self.rough)
        ways: list[Callable[..., Any]] = [SpectralLadders, LabLadders]
        ways += [partial(LentLadders, lender, light)] if lender else []
        self._kinds: list[tuple[Flags, SpectralLadders | LabLadders | LentLadders]] = []
        for i in np.unique(self._kind).tolist():
            which = self._kind == i
            some = {name: ladders[name] for name in np.array(self.names)[which].tolist()}
            self._kinds.append((which, ways[i](some, cloth)))
        own = [kind.lowest for _, kind in self._kinds if not isinstance(kind, LentLadders)]
        self.lowest = min(own) if own or not lender else lender.ladders.ceiling / _R0_SHARE

    def fit(self, surface: Surface, counts: Array, strength: float) -> tuple[Ladders, Array]:
        """Every dye under this surface, and what is left of each ``(D,)``; `counts` ``(N,)`` says
        how much each square counts.
        """
        fits = [kind.fit(surface, counts[x[self.dye]], strength) for x, kind in self._kinds]
        parts, costs = zip(*fits, strict=True)
        # Those of the first kind stand first, and are put in the order of the dyes.
        order = np.argsort(np.argsort(self._kind, kind="stable"))
        return reduce(beside, parts).take(order.tolist()), np.concatenate(costs)[order]

    def left_out(self, surface: Surface) -> Beside:
        """Each square as a fit without its depth shows it, where its dye has three or more."""
        folds = []
        for fold in range(int(self.last.max()) + 1):
            out = (self.step == fold) & (self.last > 1)
            fitted, _ = self.fit(surface, np.where(out, 0.0, self.counts), PRIOR_STRENGTH)
            folds.append(self.beside(fitted))
        at = self.step, np.arange(len(self.step))
        return Beside(*(np.stack(values)[at] for values in zip(*folds, strict=True)))

    def beside(self, ladders: Ladders) -> Beside:
        """The squares beside this fit of them."""
        modes, dyes = ladders.modes, np.eye(len(self.names))
        amounts = self.depth[:, np.newaxis] * dyes[self.dye]
        blends = ladders.blends(np.zeros(modes.unknowns), self.cloth)
        seen, slopes = uncertainty.effects(blends, amounts, self.light, modes)
        by_strength = seen.by_strength.sum(axis=2)
        own = slice(modes.of_surface.start + modes.shared.shape[1], modes.of_ladders.stop)
        miss, _ = delta_e_residual(seen.lab, self.measured)
        by_lab = metric(seen.lab)
        way = (by_lab @ by_strength[..., np.newaxis])[..., 0]
        size = (way * way).sum(axis=1)
        logs = (miss * way).sum(axis=1) / np.maximum(size, 1e-12)
        along = way / np.sqrt(np.maximum(size, 1e-12))[:, np.newaxis]
        off_way = np.eye(3) - along[:, :, np.newaxis] * along[:, np.newaxis, :]
        return Beside(
            seen.lab, np.sqrt((miss * miss).sum(axis=1)),
            ((off_way @ miss[..., np.newaxis]) ** 2).sum(axis=(1, 2)),
            ((off_way @ by_lab @ slopes[..., own]) ** 2).sum(axis=(1, 2)) + 2.0 * PRIOR_READING**2,
            np.clip(logs, -3.0, 3.0), (size > _SEEN**2) & ~self.lent[self.dye],
        )  # fmt: skip

    def surfaces(self) -> tuple[Surface, Array]:
        """The mean surface, and the spread ``(2,)`` of r0 and k2 about it."""
        top = min(_R0_MOST, _R0_SHARE * self.lowest)
        for which, kind in self._kinds:
            if isinstance(kind, LabLadders):
                kind.weigh(Surface(0.4 * top, 0.3), self.counts[which[self.dye]])
        grid = [(r0, k2) for r0 in np.linspace(0.0, top, _R0_STEPS) for k2 in _INSIDE]
        some, trust = (self.rough, _TRUST_LAB) if self.rough.all() else (~self.rough, _TRUST)
        fits = (self.fit(Surface(*at), self.counts, PRIOR_STRENGTH) for at in grid)
        cost = np.array([left[some].sum() for _, left in fits])
        weights = (cost / cost.min()) ** -trust
        points, weights = np.array(grid), weights / weights.sum()
        mean = weights @ points
        return Surface(*mean.tolist()), np.sqrt(weights @ (points - mean) ** 2)

    def ladders(self, surface: Surface, spread: Array, strength: float) -> Ladders:
        """The dyes at this surface, and all that is open of them."""
        (middle, _), ceiling = self.fit(surface, self.counts, strength), _R0_SHARE * self.lowest
        lent = (kind for _, kind in self._kinds if isinstance(kind, LentLadders))
        self.borrowed = [text for kind in lent for text in kind.told]
        at = np.array([surface.r0, surface.k2])
        high = np.minimum(at + spread, [max(ceiling, surface.r0), _INSIDE[-1] + 0.05])
        low = np.maximum(at - spread, 0.0)
        share = (spread / np.maximum(high - low, 1e-12))[:, np.newaxis, np.newaxis]
        ends = [np.where(axis, end, at).tolist() for axis in np.eye(2) for end in (high, low)]
        fits = (self.fit(Surface(*end), self.counts, strength) for end in ends)
        seen = np.array([np.append(np.log(each.curves), each.law, axis=1) for each, _ in fits])
        shared = np.array(middle.modes.shared)
        shared[:, :2] = (share * (seen[::2] - seen[1::2])).swapaxes(0, 1)
        modes = replace(middle.modes, surface=spread, shared=shared)
        return replace(middle, modes=modes, ceiling=ceiling)


def beside(one: Ladders, other: Ladders) -> Ladders:
    """Dyes and others, read under the same surface; one kind at most from photographs."""

    def rows(kind: str) -> Array:
        """What is open of each ``(D, Q, M)``, filled up with 0 to as many."""
        both = [getattr(each.modes, kind) for each in (one, other)]
        most = max(part.shape[1] for part in both)
        padded = [np.pad(x, ((0, 0), (0, most - x.shape[1]), (0, 0))) for x in both]
        return np.concatenate(padded)

    curves, law = np.append(one.curves, other.curves, 0), np.append(one.law, other.law, 0)
    modes = replace(one.modes, own=rows("own"), shared=rows("shared"))
    return replace(one, curves=curves, law=law, modes=modes, pictures=one.pictures + other.pictures)


def scatter_of(
    squares: Beside, dye: Indices, depth: Array, swatches: SwatchSet, trust: float = 1.0
) -> uncertainty.Scatter:
    """Every scatter as squares of dyes ``(N,)`` at depths ``(N,)`` show it, under its prior.

    Squares dyed again count in full; how far single squares lie from their law counts at a third,
    since that holds the law's own misfit too, times the `trust` that ladders behave as dye. Half of
    the variance is taken for dosing and half for the pot: squares of one dye show both together.
    """
    found = [(0.0, 0.0, 0.0, 0.0)]
    for i in np.unique(dye[squares.tells]):
        mine = squares.tells & (dye == i)
        logs = squares.stronger[mine]
        straight = np.abs(logs) <= max(_STRAY * robust_deviation(logs), _AMISS)
        logs = logs[straight]
        _, at, count = np.unique(depth[mine][straight], return_inverse=True, return_counts=True)
        means = np.bincount(at, logs) / count
        strayed, free = ((logs - means[at]) ** 2).sum(), len(logs) - len(means)
        # A level, and a law under its prior.
        found.append((strayed, free, (means**2).sum(), max(len(means) - 1.5, 0.0)))
    again, freedom, ladder, ladder_freedom = map(sum, zip(*found, strict=True))
    total = (PRIOR_WORTH * PRIOR_STRENGTH**2 + again + trust * ladder / 3.0) / (
        PRIOR_WORTH + freedom + trust * ladder_freedom / 3.0
    )
    half = float(np.sqrt(total / 2.0))
    note = said("fit.scatter", half=100.0 * half, again=freedom, ladder=ladder_freedom)
    reading, origin = _reading(swatches)
    return uncertainty.Scatter(half, half, reading, warnings=(note, origin))


def _reading(swatches: SwatchSet) -> tuple[Array, str]:
    """`Scatter.reading` ``(3, 3)``, stated by the reader or from repeats, and where it is from.

    Taken in the parts of ΔE2000 colour by colour: a mean over CIELAB would be ruled by the a* and
    b* of the most colourful squares, and be far too much for a grey. Of low water it is that of one
    spot of mottled cloth, which a reader that states its own error does not know. What readings
    state is that of the next one where most of them state it: beside a table read otherwise, a
    photograph of its squares says nothing of how the next piece is read.
    """
    light, uneven = swatches.light, bool(mottled(swatches.conditions()))
    stated = [r for r in swatches.readings if r.covariance is not None]
    known, most = np.zeros((3, 3)), 2 * len(stated) > len(swatches.readings)
    if most:
        by_lab = metric(np.array([r.colour(r.light or light) for r in stated]))
        covariance = np.array([r.covariance for r in stated])
        known = (by_lab @ covariance @ by_lab.transpose(0, 2, 1)).mean(axis=0)
        if not uneven:
            return known, f"reading: as stated with {len(stated)} readings"
    again = ([r for r in s.readings if most or r.covariance is None] for s in swatches.swatches)
    labs = [np.array([r.colour(light) for r in some]) for some in again if len(some) > 1]
    apart = [(x - x.mean(axis=0)) @ metric(x.mean(axis=0)).T for x in labs]
    rows, freedom = np.concatenate([np.empty((0, 3)), *apart]), sum(len(x) - 1 for x in labs)
    prior = PRIOR_MOTTLE if uneven else PRIOR_READING
    total = (PRIOR_WORTH * np.eye(3) * prior**2 + rows.T @ rows) / (PRIOR_WORTH + freedom)
    origin = f"from {freedom} readings repeated" if freedom else "assumed, none repeated"
    return known + total, f"reading{' of one spot in low water' * uneven}: {origin}"
