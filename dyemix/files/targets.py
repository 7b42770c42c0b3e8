"""Wanted colours and finished pieces, from what the dyer types or the files she names."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from dyemix.colour.colorimetry import Light
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, Swatch
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError, Fault, InputError, said
from dyemix.files import read_swatches
from dyemix.files.cells import read_text
from dyemix.files.small_tables import Column, read_table

#: A list of colours: the first of these that a row fills is its colour.
_COLOUR, _HEX, _LAB = "colour", "hex", "L*"
_COLUMNS = (
    Column(_COLOUR, also=("color", "target")),
    *map(Column, (_HEX, _LAB, "a*", "b*", "name", "illuminant")),
)
_FILE_NAME = re.compile(r".*\.\w*[A-Za-z]\w*")


def read_targets(path: str | os.PathLike[str]) -> list[Target]:
    """Read wanted colours, one a row.

    Columns: ``colour`` (a hex code, or ``L* a* b*`` with or without its light), or ``hex``, or
    ``L*``, ``a*`` and ``b*``; ``name`` and ``light`` (as D65/10) may stand beside them. A file
    without headings holds one colour a line. Raises `InputError` with every fault of the file.
    """
    text, faults = read_text(path)
    lines = [(i, line.strip()) for i, line in enumerate(text.splitlines(), 1) if line.strip()]
    rows: list[tuple[int, dict[str, str]]] = [(i, {_COLOUR: line}) for i, line in lines]
    try:
        Target.parse(lines[0][1])  # no headings; a hex code is not a '#' remark here
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


def read_colours(
    words: Sequence[str], file: str | os.PathLike[str] | None = None
) -> tuple[Target, ...]:
    """Colours as typed, then those of a list that `read_targets` reads.

    Raises `TargetError` and `InputError` for what is not a colour, `DyemixError` for none at all.
    """
    targets = [*map(Target.parse, words), *([] if file is None else read_targets(file))]
    if not targets:
        raise DyemixError(said("tables.no_colour"))
    return tuple(targets)


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
    for some in (readings, meant):
        if len({(r.recipe, r.swatch, r.name) for r in some}) == 1:
            return _mean(some)
    many = len({(r.recipe, r.swatch, r.name) for r in meant or readings})
    which = f" of {recipe}" if recipe is not None else ""
    message = said("tables.pieces", count=many, which=which)
    raise InputError(Fault(message, Path(words).name))


def _mean(readings: Sequence[Reading]) -> Reading:
    """The mean of readings of one piece; of CIELAB too, where that is what was read."""
    first = readings[0]
    if len(readings) == 1:
        return first
    piece = Swatch.of(first.recipe or Recipe(), tuple(readings))
    rough = next((r for r in readings if r.rough), None)
    light = None if rough is None else rough.light or Light()
    return replace(
        rough or first,
        reflectance=piece.reflectance,
        lab=None if light is None else piece.colour(light),
        light=light,
        covariance=None,
        warnings=tuple(dict.fromkeys(flag for r in readings for flag in r.warnings)),
    )
