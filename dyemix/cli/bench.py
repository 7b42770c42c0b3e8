"""The commands for the bench: bath, stock, bench, settings."""

from __future__ import annotations

from pathlib import Path

import click

from dyemix.cli.options import (
    FILE,
    as_json_option,
    book_option,
    chosen_book,
    demo_option,
    give,
    html_option,
    open_book,
    print_text,
    read_settings,
    read_stocks_option,
    read_target,
    say,
    settings_option,
    shelf_dyes,
    shelf_options,
    stocks_option,
    write_file,
)

own_option = click.option(
    "--no-swatches", is_flag=True, help="A recipe of your own, without fitted dyes to check it by."
)


@click.command()
@click.argument("recipe")
@click.option("--cloth", required=True, help="Dry weight of the cloth, as 240g or '8.5 oz'.")
@stocks_option
@click.option("--ratio", type=float, help="Liquor ratio, mL per g: 20 for 20:1.")
@click.option("--alkali", help="When the soda ash goes in: presoak, with or after (the dye).")
@click.option(
    "--target",
    metavar="COLOUR",
    help="What it is to match, as '#7d8a6e', or a standard of the book.",
)
@click.option("--job", default="", help="Name of the job.")
@click.option("--pieces", default=1, show_default=True, help="How many pieces the cloth is.")
@click.option("--dry", is_flag=True, help="The cloth goes in dry, not wetted and wrung.")
@settings_option
@shelf_options
@own_option
@demo_option
@html_option
@as_json_option
def bath(
    recipe: str,
    cloth: str,
    stocks: str | None,
    ratio: float | None,
    alkali: str | None,
    target: str | None,
    job: str,
    pieces: int,
    dry: bool,
    settings: Path | None,
    swatches: Path | None,
    check: Path | None,
    leave_out: tuple[str, ...],
    no_swatches: bool,
    demo: bool,
    html: Path | None,
    as_json: bool,
) -> None:
    """Write the bath sheet of a RECIPE: what to measure, in the order of the work.

    Amounts are % of dry cloth weight; mL and spoons of liquid stock are understood with --stocks.
    """
    from dyemix.bench import bath_sheet
    from dyemix.dataset.units import parse_weight

    sheet = bath_sheet(
        recipe,
        parse_weight(cloth),
        stocks=read_stocks_option(stocks),
        liquor_ratio=ratio,
        alkali=alkali,
        wetted=not dry,
        settings=read_settings(settings),
        dyes=None if no_swatches else shelf_dyes(swatches, check, leave_out),
        job=job,
        target=read_target(target) if target else None,
        pieces=pieces,
        allow_demo=demo,
    )
    give(sheet, html, as_json)
    named = chosen_book()
    if named is not None and job:
        with open_book(named) as book:
            book.add_sheets(sheet)
        say(f"Kept in {named}: {job}")


@click.command()
@click.argument("dye")
@click.option("--strength", type=float, help="% w/v, g per 100 mL; else that of the settings.")
@click.option("--make", default="500ml", show_default=True, help="Volume, as 500ml or '16 fl oz'.")
@click.option("--lot", default="", help="Lot of the powder.")
@click.option("--warm", is_flag=True, help="It will be kept at room temperature, not cold.")
@click.option("--teaspoon", type=float, help="Grams of this powder in a levelled teaspoon.")
@settings_option
@book_option
@html_option
@as_json_option
def stock(
    dye: str,
    strength: float | None,
    make: str,
    lot: str,
    warm: bool,
    teaspoon: float | None,
    settings: Path | None,
    html: Path | None,
    as_json: bool,
) -> None:
    """Write the sheet for making a stock of one DYE, with a label to cut out."""
    from dyemix.bench import stock_sheet
    from dyemix.dataset.units import parse_volume

    sheet = stock_sheet(
        dye,
        strength,
        parse_volume(make),
        lot=lot,
        cold=not warm,
        g_per_teaspoon=teaspoon,
        settings=read_settings(settings),
    )
    give(sheet, html, as_json)
    named = chosen_book()
    if named is not None:
        with open_book(named, create=True) as book:
            book.add_stocks(sheet.bottle)
        say(f"Kept in {named}: a bottle of {sheet.bottle.dye}")


@click.command()
@click.argument("jobs", type=FILE)
@stocks_option
@click.option("--dry", is_flag=True, help="The cloth goes in dry, not wetted and wrung.")
@settings_option
@shelf_options
@own_option
@demo_option
@html_option
@as_json_option
def bench(
    jobs: Path,
    stocks: str | None,
    dry: bool,
    settings: Path | None,
    swatches: Path | None,
    check: Path | None,
    leave_out: tuple[str, ...],
    no_swatches: bool,
    demo: bool,
    html: Path | None,
    as_json: bool,
) -> None:
    """Plan several baths of a table JOBS: stock to make, cups in order, cost a piece.

    Columns: job, recipe, cloth_g; if wanted cloth, pieces, target, liquor ratio, alkali.
    """
    from dyemix.bench import bench_plan, read_jobs

    plan = bench_plan(
        read_jobs(jobs),
        stocks=read_stocks_option(stocks),
        wetted=not dry,
        settings=read_settings(settings),
        dyes=None if no_swatches else shelf_dyes(swatches, check, leave_out),
        allow_demo=demo,
    )
    give(plan, html, as_json)
    named = chosen_book()
    if named is not None:
        with open_book(named) as book:
            book.add_sheets(*plan.sheets)
        say(f"Kept in {named}: every sheet")


@click.command()
@click.option("-o", "--output", type=FILE, metavar="FILE", help="Write them there, to edit.")
def settings(output: Path | None) -> None:
    """Print the figures that sheets rest on, each with its unit: edit them, give --settings."""
    from dyemix.bench.settings import defaults_text

    if output is None:
        print_text(defaults_text().rstrip())
    else:
        write_file(output, defaults_text(), keep=True)
        say(f"Edit it, and give it as --settings {output}")


COMMANDS = (bath, stock, bench, settings)
