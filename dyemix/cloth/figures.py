"""What a mottled piece is in figures: how much is undyed, how uneven, how far it parts into shades.

No figure is a grade: mottle is wanted. Each is of blocks of a stated size, since a figure of
unevenness means nothing without it (Chong, Li & Yeung, J. Soc. Dyers Colour. 108 (1992) 261, of
spots). Their Relative Unlevelness Index is of spectra; its analogue on three responses is not
monotone in mottle, and is not given.
"""

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Self

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array, Flags, Indices
from dyemix.cloth.amounts import MOST, Unmixer
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_2, Light, lab_from_xyz, screen_colours, white
from dyemix.errors import Choice, data

#: Side of the blocks that figures are of, unless they say another, in mm; and of the others.
BLOCK_MM, SIDES_MM = 2.0, (1.0, 2.0, 4.0, 8.0)
#: A block whose amounts are under this share of the dose, on average over the dyes, is undyed.
UNDYED = 0.1
#: So much of a block must be cloth.
_FILLED = 0.75
#: Blocks within so much of the dose tell how far the path is off; half of what these have in common
#: is taken to be that where blocks part by so much, a*b* (working values, on simulated pieces).
_ABOUT_DOSE, _PATH_OFF = 0.25, 1.6
#: Depths of a path, in times the dose.
_DEPTHS = np.concatenate([np.geomspace(MOST, 1e-3, 100), [0.0]])
#: A palette is as short as it can be with blocks this near to their shade, on average (ΔE*ab).
_NEAR, _FEWEST, _MOST_SHADES = 5.0, 3, 6
#: Ranks of depth that are told apart, blocks kept of each, and parts by the share of one dye.
_RANKS, _STRAYS, COARSE = 50, 16, 4
#: Scale of a mottle whose own is not known, mm, and variation inside a block.
_SCALE_MM, _WITHIN = 6.0, 0.15


class Alkali(Choice):
    """When the alkali goes in, before the dye to after it."""

    PRESOAK = "presoak"
    WITH = "with"
    AFTER = "after"


@dataclass(frozen=True)
class Figure:
    """A figure, its error (nine times in ten it is no farther off; NaN where nobody knows it) and
    the blocks it is of.
    """

    name: str
    value: float
    error: float
    unit: str
    block_mm: float

    def __str__(self) -> str:
        digits = 1 if self.unit else 2
        error = "" if np.isnan(self.error) else f" ± {self.error:.{digits}f}"
        unit = "" if self.name.endswith(self.unit) else f" {self.unit}"
        return f"{self.value:.{digits}f}{error}{unit}"


@dataclass(frozen=True, eq=False)
class Shade:
    """One shade of a palette: CIELAB ``(3,)`` under the light of the answer, its sRGB code, the
    percent of the piece that it covers, and the amounts of the dyes in it, as shares of their dose.
    """

    lab: Annotated[Array, 3]
    hex: str
    share: float
    relative: Mapping[str, float]

    def __str__(self) -> str:
        values = "L* {:.0f} a* {:.0f} b* {:.0f}".format(*self.lab)
        held = ", ".join(f"{name} ×{amount:.1f}" for name, amount in self.relative.items())
        return f"{self.share:4.0f} %  {self.hex}  {values:<22} {held}"


def labs(responses: Array, light: Light = D65_2) -> Array:
    """CIELAB ``(..., 3)`` under the light of responses ``(..., 3)``, white 1."""
    return lab_from_xyz(np.maximum(responses, 0.0) * white(light), light)


def path(unmixer: Unmixer) -> tuple[Array, Array]:
    """What a recipe goes through at fixed ratios, where nothing parts: amounts over the dose
    ``(P, k)``, deepest first, and CIELAB ``(P, 3)``.
    """
    amounts = np.repeat(_DEPTHS[:, np.newaxis], len(unmixer.dose), axis=1)
    return amounts, labs(unmixer.responses(amounts * unmixer.dose), unmixer.light)


def main_figures(relative: Array, responses: Array, on_path: Array, light: Light = D65_2) -> Array:
    """Undyed share (%), unevenness, splitting, L*, a*, b* of blocks ``(N, k)``, ``(N, 3)``.

    Unevenness is the coefficient of variation of depth. Splitting is the root mean square a*b*
    distance of the blocks, at equal L*, from the path where nothing parts: what the eye sees of it.
    The path, which a fit of single dyes predicts, is itself off: what the blocks of about the dose
    have in common is taken off it, fading to undyed cloth, the more of it the less they part.
    """
    depth, seen = relative.mean(axis=1), labs(responses, light)
    on = [np.interp(seen[:, 0], on_path[:, 0], on_path[:, i]) for i in (1, 2)]
    apart = seen[:, 1:] - np.stack(on, axis=1)
    dosed = np.abs(depth - 1.0) < _ABOUT_DOSE
    common = apart.T @ dosed / max(dosed.sum(), 1) * np.minimum(depth, 1.0)[:, np.newaxis]
    spread = ((apart - common) ** 2).sum(axis=1).mean()
    apart -= common * (_PATH_OFF**2 / (_PATH_OFF**2 + spread))
    return np.array([
        100.0 * (depth < UNDYED).mean(), depth.std() / max(depth.mean(), 1e-9),
        np.sqrt((apart**2).sum(axis=1).mean()), *labs(responses.mean(axis=0), light),
    ])  # fmt: skip


#: Names and units of those.
MAIN: list[tuple[str, str]] = data("cloth")["main"]


def difference(responses: Array) -> float:
    """Mean ΔE2000 of blocks from the colour of their mean."""
    return float(delta_e(labs(responses.mean(axis=0)), labs(responses)).mean())


@dataclass(frozen=True, eq=False)
class Blocks:
    """The blocks of a piece that are cloth, `side_mm` wide.

    `inside` ``(h, w)`` says which those N are; `relative` ``(N, k)`` are their amounts as shares of
    the dose, `responses` ``(N, 3)`` what is seen of them, and `within` ``(N, k)`` how much each dye
    varies with depth inside a block: the slope of its amount by depth, as shares of both, times the
    coefficient of variation of depth.
    """

    side_mm: float
    inside: Flags
    relative: Array
    responses: Array
    within: Array

    @classmethod
    def of(
        cls, inside: Flags, relative: NDArray[Any], responses: NDArray[Any],
        cell_mm: float, side_mm: float = BLOCK_MM,
    ) -> Self:  # fmt: skip
        """Means over blocks of cells ``(H, W)``, about so wide: of amounts, and of light."""
        n = max(1, round(side_mm / cell_mm))
        h, w = (side // n for side in inside.shape)

        def sums(values: NDArray[Any]) -> Array:
            cut = values[: h * n, : w * n].reshape(h, n, w, n, -1)
            return np.asarray(cut.sum(axis=(1, 3), dtype=float))

        count, shown = sums(inside), inside[..., np.newaxis]
        kept = count[..., 0] >= _FILLED * n * n
        depth = relative.mean(axis=2, keepdims=True)
        mean, seen, squares = (
            sums(x * shown)[kept] / count[kept] for x in (relative, responses, depth * relative)
        )
        together = squares - mean.mean(axis=1, keepdims=True) * mean
        spread = np.sqrt(np.maximum(together.mean(axis=1, keepdims=True), 1e-12))
        return cls(n * cell_mm, kept, mean, seen, together / spread / np.maximum(mean, 1e-4))

    @property
    def depth(self) -> Array:
        """Mean over the dyes ``(N,)``."""
        return np.asarray(self.relative.mean(axis=1))

    def figures(self, unmixer: Unmixer, errors: Array) -> list[Figure]:
        """The main figures, with their errors ``(6,)``."""
        values = main_figures(self.relative, self.responses, path(unmixer)[1], unmixer.light)
        return [
            Figure(name, float(value), float(error), unit, self.side_mm)
            for (name, unit), value, error in zip(MAIN, values, errors, strict=True)
        ]

    def difference(self) -> float:
        """Mean ΔE2000 of blocks from the colour of their mean."""
        return difference(self.responses)

    def scale(self) -> float:
        """Half range of the variogram of depth, mm: how far apart two places are, along or across,
        when they differ half as much as strangers do. NaN for a piece too even or too small.
        """
        depth: Array = np.zeros(self.inside.shape)
        depth[self.inside] = self.depth - self.depth.mean()
        shape, lags = [2 * side for side in depth.shape], min(depth.shape) // 2
        pairs = [
            np.fft.irfft2(np.abs(np.fft.rfft2(x, s=shape)) ** 2, s=shape)
            for x in (depth, self.inside.astype(float))
        ]
        product, count = (both[0, :lags] + both[:lags, 0] for both in pairs)
        alike = product / np.maximum(count, 1.0)
        below = np.flatnonzero(alike < 0.5 * alike[:1])
        if not len(below):
            return float("nan")
        i = int(below[0])
        over = (0.5 * alike[0] - alike[i]) / (alike[i - 1] - alike[i])
        return float(self.side_mm * (i - over))

    def palette(self, unmixer: Unmixer, shown: Array) -> tuple[Shade, ...]:
        """The 3 to 6 shades of a piece and their shares, the largest first (k-means on CIELAB).

        Codes are those of the responses ``(N, 3)`` under D65/2°, `shown`.
        """
        from scipy.cluster.vq import kmeans2

        seen, names = labs(self.responses, unmixer.light), unmixer.dyes.names
        order = np.argsort(seen[:, 0])
        for count in range(_FEWEST, _MOST_SHADES + 1):
            start = seen[order[middles(count, len(seen))]]
            with warnings.catch_warnings():  # a shade that nothing is nearest to is left out below
                warnings.simplefilter("ignore", UserWarning)
                centres, which = kmeans2(seen, start, iter=30, minit="matrix")
            if np.linalg.norm(seen - centres[which], axis=1).mean() <= _NEAR:
                break
        shades = []
        for members in (which == i for i in np.unique(which)):
            lab = labs(self.responses[members].mean(axis=0), unmixer.light)
            code = screen_colours(labs(shown[members].mean(axis=0)))[0].hex
            relative = dict(zip(names, self.relative[members].mean(axis=0).tolist(), strict=True))
            share = 100.0 * float(members.mean())
            shades.append(Shade(lab, code, share, relative))
        return tuple(sorted(shades, key=lambda shade: -shade.share))


@dataclass(frozen=True, eq=False)
class Mottle:
    """The variation of k dyes over a piece, by depth rank: what a preview is made from.

    Of each rank of depth some blocks are kept as they were found, so that dyes stray from their
    means there as far and as much alike as on the cloth, in whatever shape. A Gaussian copula of
    the dyes has no place for that, and fails at the pale end, where all of them are gone together;
    normal or lognormal strays of the right covariance are up to a unit of splitting off.

    Attributes
    ----------
    names : the dyes.
    amounts : ``(Q, S, k)`` over the dose, of S blocks at each of Q even ranks of depth, palest
        first. In a rank they stand by the share of the first dye, of three dyes or more in `COARSE`
        parts of it by that of the last.
    within : ``(Q, S, k)`` how much each dye varies inside those blocks, as `Blocks` has it: a mean
        of colours is not the colour of a mean.
    scale_mm : half range of the variogram of depth.
    """

    names: tuple[str, ...]
    amounts: Annotated[Array, "Q", "S", "k"]
    within: Annotated[Array, "Q", "S", "k"]
    scale_mm: float

    @classmethod
    def of(cls, names: Sequence[str], found: Blocks) -> Self:
        """As the blocks of a piece show it."""
        order = np.argsort(found.depth, kind="stable")
        ranks = np.array_split(order, min(_RANKS, max(1, len(order) // _STRAYS)))
        share = found.relative / np.maximum(found.relative.sum(axis=1, keepdims=True), 1e-9)
        kept = np.array([_by_share(share, rank)[middles(_STRAYS, len(rank))] for rank in ranks])
        scale = float(np.nan_to_num(found.scale(), nan=_SCALE_MM))
        return cls(tuple(names), found.relative[kept].round(4), found.within[kept].round(3), scale)

    @classmethod
    def normal(cls, names: Sequence[str], variation: float, strays: float) -> Self:
        """Depth gamma distributed, of this coefficient of variation; each dye by itself strays from
        its mean by `strays` where that is the dose.
        """
        from scipy.special import gammaincinv, ndtri

        depth = gammaincinv(variation**-2, (np.arange(_RANKS) + 0.5) / _RANKS)[:, np.newaxis]
        depth /= depth.mean()
        size = strays * depth / np.sqrt(0.5 + 0.5 * depth)
        amounts = np.maximum(depth + size * ndtri((np.arange(_STRAYS) + 0.5) / _STRAYS), 0.0)
        each = np.repeat(amounts[..., np.newaxis], len(names), axis=2)
        return cls(tuple(names), each, np.full(each.shape, _WITHIN), _SCALE_MM)


def _by_share(share: Array, rank: Indices) -> Indices:
    """The blocks of a rank as `Mottle` orders them; `share` ``(N, k)`` of all blocks."""
    rank = rank[np.argsort(share[rank, 0])]
    parts = np.array_split(rank, COARSE if share.shape[1] > 2 else len(rank))
    return np.concatenate([part[np.argsort(share[part, -1])] for part in parts])


def middles(parts: int, count: int) -> Indices:
    """The middle item of each of so many equal parts of `count`."""
    return ((np.arange(parts) + 0.5) * count / parts).astype(np.intp)
