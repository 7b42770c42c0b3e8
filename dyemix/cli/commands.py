"""The command `dyemix`: which commands there are, and what is said of a command that is none."""

from __future__ import annotations

import csv
import os
from collections.abc import Sequence
from pathlib import Path

import click

from dyemix import console
from dyemix.cli.options import Commands
from dyemix.errors import DyemixError

#: Each command and where it is defined, in the order of the work.
with Path(__file__).parents[1].joinpath("data", "commands.csv").open(encoding="utf-8") as _file:
    MODULES = {row["command"]: row["defined"] for row in csv.DictReader(_file)}


@click.group(
    cls=Commands,
    modules=MODULES,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Exit codes: 0 answered, out of reach included; 2 wrong input; 1 the machine refused "
    "(disk, permission); 130 interrupted.",
)
@click.version_option(package_name="dyemix")
def dyemix() -> None:
    """From your own swatches to the blend of stock dyes that comes nearest to a colour.

    Swatches are looked for in this order: --swatches or --book FILE; the one dye book, else the
    one swatch table, in this folder; the demo that comes with dyemix, whose dyes are invented.
    """


def run(words: Sequence[str]) -> None:
    """Run one command. Raises `DyemixError` for words that are none, with what would be right."""
    if "_DYEMIX_COMPLETE" in os.environ:  # a shell asks how a word could go on
        from click.shell_completion import shell_complete

        shell_complete(dyemix, {}, "dyemix", "_DYEMIX_COMPLETE", os.environ["_DYEMIX_COMPLETE"])
        return
    try:
        with dyemix.make_context("dyemix", list(words)) as context:
            context.meta["words"] = words
            dyemix.invoke(context)
    except click.exceptions.Exit:
        pass
    except click.exceptions.NoArgsIsHelpError as error:
        console.say(error.ctx.get_help() if error.ctx else "")
    except click.UsageError as error:
        from dyemix.cli.renamed import written_anew

        asked = error.ctx.command_path if error.ctx else "dyemix"
        raise DyemixError(
            written_anew(list(words)) or f"{error.format_message()} See '{asked} --help'."
        ) from None
    except click.ClickException as error:
        raise DyemixError(error.format_message()) from None
