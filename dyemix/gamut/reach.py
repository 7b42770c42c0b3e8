"""What a shelf can do on its cloth: its gamut, wanted colours in and near it, what to add."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.appearance import lab_hue, of_hue, usual_hue
from dyemix.colour.colorimetry import Light
from dyemix.dataset.result import Result, Row, Value
from dyemix.dataset.target import AnyColour, Target
from dyemix.errors import expect, refuse, said
from dyemix.gamut.coverage import Gamut, Nearest, Progress, Served, gamut, serve
from dyemix.matching.limits import LEAST_DOSE
from dyemix.matching.match import match, match_many
from dyemix.matching.matches import WITHIN_REACH, Match, Matches, Reach
from dyemix.model.dyes import DyeSet, Ladders
from dyemix.model.unknowns import Modes, Posterior
from dyemix.series.search import LEAST_CHROMA

#: Where nothing is wanted, colours this far apart all over what is reached stand for it, in L* and
#: in a* and b*; a dye is judged by what it does for them.
_APART = (20.0, 24.0)
#: Blends of each colour whose likely miss is worked out: the nearest ones, and with none of a dye.
_NEAREST, _WITHOUT = 20, 2
#: Every how many slices stand in the table.
_TOLD = 3
#: Pieces of a strip from grey to the colour, and L* of one from pale to deep.
_SHARES: Array = np.linspace(0.0, 1.0, 9)
_LEVELS: Array = np.array([88.0, 78.0, 68.0, 58.0, 48.0, 38.0, 28.0])
_HUES = 12


class Change(Value):
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
    def title(self) -> str:
        where, gamut = f" on {self.cloth}" if self.cloth else "", self.gamut
        return said("gamut.reach.title", len(self.dyes), where, gamut.max_dyes, gamut.light)

    def _rows(self) -> Iterable[Row]:
        """One row a wanted colour; without any, the blends of most chroma, slice by slice."""
        return (row for nearest in self.wanted or self.brightest for row in nearest._rows())

    @property
    def findings(self) -> tuple[str, ...]:
        """Share of the wanted colours, best addition, the dye to spare, one sentence each."""
        lines, wanted = [_sentence(self.target)] if self.target else [], self.wanted
        if many := len(wanted):
            near = sum(w.within for w in wanted)
            lines.append(said("gamut.reach.share", near, many, 100 * near / many, self.tolerance))
            lines += [_sentence(w) for w in wanted if not w.within]
        if self.additions:
            best = self.additions[0]
            gained = f"{best.targets} wanted colour{'' if best.targets == 1 else 's'} more, "
            more = gained if best.delta_e else ""
            lines.append(said("gamut.reach.adds", best.dye, more, best.volume))
        if self.removals:
            least, which = self.removals[0], "wanted" if wanted else "all over its reach"
            lost = f"{least.targets} more out of reach, " if least.targets else ""
            figures = (self.judged, which, 100 * least.used, lost, least.delta_e)
            lines.append(said("gamut.reach.spare", least.dye, *figures))
        return tuple(lines)

    def _lines(self) -> Iterable[str]:
        yield from (f"{self.title}.", "L*  area a*b*  most chroma: C*, hue  blend there")
        for found in self.brightest:
            lightness, a, b = lab = found.target.lab
            area = self.gamut.areas[self.gamut.levels == lightness][0]
            figures = (lightness, area, np.hypot(a, b), lab_hue(lab))
            yield said("gamut.reach.row", *figures, str(found.recipe))
        yield from self.findings


def _sentence(found: Nearest) -> str:
    p, word = found.prediction, "within reach" if found.within else "out of reach"
    figures = (p.recipe, p.hex, found.residual)
    return said("gamut.reach.nearest", found.target.name, word, *figures)


def reach(
    dyes: DyeSet, targets: Sequence[AnyColour] = (), *, target: "AnyColour | None" = None,
    other: DyeSet | None = None, tolerance: float = WITHIN_REACH, max_dyes: int = 3,
    compare: bool = True, light: Light | str | None = None, progress: Progress | None = None,
) -> ShelfReach:  # fmt: skip
    """The gamut of a shelf, and what it means for wanted colours.

    Parameters
    ----------
    targets : what is wanted; each is matched in its own light.
    target : one colour to show.
    other : the dyes of a second book: which of those not owned would add most. Their absorption
        is taken from their own cloth.
    tolerance : ΔE2000 on paper up to which a colour counts as reached, as in `match`.
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
    tell = progress or (lambda done, whole: None)
    base = gamut(dyes, max_dyes, light=seen)
    tell(1, 3)
    asked = serve(dyes, [*wanted, *shown], max_dyes, tolerance)
    nearest = [served.nearest(dyes, tolerance) for served in asked]
    missed = [served for served in asked if served.least > tolerance]
    before = np.array([served.least for served in missed])
    short = bool(shown) and asked[-1] in missed
    wider = serve(more, [s.target for s in missed] if other else [], max_dyes, tolerance)
    additions: list[tuple[Change, Gamut]] = []
    for name in more.names[len(dyes) :]:
        there = gamut(more.take([*dyes.names, name]), max_dyes, light=seen)
        served = [each.within(np.isin(more.names, [*dyes.names, name])) for each in wider]
        after = np.array([each.least for each in served])
        gained = float(np.maximum(before - after, 0.0).sum())
        volume = 100.0 * (there.volume / base.volume - 1.0)
        nearer = served[-1].nearest(more, tolerance) if short else None
        within = int((after <= tolerance).sum())
        additions.append((Change(name, within, gained, volume, nearer), there))
    additions.sort(key=lambda a: (-a[0].targets, -round(a[0].delta_e, 3), -a[0].volume))
    tell(2, 3)
    judged, compared = asked[: len(wanted)], compare and len(dyes) > 3
    if compared:
        judged = judged or serve(dyes, _all_over(base), max_dyes, tolerance)
    corners = [Target(lab, seen, name="most chroma") for lab in base.brightest(_TOLD)]
    tell(3, 3)
    return ShelfReach(
        dyes.names, base, dyes.middles(seen), tolerance,
        tuple(nearest[: len(wanted)]), nearest[-1] if shown else None,
        tuple(s.nearest(dyes, tolerance) for s in serve(dyes, corners, max_dyes, tolerance)),
        tuple(change for change, _ in additions), additions[0][1] if additions else None,
        tuple(_removals(dyes, judged, tolerance) if compared else ()), len(judged),
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
        blends = served.blends
        holds, order = blends.amounts > LEAST_DOSE, np.argsort(blends.cost, kind="stable")
        some = [order[:_NEAREST], *(order[~holds[order, i]][:_WITHOUT] for i in range(n))]
        rows = np.unique(np.concatenate(some))
        amounts, miss = blends.amounts[rows], np.sqrt(blends.cost[rows])
        made = dyes.predict_many(amounts, served.target.light)
        likely = made.in_pot(served.target.lab, spread=served.target.spread).mean
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
    expect(other, DyeSet, "fit, learn and load give one")
    extra = [name for name in other.names if name not in dyes.names]
    refuse(not extra, "the other book has no dye that this shelf lacks.")
    more, names, demo = other.take(extra), (*dyes.names, *extra), dyes.demo or other.demo
    palest, deepest = np.append(dyes.palest, more.palest), np.append(dyes.deepest, more.deepest)
    both = ([getattr(each.whole, part) for each in (dyes, more)]
            for part in ("curves", "law", "company", "interaction"))  # fmt: skip
    curves, law, company, acts = map(np.concatenate, both)
    modes = Modes.none(*curves.shape)
    known = Posterior.prior(modes)
    return replace(
        dyes, names=names, palest=palest, deepest=deepest, pots=(), report=None, demo=demo,
        ladders=Ladders(curves, law, dyes.whole.surface, modes, interaction=acts),
        posterior=replace(known, mean=np.append(company, known.mean[len(names) :])),
    )  # fmt: skip


class ShelfAround(Value):
    """What lies around one colour.

    Attributes
    ----------
    found : the recipes nearest to it, and whether the shelf reaches it.
    to_it : answers at its lightness and hue, from grey to it in even steps.
    to_deep : answers of its hue from pale to deep, as clean as it or as the cleanest of `to_it`
        that is reached.
    in_hue : the cleanest reached of `to_it`; None where not even grey is, or it has no hue.
    cleanest : the cleanest recipe of each of twelve hues at its lightness, by hue angle.
    """

    found: Matches
    to_it: tuple[Matches, ...]
    to_deep: tuple[Matches, ...]
    in_hue: Match | None
    cleanest: tuple[Match, ...]


def around(dyes: DyeSet, target: Target) -> ShelfAround:
    """What the shelf gives near a colour, in its own light or that of the swatches.

    Raises `DyemixError` for a shelf of fewer than three dyes.
    """
    target, light = target.under(dyes.light), dyes.light_of(target)

    def answers(labs: Array) -> tuple[Matches, ...]:
        asked = [Target(lab, light, name="on the way") for lab in labs]
        return tuple(match_many(dyes, asked, count=1))

    chroma, level = float(np.hypot(*target.lab[1:])), float(target.lab[0])
    found, hue = match(dyes, target), usual_hue(target.lab)
    to_it, to_deep, in_hue = answers(np.empty((0, 3))), answers(np.empty((0, 3))), None
    if chroma >= LEAST_CHROMA:
        levels = np.full(len(_SHARES), level)
        to_it = answers(of_hue(target.lab, levels, _SHARES * chroma, hue, light))
        near = [i for i, each in enumerate(to_it) if each.reach is Reach.WITHIN and len(each)]
        in_hue = to_it[near[-1]][0] if near else None
        clean = np.full(len(_LEVELS), chroma * _SHARES[near[-1]] if near else chroma)
        to_deep = answers(of_hue(target.lab, _LEVELS, clean, hue, light))
    slices = gamut(dyes, levels=np.array([level]), light=light)
    points = np.concatenate([np.empty((0, 2)), *slices.outlines[0]])
    edge = np.insert(points, 0, level, axis=1)
    sector = (lab_hue(edge) // (360.0 / _HUES)).astype(int)
    far = [max(edge[sector == i], key=lambda lab: np.hypot(*lab[1:])) for i in np.unique(sector)]
    best = [each[0] for each in answers(np.array(far)) if len(each)]
    return ShelfAround(found, to_it, to_deep, in_hue, tuple(best))
