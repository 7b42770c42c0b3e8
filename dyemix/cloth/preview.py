"""How a mix may part into its dyes: a simulated patch of cloth, its palette and figures.

Estimated from the dyer's own analysed pieces of that order of the alkali, where there are some with
these dyes; else from illustrative figures, and then it says so.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from dyemix.arrays import Array, Indices
from dyemix.cloth.amounts import Unmixer
from dyemix.cloth.figures import BLOCK_MM, COARSE, Alkali, Blocks, Figure, Mottle, Shade, middles
from dyemix.cloth.levelness import Levelness
from dyemix.colour.colorimetry import D65_2, Light
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.result import Row, Several
from dyemix.errors import refuse, said
from dyemix.model.dyes import DyeSet

#: Where no piece was analysed, by order of the alkali: coefficient of variation of depth, and how
#: far a dye strays from its mean where depth is that of the dose. Illustrative: chosen only so that
#: unevenness falls from the first to the last (common practice).
ILLUSTRATIVE = {Alkali.PRESOAK: (1.1, 0.45), Alkali.WITH: (0.6, 0.35), Alkali.AFTER: (0.3, 0.2)}
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
    amounts : ``(h, w, k)`` % owf, in blocks of 2 mm; `responses` ``(h, w, 3)`` what is seen of it,
        under D65/2°.
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
            f"{self.recipe} (% owf), alkali: {self.order}. {self.source}",
            ", ".join(f"{figure.name} {figure}" for figure in self.figures),
            *map(str, self.palette),
        ])  # fmt: skip


class Previews(Several[Preview]):
    """Patches of several recipes, as they were asked for."""

    HELD: ClassVar = "items"

    items: tuple[Preview, ...]
    light: Light = D65_2
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

    def _lines(self) -> Iterable[str]:
        yield from map(str, self)
        if len(self) > 1:
            order = sorted(self, key=lambda item: item.splitting)
            told = "; ".join(f"{item.recipe} ({item.splitting:.1f})" for item in order)
            yield f"From the quietest to the one that splits most, in a*b*: {told}."
        yield said("cloth.simulated", BLOCK_MM, self.light)


def preview(
    dyes: DyeSet, *recipes: Mapping[str, float] | str, order: str = "with",
    pieces: Sequence[Levelness] = (), size_mm: float = _PATCH_MM, seed: int = 0,
    light: Light | str = D65_2,
) -> Previews:  # fmt: skip
    """Simulate a patch of each recipe (% owf), to see how far and into which shades it splits.

    Parameters
    ----------
    order : when the alkali goes in: presoak, with or after.
    pieces : analysed pieces; those of this order that hold dyes of the recipe are used, each once.
    size_mm : side of the patch.
    seed : the same patch for the same seed, and the same folds for every recipe.
    light : of the figures and shades; by default that of a photographed piece.

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
    refuse(not recipes, "name a recipe to preview, as 'marigold 0.8 + navy 0.25'.")
    refuse(not 20.0 <= size_mm <= _LARGEST_MM, "cloth.size", size_mm, _LARGEST_MM)
    alkali, light = Alkali(order), Light.parse(light)
    pieces = list({str(piece): piece for piece in pieces if piece.order == alkali.value}.values())
    how = alkali, pieces, size_mm, seed
    found = [_patch(Unmixer(dyes, recipe, light), *how) for recipe in recipes]
    return Previews(tuple(found), light, dyes.demo)


def _patch(
    unmixer: Unmixer, alkali: Alkali, pieces: Sequence[Levelness], size_mm: float, seed: int
) -> Preview:
    names = unmixer.dyes.names
    known = [(p.name, p.mottle) for p in pieces if p.mottle and {*p.mottle.names} & {*names}]
    mottle, together = Mottle.normal(names, *ILLUSTRATIVE[alkali]), False
    source = "Illustrative: no own piece of this order was analysed."
    if known:
        # How dyes stray together is known from pieces of just these dyes; else each does by itself.
        whole = [each for each in known if {*each[1].names} == {*names}]
        known, together = whole or known, bool(whole)
        mottle = _joined(names, [held for _, held in known], mottle, together)
        source = f"From your {', '.join(name for name, _ in known)}."
        if strange := {*names}.difference(*(held.names for _, held in known)):
            source += f" Illustrative for {', '.join(sorted(strange))}."
    side = round(size_mm / BLOCK_MM)
    relative, within = _field(mottle, together, side, seed)
    shown = responses = _seen(unmixer, relative, within)
    if unmixer.light != D65_2:
        shown = _seen(Unmixer(unmixer.dyes, unmixer.recipe), relative, within)
    patch = Blocks(BLOCK_MM, np.ones((side, side), dtype=bool), relative, responses, within)
    return Preview(
        unmixer.recipe, alkali.value, source, not known,
        tuple(patch.figures(unmixer, np.full(6, np.nan))), patch.palette(unmixer, shown),
        (relative * unmixer.dose).reshape(side, side, -1), shown.reshape(side, side, 3),
    )  # fmt: skip


def _joined(
    names: Sequence[str], pieces: Sequence[Mottle], other: Mottle, together: bool
) -> Mottle:
    """Of these dyes, each from the pieces that hold it, and from `other` where none does.

    Means by rank are those of the pieces on average. Where dyes do not stray `together`, the blocks
    of each are sorted by themselves.
    """
    joined, (ranks, strays, _) = [], other.amounts.shape
    for name in names:
        found = np.array([
            [x[middles(ranks, len(x)), :, p.names.index(name)] for x in (p.amounts, p.within)]
            for p in [p for p in pieces if name in p.names] or [other]
        ])  # fmt: skip
        own = found[:, 0].mean(axis=-1, keepdims=True)
        found[:, 0] *= own.mean(axis=0) / np.maximum(own, 1e-9)
        blocks = found.transpose(2, 1, 3, 0).reshape(ranks, 2, -1)
        if not together:
            order = np.argsort(blocks[:, :1], axis=2)[..., middles(strays, blocks.shape[2])]
            blocks = np.take_along_axis(blocks, order, axis=2)
        joined.append(blocks)
    amounts, within = np.moveaxis(np.stack(joined, axis=-1), 1, 0)
    return Mottle(tuple(names), amounts, within, float(np.mean([p.scale_mm for p in pieces])))


def _field(mottle: Mottle, together: bool, side: int, seed: int) -> tuple[Array, Array]:
    """Amounts over the dose ``(N, k)`` of the blocks of a square patch, drawn afresh for a seed,
    and the variation of each inside them ``(N, k)``.

    Depth is a Gaussian field whose ranks are even, so that it holds every depth as often as the
    piece did. How a block strays from the mean of its rank, each dye by itself or all `together`,
    goes by the ranks of further fields, even at every depth.
    """
    from scipy.ndimage import gaussian_filter

    rng, (ranks, strays, dyes) = np.random.default_rng(seed), mottle.amounts.shape
    # exp(−h²/4σ²) = ½ at the half range h.
    sigma = mottle.scale_mm / BLOCK_MM / (2.0 * np.sqrt(np.log(2.0)))

    def drawn(groups: Indices) -> Array:
        """Even ranks within each group of a field of its own ``(N,)``."""
        field = gaussian_filter(rng.standard_normal((side, side)), sigma, mode="wrap").ravel()
        order, counts = np.lexsort((field, groups)), np.bincount(groups)
        first = (counts.cumsum() - counts)[groups]
        return np.asarray((np.argsort(order) - first + 0.5) / counts[groups])

    rank = drawn(np.zeros(side * side, dtype=np.intp))
    part = (rank * ranks).astype(np.intp)
    alike = (rank * max(1, min(ranks, side * side // 36))).astype(np.intp)
    depths = mottle.amounts.mean(axis=2 if together else (1, 2))
    if together:
        coarse = COARSE if dyes > 2 else 1
        group = (drawn(alike) * coarse).astype(np.intp)
        at = (group + drawn(alike * coarse + group)) / coarse
        which = np.repeat(at[:, np.newaxis], dyes, axis=1)
    else:
        which = np.stack([drawn(alike) for _ in mottle.names], axis=1)
    index = part[:, np.newaxis], (which * strays).astype(np.intp), np.arange(dyes)
    amounts, within = mottle.amounts[index], mottle.within[index]
    depth = np.interp(rank * depths.size - 0.5, np.arange(depths.size), np.sort(depths, axis=None))
    return amounts * (depth / np.maximum(amounts.mean(axis=1), 1e-9))[:, np.newaxis], within


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
