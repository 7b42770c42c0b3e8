"""From the cells of a table, whatever file they came from, to a `SwatchSet`.

Every importer hands its cells over as a `Sheet`; what headings mean, what is doubtful and what is
refused is decided here, once for all of them.
"""

from __future__ import annotations

import re

import numpy as np

from dyemix.arrays import Array
from dyemix.dataset.swatches import SwatchSet
from dyemix.files.cells import Faults, Sheet
from dyemix.files.doubts import about_flags, about_pieces, doubts, flag_copies
from dyemix.files.headings import CONDITIONS, COVARIANCE, HEADER_ONLY, KNOWN, READING, band, meaning
from dyemix.files.rows import Context, Draft, named_recipe, rough_readings
from dyemix.files.spelling import check_spelling
from dyemix.files.wavelengths import grid_fault, grid_notes, onto_grid

_NUMBER = re.compile(r"[-+]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][-+]?[0-9]{1,3})?")
_WITH_UNIT = re.compile(r"[-+]?[0-9]*[.,]?[0-9]+ ?(?:%|[^\W\d_]{1,12}|°)")
#: A reflectance over this (200 %) is no reading of cloth, brightened or not.
_BEYOND = 2.0


def understand(sheet: Sheet, faults: Faults) -> SwatchSet:
    """The readings of a table. Raises `InputError` with every fault of the file."""
    whole = not len(faults)
    notes: list[str] = []
    header, told = header_values(sheet.remarks, faults, notes)
    columns = _columns(sheet, faults, notes)
    if not columns.understood:
        faults.raise_any()
    if not sheet.rows and whole:
        faults.add("the table has headings but no rows: one reading stands on a row.")
    drafts = _drafts(sheet, columns, Context(header, told, faults))
    _numbers(drafts, columns, header.get("scale", ""), faults, sheet, notes)
    _covariances(drafts, faults)
    check_spelling(drafts, faults, notes)
    rough_readings(drafts, header, faults, notes)
    faults.raise_any()
    flag_copies(drafts)
    readings = tuple(draft.reading(faults.file, sheet.counted) for draft in drafts)
    notes += about_pieces(readings, "swatch" in columns.place) + about_flags(drafts, sheet.counted)
    return SwatchSet(readings, (*sheet.notes, *notes), faults.file, header.get("demo") == "yes")


def header_values(
    remarks: list[tuple[int, str]], faults: Faults, notes: list[str]
) -> tuple[dict[str, str], dict[str, int]]:
    """The ``# key: value`` lines and their rows. Unknown keys are kept and told in a note."""
    values: dict[str, str] = {}
    rows: dict[str, int] = {}
    for row, remark in remarks:
        key, colon, value = (part.strip() for part in remark.partition(":"))
        if not colon or not key:
            if remark:
                notes.append(f"row {row} says: {remark}")
            continue
        name = meaning(key)
        value = " ".join(value.split())
        if name not in (*CONDITIONS, *HEADER_ONLY):
            name = key
            notes.append(f"row {row}: {key!r} is not a condition known here; kept: {key}: {value}")
        if values.get(name, value) != value:
            faults.add(f"{name} is stated twice: {values[name]!r} and {value!r}.", row)
        elif value:
            values[name], rows[name] = value, row
        if name == "demo" and value:
            values[name] = "yes" if value.lower() in ("yes", "true", "1") else "no"
            if value.lower() not in ("yes", "true", "1", "no", "false", "0"):
                faults.add(f"demo is {value!r}: write yes or no.", row)
        if name == "scale" and value:
            values[name] = "percent" if value.lower() in ("%", "percentage") else value.lower()
            if values[name] not in ("percent", "fraction"):
                faults.add(f"scale is {value!r}: write percent or fraction.", row)
        if name == "about":
            notes.append(f"about: {value}")
    return values, rows


class Columns:
    """Where each thing stands in a row."""

    def __init__(self) -> None:
        self.place: dict[str, int] = {}
        self.bands: list[tuple[float, int]] = []
        self.extra: dict[str, int] = {}
        #: Whether rows can be read for their own faults, those of the headings apart.
        self.understood = False

    @property
    def wavelengths(self) -> Array:
        return np.array([wavelength for wavelength, _ in self.bands])


def _columns(sheet: Sheet, faults: Faults, notes: list[str]) -> Columns:
    found = Columns()
    seen: dict[str, str] = {}
    for place, heading in enumerate(sheet.headings):
        wavelength = band(heading)
        name = f"{wavelength:g} nm" if wavelength is not None else meaning(heading)
        if not heading:
            if any(len(cells) > place and cells[place] for _, cells in sheet.rows):
                faults.add(f"column {place + 1} has no heading.", sheet.header_row)
            continue
        if name in seen:
            faults.add(
                f"two columns mean {name}: {seen[name]!r} and {heading!r}. Keep one.",
                sheet.header_row,
                heading,
            )
            continue
        seen[name] = heading
        if wavelength is not None:
            found.bands.append((wavelength, place))
        elif name in HEADER_ONLY:
            faults.add(
                f"{name} holds for the whole file: write it above the table, as '# {name}: …'.",
                sheet.header_row,
                heading,
            )
        else:
            (found.place if name in KNOWN else found.extra)[name] = place
    if sheet.headings:
        _check_columns(found, sheet, faults, notes)
    return found


def _check_columns(found: Columns, sheet: Sheet, faults: Faults, notes: list[str]) -> None:
    row = sheet.header_row
    if not found.bands and not found.place:
        first = ", ".join(sheet.headings[:4])
        faults.add(
            f"no headings are understood here ({first[:60]}): the table must begin with a row such "
            "as 'swatch,recipe,400,410 … 700', or with L*, a*, b* or hex in place of the bands.",
            row,
        )
        return
    if "recipe" in found.place and ("dye" in found.place or "owf" in found.place):
        faults.add("the recipe stands in 'recipe' and in 'dye' and 'owf': keep one.", row)
    elif ("dye" in found.place) != ("owf" in found.place):
        there, absent = ("dye", "owf") if "dye" in found.place else ("owf", "dye")
        faults.add(f"there is a {there} column but no {absent} column: add it.", row)
    elif found.place.keys().isdisjoint({"recipe", "dye"}):
        if "name" in found.place:
            notes.append("there is no recipe column: the samples are not named as recipes yet.")
        else:
            faults.add("there is no recipe column: add 'recipe', or 'dye' and 'owf'.", row)
    found.understood = not found.place.keys().isdisjoint({"recipe", "name"}) or (
        found.place.keys() >= {"dye", "owf"}
    )
    found.bands.sort()
    lab = [name for name in ("L*", "a*", "b*") if name in found.place]
    if found.bands:
        if fault := grid_fault(found.wavelengths):
            faults.add(fault, row)
        else:
            notes.extend(grid_notes(found.wavelengths))
    if 0 < len(lab) < 3:
        missing = [name for name in ("L*", "a*", "b*") if name not in lab]
        faults.add(f"CIELAB needs three columns: {' and '.join(missing)} is missing.", row)
    elif not found.bands and not lab and "hex" not in found.place:
        faults.add("there is no reading column: add bands (400 … 700), or L*, a*, b*, or hex.", row)
    if found.extra:
        notes.append(
            f"kept with each reading and not used: {', '.join(repr(name) for name in found.extra)}."
        )


def _drafts(sheet: Sheet, columns: Columns, context: Context) -> list[Draft]:
    """One draft a row: recipe, conditions and the text of the reading."""
    drafts: list[Draft] = []
    width = len(sheet.headings)
    short = 0
    for row, cells in sheet.rows:
        short += len(cells) < width
        if extra := [cell for cell in cells[width:] if cell]:
            context.faults.add(
                f"{len(cells)} cells under {width} headings, {extra[0][:40]!r} the first too many: "
                "a cell that holds the separator needs quotation marks.",
                row,
            )
            continue
        cells = cells + [""] * (width - len(cells))
        if cells[0].startswith("# "):
            context.faults.add("a '#' line stands above the headings: move this one there.", row)
            continue
        values = {name: cells[place] for name, place in columns.place.items()}
        kept = {name: cells[place] for name, place in columns.extra.items() if cells[place]}
        draft = Draft(row, values, kept, [cells[place] for _, place in columns.bands])
        named_recipe(draft, context)
        drafts.append(draft)
    if short:
        sheet.notes.append(
            f"rows shorter than the headings were read as blank at the end: {short} of them."
        )
    return drafts


def _number(cell: str) -> float:
    """The number in a cell, NaN where it is none; a comma counts as a decimal point."""
    return float(cell.replace(",", ".")) if _NUMBER.fullmatch(cell) else float("nan")


def _numbers(
    drafts: list[Draft],
    columns: Columns,
    stated: str,
    faults: Faults,
    sheet: Sheet,
    notes: list[str],
) -> None:
    """Turn the cells of each draft into its reading, and settle the scale of the file."""
    spectra: list[tuple[Draft, Array]] = []
    headings = [sheet.headings[place] for _, place in columns.bands]
    lab_columns = READING[:3] if columns.place.keys() >= set(READING[:3]) else ()
    for draft in drafts:
        if any(draft.bands):
            values = _cells(draft.bands, headings, draft.row, faults)
            draft.kind = "spectrum"
            if values is not None:
                spectra.append((draft, values))
        elif any(lab := [draft.values[name] for name in lab_columns]):
            draft.kind = "Lab"
            draft.lab = _cells(lab, list(READING[:3]), draft.row, faults)
        elif draft.values.get("hex"):
            draft.kind = "hex"
    both = [d.row for d in drafts if d.kind == "spectrum" and any(d.values.get(n) for n in READING)]
    both += [d.row for d in drafts if d.kind == "Lab" and d.values.get("hex")]
    if both:
        notes.append(
            f"{len(both)} rows give a colour twice (first: row {both[0]}): the spectrum is used "
            "before CIELAB, and CIELAB before hex."
        )
    cells = [cell for draft in drafts for cell in draft.bands]
    cells += [draft.values.get(name, "") for draft in drafts for name in READING[:3]]
    if any("," in cell for cell in cells):
        mixed = any("." in cell for cell in cells)
        notes.append(
            "decimal points and decimal commas are mixed; both were read as decimals."
            if mixed
            else "numbers have decimal commas."
        )
    if spectra:
        _spectra(spectra, columns, stated, faults, notes)


def _cells(cells: list[str], headings: list[str], row: int, faults: Faults) -> Array | None:
    """The numbers in cells that belong together; None, and one fault, where one is missing."""
    values = np.array([_number(cell) for cell in cells])
    bad = np.flatnonzero(~np.isfinite(values))
    if not len(bad):
        return values
    blank = [i for i in bad if not cells[i]]
    wrong = [i for i in bad if cells[i]]
    for places, what in ((blank, "is blank while the rest of the reading is not"), (wrong, "")):
        if places:
            more = f" ({len(places) - 1} more in this row)" if len(places) > 1 else ""
            cell = cells[places[0]][:40] if not what else ""
            cure = "write the reading, or leave all of it blank until it is read."
            if _WITH_UNIT.fullmatch(cell):
                cure = "write the number alone; the scale stands once, as '# scale: percent'."
            what = what or f"{cell!r} is not a number"
            faults.add(f"{what}{more}: {cure}", row, headings[places[0]])
    return None


def _covariances(drafts: list[Draft], faults: Faults) -> None:
    """The covariance of a reading's CIELAB, where the table carries one (a photograph's does)."""
    for draft in drafts:
        cells = [draft.values.get(name, "") for name in COVARIANCE]
        if not any(cells):
            continue
        values = _cells(cells, list(COVARIANCE), draft.row, faults)
        if values is None:
            continue
        matrix = values[[[0, 3, 4], [3, 1, 5], [4, 5, 2]]]
        spread = np.linalg.eigvalsh(matrix) if abs(values).max() < 1e6 else np.array([-1.0])
        if spread[0] < -1e-6 * max(spread[-1], 1e-6):
            faults.add(
                "these six numbers are no covariance of L*, a*, b*: variances are 0 or more and "
                "no covariance is larger than its variances allow.",
                draft.row,
                COVARIANCE[0],
            )
        draft.covariance = matrix


def _spectra(
    spectra: list[tuple[Draft, Array]],
    columns: Columns,
    stated: str,
    faults: Faults,
    notes: list[str],
) -> None:
    values = np.array([row for _, row in spectra])
    largest = float(values.max())
    scale = stated or ("percent" if largest > _BEYOND else "fraction")
    notes.append(
        f"reflectance is in {'percent' if scale == 'percent' else 'fractions of 1'}"
        + (", as the file states." if stated else f": the largest value is {largest:.4g}.")
    )
    if not stated and 1.0 < largest <= _BEYOND:
        notes.append(
            f"the largest value, {largest:.4g}, could be a bright fraction or a very dark "
            "percentage: write '# scale: percent' or '# scale: fraction' above the table."
        )
    if stated == "percent" and largest <= 1.0:
        notes.append(f"no value is above {largest:.4g} %: is the scale really percent?")
    if not stated and largest > _BEYOND and np.median(values.max(axis=1)) <= 1.0:
        draft, row = max(spectra, key=lambda pair: float(pair[1].max()))
        faults.add(
            f"{largest:g} looks like percent and most other rows like fractions of 1: correct it, "
            "or write '# scale: percent' above the table.",
            draft.row,
            f"{columns.wavelengths[int(np.argmax(row))]:g} nm",
        )
        return
    fractions = values / 100.0 if scale == "percent" else values
    wavelengths = columns.wavelengths
    for (draft, raw), row in zip(spectra, fractions, strict=True):
        worst = int(np.argmin(row))
        if row[worst] < 0:
            faults.add(
                f"a reflectance of {raw[worst]:g} is negative: read the swatch again, with the "
                "instrument zeroed.",
                draft.row,
                f"{wavelengths[worst]:g} nm",
            )
        elif row[top := int(np.argmax(row))] > _BEYOND:
            faults.add(
                f"{raw[top]:g} is not a reflectance in {scale}: cloth gives "
                f"{'0 to 100' if scale == 'percent' else '0 to 1'}.",
                draft.row,
                f"{wavelengths[top]:g} nm",
            )
        elif row[top] == 0:
            faults.add("every band of this row is 0: read the swatch again.", draft.row)
    kept = onto_grid(wavelengths, fractions) if not len(faults) else np.empty((0, 0))
    for (draft, _), row in zip(spectra, kept, strict=False):
        draft.reflectance = row
        draft.doubt(*doubts(row, scale))
