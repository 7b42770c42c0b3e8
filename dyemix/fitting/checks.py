"""What a finished fit is held against, and what it says is to be dyed next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from dyemix.dataset.swatches import METHOD, Swatch, SwatchSet
from dyemix.fitting.calibration import LeftOut, condition
from dyemix.fitting.next_squares import in_one_line, middle_mixes
from dyemix.fitting.slips import slips
from dyemix.fitting.squares import bound, stated
from dyemix.model.dyes import DyeSet, Pot
from dyemix.model.fit_report import FitReport, MixtureCheck, mixture_checks


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


def calibrated(
    alone: DyeSet, report: FitReport, swatches: SwatchSet, *aside: SwatchSet | None
) -> DyeSet:
    """The dyes moved by the mixtures of a table, and their report brought up to date.

    The mixtures of `aside` are only predicted; those of a dye without a ladder are passed over.
    """

    def known(some: SwatchSet) -> list[Swatch]:
        return [s for s in some.mixtures if set(s.recipe) <= set(alone.names)]

    pots = []
    for s in known(swatches):
        spread = stated(s.readings)
        given = spread if spread.any() else None
        pots.append(Pot(s.recipe, s.colour(alone.light), given, bound(s.readings), label=s.label))
    found = condition(alone, pots)
    kept = [s for some in aside if some is not None for s in known(some)]
    conditions = alone.conditions
    report = replace(
        report,
        set_aside=found.dyes.evaluate(kept).checks if kept else (),
        method="; ".join(f"{key} {conditions[key]}" for key in METHOD if key in conditions)
        or "not recorded",
    )
    return reported(replace(found.dyes, report=report), left_out_checks(found.left_out))


def left_out_checks(found: LeftOut) -> tuple[MixtureCheck, ...]:
    """Mixes that were each left out in turn, as a report shows them."""
    labels = [pot.label or str(pot.recipe) for pot in found.pots]
    measured, promised = np.array([pot.lab for pot in found.pots]), found.promised
    figures = (found.delta_e, promised.mean, promised.median, promised.bound)
    return mixture_checks(labels, measured, found.lab, *figures)


def reported(dyes: DyeSet, checks: tuple[MixtureCheck, ...]) -> DyeSet:
    """The dyes with a report that knows of these checks, and of what may be expected now."""
    if dyes.report is None:
        return dyes
    mean, (low, high) = None, (0.0, 0.0)
    if len(dyes) > 1:
        found = dyes.predict_many(middle_mixes(dyes, 2))
        mean = float(found.expected(found.lab + 1e-6).mean())
        low, high = (share * mean for share in dyes.known.spread)
    report = replace(
        dyes.report, own_mixtures=checks, expected=mean, between=(low, high),
        next_swatches=in_one_line(dyes),
    )  # fmt: skip
    return replace(dyes, report=report)


def flags(swatches: SwatchSet) -> tuple[str, ...]:
    """Doubtful readings, each with its place: likely slips, and what was flagged. All are kept.

    That the spectrum of a ladder's reading is made up is no doubt here: it is not used.
    """
    return tuple(slips(swatches)) + tuple(
        f"{r.place}: {flag}"
        for r in swatches.readings
        for flag in r.warnings
        if not (r.rough and r.recipe is not None and len(r.recipe) < 2 and flag[:6] == "rough:")
    )
