"""What to see to before a bath is begun; the words are in `templates/sheets/warnings.txt`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from dyemix.bench.auxiliaries import salt_and_soda
from dyemix.bench.bath_page import BathSheet
from dyemix.bench.method import departures, same
from dyemix.bench.sheet import Notes, written
from dyemix.dataset.conditions import same as same_words


def bath_warnings(
    sheet: BathSheet, was: Mapping[str, Any], unread: tuple[str, ...], cloth_then: str
) -> tuple[str, ...]:
    """Every warning of a sheet; `was`, `unread` and `cloth_then` are of the swatches."""
    words, settings = sheet.settings.mixtures, sheet.settings
    after = replace(sheet.method, alkali="after")
    by_soda_after = (after, sheet.cloth_g, sheet.cloth_holds_ml, sheet.recipe.total, settings)
    doses = sheet.doses
    _, (notes,) = written(
        "warnings", settings, sheet=sheet, was=was, unread=unread, same=same,
        past=[dose for dose in doses if dose.stock.past_life(sheet.on, settings)],
        short=[dose for dose in doses if dose.needed_ml > dose.stock.holds_ml],
        strong=[
            (dose.dye, dose.stock.strength_pct)
            for dose in doses
            if dose.stock.strength_pct > settings.strongest(dose.dye)
        ],
        departures=departures(sheet.method, was), after_g_l=salt_and_soda(*by_soda_after)[1].g_l,
        other_cloth="" if same_words("cloth", sheet.cloth, cloth_then) else cloth_then,
        mixtures=[dye for dye in sheet.recipe if any(word in dye for word in words)],
    )  # fmt: skip
    assert isinstance(notes, Notes)
    return notes.notes
