"""What a finished fit is held against, and what it says is to be dyed next."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from dyemix.dataset.swatches import Swatch, SwatchSet
from dyemix.fitting.calibration import LeftOut
from dyemix.fitting.next_squares import middle_mixes
from dyemix.fitting.slips import slips
from dyemix.model.dyes import DyeSet
from dyemix.model.fit_report import MixtureCheck, mixture_checks
from dyemix.model.ladders import Pot


def next_depth(depths: Sequence[float], odd: bool) -> str:
    """Which square of a dye to dye next, from the depths (% owf, palest first) there are."""
    if len(depths) < 3:
        middle = float(np.sqrt(depths[0] * depths[-1]))
        return f"a third depth, about {middle:.2g} %"
    if odd:
        return "the odd square again"
    if len(depths) < 5:
        steps = np.diff(np.log(depths))
        gap = int(np.argmax(steps))
        middle = float(np.sqrt(depths[gap] * depths[gap + 1]))
        return f"about {middle:.2g} %, the widest gap; five depths are wanted for customers' work"
    return ""


def _known(dyes: DyeSet, swatches: SwatchSet) -> list[Swatch]:
    """The mixtures whose dyes all have a ladder; the others are passed over."""
    return [s for s in swatches.mixtures if all(dye in dyes.names for dye in s.recipe)]


def pots_of(dyes: DyeSet, swatches: SwatchSet) -> list[Pot]:
    """The mixtures of a table as a calibration sees them."""
    pots = []
    for s in _known(dyes, swatches):
        stated = [r.covariance for r in s.readings if r.covariance is not None]
        clipped = next((r.clipped for r in s.readings if r.clipped is not None), None)
        spread = np.sum(stated, axis=0) / len(s.readings) ** 2 if stated else None
        pots.append(Pot(s.recipe, s.colour(dyes.light), spread, clipped, label=s.label))
    return pots


def left_out_checks(found: LeftOut) -> tuple[MixtureCheck, ...]:
    """Mixes that were each left out in turn, as a report shows them."""
    labels = [pot.label or str(pot.recipe) for pot in found.pots]
    measured, promised = np.array([pot.lab for pot in found.pots]), found.promised
    figures = (found.delta_e, promised.mean, promised.median, promised.bound)
    return mixture_checks(labels, measured, found.lab, *figures)


def checked(dyes: DyeSet, swatches: SwatchSet) -> tuple[MixtureCheck, ...]:
    """Every mixture that the dyes have not seen, as they predict it."""
    known = _known(dyes, swatches)
    return dyes.evaluate(known).checks if known else ()


def expected(dyes: DyeSet) -> tuple[float | None, tuple[float, float]]:
    """Mean likely ΔE2000 of the pairs of dyes at middle depths, and between what that may be."""
    if len(dyes) < 2:
        return None, (0.0, 0.0)
    found = dyes.predict_many(middle_mixes(dyes, 2))
    mean = float(found.expected(found.lab + 1e-6).mean())
    low, high = dyes.known.spread
    return mean, (low * mean, high * mean)


def flags(swatches: SwatchSet) -> tuple[str, ...]:
    """Doubtful readings, each with its place: likely slips, and what was flagged. All are kept.

    That the spectrum of a ladder's reading is made up is no doubt here: it is not used.
    """
    return tuple(map(str, slips(swatches))) + tuple(
        f"{r.place}: {flag}"
        for r in swatches.readings
        for flag in r.warnings
        if not (r.rough and r.recipe is not None and len(r.recipe) < 2 and flag[:6] == "rough:")
    )
