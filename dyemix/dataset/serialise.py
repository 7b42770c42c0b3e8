"""Sheets as JSON and back: frozen dataclasses to plain values, by their type hints."""

from __future__ import annotations

import dataclasses
import json
import types
from collections.abc import Mapping
from datetime import date
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

from dyemix.dataset.recipe import Recipe
from dyemix.errors import SavedError

T = TypeVar("T")


def to_json(sheet: Any, warning: str = "") -> str:
    """A dataclass as JSON; dates as ``2026-05-03``, recipes as dye → % owf. ``kind`` names it.

    A `warning` stands before all else; `from_json` passes it over.
    """
    first = {"warning": warning} if warning else {}
    plain = {**first, "kind": type(sheet).__name__, **_plain(sheet)}
    return json.dumps(plain, indent=1, ensure_ascii=False, allow_nan=False)


def from_json(kind: type[T], text: str) -> T:
    """The dataclass that `to_json` wrote. Raises `SavedError` for anything else."""
    try:
        plain = json.loads(text)
    except ValueError as error:
        raise SavedError(f"this is not JSON: {error}.") from None
    if isinstance(plain, dict):
        plain.pop("warning", None)
    if not isinstance(plain, dict) or plain.pop("kind", None) != kind.__name__:
        raise SavedError(f"this JSON is not a {kind.__name__}: 'kind' says what it is.")
    return _value(kind, plain, kind.__name__)  # type: ignore[no-any-return]


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if dataclasses.is_dataclass(value):
        return {f.name: _plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return value.isoformat() if isinstance(value, date) else value


def _value(kind: Any, plain: Any, where: str) -> Any:
    if get_origin(kind) in (Union, types.UnionType):
        if plain is None:
            return None
        (kind,) = (k for k in get_args(kind) if k is not type(None))
    if get_origin(kind) is tuple and isinstance(plain, list):
        return tuple(_value(get_args(kind)[0], item, where) for item in plain)
    if kind is Recipe and isinstance(plain, dict):
        return Recipe({dye: _value(float, owf, f"{where}.{dye}") for dye, owf in plain.items()})
    if dataclasses.is_dataclass(kind) and isinstance(plain, dict):
        hints = get_type_hints(kind)
        names = [f.name for f in dataclasses.fields(kind)]
        if set(names) != set(plain):
            odd = ", ".join(sorted(set(names) ^ set(plain)))
            raise SavedError(f"{where} is damaged, or written by another version: see {odd}.")
        return kind(**{n: _value(hints[n], plain[n], f"{where}.{n}") for n in names})  # type: ignore[operator]
    if kind is date and isinstance(plain, str):
        try:
            return date.fromisoformat(plain)
        except ValueError:
            raise SavedError(f"{where} is {plain!r}: a date is written 2026-05-03.") from None
    if kind is float and isinstance(plain, int | float) and not isinstance(plain, bool):
        return float(plain)
    if kind in (str, int, bool) and type(plain) is kind:
        return plain
    raise SavedError(f"{where} is {plain!r}, which is damaged.")
