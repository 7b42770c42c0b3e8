"""One calibration: what a shelf does on a cloth, given everything dyed so far, each thing once.

Ladders give the dyes by themselves and what they leave open (`dyemix.fitting.fit`). Every pot since
is a CIELAB reading y of known amounts, linear in the unknowns θ of `dyemix.model.unknowns`, in the
three parts of ΔE2000:

    y = f(θ₀) + H (θ − θ₀) + e,    e ~ N(0, Σ_dosing + Σ_pot + Σ_reading + own(τ) + s² I).

For given τ, s and ν that is a Gaussian linear model with a closed posterior and a closed marginal
likelihood; they are marginalised on a grid, and the mixture is matched in its first two moments.
H is taken again at the posterior mean. A pot left out in turn is predicted from the others in
closed form: with V the posterior variance of its whitened prediction and e its whitened residual,
the left-out residual is ``(I − V)⁻¹ e`` of covariance ``(I − V)⁻¹``, and the cells are weighed
again without it. Where left-out pots stray more than is promised, the promise is widened; never
narrowed.

Repeats of one recipe share its own error: they count as one pot, read several times.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e, delta_e_residual
from dyemix.model.dyes import DyeSet, Ladders, Pot
from dyemix.model.kubelka_munk import Surface
from dyemix.model.uncertainty import Likely, effects, likely, pot_to_pot
from dyemix.model.unknowns import CURVE_PARTS, OWN_SHARE, Cells, Modes, Posterior

#: H is taken again at the posterior mean of one typical cell until θ stands to within this, or so
#: many times.
_STANDS, _AGAIN = 0.02, 8
#: What the unknowns of the surface may move in one round, in standard deviations.
_LONGEST = 1.2
#: Bounds of k2 once mixes are read. Below 0 it is no reflection inside, but what cloth that shows
#: what lies behind it does to the scale of reflectances.
_INSIDE = (-0.5, 0.75)
#: The widening check is worth this many pots that stray as promised.
_WIDENING_WORTH = 5.0


@dataclass(frozen=True, eq=False)
class LeftOut:
    """Pots as the others predict them.

    `pots`, N of them; `lab` ``(N, 3)`` predicted; `covariance` ``(N, 3, 3)`` promised;
    `delta_e` ``(N,)`` found; `promised` the distribution of ΔE2000 that was promised.
    """

    pots: tuple[Pot, ...]
    lab: Array
    covariance: Array
    delta_e: Array
    promised: Likely

    @property
    def kept(self) -> int:
        """How many came within what nine in ten should stay below."""
        return int((self.delta_e <= self.promised.bound).sum())


@dataclass(frozen=True, eq=False)
class Calibrated:
    """Dyes moved by pots, and those pots left out in turn."""

    dyes: DyeSet
    left_out: LeftOut


def ladders_of(dyes: DyeSet) -> Ladders:
    """The dyes before any pot; those of a set that no fit made are as they stand."""
    return dyes.ladders or Ladders(
        dyes.curves,
        dyes.law,
        dyes.surface,
        Modes.none(*dyes.curves.shape),
        interaction=dyes.interaction,
    )


def moved(dyes: DyeSet, ladders: Ladders, theta: Array) -> DyeSet:
    """The dyes of these ladders with θ ``(P,)`` applied."""
    modes, (count, own) = ladders.modes, ladders.modes.laws.shape[:2]
    ends = [count, count + 2, count + 4, modes.of_ladders.stop]
    strength, (bias, interaction), surface, u, change = np.split(theta, ends)
    u = u.reshape(count, own)
    curves = np.tensordot(surface, modes.surface_curves, 1)
    law = ladders.law + np.tensordot(surface, modes.surface_laws, 1)
    r0, k2 = np.array([ladders.surface.r0, ladders.surface.k2]) + modes.surface * surface
    return replace(
        dyes,
        curves=ladders.curves * np.exp(curves + np.einsum("dq,dqb->db", u, modes.curves)),
        law=law + np.einsum("dq,dql->dl", u, modes.laws),
        surface=Surface(float(r0), float(k2)),
        company=strength + bias,
        interaction=ladders.interaction + float(interaction),
        company_curve=change.reshape(count, -1) @ CURVE_PARTS if change.any() else None,
    )


@dataclass(frozen=True, eq=False)
class _Groups:
    """Pots by recipe, G of them: amounts ``(G, D)``, the members of each, and what they count."""

    amounts: Array
    members: tuple[tuple[Pot, ...], ...]

    @classmethod
    def of(cls, dyes: DyeSet, pots: Sequence[Pot]) -> _Groups:
        by_recipe: dict[tuple[float, ...], list[Pot]] = {}
        for pot in pots:
            by_recipe.setdefault(tuple(dyes.amounts(pot.recipe)), []).append(pot)
        return cls(np.array(list(by_recipe)), tuple(map(tuple, by_recipe.values())))

    @property
    def weights(self) -> Array:
        return np.array([sum(pot.weight for pot in some) for some in self.members])

    def readings(self, labs: Array) -> tuple[Array, Array]:
        """CIELAB ``(G, 3)``, the mean of each group, and its stated covariance of one reading.

        A clipped reading is open where `labs` ``(G, 3)``, the prediction, lies beyond it.
        """
        means, spreads = np.zeros_like(labs), np.zeros((*labs.shape, 3))
        for i, some in enumerate(self.members):
            shares = np.array([pot.weight for pot in some])
            shares = shares / shares.sum()
            for pot, share in zip(some, shares, strict=True):
                means[i] += share * pot.lab
                if pot.covariance is not None:
                    spreads[i] += share * pot.covariance
                if pot.clipped is not None:
                    spreads[i] += share * pot.clipped.open(labs[i] - pot.lab)
        return means, spreads


@dataclass(frozen=True, eq=False)
class _Linear:
    """The linear model in each of C cells, and what is needed to leave out each of G groups.

    `theta` ``(C, P)`` and `covariance` ``(C, P, P)``; `log_weight` ``(C,)`` prior and marginal
    likelihood; `slope` ``(C, G, 3, P)`` and `left` ``(C, G, 3)`` whitened, `root`
    ``(C, G, 3, 3)`` which undoes the whitening; `by_lab` ``(G, 3, 3)`` the parts of ΔE2000 by
    CIELAB; `measured` ``(G, 3)`` CIELAB.
    """

    theta: Array
    covariance: Array
    log_weight: Array
    slope: Array
    left: Array
    root: Array
    by_lab: Array
    measured: Array

    @cached_property
    def weights(self) -> Array:
        weights = np.exp(self.log_weight - self.log_weight.max())
        return np.asarray(weights / weights.sum())

    @cached_property
    def mean(self) -> Array:
        """θ ``(P,)``, over the cells."""
        return np.asarray(self.weights @ self.theta)

    def spread(self) -> Array:
        """Covariance ``(P, P)`` of θ, over the cells."""
        apart = self.theta - self.mean
        within = np.tensordot(self.weights, self.covariance, 1)
        return np.asarray(within + (self.weights * apart.T) @ apart)


def condition(dyes: DyeSet, pots: Iterable[Pot]) -> Calibrated:
    """The dyes as their ladders and these pots, of a first bath each, show them.

    Whatever pots moved `dyes` before is undone. The same pots in any order, or told twice, give
    the same dyes. Raises `RecipeError` for a dye that the shelf does not have.
    """
    ladders = ladders_of(dyes)
    modes, misfit = ladders.modes, ladders.misfit
    unique = {pot.identity: pot for pot in pots}
    kept = [pot for _, pot in sorted(unique.items(), key=lambda item: repr(item[0]))]
    firsts = [pot for pot in kept if pot.on is None]
    theta = np.zeros(modes.unknowns)
    base = replace(dyes, pots=tuple(kept), ladders=ladders)
    if not firsts:
        known = Posterior.prior(modes, misfit)
        none = np.empty(0)
        empty = LeftOut(
            (), np.empty((0, 3)), np.empty((0, 3, 3)), none, Likely(none, none, none, none, none)
        )
        return Calibrated(replace(moved(base, ladders, theta), posterior=known), empty)
    groups, cells = _Groups.of(dyes, firsts), Cells.of(misfit)
    for _ in range(_AGAIN):
        found = _linear(moved(base, ladders, theta), groups, theta, ladders, cells.typical)
        last, theta = theta, _bounded(theta, found, ladders)
        if np.abs(theta - last).max() < _STANDS:
            break
    found = _linear(moved(base, ladders, theta), groups, theta, ladders, cells)
    theta = _bounded(found.mean, found, ladders)
    miss, spread = _without_each(found)
    square = np.einsum("gi,gij,gj->g", miss, np.linalg.inv(spread), miss)
    # A squared distance in three parts expects 3.
    count = len(groups.members)
    widening = (_WIDENING_WORTH + square.sum() / 3.0) / (_WIDENING_WORTH + count)
    weighed = replace(cells, weight=found.weights)
    known = Posterior.of(theta, found.spread(), weighed, misfit, max(1.0, float(widening)))
    inverse = np.linalg.pinv(found.by_lab)
    predicted = found.measured - (inverse @ miss[..., np.newaxis])[..., 0]
    promised = known.widening * inverse @ spread @ inverse.transpose(0, 2, 1)
    left_out = _left_out(groups, predicted, promised, known.freedom)
    return Calibrated(replace(moved(base, ladders, theta), posterior=known), left_out)


def _linear(now: DyeSet, groups: _Groups, theta: Array, ladders: Ladders, cells: Cells) -> _Linear:
    """The linear model about θ."""
    modes, light = ladders.modes, now.light
    seen, by_theta = effects(now.whole, groups.amounts, light, modes)
    measured, stated = groups.readings(seen.lab)
    miss, by_lab = delta_e_residual(measured, seen.lab)
    slope = by_lab @ by_theta
    y = slope @ theta - miss
    dosing, pot = pot_to_pot(seen, groups.amounts, now.scatter)
    weights = groups.weights[:, np.newaxis, np.newaxis]
    again = by_lab @ (dosing + pot + stated) @ by_lab.transpose(0, 2, 1) + now.scatter.reading
    pull = OWN_SHARE * by_lab @ (seen.by_strength * seen.share[:, np.newaxis, :])
    less = np.minimum(weights, 1.0)
    strays = pull @ pull.transpose(0, 2, 1) / less
    strength2, rest2 = (x[:, np.newaxis, np.newaxis, np.newaxis] ** 2
                        for x in (cells.strength, cells.rest))  # fmt: skip
    noise = again / weights + strength2 * strays + rest2 * np.eye(3) / less
    root = np.asarray(np.linalg.cholesky(noise))
    inverse = np.linalg.inv(root)
    whitened, target = inverse @ slope, (inverse @ y[..., np.newaxis])[..., 0]
    rows = whitened.reshape(len(root), -1, len(theta))
    variances = cells.variances(modes)
    normal = rows.swapaxes(-1, -2) @ rows
    diagonal = np.arange(len(theta))
    normal[..., diagonal, diagonal] += 1.0 / variances
    right = (rows.swapaxes(-1, -2) @ target.reshape(len(root), -1, 1))[..., 0]
    covariance = np.asarray(np.linalg.inv(normal))
    mean = (covariance @ right[..., np.newaxis])[..., 0]
    size = (
        np.linalg.slogdet(normal)[1]
        + np.log(variances).sum(axis=1)
        + 2.0 * np.log(np.diagonal(root, axis1=-2, axis2=-1)).sum(axis=(-1, -2))
    )
    square = (target**2).sum(axis=(-1, -2)) - (right * mean).sum(axis=-1)
    left = target - (whitened @ mean[:, np.newaxis, :, np.newaxis])[..., 0]
    log_weight = np.log(cells.weight) - 0.5 * (square + size)
    return _Linear(mean, covariance, log_weight, whitened, left, root, by_lab, measured)


def _bounded(old: Array, found: _Linear, ladders: Ladders) -> Array:
    """θ moved to the posterior mean, the surface by not too much at once and within its bounds.

    Where the surface stops short, the other unknowns are those that go with it: the mean given
    that, ``θ + Σ_·s Σ_ss⁻¹ (s − θ_s)``.
    """
    count = len(ladders.law)
    at = slice(count + 2, count + 4)
    new, spread = found.mean, found.spread()
    step = new[at] - old[at]
    surface = old[at] + step * min(1.0, _LONGEST / max(float(np.abs(step).max()), 1e-9))
    middle = np.array([ladders.surface.r0, ladders.surface.k2])
    size = np.maximum(ladders.modes.surface, 1e-12)
    ends = np.array([[0.0, ladders.ceiling], _INSIDE]).T
    low, high = (ends - middle) / size
    surface = np.clip(surface, np.minimum(low, 0.0), np.maximum(high, 0.0))
    short = np.arange(at.start, at.stop)[np.abs(surface - new[at]) > 1e-9]
    gain = spread[:, short] @ np.linalg.inv(spread[np.ix_(short, short)])
    return np.asarray(new + gain @ (surface - new[at])[short - at.start])


def _without_each(found: _Linear) -> tuple[Array, Array]:
    """Each group as the others predict it: how far off ``(G, 3)``, and the covariance promised."""
    variance = found.slope @ found.covariance[:, np.newaxis] @ found.slope.swapaxes(-1, -2)
    rest = np.eye(3) - variance
    left = np.linalg.solve(rest, found.left[..., np.newaxis])
    # Density of the group given the others, whose weight goes without it.
    density = (
        -0.5 * (left[..., 0] * found.left).sum(axis=-1)
        + 0.5 * np.linalg.slogdet(rest)[1]
        - np.log(np.diagonal(found.root, axis1=-2, axis2=-1)).sum(axis=-1)
    )
    weights = found.log_weight[:, np.newaxis] - density
    weights = np.exp(weights - weights.max(axis=0))
    weights = weights / weights.sum(axis=0)
    off = (found.root @ left)[..., 0]
    spread = found.root @ np.linalg.inv(rest) @ found.root.swapaxes(-1, -2)
    mean = np.einsum("cg,cgi->gi", weights, off)
    apart = off - mean
    spread = np.einsum("cg,cgij->gij", weights, spread)
    return mean, spread + np.einsum("cg,cgi,cgj->gij", weights, apart, apart)


def _left_out(groups: _Groups, predicted: Array, spread: Array, freedom: float) -> LeftOut:
    """The same pot by pot."""
    which = np.repeat(np.arange(len(predicted)), [len(some) for some in groups.members])
    pots = tuple(pot for some in groups.members for pot in some)
    labs, spreads = predicted[which], spread[which]
    found = delta_e(labs, np.array([pot.lab for pot in pots]))
    return LeftOut(pots, labs, spreads, found, likely(labs, labs, spreads, freedom))
