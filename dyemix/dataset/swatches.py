"""Readings of dyed cloth, joined into swatches and sets of swatches.

A reading is one measurement; a swatch is one piece of dyed cloth, the mean of its readings; a
swatch set is what a fit takes. Every importer gives a `SwatchSet` and nothing else does.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np

from dyemix.arrays import LAB, Array, labels, numbers
from dyemix.colour.colorimetry import D65_10, Light
from dyemix.colour.spectra import Unit, band, headed_bands
from dyemix.dataset.conditions import CONDITIONS, METHOD, same
from dyemix.dataset.readings import CELLS
from dyemix.dataset.readings import Reading as Reading
from dyemix.dataset.readings import Swatch as Swatch
from dyemix.dataset.recipe import Recipe, dye_name, dye_names, is_name
from dyemix.dataset.repeats import APART_DISTANCE, ODD_DISTANCE, Repeats, scatter
from dyemix.dataset.result import DEMO_WARNING as DEMO_WARNING
from dyemix.dataset.result import Frame, Result, Row
from dyemix.errors import DyemixError, Fault, FitError, InputError, refuse, said

#: A swatch called this is kept out of the fit, to check it by.
CHECK = "check"

#: ΔE2000 that a mixture predicted from one-swatch-at-a-time smoothest spectra is off by, beyond
#: what spectra would give (computed on invented dyes; D65).
ROUGH_ERROR = 1.5

_KNOWN = {"recipe", "as written", *LAB, "hex", "light", *CELLS, *CONDITIONS}
_SHORT = {"L": "L*", "a": "a*", "b": "b*"}
#: What counts rows is no dye, though it holds numbers.
_COUNTING = {"id", "index", "no", "number", "row", "sample", "batch"}


class SwatchSet(Result):
    """Swatches read from one or more files, in the order of the files.

    `len` and iteration go to its swatches, the pieces of cloth that are named and read; two sets
    add up to one.

    Attributes
    ----------
    readings : every reading, doubtful ones included.
    warnings : what was understood, assumed and doubted on the way in, one sentence each.
    source : the file's name, for messages.
    demo : whether these are invented dyes.

    >>> import pandas as pd
    >>> table = pd.DataFrame({"recipe": ["undyed", "rust 1"], "hex": ["#f4f1ea", "#a4532f"]})
    >>> [swatch.label for swatch in SwatchSet.from_frame(table)]
    ['undyed', 'rust 1.00']
    """

    readings: tuple[Reading, ...]
    warnings: tuple[str, ...] = ()
    source: str = ""
    demo: bool = False

    @classmethod
    def from_frame(
        cls, table: Frame, *, light: Light | str | None = None, scale: Unit | str = Unit.FRACTION,
        conditions: Mapping[str, str] | None = None,
    ) -> SwatchSet:  # fmt: skip
        """The readings in a frame, one a row; what `to_frame` gave, without loss.

        Parameters
        ----------
        table : column ``recipe`` (as text; ``undyed``), or a numeric column a dye, in % owf; the
            reading as bands (headed 400, "400 nm" or "R_400", in any order), as ``L*``, ``a*``,
            ``b*``, or as ``hex``; and if wanted ``swatch``, ``name``, ``light``, ``place`` and
            conditions. Any other numeric column would be a dye: drop those that are none.
        light : of L*a*b*, where no column ``light`` says it.
        scale : ``"fraction"`` or ``"percent"``, of the bands.
        conditions : of every reading, beside those in columns.

        Raises `InputError` with every fault, each by its row (from 0) and column.
        """
        refuse(not hasattr(table, "columns"), "readings.no_frame", error=InputError)
        light = light and Light.parse(light)
        told = {
            key: table.attrs[key] for key in ("source", "warnings", "demo") if key in table.attrs
        }
        found = cls(readings_of(table, light, Unit(scale), conditions or {}), **told)
        if not ("recipe" in labels(table) or {r.recipe for r in found.readings} - {None}):
            raise InputError(said("readings.no_recipe"))
        return found

    def to_frame(self) -> Frame:
        """One row a reading: recipe, amounts by dye (% owf), swatch, colour, bands, conditions."""
        out = super().to_frame()
        out.attrs = {"source": self.source, "warnings": list(self.warnings), "demo": self.demo}
        return out

    def _rows(self) -> Iterable[Row]:
        return (reading.row(self.light) for reading in self.readings)

    def __len__(self) -> int:
        return len(self.swatches)

    def __iter__(self) -> Iterator[Swatch]:
        return iter(self.swatches)

    def __add__(self, other: SwatchSet) -> SwatchSet:
        return SwatchSet(
            self.readings + other.readings,
            tuple(dict.fromkeys(self.warnings + other.warnings)),
            " + ".join(dict.fromkeys(filter(None, (self.source, other.source)))),
            self.demo or other.demo,
        )

    @cached_property
    def swatches(self) -> tuple[Swatch, ...]:
        """The pieces that are named and read, in order of first appearance."""
        groups: dict[tuple[Recipe, str], list[Reading]] = {}
        for reading in self.readings:
            if reading.recipe is not None and reading.reflectance is not None:
                groups.setdefault((reading.recipe, reading.swatch), []).append(reading)
        return tuple(Swatch.of(recipe, tuple(group)) for (recipe, _), group in groups.items())

    @property
    def undyed(self) -> tuple[Swatch, ...]:
        """Cloth through the whole process with no dye."""
        return tuple(s for s in self.swatches if not s.recipe)

    @property
    def mixtures(self) -> tuple[Swatch, ...]:
        """Swatches of two dyes or more."""
        return tuple(s for s in self.swatches if len(s.recipe) > 1)

    def ladder(self, dye: str) -> tuple[Swatch, ...]:
        """Swatches of one dye alone, palest first."""
        single = [s for s in self.swatches if len(s.recipe) == 1 and dye in s.recipe]
        return tuple(sorted(single, key=lambda s: s.recipe[dye]))

    @property
    def dyes(self) -> tuple[str, ...]:
        """Every dye named in a recipe, in order of first appearance."""
        seen: dict[str, None] = {}
        for reading in self.readings:
            seen.update(dict.fromkeys(reading.recipe or ()))
        return tuple(seen)

    @property
    def unread(self) -> tuple[Reading, ...]:
        """Rows whose reading is still blank."""
        return tuple(r for r in self.readings if r.reflectance is None)

    @property
    def unnamed(self) -> tuple[Reading, ...]:
        """Rows with a reading but no recipe: not yet fit to fit."""
        return tuple(r for r in self.readings if r.recipe is None)

    @property
    def rough(self) -> bool:
        """Whether any spectrum was made up from three numbers."""
        return any(r.rough for r in self.readings)

    @cached_property
    def light(self) -> Light:
        """The light that bare CIELAB values are taken to be in: that of the readings, if one."""
        read = [r for r in self.readings if r.reflectance is not None]
        hexes = read and all(r.kind == "hex" for r in read)
        lights = {r.light for r in read if r.light is not None and (hexes or r.kind == "Lab")}
        return lights.pop() if len(lights) == 1 else D65_10

    def conditions(self) -> dict[str, str]:
        """The one set of conditions of these swatches.

        Raises `FitError` where two differ, naming both. Conditions nobody recorded are absent.
        How strong the stock was and what it was spooned with are among them where all rows agree.
        """
        found: dict[str, str] = {}
        for key in METHOD:
            told: dict[str, str] = {}
            for reading in self.readings:
                told.setdefault(reading.conditions.get(key, ""), reading.place)
            told.pop("", None)
            for value, place in told.items():
                first = found.setdefault(key, value)
                if not same(key, first, value):
                    there = {"first": first, "there": told[first], "value": value, "place": place}
                    raise FitError(said("recipes.two_methods", key=key, **there))
        for key in ("stock_pct", "spoons", "cloth_g"):
            values = {r.conditions.get(key, "") for r in self.readings}
            found |= {key: min(values)} if len(values) == 1 and all(values) else {}
        return found

    @cached_property
    def repeats(self) -> Repeats:
        """Reading scatter and dye-again scatter, under D65/10°.

        `reading` is of single readings about their piece, odd ones left out. `dye_again` is of
        pieces about their recipe, undyed cloth left out (no dye was weighed); each piece is the
        mean of its readings, so what is left of the reading scatter is in it.
        """
        several = [s for s in self.swatches if len(s.readings) > 1]
        steady = [[r for i, r in enumerate(s.readings) if i not in s.odd] for s in several]
        again: dict[Recipe, list[Swatch]] = {}
        for swatch in (swatch for swatch in self.swatches if swatch.recipe):
            again.setdefault(swatch.recipe, []).append(swatch)
        alike = [group for group in again.values() if len(group) > 1]
        pieces = [([s.label], _labs(kept)) for s, kept in zip(several, steady, strict=True)]
        twins = [([s.label for s in group], _labs(group)) for group in alike]
        return Repeats(
            scatter("Readings of one swatch", pieces, said("readings.again"), ODD_DISTANCE),
            scatter("Swatches of one recipe", twins, said("readings.dye_again"), APART_DISTANCE),
        )

    @property
    def apart(self) -> tuple[str, ...]:
        """Repeats that do not agree, a sentence each. All of them are used as they stand."""
        odd = tuple(text for swatch in self.swatches for text in swatch.warnings)
        return odd + self.repeats.reading.apart + self.repeats.dye_again.apart

    def set_aside(self) -> tuple[SwatchSet, SwatchSet]:
        """These swatches less those called `CHECK`, and those: kept out of the fit to check it."""
        held = tuple(r for r in self.readings if r.swatch.casefold() == CHECK)
        kept = tuple(r for r in self.readings if r.swatch.casefold() != CHECK)
        return replace(self, readings=kept), replace(self, readings=held, warnings=())

    def without(self, labels: Iterable[str] | str) -> SwatchSet:
        """These swatches less the ones named, by label or recipe, as the dyer asks.

        Raises `FitError` for a label that fits no swatch.
        """
        left_out, known, pieces = set(dye_names(labels)), set[str](), set[tuple[Recipe, str]]()
        for swatch in self.swatches:
            called = {swatch.label.lower(), str(swatch.recipe), swatch.recipe.exact}
            known |= called
            pieces |= {(swatch.recipe, swatch.readings[0].swatch)} if called & left_out else set()
        if unknown := left_out - known:
            raise FitError(said("readings.unknown", name=min(unknown)))
        kept = tuple(r for r in self.readings if (r.recipe, r.swatch) not in pieces)
        asked = [f"left out as asked: {', '.join(sorted(left_out))}."] if left_out else []
        return replace(self, readings=kept, warnings=(*self.warnings, *asked))

    def __str__(self) -> str:
        return self.text(self.warnings)

    def text(self, about: Iterable[str]) -> str:
        """How many swatches of what, sentences about them, and how far repeats lie apart."""
        held = (self.readings, self.swatches, self.undyed, self.dyes, self.mixtures)
        counts = said("readings.counts", *map(len, held))
        lines = [DEMO_WARNING] if self.demo else []
        lines += [f"{self.source}: {counts}" if self.source else counts, *about]
        return "\n".join([*lines, *map(str, self.repeats if self.swatches else ()), *self.apart])


def _labs(each: Iterable[Reading | Swatch]) -> Array:
    return np.array([one.colour() for one in each])


# Frames -----------------------------------------------------------------------------------------


def readings_of(
    table: Frame, light: Light | str | None, scale: Unit, conditions: Mapping[str, str]
) -> tuple[Reading, ...]:
    """The readings of a frame, as `SwatchSet.from_frame` says; recipes may be missing."""
    heads = labels(table)
    heads = [_SHORT.get(h, h) for h in heads] if _SHORT.keys() <= {*heads} else heads
    table = table.set_axis(heads, axis=1)
    bands = [head for head in heads if band(head)]
    dyes = [h for h in heads if h not in _KNOWN and h not in bands and h[:2] != "# "]
    kinds = {dye: table[[dye]].dtypes.iloc[0].kind for dye in dyes}
    strange = [dye for dye, kind in kinds.items() if kind not in "iuf" or not _may_be_dye(dye)]
    if strange or len({*heads}) < len(heads):
        wrong = f"what is {', '.join(strange)}?" if strange else "two columns are called alike."
        raise InputError(said("readings.columns", wrong=wrong))
    wavelengths = headed_bands(table[bands])
    faults, out = [], []
    for at, row in enumerate(table.astype(object).where(table.notna(), "").to_dict("records")):
        cells = {str(head): x for head, x in row.items() if x != ""}
        try:
            spectrum, about = _whole(cells, bands), _about(cells, conditions)
            recipe = _recipe(cells, {dye: cells[dye] for dye in dyes if dye in cells})
            lit = cells.get("light", light)
            if spectrum:
                if about.get("kind") in ("Lab", "hex") and lit is not None:
                    about |= {"lab": numbers(_whole(cells, LAB)), "light": lit}
                how = {"scale": scale, **about}
                out.append(Reading.from_spectrum(spectrum, wavelengths, recipe, **how))
            elif colour := _whole(cells, LAB):
                if lit is None:
                    raise DyemixError(said("readings.no_light"))
                out.append(Reading.from_lab(colour, lit, recipe, **about))
            elif "hex" in cells:
                out.append(Reading.from_hex(cells["hex"], recipe, **about))
            else:
                out.append(Reading(recipe, None, **{**about, "kind": "blank"}))
        except DyemixError as error:
            faults.append(Fault(str(error), row=at))
    if faults:
        raise InputError(faults)
    return tuple(out)


def _may_be_dye(heading: str) -> bool:
    return is_name(heading.removesuffix(" % owf")) and heading.lower() not in _COUNTING


def _whole(cells: Mapping[str, Any], heads: Sequence[str]) -> list[Any]:
    """What stands under these headings, all of it or nothing."""
    found = [cells[head] for head in heads if head in cells]
    refuse(0 < len(found) < len(heads), "readings.part")
    return found


def _about(cells: Mapping[str, Any], conditions: Mapping[str, str]) -> dict[str, Any]:
    """Attributes of the reading that stand in words, and its conditions."""
    told = {name: read(str(cells[name])) for name, (_, read) in CELLS.items() if name in cells}
    own = {h.removeprefix("# "): str(cells[h]) for h in cells if h in CONDITIONS or h[:2] == "# "}
    return told | {"conditions": {**conditions, **own}}


def _recipe(cells: Mapping[str, Any], own: Mapping[str, float]) -> Recipe | None:
    """What the row was dyed with; its text and its columns must agree."""
    own = {dye_name(head.removesuffix(" % owf")): amount for head, amount in own.items()}
    if "recipe" not in cells:
        return Recipe(own) if own else None
    recipe = Recipe.parse(cells["recipe"])
    for dye, amount in own.items():
        if not np.isclose(amount, recipe.get(dye, 0.0), rtol=1e-6):
            raise DyemixError(said("readings.which", dye=dye, amount=amount, recipe=recipe))
    return Recipe(recipe, cells["as written"]) if "as written" in cells else recipe
