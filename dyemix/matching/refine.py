"""The last steps for the few blends that will be looked at, and what a plain descent leaves open.

That is two things. In a blend of more than three dyes three stimuli leave a free direction, along
which a target with a spectrum is matched as a spectrum. And ΔE2000 jumps where two hues stand 180°
apart, where descent stops short of what lies beyond.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from dyemix.arrays import Array, Flags, Indices
from dyemix.colour.ciede2000 import delta_e, delta_e_parts
from dyemix.matching.subsets import Found, Problem
from dyemix.model.least_squares import Residual
from dyemix.model.mixtures import Index

#: A further dye must bring a recipe nearer by this much ΔE2000 (far below what an eye sees), or
#: the recipe without it stands for both.
EARNS_ITS_PLACE = 0.1
#: How many of the best blends of each number of dyes get the last steps.
_SHORT_LIST = 20
#: How many of the blends of each size are tried with one dye more: all there are of twelve dyes.
_BEAM = 400
#: Blends this much ΔE2000 further off than the nearest come to nothing that is shown.
_HOPEFUL = 8.0
#: A blend this near to the target is on the spot: one that holds it is not tried. Whatever that
#: might gain is less than this, since no ΔE2000 lies below 0.
_ON_THE_SPOT = 0.02
#: Amounts are told to a millionth of a per cent: far below any measure, and the same whichever
#: way the arrays were cut.
_TOLD = 1e6
#: From this miss on the best answer is also looked for across grey. Against differential
#: evolution a better one stood there only where the miss was above 16.
_FAR = 12.0
#: Where that looks: at these turns from the target's hue (radians) and chromas. Just short of the
#: jump at half a turn; at 100° the rotation term (mean hue 275°) bends the valley for purples.
_ACROSS, _CHROMAS = np.deg2rad([179.95, -179.95, 100.0, -100.0]), np.geomspace(0.3, 40.0, 60)
#: How many blends set out from each.
_SIDES = 3
#: How hard it is held on its side of the jump, and by how much chroma (a*, b*) short of it: softly
#: first, or it would creep along the edge.
_HOLDS = ((3.0, 0.0), (300.0, 0.003))
#: Weights of the spectrum beside ΔE2000, in turn: a small weight makes a narrow, bent valley, in
#: which descent creeps. The last moves ΔE2000 by less than its square.
_WEIGHTS = (1.0, 0.1, 0.01)


def tell(amounts: Array, total: float) -> Array:
    """Amounts as they are told, % owf; rounded down where there is a total not to exceed."""
    half = 0.0 if np.isfinite(total) else 0.5
    return np.floor(amounts * _TOLD + half) / _TOLD


def refined(problem: Problem) -> Found:
    """The best blends for each target, amounts as they are told."""
    level = _ON_THE_SPOT**2
    some = problem.search(level, _BEAM).best(5 * _SHORT_LIST, level, by_number=True)
    if problem.spectra is None:
        some = some.rows(_worth_it(some)).best(_SHORT_LIST, level, by_number=True)
    behind = np.sqrt(some.cost) - np.sqrt(some.best().cost)[some.which]
    some = problem.finish(some.rows(behind <= _HOPEFUL))
    loose = (some.used.sum(axis=1) > 3) & (some.cost < EARNS_ITS_PLACE**2)
    if problem.spectra is not None and loose.any():
        some.amounts[loose] = as_spectra(problem, some.rows(loose)).amounts
    some = Found.joined([some, *_across_grey(problem, some.best().cost)])
    told = tell(some.amounts, problem.total)
    miss = delta_e(problem.labs[some.which], problem.colours(told), problem.k_lightness)
    return Found(some.which, told > 0, told, miss**2)


def holds(used: Flags) -> Flags:
    """Whether blend i holds every dye of blend j, ``(M, M)``, of blends ``(M, D)``."""
    dyes = used.astype(np.float32)
    return np.asarray((1.0 - dyes) @ dyes.T == 0.0)


def _worth_it(some: Found) -> Flags:
    """Which blends ``(M,)`` come nearer than every one inside them, or yet might by enough."""
    out, miss = np.ones(len(some.which), dtype=bool), np.sqrt(some.cost)
    for t in range(some.which.max() + 1):
        mine = np.flatnonzero(some.which == t)
        within = holds(some.used[mine])
        np.fill_diagonal(within, False)
        nearest = np.where(within, miss[mine], np.inf).min(axis=1)
        out[mine] = nearest > np.maximum(miss[mine], EARNS_ITS_PLACE)
    return out


def as_spectra(problem: Problem, some: Found) -> Found:
    """Blends of the same colour as before, and of the nearest spectra to those of their targets."""
    assert problem.spectra is not None
    wanted = problem.spectra[some.which]

    def wished(weight: float, index: Index) -> Residual:
        near = problem.on_lab(problem.goal(some.which))(index)

        def residual(amounts: Array, rows: Indices) -> tuple[Array, Array]:
            value, slope = near(amounts, rows)
            r, by_amount = problem.blending.spectra(amounts, index[:, rows])
            # In units of one hundredth reflectance: about what an instrument tells apart.
            wish, by_wish = (100.0 * weight * x for x in (r - wanted[rows].T, by_amount))
            return np.concatenate([value, wish]), np.concatenate([slope, by_wish])

        return residual

    for weight in _WEIGHTS:
        some = problem.descend(some, 100, 1e-15, partial(wished, weight))
    return some


def _across_grey(problem: Problem, cost: Array) -> list[Found]:
    """The far side of grey, for targets whose nearest blend, of `cost` ``(T,)``, is a poor one.

    Just short of its jump ΔE2000 can have a second, narrow minimum: for a target of high chroma a
    dull colour of the opposite hue. Descent does not find it from the target's own side. So the
    nearest of the `_ACROSS` colours, where they come nearer, is a target of its own, and its blend
    sets out from there, held on its side of the jump while ΔE2000 is continued smoothly past it.
    """
    labs, k = problem.labs, problem.k_lightness
    turn = _ACROSS[:, np.newaxis] + np.arctan2(labs[:, 2], labs[:, 1])  # (A, T)
    chroma = _CHROMAS[:, np.newaxis, np.newaxis]
    colours = np.stack(
        np.broadcast_arrays(labs[:, 0], chroma * np.cos(turn), chroma * np.sin(turn)), axis=-1
    )  # (C, A, T, 3)
    miss = delta_e(labs, colours, k)
    across, which = np.nonzero((miss.min(axis=0) ** 2 < cost) & (cost > _FAR**2))
    if not len(which):
        return []
    there = colours[np.argmin(miss, axis=0)[across, which], across, which]
    some = replace(problem, labs=there, spectra=None).search().best(_SIDES)
    which, side = which[some.which], np.sign(_ACROSS[across[some.which]])
    some, aims = replace(some, which=which), labs[which]
    # Distance (a*, b*) from the line through grey on which the target's hue and its opposite lie.
    off = side * np.stack([np.zeros(len(which)), -aims[:, 2], aims[:, 1]])
    off /= np.maximum(np.hypot(aims[:, 1], aims[:, 2]), 1e-9)

    def held(force: float, margin: float, lab: Array, rows: Indices) -> tuple[Array, Array]:
        value, slope = delta_e_parts(aims[rows].T, lab, k, side=side[rows])
        short = margin - (lab * off[:, rows]).sum(axis=0)
        hold = np.where(short > 0.0, -force, 0.0) * off[:, rows]
        pull = force * np.maximum(short, 0.0)
        return np.concatenate([value, pull[np.newaxis]]), np.concatenate([slope, hold[np.newaxis]])

    for force, margin in _HOLDS:
        some = problem.descend(some, 60, 1e-8, problem.on_lab(partial(held, force, margin)))
    return [some]
