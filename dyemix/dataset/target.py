"""What the customer wants: a colour, the light it is stated in, and a spectrum if there is one."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_2, Light, lab, lab_from_hex, screen_colours
from dyemix.dataset.swatches import Reading, Swatch
from dyemix.errors import DyemixError, TargetError

_NUMBER = r"[-+−]?\d+(?:\.\d+)?"
_LAB = re.compile(
    rf"(?:lab)?\s*[(\[]?\s*(?:L\*?\s*=?\s*)?({_NUMBER})[\s,;]+(?:a\*?\s*=?\s*)?({_NUMBER})"
    rf"[\s,;]+(?:b\*?\s*=?\s*)?({_NUMBER})\s*[)\]]?(?:\s*(?:,|@|under)?\s+(?P<light>\S+))?",
    re.IGNORECASE,
)


@dataclass(frozen=True, eq=False)
class Target:
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
    """

    lab: Array
    light: Light | None
    reflectance: Array | None = None
    name: str = ""
    kind: str = "Lab"
    covariance: Array | None = None
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        values = np.array(self.lab, dtype=float)
        if values.shape != (3,) or not np.all(np.isfinite(values)):
            raise TargetError(f"{self.name or self.lab!r} is not a colour: L*, a*, b* are wanted.")
        if not 0.0 <= values[0] <= 100.01 or np.abs(values[1:]).max() > 200.0:
            raise TargetError(
                f"L* {values[0]:g}, a* {values[1]:g}, b* {values[2]:g} is not a colour of cloth: "
                "L* runs from 0 to 100, a* and b* stay within ±200."
            )
        values.setflags(write=False)
        object.__setattr__(self, "lab", values)

    @classmethod
    def parse(cls, text: str, light: Light | None = None) -> Target:
        """Read ``#7d8a6e`` (sRGB, so D65/2°) or CIELAB ``56 -10 13``, ``56, -10, 13 D50/2``.

        `light` is the light of a CIELAB that does not name its own. Raises `TargetError`.
        """
        plain = text.strip()
        if match := _LAB.fullmatch(plain):
            values = np.array([float(match[i].replace("−", "-")) for i in (1, 2, 3)])
            try:
                stated = Light.parse(match["light"]) if match["light"] else light
            except DyemixError as error:
                raise TargetError(f"{plain!r}: {error}") from None
            return cls(values, stated, name=plain)
        if re.fullmatch(r"#?\w+", plain):
            return cls(lab_from_hex(plain), D65_2, name="#" + plain.lstrip("#"), kind="hex")
        raise TargetError(
            f"{text!r} is not a colour: write a hex code, as #7d8a6e, or L* a* b*, as '56 -10 13'."
        )

    @classmethod
    def of(cls, reading: Reading | Swatch, light: Light | None = None) -> Target:
        """The colour of a reading or a swatch, with its spectrum where that was measured."""
        first = reading.readings[0] if isinstance(reading, Swatch) else reading
        name = f"reading of {reading.recipe or first.name or first.place}"
        if first.rough:
            return cls(reading.colour(first.light or D65_2), first.light, name=name, kind="reading")
        if reading.reflectance is None:
            raise TargetError(f"{first.place or name}: this swatch has not been read yet.")
        return cls.of_reflectance(reading.reflectance, light or Light(), name)

    @classmethod
    def of_reflectance(
        cls, reflectance: Array, light: Light, name: str, kind: str = "reading"
    ) -> Target:
        """The colour of a spectrum ``(B,)`` under `light`."""
        return cls(lab(reflectance, light), light, reflectance, name, kind)

    def under(self, light: Light) -> Target:
        """This target with its light settled: its own, or `light` where it names none."""
        return self if self.light else replace(self, light=light)

    @property
    def spread(self) -> Array:
        """The covariance ``(3, 3)``; zeros where nobody knows it."""
        return np.zeros((3, 3)) if self.covariance is None else self.covariance

    @property
    def hex(self) -> str:
        """Nearest sRGB code; for a target without a spectrum not stated under D65/2°, rough."""
        if self.reflectance is not None:
            return screen_colours(lab(self.reflectance, D65_2))[0].hex
        return screen_colours(self.lab)[0].hex

    @property
    def typed(self) -> str:
        """This colour as `parse` takes it, its light with it."""
        light = f" {self.light}".rstrip("°") if self.light else ""
        return self.hex if self.kind == "hex" else "{:.2f} {:.2f} {:.2f}".format(*self.lab) + light

    def __str__(self) -> str:
        values = "L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*self.lab)
        name = f"{self.name}: " if self.name else ""
        return f"{name}{values} ({self.light or 'light of the swatches'})"
