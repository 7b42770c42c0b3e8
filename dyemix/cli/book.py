"""The command `dyemix book`: what a workshop keeps, in one file."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import click

from dyemix.cli.options import (
    FILE,
    as_json_option,
    demo_option,
    give,
    html_option,
    open_book,
    read_settings,
    read_stocks_option,
    say,
    settings_option,
    show,
    stocks_option,
)

_NAMED = click.option(
    "--book", "named", type=FILE, metavar="FILE", help="The book; else the one in this folder."
)
_ON = click.option(
    "--on", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="The day, as 2026-05-03."
)
_NOTE = click.option("--note", default="", help="A note.")


@click.group()
def book() -> None:
    """Keep cloths, dyes, stocks, swatches, recipes, sheets, trials and sign-offs in one file.

    The book is --book FILE, or the one .dyebook in this folder.
    """


def _command(name: str) -> Callable[[Callable[..., Any]], click.Command]:
    """A command of the group, with the option that names the book."""
    return lambda function: book.command(name)(_NAMED(function))


def _day(when: Any) -> date | None:
    return None if when is None else when.date()


@_command("list")
@as_json_option
def contents(named: Path | None, as_json: bool) -> None:
    """Say what the book holds."""
    with open_book(named) as kept:
        show(kept.contents(), as_json)


@_command("show")
@click.argument("job")
@as_json_option
def show_job(job: str, named: Path | None, as_json: bool) -> None:
    """Say everything under one JOB: recipes, sheets, trials, sign-offs."""
    with open_book(named) as kept:
        show(kept.job(job), as_json)


@_command("add")
@click.argument("table", type=FILE)
@click.option("--name", default="", help="What to call them; else the file's name.")
def add(table: Path, name: str, named: Path | None) -> None:
    """Add the swatches of a TABLE; begins the book where there is none."""
    from dyemix.files import read_swatches

    swatches = read_swatches(table)
    with open_book(named, create=True) as kept:
        kept.add_swatches(swatches, name)
        show(kept.contents(), False)


@_command("cloth")
@click.argument("name")
@click.option("--fibre", default="", help="As 'cotton 55 %, linen 45 %'.")
@_NOTE
def cloth(name: str, fibre: str, note: str, named: Path | None) -> None:
    """Add a cloth, or what is now known of one."""
    from dyemix.dyebook import Cloth

    with open_book(named, create=True) as kept:
        kept.add_cloth(Cloth(name, fibre, note))
    say(f"Kept: {name}")


@_command("dye")
@click.argument("name")
@click.option("--lot", default="", help="Lot of the powder.")
@_ON
@_NOTE
def dye(name: str, lot: str, on: Any, note: str, named: Path | None) -> None:
    """Add a lot of dye powder; --on is the day it was bought."""
    from dyemix.dyebook import DyeLot

    with open_book(named, create=True) as kept:
        kept.add_dye(DyeLot(name, lot, _day(on), note))
    say(f"Kept: {name}")


@_command("stocks")
@click.argument("table", type=FILE)
def bottles(table: Path, named: Path | None) -> None:
    """Add the stock bottles of a TABLE: dye, stock_pct, made, cold, lot, how, left_ml."""
    from dyemix.bench import read_stocks

    found = read_stocks(table)
    with open_book(named, create=True) as kept:
        kept.add_stocks(*found)
        show(kept.contents(), False)


@_command("recipe")
@click.argument("recipe")
@click.option("--job", required=True, help="The job it is for.")
@click.option("--target", metavar="COLOUR", help="What it is to match, as '#7d8a6e'.")
@_ON
@_NOTE
def recipe(
    recipe: str, job: str, target: str | None, on: Any, note: str, named: Path | None
) -> None:
    """Keep a RECIPE under a job."""
    from dyemix.dataset.target import Target

    with open_book(named, create=True) as kept:
        kept.add_recipe(job, recipe, Target.parse(target) if target else None, note, _day(on))
    say(f"Kept: {job}")


@_command("sign")
@click.argument("name")
@click.argument("table", type=click.Path(exists=True, dir_okay=False))
@click.option("--recipe", help="Which piece of the table, where it has several.")
@click.option("--job", default="", help="The job it is the standard of; else NAME.")
@click.option("--tolerance", default=3.0, show_default=True, help="ΔE2000 agreed on.")
@_ON
@_NOTE
def sign(
    name: str,
    table: str,
    recipe: str | None,
    job: str,
    tolerance: float,
    on: Any,
    note: str,
    named: Path | None,
) -> None:
    """Keep a signed swatch, read in a TABLE, as the standard NAME."""
    from dyemix.colour.colorimetry import D65_10
    from dyemix.dataset.recipe import Recipe
    from dyemix.files.targets import read_piece

    reading = read_piece(table, D65_10, Recipe.parse(recipe) if recipe else None)
    with open_book(named, create=True) as kept:
        kept.sign_off(name, reading, job, tolerance, note, _day(on))
        say(f"Standard {name}: {kept.standard(name)}")


@_command("near")
@click.argument("colour")
@click.option("--count", default=8, show_default=True, help="How many pieces to list.")
@as_json_option
def near(colour: str, count: int, named: Path | None, as_json: bool) -> None:
    """Find past work near a COLOUR: '#7d8a6e', or L* a* b* as '56 -10 13'."""
    from dyemix.dataset.target import Target
    from dyemix.dyebook import near as find

    with open_book(named) as kept:
        show(find(kept, Target.parse(colour), count), as_json)


@_command("repeat")
@click.argument("job")
@click.option("--cloth", required=True, help="Dry weight of the cloth, as 500g or '1 lb'.")
@click.option("--pieces", default=1, show_default=True, help="How many pieces the cloth is.")
@stocks_option
@settings_option
@click.option("--keep", is_flag=True, help="Keep the new sheet in the book.")
@demo_option
@html_option
@as_json_option
def repeat(
    job: str,
    cloth: str,
    pieces: int,
    stocks: str | None,
    settings: Path | None,
    keep: bool,
    demo: bool,
    html: Path | None,
    as_json: bool,
    named: Path | None,
) -> None:
    """Write the bath sheet of a past JOB for another weight of cloth."""
    from dyemix.dataset.units import parse_weight
    from dyemix.dyebook import repeat as again

    with open_book(named) as kept:
        sheet = again(
            kept,
            job,
            parse_weight(cloth),
            stocks=read_stocks_option(stocks),
            settings=None if settings is None else read_settings(settings),
            pieces=pieces,
            allow_demo=demo,
        )
        if keep:
            kept.add_sheets(sheet)
    give(sheet, html, as_json)


@_command("backup")
@click.argument("file", type=FILE)
def backup(file: Path, named: Path | None) -> None:
    """Copy the book to a new FILE, safely even while another command writes to it."""
    with open_book(named) as kept:
        kept.backup(file)
    say(f"Written: {file}")


@_command("export")
@click.argument("folder", type=FILE)
def export(folder: Path, named: Path | None) -> None:
    """Write the whole book as plain CSV tables into a new FOLDER."""
    from dyemix.dyebook import export_csv, find_book

    for path in export_csv(find_book(named), folder):
        say(f"Written: {path}")
