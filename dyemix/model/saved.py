"""Fitted dyes as versioned JSON."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import WAVELENGTHS, Light
from dyemix.dataset.serialise import plain
from dyemix.errors import DyemixError, SavedError
from dyemix.model.dyes import Draws, DyeSet
from dyemix.model.fit_report import DyeReport, FitReport, MixtureCheck
from dyemix.model.kubelka_munk import Surface
from dyemix.model.scatter import Scatter

FORMAT = "dyemix dye set"
#: Raised with every change of the layout below; an older version is still read.
VERSION = 1


def saved_text(dyes: DyeSet) -> str:
    """Fitted dyes as the text that `save` writes and `from_text` reads."""
    content = {
        "format": FORMAT,
        "version": VERSION,
        "wavelengths_nm": [WAVELENGTHS[0], WAVELENGTHS[-1], len(WAVELENGTHS)],
        **plain(dyes),
    }
    return json.dumps(content, ensure_ascii=False)


def save(dyes: DyeSet, path: str | os.PathLike[str]) -> None:
    """Write fitted dyes to a JSON file. Raises `SavedError` where it cannot be written."""
    # A reader of the file must never see half of it: write beside it, then move.
    path = Path(path)
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        beside.write_text(saved_text(dyes), encoding="utf-8")
        beside.replace(path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise SavedError(f"{path}: cannot be written ({error.strerror}).") from None


def load(path: str | os.PathLike[str]) -> DyeSet:
    """Read fitted dyes back. Raises `SavedError` for a file that is damaged, foreign or newer."""
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise SavedError(f"{path}: cannot be read ({error.strerror}).") from None
    except ValueError:
        text = ""  # not UTF-8: told below like any other damage
    return from_text(text, str(path))


def from_text(text: str, path: str) -> DyeSet:
    """Fitted dyes from their text; `path` says in messages where that stands."""
    try:
        content = json.loads(text)
    except (ValueError, RecursionError):
        raise SavedError(
            f"{path}: not a saved dye set, or a damaged one: fit the swatches again."
        ) from None
    if not isinstance(content, dict) or content.get("format") != FORMAT:
        raise SavedError(f"{path}: not a saved dye set: save one with 'dyemix fit -o'.")
    version = content.get("version")
    if not isinstance(version, int) or version > VERSION:
        raise SavedError(
            f"{path}: saved by a newer dyemix (layout {version}, this one reads up to {VERSION}): "
            "update dyemix, or fit the swatches again."
        )
    try:
        return _dye_set(content)
    except (KeyError, TypeError, ValueError, AttributeError, DyemixError) as error:
        raise SavedError(
            f"{path}: damaged ({type(error).__name__}: {error}): fit the swatches again."
        ) from None


def _array(values: Any, *shape: int) -> Array:
    """An array of finite numbers of this shape; null stands for infinity."""
    array = np.array(values, dtype=object)
    array[array == None] = np.inf  # noqa: E711  (element by element)
    out = array.astype(float)
    if out.shape != shape or np.isnan(out).any():
        raise ValueError(f"an array of shape {out.shape} stands where {shape} is wanted")
    return out


def _draws(content: Any, dyes: int, bands: int) -> Draws | None:
    if content is None:
        return None
    many = len(content["curves"])
    return Draws(
        _array(content["curves"], many, dyes, bands),
        _array(content["exponent"], many, dyes),
        _array(content["capacity"], many, dyes),
    )


def _tupled(kind: type[Any], content: Mapping[str, Any]) -> Any:
    """A frozen dataclass from its JSON object; JSON has lists where it has tuples."""
    known = {f.name: content[f.name] for f in fields(kind)}
    return kind(**{k: tuple(v) if isinstance(v, list) else v for k, v in known.items()})


def _scatter(content: Mapping[str, Any]) -> Scatter:
    parts = {**content, "reading": _array(content["reading"], 3, 3)}
    scatter: Scatter = _tupled(Scatter, parts)
    return scatter


def _report(content: Any) -> FitReport | None:
    if content is None:
        return None
    parts = dict(content)
    parts["dyes"] = [_tupled(DyeReport, dye) for dye in content["dyes"]]
    for name in ("own_mixtures", "set_aside"):
        parts[name] = [_tupled(MixtureCheck, check) for check in content[name]]
    report: FitReport = _tupled(FitReport, parts)
    return report


def _dye_set(content: dict[str, Any]) -> DyeSet:
    names = tuple(str(name) for name in content["names"])
    d, b = len(names), len(WAVELENGTHS)
    if content["wavelengths_nm"] != [WAVELENGTHS[0], WAVELENGTHS[-1], b]:
        raise ValueError("its wavelengths are not 400–700 nm at 10 nm")
    return DyeSet(
        names=names,
        curves=_array(content["curves"], d, b),
        exponent=_array(content["exponent"], d),
        capacity=_array(content["capacity"], d),
        palest=_array(content["palest"], d),
        deepest=_array(content["deepest"], d),
        cloth=_array(content["cloth"], b),
        surface=Surface(float(content["surface"]["r0"]), float(content["surface"]["k2"])),
        light=Light.parse(content["light"]),
        competition=float(content["competition"]),
        conditions=dict(content["conditions"] or {}),
        scatter=_scatter(content["scatter"]),
        report=_report(content["report"]),
        draws=_draws(content.get("draws"), d, b),
        demo=bool(content["demo"]),
    )
