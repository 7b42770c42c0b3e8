"""Days as people write them."""

from __future__ import annotations

import re
from datetime import date

from dyemix.errors import DyemixError

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


def parse_day(text: str) -> date:
    """A day: ``2026-05-03``, ``3 May 2026``, ``May 3, 2026``, ``3.5.2026`` (the day first, as with
    points everywhere) or ``25/5/2026``.

    Raises `DyemixError` for what is none, and for one that could be two days, as ``03/05/2026``.
    """
    parts = re.findall(r"[^\W\d_]+|\d+", text.lower())
    months = [_MONTHS.index(p[:3]) + 1 for p in parts if p[:3] in _MONTHS]
    numbers = [int(part) for part in parts if part.isdecimal()]
    try:
        if len(months) == 1 and len(numbers) == 2:
            day, year = sorted(numbers) if max(numbers) > 31 else (0, 0)
            return date(year, months[0], day)
        first, second, third = numbers if not months else (0, 0, 0)
        if first > 31:
            return date(first, second, third)
        swapped = first if second > 12 else second
        found = date(third, swapped, first + second - swapped)
        if "." in text or first > 12 or first == second or second > 12:
            return found
        both = f"{third}-{second:02d}-{first:02d} or {third}-{first:02d}-{second:02d}"
    except ValueError:
        raise DyemixError(f"{text!r} is not a date: write 2026-05-03, or 3 May 2026.") from None
    raise DyemixError(f"{text!r} could be {both}: write the one that is meant.")
