"""Slips of the pen in a table of swatches: which square does not go with its own ladder, and what
would make it go.

Squares of one dye follow one another: with K/S of Kubelka–Munk, ``ln(K/S - K/S of the cloth)`` of
each band rises with ln depth almost in a straight line. Each square is predicted from the others of
its ladder by a Gaussian process about that line (`_left_out`), and every slip that people make is
tried: two squares exchanged, a minus sign lost, a* and b* exchanged, two digits turned round. One
is told where it alone makes a ladder that does not hold together hold together.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e, delta_e_residual
from dyemix.colour.colorimetry import WAVELENGTHS, Light, lab, smoothest_reflectance
from dyemix.dataset.swatches import Reading, Swatch, SwatchSet
from dyemix.errors import TargetError

#: How ln(K/S) of a ladder strays from a line of slope 1 in ln depth, as standard errors: of
#: the slope, of a smooth bend (over `_LENGTH` in ln depth), and of one square. These and the next
#: are working values, chosen on the families and seeds of simulated workshops marked for choosing.
_SLOPE, _BEND, _LENGTH, _SQUARE = 0.15, 0.2, 1.5, 0.07
#: What a prediction is off by in each part of ΔE2000, and a share of what the process leaves open.
_OFF, _OPEN = 0.7, 0.35
#: How much chi-square a slip must explain, and what share of it may be left.
_GAIN, _LEFT = 25.0, 0.35
#: A slip that moves a square by less is not looked for, ΔE2000.
_MOVES = 4.0
#: The least K/S above the cloth that is told from none.
_LEAST = 0.004
#: Fewer depths do not tell which of them is off.
_FEWEST = 3


@dataclass(frozen=True)
class Slip:
    """A square that is likely mistyped.

    Attributes
    ----------
    label, place : which one, or two that were exchanged.
    says, would : what stands there, and what would go with the other squares of its dye.
    before, after : ΔE2000 from what those say, as it stands and so mended.
    """

    label: str
    place: str
    says: str
    would: str
    before: float
    after: float

    def __str__(self) -> str:
        return (
            f"{self.label} ({self.place}) is {self.before:.0f} ΔE2000 from what the other squares "
            f"of its dye say: it stands as {self.says}; {self.would} would fit, to "
            f"{self.after:.1f}. A slip? Look at the cloth."
        )


@dataclass(frozen=True, eq=False)
class _Ladder:
    """Squares of one dye, with several depths: ln depth ``(n,)``, spectra and colours."""

    swatches: tuple[Swatch, ...]
    x: Array
    spectra: Array
    labs: Array


@dataclass(frozen=True, eq=False)
class _Mend:
    """A change to a ladder: which squares get which spectra and colours, and that in words."""

    squares: tuple[int, ...]
    spectra: Array
    labs: Array
    readings: tuple[Reading, ...]
    says: str
    would: str


def slips(swatches: SwatchSet) -> tuple[Slip, ...]:
    """The squares of a table that a slip explains, at most one of each dye.

    Looked for in ladders of three depths or more; undyed cloth is taken as it stands.
    """
    if not swatches.undyed:
        return ()
    cloth = np.mean([s.reflectance for s in swatches.undyed], axis=0)
    found = []
    for dye in swatches.dyes:
        squares = swatches.ladder(dye)
        if len({s.recipe[dye] for s in squares}) >= _FEWEST:
            x = np.log([s.recipe[dye] for s in squares])
            spectra = np.array([s.reflectance for s in squares])
            labs = np.array([s.colour(swatches.light) for s in squares])
            found += _slip(_Ladder(squares, x, spectra, labs), cloth, swatches.light)
    return tuple(found)


def _slip(ladder: _Ladder, cloth: Array, light: Light) -> list[Slip]:
    """The one slip that makes a ladder hold together, if it does not and one does."""
    as_read = ladder.spectra[np.newaxis], ladder.labs[np.newaxis]
    if _misfits(ladder.x, *as_read, cloth, light)[1].sum() < _GAIN:
        return []
    mends = [*_exchanged(ladder), *_mistyped(ladder, light)]
    mends = [m for m in mends if delta_e(ladder.labs[list(m.squares)], m.labs).max() > _MOVES]
    spectra = np.repeat(ladder.spectra[np.newaxis], 1 + len(mends), axis=0)
    labs = np.repeat(ladder.labs[np.newaxis], 1 + len(mends), axis=0)
    for i, mend in enumerate(mends, 1):
        spectra[i, mend.squares], labs[i, mend.squares] = mend.spectra, mend.labs
    off, chi_square = _misfits(ladder.x, spectra, labs, cloth, light)
    total = chi_square.sum(axis=1)
    best = int(np.argmin(total))
    if total[0] - total[best] < _GAIN or total[best] > _LEFT * total[0]:
        return []
    mend = mends[best - 1]
    at = max(mend.squares, key=lambda i: off[0, i])
    label = " and ".join(ladder.swatches[i].label for i in mend.squares)
    place = " and ".join(r.place or "no place" for r in mend.readings)
    return [
        Slip(label, place, mend.says, mend.would, float(off[0, at]), float(off[best].max()))
    ]  # fmt: skip


def _exchanged(ladder: _Ladder) -> Iterator[_Mend]:
    """Every two squares of unlike depth, each read as the other."""
    for i, j in combinations(range(len(ladder.x)), 2):
        if ladder.x[i] != ladder.x[j]:
            other = [j, i]
            rows = ladder.swatches[i].readings[0], ladder.swatches[j].readings[0]
            yield _Mend(
                (i, j), ladder.spectra[other], ladder.labs[other], rows, "these two depths",
                "the two exchanged",
            )  # fmt: skip


def _mistyped(ladder: _Ladder, light: Light) -> list[_Mend]:
    """Every reading of three numbers that could have been meant otherwise."""
    meant = [
        (i, reading, *slip)
        for i, swatch in enumerate(ladder.swatches)
        for reading in swatch.readings
        if reading.kind == "Lab" and reading.lab is not None
        for slip in _otherwise(reading.lab)
    ]
    if not meant:
        return []
    with np.errstate(all="ignore"):
        spectra = _smoothest(np.array([lab for _, _, lab, _, _ in meant]), light)
    mends = []
    for (i, reading, colour, says, would), spectrum in zip(meant, spectra, strict=True):
        if reading.reflectance is not None and np.isfinite(spectrum).all():
            share = 1.0 / len(ladder.swatches[i].readings)
            whole = ladder.spectra[i] + share * (spectrum - reading.reflectance)
            moved = ladder.labs[i] + share * (colour - reading.colour(light))
            mends.append(_Mend((i,), whole[np.newaxis], moved[np.newaxis], (reading,), says, would))
    return mends


def _smoothest(labs: Array, light: Light) -> Array:
    """Spectra ``(N, B)``; NaN for colours that no cloth has."""
    try:
        return smoothest_reflectance(labs, light)
    except TargetError:
        if len(labs) == 1:
            return np.full((1, len(WAVELENGTHS)), np.nan)
        half = len(labs) // 2
        return np.concatenate([_smoothest(labs[:half], light), _smoothest(labs[half:], light)])


def _otherwise(typed: Array) -> Iterator[tuple[Array, str, str]]:
    """What L*, a*, b* as typed may have been meant to be, and both in words."""
    names = ("L*", "a*", "b*")
    for at, value in enumerate(typed):
        tens, rest = divmod(abs(value), 10.0)
        ones, part = divmod(rest, 1.0)
        others = [-value] if at and value > 0 else []
        if 1 <= tens < 10 and tens != ones:
            others.append(np.copysign(10.0 * ones + tens + part, value))
        for other in others:
            meant = np.where(np.arange(3) == at, other, typed)
            yield meant, f"{names[at]} {value:g}", f"{names[at]} {other:.4g}"
    lightness, red, yellow = typed
    meant = np.array([lightness, yellow, red])
    yield meant, f"a* {red:g}, b* {yellow:g}", f"a* {yellow:g}, b* {red:g}"


def _misfits(
    x: Array, spectra: Array, labs: Array, cloth: Array, light: Light
) -> tuple[Array, Array]:
    """ΔE2000 and chi-square ``(H, n)`` of each square from what the others of its ladder say.

    H ways to read a ladder: `spectra` ``(H, n, B)``, `labs` ``(H, n, 3)``. More or less of the dye
    moves a square along a line, by what one square strays in strength; across it, it is off less.
    """
    ground = _k_over_s(cloth)
    k, error = _left_out(x, _k_over_s(spectra) - ground)
    predicted = _colour(k + ground, light)
    miss, _ = delta_e_residual(predicted, labs, slope=False)
    way, _ = delta_e_residual(predicted, _colour(1.1 * k + ground, light), slope=False)
    way = way / np.log(1.1)
    size, along = (way * way).sum(axis=-1), (miss * way).sum(axis=-1)
    square = (miss * miss).sum(axis=-1)
    off, strays = _OFF**2 + (_OPEN * error) ** 2 * size, error**2
    # Covariance off I + strays way wayᵀ, inverted by Sherman and Morrison's identity.
    return np.sqrt(square), (square - strays * along**2 / (off + strays * size)) / off


def _left_out(x: Array, k: Array) -> tuple[Array, Array]:
    """Each square predicted from the others: K/S above the cloth ``(H, n, B)``, ln error ``(n,)``.

    `x` is ln depth ``(n,)``, `k` what was read ``(H, n, B)``. Left-out means and variances of a
    Gaussian process from one inverse: Rasmussen and Williams (2006), eq. 5.12.
    """
    apart = x[:, np.newaxis] - x
    kernel = 25.0 + _SLOPE**2 * np.outer(x - x.mean(), x - x.mean())
    kernel = kernel + _BEND**2 * np.exp(-0.5 * (apart / _LENGTH) ** 2) + _SQUARE**2 * np.eye(len(x))
    inverse = np.linalg.inv(kernel)
    y = np.log(np.maximum(k, _LEAST)) - x[:, np.newaxis]
    variance = 1.0 / np.diag(inverse)
    left = y - (inverse @ y) * variance[:, np.newaxis]
    return np.exp(left + x[:, np.newaxis]), np.sqrt(variance)


def _k_over_s(reflectance: Array) -> Array:
    r = np.clip(reflectance, 1e-3, 0.999)
    return np.asarray((1.0 - r) ** 2 / (2.0 * r))


def _colour(k_over_s: Array, light: Light) -> Array:
    k = np.maximum(k_over_s, 0.0)
    r = 1.0 + k - np.sqrt(k * k + 2.0 * k)
    return np.asarray(lab(r.reshape(-1, r.shape[-1]), light).reshape(*k.shape[:-1], 3))
