"""What is not known of fitted dyes: the unknowns of a calibration, their priors and posterior.

θ ``(P,)`` for D dyes holds in this order (`Modes.split`; what each is for: `dyemix.fitting`)

- the log strength of each dye in company beyond its own squares, N(0, τ²) ``(D,)``;
- a bias common to all dyes in company, an interaction common to all, of either sign, and how much
  of what saturates it by itself each dye does to all in its bath ``(3,)``;
- r0 and k2 of the surface, in standard deviations of what the ladders leave of them: curves and
  laws of all dyes move along, so that ladders stay fitted; and, in standard errors, what each
  photograph of the ladders is off by as a whole, three parts each ``(K,)``;
- Q of each dye's own ladder, in standard deviations of what it leaves of curve and law (of spectra
  scale, exponent, bend and how the curve turns with depth, of CIELAB the leading parts of the
  posterior of all) ``(D, Q)``;
- by how many nm each dye's bands move in company, of standard deviation ν ``(D,)``;
- what each dye does to others beyond all that, N(0, `ACTING`²) ``(D,)``.

Beside θ each mix has an error of its own, which comes back when it is dyed again and of which no
other mix tells: strengths that stray once more by `OWN_SHARE` τ, and a rest s in each part of ΔE.
"""

from dataclasses import dataclass, replace
from typing import Annotated, Any, Self

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array, Flags, Indices
from dyemix.dataset.result import Value

#: Standard deviations of the priors of bias, common interaction, how much of its saturation a dye
#: does to all, what it does beyond that, and τ; how much of τ is a mix's own.
BIAS, INTERACTION, SATURATING, ACTING, STRENGTH = 0.08, 0.15, 1.0, 0.1, 0.09
OWN_SHARE = 0.8
#: Median of the rest s in ΔE2000, and the standard deviation of its logarithm.
REST, REST_SPREAD = 0.45, 0.6
#: What one square of a dye by itself strays from its ladder beyond dosing, pot and reading, ΔE2000.
ALONE = 0.3
#: Grid of τ, and of s before what ladders miss adds to it, over which both are marginalised.
TAUS = np.linspace(0.02, 0.35, 6)
RESTS = np.geomspace(0.2, 5.0, 6)
#: What pots tell of each other: anything (1 or 0), how much of what is common in company (a share
#: of its variance), ν in nm; and what each weighs before any mix. They tell nothing, and company
#: does little; it does half as much as it may, or all; each with bands that hardly move or move.
TOLD = np.array([
    [0.0, 0.01, 0.4, 0.3], [1.0, 0.25, 0.4, 0.15], [1.0, 0.25, 4.0, 0.03],
    [1.0, 1.0, 0.4, 0.41], [1.0, 1.0, 4.0, 0.08], [1.0, 1.0, 9.0, 0.03],
])  # fmt: skip
#: Where ladders miss by more than this (ΔE2000), far beyond any dye, all that company may do is
#: wider in proportion, but for τ: as a mix's own error it made the promise too wide.
HARDLY_DYE = 2.0
#: How far a dye's strength moves a mix in a part of ΔE2000, per unit of its logarithm: typical of
#: middle depths, to weigh τ beside s where one figure must stand for both.
TYPICAL_PULL = 5.0
#: Bounds of the degrees of freedom of the likely miss.
_FREEDOM = (4.5, 30.0)


class Modes(Value):
    """What single squares leave open, to first order, one standard deviation each.

    Attributes
    ----------
    surface : ``(2,)`` of r0 and k2.
    shared : ``(D, K, B + 2)`` change of ln a, and last of exponent and bend, that either brings
        with it, and after these two what a picture is off by does, three for each picture.
    own : ``(D, Q, B + 2)`` the same by the modes of each dye's own ladder.
    """

    surface: Annotated[Array, 2]
    shared: Annotated[Array, "D", "K", "M"]
    own: Annotated[Array, "D", "Q", "M"]

    @classmethod
    def none(cls, dyes: int, bands: int) -> Self:
        """Nothing open."""
        return cls(np.zeros(2), np.zeros((dyes, 2, bands + 2)), np.zeros((dyes, 0, bands + 2)))

    @property
    def _ends(self) -> Indices:
        """Where each part of θ ends: see the module."""
        dyes, own = self.own.shape[:2]
        sizes = [dyes, 3, self.shared.shape[1], dyes * own, dyes, dyes]
        return np.cumsum(sizes)

    @property
    def unknowns(self) -> int:
        """P."""
        return int(self._ends[-1])

    @property
    def of_surface(self) -> slice:
        """Where the unknowns of the surface stand in θ."""
        return slice(self._ends[1], self._ends[1] + 2)

    @property
    def of_ladders(self) -> slice:
        """Where the unknowns of surface and ladders stand in θ."""
        return slice(self._ends[1], self._ends[3])

    def split(self, theta: NDArray[Any]) -> tuple[NDArray[Any], ...]:
        """The parts of θ: ``(D,)``, ``(3,)``, ``(K,)``, ``(D, Q)``, ``(D,)`` and ``(D,)``."""
        *first, own, shift, acting = np.split(theta, self._ends[:-1])
        return *first, own.reshape(self.own.shape[:2]), shift, acting

    def take(self, index: list[int]) -> Self:
        """Those of some of the dyes."""
        return replace(self, own=self.own[index], shared=self.shared[index])

    def places(self, index: list[int]) -> Indices:
        """Where the unknowns of some of the dyes stand in θ."""
        strength, common, surface, *each = self.split(np.arange(self.unknowns))
        kept = (strength[index], common, surface, *(part[index] for part in each))
        return np.concatenate([x.ravel() for x in kept])


@dataclass(frozen=True, eq=False)
class Cells:
    """Values of τ, s and rows of `TOLD`, C of them in all triples, and what each weighs before any
    mix: ``(C,)``. s is wider by what ladders miss beyond scatter.
    """

    strength: Array
    rest: Array
    shared: Array
    common: Array
    curve: Array
    weight: Array

    @classmethod
    def of(cls, misfit: float) -> Self:
        """`misfit` is how far left-out depths of the ladders lie from their prediction beyond what
        scatter explains, in ΔE2000: a model that does not hold for one dye by itself holds less for
        several. It adds to the median of s in squares.
        """
        by_strength = np.exp(-0.5 * (TAUS / STRENGTH) ** 2)
        far = float(np.hypot(1.0, misfit / REST))
        # The grid follows by the root of that: mixes may show an s that is far below its median.
        rests = RESTS * np.sqrt(far)
        by_rest = np.exp(-0.5 * (np.log(rests / (REST * far)) / REST_SPREAD) ** 2)
        i, j, k = (x.ravel() for x in np.indices((len(TAUS), len(rests), len(TOLD))))
        shared, common, curve, by_told = TOLD[k].T
        weight, wider = by_strength[i] * by_rest[j] * by_told, max(1.0, misfit / HARDLY_DYE)
        common, curve = wider**2 * common, wider * curve
        return cls(TAUS[i], rests[j], shared, common, curve, weight / weight.sum())

    def take(self, rows: Flags) -> Self:
        """Some of the cells."""
        return type(self)(*(part[rows] for part in vars(self).values()))

    def sizes(self, reading: float) -> Array:
        """Variance ``(C,)`` of a mix in each part of ΔE by τ, s and the `reading` of it."""
        own = (1.0 + OWN_SHARE**2) * self.strength**2 * TYPICAL_PULL**2
        return np.asarray(own + self.rest**2 + reading)

    def between(self, reading: float) -> tuple[float, float]:
        """`Posterior.spread`, of readings with that variance."""
        sizes = self.sizes(reading)
        order, rank = np.argsort(sizes), np.array([0.1, 0.9])
        shares = np.sqrt(sizes[order] / (self.weight @ sizes))
        low, high = np.interp(rank, np.cumsum(self.weight[order]), shares)
        return float(low), float(high)

    def scales(self, modes: Modes) -> tuple[Array, Array]:
        """Prior variances of θ in each cell as a product: ``(C, 4)`` of 1, τ², ν² and what is
        common, and what part of each an unknown has, ``(4, P)``.
        """
        dyes, sizes = len(modes.own), np.zeros((4, modes.unknowns))
        sizes[0, modes.of_ladders], sizes[1, :dyes] = 1.0, 1.0
        sizes[2, modes.of_ladders.stop : -dyes] = 1.0
        sizes[3, dyes : dyes + 3] = np.array([BIAS, INTERACTION, SATURATING]) ** 2
        sizes[3, -dyes:] = ACTING**2
        parts = [np.ones_like(self.weight), self.strength**2, self.curve**2, self.common]
        return np.stack(parts, axis=1), sizes


class Posterior(Value):
    """θ after some mixes, and the size of what is each mix's own.

    Attributes
    ----------
    mean, covariance : ``(P,)`` and ``(P, P)`` of θ.
    strength, rest : root mean squares of τ and s.
    alone : what stands for s where a dye is by itself.
    freedom : degrees of freedom of the likely miss, since τ and s are themselves uncertain: those
        of the Student's t that has the kurtosis of the mixture of normals over them.
    widening : factor on every covariance of a mix, from mixes left out in turn; 1 or more.
    spread : from the tenth to the ninth part in ten of what the likely miss may be, as shares of
        it: how far the promise is itself uncertain.
    """

    mean: Annotated[Array, "P"]
    covariance: Annotated[Array, "P", "P"]
    strength: float
    rest: float
    alone: float
    freedom: float
    widening: float = 1.0
    spread: tuple[float, float] = (1.0, 1.0)

    @classmethod
    def of(
        cls, mean: Array, covariance: Array, cells: Cells, misfit: float, widening: float = 1.0,
        reading: float = 0.0,
    ) -> Self:  # fmt: skip
        """From θ and cells weighed by what was read; `reading` is the variance of readings in each
        part of ΔE: it is stated or measured, so it has no tails.
        """
        weight, sizes = cells.weight, cells.sizes(reading)
        kurtosis = float(weight @ sizes**2) / float(weight @ sizes) ** 2
        freedom = (4.0 * kurtosis - 2.0) / max(kurtosis - 1.0, 1e-9)
        strength, rest = (float(np.sqrt(weight @ x**2)) for x in (cells.strength, cells.rest))
        return cls(
            mean, covariance, strength, rest, float(np.hypot(ALONE, misfit)),
            float(np.clip(freedom, *_FREEDOM)), widening, cells.between(reading),
        )  # fmt: skip

    @classmethod
    def prior(cls, modes: Modes, misfit: float = 0.0, reading: float = 0.0) -> Self:
        """Before any mix; `misfit` as in `Cells.of`, `reading` as in `of`.

        What readings stray by is told in `spread` alone: bounds before the first mix stand wider.
        """
        cells = Cells.of(misfit)
        scales, sizes = cells.scales(modes)
        covariance = np.diag(cells.weight @ scales @ sizes)
        known = cls.of(np.zeros(modes.unknowns), covariance, cells, misfit)
        return replace(known, spread=cells.between(reading))

    def take(self, places: Indices) -> Self:
        """Of some of the dyes: their `Modes.places`."""
        covariance = self.covariance[np.ix_(places, places)]
        return replace(self, mean=self.mean[places], covariance=covariance)
