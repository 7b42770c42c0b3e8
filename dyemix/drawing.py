"""Figures as the bytes of a file, the same each time, whatever the reader has set for her own."""

import re
from collections.abc import Sequence
from contextlib import AbstractContextManager
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from dyemix.errors import data, refuse

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def styled() -> AbstractContextManager[None]:
    """Our style for the length of a drawing."""
    from matplotlib import style

    return style.context(["default", data("pictures")["style"]])


def file_bytes(pages: "Sequence[Figure]", suffix: str, dpi: int = 150) -> bytes:
    """The file of pages as its bytes: all of them as PDF, else the one there is."""
    file, metadata = BytesIO(), dict.fromkeys(data("pictures")["left_out"].get(suffix[1:], ()))
    with styled():
        if suffix == ".pdf":
            from matplotlib.backends.backend_pdf import PdfPages

            with PdfPages(file, metadata=metadata) as book:
                for page in pages:
                    book.savefig(page)
        else:
            pages[0].savefig(file, format=suffix[1:], dpi=dpi, metadata=metadata or None)
    return file.getvalue()


def ending(name: object, what: str, endings: str) -> str:
    """The ending of a file to write, one of those in words; what has none is a name by itself.

    Raises `DyemixError` for another, and says how to name `what` it is.
    """
    found = Path(str(name)).suffix.lower()
    words = f"ends in {found!r}" if found else "has no ending"
    known = (found or str(name)) in re.findall(r"\.\w+|-", endings)
    refuse(not known, f"{name} {words}: name {what} {endings}.")
    return found
