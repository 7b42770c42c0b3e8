"""To JSON and back: the same to the last digit, or one sentence that names the value at fault."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from enum import Enum
from typing import Annotated, Any

import numpy as np
import pytest

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_2, WAVELENGTHS, Light
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.serialise import as_json, from_json, plain, to_json
from dyemix.errors import FitError, SavedError

B = len(WAVELENGTHS)


class Law(Enum):
    LINEAR = "linear"
    LANGMUIR = "Langmuir"


@dataclass(frozen=True, eq=False)
class Versions:
    curves: Annotated[Array, "E", "D", "B"]
    capacity: Annotated[Array, "E", "D"]


@dataclass(frozen=True)
class Check:
    label: str
    delta_e: float

    def __post_init__(self) -> None:
        if self.delta_e < 0:
            raise FitError("a difference is 0 or more.")


@dataclass(frozen=True, eq=False)
class Shelf:
    names: tuple[str, ...]
    curves: Annotated[Array, "D", "B"]
    corners: Annotated[Array, 4, 2]
    light: Light
    recipe: Recipe
    dyed: date
    pots: int
    rough: bool
    span: tuple[float, float]
    share: Mapping[str, float]
    checks: tuple[Check, ...]
    versions: Versions | None
    mean: float | None = None
    notes: tuple[str, ...] = ()
    kept: Mapping[str, str] = field(default_factory=dict)


def shelf() -> Shelf:
    rng = np.random.default_rng(5)
    capacity = rng.lognormal(size=(4, 2))
    return Shelf(
        names=("gold", "navy"), curves=rng.lognormal(sigma=9.0, size=(2, B)),
        corners=np.arange(8.0).reshape(4, 2), light=D65_2,
        recipe=Recipe({"gold": 0.1 + 0.2}), dyed=date(2026, 5, 3), pots=2**53, rough=False,
        span=(5e-324, 1.7976931348623157e308), share={"gold": 1 / 3}, checks=(Check("Δ", 0.7),),
        versions=Versions(rng.normal(size=(4, 2, B)), capacity), kept={"cloth": "linen"},
    )  # fmt: skip


def test_what_is_read_is_what_was_written_to_the_last_digit() -> None:
    before = shelf()
    after = from_json(Shelf, to_json(before))
    assert after.versions is not None
    assert before.versions is not None
    for one, other in (
        (after.curves, before.curves),
        (after.corners, before.corners),
        (after.versions.curves, before.versions.curves),
        (after.versions.capacity, before.versions.capacity),
    ):
        assert one.dtype == np.float64
        assert one.tobytes() == other.tobytes()
        assert not one.flags.writeable
    blank = np.empty(0)
    bare = {"curves": blank, "corners": blank, "versions": None}
    assert vars(replace(after, **bare)) == vars(replace(before, **bare))


def test_what_has_a_default_may_be_absent() -> None:
    content = {"kind": "Shelf", **plain(replace(shelf(), mean=1.5, versions=None))}
    for name in ("mean", "notes", "kept"):
        del content[name]
    found = from_json(Shelf, json.dumps(content))
    assert (found.mean, found.notes, found.kept, found.versions) == (None, (), {}, None)


@pytest.mark.parametrize(
    ("place", "value", "path"),
    [
        (("names",), "gold", "Shelf.names"),
        (("names", 1), 2, r"Shelf.names\[1\]"),
        (("curves", 1, 4), "0.5", "Shelf.curves"),
        (("curves", 1, 4), None, "Shelf.curves"),
        (("curves", 1, 4), 10**30, "Shelf.curves"),
        (("curves", 1), [0.5] * (B - 1), "Shelf.curves"),
        (("curves",), [[0.5] * (B - 1)] * 2, rf"Shelf.curves .*\(2, {B - 1}\)"),
        (("curves",), [0.5] * B, "Shelf.curves"),
        (("curves",), [], "Shelf.versions.curves"),
        (("corners",), [[1.0, 2.0]] * 5, "Shelf.corners"),
        (("light",), "D65/11", "Shelf.light.*D65/10"),
        (("recipe", "gold"), "a lot", "Shelf.recipe is .*'gold.*a lot"),
        (("recipe", "gold"), -1.0, "Shelf.recipe.*% owf"),
        (("dyed",), "May 3rd", "Shelf.dyed.*2026-05-03"),
        (("pots",), True, "Shelf.pots"),
        (("pots",), 2.0, "Shelf.pots"),
        (("pots",), 2**53 + 1, "Shelf.pots"),
        (("rough",), 0, "Shelf.rough"),
        (("span",), [1.0], "Shelf.span"),
        (("span", 0), True, r"Shelf.span\[0\]"),
        (("share", "gold"), None, "Shelf.share.gold"),
        (("share", "gold"), 10**400, "Shelf.share.gold"),
        (("checks", 0, "delta_e"), "0", r"Shelf.checks\[0\].delta_e"),
        (("checks", 0, "delta_e"), -0.5, r"Shelf.checks\[0\].*0 or more"),
        (("checks", 0), None, r"Shelf.checks\[0\]"),
        (("checks", 0, "colour"), "red", r"Shelf.checks\[0\].*colour"),
        (("versions", "curves"), [[[0.5] * B] * 3] * 4, "Shelf.versions.curves"),
        (("versions", "capacity"), [[1.0] * 2] * 5, "Shelf.versions.capacity"),
        (("mean",), "1.5", "Shelf.mean"),
    ],
)
def test_the_value_at_fault_is_named(place: tuple[Any, ...], value: Any, path: str) -> None:
    content = json.loads(to_json(shelf()))
    inner = content
    for step in place[:-1]:
        inner = inner[step]
    inner[place[-1]] = value
    with pytest.raises(SavedError, match=path) as told:
        from_json(Shelf, json.dumps(content))
    assert len(str(told.value)) < 200


@pytest.mark.parametrize("number", ["NaN", "-Infinity", "1e999"])
@pytest.mark.parametrize("at", ['"mean": null', '"span": [\n  5e-324', '"curves": [\n  [\n   1.5'])
def test_what_is_no_number_is_refused(number: str, at: str) -> None:
    text = to_json(replace(shelf(), curves=np.full((2, B), 1.5)))
    assert at in text
    with pytest.raises(SavedError, match=r"is damaged|not a number"):
        from_json(Shelf, text.replace(at, f"{at.rpartition(' ')[0]} {number}"))


@pytest.mark.parametrize("text", ["", "{", "[]", "3", "null", "[" * 100_000, "1" * 5_000])
def test_what_is_no_object_is_refused(text: str) -> None:
    with pytest.raises(SavedError, match="JSON"):
        from_json(Shelf, text)


def test_another_kind_is_refused() -> None:
    with pytest.raises(SavedError, match="not a Shelf"):
        from_json(Shelf, to_json(Check("mix", 1.0)))


def test_any_result_becomes_json() -> None:
    """Numbers that JSON lacks are null; what is no value of JSON is said in words."""

    @dataclass
    class Result:
        demo: bool
        miss: float
        band: Any
        place: Any

    result = Result(True, math.nan, np.array([1.5, np.inf]), (Law.LINEAR, np.float64(2), 1j))
    content = json.loads(as_json(result))
    assert next(iter(content)) == "warning"
    assert content["miss"] is None
    assert content["band"] == [1.5, None]
    assert content["place"] == ["linear", 2.0, "1j"]
