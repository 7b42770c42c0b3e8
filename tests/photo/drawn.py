"""A photo page drawn into a picture of linear values, straight from above, without a camera."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from dyemix.photo.characterise import Cards
from dyemix.photo.decode import SRGB_TO_XYZ, Photograph
from dyemix.photo.layout import CARD_BOX, GREY_BOX, HEIGHT, LAYOUTS, WIDTH, parts, quad
from dyemix.photo.patches import Patches
from dyemix.photo.places import Frame

#: Pixels a mm, each from its number to the next; and codes, proportional to light.
PER_MM, LEVELS = 4, 8192
PAGE = LAYOUTS[0]
PAPER, BLACK, GREY = 0.85, 0.045, 0.3
Light = Callable[[np.ndarray], Any]


class Nothing:
    """A picture of nothing, that can be refused."""

    file, to_xyz, refuse = "nothing.jpg", SRGB_TO_XYZ, Photograph.refuse


def picture(
    lying: Mapping[int, Any] | None = None, steps: Sequence[Any] = (), patches: Any = (),
    rows: int = 2, black: float = BLACK, light: Light = lambda at: 1.0, over: Sequence[Any] = (),
    tones: Callable[[np.ndarray], np.ndarray] = lambda value: value, encoding: str = "linear",
) -> Photograph:  # fmt: skip
    """White paper with pieces `lying` in cells, grey `steps` and `patches` that fill their boxes,
    printed black and grey, and what lies `over` all (a quadrilateral and its value), in a `light`
    of places ``(..., 2)`` in mm; `tones` bends what is seen.
    """
    shape = int(HEIGHT * PER_MM), int(WIDTH * PER_MM)
    value = np.full((*shape, 3), PAPER)
    y, x = (np.indices(shape) + 0.5) / PER_MM
    things = [(bar, black) for bar in PAGE.places["bar"]]
    things += [(check, GREY) for check in PAGE.places["check"]]
    things += [(PAGE.places["swatch"][i], piece) for i, piece in (lying or {}).items()]
    if len(steps):
        things += zip(parts(quad(*GREY_BOX), 1, len(steps)), steps, strict=True)
    if len(patches):
        columns = len(patches) // rows
        things += zip(parts(quad(*CARD_BOX), rows, columns), patches, strict=True)
    for corners, piece in (*things, *over):
        (x0, y0), (x1, y1) = np.ceil(PER_MM * corners[[0, 2]] - 0.5).astype(int)
        value[y0:y1, x0:x1] = piece
    value = np.clip(tones(value * light(np.stack([x, y], axis=-1))), 0.0, 1.0)
    curve = np.repeat(np.linspace(0.0, 1.0, LEVELS, dtype=np.float32)[:, np.newaxis], 3, axis=1)
    codes = np.rint((LEVELS - 1) * value).astype(np.uint16)
    return Photograph(
        codes, curve, (3, int(0.966 * LEVELS)), SRGB_TO_XYZ, encoding, notes=(),
        file="drawn", lens=lambda places: PER_MM * places - 0.5,
    )  # fmt: skip


def look(
    photo: Photograph, told: Sequence[float] = (), reference: Patches | None = None,
    anchors: Any = None, without: Sequence[str] = (), **places: np.ndarray,
) -> Cards:  # fmt: skip
    """The cards of the picture, the page's own places among them but some."""
    kept = {role: at for role, at in PAGE.places.items() if role not in without}
    frame = Frame(PAGE.labels, kept | places, PAGE)
    white = np.empty((0, 4, 2)) if anchors is None else anchors
    return Cards(photo, frame, told, reference or Patches(), white)
