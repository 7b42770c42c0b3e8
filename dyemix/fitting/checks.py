"""What a finished fit is held against, and what it says is to be dyed next."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from dyemix.colour.ciede2000 import delta_e
from dyemix.dataset.swatches import SwatchSet
from dyemix.model.dyes import DyeSet
from dyemix.model.fit_report import MixtureCheck
from dyemix.model.uncertainty import expected_miss, lab_covariance


def advice(depths: Sequence[float], odd: bool) -> str:
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


def check_mixtures(dyes: DyeSet, swatches: SwatchSet) -> tuple[MixtureCheck, ...]:
    """Predict every mixture from the single dyes and compare; other dyes' mixtures are passed."""
    known = [s for s in swatches.mixtures if all(dye in dyes.names for dye in s.recipe)]
    if not known:
        return ()
    predicted = dyes.predict_many(np.array([dyes.amounts(s.recipe) for s in known]))
    measured = np.array([s.colour(dyes.light) for s in known])
    return tuple(
        MixtureCheck(s.label, float(x))
        for s, x in zip(known, delta_e(measured, predicted), strict=True)
    )


def expected(dyes: DyeSet) -> float | None:
    """Mean likely ΔE2000 of the pairs of dyes, each at the middle (in ratio) of its range."""
    if len(dyes) < 2:
        return None
    pairs = np.array(list(combinations(range(len(dyes)), 2)))
    amounts = np.zeros((len(pairs), len(dyes)))
    np.put_along_axis(amounts, pairs, np.sqrt(dyes.palest * dyes.deepest)[pairs], axis=1)
    labs = dyes.predict_many(amounts)
    return float(expected_miss(labs, labs + 1e-6, lab_covariance(dyes, amounts, dyes.light)).mean())


def flags(swatches: SwatchSet) -> tuple[str, ...]:
    """Doubtful readings, each with its place: kept, and said.

    That the spectrum of a ladder's reading is made up is no doubt here: it is not used.
    """
    return tuple(
        f"{r.place}: {flag}"
        for r in swatches.readings
        for flag in r.flags
        if not (r.rough and r.recipe is not None and len(r.recipe) < 2 and flag[:6] == "rough:")
    )
