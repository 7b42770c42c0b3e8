"""What is said of colours and misses on the page: one ladder of words, always beside its figure."""

from __future__ import annotations

import re
from bisect import bisect
from collections import Counter
from collections.abc import Iterable

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.appearance import lab_hue
from dyemix.matching.matches import verdict

#: What a miss is worth (`matching.matches.VERDICTS`), as the page says it; in short, of pots.
LADDER = {
    "excellent": ("a match on the bench", "a match"),
    "sound": ("sound: seen side by side", "seen side by side"),
    "same family": ("same family", "same family"),
    "test first": ("another colour", "another colour"),
}
#: Where words of lightness, chroma and hue begin; CIELAB, working values of ours.
_LIGHT = (
    (22, 38, 52, 66, 80, 91),
    "very dark|dark|fairly dark|middling|fairly light|light|very light",
)
_CLEAN = ((4, 10, 22, 40, 62), "grey|greyish|quiet|fairly clean|clean|very clean")
_HUE = ((18, 50, 72, 98, 135, 168, 200, 235, 285, 312, 330), "rose red|red|orange|yellow|"
        "yellow-green|green|blue-green|greenish blue|blue|violet|purple|magenta")  # fmt: skip
#: What speaks for a recipe (`matching.advice`), as a name that says why take it.
_NAMES = (
    ("likeliest", "Likeliest to come out right"),
    ("your ", "Your {rest}"),
    ("no depth guessed", "Nothing guessed"),
    ("only one", "Only one jar"),
    ("only two", "Only two jars"),
    ("no ", "No {rest}"),
    ("from what is left", "From what is left"),
    ("steadiest", "Steadiest by lamplight"),
    ("cheapest", "Cheapest"),
    ("least to pour", "Least to pour"),
)


def _word(scale: tuple[tuple[int, ...], str], value: float) -> str:
    return scale[1].split("|")[bisect(scale[0], value)]


def colour_words(lab: Array) -> str:
    """A colour ``(3,)`` in words, as 'middling, quiet, yellow-green'."""
    chroma = float(np.hypot(*lab[1:]))
    clean = _word(_CLEAN, chroma)
    hue = () if clean == "grey" else (_word(_HUE, float(lab_hue(lab))),)
    return ", ".join((_word(_LIGHT, float(lab[0])), clean, *hue))


def counted(misses: Iterable[float]) -> str:
    """How many pots are worth what, as '8 a match, 2 seen side by side'."""
    counts = Counter(LADDER[verdict(float(miss))][1] for miss in misses)
    return ", ".join(f"{counts[word]} {word}" for _, word in LADDER.values() if counts[word])


def shows(words: Iterable[str]) -> str:
    """How a miss shows, as 'yellower and duller'."""
    return " and ".join(list(words)[:2]) or "hardly shows"


def named(reason: str) -> str:
    """The name of a mix by what speaks for it."""
    for start, name in _NAMES:
        if reason.startswith(start):
            return name.format(rest=reason.removeprefix(start).strip())
    return reason


def spoon_signs(text: str) -> list[tuple[str, int]]:
    """The spoons of '2 tbsp + 1¼ tsp', each with how full it is in quarters."""
    signs: list[tuple[str, int]] = []
    for number, part, spoon in re.findall(r"(\d*)([¼½¾]?) (tbsp|tsp)", text):
        signs += [(spoon, 4)] * int(number or 0)
        signs += [(spoon, "¼½¾".index(part) + 1)] if part else []
    return signs
