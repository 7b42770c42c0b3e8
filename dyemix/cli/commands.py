"""The command `dyemix`: which commands there are, and what is said of a command that is none."""

import re
import shlex
from collections.abc import Sequence

import click

from dyemix import console
from dyemix.cli.options import Commands
from dyemix.errors import DyemixError, data, said


@click.group(
    cls=Commands,
    table=data("commands"),
    context_settings={"help_option_names": ["-h", "--help"], "token_normalize_func": str.lower},
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
    try:
        with dyemix.make_context("dyemix", list(words)) as context:
            context.meta["words"] = words
            dyemix.invoke(context)
    except click.exceptions.Exit:
        pass
    except click.exceptions.NoArgsIsHelpError as error:
        console.say(error.ctx.get_help() if error.ctx else "")
    except click.UsageError as error:
        asked = error.ctx.command_path if error.ctx else "dyemix"
        # Words stand where none belongs, or a number is taken for an option.
        lost = re.match(r"-\d", getattr(error, "option_name", "-1")) or words[0].startswith("-")
        meant = written_anew(list(words)) or (put_right(list(words)) if lost else "")
        raise DyemixError(meant or f"{error.format_message()} See '{asked} --help'.") from None
    except click.ClickException as error:
        raise DyemixError(error.format_message()) from None


def put_right(words: list[str]) -> str:
    """A sentence with the whole command as it may be meant; "" where nobody can tell.

    Its options follow its name, and words that belong together are quoted.
    """
    at = next((i for i, word in enumerate(words) if word in dyemix.commands), 0)
    new = []
    for i, part in enumerate(console.by_option(words[at:] + words[:at])):
        named = 2 if i == 0 and part[0] in ("book", "series") else 1
        values, several = " ".join(part[named:]), len(part) > named + 1
        quoted = any(" " in word for word in part)
        together = several and not quoted and re.search(r"(^| )[-+]?\d|\+", values)
        new += [*part[:named], values] if together else part
    return "" if new == words else said("usage.put_right", shlex.join(new))


def written_anew(words: list[str]) -> str:
    """How an earlier command or option among the words is written now; "" where none is one."""
    earlier, words = data("renamed"), words[words[:1] == ["help"] :]
    of_command = earlier.get(words[0], {}) | earlier.get(" ".join(words[:2]), {})
    typed = [word.partition("=")[0] for word in words]
    typed += ["TABLE" for word in words[1:2] if not word.startswith("-")]
    old = next(filter(of_command.__contains__, typed), "")
    return said("usage.renamed", old, of_command[old]) if old else ""
