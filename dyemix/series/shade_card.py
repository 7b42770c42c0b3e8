"""Shade cards: blends of two or three dyes in even parts, predicted, to pin real swatches by."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from dyemix.colour.colorimetry import Light
from dyemix.dataset.recipe import Recipe, dye_names
from dyemix.dataset.result import DEMO_WARNING, Result, Row, Value
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet, Prediction

#: More blends than this are a book, not a card.
_MOST = 500
_PARTS = {4: "quarters", 10: "tenths"}


@dataclass(frozen=True, eq=False)
class Blend(Value):
    """One blend of a card: its name, where it stands (from 0), and its prediction."""

    name: str
    row: int
    column: int
    prediction: Prediction

    @property
    def recipe(self) -> Recipe:
        return self.prediction.recipe


@dataclass(frozen=True, eq=False)
class ShadeCard(Result):
    """Predicted blends of two or three dyes.

    Attributes
    ----------
    names : the dyes. Two make a row for every depth; three make a triangle, the first at the top.
    depths : % owf in all, one a row; of a triangle one.
    parts : into how many parts a blend is divided.
    blends : row by row.
    """

    names: tuple[str, ...]
    depths: tuple[float, ...]
    parts: int
    blends: tuple[Blend, ...]
    cloth: str = ""
    demo: bool = False

    @property
    def title(self) -> str:
        grid = "pair strip" if len(self.depths) == 1 else "depth by blend grid"
        kind = "three-dye triangle" if len(self.names) == 3 else grid
        parts = _PARTS.get(self.parts, f"{self.parts} parts")
        return (
            f"{', '.join(self.names)}{f' on {self.cloth}' if self.cloth else ''}: {kind} in "
            f"{parts}, {', '.join(f'{d:g}' for d in self.depths)} % owf in all, "
            f"{len(self.blends)} blends"
        )

    @property
    def warnings(self) -> tuple[str, ...]:
        """Which blends leave the range of the swatches."""
        odd = ", ".join(blend.name for blend in self.blends if blend.prediction.warnings)
        told = "Outside the range of your squares (a dye paler than its palest or deeper than its "
        return (f"{told}deepest): {odd}.",) if odd else ()

    def _rows(self) -> Iterable[Row]:
        """One row a blend: name, row, column, recipe and colour."""
        for b in self.blends:
            yield {"name": b.name, "row": b.row, "column": b.column, **b.prediction.row}

    def __str__(self) -> str:
        lines = [DEMO_WARNING] if self.demo else []
        width, light = max(len(str(b.recipe)) for b in self.blends), self.blends[0].prediction.light
        lines += [self.title, f"     {'% owf':<{width}}  hex        L*    a*    b* ({light})"]
        for blend in self.blends:
            colour = "{:5.1f} {:5.1f} {:5.1f}".format(*blend.prediction.lab)
            colour = f"{blend.prediction.hex}  {colour}"
            lines.append(f"{blend.name:<4} {blend.recipe!s:<{width}}  {colour}")
        return "\n".join([*lines, *self.warnings])


def shade_card(
    dyes: DyeSet, names: Sequence[str] | str, depth: float | Sequence[float] | str = 1.0, *,
    parts: int | None = None, light: Light | str | None = None,
) -> ShadeCard:  # fmt: skip
    """Predict every blend of two or three dyes in even parts.

    Parameters
    ----------
    names : two dyes for a strip, three for a triangle (66 blends in tenths); or as people write
        them: ``lemon, navy``.
    depth : % owf in all; of two dyes several, as ``0.5, 1, 2``, make a row each.
    parts : into how many parts blends are divided: tenths, and quarters at several depths, by
        default.

    Raises `RecipeError` for a dye the shelf does not have, `DyemixError` for a bad limit.

    >>> card = shade_card(dyes, "lemon, navy", depth=1.0, parts=4)
    >>> [blend.name for blend in card.blends]
    ['A1', 'A2', 'A3', 'A4', 'A5']
    """
    chosen = dye_names(names)
    for name in chosen:
        dyes.index(name)
    if len(set(chosen)) != len(chosen) or not 2 <= len(chosen) <= 3:
        raise DyemixError(f"a card takes two or three different dyes, not {', '.join(chosen)}.")
    levels = _depths(depth)
    if len(levels) > 1 and len(chosen) == 3:
        raise DyemixError("a card by depth takes two dyes: three make a triangle at one depth.")
    n = parts or (4 if len(levels) > 1 else 10)
    if not 1 <= n <= 100:
        raise DyemixError("parts are 1 to 100.")
    places: list[tuple[int, int, float, tuple[int, ...]]]
    if len(chosen) == 3:
        places = [(r, c, levels[0], (n - r, r - c, c)) for r in range(n + 1) for c in range(r + 1)]
    else:
        places = [(r, c, d, (n - c, c)) for r, d in enumerate(levels) for c in range(n + 1)]
    if len(places) > _MOST:
        raise DyemixError(f"{len(places)} blends are more than a card holds ({_MOST}).")
    recipes = [
        Recipe({dye: depth * part / n for dye, part in zip(chosen, parts_of, strict=True)})
        for *_, depth, parts_of in places
    ]
    # A row's letters run from A to Z, then from AA.
    blends = [
        Blend(f"{'A' * (row // 26)}{chr(ord('A') + row % 26)}{column + 1}", row, column, found)
        for (row, column, *_), found in zip(places, dyes.predict(recipes, light), strict=True)
    ]
    cloth = (dyes.conditions or {}).get("cloth", "")
    return ShadeCard(chosen, levels, n, tuple(blends), cloth, dyes.demo)


def _depths(given: float | Sequence[float] | str) -> tuple[float, ...]:
    """Depths in % owf, as numbers or as people write them. Raises `DyemixError`."""
    words = given.replace(",", " ").split() if isinstance(given, str) else np.ravel(given)
    try:
        depths = tuple(float(word) for word in words)
    except ValueError:
        raise DyemixError(f"{given!r} is not a list of depths: write '0.5, 1, 2'.") from None
    if not depths or not all(0.0 < depth < 100.0 for depth in depths):
        raise DyemixError("depths are % owf, above 0.")
    return depths
