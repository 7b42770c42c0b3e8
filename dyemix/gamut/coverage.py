"""Wanted colours, which blends of a shelf serve each, and the fewest dyes that serve them all."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, islice

import numpy as np

from dyemix.arrays import Array, Bits, Flags
from dyemix.dataset.result import DEMO_WARNING, Result, Row, Value
from dyemix.dataset.target import AnyColour, Target
from dyemix.dataset.units import STOCK_PCT, dye_g, stock_ml
from dyemix.errors import refuse, said
from dyemix.matching.limits import Kit
from dyemix.matching.subsets import Problem, batches, ranked
from dyemix.model.dyes import DyeSet
from dyemix.model.prediction import Predicted

#: ``progress(done, all)``: called as work goes on, for whoever waits.
Progress = Callable[[int, int], None]
#: Blends that miss the tolerance by less than this much ΔE2000 take the last steps before they are
#: judged, and so do so many of the nearest.
_NEAR, _NEAREST = 2.0, 24
#: Colours searched side by side, and sets of dyes compared at once.
_SIDE_BY_SIDE, _CHUNK = 8, 50_000


class Nearest(Predicted):
    """The nearest blend to a wanted colour.

    Attributes
    ----------
    prediction, target : the blend, and the colour, its light settled.
    residual, likely : ΔE2000 on paper, and the mean in the pot.
    within : whether that is near enough on paper.
    """

    target: Target
    residual: float
    likely: float
    within: bool


def nearest_rows(found: Sequence[Nearest]) -> Iterable[Row]:
    """One row a wanted colour: name, misses, whether it is within reach, recipe and its colour."""
    for n in found:
        figures = {name: getattr(n, name) for name in ("residual", "likely", "within")}
        yield {"target": n.target.name, **figures, **n.prediction.row}


class Served(Value):
    """Every blend of at most k dyes for one wanted colour.

    Attributes
    ----------
    target : the colour, its light settled.
    masks : ``(N,)`` which dyes, a bit each.
    residual : ``(N,)`` ΔE2000 on paper.
    amounts : ``(N, D)`` % owf.
    """

    target: Target
    masks: Bits
    residual: Array
    amounts: Array

    def least(self, allowed: int) -> float:
        """Least ΔE2000 on paper of blends within a set of dyes (a bit each)."""
        return float(self.residual[self._within(allowed)].min(initial=np.inf))

    def nearest(self, dyes: DyeSet, tolerance: float, allowed: int | None = None) -> Nearest:
        """The nearest blend within a set of dyes; fewer dyes where it is a tie."""
        fits = np.flatnonzero(self._within(2 ** len(dyes) - 1 if allowed is None else allowed))
        number = (self.amounts[fits] > 0).sum(axis=1)
        best = fits[np.lexsort((number, np.round(self.residual[fits], 1)))[0]]
        amounts, miss = self.amounts[best], float(self.residual[best])
        made = dyes.predict_many(amounts, self.target.light)
        pots = made.in_pot(self.target.lab, spread=self.target.spread)
        return Nearest(made[0], self.target, miss, float(pots.mean[0]), miss <= tolerance)

    def _within(self, allowed: int) -> Flags:
        return np.asarray((self.masks & ~np.uint64(allowed)) == 0)


def serve(
    dyes: DyeSet, wanted: Sequence[AnyColour], max_dyes: int, tolerance: float,
    progress: Progress | None = None,
) -> list[Served]:  # fmt: skip
    """Solve every subset of the shelf for every wanted colour, each in its own light.

    Raises `TargetError`, and `DyemixError` for a bad limit or a shelf of more than 64 dyes.
    """
    refuse(max_dyes < 1 or not tolerance > 0, "gamut.family.limits")
    refuse(len(dyes) > 64, f"{len(dyes)} dyes are more than can be compared at once (64).")
    targets = [target.under(dyes.light) for target in Target.all(wanted)]
    out: dict[int, Served] = {}
    lights = [dyes.light_of(target) for target in targets]
    for some in batches(lights, _SIDE_BY_SIDE):
        labs = np.array([targets[i].lab for i in some])
        problem = Problem.of(dyes, labs, lights[some[0]], max_dyes)
        every = problem.search()
        near = (every.cost > tolerance**2) & (every.cost < (tolerance + _NEAR) ** 2)
        order, place = ranked(every.which, every.cost)
        near[order[place < _NEAREST]] = True
        last = problem.finish(every.rows(near))
        every.amounts[near], every.cost[near] = last.amounts, last.cost
        masks = every.used @ (np.uint64(1) << np.arange(len(dyes), dtype=np.uint64))
        for t, i in enumerate(some):
            mine = every.which == t
            out[i] = Served(targets[i], masks[mine], np.sqrt(every.cost[mine]), every.amounts[mine])
        if progress is not None:
            progress(len(out), len(targets))
    return [out[i] for i in range(len(targets))]


@dataclass(frozen=True)
class Purchase:
    """What the family takes of one dye: grams of powder, or millilitres of its stock of so much."""

    dye: str
    grams: float
    stock_ml: float
    stock_pct: float

    def __str__(self) -> str:
        return f"{self.dye}: {self.grams:.2f} g, or {self.stock_ml:.0f} mL at {self.stock_pct:g} %"


class Family(Result):
    """The fewest dyes that serve wanted colours within a tolerance.

    Attributes
    ----------
    dyes : their names; of all sets as small, the one nearest on paper on average.
    members : a recipe for every colour served, in the order wanted.
    unserved : colours that the whole shelf misses by more, with the least ΔE2000.
    others : the other sets as small.
    purchases : grams of powder and mL of stock for `cloth_g` of each colour.
    """

    dyes: tuple[str, ...]
    members: tuple[Nearest, ...]
    unserved: tuple[tuple[Target, float], ...]
    others: tuple[tuple[str, ...], ...]
    purchases: tuple[Purchase, ...]
    tolerance: float
    max_dyes: int
    cloth_g: float
    demo: bool = False

    def _rows(self) -> Iterable[Row]:
        return nearest_rows(self.members)

    def __str__(self) -> str:
        lines = [DEMO_WARNING] if self.demo else []
        if self.members:
            figures = (len(self.dyes), len(self.members), self.tolerance, self.max_dyes)
            lines.append(said("gamut.family.serve", *figures, ", ".join(self.dyes)))
            if more := len(self.others):
                shown = "; ".join(", ".join(names) for names in self.others[:3])
                ends = "s" if more > 1 else "", shown, " …" if more > 3 else ""
                lines.append(said("gamut.family.others", more, *ends))
            name = max(len(m.target.name) for m in self.members)
            recipe = max(len(str(m.recipe)) for m in self.members)
            lines.append(f"{'':<{name}}  {'% owf':<{recipe}}  hex      on paper  likely")
            for m in self.members:
                blend = f"{m.recipe!s:<{recipe}}  {m.prediction.hex}"
                misses = f"{m.residual:>8.2f}  {m.likely:>6.1f}"
                lines.append(f"{m.target.name:<{name}}  {blend}  {misses}")
            lines.append(said("gamut.family.take", self.cloth_g))
            lines += [f"  {purchase}" for purchase in self.purchases]
        lines += [said("gamut.family.unserved", t.name, miss) for t, miss in self.unserved]
        return "\n".join(lines)


def family(
    dyes: DyeSet, targets: Sequence[AnyColour], tolerance: float = 3.0, max_dyes: int = 3, *,
    cloth_g: float = 100.0, stock_pct: float | Mapping[str, float] = STOCK_PCT,
    progress: Progress | None = None,
) -> Family:  # fmt: skip
    """The fewest dyes that serve all the wanted colours, each within `tolerance` on paper.

    Exact: every blend of up to `max_dyes` dyes that serves a colour is found, and sets of dyes
    are then tried from one upwards until one holds a serving subset of each. Colours that even the
    whole shelf misses are reported and do not count.

    Parameters
    ----------
    tolerance : ΔE2000; 3 is a sound match on hand-dyed goods (common practice).
    cloth_g : dry cloth of each colour, g.
    stock_pct : strength of the stocks, % w/v, or by dye, the key ``""`` for every other.

    Raises `TargetError` for a target that is no colour, `DyemixError` for a bad limit.

    >>> found = family(dyes, ["#7d8a6e", "#a4532f"], max_dyes=2)
    >>> len(found.members)
    2
    """
    kit = Kit(cloth_g, stock_pct if isinstance(stock_pct, Mapping) else {"": stock_pct})
    wanted = Target.all(targets)
    refuse(not wanted, "no colour is wanted: name one at least.")
    served = serve(dyes, wanted, max_dyes, tolerance, progress)
    able = [s for s in served if s.residual.min() <= tolerance]
    far = tuple((s.target, float(s.residual.min())) for s in served if s not in able)
    sets = smallest_sets([s.masks[s.residual <= tolerance] for s in able], len(dyes))
    sets.sort(key=lambda mask: (sum(s.least(mask) for s in able), mask))
    members = tuple(s.nearest(dyes, tolerance, sets[0]) for s in able)
    chosen, *others = (tuple(n for i, n in enumerate(dyes.names) if s >> i & 1) for s in sets)
    purchases = []
    for name in chosen:
        owf, strength = sum(m.recipe.get(name, 0.0) for m in members), kit.strength(name)
        volume = stock_ml(cloth_g, owf, strength)
        purchases.append(Purchase(name, dye_g(cloth_g, owf), volume, strength))
    what = chosen, members, far, tuple(others), tuple(purchases)
    return Family(*what, tolerance, max_dyes, cloth_g, dyes.demo)


def smallest_sets(serving: Sequence[Bits], dyes: int) -> list[int]:
    """All sets of dyes (a bit each) of the least size that hold a serving set of every colour."""
    # A serving set that holds another one decides nothing.
    least = sorted((_minimal(masks) for masks in serving), key=len)
    # Dyes that every serving set of some colour needs are in every answer.
    needed = np.bitwise_or.reduce([np.bitwise_and.reduce(m) for m in least] or [np.uint64(0)])
    free = [1 << i for i in range(dyes) if not (int(needed) >> i) & 1]
    found: list[int] = []
    more = 0
    while not found:  # the whole shelf serves every colour
        sets, more = combinations(free, more), more + 1
        while chunk := [sum(chosen) for chosen in islice(sets, _CHUNK)]:
            alive = np.array(chunk, dtype=np.uint64) | needed
            for masks in least:  # the colour with fewest choices first: most sets fall there
                alive = alive[((alive[:, np.newaxis] & masks) == masks).any(axis=1)]
            found += alive.tolist()
    return found


def _minimal(masks: Bits) -> Bits:
    """Those of the sets ``(N,)`` that hold no other."""
    kept: list[int] = []
    for mask in sorted(set(masks.tolist()), key=lambda m: (m.bit_count(), m)):
        if not any((mask & k) == k for k in kept):
            kept.append(mask)
    return np.array(kept, dtype=np.uint64)
