"""One finished piece, or the colours of a job, from what the dyer types or names."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from dyemix.colour.colorimetry import Light, smoothest_reflectance
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError, Fault, InputError
from dyemix.files import read_swatches
from dyemix.files.targets import read_targets


def read_piece(words: str, light: Light, recipe: Recipe | None = None) -> Reading:
    """The reading of one finished piece.

    Parameters
    ----------
    words : the name of a file that `read_swatches` reads, or a hex code, or L* a* b*.
    light : the light of an L* a* b* that does not name its own.
    recipe : which piece is meant, where the file holds several.

    Several readings of the piece are averaged, in reflectance. A hex code or L* a* b* gets the
    smoothest spectrum with that colour: rough. Raises `InputError` for a file that holds no
    reading, or several pieces and none of this recipe; `TargetError` for what is not a colour.
    """
    path = Path(words)
    if not re.search(r"\.\w*[A-Za-z]\w*$", words) and not path.is_file():
        target = Target.parse(words).under(light)
        assert target.light is not None
        reflectance = smoothest_reflectance(target.lab, target.light)[0]
        kind = "hex" if target.kind == "hex" else "Lab"
        return Reading(
            recipe, reflectance, kind=kind, lab=target.lab, light=target.light, name=words
        )
    readings = [r for r in read_swatches(path).readings if r.reflectance is not None]
    if len({(r.recipe, r.swatch, r.name) for r in readings}) > 1 and recipe is not None:
        readings = [r for r in readings if r.recipe == recipe] or readings
    pieces = {(r.recipe, r.swatch, r.name) for r in readings}
    if len(pieces) != 1:
        which = f" of {recipe}" if recipe is not None else ""
        raise InputError(
            Fault(
                f"{len(pieces)} pieces were read here, where one{which} is wanted: keep its rows "
                "in a file of their own.",
                path.name,
            )
        )
    return _mean(readings)


def _mean(readings: Sequence[Reading]) -> Reading:
    """The mean of readings of one piece; of CIELAB too, where that is what was read."""
    first = readings[0]
    if len(readings) == 1:
        return first
    reflectance = np.mean([r.reflectance for r in readings if r.reflectance is not None], axis=0)
    rough = [r for r in readings if r.rough]
    flags = tuple(dict.fromkeys(flag for r in readings for flag in r.flags))
    if not rough:
        return Reading(
            first.recipe, reflectance, first.swatch, conditions=first.conditions, flags=flags,
            place=first.place, name=first.name,
        )  # fmt: skip
    light = rough[0].light or Light()
    return Reading(
        first.recipe, reflectance, first.swatch, rough[0].kind,
        np.mean([r.colour(light) for r in readings], axis=0), light,
        conditions=first.conditions, flags=flags, place=first.place, name=first.name,
    )  # fmt: skip


def read_colours(words: Sequence[str], file: Path | None = None) -> tuple[Target, ...]:
    """Colours as typed, then those of a list that `read_targets` reads.

    Raises `TargetError` and `InputError` for what is not a colour, `DyemixError` for none at all.
    """
    targets = [*map(Target.parse, words), *(read_targets(file) if file is not None else [])]
    if not targets:
        raise DyemixError("no colour: name one or more, as '#7d8a6e', or a file: --colours.")
    return tuple(targets)
