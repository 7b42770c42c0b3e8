"""The one way to JSON and back: frozen dataclasses as plain values, read again by their types.

Writing needs nothing declared: `plain` and `as_json` take any result. To be read back, a value is
a dataclass whose fields have these types, and is checked against them one by one::

    @dataclass(frozen=True, eq=False)
    class Draws:
        curves: Annotated[Array, "E", "D", "B"]
        light: Light                   # "D65/10°"
        dyed: date | None = None       # "2026-05-03"
        share: Mapping[str, float] = field(default_factory=dict)
        reports: tuple[Report, ...] = ()

    text = to_json(draws)              # {"curves": [[[...]]], ..., "kind": "Draws"}
    draws = from_json(Draws, text)     # the same to the last digit, or one SavedError

- ``str``, ``bool``, ``int`` (up to 2^53, as RFC 8259 advises), ``float`` (finite), `Recipe`,
  `Light`, dates, ``X | None``, ``tuple[X, ...]``, ``tuple[X, Y]``, ``Mapping[str, X]`` and
  dataclasses of all these. A `Recipe` is read as % owf, without the words it was written in.
- Arrays are float64 in nested lists: JSON holds the shortest digits that give the same number
  again. What follows the type names each side: an integer is meant as it stands, ``"B"`` is the
  bands of the package, and any other letter is one number within a dataclass and those inside it.
  JSON knows no infinity and no NaN: an array that is to be read back holds none.
- A field that is absent takes its default, so that what is saved today is read by a version with
  more fields; one that is unknown is refused. Where a format has its own head (a version), give
  what is under it to `from_plain`.

No library does this more cheaply: importing cattrs takes longer than reading a saved set of dyes.
"""

import dataclasses
import json
import math
import types
from collections.abc import Callable, Mapping
from datetime import date
from enum import Enum
from functools import cache, partial
from typing import Annotated, Any, NoReturn, TypeVar, Union, get_args, get_origin, get_type_hints

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import WAVELENGTHS, Light
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.result import DEMO_WARNING
from dyemix.errors import DyemixError, SavedError

T = TypeVar("T")
#: The largest integer that every reader of JSON keeps exactly (RFC 8259, section 6).
_LARGEST = 2**53


# To JSON ----------------------------------------------------------------------------------------


def plain(value: Any) -> Any:
    """A value as JSON can hold it: dataclasses and mappings as objects, arrays as lists.

    What JSON lacks is null where it is a number, and in words otherwise. A result on invented dyes
    begins with the warning that says so.
    """
    if isinstance(value, Enum):
        return plain(value.value)
    if isinstance(value, np.ndarray | np.generic):
        exact, items = value.dtype.kind != "f" or np.isfinite(value).all(), value.tolist()
        return items if exact else plain(items)
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if dataclasses.is_dataclass(value) and not isinstance(value, Light | type):
        # A class that works some of its answers out when asked, or holds what it needs for that,
        # names what it tells.
        told = getattr(value, "TOLD", None) or [f.name for f in dataclasses.fields(value)]
        content = {name: plain(getattr(value, name)) for name in told}
        return {"warning": DEMO_WARNING, **content} if content.get("demo") else content
    return value if value is None or isinstance(value, bool | int | str) else str(value)


def as_json(value: Any) -> str:
    """Any result as JSON text, for other programs."""
    return json.dumps(plain(value), indent=2, ensure_ascii=False)


def to_json(value: Any) -> str:
    """A dataclass as the JSON that `from_json` reads: its fields, and its ``kind`` last."""
    content = plain(value) | {"kind": type(value).__name__}
    return json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False)


# And back ---------------------------------------------------------------------------------------


def parse(text: str) -> dict[str, Any]:
    """The object that JSON text holds. Raises `SavedError` for what is none."""
    try:
        content = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise SavedError(f"this is not JSON: {error}.") from None
    if not isinstance(content, dict):
        raise SavedError("this JSON is no object: it begins with '{'.")
    return content


def from_json(kind: type[T], text: str) -> T:
    """The dataclass that `to_json` wrote. Raises `SavedError`, naming the value at fault."""
    content = parse(text)
    if content.pop("kind", None) != kind.__name__:
        raise SavedError(f"this JSON is not a {kind.__name__}: 'kind' says what it is.")
    return from_plain(kind, content)


def from_plain(kind: type[T], content: Any, where: str = "") -> T:
    """What `plain` made plain. Raises `SavedError`, naming the value at fault, or `where` it is."""
    value: T = _value(kind, content, where or kind.__name__, {"B": len(WAVELENGTHS)})
    return value


#: What has a way of its own: how it is read, and how it should look.
_WORDS: Mapping[type, tuple[Callable[[Any], Any], str]] = {
    Recipe: (Recipe, "a recipe holds % owf, 0 or more, by dye"),
    date: (date.fromisoformat, "a date is written 2026-05-03"),
    Light: (Light.parse, "a light is written D65/10"),
}


def _value(kind: Any, plain: Any, where: str, sides: dict[str, int]) -> Any:
    if type(plain) is kind and (kind is str or (kind is float and abs(plain) < math.inf)):
        return plain  # most values are such, and a set of dyes holds thousands
    origin, inside = get_origin(kind), get_args(kind)
    if kind is Any:  # whoever takes it sees to it
        return plain
    if origin is Annotated:
        return _array(inside[1:], plain, where, sides)
    if origin in (Union, types.UnionType):  # X | None
        return None if plain is None else _value(inside[0], plain, where, sides)
    if origin is tuple and isinstance(plain, list):
        kinds = (inside[0],) * len(plain) if inside[-1] is Ellipsis else inside
        if len(kinds) != len(plain):
            _refuse(where, f"holds {len(plain)} values, not {len(kinds)}")
        pairs = enumerate(zip(kinds, plain, strict=True))
        return tuple(_value(k, item, f"{where}[{i}]", sides) for i, (k, item) in pairs)
    if origin in (dict, Mapping) and isinstance(plain, dict):
        return {key: _value(inside[1], v, f"{where}.{key}", sides) for key, v in plain.items()}
    if kind in _WORDS and isinstance(plain, str | dict):
        return _made(*_WORDS[kind], where, plain)
    if dataclasses.is_dataclass(kind) and isinstance(plain, dict):
        return _dataclass(kind, plain, where, dict(sides))
    if kind is float and type(plain) in (int, float) and abs(plain) < math.inf:
        return _made(float, "too large a number", where, plain)
    if kind in (bool, int) and type(plain) is kind and abs(plain) <= _LARGEST:
        return plain
    return _refuse(where, f"is {str(plain)[:40]!r}, which is damaged")


def _refuse(where: str, what: str) -> NoReturn:
    raise SavedError(f"{where} {what}.")


def _made(make: Callable[..., Any], cure: str, where: str, *given: Any, **fields: Any) -> Any:
    try:
        return make(*given, **fields)
    except (DyemixError, ValueError, OverflowError, TypeError) as error:  # that: one is absent
        shown = f"is {str(given[0])[:40]!r}" if given else f"is damaged ({error})"
        _refuse(where, f"{shown}: {cure}")


hints: Callable[[Any], dict[str, Any]] = cache(partial(get_type_hints, include_extras=True))


def _dataclass(kind: Any, plain: dict[str, Any], where: str, sides: dict[str, int]) -> Any:
    types = hints(kind)
    if odd := ", ".join(sorted(plain.keys() - types.keys() - {"warning"})):
        _refuse(where, f"is damaged, or written by another version: see {odd}")
    found = {
        name: _value(hint, plain[name], f"{where}.{name}", sides)
        for name, hint in types.items()
        if name in plain
    }
    return _made(kind, "its values do not go together", where, **found)


def _array(named: tuple[Any, ...], plain: Any, where: str, sides: dict[str, int]) -> Array:
    array = _made(np.array, "has rows of different lengths", where, plain)
    known = tuple(s if isinstance(s, int) else sides.get(s, 0) for s in named)
    if not array.size and 0 in known:  # a list of none says nothing of its other sides
        array = np.empty(known)
    if array.dtype.kind not in "if" or not np.isfinite(array).all():
        _refuse(where, "holds what is not a number")
    for side, length in zip(named, array.shape, strict=False):
        sides.setdefault(str(side), length)
    wanted = tuple(s if isinstance(s, int) else sides.get(s, s) for s in named)
    if array.shape != wanted:
        _refuse(where, f"has the shape {array.shape} where {wanted} is wanted")
    found: Array = array.astype(np.float64)
    found.setflags(write=False)
    return found
