"""What is doubtful about the rows of a table: flagged, kept, and told once a doubt."""

from __future__ import annotations

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import WAVELENGTHS
from dyemix.dataset.swatches import Reading
from dyemix.files.headings import READING
from dyemix.files.rows import Draft


def doubts(reflectance: Array, scale: str) -> list[str]:
    """What is doubtful about a reflectance ``(B,)``, a fraction."""
    found = []
    top = int(np.argmax(reflectance))
    if reflectance[top] > 1.0:
        found.append(
            f"above 1 at {WAVELENGTHS[top]:g} nm: fluorescent (a brightener) or miscalibrated"
        )
    elif reflectance[4] >= 0.95:
        found.append("0.95 or more at 440 nm: a brightener? Kubelka–Munk does not hold there")
    if (reflectance == 0.0).any():
        found.append(f"0 at {WAVELENGTHS[np.argmin(reflectance)]:g} nm: below what can be read")
    if scale == "percent" and reflectance[top] <= 0.01:
        found.append("no value above 1 %: a fraction in a file of percentages?")
    return found


def flag_copies(drafts: list[Draft]) -> None:
    """Flag a reading that repeats an earlier one digit for digit; chance hardly does that."""
    first: dict[tuple[object, ...], int] = {}
    for draft in drafts:
        if draft.kind not in ("spectrum", "Lab"):
            continue  # two readings of one cloth do share a hex code now and then
        cells = draft.bands if draft.kind == "spectrum" else [draft.values[n] for n in READING[:3]]
        key = (draft.recipe, draft.values.get("swatch"), draft.values.get("name"), *cells)
        before = first.setdefault(key, draft.row)
        if before != draft.row and not any(f.startswith("same as row") for f in draft.flags):
            draft.doubt(f"same as row {before}: a copy?")


def about_pieces(readings: tuple[Reading, ...], told: bool) -> list[str]:
    """How readings are taken to make pieces, where not every row names its own."""
    if not told:
        return ["there is no swatch column: rows of one recipe are taken as readings of one cloth."]
    if any(not reading.swatch for reading in readings):
        return ["where swatch is blank, rows of one recipe are taken as readings of one cloth."]
    return []


def about_flags(drafts: list[Draft], counted: str) -> list[str]:
    """One sentence a doubt, with the rows (objects, columns) it holds for."""
    rows: dict[str, list[int]] = {}
    for draft in drafts:
        for flag in draft.flags:
            rows.setdefault(flag, []).append(draft.row)
    told = []
    for flag, at in rows.items():
        few = ", ".join(str(row) for row in at[:6]) + (f" and {len(at) - 6} more" if at[6:] else "")
        told.append(
            f"{counted if len(at) == 1 else counted + 's'} {few}: {flag.removesuffix('?')}"
            + ("?" if flag.endswith("?") else ".")
        )
    return told
