"""How the swatches were dyed, read from their words; and a bath dyed as they were."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from dyemix.bench.bath_sheet import BathSheet
from dyemix.bench.method import Method, dyed_as, method_in_words, salt_and_soda, stated
from dyemix.bench.settings import BathSettings
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet

Sage = Callable[..., BathSheet]
Dyed = Callable[..., DyeSet]


@pytest.mark.parametrize(
    ("words", "order"),
    [
        ("about 1 h after the dye", "after"),
        ("After", "after"),
        ("cloth soaked in it before", "presoak"),
        ("cloth presoaked in alkali", "presoak"),
        ("pre-soak", "presoak"),
        ("mixed in with the dye", "with"),
        ("dye an hour after the alkali", None),
        ("presoak, more with the dye", None),
        ("", None),
    ],
)
def test_alkali_words(words: str, order: str | None) -> None:
    if order is None:
        with pytest.raises(DyemixError, match="presoak, with, after"):
            stated("alkali", words)
    else:
        assert stated("alkali", words) == order


@pytest.mark.parametrize(
    ("key", "words", "field", "value"),
    [
        ("liquor ratio", "20:1", "liquor_ratio", 20),
        ("liquor ratio", "1:20", "liquor_ratio", 20),  # as mills write it
        ("liquor ratio", "20 to 1", "liquor_ratio", 20),
        ("liquor ratio", "20", "liquor_ratio", 20),
        ("temperature", "24", "temperature", 24),
        ("temperature", "about 24,5 °C", "temperature", 24.5),
        ("temperature", "75.2 F", "temperature", 24),
        ("hours", "24", "hours", 24),
        ("hours", "1 day", "hours", 24),
        ("hours", "90 min", "hours", 1.5),
        ("salt", "50 g/L", "salt", 50),
        ("salt", "none", "salt", 0),
        ("salt", "Glauber 50 g/L", "salt", 50),
        ("salt", "113.5 g/L of Glauber’s salt crystals", "salt", 50),  # 50 × 2.27
        ("soda", "12 g/L", "soda", 12),
        ("soda", "27 g/L soda crystals", "soda", 10),  # 10 × 2.70
        ("soda", "11,7 g/L monohydrate", "soda", 10),  # 10 × 1.17
        ("temperature", "75 F", "temperature", 23.89),  # 43 × 5 ÷ 9
        ("temperature", "75° F", "temperature", 23.89),
        ("temperature", "75 Fahrenheit", "temperature", 23.89),
        ("hours", "overnight", "hours", 12),
    ],
)
def test_conditions_are_read(key: str, words: str, field: str, value: float) -> None:
    assert dyed_as({key: words}) == ({field: pytest.approx(value)}, ())


def test_a_method_is_named_with_its_alkali_and_its_ratio() -> None:
    told = method_in_words("linen, half bleached, soda with, liquor 5:1")
    assert told == ("linen, half bleached", {"alkali": "with", "liquor_ratio": 5.0})


def test_what_the_scale_just_weighs_is_weighed() -> None:
    """20 × 10 g of liquor at 50 g/L hold 10 g of salt, ten steps of 1 g; at 49 g/L too little."""
    for g_per_l, dry in ((50.0, True), (49.0, False)):
        method = Method(20.0, "after", g_per_l, temperature=24.0, hours=12.0)
        salt, _ = salt_and_soda(method, 10.0, 15.0, 1.0, BathSettings())
        assert salt.g == pytest.approx(0.2 * g_per_l)
        assert (salt.stock_ml is None) == dry


@pytest.mark.parametrize(
    ("key", "words"),
    [("liquor ratio", "plenty"), ("alkali", "yes"), ("hours", "a while"), ("salt", "a handful")],
)
def test_what_is_not_understood_is_named(sage: Sage, dyed: Dyed, key: str, words: str) -> None:
    assert dyed_as({key: words}) == ({}, (f"{key} {words!r}",))
    odd = sage(dyes=dyed(**{key: words}))
    assert any(repr(words) in warning for warning in odd.warnings)


def test_sheet_is_dyed_as_the_swatches_were(sage: Sage, dyed: Dyed) -> None:
    how = {
        "liquor ratio": "5:1",
        "alkali": "in with the dye",
        "temperature": "26 °C",
        "hours": "8 h",
    }
    sheet = sage(dyes=dyed(**how))
    method = sheet.method
    assert (method.liquor_ratio, method.alkali, method.temperature, method.hours) == (
        5, "with", 26, 8,
    )  # fmt: skip
    assert set(sheet.as_swatches) == {"liquor ratio", "alkali", "temperature", "hours"}
    assert not any("unlike" in w for w in sheet.warnings)
    salted = sage(dyes=dyed(salt="55 g/L"))
    assert salted.salt.g_l == 55
    assert "salt" in salted.as_swatches


@pytest.mark.parametrize(
    ("was", "now", "says"),
    [
        (
            {},
            {"liquor_ratio": 25},
            "liquor ratio 25:1 is unlike your swatches' 20:1: the piece may come paler",
        ),
        (
            {},
            {"liquor_ratio": 12},
            "liquor ratio 12:1 is unlike your swatches' 20:1: the piece may come deeper",
        ),
        ({}, {"alkali": "with"}, "alkali in with the dye is unlike your swatches' alkali after"),
        ({"temperature": "21"}, {"temperature": 35}, "temperature 35 °C is unlike"),
        ({"hours": "24"}, {"hours": 48}, "hours 48 h is unlike your swatches' 24 h"),
        (
            {"salt": "50 g/L"},
            {"salt": 30},
            "salt 30 g/L is unlike your swatches' 50 g/L: the piece may come paler",
        ),
        (
            {"soda": "8 g/L"},
            {"soda": 12},
            "soda 12 g/L is unlike your swatches' 8 g/L: the piece may fix sooner",
        ),
        ({"salt": "50 g/L"}, {"liquor_ratio": 5}, "salt 0 g/L is unlike your swatches' 50 g/L"),
    ],
)
def test_departures_from_the_swatches_are_warned_of(
    sage: Sage, dyed: Dyed, was: dict[str, str], now: dict[str, Any], says: str
) -> None:
    assert not any("unlike" in w for w in sage(dyes=dyed(**was)).warnings)
    departed = sage(dyes=dyed(**was), **now)
    assert any(w.startswith(says) for w in departed.warnings)
    assert all("Dye a test square" in w for w in departed.warnings if "unlike" in w)


def test_a_departure_within_five_percent_is_none(sage: Sage, dyed: Dyed) -> None:
    assert not any("unlike" in w for w in sage(dyes=dyed(), liquor_ratio=21).warnings)
    assert any("unlike" in w for w in sage(dyes=dyed(), liquor_ratio=21.1).warnings)


def test_a_departure_in_warmth_is_told_in_the_degrees_asked_for(sage: Sage, dyed: Dyed) -> None:
    american = BathSettings(units="us")
    now = {"dyes": dyed(temperature="24"), "temperature": 15, "settings": american}
    warnings = sage(**now).warnings
    assert any(w.startswith("temperature 15 °C (59 °F) is unlike your swatches' 24 °C (75 °F)")
               for w in warnings)  # fmt: skip
    assert any(w.startswith("15 °C (59 °F) is cool: below 18 °C (64 °F) the dye") for w in warnings)
    assert not any("°F" in w for w in sage(**now | {"settings": BathSettings()}).warnings)
