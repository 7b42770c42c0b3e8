"""What every command shares: the options that name a shelf, and how a result is shown."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import click

from dyemix.errors import DyemixError

Command = TypeVar("Command", bound=Callable[..., Any])
FILE = click.Path(path_type=Path)
_HEX = re.compile(r"#[0-9a-f]{6}\b")


def print_text(text: str) -> None:
    """Print a result; a hex code gets a patch of its colour where the terminal has true colour."""
    from rich.console import Console

    console = Console(highlight=False, soft_wrap=True)
    if console.color_system != "truecolor":
        click.echo(text)
        return
    from rich.text import Text

    line = Text()
    last = 0
    for code in _HEX.finditer(text):
        line.append(text[last : code.start()])
        line.append("   ", style=f"on {code[0]}")
        line.append(" " + code[0])
        last = code.end()
    console.print(line.append(text[last:]))


def show(result: object, as_json: bool) -> None:
    """Print a result, as text or as JSON."""
    if as_json:
        from dyemix.files.saved import as_json as to_json

        click.echo(to_json(result))
    else:
        print_text(str(result))


def shelf_options(command: Command) -> Command:
    """The options that say which swatches to use."""
    for option in (
        click.option("--swatches", type=FILE, metavar="FILE", help="Swatch table, or saved dyes."),
        click.option(
            "--check", type=FILE, metavar="FILE", help="Mixtures set aside to check the fit by."
        ),
        click.option(
            "--leave-out", multiple=True, metavar="SWATCH", help="A swatch to leave out, by name."
        ),
    ):
        command = option(command)
    return command


def shelf_dyes(swatches: Path | None, check: Path | None, leave_out: tuple[str, ...]) -> Any:
    """The fitted dyes at hand; which swatches they come from is said on the error stream."""
    from dyemix.files.shelf import find_shelf, fitted

    shelf = find_shelf(swatches, check)
    click.echo(shelf.note, err=True)
    return fitted(shelf.table, shelf.check, leave_out)


def say(text: str) -> None:
    """A word to the reader that is no part of the result."""
    click.echo(text, err=True)


def write_file(path: Path, text: str, keep: bool = False) -> None:
    """Write text and say so; with `keep`, a file that is there already is not written over."""
    try:
        with path.open("x" if keep else "w", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise DyemixError(f"{path} is there already: name another.") from None
    except OSError as error:
        raise DyemixError(f"{path}: cannot be written ({error.strerror}).") from None
    say(f"Written: {path}")


@contextmanager
def waiting(what: str) -> Iterator[Callable[[int, int], None]]:
    """A bar on the error stream, where that is a terminal, for work that takes seconds."""
    from rich.console import Console
    from rich.progress import Progress

    console = Console(stderr=True)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task(what, total=None)
        yield lambda done, whole: bar.update(task, completed=done, total=whole)


as_json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")
draw_option = click.option(
    "--draw", type=FILE, metavar="PICTURE", help="Draw it too: .png, .svg or .pdf."
)
