"""Low water is never level: said wherever a level colour is promised."""

from __future__ import annotations

import pytest

from dyemix.bench.bath_sheet import bath_sheet
from dyemix.bench.dosing import Bottles
from dyemix.bench.settings import BathSettings
from dyemix.bench.suggested import suggested
from dyemix.dataset.conditions import mottled
from dyemix.dataset.swatches import Reading
from dyemix.dataset.target import Target
from dyemix.dataset.trial import Trial
from dyemix.matching.correct import correct
from dyemix.matching.suggest import suggest
from tests.bench.conftest import four_dyes


@pytest.mark.parametrize(
    ("ratio", "low"), [("5:1", True), ("1:9", True), ("10:1", False), ("plenty", False)]
)
def test_low_water_is_known_by_its_ratio(ratio: str, low: bool) -> None:
    assert bool(mottled({"liquor ratio": ratio})) == low
    sheet = bath_sheet(
        "gold 1", 100, stocks=5.0, dyes=four_dyes(conditions={"liquor ratio": ratio})
    )
    assert ("expect mottle" in str(sheet)) == low


@pytest.mark.parametrize(("ratio", "low"), [("5:1", True), ("20:1", False)])
def test_mottle_is_expected_by_match_and_trial(ratio: str, low: bool) -> None:
    dyes = four_dyes(conditions={"liquor ratio": ratio}).take(["gold"])
    target = Target.parse("80 5 60 D65/10")
    found = suggest(dyes, target, max_dyes=1)
    trial = Trial("gold 1", Reading(None, dyes.predict("gold 0.9").reflectance))
    corrected = correct(dyes, trial, target, second_bath=False)
    shown = suggested(found, Bottles.of(1.0, BathSettings()), 240)
    for text in (shown, str(found.found), str(corrected)):
        assert ("Dyed in low water: expect mottle" in text) == low
