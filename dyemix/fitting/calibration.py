"""One calibration: what a shelf does on a cloth, given everything dyed so far, each thing once.

Ladders give the dyes by themselves and what they leave open (`dyemix.fitting.fit`). Every pot since
is a CIELAB reading y of known amounts, linear in the unknowns θ of `dyemix.model.unknowns`, in the
three parts of ΔE2000:

    y = f(θ₀) + H (θ − θ₀) + e,    e ~ N(0, Σ_dosing + Σ_pot + Σ_reading + own(τ) + s² I).

For given τ and s that is a Gaussian linear model with a closed posterior and a closed marginal
likelihood; both are marginalised on a grid, and the mixture is matched in its first two moments.
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

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e, delta_e_residual
from dyemix.model.dyes import DyeSet
from dyemix.model.kubelka_munk import Surface
from dyemix.model.ladders import Ladders, Pot
from dyemix.model.uncertainty import Likely, effects, likely, pot_to_pot
from dyemix.model.unknowns import (
    OWN_SHARE,
    STRENGTH,
    TAUS,
    Modes,
    Posterior,
    prior_of_rest,
    prior_of_strength,
    prior_variances,
)

#: So many times H is taken again at the posterior mean of one typical cell of τ and s.
_AGAIN = 2
#: What the unknowns of the surface may move in one round, in standard deviations.
_LONGEST = 1.2
_MOST_INSIDE = 0.75
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
    count, own = ladders.modes.laws.shape[:2]
    strength, (bias, interaction), surface = np.split(theta[: count + 4], [count, count + 2])
    u, modes = theta[count + 4 :].reshape(count, own), ladders.modes
    curves = np.tensordot(surface, modes.surface_curves, 1) + np.einsum(
        "dq,dqb->db", u, modes.curves
    )
    law = ladders.law + np.tensordot(surface, modes.surface_laws, 1)
    r0, k2 = np.array([ladders.surface.r0, ladders.surface.k2]) + modes.surface * surface
    return replace(
        dyes,
        curves=ladders.curves * np.exp(curves),
        law=law + np.einsum("dq,dql->dl", u, modes.laws),
        surface=Surface(float(r0), float(k2)),
        company=strength + bias,
        interaction=ladders.interaction + float(interaction),
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
class _Grid:
    """Values of τ ``(T,)`` and s ``(S,)``, and log weights of their cells ``(T, S)``."""

    taus: Array
    rests: Array
    log_prior: Array

    @classmethod
    def of(cls, misfit: float) -> _Grid:
        weights, rests = prior_of_rest(misfit)
        log_prior = np.log(prior_of_strength())[:, np.newaxis] + np.log(weights)
        return cls(TAUS, rests, log_prior)

    @property
    def typical(self) -> _Grid:
        """One cell in the middle: enough to find where to linearise."""
        s = self.rests[[int(np.argmax(self.log_prior[0]))]]
        return _Grid(np.array([STRENGTH]), s, np.zeros((1, 1)))


@dataclass(frozen=True, eq=False)
class _Cells:
    """The linear model under every cell of τ and s, T × S of them.

    `theta` ``(T, S, P)`` and `covariance` ``(T, S, P, P)``; `log_weight` ``(T, S)`` prior and
    marginal likelihood; and, for what is left out: `slope` ``(T, S, G, 3, P)`` and `left`
    ``(T, S, G, 3)`` whitened, `root` ``(T, S, G, 3, 3)`` which undoes the whitening.
    """

    theta: Array
    covariance: Array
    log_weight: Array
    slope: Array
    left: Array
    root: Array

    @property
    def weights(self) -> Array:
        weights = np.exp(self.log_weight - self.log_weight.max())
        return np.asarray(weights / weights.sum())


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
    groups = _Groups.of(dyes, firsts)
    whole = _Grid.of(ladders.misfit)
    for grid in [whole.typical] * _AGAIN + [whole]:
        now = moved(base, ladders, theta)
        cells, by_lab, measured = _linear(now, groups, theta, ladders, grid)
        mean = np.einsum("ts,tsp->p", cells.weights, cells.theta)
        theta = _bounded(theta, mean, ladders)
    theta = _bounded(mean, mean, ladders)
    apart = cells.theta - mean
    covariance = np.einsum("ts,tspq->pq", cells.weights, cells.covariance)
    covariance = covariance + np.einsum("ts,tsp,tsq->pq", cells.weights, apart, apart)
    miss, spread = _without_each(cells)
    square = np.einsum("gi,gij,gj->g", miss, np.linalg.inv(spread), miss)
    # A squared distance in three parts expects 3.
    count = len(groups.members)
    widening = (_WIDENING_WORTH + square.sum() / 3.0) / (_WIDENING_WORTH + count)
    known = Posterior.of(theta, covariance, cells.weights, misfit, max(1.0, float(widening)))
    inverse = np.linalg.inv(by_lab)
    predicted = measured - (inverse @ miss[..., np.newaxis])[..., 0]
    promised = known.widening * inverse @ spread @ inverse.transpose(0, 2, 1)
    left_out = _left_out(groups, predicted, promised, known.freedom)
    return Calibrated(replace(moved(base, ladders, theta), posterior=known), left_out)


def _linear(
    now: DyeSet, groups: _Groups, theta: Array, ladders: Ladders, grid: _Grid
) -> tuple[_Cells, Array, Array]:
    """The linear model about θ: its cells, slope by CIELAB, and CIELAB measured."""
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
    noise = (
        (again / weights)[np.newaxis, np.newaxis]
        + grid.taus[:, np.newaxis, np.newaxis, np.newaxis, np.newaxis] ** 2 * strays
        + (grid.rests**2)[:, np.newaxis, np.newaxis, np.newaxis] * np.eye(3) / less
    )
    root = np.asarray(np.linalg.cholesky(noise))
    inverse = np.linalg.inv(root)
    whitened, target = inverse @ slope, (inverse @ y[..., np.newaxis])[..., 0]
    shape = (len(grid.taus), len(grid.rests), -1)
    rows = whitened.reshape(*shape, len(theta))
    variances = prior_variances(modes, grid.taus)
    normal = rows.swapaxes(-1, -2) @ rows
    diagonal = np.arange(len(theta))
    normal[..., diagonal, diagonal] += 1.0 / variances[:, np.newaxis]
    right = (rows.swapaxes(-1, -2) @ target.reshape(*shape, 1))[..., 0]
    covariance = np.asarray(np.linalg.inv(normal))
    mean = (covariance @ right[..., np.newaxis])[..., 0]
    size = (
        np.linalg.slogdet(normal)[1]
        + np.log(variances).sum(axis=1)[:, np.newaxis]
        + 2.0 * np.log(np.diagonal(root, axis1=-2, axis2=-1)).sum(axis=(-1, -2))
    )
    square = (target**2).sum(axis=(-1, -2)) - (right * mean).sum(axis=-1)
    left = target - (whitened @ mean[:, :, np.newaxis, :, np.newaxis])[..., 0]
    cells = _Cells(mean, covariance, grid.log_prior - 0.5 * (square + size), whitened, left, root)
    return cells, by_lab, measured


def _bounded(old: Array, new: Array, ladders: Ladders) -> Array:
    """θ moved to `new`, the surface by not too much at once and not out of its bounds."""
    count = len(ladders.law)
    at = slice(count + 2, count + 4)
    step = new - old
    theta = old + step * min(1.0, _LONGEST / max(float(np.abs(step[at]).max()), 1e-9))
    middle = np.array([ladders.surface.r0, ladders.surface.k2])
    size = np.maximum(ladders.modes.surface, 1e-12)
    high = np.array([ladders.ceiling, _MOST_INSIDE])
    theta[at] = np.clip(theta[at], -middle / size, np.maximum(high - middle, 0.0) / size)
    return theta


def _without_each(cells: _Cells) -> tuple[Array, Array]:
    """Each group as the others predict it: how far off ``(G, 3)``, and the covariance promised."""
    variance = cells.slope @ cells.covariance[:, :, np.newaxis] @ cells.slope.swapaxes(-1, -2)
    rest = np.eye(3) - variance
    left = np.linalg.solve(rest, cells.left[..., np.newaxis])
    # Density of the group given the others, whose weight goes without it.
    density = (
        -0.5 * (left[..., 0] * cells.left).sum(axis=-1)
        + 0.5 * np.linalg.slogdet(rest)[1]
        - np.log(np.diagonal(cells.root, axis1=-2, axis2=-1)).sum(axis=-1)
    )
    weights = cells.log_weight[..., np.newaxis] - density
    weights = np.exp(weights - weights.max(axis=(0, 1)))
    weights = weights / weights.sum(axis=(0, 1))
    off = (cells.root @ left)[..., 0]
    spread = cells.root @ np.linalg.inv(rest) @ cells.root.swapaxes(-1, -2)
    mean = np.einsum("tsg,tsgi->gi", weights, off)
    apart = off - mean
    spread = np.einsum("tsg,tsgij->gij", weights, spread)
    return mean, spread + np.einsum("tsg,tsgi,tsgj->gij", weights, apart, apart)


def _left_out(groups: _Groups, predicted: Array, spread: Array, freedom: float) -> LeftOut:
    """The same pot by pot."""
    which = np.repeat(np.arange(len(predicted)), [len(some) for some in groups.members])
    pots = tuple(pot for some in groups.members for pot in some)
    labs, spreads = predicted[which], spread[which]
    found = delta_e(labs, np.array([pot.lab for pot in pots]))
    return LeftOut(pots, labs, spreads, found, likely(labs, labs, spreads, freedom))
