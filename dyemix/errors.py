"""The errors dyemix raises.

::

    DyemixError
    ├── InputError    a file, table or argument that cannot be read as it stands: lists every fault
    │   └── AmbiguousError   several things would do, and one must be named
    ├── RecipeError   a recipe that cannot be understood, or names a dye the shelf does not have
    │   └── UnstatedError   spoons or mL without the weight of the cloth, or the stock's strength
    ├── TargetError   a target that is not a colour
    ├── FitError      swatches that cannot carry a fit: no undyed cloth, mixed conditions, one depth
    └── SavedError    a saved fit or dye book that is damaged, newer than this version, or refused

`DyemixError` is a `ValueError` too, as callers expect of a bad argument.
"""

import shlex
import sys
from collections.abc import Iterable, Sequence
from enum import Enum
from functools import cache, reduce
from importlib.resources import files
from operator import getitem
from typing import Any, NamedTuple


@cache
def data(name: str) -> dict[str, Any]:
    """What ``data/NAME.toml`` holds."""
    import tomllib

    return tomllib.loads(files("dyemix").joinpath("data", f"{name}.toml").read_text("utf-8"))


def said(path: str, /, *values: object, **named: object) -> str:
    """A sentence of ``data/*.toml``, as ``"pictures.match.how"``, with values filled in."""
    name, *keys = path.split(".")
    return str(reduce(getitem, keys, data(name))).format(*values, **named)


class Fault(NamedTuple):
    """One thing wrong with an input: what, where, and what would be right.

    `row` is the line of the file as a spreadsheet counts it (the first line is 1), or the object
    or column where `counted` says that those hold one reading each; `column` is the heading of
    the column.
    """

    message: str
    file: str | None = None
    row: int | None = None
    column: str | None = None
    counted: str = "row"

    def __str__(self) -> str:
        return self.at([] if self.row is None else [self.row])

    def at(self, rows: Sequence[int]) -> str:
        """The sentence of faults that are this one but for their `rows`, in rising order."""
        ends = [[row for row in rows if row + way not in {*rows}] for way in (-1, 1)]
        spans = (f"{a}" if a == b else f"{a}–{b}" for a, b in zip(*ends, strict=True))
        place = [self.file] if self.file else []
        place += [f"{self.counted}{'s' * (len(rows) > 1)} {', '.join(spans)}"] if rows else []
        place += [f"column {self.column}"] if self.column is not None else []
        return f"{', '.join(place)}: {self.message}" if place else self.message


class DyemixError(ValueError):
    """Anything dyemix refuses, with a sentence that says what, where and what would be right.

    >>> try:
    ...     Recipe.parse("rust lots")
    ... except DyemixError as error:
    ...     print(type(error).__name__)
    RecipeError
    """


class InputError(DyemixError):
    """An input with faults, all of them listed.

    Attributes
    ----------
    faults : tuple of Fault
        Every fault found, in the order of the file; told in one sentence where but the row differs.
    file, row, column :
        Those of the first fault.

    >>> read_swatches("nowhere.csv")
    Traceback (most recent call last):
    dyemix.errors.InputError: ...
    """

    def __init__(self, faults: str | Fault | Iterable[Fault]) -> None:
        one = Fault(faults) if isinstance(faults, str) else faults
        self.faults = (one,) if isinstance(one, Fault) else tuple(one)
        first = self.faults[0]
        self.file, self.row, self.column = first.file, first.row, first.column
        alike: dict[Fault, list[int]] = {}
        for fault in self.faults:
            rows = alike.setdefault(fault._replace(row=None), [])
            rows += [] if fault.row is None else [fault.row]
        super().__init__("\n".join(fault.at(rows) for fault, rows in alike.items()))


class AmbiguousError(InputError):
    """Several things would do: `options` name each, as ``("--method", "cotton lawn")``."""

    def __init__(self, message: str, options: Iterable[tuple[str, ...]]) -> None:
        self.message, self.options = message, tuple(options)
        names = " or ".join(map(shlex.join, self.options))
        super().__init__(f"{message}: name {names}.")


class RecipeError(DyemixError):
    """A recipe that cannot be understood, or a dye the shelf does not have.

    >>> dyes.predict("nvay 1")
    Traceback (most recent call last):
    dyemix.errors.RecipeError: no swatch of 'nvay' on this shelf: did you mean navy?
    """


class UnstatedError(RecipeError):
    """Amounts of stock or powder without what turns them into % owf; `options` are an example."""

    message = "Spoons, mL and grams are so much dye only on a stated weight of dry cloth, as"
    options = (("--cloth", "60g"),)


class TargetError(DyemixError):
    """A target that is not a colour.

    >>> Target.parse("sage")
    Traceback (most recent call last):
    dyemix.errors.TargetError: ...
    """


class FitError(DyemixError):
    """Swatches that cannot carry a fit.

    >>> fit(SwatchSet(()))
    Traceback (most recent call last):
    dyemix.errors.FitError: ...
    """


class SavedError(DyemixError):
    """A saved fit or dye book that is damaged, newer than this version, or cannot be written.

    >>> load("nowhere.json")
    Traceback (most recent call last):
    dyemix.errors.SavedError: ...
    """


def refuse(
    wrong: object, words: str, /, *values: object, error: type[DyemixError] = DyemixError,
    of: object = None, **named: object,
) -> None:  # fmt: skip
    """Raises `error` with these words where something is wrong; `InputError` if `of` a file.

    Or with a sentence of a table, named as in `said` and filled with `values`. It is caused by what
    is being handled.
    """
    if wrong:
        text = words if " " in words else said(words, *values, **named)
        refusal = error(text) if of is None else InputError(Fault(text, str(of) or None))
        raise refusal from sys.exception()


def expect(value: object, kind: type, how: str) -> None:
    """Raises `DyemixError` for a value of another kind, saying how one of this kind is made."""
    if not isinstance(value, kind):
        shown = " ".join(str(value).split())[:40]
        raise DyemixError(f"{shown!r} is no {kind.__name__}: {how}.")


class Choice(Enum):
    """An enumeration that takes its own text, in any case, and refuses any other in a sentence."""

    @classmethod
    def _missing_(cls, value: object) -> "Choice":
        spelt = {str(word).casefold(): each for each in cls for word in (each.name, each.value)}
        known, text = ", ".join(str(each.value) for each in cls), str(value).casefold()
        refuse(text not in spelt, f"{value!r} is no {cls.__name__}: one of {known}.")
        return spelt[text]
