"""What every command shares: options that mean one thing everywhere, and where an answer goes.

`data/options.csv` holds every option once, in words; a command names those it takes. Options that
are ``held`` there are no argument of a command: click's context keeps them, and `given` tells them.
"""

from __future__ import annotations

import csv
import inspect
import shlex
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any

import click

import dyemix
from dyemix import console, writing
from dyemix.errors import DyemixError

Decorator = Callable[[Callable[..., Any]], click.Command]
#: Options that go together, each of them by one word.
GROUPS = {
    "shelf": "swatches book only check leave-out",
    "photo": "corners grid grey-at card-at card grey anchor measured accept",
    "sheet": "settings html json",
    "answer": "draw json",
}


class Written(click.Path):
    """A file that a command writes. Every other file that it is given, it reads."""


class Words(click.ParamType):  # type: ignore[type-arg]
    """Words that a function of the library understands, or says why not."""

    def __init__(self, name: str, module: str) -> None:
        self.name, self._module = name, module

    def convert(self, value: Any, *_: Any) -> Any:
        """What the words mean."""
        module, *path = self._module.split(":")
        understand: Any = import_module(f"dyemix.{module}")
        for part in path:
            understand = getattr(understand, part)
        return understand(value) if isinstance(value, str) else value


#: A kind of option, as the table names it, to what click wants to know of it.
_KINDS: dict[str, dict[str, Any]] = {
    "text": {"type": str},
    "texts": {"multiple": True},
    "names": {"multiple": True},
    "int": {"type": int},
    "float": {"type": float},
    "flag": {"is_flag": True},
    "read": {"type": click.Path(path_type=Path)},
    "written": {"type": Written(path_type=Path, allow_dash=True)},
    "day": {"type": Words("date", "bench.tables:parse_day")},
    "weight": {"type": Words("weight", "dataset.units:parse_weight")},
    "volume": {"type": Words("volume", "dataset.units:parse_volume")},
    "light": {"type": Words("light", "colour.colorimetry:Light:parse")},
}
with Path(__file__).parents[1].joinpath("data", "options.csv").open(encoding="utf-8") as _file:
    OPTIONS = {row["option"]: row for row in csv.DictReader(_file)}


def _option(word: str) -> click.Option:
    """The option of a word; one that ends in ``!`` must be given."""
    row = OPTIONS[word.rstrip("!")]
    how = _KINDS.get(row["kind"]) or {"type": click.Choice(row["kind"].split("|"), False)}
    short = ["-o"] if row["option"] == "output" else []
    return click.Option(
        [*short, f"--{row['option']}", row["name"] or row["option"].replace("-", "_")],
        metavar=row["metavar"] or None, help=row["help"], required=word.endswith("!"),
        expose_value=not row["held"], callback=_taken, **how,
    )  # fmt: skip


def _taken(context: click.Context, option: click.Parameter, value: Any) -> Any:
    """The value of an option; dyes are named as people list them, or the option twice."""
    if option.metavar == "DYES":
        value = tuple(name.strip() for text in value for name in text.split(",") if name.strip())
    if not option.expose_value:
        context.meta[option.name or ""] = value
    return value


def _argument(word: str) -> click.Argument:
    """``RECIPE``, ``[RECIPE]`` where it may be left out, ``COLOURS...`` for any number of it."""
    name = word.strip("[].").partition("|")[0]
    file = name in ("FILE", "TABLE", "FOLDER")
    return click.Argument(
        [name.lower()], metavar=word, required=word[0] != "[", nargs=-1 if "..." in word else 1,
        type=_KINDS["read"]["type"] if file else str,
    )  # fmt: skip


# Commands -----------------------------------------------------------------------------------------


class Command(click.Command):
    """A command that refuses what it may not write before it begins."""

    def invoke(self, context: click.Context) -> Any:
        """Run it, once every file that it is to write may be written."""
        values = {**context.meta, **context.params}
        writes = [p.name or "" for p in self.params if isinstance(p.type, Written)]
        written = [values[name] for name in writes if values.get(name) is not None]
        context.meta["piped"] = Path("-") in written
        # A file may also be named among words, as a piece is.
        read = [value for name, value in values.items() if name not in writes]
        context.meta["inputs"] = [value for value in read if isinstance(value, str | Path)]
        places = [writing.destination(path, **care()) for path in written]
        if len(set(places)) < len(places):
            raise DyemixError("two answers do not go into one file: name another for each.")
        return super().invoke(context)


class Commands(click.Group):
    """Commands by name, each imported from its module when it is asked for."""

    def __init__(self, *words: Any, modules: dict[str, str] | None = None, **settings: Any) -> None:
        super().__init__(*words, **settings)
        self._modules = dict(modules or {})
        self.commands.update(dict.fromkeys(self._modules))  # type: ignore[arg-type]

    def list_commands(self, _: click.Context) -> list[str]:
        """In the order of the work."""
        return list(self.commands)

    def get_command(self, context: click.Context, name: str) -> click.Command | None:
        """The command of a name, imported now if it has not been."""
        if name in self._modules:
            module, function = self._modules.pop(name).split(".")
            self.commands[name] = getattr(import_module(f"dyemix.cli.{module}"), function)
        return super().get_command(context, name)


def command(
    arguments: str = "", options: str = "", *, name: str = "", into: click.Group | None = None
) -> Decorator:
    """Make a function a command, whose help is its docstring, of these arguments and options."""
    words = [word for each in options.split() for word in GROUPS.get(each, each).split()]

    def made(function: Callable[..., Any]) -> click.Command:
        params = [*map(_argument, arguments.split()), *map(_option, words)]
        if any(isinstance(param.type, Written) for param in params):
            params.append(_option("force"))
        text = inspect.cleandoc(function.__doc__ or "")
        found = Command(name or function.__name__, params=params, callback=function, help=text)
        if into is not None:
            into.add_command(found)
        return found

    return made


def given(name: str) -> Any:
    """What was given for an option that is held."""
    return click.get_current_context().meta.get(name)


def given_only(options: dict[str, Any]) -> dict[str, Any]:
    """Those that were given: the library knows what holds where one was not."""
    return {name: value for name, value in options.items() if value not in (None, ())}


# What they mean -----------------------------------------------------------------------------------


def photo(cells: Path | None = None) -> Any:
    """How a photograph is to be read; `cells` is the table of what lies in it."""
    from dyemix.photo import PhotoOptions

    names = [OPTIONS[word]["name"] or word.replace("-", "_") for word in GROUPS["photo"].split()]
    return PhotoOptions(cells=cells, **given_only({name: given(name) for name in names}))


def photograph(file: Path) -> Any:
    """A photograph, read as its options say."""
    from dyemix.photo import examine_photo

    given("inputs").append(file)
    with console.waiting("Reading the photograph"):
        return examine_photo(file, photo())


def target(words: str) -> Any:
    """A colour as typed, a cell of a photograph, or a signed standard of the book."""
    from dyemix.reading import photographed

    if given("book") is not None:
        with open_book() as book:
            if words in {signed.name for signed in book.sign_offs()}:
                return book.standard(words)
    if (place := photographed(words)) is None:
        return dyemix.Target.parse(words)
    return photograph(place[0]).target(place[1])


def piece(words: str, light: Any, recipe: Any = None) -> Any:
    """A finished piece: of a file, a colour as typed, or a cell of a photograph."""
    from dyemix.files.targets import read_piece
    from dyemix.reading import photographed

    if (place := photographed(words)) is None:
        return read_piece(words, light, recipe)
    return photograph(place[0]).piece(place[1])


def typed(words: str, wanted: Any) -> str:
    """A colour to be typed again, in the light that has been settled: a standard by its name."""
    from dyemix.reading import photographed

    standard = wanted.kind == "reading" and photographed(words) is None
    return words if standard else str(wanted.typed)


def open_book(create: bool = False) -> Any:
    """The book named, or the one in this folder; begun where there is none and `create` is set."""
    from dyemix.dyebook.book import DyeBook
    from dyemix.dyebook.connection import find_book

    return DyeBook(find_book(given("book")), create, console.remark)


def dyes(afresh: bool = False) -> Any:
    """The fitted dyes at hand; which swatches they come from is said on the error stream.

    Those of a book are the fit that it keeps, unless they are to be fitted `afresh`.
    """
    from dyemix.shelf import find_shelf, fitted

    book, check, left_out = given("book"), given("check"), given("leave_out")
    with console.waiting("Fitting the swatches"):
        if book is None:
            shelf = find_shelf(given("swatches"), check)
            console.remark(shelf.note)
            given("inputs").extend((shelf.table, shelf.check))
            found = fitted(shelf.table, shelf.check, left_out)
        elif given("swatches") is not None:
            raise click.UsageError("give --swatches or --book, not both.")
        else:
            with open_book() as kept:
                console.remark(f"Swatches: the dye book {book}")
                aside = None if check is None else dyemix.read_swatches(check)
                change = afresh or check or left_out
                found = kept.fitted(aside, left_out) if change else kept.dyes()
    return found.take(given("only")) if given("only") else found


def settings() -> Any:
    """The dyer's own figures; None where she gave none."""
    from dyemix.bench.settings import BathSettings

    return None if given("settings") is None else BathSettings.load(given("settings"))


def stocks() -> Any:
    """The stocks named; else the bottles of the book that was chosen, if it has any."""
    from dyemix.bench.tables import parse_stocks

    if given("stock") is not None:
        return parse_stocks(given("stock"))
    if given("book") is None:
        return None
    with open_book() as book:
        return book.stocks() or None


def strength() -> float | None:
    """One strength for every stock, % w/v, where one was given."""
    if given("stock") is None:
        return None
    if isinstance(found := stocks(), tuple):
        raise click.UsageError("one strength of all is wanted here, as --stock 2 (% w/v).")
    return float(found)


# Answers ------------------------------------------------------------------------------------------


def care() -> dict[str, Any]:
    """How a writer of files treats what is there: ``force`` and ``inputs`` of `dyemix.writing`."""
    return {"force": bool(given("force")), "inputs": given("inputs")}


def write(path: Path | None, data: str | bytes) -> None:
    """Write a file that was asked for, and say so."""
    if path is not None:
        writing.write(path, data, **care())
    if path not in (None, Path("-")):
        console.remark(f"Written: {path}")


def kept(what: str) -> None:
    """Say what the book that was chosen holds now."""
    console.remark(f"Kept in {given('book')}: {what}")


def say(text: str) -> None:
    """Print an answer; beside a file that goes to standard output, on the error stream."""
    (console.remark if given("piped") else console.say)(text)


def then(why: str, *words: str, demo: bool = False) -> None:
    """Print a command to go on with, which works as printed: the shelf's options go along."""
    if given("json"):
        return
    carried = ["--demo"] if demo else []
    if given("only"):
        carried += ["--only", ", ".join(given("only"))]
    for name in ("swatches", "book", "check"):
        carried += [f"--{name}", str(given(name))] if given(name) is not None else []
    for swatch in given("leave_out") or ():
        carried += ["--leave-out", swatch]
    say(f"{why}: dyemix {shlex.join([*words, *carried])}")


def show(result: Any, text: str = "", drawn: Any = None, **picture: Any) -> None:
    """Give an answer in every form that was asked for: as text or JSON, a page, a picture.

    `text` stands for its own; `drawn` is what to draw of it where that is another object, and
    `picture` how.
    """
    if given("json"):
        from dyemix.dataset.serialise import as_json

        text = result.to_json() if hasattr(result, "to_json") else as_json(result)
        console.give(f"{text}\n")
    else:
        say(text or str(result))
    if given("html") is not None:
        write(given("html"), result.to_html())
    if given("draw") is not None:
        dyemix.plot(drawn or result, given("draw"), **care(), **picture)
        console.remark(f"Written: {given('draw')}")
