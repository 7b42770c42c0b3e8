"""One measurement of dyed cloth, and one piece of cloth: the mean of its readings.

A channel that stood at the end of its range makes a reading a bound with an error, not a value.
"""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import field
from types import MappingProxyType
from typing import Annotated, Any, ClassVar, Self, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from dyemix.arrays import LAB, Array, headed, numbers
from dyemix.colour import colorimetry
from dyemix.colour.colorimetry import D65_2, D65_10, WAVELENGTHS, Light, hex_to_lab, lab
from dyemix.colour.spectra import Unit, fractions
from dyemix.dataset.conditions import CONDITIONS, PICTURE
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.repeats import odd_readings, shared
from dyemix.dataset.result import Result, Row, Value, colour_row, colour_text
from dyemix.errors import DyemixError, Fault, FitError, InputError, TargetError, refuse, said

#: Added to the variance along a direction in which a colour may lie anywhere, CIELAB².
_ANYWHERE = 1e4
_STEP = 8


def as_text(matrix: Array) -> str:
    """A matrix ``(R, 3)`` in words, every digit kept."""
    return "; ".join(" ".join(f"{float(x)!r}" for x in row) for row in matrix)


def from_text(text: str) -> Array:
    """The matrix ``(R, 3)`` that `as_text` wrote. Raises `DyemixError` for other words."""
    with suppress(ValueError):
        rows = np.array([[float(x) for x in part.split()] for part in text.split(";")])
        if rows.shape[1:] == (3,) and np.isfinite(rows).all():
            return rows
    raise DyemixError(said("readings.no_matrix", text=text[:40]))


def check_colour(lab: Array, given: str, error: type[DyemixError]) -> None:
    """Raises `error` for what is no CIELAB ``(3,)``, as it was `given`; `TargetError` for one that
    no cloth can have in any light.
    """
    sound = lab.shape == (3,) and np.isfinite(lab).all()
    refuse(not sound, "readings.no_colour", given=given, error=error)
    far = not (0.0 <= lab[0] <= 100.01 and max(abs(lab[1]), abs(lab[2])) <= 200.0)
    refuse(far, "readings.no_cloth", *lab.round(2), error=TargetError)


class Clipped(Value):
    """Where the true colour of a reading may lie beyond what was read.

    Attributes
    ----------
    beyond : ``(C, 3)`` a direction in CIELAB for each channel that stood at an end of its range:
        the colour lies as read, with the reading's own error, or any way farther along it.
    """

    beyond: Annotated[Array, "C", 3]

    @classmethod
    def of_hex(cls, code: str) -> Self | None:
        """The channels of ``#rrggbb`` at 00 or ff, which a picture clips; None where there is none.

        White (all three at ff) is left as it was read: it is paper or cloth, and lies within sRGB.
        """
        digits = code.strip().lstrip("#")
        digits = digits if len(digits) == 6 else "".join(2 * d for d in digits)
        levels = bytes.fromhex(digits)
        at_end = [i for i, level in enumerate(levels) if level in (0, 255)]
        if not at_end or levels == b"\xff\xff\xff":
            return None
        inner = [bytes([*levels[:i], abs(levels[i] - _STEP), *levels[i + 1 :]]) for i in at_end]
        rows = np.array([hex_to_lab(code) - hex_to_lab(f"#{each.hex()}") for each in inner])
        return cls(rows / np.linalg.norm(rows, axis=1, keepdims=True))

    @classmethod
    def parse(cls, text: str) -> Self | None:
        """Read back what `str` writes; None for no words. Raises `DyemixError` for other words."""
        return cls(from_text(text)) if text.strip() else None

    def __str__(self) -> str:
        return as_text(self.beyond)

    def open(self, apart: Array) -> Array:
        """Variance ``(3, 3)`` to add to a reading from which a colour lies `apart` ``(3,)``.

        None where the colour violates the bound; all along those directions in which it lies
        beyond, since there the reading says nothing.
        """
        along, *_ = np.linalg.lstsq(self.beyond.T, apart, rcond=None)
        kept = self.beyond[along > 0.0]
        return np.asarray(_ANYWHERE * kept.T @ kept)


def check_covariance(values: Array, given: str, error: type[DyemixError] = DyemixError) -> None:
    """Raises `error` for what is no covariance ``(3, 3)`` of CIELAB, as it was `given`."""
    sound = values.shape == (3, 3) and np.abs(values).max() < 1e6
    spread = np.linalg.eigvalsh(values) if sound else np.array([-1.0])
    wrong = spread[0] < -1e-6 * max(spread[-1], 1e-6)
    refuse(wrong, "readings.no_covariance", text=given[:40], error=error)


def _covariance(text: str) -> Array:
    """The covariance ``(3, 3)`` that `as_text` wrote. Raises `DyemixError` for what is none."""
    values = from_text(text)
    check_covariance(values, text)
    return values


KINDS = ("spectrum", "Lab", "hex", "blank")
#: Attributes that stand in a table in words: how they are written, and read again.
CELLS: dict[str, tuple[Callable[[Any], str], Callable[[str], Any]]] = {
    **dict.fromkeys(("swatch", "kind", "name", "place"), (str, str)),
    "warnings": (" | ".join, lambda text: tuple(text.split(" | "))),
    "covariance": (as_text, _covariance),
    "clipped": (str, Clipped.parse),
}

AnyRecipe: TypeAlias = Recipe | Mapping[str, float] | str | None


class Reading(Result):
    """One measurement of one piece of cloth.

    Made by `from_spectrum`, `from_lab` or `from_hex`; values are checked and copied.

    Attributes
    ----------
    recipe : what it was dyed with; None where the sample has not been named yet.
    reflectance : ``(B,)`` fraction at `wavelengths` in nm; None where it has not been read yet.
    swatch : which piece of cloth; readings with equal recipe and swatch are of one piece.
    kind : ``"spectrum"``, ``"Lab"``, ``"hex"``, or ``"blank"`` where nothing was read yet.
    lab, light : the CIELAB as given ``(3,)`` and its light, where `kind` is Lab or hex. The
        reflectance is then the smoothest one with this colour: rough.
    covariance : ``(3, 3)`` of that CIELAB, where the reader knows how good it is (a photograph).
    clipped : where it is a bound, not a value: a channel stood at the end of its range.
    conditions : how it was dyed and read, as written.
    warnings : what is doubtful about it, in words. Such a reading is still used.
    place : file and row, for messages.

    Raises `InputError` for what is no reflectance or no colour, `RecipeError` for a recipe that
    cannot be read.

    >>> print(Reading.from_lab([56.2, -8.7, 12.4], "D65/10", "sage 1"))
    sage 1.00: L* 56.2, a* -8.7, b* 12.4 (D65/10°), Lab
    """

    wavelengths: ClassVar[Array] = WAVELENGTHS
    READ = MappingProxyType(
        {"recipe": Recipe.parse, "light": Light.parse, "reflectance": fractions}
    )
    recipe: Recipe | None
    reflectance: Annotated[Array, "B"] | None
    swatch: str = ""
    kind: str = "spectrum"
    lab: Annotated[Array, 3] | None = None
    light: Light | None = None
    covariance: Annotated[Array, 3, 3] | None = None
    conditions: Mapping[str, str] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    place: str = ""
    name: str = ""
    clipped: Clipped | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        known = ", ".join(KINDS)
        refuse(self.kind not in KINDS, "readings.no_kind", self.kind, known, error=InputError)
        colour = self.lab is not None and self.lab.shape == (3,) and self.light is not None
        if self.rough and self.reflectance is not None and not colour:
            raise InputError(Fault(said("readings.no_lit_colour"), self.place))

    @classmethod
    def from_spectrum(
        cls, values: ArrayLike, wavelengths: ArrayLike | None = None, recipe: AnyRecipe = None, *,
        scale: Unit | str = Unit.FRACTION, **about: Any,
    ) -> Self:  # fmt: skip
        """A reading of reflectance ``(B',)`` at `wavelengths` ``(B',)`` in nm.

        They cover 400 to 700 nm in equal steps of 20 nm or less, and are brought to 10 nm; without
        them the 31 values stand there already. `about` is any further attribute. Raises
        `InputError` for what is no reflectance on the `scale` stated.

        >>> Reading.from_spectrum([40] * 36, range(380, 731, 10), "undyed", scale="percent").kind
        'spectrum'
        """
        read = fractions(values, wavelengths, scale)
        return cls(**{"recipe": recipe, "reflectance": read, **about})

    @classmethod
    def of_columns(cls, columns: Mapping[str, Sequence[Any]]) -> tuple[Self, ...]:
        """Readings of a table, an attribute a column, for those who have checked every value.

        Arrays and mappings in it cannot be written to; what has no column is as it is by default.
        """
        made = []
        for values in zip(*columns.values(), strict=True):
            reading = object.__new__(cls)
            vars(reading).update(zip(columns, values, strict=True))
            made.append(reading)
        return tuple(made)

    @classmethod
    def from_lab(
        cls, values: ArrayLike, light: Light | str, recipe: AnyRecipe = None, **about: Any
    ) -> Self:
        """A reading of CIELAB ``(3,)`` under `light`; `about` is any further attribute.

        Raises `InputError` for what is not three numbers, `TargetError` for a colour that no cloth
        can have.
        """
        colour = numbers(headed(values, LAB))
        check_colour(colour, repr(values), InputError)
        seen = Light.parse(light)
        (spectrum,) = colorimetry.smoothest_reflectance(colour, seen)
        made = {"recipe": recipe, "reflectance": spectrum, "lab": colour, "light": seen}
        return cls(**{**made, "kind": "Lab", **about})

    @classmethod
    def from_hex(cls, code: str, recipe: AnyRecipe = None, **about: Any) -> Self:
        """A reading of ``#rrggbb`` (sRGB, so D65/2°); channels at 00 and ff are bounds.

        Raises `TargetError` for what is no such code.
        """
        colour = hex_to_lab(code)
        more = {"kind": "hex", "clipped": Clipped.of_hex(code), **about}
        return cls.from_lab(colour, D65_2, recipe, **more)

    @property
    def rough(self) -> bool:
        """Whether the spectrum was made up from three numbers."""
        return self.kind in ("Lab", "hex")

    def colour(self, light: Light | str = D65_10) -> Array:
        """CIELAB ``(3,)`` under `light`: as given where it was given under that light."""
        light = Light.parse(light)
        if self.lab is not None and self.light == light:
            return self.lab
        if self.reflectance is None:
            raise FitError(said("readings.unread", which=self.place or self.recipe))
        return lab(self.reflectance, light)

    @property
    def source(self) -> str:
        """What it was read from: its kind, or the cell of a photograph."""
        file = re.sub(" #[0-9a-f]{8}$", "", self.conditions.get(PICTURE, ""))
        return f"cell {self.name} of {file}" if file else self.kind

    @property
    def cells(self) -> dict[str, str]:
        """What a table says of it in words, conditions and colour apart."""
        held = ((name, write, getattr(self, name)) for name, (write, _) in CELLS.items())
        row = {name: write(x) for name, write, x in held if x is not None}
        if self.recipe is not None and self.recipe.as_written != self.recipe.exact:
            row["as written"] = self.recipe.as_written
        return {name: words for name, words in row.items() if words}

    def row(self, light: Light) -> Row:
        """What `dyemix.dataset.swatches` reads back, and its colour under `light`."""
        row: dict[str, object] = {"recipe": self.recipe, "swatch": "", "kind": "", **self.cells}
        if self.reflectance is not None:
            shown = self.light if self.rough and self.light else light
            code = colorimetry.screen_colour(self.reflectance).hex
            row |= colour_row(self.colour(shown), shown, code)
            row |= {f"{w:.0f} nm": x for w, x in zip(WAVELENGTHS, self.reflectance, strict=True)}
        return row | {k if k in CONDITIONS else f"# {k}": x for k, x in self.conditions.items()}

    def _rows(self) -> Iterable[Row]:
        return [self.row(self.light or D65_10)]

    def __str__(self) -> str:
        of = self.recipe if self.recipe is not None else self.name or "a sample without a recipe"
        if self.reflectance is None:
            return f"{of}: not read yet"
        light = self.light or D65_10
        return f"{of}: {colour_text(self.colour(light), light, self.covariance)}, {self.source}"


def shares(readings: Sequence[Reading]) -> Array:
    """How much each of n readings counts in the colour of their piece ``(n,)``; they add up to 1.

    By the inverse of the variance that it states, over all directions; as much as any other where
    one states none, or is a bound, since nobody can say how good that is. An odd one counts little.
    """
    counts, odd = np.ones(len(readings)), np.zeros(len(readings), dtype=bool)
    stated = [r.covariance for r in readings if r.covariance is not None and not r.clipped]
    if len(stated) == len(readings):
        counts = 1.0 / np.maximum(np.trace(stated, axis1=1, axis2=2), 1e-6)
    if len(readings) > 2:  # of two none is odd, and colours take their time
        odd = odd_readings(np.array([reading.colour() for reading in readings]))
    return shared(counts, odd)


class Swatch(Value):
    """One piece of dyed cloth: the mean of its readings.

    `reflectance` is ``(B,)``, averaged in reflectance (linear light); a colour is averaged by
    `shares`. Of three readings or more, one that lies far from the others counts little
    (`dyemix.dataset.repeats`); `odd` says which.
    """

    recipe: Recipe
    reflectance: Array
    readings: tuple[Reading, ...]
    odd: tuple[int, ...] = ()

    @classmethod
    def of(cls, recipe: Recipe, readings: tuple[Reading, ...]) -> Self:
        """The piece that these readings, each with a reflectance, are of."""
        if len(readings) == 1:
            return cls(recipe, np.asarray(readings[0].reflectance), readings)
        spectra = np.array([reading.reflectance for reading in readings])
        odd = odd_readings(lab(spectra, D65_10))
        mean = shared(1.0, odd) @ spectra
        return cls(recipe, mean, readings, tuple(np.flatnonzero(odd).tolist()))

    @property
    def label(self) -> str:
        """Recipe, and which piece where there are several."""
        piece = self.readings[0].swatch
        return f"{self.recipe} ({piece})" if piece else str(self.recipe)

    @property
    def rough(self) -> bool:
        return any(reading.rough for reading in self.readings)

    def colour(self, light: Light | str = D65_10) -> Array:
        """CIELAB ``(3,)`` under `light`; the mean of the readings', an odd one counting little."""
        labs = np.array([reading.colour(light) for reading in self.readings])
        return np.asarray(shares(self.readings) @ labs)

    @property
    def warnings(self) -> tuple[str, ...]:
        """A sentence for each reading that lies far from the others."""
        others = {"label": self.label, "others": len(self.readings) - 1}
        places = {i: self.readings[i].place or f"no. {i + 1}" for i in self.odd}
        return tuple(said("readings.odd", place=places[i], **others) for i in self.odd)

    def __str__(self) -> str:
        return f"{self.label}, {len(self.readings)} readings"
