"""From a plan to fitted dyes: the first squares, the page to photograph, readings, the fit."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from click import UsageError, argument, option

import dyemix
from dyemix import console
from dyemix.cli import shared
from dyemix.cli.shared import READ, WEIGHT, WRITTEN, command, given
from dyemix.errors import DyemixError


@command()
@argument("dyes")
@option("--method", required=True, help="What you dye on, as 'cotton lawn'.")
@option("--cloth", "swatch_g", type=WEIGHT, default="5g", help="Dry weight of a square, as 5g.")
@option("--stock", "stock_pct", type=float, help="Strength of the stocks, % w/v.")
@option("--spoons", help="Spoon set: metric, us, australian or imperial.")
@shared.method_options
@option("-o", "--output", type=WRITTEN, required=True, metavar="TABLE", help="Swatch table.")
@shared.sheet_options
def start(dyes: str, method: str, output: Path, **how: Any) -> None:
    """Plan the squares of a first weekend.

    Of your DYES, as 'gold, scarlet, navy'. Writes the swatch table to fill in.
    """
    from dyemix.files import swatch_table

    plan = dyemix.first_swatches(dyes, method, settings=shared.settings(), **shared.given_only(how))
    shared.show(plan)
    shared.write(output, swatch_table(plan.table()))
    shared.then("Once it is filled in", "fit", "--swatches", str(output))


@command()
@option(
    "-o", "--output", type=WRITTEN, required=True, metavar="PAGE",
    help="Page to write: .pdf, .svg or .png; its table of cells goes beside it.",
)  # fmt: skip
@option("--swatches", type=READ, metavar="FILE", help="Swatches to print into the cells.")
@option("--cells", type=int, metavar="N", help="How many cells: 12, 24 or 40.")
@option("--paper", default="A4", show_default=True, help="A4 or Letter.")
def photo_page(output: Path, swatches: Path | None, cells: int | None, paper: str) -> None:
    """Write a page to print, to lay swatches on, and to photograph."""
    from dyemix.photo import write_photo_page

    laid = None if swatches is None else dyemix.read_swatches(swatches)
    shared.say(str(write_photo_page(output, laid, cells, paper, **shared.care())))


@command()
@argument("file", type=READ)
@option("-o", "--output", type=WRITTEN, metavar="TABLE", required=True, help="Swatch table.")
@option("--names", type=READ, metavar="TABLE", help="What is what: sample,recipe or cell,recipe.")
@shared.draw_option
@shared.photo_options
def read(file: Path, output: Path, names: Path | None) -> None:
    """Turn readings into a swatch table, and say what was understood.

    FILE is an instrument's (ISO 28178 / CGATS.17 text, CxF3), a workbook (.xlsx), a table, or a
    photograph of swatches: on the printed page ('dyemix photo-page'), or with --grid or --corners.
    """
    from dyemix.files import swatch_table
    from dyemix.photo import write_contact_sheet
    from dyemix.reading import convert

    with console.waiting("Reading"):
        report = convert(file, names, shared.photo(cells=names))
    picture, seen = given("draw"), report.photograph
    if picture is not None and seen is None:
        raise DyemixError(f"{file}: --draw shows what was read of a photograph.")
    shared.write(output, swatch_table(report.swatches))
    shared.say(str(report))
    if picture is not None and seen is not None:
        write_contact_sheet(seen, picture, force=bool(given("force")))
        console.remark(f"Written: {picture}")
    shared.then("Next", "fit", "--swatches", str(output))


@command()
@shared.shelf_options
@option(
    "--borrow", type=READ, metavar="FILE",
    help="Swatch table of another cloth (or another dyer), for dyes with one or two depths here.",
)  # fmt: skip
@option("-o", "--output", type=WRITTEN, metavar="FILE", help="Save the fitted dyes as JSON.")
@shared.answer_options
def fit(borrow: Path | None, output: Path | None) -> None:
    """Fit the dyes of a swatch table and say how well they predict."""
    from dyemix.model.saved import saved_text
    from dyemix.shelf import borrow_shelf, readings_behind

    if borrow is None:
        fitted = shared.dyes(afresh=True)
    elif given("book") is not None:
        raise UsageError("--borrow works on swatch tables, not on a --book.")
    else:
        fitted = borrow_shelf(given("swatches"), borrow, given("check"), given("leave_out"))
    if given("book") is not None:
        with shared.open_book() as book:
            book.keep_fit(fitted)
        shared.kept("every command with --book uses this fit until its swatches change.")
    if output is not None:
        shared.write(output, saved_text(fitted))
    behind = None if given("book") is not None else readings_behind(given("swatches"))
    shared.show(fitted.report, drawn=fitted, swatches=behind)
    if borrow is None:
        shared.then("To match a colour", "match", "#7d8a6e")
    elif output is not None:
        shared.then("To match a colour", "match", "#7d8a6e", "--swatches", str(output))
