"""Days in the orders in which people write them; one that could be two is refused."""

from __future__ import annotations

from datetime import date

import pytest

from dyemix.dataset.conditions import parse_day
from dyemix.errors import DyemixError


@pytest.mark.parametrize(
    "text",
    ["2026-05-23", "2026/5/23", "23 May 2026", "23rd May, 2026", "May 23, 2026", "23.5.2026",
     "23.05.2026", "23/05/2026", "05/23/2026"],
)  # fmt: skip
def test_one_day_in_many_orders(text: str) -> None:
    assert parse_day(text) == date(2026, 5, 23)


def test_a_month_is_one_in_any_locale(monkeypatch: pytest.MonkeyPatch) -> None:
    """Python's months, as it names them where German is spoken."""
    german = [
        "",
        *["jan", "feb", "mär", "apr", "mai", "jun", "jul", "aug", "sep", "okt", "nov", "dez"],
    ]
    monkeypatch.setattr("calendar.month_abbr", german)
    monkeypatch.setattr("_strptime._getlang", lambda: ("de_DE", "UTF-8"))
    assert parse_day("May 23, 2026") == parse_day("2026 may 23") == date(2026, 5, 23)
    assert parse_day("3rd December 2026") == date(2026, 12, 3)


def test_points_put_the_day_first() -> None:
    assert parse_day("3.5.2026") == date(2026, 5, 3)
    assert parse_day("5/5/2026") == date(2026, 5, 5)


def test_an_ambiguous_day_names_both() -> None:
    with pytest.raises(DyemixError, match="2026-05-03 or 2026-03-05"):
        parse_day("03/05/2026")


@pytest.mark.parametrize("text", ["", "May", "2026-13-01", "32 May 2026", "3/2026", "1 2 3 4", "٣"])
def test_what_is_no_day(text: str) -> None:
    with pytest.raises(DyemixError, match="is not a date"):
        parse_day(text)
