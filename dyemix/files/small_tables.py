"""The one reader of small tables: jobs, bottles, samples, lists of colours.

A table says which columns it may have and how a cell of each is read; the faults of all rows come
back together, each with its file, row and column::

    JOBS = (
        Column("recipe", needed=True),
        Column("cloth_g", grams, needed=True),
        Column("pieces", whole, also=("how many",)),
    )
    table = read_table("jobs.csv", JOBS)
    for row, values in table.rows:              # {"recipe": "gold 2", "cloth_g": 240.0}
        if values["cloth_g"] > 10_000:
            table.faults.add("this is more than a bath holds.", row, "cloth_g")
    table.faults.raise_any()

An instrument knows samples by name. A name becomes a recipe only when the dyer says so, in a
``names.csv``, or when it reads as one (`marigold 0.5 %`, `gold 2`, `undyed`); `scan 7` does not.

Wanted colours and finished pieces come from what the dyer types or the files she names.
"""

import math
import os
import re
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

from dyemix.colour.colorimetry import Light
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, Swatch, SwatchSet
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError, Fault, InputError, RecipeError, data, said
from dyemix.files import cells as sheets
from dyemix.files import read_swatches
from dyemix.files.cells import Faults, few, read_text
from dyemix.files.rows import Rows
from dyemix.writing import Named


def number(text: str) -> float:
    """A finite number; a comma counts as a decimal point. Raises `DyemixError`."""
    with suppress(ValueError):
        if math.isfinite(value := float(text.replace(",", "."))):
            return value
    raise DyemixError(said("tables.no_number", text=text[:40]))


class Column(NamedTuple):
    """A column that a table may have.

    Attributes
    ----------
    name : its heading, and the key of its values. Case, ``_`` and ``-`` do not matter in a file.
    read : how a cell that is not blank is read; raises `DyemixError` for what it cannot be.
    needed : whether the table must have it, with a value in every row.
    blank : whether rows may leave it blank where it is needed.
    also : other headings for it, beyond those that swatch tables take for this name.
    """

    name: str
    read: Callable[[str], Any] = str
    needed: bool = False
    blank: bool = False
    also: tuple[str, ...] = ()


class Table(NamedTuple):
    """A table that was read. `rows` are those without a fault: row of the file, values by column.

    A blank cell has no value. `remarks` are the ``#`` lines above the headings; `faults` takes what
    the caller finds, to raise all together, its `notes` tell what was guessed or not used.
    """

    faults: Faults
    rows: list[tuple[int, dict[str, Any]]]
    remarks: list[tuple[int, str]]


def read_table(path: Named, columns: Sequence[Column], *, others: bool = False) -> Table:
    """Read a comma-, semicolon- or tab-separated table.

    `others` lets it have columns that are not listed, which are noted and not used;
    without it they are faults. Raises `InputError` for a file that cannot be read, and for headings
    that do not serve; what is wrong with rows is left in `faults`.
    """
    text, faults = read_text(path)
    sheet = sheets.cleaned(sheets.read_sheet(text, faults), faults)
    called = {sheets.spelling(name): c.name for c in columns for name in (c.name, *c.also)}

    def name_of(heading: str) -> str:
        spelt = map(sheets.spelling, (sheets.meaning(heading), heading))
        return next((called[name] for name in spelt if name in called), heading)

    places = sheets.placed(sheet, name_of, faults)
    known = {column.name: column.needed for column in columns}
    needed, more = ([name for name in known if known[name] is is_so] for is_so in (True, False))
    unused = [name for name in places if name not in known]
    missing = [name for name in needed if name not in places]
    wrong = {"missing": missing, "unknown": [] if others else unused}
    told = "; ".join(f"{which}: {few(names, 4)}" for which, names in wrong.items() if names)
    words = {"wrong": told, "needed": ", ".join(needed), "more": few(more, 8)}
    faults.refuse(told, "headings", sheet.header_row, **words)
    faults.tell("no_rows", when=not sheet.numbers and not len(faults))
    faults.note("unused", when=unused, columns=", ".join(map(repr, unused)))
    rows, there = [], [(column, places[column.name]) for column in columns if column.name in places]
    for row, cells in zip(sheet.numbers, sheet.rows, strict=True):
        before, values = len(faults), {}
        for column, at in there:
            try:
                if cells[at]:
                    values[column.name] = column.read(cells[at])
                elif column.needed and not column.blank:
                    faults.tell("blank", row, sheet.headings[at])
            except DyemixError as error:
                faults.add(str(error), row, sheet.headings[at])
        rows += [(row, values)] if len(faults) == before else []
    return Table(faults, rows, sheet.remarks)


# Names of samples -------------------------------------------------------------------------------


#: Words that number samples: 'sample 7' is no dye called sample.
_NUMBERING = set(data("headings")["numbering"])
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
    with suppress(RecipeError):
        recipe = Recipe.parse(text if len(text) <= 200 else "")
        words = [word for dye in recipe for word in dye.split()]
        numbered = any(word in _NUMBERING for word in words) or any(len(dye) < 2 for dye in recipe)
        return (recipe, piece) if "%" in text or not numbered else None
    return None


def _tidy(name: str) -> str:
    return sheets.tidy(name).casefold()


def read_names(path: Named, notes: list[str], key: str = "sample") -> dict[str, Reading]:
    """Read a table of names: columns ``sample`` (or `key`), ``recipe`` and perhaps ``swatch``.

    Gives blank readings by name, lower case: their recipe (None where the row leaves it open),
    swatch, conditions (of columns and of ``# key: value`` lines) and flags. What was assumed or not
    used is added to `notes`. Raises `InputError` with every fault.
    """
    names = Column(key, needed=True, also=("name",) if key == "sample" else ())
    recipe = Column("recipe", needed=True, blank=True)
    columns = (names, recipe, *map(Column, ("swatch", *sheets.CONDITIONS)))
    table = read_table(path, columns, others=True)
    notes += table.faults.notes
    cells = {c.name: [values.get(c.name, "") for _, values in table.rows] for c in columns}
    numbers, cells["name"] = [row for row, _ in table.rows], cells.pop(key)
    named: dict[str, Reading] = {}
    rows = Rows(table.remarks, numbers, table.faults)
    rows.fill(cells)
    for row, one in zip(numbers, rows.readings(), strict=True):
        if one.recipe is None and not one.swatch:
            continue  # left as it is; a recipe that cannot be read is a fault by now
        before = named.setdefault(_tidy(one.name), one)
        if (before.recipe, before.swatch) != (one.recipe, one.swatch):
            first = before.place.rpartition(", ")[2]
            table.faults.tell("named_twice", row, key, name=one.name, first=first)
    table.faults.raise_any()
    return named


def name_samples(
    swatches: SwatchSet, names: Named | None = None
) -> tuple[SwatchSet, tuple[str, ...]]:
    """Give every unnamed sample its recipe, and say in sentences where each came from.

    The table of names goes before everything else; then the recipe of the file; then the name of
    the sample, where it reads as one. Raises `InputError` for a table of names with faults.
    """
    notes: list[str] = []
    told = {} if names is None else read_names(names, notes)
    table = {key: row for key, row in told.items() if row.recipe is not None}
    bare = (r.name for r in swatches.readings if r.recipe is None and _tidy(r.name) not in table)
    own = {name: read for name in bare if (read := recipe_in(name)) is not None}
    given, replaced, readings = dict[str, Recipe](), dict[str, None](), list[Reading]()
    for reading in swatches.readings:
        row, name = table.get(_tidy(reading.name)), reading.name
        if row is not None and row.recipe is not None:
            given[name] = row.recipe
            replaced |= {name: None} if reading.recipe not in (None, row.recipe) else {}
            # Samples of different names are different pieces, whatever their recipe.
            piece = row.swatch or reading.swatch or name
            reading = replace(reading, recipe=row.recipe, swatch=piece)
        elif reading.recipe is None and name in own:
            recipe, piece = own[name]
            reading = replace(reading, recipe=recipe, swatch=reading.swatch or piece)
        readings.append(reading)
    met = {_tidy(name) for name in given}
    lost = [row for key, row in table.items() if key not in met]
    notes += [said("tables.no_sample", place=row.place, name=row.name) for row in lost]
    if replaced:
        notes.append(said("tables.replaced", names=few([*map(repr, replaced)], 5)))
    named = {name: recipe for name, (recipe, _) in own.items()}
    for what, pairs in (("their own names", named), ("the table of names", given)):
        if pairs:
            are = few([f"{name!r} is {recipe}" for name, recipe in pairs.items()], 6, "; ")
            notes.insert(0, said("tables.recipes_from", what=what, count=len(pairs), names=are))
    return replace(swatches, readings=tuple(readings)), tuple(notes)


# Wanted colours and finished pieces -------------------------------------------------------------

#: A list of colours: the first of these that a row fills is its colour.
_COLOUR, _HEX, _LAB = "colour", "hex", "L*"
_COLUMNS = (
    Column(_COLOUR, also=("color", "target")),
    *map(Column, (_HEX, _LAB, "a*", "b*", "name", "illuminant")),
)
_FILE_NAME = re.compile(r".*\.\w*[A-Za-z]\w*")


def read_targets(path: Named) -> list[Target]:
    """Read wanted colours, one a row.

    Columns: ``colour`` (a hex code, or ``L* a* b*`` with or without its light), or ``hex``, or
    ``L*``, ``a*`` and ``b*``; ``name`` and ``light`` (as D65/10) may stand beside them. A file
    without headings holds one colour a line. Raises `InputError` with every fault of the file.
    """
    text, faults = read_text(path)
    lines = enumerate(map(str.strip, text.splitlines()), 1)
    rows: list[tuple[int, dict[str, str]]] = [(i, {_COLOUR: line}) for i, line in lines if line]
    try:
        Target.parse([*text.strip().splitlines(), ""][0])  # no headings: '#' is no remark here
    except DyemixError:
        table = read_table(path, _COLUMNS, others=True)
        rows, faults = table.rows, table.faults
    targets = []
    for row, values in rows:
        column = next((name for name in (_COLOUR, _HEX, _LAB) if name in values), _COLOUR)
        given = [values.get(axis, "").replace(",", ".") for axis in (_LAB, "a*", "b*")]
        words = given if column == _LAB else [values.get(column, "")]
        try:
            target = Target.parse(" ".join([*words, values.get("illuminant", "")]).strip())
            targets.append(replace(target, name=values.get("name", target.name)))
        except DyemixError as error:
            faults.add(str(error), row, column)
    faults.raise_any()
    return targets


def typed_piece(words: str, light: Light, recipe: Recipe | None = None) -> Reading:
    """The reading of a piece that is told as a hex code or L* a* b*; no file is opened.

    `light` is that of an L* a* b* that does not name its own. Raises `TargetError` for what is not
    a colour.
    """
    target = Target.parse(words).under(light)
    if target.kind == "hex":
        return Reading.from_hex(words, recipe, name=words)
    return Reading.from_lab(target.lab, target.light or light, recipe, name=words)


def read_piece(words: str, light: Light, recipe: Recipe | None = None) -> Reading:
    """The reading of one finished piece: for every command and option that takes a piece.

    Parameters
    ----------
    words : the name of a file that `read_swatches` reads, or a hex code, or L* a* b*.
    light : the light of an L* a* b* that does not name its own.
    recipe : which piece is meant, where the file holds several.

    Several readings of the piece are averaged as those of a swatch are. A hex code or L* a* b*
    gets the smoothest spectrum with that colour: rough. Raises `InputError` for a file that holds
    no reading, or several pieces and none of this recipe; `TargetError` for what is not a colour.
    """
    if not _FILE_NAME.fullmatch(words) and not os.path.isfile(words):  # noqa: PTH113  (any words)
        return typed_piece(words, light, recipe)
    readings = [r for r in read_swatches(words).readings if r.reflectance is not None]
    meant = [r for r in readings if recipe is not None and r.recipe == recipe]
    for some in (readings, meant or readings):
        many = len({(r.recipe, r.swatch, r.name) for r in some})
        if many == 1:
            return _mean(some)
    which = f" of {recipe}" if recipe is not None else ""
    message = said("tables.pieces", count=many, which=which)
    raise InputError(Fault(message, Path(words).name))


def _mean(readings: Sequence[Reading]) -> Reading:
    """The mean of readings of one piece; of CIELAB too, where that is what was read."""
    first = readings[0]
    if len(readings) == 1:
        return first
    piece = Swatch.of(first.recipe or Recipe(), tuple(readings))
    one = next((reading for reading in readings if reading.rough), first)
    warnings = tuple(dict.fromkeys(flag for r in readings for flag in r.warnings))
    lab = piece.colour(one.light) if one.light else None
    spectrum = piece.reflectance
    return replace(one, reflectance=spectrum, lab=lab, covariance=None, warnings=warnings)
