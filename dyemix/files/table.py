"""From the cells of a table, whatever file they came from, to a `SwatchSet`.

Every importer hands its cells over as a `Sheet`; what headings mean, what is doubtful and what is
refused is decided here, once for all of them. Whatever holds for many rows is done for all of them
at once.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from difflib import SequenceMatcher
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import LAB, Array
from dyemix.colour.colorimetry import WAVELENGTHS
from dyemix.colour.spectra import DARKEST, grid_fault, grid_notes, onto_grid, too_bright
from dyemix.dataset.swatches import SwatchSet
from dyemix.files.cells import (
    HEADER_ONLY,
    KNOWN,
    Faults,
    Sheet,
    band,
    cleaned,
    few,
    meaning,
    placed,
    plain_numbers,
)
from dyemix.files.rows import Context, Rows, hex_readings, lab_readings

_NUMBER = re.compile(r"[-+]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][-+]?[0-9]{1,3})?")
_WITH_UNIT = re.compile(r"[-+]?[0-9]*[.,]?[0-9]+ ?(?:%|[^\W\d_]{1,12}|°)")

#: Which rows have numbers, and the numbers.
_Numbers = tuple[NDArray[np.intp], Array]


def understand(sheet: Sheet, faults: Faults) -> SwatchSet:
    """The readings of a table. Raises `InputError` with every fault of the file."""
    whole, sheet = not len(faults), cleaned(sheet, faults)
    context = Context(sheet.remarks, faults)
    columns = _columns(sheet, faults)
    if not columns.understood:
        faults.raise_any()
    if not sheet.rows and whole:
        faults.add("the table has headings but no rows: one reading stands on a row.")
    cells, kept = (
        {name: sheet.column(place) for name, place in places.items()}
        for places in (columns.place, columns.extra)
    )
    rows = Rows(sheet.row_numbers, cells, kept, context)
    read = _numbers(sheet, rows, columns, context)
    _check_spelling(rows)
    faults.raise_any()
    for numbers in read:
        _doubt_copies(rows, *numbers)
    taken = "rows of one recipe are taken as readings of one cloth."
    if "swatch" not in cells:
        faults.notes.append(f"there is no swatch column: {taken}")
    elif not all(cells["swatch"]):
        faults.notes.append(f"where swatch is blank, {taken}")
    faults.notes += _about_warnings(rows)
    return SwatchSet(rows.readings(), tuple(dict.fromkeys(faults.notes)), faults.file, context.demo)


# Headings ---------------------------------------------------------------------------------------


@dataclass
class _Columns:
    """Where each thing stands in a row; `bands` are headings and places by wavelength in nm."""

    place: dict[str, int] = field(default_factory=dict)
    bands: dict[float, tuple[str, int]] = field(default_factory=dict)
    extra: dict[str, int] = field(default_factory=dict)

    @property
    def understood(self) -> bool:
        """Whether rows can be read for their own faults, those of the headings apart."""
        names = self.place.keys()
        return not names.isdisjoint({"recipe", "name"}) or names >= {"dye", "owf"}

    @property
    def wavelengths(self) -> Array:
        return np.array(list(self.bands))


def _columns(sheet: Sheet, faults: Faults) -> _Columns:
    found = _Columns()
    row = sheet.header_row
    for name, place in placed(sheet, _name, faults).items():
        heading = sheet.headings[place]
        if (wavelength := band(heading)) is not None:
            found.bands[wavelength] = (heading, place)
        elif name in HEADER_ONLY:
            above = f"{name} holds for the whole file: write it above the table, as '# {name}: …'."
            faults.add(above, row, heading)
        else:
            (found.place if name in KNOWN else found.extra)[name] = place
    found.bands = dict(sorted(found.bands.items()))
    if sheet.headings:
        for fault in _heading_faults(found, sheet.headings, faults.notes):
            faults.add(fault, row)
    return found


def _name(heading: str) -> str:
    wavelength = band(heading)
    return f"{wavelength:g} nm" if wavelength is not None else meaning(heading)


def _heading_faults(found: _Columns, headings: list[str], notes: list[str]) -> Iterable[str]:
    """What is wrong with the columns as a whole; what is merely noticed goes to `notes`."""
    names = found.place.keys()
    if not found.bands and not names:
        first = ", ".join(headings[:4])
        yield (
            f"no headings are understood here ({first[:60]}): the table must begin with a row such "
            "as 'swatch,recipe,400,410 … 700', or with L*, a*, b* or hex in place of the bands."
        )
        return
    one_dye = names & {"dye", "owf"}
    if "recipe" in names and one_dye:
        yield "the recipe stands in 'recipe' and in 'dye' and 'owf': keep one."
    elif len(one_dye) == 1:
        (absent,) = {"dye", "owf"} - one_dye
        yield f"there is a {min(one_dye)} column but no {absent} column: add it."
    elif not one_dye and names.isdisjoint({"recipe", "name"}):
        yield "there is no recipe column: add 'recipe', or 'dye' and 'owf'."
    elif names.isdisjoint({"recipe", "dye"}):
        notes.append("there is no recipe column: the samples are not named as recipes yet.")
    missing = [name for name in LAB if name not in names]
    if found.bands and (fault := grid_fault(found.wavelengths)):
        yield fault
    elif found.bands:
        notes.extend(grid_notes(found.wavelengths))
    if 0 < len(missing) < 3:
        yield f"CIELAB needs three columns: {' and '.join(missing)} is missing."
    elif missing and not found.bands and "hex" not in names:
        yield "there is no reading column: add bands (400 … 700), or L*, a*, b*, or hex."
    if found.extra:
        notes.append(f"kept with each reading and not used: {', '.join(map(repr, found.extra))}.")


# Numbers ----------------------------------------------------------------------------------------


def _numbers(sheet: Sheet, rows: Rows, columns: _Columns, context: Context) -> list[_Numbers]:
    """Turn cells into readings, and settle the scale of the file; gives the numbers as read."""
    notes = rows.faults.notes
    wanted = {"spectrum": [place for _, place in columns.bands.values()]}
    if columns.place.keys() >= {*LAB}:
        wanted["Lab"] = [columns.place[name] for name in LAB]
    free, twice = np.ones(len(rows.numbers), bool), np.zeros(len(rows.numbers), bool)
    found: dict[str, _Numbers] = {}
    text = ""
    for kind, places in wanted.items():
        if not places or not free.size:
            continue
        if (values := sheet.numbers(places)) is not None:
            filled = np.ones(len(free), bool)
        else:
            cells = [[row[place] for place in places] for _, row in sheet.rows]
            filled = np.fromiter(map(any, cells), bool, len(cells))
        at = np.flatnonzero(filled & free)
        rows.give("kind", at, [kind] * len(at))
        if values is None:
            chosen = [cells[i] for i in at.tolist()]
            text += "".join(map("".join, chosen))
            heads = [sheet.headings[place] for place in places] if kind != "Lab" else LAB
            at, values = _values(rows, at, chosen, heads)
        else:
            values = values[at]
        twice |= filled & ~free
        free &= ~filled
        if len(at):
            found[kind] = at, values
    coded = np.array([bool(code) for code in rows.column("hex")], bool)
    twice |= coded & ~free
    if twice.any():
        first = rows.numbers[int(twice.argmax())]
        many = f"{twice.sum()} rows give a colour twice (first: row {first})"
        notes.append(f"{many}: the spectrum is used before CIELAB, CIELAB before hex.")
    if "," in text:
        mixed = "decimal points and decimal commas are mixed; both were read as decimals."
        notes.append(mixed if "." in text else "numbers have decimal commas.")
    if "spectrum" in found:
        _spectra(rows, *found["spectrum"], columns.wavelengths, context)
    if "Lab" in found:
        lab_readings(rows, *found["Lab"])
    if len(hexes := np.flatnonzero(coded & free)):
        rows.give("kind", hexes, ["hex"] * len(hexes))
        hex_readings(rows, hexes)
    return list(found.values())


def _values(
    rows: Rows, at: NDArray[np.intp], cells: Sequence[Sequence[str]], headings: Sequence[str]
) -> _Numbers:
    """Numbers ``(M, K)`` that belong together; where some are missing is a fault, left out."""
    if (values := plain_numbers(cells)) is not None:
        return at, values
    numbers = [rows.numbers[i] for i in at]
    read = [_cells(row, headings, n, rows.faults) for n, row in zip(numbers, cells, strict=True)]
    good = [i for i, row in enumerate(read) if row is not None]
    return at[good], np.array([read[i] for i in good])


def _cells(cells: Sequence[str], headings: Sequence[str], row: int, faults: Faults) -> Array | None:
    """The numbers in cells that belong together; None, and one fault, where one is missing."""
    values = [float(c.replace(",", ".")) if _NUMBER.fullmatch(c) else np.nan for c in cells]
    blank = [i for i, cell in enumerate(cells) if not cell]
    wrong = [i for i, cell in enumerate(cells) if cell and not np.isfinite(values[i])]
    for places in filter(None, (blank, wrong)):
        cell = cells[places[0]][:40]
        more = f" ({len(places) - 1} more in this row)" if len(places) > 1 else ""
        absent = "is blank while the rest of the reading is not"
        what = f"{cell!r} is not a number" if cell else absent
        cure = "write the reading, or leave all of it blank until it is read."
        if _WITH_UNIT.fullmatch(cell):
            cure = "write the number alone; the scale stands once, as '# scale: percent'."
        faults.add(f"{what}{more}: {cure}", row, headings[places[0]])
    return None if blank or wrong else np.array(values)


def _spectra(
    rows: Rows, at: NDArray[np.intp], values: Array, wavelengths: Array, context: Context
) -> None:
    """Bring spectra ``(S, B')`` at `wavelengths` ``(B',)`` to fractions at the package's bands."""
    stated, faults = context.scale, context.faults
    largest = float(values.max())
    bright = too_bright(values)
    scale = stated or ("percent" if bright.any() else "fraction")
    unit = "percent" if scale == "percent" else "fractions of 1"
    how = ", as the file states" if stated else f": the largest value is {largest:.4g}"
    faults.notes.append(f"reflectance is in {unit}{how}.")
    if not stated and not bright.any() and largest > 1.0:
        could = f"the largest value, {largest:.4g}, could be a bright fraction or a dark percentage"
        faults.notes.append(f"{could}: write '# scale: percent' or '# scale: fraction' above.")
    if stated == "percent" and largest <= 1.0:
        faults.notes.append(f"no value is above {largest:.4g} %: is the scale really percent?")
    if not stated and bright.any() and np.median(values.max(axis=1)) <= 1.0:
        odd, top = np.unravel_index(np.argmax(values), values.shape)
        what = f"{largest:g} looks like percent and most other rows like fractions of 1"
        cure = "correct it, or write '# scale: percent' above the table."
        faults.add(f"{what}: {cure}", rows.numbers[at[odd]], f"{wavelengths[top]:g} nm")
        return
    fractions = values / 100.0 if scale == "percent" else values
    cloth = "0 to 100" if scale == "percent" else "0 to 1"
    low, high = values.min(axis=1), values.max(axis=1)
    for i in np.flatnonzero((low < 0) | (high == 0) | too_bright(fractions)):
        worst = values[i].argmin() if low[i] < 0 else values[i].argmax()
        what = f"{high[i]:g} is not a reflectance in {scale}: cloth gives {cloth}."
        if low[i] < 0:
            what = f"a reflectance of {low[i]:g} is negative: zero the instrument, read it again."
        elif high[i] == 0:
            what = "every band of this row is 0: read the swatch again."
        faults.add(what, rows.numbers[at[i]], f"{wavelengths[worst]:g} nm")
    if not len(faults):
        # Row by row in memory, as any spectrum lies: sums round alike then.
        spectra = np.ascontiguousarray(onto_grid(wavelengths, fractions))
        spectra.setflags(write=False)
        rows.give("reflectance", at, spectra)
        for i, words in _doubts(spectra, scale):
            rows.doubt(int(at[i]), words)


# Doubts: kept, and told once -----------------------------------------------------------


def _doubts(spectra: Array, scale: str) -> Iterator[tuple[np.intp, str]]:
    """What is doubtful about reflectances ``(S, B)``, fractions: which of them, and why."""
    top, bottom = spectra.max(axis=1), spectra.min(axis=1)
    for i in np.flatnonzero(top > 1.0):
        at = WAVELENGTHS[spectra[i].argmax()]
        yield i, f"above 1 at {at:g} nm: fluorescent (a brightener) or miscalibrated"
    for i in np.flatnonzero((top <= 1.0) & (spectra[:, 4] >= 0.95)):
        yield i, "0.95 or more at 440 nm: a brightener? Kubelka–Munk does not hold there"
    for i in np.flatnonzero(bottom == 0.0):
        yield i, f"0 at {WAVELENGTHS[spectra[i].argmin()]:g} nm: below what can be read"
    for i in np.flatnonzero(top <= DARKEST) if scale == "percent" else ():
        yield i, "no value above 1 %: a fraction in a file of percentages?"


def _doubt_copies(rows: Rows, at: NDArray[np.intp], values: Array) -> None:
    """Doubt a reading that repeats an earlier one digit for digit; chance hardly does that.

    Two readings of one cloth do share a hex code now and then: those are not asked.
    """
    keys = [row.tobytes() for row in values]
    many, first = Counter(keys), dict[tuple[Any, ...], int]()
    named = [rows.given[name] for name in ("recipe", "swatch", "name") if name in rows.given]
    for i, key in zip(at.tolist(), keys, strict=True):
        if many[key] > 1:
            before = first.setdefault((key, *(column[i] for column in named)), i)
            if before != i and "same as row" not in "".join(rows.given["warnings"][i]):
                rows.doubt(i, f"same as row {rows.numbers[before]}: a copy?")


def _about_warnings(rows: Rows) -> list[str]:
    """One sentence a doubt, with the rows (objects, columns) it holds for."""
    held: dict[str, list[str]] = {}
    for number, warnings in zip(rows.numbers, rows.given["warnings"], strict=True):
        for warning in warnings:
            held.setdefault(warning, []).append(str(number))
    return [
        f"{rows.faults.counted}{'s' * (len(at) > 1)} {few(at, 6)}: {text}"
        f"{'' if text[-1] == '?' else '.'}"
        for text, at in held.items()
    ]


def alike(one: str, other: str) -> bool:
    """Whether two names differ in one word only, and there by a letter or two.

    ``blue 1`` and ``blue 2``, ``blue violet`` and ``red violet`` are different dyes.
    """
    odd = [(a, b) for a, b in zip(one.split(), other.split(), strict=False) if a != b]
    if len(one.split()) != len(other.split()) or len(odd) != 1:
        return False
    ((a, b),) = odd
    if min(len(a), len(b)) < 3 or not (a + b).isalpha():
        return False
    return sorted(a) == sorted(b) or SequenceMatcher(None, a, b).ratio() > 0.8


def _check_spelling(rows: Rows) -> None:
    """A dye of mixtures alone that is spelt much like a dye with swatches of its own is a fault.

    A dye with a single row, spelt like one with several, is told in a note: it may be right.
    """
    first: dict[str, int] = {}
    alone: Counter[str] = Counter()
    for number, recipe in zip(rows.numbers, rows.given["recipe"], strict=True):
        for dye in recipe or ():
            first.setdefault(dye, number)
        if recipe and len(recipe) == 1:
            alone[next(iter(recipe))] += 1
    for dye in first:
        more = [own for own in alone if alone[own] > alone[dye]] if alone[dye] < 2 else []
        near = [own for own in more if alike(dye, own)]
        if near and not alone[dye]:
            cure = f"correct the spelling, or give {dye!r} swatches of its own."
            what = f"{dye!r} has no swatch of its own: is {near[0]!r} meant? If so, {cure}"
            rows.faults.add(what, first[dye], "recipe")
        elif near:
            one = f"{dye!r} (row {first[dye]}) has one row and is spelt much like {near[0]!r}"
            rows.faults.notes.append(f"{one}: one dye or two?")
