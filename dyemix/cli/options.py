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
        from dyemix.dataset.serialise import as_json as to_json

        click.echo(to_json(result))
    else:
        print_text(str(result))


_BOOK = "dyemix.book"


def _remember_book(context: click.Context, _: click.Parameter, path: Path | None) -> None:
    context.meta[_BOOK] = path


#: The value is kept for `chosen_book`, so that it is not an argument of every command.
book_option = click.option(
    "--book", type=FILE, metavar="FILE", help="Work with this dye book: see 'dyemix book'.",
    expose_value=False, callback=_remember_book,
)  # fmt: skip


def chosen_book() -> Path | None:
    """The dye book that the command was given with --book."""
    path: Path | None = click.get_current_context().meta.get(_BOOK)
    return path


def open_book(named: Path | None, create: bool = False) -> Any:
    """The book named, or the one in this folder; begun where there is none and `create` is set."""
    from dyemix.dyebook import DyeBook, find_book

    return DyeBook(find_book(named), create, say)


def read_target(words: str) -> Any:
    """A colour as typed, or the signed standard of this name in the book that was chosen."""
    from dyemix.dataset.target import Target

    named = chosen_book()
    if named is not None:
        with open_book(named) as book:
            if words in {signed.name for signed in book.sign_offs()}:
                return book.standard(words)
    return Target.parse(words)


def shelf_options(command: Command) -> Command:
    """The options that say which swatches to use."""
    for option in (
        book_option,
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


def shelf_dyes(
    swatches: Path | None, check: Path | None, leave_out: tuple[str, ...], afresh: bool = False
) -> Any:
    """The fitted dyes at hand; which swatches they come from is said on the error stream.

    Those of a book are the fit that it keeps, unless they are to be fitted `afresh`.
    """
    from dyemix.shelf import find_shelf, fitted

    named = chosen_book()
    if named is not None:
        if swatches is not None:
            raise click.UsageError("give a swatch table or --book, not both.")
        from dyemix.files import read_swatches

        with open_book(named) as book:
            say(f"Swatches: the dye book {named}")
            if not (afresh or check or leave_out):
                return book.dyes()
            return book.fitted(None if check is None else read_swatches(check), leave_out)
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
stocks_option = click.option(
    "--stocks",
    metavar="STOCKS",
    help="Table of bottles (.csv), one strength for all, as 2, or 'navy 1, gold 2' (% w/v).",
)
settings_option = click.option(
    "--settings", type=FILE, metavar="FILE", help="Your own figures: see 'dyemix settings'."
)
html_option = click.option(
    "--html", type=FILE, metavar="FILE", help="Write a page to print too, on A4 or Letter."
)
demo_option = click.option(
    "--demo", is_flag=True, help="Allow a sheet of the demo's invented dyes: not for dyeing."
)


def read_settings(path: Path | None) -> Any:
    """The dyer's own figures, or those of common practice."""
    from dyemix.bench.settings import BathSettings

    return BathSettings() if path is None else BathSettings.load(path)


def read_stocks_option(text: str | None) -> Any:
    """The stocks named; else the bottles of the book that was chosen, if it has any."""
    from dyemix.bench import parse_stocks

    if text is not None:
        return parse_stocks(text)
    named = chosen_book()
    if named is None:
        return None
    with open_book(named) as book:
        return book.stocks() or None


def give(sheet: Any, html: Path | None, as_json: bool) -> None:
    """Print a sheet; write its page where one was asked for."""
    if html is not None:
        write_file(html, sheet.to_html())
    if as_json:
        click.echo(sheet.to_json())
    else:
        print_text(str(sheet))
