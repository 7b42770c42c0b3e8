"""Pictures that a dyer drops on the page: kept in memory for a while, and read inside a frame.

Nothing of a picture is written outside the dye book. What goes there and back to the browser is
drawn anew from the pixels, so that place, serial numbers and thumbnail stay behind.
"""

import secrets
from dataclasses import dataclass
from functools import lru_cache
from hashlib import blake2b
from pathlib import PureWindowsPath
from typing import TYPE_CHECKING, Self

import numpy as np

from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_2, lab_from_xyz, screen_colours
from dyemix.dyebook.rows import plain_picture
from dyemix.errors import DyemixError, refuse, said

if TYPE_CHECKING:
    from dyemix.photo.decode import Photograph

#: Pictures that are held.
_KEPT = 4
#: Shares of a frame left out as odd, of pixels clipped, and of light lost across it that are named,
#: and ΔE2000 of a quarter from the mean; working values of ours.
_ODD, _CLIPPED, _SLOPE, _PARTS = 0.1, 0.02, 0.08, 5.0


@dataclass(frozen=True)
class Frame:
    """A square in a picture: its middle and its side, in thousandths of the width and height."""

    x: int = 500
    y: int = 500
    side: int = 200

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read ``500,500,200``, kept inside the picture. Raises `DyemixError`."""
        try:
            x, y, side = (int(part) for part in text.split(","))
        except ValueError:
            raise DyemixError(
                f"{text!r} is no frame: three whole numbers, as 500,500,200."
            ) from None
        half = max(20, min(side, 1000)) // 2
        x, y = (max(half, min(at, 1000 - half)) for at in (x, y))
        return cls(x, y, 2 * half)

    def __str__(self) -> str:
        return f"{self.x},{self.y},{self.side}"


@dataclass(frozen=True)
class Framed:
    """What lies in a frame: its mean and its four quarters as codes, and what is wrong with it."""

    hex: str
    quarters: tuple[str, ...]
    faults: tuple[str, ...]


class Pictures:
    """The last few pictures, by a name that cannot be guessed."""

    def __init__(self) -> None:
        self._photos: dict[str, Photograph] = {}
        self._secret = secrets.token_bytes()
        self.framed = lru_cache(maxsize=64)(self._framed)

    def add(self, name: str, data: bytes) -> str:
        """Keep a picture. Raises `InputError` for what is none, with why."""
        from dyemix.photo.decode import decode

        photo = decode(PureWindowsPath(name).name[-80:] or "picture", data=data)
        key = blake2b(data, digest_size=12, key=self._secret).hexdigest()
        self._photos[key] = photo
        for oldest in list(self._photos)[:-_KEPT]:
            del self._photos[oldest]
        return key

    def photo(self, key: str) -> "Photograph":
        """A picture that is still there. Raises `DyemixError`."""
        refuse(key not in self._photos, "this picture is not here any more: choose it again.")
        return self._photos[key]

    def jpeg(self, key: str) -> bytes:
        """The picture to look at and to keep, of its pixels alone."""
        return plain_picture(self.photo(key))

    def _framed(self, key: str, frame: Frame) -> Framed:
        """What lies in a frame of a picture."""
        from dyemix.photo.layout import parts, quad
        from dyemix.photo.light import NO_FLAT
        from dyemix.photo.sample import cloth, levels

        photo = self.photo(key)
        height, width = photo.codes.shape[:2]
        corner = (np.array([frame.x, frame.y]) - frame.side / 2.0) * [width, height] / 1000.0
        corners = quad(*corner, *(frame.side / 1000.0 * np.array([width, height])))
        found = cloth(photo, corners, NO_FLAT)
        low, high = found.ends.max(axis=1)
        lights = np.vstack([found.mean, levels(photo, parts(corners, 2, 2), 1.0, (0.1, 0.9))[0]])
        seen = lab_from_xyz(100.0 * lights @ photo.to_xyz.T, D65_2)
        mean, *quarters = (colour.hex for colour in screen_colours(seen))
        holds = {
            "odd": found.left_out > _ODD, "bright": high > _CLIPPED, "dark": low > _CLIPPED,
            "slope": found.slope > _SLOPE, "parts": delta_e(seen[0], seen[1:]).max() > _PARTS,
        }  # fmt: skip
        faults = (said(f"page.framed.{name}") for name, is_so in holds.items() if is_so)
        return Framed(mean, tuple(quarters), tuple(faults))
