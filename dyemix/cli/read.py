"""From swatches to fitted dyes: the page to photograph, readings, the fit."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from click import UsageError

import dyemix
from dyemix import console
from dyemix.cli import shared
from dyemix.cli.options import care, command, given, given_only


@command("", "output! swatches cells paper", name="photo-page")
def photo_page(output: Path, cells: str | None, **how: Any) -> None:
    """Write a page to print, lay swatches on and photograph.

    As .pdf, .svg or .png; the table of its cells goes beside it. --swatches are printed into them.
    """
    from dyemix.photo import write_photo_page

    laid = None if given("swatches") is None else dyemix.read_swatches(given("swatches"))
    how["cells"] = None if cells is None else int(cells)
    page = write_photo_page(output, laid, **given_only(how), **care())
    shared.say(str(page))
    table = output.with_name(f"{output.stem} read.csv")
    photos = ("photo.jpg", "photo-2.jpg")[: len(page.pages)]
    asked = ("read", *photos, "--names", str(page.table), "-o", str(table))
    shared.then(f"Once photographed, as {' and '.join(photos)}", *asked, alone=True)


@command("FILE...", "output! names draw light photo")
def read(file: tuple[Path, ...], output: Path, names: Path | None, light: Any) -> None:
    """Turn readings into a swatch table.

    Says what was understood, and what was not.

    FILE is an instrument's (ISO 28178 / CGATS.17 text, CxF3), a workbook (.xlsx), a table, or a
    photograph of swatches: on the printed page ('dyemix photo-page'), or with --grid or --corners.
    Several photographs, as of two pages, go into one table.
    """
    from dyemix.files import swatch_table
    from dyemix.photo import write_contact_sheet
    from dyemix.reading import convert

    given("inputs").extend(file)
    with console.waiting("Reading"):
        report = convert(file, names, shared.photo(names, light))
    picture, seen = given("draw"), report.photographs
    if (picture or light) and not seen:
        raise UsageError(f"--draw and --light are for a photograph, and {file[0]} is none.")
    shared.write(output, swatch_table(report.swatches))
    shared.say(str(report))
    for i, each in enumerate(seen if picture is not None else (), start=1):
        sheet = picture.with_stem(f"{picture.stem}-{i}") if i > 1 else picture
        write_contact_sheet(each, sheet, force=given("force"))
        console.remark(f"Written: {sheet}")
    shared.shelf("Next", output)


@command("", "shelf borrow output detail answer")
def fit(borrow: str | None, output: Path | None, detail: bool) -> None:
    """Fit the dyes of a swatch table, or of a method of the book, and say how well.

    The --output is the fitted dyes, as JSON, to be given as --swatches.
    """
    from dyemix.model.saved import saved_text
    from dyemix.shelf import borrow_shelf, readings_behind

    if borrow is None:
        fitted = shared.dyes()
    elif given("book") is not None:
        raise UsageError("in a book a method borrows: dyemix book add TABLE --borrow METHOD.")
    else:
        first = Path(borrow)
        fitted = borrow_shelf(given("swatches"), first, given("check"), given("leave_out"))
    if output is not None:
        shared.write(output, saved_text(fitted))
    behind = None if given("book") is not None else readings_behind(given("swatches"))
    shared.show(fitted.report, fitted.report.text(detail=detail), drawn=fitted, swatches=behind)
    if borrow is None:
        shared.then("To match a colour", "match", "#7d8a6e")
    elif output is None:
        shared.then("Keep it, to match by it", "fit", "--borrow", borrow, "-o", "borrowed.json")
    else:
        words = ("match", "#7d8a6e", "--swatches", str(output))
        shared.then("To match a colour", *words, alone=True)
