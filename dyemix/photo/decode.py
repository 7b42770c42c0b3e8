"""A photograph file becomes codes, a transfer curve and a matrix to XYZ; nothing personal is kept.

Pillow reads 8-bit files and every header; OpenCV reads the 16-bit ones, which Pillow would halve;
HEIC and raw files need the extras ``heic`` (pillow-heif) and ``raw`` (rawpy). Of the metadata only
the orientation, the profile and the transfer curve are looked at: no place, owner or serial number
ever leaves this module.

Pillow's colour management would give 8 bits back and clip to the profile it converts to, so a
Display P3 red would be lost on the way to sRGB: the matrix profiles of cameras and phones (three
curves and three colorants) are read here at full precision.

Sources: the sRGB curve and matrix, IEC 61966-2-1; profiles, ICC.1:2022, 10.6 (curveType), 10.18
(parametricCurveType), 10.31 (XYZType), E.3 (chromatic adaptation, linear Bradford).
"""

import importlib
import io
import struct
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.errors import DyemixError, Fault, InputError, refuse, said
from dyemix.files import RAW_SUFFIXES
from dyemix.writing import Named, read_bytes

if TYPE_CHECKING:
    from PIL.Image import Image

    from dyemix.photo.light import Tone

#: More pixels than any phone writes at its usual setting, and the longest side that is needed: a
#: page then has 10 pixels a mm. Larger pictures are read at half, a third … of their size.
MOST_PIXELS, _ENOUGH = 110_000_000, 3000
_LARGEST = 400_000_000  # bytes
_MOST = MOST_PIXELS / 1e6
_HEIC_BRANDS = (b"ftypheic", b"ftypheix", b"ftypmif1", b"ftyphevc")
_CLIPPED_LOW, _CLIPPED_HIGH = 3.1e-4, 0.966  # linear light

SRGB_TO_XYZ: Array = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)
#: The wide primaries of developed raw files, by their developer (white of D65; from memory, and
#: compared with its sRGB in a test).
WIDE_TO_XYZ: Array = SRGB_TO_XYZ @ np.linalg.inv(
    [[0.529317, 0.330092, 0.140588], [0.098368, 0.873465, 0.028169], [0.016879, 0.117663, 0.865457]]
)
#: Bradford adaptation from a profile's D50 to D65 (ICC.1:2022 annex E, linear Bradford).
_BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
_D50, _D65 = _BRADFORD @ [0.9642, 1.0, 0.8249], _BRADFORD @ [0.95047, 1.0, 1.08883]
D65_FROM_D50: Array = np.linalg.solve(_BRADFORD, np.diag(_D65 / _D50) @ _BRADFORD)
#: The numbers of the parametric curve by its type: (a x + b)^g + e from x = d on, else c x + f.
_PARAMETERS = {0: "g", 1: "gab", 2: "gabe", 3: "gabcd", 4: "gabcdef"}


def need(module: str, extra: str, instead: str = ".") -> Any:
    """Import `module`, or say in one sentence how to get it and what to do without it."""
    try:
        return importlib.import_module(module)
    except ImportError:
        install = f"pip install '.[{extra}]' in the folder of dyemix itself{instead}"
        raise InputError(Fault(f"this needs an extra that is not installed: {install}")) from None


@dataclass(frozen=True, eq=False)
class Photograph:
    """Pixels as the file holds them, and what turns them into light.

    Attributes
    ----------
    codes : ``(H, W, 3)`` uint8 or uint16, R G B, upright.
    curve : ``(256 or 65536, 3)`` float32: linear value (0–1) of each code.
    limits : codes at or below, and at or above which a channel is clipped.
    to_xyz : ``(3, 3)``: XYZ under D65 (Y of white 1) of linear R G B.
    encoding : what the file says its values are.
    notes : what was assumed.
    file : name, for messages.
    lens : from places to pixels ``(..., 2)``; places are pixels where no page is in the picture.
    """

    codes: NDArray[Any]
    curve: NDArray[np.float32]
    limits: tuple[int, int]
    to_xyz: Array
    encoding: str
    notes: tuple[str, ...]
    file: str
    lens: Callable[[Array], Array] = np.asarray

    def light(self, codes: NDArray[Any]) -> NDArray[np.float32]:
        """Linear light ``(..., 3)`` of some of the codes."""
        return np.stack([self.curve[codes[..., c], c] for c in range(3)], axis=-1)

    def straightened(self, tone: "Tone") -> Self:
        """The same codes with the camera's tone curve undone; what is clipped stays clipped."""
        return replace(self, curve=tone(self.curve.astype(float)).astype(np.float32))

    @cached_property
    def picture(self) -> str:
        """Its name, and a mark of its pixels: what is called photo.jpg may be another each time."""
        return f"{self.file} #{crc32(self.codes.tobytes()):08x}"

    def refuse(self, wrong: object, sentence: str, **values: Any) -> None:
        """Raises `InputError` of this picture, with a sentence of `said`, for what is wrong."""
        refuse(wrong, sentence, of=self.file, **values)


def sayings(holds: Mapping[str, object], **values: object) -> list[str]:
    """The sentences of ``data/photo.toml`` that hold, with values filled in."""
    return [said(f"photo.{name}", **values) for name, true in holds.items() if true]


def _limits(curve: NDArray[np.float32]) -> tuple[int, int]:
    """Codes at or below, and at or above which a channel counts as clipped.

    Set in light, so that linear and encoded files are judged alike: the first step of 8-bit sRGB,
    and 1.5 % of its scale below the top, where JPEG rounding hides the ceiling.
    """
    low = np.searchsorted(curve.max(axis=1), _CLIPPED_LOW, side="right") - 1
    high = np.searchsorted(curve.min(axis=1), _CLIPPED_HIGH)
    return max(int(low), 0), min(int(high), len(curve) - 1)


def srgb_curve(levels: int) -> Array:
    """Linear value ``(levels,)`` of each sRGB code, the linear toe included."""
    v = np.linspace(0, 1, levels)
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def _profile_curve(data: bytes, x: Array) -> Array:
    """Value of one curve tag at codes `x` (0–1). Raises `KeyError` for what is not a curve."""
    kind = data[:4]
    if kind == b"curv":
        (count,) = struct.unpack(">I", data[8:12])
        values = np.frombuffer(data[12 : 12 + 2 * count], ">u2").astype(float)
        if count == 1:
            return np.asarray(x ** (values[0] / 256.0))
        return np.interp(x, np.linspace(0, 1, count), values / 65535.0) if count else x
    if kind != b"para":
        raise KeyError(kind)
    (form,) = struct.unpack(">H", data[8:10])
    names = _PARAMETERS[form]
    numbers = np.frombuffer(data[12 : 12 + 4 * len(names)], ">i4") / 65536.0
    p = dict.fromkeys("gabcdef", 0.0) | {"a": 1.0} | dict(zip(names, numbers, strict=True))
    if form in (1, 2):
        p |= {"d": -p["b"] / p["a"], "f": p["e"]}
    upper = np.maximum(p["a"] * x + p["b"], 0.0) ** p["g"] + p["e"]
    return np.asarray(np.where(x >= p["d"], upper, p["c"] * x + p["f"]))


def read_profile(data: bytes, levels: int) -> tuple[Array, Array] | None:
    """A matrix profile's linear value ``(levels, 3)`` of each code, and its matrix ``(3, 3)`` to
    XYZ under D65, Y of white 1; None for a profile that has no matrix.
    """
    try:
        (count,) = struct.unpack(">I", data[128:132])
        tags = {}
        for i in range(min(count, 100)):
            name, offset, size = struct.unpack(">4sII", data[132 + 12 * i : 144 + 12 * i])
            tags[name] = data[offset : offset + size]
        channels, codes = (b"r", b"g", b"b"), np.linspace(0, 1, levels)
        curves = [_profile_curve(tags[name + b"TRC"], codes) for name in channels]
        columns = [struct.unpack(">3i", tags[name + b"XYZ"][8:20]) for name in channels]
    except (KeyError, struct.error, ValueError):
        return None
    return np.stack(curves, axis=1), D65_FROM_D50 @ (np.array(columns, dtype=float).T / 65536.0)


def _open(data: bytes) -> "Image":
    """The header of a picture, not yet its pixels."""
    if data[4:12] in _HEIC_BRANDS:
        heif = need("pillow_heif", "heic", ", or have the phone save JPEG ('most compatible').")
        heif.register_heif_opener(thumbnails=False)
    pil = need("PIL.Image", "photo")
    limit, pil.MAX_IMAGE_PIXELS = pil.MAX_IMAGE_PIXELS, None  # our own limit is looked at next
    try:
        return pil.open(io.BytesIO(data))  # type: ignore[no-any-return]
    except pil.UnidentifiedImageError:
        raise DyemixError("not a picture: JPEG, PNG, TIFF, HEIC and raw are read.") from None
    finally:
        pil.MAX_IMAGE_PIXELS = limit


def _check(image: "Image", data: bytes) -> int:
    """The bits a channel. Refuses what the header says is no photograph of swatches."""
    width, height = image.size
    size, frames, bits = f"{width} × {height}", getattr(image, "n_frames", 1), 8
    if image.format in ("MPO", "HEIF"):
        frames = 1  # a preview beside the picture
    elif image.format == "PNG":
        bits = data[24]
    elif image.format == "TIFF":
        bits = int(np.max(image.tag_v2.get(258, (8,))))  # type: ignore[attr-defined]
    refuse(width * height > MOST_PIXELS, "photo.too_large", size=size, most=_MOST)
    refuse(min(width, height) < 64, "photo.too_few_pixels", size=size)
    refuse(frames > 1, "photo.several", frames=frames)
    refuse(image.mode == "CMYK", "photo.inks")
    refuse(bits > 16, "photo.deep", bits=bits)
    refuse(image.mode[:3] not in ("RGB", "CMY"), "photo.no_colours", mode=image.mode)
    return bits


def _deep(data: bytes) -> NDArray[Any]:
    """The 16-bit codes ``(H, W, 3)``, upright by the orientation that the file states."""
    cv2 = need("cv2", "photo", ", or save it with 8 bits a channel.")
    how = cv2.IMREAD_COLOR | cv2.IMREAD_ANYDEPTH
    codes = cv2.imdecode(np.frombuffer(data, np.uint8), how)
    refuse(codes is None, "the 16-bit picture is damaged: save it again.")
    return _smaller(cv2.cvtColor(codes, cv2.COLOR_BGR2RGB, codes), max(codes.shape) // _ENOUGH)


def _pixels(image: "Image", notes: list[str]) -> NDArray[Any]:
    """The codes ``(H, W, 3)``, upright by the orientation that the file states."""
    times = max(1, max(image.size) // _ENOUGH)
    image.draft("RGB", (image.width // times, image.height // times))  # of JPEG, on the way
    image.load()
    if image.mode == "RGBA" and np.asarray(image.getchannel("A")).min() < 255:
        raise DyemixError("the picture is partly transparent: save the photograph as RGB.")
    image = image.reduce(max(1, max(image.size) // _ENOUGH)).convert("RGB")
    try:
        image = need("PIL.ImageOps", "photo").exif_transpose(image)
    except Exception:  # a broken EXIF block says nothing about the pixels
        notes.append("the EXIF block is damaged: the picture is taken to be upright.")
    return np.asarray(image)


def _smaller(codes: NDArray[Any], times: int) -> NDArray[Any]:
    """The same picture, so many times smaller, if that is more than once."""
    cv2, (height, width) = need("cv2", "photo"), np.array(codes.shape[:2]) // max(1, times)
    return np.asarray(cv2.resize(codes, (width, height), interpolation=cv2.INTER_AREA))


def _meaning(image: "Image", levels: int, notes: list[str]) -> tuple[Array, Array, str]:
    """Curve, matrix and name of what the file says its values are."""
    if icc := image.info.get("icc_profile"):
        cms = need("PIL.ImageCms", "photo")
        stated = cms.ImageCmsProfile(io.BytesIO(icc))
        name = " ".join(cms.getProfileDescription(stated).split())[:60]
        if (profile := read_profile(icc, levels)) is None:
            message = f"the colour profile {name!r} is a table: save it as sRGB or Display P3."
            raise DyemixError(message)
        return *profile, name
    if levels > 256 and "srgb" not in image.info:
        notes.append("the file does not say whether its values are linear or sRGB: sRGB was taken.")
    return srgb_curve(levels), SRGB_TO_XYZ, "sRGB"


def _raw(data: bytes) -> NDArray[Any]:
    """A raw file developed to linear 16-bit codes by the camera's own balance and matrix, in
    primaries wide enough for all cloth.
    """
    rawpy = need("rawpy", "raw", ", or have the camera save JPEG.")
    with rawpy.imread(io.BytesIO(data)) as raw:
        width, height = raw.sizes.width, raw.sizes.height
        size = f"{width} × {height}"
        refuse(width * height > MOST_PIXELS, "photo.too_large", size=size, most=_MOST)
        times = max(1, max(width, height) // _ENOUGH)
        found = raw.postprocess(
            output_bps=16, gamma=(1, 1), no_auto_bright=True, use_camera_wb=True,
            output_color=rawpy.ColorSpace.ProPhoto, half_size=times > 1,
        )  # fmt: skip
        return _smaller(np.asarray(found), times // 2)


def decode(path: Named, data: bytes | None = None) -> Photograph:
    """Read a photograph, upright, with the curve and primaries its file states (sRGB if silent).

    `path` is a JPEG, PNG or TIFF (8 or 16 bit), HEIC or a raw file, or only its name where the
    bytes of the file are at hand as `data`. Raises `InputError`: not a picture, damaged, too many
    pixels, CMYK, animated, without colour, or an extra is missing.
    """
    notes: list[str] = []
    path = Path(path)
    file = path.name or str(path)
    try:
        data = read_bytes(path, _LARGEST) if data is None else data
        if path.suffix.lower() in RAW_SUFFIXES:
            codes = _raw(data)
            curve, to_xyz, name = np.linspace(0, 1, 65536), WIDE_TO_XYZ, "raw, linear"
        else:
            image = _open(data)
            bits = _check(image, data)
            curve, to_xyz, name = _meaning(image, 65536 if bits > 8 else 256, notes)
            codes = _pixels(image, notes) if bits == 8 else _deep(data)
    except InputError:
        raise
    except DyemixError as reason:
        raise InputError(Fault(str(reason), file)) from None
    except Exception as error:  # any decoder may stumble over a file in its own way
        raise InputError(Fault(said("photo.damaged", error=error), file)) from None
    # One curve for all channels, or one for each.
    table = np.broadcast_to(curve.reshape(len(curve), -1), (len(curve), 3)).astype(np.float32)
    return Photograph(codes, table, _limits(table), to_xyz, name, tuple(notes), file)
