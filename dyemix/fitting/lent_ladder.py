"""Squares of dyes whose spectral shape and depth law another cloth lends: one depth, or two.

How strong a dye is on this cloth is read off its own squares: the strength of the nearest colour to
each, then their mean. With ln s of each square known to σ (dosing and pot) and a prior N(0, τ²) the
posterior is normal, of mean ``Σ ln s / σ² ÷ (n/σ² + 1/τ²)`` and variance ``1 / (n/σ² + 1/τ²)``. The
law pivots on the squares: there the colour was measured, and only the strength's own error is left.
Under another surface term a dye is as its own squares showed it there, as far as they tell of that;
beyond, it shows the same reflectance at its middle depth on its own cloth.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import WAVELENGTHS, Light, lab
from dyemix.dataset.swatches import Swatch
from dyemix.errors import said
from dyemix.model.dyes import DyeSet, Ladders
from dyemix.model.kubelka_munk import Surface, depth_law, depth_law_by_law
from dyemix.model.unknowns import Modes

#: Prior of ln(strength on this cloth ÷ strength on the first): cloths differ by up to a factor of
#: two (mercerised cotton deeper, viscose deeper still: common practice), taken as two standard
#: deviations. A working value of ours; one square outweighs it a hundred times.
PRIOR_SPREAD = 0.35
#: How far a depth law may differ between cloths: standard deviation of its exponent. A working
#: value of ours; it widens depths away from the squares.
LAW_SPREAD = 0.05
#: Squares of this many depths make a ladder, which is fitted and borrows nothing.
ENOUGH_DEPTHS = 3
#: A square that the borrowed shape misses by more (ΔE2000) is told.
_POOR = 3.0
#: Curves and laws follow the surface as the lender's squares said by so many standard deviations.
_FAR = 2.0
_STRENGTHS = np.linspace(-1.6, 1.6, 641)  # ln


class LentLadders:
    """N squares of D dyes on a cloth, with what the `lender` of them knows.

    `own` ``(D, N)`` is 1 where a square is of a dye, and `dye` ``(N,)`` says of which; `depths`
    ``(N,)`` % owf; `read` ``(N, 3)`` CIELAB under `light`; `cloth` ``(B,)``. Raises `DyemixError`
    for a cloth that is darker than the lender's surface alone.
    """

    def __init__(
        self, lender: DyeSet, light: Light, ladders: Mapping[str, Sequence[Swatch]], cloth: Array
    ) -> None:
        self.lender, self.light, self.cloth = lender.take(ladders), light, lender.on(cloth).cloth
        every = ((i, s) for i, some in enumerate(ladders.values()) for s in some)
        rows = ((i, swatch.recipe.total, swatch.colour(light)) for i, swatch in every)
        self.dye, self.depths, self.read = map(np.array, zip(*rows, strict=True))
        self.own = np.eye(len(ladders))[:, self.dye]
        self.told: list[str] = []

    def fit(self, surface: Surface, _counts: Array, strength: float) -> tuple[Ladders, Array]:
        """Every dye under this surface, with what is open of it; nothing is left ``(D,)``, since no
        surface shows in so few squares. `told` are sentences on it.

        `strength` is the standard error of ln(strength) from bath to bath.
        """
        lender, at, first = self.lender, self.lender.whole.surface, self.lender.ladders.modes
        theta, middle = lender.known.mean.copy(), lender.middle_depths
        away = np.array([surface.r0 - at.r0, surface.k2 - at.k2]) / np.maximum(first.surface, 1e-9)
        theta[first.of_surface] += np.clip(away, -_FAR, _FAR)
        there = lender.ladders.blends(theta, lender.cloth)
        law, seen = there.law, np.maximum(there.reflectance(np.diag(middle)), surface.r0 + 1e-4)
        k = surface.k_over_s(seen) - surface.k_over_s(lender.cloth)
        curves = np.maximum(k / depth_law(middle, law)[:, np.newaxis], 1e-9)
        alone = depth_law(self.depths, law[self.dye])[:, np.newaxis] * curves[self.dye]
        made = surface.k_over_s(self.cloth) + np.multiply.outer(np.exp(_STRENGTHS), alone)
        miss = delta_e(self.read, lab(surface.reflectance(made), self.light))
        count, precision = self.own.sum(axis=1), max(strength, 0.01) ** -2
        total = precision * count + PRIOR_SPREAD**-2
        stronger = np.exp(precision * (self.own @ _STRENGTHS[miss.argmin(axis=0)]) / total)
        self.told = self._sentences(
            stronger, total**-0.5, (self.own * miss.min(axis=0)).max(axis=1)
        )
        pivot = np.exp(self.own @ np.log(self.depths) / count)
        turn = -LAW_SPREAD * depth_law_by_law(pivot, law)[:, 0]
        lent = np.zeros((len(law), 2, len(WAVELENGTHS) + 2))
        lent[..., :-2] = np.stack([total**-0.5, turn], axis=1)[..., np.newaxis]
        lent[:, 1, -2] = LAW_SPREAD
        # What photographs there were off by is each dye's own here.
        own = np.concatenate([lent, first.own, first.shared[:, 2:]], axis=1)
        modes = replace(Modes.none(*curves.shape), own=own)
        curves *= stronger[:, np.newaxis]
        return Ladders(curves, law, surface, modes), np.zeros(len(law))

    def _sentences(self, stronger: Array, error: Array, off: Array) -> list[str]:
        """What was borrowed, and what of it is doubtful: dyes that are so much stronger here, with
        its standard error in ln, whose shapes miss the worst of their squares by so much ΔE2000.
        """
        figures = list(zip(self.lender.names, stronger, 100.0 * error, off, strict=True))
        each = ", ".join(f"{name} {share:.2f} ± {sd:.0f} %" for name, share, sd, _ in figures)
        poor = [said("fit.poor_shape", dye=name, off=x) for name, _, _, x in figures if x > _POOR]
        told = said("fit.borrowed", strengths=each, prior=PRIOR_SPREAD, depths=ENOUGH_DEPTHS)
        return [told, *poor]
