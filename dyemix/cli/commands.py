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


# What was called otherwise ------------------------------------------------------------------------


def written_anew(words: list[str]) -> str:
    """A sentence with the whole command as it is written now; "" where nothing in it is earlier."""
    from dyemix.reading import is_picture

    earlier = data("renamed")
    options: dict[str, dict[str, str]] = earlier["options"]
    old = [part for word in words for part in (word.split("=", 1) if word[:2] == "--" else [word])]
    rest = list(old)
    new = _taken(rest, earlier["commands"]) if rest else []
    rest = new + rest
    name = next((n for n in (" ".join(rest[:2]), *rest[:1]) if n in options), "")
    new, rest = rest[: len(name.split())], rest[len(name.split()) :]
    if rest and not rest[0].startswith("-"):  # its one argument
        if name == "fit" and is_picture(rest[0]):
            new, name = ["read"], "read"
        elif name == "fit":
            new.append("--swatches")
        if name == "match" and "--cell" in rest[:-1]:
            cell = rest.index("--cell")
            rest = [f"{rest[0]} {rest[cell + 1]}", *rest[1:cell], *rest[cell + 2 :]]
    while rest:
        new += _taken(rest, options.get(name, {}))
    if new != old and not {"-o", "--output"} & {*new}:
        new += earlier["outputs"].get(name, "").split()
    return "" if new == old else f"That is written so now: dyemix {shlex.join(new)}"


def _taken(words: list[str], table: dict[str, str]) -> list[str]:
    """The first of the words as it is written now; what becomes of it is taken off them."""
    word = words.pop(0)
    if word not in table:
        return [word]
    out = []
    for part in shlex.split(table[word]):
        values = [words.pop(0) if words else "" for _ in range(part.count("{}"))]
        out.append(part.format(*values))
    return out
