"""Dyes on a second cloth, from their squares there and a library on another.

A second cloth needs no second library: undyed cloth and one middle depth per dye will do. Spectral
shape and depth law are borrowed from the first cloth (or from another dyer's table, as a starting
guess); how strong each dye is on the new cloth is read off its own square. There is no factor for
a dye without one: it is left out, by name.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import lab
from dyemix.dataset.conditions import METHOD, same
from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import FitError, refuse, said
from dyemix.fitting.fit import fit
from dyemix.fitting.ladder import beside
from dyemix.fitting.learn import calibrated
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
    refuse(swatches.unnamed, "fit.unnamed_there", count=len(swatches.unnamed), error=FitError)
    conditions = swatches.conditions()
    told = _compare(dyes, conditions)
    swatches, aside = swatches.set_aside()
    found = {n: np.unique([s.recipe[n] for s in swatches.ladder(n)]) for n in swatches.dyes}
    steps = {name: depths for name, depths in found.items() if len(depths)}
    own = [n for n, d in steps.items() if len(d) >= (ENOUGH_DEPTHS if n in dyes.names else 2)]
    borrowed = [n for n in dyes.names if n in steps and n not in own]
    strangers = ", ".join(n for n in steps if n not in own and n not in dyes.names)
    refuse(strangers, "fit.stranger", dyes=strangers, error=FitError)
    table = swatches.source or "this table"
    refuse(not swatches.undyed, "fit.no_undyed_there", table=table, error=FitError)
    refuse(not steps, "fit.no_square_there", error=FitError)
    kept = tuple(r for r in swatches.readings if r.recipe is not None and {*r.recipe} <= {*own})
    base = fit(replace(swatches, readings=kept)) if own else None
    # Cloth that is darker than the surface alone is refused here.
    here = base or dyes.on(np.mean([s.reflectance for s in swatches.undyed], axis=0))
    names, light, demo = (*own, *borrowed), swatches.light, dyes.demo or swatches.demo
    surface = here.whole.surface
    none = FitReport(str(light), f"borrowed, r0 {surface.r0:.4f}", ())
    first = (base.report if base else None) or none
    lent, shape, depths = [], here.ladders, [steps[name] for name in borrowed]
    if borrowed:
        lender = dyes.take(borrowed)
        shapes = _under(lender, surface)
        log_strength, error, off = _lend(lender, shapes, here.cloth, swatches)
        there = _open(shapes, depths, log_strength, error)
        shape = beside(here.ladders, there) if base else there
        lent = _borrowed(borrowed, np.exp(log_strength), error, off)
    if missing := [name for name in dyes.names if name not in names]:
        lent.append(said("fit.no_square", dyes=", ".join(missing)))
    ranges = [(steps[n][0], steps[n][-1]) for n in own]
    ranges += [(dyes.palest[i], dyes.deepest[i]) for i in map(dyes.index, borrowed)]
    palest, deepest = np.array(ranges).T
    # What mixes make of its ladders, the calibration sees to.
    whole = replace(
        here, names=names, palest=palest, deepest=deepest, light=light, conditions=conditions,
        ladders=shape, pots=(), posterior=None, demo=demo,
    )  # fmt: skip
    warnings = [*told, *lent, *swatches.warnings, *swatches.apart, *first.warnings]
    report = replace(
        first, dyes=(*first.dyes, *map(_dye_report, borrowed, depths)), misfit=None, demo=demo,
        warnings=tuple(dict.fromkeys(warnings)),
    )  # fmt: skip
    return calibrated(whole, report, swatches, aside, check)


def _compare(dyes: DyeSet, conditions: Mapping[str, str]) -> list[str]:
    """What was done otherwise on the first cloth; refuses readings of another geometry."""
    told: list[str] = []
    for key in METHOD:
        values = {"there": dyes.conditions.get(key), "here": conditions.get(key)}
        if None in values.values() or same(key, *map(str, values.values())):
            continue
        refuse(key == "geometry", "fit.other_geometry", **values, error=FitError)
        otherwise = "fit.from_cloth" if key == "cloth" else "fit.dyed_otherwise"
        told.append(said(otherwise, key=key, **values))
    return told


def _under(dyes: DyeSet, surface: Surface) -> Ladders:
    """Shapes and laws under another surface term: the same reflectance at each middle depth."""
    whole, middle, modes = dyes.whole, dyes.middle_depths, dyes.ladders.modes
    curves, seen = whole.curves, dyes.reflectance(np.diag(middle))
    if surface != whole.surface:
        # How their own squares follow it was seen under the surface that they were read with.
        followed = np.arange(modes.shared.shape[1]) > 1
        modes = replace(modes, shared=modes.shared * followed[:, np.newaxis])
        k = surface.k_over_s(np.maximum(seen, surface.r0 + 1e-4)) - surface.k_over_s(dyes.cloth)
        curves = np.maximum(k / depth_law(middle, whole.law)[:, np.newaxis], 1e-9)
    return Ladders(curves, whole.law, surface, modes)


def _lend(lender: DyeSet, shapes: Ladders, cloth: Array, swatches: SwatchSet) -> Array:
    """Of each dye ``(3, D)``: ln(strength) here, its standard error, and the ΔE2000 by which the
    borrowed shape misses the worst of its squares.

    Strength is that of the nearest colour to each square, then their mean: with ln s of each square
    known to σ (dosing and pot) and a prior N(0, τ²), the posterior is normal with mean
    ``Σ ln s / σ² ÷ (n/σ² + 1/τ²)`` and variance ``1 / (n/σ² + 1/τ²)``.
    """
    surface, light, found = shapes.surface, swatches.light, []
    precision = max(lender.scatter.strength, 0.01) ** -2
    for name, curve, law in zip(lender.names, shapes.curves, shapes.law, strict=True):
        ladder = swatches.ladder(name)
        works = depth_law([s.recipe[name] for s in ladder], law)[:, np.newaxis, np.newaxis]
        k = surface.k_over_s(cloth) + works * (np.exp(_STRENGTHS)[:, np.newaxis] * curve)
        read = np.array([s.colour(light) for s in ladder])
        away = delta_e(read[:, np.newaxis], lab(surface.reflectance(k), light))
        total = len(ladder) * precision + PRIOR_SPREAD**-2
        mean = _STRENGTHS[away.argmin(axis=1)].sum() * precision / total
        found.append((mean, total**-0.5, away.min(axis=1).max()))
    return np.array(found).T


def _open(shapes: Ladders, depths: list[Array], log_strength: Array, error: Array) -> Ladders:
    """The borrowed dyes, and what is open of them: their strength here, and the law by as much as
    cloths may differ, beside what their own ladders left open on the first cloth.

    The law pivots on the squares: there the colour was measured, and only the strength's own
    error is left.
    """
    pivot = np.array([np.exp(np.mean(np.log(each))) for each in depths])
    turn = -LAW_SPREAD * depth_law_by_law(pivot, shapes.law)[:, 0]
    lent, first = np.zeros((len(depths), 2, shapes.curves.shape[1] + 2)), shapes.modes
    lent[..., :-2] = np.stack([error, turn], axis=1)[..., np.newaxis]
    lent[:, 1, -2] = LAW_SPREAD
    # What photographs there were off by is each borrowed dye's own here.
    own = np.concatenate([lent, first.own, first.shared[:, 2:]], axis=1)
    modes = replace(first, own=own, shared=first.shared[:, :2])
    curves = shapes.curves * np.exp(log_strength)[:, np.newaxis]
    return replace(shapes, curves=curves, modes=modes)


def _borrowed(names: list[str], strengths: Array, errors: Array, off: Array) -> list[str]:
    """What was borrowed, and what of it is doubtful."""
    each = ", ".join(
        f"{name} {strength:.2f} ± {100.0 * error:.0f} %"
        for name, strength, error in zip(names, strengths, errors, strict=True)
    )
    both = zip(names, off, strict=True)
    poor = [said("fit.poor_shape", dye=name, off=miss) for name, miss in both if miss > _POOR]
    return [said("fit.borrowed", strengths=each, prior=PRIOR_SPREAD, depths=ENOUGH_DEPTHS), *poor]


def _dye_report(name: str, depths: Array) -> DyeReport:
    middle = float(np.exp(np.mean(np.log(depths))))
    want = " and ".join(f"{x:.2g}" for x in (middle / 4.0, middle * 4.0) if x not in depths)
    more = said("fit.two_more", depths=want)
    return DyeReport(name, tuple(depths.tolist()), "borrowed", (), more)
