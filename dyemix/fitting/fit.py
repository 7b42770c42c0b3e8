"""Fit Kubelka–Munk dyes to swatches of single dyes, and calibrate them on the mixes among them.

A ladder of spectra is fitted band by band (`ladder`); one with any reading as CIELAB only, all
depths jointly (`lab_ladder`). Both kinds share the undyed cloth and the surface term.
"""

from collections.abc import Collection, Sequence
from dataclasses import replace
from difflib import get_close_matches
from itertools import groupby

import numpy as np

from dyemix.arrays import Array, robust_deviation
from dyemix.colour.ciede2000 import metric
from dyemix.colour.colorimetry import D65_10, Light
from dyemix.dataset.swatches import ROUGH_ERROR, Swatch, SwatchSet
from dyemix.errors import FitError, expect, refuse, said
from dyemix.fitting.lab_ladder import cloth_from_lab, stated
from dyemix.fitting.ladder import Beside, Squares, scatter_of
from dyemix.fitting.learn import calibrated
from dyemix.fitting.slips import slips
from dyemix.model.dyes import DyeSet, Ladders
from dyemix.model.fit_report import DyeReport, FitReport
from dyemix.model.kubelka_munk import depth_law, law_text
from dyemix.model.uncertainty import PRIOR_STRENGTH

#: A swatch whose strength is off by more than this factor, and by more than four times the usual
#: scatter of the set, is called odd.
ODD_FACTOR = 1.25
#: How much an odd swatch counts in the fit. It is kept, named, and left out only when asked.
ODD_WEIGHT = 0.05
#: Names as alike as this (`difflib`'s ratio, of 1) may be one, misspelt.
_ALIKE = 0.8
#: A curve below this everywhere absorbs nothing.
_NOTHING = 1e-6
#: Squares of one dye alone: beyond any workshop's, and each is left out in turn.
_MOST_SQUARES = 100
#: Where ladders miss by more than this (ΔE2000) in what no other strength would mend, mixes stray
#: by so many times the root of the rest: colorants that hide a ground betray themselves that way
#: (1.4 to 3.9 on the family `printed`), and a depth law that does not fit hardly (below 0.6).
_MISFIT_FROM, _MISFIT_COUNTS = 0.7, 2.8


def _find_odd(squares: Squares, left: Beside) -> dict[int, float]:
    """Strength of the one square a ladder that fits its neighbours worst, by its place."""
    if not (told := squares.last > 1).any():
        return {}
    limit = max(np.log(ODD_FACTOR), 4.0 * robust_deviation(left.stronger[told]))
    many = np.bincount(squares.dye)[squares.dye] > 3
    # End depths are extrapolated, so a bent law alone can put them off: inner ones only.
    good = many & squares.inner & left.tells & (squares.counts > ODD_WEIGHT)
    score = np.where(good, np.abs(left.stronger), 0.0)
    worst = [int(np.where(squares.dye == i, score, 0.0).argmax()) for i in np.unique(squares.dye)]
    return {i: float(np.exp(left.stronger[i])) for i in worst if score[i] > limit}


def _misfit(squares: Squares, left: Beside) -> float | None:
    """ΔE2000 across strength by which inner depths miss beyond what is open; None without any.

    Of the ladder in the middle, since one dye that misbehaves says little of mixes of the others.
    """
    by_lab, good = metric(squares.measured), squares.inner & (squares.counts > ODD_WEIGHT)
    spread = np.array([stated(s.readings) for s in squares.swatches])
    told = np.trace(by_lab @ spread @ by_lab.swapaxes(1, 2), axis1=1, axis2=2)
    beyond = left.across - left.expected - told * 2.0 / 3.0
    apart = [beyond[good & (squares.dye == i)].mean() for i in np.unique(squares.dye[good])]
    return float(np.sqrt(max(np.median(apart), 0.0))) if apart else None


def _fittable(swatches: SwatchSet, lent: Collection[str]) -> SwatchSet:
    """The swatches of dyes that have a ladder, or are `lent`; what the others lack goes into the
    warnings.

    Raises `FitError` where no dye has one.
    """
    faults, ladders = {}, {name: swatches.ladder(name) for name in swatches.dyes}
    for name, ladder in ((name, ladders[name]) for name in ladders if name not in lent):
        depths = sorted({s.recipe[name] for s in ladder})
        if len(depths) == 1:
            which, depth = "fit.one_depth_lab" if ladder[0].rough else "fit.one_depth", depths[0]
            faults[name] = said(which, dye=name, depth=depth, more=depth / 4.0)
            others = [other for other in ladders if other != name]
            if near := get_close_matches(name, others, 1, _ALIKE):
                faults[name] += said("fit.misspelt", *near)
        elif not depths and any(name in s.recipe for s in swatches.mixtures):
            faults[name] = said("fit.no_own_swatch", dye=name)
    if faults and not any(ladders[name] for name in ladders.keys() - faults.keys()):
        raise FitError("\n".join(faults.values()))
    kept = tuple(r for r in swatches.readings if set(r.recipe or ()).isdisjoint(faults))
    gone = tuple(said("fit.left_out", fault=fault) for fault in faults.values())
    return replace(swatches, readings=kept, warnings=(*swatches.warnings, *gone))


def _ladders(swatches: SwatchSet, lender: DyeSet | None) -> Squares:
    """The ladders of a table on its undyed cloth. Raises `FitError` where either is missing."""
    table = swatches.source or "this table"
    unread = not swatches.swatches and sum(r.reflectance is None for r in swatches.readings)
    refuse(unread, "fit.unread", table=table, count=unread, error=FitError)
    refuse(not swatches.undyed, "fit.no_undyed", table=table, error=FitError)
    none = "fit.no_square_there" if lender else "fit.no_ladder"
    ladders = {name: ladder for name in swatches.dyes if (ladder := swatches.ladder(name))}
    refuse(not ladders, none, table=table, error=FitError)
    longest = max(ladders, key=lambda name: len(ladders[name]))
    squares = len(ladders[longest])
    refuse(squares > _MOST_SQUARES, "fit.long", longest, squares, _MOST_SQUARES, error=FitError)
    return Squares(ladders, _cloth(swatches.undyed), swatches.light, lender)


def _cloth(undyed: Sequence[Swatch]) -> Array:
    """Reflectance ``(B,)`` of the undyed cloth: the mean of its spectra, or one for its CIELAB."""
    spectra = [s.reflectance for s in undyed if not s.rough]
    made_up = (cloth_from_lab(s.colour(light), light) for s in undyed for light in _lights([s]))
    return np.asarray(np.mean(spectra or list(made_up), axis=0))


def _lights(swatches: Sequence[Swatch]) -> list[Light]:
    """The lights of the readings that are CIELAB only, each once, in order."""
    lights = [r.light or D65_10 for s in swatches for r in s.readings if r.rough]
    return list(dict.fromkeys(lights))


def _lab_notes(squares: Squares, undyed: Sequence[Swatch]) -> list[str]:
    """What a fit from CIELAB alone can and cannot say."""
    notes, rough = [], sum(s.rough for s in undyed)
    if rough:
        which = "fit.undyed_lab" if rough == len(undyed) else "fit.some_undyed_lab"
        notes.append(said(which, count=rough, all=len(undyed)))
    if (alone := squares.rough & ~squares.lent).any():
        names = ", ".join(np.array(squares.names)[alone])
        lights = ", ".join(map(str, _lights(squares.swatches)))
        notes.append(said("fit.lab_alone", lights=lights, names=names))
    return notes


def _reads_like(square: Swatch, law: Array, strength: float) -> str:
    """The depth (% owf) at which its dye would look as this square does, `strength` times as strong
    as at its own, in words.
    """
    depth = square.recipe.total
    fine, goal = np.geomspace(depth / 20.0, depth * 20.0, 801), strength * depth_law(depth, law)
    read = np.interp(goal, depth_law(fine, law), fine)
    return said("fit.reads_like", label=square.label, depth=read)


def _next_depth(depths: Sequence[float], odd: float | None) -> tuple[float | None, str]:
    """Which square of a dye to dye next, % owf and in words, and there may be an odd one.

    From the depths (% owf, palest first) there are.
    """
    if odd is not None and len(depths) > 2:
        return odd, said("fit.odd_again")
    if len(depths) > 4:
        return None, ""
    gap = int(np.argmax(np.diff(np.log(depths))))
    middle = float(np.sqrt(depths[gap] * depths[gap + 1]))
    return middle, said("fit.third_depth" if len(depths) < 3 else "fit.widest_gap", depth=middle)


def _report_dye(
    squares: Squares, i: int, ladders: Ladders, left: Beside, odd: dict[int, float]
) -> DyeReport:
    """Dye `i`; `odd` are strengths of odd squares by their place, of all dyes."""
    name, law, mine = squares.names[i], ladders.law[i], np.flatnonzero(squares.dye == i)
    depths, odd = squares.depth[mine], {j: x for j, x in odd.items() if j in mine}
    steps = tuple(np.unique(depths).tolist())
    if squares.lent[i]:
        middle = np.exp(np.log(steps).mean())
        want = " and ".join(f"{x:.2g}" for x in (middle / 4.0, middle * 4.0) if x not in steps)
        return DyeReport(name, steps, "borrowed", (), said("fit.two_more", depths=want))
    texts = [_reads_like(squares.swatches[j], law, x) for j, x in odd.items()]
    if ladders.curves[i].max() < _NOTHING:
        texts.append(said("fit.no_dye", dye=name))
    seen = {}
    if len(steps) > 2:
        good = mine[~np.isin(mine, list(odd))]
        inner, off = squares.inner[good], left.delta_e[good]
        labs = [left.lab[mine][depths == c].mean(axis=0).tolist() for c in steps]
        seen = {"inner": tuple(off[inner].tolist()), "ends": tuple(off[~inner].tolist())}
        seen["left_out"] = tuple(map(tuple, labs))
    depth, words = _next_depth(steps, float(squares.depth[min(odd)]) if odd else None)
    return DyeReport(
        name, steps, law_text(law), tuple(texts), words, bool(squares.rough[i]), **seen,
        next_depth=depth,
    )  # fmt: skip


def _flags(swatches: SwatchSet) -> tuple[str, ...]:
    """Doubtful readings, each with its place: likely slips, and what was flagged. All are kept.

    That the spectrum of a ladder's reading is made up is no doubt here: it is not used; and what
    the table was said to hold is not said again.
    """
    made_up = said("tables.rough", error=ROUGH_ERROR)
    return tuple(slips(swatches)) + tuple(
        f"{r.place}: {flag}"
        for r in swatches.readings
        for flag in r.warnings
        if not (flag == made_up and r.recipe is not None and len(r.recipe) < 2)
        and not any(flag in told for told in swatches.warnings)
    )


def fit(
    swatches: SwatchSet, check: SwatchSet | None = None, lender: DyeSet | None = None
) -> DyeSet:
    """Fit the dyes of a swatch set.

    Curves and depth laws are fitted to undyed cloth and swatches of single dyes; mixtures in the
    table then move them, as trials do in `learn`, and each is reported as the others predict it.
    Those of `check`, and any swatch called `CHECK`, are only predicted. Dyes of one depth or two
    borrow from a `lender` that has them (`dyemix.fitting.transfer`).

    Raises
    ------
    FitError
        No undyed cloth, no dye with two depths, conditions that differ, a reading with no recipe,
        or readings that contradict one another.

    >>> fit(demo()).names[:3]
    ('lemon', 'marigold', 'scarlet')
    """
    for given in (swatches, check or swatches):
        expect(given, SwatchSet, "read_swatches and SwatchSet.from_frame give one")
    unnamed = [(r.place or r.name).rpartition(", ") for r in swatches.unnamed]
    by_file = groupby(unnamed[:5], lambda place: "".join(place[:2]))
    places = "; ".join(file + ", ".join(row for *_, row in rows) for file, rows in by_file)
    refuse(unnamed, "fit.unnamed", count=len(unnamed), places=places, error=FitError)
    conditions = swatches.conditions()
    swatches, aside = swatches.set_aside()
    swatches = _fittable(swatches, lender.names if lender else ())
    light, squares, demo = swatches.light, _ladders(swatches, lender), swatches.demo
    odd: dict[int, float] = {}
    for seen in range(5):  # four times one swatch a dye may be found, which is ample
        lent = lender and (lender.whole.surface, lender.ladders.modes.surface)
        surface, spread = lent if lent and squares.lent.all() else squares.surfaces()
        left = squares.left_out(surface)
        if seen == 4 or not (found := _find_odd(squares, left)):
            break
        odd |= found
        squares.counts[list(found)] = ODD_WEIGHT
    first = squares.beside(squares.fit(surface, squares.counts, PRIOR_STRENGTH)[0])
    misfit = _misfit(squares, left)
    off = max(misfit or 0.0, _MISFIT_FROM)
    trust, beyond = (_MISFIT_FROM / off) ** 2, (off**2 - _MISFIT_FROM**2) ** 0.25
    scatter = scatter_of(first, squares.dye, squares.depth, swatches, trust)
    dyes, beyond, words = range(len(squares.names)), _MISFIT_COUNTS * beyond, "fit.surface"
    palest, deepest = np.array([squares.depth[squares.dye == i][[0, -1]] for i in dyes]).T
    if lender:
        demo |= lender.demo
        at = [lender.index(name) for name in np.array(squares.names)[squares.lent]]
        palest[squares.lent], deepest[squares.lent] = lender.palest[at], lender.deepest[at]
        if squares.lent.all():
            scatter, beyond, words = lender.scatter, lender.ladders.misfit, "fit.lent_surface"
    ladders = squares.ladders(surface, spread, scatter.strength)
    alone = DyeSet(
        squares.names, palest, deepest, squares.cloth, replace(ladders, misfit=beyond), light,
        conditions=conditions, scatter=scatter, demo=demo,
    )  # fmt: skip
    notes = (
        *squares.borrowed, *swatches.warnings, *swatches.apart,
        *scatter.warnings, *_lab_notes(squares, swatches.undyed), *_flags(swatches),
    )  # fmt: skip
    reports = tuple(_report_dye(squares, i, ladders, left, odd) for i in dyes)
    report = FitReport(
        str(light), said(words, surface, spread), reports, misfit=misfit, warnings=notes, demo=demo,
    )  # fmt: skip
    return calibrated(alone, report, swatches, aside, check)
