"""Give samples of an instrument's file their recipes: from a table of names, or from the names.

An instrument knows samples by name. A name becomes a recipe only when the dyer says so, in a
``names.csv``, or when it reads as one (`marigold 0.5 %`, `gold 2`, `undyed`); `scan 7` does not.
"""

from __future__ import annotations

import os
import re
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace

from dyemix.dataset.recipe import Recipe
from dyemix.dataset.result import said
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.errors import RecipeError
from dyemix.files.cells import CONDITIONS, few
from dyemix.files.rows import Context, Rows
from dyemix.files.small_tables import Column, read_table

#: Words that number samples: 'sample 7' is no dye called sample.
_NUMBERING = re.compile(
    "sample|scan|reading|read|swatch|patch|measurement|meas|measure|spot|no|nr|num|number|target|"
    "standard|std|trial|batch|color|colour|piece|square|test|spectrum|object|page|row|column|"
    "untitled|id|new|copy|average|avg|mean|date|time"
)
_PIECE = re.compile(r"(.+?)\s*\(([^()]{1,40})\)")


def recipe_in(name: str) -> tuple[Recipe, str] | None:
    """The recipe that a sample's name reads as, and the piece in brackets after it; or None.

    >>> recipe_in("gold_2 (b)")
    (Recipe({'gold': 2.0}), 'b')
    >>> recipe_in("scan 7") is None
    True
    """
    text, piece = name.replace("_", " ").strip(), ""
    if match := _PIECE.fullmatch(text):
        text, piece = match[1], match[2].strip()
    if len(text) > 200:
        return None
    try:
        recipe = Recipe.parse(text)
    except RecipeError:
        return None
    words = [word for dye in recipe for word in dye.split()]
    numbered = any(map(_NUMBERING.fullmatch, words)) or any(len(dye) < 2 for dye in recipe)
    return None if numbered and "%" not in text else (recipe, piece)


def _runs(found: Mapping[str, Recipe]) -> list[str]:
    """Names such as 'leaf 1' to 'leaf 4': one after the other, so that they number samples."""
    runs: dict[str, dict[float, str]] = defaultdict(dict)
    for name, recipe in found.items():
        if len(recipe) == 1 and "%" not in name:
            ((dye, amount),) = recipe.items()
            runs[dye][amount] = name
    long = [run for run in runs.values() if len(run) > 3]
    whole = [run for run in long if sorted(run) == list(range(1, len(run) + 1))]
    return sorted(name for run in whole for name in run.values())


def _tidy(name: str) -> str:
    return " ".join(name.split()).casefold()


def read_names(
    path: str | os.PathLike[str], notes: list[str], key: str = "sample"
) -> dict[str, Reading]:
    """Read a table of names: columns ``sample`` (or `key`), ``recipe`` and perhaps ``swatch``.

    Gives blank readings by name, lower case: their recipe (None where the row leaves it open),
    swatch, conditions (of columns and of ``# key: value`` lines) and flags. What was assumed or not
    used is added to `notes`. Raises `InputError` with every fault.
    """
    names = Column(key, needed=True, also=("name",) if key == "sample" else ())
    recipe = Column("recipe", needed=True, blank=True)
    columns = (names, recipe, *map(Column, ("swatch", *CONDITIONS)))
    table = read_table(path, columns, others=True)
    notes += table.notes
    cells = {c.name: [values.get(c.name, "") for _, values in table.rows] for c in columns}
    context, numbers = Context(table.remarks, table.faults), [row for row, _ in table.rows]
    named: dict[str, Reading] = {}
    blank = Rows(numbers, {**cells, "name": cells[key]}, {}, context).readings()
    for row, one in zip(numbers, blank, strict=True):
        if one.recipe is None and not one.swatch:
            continue  # left as it is; a recipe that cannot be read is a fault by now
        before = named.setdefault(_tidy(one.name), one)
        if (before.recipe, before.swatch) != (one.recipe, one.swatch):
            first = before.place.rpartition(", ")[2]
            table.faults.add(said("tables.named_twice", name=one.name, first=first), row, key)
    table.faults.raise_any()
    return named


def name_samples(
    swatches: SwatchSet, names: str | os.PathLike[str] | None = None
) -> tuple[SwatchSet, tuple[str, ...]]:
    """Give every unnamed sample its recipe, and say in sentences where each came from.

    The table of names goes before everything else; then the recipe of the file; then the name of
    the sample, where it reads as one. Raises `InputError` for a table of names with faults.
    """
    notes: list[str] = []
    told = read_names(names, notes) if names is not None else {}
    table = {key: row for key, row in told.items() if row.recipe is not None}
    found = {
        reading.name: read
        for reading in swatches.readings
        if reading.recipe is None and _tidy(reading.name) not in table
        if (read := recipe_in(reading.name)) is not None
    }
    numbered = _runs({name: recipe for name, (recipe, _) in found.items()})
    given: dict[str, Recipe] = {}
    replaced: list[str] = []
    readings: list[Reading] = []
    for reading in swatches.readings:
        row, name = table.get(_tidy(reading.name)), reading.name
        if row is not None and row.recipe is not None:
            given[name] = row.recipe
            replaced += [name] if reading.recipe not in (None, row.recipe) else []
            # Samples of different names are different pieces, whatever their recipe.
            piece = row.swatch or reading.swatch or name
            reading = replace(reading, recipe=row.recipe, swatch=piece)
        elif reading.recipe is None and name in found and name not in numbered:
            recipe, piece = found[name]
            reading = replace(reading, recipe=recipe, swatch=reading.swatch or piece)
        readings.append(reading)
    absent = table.keys() - {_tidy(name) for name in given}
    lost = [row for key, row in table.items() if key in absent]
    notes += [said("tables.no_sample", place=row.place, name=row.name) for row in lost]

    def shown(names: list[str]) -> str:
        return few([repr(name) for name in dict.fromkeys(names)], 5)

    if replaced:
        notes.append(said("tables.replaced", names=shown(replaced)))
    if numbered:
        notes.append(said("tables.numbered", names=shown(numbered)))
    parsed = [(name, recipe) for name, (recipe, _) in found.items() if name not in numbered]
    for what, pairs in (("their own names", parsed), ("the table of names", [*given.items()])):
        if pairs:
            named = few([f"{name!r} is {recipe}" for name, recipe in pairs], 6, "; ")
            notes.insert(0, said("tables.recipes_from", what=what, count=len(pairs), names=named))
    return replace(swatches, readings=tuple(readings)), tuple(notes)
