"""A frame to readings: what its columns mean, and every fault by row and column."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from dyemix.colour.colorimetry import Light
from dyemix.colour.spectra import Unit
from dyemix.dataset.clipped import Clipped, from_text
from dyemix.dataset.readings import CONDITIONS, SEPARATOR, Reading
from dyemix.dataset.recipe import Recipe, dye_name
from dyemix.errors import DyemixError, Fault, InputError

if TYPE_CHECKING:
    import pandas as pd

_LAB = ("L*", "a*", "b*")
_WORDS = ("swatch", "name", "place", "kind", "light", "hex", "clipped", "covariance", "warnings")
_KNOWN = {"recipe", "as written", *_LAB, *_WORDS, *CONDITIONS}
_BAND = re.compile(r"(\d{3,4}(?:\.\d+)?)(?: ?nm)?")


def readings_of(
    table: pd.DataFrame, light: Light | str | None, scale: Unit, conditions: Mapping[str, str]
) -> tuple[Reading, ...]:
    """The readings of a frame, as `SwatchSet.from_frame` says."""
    import pandas as pd

    heads = [str(column).strip() for column in table.columns]
    bands = {head: float(m[1]) for head in heads if (m := _BAND.fullmatch(head))}
    others = [h for h in heads if h not in _KNOWN and h not in bands and h[:2] != "# "]
    dyes = [h.removesuffix(" % owf") for h in others]
    table = table.set_axis(heads, axis=1)
    if not table.columns.is_unique:
        raise InputError(Fault(f"a column stands twice in this frame: {', '.join(heads)}."))
    words = [h for h in others if not pd.api.types.is_numeric_dtype(table[h].dtype)]
    if words or not ("recipe" in heads or dyes):
        known = "recipe, swatch, L*, a*, b*, hex, 400 nm …, light, name, place"
        wrong = f"{', '.join(words)} is not known" if words else "no column is 'recipe'"
        raise InputError(
            Fault(f"{wrong}: a frame of readings has the columns {known}, conditions.")
        )
    faults, out = [], []
    for at, row in enumerate(table.to_dict("records")):
        cells = {str(h): value for h, value in row.items() if _given(value)}
        own = {name: cells[h] for h, name in zip(others, dyes, strict=True) if h in cells}
        try:
            recipe = _recipe(cells, own)
            seen = {
                n: cells[h]
                for h in cells
                if (n := CONDITIONS.get(h, h[2:])) in CONDITIONS or h[:2] == "# "
            }
            about = {"conditions": {**conditions, **{k: str(v) for k, v in seen.items()}}}
            out.append(_reading(cells, recipe, bands, light, scale, about))
        except DyemixError as error:
            faults.append(Fault(str(error), counted="row", row=at))
    if faults:
        raise InputError(faults)
    return tuple(out)


def _given(value: Any) -> bool:
    return value is not None and value == value and not (isinstance(value, str) and not value)


def _recipe(cells: Mapping[str, Any], own: Mapping[str, float]) -> Recipe | None:
    """What the row was dyed with; its text and its columns must agree."""
    if "recipe" not in cells:
        return Recipe(own) if own else None
    recipe = Recipe.parse(cells["recipe"])
    for dye, amount in own.items():
        if not np.isclose(amount, recipe.get(dye_name(dye), 0.0), rtol=1e-6):
            raise DyemixError(
                f"column {dye!r} says {amount:g} % owf and 'recipe' says {recipe}: which is right?"
            )
    return Recipe(recipe, cells["as written"]) if "as written" in cells else recipe


def _reading(
    cells: Mapping[str, Any],
    recipe: Recipe | None,
    bands: Mapping[str, float],
    light: Light | str | None,
    scale: Unit,
    about: dict[str, Any],
) -> Reading:
    about |= {
        name: str(cells[name]) for name in ("swatch", "name", "place", "kind") if name in cells
    }
    about |= {"warnings": tuple(cells["warnings"].split(SEPARATOR))} if "warnings" in cells else {}
    about |= {"clipped": Clipped.parse(cells["clipped"])} if "clipped" in cells else {}
    about |= {"covariance": from_text(cells["covariance"])} if "covariance" in cells else {}
    light = cells.get("light", light)
    colour = [cells[name] for name in _LAB if name in cells]
    spectrum = [cells[head] for head in bands if head in cells]
    if 0 < len(spectrum) < len(bands) or 0 < len(colour) < 3:
        raise DyemixError("part of this reading is missing: give all of it, or leave it all blank.")
    if spectrum and about.get("kind") in ("Lab", "hex") and light is not None:
        return Reading(
            recipe, np.array(spectrum), lab=np.array(colour), light=Light.parse(light), **about
        )
    if spectrum:
        at = list(bands.values())
        return Reading.from_spectrum(spectrum, at, recipe, scale=scale, **about)
    if colour and light is None:
        raise DyemixError("L*a*b* without its light: give light='D65/10', or a column 'light'.")
    if colour and light is not None:
        return Reading.from_lab(colour, light, recipe, **about)
    if "hex" in cells:
        return Reading.from_hex(cells["hex"], recipe, **about)
    return Reading(recipe, None, **{**about, "kind": "blank"})
