"""Steps away from a recipe: what was asked of each, what it should look like, how sure that is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import Light
from dyemix.dataset.recipe import Recipe, format_amount
from dyemix.dataset.swatches import DEMO_WARNING
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet, Prediction
from dyemix.model.least_squares import solve
from dyemix.model.mixtures import lab_residual
from dyemix.model.scatter import Scatter
from dyemix.model.uncertainty import lab_covariance, likely

if TYPE_CHECKING:
    import pandas as pd

#: How far a step may stray from the lightness, hue and chroma asked and still count as reached,
#: in CIELAB units: well under what an eye sees between two pieces of cloth.
NEAR_L, NEAR_H, NEAR_C = 0.3, 0.5, 1.0
#: Lightness and hue are what a series promises; chroma gives way first where not all three can be.
HELD = 3.0
#: Shares of the base and of the most of each added dye that a solution sets out from.
_STARTS = ((1.0, 0.01), (0.7, 0.05), (0.35, 0.2))


@dataclass(frozen=True, eq=False)
class Step:
    """One step of a series.

    Attributes
    ----------
    prediction : recipe (% owf), colour and warnings.
    asked : ``(3,)`` CIELAB asked of it.
    lightness_off, chroma_off, hue_off : ΔL*, ΔC* and ΔH* of the prediction from what was asked.
    from_start : ΔE2000 from the recipe that the series sets out from.
    likely : mean ΔE2000 between what was asked and the pot.
    bound : nine pots in ten stay below this ΔE2000 from what was asked.
    slip : mean ΔE2000 that the usual slip in dosing each dye brings by itself.
    reached : whether it is as asked, on paper (`NEAR_L`, `NEAR_C`, `NEAR_H`).
    """

    prediction: Prediction
    asked: Array
    lightness_off: float
    chroma_off: float
    hue_off: float
    from_start: float
    likely: float
    bound: float
    slip: float
    reached: bool

    @property
    def recipe(self) -> Recipe:
        return self.prediction.recipe

    @property
    def chroma(self) -> float:
        """C* of the prediction."""
        return float(np.hypot(*self.prediction.lab[1:]))

    def __str__(self) -> str:
        return f"{self.prediction}\n{self.summary}"

    @property
    def summary(self) -> str:
        """Figures of the step in one line, as `COLUMNS` heads them."""
        return (
            f"{self.prediction.hex}  {self.prediction.lab[0]:4.1f}  {self.chroma:4.1f}"
            f"  {self.hue_off:+5.1f}  {self.from_start:5.1f}  {self.likely:6.1f}  {self.bound:6.1f}"
            f"  {self.slip:4.1f}"
        )


COLUMNS = "hex        L*    C*    ΔH*  start  likely  within  slip"
LEGEND = (
    "ΔH* is the drift from the hue held; the rest are ΔE2000 ({light}): start, from the recipe you "
    "set out from; likely and within, in the pot on average and nine times in ten; slip, from a "
    "dosing slip of {dosing:.0f} % a dye alone."
)


def legend(dyes: DyeSet, light: Light) -> str:
    """What the columns of a series mean."""
    return LEGEND.format(light=light, dosing=100.0 * dyes.scatter.dosing)


def difference(asked: Array, labs: Array) -> Array:
    """ΔL*, ΔC* and ΔH* ``(N, 3)`` of `labs` from `asked`, both ``(N, 3)`` (CIE 015:2018, 8.2)."""
    c1, c2 = np.hypot(*asked.T[1:]), np.hypot(*labs.T[1:])
    turn = np.arctan2(labs[:, 2], labs[:, 1]) - np.arctan2(asked[:, 2], asked[:, 1])
    turn = (turn + np.pi) % (2.0 * np.pi) - np.pi
    hue = 2.0 * np.sqrt(c1 * c2) * np.sin(turn / 2.0)
    return np.stack([labs[:, 0] - asked[:, 0], c2 - c1, hue], axis=1)


def reached(off: Array) -> NDArray[np.bool_]:
    """Whether differences ``(N, 3)`` count as reached, each."""
    return np.asarray(np.all(np.abs(off) <= [NEAR_L, NEAR_C, NEAR_H], axis=1))


def slips(dyes: DyeSet, amounts: Array, light: Light) -> Array:
    """Mean ΔE2000 ``(N,)`` that the usual dosing slip of each dye brings by itself."""
    only = Scatter(dyes.scatter.dosing, 0.0, np.zeros((3, 3)), 0.0, 0.0)
    covariance = lab_covariance(replace(dyes, scatter=only, draws=None), amounts, light)
    labs = dyes.predict_many(amounts, light)
    means = [likely(x, labs[i : i + 1], covariance[i : i + 1]).mean for i, x in enumerate(labs)]
    return np.concatenate(means)


def steps_of(
    dyes: DyeSet, start: Array, asked: Array, amounts: Array, light: Light
) -> tuple[Step, ...]:
    """Amounts ``(N, D)`` as steps towards what was asked ``(N, 3)``, from `start` ``(3,)``."""
    labs = dyes.predict_many(amounts, light)
    covariance = lab_covariance(dyes, amounts, light)
    off = difference(asked, labs)
    near, slip = reached(off), slips(dyes, amounts, light)
    moved = delta_e(start, labs)
    out = []
    for i, want in enumerate(asked):
        pot = likely(want, labs[i : i + 1], covariance[i : i + 1])
        out.append(
            Step(
                dyes.predict(dyes.recipe(amounts[i]), light),
                want,
                float(off[i, 0]),
                float(off[i, 1]),
                float(off[i, 2]),
                float(moved[i]),
                float(pot.mean[0]),
                float(pot.bound[0]),
                float(slip[i]),
                bool(near[i]),
            )
        )
    return tuple(out)


def solve_series(
    dyes: DyeSet,
    base: Array,
    index: NDArray[np.intp],
    asked: Array,
    light: Light,
    weights: tuple[float, float, float] = (HELD, 1.0, HELD),
) -> Array:
    """Amounts ``(T, N, k)`` of N sets of k dyes that come nearest to T colours ``(T, 3)``.

    The rows are linear in CIELAB: ΔL*, ``u − C*`` and v, times `weights`, with u and v the parts
    of (a*, b*) along and across the hue asked. Every set sets out from the base ``(D,)`` cut by
    several shares, with a little of each added dye, and the best of the answers is kept.
    """
    n, k = index.shape
    t, s = len(asked), len(_STARTS)
    top = dyes.deepest[index]
    own = base[index]
    starts = np.stack([np.where(own > 0, cut * own, some * top) for cut, some in _STARTS])
    hue = np.arctan2(asked[:, 2], asked[:, 1])
    zero, one = np.zeros(t), np.ones(t)
    rows_of = (
        np.stack(
            [
                np.stack([one, zero, zero], axis=-1),
                np.stack([zero, np.cos(hue), np.sin(hue)], axis=-1),
                np.stack([zero, -np.sin(hue), np.cos(hue)], axis=-1),
            ],
            axis=1,
        )
        * np.array(weights)[:, np.newaxis]
    )
    want = np.einsum("tij,tj->ti", rows_of, asked)
    blends = dyes.blends(np.tile(index, (t * s, 1)))
    at = np.repeat(np.arange(t), s * n)

    def goal(labs: Array, rows: NDArray[np.intp]) -> tuple[Array, Array]:
        turn = rows_of[at[rows]]
        return np.einsum("nij,nj->ni", turn, labs) - want[at[rows]], turn

    found = solve(
        lab_residual(blends, goal, light),
        np.tile(starts.reshape(s * n, k), (t, 1)), np.tile(top, (t * s, 1)),
        steps=80, tolerance=1e-8,
    )  # fmt: skip
    amounts = found.x.reshape(t, s, n, k)
    best = np.argmin(found.cost.reshape(t, s, n), axis=1)
    chosen = np.take_along_axis(amounts, best[:, np.newaxis, :, np.newaxis], axis=1)[:, 0]
    # What no balance weighs and no eye sees is not part of a recipe.
    return np.where(chosen < 1e-4 * dyes.palest[index], 0.0, chosen)


def out_of_range(dyes: DyeSet, steps: Sequence[Step]) -> tuple[str, ...]:
    """Which dyes leave the range of their swatches, at their worst, and which squares to dye."""
    paler, deeper = [], []
    for i, name in enumerate(dyes.names):
        used = [step.recipe[name] for step in steps if name in step.recipe]
        # The last digit that is printed must not make a warning.
        if used and min(used) < dyes.palest[i] * (1 - 1e-9):
            paler.append(f"{name} {format_amount(min(used))} ({dyes.palest[i]:g})")
        if used and max(used) > dyes.deepest[i] * (1 + 1e-9):
            deeper.append(f"{name} {format_amount(max(used))} ({dyes.deepest[i]:g})")
    sides = (("Paler than your palest square", paler), ("Deeper than your deepest square", deeper))
    return tuple(
        f"{words}, which is in brackets: {', '.join(names)}. Dye those depths next."
        for words, names in sides
        if names
    )


def whole_recipe(dyes: DyeSet, recipe: Recipe, light: Light) -> Prediction:
    """The recipe to set out from. Raises `DyemixError` for undyed cloth or a colour of no hue."""
    if not recipe:
        raise DyemixError("undyed cloth has no colour to change: name a recipe, as 'scarlet 1.2'.")
    return dyes.predict(recipe, light)


@dataclass(frozen=True, eq=False)
class Series:
    """Steps of one kind away from a recipe: a tint, a shade, a tone, a gradient.

    Attributes
    ----------
    title : what was made of which recipe, and what the trade's word means here.
    start : the recipe set out from.
    steps : in order; `len`, iteration and indexing go to them.
    notes : what was held, and where the shelf runs out.
    """

    title: str
    start: Prediction
    steps: tuple[Step, ...]
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    demo: bool = False

    def __len__(self) -> int:
        return len(self.steps)

    def __getitem__(self, i: int) -> Step:
        return self.steps[i]

    def to_frame(self) -> pd.DataFrame:
        """One row a step: the columns of `frame_of`."""
        import pandas as pd

        return pd.DataFrame(frame_of(self.steps))

    def __str__(self) -> str:
        lines = [DEMO_WARNING] if self.demo else []
        lines += [self.title, start_line(self.start)]
        return "\n".join([*lines, *table(self.steps), *self.notes, *self.warnings])


def start_line(start: Prediction) -> str:
    """The recipe set out from, in one line."""
    colour = "L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*start.lab)
    return f"From {start.recipe}  (% of dry cloth weight): {colour} ({start.light}), {start.screen}"


def table(steps: Sequence[Step]) -> list[str]:
    """Lines of a table of steps, its heading first; ``~`` marks a step that was not reached."""
    width = max(len(str(step.recipe)) for step in steps)
    lines = [f"    {'% owf':<{width}}  {COLUMNS}"]
    for i, step in enumerate(steps, 1):
        mark = " " if step.reached else "~"
        lines.append(f"{i:>2}{mark} {step.recipe!s:<{width}}  {step.summary}")
    return lines


def frame_of(steps: Sequence[Step]) -> list[dict[str, object]]:
    """Rows for a table: step, recipe, L*, a*, b*, C*, hex, light, reached, misses, warnings."""
    return [
        {
            "step": i,
            "recipe": str(step.recipe),
            "L*": step.prediction.lab[0],
            "a*": step.prediction.lab[1],
            "b*": step.prediction.lab[2],
            "C*": step.chroma,
            "hex": step.prediction.hex,
            "light": str(step.prediction.light),
            "reached": step.reached,
            "lightness_off": step.lightness_off,
            "chroma_off": step.chroma_off,
            "hue_off": step.hue_off,
            "from_start": step.from_start,
            "likely": step.likely,
            "bound": step.bound,
            "slip": step.slip,
            "total_owf": step.recipe.total,
            "warnings": "; ".join(step.prediction.warnings),
        }
        for i, step in enumerate(steps, 1)
    ]
