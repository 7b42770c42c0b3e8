"""Fitted dyes as versioned JSON."""

import json
import os
from operator import add
from typing import Any

import numpy as np

from dyemix.colour.colorimetry import WAVELENGTHS
from dyemix.dataset.recipe import is_name
from dyemix.dataset.serialise import from_plain, parse, plain
from dyemix.errors import InputError, SavedError, refuse, said
from dyemix.model.dyes import DyeSet
from dyemix.model.kubelka_munk import depth_law_by_law
from dyemix.model.unknowns import Modes
from dyemix.writing import read_bytes, write

FORMAT = "dyemix dye set"
#: Raised with every change of the layout below; an older version is still read.
VERSION = 6
#: What version 1 called otherwise, and what it told that nothing is made of today.
_RENAMED = {"notes": "warnings", "odd": "warnings", "advice": "next", "surface_note": "surface"}
_GONE = ("exponent", "capacity", "competition", "draws", "mixing", "model", "own_mixtures",
         "set_aside", "expected", "rough")  # fmt: skip
#: No exponent, logarithm or variance of a set is larger.
_MOST = 1e6
#: What a saved set begins with.
_HEAD = {
    "format": FORMAT, "version": VERSION,
    "wavelengths_nm": [WAVELENGTHS[0], WAVELENGTHS[-1], len(WAVELENGTHS)],
}  # fmt: skip


def saved_text(dyes: DyeSet) -> str:
    """Fitted dyes as the text that `save` writes and `load` reads."""
    return json.dumps(_HEAD | plain(dyes), ensure_ascii=False)


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
    content: dict[str, Any] = {}
    try:
        content = parse(read_bytes(path).decode())
    except InputError as error:
        raise SavedError(str(error)) from error
    except (SavedError, UnicodeDecodeError):
        pass  # told below like any other damage
    refuse(content.get("format") != FORMAT, "fit.not_saved", path=path, error=SavedError)
    version: Any = content.get("version")
    known = isinstance(version, int) and version <= VERSION
    refuse(not known, "fit.newer", path=path, version=version, ours=VERSION, error=SavedError)
    try:
        other = [content.pop(name) for name in _HEAD][2] != _HEAD["wavelengths_nm"]
        refuse(other, "its wavelengths are not 400–700 nm at 10 nm.", error=SavedError)
        if version == 1:
            content = _from_version_1(content)
        if version < VERSION:
            _from_version_5(content, version)
        return _sound(from_plain(DyeSet, content))
    except (KeyError, TypeError, ValueError, AttributeError, ArithmeticError) as error:
        kind = type(error).__name__
        raise SavedError(said("fit.damaged", path=path, kind=kind, error=error)) from None


@np.errstate(all="raise", under="ignore")
def _sound(dyes: DyeSet) -> DyeSet:
    """The set. Raises `SavedError`, or an error of arithmetic, for one that no fit has made: names
    that no recipe holds, errors below nothing, or what predicts no colour.
    """
    scatter, known, whole = dyes.scatter, dyes.known, dyes.whole
    errors = (scatter.dosing, scatter.pot, scatter.second_bath, known.strength, known.rest)
    least = min(*errors, known.alone, *dyes.palest, *dyes.cloth, dyes.ladders.curves.min())
    parts = (whole.company, whole.interaction, scatter.reading, known.covariance)
    named = len({name for name in dyes.names if is_name(name)}) == len(dyes)
    sound = named and least >= 0.0 and max(np.abs(part).max() for part in parts) <= _MOST
    refuse(not sound, "its names, errors or cloth are none.", error=SavedError)
    for spread in parts[2:]:
        np.linalg.cholesky(spread + 1e-9 * np.eye(len(spread)))
    seen = dyes.predict_many(np.stack([dyes.palest, dyes.deepest]))
    seen.in_pot(seen.lab)
    return dyes


def _from_version_5(content: dict[str, Any], version: Any) -> None:
    """Make a set of version 5 or older one of today: it also held where pots had moved the dyes,
    which follows from the rest, and none before any pot where it came from version 1; and the
    pictures of a pot in one text. Up to version 4, of what ladders leave open, curves and laws
    stood apart; up to version 3 it had other unknowns, and stands as before any mix until its
    trials are told again; up to version 2 all dyes had one interaction.
    """
    for pot in content.get("pots", ()):
        pot["pictures"] = pot.pop("picture", "").split("; ")
    dyes, moved = len(content["names"]), ("curves", "law", "surface", "interaction")
    bare = {name: content.pop(name, None) for name in moved}
    bare["modes"] = plain(Modes.none(dyes, len(WAVELENGTHS)))
    for name in ("company", "company_curve"):
        content.pop(name, None)
    content["ladders"] = ladders = content.get("ladders") or bare
    if version < 3:
        ladders["interaction"] = [ladders.get("interaction") or 0.0] * dyes
    if version < 4:
        content["posterior"] = None
    if "laws" in (old := ladders["modes"]):
        own, shared = (
            [list(map(add, *each)) for each in zip(old[curves], old[laws], strict=True)]
            for curves, laws in (("curves", "laws"), ("surface_curves", "surface_laws"))
        )
        by_dye = list(zip(*shared, strict=True))
        ladders["modes"] = {"own": own, "shared": by_dye, "surface": old["surface"]}


def _from_version_1(old: dict[str, Any]) -> dict[str, Any]:
    """A set of version 1 as one of version 2: nothing open but what is open of every mix.

    Its Langmuir laws ``c / (1 + c/q)`` become the bent power that is nearest between the palest and
    the deepest square, and its competition ``1 / (1 + κ o)`` the nearest ``(1 + o)^−κ'``.
    """
    laws, curves = [], []
    told: list[Any] = [old[k] for k in ("curves", "exponent", "capacity", "palest", "deepest")]
    for curve, n, capacity, palest, deepest in zip(*told, strict=True):
        c, straight = np.geomspace(palest, deepest, 25), np.array([n, 0.0])
        x = np.column_stack([np.ones(25), depth_law_by_law(c, straight)])
        run_out = -np.log1p(c / (capacity or np.inf))
        level, *turned = np.linalg.lstsq(x, run_out, rcond=None)[0]
        laws.append((straight + turned).tolist())
        # A curve may stand at nothing, whose logarithm has no place for what is open.
        curves.append(np.maximum(np.exp(level) * np.array(curve), 1e-9).tolist())
    others = np.log1p(np.geomspace(0.1, 4.0, 25))
    costs = -np.log1p(old["competition"] * np.expm1(others))
    new: dict[str, Any] = _renamed(old)
    new |= {"curves": curves, "law": laws, "conditions": old["conditions"] or {}}
    if new["report"] is not None:
        new["report"]["warnings"].append(said("fit.older_fit"))
    return new | {"interaction": float((others * costs).sum() / (others * others).sum())}


def _renamed(old: Any) -> Any:
    """What version 1 called otherwise by its name of today, without what is told no more."""
    if isinstance(old, dict):
        return {_RENAMED.get(k, k): _renamed(x) for k, x in old.items() if k not in _GONE}
    return [_renamed(x) for x in old] if isinstance(old, list) else old
