"""Readings of dyed cloth, joined into swatches and sets of swatches.

A reading is one measurement; a swatch is one piece of dyed cloth, the mean of its readings; a
swatch set is what a fit takes. Every importer gives a `SwatchSet` and nothing else does.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any, Self

import numpy as np

from dyemix.arrays import LAB, Array, labels, numbers
from dyemix.colour.colorimetry import D65_10, Light
from dyemix.colour.spectra import Unit, band, headed_bands
from dyemix.dataset.conditions import CONDITIONS, METHOD, same
from dyemix.dataset.readings import CELLS, Reading, Swatch
from dyemix.dataset.recipe import Recipe, dye_name, dye_names, is_name, meant
from dyemix.dataset.repeats import APART_DISTANCE, ODD_DISTANCE, Repeats, scatter
from dyemix.dataset.result import DEMO_WARNING, Frame, Row, Several
from dyemix.errors import DyemixError, Fault, FitError, InputError, refuse, said

__all__ = ["DEMO_WARNING", "Reading", "Swatch", "SwatchSet"]

#: A swatch called this is kept out of the fit, to check it by.
CHECK = "check"

#: ΔE2000 that a mixture predicted from one-swatch-at-a-time smoothest spectra is off by, beyond
#: what spectra would give (computed on invented dyes; D65).
ROUGH_ERROR = 1.5

_KNOWN = {"recipe", "as written", *LAB, "hex", "light", *CELLS, *CONDITIONS}
#: What a frame holds beside its rows.
ABOUT = ("source", "warnings", "demo")
_SHORT = {"L": "L*", "a": "a*", "b": "b*"}
#: What counts rows is no dye, though it holds numbers.
_COUNTING = {"id", "index", "no", "number", "row", "sample", "batch"}


class SwatchSet(Several[Swatch]):
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

    HELD = "swatches"
    readings: tuple[Reading, ...]
    warnings: tuple[str, ...] = ()
    source: str = ""
    demo: bool = False

    @classmethod
    def from_frame(
        cls, table: Frame, *, light: Light | str | None = None, scale: Unit | str = Unit.FRACTION,
        conditions: Mapping[str, str] | None = None,
    ) -> Self:  # fmt: skip
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
        told = {key: table.attrs[key] for key in ABOUT if key in table.attrs}
        found = cls(
            readings_of(table, light and Light.parse(light), Unit(scale), conditions), **told
        )
        named = "recipe" in labels(table) or any(r.recipe is not None for r in found.readings)
        refuse(not named, "readings.no_recipe", error=InputError)
        return found

    def to_frame(self) -> Frame:
        """One row a reading: recipe, amounts by dye (% owf), swatch, colour, bands, conditions."""
        out = super().to_frame()
        out.attrs = {key: getattr(self, key) for key in ABOUT}
        return out

    def _rows(self) -> Iterable[Row]:
        return (reading.row(self.light) for reading in self.readings)

    def __add__(self, other: Self) -> Self:
        return type(self)(
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
        return tuple(dict.fromkeys(dye for r in self.readings for dye in r.recipe or ()))

    @property
    def unnamed(self) -> tuple[Reading, ...]:
        """Rows with a reading but no recipe: not yet fit to fit."""
        return tuple(r for r in self.readings if r.recipe is None)

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
        How strong the stock was and what it was spooned with are among them where all rows that
        say so agree.
        """
        first: dict[str, Reading] = {}
        for key in METHOD:
            for reading in (r for r in self.readings if r.conditions.get(key)):
                before, value = first.setdefault(key, reading), reading.conditions[key]
                told = before.conditions[key]
                if told != value and not same(key, told, value):
                    both = {"first": told, "there": before.place, "value": value}
                    both |= {"key": key, "place": reading.place}
                    raise FitError(said("recipes.two_methods", **both))
        found = {key: reading.conditions[key] for key, reading in first.items()}
        for key in ("stock_pct", "spoons", "cloth_g"):
            values = {r.conditions.get(key, "").lower() for r in self.readings} - {""}
            found |= {key: min(values)} if len(values) == 1 else {}
        return found

    @cached_property
    def repeats(self) -> Repeats:
        """Reading scatter and dye-again scatter, under D65/10°.

        `reading` is of single readings about their piece, odd ones left out. `dye_again` is of
        pieces about their recipe, undyed cloth left out (no dye was weighed); each piece is the
        mean of its readings, so what is left of the reading scatter is in it.
        """
        pieces = [
            ([s.label], _labs(r for i, r in enumerate(s.readings) if i not in s.odd))
            for s in self.swatches if len(s.readings) > 1
        ]  # fmt: skip
        again: dict[Recipe, list[Swatch]] = {}
        for swatch in (swatch for swatch in self.swatches if swatch.recipe):
            again.setdefault(swatch.recipe, []).append(swatch)
        alike = [group for group in again.values() if len(group) > 1]
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

    def set_aside(self) -> tuple[Self, Self]:
        """These swatches less those called `CHECK`, and those: kept out of the fit to check it."""
        held = tuple(r for r in self.readings if r.swatch.casefold() == CHECK)
        kept = tuple(r for r in self.readings if r.swatch.casefold() != CHECK)
        return replace(self, readings=kept), replace(self, readings=held, warnings=())

    def without(self, labels: Iterable[str] | str) -> Self:
        """These swatches less the ones named, as the dyer asks: by label, by recipe, or as the
        table calls them.

        Raises `FitError` for what fits no swatch, or is what those of several recipes are called.
        """
        asked, pieces = dye_names(labels), set[tuple[Recipe, str]]()
        for name in asked:
            each = ((s.recipe, s.readings[0].swatch, s.label) for s in self.swatches)
            found = meant(name, (((r, own), r, (own, label, r.exact)) for r, own, label in each))
            refuse(not found, "readings.unknown", name=name, error=FitError)
            recipes = dict.fromkeys(recipe.exact for recipe, _ in found)
            several = {"name": name, "recipes": ", ".join(recipes)}
            refuse(len(recipes) > 1, "readings.called_alike", **several, error=FitError)
            pieces.update(found)
        kept = tuple(r for r in self.readings if (r.recipe, r.swatch) not in pieces)
        told = [f"left out as asked: {', '.join(sorted(asked))}."] if asked else []
        return replace(self, readings=kept, warnings=(*self.warnings, *told))

    def _lines(self, about: Iterable[str] | None = None) -> Iterable[str]:
        """How many swatches of what, sentences about them, and how far repeats lie apart."""
        held = (self.readings, self.swatches, self.undyed, self.dyes, self.mixtures)
        counts = said("readings.counts", *map(len, held))
        yield f"{self.source}: {counts}" if self.source else counts
        yield from self.warnings if about is None else about
        yield from map(str, self.repeats if self.swatches else ())
        yield from self.apart


def _labs(each: Iterable[Reading | Swatch]) -> Array:
    return np.array([one.colour() for one in each])


# Frames -----------------------------------------------------------------------------------------


def readings_of(
    table: Frame, light: Light | str | None, scale: Unit, conditions: Mapping[str, str] | None
) -> tuple[Reading, ...]:
    """The readings of a frame, as `SwatchSet.from_frame` says; recipes may be missing."""
    heads = labels(table)
    heads = [_SHORT.get(h, h) for h in heads] if _SHORT.keys() <= {*heads} else heads
    table = table.set_axis(heads, axis=1)
    bands, others = [h for h in heads if band(h)], [h for h in heads if h[:2] == "# "]
    apart, told = {*_KNOWN, *bands, *others}, {*CONDITIONS, *others}
    dyes = {h: dye_name(h.removesuffix(" % owf")) for h in heads if h not in apart}
    numeric = {h for h, kind in zip(heads, table.dtypes, strict=True) if kind.kind in "iuf"}
    may_be = {h for h, dye in dyes.items() if is_name(dye) and dye not in _COUNTING} & numeric
    strange = ", ".join(head for head in dyes if head not in may_be)
    twice = len({dyes.get(head, head) for head in heads}) < len(heads)
    what = f"what is {strange}?" if strange else "two columns are called alike."
    refuse(strange or twice, "readings.columns", what, error=InputError)
    wavelengths, faults, out = headed_bands(table[bands]), list[Fault](), list[Reading]()
    for at, row in enumerate(table.astype(object).where(table.notna(), "").to_dict("records")):
        cells = {"light": light} | {str(head): x for head, x in row.items() if x != ""}
        held = ((name, read) for name, (_, read) in CELLS.items() if name in cells)
        own = {h.removeprefix("# "): str(cells[h]) for h in cells if h in told}
        try:
            about: dict[str, Any] = {name: read(str(cells[name])) for name, read in held}
            about |= {"conditions": {**(conditions or {}), **own}, "recipe": _recipe(cells, dyes)}
            lit, spectrum = cells["light"], _whole(cells, bands)
            rough = lit is not None and about.get("kind") in ("Lab", "hex")
            lab = _whole(cells, LAB) if rough or not spectrum else []
            refuse(lab and lit is None, "readings.no_light")
            if spectrum:
                about |= {"lab": numbers(lab), "light": lit} if lab else {}
                out.append(Reading.from_spectrum(spectrum, wavelengths, scale=scale, **about))
            elif lab:
                out.append(Reading.from_lab(lab, lit, **about))
            elif "hex" in cells:
                out.append(Reading.from_hex(cells["hex"], **about))
            else:
                out.append(Reading(reflectance=None, **about | {"kind": "blank"}))
        except DyemixError as error:
            faults.append(Fault(str(error), row=at))
    if faults:
        raise InputError(faults)
    return tuple(out)


def _whole(cells: Mapping[str, Any], heads: Sequence[str]) -> list[Any]:
    """What stands under these headings, all of it or nothing."""
    found = [cells[head] for head in heads if head in cells]
    refuse(0 < len(found) < len(heads), "readings.part")
    return found


def _recipe(cells: Mapping[str, Any], dyes: Mapping[str, str]) -> Recipe | None:
    """What the row was dyed with; its text and its columns must agree."""
    own = {dye: cells[head] for head, dye in dyes.items() if head in cells}
    if "recipe" not in cells:
        return Recipe(own) if own else None
    recipe = Recipe.parse(cells["recipe"])
    for dye, amount in own.items():
        agree = np.isclose(amount, recipe.get(dye, 0.0), rtol=1e-6)
        refuse(not agree, "readings.which", dye=dye, amount=amount, recipe=recipe)
    return Recipe(recipe, cells.get("as written", recipe.as_written))
