"""The last steps for the few blends that will be looked at, and what a plain descent leaves open.

That is two things. In a blend of more than three dyes three stimuli leave a free direction, which
is settled by a wish. And ΔE2000 jumps where two hues stand 180° apart, where descent stops.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e, delta_e_residual
from dyemix.colour.colorimetry import Light, lab_from_xyz, lab_slope, weights
from dyemix.dataset.target import Target
from dyemix.matching.constraints import Constraints
from dyemix.matching.subsets import (
    Found,
    Goal,
    Subsets,
    delta_e_goal,
    finish_all,
    lab_residual,
    search_many,
)
from dyemix.model.dyes import DyeSet
from dyemix.model.least_squares import Residual, solve

#: A further dye must bring a recipe nearer by this much ΔE2000 (far below what an eye sees), or
#: the recipe without it stands for both.
EARNS_ITS_PLACE = 0.1
#: Amounts are told to a millionth of a per cent: far below any measure, and the same whichever
#: way the arrays were cut.
_DIGITS = 6
#: How many of the best subsets of each size get the last steps.
_SHORT_LIST = 20
#: From this miss on the best answer is also looked for across grey. Against differential
#: evolution a better one stood there only where the miss was above 16.
_FAR = 12.0
#: A blend this near to the target is on the spot: one that holds it is not tried. Whatever that
#: might gain is less than this, since no ΔE2000 lies below 0.
_ON_THE_SPOT = 0.02
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
_GREY_STEPS = 300
#: Weights of the wish that settles a free direction, beside ΔE2000, in turn: the last moves
#: ΔE2000 by less than its square.
_WISHES = (1.0, 0.1, 0.01)
_WISH_STEPS, _WISH_TOLERANCE = 100, 1e-15
#: Added to each amount under its root, % owf. It shifts the sum by a constant and changes no
#: answer, but without it the slope at zero is infinite, and a dye that is out stays out.
_TRACE = 0.1
#: Where to set out from, as a share of the most that is allowed.
_MIDDLE = 0.1


def tell(amounts: Array) -> Array:
    """Amounts as they are told, % owf."""
    return np.asarray(np.round(amounts, _DIGITS))


def allowed(amounts: Array, dyes: DyeSet, wanted: Constraints) -> NDArray[np.bool_]:
    """Which of the recipes ``(M, D)`` hold every dye that must be used, and keep to the total."""
    good = np.all(amounts >= 0.999 * wanted.lower(dyes), axis=1)
    if wanted.total is not None:
        good &= amounts.sum(axis=1) <= wanted.total * 1.001
    return np.asarray(good)


def refined(
    dyes: DyeSet, targets: Sequence[Target], light: Light, wanted: Constraints, k_lightness: float
) -> Found:
    """The best blends of each target under one light, amounts as they are told."""
    labs = np.array([t.lab for t in targets])
    top = wanted.upper(dyes)

    def goal(lab: Array, which: NDArray[np.intp]) -> tuple[Array, Array]:
        return delta_e_residual(labs[which], lab, k_lightness)

    def value(lab: Array, which: NDArray[np.intp]) -> tuple[Array, Array]:
        return delta_e_residual(labs[which], lab, k_lightness, slope=False)

    # Without a spectrum to match, a dye that must be in or a depth to keep to, a blend that holds
    # a smaller one on the spot cannot earn its place: it need not be tried.
    limited = bool(wanted.use) or wanted.total is not None
    plain = not limited and all(t.reflectance is None for t in targets)
    enough = _ON_THE_SPOT**2 if plain else None
    found = search_many(
        dyes, goal, len(targets), light, wanted.max_dyes, top, wanted.total, enough, value
    )
    lists: list[Subsets] = []
    which: list[int] = []
    for t, sizes in enumerate(found):
        for size in sizes:
            short = _holding(size, dyes, wanted).best(_SHORT_LIST, _ON_THE_SPOT**2)
            if len(short.cost):
                lists.append(short)
                which.append(t)
    owners = np.array(which, dtype=np.intp)
    bottom = wanted.lower(dyes)
    finished = finish_all(dyes, goal, light, lists, owners, bottom, top, wanted.total)
    told = []
    for t, target in enumerate(targets):
        mine = [s for s, owner in zip(finished, which, strict=True) if owner == t]
        one = delta_e_goal(target.lab, k_lightness)
        told.append(_gather(dyes, wanted, one, target, light, k_lightness, mine))
    rows, amounts = np.repeat(np.arange(len(told)), [len(x) for x in told]), np.concatenate(told)
    good = allowed(amounts, dyes, wanted)
    rows, amounts = rows[good], amounts[good]
    return Found(rows, amounts, delta_e(labs[rows], dyes.predict_many(amounts, light), k_lightness))


def _holding(size: Subsets, dyes: DyeSet, wanted: Constraints) -> Subsets:
    """Those subsets that hold every dye that must be used."""
    if not wanted.use:
        return size
    has = np.all([np.any(size.index == dyes.index(d), axis=1) for d in wanted.use], axis=0)
    return Subsets(size.index[has], size.amounts[has], size.cost[has])


def _gather(
    dyes: DyeSet,
    wanted: Constraints,
    goal: Goal,
    target: Target,
    light: Light,
    k_lightness: float,
    sizes: Sequence[Subsets],
) -> Array:
    """Amounts ``(M, D)`` as told; free directions settled."""
    top = wanted.upper(dyes)
    total = np.inf if wanted.total is None else wanted.total
    rows = []
    for some in sizes:
        amounts = some.amounts
        if some.index.shape[1] > 3:
            free = np.sqrt(some.cost) < EARNS_ITS_PLACE
            if free.any():
                part = Subsets(some.index[free], amounts[free], some.cost[free])
                settled = settle(dyes, goal, target, light, part, top).amounts
                amounts = amounts.copy()
                # The wish knows nothing of the depth in all, nor of dyes that must be in.
                bottom = wanted.lower(dyes)[part.index]
                keeps = np.all(settled >= bottom, axis=1) & (settled.sum(axis=1) <= total)
                amounts[free] = np.where(keeps[:, np.newaxis], settled, part.amounts)
        rows.append(_spread(dyes, some.index, amounts))
    nearest = min(sizes, key=lambda s: float(s.cost.min()))
    if nearest.cost.min() > _FAR**2:
        best = across_grey(dyes, target.lab, k_lightness, light, nearest.best(1), top, wanted.total)
        rows.append(_spread(dyes, best.index, best.amounts))
    return tell(np.concatenate(rows))


def _spread(dyes: DyeSet, index: NDArray[np.intp], amounts: Array) -> Array:
    full = np.zeros((len(index), len(dyes)))
    np.put_along_axis(full, index, amounts, axis=1)
    return full


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
        lab_residual(blends, goal, light, total), amounts, top, steps=_GREY_STEPS, tolerance=1e-10
    )
    costs = found.cost.reshape(n, m)
    best, rows = np.argmin(costs, axis=1), np.arange(n)
    better = costs[rows, best] < subsets.cost
    return Subsets(
        subsets.index,
        np.where(better[:, np.newaxis], found.x.reshape(n, m, k)[rows, best], subsets.amounts),
        np.where(better, costs[rows, best], subsets.cost),
    )


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
