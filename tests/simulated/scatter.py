"""What differs between two pots of one recipe, and between two readings of one piece.

Every size is drawn per world from a wide range, so that no fixed prior can equal it.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tests.simulated.eye import Array, delta_e, lab
from tests.simulated.shelves import smooth_noise


@dataclass(frozen=True, eq=False)
class Scatter:
    """Sizes of one world's scatter.

    `dosing`, `pot`, `day` and `lot` are standard errors of the logarithm of an amount: of one dye
    in one pot, common to the dyes of a pot, common to the pots of a day, and of one dye's powder.
    `tails` are degrees of freedom of day and lot (Student's t of that variance; at least 3).
    `lots` is how many lots of each powder the mixes are made from; 0 where they are all from the
    powder of the ladders. `reading` is the mean ΔE2000 (D65/10°) of a spectral reading from the
    piece, `photograph` scales the errors of a camera, `gain` and `vivid` are what a picture does to
    colours that are picked from it as codes.
    """

    dosing: float
    pot: float
    day: float
    lot: float
    tails: float
    lots: int
    reading: float
    photograph: float
    gain: float
    vivid: float


def draw_scatter(rng: np.random.Generator, drifting: float = 0.0) -> Scatter:
    """One world's scatter; with `drifting` (0 to 1) days and lots go astray, with heavy tails."""
    lots = int(rng.choice([0, 0, 0, 1, 3]))
    scatter = Scatter(
        dosing=rng.uniform(0.01, 0.06),
        pot=rng.uniform(0.01, 0.06),
        day=rng.uniform(0.0, 0.03),
        lot=rng.uniform(0.0, 0.03),
        tails=30.0,
        lots=lots,
        reading=rng.uniform(0.1, 0.4),
        photograph=rng.uniform(0.6, 1.6),
        gain=rng.uniform(1.0, 1.15),
        vivid=rng.uniform(1.0, 1.4),
    )
    if not drifting:
        return scatter
    day, lot = drifting * rng.uniform([0.06, 0.08], [0.12, 0.16])
    return replace(scatter, day=float(day), lot=float(lot), tails=3.5, lots=3)


def astray(rng: np.random.Generator, size: float, tails: float, shape: tuple[int, ...]) -> Array:
    """Factors of median 1 whose logarithm is Student's t of standard deviation `size`."""
    return np.asarray(np.exp(size * np.sqrt((tails - 2.0) / tails) * rng.standard_t(tails, shape)))


def read_spectra(rng: np.random.Generator, pieces: Array, size: float) -> Array:
    """One reading each of pieces (N, B): `size` is the mean ΔE2000 (D65/10°) it is off by.

    The errors are partly of the whole level, partly smooth over bands (45 nm), with a floor in the
    dark. They are scaled on greys and on these pieces, so that the size stated is the size met.
    """
    noise = _unit_noise(rng, pieces)
    trial = np.random.default_rng(0)
    some = pieces[trial.integers(0, len(pieces), 200)]
    met = delta_e(lab(some), lab(some + 1e-3 * _unit_noise(trial, some))).mean()
    return np.maximum(pieces + (1e-3 * size / float(met)) * noise, 1e-4)


def _unit_noise(rng: np.random.Generator, pieces: Array) -> Array:
    count = len(pieces)
    shape = 0.6 * rng.standard_normal((count, 1)) + 0.8 * smooth_noise(rng, count, 45.0)
    return np.hypot(pieces, 0.03) * shape


def frame_basis(labs: Array) -> Array:
    """How the errors of a whole frame move colours: (N, 3, 6) at CIELAB (N, 3), each of size 1.

    Exposure, flare, two casts, chroma and hue: what a wrong balance and matrix do.
    """
    light, red, yellow = labs.T
    zero = np.zeros_like(light)
    one = np.ones_like(light)
    columns = [
        [0.012 * light, 0.012 * red, 0.012 * yellow],
        [0.4 * one, zero, zero],
        [zero, 0.5 * one, zero],
        [zero, zero, 0.6 * one],
        [zero, 0.02 * red, 0.02 * yellow],
        [zero, -0.02 * yellow, 0.02 * red],
    ]
    return np.moveaxis(np.array(columns), (0, 1, 2), (2, 1, 0))


#: Standard errors in L*, a*, b* of a photographed piece on its own, beside those of its frame.
OWN = np.array([0.45, 0.40, 0.50])


def photograph_covariance(labs: Array, frames: NDArray[np.int64], size: float) -> Array:
    """True covariance (3N, 3N) of the photographed CIELAB (N, 3) of pieces in these frames (N,)."""
    basis = size * frame_basis(labs).reshape(-1, 6)
    together = np.repeat(frames, 3)[:, np.newaxis] == np.repeat(frames, 3)
    return np.asarray(together * (basis @ basis.T) + np.diag(np.tile((size * OWN) ** 2, len(labs))))


def photograph(
    rng: np.random.Generator, labs: Array, frames: NDArray[np.int64], size: float
) -> Array:
    """Photographed CIELAB (N, 3) of pieces (N, 3), with exactly that covariance."""
    each = rng.standard_normal((int(frames.max(initial=0)) + 1, 6))
    own = OWN * rng.standard_normal(labs.shape)
    return np.asarray(
        labs + size * (np.einsum("nij,nj->ni", frame_basis(labs), each[frames]) + own)
    )
