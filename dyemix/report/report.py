"""Results as one HTML file: pictures, tables, conditions, cautions, versions.

Nothing is fetched and no script runs, so that the file reads the same in ten years; a browser
prints it, or makes a PDF of it. Its words stand in `templates/page/report.html`.
"""

import sys
from base64 import b64encode
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from importlib import metadata
from typing import TYPE_CHECKING, Any

from dyemix.bench.sheet import Block, Sheet, pages, usual
from dyemix.dataset.result import marks
from dyemix.dyebook.records import JobRecord
from dyemix.errors import DyemixError
from dyemix.matching.correct import Correction
from dyemix.matching.matches import Matches
from dyemix.model.dyes import DyeSet
from dyemix.plots import drawn

if TYPE_CHECKING:
    import pandas as pd

#: What each type of result is headed by.
_HEADINGS: dict[type, str] = {DyeSet: "The dyes", Matches: "A match", Correction: "A trial"}
#: Whose versions an answer depends on.
_PACKAGES = ("dyemix", "numpy", "scipy", "colour-science", "matplotlib")


@dataclass(frozen=True)
class Section:
    """One result: its heading, its text or blocks, a table, and pictures as PNG in base 64."""

    heading: str
    text: str = ""
    blocks: tuple[Block, ...] = ()
    table: "pd.DataFrame | None" = None
    pictures: tuple[str, ...] = ()


def report(*results: Any, title: str = "", conditions: Mapping[str, str] | None = None) -> str:
    """The page of some results, in the order given.

    Parameters
    ----------
    results : fitted dyes, a match, what `correct` says of a trial, a sheet, all that a book keeps
        of a job; or any other result that `plot` draws.
    title : of the page; else that of the first result.
    conditions : how the swatches were dyed and read; else those of fitted dyes among the results.

    Raises `DyemixError` where there is nothing to report, or a result that has no report.
    """
    if not results:
        raise DyemixError("nothing to report: give fitted dyes, a match, a trial or a job.")
    sections = [section for result in results for section in _sections(result)]
    dyes = next((result for result in results if isinstance(result, DyeSet)), None)
    return pages().get_template("page/report.html").render(
        title=title or sections[0].heading,
        sections=sections,
        conditions=conditions or (dyes.conditions if dyes else {}),
        banner="".join(marks(*results)),
        cautions=usual(),
        made=date.today(),
        versions=_versions(),
    )  # fmt: skip


def _sections(result: Any) -> list[Section]:
    if isinstance(result, JobRecord):
        title, blocks = result.read()
        sheets = [section for sheet in result.sheets for section in _sections(sheet)]
        return [Section(title, blocks=blocks), *sheets]
    if isinstance(result, Sheet):
        title, blocks = result.read()
        return [Section(title, blocks=blocks)]
    heading = _HEADINGS.get(type(result), getattr(result, "title", type(result).__name__))
    if isinstance(result, Matches | Correction):
        heading = f"{heading}: {result.target.name or result.target}"
    pictures = tuple(b64encode(png).decode() for png in drawn(result))
    table = result.to_frame() if hasattr(result, "to_frame") else None
    return [Section(heading, str(result), table=table, pictures=pictures)]


def _versions() -> dict[str, str]:
    """What the figures were worked out with."""
    found = {"Python": sys.version.split()[0]}
    for name in _PACKAGES:
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:  # run from a source tree that was never installed
            found[name] = "not installed"
    return found
