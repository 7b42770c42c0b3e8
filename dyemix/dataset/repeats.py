"""Repeats: the mean that an odd reading does not pull, and two scatters that are never merged.

*Reading scatter* is how far readings of one piece of cloth lie apart; *dye-again scatter* how far
pieces dyed to one recipe do. They enter a prediction in different places, so they stay two figures,
each with its number of repeats.

Colours are CIELAB under D65/10° here, differences ΔE2000.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from dyemix.arrays import Array, Flags
from dyemix.colour.ciede2000 import delta_e
from dyemix.dataset.result import Value
from dyemix.errors import said

#: A reading is odd where it lies further from the median of its piece than so many times the
#: median distance, and than so many ΔE2000; working values of ours. It is named and kept.
ODD_FACTOR, ODD_DISTANCE = 3.0, 0.5
#: What an odd reading counts in the mean of its piece, as much as an odd swatch does in the fit.
ODD_WEIGHT = 0.05
#: Two repeats are named where they differ by more than so many times the usual of the set, and by
#: more than so many ΔE2000 (to 1.5 is 'excellent' on hand-dyed goods, common practice; two readings
#: of one piece are held to `ODD_DISTANCE`).
APART_FACTOR, APART_DISTANCE = 4.0, 1.5
#: Pairs grow with the square of the repeats: beyond this, some stand for all, the farthest too.
MOST_COMPARED = 200


def odd_readings(labs: Array) -> Flags:
    """Which of n readings of one piece, CIELAB ``(n, 3)``, lie far from their median.

    None of two: nobody can say which of two that disagree is the odd one.
    """
    if len(labs) < 3:
        return np.zeros(len(labs), dtype=bool)
    distance = delta_e(np.median(labs, axis=0), labs)
    limit = max(ODD_FACTOR * float(np.median(distance)), ODD_DISTANCE)
    return np.asarray(distance > limit)


def shared(counts: Array | float, odd: Flags) -> Array:
    """Shares ``(n,)`` of readings of one piece that count so much; an odd one counts little."""
    weights = np.where(odd, ODD_WEIGHT, 1.0) * counts
    return np.asarray(weights / weights.sum())


class RepeatScatter(Value):
    """How far repeats lie apart.

    Attributes
    ----------
    what : which repeats, in words.
    covariance : ``(3, 3)`` of CIELAB under D65/10° of a single one about its true mean, pooled
        over the groups; zero where `freedom` is 0.
    mean : mean ΔE2000 between two of a group; NaN where there are none.
    freedom : degrees of freedom of `covariance`: repeats less groups.
    apart : sentences on groups that differ far more than the others; they are not in the figures.
    """

    what: str
    covariance: Array
    mean: float
    freedom: int
    apart: tuple[str, ...] = ()

    def __str__(self) -> str:
        if not self.freedom:
            return f"{self.what}: not known, no repeats."
        ends, spread = "s" if self.freedom > 1 else "", np.sqrt(np.diag(self.covariance))
        return said("readings.scatter", self.what, self.mean, self.freedom, ends, *spread)


class Repeats(NamedTuple):
    """The two scatters of a swatch set: of readings, and of pieces dyed again."""

    reading: RepeatScatter
    dye_again: RepeatScatter


def scatter(
    what: str, groups: Sequence[tuple[Sequence[str], Array]], cure: str, floor: float
) -> RepeatScatter:
    """Pool groups of repeats, each given as the labels of its pieces and CIELAB ``(n > 1, 3)``.

    A group whose members differ by more than the rest of the set can explain, and by more than
    `floor` ΔE2000, is told in a sentence that ends in `cure` and left out of the figures.
    """
    between = [_between(labs) for _, labs in groups]
    # One or two groups cannot say what is usual.
    few = APART_DISTANCE / APART_FACTOR
    usual = float(np.median([d.mean() for d in between])) if len(between) > 2 else few
    limit = max(APART_FACTOR * usual, floor)
    centred, kept, told = [np.zeros((0, 3))], [], []
    for (labels, labs), distance in zip(groups, between, strict=True):
        if distance.max() > limit:
            names = " and ".join(labels) if labels[1:] else f"{len(labs)} readings of {labels[0]}"
            told.append(f"{names} differ by {distance.max():.1f} ΔE2000: {cure}")
        else:
            centred.append(labs - labs.mean(axis=0))
            kept.append(distance)
    rows = np.concatenate(centred)
    freedom = len(rows) - len(kept)
    mean = float(np.concatenate(kept).mean()) if kept else float("nan")
    return RepeatScatter(what, rows.T @ rows / max(freedom, 1), mean, freedom, tuple(told))


def _between(labs: Array) -> Array:
    """ΔE2000 of every pair of CIELAB ``(n, 3)``; of very many, of so many from near to far."""
    if len(labs) > MOST_COMPARED:
        rank = np.argsort(((labs - np.median(labs, axis=0)) ** 2).sum(axis=1), kind="stable")
        labs = labs[rank[np.linspace(0, len(labs) - 1, MOST_COMPARED).astype(int)]]
    one, other = np.triu_indices(len(labs), 1)
    return delta_e(labs[one], labs[other])
