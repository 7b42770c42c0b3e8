"""Fitted dyes as versioned JSON."""

from __future__ import annotations

import json
import os
from contextlib import suppress
from typing import Any

import numpy as np

from dyemix.colour.colorimetry import WAVELENGTHS
from dyemix.dataset.serialise import from_plain, parse, plain
from dyemix.errors import DyemixError, InputError, SavedError
from dyemix.model.dyes import DyeSet
from dyemix.model.kubelka_munk import depth_law, depth_law_by_law
from dyemix.writing import read_bytes, write

FORMAT = "dyemix dye set"
#: Raised with every change of the layout below; an older version is still read.
VERSION = 2


def saved_text(dyes: DyeSet) -> str:
    """Fitted dyes as the text that `save` writes and `from_text` reads."""
    content = {
        "format": FORMAT,
        "version": VERSION,
        "wavelengths_nm": [WAVELENGTHS[0], WAVELENGTHS[-1], len(WAVELENGTHS)],
        **plain(dyes),
    }
    return json.dumps(content, ensure_ascii=False)


def save(dyes: DyeSet, path: str | os.PathLike[str], **care: Any) -> None:
    """Write fitted dyes to a JSON file; `care` is ``force`` and ``inputs`` of `write`.

    >>> save(dyes, "saved.json")
    >>> load("saved.json") == dyes
    True
    """
    write(path, saved_text(dyes), **care)


def load(path: str | os.PathLike[str]) -> DyeSet:
    """Read fitted dyes back. Raises `SavedError` for a file that is damaged, foreign or newer.

    >>> save(dyes, "dyes.json")
    >>> load("dyes.json").names == dyes.names
    True
    """
    try:
        text = read_bytes(path).decode()
    except InputError as error:
        raise SavedError(str(error)) from error
    except UnicodeDecodeError:
        text = ""  # told below like any other damage
    return from_text(text, str(path))


def from_text(text: str, path: str) -> DyeSet:
    """Fitted dyes from their text; `path` says in messages where that stands."""
    content: dict[str, Any] = {}
    with suppress(SavedError):
        content = parse(text)
    if content.get("format") != FORMAT:
        raise SavedError(
            f"{path}: not a saved dye set, or a damaged one: save one with 'dyemix fit -o'."
        )
    version = content.get("version")
    if not isinstance(version, int) or version > VERSION:
        raise SavedError(
            f"{path}: saved by a newer dyemix (layout {version}, this one reads up to {VERSION}): "
            "update dyemix, or fit the swatches again."
        )
    bands = [WAVELENGTHS[0], WAVELENGTHS[-1], len(WAVELENGTHS)]
    try:
        if content.pop("wavelengths_nm", None) != bands:
            raise SavedError("its wavelengths are not 400–700 nm at 10 nm.")
        del content["format"], content["version"]
        return from_plain(DyeSet, _from_version_1(content) if version == 1 else content)
    except (KeyError, TypeError, ValueError, AttributeError, DyemixError) as error:
        raise SavedError(
            f"{path}: damaged ({type(error).__name__}: {error}) Fit the swatches again."
        ) from None


def _from_version_1(content: dict[str, Any]) -> dict[str, Any]:
    """A set of version 1 as one of today: nothing open but what is open of every mix.

    Its Langmuir laws ``c / (1 + c/q)`` become the bent power that is nearest between the palest and
    the deepest square, and its competition ``1 / (1 + κ o)`` the nearest ``(1 + o)^−κ'``.
    """
    exponents, capacities = content.pop("exponent"), content.pop("capacity")
    content.pop("draws", None)
    curves, laws = [], []
    for i, curve in enumerate(content["curves"]):
        exponent, capacity = exponents[i], capacities[i]
        law, factor = np.array([exponent, 0.0]), 1.0
        if capacity is not None:
            c = np.geomspace(content["palest"][i], content["deepest"][i], 25)
            run_out = -np.log1p(c / capacity)
            for _ in range(5):  # nearly linear in the law
                now = np.log(depth_law(c, law) / depth_law(c, np.array([exponent, 0.0])))
                x = np.column_stack([np.ones(len(c)), depth_law_by_law(c, law)])
                step = np.linalg.lstsq(x, run_out - now, rcond=None)[0]
                law, factor = law + step[1:], float(np.exp(step[0]))
        laws.append(law.tolist())
        # A curve may stand at nothing, whose logarithm has no place for what is open.
        curves.append([max(factor * value, 1e-9) for value in curve])
    others = np.log1p(np.geomspace(0.1, 4.0, 25))
    costs = -np.log1p(content.pop("competition") * np.expm1(others))
    interaction = float((others * costs).sum() / (others * others).sum())
    scatter = {k: v for k, v in content["scatter"].items() if k not in ("mixing", "model")}
    scatter["warnings"] = scatter.pop("notes")
    if (report := content["report"]) is not None:
        told = "saved by an older fit: fit the swatches again, and its mixes tell what to expect."
        renamed = {"odd": "warnings", "advice": "next"}
        dyes = [{renamed.get(k, k): v for k, v in dye.items()} for dye in report["dyes"]]
        report = {k: report[k] for k in ("light", "method", "demo")} | {
            "surface": report["surface_note"], "warnings": [*report["notes"], told], "dyes": dyes,
        }  # fmt: skip
    return content | {
        "curves": curves, "law": laws, "interaction": interaction, "scatter": scatter,
        "report": report, "conditions": content["conditions"] or {},
    }  # fmt: skip
