"""How depth and dyes vary over a piece, in a few figures: what a preview is made from.

Depth is ranked. At each rank stand the mean amount of each dye, and how far and how alike the dyes
stray from those means there. A Gaussian copula of the dyes has no place for that, and fails at the
pale end, where all of them are gone together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.cloth.amounts import Unmixer
from dyemix.cloth.figures import Blocks
from dyemix.dataset.serialise import Shape
from dyemix.errors import DyemixError

#: Ranks of depth that are told apart.
_RANKS = 100

#: Where no piece was analysed, by order of the alkali: coefficient of variation of depth, and how
#: far a dye strays from its mean where depth is that of the dose. Illustrative: chosen only so that
#: unevenness falls from the first to the last (common practice).
ILLUSTRATIVE = {"presoak": (1.1, 0.45), "with": (0.6, 0.35), "after": (0.3, 0.2)}
#: Variation inside 2 mm where nobody measured it.
_WITHIN = 0.15
#: Scale of a mottle whose own is not known, mm.
SCALE_MM = 6.0


@dataclass(frozen=True, eq=False)
class Mottle:
    """The variation of k dyes over a piece, by depth rank.

    Attributes
    ----------
    names : the dyes.
    mean : ``(Q, k)`` amounts over the dose, at Q even ranks of depth, palest first.
    root : ``(Q, k, k)`` of the covariance about them.
    within : ``(Q, k)`` how much each dye varies inside a block, as `Blocks` has it: a mean of
        colours is not the colour of a mean.
    scale_mm : half range of the variogram of depth.
    """

    names: tuple[str, ...]
    mean: Annotated[Array, Shape("Q", "k")]
    root: Annotated[Array, Shape("Q", "k", "k")]
    within: Annotated[Array, Shape("Q", "k")]
    scale_mm: float

    @classmethod
    def of(cls, names: Sequence[str], found: Blocks, scale_mm: float) -> Mottle:
        """As the blocks of a piece show it."""
        order = np.argsort(found.depth, kind="stable")
        count = min(_RANKS, max(1, len(order) // 12))
        parts = np.array_split(found.relative[order], count)
        within = [
            np.sign(w.mean(axis=0)) * np.sqrt((w * w).mean(axis=0))
            for w in np.array_split(found.within[order], count)
        ]
        roots = []
        for part in parts:
            # Within a part the dyes rise with depth, which is no straying.
            share = part.mean(axis=1, keepdims=True) / max(float(part.mean()), 1e-9)
            stray = part - share * part.mean(axis=0)
            values, vectors = np.linalg.eigh(stray.T @ stray / len(part))
            roots.append((vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T)
        scale = scale_mm if np.isfinite(scale_mm) else SCALE_MM
        mean = np.array([part.mean(axis=0) for part in parts])
        return cls(tuple(names), mean, np.array(roots), np.array(within), float(scale))

    @classmethod
    def joined(cls, names: Sequence[str], pieces: Sequence[Mottle], other: Mottle) -> Mottle:
        """Of these dyes, each from the pieces that hold it, and from `other` where none does.

        How dyes stray together is known from pieces of just these dyes; else each strays by itself.
        """
        whole = [piece for piece in pieces if set(piece.names) == set(names)]
        k, ranks = len(names), len(other.mean)
        (mean, within), root = np.empty((2, ranks, k)), np.zeros((ranks, k, k))
        for i, name in enumerate(names):
            using = [p for p in whole or pieces if name in p.names] or [other]
            found = [p.resampled(ranks, p.names.index(name)) for p in using]
            mean[:, i] = np.mean([m for m, _, _ in found], axis=0)
            within[:, i] = np.mean([w for _, w, _ in found], axis=0)
            root[:, i, i] = np.sqrt(np.mean([s**2 for _, _, s in found], axis=0))
        if whole:
            squares = np.zeros_like(root)
            for piece in whole:
                at = [piece.names.index(name) for name in names]
                r = piece.root[piece._parts(ranks)][:, at][:, :, at]
                squares += r @ r / len(whole)
            values, vectors = np.linalg.eigh(squares)
            size = np.sqrt(np.maximum(values, 0.0))[:, np.newaxis, :]
            root = (vectors * size) @ vectors.transpose(0, 2, 1)
        return cls(tuple(names), mean, root, within, float(np.mean([p.scale_mm for p in pieces])))

    def _parts(self, ranks: int) -> NDArray[np.intp]:
        return np.asarray((np.arange(ranks) * len(self.mean)) // ranks)

    def resampled(self, ranks: int, dye: int) -> tuple[Array, Array, Array]:
        """Mean, variation within blocks, and straying ``(ranks,)`` of one dye."""
        part = self._parts(ranks)
        return (
            self.mean[part, dye],
            self.within[part, dye],
            np.sqrt((self.root[part, dye] ** 2).sum(axis=1)),
        )

    @classmethod
    def illustrative(cls, names: Sequence[str], order: str) -> Mottle:
        """Stated figures where no piece was analysed; depth is gamma distributed."""
        from scipy.special import gammaincinv

        if order not in ILLUSTRATIVE:
            known = ", ".join(ILLUSTRATIVE)
            raise DyemixError(f"alkali {order!r} is unknown: use {known}.")
        variation, strays = ILLUSTRATIVE[order]
        ranks = (np.arange(_RANKS) + 0.5) / _RANKS
        depth = gammaincinv(variation**-2, ranks) * variation**2
        depth /= depth.mean()
        k = len(names)
        even = np.eye(k) - 1.0 / k
        size = strays * depth / np.sqrt(0.5 + 0.5 * depth)
        mean = np.repeat(depth[:, np.newaxis], k, axis=1)
        return cls(
            tuple(names),
            mean,
            size[:, np.newaxis, np.newaxis] * even,
            np.full(mean.shape, _WITHIN),
            SCALE_MM,
        )

    def field(self, shape: tuple[int, int], block_mm: float, seed: int) -> tuple[Array, Array]:
        """Amounts over the dose ``(h w, k)`` of blocks of a patch, drawn afresh for a seed, and the
        variation of each inside them ``(h w, k)``.

        Depth is a Gaussian field whose ranks are even, so that it holds every depth as often as the
        piece did; dyes stray about their means by fields of their own, and depth stays.
        """
        from scipy.ndimage import gaussian_filter

        rng = np.random.default_rng(seed)

        def ranks(size_mm: float) -> Array:
            # exp(−h²/4σ²) = ½ at the half range h.
            sigma = size_mm / block_mm / (2.0 * np.sqrt(np.log(2.0)))
            field = gaussian_filter(rng.standard_normal(shape), sigma, mode="wrap").ravel()
            out = np.empty(field.size)
            out[np.argsort(field, kind="stable")] = (np.arange(field.size) + 0.5) / field.size
            return out

        from scipy.special import ndtri

        rank = ranks(self.scale_mm)
        own = np.stack([ndtri(ranks(self.scale_mm)) for _ in self.names], axis=1)
        middles = (np.arange(len(self.mean)) + 0.5) / len(self.mean)
        mean = np.stack([np.interp(rank, middles, m) for m in self.mean.T], axis=1)
        part = np.minimum((rank * len(self.root)).astype(int), len(self.root) - 1)
        amounts = np.maximum(mean + np.einsum("nij,nj->ni", self.root[part], own), 0.0)
        # What was cut off at nothing comes back: means of a rank and depths are held in turns.
        depth, count = mean.mean(axis=1), np.maximum(np.bincount(part, minlength=len(self.root)), 1)
        for _ in range(4):
            for i, dye in enumerate(amounts.T):
                held = np.bincount(part, dye, len(self.root)) / count
                wanted = np.bincount(part, mean[:, i], len(self.root)) / count
                dye *= (wanted / np.maximum(held, 1e-9))[part]
            amounts *= (depth / np.maximum(amounts.mean(axis=1), 1e-9))[:, np.newaxis]
        return amounts, np.stack([np.interp(rank, middles, w) for w in self.within.T], axis=1)


def seen(unmixer: Unmixer, relative: Array, within: Array) -> Array:
    """Responses ``(N, 3)`` of blocks ``(N, k)`` inside which dyes vary with depth, log-normally: by
    the three nodes of Gauss and Hermite.
    """
    size = np.sign(within) * np.sqrt(3.0 * np.log1p(within**2))
    nodes = np.exp(size * np.array([-1.0, 0.0, 1.0])[:, np.newaxis, np.newaxis])
    parts = np.array([1.0, 4.0, 1.0])[:, np.newaxis, np.newaxis] / 6.0
    nodes /= (parts * nodes).sum(axis=0)
    found = unmixer.responses((nodes * relative * unmixer.dose).reshape(-1, relative.shape[1]))
    return np.asarray((parts * found.reshape(3, -1, 3)).sum(axis=0))
