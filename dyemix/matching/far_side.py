"""The far side of grey: where ΔE2000 jumps, and descent from the near side stops."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e_residual
from dyemix.colour.colorimetry import Light
from dyemix.matching.subsets import Subsets, lab_residual
from dyemix.model.dyes import DyeSet
from dyemix.model.least_squares import Residual, solve

#: Where `across_grey` sets out from: chroma, and hue from the target's in degrees. Those at 100°
#: and low chroma stand where the rotation term (mean hue 275°) bends the valley for purples.
_ACROSS = np.array(
    [
        (chroma, side * turn)
        for side in (1, -1)
        for chroma, turn in ((1.5, 179.5), (8.0, 150.0), (3.5, 100.0), (25.0, 100.0))
    ]
)
#: How hard it is held on its side of the jump, by how much chroma (a*, b*) short of it, and for
#: how many steps: softly first, or it would creep along the edge.
_HOLDS = ((3.0, 0.0, 60), (30.0, 0.01, 60), (300.0, 0.003, 60), (3000.0, 0.001, 30))
_LAST_STEPS = 300


def across_grey(
    dyes: DyeSet,
    target: Array,
    k_lightness: float,
    light: Light,
    subsets: Subsets,
    most: Array | None = None,
    total: float | None = None,
) -> Subsets:
    """Try the far side of grey, for the few subsets whose best answer is a poor one.

    ΔE2000 jumps where two hues stand 180° apart, and just short of the jump it can have a second,
    narrow minimum: for a target of high chroma out of reach, a dull colour of the opposite hue.
    Descent does not find it from the target's own side, and stops dead at the edge. So each
    subset sets out again from colours across grey, each held on its side of the jump by a
    one-sided penalty while ΔE2000 is continued smoothly past it. The better answer is kept.
    `most` ``(D,)`` and `total` limit the amounts as in `search`.
    """
    n, k = subsets.index.shape
    m = len(_ACROSS)
    index = np.repeat(subsets.index, m, axis=0)
    blends, top = dyes.blends(index), (dyes.deepest if most is None else most)[index]
    chroma, turn = _ACROSS[:, 0], np.deg2rad(_ACROSS[:, 1])
    hue = np.arctan2(target[2], target[1])
    starts = np.column_stack(
        [np.full(m, target[0]), chroma * np.cos(hue + turn), chroma * np.sin(hue + turn)]
    )
    starts, side = np.tile(starts, (n, 1)), np.tile(np.sign(turn), n)
    # Distance (a*, b*) from the line through grey on which the target's hue and its opposite lie.
    normal = side[:, np.newaxis] * np.array([0.0, -np.sin(hue), np.cos(hue)])

    def reach(amounts: Array, rows: NDArray[np.intp]) -> tuple[Array, Array]:
        lab, slope = blends.rows(rows).lab_and_slope(amounts, light)
        return lab - starts[rows], slope

    def held(force: float, margin: float) -> Residual:
        def residual(amounts: Array, rows: NDArray[np.intp]) -> tuple[Array, Array]:
            lab, by_amount = blends.rows(rows).lab_and_slope(amounts, light)
            left, by_left = delta_e_residual(target, lab, k_lightness, side=1)
            right, by_right = delta_e_residual(target, lab, k_lightness, side=-1)
            is_left = side[rows] > 0
            value = np.where(is_left[:, np.newaxis], left, right)
            by_lab = np.where(is_left[:, np.newaxis, np.newaxis], by_left, by_right)
            short = margin - np.einsum("nc,nc->n", lab, normal[rows])
            hold = np.where(short > 0, -force, 0.0)[:, np.newaxis] * normal[rows]
            value = np.column_stack([value, force * np.maximum(short, 0.0)])
            return value, np.concatenate([by_lab, hold[:, np.newaxis]], axis=1) @ by_amount

        return residual

    amounts = solve(reach, np.zeros((n * m, k)), top, steps=20, tolerance=1e-3).x
    for force, margin, steps in _HOLDS:
        amounts = solve(held(force, margin), amounts, top, steps=steps, tolerance=1e-8).x

    def goal(lab: Array) -> tuple[Array, Array]:
        return delta_e_residual(target, lab, k_lightness)

    found = solve(
        lab_residual(blends, goal, light, total), amounts, top, steps=_LAST_STEPS, tolerance=1e-10
    )
    costs = found.cost.reshape(n, m)
    best, rows = np.argmin(costs, axis=1), np.arange(n)
    better = costs[rows, best] < subsets.cost
    return Subsets(
        subsets.index,
        np.where(better[:, np.newaxis], found.x.reshape(n, m, k)[rows, best], subsets.amounts),
        np.where(better, costs[rows, best], subsets.cost),
    )
