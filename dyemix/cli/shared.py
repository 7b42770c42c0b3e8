"""What every command shares: options that mean one thing everywhere, and where an answer goes.

Values of shared options are kept in click's context, so that they are no argument of every command.
"""

from __future__ import annotations

import shlex
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any, TypeVar

import click

import dyemix
from dyemix import console, writing
from dyemix.errors import DyemixError

Function = TypeVar("Function", bound=Callable[..., Any])
Decorator = Callable[[Any], Any]


class Written(click.Path):
    """A file that a command writes. Every other file that it is given, it reads."""


class Words(click.ParamType):  # type: ignore[type-arg]
    """Words that a function of the library understands, or says why not."""

    def __init__(self, name: str, module: str, function: str) -> None:
        self.name, self._module, self._function = name, module, function

    def convert(self, value: Any, *_: Any) -> Any:
        """What the words mean."""
        understand = import_module(f"dyemix.{self._module}")
        for part in self._function.split("."):
            understand = getattr(understand, part)
        return understand(value) if isinstance(value, str) else value  # type: ignore[operator]


READ, WRITTEN = click.Path(path_type=Path), Written(path_type=Path, allow_dash=True)
WEIGHT = Words("weight", "dataset.units", "parse_weight")
VOLUME = Words("volume", "dataset.units", "parse_volume")
LIGHT = Words("light", "colour.colorimetry", "Light.parse")


# Commands -----------------------------------------------------------------------------------------


class Command(click.Command):
    """A command that refuses what it may not write before it begins."""

    def __init__(self, *words: Any, **settings: Any) -> None:
        super().__init__(*words, **settings)
        self.writes = [p.name or "" for p in self.params if isinstance(p.type, Written)]
        if self.writes:
            force = shared("--force", is_flag=True, help="Write over a file that is there already.")
            self.params.append(force(lambda: None).__click_params__[0])

    def invoke(self, context: click.Context) -> Any:
        """Run it, once every file that it is to write may be written."""
        values = {**context.meta, **context.params}
        written = [values[name] for name in self.writes if values.get(name) is not None]
        context.meta["piped"] = Path("-") in written
        read = [value for name, value in values.items() if name not in self.writes]
        named = [
            each for value in read for each in (value if isinstance(value, tuple) else [value])
        ]
        # A file may also be named among words, as a piece is.
        context.meta["inputs"] = [each for each in named if isinstance(each, str | Path)]
        places = [writing.destination(path, **care()) for path in written]
        if len(set(places)) < len(places):
            raise DyemixError("two answers do not go into one file: name another for each.")
        return super().invoke(context)


class Commands(click.Group):
    """Commands by name, each imported from its module when it is asked for."""

    command_class = Command

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


def command(*words: Any, **settings: Any) -> Decorator:
    """Make a function a command of ours."""
    return click.command(*words, cls=Command, **settings)


# Options ------------------------------------------------------------------------------------------


def _remember(context: click.Context, option: click.Parameter, value: Any) -> None:
    context.meta[option.name or ""] = value


def shared(*words: str, **settings: Any) -> Decorator:
    """An option whose value `given` answers."""
    return click.option(*words, **{"expose_value": False, "callback": _remember, **settings})


def given(name: str) -> Any:
    """What was given for a shared option."""
    return click.get_current_context().meta.get(name)


def together(*options: Decorator) -> Decorator:
    """Several options as one decorator, listed in their order."""

    def decorate(function: Function) -> Function:
        for option in reversed(options):
            function = option(function)
        return function

    return decorate


def names(_: click.Context, __: click.Parameter, texts: tuple[str, ...]) -> tuple[str, ...]:
    """Names as people list them: 'navy, gold', or the option twice."""
    return tuple(name.strip() for text in texts for name in text.split(",") if name.strip())


def dyes_option(*words: str, **settings: Any) -> Decorator:
    """An option that names dyes."""
    return click.option(
        *words, **{"multiple": True, "metavar": "DYES", "callback": names, **settings}
    )


book_option = shared("--book", type=READ, metavar="FILE", help="Work with this dye book.")
shelf_options = together(
    shared("--swatches", type=READ, metavar="FILE", help="Swatch table, or saved dyes."),
    book_option,
    dyes_option(
        "--only", help="Use these dyes of the shelf alone.", expose_value=False,
        callback=lambda context, option, texts: _remember(
            context, option, names(context, option, texts)
        ),
    ),
    shared("--check", type=READ, metavar="FILE", help="Mixtures set aside to check the fit by."),
    shared("--leave-out", multiple=True, metavar="SWATCH", help="A swatch to leave out, by name."),
)  # fmt: skip
json_option = shared("--json", is_flag=True, help="Print JSON.")
draw_option = shared(
    "--draw", type=WRITTEN, metavar="PICTURE", help="Draw it too: .png, .svg or .pdf."
)
answer_options = together(draw_option, json_option)
sheet_options = together(
    shared("--settings", type=READ, metavar="FILE", help="Your figures: see 'dyemix settings'."),
    shared("--html", type=WRITTEN, metavar="FILE", help="Write a page to print, A4 or Letter."),
    json_option,
)
demo_option = shared("--demo", is_flag=True, help="Allow the demo's invented dyes: not for dyeing.")
method_options = together(
    click.option("--ratio", "liquor_ratio", type=float, help="Liquor ratio, mL per g: 20 is 20:1."),
    click.option("--alkali", help="When the soda ash goes in: presoak, with or after (the dye)."),
    click.option("--fibre", help="What the cloth is made of, as 'cotton 55 %, linen 45 %'."),
)
stock_option = shared(
    "--stock", metavar="STOCK",
    help="Strength of all, as 2 (% w/v), of each, as 'navy 1, gold 2', or a table of bottles.",
)  # fmt: skip
light_option = click.option(
    "--light", type=LIGHT, metavar="LIGHT", help="Illuminant and observer, as D65/10."
)
targets_option = click.option("--targets", type=READ, metavar="FILE", help="Colours, one a row.")
max_dyes_option = click.option(
    "--max-dyes", default=3, show_default=True, help="Most dyes in a recipe."
)
date_option = click.option(
    "--date", "day", metavar="DATE", help="The day, as 2026-05-03.",
    type=Words("date", "bench.tables", "parse_day"),
)  # fmt: skip
_PHOTO = ("corners", "grid", "grey_at", "card_at", "card", "grey", "anchor", "measured", "keep")
photo_options = together(
    shared("--corners", type=READ, metavar="TABLE", help="Photo: corners of each cell."),
    shared("--grid", metavar="GRID", help="Photo: '4x6' and four corners x,y of the cells."),
    shared("--grey-at", default="", metavar="CORNERS", help="Photo: four x,y of the grey card."),
    shared("--card-at", default="", metavar="CORNERS", help="Photo: four x,y of the patch card."),
    shared("--card", type=READ, metavar="TABLE", help="Photo: reference values of the patch card."),
    shared(
        "--grey", default="0.18", show_default=True, metavar="STEPS",
        help="Photo: reflectance of the grey card's steps, lightest first, or none.",
    ),
    shared(
        "--anchor", type=click.Choice(["grey", "undyed"]), default="grey", show_default=True,
        help="Photo: what sets exposure and white; undyed where there is no grey card.",
    ),
    shared("--measured", type=READ, metavar="TABLE", help="Photo: your measured swatches in it."),
    shared("--accept", "keep", multiple=True, metavar="CELL", help="Photo: flagged, but keep it."),
)  # fmt: skip


def given_only(options: dict[str, Any]) -> dict[str, Any]:
    """Those that were given: the library knows what holds where one was not."""
    return {name: value for name, value in options.items() if value is not None}


# What they mean -----------------------------------------------------------------------------------


def photo(cells: Path | None = None) -> Any:
    """How a photograph is to be read; `cells` is the table of what lies in it."""
    from dyemix.photo import PhotoOptions

    return PhotoOptions(cells=cells, **{name: given(name) for name in _PHOTO})


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


def strengths() -> dict[str, float]:
    """Their strengths by dye, % w/v; ``""`` is every dye."""
    from dyemix.dataset.units import STOCK_PCT

    found = stocks() or STOCK_PCT
    if isinstance(found, tuple):
        return {stock.dye: stock.strength_pct for stock in found}
    return {"": found}


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
