"""Dye names that look like a slip of the pen for another dye of the same table."""

from __future__ import annotations

from difflib import SequenceMatcher

from dyemix.files.cells import Faults
from dyemix.files.rows import Draft


def alike(one: str, other: str) -> bool:
    """Whether two names differ in one word only, and there by a letter or two.

    ``blue 1`` and ``blue 2``, ``blue violet`` and ``red violet`` are different dyes.
    """
    pairs = list(zip(one.split(), other.split(), strict=False))
    odd = [(a, b) for a, b in pairs if a != b]
    if len(one.split()) != len(other.split()) or len(odd) != 1:
        return False
    a, b = odd[0]
    if min(len(a), len(b)) < 3 or not (a + b).isalpha():
        return False
    return sorted(a) == sorted(b) or SequenceMatcher(None, a, b).ratio() > 0.8


def check_spelling(drafts: list[Draft], faults: Faults, notes: list[str]) -> None:
    """A dye of mixtures alone that is spelt much like a dye with swatches of its own is a fault.

    A dye with a single row, spelt like one with several, is told in a note: it may be right.
    """
    alone: dict[str, int] = {}
    first: dict[str, int] = {}
    for draft in drafts:
        for dye in draft.recipe or ():
            first.setdefault(dye, draft.row)
            alone[dye] = alone.get(dye, 0) + (len(draft.recipe or ()) == 1)
    own = [dye for dye, rows in alone.items() if rows]
    for dye, rows in alone.items():
        near = [o for o in own if alone[o] > rows and alike(dye, o)]
        if near and rows == 0:
            faults.add(
                f"{dye!r} has no swatch of its own: is {near[0]!r} meant? Correct the spelling, or "
                f"give {dye!r} swatches of its own.",
                first[dye],
                "recipe",
            )
        elif near and rows == 1:
            notes.append(
                f"{dye!r} (row {first[dye]}) has one row and is spelt much like {near[0]!r}: one "
                "dye or two?"
            )
