"""What limits a target out of reach, and the nearest colour that holds its hue."""

from __future__ import annotations

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e, delta_e_residual
from dyemix.colour.colorimetry import Light
from dyemix.dataset.target import Target
from dyemix.matching.constraints import Wishes
from dyemix.matching.ranking import EARNS_ITS_PLACE, WITHIN_REACH, allowed, tell
from dyemix.matching.subsets import lab_residual
from dyemix.model.dyes import DyeSet
from dyemix.model.least_squares import solve

#: How much more a turn of hue counts when the hue is to be held.
_HOLD_HUE = 6.0
#: Blends that are turned back to the hue.
_TRIED = 20


def advice(
    dyes: DyeSet,
    target: Target,
    light: Light,
    amounts: Array,
    miss: Array,
    wishes: Wishes,
    k_lightness: float,
) -> tuple[str, ...]:
    """Sentences on a target that the allowed recipes ``(M, D)`` come no nearer to than `miss`."""
    top = wishes.tops(dyes)
    best = amounts[int(np.argmin(miss))]
    used = [name for name, c in zip(dyes.names, best, strict=True) if c > 0]
    full = [name for name, c, t in zip(dyes.names, best, top, strict=True) if 0 < 0.999 * t <= c]
    limit = (
        f"Limited by {' and '.join(full)}, as deep as there is a square or stock for."
        if full
        else f"Limited by {' and '.join(used) or 'the undyed cloth'}: no dye here is cleaner."
    )
    lines = [f"Nearest on paper: {dyes.recipe(best)}, {miss.min():.1f} off. {limit}"]
    near = amounts[np.argsort(miss)[:_TRIED]]
    force = np.array([1.0, 1.0, _HOLD_HUE])

    def holding(sample: Array) -> tuple[Array, Array]:
        value, slope = delta_e_residual(target.lab, sample, k_lightness)
        return value * force, slope * force[:, np.newaxis]

    # Only the dyes that are in a blend: each row its own, first in the order.
    k = int((near > 0).sum(axis=1).max(initial=1))
    index = np.argsort(near == 0.0, axis=1, kind="stable")[:, :k]
    few = np.take_along_axis(near, index, axis=1)
    found = solve(
        lab_residual(dyes.blends(index), holding, light, wishes.total), few,
        np.where(few > 0, top[index], 0.0),
        lower=np.where(few > 0, wishes.bottoms(dyes)[index], 0.0),
    )  # fmt: skip
    held = np.zeros_like(near)
    np.put_along_axis(held, index, found.x, axis=1)
    # A dye that must be in can be turned away from the hue: then there is no such recipe.
    cost = np.where(allowed(tell(held), dyes, wishes), found.cost, np.inf)
    if not np.isfinite(cost).any():
        return tuple(lines)
    chosen = tell(held[int(np.argmin(cost))])
    colour = dyes.predict_many(chosen[np.newaxis], light)[0]
    off = float(delta_e(target.lab, colour, k_lightness))
    if off > max(float(miss.min()) + EARNS_ITS_PLACE, WITHIN_REACH):
        lines.append(f"Holding the hue: {dyes.recipe(chosen)}, {off:.1f} off.")
    return tuple(lines)
