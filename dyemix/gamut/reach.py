"""What the shelf can do on this cloth: its gamut, the wanted colours within it, what to add."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import Light
from dyemix.dataset.result import DEMO_WARNING, Result, Row
from dyemix.dataset.target import AnyColour, Target
from dyemix.errors import DyemixError
from dyemix.gamut.boundary import Gamut, gamuts
from dyemix.gamut.coverage import Nearest, Progress, Served, nearest_rows, serve
from dyemix.model.dyes import DyeSet

#: Where nothing is wanted, colours this far apart all over what is reached stand for it, in L* and
#: in a* and b*; a dye is judged by what it does for them.
_APART = (20.0, 24.0)
#: Blends of each colour whose likely miss is worked out: the nearest ones, and with none of a dye.
_NEAREST, _WITHOUT = 20, 2
#: Less of a dye than this (% owf) is what the solver leaves over, not part of a blend.
_TRACE = 0.005
#: Every how many slices stand in the table.
_TOLD = 3


@dataclass(frozen=True)
class Change:
    """What a dye not owned adds to the shelf, or what the shelf loses without a dye of its own.

    Attributes
    ----------
    dye : its name.
    targets : colours that come within reach, or go out of it.
    delta_e : ΔE2000 on paper gained over the wanted colours that were missed, in sum; or in the pot
        lost without it, on average.
    volume : gamut gained, % of the shelf's.
    nearest : the nearest blend to the target with this dye; None where it is reached without.
    used : share of the colours judged whose best recipe holds it, 0 to 1.
    """

    dye: str
    targets: int
    delta_e: float
    volume: float = 0.0
    nearest: Nearest | None = None
    used: float = 0.0


@dataclass(frozen=True, eq=False)
class ShelfReach(Result):
    """The reach of a shelf.

    Attributes
    ----------
    dyes : their names.
    gamut : what is reached in CIELAB.
    hues : ``(D, 3)`` CIELAB of each dye alone, at the middle of its ladder.
    tolerance : ΔE2000 on paper up to which a colour counts as reached.
    wanted : the colours wanted, each with the nearest blend.
    target : a colour to show on the gamut, likewise.
    brightest : the blends of most chroma, in every third slice that is reached.
    additions : dyes of the other book, the one that adds most first.
    wider : what is reached with the first of them.
    removals : dyes of the shelf, the one that would be missed least first.
    judged : how many colours the removals are judged by.
    """

    dyes: tuple[str, ...]
    gamut: Gamut
    hues: Array
    tolerance: float
    wanted: tuple[Nearest, ...]
    target: Nearest | None = None
    brightest: tuple[Nearest, ...] = ()
    additions: tuple[Change, ...] = ()
    wider: Gamut | None = None
    removals: tuple[Change, ...] = ()
    judged: int = 0
    cloth: str = ""
    demo: bool = False

    @property
    def share(self) -> float | None:
        """Share of the wanted colours within reach, 0 to 1."""
        return sum(w.within for w in self.wanted) / len(self.wanted) if self.wanted else None

    @property
    def title(self) -> str:
        where = f" on {self.cloth}" if self.cloth else ""
        return (
            f"Reach of {len(self.dyes)} dyes{where}, at most {self.gamut.max_dyes} in a blend, "
            f"to their deepest squares ({self.gamut.light})"
        )

    def _rows(self) -> Iterable[Row]:
        """One row a wanted colour; without any, the blends of most chroma, slice by slice."""
        return nearest_rows(self.wanted or self.brightest)

    @property
    def findings(self) -> tuple[str, ...]:
        """Share of the wanted colours, best addition, the dye to spare, one sentence each."""
        lines = [_sentence(self.target)] if self.target else []
        if self.share is not None:
            near = sum(w.within for w in self.wanted)
            lines.append(
                f"{near} of {len(self.wanted)} wanted colours ({100 * self.share:.0f} %) are "
                f"within {self.tolerance:g} ΔE2000 on paper."
            )
            lines += [_sentence(w) for w in self.wanted if not w.within]
        if self.additions:
            best = self.additions[0]
            gained = f"{best.targets} wanted colour{'' if best.targets == 1 else 's'} more, "
            lines.append(
                f"Of the dyes not owned, {best.dye} adds most: {gained if best.delta_e else ''}"
                f"{best.volume:.1f} % more gamut."
            )
        if self.removals:
            least, which = self.removals[0], "wanted" if self.wanted else "all over its reach"
            lost = f"{least.targets} more out of reach, " if least.targets else ""
            lines.append(
                f"Least missed would be {least.dye}: of {self.judged} colours {which} "
                f"{100 * least.used:.0f} % are best dyed with it; without it {lost}"
                f"{least.delta_e:.2f} ΔE2000 farther off in the pot on average."
            )
        return tuple(lines)

    def __str__(self) -> str:
        lines = [DEMO_WARNING] if self.demo else []
        lines += [f"{self.title}.", "L*  area a*b*  most chroma: C*, hue  blend there"]
        for found in self.brightest:
            lightness, a, b = found.target.lab
            area = self.gamut.areas[self.gamut.levels == lightness][0]
            hue = np.degrees(np.arctan2(b, a)) % 360.0
            lines.append(
                f"{lightness:>2.0f}  {area:>9.0f}  {np.hypot(a, b):>16.0f}, {hue:3.0f}°  "
                f"{found.prediction.recipe}"
            )
        return "\n".join([*lines, *self.findings])


def _sentence(found: Nearest) -> str:
    p = found.prediction
    word = "within reach" if found.within else "out of reach"
    return f"{found.target.name}: {word}, nearest {p.recipe}, {p.hex}, {found.residual:.1f} ΔE2000."


def reach(
    dyes: DyeSet, targets: Sequence[AnyColour] = (), *, target: AnyColour | None = None,
    other: DyeSet | None = None, tolerance: float = 1.5, max_dyes: int = 3, compare: bool = True,
    light: Light | str | None = None, progress: Progress | None = None,
) -> ShelfReach:  # fmt: skip
    """The gamut of a shelf, and what it means for wanted colours.

    Parameters
    ----------
    targets : what is wanted; each is matched in its own light.
    target : one colour to show.
    other : the dyes of a second book: which of those not owned would add most. Their absorption
        is taken from their own cloth.
    tolerance : ΔE2000 on paper up to which a colour counts as reached; 1.5 is excellent on
        hand-dyed goods (common practice).
    max_dyes : most dyes in a blend, 3 or 4.
    compare : whether to say which dye of the shelf would be missed least: by the colours whose
        best recipe holds it, and how much farther off they would be without it.
    light : of the gamut; by default that of the target, else of the colours where they share one,
        else of the dyes.

    Raises `TargetError` for a target that is no colour, `DyemixError` for a bad limit, a shelf of
    fewer than three dyes, or a second book with no dye that this shelf lacks.

    >>> found = reach(dyes.take(["lemon", "rose", "navy"]), ["#7d8a6e"], compare=False)
    >>> found.wanted[0].target.name
    '#7d8a6e'
    """
    wanted = Target.all(targets)
    shown = [] if target is None else [Target.of(target)]
    lights = {dyes.light_of(colour) for colour in shown or wanted}
    seen = dyes.light_of(light or (lights.pop() if len(lights) == 1 else None))
    more = joined(dyes, other) if other is not None else dyes
    own, new = 2 ** len(dyes) - 1, more.names[len(dyes) :]
    tell = progress or (lambda done, whole: None)
    shelf = gamuts(more, max_dyes, light=seen)
    base = shelf(own)
    tell(1, 3)
    asked = serve(dyes, [*wanted, *shown], max_dyes, tolerance)
    nearest = [served.nearest(dyes, tolerance) for served in asked]
    missed = [served for served in asked if served.residual.min() > tolerance]
    before = np.array([served.residual.min() for served in missed])
    wider = serve(more, [s.target for s in missed] if new else [], max_dyes, tolerance)
    short = bool(shown) and asked[-1] in missed
    additions = []
    for name in new:
        allowed = own | 1 << more.index(name)
        after = np.array([served.least(allowed) for served in wider])
        volume = 100.0 * (shelf(allowed).volume / base.volume - 1.0)
        gained = float(np.maximum(before - after, 0.0).sum())
        nearer = wider[-1].nearest(more, tolerance, allowed) if short else None
        within = int((after <= tolerance).sum())
        additions.append(Change(name, within, gained, volume, nearer))
    additions.sort(key=lambda c: (-c.targets, -round(c.delta_e, 3), -c.volume))
    tell(2, 3)
    removals: list[Change] = []
    judged = asked[: len(wanted)]
    if compare and len(dyes) > 3:
        judged = judged or serve(dyes, _all_over(base), max_dyes, tolerance)
        removals = _removals(dyes, judged, tolerance)
    corners = [Target(lab, seen, name="most chroma") for lab in base.brightest(_TOLD)]
    tell(3, 3)
    return ShelfReach(
        dyes.names, base, dyes.middles(seen), tolerance,
        tuple(nearest[: len(wanted)]), nearest[-1] if shown else None,
        tuple(s.nearest(dyes, tolerance) for s in serve(dyes, corners, max_dyes, tolerance)),
        tuple(additions), shelf(own | 1 << more.index(additions[0].dye)) if additions else None,
        tuple(removals), len(judged),
        (dyes.conditions or {}).get("cloth", ""), more.demo,
    )  # fmt: skip


def _all_over(gamut: Gamut) -> list[Target]:
    """Colours all over what is reached, `_APART`."""
    levels = np.arange(gamut.levels[0], gamut.levels[-1], _APART[0])
    ways = np.arange(-120.0, 121.0, _APART[1])
    labs = np.stack(np.meshgrid(levels, ways, ways, indexing="ij"), axis=-1).reshape(-1, 3)
    return [Target(lab, gamut.light, name="all over") for lab in labs[gamut.reaches(labs)]]


def _removals(dyes: DyeSet, judged: Sequence[Served], tolerance: float) -> list[Change]:
    """What the shelf loses with each of its dyes, the least first, by colours that it serves.

    For each colour the blends that come nearest, with and without every dye, are weighed by their
    likely miss, as in matching: what is nearest on paper says little of the pot.
    """
    n = len(dyes)
    used, lost, farther = np.zeros(n), np.zeros(n, dtype=int), np.zeros(n)
    for served in judged:
        holds = served.amounts > _TRACE
        order = np.argsort(served.residual, kind="stable")
        some = [order[:_NEAREST], *(order[~holds[order, i]][:_WITHOUT] for i in range(n))]
        rows = np.unique(np.concatenate(some))
        amounts, miss = served.amounts[rows], served.residual[rows]
        made = dyes.predict_many(amounts, served.target.light)
        likely = made.expected(served.target.lab, spread=served.target.spread)
        used += holds[rows[likely.argmin()]]
        for i in range(n):
            without = ~holds[rows, i]
            farther[i] += likely[without].min() - likely.min()
            lost[i] += miss.min() <= tolerance < miss[without].min()
    count = max(len(judged), 1)
    out = [
        Change(name, int(lost[i]), float(farther[i] / count), used=float(used[i] / count))
        for i, name in enumerate(dyes.names)
    ]
    return sorted(out, key=lambda r: (r.targets, round(r.delta_e, 2), r.used))


def joined(dyes: DyeSet, other: DyeSet) -> DyeSet:
    """One shelf of the dyes at hand and those of another book that are not among them.

    The other dyes keep the absorption and law that they have on their own cloth; cloth, surface
    and interaction are those at hand; what is open of either is taken as before any mix. Raises
    `DyemixError` where there are none.
    """
    extra = [name for name in other.names if name not in dyes.names]
    if not extra:
        raise DyemixError("the other book has no dye that this shelf lacks.")
    more = other.take(extra)
    both: dict[str, Any] = {
        field: np.concatenate([getattr(dyes, field), getattr(more, field)])
        for field in ("curves", "law", "company", "palest", "deepest")
    }
    apart: dict[str, Any] = dict.fromkeys(("company_curve", "ladders", "posterior", "report"))
    names, demo = (*dyes.names, *extra), dyes.demo or other.demo
    return replace(dyes, names=names, pots=(), demo=demo, **both, **apart)
