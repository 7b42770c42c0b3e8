"""Photographs as a book keeps them: the pixels alone, coded anew, so that nothing else is in them.

Place, owner, serial numbers and the thumbnail of a camera's file stay outside.
"""

from __future__ import annotations

import io
import os
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from dyemix.photo.decode import Photograph

#: Longest side of a picture that is kept, pixels, and its JPEG quality.
_LONGEST, _QUALITY = 1600, 85


def plain_picture(photo: str | os.PathLike[str] | Photograph) -> bytes:
    """The picture of a file, or one decoded, as JPEG without metadata. Raises `InputError`."""
    from PIL import Image

    from dyemix.photo.decode import Photograph, decode

    codes = (photo if isinstance(photo, Photograph) else decode(photo)).codes
    picture = Image.fromarray((codes >> 8).astype(np.uint8) if codes.dtype == np.uint16 else codes)
    picture.thumbnail((_LONGEST, _LONGEST))
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=_QUALITY)
    return out.getvalue()
