"""Give samples of an instrument's file their recipes: from a table of names, or from the names.

An instrument knows samples by name. A name becomes a recipe only when the dyer says so, in a
``names.csv``, or when it reads as one (`marigold 0.5 %`, `gold 2`, `undyed`); `scan 7` does not.
"""

from __future__ import annotations

import os
import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.errors import RecipeError
from dyemix.files.headings import CONDITIONS
from dyemix.files.rows import Context, Draft, named_recipe
from dyemix.files.small_tables import Column, read_table

#: Words that number samples: 'sample 7' is no dye called sample.
_NUMBERING = frozenset(
    re.split(
        r"\s+",
        "sample scan reading read swatch patch measurement meas measure spot no nr num number "
        "target standard std trial batch color colour piece square test spectrum object page row "
        "column untitled id new copy average avg mean date time",
    )
)
_PIECE = re.compile(r"(.+?)\s*\(([^()]{1,40})\)")


@dataclass(frozen=True)
class Naming:
    """Where recipes came from.

    Attributes
    ----------
    given : samples named by the table of names, with their recipes.
    parsed : samples whose own name was read as a recipe.
    notes : what of the table of names fitted nothing, and names that look like numbering.
    """

    given: tuple[tuple[str, Recipe], ...] = ()
    parsed: tuple[tuple[str, Recipe], ...] = ()
    notes: tuple[str, ...] = ()

    def __str__(self) -> str:
        lines = []
        for what, pairs in (("the table of names", self.given), ("their own names", self.parsed)):
            if pairs:
                few = "; ".join(f"{name!r} is {recipe}" for name, recipe in pairs[:6])
                more = f"; and {len(pairs) - 6} more" if pairs[6:] else ""
                lines.append(f"Recipes from {what}, {len(pairs)} in all: {few}{more}.")
        return "\n".join([*lines, *self.notes])


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
    words = {word for dye in recipe for word in dye.split()}
    numbered = not words.isdisjoint(_NUMBERING) or any(len(dye) < 2 for dye in recipe)
    return None if numbered and "%" not in text else (recipe, piece)


def _runs(found: Iterable[tuple[str, Recipe]]) -> set[str]:
    """Names such as 'leaf 1' to 'leaf 4': one after the other, so that they number samples."""
    runs: dict[str, dict[float, str]] = defaultdict(dict)
    for name, recipe in found:
        if len(recipe) == 1 and "%" not in name:
            ((dye, amount),) = recipe.items()
            runs[dye][amount] = name
    counted: set[str] = set()
    for amounts in runs.values():
        if len(amounts) > 3 and sorted(amounts) == list(range(1, len(amounts) + 1)):
            counted |= set(amounts.values())
    return counted


def _tidy(name: str) -> str:
    return " ".join(name.split()).casefold()


@dataclass(frozen=True, eq=False)
class Named:
    """What a row of a table of names says of a sample, or of a cell of a photograph.

    `recipe` is None where the row leaves it open; `conditions` are those of its columns and of the
    ``# key: value`` lines, `flags` what is doubtful about the recipe.
    """

    row: int
    name: str
    recipe: Recipe | None
    swatch: str = ""
    conditions: Mapping[str, str] = field(default_factory=dict)
    flags: tuple[str, ...] = ()


def read_names(
    path: str | os.PathLike[str], notes: list[str], key: str = "sample"
) -> tuple[Named, ...]:
    """Read a table of names: columns ``sample`` (or `key`), ``recipe`` and perhaps ``swatch``.

    Conditions stand in columns or in ``# key: value`` lines, as in any swatch table. What was
    assumed or not used is added to `notes`. Raises `InputError` with every fault.
    """
    first = Column(key, needed=True, also=("name",) if key == "sample" else ())
    columns = (
        first,
        Column("recipe", needed=True, blank=True),
        Column("swatch"),
        *map(Column, CONDITIONS),
    )
    table = read_table(path, columns, others=True)
    notes += table.notes
    context = Context(table.remarks, table.faults, notes)
    named: dict[str, Named] = {}
    for row, values in table.rows:
        draft = Draft(row, {**values, "name": values[key]})
        named_recipe(draft, context)
        if draft.recipe is None and "swatch" not in values:
            continue  # left as it is; a recipe that cannot be read is a fault by now
        one = Named(
            row, values[key], draft.recipe, values.get("swatch", ""), draft.conditions,
            tuple(draft.flags),
        )  # fmt: skip
        before = named.setdefault(_tidy(one.name), one)
        if (before.recipe, before.swatch) != (one.recipe, one.swatch):
            where = f"{one.name!r} stands in row {before.row} with another recipe or swatch."
            table.faults.add(where, row, key)
    table.faults.raise_any()
    return tuple(named.values())


def name_samples(
    swatches: SwatchSet, names: str | os.PathLike[str] | None = None
) -> tuple[SwatchSet, Naming]:
    """Give every unnamed sample its recipe, and say where each came from.

    The table of names goes before everything else; then the recipe of the file; then the name of
    the sample, where it reads as one. Raises `InputError` for a table of names with faults.
    """
    notes: list[str] = []
    told = read_names(names, notes) if names is not None else ()
    table = {_tidy(named.name): named for named in told if named.recipe is not None}
    found: dict[str, tuple[Recipe, str]] = {}
    for reading in swatches.readings:
        unnamed = reading.recipe is None and _tidy(reading.name) not in table
        if unnamed and (read := recipe_in(reading.name)) is not None:
            found[reading.name] = read
    numbered = _runs((name, recipe) for name, (recipe, _) in found.items())
    parsed = {name: pair for name, pair in found.items() if name not in numbered}
    used: set[str] = set()
    given: dict[str, Recipe] = {}
    changed: list[str] = []
    readings: list[Reading] = []
    for reading in swatches.readings:
        key = _tidy(reading.name)
        if reading.name and key in table:
            used.add(key)
            recipe, swatch = table[key].recipe, table[key].swatch
            assert recipe is not None
            given[reading.name] = recipe
            if reading.recipe not in (None, recipe):
                changed.append(reading.name)
            # Samples of different names are different pieces, whatever their recipe.
            piece = swatch or reading.swatch or reading.name
            readings.append(replace(reading, recipe=recipe, swatch=piece))
        elif reading.recipe is None and reading.name in parsed:
            recipe, piece = parsed[reading.name]
            readings.append(replace(reading, recipe=recipe, swatch=reading.swatch or piece))
        else:
            readings.append(reading)
    notes += [
        f"row {named.row} of the table of names: no sample of the file is called {named.name!r}."
        for key, named in table.items()
        if key not in used
    ]
    if changed:
        notes.append(f"the table of names replaced the file's own recipe of {_few(changed)}.")
    if numbered:
        notes.append(f"{_few(sorted(numbered))} look numbered, not dyed: name them.")
    naming = Naming(
        tuple(given.items()),
        tuple((name, recipe) for name, (recipe, _) in parsed.items()),
        tuple(notes),
    )
    return replace(swatches, readings=tuple(readings)), naming


def _few(names: list[str]) -> str:
    names = list(dict.fromkeys(names))
    return ", ".join(map(repr, names[:5])) + (f" and {len(names) - 5} more" if names[5:] else "")
