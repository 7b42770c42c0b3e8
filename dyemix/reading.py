"""Read whatever holds readings, name its samples, and say what was understood of it."""

import io
import os
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from dyemix.dataset.conditions import METHOD
from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import InputError, refuse, said
from dyemix.files import RAW_SUFFIXES, read_swatches
from dyemix.files.cells import few
from dyemix.files.small_tables import name_samples
from dyemix.writing import Named

if TYPE_CHECKING:
    from dyemix.photo import PhotoOptions, PhotoReading

#: How picture files begin; those go to the reader of photographs.
_PICTURES = (b"\xff\xd8\xff", b"\x89PNG\r\n", b"II*\x00", b"MM\x00*", b"GIF8", b"BM")

_PICTURE_SUFFIXES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic")


@dataclass(frozen=True, eq=False)
class ReadReport:
    """What files were understood to hold. `swatches` is what a fit takes, `naming` in sentences."""

    swatches: SwatchSet
    naming: tuple[str, ...]
    photographs: "tuple[PhotoReading, ...]" = ()

    def __str__(self) -> str:
        s = self.swatches
        lights = dict.fromkeys(str(r.light) for r in s.readings if r.light is not None)
        about = [] if self.photographs else list(s.warnings)  # photographs have said them
        about += [said("tables.cielab", lights=", ".join(lights))] if lights else []
        about += _conditions(s)
        if joined := [f"{x.label} ×{len(x.readings)}" for x in s if len(x.readings) > 1]:
            about.append(said("tables.joined_readings", swatches=few(joined, 8)))
        lines = [line for photograph in self.photographs for line in (str(photograph), "")]
        lines.append(s.text(about))
        lines += self.naming
        if lost := [f"{r.name!r} ({r.place})" if r.name else r.place for r in s.unnamed]:
            column = "cell" if self.photographs else "sample"
            lines.append(said("tables.lost", samples=few(lost, 8), column=column))
        return "\n".join(lines)


def _conditions(swatches: SwatchSet) -> list[str]:
    """Conditions recorded, all of them, and those of the method that are missing."""
    told = {key: [r.conditions.get(key) for r in swatches.readings] for key in METHOD}
    values = {key: [*filter(None, dict.fromkeys(each))] for key, each in told.items()}
    missing = ", ".join(key for key, each in values.items() if not each)
    lines = [f"{key}: {'; '.join(each)}" for key, each in values.items() if each]
    return [*lines, *([said("tables.not_recorded", conditions=missing)] if missing else [])]


def is_picture(path: Named) -> bool:
    """Whether a file begins as a picture does, or ends as a raw one."""
    path, start = Path(path), b""
    with suppress(OSError, ValueError):  # whoever reads it says what is wrong with the path
        if path.is_file():  # no pipe, which would be waited for
            with path.open("rb") as file:
                start = file.read(16)
    begins = start.startswith(_PICTURES) or start[4:8] == b"ftyp"
    return begins or (bool(start) and path.suffix.lower() in RAW_SUFFIXES)


def photographed(words: str) -> tuple[Path, str] | None:
    """The file and the cell of ``photo.jpg B3``; None for words that name no picture."""
    file, _, cell = words.strip().rpartition(" ")
    refuse(is_picture(words.strip()), "tables.which_cell", of=words, words=words.strip())
    named = Path(file).suffix.lower() in _PICTURE_SUFFIXES or (file and is_picture(file))
    return (Path(file), cell) if named else None


def read_photo(
    photo: Named | NDArray[np.uint8], options: "PhotoOptions | None" = None
) -> "PhotoReading":
    """Read a photograph of swatches on the photo page: a file, or pixels ``(H, W, 3)`` in sRGB.

    Its `swatches` are what `fit` takes, `target` gives the colour of one cell. `options` say how to
    read it. Raises `InputError` for what cannot be read, with what to do about it.

    >>> read_photo("nowhere.jpg")
    Traceback (most recent call last):
    dyemix.errors.InputError: nowhere.jpg: there is no such file: check the name and the folder.
    """
    from dyemix.photo import examine_photo

    if not isinstance(photo, np.ndarray):
        return examine_photo(photo, options)
    other, kind = photo.dtype != np.uint8 or photo.shape[2:] != (3,), (photo.shape, photo.dtype)
    refuse(other, "tables.pixels", kind="{} of {}".format(*kind), error=InputError)
    from PIL import Image

    from dyemix.photo.decode import decode

    Image.fromarray(photo).save(file := io.BytesIO(), "PNG")
    return examine_photo(decode("array.png", file.getvalue()), options)


def convert(
    files: Sequence[Named], names: Named | None = None, photo: "PhotoOptions | None" = None
) -> ReadReport:
    """Read a file of readings, or several photographs, and name the samples.

    Parameters
    ----------
    files : one table or instrument's file, or photographs, whose cells are samples like any other.
    names : a table ``sample,recipe[,swatch]``. Samples it does not name, and that have no recipe
        in the file, take the recipe that their own name reads as, if any.
    photo : how to read photographs.

    Raises
    ------
    InputError
        With every fault of a file, or of the table of names, and for several files of which one is
        no photograph, or is told twice.
    """
    pictures = [file for file in files if is_picture(file)]
    twice = len({os.path.realpath(file) for file in files}) < len(files)
    refuse(twice, "tables.told_twice", error=InputError)
    if len(files) > 1 and (others := few([str(file) for file in files if file not in pictures], 3)):
        raise InputError(said("tables.no_photograph", others=others))
    if not pictures:
        swatches, naming = name_samples(read_swatches(files[0]), names)
        return ReadReport(swatches, naming)
    from dyemix.photo import examine_photo

    seen = tuple(examine_photo(picture, photo) for picture in pictures)
    readings = tuple(r for each in seen for r in each.swatches.readings)
    source = ", ".join(each.photograph.file for each in seen)
    told = None if photo is not None and photo.cells is not None else names
    swatches, naming = name_samples(SwatchSet(readings, seen[0].swatches.warnings, source), told)
    return ReadReport(swatches, naming, seen)
