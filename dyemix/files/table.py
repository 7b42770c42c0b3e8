"""From the cells of a table, whatever file they came from, to a `SwatchSet`.

Every format is read to a `Sheet`; what headings mean, what is doubtful and what is
refused is decided here, once for all of them. Whatever holds for many rows is done for all of them
at once.
"""

import re
from collections import Counter
from collections.abc import Sequence
from difflib import SequenceMatcher
from typing import Any

import numpy as np

from dyemix.arrays import LAB, Array, Flags, Indices
from dyemix.colour.colorimetry import WAVELENGTHS
from dyemix.colour.spectra import DARKEST, band, grid_fault, grid_notes, onto_grid, too_bright
from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import said
from dyemix.files.cells import HEADER_ONLY, KNOWN, Faults, Sheet, cleaned, few, meaning, placed
from dyemix.files.rows import Rows, hex_readings, lab_readings

_NUMBER = re.compile(r"[-+]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][-+]?[0-9]{1,3})?")
_WITH_UNIT = re.compile(r"[-+]?[0-9]*[.,]?[0-9]+ ?(?:%|[^\W\d_]{1,12}|°)")
#: Headings and their places; bands by wavelength in nm.
_Columns = list[tuple[str, int]]
_Bands = dict[float, tuple[str, int]]
#: Which rows, and their numbers ``(N, K)``.
_Found = tuple[Indices, Array]


def understand(sheet: Sheet, faults: Faults) -> SwatchSet:
    """The readings of a table. Raises `InputError` with every fault of the file."""
    whole, sheet = not len(faults), cleaned(sheet, faults)
    rows = Rows(sheet.remarks, sheet.numbers, faults)
    places, bands = _columns(sheet, faults)
    faults.tell("no_readings", when=not sheet.numbers and whole)
    rows.fill({name: sheet.column(at) for name, at in places.items()})
    read = _numbers(sheet, rows, places, bands)
    _check_spelling(rows)
    faults.raise_any()
    for at, values in read:
        _doubt_copies(rows, at, values)
    pieces = rows.cells.get("swatch")
    faults.note("blank_swatch" if pieces else "no_swatch", when=not all(pieces or [""]))
    faults.notes += _about_warnings(rows)
    warnings = tuple(dict.fromkeys(faults.notes))
    return SwatchSet(rows.readings(), warnings, faults.file, rows.demo == "yes")


# Headings ---------------------------------------------------------------------------------------


def _columns(sheet: Sheet, faults: Faults) -> tuple[dict[str, int], _Bands]:
    """Where each thing stands in a row, bands apart. Raises `InputError` where rows say nothing."""
    places, bands = dict[str, int](), _Bands()
    for name, at in placed(sheet, meaning, faults).items():
        heading = sheet.headings[at]
        if (wavelength := band(heading)) is not None:
            bands[wavelength] = heading, at
        elif name in HEADER_ONLY:
            faults.tell("whole_file", sheet.header_row, heading, name=name)
        else:
            places[name] = at
    bands = dict(sorted(bands.items()))
    names = places.keys() & KNOWN
    if names or bands:
        _check_headings(names, bands, sheet.header_row, faults)
        extra = ", ".join(repr(name) for name in places if name not in names)
        faults.note("kept", when=extra, columns=extra)
    elif sheet.headings:
        faults.tell("not_understood", sheet.header_row, first=", ".join(sheet.headings[:4]))
    if not (names & {"recipe", "name"} or names >= {"dye", "owf"}):
        faults.raise_any()  # rows cannot be read even for their own faults
    return places, bands


def _check_headings(names: set[str], bands: _Bands, row: int, faults: Faults) -> None:
    """What is wrong with the columns as a whole; what is merely noticed becomes a note."""
    one_dye, wavelengths = {"dye", "owf"} & names, np.array([*bands])
    missing, recipe = [name for name in LAB if name not in names], "recipe" in names
    faults.tell("two_recipes", row, when=recipe and one_dye)
    if not recipe and len(one_dye) == 1:
        faults.tell("half_recipe", row, there=min(one_dye), absent=min({"dye", "owf"} - one_dye))
    faults.tell("no_recipe_column", row, when=not names & {"recipe", "name", "dye", "owf"})
    faults.tell("half_lab", row, when=0 < len(missing) < 3, missing=" and ".join(missing))
    faults.tell("no_reading", row, when=len(missing) == 3 and not bands and "hex" not in names)
    faults.note("unnamed", when="name" in names and not names & {"recipe", "dye", "owf"})
    if bands and (fault := grid_fault(wavelengths)):
        faults.add(fault, row)
    elif bands:
        faults.notes += grid_notes(wavelengths)


# Numbers ----------------------------------------------------------------------------------------


def _numbers(sheet: Sheet, rows: Rows, places: dict[str, int], bands: _Bands) -> list[_Found]:
    """Turn cells into readings, and settle the scale of the file; gives which rows, and numbers."""
    labs = [(name, places[name]) for name in LAB] if places.keys() >= {*LAB} else []
    taken = np.zeros(len(rows.numbers), int)
    found: dict[str, _Found] = {}
    wanted = {"spectrum": [*bands.values()], "Lab": labs} if taken.size else {}
    for kind, columns in ((kind, columns) for kind, columns in wanted.items() if columns):
        values, filled = _read(sheet, columns, taken == 0, rows)
        at = np.flatnonzero(filled & (taken == 0))
        rows.give("kind", at, kind)
        at, taken = at[np.isfinite(values[at]).all(axis=1)], taken + filled
        if len(at):
            found[kind] = at, values[at]
    coded = np.array([bool(code) for code in rows.column("hex")], bool)
    if (twice := taken + coded > 1).any():
        rows.faults.note("twice", count=twice.sum(), row=rows.numbers[int(twice.argmax())])
    if "spectrum" in found:
        _spectra(rows, *found["spectrum"], np.array([*bands]))
    if "Lab" in found:
        lab_readings(rows, *found["Lab"])
    if len(codes := np.flatnonzero(coded & (taken == 0))):
        hex_readings(rows, codes)
    return list(found.values())


def _read(sheet: Sheet, columns: _Columns, free: Flags, rows: Rows) -> tuple[Array, Flags]:
    """Numbers ``(N, K)``, NaN in rows not `free` and where one has a fault; which hold anything."""
    headings, where = zip(*columns, strict=True)
    if (values := sheet.values(where)) is not None:
        return values, np.ones(len(values), bool)
    cells = [[row[place] for place in where] for row in sheet.rows]
    filled = np.array([any(row) for row in cells])
    values, at = np.full((len(cells), len(where)), np.nan), np.flatnonzero(filled & free).tolist()
    text = "".join(cell for i in at for cell in cells[i])
    rows.faults.note("mixed_commas" if "." in text else "commas", when="," in text)
    for i in at:
        values[i] = _cells(cells[i], headings, rows.numbers[i], rows.faults)
    return values, filled


def _cells(cells: Sequence[str], headings: Sequence[str], row: int, faults: Faults) -> Array:
    """The numbers in cells that belong together; NaN, and one fault, where one is missing."""
    values = [float(c.replace(",", ".")) if _NUMBER.fullmatch(c) else np.nan for c in cells]
    blank = [i for i, cell in enumerate(cells) if not cell]
    wrong = [i for i, cell in enumerate(cells) if cell and not np.isfinite(values[i])]
    for places in filter(None, (blank, wrong)):
        cell = cells[places[0]][:40]
        more = f" ({len(places) - 1} more in this row)" if len(places) > 1 else ""
        is_unit = _WITH_UNIT.fullmatch(cell)
        which = "blank_cell" if not cell else "with_unit" if is_unit else "bad_cell"
        faults.tell(which, row, headings[places[0]], cell=cell, more=more)
    return np.array(values) if not (blank or wrong) else np.full(len(cells), np.nan)


def _spectra(rows: Rows, at: Indices, values: Array, wavelengths: Array) -> None:
    """Bring spectra ``(S, B')`` at `wavelengths` ``(B',)`` to fractions at the package's bands."""
    stated, faults = rows.scale, rows.faults
    largest, bright = float(values.max()), bool(too_bright(values).any())
    scale = stated or ("percent" if bright else "fraction")
    faults.note(f"scale.{scale}.{'stated' if stated else 'found'}", largest=largest)
    open_scale = not stated and not bright and largest > 1.0
    faults.note("no_scale", when=open_scale, largest=largest)
    faults.note("dark_percent", when=stated == "percent" and largest <= 1.0, largest=largest)
    low, high = values.min(axis=1), values.max(axis=1)
    if not stated and bright and np.median(high) <= 1.0:
        odd = high.argmax()
        column = f"{wavelengths[values[odd].argmax()]:g} nm"
        faults.tell("two_scales", rows.numbers[at[odd]], column, largest=largest)
        return
    most = 100.0 if scale == "percent" else 1.0
    fractions = values / most
    for i in np.flatnonzero((low < 0) | (high == 0) | too_bright(fractions)):
        which = "negative" if low[i] < 0 else "too_bright" if high[i] else "all_zero"
        worst = wavelengths[values[i].argmin() if low[i] < 0 else values[i].argmax()]
        told = {"low": low[i], "high": high[i], "scale": scale, "most": f"{most:g}"}
        faults.tell(which, rows.numbers[at[i]], f"{worst:g} nm", **told)
    if not len(faults):
        # Row by row in memory, as any spectrum lies: sums round alike then.
        spectra = np.ascontiguousarray(onto_grid(wavelengths, fractions))
        spectra.setflags(write=False)
        rows.give("reflectance", at, spectra)
        _doubt_spectra(rows, at, spectra, scale)


# Doubts: kept, and told once -----------------------------------------------------------


def _doubt_spectra(rows: Rows, at: Indices, spectra: Array, scale: str) -> None:
    """Say what is doubtful about reflectances ``(S, B)``, fractions."""
    top, bottom = spectra.max(axis=1), spectra.min(axis=1)
    doubtful = {
        "above_1": top > 1.0,
        "bright_blue": (top <= 1.0) & (spectra[:, 4] >= 0.95),
        "zero": bottom == 0.0,
        "dark": (top <= DARKEST) & (scale == "percent"),
    }
    for which, these in doubtful.items():
        for i in np.flatnonzero(these):
            worst = spectra[i].argmin() if which == "zero" else spectra[i].argmax()
            rows.doubt([at[i]], which, wavelength=WAVELENGTHS[worst])


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
                rows.doubt([i], "copy", row=rows.numbers[before])


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
    pairs = zip(one.split(), other.split(), strict=False)
    (a, b), *more = [(a, b) for a, b in pairs if a != b] or [("", "")]
    words = len(one.split()) == len(other.split()) and not more and (a + b).isalpha()
    may = words and min(len(a), len(b)) > 2
    return may and (sorted(a) == sorted(b) or SequenceMatcher(None, a, b).ratio() > 0.8)


def _check_spelling(rows: Rows) -> None:
    """A dye of mixtures alone that is spelt much like a dye with swatches of its own is a fault.

    A dye with a single row, spelt like one with several, is told in a note: it may be right.
    """
    first, held = dict[str, int](), [tuple(recipe or ()) for recipe in rows.given["recipe"]]
    for number, dyes in zip(rows.numbers, held, strict=True):
        for dye in dyes:
            first.setdefault(dye, number)
    alone = Counter(dyes[0] for dyes in held if len(dyes) == 1)
    for dye in first:
        more = [own for own in alone if alone[own] > alone[dye]] if alone[dye] < 2 else []
        near = [own for own in more if alike(dye, own)]
        if near and not alone[dye]:
            rows.faults.tell("misspelt", first[dye], "recipe", dye=dye, near=near[0])
        elif near:
            rows.faults.note("one_or_two", dye=dye, row=first[dye], near=near[0])
