"""A frame to readings: what its columns mean, and every fault by row and column."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from dyemix.arrays import LAB, numbers
from dyemix.colour.colorimetry import Light
from dyemix.colour.spectra import Unit, band, headed_bands
from dyemix.dataset.conditions import CONDITIONS
from dyemix.dataset.readings import CELLS, Reading
from dyemix.dataset.recipe import Recipe, dye_name, is_name
from dyemix.dataset.result import Frame
from dyemix.errors import DyemixError, Fault, InputError

_KNOWN = {"recipe", "as written", *LAB, "hex", "light", *CELLS, *CONDITIONS}
_SHORT = {"L": "L*", "a": "a*", "b": "b*"}
#: What counts rows is no dye, though it holds numbers.
_COUNTING = {"id", "index", "no", "number", "row", "sample", "batch"}


def readings_of(
    table: Frame, light: Light | str | None, scale: Unit, conditions: Mapping[str, str]
) -> tuple[Reading, ...]:
    """The readings of a frame, as `SwatchSet.from_frame` says; recipes may be missing."""
    heads = [str(column).strip() for column in table.columns]
    heads = [_SHORT.get(h, h) for h in heads] if _SHORT.keys() <= {*heads} else heads
    table = table.set_axis(heads, axis=1)
    bands = [head for head in heads if band(head)]
    dyes = [h for h in heads if h not in _KNOWN and h not in bands and h[:2] != "# "]
    kinds = {dye: table[[dye]].dtypes.iloc[0].kind for dye in dyes}
    strange = [dye for dye, kind in kinds.items() if kind not in "iuf" or not _may_be_dye(dye)]
    if strange or len({*heads}) < len(heads):
        wrong = f"what is {', '.join(strange)}?" if strange else "two columns are called alike."
        known = "recipe, swatch, L*, a*, b*, hex, 400 nm …, light, name, place, and conditions"
        raise InputError(Fault(f"{wrong} A frame of readings has {known}, and amounts by dye."))
    wavelengths = headed_bands(table[bands])
    faults, out = [], []
    for at, row in enumerate(table.astype(object).where(table.notna(), "").to_dict("records")):
        cells = {str(head): x for head, x in row.items() if x != ""}
        try:
            spectrum = _whole(cells, bands)
            about = _about(cells, conditions)
            recipe = _recipe(cells, {dye: cells[dye] for dye in dyes if dye in cells})
            if spectrum:
                lit = cells.get("light", light)
                if about.get("kind") in ("Lab", "hex") and lit is not None:
                    about |= {"lab": numbers(_whole(cells, LAB)), "light": lit}
                out.append(
                    Reading.from_spectrum(spectrum, wavelengths, recipe, scale=scale, **about)
                )
            else:
                out.append(_without_spectrum(cells, recipe, light, about))
        except DyemixError as error:
            faults.append(Fault(str(error), row=at))
    if faults:
        raise InputError(faults)
    return tuple(out)


def _may_be_dye(heading: str) -> bool:
    return is_name(heading.removesuffix(" % owf")) and heading.lower() not in _COUNTING


def _whole(cells: Mapping[str, Any], heads: Sequence[str]) -> list[Any]:
    """What stands under these headings, all of it or nothing."""
    found = [cells[head] for head in heads if head in cells]
    if 0 < len(found) < len(heads):
        raise DyemixError("part of this reading is missing: give all of it, or leave it all blank.")
    return found


def _about(cells: Mapping[str, Any], conditions: Mapping[str, str]) -> dict[str, Any]:
    """Attributes of the reading that stand in words, and its conditions."""
    told = {name: read(str(cells[name])) for name, (_, read) in CELLS.items() if name in cells}
    own = {h.removeprefix("# "): str(cells[h]) for h in cells if h in CONDITIONS or h[:2] == "# "}
    return told | {"conditions": {**conditions, **own}}


def _recipe(cells: Mapping[str, Any], own: Mapping[str, float]) -> Recipe | None:
    """What the row was dyed with; its text and its columns must agree."""
    own = {dye_name(head.removesuffix(" % owf")): amount for head, amount in own.items()}
    if "recipe" not in cells:
        return Recipe(own) if own else None
    recipe = Recipe.parse(cells["recipe"])
    for dye, amount in own.items():
        if not np.isclose(amount, recipe.get(dye, 0.0), rtol=1e-6):
            raise DyemixError(
                f"column {dye!r} says {amount:g} % owf and 'recipe' says {recipe}: which is right?"
            )
    return Recipe(recipe, cells["as written"]) if "as written" in cells else recipe


def _without_spectrum(
    cells: Mapping[str, Any], recipe: Recipe | None, light: Light | str | None, about: Any
) -> Reading:
    """A reading of CIELAB or a hex code, or one that is still blank."""
    lit = cells.get("light", light)
    if colour := _whole(cells, LAB):
        if lit is None:
            raise DyemixError("L*a*b* without its light: give light='D65/10', or a column 'light'.")
        return Reading.from_lab(colour, lit, recipe, **about)
    if "hex" in cells:
        return Reading.from_hex(cells["hex"], recipe, **about)
    return Reading(recipe, None, **{**about, "kind": "blank"})
