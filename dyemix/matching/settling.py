"""Settle what three stimuli leave open in a blend of more than three dyes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.colorimetry import Light, lab_from_xyz, lab_slope, weights
from dyemix.dataset.target import Target
from dyemix.matching.subsets import Goal, Subsets
from dyemix.model.dyes import DyeSet
from dyemix.model.least_squares import Residual, solve

#: Weights of the wish that settles a free direction, beside ΔE2000, in turn: the last moves
#: ΔE2000 by less than its square.
_WISHES = (1.0, 0.1, 0.01)
_WISH_STEPS, _WISH_TOLERANCE = 100, 1e-15
#: Added to each amount under its root, % owf. It shifts the sum by a constant and changes no
#: answer, but without it the slope at zero is infinite, and a dye that is out stays out.
_TRACE = 0.1
#: Where to set out from, as a share of the most that is allowed.
_MIDDLE = 0.1


def settle(
    dyes: DyeSet, goal: Goal, target: Target, light: Light, subsets: Subsets, top: Array
) -> Subsets:
    """Settle the free direction of blends of more than three dyes that reach the target.

    Three stimuli leave k − 3 directions free. The wish along them is the least metamerism (for a
    target with a spectrum: equal spectra) or the least total depth, added to the goal at a small
    weight: a damped least squares with both finds the one answer, wherever it starts.
    """
    blends = dyes.blends(subsets.index)
    m = weights(light)
    spectrum = target.reflectance

    def wished(weight: float) -> Residual:
        def residual(amounts: Array, rows: NDArray[np.intp]) -> tuple[Array, Array]:
            some = blends.rows(rows)
            r, dr = some.reflectance_and_slope(amounts)
            xyz = r @ m
            value, by_lab = goal(lab_from_xyz(xyz, light))
            lab_by_amount = lab_slope(xyz, light) @ (dr @ m).transpose(0, 2, 1)
            if spectrum is None:
                # Squares that add up to the total depth. The square of the total would have no
                # curvature where it is least, and the solver would creep there.
                wish = np.sqrt(amounts + _TRACE)
                by_amount = np.eye(wish.shape[1]) / (2.0 * wish[:, :, np.newaxis])
            else:
                # In units of one hundredth reflectance, the size of what an instrument tells apart.
                wish, by_amount = 100.0 * (r - spectrum), 100.0 * dr.transpose(0, 2, 1)
            return (
                np.concatenate([value, weight * wish], axis=1),
                np.concatenate([by_lab @ lab_by_amount, weight * by_amount], axis=1),
            )

        return residual

    def run(amounts: Array) -> tuple[Array, Array]:
        # A small weight makes a narrow, bent valley, in which descent creeps: large ones first.
        for weight in _WISHES:
            amounts = solve(
                wished(weight), amounts, upper, steps=_WISH_STEPS, tolerance=_WISH_TOLERANCE
            ).x
        value, _ = goal(blends.lab_and_slope(amounts, light)[0])
        return amounts, np.einsum("nm,nm->n", value, value)

    upper = top[subsets.index]
    if spectrum is not None:
        return Subsets(subsets.index, *run(subsets.amounts))
    # The depth can be least at either end of the free direction, so where descent ends depends on
    # where it starts: all start from the same place, and from their own only if that leads astray.
    amounts, cost = run(_MIDDLE * upper)
    astray = cost > subsets.cost + _WISHES[-1] ** 2
    if astray.any():
        own, own_cost = run(subsets.amounts)
        amounts = np.where(astray[:, np.newaxis], own, amounts)
        cost = np.where(astray, own_cost, cost)
    return Subsets(subsets.index, amounts, cost)
