"""The command `dyemix book`: what a workshop keeps, in one file."""

from __future__ import annotations

from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

from click import group

import dyemix
from dyemix import console
from dyemix.cli import options, shared
from dyemix.cli.options import Commands, given, given_only


@group(cls=Commands)
def book() -> None:
    """Keep all that a workshop knows in one file.

    Cloths, dyes, stocks, swatches, recipes, sheets, trials and signed standards.

    The book is --book FILE, or the one .dyebook in this folder.
    """


command = partial(options.command, into=book)


@command("", "book json", name="list")
def contents() -> None:
    """Say what the book holds."""
    with shared.open_book() as kept:
        shared.show(kept.contents())


@command("JOB", "book json")
def show(job: str) -> None:
    """Say everything that is kept under one JOB."""
    with shared.open_book() as kept:
        shared.show(kept.job(job))


@command("TABLE", "name book")
def add(table: Path, name: str | None) -> None:
    """Add the swatches of a TABLE, in a new book if there is none."""
    _keep("add_swatches", dyemix.read_swatches(table), name or "")


@command("NAME", "fibre note book")
def cloth(**what: str | None) -> None:
    """Add a cloth, or what is now known of one."""
    from dyemix.dyebook.records import Cloth

    _keep("add_cloth", Cloth(**given_only(what)))


@command("NAME", "lot date note book")
def dye(name: str, day: date | None, **what: str | None) -> None:
    """Add a lot of dye powder, bought on --date."""
    from dyemix.dyebook.records import DyeLot

    _keep("add_dye", DyeLot(name, bought=day, **given_only(what)))


@command("RECIPE", "job! target measures date note book")
def recipe(recipe: str, job: str, aim: str | None, day: date | None, note: str | None) -> None:
    """Keep a RECIPE under a job."""
    wanted = shared.target(aim) if aim else None
    _keep("add_recipe", job, shared.recipe(recipe), wanted, note or "", day)


@command("TABLE", "book")
def stocks(table: Path) -> None:
    """Add the stock bottles of a TABLE.

    Its columns are dye and stock_pct; if known made, cold, lot, how, left_ml.
    """
    from dyemix.bench.tables import read_stocks

    _keep("add_stocks", *read_stocks(table))


def _keep(what: str, *values: Any) -> None:
    """Keep something in the book, begun where there is none, and say what it holds then."""
    with shared.open_book(create=True) as kept:
        getattr(kept, what)(*values)
        shared.show(kept.contents())


@command("NAME PIECE", "recipe measures job tolerance date note book")
def sign(name: str, piece: str, recipe: str | None, day: date | None, **what: Any) -> None:
    """Keep a signed swatch as the standard NAME.

    PIECE is a table with its reading, or a colour.
    """
    from dyemix.colour.colorimetry import D65_10

    meant = None if recipe is None else shared.recipe(recipe)
    reading = shared.piece(piece, D65_10, meant)
    with shared.open_book(create=True) as kept:
        kept.sign_off(name, reading, on=day, **given_only(what))
        console.remark(f"Standard {name}: {kept.standard(name)}")


@command("COLOUR", "count book json")
def near(colour: str, **how: Any) -> None:
    """Find past work near a COLOUR, as '#7d8a6e' or '56 -10 13'."""
    from dyemix.dyebook.past import near as find

    with shared.open_book() as kept:
        shared.show(find(kept, dyemix.Target.parse(colour), **given_only(how)))


@command("JOB", "cloth! pieces stock keep book demo sheet")
def repeat(job: str, keep: bool, **how: Any) -> None:
    """Write the bath sheet of a past JOB for other cloth."""
    from dyemix.dyebook.past import repeat as again

    how["stocks"] = shared.stocks() if given("stock") else None
    how["settings"] = shared.settings() if given("settings") else None
    how["allow_demo"] = given("demo")
    with shared.open_book() as kept:
        sheet = again(kept, job, given("cloth_g"), **given_only(how))
        if keep:
            kept.add_sheets(sheet)
    shared.show(sheet)


@command("", "half-life lot keep book json")
def learn(keep: bool, **how: Any) -> None:
    """Say what the book's trials teach of its dyes.

    --lot is the one in use: trials of another count less, as old ones do by --half-life. With
    --keep, they weigh so for every later command.
    """
    with shared.open_book() as kept:
        trials = [each.trial for each in kept.trials()]
        learnt = dyemix.learn(kept.dyes(learnt=False), trials, **given_only(how))
        shared.show(learnt)
        if keep:
            kept.keep_fit(learnt.dyes, "as trials were weighed", learnt=True)
            console.remark("Kept: every command with --book uses these dyes from now on.")


@command("FILE", "book")
def backup(file: Path) -> None:
    """Copy the book to a new FILE, others writing or not."""
    with shared.open_book() as kept:
        kept.backup(file)
    console.remark(f"Written: {file}")


@command("FOLDER", "book")
def export(folder: Path) -> None:
    """Write the whole book as CSV tables into a new FOLDER."""
    from dyemix.dyebook.connection import find_book
    from dyemix.dyebook.tables import export_csv

    for path in export_csv(find_book(given("book")), folder):
        console.remark(f"Written: {path}")
