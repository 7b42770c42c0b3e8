"""The command `dyemix book`: what a workshop keeps, in one file."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

from click import argument, group, option

from dyemix import console
from dyemix.cli import shared
from dyemix.cli.shared import READ, WEIGHT, Commands, given

note_option = option("--note", default="", help="A note.")


@group(cls=Commands)
def book() -> None:
    """Keep cloths, dyes, stocks, swatches, recipes, sheets, trials and sign-offs in one file.

    The book is --book FILE, or the one .dyebook in this folder.
    """


def _command(name: str) -> Callable[[Callable[..., Any]], Any]:
    """A command of the group, with the option that names the book."""
    return lambda function: book.command(name)(shared.book_option(function))


@_command("list")
@shared.json_option
def contents() -> None:
    """Say what the book holds."""
    with shared.open_book() as kept:
        shared.show(kept.contents())


@_command("show")
@argument("job")
@shared.json_option
def show_job(job: str) -> None:
    """Say everything under one JOB: recipes, sheets, trials, sign-offs."""
    with shared.open_book() as kept:
        shared.show(kept.job(job))


@_command("add")
@argument("table", type=READ)
@option("--name", default="", help="What to call them; else the file's name.")
def add(table: Path, name: str) -> None:
    """Add the swatches of a TABLE; begins the book where there is none."""
    from dyemix.files import read_swatches

    swatches = read_swatches(table)
    with shared.open_book(create=True) as kept:
        kept.add_swatches(swatches, name)
        shared.show(kept.contents())


@_command("cloth")
@argument("name")
@option("--fibre", default="", help="As 'cotton 55 %, linen 45 %'.")
@note_option
def cloth(name: str, fibre: str, note: str) -> None:
    """Add a cloth, or what is now known of one."""
    from dyemix.dyebook.records import Cloth

    _keep(name, "add_cloth", Cloth(name, fibre, note))


@_command("dye")
@argument("name")
@option("--lot", default="", help="Lot of the powder.")
@shared.date_option
@note_option
def dye(name: str, lot: str, day: date | None, note: str) -> None:
    """Add a lot of dye powder; --date is the day it was bought."""
    from dyemix.dyebook.records import DyeLot

    _keep(name, "add_dye", DyeLot(name, lot, day, note))


@_command("recipe")
@argument("recipe")
@option("--job", required=True, help="The job it is for.")
@option("--target", "aim", metavar="COLOUR", help="What it is to match, as '#7d8a6e'.")
@shared.date_option
@note_option
def recipe(recipe: str, job: str, aim: str | None, day: date | None, note: str) -> None:
    """Keep a RECIPE under a job."""
    from dyemix.dataset.target import Target

    _keep(job, "add_recipe", job, recipe, Target.parse(aim) if aim else None, note, day)


def _keep(name: str, what: str, *values: Any) -> None:
    with shared.open_book(create=True) as kept:
        getattr(kept, what)(*values)
    console.remark(f"Kept: {name}")


@_command("stocks")
@argument("table", type=READ)
def bottles(table: Path) -> None:
    """Add the stock bottles of a TABLE: dye, stock_pct, made, cold, lot, how, left_ml."""
    from dyemix.bench.tables import read_stocks

    found = read_stocks(table)
    with shared.open_book(create=True) as kept:
        kept.add_stocks(*found)
        shared.show(kept.contents())


@_command("sign")
@argument("name")
@argument("piece")
@option("--recipe", help="Which piece of the table, where it has several.")
@option("--job", default="", help="The job it is the standard of; else NAME.")
@option("--tolerance", default=3.0, show_default=True, help="ΔE2000 agreed on.")
@shared.date_option
@note_option
def sign(
    name: str, piece: str, recipe: str | None, job: str, tolerance: float, day: date | None,
    note: str,
) -> None:  # fmt: skip
    """Keep a signed swatch, read in the table PIECE, as the standard NAME."""
    from dyemix.colour.colorimetry import D65_10
    from dyemix.dataset.recipe import Recipe
    from dyemix.files.targets import read_piece

    reading = read_piece(piece, D65_10, Recipe.parse(recipe) if recipe else None)
    with shared.open_book(create=True) as kept:
        kept.sign_off(name, reading, job, tolerance, note, day)
        console.remark(f"Standard {name}: {kept.standard(name)}")


@_command("near")
@argument("colour")
@option("--count", default=8, show_default=True, help="How many pieces to list.")
@shared.json_option
def near(colour: str, count: int) -> None:
    """Find past work near a COLOUR: '#7d8a6e', or L* a* b* as '56 -10 13'."""
    from dyemix.dataset.target import Target
    from dyemix.dyebook.past import near as find

    with shared.open_book() as kept:
        shared.show(find(kept, Target.parse(colour), count))


@_command("repeat")
@argument("job")
@option(
    "--cloth", "cloth_g", type=WEIGHT, required=True, help="Dry weight of it, as 500g or '1 lb'."
)
@option("--pieces", default=1, show_default=True, help="How many pieces the cloth is.")
@shared.stock_option
@option("--keep", is_flag=True, help="Keep the new sheet in the book.")
@shared.demo_option
@shared.sheet_options
def repeat(job: str, cloth_g: float, pieces: int, keep: bool) -> None:
    """Write the bath sheet of a past JOB for another weight of cloth."""
    from dyemix.dyebook.past import repeat as again

    with shared.open_book() as kept:
        sheet = again(
            kept, job, cloth_g, stocks=shared.stocks(), settings=shared.settings(), pieces=pieces,
            allow_demo=given("demo"),
        )  # fmt: skip
        if keep:
            kept.add_sheets(sheet)
    shared.show(sheet)


@_command("learn")
@option("--half-life", type=float, metavar="DAYS", help="A trial this old counts half.")
@option("--lot", help="The lot in use: trials of another count less.")
@option("--keep", is_flag=True, help="Keep the learnt dyes for every later command.")
@shared.json_option
def learn(half_life: float | None, lot: str | None, keep: bool) -> None:
    """Say what the book's trials teach; with --keep, as old or other lots weigh here."""
    from dyemix.fitting.learn import learn as learn_from

    with shared.open_book() as book:
        trials = [kept.trial for kept in book.trials()]
        learnt = learn_from(book.dyes(learnt=False), trials, half_life_days=half_life, lot=lot)
        shared.show(learnt)
        if keep:
            book.keep_fit(learnt.dyes, "as trials were weighed", learnt=True)
            console.remark("Kept: every command with --book uses these dyes from now on.")


@_command("backup")
@argument("file", type=READ)
def backup(file: Path) -> None:
    """Copy the book to a new FILE, safely even while another command writes to it."""
    with shared.open_book() as kept:
        kept.backup(file)
    console.remark(f"Written: {file}")


@_command("export")
@argument("folder", type=READ)
def export(folder: Path) -> None:
    """Write the whole book as plain CSV tables into a new FOLDER."""
    from dyemix.dyebook.connection import find_book
    from dyemix.dyebook.tables import export_csv

    for path in export_csv(find_book(given("book")), folder):
        console.remark(f"Written: {path}")
