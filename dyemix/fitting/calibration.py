"""One calibration: what a shelf does on a cloth, given everything dyed so far, each thing once.

Ladders give the dyes by themselves and what they leave open (`dyemix.fitting.fit`). Every pot since
is a CIELAB reading y of known amounts, linear in the unknowns θ of `dyemix.model.unknowns`, in the
three parts of ΔE2000:

    y = f(θ₀) + H (θ − θ₀) + e,    e ~ N(0, Σ_dosing + Σ_pot + Σ_reading + own(τ) + s² I).

For given τ, s and ν all is Gaussian. With V the prior of θ, and N the covariance of e, that has a
block a recipe, the posterior of θ has the covariance ``S = (V⁻¹ + Hᵀ N⁻¹ H)⁻¹`` and the mean
``S Hᵀ N⁻¹ y`` (Rasmussen & Williams, Gaussian Processes for Machine Learning, 2006, eq. 2.8): its
cost rises with the unknowns, and hardly with the pots. All readings together have the covariance
``A = N + H V Hᵀ``, whose inverse is ``N⁻¹ − N⁻¹ H S Hᵀ N⁻¹`` and whose determinant is ``|N| |V| /
|S|`` (eqs. A.9 and A.10); a pot left out in turn is off by ``(A⁻¹)ᵢᵢ⁻¹ (A⁻¹ y)ᵢ`` with covariance
``(A⁻¹)ᵢᵢ⁻¹`` (eq. 5.12). τ, s and ν are marginalised on a grid, for a pot left out without what it
says of them, and the mixture is matched in its first two moments. H is taken again at the posterior
mean.

A pot that lies beyond what one in a hundred strays, as the others promise it and the pot in the
middle strays, is taken to err so much more of its own, and counts as that one where pots that stray
more than promised widen the promise (never narrow it): a wild pot neither drags the dyes nor makes
every promise wide. Repeats
of one recipe share its own error: they count as one pot, read several times. Readings of one
photograph share most of theirs, squares among them. What a few pots happen to be off by alike looks
as if the dyes were, and more of them in one photograph do not tell it apart: of what so few
witnesses say of θ a part is believed. The rest of the mean adds to the covariance in squares.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import chain
from typing import NamedTuple

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e_residual
from dyemix.errors import FitError, refuse
from dyemix.fitting.lab_ladder import alike
from dyemix.model.dyes import DyeSet, Ladders, Pot
from dyemix.model.uncertainty import effects, pot_to_pot
from dyemix.model.unknowns import OWN_SHARE, Cells, Posterior

#: H is taken again at the posterior mean until θ stands to within this, or so many times.
_STANDS, _AGAIN = 0.02, 8
#: What the unknowns of the surface may move in one round, in standard deviations.
_LONGEST = 1.2
#: Bounds of k2 once mixes are read. Below 0 it is no reflection inside, but what cloth that shows
#: what lies behind it does to the scale of reflectances.
_INSIDE = (-0.5, 0.75)
#: The widening check is worth this many pots that stray as promised.
_WIDENING_WORTH = 5.0
#: χ² of three degrees of freedom that one in two, and one in a hundred, exceed.
_ONE_IN_TWO, _ONE_IN_A_HUNDRED = 2.366, 11.34
#: So many pots are far beyond any shelf's, and take some ten seconds: every cell holds all of them.
_MOST_POTS = 2000
#: m witnesses, pots or pictures of them, move θ by m / (m + this) of the posterior mean. Chosen on
#: the DEVELOP worlds: fewer of them are made worse, and all together miss by as much as without.
_FEW = 0.5
#: A reading of less C* is grey, from where ΔE2000 hardly rises by hue: it is taken to be of so
#: much, of the hue of its prediction.
_GREY = 0.2
#: A cell of less weight than this is left out once H is taken again.
_NO_WEIGHT = 1e-4


class Calibrated(NamedTuple):
    """Dyes moved by pots, and those N pots as the others predict them.

    `lab` ``(N, 3)`` predicted; `covariance` ``(N, 3, 3)`` promised.
    """

    dyes: DyeSet
    pots: tuple[Pot, ...]
    lab: Array
    covariance: Array


class _Groups:
    """Pots by recipe, G of them: amounts ``(G, D)``, and what they count.

    `at` ``(N,)`` is the group of each pot, `share` how much of it that is; `frames` ``(G, F)``
    how much of each was read from each of F photographs, those of the ladders first, and one for
    all that do not name theirs; `trust` what share of the posterior mean is believed.
    """

    def __init__(self, dyes: DyeSet, pots: Sequence[Pot]) -> None:
        amounts = np.array([dyes.amounts(pot.recipe) for pot in pots])
        self.amounts, at = np.unique(amounts, axis=0, return_inverse=True)
        weights, self.pots, self.at = np.array([pot.weight for pot in pots]), pots, at.ravel()
        self.weights = np.bincount(self.at, weights)
        self.share = weights / self.weights[self.at]
        shown = [pot.pictures for pot in pots]
        # A picture tells as much as the heaviest of its pots; what no camera saw, each for itself.
        counts, best = weights / weights.max(), dict[str, float]()
        seen = np.array([pot.covariance is not None for pot in pots])
        for some, count in zip(shown, (counts * seen).tolist(), strict=True):
            best |= {name: max(count, best.get(name, 0.0)) for name in some}
        witnesses = counts[~seen].sum() + sum(best.values())
        self.trust = witnesses / (witnesses + _FEW)
        names = list(dict.fromkeys(chain(dyes.ladders.pictures, *shown)))
        self.frames = np.zeros((len(self.amounts), len(names)))
        for i, share, some in zip(self.at, self.share, shown, strict=True):
            # The mean of k readings has the error of each by the root of k: it states a k-th.
            self.frames[i, [names.index(name) for name in some]] += share / np.sqrt(len(some))

    def readings(self, labs: Array) -> tuple[Array, Array, Array]:
        """CIELAB ``(G, 3)``, the mean of each group; the covariance of one reading, as stated and
        with what is clipped.

        A clipped reading is open where `labs` ``(G, 3)``, the prediction, lies beyond it.
        """
        means, (told, spreads) = np.zeros_like(labs), np.zeros((2, *labs.shape, 3))
        for i, share, pot in zip(self.at, self.share, self.pots, strict=True):
            means[i] += share * pot.lab
            if pot.covariance is not None:
                told[i] += share * pot.covariance
            if pot.clipped is not None:
                spreads[i] += share * pot.clipped.open(labs[i] - pot.lab)
        return means, told, told + spreads


class _Linear(NamedTuple):
    """The linear model about one θ, over all cells.

    `theta` ``(P,)`` and `covariance` ``(P, P)`` after the pots; `weights` ``(C,)`` of the cells;
    `miss` ``(G, 3)`` in the parts of ΔE2000 and `spread` ``(G, 3, 3)`` of each group as the others
    predict it; `by_lab` ``(G, 3, 3)`` those parts by CIELAB; `measured` ``(G, 3)`` CIELAB.
    """

    theta: Array
    covariance: Array
    weights: Array
    miss: Array
    spread: Array
    by_lab: Array
    measured: Array


def condition(dyes: DyeSet, pots: Iterable[Pot]) -> Calibrated:
    """The dyes as their ladders and these pots, of a first bath each, show them.

    Whatever pots moved `dyes` before is undone. The same pots in any order, or told twice, give
    the same dyes. Raises `RecipeError` for a dye that the shelf does not have, `FitError` for more
    pots than a machine has room for.
    """
    modes, misfit = dyes.ladders.modes, dyes.ladders.misfit
    kept = sorted({pot.identity: pot for pot in pots}.values(), key=lambda pot: repr(pot.identity))
    firsts = [pot for pot in kept if pot.on is None]
    refuse(len(firsts) > _MOST_POTS, "fit.many", len(firsts), _MOST_POTS, error=FitError)
    theta, dyes = np.zeros(modes.unknowns), replace(dyes, pots=tuple(kept), posterior=None)
    if not firsts:
        return Calibrated(dyes, (), np.empty((0, 3)), np.empty((0, 3, 3)))
    groups, cells = _Groups(dyes, firsts), Cells.of(misfit)
    strays = np.ones(len(groups.amounts))
    for _ in range(_AGAIN):
        used, last, before = cells, theta, strays
        found = _linear(dyes, groups, theta, used, strays)
        theta = _bounded(theta, found, dyes.ladders)
        inverse = np.linalg.inv(found.spread)
        # Squared distances from what was promised, in three parts: 3 are expected.
        squares = np.einsum("gi,gij,gj->g", found.miss, inverse, found.miss)
        wild = _ONE_IN_A_HUNDRED * max(1.0, float(np.median(squares)) / _ONE_IN_TWO)
        strays = np.maximum(squares / wild, 1.0)
        if np.abs(np.log(strays / before)).max() < _STANDS:
            if np.abs(theta - last).max() < _STANDS:
                break
            cells = used.take(found.weights > _NO_WEIGHT)
    total = _WIDENING_WORTH + np.minimum(squares, wild).sum() / 3.0
    widening = max(1.0, float(total / (_WIDENING_WORTH + len(squares))))
    weighed, reading = replace(used, weight=found.weights), dyes.scatter.reading_variance
    known = Posterior.of(theta, found.covariance, weighed, misfit, widening, reading)
    to_lab = np.linalg.pinv(found.by_lab)
    predicted = found.measured - np.einsum("gij,gj->gi", to_lab, found.miss)
    promised = widening * to_lab @ found.spread @ to_lab.transpose(0, 2, 1)
    dyes = replace(dyes, posterior=known)
    return Calibrated(dyes, tuple(firsts), predicted[groups.at], promised[groups.at])


def _linear(dyes: DyeSet, groups: _Groups, theta: Array, cells: Cells, wilder: Array) -> _Linear:
    """The linear model about θ; `wilder` ``(G,)`` multiplies each group's own variance."""
    ladders, amounts, count = dyes.ladders, groups.amounts, len(theta)
    modes, now = ladders.modes, ladders.blends(theta, dyes.cloth)
    seen, by_theta = effects(now, amounts, dyes.light, modes)
    measured, stated, read = groups.readings(seen.lab)
    own, chroma = (np.hypot(lab[:, 1:2], lab[:, 2:]) for lab in (measured, seen.lab))
    hue = seen.lab[:, 1:] / np.maximum(chroma, 1e-9)
    measured[:, 1:] = np.where(own < _GREY, _GREY * hue, measured[:, 1:])
    miss, by_lab = delta_e_residual(measured, seen.lab)
    slope = by_lab @ by_theta
    y, weights = slope @ theta - miss, groups.weights[:, np.newaxis, np.newaxis]
    pull = by_lab @ (seen.by_strength * (OWN_SHARE * seen.share)[:, np.newaxis, :])
    dosing, pot = pot_to_pot(seen, amounts, dyes.scatter)
    again = by_lab @ (dosing + pot + read) @ by_lab.transpose(0, 2, 1) + dyes.scatter.reading
    strength2, rest2 = (x.reshape(-1, 1, 1, 1) ** 2 for x in (cells.strength, cells.rest))
    own = strength2 * pull @ pull.transpose(0, 2, 1) + rest2 * np.eye(3)
    own = own / np.minimum(weights, 1.0)
    beyond = own * (wilder - 1.0)[:, np.newaxis, np.newaxis]
    noise = again / weights + own + beyond
    # What readings of a photograph have alike are three unknowns more for each, but for one that
    # ladders were read from: there they are those of the ladders.
    common = np.einsum("gik,gf->gifk", by_lab @ alike(stated), groups.frames)
    common = common.reshape(len(y), 3, -1)
    noise -= common @ common.transpose(0, 2, 1)
    known = 3 * len(ladders.pictures)
    slope[..., modes.of_surface.stop + np.arange(known)] += common[..., :known]
    slope = np.dstack([slope, common[..., known:]])
    scales, sizes = cells.scales(modes)
    sizes = np.hstack([sizes, np.outer([1.0, 0.0, 0.0, 0.0], np.ones(slope.shape[2] - count))])
    grams = np.array([(slope * size) @ slope.transpose(0, 2, 1) for size in sizes])
    variances, shared = scales @ sizes, cells.shared > 0.0
    noise[~shared] += np.tensordot(scales[~shared], grams, 1)
    # Each group's precision and its miss by that: by itself, and where pots tell of each other, by
    # what all of them leave of θ.
    precision = np.linalg.inv(noise)
    pulled = (precision @ y[..., np.newaxis])[..., 0]
    fits = (pulled * y).sum(axis=(1, 2)) - np.linalg.slogdet(precision)[1].sum(axis=1)
    means, left = np.zeros_like(variances), np.zeros((len(fits), *2 * variances.shape[1:]))
    for i, some in enumerate(shared):
        if not some:
            np.fill_diagonal(left[i], variances[i])
            continue
        told = np.tensordot(slope, precision[i] @ slope, ((0, 1), (0, 1)))
        told[np.diag_indices_from(told)] += 1.0 / variances[i]
        left[i], pull_of = np.linalg.inv(told), np.tensordot(pulled[i], slope, 2)
        means[i] = left[i] @ pull_of
        fits[i] += np.linalg.slogdet(told)[1] + np.log(variances[i]).sum() - pull_of @ means[i]
    log_weight = np.log(cells.weight) - 0.5 * fits
    cell_weights = _shares(log_weight)
    if not np.isfinite(cell_weights).all():
        raise np.linalg.LinAlgError
    mean = groups.trust * (cell_weights @ means)
    apart = means - mean
    covariance = np.tensordot(cell_weights, left, 1) + (cell_weights * apart.T) @ apart
    kept = cell_weights > _NO_WEIGHT
    for i in np.flatnonzero(shared & kept).tolist():
        by_theta = precision[i] @ slope
        pulled[i] -= by_theta @ means[i]
        precision[i] -= by_theta @ left[i] @ by_theta.transpose(0, 2, 1)
    spread = np.linalg.inv(precision[kept])
    off = (spread @ pulled[kept][..., np.newaxis])[..., 0]
    # Density of each group given the others, whose cells are weighed without it.
    density = 0.5 * (np.linalg.slogdet(precision[kept])[1] - (off * pulled[kept]).sum(axis=-1))
    shares = _shares(log_weight[kept, np.newaxis] - density)
    off_mean = y + groups.trust * (np.einsum("cg,cgi->gi", shares, off) - y)
    apart = off - off_mean
    spread = np.einsum("cg,cgij->gij", shares, spread - beyond[kept])
    spread += np.einsum("cg,cgi,cgj->gij", shares, apart, apart)
    return _Linear(
        mean[:count], covariance[:count, :count], cell_weights, off_mean, spread, by_lab, measured
    )


def _shares(logs: Array) -> Array:
    """Weights that add up to 1 over the first axis, from their logarithms."""
    weights = np.exp(logs - logs.max(axis=0))
    return np.asarray(weights / weights.sum(axis=0))


def _bounded(old: Array, found: _Linear, ladders: Ladders) -> Array:
    """θ moved to the posterior mean, the surface by not too much at once and within its bounds.

    Where the surface stops short, the other unknowns are those that go with it: the mean given
    that, ``θ + Σ_·s Σ_ss⁻¹ (s − θ_s)``.
    """
    at, new = ladders.modes.of_surface, found.theta
    step = new[at] - old[at]
    surface = old[at] + step * min(1.0, _LONGEST / max(float(np.abs(step).max()), 1e-9))
    middle = np.array([ladders.surface.r0, ladders.surface.k2])
    size = np.maximum(ladders.modes.surface, 1e-12)
    ends = np.array([[0.0, ladders.ceiling], _INSIDE]).T
    low, high = (ends - middle) / size
    surface = np.clip(surface, np.minimum(low, 0.0), np.maximum(high, 0.0))
    short = np.arange(at.start, at.stop)[np.abs(surface - new[at]) > 1e-9]
    gain = found.covariance[:, short] @ np.linalg.inv(found.covariance[np.ix_(short, short)])
    return np.asarray(new + gain @ (surface - new[at])[short - at.start])
