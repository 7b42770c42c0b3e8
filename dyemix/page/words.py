"""What is said of colours and misses on the page: one ladder of words, always beside its figure."""

import re
from bisect import bisect
from collections import Counter
from collections.abc import Iterable, Mapping

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.appearance import lab_hue
from dyemix.errors import data
from dyemix.matching.matches import verdict

#: What a miss is worth (`matching.matches.VERDICTS`), as the page says it; in short, of pots.
LADDER: Mapping[str, list[str]] = data("page")["ladder"]


def _word(scale: str, value: float) -> str:
    told = data("page")[scale]
    return str(told["words"][bisect(told["begin"], value)])


def colour_words(lab: Array) -> str:
    """A colour ``(3,)`` in words, as 'middling, quiet, yellow-green'."""
    chroma = float(np.hypot(*lab[1:]))
    clean = _word("clean", chroma)
    hue = () if clean == "grey" else (_word("hue", float(lab_hue(lab))),)
    return ", ".join((_word("light", float(lab[0])), clean, *hue))


def counted(misses: Iterable[float]) -> str:
    """How many pots are worth what, as '8 a match, 2 seen side by side'."""
    counts = Counter(LADDER[verdict(float(miss))][1] for miss in misses)
    return ", ".join(f"{counts[word]} {word}" for _, word in LADDER.values() if counts[word])


def shows(words: Iterable[str]) -> str:
    """How a miss shows, as 'yellower and duller'."""
    return " and ".join(list(words)[:2]) or "hardly shows"


def named(reason: str) -> str:
    """The name of a mix by what speaks for it."""
    names: Mapping[str, str] = data("page")["names"]
    start = next(filter(reason.startswith, names), "")
    return names.get(start, reason).format(rest=reason.removeprefix(start).strip())


def spoon_signs(text: str) -> list[tuple[str, int]]:
    """The spoons of '2 tbsp + 1¼ tsp', each with how full it is in quarters."""
    signs: list[tuple[str, int]] = []
    for number, part, spoon in re.findall(r"(\d*)([¼½¾]?) (tbsp|tsp)", text):
        signs += [(spoon, 4)] * int(number or 0)
        signs += [(spoon, "¼½¾".index(part) + 1)] if part else []
    return signs
