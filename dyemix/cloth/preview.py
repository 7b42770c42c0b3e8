"""How a mix may part into its dyes: a simulated patch of cloth, its palette and figures.

Estimated from the dyer's own analysed pieces of that order of the alkali, where there are some with
these dyes; else from illustrative figures, and then it says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from dyemix.arrays import Array
from dyemix.cloth.amounts import Unmixer
from dyemix.cloth.figures import BLOCK_MM, RANKS, SCALE_MM, Alkali, Blocks, Figure, Mottle, Shade
from dyemix.cloth.levelness import Levelness
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.result import DEMO_WARNING, Row, Several
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet

#: Where no piece was analysed, by order of the alkali: coefficient of variation of depth, and how
#: far a dye strays from its mean where depth is that of the dose. Illustrative: chosen only so that
#: unevenness falls from the first to the last (common practice).
ILLUSTRATIVE = {Alkali.PRESOAK: (1.1, 0.45), Alkali.WITH: (0.6, 0.35), Alkali.AFTER: (0.3, 0.2)}
#: Variation inside 2 mm where nobody measured it.
_WITHIN = 0.15
#: Equal parts of a block.
_PARTS = 8
#: Side of the patch, mm, and the most that is of use.
_PATCH_MM, _LARGEST_MM = 120.0, 400.0


@dataclass(frozen=True, eq=False)
class Preview:
    """A patch of cloth as a recipe may come out of one order.

    Attributes
    ----------
    recipe, order : what, and when the alkali goes in.
    source : what it was estimated from.
    illustrative : whether from stated figures and no own piece.
    figures : ``undyed share`` and so on, as `Levelness` has them; their errors are not known.
    palette : its shades, the largest first.
    amounts : ``(h, w, k)`` % owf, in blocks of 2 mm; `responses` ``(h, w, 3)`` what is seen of it.
    """

    TOLD: ClassVar = ("recipe", "order", "source", "illustrative", "figures", "palette")

    recipe: Recipe
    order: str
    source: str
    illustrative: bool
    figures: tuple[Figure, ...]
    palette: tuple[Shade, ...]
    amounts: Array
    responses: Array

    @property
    def splitting(self) -> float:
        """Root mean square a*b* distance from the path of the recipe."""
        return next(figure.value for figure in self.figures if figure.name == "splitting")

    def __str__(self) -> str:
        return "\n  ".join([
            f"{self.recipe}  (% owf), alkali: {self.order}. {self.source}",
            ", ".join(f"{figure.name} {figure}" for figure in self.figures),
            *map(str, self.palette),
        ])  # fmt: skip


@dataclass(frozen=True, eq=False)
class Previews(Several[Preview]):
    """Patches of several recipes, as they were asked for."""

    HELD: ClassVar = "items"

    items: tuple[Preview, ...]
    demo: bool = False

    def short(self) -> str:
        """A sentence on all of them: how far each splits, and into which shades."""
        told = "; ".join(
            f"{i} by {item.splitting:.1f} into {', '.join(s.hex for s in item.palette[:3])}"
            for i, item in enumerate(self, start=1)
        )
        first = self.items[0]
        how = "illustrative" if first.illustrative else "from your pieces"
        return f"Dyed mottled, alkali {first.order} ({how}), they would split, in a*b*: {told}."

    def _rows(self) -> Iterable[Row]:
        for item in self:
            figures = {figure.name: figure.value for figure in item.figures}
            yield {"recipe": item.recipe, "alkali": item.order, "source": item.source, **figures}

    def __str__(self) -> str:
        lines = [DEMO_WARNING] if self.demo else []
        lines += [str(item) for item in self]
        if len(self) > 1:
            order = sorted(self, key=lambda item: item.splitting)
            told = "; ".join(f"{item.recipe} ({item.splitting:.1f})" for item in order)
            lines.append(f"From the quietest to the one that splits most, in a*b*: {told}.")
        lines.append(
            f"{BLOCK_MM:g} mm blocks, D65/2°. Simulated, error unknown: dye a piece and judge that."
        )
        return "\n".join(lines)


def preview(
    dyes: DyeSet, *recipes: Mapping[str, float] | str, order: str = "with",
    pieces: Sequence[Levelness] = (), size_mm: float = _PATCH_MM, seed: int = 0,
) -> Previews:  # fmt: skip
    """Simulate a patch of each recipe (% owf), to see how far and into which shades it splits.

    Parameters
    ----------
    order : when the alkali goes in: presoak, with or after.
    pieces : analysed pieces; those of this order that hold dyes of the recipe are used.
    size_mm : side of the patch.
    seed : the same patch for the same seed, and the same folds for every recipe.

    Raises
    ------
    RecipeError
        For dyes that the shelf does not have.
    DyemixError
        For an order or a size that is none.

    >>> found = preview(dyes, "lemon 0.5 + rose 0.3 + turquoise 0.5", "black 0.5", size_mm=40)
    >>> found[0].splitting > 10 * found[1].splitting
    True
    """
    if not recipes:
        raise DyemixError("name a recipe to preview, as 'marigold 0.8 + navy 0.25'.")
    if not 20.0 <= size_mm <= _LARGEST_MM:
        raise DyemixError(f"a patch of {size_mm:g} mm: 20 to {_LARGEST_MM:g} mm.")
    alkali = Alkali(order)
    pieces = [piece for piece in pieces if piece.order == alkali.value]
    found = [_patch(Unmixer(dyes, recipe), alkali, pieces, size_mm, seed) for recipe in recipes]
    return Previews(tuple(found), dyes.demo)


def _patch(
    unmixer: Unmixer, alkali: Alkali, pieces: Sequence[Levelness], size_mm: float, seed: int
) -> Preview:
    names = unmixer.dyes.names
    used = [p for p in pieces if set(p.mottle.names) & set(names)]
    mottle = _illustrative(names, alkali)
    source = "Illustrative: no own piece of this order was analysed."
    if used:
        mottle = _joined(names, [p.mottle for p in used], mottle)
        source = f"From your {', '.join(p.name for p in used)}."
        if strange := set(names) - {n for p in used for n in p.mottle.names}:
            source += f" Illustrative for {', '.join(sorted(strange))}."
    side = round(size_mm / BLOCK_MM)
    relative, within = _field(mottle, side, seed)
    responses = _seen(unmixer, relative, within)
    patch = Blocks(BLOCK_MM, np.ones((side, side), dtype=bool), relative, responses, within)
    return Preview(
        unmixer.recipe, alkali.value, source, not used,
        tuple(patch.figures(unmixer, np.full(6, np.nan))), patch.palette(names),
        (relative * unmixer.dose).reshape(side, side, -1), responses.reshape(side, side, 3),
    )  # fmt: skip


def _illustrative(names: Sequence[str], alkali: Alkali) -> Mottle:
    """Stated figures where no piece was analysed; depth is gamma distributed."""
    from scipy.special import gammaincinv

    variation, strays = ILLUSTRATIVE[alkali]
    depth = gammaincinv(variation**-2, (np.arange(RANKS) + 0.5) / RANKS)
    depth /= depth.mean()
    mean = np.repeat(depth[:, np.newaxis], len(names), axis=1)
    size = strays * depth / np.sqrt(0.5 + 0.5 * depth)
    covariance = np.multiply.outer(size**2, np.eye(len(names)) - 1.0 / len(names))
    return Mottle(tuple(names), mean, covariance, np.full(mean.shape, _WITHIN), SCALE_MM)


def _joined(names: Sequence[str], pieces: Sequence[Mottle], other: Mottle) -> Mottle:
    """Of these dyes, each from the pieces that hold it, and from `other` where none does.

    How dyes stray together is known from pieces of just these dyes; else each strays by itself.
    """
    whole = [piece for piece in pieces if set(piece.names) == set(names)]
    mean, within = np.zeros((2, *other.mean.shape))
    covariance = np.zeros_like(other.covariance)
    for i, name in enumerate(names):
        using = [p for p in whole or pieces if name in p.names] or [other]
        for piece in using:
            rank, at = np.arange(RANKS) * len(piece.mean) // RANKS, piece.names.index(name)
            mean[:, i] += piece.mean[rank, at] / len(using)
            within[:, i] += piece.within[rank, at] / len(using)
            for j, beside in enumerate(names):
                if whole or i == j:
                    pair = piece.covariance[rank, at, piece.names.index(beside)]
                    covariance[:, i, j] += pair / len(using)
    scale = float(np.mean([piece.scale_mm for piece in pieces]))
    return Mottle(tuple(names), mean, covariance, within, scale)


def _field(mottle: Mottle, side: int, seed: int) -> tuple[Array, Array]:
    """Amounts over the dose ``(N, k)`` of the blocks of a square patch, drawn afresh for a seed,
    and the variation of each inside them ``(N, k)``.

    Depth is a Gaussian field whose ranks are even, so that it holds every depth as often as the
    piece did; dyes stray about their means by fields of their own, and depth stays.
    """
    from scipy.ndimage import gaussian_filter
    from scipy.special import ndtri

    rng, ranks = np.random.default_rng(seed), len(mottle.mean)
    # exp(−h²/4σ²) = ½ at the half range h.
    sigma = mottle.scale_mm / BLOCK_MM / (2.0 * np.sqrt(np.log(2.0)))

    def drawn() -> Array:
        field = gaussian_filter(rng.standard_normal((side, side)), sigma, mode="wrap").ravel()
        return np.asarray((np.argsort(np.argsort(field, kind="stable")) + 0.5) / field.size)

    rank = drawn()
    own = np.stack([ndtri(drawn()) for _ in mottle.names], axis=1)
    middles = (np.arange(ranks) + 0.5) / ranks
    mean, within = (
        np.stack([np.interp(rank, middles, column) for column in by_rank.T], axis=1)
        for by_rank in (mottle.mean, mottle.within)
    )
    part = (rank * ranks).astype(int)
    root = np.linalg.cholesky(mottle.covariance + 1e-9 * np.eye(len(mottle.names)))
    amounts = np.maximum(mean + np.einsum("nij,nj->ni", root[part], own), 0.0)
    # What was cut off at nothing comes back: means of a rank and depths are held in turns.
    depth = mean.mean(axis=1)
    for _ in range(4):
        for dye, wanted in zip(amounts.T, mean.T, strict=True):
            held = np.maximum(np.bincount(part, dye, ranks), 1e-9)
            dye *= (np.bincount(part, wanted, ranks) / held)[part]
        amounts *= (depth / np.maximum(amounts.mean(axis=1), 1e-9))[:, np.newaxis]
    return amounts, within


def _seen(unmixer: Unmixer, relative: Array, within: Array) -> Array:
    """Responses ``(N, 3)`` of blocks ``(N, k)`` inside which dyes vary with depth, gamma
    distributed: of equal parts of a block, each at the mean of its part of the distribution.

    Of a mean of 1 and the shape a, what lies below x holds P(a + 1, a x) of the whole (the
    incomplete gamma function, Abramowitz & Stegun 6.5).
    """
    from scipy.special import gammainc, gammaincinv

    shape = np.maximum(np.abs(within), 0.01) ** -2.0
    ends = gammaincinv(shape, np.linspace(0.0, 1.0, _PARTS + 1)[:, np.newaxis, np.newaxis])
    parts = _PARTS * np.diff(gammainc(shape + 1.0, ends), axis=0)
    parts = np.where(within < 0.0, parts[::-1], parts)
    found = unmixer.responses((parts * relative * unmixer.dose).reshape(-1, relative.shape[1]))
    return np.asarray(found.reshape(_PARTS, -1, 3).mean(axis=0))
