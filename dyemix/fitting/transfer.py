"""Dyes on a second cloth, from their squares there and a library on another.

A second cloth needs no second library: undyed cloth and one middle depth per dye will do. Spectral
shape and depth law are borrowed from the first cloth (or from another dyer's table, as a starting
guess); how strong each dye is on the new cloth is read off its own square. There is no factor for
a dye without one: it is left out, by name.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import Light, lab
from dyemix.dataset.conditions import METHOD, same
from dyemix.dataset.swatches import Swatch, SwatchSet
from dyemix.errors import FitError
from dyemix.fitting.calibration import condition, ladders_of
from dyemix.fitting.checks import checked, expected, left_out_checks, pots_of
from dyemix.fitting.fit import fit
from dyemix.fitting.next_squares import in_one_line
from dyemix.model.dyes import DyeSet
from dyemix.model.fit_report import DyeReport, FitReport, MixtureCheck
from dyemix.model.kubelka_munk import Surface, depth_law, depth_law_by_law
from dyemix.model.ladders import Ladders
from dyemix.model.unknowns import Modes

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
    """One borrowed dye: its squares here, and ln(strength) with its standard error."""

    name: str
    depths: tuple[float, ...]
    log_strength: float
    error: float
    miss: float

    @property
    def text(self) -> str:
        strength = np.exp(self.log_strength)
        return f"{self.name} {strength:.2f} ± {100.0 * self.error:.0f} %"


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
    notes = _compare(dyes, conditions)
    steps = {
        name: sorted({s.recipe[name] for s in swatches.ladder(name)}) for name in swatches.dyes
    }
    own = [n for n, d in steps.items() if len(d) >= (ENOUGH_DEPTHS if n in dyes.names else 2)]
    lent_names = [n for n in dyes.names if n in steps and steps[n] and n not in own]
    strangers = [n for n, d in steps.items() if len(d) == 1 and n not in dyes.names]
    if strangers:
        raise FitError(
            f"{', '.join(strangers)}: one depth here and nothing to borrow; dye a ladder of it."
        )
    if not swatches.undyed:
        raise FitError(
            f"{swatches.source or 'this table'} has no undyed reading of the new cloth: add one."
        )
    if not own and not lent_names:
        raise FitError("no dye has a square on the new cloth: dye one middle depth of each.")
    base = _fit_own(swatches, own) if own else None
    undyed = [s.reflectance for s in swatches.undyed]
    cloth = np.mean(undyed, axis=0) if base is None else base.cloth
    ground = dyes.on(cloth) if base is None else replace(dyes, cloth=cloth, surface=base.surface)
    curves = _curves_under(dyes, ground.surface)
    light = swatches.light
    spread = max(dyes.scatter.strength, 0.01)
    places = [dyes.index(name) for name in lent_names]
    lent = [
        _lend(
            dyes, i, curves[i], ground.surface, cloth, swatches.ladder(dyes.names[i]), spread, light
        )
        for i in places
    ]
    lent_dyes = replace(
        ground.take(lent_names),
        light=light,
        conditions=conditions,
        demo=dyes.demo or swatches.demo,
        ladders=_ladders(dyes, places, curves, lent, ground.surface),
        posterior=None,
        pots=(),
    )
    whole = lent_dyes if base is None else _join(base, lent_dyes)
    calibrated = condition(whole, pots_of(whole, swatches))
    whole = calibrated.dyes
    missing = [n for n in dyes.names if n not in whole.names]
    own_checks = left_out_checks(calibrated.left_out)
    return replace(
        whole, report=_report(whole, base, lent, missing, swatches, check, notes, own_checks)
    )


def _compare(dyes: DyeSet, conditions: dict[str, str]) -> list[str]:
    """What was done otherwise on the first cloth; refuses readings of another geometry."""
    first = dict(dyes.conditions or {})
    other = [
        (key, first[key], conditions[key])
        for key in METHOD
        if key in first and key in conditions and not same(key, first[key], conditions[key])
    ]
    for key, there, here in other:
        if key == "geometry":
            raise FitError(
                f"the first cloth was read {there!r} and this one {here!r}: no factor turns one "
                "into the other. Read the squares the same way."
            )
    notes = [
        f"the lending cloth was dyed otherwise: {key} {there!r}, here {here!r}. What is borrowed "
        "is a starting guess."
        for key, there, here in other
        if key != "cloth"
    ]
    cloths = [f"{there!r} to {here!r}" for key, there, here in other if key == "cloth"]
    return [f"borrowed from cloth {text}." for text in cloths] + notes


def _fit_own(swatches: SwatchSet, own: list[str]) -> DyeSet:
    kept = tuple(r for r in swatches.readings if r.recipe is not None and set(r.recipe) <= set(own))
    return fit(replace(swatches, readings=kept))


def _curves_under(dyes: DyeSet, surface: Surface) -> Array:
    """Curves ``(D, B)`` under another surface term: the same reflectance at each middle depth."""
    if surface == dyes.surface:
        return dyes.curves
    middle = np.sqrt(dyes.palest * dyes.deepest)
    seen = dyes.reflectance(np.diag(middle))
    g = depth_law(middle, dyes.law)
    k = surface.k_over_s(np.maximum(seen, surface.r0 + 1e-4)) - surface.k_over_s(dyes.cloth)
    return np.maximum(k / g[:, np.newaxis], 1e-9)


def _lend(
    dyes: DyeSet,
    i: int,
    curve: Array,
    surface: Surface,
    cloth: Array,
    squares: tuple[Swatch, ...],
    spread: float,
    light: Light,
) -> _Lent:
    """Strength of dye `i` from its squares: the nearest colour to each, then their mean.

    With ln s of each square known to σ (dosing and pot) and a prior N(0, τ²), the posterior is
    normal with mean ``Σ ln s / σ² ÷ (n/σ² + 1/τ²)`` and variance ``1 / (n/σ² + 1/τ²)``.
    """
    logs, miss = [], []
    for square in squares:
        g = depth_law(square.recipe[dyes.names[i]], dyes.law[i])
        k = surface.k_over_s(cloth) + np.exp(_STRENGTHS)[:, np.newaxis] * (g * curve)
        away = delta_e(square.colour(light), lab(surface.reflectance(k), light))
        best = int(np.argmin(away))
        logs.append(float(_STRENGTHS[best]))
        miss.append(float(away[best]))
    weight = len(logs) / spread**2
    total = weight + 1.0 / PRIOR_SPREAD**2
    return _Lent(
        dyes.names[i],
        tuple(sorted({s.recipe[dyes.names[i]] for s in squares})),
        float(np.sum(logs)) / spread**2 / total,
        total**-0.5,
        max(miss),
    )


def _ladders(
    dyes: DyeSet, places: list[int], curves: Array, lent: list[_Lent], surface: Surface
) -> Ladders:
    """The borrowed dyes, and what is open of them: their strength here, and the law by as much as
    cloths may differ, beside what their own ladders left open on the first cloth.

    The law pivots on the squares: there the colour was measured, and only the strength's own
    error is left.
    """
    first = dyes.modes.take(places)
    law = dyes.law[places]
    pivot = np.array([np.exp(np.mean(np.log(each.depths))) for each in lent])
    turn = -LAW_SPREAD * depth_law_by_law(pivot, law)[:, 0]
    level = np.stack([[each.error for each in lent], turn], axis=1)[..., np.newaxis]
    bent = np.zeros((len(lent), 2, 2))
    bent[:, 1, 0] = LAW_SPREAD
    scale = np.exp([[each.log_strength] for each in lent])
    modes = Modes(
        np.concatenate([np.repeat(level, curves.shape[1], axis=2), first.curves], axis=1),
        np.concatenate([bent, first.laws], axis=1),
        first.surface,
        first.surface_curves,
        first.surface_laws,
    )
    return Ladders(curves[places] * scale, law, surface, modes)


def _join(base: DyeSet, lent: DyeSet) -> DyeSet:
    """Dyes fitted here and dyes borrowed, on one cloth under the surface term found here."""
    here, there = ladders_of(base), ladders_of(lent)
    most = max(here.modes.laws.shape[1], there.modes.laws.shape[1])
    one, other = here.modes.padded(most), there.modes.padded(most)
    modes = Modes(
        np.concatenate([one.curves, other.curves]),
        np.concatenate([one.laws, other.laws]),
        one.surface,
        np.concatenate([one.surface_curves, np.zeros_like(other.surface_curves)], axis=1),
        np.concatenate([one.surface_laws, np.zeros_like(other.surface_laws)], axis=1),
    )
    curves, law = (
        np.concatenate([getattr(x, name) for x in (here, there)]) for name in ("curves", "law")
    )
    return replace(
        lent,
        names=(*base.names, *lent.names),
        curves=curves,
        law=law,
        company=np.zeros(len(curves)),
        company_curve=None,
        palest=np.concatenate([base.palest, lent.palest]),
        deepest=np.concatenate([base.deepest, lent.deepest]),
        scatter=base.scatter,
        ladders=replace(here, curves=curves, law=law, modes=modes),
    )


def _report(
    whole: DyeSet,
    base: DyeSet | None,
    lent: list[_Lent],
    missing: list[str],
    swatches: SwatchSet,
    check: SwatchSet | None,
    notes: list[str],
    own_checks: tuple[MixtureCheck, ...],
) -> FitReport:
    own = () if base is None or base.report is None else base.report.dyes
    told = list(notes)
    if lent:
        told.append(
            "borrowed: spectral shape and depth law; strength here against the lending cloth: "
            f"{', '.join(each.text for each in lent)} (prior: log-normal about 1, standard "
            f"deviation {PRIOR_SPREAD:g}). Their intervals are wider; a dye with "
            f"{ENOUGH_DEPTHS} depths on this cloth is fitted here instead."
        )
    told += [
        f"{each.name}: its square lies {each.miss:.1f} ΔE2000 from the nearest colour that the "
        "borrowed shape gives: mislabelled, or another dye on this cloth? Dye a ladder of it."
        for each in lent
        if each.miss > _POOR
    ]
    if missing:
        told.append(
            f"left out: {', '.join(missing)}, no square on this cloth. There is no factor without "
            "one: dye a middle depth of each."
        )
    recorded = whole.conditions or {}
    method = "; ".join(f"{key} {recorded[key]}" for key in METHOD if key in recorded)
    mean, between = expected(whole)
    return FitReport(
        light=str(whole.light),
        surface=(
            f"borrowed, r0 {whole.surface.r0:.4f}"
            if base is None or base.report is None
            else base.report.surface
        ),
        dyes=(*own, *(_dye_report(each) for each in lent)),
        own_mixtures=own_checks,
        set_aside=() if check is None else checked(whole, check),
        expected=mean,
        between=between,
        next_swatches=in_one_line(whole),
        method=method or "not recorded",
        warnings=(*told, *swatches.warnings, *swatches.apart),
        rough=swatches.rough,
        demo=whole.demo,
    )


def _dye_report(lent: _Lent) -> DyeReport:
    middle = float(np.exp(np.mean(np.log(lent.depths))))
    want = [depth for depth in (middle / 4.0, middle * 4.0) if depth not in lent.depths]
    return DyeReport(
        name=lent.name,
        depths=lent.depths,
        law="borrowed",
        inner=(),
        ends=(),
        warnings=(),
        next=f"{' and '.join(f'{x:.2g}' for x in want)} %, then it is fitted on this cloth",
    )
