"""Ladders fitted under one surface after another, and what surface to stand at.

No criterion on single squares finds the surface that mixes prefer, so none is picked: under each
surface of a grid the ladders are fitted, and weighed softly by what they leave (`Solver.surfaces`).
The fit stands at the mean surface. How curves and laws follow the surface, a standard
deviation to either side, is kept among what is open, and mixes move it
(`dyemix.fitting.calibration`). On simulated worlds that predicts as well as an average over all
surfaces.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import Light
from dyemix.dataset.swatches import Swatch
from dyemix.fitting.lab_ladder import LabLadders
from dyemix.fitting.ladder import Beside, Fitted, SpectralLadders, beside
from dyemix.model.dyes import Ladders
from dyemix.model.kubelka_munk import Surface
from dyemix.model.scatter import PRIOR_STRENGTH
from dyemix.model.unknowns import Modes

#: The grid of surfaces: r0 from 0 to this share of the lowest reflectance read, and at most this;
#: the reflection inside. Cloth shows 0 to 0.06, and 0 to 0.6.
_R0_SHARE, _R0_MOST, _R0_STEPS = 0.9, 0.06, 4
_INSIDE = (0.0, 0.2, 0.4, 0.6)
#: Weight of a surface: what it leaves of the ladders to the power of minus this. Of spectra a few
#: squares' worth, of CIELAB hardly anything: on measured sets it prefers r0 far too low, on
#: simulated worlds weights that are quite flat cost 0.7 ΔE2000 before the first own mix.
_TRUST, _TRUST_LAB = 3.0, 1.0


@dataclass(frozen=True, eq=False)
class Data:
    """What the fit sees of a swatch set: a ladder a dye, and the undyed cloth.

    `measured` ``(S, 3)`` is the CIELAB of each ladder's swatches, `lab` the places of the ladders
    that have a reading without a spectrum.
    """

    names: tuple[str, ...]
    swatches: tuple[tuple[Swatch, ...], ...]
    depths: tuple[Array, ...]
    measured: tuple[Array, ...]
    counts: tuple[Array, ...]
    light: Light
    cloth: Array
    lab: tuple[int, ...]
    of_spectra: SpectralLadders | None
    of_lab: LabLadders | None

    @property
    def spectral(self) -> list[int]:
        return [i for i in range(len(self.names)) if i not in self.lab]

    def lowest(self) -> float:
        """The lowest reflectance, or stimulus as a share of white, of any swatch."""
        spectra = [s.reflectance.min() for i in self.spectral for s in self.swatches[i]]
        return float(min([*spectra, *([self.of_lab.lowest] if self.of_lab else [])]))


class Solver:
    """Fits of the same ladders under one surface after another; each sets out from the last."""

    def __init__(self, data: Data) -> None:
        self.data = data
        self._last: Array | None = None

    def fit(self, surface: Surface, counts: Sequence[Array], strength: float) -> Fitted:
        """Every dye under this surface; `counts` says how much each swatch of a dye counts."""
        data, parts = self.data, []
        if data.of_spectra:
            some = [counts[i] for i in data.spectral]
            parts.append((data.spectral, data.of_spectra.fit(surface, some, strength)))
        if data.of_lab:
            some = [counts[i] for i in data.lab]
            self._last = data.of_lab.solve(surface, some, self._last)
            parts.append((list(data.lab), data.of_lab.fit(surface, some, self._last)))
        return Fitted.joined(parts)

    def left_out(self, surface: Surface) -> list[Beside | None]:
        """Each dye's squares as a fit without their depth shows them; None under three depths."""
        data = self.data
        steps = [np.unique(c) for c in data.depths]
        found: list[Beside | None] = [None] * len(steps)
        for fold in range(max(len(x) for x in steps)):
            out = [
                c == x[fold] if len(x) > 2 and fold < len(x) else np.zeros(len(c), bool)
                for c, x in zip(data.depths, steps, strict=True)
            ]
            kept = [np.where(o, 0.0, c) for o, c in zip(out, data.counts, strict=True)]
            fitted = self.fit(surface, kept, PRIOR_STRENGTH)
            for i, rows in enumerate(out):
                if rows.any():
                    here = self.beside(fitted, surface, i)
                    before = found[i] = found[i] or here
                    for name, values in vars(here).items():
                        getattr(before, name)[rows] = values[rows]
        return found

    def beside(self, fitted: Fitted, surface: Surface, dye: int) -> Beside:
        """The squares of a dye beside this fit of them."""
        data = self.data
        depths, measured = data.depths[dye], data.measured[dye]
        return beside(fitted, data.cloth, surface, dye, depths, measured, data.light)

    def surfaces(self) -> tuple[Surface, Array]:
        """The mean surface, and the spread ``(2,)`` of r0 and k2 about it."""
        data = self.data
        top = min(_R0_MOST, _R0_SHARE * data.lowest())
        if data.of_lab:
            counts = [data.counts[i] for i in data.lab]
            weighed = data.of_lab.weighed(Surface(0.4 * top, 0.3), counts)
            self.data = data = replace(data, of_lab=weighed)
            self._last = None
        grid = [(r0, k2) for r0 in np.linspace(0.0, top, _R0_STEPS) for k2 in _INSIDE]
        some = data.spectral or list(data.lab)
        cost = [
            self.fit(Surface(r0, k2), data.counts, PRIOR_STRENGTH).cost[some].sum()
            for r0, k2 in grid
        ]
        trust = _TRUST if data.spectral else _TRUST_LAB
        weights = (np.array(cost) / min(cost)) ** -trust
        points, weights = np.array(grid), weights / weights.sum()
        mean = weights @ points
        return Surface(*mean.tolist()), np.sqrt(weights @ (points - mean) ** 2)

    def ladders(self, surface: Surface, spread: Array, strength: float) -> tuple[Ladders, Fitted]:
        """The dyes at this surface, and all that is open of them."""
        data = self.data
        middle = self.fit(surface, data.counts, strength)
        ceiling = _R0_SHARE * data.lowest()
        at = np.array([surface.r0, surface.k2])
        high = np.minimum(at + spread, [max(ceiling, surface.r0), _INSIDE[-1] + 0.05])
        low = np.maximum(at - spread, 0.0)
        curves = np.zeros((2, *middle.curves.shape))
        laws = np.zeros((2, *middle.law.shape))
        for axis in range(2):
            if high[axis] > low[axis]:
                ends = [np.where(np.arange(2) == axis, end, at) for end in (high, low)]
                one, other = (self.fit(Surface(*e.tolist()), data.counts, strength) for e in ends)
                share = spread[axis] / (high - low)[axis]
                curves[axis] = share * (one.curves - other.curves)
                laws[axis] = share * (one.law - other.law)
        modes = Modes(
            middle.modes[..., :-2].copy(), middle.modes[..., -2:].copy(), spread, curves, laws
        )
        return Ladders(np.exp(middle.curves), middle.law, surface, modes, ceiling), middle
