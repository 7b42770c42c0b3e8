"""The command `dyemix`: parses, calls, prints. Everything it says comes from the results."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from dyemix.cli import bench, book, match, read, series_and_reach, trial
from dyemix.cli.options import (
    FILE,
    as_json_option,
    book_option,
    chosen_book,
    draw_option,
    open_book,
    print_text,
    say,
    shelf_dyes,
    shelf_options,
    show,
)
from dyemix.dataset.units import STOCK_PCT
from dyemix.errors import DyemixError


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="dyemix")
def dyemix() -> None:
    """From your own swatches to the blend of stock dyes that comes nearest to a colour.

    Swatches are looked for in this order: --swatches FILE; the one swatch table in this folder;
    the demo that comes with dyemix, whose dyes are invented.
    """


@dyemix.command()
@click.argument("table", type=FILE, required=False)
@click.option("--check", type=FILE, metavar="FILE", help="Mixtures set aside to check the fit by.")
@click.option("--leave-out", multiple=True, metavar="SWATCH", help="A swatch to leave out.")
@click.option(
    "--borrow", type=FILE, metavar="FILE",
    help="Swatch table of another cloth (or another dyer), for dyes with one or two depths here.",
)  # fmt: skip
@click.option("-o", "--output", type=FILE, metavar="FILE", help="Save the fitted dyes as JSON.")
@book_option
@draw_option
@as_json_option
def fit(
    table: Path | None,
    check: Path | None,
    leave_out: tuple[str, ...],
    borrow: Path | None,
    output: Path | None,
    draw: Path | None,
    as_json: bool,
) -> None:
    """Fit the dyes of a swatch TABLE and say how well they predict."""
    if borrow is None:
        dyes = shelf_dyes(table, check, leave_out, afresh=True)
    elif chosen_book() is not None:
        raise click.UsageError("--borrow works on swatch tables, not on a --book.")
    else:
        from dyemix.shelf import borrow_shelf

        dyes = borrow_shelf(table, borrow, check, leave_out)
    show(dyes.report, as_json)
    if (named := chosen_book()) is not None:
        with open_book(named) as book:
            book.keep_fit(dyes)
        say(f"Kept in {named}: every command with --book uses this fit until its swatches change")
    if output is not None:
        from dyemix.model.saved import save

        save(dyes, output)
        click.echo(f"Saved: {output}", err=True)
    if draw is not None:
        from dyemix.plots.results import draw_dyes
        from dyemix.shelf import readings_behind

        draw_dyes(dyes, None if named is not None else readings_behind(table), draw)
        click.echo(f"Drawn: {draw}", err=True)


@dyemix.command()
@click.argument("recipe")
@shelf_options
@click.option("--light", metavar="LIGHT", help="Illuminant and observer, as D65/10.")
@as_json_option
def predict(
    recipe: str,
    swatches: Path | None,
    check: Path | None,
    leave_out: tuple[str, ...],
    light: str | None,
    as_json: bool,
) -> None:
    """Say what a RECIPE, as 'marigold 0.8 + navy 0.25' (% owf), should look like."""
    from dyemix.colour.colorimetry import Light

    lamp = Light.parse(light) if light else None
    show(shelf_dyes(swatches, check, leave_out).predict(recipe, lamp), as_json)


@dyemix.command()
@click.option("--dyes", required=True, help="Your dyes, as 'gold, scarlet, navy'.")
@click.option("--cloth", required=True, help="Your cloth, as 'cotton lawn'.")
@click.option("--stock", default=STOCK_PCT, show_default=True, help="Stock strength, % w/v.")
@click.option("--square", default=5.0, show_default=True, help="Dry weight of a square, g.")
@click.option("--spoons", default="metric", show_default=True, help="Spoon set.")
@click.option(
    "-o", "--output", type=FILE, default=Path("swatches.csv"), show_default=True,
    help="Swatch table to write, readings blank.",
)  # fmt: skip
def start(dyes: str, cloth: str, stock: float, square: float, spoons: str, output: Path) -> None:
    """Plan the squares of a first weekend, and write the table to fill in."""
    from dyemix.bench.first_swatches import first_swatches

    plan = first_swatches(dyes, cloth, stock, square, spoons=spoons)
    if output.exists():
        raise DyemixError(f"{output} is there already: name another with -o.")
    plan.write(output)
    print_text(str(plan))
    click.echo(f"Written: {output}", err=True)


for extra in (
    match.match,
    *read.COMMANDS,
    *bench.COMMANDS,
    *series_and_reach.COMMANDS,
    *trial.COMMANDS,
    book.book,
):
    dyemix.add_command(extra)


def main() -> None:
    """Run the command; a fault in the input is one sentence and exit code 2."""
    try:
        dyemix.main(standalone_mode=False)
    except DyemixError as error:
        click.echo(str(error), err=True)
        sys.exit(2)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except click.Abort:
        sys.exit(130)
    except BrokenPipeError:  # the reader of our output has seen enough
        sys.stderr.close()
        sys.exit(0)


if __name__ == "__main__":
    main()
