"""What a shelf covers: the edge of its blends in CIELAB, and the blends that serve wanted colours.

Blends of at most k dyes, each to its deepest swatch, fill boxes of k dimensions, and the image of a
box in the three of CIELAB is bounded by images of two-dimensional faces of it: two dyes that vary,
the others out or at their deepest (as in a zonotope; where the model bends back on itself the edge
can lie beyond them, by less than a pixel on the shelves tried). A slice crosses a face in contours
of its L* (by contourpy, in the plane of a* and b*). Drawn on a grid, small gaps closed, what they
go round is filled.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import combinations, islice

import numpy as np

from dyemix.arrays import Array, Bits, Flags, Indices
from dyemix.colour.colorimetry import Light
from dyemix.dataset.result import Result, Row, Value
from dyemix.dataset.target import AnyColour, Target
from dyemix.dataset.units import STOCK_PCT, dye_g, stock_ml
from dyemix.errors import refuse, said
from dyemix.matching.limits import LEAST_DOSE, Kit
from dyemix.matching.matches import Pot
from dyemix.matching.subsets import Found, Problem, batches
from dyemix.model.dyes import DyeSet

#: Depths along each side of a face, by how many dyes are held at their deepest.
_DEPTHS = (20, 8, 5)
#: Faces worked out at once: few enough for the processor's cache.
_FACES = 200
#: The grid has a pixel for each whole number of a* and b*, this far to either side.
_WIDEST = 130
#: Notches up to twice this many pixels wide are closed, and the outline is smoothed by this many.
_GAP, _SMOOTH = 2, 0.8
#: ``progress(done, all)``: called as work goes on, for whoever waits.
Progress = Callable[[int, int], None]
#: Colours searched side by side, and sets of dyes compared at once.
_SIDE_BY_SIDE, _CHUNK = 8, 50_000


class Gamut(Value):
    """What a shelf reaches, in slices of one L*.

    Attributes
    ----------
    levels : ``(S,)`` L* of the slices, rising.
    outlines : of each slice the closed lines ``(V, 2)``, in a* and b*, that go round what is
        reached; none where no blend is.
    areas : ``(S,)`` area of each slice in the a*b* plane.
    """

    levels: Array
    outlines: tuple[tuple[Array, ...], ...]
    areas: Array
    max_dyes: int
    light: Light

    @property
    def volume(self) -> float:
        """Volume in cubic CIELAB units, between the first and the last slice."""
        return float(np.trapezoid(self.areas, self.levels))

    def brightest(self, every: int) -> Array:
        """CIELAB ``(N, 3)`` of most chroma in every so many slices, where any colour is reached."""
        slices = zip(self.levels[::every], self.outlines[::every], strict=True)
        far = [(x, max(np.concatenate(lines), key=np.linalg.norm)) for x, lines in slices if lines]
        return np.array([(level, *point) for level, point in far]).reshape(-1, 3)

    def reaches(self, labs: Array) -> Flags:
        """Whether colours ``(N, 3)`` are reached, each in the slice nearest to it in L*."""
        from matplotlib.path import Path

        slices = np.abs(labs[:, :1] - self.levels).argmin(axis=1)
        out = np.zeros(len(labs), dtype=bool)
        for i in np.unique(slices):
            for line in self.outlines[i]:
                out[slices == i] |= Path(line).contains_points(labs[slices == i, 1:])
        return out


def gamut(
    dyes: DyeSet, max_dyes: int = 3, *, levels: Array | None = None, light: Light | None = None
) -> Gamut:
    """What a shelf reaches.

    Parameters
    ----------
    max_dyes : 3 or 4; a fourth dye adds little, and two make a surface that holds no volume.
    levels : ``(S,)`` L* of the slices, rising; every 4 from 12 to 96 by default.

    Raises `DyemixError` for a bad limit, a shelf of fewer than three dyes or of more than 64.
    """
    refuse(max_dyes not in (3, 4), "max_dyes is 3 or 4 (two dyes make a surface, not a solid).")
    refuse(not 3 <= len(dyes) <= 64, "gamut.reach.dyes", len(dyes))
    light = dyes.light_of(light)
    slices = np.arange(12.0, 97.0, 4.0) if levels is None else np.asarray(levels, dtype=float)
    faces = _faces(len(dyes), min(max_dyes, len(dyes)))
    parts = [_cuts(_on_faces(dyes, index, light), slices) for index in faces]
    grids = [_filled(np.concatenate(cut)) for cut in zip(*parts, strict=True)]
    areas = np.array([float(grid.sum()) for grid in grids])
    return Gamut(slices, tuple(map(_outlines, grids)), areas, max_dyes, light)


def _outlines(grid: Flags) -> tuple[Array, ...]:
    """Closed lines ``(V, 2)`` round what is filled, smooth: the contour at one half."""
    from contourpy import contour_generator
    from scipy import ndimage

    soft = ndimage.gaussian_filter(grid.astype(float), _SMOOTH)
    lines = contour_generator(z=soft.T).lines(0.5)
    return tuple(np.asarray(line) - _WIDEST for line in lines if len(line) > 3)


def _filled(ends: Array) -> Flags:
    """Whether each whole a*, b* from −`_WIDEST` up is reached, within segments ``(P, 2, 2)``."""
    from scipy import ndimage

    start, step = ends[:, 0], ends[:, 1] - ends[:, 0]
    number = np.ceil(2.0 * np.abs(step).max(axis=1, initial=0.0)).astype(int) + 2  # two a pixel
    which = np.repeat(np.arange(len(step)), number)
    counted = np.arange(len(which)) - np.repeat(np.cumsum(number) - number, number)
    points = start[which] + (counted / (number[which] - 1))[:, np.newaxis] * step[which]
    grid = np.zeros((2 * _WIDEST + 1, 2 * _WIDEST + 1), dtype=bool)
    grid[tuple(np.clip(np.rint(points).astype(int) + _WIDEST, 0, 2 * _WIDEST).T)] = True
    outside, _ = ndimage.label(~ndimage.binary_closing(grid, iterations=_GAP))
    return np.asarray(outside != outside[0, 0])


def _faces(dyes: int, max_dyes: int) -> Iterator[Indices]:
    """Faces ``(M, 2 + f)`` in chunks: two dyes that vary, and f at their deepest."""
    for full in range(max_dyes - 1):
        faces = [
            (*pair, *more)
            for pair in combinations(range(dyes), 2)
            for more in combinations([i for i in range(dyes) if i not in pair], full)
        ]
        yield from (np.array(faces[i : i + _FACES], np.intp) for i in range(0, len(faces), _FACES))


def _on_faces(dyes: DyeSet, index: Indices, light: Light) -> Array:
    """CIELAB ``(M, n, n, 3)`` of depths along both sides of faces."""
    n = _DEPTHS[index.shape[1] - 2]
    shares = np.concatenate([[0.0], np.geomspace(0.004, 1.0, n - 1)])
    inside = np.ones((n, n, index.shape[1]))
    inside[..., 0], inside[..., 1] = shares[:, np.newaxis], shares
    amounts = np.zeros((len(index), n, n, len(dyes)))
    at = np.broadcast_to(index[:, np.newaxis, np.newaxis], (len(index), *inside.shape))
    np.put_along_axis(amounts, at, dyes.deepest[at] * inside, axis=3)
    return dyes.colours(amounts, light)


def _cuts(labs: Array, levels: Array) -> Iterator[Array]:
    """Segments ``(P, 2, 2)`` in which each slice cuts faces ``(M, n, n, 3)``.

    A call for each face takes longer than all the rest. So they are one surface with gaps.
    """
    from contourpy import contour_generator

    gap = [(0, 0), (0, 1), (0, 0), (0, 0)]  # a row below each face
    surface = np.pad(labs, gap, constant_values=np.nan)
    level, a, b = np.moveaxis(surface.reshape(-1, *labs.shape[2:]), -1, 0)
    contour = contour_generator(a, b, level, line_type="ChunkCombinedNan")
    for each in levels:
        found = contour.lines(each)[0][0]
        points = np.empty((0, 2)) if found is None else found
        ends = np.stack([points[:-1], points[1:]], axis=1)
        yield ends[np.isfinite(ends).all(axis=(1, 2))]


class Nearest(Pot):
    """The nearest blend to a wanted colour, and what to expect of it.

    `within` is whether that is near enough on paper.
    """

    TOLD = (*Pot.TOLD, "target", "within")

    within: bool

    def _rows(self) -> Iterable[Row]:
        """One row: name, misses, whether it is within reach, recipe and its colour."""
        figures = {name: getattr(self, name) for name in ("residual", "likely", "within")}
        yield {"target": self.target.name, **figures, **self.prediction.row}


class Served(Value):
    """Every blend of at most k dyes for one wanted colour, its light settled."""

    target: Target
    blends: Found

    @property
    def least(self) -> float:
        """Least ΔE2000 on paper."""
        return float(np.sqrt(self.blends.cost.min()))

    def within(self, dyes: Flags) -> "Served":
        """Those of some of the dyes ``(D,)`` alone."""
        others = self.blends.used[:, ~dyes].any(axis=1)
        return Served(self.target, self.blends.rows(np.flatnonzero(~others)))

    def nearest(self, dyes: DyeSet, tolerance: float) -> Nearest:
        """The nearest blend; fewer dyes where it is a tie."""
        amounts, miss = self.blends.amounts, np.round(np.sqrt(self.blends.cost), 1)
        best = amounts[np.lexsort(((amounts > 0).sum(axis=1), miss))[0]]
        # What nobody can measure is left out.
        amounts = np.where(best < LEAST_DOSE, 0.0, best)
        pot = Pot.of(dyes.predict_many(amounts, self.target.light)[0], self.target)
        return Nearest(**vars(pot), within=pot.residual <= tolerance)


def serve(
    dyes: DyeSet, wanted: Sequence[AnyColour], max_dyes: int, tolerance: float,
    progress: Progress | None = None,
) -> list[Served]:  # fmt: skip
    """Solve every subset of the shelf for every wanted colour, each in its own light.

    Raises `TargetError`, and `DyemixError` for a bad limit or a shelf of more than 64 dyes.
    """
    refuse(max_dyes < 1 or not 0 < tolerance <= 100, "gamut.family.limits")
    refuse(len(dyes) > 64, f"{len(dyes)} dyes are more than can be compared at once (64).")
    targets = [target.under(dyes.light) for target in Target.all(wanted)]
    out: dict[int, Served] = {}
    lights = [dyes.light_of(target) for target in targets]
    for some in batches(lights, _SIDE_BY_SIDE):
        labs = np.array([targets[i].lab for i in some])
        problem = Problem.of(dyes, labs, lights[some[0]], max_dyes)
        every = problem.finish(problem.search())
        out |= {i: Served(targets[i], every.rows(every.which == t)) for t, i in enumerate(some)}
        if progress is not None:
            progress(len(out), len(targets))
    return [out[i] for i in range(len(targets))]


class Purchase(Value):
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
        return (row for member in self.members for row in member._rows())

    def _lines(self) -> Iterable[str]:
        if self.members:
            figures = (len(self.dyes), len(self.members), self.tolerance, self.max_dyes)
            yield said("gamut.family.serve", *figures, ", ".join(self.dyes))
            if more := len(self.others):
                shown = "; ".join(", ".join(names) for names in self.others[:3])
                ends = "s" if more > 1 else "", shown, " …" if more > 3 else ""
                yield said("gamut.family.others", more, *ends)
            rows = [("", "% owf", "hex      on paper  likely")] + [
                (m.target.name, str(m.recipe),
                 f"{m.prediction.hex}  {m.residual:>8.2f}  {m.likely:>6.1f}")
                for m in self.members
            ]  # fmt: skip
            wide = [max(map(len, column)) for column in zip(*rows, strict=True)]
            yield from (f"{name:<{wide[0]}}  {recipe:<{wide[1]}}  {x}" for name, recipe, x in rows)
            yield said("gamut.family.take", self.cloth_g)
            yield from (f"  {purchase}" for purchase in self.purchases)
        yield from (said("gamut.family.unserved", t.name, miss) for t, miss in self.unserved)


def family(
    dyes: DyeSet, targets: Sequence[AnyColour], tolerance: float = 3.0, max_dyes: int = 3, *,
    cloth_g: float = 100.0, stock_pct: float | Mapping[str, float] = STOCK_PCT,
    progress: Progress | None = None,
) -> Family:  # fmt: skip
    """The fewest dyes that serve all the wanted colours, each within `tolerance` on paper.

    Exact: every blend that serves a colour is found, and sets of dyes are tried from one upwards
    until one holds a serving subset of each. Colours that even the whole shelf misses do not count.

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
    able = [s for s in served if s.least <= tolerance]
    far = tuple((s.target, s.least) for s in served if s not in able)
    bits = np.uint64(1) << np.arange(len(dyes), dtype=np.uint64)
    near = [s.blends.used[s.blends.cost <= tolerance**2] @ bits for s in able]
    sets = [(np.uint64(mask) & bits) > 0 for mask in sorted(smallest_sets(near, len(dyes)))]
    sets.sort(key=lambda of: sum(s.within(of).least for s in able))
    members = tuple(s.within(sets[0]).nearest(dyes, tolerance) for s in able)
    chosen, *others = (tuple(np.array(dyes.names)[of].tolist()) for of in sets)
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
