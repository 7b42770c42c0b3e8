"""Fit Kubelka–Munk dyes to swatches of single dyes.

A ladder of spectra is fitted band by band (`ladder`); one with any reading as CIELAB only, all
depths jointly (`lab_ladder`). Both kinds share the undyed cloth and the surface term, which comes
from the spectra where there are some.

Laws and surface are chosen by the swatches they have not seen: each inner depth is left out and
predicted (undyed cloth is depth 0), and one more parameter must win by more than one standard
error of the paired ΔE2000.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_10, Light
from dyemix.dataset.swatches import METHOD, Swatch, SwatchSet
from dyemix.errors import FitError
from dyemix.fitting.bootstrap import draw_versions
from dyemix.fitting.checks import advice, check_mixtures, expected, flags
from dyemix.fitting.lab_ladder import LabFit, LabLadder, LabLadders, cloth_from_lab
from dyemix.fitting.ladder import LAWS, Curve, DyeFit, Ladder, fit_ladder, fit_law, wins
from dyemix.model.dyes import DyeSet, law_name
from dyemix.model.fit_report import DyeReport, FitReport, MixtureCheck
from dyemix.model.kubelka_munk import Surface, depth_law
from dyemix.model.uncertainty import strength_scatter, weigh

#: A swatch whose strength is off by more than this factor, and by more than four times the usual
#: scatter of the set, is called odd.
ODD_FACTOR = 1.25
#: How much an odd swatch counts in the fit. It is kept, named, and left out only when asked.
ODD_WEIGHT = 0.05


@dataclass(frozen=True, eq=False)
class _Data:
    """What the fit sees of a swatch set: a ladder a dye, and the undyed cloth.

    `lab` holds the ladders that have a reading without a spectrum, by the dye's place.
    """

    names: tuple[str, ...]
    swatches: tuple[tuple[Swatch, ...], ...]
    depths: tuple[Array, ...]
    counts: tuple[Array, ...]
    lab: dict[int, LabLadder]
    cloth: Array

    def ladders(self, surface: Surface) -> dict[int, Ladder]:
        """The spectral ladders, by the dye's place."""
        return {
            i: Ladder.of(self.depths[i], _spectra(swatches), self.cloth, surface, self.counts[i])
            for i, swatches in enumerate(self.swatches)
            if i not in self.lab
        }

    def lab_ladders(self) -> LabLadders:
        return LabLadders(
            tuple(self.lab.values()), tuple(self.counts[i] for i in self.lab), self.cloth
        )

    def cost(self, surface: Surface) -> float:
        """Sum of squares over the spectral dyes, each with the best of its laws."""
        return sum(
            min(fit_law(ladder, laws).cost for laws in LAWS.values())
            for ladder in self.ladders(surface).values()
        )

    def ceiling(self) -> float:
        """What `r0` must stay below: the lowest reflectance of any swatch, with some room."""
        rows = [_spectra(x) for i, x in enumerate(self.swatches) if i not in self.lab]
        return 0.95 * min(float(r.min()) for r in rows)


@dataclass(frozen=True, eq=False)
class _Fitted:
    """Every dye fitted under one surface term; `lab_fit` holds what draws of Lab dyes need."""

    surface: Surface
    surface_name: str
    fits: list[DyeFit]
    lab_fit: LabFit | None


def _spectra(swatches: Sequence[Swatch]) -> Array:
    return np.array([s.reflectance for s in swatches])


def _best_surface(data: _Data, with_inside: bool) -> Surface:
    """Surface term of least squares: r0 alone, or r0 and the reflection inside."""
    from scipy.optimize import minimize, minimize_scalar

    top = data.ceiling()
    flat = minimize_scalar(
        lambda r0: data.cost(Surface(r0)), bounds=(0.0, top), method="bounded",
        options={"xatol": 2e-4},
    )  # fmt: skip
    if not with_inside:
        return Surface(float(flat.x))
    both = minimize(
        lambda p: data.cost(Surface(float(p[0]), float(p[1]))),
        [0.8 * float(flat.x), 0.2], bounds=[(0.0, top), (0.0, 0.7)], method="Nelder-Mead",
        options={"xatol": 1e-3, "fatol": 1e-7, "maxiter": 40},
    )  # fmt: skip
    return Surface(float(both.x[0]), float(both.x[1]))


def _fit_all(data: _Data, light: Light) -> _Fitted:
    """Surface term and every dye: the surface from spectra where there are some."""
    if len(data.lab) == len(data.names):
        surface = data.lab_ladders().best_surface()
        name = "a flat part"
        spectral: dict[int, DyeFit] = {}
    else:
        surface, name, spectral = _choose_surface(data, light)
    lab_fit = data.lab_ladders().fit(surface) if data.lab else None
    fits = spectral | dict(zip(data.lab, lab_fit.fits if lab_fit else (), strict=True))
    return _Fitted(surface, name, [fits[i] for i in range(len(data.names))], lab_fit)


def _choose_surface(data: _Data, light: Light) -> tuple[Surface, str, dict[int, DyeFit]]:
    """None, flat, or flat and inside: by left-out inner depths of all spectral dyes together."""
    options = [("none", Surface())]
    options += [("a flat part", _best_surface(data, False))]
    options += [("a flat part and reflection inside", _best_surface(data, True))]
    best: tuple[Surface, str, dict[int, DyeFit]] | None = None
    best_miss = np.empty(0)
    for name, surface in options:
        ladders = data.ladders(surface)
        fits = {i: fit_ladder(x, data.cloth, surface, light) for i, x in ladders.items()}
        left = [f.left_out for f in fits.values() if f.left_out]
        miss = np.concatenate([x.delta_e[x.inner] for x in left] or [np.empty(0)])
        if best is None or wins(best_miss, miss):
            best, best_miss = (surface, name, fits), miss
    assert best is not None
    return best


def _find_odd(data: _Data, fits: list[DyeFit]) -> list[tuple[int, int, float]]:
    """(dye, swatch, strength) of the one swatch a ladder that fits its neighbours worst."""
    logs = [np.log(np.maximum(f.left_out.strength, 1e-3)) if f.left_out else None for f in fits]
    known = [x for x in logs if x is not None]
    if not known:
        return []
    usual = 1.4826 * float(np.median(np.abs(np.concatenate(known))))
    limit = max(np.log(ODD_FACTOR), 4.0 * usual)
    odd = []
    for dye, values in enumerate(logs):
        if values is None or len(values) < 4:
            continue
        # End depths are extrapolated, so a bent law alone can put them off: inner ones only.
        fit = fits[dye].left_out
        assert fit is not None
        score = np.where(fit.inner & (data.counts[dye] > ODD_WEIGHT), np.abs(values), 0.0)
        worst = int(np.argmax(score))
        if score[worst] > limit:
            odd.append((dye, worst, float(np.exp(values[worst]))))
    return odd


def _data(swatches: SwatchSet, light: Light) -> _Data:
    undyed = swatches.undyed
    if swatches.unread and not swatches.swatches:
        raise FitError(
            f"{swatches.source or 'this table'}: none of its {len(swatches.unread)} swatches has "
            "been read yet: fill in L*, a*, b*, or hex, or bands in nm."
        )
    if not undyed:
        raise FitError(
            f"{swatches.source or 'this table'} has no undyed reading: add a row 'undyed', cloth "
            "taken through the whole process without dye."
        )
    names = [name for name in swatches.dyes if swatches.ladder(name)]
    faults = []
    for name in swatches.dyes:
        ladder = swatches.ladder(name)
        depths = sorted({s.recipe[name] for s in ladder})
        if len(depths) == 1:
            alone = "L*a*b* of a single depth leaves its spectrum open, and "
            faults.append(
                f"{name} has one depth ({depths[0]:g} % owf): "
                f"{alone if ladder[0].rough else ''}dye at least one more square of it, "
                f"as {depths[0] / 4:g} %."
            )
        elif not depths and any(name in s.recipe for s in swatches.mixtures):
            faults.append(f"{name} has no swatch of its own, only mixtures: dye a ladder of it.")
    if faults:
        raise FitError("\n".join(faults))
    if not names:
        raise FitError(
            f"{swatches.source or 'this table'} has no swatch of a single dye that was read."
        )
    ladders = tuple(swatches.ladder(name) for name in names)
    return _Data(
        tuple(names),
        ladders,
        tuple(np.array([s.recipe[n] for s in x]) for n, x in zip(names, ladders, strict=True)),
        tuple(np.ones(len(x)) for x in ladders),
        {
            i: LabLadder.of(name, x)
            for i, (name, x) in enumerate(zip(names, ladders, strict=True))
            if any(s.rough for s in x)
        },
        _cloth(undyed),
    )


def _cloth(undyed: Sequence[Swatch]) -> Array:
    """Reflectance ``(B,)`` of the undyed cloth: the mean of its spectra, or one for its CIELAB."""
    spectra = [s.reflectance for s in undyed if not s.rough]
    if spectra:
        return np.asarray(np.mean(spectra, axis=0))
    return np.asarray(
        np.mean([cloth_from_lab(s.colour(x), x) for s in undyed for x in _lights([s])], axis=0)
    )


def _lights(swatches: Sequence[Swatch]) -> list[Light]:
    """The lights of the readings that are CIELAB only, each once, in order."""
    lights = [r.light or D65_10 for s in swatches for r in s.readings if r.rough]
    return list(dict.fromkeys(lights))


def _lab_notes(data: _Data, swatches: SwatchSet, fitted: _Fitted) -> list[str]:
    """What a fit from CIELAB alone can and cannot say."""
    notes = []
    undyed = [s for s in swatches.undyed if s.rough]
    if undyed and len(undyed) == len(swatches.undyed):
        notes.append(
            "undyed cloth read as L*a*b* only: taken to be undyed cellulose, whose absorption "
            "falls smoothly from the blue to the red."
        )
    elif undyed:
        notes.append(
            f"{len(undyed)} of {len(swatches.undyed)} undyed squares were read as L*a*b* only: "
            "the cloth is the mean of the others."
        )
    if data.lab and fitted.lab_fit is not None:
        names = ", ".join(data.names[i] for i in data.lab)
        pieces = [s for i in data.lab for s in data.swatches[i]]
        lights = ", ".join(str(light) for light in _lights(pieces))
        notes.append(
            f"from L*a*b* alone ({lights}): {names}. One curve for all depths, its smoothness "
            f"({fitted.lab_fit.stiffness:g}) chosen by depths left out. Under any other lamp "
            "their colour is a conversion through that curve: low confidence."
        )
    return notes


def _reads_like(curve: Curve, depth: float, strength: float) -> float:
    """The depth (% owf) at which this dye would look `strength` times as strong as at `depth`."""
    fine = np.geomspace(depth / 20.0, depth * 20.0, 801)
    goal = strength * depth_law(depth, curve.exponent, curve.capacity)
    return float(np.interp(goal, depth_law(fine, curve.exponent, curve.capacity), fine))


def _report_dye(data: _Data, i: int, fitted: DyeFit, odd: dict[int, float]) -> DyeReport:
    name, curve, left = data.names[i], fitted.curve, fitted.left_out
    steps = tuple(float(x) for x in np.unique(data.depths[i]))
    texts = tuple(
        f"{data.swatches[i][j].label} reads like {_reads_like(curve, data.depths[i][j], x):.2g} %: "
        "mislabelled or badly weighed? Kept, at a twentieth of its weight."
        for j, x in odd.items()
    )
    if not curve.curve.any():
        texts += (f"{name} reads no darker than undyed cloth at any depth: are these its squares?",)
    good = np.ones(len(data.depths[i]), dtype=bool)
    good[list(odd)] = False
    return DyeReport(
        name=name,
        depths=steps,
        law=fitted.note or law_name(curve.exponent, curve.capacity),
        inner=tuple(float(x) for x in left.delta_e[left.inner & good]) if left else (),
        ends=tuple(float(x) for x in left.delta_e[~left.inner & good]) if left else (),
        odd=texts,
        advice=advice(steps, bool(odd)),
        lab_alone=i in data.lab,
    )


def fit(swatches: SwatchSet, check: SwatchSet | None = None) -> DyeSet:
    """Fit the dyes of a swatch set.

    Curves and laws are fitted to undyed cloth and swatches of single dyes. Mixtures in the table
    show how much the dyes of a mix keep from each other, and how far the model strays in one;
    each is predicted and reported by a fit that has not seen it. Those of `check`, and any swatch
    called `CHECK`, are only predicted.

    Raises
    ------
    FitError
        No undyed cloth, a dye with one depth, conditions that differ, a reading with no recipe.
    """
    if swatches.unnamed:
        places = ", ".join(r.place or r.name for r in swatches.unnamed[:5])
        raise FitError(f"{len(swatches.unnamed)} readings have no recipe ({places}): name them.")
    conditions = swatches.conditions()
    swatches, aside = swatches.set_aside()
    light = swatches.light
    data = _data(swatches, light)
    fitted = _fit_all(data, light)
    odd: dict[int, dict[int, float]] = {}
    for _ in range(4):  # each pass may find one swatch a dye; four passes are ample
        found = _find_odd(data, fitted.fits)
        if not found:
            break
        for dye, swatch, strength in found:
            odd.setdefault(dye, {})[swatch] = strength
            data.counts[dye][swatch] = ODD_WEIGHT
        fitted = _fit_all(data, light)

    surface, fits = fitted.surface, fitted.fits
    reports = tuple(_report_dye(data, i, fits[i], odd.get(i, {})) for i in range(len(data.names)))
    method = "; ".join(f"{key} {conditions[key]}" for key in METHOD if key in conditions)
    dyes = DyeSet(
        names=data.names,
        curves=np.array([f.curve.curve for f in fits]),
        exponent=np.array([f.curve.exponent for f in fits]),
        capacity=np.array([f.curve.capacity for f in fits]),
        palest=np.array([c.min() for c in data.depths]),
        deepest=np.array([c.max() for c in data.depths]),
        cloth=data.cloth,
        surface=surface,
        light=light,
        conditions=conditions,
        demo=swatches.demo,
    )
    strength, _ = strength_scatter(dyes, swatches)
    draws = draw_versions(fits, data.ladders(surface), tuple(data.lab), fitted.lab_fit, strength)
    dyes = replace(dyes, draws=draws)
    weighed = weigh(dyes, swatches)
    dyes = weighed.dyes
    own = zip(weighed.mixtures, weighed.left_out, strict=True)
    kept_aside = check_mixtures(dyes, aside)
    note = f"{fitted.surface_name}, r0 {surface.r0:.4f}" + (
        f", k2 {surface.k2:.2f}" if surface.k2 else ""
    )
    report = FitReport(
        light=str(light),
        surface=fitted.surface_name,
        surface_note=f"{note}; chosen by depths left out",
        dyes=reports,
        own_mixtures=tuple(MixtureCheck(s.label, float(x)) for s, x in own),
        set_aside=kept_aside + (check_mixtures(dyes, check) if check is not None else ()),
        method=method or "not recorded",
        notes=(
            *swatches.notes,
            *swatches.doubts,
            *dyes.scatter.notes,
            *_lab_notes(data, swatches, fitted),
            *flags(swatches),
        ),
        expected=expected(dyes),
        rough=bool(data.lab),
        demo=swatches.demo,
    )
    return replace(dyes, report=report)
