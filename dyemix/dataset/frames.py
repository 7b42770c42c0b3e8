"""A frame to readings: what its columns mean, and every fault by row and column."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import numpy as np

from dyemix.colour.colorimetry import Light
from dyemix.colour.spectra import Unit
from dyemix.dataset.conditions import CONDITIONS
from dyemix.dataset.readings import CELLS, Reading
from dyemix.dataset.recipe import Recipe, dye_name
from dyemix.dataset.result import Frame
from dyemix.errors import DyemixError, Fault, InputError

_LAB = ("L*", "a*", "b*")
_KNOWN = {"recipe", "as written", *_LAB, "hex", "light", *CELLS, *CONDITIONS}
_BAND = re.compile(r"(\d{3,4}(?:\.\d+)?)(?: ?nm)?")


def readings_of(
    table: Frame, light: Light | str | None, scale: Unit, conditions: Mapping[str, str]
) -> tuple[Reading, ...]:
    """The readings of a frame, as `SwatchSet.from_frame` says."""
    heads = [str(column).strip() for column in table.columns]
    table = table.set_axis(heads, axis=1)
    bands = {head: float(m[1]) for head in heads if (m := _BAND.fullmatch(head))}
    dyes = [h for h in heads if h not in _KNOWN and h not in bands and h[:2] != "# "]
    strange = [dye for dye in dyes if table[[dye]].dtypes.iloc[0].kind not in "iuf"]
    if strange or len({*heads}) < len(heads) or not ("recipe" in heads or dyes):
        wrong = f"what is {', '.join(strange)}?" if strange else "one 'recipe' is wanted."
        known = "recipe, swatch, L*, a*, b*, hex, 400 nm …, light, name, place, and conditions"
        raise InputError(Fault(f"{wrong} A frame of readings has each column once: {known}."))
    faults, out = [], []
    for at, row in enumerate(table.to_dict("records")):
        cells = {str(head): x for head, x in row.items() if x == x and x not in ("", None)}
        try:
            words = ((name, read) for name, (_, read) in CELLS.items() if name in cells)
            about = {name: read(str(cells[name])) for name, read in words}
            named = [h for h in cells if h in CONDITIONS or h[:2] == "# "]
            seen = {head.removeprefix("# "): str(cells[head]) for head in named}
            about["conditions"] = {**conditions, **seen}
            recipe = _recipe(cells, {dye: cells[dye] for dye in dyes if dye in cells})
            out.append(_reading(cells, recipe, bands, light, scale, about))
        except DyemixError as error:
            faults.append(Fault(str(error), row=at))
    if faults:
        raise InputError(faults)
    return tuple(out)


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


def _reading(
    cells: Mapping[str, Any],
    recipe: Recipe | None,
    bands: Mapping[str, float],
    light: Light | str | None,
    scale: Unit,
    about: dict[str, Any],
) -> Reading:
    light = cells.get("light", light)
    colour = [cells[name] for name in _LAB if name in cells]
    spectrum = [cells[head] for head in bands if head in cells]
    if 0 < len(spectrum) < len(bands) or 0 < len(colour) < 3:
        raise DyemixError("part of this reading is missing: give all of it, or leave it all blank.")
    if spectrum and about.get("kind") in ("Lab", "hex") and light is not None:
        about |= {"lab": np.array(colour), "light": Light.parse(light)}
    if spectrum:
        return Reading.from_spectrum(spectrum, list(bands.values()), recipe, scale=scale, **about)
    if colour and light is None:
        raise DyemixError("L*a*b* without its light: give light='D65/10', or a column 'light'.")
    if colour and light is not None:
        return Reading.from_lab(colour, light, recipe, **about)
    if "hex" in cells:
        return Reading.from_hex(cells["hex"], recipe, **about)
    return Reading(recipe, None, **{**about, "kind": "blank"})
