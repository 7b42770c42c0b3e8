"""Dye sets that an earlier version saved open, and predict nearly what they predicted there.

Version 1 had a Langmuir law and a competition of its own, which are turned into what is nearest.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import dyemix
from dyemix.colour.ciede2000 import delta_e
from dyemix.model.dyes import Ladders, Pot
from dyemix.model.kubelka_munk import depth_law
from dyemix.model.saved import saved_text
from dyemix.model.unknowns import Modes

DATA = Path(__file__).parents[1] / "data"
SPECTRAL, LAB = DATA / "dye_set_version_1.json", DATA / "dye_set_version_1_lab.json"
OLDER = (
    "saved by an older fit: its dyes stand as before any mix. Fit the swatches again, and their "
    "mixes tell what to expect."
)
#: What the version that saved them predicted, CIELAB under D65/10°.
PREDICTED = (
    (SPECTRAL, "lemon 1", (87.8871812565404, -11.064323949563075, 58.90887596522932)),
    (SPECTRAL, "plum 0.5 + cobalt 0.3",
     (51.99543071934171, 7.299164234102089, -32.576105506677685)),
    (SPECTRAL, "lemon 1 + plum 0.2 + cobalt 0.4",
     (55.09058861453137, -22.856759230060614, 7.659263043966941)),
    (LAB, "gold 0.8 + navy 0.2", (46.22752638529426, -2.295695880794264, 7.49100447219149)),
    (LAB, "navy 1", (32.47449210536236, 0.31956819903769906, -24.92176478763154)),
)  # fmt: skip


@pytest.mark.parametrize(("path", "recipe", "wanted"), PREDICTED)
def test_a_set_of_version_1_predicts_as_it_did(path: Path, recipe: str, wanted: Any) -> None:
    dyes = dyemix.load(path)
    assert delta_e(dyes.predict(recipe).lab, wanted) < 0.2


def test_a_set_of_version_1_says_what_it_is() -> None:
    demo, own = dyemix.load(SPECTRAL), dyemix.load(LAB)
    assert demo.names == ("lemon", "plum", "cobalt")
    assert own.names == ("gold", "navy")
    assert (demo.demo, own.demo) == (True, False)
    assert own.conditions is not None
    assert own.conditions["liquor ratio"] == "15:1"
    assert "D65/10" in str(own.light)
    assert "No mix of yours has been read: anything may come." in str(demo.report)
    assert demo.report is not None
    assert OLDER in demo.report.warnings


def test_a_law_of_version_1_is_near_from_the_palest_to_the_deepest_square() -> None:
    """Its dye i gave ``a c / (1 + c/q)`` of K/S, where the exponent is 1."""
    old, i = json.loads(SPECTRAL.read_text(encoding="utf-8")), 1
    assert old["exponent"][i] == 1.0
    c = np.geomspace(old["palest"][i], old["deepest"][i], 9)
    wanted = np.outer(c / (1.0 + c / old["capacity"][i]), old["curves"][i])
    now = dyemix.load(SPECTRAL).whole
    found = np.outer(depth_law(c, now.law[i]), now.curves[i])
    np.testing.assert_allclose(found, wanted, rtol=0.025)


@pytest.mark.parametrize("path", [SPECTRAL, LAB])
def test_a_set_of_version_1_answers_a_target(path: Path) -> None:
    dyes = dyemix.load(path)
    best = dyemix.match(dyes, "45 0 0 D65/10", max_dyes=2)[0]
    assert 0 < best.residual < best.likely < best.bound


def test_a_set_of_version_1_without_draws_opens(tmp_path: Path) -> None:
    """The first sets held none."""
    content = json.loads(SPECTRAL.read_text(encoding="utf-8"))
    del content["draws"]
    (tmp_path / "old.json").write_text(json.dumps(content), encoding="utf-8")
    with_draws, without = dyemix.load(SPECTRAL), dyemix.load(tmp_path / "old.json")
    recipe = "lemon 1 + plum 0.2"
    assert delta_e(with_draws.predict(recipe).lab, without.predict(recipe).lab) < 1e-9


@pytest.mark.parametrize("path", [SPECTRAL, LAB])
def test_a_set_of_version_1_saved_again_is_the_same(path: Path, tmp_path: Path) -> None:
    dyes = dyemix.load(path)
    dyemix.save(dyes, tmp_path / "again.json")
    again = dyemix.load(tmp_path / "again.json")
    recipe = dict.fromkeys(dyes.names, 0.3)
    np.testing.assert_array_equal(again.predict(recipe).lab, dyes.predict(recipe).lab)
    assert str(again.report) == str(dyes.report)


def as_version_4(dyes: dyemix.DyeSet) -> dict[str, Any]:
    """A set as version 4 wrote it: what ladders leave open of curves and of laws stood apart, where
    pots had moved the dyes stood there too, and the pictures of a pot were one text.
    """
    content: dict[str, Any] = json.loads(saved_text(dyes)) | {"version": 4}
    whole = dyes.whole
    for name in ("curves", "law", "company", "interaction"):
        content[name] = getattr(whole, name).tolist()
    content |= {"surface": {"r0": whole.surface.r0, "k2": whole.surface.k2}, "company_curve": None}
    modes = dyes.ladders.modes
    (curves, laws), (by_surface, of_laws) = (
        np.split(part, [31], axis=2) for part in (modes.own, modes.shared.swapaxes(0, 1))
    )
    parts = {"curves": curves, "laws": laws, "surface": modes.surface}
    parts |= {"surface_curves": by_surface, "surface_laws": of_laws}
    content["ladders"]["modes"] = {name: part.tolist() for name, part in parts.items()}
    del content["ladders"]["pictures"]
    for pot in content["pots"]:
        pot["picture"] = "; ".join(pot.pop("pictures"))
    return content


def test_a_set_of_version_4_is_the_same(tmp_path: Path) -> None:
    dyes = dyemix.fit(dyemix.read_swatches("swatch_data/napkins.csv"))
    (tmp_path / "old.json").write_text(json.dumps(as_version_4(dyes)))
    old = dyemix.load(tmp_path / "old.json")
    assert old == dyes
    assert OLDER not in old.report.warnings
    none = replace(dyes.ladders, modes=Modes.none(*dyes.ladders.curves.shape))
    bare = dyemix.learn(replace(dyes, ladders=none, pots=()), []).dyes
    (tmp_path / "old.json").write_text(json.dumps(as_version_4(bare)))  # nothing open of ladders
    assert dyemix.load(tmp_path / "old.json") == bare


def test_a_set_of_version_5_without_ladders_is_as_it_stands(tmp_path: Path) -> None:
    """One of version 1 that was saved again."""
    dyes = dyemix.load(SPECTRAL)
    content = as_version_4(dyes) | {"version": 5, "ladders": None}
    (tmp_path / "old.json").write_text(json.dumps(content))
    assert dyemix.load(tmp_path / "old.json") == replace(
        dyes, ladders=replace(dyes.ladders, ceiling=Ladders.ceiling)
    )


def test_a_set_of_version_2_had_one_interaction_for_all_dyes(tmp_path: Path) -> None:
    """It stands as before any mix until its pots are read again, since its unknowns were others."""
    alone = dyemix.fit(dyemix.read_swatches("swatch_data/napkins.csv"))
    mixes = ("marigold 0.8 + navy 0.3", "scarlet 0.5 + navy 0.5", "marigold 0.4 + scarlet 0.8")
    read = ((mix, dyemix.Reading.from_lab(alone.predict(mix).lab, "D65/10")) for mix in mixes)
    dyes = dyemix.learn(alone, [dyemix.Trial(mix, reading) for mix, reading in read]).dyes
    count = len(dyes)
    content = as_version_4(dyes) | {"version": 2, "interaction": 0.05}
    content["ladders"]["interaction"] = 0.05
    content["posterior"] = {"mean": dyes.known.mean[:-count].tolist()}
    path = tmp_path / "old.json"
    path.write_text(json.dumps(content))
    old = dyemix.load(path)
    np.testing.assert_array_equal(old.whole.interaction, np.full(count, 0.05))
    assert old.report.warnings == (*dyes.report.warnings, OLDER)
    path.write_text(json.dumps(content | {"report": None}))
    assert dyemix.load(path).report is None
    recipe = "marigold 0.5 + navy 0.2"
    assert old.predict(recipe).bound > dyes.predict(recipe).bound
    assert dyemix.learn(old, []).dyes.predict(recipe).bound < old.predict(recipe).bound


def test_a_set_of_version_5_told_the_pictures_of_a_pot_in_one_text(tmp_path: Path) -> None:
    alone = dyemix.fit(dyemix.read_swatches("swatch_data/napkins.csv"))
    pot = Pot(dyemix.Recipe.parse("marigold 0.8 + navy 0.3"), np.array([50.0, 5.0, 20.0]))
    content = as_version_4(replace(alone, pots=(pot, replace(pot, pictures=("a.jpg", "b.jpg")))))
    path = tmp_path / "old.json"
    path.write_text(json.dumps(content | {"version": 5}))
    assert [each.pictures for each in dyemix.load(path).pots] == [("",), ("a.jpg", "b.jpg")]
