"""A photograph file becomes codes, a transfer curve and a matrix to XYZ; nothing personal is kept.

Pillow reads 8-bit files and every header; OpenCV reads the 16-bit ones, which Pillow would halve;
HEIC and raw files need the extras ``heic`` (pillow-heif) and ``raw`` (rawpy). Of the metadata only
the orientation, the profile and the transfer curve are looked at: no place, owner or serial number
ever leaves this module.

Source of the sRGB curve and matrix: IEC 61966-2-1.
"""

from __future__ import annotations

import importlib
import io
import os
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.errors import Fault, InputError
from dyemix.photo.icc import read_profile

if TYPE_CHECKING:
    from PIL.Image import Image

#: More pixels than any phone writes at its usual setting; the codes then take 330 MB.
MOST_PIXELS = 110_000_000
_LARGEST = 400_000_000  # bytes
RAW_SUFFIXES = frozenset(
    {".dng", ".nef", ".cr2", ".cr3", ".arw", ".raf", ".orf", ".rw2", ".pef", ".srw", ".x3f"}
)
_HEIC = {".heic", ".heif", ".hif"}
_CLIPPED_LOW, _CLIPPED_HIGH = 3.1e-4, 0.966  # linear light
_ENCODINGS = ("stated", "linear", "sRGB")

SRGB_TO_XYZ: Array = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)


def need(module: str, extra: str, instead: str) -> Any:
    """Import `module`, or say in one sentence how to get it and what to do without it."""
    try:
        return importlib.import_module(module)
    except ImportError:
        raise InputError(
            Fault(f"photographs of this kind need an extra: pip install 'dyemix[{extra}]'{instead}")
        ) from None


@dataclass(frozen=True, eq=False)
class Photograph:
    """Pixels as the file holds them, and what turns them into light.

    Attributes
    ----------
    codes : ``(H, W, 3)`` uint8 or uint16, R G B, upright.
    curve : ``(256 or 65536, 3)`` float32: linear value (0–1) of each code.
    to_xyz : ``(3, 3)``: XYZ under D65 (Y of white 1) of linear R G B.
    encoding : what the file says its values are.
    stated : whether the file said so, or it was assumed.
    notes : what was assumed.
    file : name, for messages.
    limits : codes at or below, and at or above which a channel is clipped.
    """

    codes: NDArray[Any]
    curve: NDArray[np.float32]
    to_xyz: Array
    encoding: str
    stated: bool
    notes: tuple[str, ...]
    file: str
    limits: tuple[int, int]

    @property
    def top(self) -> int:
        """The largest code."""
        return len(self.curve) - 1


def code_limits(curve: NDArray[np.float32]) -> tuple[int, int]:
    """Codes at or below, and at or above which a channel counts as clipped.

    Set in light, so that linear and encoded files are judged alike: the first step of 8-bit sRGB,
    and 1.5 % of its scale below the top, where JPEG rounding hides the ceiling.
    """
    low = np.searchsorted(curve.max(axis=1), _CLIPPED_LOW, side="right") - 1
    high = np.searchsorted(curve.min(axis=1), _CLIPPED_HIGH)
    return max(int(low), 0), min(int(high), len(curve) - 1)


def srgb_curve(levels: int) -> Array:
    """Linear value ``(levels,)`` of each sRGB code, the linear toe included."""
    v = np.linspace(0.0, 1.0, levels)
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def linear_curve(levels: int) -> NDArray[np.float32]:
    """Linear value ``(levels, 3)`` of codes that are proportional to light."""
    return np.repeat(np.linspace(0, 1, levels, dtype=np.float32)[:, np.newaxis], 3, axis=1)


def _upright(codes: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Turn as the EXIF orientation (1–8) asks."""
    if orientation in (5, 6, 7, 8):
        codes = codes.transpose(1, 0, 2)
    if orientation in (2, 3, 6, 7):
        codes = codes[:, ::-1]
    if orientation in (3, 4, 7, 8):
        codes = codes[::-1]
    return np.ascontiguousarray(codes)


class _Refusal:
    """Makes the error for one file."""

    def __init__(self, file: str) -> None:
        self.file = file

    def __call__(self, message: str) -> InputError:
        return InputError(Fault(message, self.file))


def _bits(image: Image, data: bytes) -> int:
    """Bits a channel, of the formats that can have more than eight."""
    if image.format == "PNG":
        return data[24]
    if image.format == "TIFF":
        bits = image.tag_v2.get(258, (8,))  # type: ignore[attr-defined]
        return int(max(np.atleast_1d(bits)))
    return 8


def _check(image: Image, refuse: _Refusal) -> None:
    width, height = image.size
    if width * height > MOST_PIXELS:
        raise refuse(
            f"{width} × {height} is {width * height / 1e6:,.0f} megapixels; at most "
            f"{MOST_PIXELS / 1e6:.0f} are read: save it at 50 megapixels or fewer."
        )
    if min(width, height) < 64:
        raise refuse(f"{width} × {height} pixels is no photograph of swatches: 1000 across or more")
    if getattr(image, "n_frames", 1) > 1 and image.format not in ("MPO", "HEIF"):
        raise refuse(
            f"the file holds {image.n_frames} pictures (an animation or pages): "  # type: ignore[attr-defined]
            "save the one photograph as JPEG or PNG."
        )
    if image.mode == "CMYK":
        raise refuse("these are printing inks (CMYK), not light: save the photograph as RGB.")
    if image.mode not in ("RGB", "RGBA", "RGBX"):
        raise refuse(
            f"the picture has no full colour (mode {image.mode}): save the photograph as RGB JPEG "
            "or PNG."
        )


def _open(data: bytes, suffix: str, refuse: _Refusal) -> Image:
    if suffix in _HEIC or data[4:12] in (b"ftypheic", b"ftypheix", b"ftypmif1", b"ftyphevc"):
        heif = need("pillow_heif", "heic", ", or have the phone save JPEG ('most compatible').")
        heif.register_heif_opener(thumbnails=False)
    pil = need("PIL.Image", "photo", ".")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", pil.DecompressionBombWarning)
            return pil.open(io.BytesIO(data))  # type: ignore[no-any-return]
    except (pil.DecompressionBombError, pil.DecompressionBombWarning):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            limit, pil.MAX_IMAGE_PIXELS = pil.MAX_IMAGE_PIXELS, None
            try:
                image = pil.open(io.BytesIO(data))  # reads the header only
            finally:
                pil.MAX_IMAGE_PIXELS = limit
        _check(image, refuse)
        return image  # type: ignore[no-any-return]
    except pil.UnidentifiedImageError:
        raise refuse(
            "this is not a picture that can be read: JPEG, PNG, TIFF, HEIC and raw files are."
        ) from None
    except Exception as error:  # any decoder may stumble over a broken header in its own way
        raise refuse(f"the picture is damaged ({error}): copy it from the camera again.") from None


def _pixels(image: Image, data: bytes, bits: int, refuse: _Refusal) -> NDArray[Any]:
    if bits > 16:
        raise refuse(f"{bits} bits a channel: save it with 8 or 16 bits a channel.")
    if bits > 8:
        cv2 = need("cv2", "photo", ", or save it with 8 bits a channel.")
        found = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
        if found is None or found.ndim != 3:
            raise refuse("the 16-bit picture is damaged: save it again.")
        return np.asarray(found[..., 2::-1])
    try:
        image.load()
    except Exception as error:
        raise refuse(
            f"the picture breaks off or is damaged ({error}): copy it from the camera again."
        ) from None
    if image.mode == "RGBA" and np.asarray(image.getchannel("A")).min() < 255:
        raise refuse("the picture is partly transparent: save the photograph as RGB.")
    return np.asarray(image if image.mode == "RGB" else image.convert("RGB"))


def _meaning(
    image: Image, levels: int, encoding: str, notes: list[str], refuse: _Refusal
) -> tuple[Array, Array, str, bool]:
    """Curve, matrix, name, and whether the file states them."""
    srgb = np.repeat(srgb_curve(levels)[:, np.newaxis], 3, axis=1)
    linear = linear_curve(levels).astype(float)
    if encoding == "linear":
        return linear, SRGB_TO_XYZ, "linear, sRGB primaries, as told", True
    if encoding == "sRGB":
        return srgb, SRGB_TO_XYZ, "sRGB, as told", True
    icc = image.info.get("icc_profile")
    if icc:
        profile = read_profile(icc, levels)
        name = "embedded ICC profile"
        cms = need("PIL.ImageCms", "photo", ".")
        try:
            stated = cms.ImageCmsProfile(io.BytesIO(icc))
            name = " ".join(cms.getProfileDescription(stated).split())[:60]
        except Exception as error:
            raise refuse(
                f"the embedded colour profile is damaged ({error}): save it as sRGB."
            ) from None
        if profile is None:
            raise refuse(
                f"the colour profile {name!r} is a table, not a matrix: save the photograph as "
                "sRGB or Display P3."
            )
        return profile.curves, profile.to_xyz, name, True
    gamma = image.info.get("gamma")
    if gamma and "srgb" not in image.info and abs(gamma - 1 / 2.2) > 0.01:
        curve = linear ** (1.0 / gamma)
        return curve, SRGB_TO_XYZ, f"gamma {1.0 / gamma:.2f}, sRGB primaries", True
    if levels > 256 and "srgb" not in image.info:
        notes.append(
            "the file does not say whether its 16-bit values are linear or sRGB: sRGB was taken; "
            "the grey steps show whether that is right."
        )
    return srgb, SRGB_TO_XYZ, "sRGB", "srgb" in image.info


def _raw(path: Path, data: bytes, refuse: _Refusal) -> Photograph:
    rawpy = need("rawpy", "raw", ", or have the camera save JPEG.")
    try:
        with rawpy.imread(io.BytesIO(data)) as raw:
            if raw.sizes.width * raw.sizes.height > MOST_PIXELS:
                raise refuse(f"more than {MOST_PIXELS / 1e6:.0f} megapixels: save it smaller.")
            codes = raw.postprocess(
                gamma=(1, 1), no_auto_bright=True, output_bps=16, use_camera_wb=True
            )
    except InputError:
        raise
    except Exception as error:
        raise refuse(f"the raw file cannot be developed ({error}): save a JPEG.") from None
    curve = linear_curve(65536)
    limits = code_limits(curve)
    return Photograph(codes, curve, SRGB_TO_XYZ, "raw, linear", True, (), path.name, limits)


def decode(path: str | os.PathLike[str], encoding: str = "stated") -> Photograph:
    """Read a photograph, upright, with the curve and primaries its file states.

    Parameters
    ----------
    path : JPEG, PNG or TIFF (8 or 16 bit), HEIC or a raw file.
    encoding : ``"stated"`` by the file (sRGB where it is silent), ``"linear"`` or ``"sRGB"``.

    Raises
    ------
    InputError
        Not a picture, damaged, too many pixels, CMYK, animated, without colour, or an extra is
        missing.
    """
    path = Path(path)
    refuse = _Refusal(path.name or str(path))
    if encoding not in _ENCODINGS:
        raise refuse(f"encoding {encoding!r} is unknown: use one of {', '.join(_ENCODINGS)}.")
    try:
        if not path.is_file():
            raise refuse("there is no such picture: check the name and the folder.")
        if (size := path.stat().st_size) > _LARGEST:
            raise refuse(f"{size / 1e6:,.0f} MB; at most {_LARGEST / 1e6:.0f} MB are read.")
        data = path.read_bytes()
    except (OSError, ValueError) as error:
        raise refuse(f"the file cannot be read ({error}).") from error
    if not data:
        raise refuse("the file is empty.")
    suffix = path.suffix.lower()
    if suffix in RAW_SUFFIXES:
        return _raw(path, data, refuse)
    image = _open(data, suffix, refuse)
    _check(image, refuse)
    bits = _bits(image, data)
    notes: list[str] = []
    try:
        orientation = int(image.getexif().get(274, 1) or 1)
    except Exception:  # a broken EXIF block says nothing about the pixels
        orientation = 1
        notes.append("the EXIF block is damaged: the picture is taken to be upright.")
    if image.format == "HEIF":
        orientation = 1  # the decoder has turned it already
    codes = _upright(_pixels(image, data, bits, refuse), orientation)
    levels = 65536 if codes.dtype == np.uint16 else 256
    curve, to_xyz, name, stated = _meaning(image, levels, encoding, notes, refuse)
    table = curve.astype(np.float32)
    limits = code_limits(table)
    return Photograph(codes, table, to_xyz, name, stated, tuple(notes), refuse.file, limits)
