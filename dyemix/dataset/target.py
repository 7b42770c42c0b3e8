"""What the customer wants (a colour, the light it is stated in), and what came of a recipe."""

import datetime
import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Annotated, Any, Protocol, Self, TypeAlias

import numpy as np

from dyemix.arrays import LAB, Array, headed, labels, numbers
from dyemix.colour.colorimetry import D65_2, WAVELENGTHS, Light, hex_to_lab, lab, lab_to_hex
from dyemix.colour.spectra import Unit, fractions
from dyemix.dataset.conditions import PICTURE
from dyemix.dataset.readings import Reading, Swatch, check_colour, check_covariance
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.result import Frame, Result, Row, Value, colour_row, colour_text
from dyemix.dataset.swatches import readings_of
from dyemix.errors import InputError, RecipeError, TargetError, expect, refuse, said

_NUMBER = r"[-+−]?\d+(?:\.\d+)?"
_LAB = re.compile(
    rf"(?:lab)?\s*[(\[]?\s*(?:L\*?\s*=?\s*)?({_NUMBER})[\s,;]+(?:a\*?\s*=?\s*)?({_NUMBER})"
    rf"[\s,;]+(?:b\*?\s*=?\s*)?({_NUMBER})\s*[)\]]?(?:\s*(?:,|@|under)?\s+(?P<light>\S+))?",
    re.IGNORECASE,
)


#: A number that a blank alone keeps from the one before it: no comma there parts numbers.
_BY_BLANKS = re.compile(r"[\d.]\s+[-−+]?[\d.]")


class HasColour(Protocol):
    """Anything that says what it is as a target, as a prediction does."""

    def as_target(self) -> "Target": ...


#: Whatever is a colour: text, a target, a reading, a prediction, L* a* b*, or a spectrum ``(B,)``.
AnyColour: TypeAlias = "str | Target | Reading | Swatch | HasColour | Sequence[float] | Array"


class Target(Result):
    """A colour to reach.

    Attributes
    ----------
    lab : ``(3,)`` CIELAB.
    light : the light `lab` is stated in; None for a bare CIELAB, which takes the swatches' light.
    reflectance : ``(B,)``, where the target was measured as a spectrum.
    name : as the dyer wrote it.
    kind : ``"hex"``, ``"Lab"``, ``"reading"`` or ``"prediction"``.
    covariance : ``(3, 3)`` of `lab`, where its reader knows how good it is (a photograph): it goes
        into the likely miss.
    warnings : what is doubtful about it, in words.

    >>> print(Target.parse("56 -10 13 D50/2"))
    L* 56.0, a* -10.0, b* 13.0 (D50/2°)
    """

    READ = MappingProxyType(
        {"lab": lambda lab: numbers(headed(lab, LAB)), "light": Light.parse, "covariance": numbers}
    )
    lab: Annotated[Array, 3]
    light: Light | None
    reflectance: Annotated[Array, "B"] | None = None
    name: str = ""
    kind: str = "Lab"
    covariance: Annotated[Array, 3, 3] | None = None
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        given = self.lab
        super().__post_init__()
        check_colour(self.lab, self.name or repr(given), TargetError)
        check_covariance(self.spread, str(self.covariance), TargetError)

    @classmethod
    def parse(cls, text: str, light: Light | str | None = None) -> "Target":
        """Read ``#7d8a6e`` (sRGB, so D65/2°) or CIELAB ``56 -10 13``, ``56, -10, 13 D50/2``.

        `light` is the light of a CIELAB that does not name its own. Raises `TargetError`, also for
        a light that is none.
        """
        plain = text.strip()
        points = re.sub(r"(?<=\d),(?=\d)", ".", plain)  # decimal commas, where they are none else
        sure = points if _BY_BLANKS.search(plain) else plain
        if match := _LAB.fullmatch(sure) or _LAB.fullmatch(points):
            values = np.array([float(match[i].replace("−", "-")) for i in (1, 2, 3)])
            try:
                asked = match["light"] or light
                stated = Light.parse(asked) if asked else None
            except ValueError as error:
                raise TargetError(f"{plain!r}: {error}") from None
            return cls(values, stated, name=match.string)
        if re.fullmatch(r"#?\w+", plain):
            return cls(hex_to_lab(plain), D65_2, name="#" + plain.lstrip("#"), kind="hex")
        raise TargetError(said("readings.no_target", text=text))

    @classmethod
    def of(cls, colour: AnyColour, light: Light | str | None = None) -> "Target":
        """Whatever is a colour as a target; a reading or a swatch with the spectrum measured.

        `light` is that of three numbers or of text that name none, and what a spectrum is seen
        under, by default D65/10°. Raises `TargetError` for what is no colour, `InputError` for what
        is no spectrum.
        """
        seen = None if light is None else Light.parse(light)
        if isinstance(colour, str):
            return cls.parse(colour, seen)
        if isinstance(colour, Target):
            return colour
        if hasattr(colour, "as_target"):
            return colour.as_target()
        if not isinstance(colour, Reading | Swatch):
            if np.shape(colour) == WAVELENGTHS.shape:
                return cls.of_spectrum(fractions(colour), seen or Light(), "a spectrum")
            return cls(colour, seen)  # type: ignore[arg-type]  # made numbers of below
        first = colour.readings[0] if isinstance(colour, Swatch) else colour
        what = colour.recipe or first.name or first.place
        name = f"reading of {what}" if what else "the piece as read"
        name = first.source if PICTURE in first.conditions else name
        if first.rough:  # the error of a mean of several, nobody knows
            read, own = colour.colour(first.light or D65_2), getattr(colour, "covariance", None)
            return cls(read, first.light, name=name, kind="reading", covariance=own)
        if colour.reflectance is None:
            raise TargetError(said("readings.unread", which=first.place or name))
        return cls.of_spectrum(colour.reflectance, seen or Light(), name)

    @classmethod
    def all(cls, targets: "Iterable[AnyColour] | Frame") -> list["Target"]:
        """Colours, one by one, or the rows of a frame: of L*, a*, b*, or of readings.

        A lone text or target is one colour. Raises as `of` and `SwatchSet.from_frame` do.
        """
        each: Any = [targets] if isinstance(targets, str | Target) else targets
        if hasattr(targets, "columns"):
            bare = len(labels(targets)) == len(LAB)
            each = headed(each, LAB) if bare else readings_of(each, None, Unit.FRACTION, {})
        return [cls.of(colour) for colour in each]

    @classmethod
    def of_spectrum(cls, spectrum: Array, light: Light, name: str, kind: str = "reading") -> Self:
        """The colour of a spectrum ``(B,)`` under `light`."""
        return cls(lab(spectrum, light), light, spectrum, name, kind)

    def under(self, light: Light) -> Self:
        """This target with its light settled: its own, or `light` where it names none."""
        return self if self.light else replace(self, light=light)

    def to_light(self, light: Light | str) -> Self:
        """The same colour as it looks under another light, from its spectrum.

        Raises `TargetError` where it has none: how a colour turns, its three numbers do not tell.
        """
        seen = Light.parse(light)
        if self.light == seen:
            return self
        if self.reflectance is None:
            raise TargetError(said("readings.no_spectrum", name=self.name or self, light=seen))
        return replace(self, lab=lab(self.reflectance, seen), light=seen, covariance=None)

    @property
    def spread(self) -> Array:
        """The covariance ``(3, 3)``; zeros where nobody knows it."""
        return np.zeros((3, 3)) if self.covariance is None else self.covariance

    @property
    def hex(self) -> str:
        """Nearest sRGB code; for a target without a spectrum not stated under D65/2°, rough."""
        return lab_to_hex(self.lab if self.reflectance is None else lab(self.reflectance, D65_2))

    @property
    def typed(self) -> str:
        """This colour as `parse` takes it, its light with it."""
        light = f" {self.light}".rstrip("°") if self.light else ""
        return self.hex if self.kind == "hex" else "{:.2f} {:.2f} {:.2f}".format(*self.lab) + light

    def _rows(self) -> Iterable[Row]:
        return [{"target": self.name} | colour_row(self.lab, self.light or "", self.hex)]

    def __str__(self) -> str:
        name = "" if not self.name or _LAB.fullmatch(self.name) else f"{self.name}: "
        light = self.light or "light of the swatches"
        return f"{name}{colour_text(self.lab, light, self.covariance)}"


class Trial(Value):
    """One finished piece: dyed, washed, dry and read.

    >>> print(Trial("rust 1.5", Reading.from_hex("#8d4a2c", "rust 1.5"), lot="spring"))
    rust 1.50 (first bath, lot spring)

    Attributes
    ----------
    recipe : what was dyed, in % owf; of a second bath, what that bath added.
    reading : of the finished piece, dry.
    target : what was wanted, where something was.
    date : the day it was dyed; needed only to let old trials count for less.
    lot : which lots of dye were used, as the dyer writes it.
    on : of a second bath, the reading of the piece that it went over, washed and dry.

    Raises `RecipeError` for a recipe of no dye, `InputError` for a reading that is still blank.
    """

    READ = MappingProxyType({"recipe": Recipe.parse, "target": Target.of})
    recipe: Recipe
    reading: Reading
    target: Target | None = None
    date: datetime.date | None = None
    lot: str = ""
    on: Reading | None = None

    def __post_init__(self) -> None:
        expect(self.reading, Reading, "make one by Reading.from_spectrum, from_lab or from_hex")
        expect(self.date or datetime.date.min, datetime.date, "write datetime.date(2026, 1, 31)")
        super().__post_init__()
        refuse(not self.recipe, "readings.undyed_trial", error=RecipeError)
        blank = any(r.reflectance is None for r in (self.reading, self.on or self.reading))
        refuse(blank, "readings.blank_trial", recipe=self.recipe, error=InputError)

    @property
    def bath(self) -> str:
        """Whether the cloth was white, or dyed already, in words."""
        return "second bath" if self.on else "first bath"

    def __str__(self) -> str:
        over = f" over {self.on.recipe or self.on.name or 'a piece'}" if self.on else ""
        when = f", {self.date}" if self.date else ""
        lot = f", lot {self.lot}" if self.lot else ""
        return f"{self.recipe}{over} ({self.bath}{when}{lot})"
