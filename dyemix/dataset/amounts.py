"""Amounts of dye in whatever form they come, as one array in the order of a shelf's dyes."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

from dyemix.arrays import Array, labels, numbers
from dyemix.dataset.recipe import Recipe, dye_name
from dyemix.errors import RecipeError

if TYPE_CHECKING:
    import pandas as pd

#: One recipe in % owf: as text, as amounts by dye, or as a series of numbers indexed by dye.
OneRecipe: TypeAlias = "str | Mapping[str, float] | pd.Series[float]"
#: Several: a frame with a column a dye, a column or a list of recipes, an array ``(N, D)``.
ManyRecipes: TypeAlias = (
    "pd.DataFrame | pd.Series[str] | list[str] | tuple[str, ...] | Sequence[Mapping[str, float]] | "
    "Sequence[Sequence[float]] | Array"
)


def is_one(given: Any) -> bool:
    """Whether this is one recipe and not several."""
    if hasattr(given, "to_numpy") and given.ndim == 1:
        return bool(given.dtype.kind in "iuf")
    return isinstance(given, str | Mapping)


def index_of(given: Any) -> Any:
    """The index of a frame or a column; None for what has none."""
    return getattr(given, "index", None) if hasattr(given, "to_numpy") else None


def place(dye: str, names: Sequence[str]) -> int:
    """Position of a dye on the shelf. Raises `RecipeError` that suggests the nearest name."""
    if dye in names:
        return names.index(dye)
    near = difflib.get_close_matches(dye, names, 1)
    hint = f"did you mean {near[0]}?" if near else f"the shelf has {', '.join(names)}."
    raise RecipeError(f"no swatch of {dye!r} on this shelf: {hint}")


def in_order(given: Any, names: Sequence[str]) -> tuple[Array, tuple[Recipe, ...], Any]:
    """Amounts ``(N, D)`` in % owf in the order of `names`; recipes as given; the index of rows.

    Raises `RecipeError` for a dye the shelf does not have, a frame with a column missing or too
    many, and for what is no amount.
    """
    recipes: tuple[Recipe, ...] = ()
    if hasattr(given, "columns"):
        values = _columns(given, names)
    elif isinstance(given, np.ndarray) and given.dtype.kind in "if":
        values = np.atleast_2d(given)
    else:
        rows = [given] if is_one(given) or not isinstance(given, Iterable) else list(given)
        if rows and not any(is_one(row) for row in rows):
            values = np.atleast_2d(numbers(rows))
        else:
            recipes = tuple(map(_recipe, rows))
            values = np.zeros((len(rows), len(names)))
            for row, recipe in zip(values, recipes, strict=True):
                for dye, amount in recipe.items():
                    row[place(dye, names)] = amount
    if values.ndim != 2 or values.shape[1] != len(names):
        raise RecipeError(f"amounts are {len(names)} columns of % owf, not {values.shape}.")
    if len(bad := np.flatnonzero(~np.all(values >= 0, axis=1))):
        raise RecipeError(f"amounts are % owf, 0 or more: row {bad[0]} (from 0) is not.")
    return np.asarray(values, dtype=float), recipes, None if is_one(given) else index_of(given)


def _recipe(given: Any) -> Recipe:
    if not is_one(given):
        raise RecipeError(f"{str(given)[:60]!r} is no recipe: write 'marigold 0.8 + navy 0.25'.")
    return Recipe.parse(given)


def _columns(table: pd.DataFrame, names: Sequence[str]) -> Array:
    """The columns of a frame in the order of `names`."""
    found = [dye_name(label) for label in labels(table)]
    wrong = {
        "missing": [name for name in names if name not in found],
        "not a dye here:": [name for name in found if name not in names],
        "twice": sorted({name for name in found if found.count(name) > 1}),
    }
    if faults := [f"{words} {', '.join(which)}" for words, which in wrong.items() if which]:
        raise RecipeError(
            f"a frame of amounts has one column for each dye of the shelf, here {'; '.join(faults)}"
            ". Give a dye that is not used a column of 0."
        )
    ordered = table.iloc[:, [found.index(name) for name in names]]
    return numbers(ordered.to_numpy())
