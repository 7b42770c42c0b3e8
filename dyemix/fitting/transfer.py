"""Dyes on a second cloth, from their squares there and a library on another.

A second cloth needs no second library: undyed cloth and one middle depth per dye will do. Spectral
shape and depth law are borrowed from the first cloth (or from another dyer's table, as a starting
guess); how strong each dye is on the new cloth is read off its own square. There is no factor for
a dye without one: it is left out, by name.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import reduce

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import lab
from dyemix.dataset.conditions import METHOD, same
from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import FitError
from dyemix.fitting.calibration import ladders_of
from dyemix.fitting.fit import calibrated, fit
from dyemix.model.dyes import DyeSet, Ladders
from dyemix.model.fit_report import DyeReport, FitReport
from dyemix.model.kubelka_munk import Surface, depth_law, depth_law_by_law

#: Prior of ln(strength on this cloth ÷ strength on the first): cloths differ by up to a factor of
#: two (mercerised cotton deeper, viscose deeper still: common practice), taken as two standard
#: deviations. A working value of ours; one square outweighs it a hundred times.
PRIOR_SPREAD = 0.35
#: How far a depth law may differ between cloths: standard deviation of its exponent. A working
#: value of ours; it widens depths away from the squares.
LAW_SPREAD = 0.05
#: Squares of this many depths make a ladder, which is fitted here and borrows nothing.
ENOUGH_DEPTHS = 3
#: A square that the borrowed shape misses by more (ΔE2000) is told.
_POOR = 3.0
_STRENGTHS = np.linspace(-1.6, 1.6, 321)  # ln


@dataclass(frozen=True)
class _Lent:
    """One borrowed dye: its depths here, ln(strength) with its standard error, and the ΔE2000 by
    which the borrowed shape misses the worst of its squares."""

    name: str
    depths: tuple[float, ...]
    log_strength: float
    error: float
    off: float


def borrow(dyes: DyeSet, swatches: SwatchSet, check: SwatchSet | None = None) -> DyeSet:
    """The dyes of `dyes` on the cloth of `swatches`.

    A dye with one or two depths there borrows shape and law from `dyes`, and its strength is
    fitted to those squares under a log-normal prior about its strength on the first cloth. A dye
    with three depths or more is fitted to them alone. A dye without a square is left out.

    Parameters
    ----------
    dyes : fitted on the first cloth, or on another dyer's.
    swatches : undyed cloth and squares on the new cloth; mixtures there calibrate as in `fit`.
    check : further mixtures on the new cloth, only to check the result by.

    Returns
    -------
    DyeSet
        With a report that marks what is borrowed, and more left open for it.

    Raises
    ------
    FitError
        No undyed cloth or no square on the new cloth, a dye with one depth and nothing to borrow,
        readings without a recipe, or readings of another geometry than those of the first cloth.
    """
    if swatches.unnamed:
        raise FitError(f"{len(swatches.unnamed)} readings have no recipe: name them.")
    conditions = swatches.conditions()
    told = _compare(dyes, conditions)
    steps = {name: {s.recipe[name] for s in swatches.ladder(name)} for name in swatches.dyes}
    own = [n for n, d in steps.items() if len(d) >= (ENOUGH_DEPTHS if n in dyes.names else 2)]
    borrowed = [n for n in dyes.names if steps.get(n) and n not in own]
    strangers = [n for n, d in steps.items() if len(d) == 1 and n not in dyes.names]
    if strangers:
        raise FitError(
            f"{', '.join(strangers)}: one depth here and nothing to borrow; dye a ladder of it."
        )
    if not swatches.undyed:
        raise FitError(
            f"{swatches.source or 'this table'} has no undyed reading of the new cloth: add one."
        )
    if not own and not borrowed:
        raise FitError("no dye has a square on the new cloth: dye one middle depth of each.")
    base = _fit_own(swatches, own) if own else None
    # Cloth that is darker than the surface alone is refused here.
    here = base or dyes.on(np.mean([s.reflectance for s in swatches.undyed], axis=0))
    lender = replace(dyes, curves=_curves_under(dyes, here.surface), surface=here.surface)
    lent = [_lend(lender, name, here.cloth, swatches) for name in borrowed]
    ladders = [ladders_of(base)] if base else []
    ladders += [_ladders(lender.take(borrowed), lent)] if lent else []
    ranges = [(min(steps[n]), max(steps[n])) for n in own]
    ranges += [(dyes.palest[i], dyes.deepest[i]) for i in map(dyes.index, borrowed)]
    palest, deepest = np.array(ranges).T
    # What its ladders are, and what mixes make of them, the calibration sees to.
    whole = replace(
        here, names=(*(base.names if base else ()), *borrowed), palest=palest, deepest=deepest,
        light=swatches.light, conditions=conditions, ladders=reduce(_joined, ladders), pots=(),
        demo=dyes.demo or swatches.demo,
    )  # fmt: skip
    first = base.report if base else None
    report = FitReport(
        light=str(whole.light),
        surface=first.surface if first else f"borrowed, r0 {here.surface.r0:.4f}",
        dyes=(*(first.dyes if first else ()), *map(_dye_report, lent)),
        warnings=(*told, *_told(dyes, whole, lent), *swatches.warnings, *swatches.apart),
        demo=whole.demo,
    )
    return calibrated(whole, report, swatches, check)


def _compare(dyes: DyeSet, conditions: dict[str, str]) -> list[str]:
    """What was done otherwise on the first cloth; refuses readings of another geometry."""
    told: list[str] = []
    for key in METHOD:
        there, here = dyes.conditions.get(key), conditions.get(key)
        if there is None or here is None or same(key, there, here):
            continue
        if key == "geometry":
            raise FitError(
                f"the first cloth was read {there!r} and this one {here!r}: no factor turns one "
                "into the other. Read the squares the same way."
            )
        if key == "cloth":
            told.insert(0, f"borrowed from cloth {there!r} to {here!r}.")
        else:
            told.append(
                f"the lending cloth was dyed otherwise: {key} {there!r}, here {here!r}. What is "
                "borrowed is a starting guess."
            )
    return told


def _fit_own(swatches: SwatchSet, own: list[str]) -> DyeSet:
    kept = tuple(r for r in swatches.readings if r.recipe is not None and set(r.recipe) <= set(own))
    return fit(replace(swatches, readings=kept))


def _curves_under(dyes: DyeSet, surface: Surface) -> Array:
    """Curves ``(D, B)`` under another surface term: the same reflectance at each middle depth."""
    if surface == dyes.surface:
        return dyes.curves
    middle = dyes.middle_depths
    seen = dyes.reflectance(np.diag(middle))
    g = depth_law(middle, dyes.law)
    k = surface.k_over_s(np.maximum(seen, surface.r0 + 1e-4)) - surface.k_over_s(dyes.cloth)
    return np.maximum(k / g[:, np.newaxis], 1e-9)


def _lend(lender: DyeSet, name: str, cloth: Array, swatches: SwatchSet) -> _Lent:
    """Strength of a dye from its squares: the nearest colour to each, then their mean.

    With ln s of each square known to σ (dosing and pot) and a prior N(0, τ²), the posterior is
    normal with mean ``Σ ln s / σ² ÷ (n/σ² + 1/τ²)`` and variance ``1 / (n/σ² + 1/τ²)``.
    """
    i, surface, light = lender.index(name), lender.surface, swatches.light
    curves = np.exp(_STRENGTHS)[:, np.newaxis] * lender.curves[i]
    ladder = swatches.ladder(name)
    depths = np.array([s.recipe[name] for s in ladder])
    k = (
        surface.k_over_s(cloth)
        + depth_law(depths, lender.law[i])[:, np.newaxis, np.newaxis] * curves
    )
    read = np.array([s.colour(light) for s in ladder])
    away = delta_e(read[:, np.newaxis], lab(surface.reflectance(k), light))
    precision = max(lender.scatter.strength, 0.01) ** -2
    total = len(ladder) * precision + PRIOR_SPREAD**-2
    mean = float(_STRENGTHS[away.argmin(axis=1)].sum() * precision / total)
    steps = np.unique(depths).tolist()
    return _Lent(name, tuple(steps), mean, total**-0.5, float(away.min(axis=1).max()))


def _ladders(lender: DyeSet, lent: list[_Lent]) -> Ladders:
    """The borrowed dyes, and what is open of them: their strength here, and the law by as much as
    cloths may differ, beside what their own ladders left open on the first cloth.

    The law pivots on the squares: there the colour was measured, and only the strength's own
    error is left.
    """
    pivot = np.array([np.exp(np.mean(np.log(each.depths))) for each in lent])
    turn = -LAW_SPREAD * depth_law_by_law(pivot, lender.law)[:, 0]
    level = np.stack([[each.error for each in lent], turn], axis=1)[..., np.newaxis]
    bent = np.zeros((len(lent), 2, 2))
    bent[:, 1, 0] = LAW_SPREAD
    first, bands = lender.modes, lender.curves.shape[1]
    modes = replace(
        first,
        curves=np.concatenate([np.repeat(level, bands, axis=2), first.curves], axis=1),
        laws=np.concatenate([bent, first.laws], axis=1),
    )
    scale = np.exp([each.log_strength for each in lent])[:, np.newaxis]
    return Ladders(lender.curves * scale, lender.law, lender.surface, modes)


def _joined(here: Ladders, there: Ladders) -> Ladders:
    """Dyes fitted here and dyes borrowed, under the surface term found here."""
    most = max(x.modes.laws.shape[1] for x in (here, there))
    one, other = here.modes.padded(most), there.modes.padded(most)
    still = np.zeros_like(other.surface_curves), np.zeros_like(other.surface_laws)
    modes = replace(
        one,
        curves=np.concatenate([one.curves, other.curves]),
        laws=np.concatenate([one.laws, other.laws]),
        surface_curves=np.concatenate([one.surface_curves, still[0]], axis=1),
        surface_laws=np.concatenate([one.surface_laws, still[1]], axis=1),
    )
    curves, law = np.concatenate([here.curves, there.curves]), np.concatenate([here.law, there.law])
    return replace(here, curves=curves, law=law, modes=modes)


def _told(dyes: DyeSet, whole: DyeSet, lent: list[_Lent]) -> list[str]:
    """What was borrowed, what of it is doubtful, and what was left out."""
    told = []
    if lent:
        strengths = ", ".join(
            f"{each.name} {np.exp(each.log_strength):.2f} ± {100.0 * each.error:.0f} %"
            for each in lent
        )
        told.append(
            "borrowed: spectral shape and depth law; strength here against the lending cloth: "
            f"{strengths} (prior: log-normal about 1, standard "
            f"deviation {PRIOR_SPREAD:g}). Their intervals are wider; a dye with "
            f"{ENOUGH_DEPTHS} depths on this cloth is fitted here instead."
        )
    told += [
        f"{each.name}: its square lies {each.off:.1f} ΔE2000 from the nearest colour that the "
        "borrowed shape gives: mislabelled, or another dye on this cloth? Dye a ladder of it."
        for each in lent
        if each.off > _POOR
    ]
    missing = ", ".join(name for name in dyes.names if name not in whole.names)
    if missing:
        told.append(
            f"left out: {missing}, no square on this cloth. There is no factor without "
            "one: dye a middle depth of each."
        )
    return told


def _dye_report(lent: _Lent) -> DyeReport:
    middle = float(np.exp(np.mean(np.log(lent.depths))))
    want = [depth for depth in (middle / 4.0, middle * 4.0) if depth not in lent.depths]
    more = f"{' and '.join(f'{x:.2g}' for x in want)} %, then it is fitted on this cloth"
    return DyeReport(lent.name, lent.depths, "borrowed", (), more)
