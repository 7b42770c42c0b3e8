"""Commands on finished pieces: what to do about one, and which square to dye next."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from dyemix.cli.options import (
    FILE,
    as_json_option,
    book_option,
    chosen_book,
    open_book,
    read_target,
    say,
    shelf_dyes,
    shelf_options,
    show,
)


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
@click.option("--job", default="", help="The job it is of; with --book, the trial is kept.")
@click.option(
    "--date", "day", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE",
    help="The day it was dyed, as 2026-05-03.",
)  # fmt: skip
@click.option("--lot", default="", help="Which lots of dye were used.")
@click.option("--note", default="", help="A note to keep with it.")
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
    job: str,
    day: datetime | None,
    lot: str,
    note: str,
    swatches: Path | None,
    check: Path | None,
    leave_out: tuple[str, ...],
    as_json: bool,
) -> None:
    """Say what a piece dyed by RECIPE misses by, and what to do about it.

    With --book it is kept there, for 'dyemix learn'.
    """
    from dyemix.dataset.recipe import Recipe
    from dyemix.dataset.trial import Bath, Trial
    from dyemix.files.targets import read_piece
    from dyemix.matching.correct import correct

    dyed, wanted = Recipe.parse(recipe), read_target(target)
    dyes = shelf_dyes(swatches, check, leave_out)
    done = Trial(
        dyed,
        read_piece(reading, dyes.light, dyed),
        wanted,
        None if day is None else day.date(),
        lot,
        bath=Bath.SECOND if second_bath else Bath.FIRST,
        on=None if under is None else read_piece(under, dyes.light),
    )
    show(correct(dyes, done, other_dyes=other_dyes, dosing=dosing), as_json)
    if (named := chosen_book()) is not None:
        with open_book(named) as book:
            book.add_trial(done, job, note)
        say(f"Kept in {named}: a trial of {job or done.recipe}")


@click.command()
@click.option("--half-life", type=float, metavar="DAYS", help="A trial this old counts half.")
@click.option("--lot", help="The lot in use: trials of another count less.")
@click.option("--keep", is_flag=True, help="Keep the learnt dyes for every later command.")
@book_option
@as_json_option
def learn(half_life: float | None, lot: str | None, keep: bool, as_json: bool) -> None:
    """Let the trials of a dye book (--book) move its dyes, where that brings trials nearer."""
    from dyemix.fitting.learn import learn as learn_from

    with open_book(chosen_book()) as book:
        trials = [kept.trial for kept in book.trials()]
        learnt = learn_from(book.dyes(learnt=False), trials, half_life_days=half_life, lot=lot)
        show(learnt, as_json)
        if keep:
            book.keep_fit(learnt.dyes, learnt.outcome.value, learnt=True)
            say("Kept: every command with --book uses these dyes until its swatches change")


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
    from dyemix.files.targets import read_colours
    from dyemix.matching.next_swatch import next_swatch

    wanted = read_colours(colours, file)
    dyes = shelf_dyes(swatches, check, leave_out)
    show(next_swatch(dyes, wanted, count, max_dyes), as_json)


COMMANDS = (trial, learn, next_square)
