"""Slips of the pen in a table of swatches: which square does not go with its own ladder, and what
would make it go.

Squares of one dye follow one another: with K/S of Kubelka–Munk, ``ln(K/S - K/S of the cloth)`` of
each band rises with ln depth almost in a straight line. Each square is predicted from the others of
its ladder by a Gaussian process about that line (`_left_out`), and every slip that people make is
tried: two squares exchanged, a minus sign lost, a* and b* exchanged, two digits turned round. One
is told where it alone makes a ladder that does not hold together hold together; on undyed cloth,
where it does so for the ladders of all dyes; in a mix, where it brings it to what they add up to.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from dyemix.arrays import LAB, Array
from dyemix.colour.ciede2000 import delta_e, delta_e_residual
from dyemix.colour.colorimetry import Light, lab, smoothest
from dyemix.dataset.swatches import Swatch, SwatchSet
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
#: A mix is looked at where it lies so far from what its dyes' squares say, and a slip explains it
#: that brings it so near (ΔE2000). K/S that simply adds misses sound mixes by 1.6 as a rule and by
#: 5.4 in one of fifty.
_MIX_OFF, _MIX_FITS = 7.0, 3.0
#: Sound pieces of undyed cloth agree to this, ΔE2000.
_ALIKE = 2.0
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

    Looked for on undyed cloth first, then in ladders of three depths or more, and in mixes of dyes
    that have such ladders.
    """
    if not swatches.undyed:
        return []
    light, ladders = swatches.light, {dye: swatches.ladder(dye) for dye in swatches.dyes}
    ladders = {dye: ladder for dye, ladder in ladders.items() if len({*_depths(ladder)}) >= _FEWEST}
    read = {dye: (_depths(squares), _as_read(squares, light)) for dye, squares in ladders.items()}
    if found := _on_cloth(swatches.undyed, read.values(), light):
        return found
    cloth = np.mean([s.reflectance for s in swatches.undyed], axis=0)
    for dye, squares in ladders.items():
        found += _slip(squares, *read[dye], cloth, light)
    sound = {
        dye: read[dye]
        for dye, squares in ladders.items()
        if not any(s.label in told for s in squares for told in found)
    }
    for mix in swatches.mixtures:
        if mix.recipe.keys() <= sound.keys():
            found += _in_mix(mix, sound, cloth, light)
    return found


def _depths(squares: Iterable[Swatch]) -> Array:
    """ln depth ``(n,)`` of squares of one dye."""
    return np.log([s.recipe.total for s in squares])


def _as_read(squares: tuple[Swatch, ...], light: Light) -> _Way:
    spectra = np.array([s.reflectance for s in squares])
    return _Way(spectra, np.array([s.colour(light) for s in squares]))


def _told(squares: tuple[Swatch, ...], way: _Way, says: str, off: float, fits: str = "") -> str:
    label = " and ".join(squares[i].label for i in way.squares)
    return (
        f"{label} ({way.place}) is {off:.0f} ΔE2000 from what {says}: it stands as {way.says}; "
        f"{way.would} would fit{fits}. A slip? Look at the cloth."
    )


def _best(chi_square: Array) -> int:
    """Which of the ways to read squares ``(H, n)`` explains them, the first being as they stand."""
    total = chi_square.sum(axis=1)
    best = int(np.argmin(total))
    explains = total[0] - total[best] >= _GAIN and total[best] <= _LEFT * total[0]
    return best if explains else 0


def _on_cloth(
    squares: tuple[Swatch, ...], ladders: Collection[tuple[Array, _Way]], light: Light
) -> list[str]:
    """The one slip on undyed cloth that makes its pieces agree, or the ladders of all dyes hold."""
    as_read = _as_read(squares, light)
    moved = (w for w in _mistyped(squares, as_read, light) if _apart(as_read, w) > _MOVES)
    ways = [as_read, *moved]

    def misfits(way: _Way) -> Array:
        cloth = way.spectra.mean(axis=0)
        return np.concatenate([_misfits(x, [one], cloth, light)[1][0] for x, one in ladders])

    apart = [float(delta_e(w.labs[:, np.newaxis], w.labs).max()) for w in ways]
    best = int(np.argmin(apart)) if apart[0] > _MOVES and min(apart) < _ALIKE else 0
    if not best and ladders and misfits(as_read).sum() >= _GAIN:
        best = _best(np.array([misfits(way) for way in ways]))
    says, off = "the other pieces and the palest squares say", _apart(as_read, ways[best])
    return [_told(squares, ways[best], says, off)] if best else []


def _apart(one: _Way, other: _Way) -> float:
    return float(delta_e(one.labs, other.labs).max())


def _in_mix(
    mix: Swatch, ladders: Mapping[str, tuple[Array, _Way]], cloth: Array, light: Light
) -> list[str]:
    """The one slip that brings a mix to what the squares of its dyes say."""

    def predicted(recipe: Mapping[str, float]) -> Array:
        k = ground = k_over_s(np.clip(cloth, *_WITHIN))
        for dye, owf in recipe.items():
            x, squares = ladders[dye]
            own = k_over_s(np.clip(squares.spectra, *_WITHIN)) - ground
            x = np.append(x, np.log(owf))  # the mix left out of its own ladder
            k = k + _left_out(x, np.vstack([own, ground])[np.newaxis])[0][0, -1]
        return np.asarray(lab(reflectance(k), light))

    as_read, wanted = _as_read((mix,), light), predicted(mix.recipe)
    if (off := float(delta_e(wanted, as_read.labs[0]))) < _MIX_OFF:
        return []
    found = [(float(delta_e(wanted, w.labs[0])), w) for w in _mistyped((mix,), as_read, light)]
    for one, other in combinations(mix.recipe, 2):
        turned = dict(mix.recipe) | {one: mix.recipe[other], other: mix.recipe[one]}
        place, words = mix.readings[0].place or "no place", f"{one} and {other} exchanged"
        way = replace(as_read, squares=(0,), place=place, says=str(mix.recipe), would=words)
        found.append((float(delta_e(predicted(turned), as_read.labs[0])), way))
    mended, way = min(found, key=lambda each: each[0], default=(off, as_read))
    says = "the squares of its dyes say"
    return [_told((mix,), way, says, off, f", to {mended:.1f}")] if mended < _MIX_FITS else []


def _slip(
    squares: tuple[Swatch, ...], x: Array, as_read: _Way, cloth: Array, light: Light
) -> list[str]:
    """The one slip that makes a ladder hold together, if it does not and one does."""
    if _misfits(x, [as_read], cloth, light)[1].sum() < _GAIN:
        return []
    others = [*_exchanged(squares, x, as_read), *_mistyped(squares, as_read, light)]
    ways = [as_read, *(way for way in others if _apart(as_read, way) > _MOVES)]
    off, chi_square = _misfits(x, ways, cloth, light)
    if not (best := _best(chi_square)):
        return []
    says, before = "the other squares of its dye say", off[0, list(ways[best].squares)].max()
    return [_told(squares, ways[best], says, before, f", to {off[best].max():.1f}")]


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
            with np.errstate(all="ignore"):
                (spectrum,), (reached,) = smoothest(meant, light)
            if reached:  # else no cloth has that colour
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
    for at, value in enumerate(typed):
        tens, rest = divmod(abs(value), 10.0)
        ones, part = divmod(rest, 1.0)
        others = [-value] if at and value > 0 else []
        if 1 <= tens < 10 and tens != ones:
            others.append(np.copysign(10.0 * ones + tens + part, value))
        for other in others:
            meant = np.where(np.arange(3) == at, other, typed)
            yield meant, f"{LAB[at]} {value:g}", f"{LAB[at]} {other:.4g}"
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
