"""Squares of single dyes beside their ladders: how far off, how strong, and how they scatter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e_residual, metric
from dyemix.colour.colorimetry import Light
from dyemix.dataset.conditions import mottled
from dyemix.dataset.readings import Clipped
from dyemix.dataset.result import said
from dyemix.dataset.swatches import Reading, Swatch, SwatchSet
from dyemix.fitting.ladder import Fitted
from dyemix.model.kubelka_munk import Surface
from dyemix.model.mixtures import Blends
from dyemix.model.scatter import PRIOR_MOTTLE, PRIOR_READING, PRIOR_STRENGTH, PRIOR_WORTH, Scatter

#: A square tells strength only where doubling it would move the colour by this much ΔE2000 or
#: more (per unit of ln): below that its reading says nothing of it.
_SEEN = 2.0
#: A log strength this many times the usual one, and above this, is mislabelling, not scatter.
_STRAY, _AMISS = 4.0, 0.15


@dataclass(frozen=True, eq=False)
class Beside:
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
    tells: NDArray[np.bool_]


def beside(
    fitted: Fitted, cloth: Array, surface: Surface, dye: int, depths: Array, measured: Array,
    light: Light,
) -> Beside:  # fmt: skip
    """Squares of one dye at `depths` ``(N,)``, read as CIELAB `measured` ``(N, 3)``."""
    curve, law = np.exp(fitted.curves[[dye]]), fitted.law[[dye]]
    blends = Blends(curve, law, np.zeros(1), surface.k_over_s(cloth), surface, np.zeros(1))
    seen = blends.strengths(depths[:, np.newaxis], light)
    miss, _ = delta_e_residual(seen.lab, measured)
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


def scatter_of(squares: Sequence[Beside], depths: Sequence[Array], swatches: SwatchSet) -> Scatter:
    """Every scatter as the squares of each dye show it, under its prior.

    Squares dyed again count in full; how far single squares lie from their law counts at a third,
    since that holds the law's own misfit too. Half of the variance is taken for dosing and half
    for the pot: squares of one dye show both together.
    """
    again = freedom = ladder = ladder_freedom = 0.0
    for here, c in zip(squares, depths, strict=True):
        logs, c = here.stronger[here.tells], c[here.tells]
        if not len(logs):
            continue
        straight = np.abs(logs) <= max(_STRAY * 1.4826 * float(np.median(np.abs(logs))), _AMISS)
        same = [logs[(c == depth) & straight] for depth in np.unique(c)]
        means = np.array([some.mean() for some in same if len(some)])
        again += sum(float(((some - some.mean()) ** 2).sum()) for some in same if len(some))
        freedom += sum(len(some) - 1 for some in same if len(some))
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
    apart = [np.empty((0, 3))]
    freedom = 0
    for swatch in swatches.swatches:
        if len(swatch.readings) > 1:
            labs = np.array([r.colour(light) for r in swatch.readings])
            mean = labs.mean(axis=0)
            apart.append((labs - mean) @ metric(mean[np.newaxis])[0].T)
            freedom += len(labs) - 1
    rows = np.concatenate(apart)
    prior = PRIOR_MOTTLE if uneven else PRIOR_READING
    total = (PRIOR_WORTH * np.eye(3) * prior**2 + rows.T @ rows) / (PRIOR_WORTH + freedom)
    origin = f"from {freedom} readings repeated" if freedom else "assumed, none repeated"
    return known + total, f"reading{' of one spot in low water' * uneven}: {origin}"


def stated(readings: Sequence[Reading]) -> Array:
    """Covariance ``(3, 3)`` that the mean of readings is stated to have; 0 where none is."""
    known = [np.zeros((3, 3)), *(r.covariance for r in readings if r.covariance is not None)]
    return np.asarray(np.sum(known, axis=0) / len(readings) ** 2)


def bound(readings: Sequence[Reading]) -> Clipped | None:
    """Where the colour of readings may lie beyond what was read."""
    return next((r.clipped for r in readings if r.clipped is not None), None)


def colours(swatches: Sequence[Swatch], light: Light) -> Array:
    """CIELAB ``(N, 3)`` of swatches."""
    return np.array([s.colour(light) for s in swatches])
