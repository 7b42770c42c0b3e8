"""Readings of a world as the swatch set that an importer would give: all that knows the package."""

from collections.abc import Mapping

import numpy as np

from dyemix.colour.colorimetry import D65_2, D65_10, smoothest_reflectance
from dyemix.dataset.conditions import PICTURE
from dyemix.dataset.readings import Clipped
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, SwatchSet
from tests.simulated.worlds import HEX, SPECTRUM, Readings, World

_KINDS: Mapping[str, str] = {SPECTRUM: "spectrum", HEX: "hex"}


def swatch_set(some: World, readings: Readings, prefix: str = "P") -> SwatchSet:
    """Each piece under a swatch name of its own, its repeated readings together."""
    light = D65_2 if readings.observer == 2 else D65_10
    measured = readings.reflectance is not None
    spectra = readings.reflectance if measured else smoothest_reflectance(readings.lab, light)
    assert spectra is not None
    codes = None if readings.codes is None else readings.codes.astype(np.uint8)
    return SwatchSet(
        tuple(
            Reading(
                Recipe(some.recipe(readings.amounts[i])),
                np.array(spectra[i]),
                f"{prefix}{readings.piece[i]}",
                _KINDS.get(readings.kind, "Lab"),
                None if measured else np.array(readings.lab[i]),
                None if measured else light,
                None if readings.covariance is None else np.array(readings.covariance[i]),
                {} if readings.frame is None else {PICTURE: f"{prefix}{readings.frame[i]}"},
                clipped=None if codes is None else Clipped.of_hex("#" + bytes(codes[i]).hex()),
            )
            for i in range(len(readings))
        )
    )
