"""What a mottled piece is in figures: how much is undyed, how uneven, how far it parts into shades.

No figure is a grade: mottle is wanted. Each is of blocks of a stated size, since a figure of
unevenness means nothing without it (Chong, Li & Yeung, J. Soc. Dyers Colour. 108 (1992) 261, of
spots). Their Relative Unlevelness Index is of spectra; its analogue on three responses is not
monotone in mottle, and is not given.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.cloth.amounts import MOST, Unmixer
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_2, lab_from_xyz, screen_colours, white
from dyemix.dataset.serialise import Shape

#: Side of the blocks that figures are of, unless they say another, in mm; and of the others.
BLOCK_MM, SIDES_MM = 2.0, (1.0, 2.0, 4.0, 8.0)
#: A block whose amounts are under this share of the dose, on average over the dyes, is undyed.
UNDYED = 0.1
#: So much of a block must be cloth.
_FILLED = 0.75
#: Depths of a path, in times the dose.
_DEPTHS = np.concatenate([np.geomspace(MOST, 1e-3, 100), [0.0]])
#: A palette is as short as it can be with blocks this near to their shade, on average (ΔE*ab).
_NEAR, _FEWEST, _MOST_SHADES = 5.0, 3, 6


@dataclass(frozen=True)
class Figure:
    """A figure, its error (nine times in ten it is no farther off) and the blocks it is of."""

    name: str
    value: float
    error: float
    unit: str
    block_mm: float

    def __str__(self) -> str:
        digits = 1 if self.unit else 2
        text = f"{self.value:.{digits}f} ± {self.error:.{digits}f}"
        return f"{text} {self.unit}" if self.unit in ("%", "mm") else text


@dataclass(frozen=True, eq=False)
class Shade:
    """One shade of a palette: CIELAB ``(3,)`` under D65/2°, its sRGB code, the percent of the piece
    that it covers, and the amounts ``(k,)`` of the dyes in it, as shares of their dose.
    """

    lab: Annotated[Array, Shape(3)]
    hex: str
    share: float
    relative: Annotated[Array, Shape("k")]


def labs(responses: Array) -> Array:
    """CIELAB ``(..., 3)`` under D65/2° of responses ``(..., 3)``, white 1."""
    return lab_from_xyz(np.maximum(responses, 0.0) * white(D65_2), D65_2)


@dataclass(frozen=True, eq=False)
class Blocks:
    """The blocks of a piece that are cloth.

    `inside` ``(h, w)`` says which those N are; `relative` ``(N, k)`` are their amounts as shares of
    the dose, `responses` ``(N, 3)`` what is seen of them, and `within` ``(N, k)`` how much each dye
    varies with depth inside a block: the slope of its amount by depth, as shares of both, times the
    coefficient of variation of depth.
    """

    inside: NDArray[np.bool_]
    relative: Array
    responses: Array
    within: Array

    @property
    def depth(self) -> Array:
        """Mean over the dyes ``(N,)``."""
        return np.asarray(self.relative.mean(axis=1))


def blocks(
    inside: NDArray[np.bool_], relative: NDArray[Any], responses: NDArray[Any], cells: int
) -> Blocks:
    """Means over blocks of so many cells a side: of amounts, and of light."""
    n = max(1, cells)
    h, w = (side // n for side in inside.shape)

    def sums(values: NDArray[Any]) -> Array:
        cut = values[: h * n, : w * n].reshape(h, n, w, n, -1)
        return np.asarray(cut.sum(axis=(1, 3), dtype=float))

    count = sums(inside)
    kept = count[..., 0] >= _FILLED * n * n
    depth = relative.mean(axis=2, keepdims=True)
    shown = inside[..., np.newaxis]
    mean, seen, squares = (
        sums(x * shown)[kept] / count[kept] for x in (relative, responses, depth * relative)
    )
    level = mean.mean(axis=1, keepdims=True)
    together = squares - level * mean
    spread = np.sqrt(np.maximum(together.mean(axis=1, keepdims=True), 1e-12))
    return Blocks(kept, mean, seen, together / spread / np.maximum(mean, 1e-4))


def path(unmixer: Unmixer) -> tuple[Array, Array]:
    """What a recipe goes through at fixed ratios, where nothing parts: amounts over the dose
    ``(P, k)``, deepest first, and CIELAB ``(P, 3)``.
    """
    amounts = np.repeat(_DEPTHS[:, np.newaxis], len(unmixer.dose), axis=1)
    return amounts, labs(unmixer.responses(amounts * unmixer.dose))


def main_figures(relative: Array, responses: Array, on_path: Array) -> Array:
    """Undyed share (%), unevenness, splitting, L*, a*, b* of blocks ``(N, k)``, ``(N, 3)``.

    Unevenness is the coefficient of variation of depth. Splitting is the root mean square a*b*
    distance of the blocks, at equal L*, from the path where nothing parts: what the eye sees of it.
    """
    depth, seen = relative.mean(axis=1), labs(responses)
    on = [np.interp(seen[:, 0], on_path[:, 0], on_path[:, i]) for i in (1, 2)]
    apart = seen[:, 1:] - np.stack(on, axis=1)
    return np.array([
        100.0 * (depth < UNDYED).mean(), depth.std() / max(depth.mean(), 1e-9),
        np.sqrt((apart**2).sum(axis=1).mean()), *labs(responses.mean(axis=0)),
    ])  # fmt: skip


#: Names and units of those.
MAIN = (
    ("undyed share", "%"), ("unevenness", ""), ("splitting", "a*b*"),
    ("mean L*", "L*"), ("mean a*", "a*"), ("mean b*", "b*"),
)  # fmt: skip


def difference(responses: Array) -> float:
    """Mean ΔE2000 of blocks from the colour of their mean."""
    return float(delta_e(labs(responses.mean(axis=0)), labs(responses)).mean())


def mottle_scale(found: Blocks, block_mm: float) -> float:
    """Half range of the variogram of depth, mm: how far apart two places are, along or across,
    when they differ half as much as strangers do. NaN for a piece that is too even or too small.
    """
    depth: Array = np.zeros(found.inside.shape)
    depth[found.inside] = found.depth - found.depth.mean()
    shape = [2 * side for side in found.inside.shape]
    sums, pairs = (
        np.fft.irfft2(np.abs(np.fft.rfft2(x, s=shape)) ** 2, s=shape)
        for x in (depth, found.inside.astype(float))
    )
    lags = min(depth.shape) // 2
    both = [
        (sums[at].sum() / max(pairs[at].sum(), 1.0))
        for at in (([0, lag], [lag, 0]) for lag in range(lags))
    ]
    alike = np.array(both) / max(both[0] if both else 0.0, 1e-12)
    below = np.flatnonzero(alike < 0.5)
    if not len(below):
        return float("nan")
    i = int(below[0])
    return float(block_mm * (i - (0.5 - alike[i]) / max(alike[i - 1] - alike[i], 1e-9)))


def palette(relative: Array, responses: Array) -> tuple[Shade, ...]:
    """The 3 to 6 shades of a piece and their shares, the largest first (k-means on CIELAB)."""
    from scipy.cluster.vq import kmeans2

    seen = labs(responses)
    for count in range(_FEWEST, _MOST_SHADES + 1):
        order = np.argsort(seen[:, 0])
        start = seen[order[((np.arange(count) + 0.5) * len(seen) / count).astype(int)]]
        with warnings.catch_warnings():  # a shade that nothing is nearest to is left out below
            warnings.simplefilter("ignore", UserWarning)
            centres, which = kmeans2(seen, start, iter=30, minit="matrix")
        if np.linalg.norm(seen - centres[which], axis=1).mean() <= _NEAR:
            break
    shades = []
    for i in range(count):
        members = which == i
        if members.any():
            lab = labs(responses[members].mean(axis=0))
            code = screen_colours(lab)[0].hex
            share = 100.0 * float(members.mean())
            shades.append(Shade(lab, code, share, relative[members].mean(axis=0)))
    return tuple(sorted(shades, key=lambda shade: -shade.share))


def palette_text(shades: Sequence[Shade], names: Sequence[str]) -> list[str]:
    """A line for each shade: its share, code, and what is in it, in times its dose."""
    lines = []
    for shade in shades:
        held = ", ".join(f"{n} ×{a:.1f}" for n, a in zip(names, shade.relative, strict=True))
        values = "L* {:.0f} a* {:.0f} b* {:.0f}".format(*shade.lab)
        lines.append(f"{shade.share:4.0f} %  {shade.hex}  {values:<22} {held}")
    return lines
