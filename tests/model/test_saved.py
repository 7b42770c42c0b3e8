"""Saved fits: what is written comes back, and what is damaged or newer says so."""

from __future__ import annotations

import json

import numpy as np
import pytest

import dyemix
from dyemix.errors import InputError, SavedError
from dyemix.model.saved import VERSION


@pytest.fixture(scope="module")
def dyes(demo_dyes):
    return demo_dyes


def test_round_trip_is_exact(dyes, tmp_path):
    dyemix.save(dyes, tmp_path / "dyes.json")
    back = dyemix.load(tmp_path / "dyes.json")
    for name in ("curves", "law", "company", "palest", "deepest", "cloth"):
        np.testing.assert_array_equal(getattr(back, name), getattr(dyes, name))
    assert back.names == dyes.names
    assert back.surface == dyes.surface
    assert back.light == dyes.light
    assert back.demo
    assert str(back.report) == str(dyes.report)
    assert str(dyemix.match(back, "#7d8a6e")) == str(dyemix.match(dyes, "#7d8a6e"))


def test_a_saved_set_is_written_over_only_by_force(dyes, tmp_path):
    path = tmp_path / "dyes.json"
    dyemix.save(dyes, path)
    with pytest.raises(InputError, match="--force"):
        dyemix.save(dyes, path)
    dyemix.save(dyes, path, force=True)
    assert [p.name for p in tmp_path.iterdir()] == ["dyes.json"]


@pytest.mark.parametrize(
    ("harm", "says"),
    [
        (lambda c: {**c, "version": VERSION + 1}, "newer"),
        (lambda c: {**c, "version": "two"}, "newer"),
        (lambda c: {**c, "format": "something else"}, "not a saved dye set"),
        (lambda c: {k: v for k, v in c.items() if k != "curves"}, "damaged"),
        (lambda c: {**c, "curves": c["curves"][:-1]}, "damaged"),
        (lambda c: {**c, "names": 3}, "damaged"),
        (lambda c: {**c, "light": "moon/10"}, "damaged"),
        (lambda c: {**c, "wavelengths_nm": [380, 730, 36]}, "damaged"),
        (lambda c: [c], "not a saved dye set"),
    ],
)
def test_damage_is_one_clear_sentence(dyes, tmp_path, harm, says):
    path = tmp_path / "dyes.json"
    dyemix.save(dyes, path)
    path.write_text(json.dumps(harm(json.loads(path.read_text(encoding="utf-8")))))
    with pytest.raises(SavedError, match=says):
        dyemix.load(path)


@pytest.mark.parametrize("cut", [0, 1, 100, 5000])
def test_truncated_file(dyes, tmp_path, cut):
    path = tmp_path / "dyes.json"
    dyemix.save(dyes, path)
    path.write_bytes(path.read_bytes()[:cut])
    with pytest.raises(SavedError, match=r"dyes\.json"):
        dyemix.load(path)


def test_missing_file(tmp_path):
    with pytest.raises(SavedError, match="no such file"):
        dyemix.load(tmp_path / "nothing.json")
