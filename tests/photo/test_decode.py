"""Picture files: what they hold, how they are turned, and every file that is refused."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image, ImageCms, ImageOps

from dyemix.errors import InputError
from dyemix.photo import decode as decoding
from dyemix.photo.decode import SRGB_TO_XYZ, decode, read_profile, srgb_curve

PICTURE = np.random.default_rng(4).integers(0, 256, (80, 120, 3), dtype=np.uint8)


def saved(path: Path, image: Image.Image, **options: Any) -> Path:
    image.save(path, **options)
    return path


def matrix_profile(primaries: np.ndarray, curve: bytes) -> bytes:
    """An ICC version 2/4 display profile with one curve for the three channels."""

    def fixed(values: Any) -> bytes:
        return b"".join(struct.pack(">i", round(v * 65536)) for v in values)

    tags = {
        b"desc": b"desc" + bytes(4) + struct.pack(">I", 5) + b"test\0" + bytes(90),
        b"wtpt": b"XYZ " + bytes(4) + fixed([0.9642, 1.0, 0.8249]),
        **{
            name: b"XYZ " + bytes(4) + fixed(column)
            for name, column in zip((b"rXYZ", b"gXYZ", b"bXYZ"), primaries.T, strict=True)
        },
        **dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), curve),
    }
    table, data = struct.pack(">I", len(tags)), b""
    start = 132 + 12 * len(tags)
    for name, content in tags.items():
        table += name + struct.pack(">II", start + len(data), len(content))
        data += content + bytes(-len(content) % 4)
    size = start + len(data)
    header = struct.pack(">I4sI4s4s4s", size, b"lcms", 0x02400000, b"mntr", b"RGB ", b"XYZ ")
    header += bytes(12) + b"acsp" + bytes(28) + fixed([0.9642, 1.0, 0.8249]) + bytes(48)
    return header + table + data


#: Display P3 primaries adapted to D50 (columns), as its published profile carries them.
P3 = np.array(
    [[0.51512, 0.29198, 0.15710], [0.24120, 0.69225, 0.06657], [-0.00105, 0.04189, 0.78407]]
)
SRGB_NUMBERS = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
SRGB_PARA = b"para" + bytes(4) + struct.pack(">HH", 3, 0)
SRGB_PARA += struct.pack(">5i", *(round(v * 65536) for v in SRGB_NUMBERS))
GAMMA_22 = b"curv" + bytes(4) + struct.pack(">IH", 1, round(2.2 * 256))
LEVELS = np.rint(65535 * np.linspace(0, 1, 17) ** 1.8).astype(int)
TABLE = b"curv" + bytes(4) + struct.pack(">I17H", 17, *LEVELS)


@pytest.mark.parametrize("suffix", ["png", "tif", "jpg"])
def test_eight_bit_files_give_their_codes(tmp_path: Path, suffix: str) -> None:
    path = saved(tmp_path / f"a.{suffix}", Image.fromarray(PICTURE), quality=100, subsampling=0)
    found = decode(path)
    assert found.codes.dtype == np.uint8
    judge = cv2.imread(str(path), cv2.IMREAD_COLOR)[..., ::-1]  # another decoder
    assert np.abs(found.codes.astype(int) - judge).max() <= (1 if suffix == "jpg" else 0)
    assert np.abs(found.codes.astype(int) - PICTURE).mean() < 1
    assert found.encoding == "sRGB"


@pytest.mark.parametrize("suffix", ["png", "tiff"])
def test_sixteen_bits_are_kept(tmp_path: Path, suffix: str) -> None:
    deep = np.random.default_rng(5).integers(0, 65536, (70, 90, 3), dtype=np.uint16)
    path = tmp_path / f"a.{suffix}"
    cv2.imwrite(str(path), deep[..., ::-1])
    found = decode(path)
    assert np.array_equal(found.codes, deep)
    assert any("linear or sRGB" in note for note in found.notes)


def test_the_srgb_curve_has_its_linear_toe() -> None:
    # IEC 61966-2-1: 0.04045 is where the toe ends, at 0.04045 / 12.92.
    curve = srgb_curve(256)
    assert curve[10] == pytest.approx(10 / 255 / 12.92)
    assert curve[128] == pytest.approx(((128 / 255 + 0.055) / 1.055) ** 2.4)


def tiff(pixels: np.ndarray, tags: dict[int, tuple[int, list[int]]]) -> bytes:
    """A TIFF 6.0 file of one strip, little-endian; `tags` by number: their type and values."""
    height, width = pixels.shape[:2]
    channels = pixels.shape[2] if pixels.ndim == 3 else 1
    bits = [8 * pixels.dtype.itemsize] * channels
    entries = {
        256: (4, [width]), 257: (4, [height]), 258: (3, bits), 259: (3, [1]), 262: (3, [2]),
        273: (4, [0]), 277: (3, [channels]), 278: (4, [height]), 279: (4, [pixels.nbytes]),
    } | tags  # fmt: skip
    kinds = {1: ("B", 1), 2: ("B", 1), 3: ("H", 1), 4: ("I", 1), 5: ("I", 2), 10: ("i", 2)}
    after = 8 + 2 + 12 * len(entries) + 4
    packed = {n: struct.pack(f"<{len(v)}{kinds[k][0]}", *v) for n, (k, v) in entries.items()}
    long = {n: data + bytes(len(data) % 2) for n, data in packed.items() if len(data) > 4}
    packed[273] = struct.pack("<I", after + sum(map(len, long.values())))
    table, place = struct.pack("<H", len(entries)), after
    for number, (kind, values) in sorted(entries.items()):
        table += struct.pack("<HHI", number, kind, len(values) // kinds[kind][1])
        table += struct.pack("<I", place) if number in long else packed[number].ljust(4, b"\0")
        place += len(long.get(number, b""))
    body = b"".join(long[number] for number in sorted(long))
    return b"II*\0" + struct.pack("<I", 8) + table + bytes(4) + body + pixels.tobytes()


def dng(light: np.ndarray, from_xyz: np.ndarray, neutral: np.ndarray) -> bytes:
    """A raw file (DNG 1.4) of sensor values ``(H, W, 3)`` 0 to 1 behind a mosaic of R G, G B."""
    channel = np.array([[0, 1], [1, 2]])[
        np.indices(light.shape[:2])[0] % 2, np.indices(light.shape[:2])[1] % 2
    ]
    mosaic = np.take_along_axis(light, channel[..., np.newaxis], 2)[..., 0]
    rational = [round(v) for x in from_xyz.ravel() for v in (1e4 * x, 1e4)]
    return tiff(
        np.rint(60000 * mosaic).astype("<u2"),
        {
            254: (4, [0]), 262: (3, [32803]), 33421: (3, [2, 2]), 33422: (1, [0, 1, 1, 2]),
            271: (2, list(b"made up\0")), 272: (2, list(b"in a test\0")),
            50706: (1, [1, 4, 0, 0]), 50708: (2, list(b"made up in a test\0")),
            50717: (4, [60000]), 50721: (10, rational), 50778: (3, [21]),
            50728: (5, [v for x in neutral for v in (round(1e4 * x), 10000)]),
        },
    )  # fmt: skip


def test_a_raw_file_is_linear_and_wider_than_srgb(tmp_path: Path) -> None:
    pytest.importorskip("rawpy")
    from_xyz = np.array([[0.9, -0.2, -0.05], [-0.35, 1.2, 0.15], [-0.05, 0.2, 0.7]])
    # A grey, a red and a green that sRGB cannot hold (its red would be below 0), of XYZ.
    xyz = np.array(
        [[0.1901, 0.2, 0.2178], [0.25, 0.15, 0.05], [0.07, 0.2, 0.12], [0.38, 0.4, 0.4355]]
    )
    assert (np.linalg.solve(SRGB_TO_XYZ, xyz[2]) < -0.05).any()
    picture = np.repeat(np.repeat(xyz.reshape(2, 2, 3), 60, axis=0), 80, axis=1) @ from_xyz.T
    (tmp_path / "a.dng").write_bytes(dng(picture, from_xyz, from_xyz @ [0.9505, 1.0, 1.089]))
    found = decode(tmp_path / "a.dng")
    assert found.codes.shape == (120, 160, 3)
    middles = found.light(found.codes)[[30, 30, 90, 90], [40, 120, 40, 120]].astype(float)
    seen = middles @ found.to_xyz.T
    assert seen / seen[0, 1] == pytest.approx(xyz / xyz[0, 1], rel=0.02, abs=0.02)
    assert "linear" in found.encoding
    assert found.codes.min() > found.limits[0]


@pytest.mark.parametrize("bits", [np.uint8, np.uint16])
def test_a_large_picture_is_read_at_the_scale_needed(tmp_path: Path, bits: type) -> None:
    wide = cv2.resize(PICTURE, (6200, 90), interpolation=cv2.INTER_LINEAR).astype(bits)
    cv2.imwrite(str(tmp_path / "a.png"), wide[..., ::-1])
    found = decode(tmp_path / "a.png").codes
    assert (found.shape, found.dtype) == ((45, 3100, 3), bits)
    assert found.mean() == pytest.approx(wide.mean(), rel=0.01)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_is_that_of_pillow(tmp_path: Path, orientation: int) -> None:
    image = Image.fromarray(PICTURE)
    exif = Image.Exif()
    exif[274] = orientation
    path = saved(tmp_path / "a.png", image, exif=exif)
    upright = np.asarray(ImageOps.exif_transpose(Image.open(path)))
    assert np.array_equal(decode(path).codes, upright)
    deep = tmp_path / "a.tif"
    deep.write_bytes(tiff(PICTURE.astype("<u2") * 257, {274: (3, [orientation])}))
    assert np.array_equal(decode(deep).codes, upright.astype(np.uint16) * 257)


@pytest.mark.parametrize(
    ("primaries", "curve"),
    [(P3, SRGB_PARA), (P3, GAMMA_22), (np.array(P3), TABLE)],
    ids=["parametric", "gamma", "table"],
)
def test_matrix_profiles_agree_with_littlecms(
    tmp_path: Path, primaries: np.ndarray, curve: bytes
) -> None:
    # The outside judge is LittleCMS, through Pillow, converting to 8-bit sRGB.
    profile = matrix_profile(primaries, curve)
    path = saved(tmp_path / "a.png", Image.fromarray(PICTURE), icc_profile=profile)
    found = decode(path)
    light = np.stack([found.curve[found.codes[..., c], c] for c in range(3)], axis=-1)
    rgb = light.astype(float) @ found.to_xyz.T @ np.linalg.inv(SRGB_TO_XYZ).T
    inside = ((rgb > 0.002) & (rgb < 0.998)).all(axis=-1)
    code = 255 * (1.055 * np.clip(rgb, 1e-4, 1) ** (1 / 2.4) - 0.055)
    judge = ImageCms.profileToProfile(
        Image.fromarray(PICTURE),
        ImageCms.ImageCmsProfile(io.BytesIO(profile)),
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )
    off = np.abs(code - np.asarray(judge))[inside & (rgb > 0.004).all(axis=-1)]
    assert inside.mean() > 0.4
    assert off.max() < 2.0
    assert off.mean() < 0.5


def test_a_display_p3_red_is_not_clipped_to_srgb(tmp_path: Path) -> None:
    picture = np.zeros((80, 80, 3), np.uint8)
    picture[..., 0] = 255
    path = saved(
        tmp_path / "a.jpg", Image.fromarray(picture), icc_profile=matrix_profile(P3, SRGB_PARA)
    )
    found = decode(path)
    linear = np.linalg.solve(SRGB_TO_XYZ, found.to_xyz @ [1.0, 0.0, 0.0])
    # Display P3 red in linear sRGB: 1.2249, −0.0420, −0.0196 (colour-science gives the same).
    assert linear == pytest.approx([1.2249, -0.0420, -0.0196], abs=2e-3)


def test_a_table_profile_is_refused_and_noise_is_no_profile(tmp_path: Path) -> None:
    assert read_profile(b"", 256) is None
    assert read_profile(bytes(200), 256) is None
    path = saved(tmp_path / "a.png", Image.fromarray(PICTURE), icc_profile=b"not a profile at all")
    with pytest.raises(InputError, match=r"damaged .*profile"):
        decode(path)


def test_heic_is_read_where_the_extra_is_there(tmp_path: Path) -> None:
    heif = pytest.importorskip("pillow_heif")
    smooth = cv2.GaussianBlur(PICTURE, (0, 0), 8)
    path = tmp_path / "a.heic"
    heif.from_pillow(Image.fromarray(smooth)).save(path, quality=95)
    assert np.abs(decode(path).codes.astype(int) - smooth).mean() < 3


@pytest.mark.parametrize(
    ("name", "module", "words"),
    [
        ("a.heic", "pillow_heif", "have the phone save JPEG"),
        ("a.dng", "rawpy", "have the camera save JPEG"),
    ],
)
def test_a_missing_extra_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, module: str, words: str
) -> None:
    found = decoding.importlib.import_module

    def without(wanted: str) -> Any:
        if wanted == module:
            raise ImportError
        return found(wanted)

    monkeypatch.setattr(decoding.importlib, "import_module", without)
    (tmp_path / name).write_bytes(b"xxxxftypheic" + bytes(100))
    with pytest.raises(InputError, match=r"pip install '\.\[.*" + words):
        decode(tmp_path / name)


def png_header(width: int, height: int) -> bytes:
    body = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunk = struct.pack(">I", 13) + body + struct.pack(">I", zlib.crc32(body))
    empty = b"IDAT" + zlib.compress(b"")
    data = struct.pack(">I", len(empty) - 4) + empty + struct.pack(">I", zlib.crc32(empty))
    return b"\x89PNG\r\n\x1a\n" + chunk + data


def jpeg(**options: Any) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(PICTURE).save(buffer, "JPEG", **options)
    return buffer.getvalue()


def picture(form: str, mode: str, **options: Any) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(PICTURE).convert(mode).save(buffer, form, **options)
    return buffer.getvalue()


def animation() -> bytes:
    buffer = io.BytesIO()
    frames = [Image.fromarray(PICTURE), Image.fromarray(255 - PICTURE)]
    frames[0].save(buffer, "PNG", save_all=True, append_images=frames[1:])
    return buffer.getvalue()


REFUSED = {
    "text": (b"A1,rose 0.5\n", "not a picture"),
    "empty": (b"", "empty"),
    "bomb": (png_header(60000, 60000), "megapixels"),
    "large": (png_header(11000, 11000), "megapixels"),
    "truncated": (jpeg()[:2500], "breaks off"),
    "inks": (picture("JPEG", "CMYK"), "CMYK"),
    "animated": (animation(), "2 pictures"),
    "grey": (picture("PNG", "L"), "no full colour"),
    "tiny": (picture("PNG", "RGB")[:20] + struct.pack(">I", 1), "damaged|not a picture"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_a_bad_file_gets_one_sentence(tmp_path: Path, name: str) -> None:
    data, words = REFUSED[name]
    (tmp_path / "photo.jpg").write_bytes(data)
    with pytest.raises(InputError, match=words) as caught:
        decode(tmp_path / "photo.jpg")
    assert len(caught.value.faults) == 1
    assert caught.value.file == "photo.jpg"


def test_other_refusals(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        decode(tmp_path / "none.jpg")
    with pytest.raises(InputError, match="not a file"):
        decode(tmp_path)
    small = saved(tmp_path / "s.png", Image.fromarray(PICTURE[:20, :20]))
    with pytest.raises(InputError, match="no photograph of swatches"):
        decode(small)
    clear = Image.fromarray(np.dstack([PICTURE, np.full(PICTURE.shape[:2], 100, np.uint8)]))
    with pytest.raises(InputError, match="partly transparent"):
        decode(saved(tmp_path / "t.png", clear))
