"""From the cells of a table, whatever file they came from, to a `SwatchSet`.

Every importer hands its cells over as a `Sheet`; what headings mean, what is doubtful and what is
refused is decided here, once for all of them. Whatever holds for many rows is done for all of them
at once.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from difflib import SequenceMatcher
from typing import Any, NamedTuple

import numpy as np

from dyemix.arrays import LAB, Array, Indices
from dyemix.colour.colorimetry import WAVELENGTHS
from dyemix.colour.spectra import DARKEST, grid_fault, grid_notes, onto_grid, too_bright
from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import said
from dyemix.files import cells as sheets
from dyemix.files.cells import Faults, Sheet, band, few
from dyemix.files.rows import Context, Rows, hex_readings, lab_readings

_NUMBER = re.compile(r"[-+]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][-+]?[0-9]{1,3})?")
_PLAIN = re.compile("[0-9.eE+-]+")
_WITH_UNIT = re.compile(r"[-+]?[0-9]*[.,]?[0-9]+ ?(?:%|[^\W\d_]{1,12}|°)")


def understand(sheet: Sheet, faults: Faults) -> SwatchSet:
    """The readings of a table. Raises `InputError` with every fault of the file."""
    whole, sheet = not len(faults), sheets.cleaned(sheet, faults)
    context = Context(sheet.remarks, faults)
    columns = _columns(sheet, faults)
    if not sheet.row_numbers and whole:
        faults.add(said("tables.no_readings"))
    cells, kept = (
        {name: sheet.column(place) for name, place in places.items()}
        for places in (columns.place, columns.extra)
    )
    rows = Rows(sheet.row_numbers, cells, kept, context)
    read = _numbers(sheet, rows, columns, context)
    _check_spelling(rows)
    faults.raise_any()
    for at, values in read:
        _doubt_copies(rows, at, values)
    if not all(cells.get("swatch", [""])):
        faults.note("blank_swatch" if "swatch" in cells else "no_swatch")
    faults.notes += _about_warnings(rows)
    return SwatchSet(rows.readings(), tuple(dict.fromkeys(faults.notes)), faults.file, context.demo)


# Headings ---------------------------------------------------------------------------------------


class _Columns(NamedTuple):
    """Where each thing stands in a row; `bands` are headings and places by wavelength in nm."""

    place: dict[str, int]
    bands: dict[float, tuple[str, int]]
    extra: dict[str, int]

    @property
    def wavelengths(self) -> Array:
        return np.array(list(self.bands))


def _columns(sheet: Sheet, faults: Faults) -> _Columns:
    place: dict[str, int] = {}
    bands: dict[float, tuple[str, int]] = {}
    extra: dict[str, int] = {}
    for name, at in sheets.placed(sheet, _name, faults).items():
        heading = sheet.headings[at]
        if (wavelength := band(heading)) is not None:
            bands[wavelength] = heading, at
        elif name in sheets.HEADER_ONLY:
            faults.add(said("tables.whole_file", name=name), sheet.header_row, heading)
        else:
            (place if name in sheets.KNOWN else extra)[name] = at
    found = _Columns(place, dict(sorted(bands.items())), extra)
    for fault in _heading_faults(found, sheet.headings, faults) if sheet.headings else ():
        faults.add(fault, sheet.header_row)
    if not (place.keys() & {"recipe", "name"} or place.keys() >= {"dye", "owf"}):
        faults.raise_any()  # rows cannot be read even for their own faults
    return found


def _name(heading: str) -> str:
    wavelength = band(heading)
    return f"{wavelength:g} nm" if wavelength is not None else sheets.meaning(heading)


def _heading_faults(found: _Columns, headings: list[str], faults: Faults) -> Iterable[str]:
    """What is wrong with the columns as a whole; what is merely noticed becomes a note."""
    names = found.place.keys()
    if not found.bands and not names:
        yield said("tables.not_understood", first=", ".join(headings[:4]))
        return
    one_dye = names & {"dye", "owf"}
    if "recipe" in names and one_dye:
        yield said("tables.two_recipes")
    elif len(one_dye) == 1:
        (absent,) = {"dye", "owf"} - one_dye
        yield said("tables.half_recipe", there=min(one_dye), absent=absent)
    elif not one_dye and names.isdisjoint({"recipe", "name"}):
        yield said("tables.no_recipe_column")
    elif names.isdisjoint({"recipe", "dye"}):
        faults.note("unnamed")
    missing = [name for name in LAB if name not in names]
    if found.bands and (fault := grid_fault(found.wavelengths)):
        yield fault
    elif found.bands:
        faults.notes += grid_notes(found.wavelengths)
    if 0 < len(missing) < 3:
        yield said("tables.half_lab", missing=" and ".join(missing))
    elif missing and not found.bands and "hex" not in names:
        yield said("tables.no_reading")
    if found.extra:
        faults.note("kept", columns=", ".join(map(repr, found.extra)))


# Numbers ----------------------------------------------------------------------------------------


def _numbers(
    sheet: Sheet, rows: Rows, columns: _Columns, context: Context
) -> list[tuple[Indices, Array]]:
    """Turn cells into readings, and settle the scale of the file; gives which rows, and numbers."""
    wanted = {"spectrum": [place for _, place in columns.bands.values()]}
    wanted["Lab"] = [columns.place[name] for name in LAB if name in columns.place]
    free, twice = np.ones(len(rows.numbers), bool), np.zeros(len(rows.numbers), bool)
    found: dict[str, tuple[Indices, Array]] = {}
    for kind, places in wanted.items():
        if not free.size or not places or (kind == "Lab" and len(places) < 3):
            continue
        filled, values = np.ones(len(free), bool), sheet.numbers(places)
        if values is None:
            cells = [[row[place] for place in places] for _, row in sheet.rows]
            filled = np.fromiter(map(any, cells), bool, len(cells))
            heads = LAB if kind == "Lab" else [sheet.headings[place] for place in places]
            values = _read(cells, np.flatnonzero(filled & free), heads, rows)
        rows.give("kind", np.flatnonzero(filled & free), kind)
        at = np.flatnonzero(filled & free & np.isfinite(values).all(axis=1))
        twice, free = twice | (filled & ~free), free & ~filled
        if len(at):
            found[kind] = at, values[at]
    coded = np.array([bool(code) for code in rows.column("hex")], bool)
    if (twice := twice | (coded & ~free)).any():
        rows.faults.note("twice", count=twice.sum(), row=rows.numbers[int(twice.argmax())])
    if "spectrum" in found:
        _spectra(rows, *found["spectrum"], columns.wavelengths, context)
    if "Lab" in found:
        lab_readings(rows, *found["Lab"])
    if (coded & free).any():
        hex_readings(rows, np.flatnonzero(coded & free))
    return list(found.values())


def _read(
    cells: Sequence[Sequence[str]], at: Indices, headings: Sequence[str], rows: Rows
) -> Array:
    """Numbers ``(N, K)`` of the rows `at`; NaN elsewhere, and where a row has a fault."""
    values = np.full((len(cells), len(headings)), np.nan)
    chosen = [cells[i] for i in at]
    if "," in (text := "".join(map("".join, chosen))):
        rows.faults.note("mixed_commas" if "." in text else "commas")
    if _PLAIN.fullmatch(text):  # most tables are plain numbers, and take a twentieth of the time
        with suppress(ValueError):
            values[at] = np.array(chosen, float)
    for i, row in zip(at, chosen, strict=True):
        if not np.isfinite(values[i]).all():
            values[i] = _cells(row, headings, rows.numbers[i], rows.faults)
    return values


def _cells(cells: Sequence[str], headings: Sequence[str], row: int, faults: Faults) -> Array:
    """The numbers in cells that belong together; NaN, and one fault, where one is missing."""
    values = [float(c.replace(",", ".")) if _NUMBER.fullmatch(c) else np.nan for c in cells]
    blank = [i for i, cell in enumerate(cells) if not cell]
    wrong = [i for i, cell in enumerate(cells) if cell and not np.isfinite(values[i])]
    for places in filter(None, (blank, wrong)):
        cell = cells[places[0]][:40]
        more = f" ({len(places) - 1} more in this row)" if len(places) > 1 else ""
        absent = "is blank while the rest of the reading is not"
        what = f"{cell!r} is not a number" if cell else absent
        which = "with_unit" if _WITH_UNIT.fullmatch(cell) else "bad_cell"
        faults.add(said(f"tables.{which}", what=what, more=more), row, headings[places[0]])
    return np.array(values) if not (blank or wrong) else np.full(len(cells), np.nan)


def _spectra(rows: Rows, at: Indices, values: Array, wavelengths: Array, context: Context) -> None:
    """Bring spectra ``(S, B')`` at `wavelengths` ``(B',)`` to fractions at the package's bands."""
    stated, faults = context.scale, context.faults
    largest = float(values.max())
    bright = too_bright(values)
    scale = stated or ("percent" if bright.any() else "fraction")
    unit = "percent" if scale == "percent" else "fractions of 1"
    how = ", as the file states" if stated else f": the largest value is {largest:.4g}"
    faults.note("scale", unit=unit, how=how)
    if not stated and not bright.any() and largest > 1.0:
        faults.note("no_scale", largest=largest)
    if stated == "percent" and largest <= 1.0:
        faults.note("dark_percent", largest=largest)
    if not stated and bright.any() and np.median(values.max(axis=1)) <= 1.0:
        odd, top = np.unravel_index(np.argmax(values), values.shape)
        message = said("tables.two_scales", largest=largest)
        faults.add(message, rows.numbers[at[odd]], f"{wavelengths[top]:g} nm")
        return
    most = 100.0 if scale == "percent" else 1.0
    fractions, low, high = values / most, values.min(axis=1), values.max(axis=1)
    for i in np.flatnonzero((low < 0) | (high == 0) | too_bright(fractions)):
        worst = values[i].argmin() if low[i] < 0 else values[i].argmax()
        which = "negative" if low[i] < 0 else "too_bright" if high[i] else "all_zero"
        message = said(f"tables.{which}", low=low[i], high=high[i], scale=scale, most=f"{most:g}")
        faults.add(message, rows.numbers[at[i]], f"{wavelengths[worst]:g} nm")
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
        yield i, said("tables.above_1", at=WAVELENGTHS[spectra[i].argmax()])
    for i in np.flatnonzero((top <= 1.0) & (spectra[:, 4] >= 0.95)):
        yield i, said("tables.bright_blue")
    for i in np.flatnonzero(bottom == 0.0):
        yield i, said("tables.zero", at=WAVELENGTHS[spectra[i].argmin()])
    for i in np.flatnonzero(top <= DARKEST) if scale == "percent" else ():
        yield i, said("tables.dark")


def _doubt_copies(rows: Rows, at: Indices, values: Array) -> None:
    """Doubt a reading that repeats an earlier one digit for digit; chance hardly does that.

    Two readings of one cloth do share a hex code now and then: those are not asked.
    """
    keys, copy = [row.tobytes() for row in values], said("tables.copy", row="?").partition("?")[0]
    many, first = Counter(keys), dict[tuple[Any, ...], int]()
    named = [rows.given[name] for name in ("recipe", "swatch", "name") if name in rows.given]
    for i, key in zip(at.tolist(), keys, strict=True):
        if many[key] > 1:
            before = first.setdefault((key, *(column[i] for column in named)), i)
            told = any(words.startswith(copy) for words in rows.given["warnings"][i])
            if before != i and not told:  # its rows have moved where it was written and read again
                rows.doubt(i, said("tables.copy", row=rows.numbers[before]))


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
            message = said("tables.misspelt", dye=dye, near=near[0])
            rows.faults.add(message, first[dye], "recipe")
        elif near:
            rows.faults.note("one_or_two", dye=dye, row=first[dye], near=near[0])
