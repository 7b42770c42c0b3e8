"""Time of processors, and memory, of turning a photograph of cloth into amounts.

A pixel at a time, `scipy.optimize.least_squares` with the analytic Jacobian solves the same problem
from the dose as its start. Then 12 megapixels, from the decoded picture to figures: through cells
of 0.5 mm, and every pixel.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

from dyemix.arrays import Array
from dyemix.cloth.amounts import MOST, Unmixer
from tests.simulated.strike import MIXES, dye
from tests.simulated.struck import shop, spectral_dyes

_ALONE = 300


def _seen(unmixer: Unmixer, mix: str, noise: float) -> Array:
    from dyemix.colour.colorimetry import D65_2, weights

    piece = dye(MIXES[mix], "with", 0, shop=shop())
    sensed = weights(D65_2) / weights(D65_2).sum(axis=0)
    seen = (piece.blocks(piece.spectra, 0.5) @ sensed).reshape(-1, 3)
    return np.asarray(seen * (1.0 + noise * np.random.default_rng(0).standard_normal(seen.shape)))


def against_scipy(mix: str, noise: float) -> None:
    """Print the times a pixel, their ratio, and how far the answers are apart."""
    from scipy.optimize import least_squares

    unmixer = Unmixer(spectral_dyes(tuple(MIXES[mix])), MIXES[mix])
    seen = _seen(unmixer, mix, noise)
    unmixer.solve(seen[:10])  # the table is made once a recipe
    start = time.process_time()
    found, _ = unmixer.solve(seen)
    fast = (time.process_time() - start) / len(seen)
    some = np.random.default_rng(1).choice(len(seen), _ALONE, replace=False)
    residual, top = unmixer.residual(np.cbrt(seen[some]).T), unmixer._most
    apart = np.empty(_ALONE)
    spent = 0.0
    for i, row in enumerate(some):
        at = np.array([i])
        start = time.process_time()
        own = least_squares(
            lambda x, at=at: residual(x[:, np.newaxis], at)[0][:, 0],
            np.ones(len(top)),
            lambda x, at=at: residual(x[:, np.newaxis], at)[1][..., 0],
            bounds=(0.0, top),
            xtol=1e-12, ftol=1e-12, gtol=1e-12,
        )  # fmt: skip
        spent += time.process_time() - start
        exact = unmixer._depths(own.x[np.newaxis].astype(np.float32))[0]
        apart[i] = np.abs((found[row] - exact) / (MOST * unmixer.dose)).max()
    slow = spent / _ALONE
    print(
        f"{mix}, {100 * noise:g} % noise: {1e6 * fast:.2f} µs a pixel against {1e6 * slow:.0f}, "
        f"{slow / fast:.0f} times (asked: 500); apart by up to {np.quantile(apart, 0.99):.0e} of "
        f"the range on 99 % of cells, {apart.max():.0e} at most (asked: 1e-4)"
    )


def whole(every_pixel: bool) -> None:
    """Print seconds and memory of 12 megapixels, the picture decoded before."""
    from dyemix.cloth.levelness import analyse
    from dyemix.cloth.photographed import read_piece
    from dyemix.photo import examine_photo
    from tests.simulated.photographs import as_laid
    from tests.simulated.struck import undyed_cell

    file, options = sys.argv[2], as_laid(cells=undyed_cell())
    dyes = spectral_dyes(tuple(MIXES["clear"]))
    seen = examine_photo(file, options)
    peak_before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    start, busy = time.perf_counter(), time.process_time()
    unmixer = Unmixer(dyes, MIXES["clear"])
    cells = read_piece(seen, unmixer, None, every_pixel)
    analyse(cells, "with")
    seconds, busy = time.perf_counter() - start, time.process_time() - busy
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    size = np.prod(seen.photograph.codes.shape[:2]) / 1e6
    inside = cells.inside.sum() * (cells.cell_mm**2) / 100.0
    asked = 20 if every_pixel else 4
    print(
        f"{size:.1f} megapixels, {inside:.0f} cm² of cloth in {cells.inside.sum():,} cells, "
        f"{'every pixel' if every_pixel else 'through cells'}: {seconds:.1f} s, {busy:.1f} of "
        f"processors (asked: {asked} s); "
        f"peak {peak:.2f} GB (asked: 0.6), {peak_before:.2f} before it began"
    )


def make() -> None:
    """A large piece beside the page, 12 megapixels."""
    from tests.simulated.struck import shoot

    piece = dye(MIXES["clear"], "with", 0, size_mm=(300, 260), shop=shop())
    Path(sys.argv[2]).write_bytes(shoot(piece, "twelve", megapixels=12.0).read_bytes())


def main() -> None:
    """Print all of it; each whole picture in a process of its own."""
    for mix in MIXES:
        for noise in (0.0, 0.01):
            against_scipy(mix, noise)
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        file = str(Path(folder) / "twelve.jpg")
        for job in ("make", "cells", "pixels"):
            subprocess.run([sys.executable, "-m", "benchmarks.cloth_speed", job, file], check=True)


if __name__ == "__main__":
    if len(sys.argv) < 2:
        main()
    elif sys.argv[1] == "make":
        make()
    else:
        whole(sys.argv[1] == "pixels")
