"""Dyes on a second cloth, from their squares there and a library on another.

A second cloth needs no second library: undyed cloth and one middle depth per dye will do. Spectral
shape and depth law are borrowed from the first cloth (or from another dyer's table, as a starting
guess); how strong each dye is on the new cloth is read off its own square. There is no factor for
a dye without one: it is left out, by name.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace

from dyemix.dataset.conditions import METHOD, same
from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import FitError, refuse, said
from dyemix.fitting.fit import fit
from dyemix.model.dyes import DyeSet


def borrow(dyes: DyeSet, swatches: SwatchSet, check: SwatchSet | None = None) -> DyeSet:
    """The dyes of `dyes` on the cloth of `swatches`.

    A dye with one or two depths there borrows shape and law from `dyes`, and its strength is
    fitted to those squares under a log-normal prior about its strength on the first cloth. A dye
    with three depths or more is fitted to them alone. A dye without a square is left out.

    Parameters
    ----------
    dyes : fitted on the first cloth, or on another dyer's.
    swatches : undyed cloth and squares on the new cloth; mixtures there calibrate as in `fit`.
    check : further mixtures on the new cloth, only to check the result by.

    Returns
    -------
    DyeSet
        With a report that marks what is borrowed, and more left open for it.

    Raises
    ------
    FitError
        No undyed cloth or no square on the new cloth, a dye with one depth and nothing to borrow,
        readings without a recipe, or readings of another geometry than those of the first cloth.
    """
    told = tuple(_compared(dyes, swatches.conditions()))
    kept, _ = swatches.set_aside()
    steps = {name: len({s.recipe.total for s in kept.ladder(name)}) for name in kept.dyes}
    strangers = ", ".join(n for n, depths in steps.items() if depths == 1 and n not in dyes.names)
    refuse(strangers, "fit.stranger", dyes=strangers, error=FitError)
    if missing := ", ".join(name for name in dyes.names if not steps.get(name)):
        told += (said("fit.no_square", dyes=missing),)
    return fit(replace(swatches, warnings=told + swatches.warnings), check, dyes)


def _compared(dyes: DyeSet, conditions: Mapping[str, str]) -> Iterator[str]:
    """What was done otherwise on the first cloth; refuses readings of another geometry."""
    for key in METHOD:
        values = {"there": dyes.conditions.get(key), "here": conditions.get(key)}
        if None in values.values() or same(key, *map(str, values.values())):
            continue
        refuse(key == "geometry", "fit.other_geometry", **values, error=FitError)
        yield said("fit.from_cloth" if key == "cloth" else "fit.dyed_otherwise", key=key, **values)
