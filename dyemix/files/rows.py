"""One row of a swatch table on its way to a `Reading`."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_2, Light, hex_to_lab, smoothest_reflectance
from dyemix.dataset.clipped import Clipped
from dyemix.dataset.recipe import SPOON_SETS, Measures, Recipe, dye_name
from dyemix.dataset.swatches import ROUGH_ERROR, Reading
from dyemix.errors import DyemixError, RecipeError, TargetError
from dyemix.files.cells import Faults, few
from dyemix.files.headings import CONDITIONS, FLAG_SEPARATOR, HEADER_ONLY, meaning

#: Deeper than this is doubtful: black takes 6–10 % owf (common practice).
_DEEPEST = 20.0
_LONGEST_RECIPE = 500
_ROUGH_FLAG = (
    "rough: the spectrum is the smoothest with this colour; a swatch by itself puts predictions "
    f"off by about {ROUGH_ERROR:g} ΔE2000 more, a ladder of depths by much less"
)
_AMOUNT = re.compile(r"([0-9]*[.,]?[0-9]+)\s*(?:%|g|pct|% w/v)?")
_STRENGTH = re.compile(r"(.*[^\W\d_].*?)\s+([0-9]*[.,]?[0-9]+)\s*%?")
#: What the ``# key: value`` lines that hold for the whole file may say, and how it may be put.
_SAID: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "demo": {"yes": ("yes", "true", "1"), "no": ("no", "false", "0")},
    "scale": {"percent": ("percent", "%", "percentage"), "fraction": ("fraction",)},
}
_OBSERVER = re.compile(r"(?:CIE\s*)?(2|10|1931|1964)\s*(?:°|deg|degree|degrees)?", re.IGNORECASE)


@dataclass
class Draft:
    """A row while it is being understood; `reading` closes it."""

    row: int
    values: dict[str, str]
    kept: dict[str, str] = field(default_factory=dict)
    bands: list[str] = field(default_factory=list)
    recipe: Recipe | None = None
    kind: str = "blank"
    conditions: dict[str, str] = field(default_factory=dict)
    reflectance: Array | None = None
    lab: Array | None = None
    light: Light | None = None
    covariance: Array | None = None
    clipped: Clipped | None = None
    flags: list[str] = field(default_factory=list)

    def doubt(self, *flags: str) -> None:
        """Flag the row; a table written with its flags says each but once."""
        self.flags = list(dict.fromkeys((*self.flags, *flags)))

    def reading(self, faults: Faults) -> Reading:
        place = f"{faults.file}, {faults.counted} {self.row}"
        return Reading(
            self.recipe, self.reflectance, self.values.get("swatch", ""), self.kind, self.lab,
            self.light, self.covariance, self.conditions, tuple(self.flags), place,
            self.values.get("name", ""), self.clipped,
        )  # fmt: skip


class Context:
    """What the ``# key: value`` lines of a file say of every row, and where its faults go.

    `conditions` keeps unknown keys too, told in a note; `scale` is empty where it is not stated.
    """

    def __init__(self, remarks: Sequence[tuple[int, str]], faults: Faults) -> None:
        self.faults = faults
        self._stated: dict[str, int] = {}
        self._measures: dict[tuple[str, ...], Measures] = {}
        self._recipes: dict[tuple[str, int], Recipe] = {}
        self.conditions: dict[str, str] = {}
        unknown = [told for row, remark in remarks if (told := self._read(row, remark))]
        if unknown:
            self.faults.notes.append(f"kept, but no condition known here: {few(unknown, 6)}.")
        self.scale, demo = (self.conditions.pop(key, "") for key in ("scale", "demo"))
        self.demo = demo == "yes"

    def _read(self, row: int, remark: str) -> str:
        """Take what a line says; gives it back where its key is unknown."""
        key, colon, value = (" ".join(part.split()) for part in remark.partition(":"))
        if not colon or not key:
            self.faults.notes += [f"row {row} says: {remark}"] if remark else []
            return ""
        name = meaning(key)
        known = name in (*CONDITIONS, *HEADER_ONLY)
        name = name if known else key
        if name == "about":
            self.faults.notes.append(f"about: {value}")
        if name in _SAID and value:
            said = [word for word, put in _SAID[name].items() if value.lower() in put]
            if not said:
                self.faults.add(f"{name} is {value!r}: write {' or '.join(_SAID[name])}.", row)
            value = said[0] if said else ""
        before = self.conditions.get(name, value)
        if before != value:
            self.faults.add(f"{name} is stated twice: {before!r} and {value!r}.", row)
        elif value:
            self.conditions[name], self._stated[name] = value, row
        return "" if known else f"row {row}, {key}: {value}"

    def measures(self, conditions: Mapping[str, str], row: int) -> Measures:
        """What turns spoons and mL into % owf on this row; a bad statement is told once."""
        keys = ("stock_pct", "cloth_g", "spoons")
        texts = tuple(conditions.get(key, "") for key in keys)
        if texts not in self._measures:
            stock, cloth, spoons = texts
            at = [
                self._stated.get(key, row) if text == self.conditions.get(key) else row
                for key, text in zip(keys, texts, strict=True)
            ]
            grams = self._positive(cloth, "cloth_g", "grams of dry cloth, as 240", at[1])
            strengths = self._strengths(stock, at[0])
            self._measures[texts] = Measures(strengths, grams, self._spoon_set(spoons, at[2]))
        return self._measures[texts]

    def recipe(self, text: str, measures: Measures) -> Recipe:
        """The recipe in a cell; a table says each many times. Raises `RecipeError`."""
        key = text, id(measures)  # of `_measures`, which live as long as this does
        if key not in self._recipes:
            self._recipes[key] = Recipe.parse(text, measures)
        return self._recipes[key]

    def _positive(self, text: str, key: str, want: str, row: int) -> float | None:
        match = _AMOUNT.fullmatch(text)
        value = float(match[1].replace(",", ".")) if match else 0.0
        if text and not 0 < value < float("inf"):
            self.faults.add(f"{key} is {text[:40]!r}: write {want}.", row)
            return 1.0  # so that each recipe of the file does not complain as well
        return value or None

    def _strengths(self, text: str, row: int) -> dict[str, float]:
        """``2`` for every stock, or ``marigold 2, navy 1``."""
        strengths = {}
        for piece in re.split(r"[;,+](?=\s*[^\W\d])", text) if text else ():
            match = _STRENGTH.fullmatch(piece.strip()) if len(piece) < _LONGEST_RECIPE else None
            amount = match[2] if match else piece.strip() or "?"
            want = "% w/v, as 2, or as 'marigold 2, navy 1'"
            value = self._positive(amount, "stock_pct", want, row)
            strengths[dye_name(match[1]) if match else ""] = value or 1.0
        return strengths

    def _spoon_set(self, text: str, row: int) -> str | None:
        if text and text.lower() not in SPOON_SETS:
            self.faults.add(f"spoons is {text[:40]!r}: write one of {', '.join(SPOON_SETS)}.", row)
            return "metric"
        return text.lower() or None


def named_recipe(draft: Draft, context: Context) -> None:
    """Give a draft its conditions and its recipe."""
    values = draft.values
    own = {key: values[key] for key in CONDITIONS if values.get(key)}
    draft.conditions = {**context.conditions, **draft.kept, **own}
    draft.doubt(*filter(None, values.get("flags", "").split(FLAG_SEPARATOR)))
    measures = context.measures(draft.conditions, draft.row)
    text, column = values.get("recipe", ""), "recipe"
    try:
        if "dye" in values:
            column = "owf" if values["dye"] else "dye"
            text = _of_one_dye(values["dye"], values["owf"])
        if not text and not values.get("name"):
            raise RecipeError("no recipe: write % owf, as 'marigold 0.8 + navy 0.25', or 'undyed'.")
        if len(text) > _LONGEST_RECIPE:
            raise RecipeError(f"{text[:40]!r}… is too long for a recipe.")
        draft.recipe = context.recipe(text, measures) if text else None
    except RecipeError as error:
        context.faults.add(str(error), draft.row, column)
    if draft.recipe is not None:
        if written := values.get("as written"):
            draft.recipe = Recipe(draft.recipe, written)
        if draft.recipe.total > _DEEPEST:
            draft.doubt(f"{draft.recipe.total:.4g} % owf is deeper than any cloth takes up")


def _of_one_dye(dye: str, owf: str) -> str:
    if dye_name(dye) in ("undyed", "blank", "no dye", "none", "") and owf in ("", "0"):
        return "undyed" if dye or owf else ""
    if not dye or not owf:
        raise RecipeError("write the dye and its % owf, or 'undyed' and 0.")
    return f"{dye} {owf}"


# Colours without a spectrum ---------------------------------------------------------------------


#: What is said of CIELAB that states none: between D65/10° and D65/2° cloth moves by some 2.5.
UNSTATED_LIGHT = (
    "CIELAB without its light stated is taken to be D65, 10°; is it? A mix-up costs some 2.5 "
    "ΔE2000. Write it above the headings, as '# light: D65/10' or '# light: D65/2'."
)
#: An illuminant and an observer, in one cell or in two.
_STATED = re.compile(r"(?!None )\w[^/ ,]*[/ ,]\s*\d")


def _light(conditions: Mapping[str, str]) -> Light:
    """The light that these conditions state, D65/10° where they are silent."""
    illuminant, observer = conditions.get("illuminant", ""), conditions.get("observer", "")
    light = Light.parse(illuminant or "D65")
    if not observer:
        return light
    match = _OBSERVER.fullmatch(observer)
    if match is None:
        raise DyemixError(f"observer {observer[:40]!r} is not a CIE observer: write 2 or 10.")
    return Light(light.illuminant, {"1931": 2, "1964": 10}.get(match[1]) or int(match[1]))


def rough_readings(drafts: list[Draft], faults: Faults) -> None:
    """Give every draft that has only CIELAB or a hex code the smoothest spectrum with it."""
    groups: dict[Light, list[Draft]] = {}
    assumed = False
    for draft in drafts:
        try:
            if draft.kind == "hex":
                draft.lab, draft.light = hex_to_lab(draft.values["hex"]), D65_2
                draft.clipped = Clipped.of_hex(draft.values["hex"])
            elif draft.kind == "Lab" and draft.lab is not None:
                if not (0 < draft.lab[0] <= 105 and abs(draft.lab[1:]).max() <= 200):
                    raise DyemixError(
                        "no cloth reads L* {:g}, a* {:g}, b* {:g}: L* lies above 0 and up to 100, "
                        "a* and b* within ±200.".format(*draft.lab)
                    )
                draft.light = _light(draft.conditions)
                assumed |= not _STATED.match(
                    f"{draft.conditions.get('illuminant')} {draft.conditions.get('observer')}"
                )
            else:
                continue
        except DyemixError as error:
            faults.add(str(error), draft.row, "hex" if draft.kind == "hex" else "L*")
            continue
        groups.setdefault(draft.light, []).append(draft)
        draft.doubt(_ROUGH_FLAG)
    if any(draft.kind == "hex" for draft in drafts):
        faults.notes.append(
            "hex codes are colours under D65/2° (sRGB), read as opaque cloth without gloss."
        )
    if assumed:
        faults.notes.append(UNSTATED_LIGHT)
    for light, group in groups.items():
        for start in range(0, len(group), 256):
            _smooth(group[start : start + 256], light, faults)


def _smooth(drafts: list[Draft], light: Light, faults: Faults) -> None:
    try:
        spectra = smoothest_reflectance(np.array([draft.lab for draft in drafts]), light)
        for draft, spectrum in zip(drafts, spectra, strict=True):
            draft.reflectance = spectrum.copy()
    except TargetError as error:
        if len(drafts) == 1:
            faults.add(str(error), drafts[0].row, drafts[0].kind)
        else:  # halve until the colours out of reach stand alone
            half = len(drafts) // 2
            _smooth(drafts[:half], light, faults)
            _smooth(drafts[half:], light, faults)
