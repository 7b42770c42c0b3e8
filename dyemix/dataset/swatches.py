"""Readings of dyed cloth, joined into swatches and sets of swatches.

A reading is one measurement; a swatch is one piece of dyed cloth, the mean of its readings; a
swatch set is what a fit takes. Every importer gives a `SwatchSet` and nothing else does.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_2, D65_10, WAVELENGTHS, Light, lab, screen_colours
from dyemix.dataset.clipped import Clipped
from dyemix.dataset.conditions import METHOD as METHOD
from dyemix.dataset.conditions import same
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.repeats import (
    APART_DISTANCE,
    ODD_DISTANCE,
    Repeats,
    odd_readings,
    reading_weights,
    scatter,
)
from dyemix.dataset.serialise import DEMO_WARNING as DEMO_WARNING
from dyemix.errors import FitError

if TYPE_CHECKING:
    import pandas as pd

#: A swatch called this is kept out of the fit, to check it by.
CHECK = "check"

#: ΔE2000 that a mixture predicted from one-swatch-at-a-time smoothest spectra is off by, beyond
#: what spectra would give (computed on invented dyes; D65).
ROUGH_ERROR = 1.5


@dataclass(frozen=True, eq=False)
class Reading:
    """One measurement of one piece of cloth.

    Attributes
    ----------
    recipe : what it was dyed with; None where the sample has not been named yet.
    reflectance : ``(B,)`` fraction; None where the swatch has not been read yet.
    swatch : which piece of cloth; readings with equal recipe and swatch are of one piece.
    kind : ``"spectrum"``, ``"Lab"``, ``"hex"``, or ``"blank"`` where nothing was read yet.
    lab, light : the CIELAB as given ``(3,)`` and its light, where `kind` is Lab or hex. The
        reflectance is then the smoothest one with this colour: rough.
    covariance : ``(3, 3)`` of that CIELAB, where the reader knows how good it is (a photograph).
    clipped : where it is a bound, not a value: a channel stood at the end of its range.
    conditions : how it was dyed and read, as written.
    warnings : what is doubtful about it, in words. Such a reading is still used.
    place : file and row, for messages.
    """

    recipe: Recipe | None
    reflectance: Array | None
    swatch: str = ""
    kind: str = "spectrum"
    lab: Array | None = None
    light: Light | None = None
    covariance: Array | None = None
    conditions: Mapping[str, str] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    place: str = ""
    name: str = ""
    clipped: Clipped | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "conditions", MappingProxyType(dict(self.conditions)))
        for values in (self.reflectance, self.lab, self.covariance):
            if values is not None:
                values.setflags(write=False)

    def __reduce__(self) -> tuple[Any, ...]:
        # A view of a mapping does not travel to another process; the mapping in it does.
        values = [getattr(self, f.name) for f in fields(self)]
        return type(self), tuple(dict(v) if isinstance(v, MappingProxyType) else v for v in values)

    @property
    def rough(self) -> bool:
        """Whether the spectrum was made up from three numbers."""
        return self.kind in ("Lab", "hex")

    def colour(self, light: Light = D65_10) -> Array:
        """CIELAB ``(3,)`` under `light`: as given where it was given under that light."""
        if self.lab is not None and self.light == light:
            return self.lab
        if self.reflectance is None:
            raise FitError(f"{self.place or self.recipe}: this swatch has not been read yet.")
        return lab(self.reflectance, light)


@dataclass(frozen=True, eq=False)
class Swatch:
    """One piece of dyed cloth: the mean of its readings.

    `reflectance` is ``(B,)``, averaged in reflectance (linear light). Of three readings or more,
    one that lies far from the others counts little (`dyemix.dataset.repeats`); `odd` says which.
    """

    recipe: Recipe
    reflectance: Array
    readings: tuple[Reading, ...]
    odd: tuple[int, ...] = ()

    @classmethod
    def of(cls, recipe: Recipe, readings: tuple[Reading, ...]) -> Swatch:
        """The piece that these readings, each with a reflectance, are of."""
        spectra = np.array([reading.reflectance for reading in readings])
        labs = lab(spectra, D65_10)
        odd = tuple(int(i) for i in np.flatnonzero(odd_readings(labs)))
        return cls(recipe, reading_weights(labs) @ spectra, readings, odd)

    @property
    def label(self) -> str:
        """Recipe, and which piece where there are several."""
        piece = self.readings[0].swatch
        return f"{self.recipe} ({piece})" if piece else str(self.recipe)

    @property
    def rough(self) -> bool:
        return any(reading.rough for reading in self.readings)

    def colour(self, light: Light = D65_10) -> Array:
        """CIELAB ``(3,)`` under `light`; the mean of the readings', an odd one counting little."""
        labs = np.array([reading.colour(light) for reading in self.readings])
        spectra = np.array([reading.reflectance for reading in self.readings])
        return np.asarray(reading_weights(lab(spectra, D65_10)) @ labs)

    @property
    def steady(self) -> tuple[Reading, ...]:
        """The readings that are not odd."""
        return tuple(r for i, r in enumerate(self.readings) if i not in self.odd)

    @property
    def warnings(self) -> tuple[str, ...]:
        """A sentence for each reading that lies far from the others."""
        return tuple(
            f"{self.label}: the reading {self.readings[i].place or f'no. {i + 1}'} lies far from "
            f"the other {len(self.readings) - 1}: kept, at a twentieth of its weight."
            for i in self.odd
        )


@dataclass(frozen=True, eq=False)
class SwatchSet:
    """Swatches read from one or more files, in the order of the files.

    Attributes
    ----------
    readings : every reading, doubtful ones included.
    notes : what was understood and assumed on the way in, one sentence each.
    source : the file's name, for messages.
    demo : whether these are invented dyes.
    """

    readings: tuple[Reading, ...]
    notes: tuple[str, ...] = ()
    source: str = ""
    demo: bool = False

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
        lights = {r.light for r in read if r.kind == "Lab" and r.light is not None}
        if read and all(r.kind == "hex" for r in read):
            lights = {D65_2}
        return lights.pop() if len(lights) == 1 else D65_10

    def conditions(self) -> dict[str, str]:
        """The one set of conditions of these swatches.

        Raises `FitError` where two differ, naming both. Conditions nobody recorded are absent.
        """
        found: dict[str, tuple[str, str]] = {}
        for reading in self.readings:
            for key in METHOD:
                value = reading.conditions.get(key, "")
                if not value:
                    continue
                first, place = found.setdefault(key, (value, reading.place))
                if not same(key, first, value):
                    raise FitError(
                        f"two sets of conditions in one fit: {key} is {first!r} ({place}) and "
                        f"{value!r} ({reading.place}). Swatches made one way do not predict "
                        "another: fit them apart."
                    )
        return {key: value for key, (value, _) in found.items()}

    @cached_property
    def _repeats(self) -> Repeats[Reading, Swatch]:
        pieces = [s for s in self.swatches if len(s.steady) > 1]
        again: dict[Recipe, list[Swatch]] = {}
        for swatch in self.swatches:
            if swatch.recipe:
                again.setdefault(swatch.recipe, []).append(swatch)
        return Repeats(
            scatter(
                "Readings of one swatch",
                [
                    (s.recipe, s.steady, [s.label], np.array([r.colour() for r in s.steady]))
                    for s in pieces
                ],
                "neither can be called the odd one: read the swatch again.",
                ODD_DISTANCE,
            ),
            scatter(
                "Swatches of one recipe",
                [
                    (recipe, group, [s.label for s in group], np.array([s.colour() for s in group]))
                    for recipe, group in again.items()
                ],
                "mislabelled or badly weighed? Neither can be called the odd one: dye it again.",
                APART_DISTANCE,
            ),
        )

    def repeats(self) -> Repeats[Reading, Swatch]:
        """Reading scatter and dye-again scatter, under D65/10°.

        `reading` is of single readings about their piece, odd ones left out. `dye_again` is of
        pieces about their recipe, undyed cloth left out (no dye was weighed); each piece is the
        mean of its readings, so what is left of the reading scatter is in it.
        """
        return self._repeats

    @property
    def warnings(self) -> tuple[str, ...]:
        """Repeats that do not agree, a sentence each. All of them are used as they stand."""
        odd = tuple(text for swatch in self.swatches for text in swatch.warnings)
        return odd + self._repeats.reading.apart + self._repeats.dye_again.apart

    def set_aside(self) -> tuple[SwatchSet, SwatchSet]:
        """These swatches less those called `CHECK`, and those: kept out of the fit to check it."""
        held = tuple(r for r in self.readings if r.swatch.casefold() == CHECK)
        if not held:
            return self, replace(self, readings=(), notes=())
        kept = tuple(r for r in self.readings if r.swatch.casefold() != CHECK)
        return replace(self, readings=kept), replace(self, readings=held, notes=())

    def without(self, labels: Iterable[str]) -> SwatchSet:
        """These swatches less the ones named, by label or recipe, as the dyer asks.

        Raises `FitError` for a label that fits no swatch.
        """
        left_out = {" ".join(label.split()).lower() for label in labels}
        gone: set[int] = set()
        for label in left_out:
            hits = [s for s in self.swatches if label in (s.label.lower(), str(s.recipe).lower())]
            if not hits:
                raise FitError(f"no swatch is called {label!r}: nothing was left out.")
            gone.update(id(reading) for swatch in hits for reading in swatch.readings)
        kept = tuple(r for r in self.readings if id(r) not in gone)
        note = f"left out as asked: {', '.join(sorted(left_out))}."
        return SwatchSet(
            kept, (*self.notes, note) if left_out else self.notes, self.source, self.demo
        )

    def to_frame(self) -> pd.DataFrame:
        """One row a reading: recipe, swatch, kind, CIELAB, hex, flags, place, bands in nm."""
        import pandas as pd

        rows = []
        for r in self.readings:
            row: dict[str, object] = {
                "recipe": "" if r.recipe is None else str(r.recipe),
                "swatch": r.swatch,
                "kind": r.kind,
                "flags": "; ".join(r.warnings),
                "place": r.place,
            }
            if r.reflectance is not None:
                row |= dict(zip(("L*", "a*", "b*"), r.colour(self.light), strict=True))
                row["light"] = str(self.light)
                row["hex"] = screen_colours(lab(r.reflectance, Light("D65", 2)))[0].hex
                row |= {f"{w:.0f} nm": x for w, x in zip(WAVELENGTHS, r.reflectance, strict=True)}
            rows.append(row)
        return pd.DataFrame(rows)

    def __str__(self) -> str:
        counts = (
            f"{len(self.readings)} readings of {len(self.swatches)} swatches: "
            f"{len(self.undyed)} undyed, {len(self.dyes)} dyes, {len(self.mixtures)} mixtures"
        )
        lines = [f"{self.source}: {counts}" if self.source else counts, *self.notes]
        if self.swatches:
            lines += [str(self.repeats()), *self.warnings]
        if self.demo:
            lines.insert(0, DEMO_WARNING)
        return "\n".join(lines)
