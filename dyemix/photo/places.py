"""Which part of a picture is which: the cells, the grey card, the patches, the bare paper.

Three ways to say it: the printed sheet (`find`), a small table of corners, or a grid with four
corners; and a table that says what was dyed in which cell.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from dyemix.arrays import Array
from dyemix.dataset.recipe import Recipe
from dyemix.errors import Fault, InputError
from dyemix.files.cells import Faults, Sheet, decode, read_sheet
from dyemix.files.headings import meaning
from dyemix.files.rows import Context, Draft, named_recipe
from dyemix.photo.layout import Layout, parts, quad

#: What a place can hold. A check is printed grey, a bar printed black; both only on the sheet.
ROLES = ("swatch", "grey", "patch", "white", "check", "bar")
_CORNERS = ("x1", "y1", "x2", "y2", "x3", "y3", "x4", "y4")
_PAPER = ("paper", "office paper", "white paper", "white")


@dataclass(frozen=True, eq=False)
class Place:
    """A quadrilateral of the picture: corners ``(4, 2)`` in pixels, clockwise from its top left."""

    label: str
    role: str
    quad: Array


@dataclass(frozen=True, eq=False)
class Frame:
    """All places of one picture, and how they were found.

    `layout` and `to_pixels` (sheet mm to pixels, ``(3, 3)``) are there for the printed sheet.
    """

    places: tuple[Place, ...]
    layout: Layout | None = None
    to_pixels: Array | None = None
    notes: tuple[str, ...] = ()

    def of(self, role: str) -> list[Place]:
        return [place for place in self.places if place.role == role]


_GRID = re.compile(r"(\d+)\s*[x×]\s*(\d+)")
_POINT = re.compile(r"(-?\d+(?:\.\d+)?)\s*,\s*(-?\d+(?:\.\d+)?)")


@dataclass(frozen=True, eq=False)
class Grid:
    """Swatches in even rows and columns, photographed without the printed sheet.

    Attributes
    ----------
    corners : the four outer corners ``(4, 2)`` in pixels, clockwise from the top left.
    rows, columns : how many; cells are labelled A1, A2, … row by row.
    grey, card : the corners of the grey card (its steps side by side) and of the patch card's
        patches, where they are in the picture.
    """

    corners: ArrayLike
    rows: int
    columns: int
    grey: ArrayLike | None = None
    card: ArrayLike | None = None

    @classmethod
    def parse(cls, text: str, grey: str = "", card: str = "") -> Grid:
        """Read ``4x6 120,80 2000,90 1990,1500 110,1490``, and four points for each card.

        Raises `InputError`.
        """
        size = _GRID.match(text.strip())
        if size is None:
            raise InputError(Fault(f"{text!r} is no grid: {_GRID_HELP}"))
        return cls(
            _points(text[size.end() + len(text) - len(text.lstrip()) :]),
            int(size[1]),
            int(size[2]),
            _points(grey) if grey else None,
            _points(card) if card else None,
        )

    def places(self, steps: int, patches: int) -> list[Place]:
        """The cells, and as many grey steps and patches as there are."""
        if not (0 < self.rows <= 26 and 0 < self.columns <= 50):
            raise InputError(
                Fault(f"{self.rows} × {self.columns} cells: 1 to 26 rows and 1 to 50 columns.")
            )
        labels = Layout(-1, self.rows, self.columns).labels
        found = _divide("swatch", labels, self.corners, self.rows, self.columns)
        if self.grey is not None and steps:
            numbers = tuple(f"grey {i + 1}" for i in range(steps))
            found += _divide("grey", numbers, self.grey, 1, steps)
        if self.card is not None and patches:
            outline = np.asarray(self.card, dtype=float)
            top, right = (float(np.hypot(*(outline[i] - outline[i - 1]))) for i in (1, 2))
            rows, columns = grid_of(patches, top / right)
            numbers = tuple(f"patch {i + 1}" for i in range(patches))
            found += _divide("patch", numbers, outline, rows, columns)
        return found


_GRID_HELP = "write rows x columns and four corners in pixels, as '4x6 120,80 2000,90 …'."


def _points(text: str) -> Array:
    return np.array([(float(x), float(y)) for x, y in _POINT.findall(text)])


def _divide(
    role: str, labels: Sequence[str], corners: ArrayLike, rows: int, columns: int
) -> list[Place]:
    outline = np.asarray(corners, dtype=float)
    if outline.shape != (4, 2) or not np.all(np.isfinite(outline)) or _area(outline) < 100:
        raise InputError(
            Fault(
                f"four corners are wanted for the {role} places, in pixels, clockwise from the top "
                f"left: {_GRID_HELP}"
            )
        )
    quads = parts(outline, rows, columns)
    return [Place(label, role, q) for label, q in zip(labels, quads, strict=True)]


def _area(corners: Array) -> float:
    """Area in square pixels, positive for corners that run clockwise on the screen."""
    x, y = corners.T
    return float(0.5 * np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))


def _table(path: str | os.PathLike[str], what: str) -> tuple[Sheet, Faults]:
    path = Path(path)
    faults = Faults(path.name)
    try:
        if not path.is_file() or path.stat().st_size > 2_000_000:
            raise OSError("there is no such file, or it is too large")
        decoded = decode(path.read_bytes())
    except (OSError, ValueError) as error:
        raise InputError(Fault(f"{what} cannot be read ({error}).", path.name)) from None
    if decoded is None:
        raise InputError(Fault(f"{what} is not text: save it as CSV (UTF-8).", path.name))
    sheet = read_sheet(decoded[0], faults)
    faults.raise_any()
    return sheet, faults


def _refuse_extra(sheet: Sheet, faults: Faults) -> None:
    for row, cells in sheet.rows:
        if any(cells[len(sheet.headings) :]):
            faults.add(f"{len(cells)} cells under {len(sheet.headings)} headings.", row)


def _role(label: str, stated: str) -> str:
    if stated:
        return stated
    word = label.split()[0].rstrip("0123456789") if label.split() else ""
    return word if word in ("grey", "patch", "white") else "swatch"


def read_corners(path: str | os.PathLike[str]) -> tuple[Place, ...]:
    """Read a table of corners.

    Columns ``cell``, ``x1 y1 x2 y2 x3 y3 x4 y4`` (pixels of the upright picture, clockwise from
    the top left of each cell) and, where wanted, ``role``: swatch, grey (a step of the grey card),
    patch (of the patch card, in the order of its reference table) or white (bare paper, for
    evenness). Without it, cells called grey, patch or white and a number are what they say.

    Raises `InputError` with every fault.
    """
    sheet, faults = _table(path, "the table of corners")
    headings = [heading.lower() for heading in sheet.headings]
    missing = [name for name in ("cell", *_CORNERS) if name not in headings]
    if missing:
        faults.add(
            f"a table of corners needs the columns cell and x1 to y4: {', '.join(missing)} missing",
            sheet.header_row,
        )
    faults.raise_any()
    places: list[Place] = []
    _refuse_extra(sheet, faults)
    for row, cells in sheet.rows:
        values = dict(zip(headings, cells, strict=False))
        label = values["cell"]
        role = _role(label.lower(), values.get("role", "").lower())
        if role not in ROLES[:4]:
            faults.add(f"role {role!r} is unknown: swatch, grey, patch or white.", row, "role")
        try:
            corners = np.array([float(values.get(name, "")) for name in _CORNERS]).reshape(4, 2)
        except ValueError:
            faults.add("a corner is not a number: write pixels, as 1204.", row)
            continue
        if not np.all(np.isfinite(corners)) or _area(corners) < 25:
            faults.add(
                "the corners do not run clockwise from the top left round an area: "
                "x1 y1 is the top left, x3 y3 the bottom right.",
                row,
            )
            continue
        if any(place.label == label for place in places):
            faults.add(f"cell {label!r} stands twice.", row, "cell")
        places.append(Place(label, role, corners))
    faults.raise_any()
    return tuple(places)


@dataclass(frozen=True, eq=False)
class Named:
    """What lies in one cell: its recipe (None where the table leaves it open) and conditions."""

    cell: str
    recipe: Recipe | None
    swatch: str = ""
    conditions: Mapping[str, str] = field(default_factory=dict)
    flags: tuple[str, ...] = ()


def read_names(path: str | os.PathLike[str]) -> tuple[Named, ...]:
    """Read which swatch lies in which cell: columns ``cell``, ``recipe`` and perhaps ``swatch``.

    Conditions stand in ``# key: value`` lines or columns as in any swatch table. A row without a
    recipe leaves its cell empty. Raises `InputError` with every fault.
    """
    sheet, faults = _table(path, "the table of cells")
    headings = [
        "cell" if heading.lower() == "cell" else meaning(heading) or heading.lower()
        for heading in sheet.headings
    ]
    if "cell" not in headings or "recipe" not in headings:
        faults.add(
            "a table of cells needs the columns cell and recipe, as 'A1,marigold 0.5'.",
            sheet.header_row,
        )
    faults.raise_any()
    header: dict[str, str] = {}
    rows: dict[str, int] = {}
    for row, remark in sheet.remarks:
        key, _, value = remark.partition(":")
        if meaning(key) and value.strip():
            header[meaning(key)], rows[meaning(key)] = value.strip(), row
    context = Context(header, rows, faults)
    named: dict[str, Named] = {}
    _refuse_extra(sheet, faults)
    for row, cells in sheet.rows:
        values = dict(zip(headings, cells, strict=False))
        cell = values.pop("cell", "").upper()
        if not values.get("recipe") and not values.get("swatch"):
            continue
        if cell in named:
            faults.add(f"cell {cell!r} stands twice.", row, "cell")
        draft = Draft(row, {**values, "name": cell}, {}, [])
        named_recipe(draft, context)
        named[cell] = Named(
            cell, draft.recipe, values.get("swatch", ""), draft.conditions, tuple(draft.flags)
        )
    faults.raise_any()
    return tuple(named.values())


def check_names(named: Sequence[Named], frame: Frame, file: str) -> None:
    """Raise `InputError` where a cell is named that the picture does not have."""
    have = {place.label.upper() for place in frame.of("swatch")}
    absent = [each.cell for each in named if each.cell not in have]
    if absent:
        raise InputError(
            Fault(
                f"{len(named)} cells are named but {len(have)} are in the picture; "
                f"not there: {', '.join(absent[:8])}{' …' if len(absent) > 8 else ''}. "
                "Name cells that the sheet has, or photograph the right sheet.",
                file,
            )
        )


def refuse_paper(anchor: str, file: str) -> None:
    """Paper is no white: its brightener glows under daylight and not under lamps."""
    if anchor.lower() in _PAPER:
        raise InputError(
            Fault(
                "office paper is brightened and cannot serve as white or grey: lay a grey card in "
                "the picture, or take the undyed cloth as the anchor ('undyed').",
                file,
            )
        )


def grid_of(count: int, aspect: float) -> tuple[int, int]:
    """Rows and columns of a card of `count` patches in a box so many times wider than high."""
    pairs = [(r, count // r) for r in range(1, count + 1) if count % r == 0]
    return min(pairs, key=lambda pair: abs(float(np.log(pair[1] / pair[0] / aspect))))


def box_parts(box: tuple[float, float, float, float], rows: int, columns: int) -> Array:
    """Corners ``(rows × columns, 4, 2)`` of an even division of a box of the sheet, in mm."""
    return parts(quad(*box), rows, columns)
