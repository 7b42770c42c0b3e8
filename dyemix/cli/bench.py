"""At the bench: what to measure for one bath or a day of them, how to make a stock, the figures."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from click import UsageError, argument, option

import dyemix
from dyemix import console
from dyemix.cli import shared
from dyemix.cli.shared import VOLUME, WEIGHT, WRITTEN, command, given, given_only

_TABLES = (".csv", ".tsv", ".txt")


@command()
@argument("recipe", metavar="RECIPE|JOBS")
@option("--cloth", "cloth_g", type=WEIGHT, help="Dry weight of it, as 240g or '8.5 oz'.")
@shared.stock_option
@shared.method_options
@option("--target", "aim", metavar="COLOUR", help="What it is to match, or a standard.")
@option("--job", help="Name of the job.")
@option("--pieces", type=int, help="How many pieces the cloth is.")
@option("--dry", is_flag=True, help="The cloth goes in dry, not wetted and wrung.")
@option("--no-swatches", is_flag=True, help="A recipe of your own, without fitted dyes.")
@shared.shelf_options
@shared.demo_option
@shared.sheet_options
def bath(recipe: str, dry: bool, no_swatches: bool, aim: str | None, **one: Any) -> None:
    """Write the bath sheet of a RECIPE: what to measure, in the order of the work.

    Amounts are % of dry cloth weight; mL and spoons of liquid stock are understood with --stock.
    A table of JOBS (.csv) plans a day: stock to make, cups in order, cost a piece. Its columns are
    job, recipe, cloth_g; if wanted cloth, pieces, target, liquor ratio, alkali.
    """
    from dyemix.bench.tables import read_jobs

    wanted = shared.target(aim) if aim else None
    one = given_only({**one, "target": wanted})
    dyes = None if no_swatches else shared.dyes()
    how = {
        "stocks": shared.stocks(), "wetted": not dry, "settings": shared.settings(),
        "dyes": dyes, "allow_demo": given("demo"),
    }  # fmt: skip
    if Path(recipe).suffix.lower() in _TABLES:
        if one:
            raise UsageError("a table of jobs says what each is: give it its columns.")
        plan = dyemix.bench_plan(read_jobs(recipe), **how)
        shared.show(plan)
        sheets = plan.sheets
    else:
        if "cloth_g" not in one:
            raise UsageError("say how much cloth: --cloth 240g.")
        sheet = dyemix.bath_sheet(recipe, **one, **how)
        shared.show(sheet)
        sheets = (sheet,)
        if dyes is not None and wanted is not None:
            expected = dyes.predict(sheet.recipe, wanted.light).as_target().typed
            words = (str(sheet.recipe), "--target", shared.typed(str(aim), wanted))
            shared.then("Once dry, with your reading", "trial", *words, "--reading", expected)
    if given("book") is not None and all(sheet.job for sheet in sheets):
        with shared.open_book() as book:
            book.add_sheets(*sheets)
        shared.kept(", ".join(sheet.job for sheet in sheets))


@command()
@argument("dye")
@option("--strength", "strength_pct", type=float, help="% w/v; else that of the settings.")
@option(
    "--make", "make_ml", type=VOLUME, default="500ml", show_default=True,
    help="How much, as 500ml or '16 fl oz'.",
)  # fmt: skip
@option("--lot", default="", help="Lot of the powder.")
@option("--warm", is_flag=True, help="It will be kept at room temperature, not cold.")
@option("--teaspoon", "g_per_teaspoon", type=float, help="Grams of it in a level teaspoon.")
@shared.book_option
@shared.sheet_options
def stock(dye: str, warm: bool, **how: Any) -> None:
    """Write the sheet for making a stock of one DYE, with a label to cut out."""
    sheet = dyemix.stock_sheet(dye, cold=not warm, settings=shared.settings(), **how)
    shared.show(sheet)
    if given("book") is not None:
        with shared.open_book(create=True) as book:
            book.add_stocks(sheet.bottle)
        shared.kept(f"a bottle of {sheet.bottle.dye}.")


@command("settings")
@option("-o", "--output", type=WRITTEN, metavar="FILE", help="Write them there, to edit.")
def figures(output: Path | None) -> None:
    """Print the figures that sheets rest on, each with its unit.

    Edit them, and give them back with --settings.
    """
    from dyemix.bench.settings import defaults_text

    if output is None:
        shared.say(defaults_text().rstrip())
        return
    shared.write(output, defaults_text())
    console.remark(f"Edit it, and give it as --settings {output}")
