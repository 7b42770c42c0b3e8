"""Low water is never level: said wherever a level colour is promised."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from dyemix.bench.bath_sheet import bath_sheet
from dyemix.bench.method import dyed_as
from dyemix.bench.settings import BathSettings
from dyemix.bench.stock import Bottles
from dyemix.bench.suggested import suggested
from dyemix.dataset.conditions import mottled
from dyemix.dataset.swatches import Reading
from dyemix.dataset.target import Target, Trial
from dyemix.files import read_swatches
from dyemix.fitting.fit import fit
from dyemix.matching.advice import suggest
from dyemix.matching.correct import correct
from dyemix.model.dyes import DyeSet
from dyemix.model.uncertainty import PRIOR_MOTTLE, PRIOR_READING
from tests.bench.conftest import four_dyes


@pytest.mark.parametrize(
    ("ratio", "low"),
    [("5:1", True), ("1:9", True), ("about 8:1", True), ("10:1", False), ("plenty", False),
     ("a vat, 8:1", False), ("0:1", False), ("0", False)],
)  # fmt: skip
def test_low_water_is_known_by_its_ratio(ratio: str, low: bool) -> None:
    assert bool(mottled({"liquor ratio": ratio})) == low
    sheet = bath_sheet(
        "gold 1", 100, stocks=5.0, dyes=four_dyes(conditions={"liquor ratio": ratio})
    )
    assert ("expect mottle" in str(sheet)) == low
    assert "of one spot" not in str(sheet), "no miss was promised"
    if ratio.startswith("0"):  # it was taken for 1:1
        assert dyed_as({"liquor ratio": ratio}) == ({}, (f"liquor ratio {ratio!r}",))


@pytest.mark.parametrize(("ratio", "low"), [("5:1", True), ("20:1", False)])
def test_mottle_is_expected_by_match_and_trial(ratio: str, low: bool) -> None:
    dyes = four_dyes(conditions={"liquor ratio": ratio}).take(["gold"])
    target = Target.parse("80 5 60 D65/10")
    found = suggest(dyes, target, max_dyes=1)
    trial = Trial("gold 1", Reading(None, dyes.predict("gold 0.9").reflectance))
    corrected = correct(dyes, trial, target, second_bath=False)
    shown = suggested(found, Bottles.of(1.0, BathSettings()), 240)
    for text in (shown, str(found), str(corrected)):
        assert ("Dyed in low water: expect mottle" in text) == low


DEMO = Path(__file__).parents[2] / "swatch_data" / "napkins.csv"


def gold(folder: Path, ratio: str, more: str = "") -> DyeSet:
    """One dye and undyed cloth of the demo, each square read once, by a liquor ratio."""
    head, rows = DEMO.read_text("utf-8").replace("# liquor ratio: 20:1", f"# liquor ratio: {ratio}"
        ).split("swatch,", 1)  # fmt: skip
    kept, seen = [], set()
    for row in rows.splitlines():
        name, recipe, *_ = row.split(",")
        if name not in seen and (recipe == "undyed" or (recipe.startswith("marigold ")
                                 and "+" not in recipe)):  # fmt: skip
            kept.append(row)
            seen.add(name)
    path = folder / f"{ratio.replace(':', ' to ')}{len(more)}.csv"
    text = "\n".join([rows.splitlines()[0], *kept, more.strip()])
    path.write_text(f"{head.replace('# demo: yes', '# mine: yes')}swatch,{text}\n", "utf-8")
    return fit(read_swatches(path))


def again(row: str, times: int, sd: float) -> str:
    """A reading and others of its piece, as many percent lighter and darker."""
    name, recipe, *bands = row.split(",")
    rng = np.random.default_rng(4)
    return "\n".join(
        ",".join([name, recipe, *(f"{float(b) * factor:.3f}" for b in bands)])
        for factor in np.exp(rng.normal(0.0, sd, times))
    )


@pytest.fixture(scope="module")
def by_ratio(tmp_path_factory: pytest.TempPathFactory) -> dict[str, DyeSet]:
    folder = tmp_path_factory.mktemp("squares")
    row = next(r for r in DEMO.read_text("utf-8").splitlines() if ",marigold 1," in r)
    return {
        "stirred": gold(folder, "20:1"),
        "low": gold(folder, "5:1"),
        "level": gold(folder, "5:1", again(row, 40, 0.005)),
        "mottled": gold(folder, "5:1", again(row, 40, 0.10)),
    }


def test_the_likely_miss_is_wider_in_low_water(by_ratio: dict[str, DyeSet]) -> None:
    """By a working value, of one spot, until readings in several places have measured it."""
    spot = {name: float(np.sqrt(np.trace(d.scatter.reading) / 3)) for name, d in by_ratio.items()}
    assert spot["stirred"] == pytest.approx(PRIOR_READING)
    assert spot["low"] == pytest.approx(PRIOR_MOTTLE)
    # 40 readings of half a per cent leave a tenth of the prior's variance: 1 × √(4 ÷ 44) = 0.30.
    assert spot["level"] == pytest.approx(0.30, abs=0.02)
    # Those of ten per cent, some 2.5 ΔE2000 in lightness, hold against it too.
    assert spot["mottled"] > 1.2
    notes = {name: " ".join(dyes.scatter.warnings) for name, dyes in by_ratio.items()}
    assert "one spot in low water: assumed" in notes["low"]
    assert "one spot in low water: from 40 readings" in notes["level"]
    assert "low water" not in notes["stirred"]


def test_match_trial_and_sheet_promise_less_in_low_water(by_ratio: dict[str, DyeSet]) -> None:
    likely: dict[str, list[float]] = {}
    for name, dyes in by_ratio.items():
        colour = dyes.predict("marigold 0.8")
        target = Target(colour.lab, dyes.light)
        trial = Trial("marigold 0.8", Reading(None, dyes.predict("marigold 0.7").reflectance))
        corrected = correct(dyes, trial, target, second_bath=False)
        found = suggest(dyes, target, max_dyes=1)[0]
        sheet = bath_sheet("marigold 0.8", 100, stocks=5.0, dyes=dyes, target=target)
        promised = float(sheet.expect.split(" on paper, ")[1].split()[0])
        assert promised == pytest.approx(found.likely, abs=0.06)
        likely[name] = [found.likely, corrected.again.likely, promised]
    assert all(low > wide + 0.4 for low, wide in zip(likely["low"], likely["stirred"], strict=True))
    assert all(low > own + 0.3 for low, own in zip(likely["low"], likely["level"], strict=True))
    # A bath in low water by squares that were stirred is mottled all the same.
    stirred = by_ratio["stirred"]
    target = Target(stirred.predict("marigold 0.8").lab, stirred.light)
    sheet = bath_sheet("marigold 0.8", 100, stocks=5.0, dyes=stirred, target=target, liquor_ratio=5)
    assert float(sheet.expect.split(" on paper, ")[1].split()[0]) > likely["stirred"][2] + 0.4
    words = "in low water expect mottle: the likely miss is of one spot, a working value"
    assert words in " ".join(str(sheet).split())
