"""How long a fit takes, beside one call of a general least-squares solver.

Twelve dyes of six depths and thirty mixes, as spectra, of the simulated workshop; processor time.
The alternative is `scipy.optimize.least_squares` for as many parameters, a curve of 31 bands and an
exponent a dye, on the same reflectances with the analytic Jacobian: dense by MINPACK, and sparse by
a trust region with LSMR; the faster counts. It gives curves alone, no doubt and no report.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from scipy import sparse
from scipy.optimize import least_squares

from benchmarks.search_speed import timed
from benchmarks.shelf import swatch_set
from dyemix.arrays import Array
from dyemix.dataset.swatches import SwatchSet
from dyemix.fitting.fit import fit
from tests.simulated.workshop import Workshop

WANTED = 10.0
MIXES = 30


class _Curves:
    """K/S of the cloth and of dyes by an exponent of depth each, for readings ``(S, B)``."""

    def __init__(self, swatches: SwatchSet) -> None:
        dyes = swatches.dyes
        rows = [s for s in swatches.swatches if s.recipe]
        self.measured = np.array([s.reflectance for s in rows])
        cloth = np.mean([s.reflectance for s in swatches.undyed], axis=0)
        self.cloth = (1.0 - cloth) ** 2 / (2.0 * cloth)
        self.amounts = np.array([[s.recipe.get(dye, 0.0) for dye in dyes] for s in rows])
        self.where = self.amounts > 0
        self.log = np.log(np.where(self.where, self.amounts, 1.0))
        self.shape = len(dyes), self.measured.shape[1]

    def start(self) -> Array:
        """Each curve from the deepest square of its dye, exponents of 1."""
        alone = np.where(self.where.sum(axis=1, keepdims=True) == 1, self.amounts, 0.0)
        rows = alone.argmax(axis=0)
        k = (1.0 - self.measured[rows]) ** 2 / (2.0 * self.measured[rows]) - self.cloth
        depths = alone.max(axis=0)[:, np.newaxis]
        return np.append(np.log(np.maximum(k, 1e-3) / depths), np.ones(self.shape[0]))

    def _parts(self, x: Array) -> tuple[Array, Array]:
        """K/S of each dye in each reading ``(S, D, B)``, and of all with the cloth ``(S, B)``."""
        curves = np.exp(x[: -self.shape[0]].reshape(self.shape))
        depth = np.where(self.where, np.exp(x[-self.shape[0] :] * self.log), 0.0)
        parts = depth[:, :, np.newaxis] * curves
        return parts, parts.sum(axis=1) + self.cloth

    def residual(self, x: Array) -> Array:
        """Reflectance predicted less measured, ``(S B,)``."""
        _, k = self._parts(x)
        return np.ravel(1.0 + k - np.sqrt(k * k + 2.0 * k) - self.measured)

    def slope(self, x: Array) -> Array:
        """Slope ``(S B, D B + D)`` of `residual`."""
        parts, k = self._parts(x)
        by_k = 1.0 - (k + 1.0) / np.sqrt(k * k + 2.0 * k)
        by_curve = by_k[:, np.newaxis] * parts
        (s, d, b), bands = parts.shape, np.arange(parts.shape[2])
        out = np.zeros((s, b, d * b + d))
        for dye in range(d):
            out[:, bands, dye * b + bands] = by_curve[:, dye]
        out[:, :, d * b :] = np.swapaxes(by_curve * self.log[:, :, np.newaxis], 1, 2)
        return out.reshape(s * b, -1)


def alternatives(swatches: SwatchSet) -> Sequence[tuple[str, Callable[[], Any]]]:
    """The general solver at the same job, two ways."""
    curves = _Curves(swatches)
    start = curves.start()

    def thin(x: Array) -> Any:
        return sparse.csr_array(curves.slope(x))

    return (
        (
            "MINPACK, dense",
            lambda: least_squares(curves.residual, start, curves.slope, method="lm"),
        ),
        ("trust region, sparse", lambda: least_squares(curves.residual, start, thin)),
    )


def main() -> dict[str, float]:
    """Print the table. Returns our time over the faster alternative's."""
    workshop = Workshop(0, True)
    swatches = swatch_set([*workshop.ladder(), *workshop.mixtures(MIXES)])
    print(f"{len(swatches.dyes)} dyes, {len(swatches.swatches)} swatches")
    theirs = []
    for name, work in alternatives(swatches):
        theirs.append(timed(work, 1))
        off = float(np.sqrt(np.mean(work().fun ** 2)))
        print(f"{name:<24} {theirs[-1]:6.2f} s, reflectance off by {off:.4f}", flush=True)
    ours = timed(lambda: fit(swatches), 1)
    ratio = ours / min(theirs)
    print(f"{'fit':<24} {ours:6.2f} s: {ratio:.2f} times the faster  (wanted: {WANTED:g} or less)")
    return {"fit": ratio}


if __name__ == "__main__":
    main()
