"""From the cells of a table, whatever file they came from, to a `SwatchSet`.

Every importer hands its cells over as a `Sheet`; what headings mean, what is doubtful and what is
refused is decided here, once for all of them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from difflib import SequenceMatcher

import numpy as np

from dyemix.arrays import LAB, Array
from dyemix.colour.colorimetry import WAVELENGTHS
from dyemix.colour.spectra import DARKEST, grid_fault, grid_notes, onto_grid, too_bright
from dyemix.dataset.swatches import SwatchSet
from dyemix.files.cells import Faults, Sheet, cleaned, few, placed
from dyemix.files.headings import HEADER_ONLY, KNOWN, band, meaning
from dyemix.files.rows import Context, Draft, drafted, rough_readings

_NUMBER = re.compile(r"[-+]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][-+]?[0-9]{1,3})?")
_PLAIN = re.compile("[0-9.;eE+-]+")
_WITH_UNIT = re.compile(r"[-+]?[0-9]*[.,]?[0-9]+ ?(?:%|[^\W\d_]{1,12}|°)")


def understand(sheet: Sheet, faults: Faults) -> SwatchSet:
    """The readings of a table. Raises `InputError` with every fault of the file."""
    whole, sheet = not len(faults), cleaned(sheet, faults)
    context = Context(sheet.remarks, faults)
    columns = _columns(sheet, faults)
    if not columns.understood:
        faults.raise_any()
    if not sheet.rows and whole:
        faults.add("the table has headings but no rows: one reading stands on a row.")
    drafts = []
    for row, cells in sheet.rows:
        values = {name: cells[place] for name, place in columns.place.items()}
        kept = {name: cells[place] for name, place in columns.extra.items() if cells[place]}
        bands = [cells[place] for _, place in columns.bands.values()]
        drafts.append(drafted(row, values, kept, bands, context))
    _numbers(drafts, columns, context)
    _check_spelling(drafts, faults)
    rough_readings(drafts, faults)
    faults.raise_any()
    _doubt_copies(drafts)
    readings = tuple(draft.reading(faults) for draft in drafts)
    taken = "rows of one recipe are taken as readings of one cloth."
    if "swatch" not in columns.place:
        faults.notes.append(f"there is no swatch column: {taken}")
    elif any(not reading.swatch for reading in readings):
        faults.notes.append(f"where swatch is blank, {taken}")
    faults.notes += _about_warnings(drafts, faults.counted)
    return SwatchSet(readings, tuple(dict.fromkeys(faults.notes)), faults.file, context.demo)


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


def _numbers(drafts: list[Draft], columns: _Columns, context: Context) -> None:
    """Turn the cells of each draft into its reading, and settle the scale of the file."""
    notes, whole = context.faults.notes, columns.place.keys() >= set(LAB)
    read: dict[str, dict[int, list[str]]] = {"spectrum": {}, "Lab": {}, "hex": {}}
    twice: list[int] = []
    for i, draft in enumerate(drafts):
        lab = [draft.values.get(name, "") for name in LAB]
        held = {"spectrum": draft.bands, "Lab": lab, "hex": [draft.values.get("hex", "")]}
        kinds = [kind for kind, cells in held.items() if any(cells)]
        twice += [draft.row] if len(kinds) > 1 else []
        if kinds and (kinds[0] != "Lab" or whole):
            draft.given["kind"] = kinds[0]
            read[kinds[0]][i] = held[kinds[0]]
    if twice:
        many = f"{len(twice)} rows give a colour twice (first: row {twice[0]})"
        notes.append(f"{many}: the spectrum is used before CIELAB, CIELAB before hex.")
    text = " ".join(
        cell for kind in (read["spectrum"], read["Lab"]) for x in kind.values() for cell in x
    )
    if "," in text:
        mixed = "decimal points and decimal commas are mixed; both were read as decimals."
        notes.append(mixed if "." in text else "numbers have decimal commas.")
    headings = [heading for heading, _ in columns.bands.values()]
    spectra = _values(drafts, read["spectrum"], headings, context.faults)
    for i, values in _values(drafts, read["Lab"], LAB, context.faults).items():
        drafts[i].given["lab"] = values
    if spectra:
        _spectra([(drafts[i], v) for i, v in spectra.items()], columns.wavelengths, context)


def _values(
    drafts: Sequence[Draft], cells: Mapping[int, list[str]], headings: Sequence[str], faults: Faults
) -> dict[int, Array]:
    """Numbers that belong together, by draft; one where some are missing is a fault, left out."""
    with suppress(ValueError):  # most tables are plain numbers, and take a twentieth of the time
        if all(_PLAIN.fullmatch(";".join(x)) for x in cells.values()):
            values = np.array(list(cells.values()), float)
            if np.isfinite(values).all():
                return dict(zip(cells, values, strict=True))
    found = {i: _cells(x, headings, drafts[i].row, faults) for i, x in cells.items()}
    return {i: values for i, values in found.items() if values is not None}


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


def _spectra(spectra: list[tuple[Draft, Array]], wavelengths: Array, context: Context) -> None:
    """Bring spectra ``(S, B')`` at `wavelengths` ``(B',)`` to fractions at the package's bands."""
    stated, faults = context.scale, context.faults
    values = np.array([row for _, row in spectra])
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
        faults.add(f"{what}: {cure}", spectra[odd][0].row, f"{wavelengths[top]:g} nm")
        return
    fractions = values / 100.0 if scale == "percent" else values
    cloth = "0 to 100" if scale == "percent" else "0 to 1"
    low, high = values.min(axis=1), values.max(axis=1)
    for i in np.flatnonzero((low < 0) | (high == 0) | too_bright(fractions)):
        at = values[i].argmin() if low[i] < 0 else values[i].argmax()
        what = f"{high[i]:g} is not a reflectance in {scale}: cloth gives {cloth}."
        if low[i] < 0:
            what = f"a reflectance of {low[i]:g} is negative: zero the instrument, read it again."
        elif high[i] == 0:
            what = "every band of this row is 0: read the swatch again."
        faults.add(what, spectra[i][0].row, f"{wavelengths[at]:g} nm")
    if not len(faults):
        for (draft, _), row in zip(spectra, onto_grid(wavelengths, fractions), strict=True):
            draft.given["reflectance"] = row
            draft.doubt(*_doubts(row, scale))


# Doubts: kept, and told once -----------------------------------------------------------


def _doubts(reflectance: Array, scale: str) -> list[str]:
    """What is doubtful about a reflectance ``(B,)``, a fraction."""
    found = []
    top = int(np.argmax(reflectance))
    if reflectance[top] > 1.0:
        why = "fluorescent (a brightener) or miscalibrated"
        found.append(f"above 1 at {WAVELENGTHS[top]:g} nm: {why}")
    elif reflectance[4] >= 0.95:
        found.append("0.95 or more at 440 nm: a brightener? Kubelka–Munk does not hold there")
    if (reflectance == 0.0).any():
        found.append(f"0 at {WAVELENGTHS[np.argmin(reflectance)]:g} nm: below what can be read")
    if scale == "percent" and reflectance[top] <= DARKEST:
        found.append("no value above 1 %: a fraction in a file of percentages?")
    return found


def _doubt_copies(drafts: list[Draft]) -> None:
    """Doubt a reading that repeats an earlier one digit for digit; chance hardly does that."""
    first: dict[tuple[object, ...], int] = {}
    for draft in drafts:
        if draft.kind not in ("spectrum", "Lab"):
            continue  # two readings of one cloth do share a hex code now and then
        cells = draft.bands if draft.kind == "spectrum" else [draft.values[n] for n in LAB]
        told = draft.given
        key = (told["recipe"], told.get("swatch"), told.get("name"), *cells)
        before = first.setdefault(key, draft.row)
        if before != draft.row and "same as row" not in "".join(told.get("warnings", ())):
            draft.doubt(f"same as row {before}: a copy?")


def _about_warnings(drafts: list[Draft], counted: str) -> list[str]:
    """One sentence a doubt, with the rows (objects, columns) it holds for."""
    rows: dict[str, list[str]] = {}
    for draft in drafts:
        for warning in draft.given.get("warnings", ()):
            rows.setdefault(warning, []).append(str(draft.row))
    return [
        f"{counted}{'s' * (len(at) > 1)} {few(at, 6)}: {text}{'' if text[-1] == '?' else '.'}"
        for text, at in rows.items()
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


def _check_spelling(drafts: list[Draft], faults: Faults) -> None:
    """A dye of mixtures alone that is spelt much like a dye with swatches of its own is a fault.

    A dye with a single row, spelt like one with several, is told in a note: it may be right.
    """
    alone: dict[str, int] = {}
    first: dict[str, int] = {}
    for draft in drafts:
        recipe = draft.given["recipe"] or ()
        for dye in recipe:
            first.setdefault(dye, draft.row)
            alone[dye] = alone.get(dye, 0) + (len(recipe) == 1)
    for dye, rows in alone.items():
        near = [own for own in alone if alone[own] > rows and alike(dye, own)] if rows < 2 else []
        if near and rows == 0:
            cure = f"correct the spelling, or give {dye!r} swatches of its own."
            what = f"{dye!r} has no swatch of its own: is {near[0]!r} meant? If so, {cure}"
            faults.add(what, first[dye], "recipe")
        elif near:
            one = f"{dye!r} (row {first[dye]}) has one row and is spelt much like {near[0]!r}"
            faults.notes.append(f"{one}: one dye or two?")
