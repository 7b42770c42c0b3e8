"""Commands on finished pieces: what to do about one, and which square to dye next."""

from __future__ import annotations

from pathlib import Path

import click

from dyemix.cli_options import FILE, as_json_option, shelf_dyes, shelf_options, show


@click.command()
@click.argument("recipe")
@click.option(
    "--reading", required=True, metavar="READING",
    help="Of the dry piece: a file, '#7d8a6e', or L* a* b*.",
)  # fmt: skip
@click.option("--target", required=True, metavar="COLOUR", help="What it was meant to be.")
@click.option("--second-bath", is_flag=True, help="RECIPE went over a finished piece: give --on.")
@click.option("--on", "under", metavar="READING", help="Of the piece that it went over.")
@click.option("--other-dyes", is_flag=True, help="Let one more dye join the corrected recipe.")
@click.option(
    "--dosing", type=float, metavar="SHARE",
    help="How well you measure a dye, as 0.02 for 2 %; by default what your squares show.",
)  # fmt: skip
@shelf_options
@as_json_option
def trial(
    recipe: str,
    reading: str,
    target: str,
    second_bath: bool,
    under: str | None,
    other_dyes: bool,
    dosing: float | None,
    swatches: Path | None,
    check: Path | None,
    leave_out: tuple[str, ...],
    as_json: bool,
) -> None:
    """Say what a piece dyed by RECIPE misses by, and what to do about it."""
    from dyemix.correcting import correct
    from dyemix.files.pieces import read_piece
    from dyemix.recipe import Recipe
    from dyemix.target import Target
    from dyemix.trial import Bath, Trial

    dyed, wanted = Recipe.parse(recipe), Target.parse(target)
    dyes = shelf_dyes(swatches, check, leave_out)
    done = Trial(
        dyed,
        read_piece(reading, dyes.light, dyed),
        wanted,
        bath=Bath.SECOND if second_bath else Bath.FIRST,
        on=None if under is None else read_piece(under, dyes.light),
    )
    show(correct(dyes, done, other_dyes=other_dyes, dosing=dosing), as_json)


@click.command("next", context_settings={"ignore_unknown_options": True})
@click.argument("colours", nargs=-1)
@click.option("--colours", "file", type=FILE, metavar="FILE", help="Colours, one a line.")
@click.option("--count", default=1, show_default=True, help="How many squares to choose.")
@click.option("--max-dyes", default=3, show_default=True, help="Most dyes in a recipe.")
@shelf_options
@as_json_option
def next_square(
    colours: tuple[str, ...],
    file: Path | None,
    count: int,
    max_dyes: int,
    swatches: Path | None,
    check: Path | None,
    leave_out: tuple[str, ...],
    as_json: bool,
) -> None:
    """Say which square, of one dye or a mix, would most lower the likely miss over COLOURS."""
    from dyemix.files.pieces import read_colours
    from dyemix.next_swatch import next_swatch

    wanted = read_colours(colours, file)
    dyes = shelf_dyes(swatches, check, leave_out)
    show(next_swatch(dyes, wanted, count, max_dyes), as_json)


COMMANDS = (trial, next_square)
