"""What every value and every result has: arrays nobody can change, equality, a table, patches."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields
from html import escape
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, ClassVar, Generic, TypeAlias, TypeVar, dataclass_transform

import numpy as np

from dyemix.arrays import LAB, Array
from dyemix.colour.ciede2000 import error_of
from dyemix.dataset.recipe import Recipe

if TYPE_CHECKING:
    import pandas as pd

#: What every result on invented dyes begins with.
DEMO_WARNING = "DEMO: these are invented dyes. Do not dye from these figures."
#: Letters of a short form, and rows of a table in a notebook.
_LONGEST, _ROWS = 100, 60
#: Types of what nobody can change.
_PLAIN = frozenset({type(None), str, int, float, bool})

#: A hex code in a notebook, with a patch of its colour.
_PATCH = '<span style="display:inline-block;width:3em;height:1.3em;background:{0}"></span> {0}'

Row = Mapping[str, object]
#: The table type of every `to_frame`; pandas is imported when one is asked for.
Frame: TypeAlias = "pd.DataFrame"

Item = TypeVar("Item")


@dataclass_transform(frozen_default=True, eq_default=False, field_specifiers=(field,))
class Value:
    """The base of frozen dataclasses: whatever derives from it is one.

    Arrays and mappings in it are copies that cannot be written to, two with equal fields are equal,
    and a copy, pickled or not, is another such. Its short form is the first line of its text.
    """

    def __init_subclass__(cls) -> None:
        super().__init_subclass__()
        if cls.__str__ is not object.__str__:  # a dataclass keeps the short form that it finds
            setattr(cls, "__repr__", Value._short)  # noqa: B010
        dataclass(frozen=True, eq=False)(cls)

    #: How fields are read that may be given in several ways; None stays None.
    READ: ClassVar[Mapping[str, Callable[[Any], Any]]] = {}

    def __post_init__(self) -> None:
        for name, given in list(vars(self).items()):
            read = self.READ.get(name)
            if given is None or (read is None and type(given) in _PLAIN):
                continue  # most fields are such, and a table has a thousand times thirteen
            value = given if read is None else read(given)
            if isinstance(value, np.ndarray) and value.flags.writeable:
                value = value.copy()
                value.setflags(write=False)
            elif isinstance(value, dict):
                value = MappingProxyType(dict(value))
            elif isinstance(value, list):
                value = tuple(value)
            if value is not given:
                object.__setattr__(self, name, value)

    def _values(self) -> tuple[Any, ...]:
        return tuple(getattr(self, f.name) for f in fields(self))  # type: ignore[arg-type]

    def __eq__(self, other: object) -> bool:
        if type(self) is not type(other):
            return NotImplemented
        return bool(_key(self._values()) == _key(other._values()))

    def __hash__(self) -> int:
        return hash(_key(self._values()))

    def __reduce__(self) -> tuple[Any, ...]:
        # A view of a mapping does not travel to another process; the mapping in it does.
        plain = (dict(v) if isinstance(v, MappingProxyType) else v for v in self._values())
        return type(self), tuple(plain)

    def _short(self) -> str:
        demo, lines = "", str(self).split("\n")
        if lines[0] == DEMO_WARNING:
            demo, lines = " (demo)", lines[1:]
        text = lines[0] if len(lines[0]) <= _LONGEST else f"{lines[0][: _LONGEST - 1]}…"
        return f"<{type(self).__name__}{demo}: {text}>"


class Result(Value):
    """A value that is a table too: `_rows` says which, and `_lines` what it says in words."""

    def _rows(self) -> Iterable[Row]:
        raise NotImplementedError

    def _lines(self, *how: Any, **named: Any) -> Iterable[str]:
        raise NotImplementedError

    def text(self, *how: Any, **named: Any) -> str:
        """This to be read, that of invented dyes marked; some have a `detail` that adds more."""
        return "\n".join([*marks(self), *self._lines(*how, **named)])

    def __str__(self) -> str:
        return self.text()

    def to_frame(self) -> Frame:
        """This as a table: what it holds one by one, a recipe's amounts a column a dye in % owf.

        The column ``recipe`` is the same with every digit, as `Recipe.parse` reads it back.
        """
        return frame(self._rows())

    def _repr_html_(self) -> str:
        import pandas as pd

        rows = list(self._rows())
        told = ({k: _cell(x) for k, x in row.items() if k[-3:] != " nm"} for row in rows[:_ROWS])
        safe = [
            {escape(k): escape(x) if isinstance(x, str) else x for k, x in r.items()} for r in told
        ]
        with pd.option_context("display.max_colwidth", None):
            table = pd.DataFrame(safe).to_html(
                index=False, escape=False, na_rep="", float_format="{:.3g}".format,
                formatters={"hex": lambda code: _PATCH.format(code) if code == code else ""},
            )  # fmt: skip
        more = f"<p>… {len(rows)} in all</p>" if len(rows) > _ROWS else ""
        demo = "".join(f"<p>{mark}</p>" for mark in marks(self))
        return f"{demo}<p>{escape(self._short())}</p>{table}{more}"


class Several(Result, Generic[Item]):
    """A result of several: `len`, iteration and indexing go to those in the field `HELD`."""

    HELD: ClassVar[str]

    def __len__(self) -> int:
        return len(getattr(self, self.HELD))

    def __iter__(self) -> Iterator[Item]:
        return iter(getattr(self, self.HELD))

    def __getitem__(self, i: int) -> Item:
        found: Item = getattr(self, self.HELD)[i]
        return found


def frame(rows: Iterable[Row]) -> Frame:
    """Rows as a table: a `Recipe` with every digit, and last a numeric column a dye."""
    import pandas as pd

    rows = list(rows)
    out = pd.DataFrame([{key: _plain(value) for key, value in row.items()} for row in rows])
    recipes = [row.get("recipe") for row in rows]
    none = dict.fromkeys((dye for r in recipes if isinstance(r, Recipe) for dye in r), 0.0)
    amounts = [none | dict(r) if isinstance(r, Recipe) else {} for r in recipes]
    of_dyes = pd.DataFrame(amounts, out.index)
    return out.join(of_dyes.rename(columns=lambda d: f"{d} % owf" if d in out.columns else d))


def marks(*results: object) -> list[str]:
    """What stands above an answer where any of these is of invented dyes; else nothing."""
    return [DEMO_WARNING] if any(getattr(each, "demo", False) for each in results) else []


def colour_text(lab: Array, light: object, covariance: Array | None = None) -> str:
    """A colour ``(3,)`` in words, with its own error where that is known."""
    own = "" if covariance is None else f", ± {error_of(lab, covariance):.1f} ΔE2000"
    values = "L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*lab)
    return f"{values} ({light}){own}"


def colour_row(lab: np.ndarray[Any, Any], light: object, code: str) -> dict[str, object]:
    """A colour as columns: CIELAB, its light, and its hex code on a screen."""
    return {**dict(zip(LAB, lab, strict=True)), "light": str(light), "hex": code}


def _plain(value: object) -> object:
    return value.exact if isinstance(value, Recipe) else None if value is None else _cell(value)


def _cell(value: object) -> object:
    if isinstance(value, tuple):
        return "; ".join(map(str, value))
    return "" if value is None else str(value) if isinstance(value, Recipe) else value


def _key(value: Any) -> Any:
    """What fields that are equal have in common, as can be compared and hashed."""
    if type(value) in _PLAIN:
        return value
    if isinstance(value, tuple):
        return tuple(map(_key, value))
    if isinstance(value, np.ndarray):
        return value.shape, (value + 0).tobytes()  # −0 is 0
    if isinstance(value, Mapping):
        return frozenset((name, _key(item)) for name, item in value.items())
    return tuple(value) if hasattr(value, "equals") else value  # a pandas index
