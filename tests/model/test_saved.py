"""Saved fits: what is written comes back, and what is damaged or newer says so."""

from __future__ import annotations

import json
from contextlib import suppress
from dataclasses import replace

import numpy as np
import pytest

import dyemix
from dyemix.errors import DyemixError, InputError, SavedError
from dyemix.model.saved import VERSION


@pytest.fixture(scope="module")
def dyes(demo_dyes):
    """With all that a saved set may hold: what is known of the unknowns too."""
    return replace(demo_dyes, posterior=demo_dyes.known)


def test_round_trip_is_exact(dyes, tmp_path):
    dyemix.save(dyes, tmp_path / "dyes.json")
    back = dyemix.load(tmp_path / "dyes.json")
    for name in ("palest", "deepest", "cloth"):
        np.testing.assert_array_equal(getattr(back, name), getattr(dyes, name))
    for name in ("curves", "law", "company", "interaction", "company_curve"):
        np.testing.assert_array_equal(getattr(back.whole, name), getattr(dyes.whole, name))
    assert back.names == dyes.names
    assert back.whole.surface == dyes.whole.surface
    assert back.light == dyes.light
    assert back.demo
    assert str(back.report) == str(dyes.report)
    assert str(dyemix.match(back, "#7d8a6e")) == str(dyemix.match(dyes, "#7d8a6e"))


def of_ladders(harm):
    return lambda content: {**content, "ladders": harm(content["ladders"])}


def mean(content, of_first):
    """What is known of the unknowns, that of the first dye's strength another."""
    return [of_first, *content["posterior"]["mean"][1:]]


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
        (lambda c: {k: v for k, v in c.items() if k != "ladders"}, "damaged"),
        (of_ladders(lambda c: {**c, "curves": c["curves"][:-1]}), "damaged"),
        (lambda c: {**c, "names": 3}, "damaged"),
        (lambda c: {**c, "light": "moon/10"}, "damaged"),
        (lambda c: {**c, "wavelengths_nm": [380, 730, 36]}, "damaged"),
        (lambda c: [c], "not a saved dye set"),
        # Of the right shape, and no set: nothing may be made of these.
        (lambda c: {**c, "names": [c["names"][1], *c["names"][1:]]}, "names"),
        (lambda c: {**c, "names": ["na\x1b[2Jvy", *c["names"][1:]]}, "names"),
        (lambda c: {**c, "palest": [-x for x in c["palest"]]}, "damaged"),
        (lambda c: {**c, "cloth": [-x for x in c["cloth"]]}, "damaged"),
        (of_ladders(lambda c: {**c, "curves": (-np.array(c["curves"])).tolist()}), "damaged"),
        (of_ladders(lambda c: {**c, "law": [[1e300, 0.0]] * len(c["law"])}), "damaged"),
        (of_ladders(lambda c: {**c, "interaction": [-1e300] * len(c["law"])}), "damaged"),
        (lambda c: {**c, "posterior": {**c["posterior"], "mean": mean(c, -1e300)}}, "damaged"),
        (lambda c: {**c, "scatter": {**c["scatter"], "pot": -0.1}}, "damaged"),
        (lambda c: {**c, "scatter": {**c["scatter"], "reading": (-np.eye(3)).tolist()}}, "damaged"),
        (lambda c: {**c, "posterior": {**c["posterior"], "freedom": 0.0}}, "damaged"),
        (lambda c: {**c, "posterior": {**c["posterior"], "widening": -1.0}}, "damaged"),
    ],
)
def test_damage_is_one_clear_sentence(dyes, tmp_path, harm, says):
    path = tmp_path / "dyes.json"
    dyemix.save(dyes, path)
    path.write_text(json.dumps(harm(json.loads(path.read_text(encoding="utf-8")))))
    with pytest.raises(SavedError, match=says):
        dyemix.load(path)


def leaves(value, path=()):
    """The place of one number, word or truth of each kind that JSON holds, by its kind of place."""
    if not isinstance(value, dict | list):
        return {tuple("*" if isinstance(step, int) else step for step in path): path}
    steps = value.items() if isinstance(value, dict) else enumerate(value)
    return {k: p for step, inside in steps for k, p in leaves(inside, (*path, step)).items()}


@pytest.mark.slow
@pytest.mark.parametrize(
    "other", [-1.0, 0.0, 1e300, -1e300, 1e-300, 10**400, None, "x\x1b", [], True]
)
def test_whatever_one_value_is_the_set_is_refused_or_answers(dyes, tmp_path, other):
    """In arithmetic that is as strict as every test's (`_strict_floats`)."""
    path = tmp_path / "dyes.json"
    dyemix.save(dyes, path)
    sound = path.read_text(encoding="utf-8")
    for place in leaves(json.loads(sound)).values():
        content = inner = json.loads(sound)
        for step in place[:-1]:
            inner = inner[step]
        inner[place[-1]] = other
        path.write_text(json.dumps(content))
        with suppress(DyemixError):
            read = dyemix.load(path)
            assert np.isfinite(read.predict("marigold 0.8 + navy 0.25").likely)
            assert len(str(dyemix.match(read, "#7d8a6e", max_dyes=2)))


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
