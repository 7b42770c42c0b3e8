"""Writes a `SwatchSet` as the table that `read_swatches` reads."""

from __future__ import annotations

import csv
import io
import os
from pathlib import Path

from dyemix.colour.colorimetry import WAVELENGTHS, screen_colours
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.files.headings import COVARIANCE, FLAG_SEPARATOR, READING

_DECIMALS = 6


def recipe_text(recipe: Recipe | None) -> str:
    """Every digit, where `str(recipe)` gives the three a dyer can use."""
    if recipe is None:
        return ""
    return (
        " + ".join(f"{dye} {repr(amount).removesuffix('.0')}" for dye, amount in recipe.items())
        or "undyed"
    )


def _conditions(reading: Reading) -> dict[str, str]:
    """The conditions with the light written out, so that it need not be assumed again."""
    found = {key: " ".join(str(value).split()) for key, value in reading.conditions.items()}
    if reading.kind == "Lab" and reading.light is not None:
        found["illuminant"] = reading.light.illuminant
        found["observer"] = str(reading.light.observer)
    return found


def _cells(reading: Reading) -> dict[str, str]:
    row = {"recipe": recipe_text(reading.recipe), "swatch": reading.swatch, "name": reading.name}
    written = reading.recipe.as_written if reading.recipe is not None else ""
    row["as written"] = "" if written == row["recipe"] else written
    row["flags"] = FLAG_SEPARATOR.join(reading.flags)
    if reading.kind == "Lab" and reading.lab is not None:
        row |= {n: f"{x:.{_DECIMALS}f}" for n, x in zip(READING, reading.lab, strict=False)}
    elif reading.kind == "hex" and reading.lab is not None:
        row["hex"] = screen_colours(reading.lab)[0].hex
    elif reading.reflectance is not None:
        spectrum = zip(WAVELENGTHS, reading.reflectance, strict=True)
        row |= {f"{w:g} nm": f"{x:.{_DECIMALS}f}" for w, x in spectrum}
    if reading.covariance is not None:
        c = reading.covariance
        six = (c[0, 0], c[1, 1], c[2, 2], c[0, 1], c[0, 2], c[1, 2])
        row |= {name: f"{value:.9g}" for name, value in zip(COVARIANCE, six, strict=True)}
    return row


def cells_of(swatches: SwatchSet) -> tuple[dict[str, str], list[str], list[dict[str, str]]]:
    """What any table of these swatches holds: shared conditions, columns, and the rows."""
    rows = [_cells(reading) for reading in swatches.readings]
    conditions = [_conditions(reading) for reading in swatches.readings]
    keys = dict.fromkeys(key for each in conditions for key in each)
    shared = {
        key: conditions[0][key]
        for key in keys
        if ":" not in key and len({each.get(key) for each in conditions}) == 1
    }
    for row, each in zip(rows, conditions, strict=True):
        row |= {key: value for key, value in each.items() if key not in shared}
    used = {key for row in rows for key, value in row.items() if value}
    columns = ["swatch", "name", "recipe", "as written"]
    columns = [name for name in columns if name in used or name in ("swatch", "recipe")]
    spectral = [f"{w:g} nm" for w in WAVELENGTHS]
    readings = [name for name in (*READING, *spectral) if name in used] or list(READING)
    columns += [key for key in keys if key not in shared and key in used] + readings
    columns += [name for name in COVARIANCE if name in used]
    columns += ["flags"] if "flags" in used else []
    return shared, columns, rows


def table_text(swatches: SwatchSet) -> str:
    """Readings as the table that `read_swatches` gives back, to six decimals.

    Conditions that are the same for every reading go above the table, the others into columns;
    reflectance is written as a fraction. A set with nothing read yet gets L*, a*, b* and hex to
    fill in. Notes are not written: reading the table makes them anew.
    """
    shared, columns, rows = cells_of(swatches)
    out = io.StringIO()
    if swatches.demo:
        out.write("# demo: yes\n")
    out.writelines(f"# {key}: {value}\n" for key, value in shared.items())
    if f"{WAVELENGTHS[-1]:g} nm" in columns:
        out.write("# scale: fraction\n")
    table = csv.DictWriter(out, columns, restval="", extrasaction="ignore", lineterminator="\n")
    table.writeheader()
    table.writerows(rows)
    return out.getvalue()


def write_swatches(swatches: SwatchSet, path: str | os.PathLike[str]) -> None:
    """Write the table of `table_text` to a file."""
    Path(path).write_text(table_text(swatches), encoding="utf-8")
