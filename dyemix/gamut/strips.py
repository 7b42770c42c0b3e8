"""What a shelf gives near one colour: strips that lead to it, and the cleanest of each hue."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciecam16 import lab_hue, of_hue, usual_hue
from dyemix.dataset.target import Target
from dyemix.gamut.boundary import gamuts
from dyemix.matching.match import match_many
from dyemix.matching.matches import Match, Matches, Reach
from dyemix.model.dyes import DyeSet
from dyemix.series.search import LEAST_CHROMA

#: Pieces of a strip from grey to the colour, and L* of one from pale to deep.
_SHARES: Array = np.linspace(0.0, 1.0, 9)
_LEVELS: Array = np.array([88.0, 78.0, 68.0, 58.0, 48.0, 38.0, 28.0])
_HUES = 12


@dataclass(frozen=True, eq=False)
class ShelfAround:
    """What lies around one colour.

    Attributes
    ----------
    found : the recipes nearest to it, and whether the shelf reaches it.
    to_it : answers at its lightness and hue, from grey to it in even steps.
    to_deep : answers of its hue from pale to deep, as clean as it or as the cleanest of `to_it`
        that is reached.
    in_hue : the cleanest reached of `to_it`; None where not even grey is, or it has no hue.
    cleanest : the cleanest recipe of each of twelve hues at its lightness, by hue angle.
    """

    found: Matches
    to_it: tuple[Matches, ...]
    to_deep: tuple[Matches, ...]
    in_hue: Match | None
    cleanest: tuple[Match, ...]


def around(dyes: DyeSet, target: Target, max_dyes: int = 3) -> ShelfAround:
    """What the shelf gives near a colour, in its own light or that of the swatches.

    Raises `DyemixError` for a shelf of fewer than three dyes.
    """
    target = target.under(dyes.light)
    light = target.light
    assert light is not None

    def answers(labs: Array, count: int = 1) -> tuple[Matches, ...]:
        asked = [Target(lab, light, name="on the way") for lab in labs]
        return tuple(match_many(dyes, asked, max_dyes=max_dyes, count=count))

    chroma, level = float(np.hypot(*target.lab[1:])), float(target.lab[0])
    hue = usual_hue(target.lab)
    (found,) = match_many(dyes, [target], max_dyes=max_dyes)
    to_it: tuple[Matches, ...] = ()
    to_deep: tuple[Matches, ...] = ()
    in_hue = None
    if chroma >= LEAST_CHROMA:
        levels = np.full(len(_SHARES), level)
        to_it = answers(of_hue(target.lab, levels, _SHARES * chroma, hue, light))
        near = [i for i, each in enumerate(to_it) if each.reach is Reach.WITHIN and len(each)]
        in_hue = to_it[near[-1]][0] if near else None
        clean = np.full(len(_LEVELS), chroma * _SHARES[near[-1]] if near else chroma)
        to_deep = answers(of_hue(target.lab, _LEVELS, clean, hue, light))
    slices = gamuts(dyes, max_dyes, levels=np.array([level]), light=light)
    edge = [line for line in slices(2 ** len(dyes) - 1).outlines[0] if len(line)]
    points = np.concatenate(edge) if edge else np.empty((0, 2))
    sector = (lab_hue(np.insert(points, 0, level, axis=1)) // (360.0 / _HUES)).astype(int)
    far = [max(points[sector == i], key=np.linalg.norm) for i in range(_HUES) if i in sector]
    best = answers(np.insert(np.array(far), 0, level, axis=1)) if far else ()
    return ShelfAround(found, to_it, to_deep, in_hue, tuple(each[0] for each in best if len(each)))
