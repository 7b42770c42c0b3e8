"""Fit Kubelka–Munk dyes to swatches of single dyes.

For a given surface term and depth law each band of a dye's curve is a weighted linear least
squares with one unknown, so only the law's parameter and the surface term are searched for
(variable projection). Residuals are weighted by ``|dR/dk|``, which makes a least squares on K/S
one on reflectance, where the errors are made (Walowit, McCarthy & Berns, Color Res. Appl. 12
(1987) 340).

Laws and surface are chosen by the swatches they have not seen: each inner depth is left out and
predicted (undyed cloth is depth 0), and one more parameter must win by more than one standard
error of the paired ΔE2000.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dyemix.colorimetry import Light, lab
from dyemix.colour_difference import delta_e
from dyemix.dyes import DyeSet, law_name
from dyemix.errors import FitError
from dyemix.fit_report import DyeReport, FitReport, MixtureCheck
from dyemix.kubelka_munk import Array, Surface, depth_law
from dyemix.swatches import METHOD, Swatch, SwatchSet

#: Law of a dye with two depths, until it has a third: a Freundlich exponent in the middle of
#: what reactive dyes on cotton show. A working value of ours, stated wherever it is used.
TYPICAL_EXPONENT = 0.85
#: A swatch whose strength is off by more than this factor, and by more than four times the usual
#: scatter of the set, is called odd.
ODD_FACTOR = 1.25
#: How much an odd swatch counts in the fit. It is kept, named, and left out only when asked.
ODD_WEIGHT = 0.05

_EXPONENTS = np.linspace(0.4, 1.4, 41)
_CAPACITIES = np.geomspace(0.4, 200.0, 41)  # % owf


@dataclass(frozen=True)
class _Laws:
    """Candidate parameters of one depth law, ``(P,)`` each."""

    exponent: Array
    capacity: Array

    @staticmethod
    def linear() -> _Laws:
        return _Laws(np.array([1.0]), np.array([np.inf]))

    @staticmethod
    def freundlich(exponent: Array) -> _Laws:
        return _Laws(exponent, np.full(len(exponent), np.inf))

    @staticmethod
    def langmuir(capacity: Array) -> _Laws:
        return _Laws(np.ones(len(capacity)), capacity)

    def between(self, best: int) -> _Laws:
        """Finer candidates around one of these: the search zooms in."""
        low, high = max(best - 1, 0), min(best + 1, len(self.exponent) - 1)
        if np.isinf(self.capacity[0]):
            return _Laws.freundlich(np.linspace(self.exponent[low], self.exponent[high], 21))
        return _Laws.langmuir(np.geomspace(self.capacity[low], self.capacity[high], 21))


_LAWS = {
    "linear": _Laws.linear(),
    "Langmuir": _Laws.langmuir(_CAPACITIES),
    "Freundlich": _Laws.freundlich(_EXPONENTS),
}


@dataclass(frozen=True, eq=False)
class _Ladder:
    """Swatches of one dye under one surface term, ready for least squares.

    `depths` ``(S,)`` % owf; `k` ``(S, B)`` K/S over that of the undyed cloth; `weight`
    ``(S, B)`` squared slope dR/dk times how much the swatch counts; `reflectance` ``(S, B)``.
    """

    depths: Array
    k: Array
    weight: Array
    reflectance: Array

    @classmethod
    def of(
        cls, depths: Array, reflectance: Array, cloth: Array, surface: Surface, counts: Array
    ) -> _Ladder:
        k = surface.k_over_s(reflectance) - surface.k_over_s(cloth)
        weight = counts[:, np.newaxis] * surface.slope_at(reflectance) ** 2
        return cls(depths, k, weight, reflectance)


@dataclass(frozen=True, eq=False)
class _Curve:
    """A dye fitted to a ladder, and the weighted sum of squares it leaves."""

    exponent: float
    capacity: float
    curve: Array
    cost: float


def _fit_law(ladder: _Ladder, laws: _Laws, kept: NDArray[np.bool_] | None = None) -> _Curve:
    """The best of `laws` on the swatches in `kept` (all of them by default), zoomed twice."""
    rows = slice(None) if kept is None else kept
    weight, k, depths = ladder.weight[rows], ladder.k[rows], ladder.depths[rows]
    weighted = weight * k
    total = float((weighted * k).sum())
    for zoom in range(3):
        g = depth_law(depths, laws.exponent[:, np.newaxis], laws.capacity[:, np.newaxis])
        top, bottom = g @ weighted, (g * g) @ weight
        curves = np.maximum(top / bottom, 0.0)  # a dye does not brighten cloth: a bound, not a clip
        costs = total + (curves * (curves * bottom - 2.0 * top)).sum(axis=1)
        best = int(np.argmin(costs))
        if len(laws.exponent) == 1 or zoom == 2:
            break
        laws = laws.between(best)
    return _Curve(
        float(laws.exponent[best]), float(laws.capacity[best]), curves[best], float(costs[best])
    )


def _predict(curve: _Curve, depths: Array, cloth: Array, surface: Surface) -> Array:
    g = depth_law(depths, curve.exponent, curve.capacity)
    return surface.reflectance(surface.k_over_s(cloth) + g[:, np.newaxis] * curve.curve)


@dataclass(frozen=True, eq=False)
class _LeftOut:
    """ΔE2000 of each depth predicted without it: one number a swatch, and which are inner."""

    delta_e: Array
    inner: NDArray[np.bool_]
    strength: Array


def _leave_out(
    ladder: _Ladder, laws: _Laws, cloth: Array, surface: Surface, light: Light
) -> _LeftOut:
    """Leave each depth out in turn and predict its swatches from the others."""
    miss = np.zeros(len(ladder.depths))
    strength = np.ones(len(ladder.depths))
    steps = np.unique(ladder.depths)
    for depth in steps:
        out = ladder.depths == depth
        curve = _fit_law(ladder, laws, ~out)
        predicted = _predict(curve, ladder.depths[out], cloth, surface)
        miss[out] = delta_e(lab(ladder.reflectance[out], light), lab(predicted, light))
        shape = depth_law(depth, curve.exponent, curve.capacity) * curve.curve
        weight = ladder.weight[out]
        strength[out] = (weight * ladder.k[out] * shape).sum(1) / (weight * shape**2).sum(1)
    inner = (ladder.depths > steps[0]) & (ladder.depths < steps[-1])
    return _LeftOut(miss, inner, strength)


def _wins(simpler: Array, richer: Array) -> bool:
    """Whether the richer model's left-out ΔE2000 is lower by more than one standard error."""
    gain = simpler - richer
    return bool(
        len(gain) > 1 and gain.mean() > gain.std(ddof=1) / np.sqrt(len(gain)) and gain.mean() > 0
    )


@dataclass(frozen=True, eq=False)
class _DyeFit:
    curve: _Curve
    left_out: _LeftOut | None
    note: str = ""


def _fit_dye(ladder: _Ladder, cloth: Array, surface: Surface, light: Light) -> _DyeFit:
    """The law that left-out depths choose for one dye, fitted to all of its swatches."""
    if len(np.unique(ladder.depths)) < 3:
        laws = _Laws.freundlich(np.array([TYPICAL_EXPONENT]))
        return _DyeFit(
            _fit_law(ladder, laws), None, f"typical law, exponent {TYPICAL_EXPONENT}, not measured"
        )
    left = {name: _leave_out(ladder, laws, cloth, surface, light) for name, laws in _LAWS.items()}
    inner = left["linear"].inner
    miss = {name: x.delta_e[inner] for name, x in left.items()}
    bent = min(("Langmuir", "Freundlich"), key=lambda name: miss[name].mean())
    chosen = bent if _wins(miss["linear"], miss[bent]) else "linear"
    return _DyeFit(_fit_law(ladder, _LAWS[chosen]), left[chosen])


@dataclass(frozen=True, eq=False)
class _Data:
    """What the fit sees of a swatch set: a ladder a dye, and the undyed cloth."""

    names: tuple[str, ...]
    swatches: tuple[tuple[Swatch, ...], ...]
    depths: tuple[Array, ...]
    reflectances: tuple[Array, ...]
    counts: tuple[Array, ...]
    cloth: Array

    def ladders(self, surface: Surface) -> list[_Ladder]:
        rows = zip(self.depths, self.reflectances, self.counts, strict=True)
        return [_Ladder.of(c, r, self.cloth, surface, n) for c, r, n in rows]

    def cost(self, surface: Surface) -> float:
        """Sum of squares over all dyes, each with the best of its laws."""
        return sum(
            min(_fit_law(ladder, laws).cost for laws in _LAWS.values())
            for ladder in self.ladders(surface)
        )

    def ceiling(self) -> float:
        """What `r0` must stay below: the lowest reflectance of any swatch, with some room."""
        return 0.95 * min(float(r.min()) for r in self.reflectances)


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


def _choose_surface(data: _Data, light: Light) -> tuple[Surface, str, list[_DyeFit]]:
    """None, flat, or flat and inside: by left-out inner depths over all dyes together."""
    options = [("none", Surface())]
    options += [("a flat part", _best_surface(data, False))]
    options += [("a flat part and reflection inside", _best_surface(data, True))]
    best: tuple[Surface, str, list[_DyeFit]] | None = None
    best_miss = np.empty(0)
    for name, surface in options:
        fits = [_fit_dye(x, data.cloth, surface, light) for x in data.ladders(surface)]
        miss = np.concatenate(
            [f.left_out.delta_e[f.left_out.inner] for f in fits if f.left_out] or [np.empty(0)]
        )
        if best is None or _wins(best_miss, miss):
            best, best_miss = (surface, name, fits), miss
    assert best is not None
    return best


def _find_odd(data: _Data, fits: list[_DyeFit]) -> list[tuple[int, int, float]]:
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
    if not undyed:
        raise FitError(
            f"{swatches.source or 'this table'} has no undyed reading: add a row 'undyed', cloth "
            "taken through the whole process without dye."
        )
    names = [name for name in swatches.dyes if swatches.ladder(name)]
    faults = []
    for name in swatches.dyes:
        depths = sorted({s.recipe[name] for s in swatches.ladder(name)})
        if len(depths) == 1:
            faults.append(
                f"{name} has one depth ({depths[0]:g} % owf): dye at least one more square of it, "
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
        tuple(np.array([s.reflectance for s in x]) for x in ladders),
        tuple(np.ones(len(x)) for x in ladders),
        np.mean([s.reflectance for s in undyed], axis=0),
    )


def _advice(depths: Sequence[float], odd: bool) -> str:
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


def _reads_like(curve: _Curve, depth: float, strength: float) -> float:
    """The depth (% owf) at which this dye would look `strength` times as strong as at `depth`."""
    fine = np.geomspace(depth / 20.0, depth * 20.0, 801)
    goal = strength * depth_law(depth, curve.exponent, curve.capacity)
    return float(np.interp(goal, depth_law(fine, curve.exponent, curve.capacity), fine))


def _report_dye(data: _Data, i: int, fitted: _DyeFit, odd: dict[int, float]) -> DyeReport:
    name, curve, left = data.names[i], fitted.curve, fitted.left_out
    steps = tuple(float(x) for x in np.unique(data.depths[i]))
    texts = tuple(
        f"{data.swatches[i][j].label} reads like {_reads_like(curve, data.depths[i][j], x):.2g} %: "
        "mislabelled or badly weighed? Kept, at a twentieth of its weight."
        for j, x in odd.items()
    )
    good = np.ones(len(data.depths[i]), dtype=bool)
    good[list(odd)] = False
    return DyeReport(
        name=name,
        depths=steps,
        law=fitted.note or law_name(curve.exponent, curve.capacity),
        inner=tuple(float(x) for x in left.delta_e[left.inner & good]) if left else (),
        ends=tuple(float(x) for x in left.delta_e[~left.inner & good]) if left else (),
        odd=texts,
        advice=_advice(steps, bool(odd)),
    )


def _check_mixtures(dyes: DyeSet, swatches: SwatchSet) -> tuple[MixtureCheck, ...]:
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


def _flags(swatches: SwatchSet) -> tuple[str, ...]:
    """Doubtful readings, each with its place: kept, and said."""
    return tuple(f"{r.place}: {flag}" for r in swatches.readings for flag in r.flags)


def fit(swatches: SwatchSet, check: SwatchSet | None = None) -> DyeSet:
    """Fit the dyes of a swatch set.

    Only undyed cloth and swatches of single dyes are fitted. Mixtures in the table, and those of
    `check`, are predicted by a fit that has not seen them, and reported.

    Raises
    ------
    FitError
        No undyed cloth, a dye with one depth, conditions that differ, a reading with no recipe.
    """
    if swatches.unnamed:
        places = ", ".join(r.place or r.name for r in swatches.unnamed[:5])
        raise FitError(f"{len(swatches.unnamed)} readings have no recipe ({places}): name them.")
    conditions = swatches.conditions()
    light = swatches.light
    data = _data(swatches, light)
    surface, surface_name, fits = _choose_surface(data, light)
    odd: dict[int, dict[int, float]] = {}
    for _ in range(4):  # each pass may find one swatch a dye; four passes are ample
        found = _find_odd(data, fits)
        if not found:
            break
        for dye, swatch, strength in found:
            odd.setdefault(dye, {})[swatch] = strength
            data.counts[dye][swatch] = ODD_WEIGHT
        surface, surface_name, fits = _choose_surface(data, light)

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
    note = f"{surface_name}, r0 {surface.r0:.4f}" + (f", k2 {surface.k2:.2f}" if surface.k2 else "")
    report = FitReport(
        light=str(light),
        surface=surface_name,
        surface_note=f"{note}; chosen by depths left out",
        dyes=reports,
        own_mixtures=_check_mixtures(dyes, swatches),
        set_aside=_check_mixtures(dyes, check) if check is not None else (),
        method=method or "not recorded",
        notes=(*swatches.notes, *_flags(swatches)),
        rough=swatches.rough,
        demo=swatches.demo,
    )
    return replace(dyes, report=report)
