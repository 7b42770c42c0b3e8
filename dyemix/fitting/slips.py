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
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e, delta_e_residual
from dyemix.colour.colorimetry import Light, lab, smoothest_reflectance
from dyemix.dataset.swatches import Swatch, SwatchSet
from dyemix.errors import TargetError
from dyemix.model.kubelka_munk import k_over_s, reflectance

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
#: Reflectances are held to this, inside which K/S has a logarithm.
_WITHIN = (1e-3, 0.999)


@dataclass(frozen=True, eq=False)
class _Way:
    """A way to read a ladder: spectra ``(n, B)`` and colours ``(n, 3)`` of its squares.

    And where it is not as they stand: which squares differ, their place in the table, what stands
    there, and what would fit.
    """

    spectra: Array
    labs: Array
    squares: tuple[int, ...] = ()
    place: str = ""
    says: str = ""
    would: str = ""


def slips(swatches: SwatchSet) -> list[str]:
    """A sentence for each square of a table that a slip explains, at most one of each dye.

    Looked for in ladders of three depths or more; undyed cloth is taken as it stands.
    """
    found: list[str] = []
    if swatches.undyed:
        cloth = np.mean([s.reflectance for s in swatches.undyed], axis=0)
        for dye in swatches.dyes:
            depths = [s.recipe[dye] for s in swatches.ladder(dye)]
            if len(set(depths)) >= _FEWEST:
                found += _slip(swatches.ladder(dye), np.log(depths), cloth, swatches.light)
    return found


def _slip(squares: tuple[Swatch, ...], x: Array, cloth: Array, light: Light) -> list[str]:
    """The one slip that makes a ladder hold together, if it does not and one does."""
    spectra = np.array([s.reflectance for s in squares])
    ways = [_Way(spectra, np.array([s.colour(light) for s in squares]))]
    if _misfits(x, ways, cloth, light)[1].sum() < _GAIN:
        return []
    others = [*_exchanged(squares, x, ways[0]), *_mistyped(squares, ways[0], light)]
    ways += [way for way in others if delta_e(ways[0].labs, way.labs).max() > _MOVES]
    off, chi_square = _misfits(x, ways, cloth, light)
    total = chi_square.sum(axis=1)
    best = int(np.argmin(total))
    if total[0] - total[best] < _GAIN or total[best] > _LEFT * total[0]:
        return []
    way = ways[best]
    label = " and ".join(squares[i].label for i in way.squares)
    return [
        f"{label} ({way.place}) is {off[0, list(way.squares)].max():.0f} ΔE2000 from what the "
        f"other squares of its dye say: it stands as {way.says}; {way.would} would fit, to "
        f"{off[best].max():.1f}. A slip? Look at the cloth."
    ]


def _exchanged(squares: tuple[Swatch, ...], x: Array, as_read: _Way) -> Iterator[_Way]:
    """Every two squares of unlike depth, each read as the other."""
    for i, j in combinations(range(len(x)), 2):
        if x[i] != x[j]:
            order = np.arange(len(x))
            order[[i, j]] = j, i
            place = " and ".join(squares[at].readings[0].place or "no place" for at in (i, j))
            yield _Way(
                as_read.spectra[order], as_read.labs[order], (i, j), place, "these two depths",
                "the two exchanged",
            )  # fmt: skip


def _mistyped(squares: tuple[Swatch, ...], as_read: _Way, light: Light) -> Iterator[_Way]:
    """Every reading of three numbers as it could have been meant otherwise."""
    typed = [(i, s, r) for i, s in enumerate(squares) for r in s.readings if r.kind == "Lab"]
    for i, swatch, reading in typed:
        for meant, says, would in _otherwise(reading.colour(reading.light or light)):
            try:
                with np.errstate(all="ignore"):
                    (spectrum,) = smoothest_reflectance(meant, light)
            except TargetError:  # no cloth has that colour
                continue
            if np.isfinite(spectrum).all():
                way = replace(
                    as_read, spectra=as_read.spectra.copy(), labs=as_read.labs.copy(),
                    squares=(i,), place=reading.place or "no place", says=says, would=would,
                )  # fmt: skip
                share = 1.0 / len(swatch.readings)
                way.spectra[i] += share * (spectrum - np.asarray(reading.reflectance))
                way.labs[i] += share * (meant - reading.colour(light))
                yield way


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


def _misfits(x: Array, ways: list[_Way], cloth: Array, light: Light) -> tuple[Array, Array]:
    """ΔE2000 and chi-square ``(H, n)`` of each square from what the others of its ladder say.

    For each of H ways to read a ladder. More or less of the dye moves a square along a line, by
    what one square strays in strength; across it, it is off less.
    """
    ground = k_over_s(np.clip(cloth, *_WITHIN))
    spectra = np.array([way.spectra for way in ways])
    k, error = _left_out(x, k_over_s(np.clip(spectra, *_WITHIN)) - ground)
    predicted, more = (lab(reflectance(share * k + ground), light) for share in (1.0, 1.1))
    miss, _ = delta_e_residual(predicted, np.array([way.labs for way in ways]), slope=False)
    way, _ = delta_e_residual(predicted, more, slope=False)
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
