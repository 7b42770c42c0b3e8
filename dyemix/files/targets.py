"""Lists of wanted colours, read from delimited text."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from dyemix.dataset.target import Target
from dyemix.errors import DyemixError, Fault, InputError
from dyemix.files.cells import Faults, decode, read_sheet
from dyemix.files.headings import meaning

#: Headings of a column that holds a colour as it may be written in a command.
_COLOUR = ("colour", "color", "target")


def read_targets(path: str | os.PathLike[str]) -> list[Target]:
    """Read wanted colours, one a row.

    Columns: ``colour`` (a hex code, or ``L* a* b*`` with or without its light), or ``hex``, or
    ``L*``, ``a*`` and ``b*``; ``name`` and ``light`` (as D65/10) may stand beside them. A file
    without headings holds one colour a line. Raises `InputError` with every fault of the file.
    """
    path = Path(path)
    faults = Faults(path.name)
    try:
        text = decode(path.read_bytes())
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(Fault(f"the file cannot be read ({reason}).", str(path))) from None
    if text is None:
        raise InputError(Fault("this is not text: save the list as CSV (UTF-8).", path.name))
    lines = [(i, line.strip()) for i, line in enumerate(text[0].splitlines(), 1) if line.strip()]
    if lines and _is_colour(lines[0][1]):  # no headings; a hex code is not a '#' remark here
        columns = {"colour": 0}
        rows = [(i, [line]) for i, line in lines]
    else:
        sheet = read_sheet(text[0], faults)
        faults.raise_any()
        columns = {_plain(heading): i for i, heading in enumerate(sheet.headings)}
        rows = sheet.rows
        if not {"colour", "hex", "L*"} & columns.keys():
            faults.add("no column of colours: head one 'colour', 'hex' or L*, a*, b*.")
    faults.raise_any()
    targets = [_target(row, cells, columns, faults) for row, cells in rows]
    if not targets:
        faults.add("the list holds no colour.")
    faults.raise_any()
    return [target for target in targets if target is not None]


def _plain(heading: str) -> str:
    return "colour" if heading.strip().lower() in _COLOUR else meaning(heading)


def _is_colour(text: str) -> bool:
    try:
        Target.parse(text)
    except DyemixError:
        return False
    return True


def _target(
    row: int, cells: Sequence[str], columns: dict[str, int], faults: Faults
) -> Target | None:
    def cell(name: str) -> str:
        place = columns.get(name)
        return cells[place] if place is not None and place < len(cells) else ""

    column = next(name for name in ("colour", "hex", "L*") if name in columns)
    text = cell(column)
    if column == "L*":
        text = " ".join(cell(axis).replace(",", ".") for axis in ("L*", "a*", "b*"))
    try:
        parsed = Target.parse(f"{text} {cell('illuminant')}".strip())
    except DyemixError as error:
        faults.add(str(error), row, column)
        return None
    name = cell("name") or parsed.name
    return Target(parsed.lab, parsed.light, parsed.reflectance, name, parsed.kind)
