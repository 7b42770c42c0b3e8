"""Options that mean one thing everywhere, and commands made of them.

`data/options.csv` holds every option once, in words; `data/commands.toml` says which a command
takes, and the function that runs it. Options that are ``held`` are no argument of that function:
click's context keeps them, and `given` tells them.
"""

import csv
import inspect
from collections.abc import Mapping
from importlib import import_module
from operator import attrgetter
from pathlib import Path
from typing import Any

import click

from dyemix import console, writing
from dyemix.errors import AmbiguousError, DyemixError, UnstatedError, data, refuse, said


class Written(click.Path):
    """A file that a command writes, with one of these `endings`.

    Every other file that it is given, it reads.
    """

    def __init__(self, endings: str) -> None:
        super().__init__(path_type=Path, allow_dash=True)
        self._endings = endings

    def convert(self, value: Any, *of: Any) -> Any:
        """The file. Raises `DyemixError` for another ending."""
        writing.ending(value, "it", self._endings)
        return super().convert(value, *of)


class Words(click.ParamType):  # type: ignore[type-arg]
    """Words that a function of the library, as ``module:name``, understands, or says why not."""

    def __init__(self, understood_by: str) -> None:
        self.name = self._by = understood_by

    def convert(self, value: Any, option: click.Parameter | None, _: Any) -> Any:
        """What the words mean. Raises `DyemixError` that names the option."""
        module, name = self._by.split(":")
        understand: Any = attrgetter(name)(import_module(f"dyemix.{module}"))
        try:
            return understand(value) if isinstance(value, str) else value
        except DyemixError as error:
            which = f"{option.opts[-1]}: " if option else ""
            raise DyemixError(f"{which}{error}") from None


#: A kind of option, as the table names it, to what click wants to know of it.
_KINDS: dict[str, dict[str, Any]] = {
    "text": {"type": str},
    "texts": {"multiple": True},
    "int": {"type": int},
    "flag": {"is_flag": True},
    "read": {"type": click.Path(path_type=Path)},
}
with Path(__file__).parents[1].joinpath("data", "options.csv").open(encoding="utf-8") as _file:
    _ROWS = {row["option"]: row for row in csv.DictReader(_file)}
#: Options that go together, each of them by one word; and the options.
GROUPS = {name: row["help"] for name, row in _ROWS.items() if row["kind"] == "group"}
OPTIONS = {name: row for name, row in _ROWS.items() if name not in GROUPS}


def name_of(word: str) -> str:
    """What the value of an option is called."""
    return str(OPTIONS[word]["name"] or word.replace("-", "_"))


def _option(word: str) -> click.Option:
    """The option of a word; one that ends in ``!`` must be given.

    What stands after ``:`` is no part of its name: it tells one option from another of that name.
    """
    row = OPTIONS[word.rstrip("!")]
    kind, flag = row["kind"], row["option"].partition(":")[0]
    meant = Words(kind) if ":" in kind else click.Choice(kind.split("|"), False)
    how = _KINDS.get(kind, {"type": Written(row["endings"]) if kind == "written" else meant})
    short = ["-o"] if flag == "output" else []
    return click.Option(
        [*short, f"--{flag}", name_of(row["option"])],
        metavar=row["metavar"] or None, help=row["help"].format(row["endings"]),
        required=word.endswith("!"), expose_value=not row["held"], callback=_taken, **how,
    )  # fmt: skip


def _taken(context: click.Context, option: click.Parameter, value: Any) -> Any:
    """The value of a word without what rewrites a screen, which a book would keep.

    Dyes are named as people list them, or the option twice.
    """
    if isinstance(value, tuple) and option.metavar == "DYES":
        names = tuple(name.strip() for text in value for name in text.split(",") if name.strip())
        refuse(value and not names, f"--{option.name} names no dye: write 'gold, scarlet, navy'.")
        value = names
    value = console.CONTROL.sub("", value) if isinstance(value, str) else value
    if option.name in ("job", "method") and value:
        value = " ".join(value.split())  # as a book compares names
    if not option.expose_value:
        context.meta[option.name or ""] = value
    return value


def _argument(word: str) -> click.Argument:
    """``RECIPE``, ``[RECIPE]`` where it may be left out, ``COLOURS...`` for any number of it."""
    name = word.strip("[].").partition("|")[0]
    file = name in ("FILE", "TABLE", "FOLDER")
    return click.Argument(
        [name.lower()], metavar=word, required=word[0] != "[", nargs=-1 if "..." in word else 1,
        type=_KINDS["read"]["type"] if file else str, callback=_taken,
    )  # fmt: skip


# Commands -----------------------------------------------------------------------------------------


def _refuse_without_photograph(options: set[str], values: Mapping[str, Any]) -> None:
    """Raises `DyemixError` for one of the `options` of photographs where no word names one."""
    told = [w for w in GROUPS["photo"].split() if f"--{w}" in options and values.get(name_of(w))]
    if told:
        from dyemix.reading import is_picture

        each = (x if isinstance(x, tuple) else (x,) for x in values.values())
        words = [str(word) for some in each for word in some]
        named = any(is_picture(part) for w in words for part in (w, w.rpartition(" ")[0]))
        refuse(not named, "usage.of_photograph", told[0])


class Command(click.Command):
    """A command that refuses what it may not write before it begins."""

    def invoke(self, context: click.Context) -> Any:
        """Run it, once every file that it is to write may be written."""
        values = {**context.meta, **context.params}
        told = [word.partition("=")[0] for word in context.meta["words"]]
        for option in self.params:
            twice = sum(map(told.count, option.opts)) > 1 and not getattr(option, "multiple", False)
            refuse(twice, f"{option.opts[-1]} is given twice: give it once.")
        writes = [p.name or "" for p in self.params if isinstance(p.type, Written)]
        written = [values[name] for name in writes if values.get(name) is not None]
        context.meta["piped"] = Path("-") in written
        # A file may also be named among words, as a piece is.
        read = [value for name, value in values.items() if name not in writes]
        context.meta["inputs"] = [value for value in read if isinstance(value, str | Path)]
        _refuse_without_photograph({o for p in self.params for o in p.opts}, values)
        places = [writing.destination(path, **care()) for path in written]
        alike = len(set(places)) < len(places)
        refuse(alike, "two answers do not go into one file: name another for each.")
        try:
            return super().invoke(context)
        except (UnstatedError, AmbiguousError) as error:
            whole = ([*context.meta["words"], *option] for option in error.options)
            lines = [console.pasted(words, "  ") for words in whole]
            raise DyemixError("\n".join([f"{error.message}:", *lines])) from None


class Commands(click.Group):
    """The commands of a table, each made when it is asked for: its module is imported then."""

    def __init__(self, *words: Any, table: dict[str, Any], **settings: Any) -> None:
        super().__init__(*words, **settings)
        self._rows = {name: row for name, row in table.items() if isinstance(row, dict)}
        self.commands.update(dict.fromkeys(self._rows))  # type: ignore[arg-type]

    def list_commands(self, _: click.Context) -> list[str]:
        """In the order of the work."""
        return list(self.commands)

    def get_command(self, context: click.Context, name: str) -> click.Command | None:
        """The command, or the group of commands, of a name."""
        if row := self._rows.pop(name, None):
            group = "run" not in row
            made = Commands(name, table=row, help=row["help"]) if group else _command(name, **row)
            self.commands[name] = made
        return super().get_command(context, name)


def _each(options: str) -> list[str]:
    """The options of a row of the table, those of its groups one by one."""
    return [word for each in options.split() for word in GROUPS.get(each, each).split()]


def options_of(name: str, part: str = "") -> list[str]:
    """The options that a command takes, or that part of a group of commands."""
    row = data("commands")[name]
    return _each(row["options"] if "run" in row else row[part]["options"])


def _command(name: str, run: str, arguments: str = "", options: str = "", **told: str) -> Command:
    """What runs a function of a module; it takes these arguments and options."""
    module, function = run.split(".")
    work = getattr(import_module(f"dyemix.cli.{module}"), function)
    params = [*map(_argument, arguments.split()), *map(_option, _each(options))]
    if any(isinstance(param.type, Written) for param in params):
        params.append(_option("force"))
    text = told.get("help") or inspect.cleandoc(work.__doc__ or "")
    return Command(name, params=params, callback=work, help=text)


def misused(wrong: object, words: str, *values: object) -> None:
    """Refuses a command whose words do not go together, and names its help: as `said` finds it."""
    if wrong:
        raise click.UsageError(said(words, *values))


def given(name: str) -> Any:
    """What was given for an option that is held."""
    return click.get_current_context().meta.get(name)


def given_only(options: dict[str, Any]) -> dict[str, Any]:
    """Those that were given: the library knows what holds where one was not."""
    return {name: value for name, value in options.items() if value not in (None, ())}


def care() -> dict[str, Any]:
    """How a writer of files treats what is there: ``force`` and ``inputs`` of `dyemix.writing`."""
    return {"force": bool(given("force")), "inputs": given("inputs")}
