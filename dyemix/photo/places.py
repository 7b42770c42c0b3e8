"""Which part of a picture is which: the cells, the grey card, the patches, the bare paper.

Three ways to say it: the photo page (`find`), a small table of corners, or a grid with four
corners; and a table that says what was dyed in which cell.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from dyemix.arrays import Array
from dyemix.dataset.swatches import Reading
from dyemix.errors import Fault, InputError
from dyemix.files.cells import Faults, Sheet, decode, read_sheet
from dyemix.files.headings import meaning
from dyemix.files.rows import Context, Draft, named_recipe
from dyemix.photo.layout import Layout, parts

#: What a place of a table of corners can hold.
ROLES = ("swatch", "grey", "patch", "white")
_CORNERS = ("x1", "y1", "x2", "y2", "x3", "y3", "x4", "y4")


@dataclass(frozen=True, eq=False)
class Frame:
    """Where in one picture everything lies, and how it was found.

    Attributes
    ----------
    labels : of the cells.
    places : for each role, quadrilaterals of the picture ``(N, 4, 2)``: corners in pixels,
        clockwise from the top left. The roles are `ROLES` and, on the photo page, ``"check"`` for
        the printed grey and ``"bar"`` for the printed black of each cell, and ``"grey box"`` and
        ``"card box"`` ``(1, 4, 2)``, where cards lie whose steps and patches have no places yet.
    layout, to_pixels : which page, and its mm to pixels ``(3, 3)``, where the page was found.
    notes : what was found, one sentence each.
    """

    labels: tuple[str, ...]
    places: Mapping[str, Array]
    layout: Layout | None = None
    to_pixels: Array | None = None
    notes: tuple[str, ...] = ()

    def of(self, role: str) -> Array:
        """The places of one role ``(N, 4, 2)``, in order; none where there are none."""
        return self.places.get(role, np.empty((0, 4, 2)))

    def telling(self, places: Mapping[str, Array]) -> Frame:
        """The same with these places instead of its own of their roles."""
        return replace(self, places={**self.places, **places})


_GRID = re.compile(r"\s*(\d+)\s*[x×]\s*(\d+)")
_POINT = re.compile(r"(-?\d+(?:\.\d+)?)\s*,\s*(-?\d+(?:\.\d+)?)")
_GRID_HELP = "write rows x columns and four corners in pixels, as '4x6 120,80 2000,90 …'."


def read_grid(text: str, grey_at: str = "", card_at: str = "") -> Frame:
    """Places in even rows and columns, where the photo page is not in the picture.

    `text` says how many and where their four outer corners are, clockwise from the top left:
    ``4x6 120,80 2000,90 1990,1500 110,1490``. Cells are labelled A1, A2, … row by row. `grey_at`
    and `card_at` are four points too: the corners of the grey card (its steps side by side) and of
    the patches of the patch card. Raises `InputError`.
    """
    size = _GRID.match(text)
    rows, columns = (int(size[1]), int(size[2])) if size else (0, 0)
    if size is None or not (0 < rows <= 26 and 0 < columns <= 50):
        raise InputError(Fault(f"{text!r} is no grid of 1 to 26 x 1 to 50 cells: {_GRID_HELP}"))
    places = {}
    words = {"swatch": text[size.end() :] + " ", "grey box": grey_at, "card box": card_at}
    for role, points in words.items():
        if points:
            box = np.array([(float(x), float(y)) for x, y in _POINT.findall(points)])
            if box.shape != (4, 2) or not _area(box) >= 100:
                message = f"four corners of the {role} are wanted, clockwise from the top left"
                raise InputError(Fault(f"{message}: {_GRID_HELP}"))
            places[role] = box[np.newaxis]
    places["swatch"] = parts(places["swatch"][0], rows, columns)
    return Frame(Layout(-1, rows, columns).labels, places)


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
    for row, cells in sheet.rows:
        if any(cells[len(sheet.headings) :]):
            faults.add(f"{len(cells)} cells under {len(sheet.headings)} headings.", row)
        cells += [""] * (len(sheet.headings) - len(cells))
    return sheet, faults


def read_corners(path: str | os.PathLike[str]) -> Frame:
    """Read a table of corners: every place that it names.

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
    places: dict[str, dict[str, Array]] = {}
    for row, cells in sheet.rows:
        values = dict(zip(headings, cells, strict=False))
        label = values["cell"]
        first = label.lower().split(" ")[0].rstrip("0123456789")
        role = values.get("role", "").lower() or (first if first in ROLES else "swatch")
        if role not in ROLES:
            faults.add(f"role {role!r} is unknown: swatch, grey, patch or white.", row, "role")
        if not label:
            faults.add("this place has no name: write which cell it is, as A1.", row, "cell")
        elif any(label in named for named in places.values()):
            faults.add(f"cell {label!r} stands twice.", row, "cell")
        try:
            corners = np.array([float(values[name]) for name in _CORNERS]).reshape(4, 2)
        except ValueError:
            faults.add("a corner is not a number: write pixels, as 1204.", row)
            continue
        if not _area(corners) >= 25:
            faults.add(
                "the corners do not run clockwise from the top left round an area: "
                "x1 y1 is the top left, x3 y3 the bottom right.",
                row,
            )
        places.setdefault(role, {})[label] = corners
    faults.raise_any()
    quads = {role: np.array(list(named.values())) for role, named in places.items()}
    return Frame(tuple(places.get("swatch", ())), quads)


def read_cells(path: str | os.PathLike[str]) -> dict[str, Reading]:
    """What lies in which cell: blank readings by label, each with its recipe and conditions.

    Columns ``cell``, ``recipe`` and perhaps ``swatch``; conditions stand in ``# key: value`` lines
    or columns as in any swatch table. A row without recipe and swatch leaves its cell empty.
    Raises `InputError` with every fault.
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
    lying: dict[str, Reading] = {}
    for row, cells in sheet.rows:
        values = dict(zip(headings, cells, strict=False))
        cell = values.pop("cell").upper()
        if not values["recipe"] and not values.get("swatch"):
            continue
        if cell in lying:
            faults.add(f"cell {cell!r} stands twice.", row, "cell")
        draft = Draft(row, {**values, "name": cell}, {}, [])
        named_recipe(draft, context)
        lying[cell] = draft.reading(faults.file)
    faults.raise_any()
    return lying
