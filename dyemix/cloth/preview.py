"""How a mix may part into its dyes: a simulated patch of cloth, its palette and figures.

Estimated from the dyer's own analysed pieces of that order of the alkali, where there are some with
these dyes; else from illustrative figures, and then it says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

from dyemix.arrays import Array
from dyemix.cloth.amounts import Unmixer
from dyemix.cloth.figures import BLOCK_MM, MAIN, Shade, main_figures, palette, palette_text, path
from dyemix.cloth.levelness import Levelness
from dyemix.cloth.mottle import Mottle, seen
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.result import DEMO_WARNING, Row, Several
from dyemix.dataset.serialise import as_json
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet

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
    figures : ``undyed share`` and so on, as `Levelness` has them.
    palette : its shades, the largest first.
    amounts : ``(h, w, k)`` % owf, in blocks of 2 mm; `responses` ``(h, w, 3)`` what is seen of it.
    """

    recipe: Recipe
    order: str
    source: str
    illustrative: bool
    figures: Mapping[str, float]
    palette: tuple[Shade, ...]
    amounts: Array
    responses: Array

    @property
    def splitting(self) -> float:
        """Root mean square a*b* distance from the path of the recipe."""
        return self.figures["splitting"]

    def __str__(self) -> str:
        figures = ", ".join(f"{name} {value:.2f}" for name, value in self.figures.items())
        shades = palette_text(self.palette, list(self.recipe))
        lines = [f"{self.recipe}  (% owf), alkali: {self.order}. {self.source}", f"  {figures}"]
        return "\n".join([*lines, *(f"  {line}" for line in shades)])


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
        return [
            {"recipe": item.recipe, "alkali": item.order, "source": item.source, **item.figures}
            for item in self.items
        ]

    def to_json(self) -> str:
        """Recipes, figures and palettes, without the patches."""
        kept = ("recipe", "order", "source", "illustrative", "figures", "palette")
        return as_json([{name: getattr(item, name) for name in kept} for item in self.items])

    def __str__(self) -> str:
        lines = [DEMO_WARNING] if self.demo else []
        lines += [str(item) for item in self.items]
        if len(self) > 1:
            order = sorted(self.items, key=lambda item: item.splitting)
            told = "; ".join(f"{item.recipe} ({item.splitting:.1f})" for item in order)
            lines.append(f"From the quietest to the one that splits most: {told}.")
        lines.append("2 mm blocks, D65/2°. Simulated: dye a piece and judge that.")
        return "\n".join(lines)


def preview(
    dyes: DyeSet,
    *recipes: Mapping[str, float] | str,
    order: str = "with",
    pieces: Sequence[Levelness] = (),
    size_mm: float = _PATCH_MM,
    seed: int = 0,
) -> Previews:
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
    asked = [Recipe.parse(recipe) for recipe in recipes]
    found = [_patch(dyes, recipe, order, pieces, size_mm, seed) for recipe in asked]
    return Previews(tuple(found), dyes.demo)


def _patch(
    dyes: DyeSet, recipe: Recipe, order: str, pieces: Sequence[Levelness], size_mm: float, seed: int
) -> Preview:
    unmixer = Unmixer(dyes, recipe)
    names = unmixer.dyes.names
    used = [p for p in pieces if p.order == order and set(p.mottle.names) & set(names)]
    mottle = Mottle.illustrative(names, order)
    source = "Illustrative: no own piece of this order was analysed."
    if used:
        mottle = Mottle.joined(names, [p.mottle for p in used], mottle)
        source = f"From your {', '.join(p.name for p in used)}."
        if strange := set(names) - {n for p in used for n in p.mottle.names}:
            source += f" Illustrative for {', '.join(sorted(strange))}."
    side = max(10, round(size_mm / BLOCK_MM))
    relative, within = mottle.field((side, side), BLOCK_MM, seed)
    responses = seen(unmixer, relative, within)
    values = main_figures(relative, responses, path(unmixer)[1])
    return Preview(
        recipe, order, source, not used,
        {name: float(value) for (name, _), value in zip(MAIN, values, strict=True)},
        palette(relative, responses), (relative * unmixer.dose).reshape(side, side, -1),
        responses.reshape(side, side, 3),
    )  # fmt: skip
