"""Give samples of an instrument's file their recipes: from a table of names, or from the names.

An instrument knows samples by name. A name becomes a recipe only when the dyer says so, in a
``names.csv``, or when it reads as one (`marigold 0.5 %`, `gold 2`, `undyed`); `scan 7` does not.
"""

from __future__ import annotations

import os
import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.errors import Fault, InputError, RecipeError
from dyemix.files.cells import Faults, decode, read_sheet
from dyemix.files.headings import meaning
from dyemix.files.rows import Context, Draft, named_recipe
from dyemix.files.table import header_values

#: No table of names is larger (bytes).
_LARGEST = 5_000_000
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


def read_names(path: str | os.PathLike[str]) -> dict[str, tuple[int, str, Recipe, str]]:
    """Read a table of names: columns ``sample``, ``recipe`` and, where it helps, ``swatch``.

    Returns, by sample in lower case: its row, its name as written, its recipe and its swatch.
    Raises `InputError` with every fault.
    """
    path = Path(path)
    faults = Faults(path.name)
    try:
        data = path.read_bytes() if path.stat().st_size <= _LARGEST else None
    except (OSError, ValueError) as error:
        raise InputError(Fault(f"the file cannot be read ({error}).", path.name)) from error
    text = decode(data) if data is not None else None
    if text is None:
        raise InputError(Fault("this is no table of names: save it as CSV (UTF-8).", path.name))
    sheet = read_sheet(text[0], faults)
    header, told = header_values(sheet, faults, [])
    place = {meaning(heading): i for i, heading in enumerate(sheet.headings)}
    for column, want in (("name", "sample"), ("recipe", "recipe")):
        if column not in place:
            faults.add(
                f"there is no {want} column: the table is headed 'sample,recipe', or "
                "'sample,recipe,swatch'.",
                sheet.header_row,
            )
    faults.raise_any()
    context = Context(header, told, faults)
    names: dict[str, tuple[int, str, Recipe, str]] = {}
    for row, cells in sheet.rows:
        values = {name: cells[i] if i < len(cells) else "" for name, i in place.items()}
        if not values["name"]:
            faults.add("a recipe without a sample: write the sample's name.", row, "sample")
            continue
        draft = Draft(row, values, {}, [])
        named_recipe(draft, context)
        key = _tidy(values["name"])
        if draft.recipe is None:
            continue  # a blank recipe leaves the sample as it is; a bad one is a fault by now
        if key in names and names[key][2] != draft.recipe:
            faults.add(
                f"{values['name']!r} stands in row {names[key][0]} with another recipe.", row
            )
        names[key] = (row, values["name"], draft.recipe, values.get("swatch", ""))
    faults.raise_any()
    return names


def name_samples(
    swatches: SwatchSet, names: str | os.PathLike[str] | None = None
) -> tuple[SwatchSet, Naming]:
    """Give every unnamed sample its recipe, and say where each came from.

    The table of names goes before everything else; then the recipe of the file; then the name of
    the sample, where it reads as one. Raises `InputError` for a table of names with faults.
    """
    table = read_names(names) if names is not None else {}
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
            _, _, recipe, swatch = table[key]
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
    notes = [
        f"row {row} of the table of names: no sample of the file is called {name!r}."
        for key, (row, name, _, _) in table.items()
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
