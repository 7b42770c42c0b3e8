"""How the light falls over the sheet, and how a picture's values follow it.

Grey steps, the greys of a patch card, the paper of the page and undyed cloth are witnesses: each is
seen, and known within an error. What a camera made of them is a gain a channel (exposure, white
balance), a smooth bend of tones common to the channels, and veiling glare::

    log known = log seen + gain + bend(log seen) − glare × white / seen

All three are unknowns of one Gaussian process (Rasmussen & Williams 2006, chapter 2), whose
posterior straightens values and says how sure that is. What the witnesses do not agree on is added
to their own errors, each by how far the others miss it (DerSimonian & Laird, Controlled Clinical
Trials 7 (1986) 177, for single witnesses and for whole cards).
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple, Self

import numpy as np

from dyemix.arrays import Array, Flags, Indices, robust_deviation
from dyemix.errors import said

#: A white spot that differs from the smooth fit by more than this is covered or in shadow.
_OFF = 0.03


@dataclass(frozen=True, eq=False)
class Flat:
    """A smooth surface of relative light, 1 on average over the white spots.

    Attributes
    ----------
    coefficients : ``(P, 3)`` of a polynomial in position, of the log of the light, by channel;
        one, 0, where there was no white to see.
    centre, size : that bring pixels to about −1 … 1.
    level : ``(3,)`` linear light of the paper where the relative light is 1.
    residual : robust standard deviation of the spots about the surface, as a fraction.
    clipped : whether the paper is at the top of the scale, so that all this is not known well.
    spots : ``(M, 2)`` places of bare paper that no cloth covers; ``ratio`` ``(M,)`` their light
        over the surface. `bare` is how many of all spots those are, as a fraction.
    """

    coefficients: Array
    centre: Array
    size: float
    level: Array
    residual: float
    spots: Array
    ratio: Array
    bare: float
    clipped: bool = False

    @property
    def known(self) -> bool:
        return len(self.coefficients) > 1

    def at(self, pixels: Array) -> Array:
        """Relative light ``(N, 3)`` at pixels ``(N, 2)``."""
        terms = _terms((pixels - self.centre) / self.size, len(self.coefficients))
        return np.asarray(np.exp(terms @ self.coefficients))

    def near(self, pixel: Array, count: int = 6, share: float = 0.5) -> float:
        """Light of the nearest white spots over the surface, a quantile: below 1 in a shadow."""
        if len(self.spots) < count:
            return 1.0
        distance = np.linalg.norm(self.spots - pixel, axis=1)
        return float(np.quantile(self.ratio[np.argsort(distance)[:count]], share))


NO_FLAT = Flat(np.zeros((1, 3)), np.zeros(2), 1, np.ones(3), 0, np.empty((0, 2)), np.empty(0), 1)


def _terms(position: Array, count: int) -> Array:
    """The first `count` of 1, x, y, x², xy, y², … ``(N, count)``, degree by degree."""
    x, y = position[:, 0], position[:, 1]
    columns = [x ** (d - j) * y**j for d in range(5) for j in range(d + 1)]
    return np.stack(columns[:count], axis=1)


def covered(off: Array, share: Array) -> tuple[Flags, Array]:
    """Where cloth lies on paper or print, whose log light is `off` ``(N, 3)`` what it should be;
    and the light there ``(N,)`` as a fraction of what it should be.

    Cloth is coloured or dark; a shadow is neither. `share` ``(3,)`` says how much each channel
    weighs: under warm lamps blue is little more than noise, and what JPEG lets it have of the cloth
    beside.
    """
    level = off @ share / share.sum()
    tint = np.ptp((off - level[:, np.newaxis]) * share, axis=1)
    size = np.abs(level)
    return np.asarray((tint > np.maximum(0.04, size / 2)) | (size > 0.5)), np.exp(level)


def fit_flat(spots: Array, light: Array, seen: Array | None = None) -> Flat:
    """Fit the light over the page to white spots.

    `spots` ``(M, 2)`` in pixels and their linear light ``(M, 3)``; where that is straightened
    already, `seen` ``(3,)`` is the paper as it was seen. The degree grows to four (enough
    for cos⁴ fall-off and a lamp to one side) as far as the spots carry it; spots that are covered
    or shadowed are left out on the way.
    """
    if len(spots) < 4:
        return NO_FLAT
    centre = spots.mean(axis=0)
    size = float(np.abs(spots - centre).max())
    log = np.log(np.maximum(light, 1e-5))
    bright = log.mean(axis=1)
    kept = bright > np.quantile(bright, 0.75) - 0.7  # half the light of the best: still paper
    # Tighter from step to step: a plane first, so that covered spots cannot bend the surface.
    for count, tolerance in ((3, 0.25), (3, 0.15), (6, 0.10), (10, 0.06), (15, _OFF), (15, _OFF)):
        usable = max(c for c in (3, 6, 10, 15) if c == 3 or c <= min(count, kept.sum() / 3))
        terms = _terms((spots - centre) / size, usable)
        coefficients = np.linalg.lstsq(terms[kept], log[kept], rcond=None)[0]
        off = log - terms @ coefficients
        off = off - np.median(off[kept], axis=0)
        worst = np.abs(off).max(axis=1)
        kept = worst <= max(tolerance, 3.0 * robust_deviation(worst[kept]))
    residual = log[kept] - terms[kept] @ coefficients
    mean = (terms[kept] @ coefficients).mean(axis=0)
    coefficients[0] -= mean
    counts = np.exp(mean) if seen is None else seen
    hidden, ratio = covered(off, np.minimum(1.0, 2.0 * counts / counts.max()))
    bare, spread = ~hidden, robust_deviation(residual)
    share = float(bare.mean())
    return Flat(coefficients, centre, size, np.exp(mean), spread, spots[bare], ratio[bare], share)


#: Below this reflectance a step is mostly stray light and half a code wide: it does not decide.
_DARKEST = 0.04
#: What cameras do to tones (log light): how far they bend them, over which range, and how much of
#: white they add as glare. Bends of a fifth are usual in phones, glare is below half a percent in
#: most lenses, and a few percent with a window in view (common practice). A file of linear values
#: is not bent.
BEND, _RANGE, _GLARE = 0.065, 1.2, 0.01
#: Half of the cameras of which nothing is known bend tones at all (common practice), the others by
#: no more than this.
MAY_BEND, _STRAIGHT = 0.5, 0.005
#: Of nothing known: logs of the gain of a channel, and of light.
_GAIN, _ANY_LIGHT = 3.0, 30.0
#: JPEG keeps colour coarser than light: each channel of a thing is off by this (log light).
_COARSE = 0.004
_LEAST = 2e-3
#: Witnesses that miss each other by their errors are at one: squares of so many times that are (a
#: further unknown has to gain that much: Akaike, IEEE Trans. Autom. Control 19 (1974) 716).
_CHANCE = 2.0
#: Below this value what glare adds is no longer told from noise.
_DARK = 0.012


class Witnesses(NamedTuple):
    """Neutral things as they are seen and known.

    Attributes
    ----------
    seen, known : ``(N, 3)`` the picture's linear values, and those of the thing in the picture's
        primaries, times the light that falls on it.
    source : ``(N,)`` which card each belongs to, counted from 0.
    error : ``(N, 3)`` standard errors of log known: of the single thing in all channels, of each
        channel of its source, and of all things of its source.
    place : ``(N,)`` things of one number stand in one light that nothing tells; −1 where `known`
        tells it.
    at : ``(N, 2)`` where they are; NaN for what is all over the page, in light that is 1 there.
    """

    seen: Array
    known: Array
    source: Indices
    error: Array
    place: Indices = np.array([-1])
    at: Array = np.full((1, 2), np.nan)

    @classmethod
    def of(cls, at: Array, seen: Array, known: Array, error: Any, place: Any = -1) -> Self:
        """Those of one source, which have one error."""
        none, errors = np.zeros(len(at), dtype=int), np.tile(error, (len(at), 1))
        return cls(seen, known, none, errors, np.resize(place, len(at)), at)


@dataclass(frozen=True, eq=False)
class Tone:
    """The posterior of a picture's tones, given its witnesses; `bend` is the prior's."""

    witnesses: Witnesses
    bend: float = BEND

    @cached_property
    def off(self) -> float:
        """How far the steps of the card that has most are from proportional, as a fraction; NaN
        where no card has three."""
        w = self.witnesses
        good = (w.place < 0) & (w.known.min(axis=1) >= _DARKEST) & (w.seen.min(axis=1) > 1e-4)
        card = max((good & (w.source == i) for i in np.unique(w.source)), key=np.sum)
        if card.sum() < 3:
            return float("nan")
        ratio = np.log(w.seen[card] / w.known[card])
        return float(np.ptp(np.exp(ratio - np.median(ratio, axis=0)), axis=0).max() / 2.0)

    @property
    def known(self) -> bool:
        return bool(np.isfinite(self.off))

    @cached_property
    def bends(self) -> float:
        """How likely it is that this camera bends its tones: by how well the witnesses agree with
        such cameras, and with straight ones (Rasmussen & Williams 2006, equation 2.30)."""
        w, fits = self.witnesses, []
        noise = self._noise(*np.square(w.error.T[[0, 2]]))
        for bend in (self.bend / np.sqrt(MAY_BEND), min(self.bend, _STRAIGHT)):
            spread = self._prior(w.seen, w.seen, bend) + noise
            miss = self._wanted @ np.linalg.solve(spread, self._wanted)
            fits.append(-0.5 * (miss + np.linalg.slogdet(spread)[1]))
        odds = MAY_BEND / (1.0 - MAY_BEND) * np.exp(np.clip(fits[0] - fits[1], -30.0, 30.0))
        return float(odds / (1.0 + odds)) if self.bend else 0.0

    def _prior(self, seen: Array, other: Array, bend: float | None = None) -> Array:
        """Prior covariance ``(3 N, 3 M)`` of log corrections at values ``(N, 3)``, ``(M, 3)``; the
        bend is what the witnesses leave likely, or as told."""
        bend = self.bend * np.sqrt(self.bends / MAY_BEND) if bend is None else bend
        a, b = (np.maximum(values, _LEAST).ravel() for values in (seen, other))
        ratio = np.log(a)[:, np.newaxis] - np.log(b)
        gain = np.tile(np.eye(3), (len(seen), len(other)))
        alike = bend**2 * np.exp(-0.5 * (ratio / _RANGE) ** 2)
        glare = np.outer(self._glare(seen), self._glare(other))
        return np.asarray(alike + _GAIN**2 * gain + glare)

    def _noise(self, single: Array, common: Array) -> Array:
        """Covariance ``(3 N, 3 N)`` of errors of these variances ``(N,)``, and of each channel."""
        w = self.witnesses
        same = w.source[:, np.newaxis] == w.source
        light = (w.place[:, np.newaxis] == w.place) & (w.place >= 0)
        each = np.diag(single) + same * np.sqrt(np.outer(common, common))
        tints = same * np.outer(w.error[:, 1], w.error[:, 1]) + _COARSE**2 * np.eye(len(same))
        own = np.kron(tints + _ANY_LIGHT**2 * light, np.eye(3))
        return np.asarray(np.kron(each, np.ones((3, 3))) + own)

    @cached_property
    def _inverse(self) -> Array:
        """Inverse covariance ``(3 N, 3 N)`` of what the witnesses say, disagreement included."""
        w = self.witnesses
        prior, (single, _, common) = self._prior(w.seen, w.seen), np.square(w.error.T)
        cards = [np.flatnonzero(w.source == i) for i in np.unique(w.source)]
        more = np.zeros((2, len(w.seen)))
        for _ in range(4 if len(cards) > 1 else 1):
            noise = self._noise(single + more[0], common + more[1])
            inverse = np.asarray(np.linalg.inv(prior + noise))
            weighted = np.asarray(inverse @ self._wanted)
            for card in cards:
                more[1, card] = _disagreement(inverse, weighted, card)
                for one in card if len(card) > 2 else ():
                    more[0, one] = _disagreement(inverse, weighted, np.array([one]))
        return inverse

    @property
    def _wanted(self) -> Array:
        return np.log(self.witnesses.known / np.maximum(self.witnesses.seen, _LEAST)).ravel()

    def _glare(self, seen: Array) -> Array:
        """What the usual glare takes from the logs of values ``(N, 3)``: ``(3 N,)``."""
        white = np.median(self.witnesses.seen / self.witnesses.known, axis=0)
        return np.asarray(-_GLARE / np.maximum(seen / white, _DARK).ravel())

    @cached_property
    def _curve(self) -> tuple[Array, Array]:
        """Log values ``(K,)`` and what is added to each ``(K, 3)``, rising throughout."""
        values = np.repeat(np.geomspace(_LEAST, 1.0, 200)[:, np.newaxis], 3, axis=1)
        mean = self._prior(values, self.witnesses.seen) @ self._inverse @ self._wanted
        log = np.log(values)
        return log[:, 0], np.maximum.accumulate(log + mean.reshape(-1, 3), axis=0) - log

    def _added(self, values: Array, straight: bool) -> Array:
        """What the correction multiplies values ``(..., 3)`` by: seen ones, or straight already."""
        at, shift = self._curve
        log = np.log(np.maximum(values, 1e-6))
        added = [np.interp(log[..., c], at + straight * shift[:, c], shift[:, c]) for c in range(3)]
        return np.exp(np.stack(added, axis=-1))

    def __call__(self, values: Array) -> Array:
        """Straight values of the picture's linear ones ``(..., 3)``, 1 for a perfect white."""
        return np.asarray(values * self._added(values, straight=False))

    def undo(self, straight: Array) -> Array:
        """The picture's linear values ``(N, 3)`` of straight ones."""
        return np.asarray(straight / self._added(straight, straight=True))

    def covariance(self, values: Array) -> Array:
        """Covariance ``(N, 3, 3)`` of the logs of straight values; of seen `values` ``(N, 3)``."""
        cross = self._prior(values, self.witnesses.seen)
        posterior = self._prior(values, values) - cross @ self._inverse @ cross.T
        each = np.arange(len(values))
        return np.asarray(posterior.reshape(len(values), 3, -1, 3)[each, :, each, :])

    def __str__(self) -> str:
        if not self.known:
            return said("photo.tones_unknown")
        which = "bent_back" if self.bends > MAY_BEND else "straight"
        return said(f"photo.{which}", off=100 * self.off)


def _disagreement(inverse: Array, weighted: Array, some: Indices) -> float:
    """Variance by which some witnesses miss what the others say of them, beyond all errors."""
    rows = (3 * some[:, np.newaxis] + np.arange(3)).ravel()
    spread = np.linalg.inv(inverse[np.ix_(rows, rows)])  # of leaving them out
    return max(0.0, float(np.mean(spread @ weighted[rows]) ** 2 - _CHANCE * np.mean(spread)))
