"""Commands that take readings in: files of instruments, and photographs. They compute nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from dyemix.cli.options import FILE, as_json_option, print_text, say, show
from dyemix.errors import DyemixError

PHOTO_OPTIONS = (
    click.option("--cells", type=FILE, metavar="TABLE", help="Photo: what lies in which cell."),
    click.option("--corners", type=FILE, metavar="TABLE", help="Photo: corners of each cell."),
    click.option(
        "--grid", metavar="GRID", help="Photo: '4x6' and the corners x,y of the block of cells."
    ),
    click.option("--grey-at", default="", metavar="CORNERS", help="Photo: four x,y of the grey."),
    click.option("--card-at", default="", metavar="CORNERS", help="Photo: four x,y of the card."),
    click.option(
        "--card", type=FILE, metavar="TABLE", help="Photo: reference values of the patch card."
    ),
    click.option(
        "--grey", default="0.18", show_default=True, metavar="STEPS",
        help="Photo: reflectance of the grey card's steps, lightest first, or none.",
    ),
    click.option(
        "--anchor", type=click.Choice(["grey", "undyed"]), default="grey", show_default=True,
        help="Photo: what sets exposure and white; undyed where there is no grey card.",
    ),
    click.option(
        "--measured", type=FILE, metavar="TABLE", help="Photo: your measured swatches in it."
    ),
    click.option(
        "--keep", multiple=True, metavar="CELL", help="Photo: keep a flagged cell, or all."
    ),
)  # fmt: skip


def photo_options(command: Any) -> Any:
    """The options that say how a photograph is to be read."""
    for option in reversed(PHOTO_OPTIONS):
        command = option(command)
    return command


@click.command()
@click.argument("file", type=FILE)
@click.option(
    "-o", "--output", type=FILE, metavar="TABLE", required=True, help="Swatch table to write."
)
@click.option("--names", type=FILE, metavar="TABLE", help="Which sample is what: sample,recipe.")
@click.option(
    "--contact", type=FILE, metavar="PICTURE", help="Photo: draw what was read, cell by cell."
)
@photo_options
def read(file: Path, output: Path, names: Path | None, contact: Path | None, **photo: Any) -> None:
    """Turn a FILE of readings into a swatch table, and say what was understood.

    FILE is an instrument's file (ISO 28178 / CGATS.17 text, CxF3), a workbook (.xlsx), a table, or
    a photograph of swatches: on the printed sheet ('dyemix sheet'), or with --grid or --corners.
    """
    from dyemix.photo import PhotoOptions, write_contact_sheet
    from dyemix.reading import convert

    report = convert(file, names, PhotoOptions(**photo))
    report.write(output)
    print_text(str(report))
    say(f"Written: {output}")
    if contact is not None:
        if report.photograph is None:
            raise DyemixError(f"{file}: --contact draws what was read of a photograph.")
        write_contact_sheet(report.photograph, contact)
        say(f"Drawn: {contact}")


@click.command()
@click.option(
    "-o", "--output", type=FILE, default=Path("sheet.pdf"), show_default=True,
    help="Page to write: .pdf, .svg or .png; its table of cells goes beside it.",
)  # fmt: skip
@click.option("--pieces", type=FILE, metavar="TABLE", help="Swatches to print into the cells.")
@click.option("--cells", type=int, metavar="N", help="How many cells: 12, 24 or 40.")
@click.option("--paper", default="A4", show_default=True, help="A4 or Letter.")
def sheet(output: Path, pieces: Path | None, cells: int | None, paper: str) -> None:
    """Write a page to print, to lay swatches on, and to photograph."""
    from dyemix.files import read_swatches
    from dyemix.photo import write_photo_page

    laid = None if pieces is None else read_swatches(pieces)
    print_text(str(write_photo_page(output, laid, cells, paper)))


@click.command()
@click.argument("first", type=FILE)
@click.argument("first_cell")
@click.argument("second", type=FILE)
@click.argument("second_cell")
@photo_options
@as_json_option
def compare(
    first: Path, first_cell: str, second: Path, second_cell: str, as_json: bool, **photo: Any
) -> None:
    """Compare two photographed pieces: FIRST A3 SECOND B2, in one photograph or in two."""
    from dyemix.photo import PhotoOptions, difference, examine_photo

    options = PhotoOptions(**photo)
    one = examine_photo(first, options)
    other = one if second == first else examine_photo(second, options)
    show(difference(one, first_cell, other, second_cell), as_json)


COMMANDS = (read, sheet, compare)
