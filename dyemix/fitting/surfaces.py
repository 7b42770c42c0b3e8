"""Ladders fitted under one surface after another, and what surface to stand at.

No criterion on single squares finds the surface that mixes prefer, so none is picked: under each
surface of a grid the ladders are fitted, and weighed softly by what they leave (`Solver.surfaces`).
The fit stands at the mean surface. How curves and laws follow the surface, a standard
deviation to either side, is kept among what is open, and mixes move it
(`dyemix.fitting.calibration`). On simulated worlds that predicts as well as an average over all
surfaces.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e_residual, metric
from dyemix.colour.colorimetry import Light
from dyemix.dataset.swatches import Swatch
from dyemix.fitting.lab_ladder import LabLadders
from dyemix.fitting.ladder import Beside, Fitted, SpectralLadders
from dyemix.model.dyes import Ladders
from dyemix.model.kubelka_munk import Surface
from dyemix.model.mixtures import Blends
from dyemix.model.scatter import PRIOR_READING, PRIOR_STRENGTH
from dyemix.model.unknowns import Modes

#: A square tells strength only where doubling it would move the colour by this much ΔE2000 or
#: more (per unit of ln): below that its reading says nothing of it.
_SEEN = 2.0
#: The grid of surfaces: r0 from 0 to this share of the lowest reflectance read, and at most this;
#: the reflection inside. Cloth shows 0 to 0.06, and 0 to 0.6.
_R0_SHARE, _R0_MOST, _R0_STEPS = 0.9, 0.06, 4
_INSIDE = (0.0, 0.2, 0.4, 0.6)
#: Weight of a surface: what it leaves of the ladders to the power of minus this. Of spectra a few
#: squares' worth, of CIELAB hardly anything: on measured sets it prefers r0 far too low, on
#: simulated worlds weights that are quite flat cost 0.7 ΔE2000 before the first own mix.
_TRUST, _TRUST_LAB = 3.0, 1.0


class Solver:
    """Fits of the ladders of a table under one surface after another; each sets out from the last.

    Attributes, a ladder each
    -------------------------
    names, swatches : the dyes and their squares.
    depths, measured, counts : of those, % owf ``(S,)``, CIELAB ``(S, 3)`` under `light`, and how
        much each counts ``(S,)``.
    cloth : ``(B,)`` of the undyed cloth.
    spectral, lab : places of the ladders that are spectra, and of those that are not all spectra.
    """

    def __init__(self, ladders: Mapping[str, Sequence[Swatch]], cloth: Array, light: Light) -> None:
        self.names, self.swatches = tuple(ladders), tuple(ladders.values())
        self.light, self.cloth = light, cloth
        self.depths = [np.array([s.recipe.total for s in some]) for some in self.swatches]
        self.measured = [np.array([s.colour(light) for s in some]) for some in self.swatches]
        self.counts = [np.ones(len(some)) for some in self.swatches]
        rough = [any(s.rough for s in some) for some in self.swatches]
        self.lab = [i for i, some in enumerate(rough) if some]
        self.spectral = [i for i, some in enumerate(rough) if not some]
        kinds = [{self.names[i]: self.swatches[i] for i in of} for of in (self.spectral, self.lab)]
        self._of_spectra = SpectralLadders(kinds[0], cloth) if kinds[0] else None
        self._of_lab = LabLadders(kinds[1], cloth) if kinds[1] else None
        self._last: Array | None = None

    def lowest(self) -> float:
        """The lowest reflectance, or stimulus as a share of white, of any swatch."""
        spectra = [s.reflectance.min() for i in self.spectral for s in self.swatches[i]]
        return float(min([*spectra, *([self._of_lab.lowest] if self._of_lab else [])]))

    def fit(self, surface: Surface, counts: Sequence[Array], strength: float) -> Fitted:
        """Every dye under this surface; `counts` says how much each swatch of a dye counts."""
        parts = []
        if self._of_spectra:
            some = [counts[i] for i in self.spectral]
            parts.append((self.spectral, self._of_spectra.fit(surface, some, strength)))
        if self._of_lab:
            some = [counts[i] for i in self.lab]
            self._last = self._of_lab.solve(surface, some, self._last)
            parts.append((self.lab, self._of_lab.fit(surface, some, self._last)))
        return Fitted.joined(parts)

    def left_out(self, surface: Surface) -> list[Beside | None]:
        """Each dye's squares as a fit without their depth shows them; None under three depths."""
        steps = [np.unique(c) for c in self.depths]
        found: list[Beside | None] = [None] * len(steps)
        for fold in range(max(len(x) for x in steps)):
            out = [
                c == x[fold] if len(x) > 2 and fold < len(x) else np.zeros(len(c), bool)
                for c, x in zip(self.depths, steps, strict=True)
            ]
            kept = [np.where(o, 0.0, c) for o, c in zip(out, self.counts, strict=True)]
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
        curve, law = np.exp(fitted.curves[[dye]]), fitted.law[[dye]]
        ground, none = surface.k_over_s(self.cloth), np.zeros(1)
        blends = Blends(curve, law, none, ground, surface, none, np.zeros_like(curve))
        seen = blends.strengths(self.depths[dye][:, np.newaxis], self.light)
        miss, _ = delta_e_residual(seen.lab, self.measured[dye])
        by_lab = metric(seen.lab)
        way = (by_lab @ seen.by_strength)[..., 0]
        size = (way * way).sum(axis=1)
        logs = (miss * way).sum(axis=1) / np.maximum(size, 1e-12)
        along = way / np.sqrt(np.maximum(size, 1e-12))[:, np.newaxis]
        off_way = np.eye(3) - along[:, :, np.newaxis] * along[:, np.newaxis, :]
        curves, laws = np.split(fitted.modes[dye], [-2], axis=1)
        by_mode = seen.by_band @ (curve * curves).T * seen.g[..., np.newaxis]
        by_mode = by_mode + seen.by_strength * (seen.by_law[:, 0] @ laws.T)[:, np.newaxis]
        return Beside(
            seen.lab, np.sqrt((miss * miss).sum(axis=1)),
            ((off_way @ miss[..., np.newaxis]) ** 2).sum(axis=(1, 2)),
            ((off_way @ by_lab @ by_mode) ** 2).sum(axis=(1, 2)) + 2.0 * PRIOR_READING**2,
            np.clip(logs, -3.0, 3.0), size > _SEEN**2,
        )  # fmt: skip

    def surfaces(self) -> tuple[Surface, Array]:
        """The mean surface, and the spread ``(2,)`` of r0 and k2 about it."""
        top = min(_R0_MOST, _R0_SHARE * self.lowest())
        if self._of_lab:
            counts = [self.counts[i] for i in self.lab]
            self._of_lab.weigh(Surface(0.4 * top, 0.3), counts)
            self._last = None
        grid = [(r0, k2) for r0 in np.linspace(0.0, top, _R0_STEPS) for k2 in _INSIDE]
        some, trust = (self.spectral, _TRUST) if self._of_spectra else (self.lab, _TRUST_LAB)
        surfaces = (Surface(r0, k2) for r0, k2 in grid)
        cost = [self.fit(one, self.counts, PRIOR_STRENGTH).cost[some].sum() for one in surfaces]
        weights = (np.array(cost) / min(cost)) ** -trust
        points, weights = np.array(grid), weights / weights.sum()
        mean = weights @ points
        return Surface(*mean.tolist()), np.sqrt(weights @ (points - mean) ** 2)

    def ladders(self, surface: Surface, spread: Array, strength: float) -> tuple[Ladders, Fitted]:
        """The dyes at this surface, and all that is open of them."""
        middle, ceiling = self.fit(surface, self.counts, strength), _R0_SHARE * self.lowest()
        at = np.array([surface.r0, surface.k2])
        high = np.minimum(at + spread, [max(ceiling, surface.r0), _INSIDE[-1] + 0.05])
        low = np.maximum(at - spread, 0.0)
        curves = np.zeros((2, *middle.curves.shape))
        laws = np.zeros((2, *middle.law.shape))
        for axis in range(2):
            if high[axis] > low[axis]:
                ends = [np.where(np.arange(2) == axis, end, at) for end in (high, low)]
                one, other = (self.fit(Surface(*e.tolist()), self.counts, strength) for e in ends)
                share = spread[axis] / (high - low)[axis]
                curves[axis] = share * (one.curves - other.curves)
                laws[axis] = share * (one.law - other.law)
        modes = Modes(
            middle.modes[..., :-2].copy(), middle.modes[..., -2:].copy(), spread, curves, laws
        )
        return Ladders(np.exp(middle.curves), middle.law, surface, modes, ceiling), middle
