"""Pictures that a dyer drops on the page: kept in memory for a while, and read inside a frame.

Nothing of a picture is written anywhere. What goes back to the browser is drawn anew from the
pixels, so that place, serial numbers and thumbnail stay behind.
"""

from __future__ import annotations

import io
import secrets
from collections import OrderedDict
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_2, lab_from_xyz, screen_colours
from dyemix.errors import DyemixError

if TYPE_CHECKING:
    from dyemix.photo.decode import Photograph

#: Pictures kept, and the longest side of what is shown, pixels.
_KEPT, _SHOWN = 4, 1200
#: Shares of a frame left out as odd, of pixels clipped, and of light lost across it that are named;
#: working values of ours.
_ODD, _CLIPPED, _SLOPE = 0.1, 0.02, 0.08


@dataclass(frozen=True)
class Frame:
    """A square in a picture: its middle and its side, in thousandths of the width and height."""

    x: int = 500
    y: int = 500
    side: int = 200

    @classmethod
    def parse(cls, text: str) -> Frame:
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
    """What lies in a frame: its mean and its four quarters as codes, and what is wrong with it.

    `shades` are its darkest, middle and lightest part of 36, and `apart` is ΔE2000 between the
    first and the last: of a mottled piece the parts say more than their mean.
    """

    hex: str
    quarters: tuple[str, ...]
    faults: tuple[str, ...]
    shades: tuple[str, ...]
    apart: float


class Pictures:
    """The last few pictures, by a name that cannot be guessed."""

    def __init__(self) -> None:
        self._photos: OrderedDict[str, Photograph] = OrderedDict()
        self.framed = lru_cache(maxsize=64)(self._framed)

    def add(self, name: str, data: bytes) -> str:
        """Keep a picture. Raises `InputError` for what is none, with why."""
        from dyemix.photo.decode import decode

        photo = decode(name.rpartition("/")[2][-80:] or "picture", data=data)
        key = secrets.token_urlsafe(12)
        self._photos[key] = photo
        while len(self._photos) > _KEPT:
            self._photos.popitem(last=False)
        return key

    def photo(self, key: str) -> Photograph:
        """A picture that is still there. Raises `DyemixError`."""
        if key not in self._photos:
            raise DyemixError("this picture is not here any more: choose it again.")
        return self._photos[key]

    def jpeg(self, key: str) -> bytes:
        """The picture to look at, of its pixels alone."""
        from PIL import Image

        codes = self.photo(key).codes
        small = Image.fromarray(codes if codes.dtype == np.uint8 else (codes // 256).astype("u1"))
        small.thumbnail((_SHOWN, _SHOWN))
        out = io.BytesIO()
        small.save(out, "JPEG", quality=88)
        return out.getvalue()

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
        mean, *quarters = _codes(lights @ photo.to_xyz.T)
        parts_seen = lab_from_xyz(100.0 * found.blocks @ photo.to_xyz.T, D65_2)
        ranked = parts_seen[np.argsort(parts_seen[:, 0])]
        shades = ranked[[0, len(ranked) // 2, -1]]
        named = (
            (found.left_out > _ODD, "a fold, a seam or a shine lies in it"),
            (high > _CLIPPED, "part of it is brighter than the camera could hold"),
            (low > _CLIPPED, "part of it is darker than the camera could hold"),
            (found.slope > _SLOPE, "the light falls off across it"),
        )
        return Framed(
            mean, tuple(quarters), tuple(words for wrong, words in named if wrong),
            tuple(colour.hex for colour in screen_colours(shades)),
            float(delta_e(shades[0], shades[2])),
        )  # fmt: skip


def _codes(xyz: Array) -> list[str]:
    """Codes of XYZ ``(N, 3)`` under D65, Y of white 1."""
    return [colour.hex for colour in screen_colours(lab_from_xyz(100.0 * xyz, D65_2))]
