"""What the shelf can do on this cloth: its gamut, the wanted colours within it, what to add."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dyemix.arrays import Array
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import DEMO_WARNING
from dyemix.dataset.target import Target
from dyemix.gamut.boundary import Gamut, gamut, joined
from dyemix.gamut.coverage import Progress, Served, parse_colours, serve
from dyemix.model.dyes import DyeSet, Prediction

if TYPE_CHECKING:
    import pandas as pd

#: Depths of the ladders drawn on the gamut.
_RUNGS = 9
#: Rays of the gamuts that are only compared by volume.
_COARSE = 36
#: Less of a dye than this (% owf) is what the solver leaves over, not part of a blend.
_TRACE = 0.005


@dataclass(frozen=True, eq=False)
class Wanted:
    """A wanted colour: the nearest blend of the shelf, ΔE2000 on paper, and whether it serves."""

    target: Target
    prediction: Prediction
    miss: float
    within: bool


@dataclass(frozen=True)
class Change:
    """What a dye adds to the shelf, or takes with it.

    Attributes
    ----------
    dye : its name.
    colours : wanted colours gained or lost; 0 where none were given.
    miss : ΔE2000 gained over the wanted colours that were missed, or lost over all, in sum.
    volume : gamut gained or lost, % of the shelf's.
    """

    dye: str
    colours: int
    miss: float
    volume: float


@dataclass(frozen=True, eq=False)
class Ladder:
    """One dye alone from pale to deep: CIELAB ``(R, 3)``."""

    dye: str
    labs: Array


@dataclass(frozen=True, eq=False)
class ShelfReach:
    """The reach of a shelf.

    Attributes
    ----------
    gamut : its boundary in CIELAB.
    ladders : each dye alone, from nothing to its deepest square.
    wanted : the colours wanted, each with the nearest blend.
    target : a colour to show on the gamut, likewise.
    additions : dyes of the other book, the one that adds most first.
    removals : dyes of the shelf, the one that would be missed least first.
    """

    gamut: Gamut
    ladders: tuple[Ladder, ...]
    tolerance: float
    wanted: tuple[Wanted, ...] = ()
    target: Wanted | None = None
    additions: tuple[Change, ...] = ()
    removals: tuple[Change, ...] = ()
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
            f"Reach of {len(self.ladders)} dyes{where}, at most {self.gamut.max_dyes} in a blend, "
            f"to their deepest squares ({self.gamut.light})"
        )

    def to_frame(self) -> pd.DataFrame:
        """One row a wanted colour: name, recipe, miss, within, hex; without any, the boundary."""
        import pandas as pd

        if not self.wanted:
            return self.gamut.to_frame()
        return pd.DataFrame(
            {
                "name": w.target.name,
                "recipe": str(w.prediction.recipe),
                "miss": w.miss,
                "within": w.within,
                "hex": w.prediction.hex,
                "light": str(w.prediction.light),
            }
            for w in self.wanted
        )

    @property
    def findings(self) -> tuple[str, ...]:
        """Share of the wanted colours, best addition, redundant dye, one sentence each."""
        lines = []
        if self.target is not None:
            lines.append(_sentence(self.target, self.tolerance))
        if self.wanted:
            near = sum(w.within for w in self.wanted)
            lines.append(
                f"{near} of {len(self.wanted)} wanted colours "
                f"({100 * near / len(self.wanted):.0f} %) are within {self.tolerance:g} ΔE2000 on "
                "paper."
            )
            lines += [_sentence(w, self.tolerance) for w in self.wanted if not w.within]
        if self.additions:
            best = self.additions[0]
            lines.append(f"Of the dyes not owned, {best.dye} adds most: {_worth(best, 'more')}.")
        if self.removals:
            least = self.removals[0]
            lines.append(f"Least missed would be {least.dye}: without it {_worth(least, 'less')}.")
        return tuple(lines)

    def __str__(self) -> str:
        lines = [DEMO_WARNING] if self.demo else []
        lines += [f"{self.title}.", "L*  area a*b*  most chroma: C*, hue  blend there"]
        for i, (level, area) in enumerate(zip(self.gamut.levels, self.gamut.areas, strict=True)):
            if not area:
                lines.append(f"{level:>2.0f}  out of reach")
                continue
            points = self.gamut.boundary(i)
            far = int(np.argmax(np.hypot(*points.T)))
            hue = np.degrees(np.arctan2(points[far, 1], points[far, 0])) % 360.0
            lines.append(
                f"{level:>2.0f}  {area:>9.0f}  {np.hypot(*points[far]):>16.0f}, {hue:3.0f}°  "
                f"{self.edge_recipe(i, far)}"
            )
        return "\n".join([*lines, *self.findings])

    def edge_recipe(self, level: int, ray: int) -> Recipe:
        """The blend at a point of the boundary, % owf."""
        amounts = zip(self.ladders, self.gamut.amounts[level, ray], strict=True)
        return Recipe({ladder.dye: float(a) for ladder, a in amounts if a > _TRACE})


def _sentence(wanted: Wanted, tolerance: float) -> str:
    p = wanted.prediction
    word = "within reach" if wanted.within else "out of reach"
    return f"{wanted.target.name}: {word}, nearest {p.recipe}, {p.hex}, {wanted.miss:.1f} ΔE2000."


def _worth(change: Change, word: str) -> str:
    text = f"{change.volume:.1f} % {word} gamut"
    if change.colours or change.miss:
        plural = "" if change.colours == 1 else "s"
        text = f"{change.colours} wanted colour{plural} {word}, {text}"
    return text


def reach(
    dyes: DyeSet,
    colours: Sequence[Target | str] = (),
    *,
    target: Target | str | None = None,
    other: DyeSet | None = None,
    tolerance: float = 1.5,
    max_dyes: int = 3,
    compare: bool = True,
    progress: Progress | None = None,
) -> ShelfReach:
    """The gamut of a shelf, and what it means for wanted colours.

    Parameters
    ----------
    colours : what is wanted.
    target : one colour to show.
    other : the dyes of a second book: which of those not owned would add most. Their absorption
        is taken from their own cloth.
    tolerance : ΔE2000 on paper up to which a colour counts as reached; 1.5 is excellent on
        hand-dyed goods (common practice).
    max_dyes : most dyes in a blend, 3 or 4.
    compare : whether to say which dye of the shelf would be missed least.

    Raises `TargetError` for a target that is no colour, `DyemixError` for a bad limit, a shelf of
    fewer than three dyes, or a second book with no dye that this shelf lacks.
    """
    targets = parse_colours(colours) if colours else ()
    more = joined(dyes, other) if other is not None else None
    new = more.names[len(dyes) :] if more is not None else ()
    old = dyes.names if compare and len(dyes) > 3 else ()
    work = _Work(progress, len(targets) * (2 if new else 1) + len(new) + len(old))
    served = serve(dyes, targets, max_dyes, tolerance, work.step)
    base = gamut(dyes, max_dyes, rays=_COARSE).volume
    additions: list[Change] = []
    if more is not None:
        missed = [s for s in served if s.miss.min() > tolerance]
        wider = serve(more, [s.target for s in missed], max_dyes, tolerance, work.step)
        for name in new:
            additions.append(_gain(dyes, more, name, missed, wider, base, tolerance, max_dyes))
            work.step()
        additions.sort(key=lambda c: (-c.colours, -round(c.miss, 3), -c.volume))
    removals: list[Change] = []
    for name in old:
        removals.append(_loss(dyes, name, served, base, tolerance, max_dyes))
        work.step()
    removals.sort(key=lambda c: (c.colours, round(c.miss, 3), c.volume))
    shown = serve(dyes, parse_colours([target]), max_dyes, tolerance) if target is not None else ()
    return ShelfReach(
        gamut(dyes, max_dyes),
        _ladders(dyes),
        tolerance,
        tuple(_wanted(dyes, s, tolerance) for s in served),
        _wanted(dyes, shown[0], tolerance) if shown else None,
        tuple(additions),
        tuple(removals),
        (dyes.conditions or {}).get("cloth", ""),
        dyes.demo or (other is not None and other.demo),
    )


class _Work:
    """Tells whoever waits how far the work has come."""

    def __init__(self, progress: Progress | None, steps: int) -> None:
        self.progress, self.steps, self.done = progress, steps, 0

    def step(self, *_: int) -> None:
        self.done += 1
        if self.progress is not None:
            self.progress(self.done, self.steps)


def _wanted(dyes: DyeSet, served: Served, tolerance: float) -> Wanted:
    blend = served.best()
    assert blend is not None
    miss = float(served.miss[blend])
    prediction = dyes.predict(served.recipe(dyes, blend), served.light)
    return Wanted(served.target, prediction, miss, miss <= tolerance)


def _gain(
    dyes: DyeSet,
    more: DyeSet,
    name: str,
    missed: Sequence[Served],
    wider: Sequence[Served],
    base: float,
    tolerance: float,
    max_dyes: int,
) -> Change:
    """What one dye of the other book adds: only blends of the shelf and that dye count."""
    allowed = (1 << len(dyes)) - 1 | 1 << more.index(name)
    nearest = np.array([s.miss[(s.masks & ~np.uint64(allowed)) == 0].min() for s in wider])
    before = np.array([s.miss.min() for s in missed])
    taken = more.take([*dyes.names, name])
    volume = gamut(taken, max_dyes, rays=_COARSE).volume
    return Change(
        name,
        int((nearest <= tolerance).sum()),
        float(np.maximum(before - nearest, 0.0).sum()),
        100.0 * (volume / base - 1.0),
    )


def _loss(
    dyes: DyeSet, name: str, served: Sequence[Served], base: float, tolerance: float, max_dyes: int
) -> Change:
    """What the shelf loses with one dye."""
    rest = ~np.uint64(1 << dyes.index(name)) & np.uint64((1 << len(dyes)) - 1)
    before = np.array([s.miss.min() for s in served])
    after = np.array([s.miss[(s.masks & ~rest) == 0].min() for s in served])
    volume = gamut(dyes.take([n for n in dyes.names if n != name]), max_dyes, rays=_COARSE).volume
    return Change(
        name,
        int(((before <= tolerance) & (after > tolerance)).sum()),
        float((after - before).sum()),
        100.0 * max(1.0 - volume / base, 0.0),
    )


def _ladders(dyes: DyeSet) -> tuple[Ladder, ...]:
    out = []
    for i, name in enumerate(dyes.names):
        amounts = np.zeros((_RUNGS + 1, len(dyes)))
        amounts[1:, i] = np.geomspace(dyes.palest[i] / 2.0, dyes.deepest[i], _RUNGS)
        out.append(Ladder(name, dyes.predict_many(amounts)))
    return tuple(out)
