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
from dyemix.fitting.fit import fit
from dyemix.model.dyes import Draws, DyeSet
from dyemix.model.fit_report import DyeReport, FitReport, MixtureCheck
from dyemix.model.kubelka_munk import Surface, depth_law

#: Prior of ln(strength on this cloth ÷ strength on the first): cloths differ by up to a factor of
#: two (mercerised cotton deeper, viscose deeper still: common practice), taken as two standard
#: deviations. A working value of ours; one square outweighs it a hundred times.
PRIOR_SPREAD = 0.35
#: How far a depth law may differ between cloths: standard deviation of a Freundlich exponent, and
#: of ln(capacity). Working values of ours; they widen depths away from the squares.
LAW_SPREAD, CAPACITY_SPREAD = 0.05, 0.3
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
    swatches : undyed cloth and squares on the new cloth; mixtures there only check the result.
    check : further mixtures on the new cloth, only to check the result by.

    Returns
    -------
    DyeSet
        With a report that marks what is borrowed, and draws spread wider for it.

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
    spread = max(float(np.hypot(dyes.scatter.dosing, dyes.scatter.pot)), 0.01)
    places = [dyes.index(name) for name in lent_names]
    lent = [
        _lend(
            dyes, i, curves[i], ground.surface, cloth, swatches.ladder(dyes.names[i]), spread, light
        )
        for i in places
    ]
    scale = np.exp([each.log_strength for each in lent])
    lent_dyes = replace(
        ground.take(lent_names),
        curves=curves[places] * scale[:, np.newaxis] if lent else np.empty((0, len(cloth))),
        draws=_draws(dyes, places, curves, lent),
        light=light,
        conditions=conditions,
        demo=dyes.demo or swatches.demo,
    )
    whole = lent_dyes if base is None else _join(base, lent_dyes)
    missing = [n for n in dyes.names if n not in whole.names]
    return replace(whole, report=_report(whole, base, lent, missing, swatches, check, notes))


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
    g = depth_law(middle, dyes.exponent, dyes.capacity)
    k = surface.k_over_s(np.maximum(seen, surface.r0 + 1e-4)) - surface.k_over_s(dyes.cloth)
    return np.maximum(k / g[:, np.newaxis], 0.0)


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
        g = depth_law(square.recipe[dyes.names[i]], dyes.exponent[i], dyes.capacity[i])
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


def _draws(dyes: DyeSet, places: list[int], curves: Array, lent: list[_Lent]) -> Draws | None:
    """Versions of the borrowed dyes: strength by its error, the law by what cloths may differ.

    The law pivots on the squares: there the colour was measured, and only the strength's own
    error is left.
    """
    if not lent:
        return None
    rng = np.random.default_rng(0)
    first = dyes.draws
    versions = 32 if first is None else len(first.curves)
    shape = (versions, len(lent))
    if first is None:
        drawn = np.broadcast_to(curves[places], (*shape, curves.shape[1])).copy()
        exponent = np.broadcast_to(dyes.exponent[places], shape).copy()
        capacity = np.broadcast_to(dyes.capacity[places], shape).copy()
    else:
        ratio = curves[places] / np.maximum(dyes.curves[places], 1e-12)
        drawn = first.curves[:, places] * ratio
        exponent, capacity = first.exponent[:, places].copy(), first.capacity[:, places].copy()
    bent = np.isfinite(capacity)
    moved = rng.standard_normal(shape)
    exponent = np.where(bent, exponent, np.maximum(exponent + LAW_SPREAD * moved, 0.1))
    capacity[bent] *= np.exp(CAPACITY_SPREAD * moved[bent])
    pivot = np.array([np.exp(np.mean(np.log(each.depths))) for each in lent])
    there = depth_law(pivot, dyes.exponent[places], dyes.capacity[places]) * curves[places].sum(1)
    level = depth_law(pivot, exponent, capacity) * drawn.sum(axis=2)
    logs = np.array([each.log_strength for each in lent])
    error = np.array([each.error for each in lent])
    strength = np.exp(logs + error * rng.standard_normal(shape))
    drawn *= (strength * there / np.maximum(level, 1e-12))[:, :, np.newaxis]
    return Draws(drawn, exponent, capacity)


def _join(base: DyeSet, lent: DyeSet) -> DyeSet:
    """Dyes fitted here and dyes borrowed, on one cloth under one surface term."""
    draws = base.draws
    if base.draws is not None and lent.draws is not None:
        many = min(len(base.draws.curves), len(lent.draws.curves))
        pairs = (
            (base.draws.curves, lent.draws.curves),
            (base.draws.exponent, lent.draws.exponent),
            (base.draws.capacity, lent.draws.capacity),
        )
        draws = Draws(*(np.concatenate([a[:many], b[:many]], axis=1) for a, b in pairs))
    return replace(
        lent,
        names=(*base.names, *lent.names),
        curves=np.concatenate([base.curves, lent.curves]),
        exponent=np.concatenate([base.exponent, lent.exponent]),
        capacity=np.concatenate([base.capacity, lent.capacity]),
        palest=np.concatenate([base.palest, lent.palest]),
        deepest=np.concatenate([base.deepest, lent.deepest]),
        draws=draws,
    )


def _report(
    whole: DyeSet,
    base: DyeSet | None,
    lent: list[_Lent],
    missing: list[str],
    swatches: SwatchSet,
    check: SwatchSet | None,
    notes: list[str],
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
    return FitReport(
        light=str(whole.light),
        surface="borrowed" if base is None or base.report is None else base.report.surface,
        surface_note=(
            f"borrowed, r0 {whole.surface.r0:.4f}"
            if base is None or base.report is None
            else base.report.surface_note
        ),
        dyes=(*own, *(_dye_report(each) for each in lent)),
        own_mixtures=_check(whole, swatches),
        set_aside=() if check is None else _check(whole, check),
        method=method or "not recorded",
        notes=(*told, *swatches.notes, *swatches.doubts),
        rough=swatches.rough,
        demo=whole.demo,
    )


def _check(dyes: DyeSet, swatches: SwatchSet) -> tuple[MixtureCheck, ...]:
    """Mixtures on the new cloth, predicted; those with a dye that is not on it are passed over."""
    known = [s for s in swatches.mixtures if all(dye in dyes.names for dye in s.recipe)]
    return tuple(
        MixtureCheck(s.label, float(delta_e(s.colour(dyes.light), dyes.predict(s.recipe).lab)))
        for s in known
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
        odd=(),
        advice=f"{' and '.join(f'{x:.2g}' for x in want)} %, then it is fitted on this cloth",
    )
