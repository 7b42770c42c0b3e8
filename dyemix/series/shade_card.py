"""Shade cards: blends of two or three dyes in even parts, predicted, to pin real swatches by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import Light
from dyemix.dataset.recipe import Recipe, dye_name
from dyemix.dataset.swatches import DEMO_WARNING
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet, Prediction

if TYPE_CHECKING:
    import pandas as pd

#: More blends than this are a book, not a card.
_MOST = 500
_PARTS = {4: "quarters", 10: "tenths"}


class CardKind(Enum):
    """How the blends of a card are laid out."""

    STRIP = "pair strip"
    TRIANGLE = "three-dye triangle"
    GRID = "depth by blend grid"


@dataclass(frozen=True, eq=False)
class Cell:
    """One blend of a card: its number, where it stands (from 0), and its prediction."""

    number: int
    row: int
    column: int
    prediction: Prediction

    @property
    def recipe(self) -> Recipe:
        return self.prediction.recipe


@dataclass(frozen=True, eq=False)
class ShadeCard:
    """Predicted blends of two or three dyes.

    Attributes
    ----------
    kind : how it is laid out: one row, a triangle whose first dye stands at the top, or a row a
        depth.
    names : the dyes.
    depths : % owf in all, one a row of a grid, else one.
    parts : into how many parts a blend is divided.
    cells : row by row.
    """

    kind: CardKind
    names: tuple[str, ...]
    depths: tuple[float, ...]
    parts: int
    cells: tuple[Cell, ...]
    light: Light
    cloth: str = ""
    demo: bool = False

    def __len__(self) -> int:
        return len(self.cells)

    @property
    def title(self) -> str:
        depth = ", ".join(f"{d:g}" for d in self.depths)
        where = f" on {self.cloth}" if self.cloth else ""
        return (
            f"{', '.join(self.names)}{where}: {self.kind.value} in "
            f"{_PARTS.get(self.parts, f'{self.parts} parts')}, {depth} % owf in all, "
            f"{len(self)} blends"
        )

    @property
    def warnings(self) -> tuple[str, ...]:
        """How many blends leave the range of the swatches."""
        odd = [str(cell.number) for cell in self.cells if cell.prediction.warnings]
        if not odd:
            return ()
        return (
            f"Outside the range of your squares (a dye paler than its palest or deeper than its "
            f"deepest): no. {', '.join(odd)}.",
        )

    def to_frame(self) -> pd.DataFrame:
        """One row a blend: number, row, column, recipe, owf, L*, a*, b*, light, hex, warnings."""
        import pandas as pd

        return pd.DataFrame(
            {
                "number": cell.number,
                "row": cell.row,
                "column": cell.column,
                "recipe": str(cell.recipe),
                "total_owf": cell.recipe.total,
                "L*": cell.prediction.lab[0],
                "a*": cell.prediction.lab[1],
                "b*": cell.prediction.lab[2],
                "light": str(self.light),
                "hex": cell.prediction.hex,
                "warnings": "; ".join(cell.prediction.warnings),
            }
            for cell in self.cells
        )

    def __str__(self) -> str:
        lines = [DEMO_WARNING] if self.demo else []
        width = max(len(str(cell.recipe)) for cell in self.cells)
        lines += [self.title, f"     {'% owf':<{width}}  hex        L*    a*    b* ({self.light})"]
        for cell in self.cells:
            colour = "{:5.1f} {:5.1f} {:5.1f}".format(*cell.prediction.lab)
            lines.append(
                f"{cell.number:>3}  {cell.recipe!s:<{width}}  {cell.prediction.hex}  {colour}"
            )
        return "\n".join([*lines, *self.warnings])


def shade_card(
    dyes: DyeSet,
    names: Sequence[str],
    depth: float = 1.0,
    *,
    depths: Sequence[float] = (),
    parts: int | None = None,
    light: Light | None = None,
) -> ShadeCard:
    """Predict every blend of two or three dyes in even parts.

    Parameters
    ----------
    names : two dyes for a strip, three for a triangle (66 blends in tenths).
    depth : % owf in all.
    depths : two dyes at several depths make a grid, a row a depth.
    parts : into how many parts blends are divided: tenths, and quarters in a grid, by default.

    Raises `RecipeError` for a dye the shelf does not have, `DyemixError` for a bad limit.
    """
    chosen = tuple(dye_name(name) for name in names)
    for name in chosen:
        dyes.index(name)
    if len(set(chosen)) != len(chosen) or not 2 <= len(chosen) <= 3:
        raise DyemixError(f"a card takes two or three different dyes, not {', '.join(names)}.")
    if depths and len(chosen) != 2:
        raise DyemixError("a card by depth takes two dyes: three make a triangle at one depth.")
    levels = tuple(float(d) for d in depths) or (float(depth),)
    if not all(0.0 < level < 100.0 for level in levels):
        raise DyemixError("depths are % owf, above 0.")
    parts = parts or (4 if depths else 10)
    if not 1 <= parts <= 100:
        raise DyemixError("parts are 1 to 100.")
    kind = CardKind.GRID if depths else CardKind.STRIP if len(chosen) == 2 else CardKind.TRIANGLE
    places, shares = _layout(kind, levels, parts)
    if len(shares) > _MOST:
        raise DyemixError(f"{len(shares)} blends are more than a card holds ({_MOST}).")
    light = light or dyes.light
    cells = tuple(
        Cell(i, row, column, dyes.predict(Recipe(dict(zip(chosen, share, strict=True))), light))
        for i, ((row, column), share) in enumerate(zip(places, shares, strict=True), 1)
    )
    cloth = (dyes.conditions or {}).get("cloth", "")
    return ShadeCard(kind, chosen, levels, parts, cells, light, cloth, dyes.demo)


def parse_depths(text: str) -> tuple[float, ...]:
    """Depths as people write them: ``0.5, 1, 2``. Raises `DyemixError`."""
    try:
        return tuple(float(word) for word in text.replace(",", " ").split())
    except ValueError:
        raise DyemixError(f"{text!r} is not a list of depths: write '0.5, 1, 2' (% owf).") from None


def _layout(
    kind: CardKind, depths: tuple[float, ...], parts: int
) -> tuple[list[tuple[int, int]], Array]:
    """Where each blend stands, and its amounts ``(N, 2 or 3)`` in % owf."""
    whole = range(parts + 1)
    if kind is CardKind.TRIANGLE:
        places = [(row, column) for row in whole for column in range(row + 1)]
        counts = np.array([(parts - row, row - column, column) for row, column in places])
        return places, depths[0] * counts / parts
    places = [(row, column) for row in range(len(depths)) for column in whole]
    counts = np.array([(parts - column, column) for _, column in places])
    rows = np.array([depths[row] for row, _ in places])
    return places, rows[:, np.newaxis] * counts / parts
