"""Slips of the pen in a table of swatches: which square does not go with its own ladder, and what
would make it go.

Squares of one dye follow one another: with K/S of Kubelka–Munk, ``ln(K/S - K/S of the cloth)`` of
each band rises with ln depth almost in a straight line. Each square is predicted from the others of
its ladder by a Gaussian process about that line (`_left_out`), and every slip that people make is
tried: two squares exchanged, a minus sign lost, a* and b* exchanged, two digits turned round. One
is told where it alone makes a ladder that does not hold together hold together; on undyed cloth,
where it does so for the ladders of all dyes; in a mix, where it brings it to what they add up to.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping
from itertools import combinations
from typing import NamedTuple, Self

import numpy as np

from dyemix.arrays import LAB, Array
from dyemix.colour.ciede2000 import delta_e, delta_e_residual
from dyemix.colour.colorimetry import Light, lab, smoothest
from dyemix.dataset.swatches import Swatch, SwatchSet
from dyemix.errors import said
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


class _Way(NamedTuple):
    """A way to read n pieces: their spectra ``(n, B)`` and colours ``(n, 3)``.

    And where it is not as they stand: which of them differ, their place in the table, what stands
    there, and what would fit.
    """

    pieces: tuple[Swatch, ...]
    spectra: Array
    labs: Array
    which: tuple[int, ...] = ()
    place: str = ""
    stands: str = ""
    would: str = ""

    @classmethod
    def as_read(cls, pieces: tuple[Swatch, ...], light: Light) -> Self:
        spectra = np.array([s.reflectance for s in pieces])
        return cls(pieces, spectra, np.array([s.colour(light) for s in pieces]))

    @property
    def depths(self) -> Array:
        """ln depth ``(n,)`` of squares of one dye."""
        return np.log([s.recipe.total for s in self.pieces])

    def and_moved(self, others: Iterable[Self]) -> list[Self]:
        """This way, and those others that move a piece far enough to be looked for."""
        return [self, *(w for w in others if delta_e(self.labs, w.labs).max() > _MOVES)]

    def told(self, others: str, off: float, fits: str = "") -> str:
        label = " and ".join(self.pieces[i].label for i in self.which)
        words = {"others": others, "stands": self.stands, "would": self.would, "fits": fits}
        return said("fit.slip", label=label, place=self.place, off=off, **words)


def slips(swatches: SwatchSet) -> list[str]:
    """A sentence for each square of a table that a slip explains, at most one of each dye.

    Looked for on undyed cloth first, then in ladders of three depths or more, and in mixes of dyes
    that have such ladders.
    """
    if not swatches.undyed:
        return []
    light, ladders = swatches.light, {dye: swatches.ladder(dye) for dye in swatches.dyes}
    read = {
        dye: _Way.as_read(squares, light)
        for dye, squares in ladders.items()
        if len({s.recipe.total for s in squares}) >= _FEWEST
    }
    if found := _on_cloth(swatches.undyed, read.values(), light):
        return [found]
    cloth = np.mean([s.reflectance for s in swatches.undyed], axis=0)
    told = {dye: _in_ladder(as_read, cloth, light) for dye, as_read in read.items()}
    sound = {dye: as_read for dye, as_read in read.items() if not told[dye]}
    mixes = (mix for mix in swatches.mixtures if mix.recipe.keys() <= sound.keys())
    return list(filter(None, (*told.values(), *(_in_mix(m, sound, cloth, light) for m in mixes))))


def _best(chi_square: Array) -> int:
    """Which of the ways to read squares ``(H, n)`` explains them, the first being as they stand."""
    total = chi_square.sum(axis=1)
    best = int(np.argmin(total))
    explains = total[0] - total[best] >= _GAIN and total[best] <= _LEFT * total[0]
    return best if explains else 0


def _on_cloth(pieces: tuple[Swatch, ...], ladders: Collection[_Way], light: Light) -> str:
    """The one slip on undyed cloth that makes its pieces agree, or the ladders of all dyes hold."""
    as_read = _Way.as_read(pieces, light)
    ways = as_read.and_moved(_mistyped(as_read, light))

    def misfits(way: _Way) -> Array:
        cloth = way.spectra.mean(axis=0)
        return np.concatenate([_misfits([ladder], cloth, light)[1][0] for ladder in ladders])

    apart = [float(delta_e(w.labs[:, np.newaxis], w.labs).max()) for w in ways]
    best = int(np.argmin(apart)) if apart[0] > _MOVES and min(apart) < _ALIKE else 0
    if not best and ladders and misfits(as_read).sum() >= _GAIN:
        best = _best(np.array([misfits(way) for way in ways]))
    off = float(delta_e(as_read.labs, ways[best].labs).max())
    return ways[best].told("the other pieces and the palest squares say", off) if best else ""


def _in_mix(mix: Swatch, ladders: Mapping[str, _Way], cloth: Array, light: Light) -> str:
    """The one slip that brings a mix to what the squares of its dyes say."""

    def predicted(recipe: Mapping[str, float]) -> Array:
        k = ground = k_over_s(np.clip(cloth, *_WITHIN))
        for dye, owf in recipe.items():
            own = k_over_s(np.clip(ladders[dye].spectra, *_WITHIN)) - ground
            x = np.append(ladders[dye].depths, np.log(owf))  # the mix left out of its own ladder
            k = k + _left_out(x, np.vstack([own, ground])[np.newaxis])[0][0, -1]
        return np.asarray(lab(reflectance(k), light))

    as_read, wanted = _Way.as_read((mix,), light), predicted(mix.recipe)
    if (off := float(delta_e(wanted, as_read.labs[0]))) < _MIX_OFF:
        return ""
    found = [(float(delta_e(wanted, w.labs[0])), w) for w in _mistyped(as_read, light)]
    for one, other in combinations(mix.recipe, 2):
        turned = dict(mix.recipe) | {one: mix.recipe[other], other: mix.recipe[one]}
        words = _place(mix), str(mix.recipe), f"{one} and {other} exchanged"
        miss = float(delta_e(predicted(turned), as_read.labs[0]))
        found.append((miss, _Way(*as_read[:3], (0,), *words)))
    mended, way = min(found, key=lambda each: each[0], default=(off, as_read))
    fits = f", to {mended:.1f}"
    return way.told("the squares of its dyes say", off, fits) if mended < _MIX_FITS else ""


def _in_ladder(as_read: _Way, cloth: Array, light: Light) -> str:
    """The one slip that makes a ladder hold together, if it does not and one does."""
    if _misfits([as_read], cloth, light)[1].sum() < _GAIN:
        return ""
    ways = as_read.and_moved([*_exchanged(as_read), *_mistyped(as_read, light)])
    off, chi_square = _misfits(ways, cloth, light)
    if not (best := _best(chi_square)):
        return ""
    before, fits = off[0, list(ways[best].which)].max(), f", to {off[best].max():.1f}"
    return ways[best].told("the other squares of its dye say", before, fits)


def _place(piece: Swatch) -> str:
    return piece.readings[0].place or "no place"


def _exchanged(as_read: _Way) -> Iterator[_Way]:
    """Every two squares of unlike depth, each read as the other."""
    pieces, spectra, labs, *_ = as_read
    for i, j in combinations(range(len(pieces)), 2):
        if pieces[i].recipe != pieces[j].recipe:
            order = np.arange(len(pieces))
            order[[i, j]] = j, i
            words = f"{_place(pieces[i])} and {_place(pieces[j])}", "these two depths"
            yield _Way(pieces, spectra[order], labs[order], (i, j), *words, "the two exchanged")


def _mistyped(as_read: _Way, light: Light) -> Iterator[_Way]:
    """Every reading of three numbers as it could have been meant otherwise."""
    pieces, spectra, labs, *_ = as_read
    for i, reading in ((i, r) for i, s in enumerate(pieces) for r in s.readings if r.kind == "Lab"):
        for meant, *words in _otherwise(reading.colour(reading.light or light)):
            with np.errstate(all="ignore"):
                (spectrum,), (reached,) = smoothest(meant, light)
            if reached:  # else no cloth has that colour
                share = (np.arange(len(pieces)) == i)[:, np.newaxis] / len(pieces[i].readings)
                spectra_so = spectra + share * (spectrum - np.asarray(reading.reflectance))
                labs_so = labs + share * (meant - reading.colour(light))
                yield _Way(pieces, spectra_so, labs_so, (i,), reading.place or "no place", *words)


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


def _misfits(ways: list[_Way], cloth: Array, light: Light) -> tuple[Array, Array]:
    """ΔE2000 and chi-square ``(H, n)`` of each square from what the others of its ladder say.

    For each of H ways to read a ladder. More or less of the dye moves a square along a line, by
    what one square strays in strength; across it, it is off less.
    """
    ground = k_over_s(np.clip(cloth, *_WITHIN))
    spectra = np.array([way.spectra for way in ways])
    k, error = _left_out(ways[0].depths, k_over_s(np.clip(spectra, *_WITHIN)) - ground)
    predicted, more = (lab(reflectance(share * k + ground), light) for share in (1.0, 1.1))
    miss, _ = delta_e_residual(predicted, np.array([way.labs for way in ways]), slope=False)
    way = delta_e_residual(predicted, more, slope=False)[0] / np.log(1.1)
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
