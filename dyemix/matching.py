"""Which blends of the shelf come nearest to a colour, on paper."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from dyemix.colorimetry import Light, lab, lab_from_xyz, lab_slope, weights
from dyemix.colour_difference import delta_e, delta_e_residual
from dyemix.dyes import DyeSet, Prediction
from dyemix.errors import DyemixError
from dyemix.kubelka_munk import Array
from dyemix.recipe import Recipe
from dyemix.search import Goal, Subsets, across_grey, finish, search
from dyemix.solver import Residual, solve
from dyemix.swatches import DEMO_WARNING
from dyemix.target import Target

if TYPE_CHECKING:
    import pandas as pd

#: A further dye must bring a recipe nearer by this much ΔE2000 (far below what an eye sees), or
#: the recipe without it stands for both.
EARNS_ITS_PLACE = 0.1
#: A target is within reach when the best recipe comes this near on paper.
WITHIN_REACH = 0.3
#: Weights of the wish that settles a free direction, beside ΔE2000, in turn: the last moves
#: ΔE2000 by less than its square.
_WISHES = (1.0, 0.1, 0.01)
_WISH_STEPS = 100
#: Keeps the slope of a square root finite at zero, % owf.
_TRACE = 1e-6
#: How many of the best subsets of each size get the last steps, at least.
_SHORT_LIST = 20
#: From this miss on the best answer is also looked for across grey. Against differential
#: evolution a better one stood there only where the miss was above 16.
_FAR = 3.0
_A = "A"


class Reach(Enum):
    """Whether the shelf reaches the target; the value is the sentence shown."""

    WITHIN = "within reach of this shelf"
    TOO_LIGHT = "out of reach: lighter than this shelf gets in that hue on this cloth"
    TOO_DARK = "out of reach: darker than this shelf gets in that hue on this cloth"
    TOO_CLEAN = "out of reach: cleaner (more chroma) than this shelf on this cloth"
    TOO_DULL = "out of reach: greyer than this shelf gets at that lightness on this cloth"
    OFF_IN_HUE = "out of reach: of a hue that this shelf does not hold at that lightness"


@dataclass(frozen=True, eq=False)
class Match:
    """One recipe for a target.

    Attributes
    ----------
    prediction : the recipe and what it should look like, under the target's light.
    delta_e : ΔE2000 of the target from the prediction, on paper.
    under_a : ΔE2000 under illuminant A, for a target that has a spectrum; else None.
    """

    prediction: Prediction
    delta_e: float
    under_a: float | None = None

    @property
    def recipe(self) -> Recipe:
        return self.prediction.recipe

    def __str__(self) -> str:
        return f"{self.prediction}\non paper {self.delta_e:.2f} (ΔE2000, {self.prediction.light})"


@dataclass(frozen=True, eq=False)
class Matches:
    """Recipes for one target, nearest first.

    Attributes
    ----------
    target : what was wanted, with its light settled.
    matches : the recipes; `len`, iteration and indexing go to them.
    reach : whether the shelf reaches the target at all.
    searched : how many subsets of the shelf were solved.
    notes : what was assumed.
    """

    target: Target
    matches: tuple[Match, ...]
    reach: Reach
    searched: int
    k_lightness: float = 1.0
    notes: tuple[str, ...] = ()
    demo: bool = False

    def __len__(self) -> int:
        return len(self.matches)

    def __iter__(self) -> Iterator[Match]:
        return iter(self.matches)

    def __getitem__(self, i: int) -> Match:
        return self.matches[i]

    @property
    def formula(self) -> str:
        """The colour difference with its factors and light."""
        return f"ΔE2000 {self.k_lightness:g}:1:1, {self.target.light}"

    def to_frame(self) -> pd.DataFrame:
        """One row a recipe: recipe, delta_e, L*, a*, b*, hex, light, total % owf, warnings."""
        import pandas as pd

        return pd.DataFrame(
            {
                "recipe": str(m.recipe),
                "delta_e": m.delta_e,
                "under_a": m.under_a,
                "L*": m.prediction.lab[0],
                "a*": m.prediction.lab[1],
                "b*": m.prediction.lab[2],
                "hex": m.prediction.hex,
                "light": str(m.prediction.light),
                "total_owf": m.recipe.total,
                "warnings": "; ".join(m.prediction.warnings),
            }
            for m in self.matches
        )

    def __str__(self) -> str:
        lines = [DEMO_WARNING] if self.demo else []
        lines += [f"Target {self.target}, {self.reach.value}.", *self.notes]
        width = max([len(str(m.recipe)) for m in self.matches], default=10)
        lines.append(f"    {'% of dry cloth weight':<{width}}  on paper  expected")
        for i, m in enumerate(self.matches, 1):
            p = m.prediction
            colour = "L* {:.1f} a* {:.1f} b* {:.1f}".format(*p.lab)
            lines.append(f"{i:>2}  {m.recipe!s:<{width}}  {m.delta_e:8.2f}  {colour}  {p.hex}")
        lines.append(f"On paper is {self.formula}, of {self.searched} blends tried.")
        return "\n".join([*lines, *self.warnings])

    @property
    def warnings(self) -> tuple[str, ...]:
        """What leaves the range of the swatches, each sentence once, with the recipes it is in."""
        where: dict[str, list[int]] = {}
        for i, m in enumerate(self.matches, 1):
            for text in m.prediction.warnings:
                where.setdefault(text, []).append(i)
        return tuple(f"No. {', '.join(map(str, n))}: {text}" for text, n in where.items())

    def _repr_html_(self) -> str:
        frame = self.to_frame()
        cells = "".join(
            f'<tr><td style="background:{m.prediction.hex};width:3em"></td><td>{m.recipe}</td>'
            f"<td>{m.delta_e:.2f}</td><td>{m.prediction.hex}</td></tr>"
            for m in self.matches
        )
        head = f"<p>{DEMO_WARNING}</p>" if self.demo else ""
        return (
            f"{head}<p>Target {self.target}, {self.reach.value}. {len(frame)} recipes.</p>"
            f"<table><tr><th></th><th>% owf</th><th>{self.formula}</th><th>hex</th></tr>"
            f"{cells}</table>"
        )


def delta_e_goal(target: Array, k_lightness: float = 1.0) -> Goal:
    """ΔE2000 from the target as a goal: its squares add up to ΔE2000²."""
    return lambda sample: delta_e_residual(target, sample, k_lightness)


def _reach(target: Array, nearest: Array, miss: float, k_lightness: float) -> Reach:
    """Which way the target lies from the nearest colour, by the largest part of ΔE2000."""
    if miss <= WITHIN_REACH:
        return Reach.WITHIN
    (light, chroma, hue), _ = delta_e_residual(nearest, target, k_lightness, slope=False)
    largest = int(np.argmax(np.abs([light, chroma, hue])))
    if largest == 0:
        return Reach.TOO_LIGHT if light > 0 else Reach.TOO_DARK
    if largest == 1:
        return Reach.TOO_CLEAN if chroma > 0 else Reach.TOO_DULL
    return Reach.OFF_IN_HUE


def _settle(dyes: DyeSet, goal: Goal, target: Target, light: Light, subsets: Subsets) -> Subsets:
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

    # A small weight makes a narrow, bent valley, in which descent creeps: the large ones go first.
    amounts, top = subsets.amounts, dyes.deepest[subsets.index]
    for weight in _WISHES:
        amounts = solve(wished(weight), amounts, top, steps=_WISH_STEPS, tolerance=1e-12).x
    value, _ = goal(blends.lab_and_slope(amounts, light)[0])
    return Subsets(subsets.index, amounts, np.einsum("nm,nm->n", value, value))


def _under_a(dyes: DyeSet, target: Target, light: Light, amounts: Array) -> Array | None:
    """ΔE2000 ``(N,)`` under illuminant A of amounts ``(N, D)``, for a target with a spectrum."""
    if target.reflectance is None:
        return None
    lamp = Light(_A, light.observer)
    return delta_e(lab(target.reflectance, lamp), dyes.predict_many(amounts, lamp))


def match(
    dyes: DyeSet,
    target: Target | str,
    max_dyes: int = 3,
    count: int = 8,
    k_lightness: float = 1.0,
) -> Matches:
    """The blends of at most `max_dyes` dyes that come nearest to a target, nearest first.

    Matching happens in the target's own light, both sides computed from spectra; a bare CIELAB
    takes the light of the swatches. Amounts run from 0 to the deepest swatch of each dye. Where
    dyes outnumber three and the target is within reach, the free direction is settled by least
    metamerism (a target with a spectrum), else by least total depth. A blend in which one dye
    brings the target nearer by less than `EARNS_ITS_PLACE` gives way to the blend without it.

    Raises `TargetError` for a target that is not a colour, `DyemixError` for a bad limit.
    """
    if max_dyes < 1 or count < 1 or k_lightness <= 0:
        raise DyemixError("max_dyes and count are 1 or more, k_lightness is above 0.")
    wanted = Target.parse(target) if isinstance(target, str) else target
    notes: tuple[str, ...] = ()
    if wanted.light is None:
        notes = (f"The target names no light: taken as {dyes.light}, the light of the swatches.",)
    wanted = wanted.under(dyes.light)
    light = wanted.light
    assert light is not None
    goal = delta_e_goal(wanted.lab, k_lightness)
    sizes = search(dyes, goal, light, max_dyes)
    amounts, miss = _short_list(dyes, goal, wanted, light, sizes, k_lightness)
    under_a = _under_a(dyes, wanted, light, amounts)
    order = _choose(amounts, miss, under_a, count)
    matches = tuple(
        Match(
            dyes.predict(dyes.recipe(amounts[i]), light),
            float(miss[i]),
            None if under_a is None else float(under_a[i]),
        )
        for i in order
    )
    nearest = matches[0]
    return Matches(
        wanted,
        matches,
        _reach(wanted.lab, nearest.prediction.lab, nearest.delta_e, k_lightness),
        sum(len(s.cost) for s in sizes),
        k_lightness,
        notes,
        dyes.demo,
    )


def _short_list(
    dyes: DyeSet,
    goal: Goal,
    target: Target,
    light: Light,
    sizes: list[Subsets],
    k_lightness: float,
) -> tuple[Array, Array]:
    """Amounts ``(M, D)`` and ΔE2000 ``(M,)`` of the most promising subsets of every size."""
    rows, misses = [], []
    for size in sizes:
        some = finish(dyes, goal, light, size.best(_SHORT_LIST))
        if some.index.shape[1] > 3:
            free = np.sqrt(some.cost) < EARNS_ITS_PLACE
            if free.any():
                part = Subsets(some.index[free], some.amounts[free], some.cost[free])
                settled = _settle(dyes, goal, target, light, part)
                some.amounts[free], some.cost[free] = settled.amounts, settled.cost
        if size is sizes[-1] and some.cost.min() > _FAR**2:
            best = across_grey(dyes, target.lab, k_lightness, light, some.best(1))
            some = Subsets(
                np.concatenate([best.index, some.index]),
                np.concatenate([best.amounts, some.amounts]),
                np.concatenate([best.cost, some.cost]),
            )
        full = np.zeros((len(some.cost), len(dyes)))
        np.put_along_axis(full, some.index, some.amounts, axis=1)
        rows.append(full)
        misses.append(np.sqrt(some.cost))
    return np.concatenate(rows), np.concatenate(misses)


def _choose(amounts: Array, miss: Array, under_a: Array | None, count: int) -> NDArray[np.intp]:
    """Indices of the recipes to show: nearest first, none that a simpler one stands for.

    ΔE2000 that differ by less than the eye can see rank as equal (steps of `EARNS_ITS_PLACE`);
    then the least metamerism goes first where the target has a spectrum, then fewer dyes, then
    less dye.
    """
    used = amounts > 0
    number, depth = used.sum(axis=1), amounts.sum(axis=1)
    simplest = np.lexsort((depth, miss, number))
    kept: list[int] = []
    for i in simplest:
        inside = [j for j in kept if not np.any(used[j] & ~used[i])]
        worth = all(
            miss[i] < miss[j] - EARNS_ITS_PLACE
            or (under_a is not None and under_a[i] < under_a[j] - EARNS_ITS_PLACE)
            for j in inside
        )
        if worth:
            kept.append(int(i))
    steps = np.round(miss[kept] / EARNS_ITS_PLACE)
    lamps = np.zeros(len(kept)) if under_a is None else np.round(under_a[kept] / EARNS_ITS_PLACE)
    order = np.lexsort((depth[kept], number[kept], lamps, steps))
    return np.array(kept, dtype=np.intp)[order[:count]]
