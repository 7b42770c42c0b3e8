"""The fewest dyes that serve a family of wanted colours, exactly, and what to buy of each."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from dyemix.dataset.recipe import stock_ml
from dyemix.dataset.result import DEMO_WARNING, Result, Row
from dyemix.dataset.target import AnyColour, Target
from dyemix.dataset.units import STOCK_PCT
from dyemix.errors import DyemixError
from dyemix.gamut.coverage import Nearest, Progress, nearest_rows, serve
from dyemix.model.dyes import DyeSet

#: Sets of dyes compared at once.
_CHUNK = 50_000


@dataclass(frozen=True)
class Purchase:
    """What the family takes of one dye: grams of powder, or millilitres of its stock."""

    dye: str
    grams: float
    stock_ml: float


@dataclass(frozen=True, eq=False)
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
    stock_pct: float
    demo: bool = False

    def _rows(self) -> Iterable[Row]:
        return nearest_rows(self.members)

    def __str__(self) -> str:
        lines = [DEMO_WARNING] if self.demo else []
        if self.members:
            lines.append(
                f"{len(self.dyes)} dyes serve {len(self.members)} colours within "
                f"{self.tolerance:g} ΔE2000 on paper, at most {self.max_dyes} in a recipe: "
                f"{', '.join(self.dyes)}. No fewer do."
            )
            shown = "; ".join(", ".join(names) for names in self.others[:3])
            if more := len(self.others):
                lines.append(
                    f"{more} other set{'s' if more > 1 else ''} as small, less near on average: "
                    f"{shown}{' …' if more > 3 else ''}."
                )
            rows = [("", "% owf", "hex", "on paper", "likely")]
            for m in self.members:
                p = m.prediction
                rows.append(
                    (m.target.name, str(p.recipe), p.hex, f"{m.residual:.2f}", f"{m.likely:.1f}")
                )
            wide, width = (max(len(row[i]) for row in rows) for i in (0, 1))
            lines += [f"{a:<{wide}}  {b:<{width}}  {c:7}  {d:>8}  {e:>6}" for a, b, c, d, e in rows]
            lines.append(
                f"For {self.cloth_g:g} g of cloth in each colour, powder (or stock at "
                f"{self.stock_pct:g} %), with nothing over for tests:"
            )
            lines += [f"  {p.dye}: {p.grams:.2f} g ({p.stock_ml:.0f} mL)" for p in self.purchases]
        return "\n".join(
            lines
            + [
                f"Not served by any dyes of this shelf: {target.name}, nearest {miss:.1f}."
                for target, miss in self.unserved
            ]
        )


def family(
    dyes: DyeSet,
    targets: Sequence[AnyColour],
    tolerance: float = 3.0,
    max_dyes: int = 3,
    *,
    cloth_g: float = 100.0,
    stock_pct: float = STOCK_PCT,
    progress: Progress | None = None,
) -> Family:
    """The fewest dyes that serve all the wanted colours, each within `tolerance` on paper.

    Exact: every blend of up to `max_dyes` dyes that serves a colour is found, and sets of dyes
    are then tried from one upwards until one holds a serving subset of each. Colours that even the
    whole shelf misses are reported and do not count.

    Parameters
    ----------
    tolerance : ΔE2000; 3 is a sound match on hand-dyed goods (common practice).
    cloth_g : dry cloth of each colour, g.
    stock_pct : strength of the stocks, % w/v.

    Raises `TargetError` for a target that is no colour, `DyemixError` for a bad limit.

    >>> found = family(dyes, ["#7d8a6e", "#a4532f"], max_dyes=2)
    >>> len(found.members)
    2
    """
    if cloth_g <= 0 or stock_pct <= 0:
        raise DyemixError("cloth_g (g) and stock_pct (% w/v) are above 0.")
    wanted = Target.all(targets)
    if not wanted:
        raise DyemixError("no colour is wanted: name one at least.")
    served = serve(dyes, wanted, max_dyes, tolerance, progress)
    able = [s for s in served if s.residual.min() <= tolerance]
    unserved = tuple(
        (s.target, float(s.residual.min())) for s in served if s.residual.min() > tolerance
    )
    sets = (
        smallest_sets([s.masks[s.residual <= tolerance] for s in able], len(dyes)) if able else []
    )
    sets.sort(key=lambda mask: (np.mean([s.least(mask) for s in able]), mask))
    members = tuple(s.nearest(dyes, tolerance, sets[0]) for s in able)
    names = [tuple(n for i, n in enumerate(dyes.names) if mask >> i & 1) for mask in sets]
    purchases = []
    for name in names[0] if names else ():
        owf = sum(member.prediction.recipe.get(name, 0.0) for member in members)
        volume = stock_ml(cloth_g, owf, stock_pct)
        purchases.append(Purchase(name, cloth_g * owf / 100.0, volume))
    return Family(
        names[0] if names else (), members, unserved, tuple(names[1:]), tuple(purchases),
        tolerance, max_dyes, cloth_g, stock_pct, dyes.demo,
    )  # fmt: skip


def smallest_sets(serving: Sequence[NDArray[np.uint64]], dyes: int) -> list[int]:
    """All sets of dyes (a bit each) of the least size that hold a serving set of every colour."""
    # A serving set that holds another one decides nothing.
    least = sorted((_minimal(masks) for masks in serving), key=len)
    # Dyes that every serving set of some colour needs are in every answer.
    needed = np.uint64(0)
    for masks in least:
        needed |= np.bitwise_and.reduce(masks)
    free = [i for i in range(dyes) if not (int(needed) >> i) & 1]
    for more in range(len(free) + 1):
        found: list[int] = []
        sets = combinations(free, more)
        while True:
            chunk = [chosen for chosen, _ in zip(sets, range(_CHUNK), strict=False)]
            if not chunk:
                break
            alive = np.array([sum(1 << i for i in c) for c in chunk], dtype=np.uint64) | needed
            for masks in least:  # the colour with fewest choices first: most sets fall there
                alive = alive[((alive[:, np.newaxis] & masks) == masks).any(axis=1)]
                if not len(alive):
                    break
            found += [int(mask) for mask in alive]
        if found:
            return found
    raise AssertionError("the whole shelf serves every colour that was passed on")


def _minimal(masks: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Those of the sets ``(N,)`` that hold no other."""
    kept: list[int] = []
    for mask in sorted(set(masks.tolist()), key=lambda m: (m.bit_count(), m)):
        if not any((mask & k) == k for k in kept):
            kept.append(mask)
    return np.array(kept, dtype=np.uint64)
