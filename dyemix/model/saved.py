"""Fitted dyes as versioned JSON."""

import json
import os
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
            _upgraded(content, version)
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


def _upgraded(content: dict[str, Any], version: Any) -> None:
    """Make a set of version 5 or older one of today: it also held where pots had moved the dyes,
    which follows from the rest, and none before any pot where it came from version 1; and the
    pictures of a pot in one text. Up to version 4, of what ladders leave open, curves and laws
    stood apart; up to version 3 it had other unknowns, and stands as before any mix until its
    trials are told again; up to version 2 all dyes had one interaction.
    """
    for pot in content.get("pots", ()):
        pot["pictures"] = pot.pop("picture", "").split("; ")
    dyes, bands = len(content["names"]), len(WAVELENGTHS)
    bare = {name: content.pop(name, None) for name in ("curves", "law", "surface", "interaction")}
    bare["modes"] = plain(Modes.none(dyes, bands))
    for name in ("company", "company_curve"):
        content.pop(name, None)
    content["ladders"] = ladders = content.get("ladders") or bare
    if version < 3:
        ladders["interaction"] = [ladders.get("interaction") or 0.0] * dyes
    if version < 4:
        content["posterior"] = None
        if content.get("report"):
            content["report"]["warnings"].append(said("fit.older_fit"))
    if "laws" in (old := ladders["modes"]):
        sides = ("curves", bands), ("laws", 2)
        own = [np.reshape(old[part], (dyes, -1, size)) for part, size in sides]
        shared = [np.swapaxes(old[f"surface_{part}"], 0, 1) for part, _ in sides]
        parts = {"own": np.concatenate(own, axis=2), "shared": np.concatenate(shared, axis=2)}
        ladders["modes"] = plain(parts | {"surface": old["surface"]})


def _from_version_1(old: dict[str, Any]) -> dict[str, Any]:
    """A set of version 1 as one of version 2: nothing open but what is open of every mix.

    Its Langmuir laws ``cⁿ / (1 + c/q)`` become the bent power that is nearest between the palest
    and the deepest square, and its competition ``1 / (1 + κ o)`` the ``(1 + o)^−κ'`` that is the
    same beside 1 % of others.
    """
    told = (np.array(old[name], float) for name in ("exponent", "palest", "deepest", "curves"))
    exponent, palest, deepest, curves = told
    capacity = np.array([[full or np.inf] for full in old["capacity"]])
    c = np.geomspace(palest, deepest, 25, axis=1)
    straight = np.stack([exponent, np.zeros_like(exponent)], axis=1)
    by_law = depth_law_by_law(c, straight[:, np.newaxis])
    by_all = np.concatenate([np.ones((*c.shape, 1)), by_law], axis=2)
    run_out = -np.log1p(c / capacity)[..., np.newaxis]
    level, *turned = (np.linalg.pinv(by_all) @ run_out)[..., 0].T
    law = straight + np.transpose(turned)
    # A curve may stand at nothing, whose logarithm has no place for what is open.
    curves = np.maximum(np.exp(level)[:, np.newaxis] * curves, 1e-9)
    new: dict[str, Any] = _renamed(old)
    new |= {"curves": curves.tolist(), "law": law.tolist(), "conditions": old["conditions"] or {}}
    return new | {"interaction": -float(np.log2(1.0 + old["competition"]))}


def _renamed(old: Any) -> Any:
    """What version 1 called otherwise by its name of today, without what is told no more."""
    if isinstance(old, dict):
        return {_RENAMED.get(k, k): _renamed(x) for k, x in old.items() if k not in _GONE}
    return [_renamed(x) for x in old] if isinstance(old, list) else old
