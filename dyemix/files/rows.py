"""One row of a swatch table on its way to a `Reading`."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from dyemix.colour.colorimetry import D65_2, Light, hex_to_lab, smoothest
from dyemix.dataset.readings import CELLS, Clipped
from dyemix.dataset.recipe import NO_DYE, SPOON_SETS, Measures, Recipe, dye_name
from dyemix.dataset.swatches import ROUGH_ERROR, Reading
from dyemix.errors import DyemixError, RecipeError
from dyemix.files.cells import Faults, few
from dyemix.files.headings import CONDITIONS, HEADER_ONLY, meaning

#: Deeper than this is doubtful: black takes 6–10 % owf (common practice).
_DEEPEST = 20.0
_LONGEST_RECIPE = 500
#: Colours that get their spectrum together.
_TOGETHER = 256
_CENSORED = (
    "a channel at 00 or ff is censored: the colour may lie beyond, and counts as a bound, no value"
)
_ROUGH = (
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


@dataclass
class Draft:
    """A row while it is being understood: the text of its cells, and what a `Reading` is given."""

    row: int
    values: dict[str, str]
    bands: list[str]
    given: dict[str, Any] = field(default_factory=dict)

    @property
    def kind(self) -> str:
        return str(self.given["kind"])

    def doubt(self, *words: str) -> None:
        """Warn of the row; a table written with its warnings says each but once."""
        self.given["warnings"] = tuple(dict.fromkeys((*self.given.get("warnings", ()), *words)))

    def reading(self, faults: Faults) -> Reading:
        place = f"{faults.file}, {faults.counted} {self.row}"
        return Reading(**{"reflectance": None, **self.given, "place": place})


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
            value = "".join(said)
        before = self.conditions.get(name, value)
        if before != value:
            self.faults.add(f"{name} is stated twice: {before!r} and {value!r}.", row)
        elif value:
            self.conditions[name], self._stated[name] = value, row
        return "" if known else f"row {row}, {key}: {value}"

    def measures(self, conditions: Mapping[str, str], row: int) -> Measures:
        """What turns spoons and mL into % owf on this row; a bad statement is told once."""
        texts = tuple(conditions.get(key, "") for key in _MEASURES)
        if texts not in self._measures:
            found = {}
            for (key, (read, want, instead)), text in zip(_MEASURES.items(), texts, strict=True):
                if (value := read(text) if text else None) is None and text:
                    at = self._stated.get(key, row) if text == self.conditions.get(key) else row
                    self.faults.add(f"{key} is {text[:40]!r}: write {want}.", at)
                    value = instead  # so that each recipe of the file does not complain as well
                found[key] = value
            self._measures[texts] = Measures(
                found["stock_pct"] or {}, found["cloth_g"], found["spoons"]
            )
        return self._measures[texts]

    def recipe(self, text: str, measures: Measures) -> Recipe:
        """The recipe in a cell; a table says each many times. Raises `RecipeError`."""
        key = text, id(measures)  # of `_measures`, which live as long as this does
        if key not in self._recipes:
            self._recipes[key] = Recipe.parse(text, measures)
        return self._recipes[key]


def _positive(text: str) -> float | None:
    match = _AMOUNT.fullmatch(text)
    value = float(match[1].replace(",", ".")) if match else 0.0
    return value if 0 < value < float("inf") else None


def _strengths(text: str) -> dict[str, float] | None:
    """``2`` for every stock, or ``marigold 2, navy 1``; None where one is none."""
    found = {}
    for piece in map(str.strip, re.split(r"[;,+](?=\s*[^\W\d])", text)):
        match = _STRENGTH.fullmatch(piece) if len(piece) < _LONGEST_RECIPE else None
        if (value := _positive(match[2] if match else piece)) is None:
            return None
        found[dye_name(match[1]) if match else ""] = value
    return found


#: What turns spoons and mL into % owf: how each is read, should be written, what stands for it.
_MEASURES: Mapping[str, tuple[Callable[[str], Any], str, Any]] = {
    "stock_pct": (_strengths, "% w/v, as 2, or as 'marigold 2, navy 1'", {"": 1.0}),
    "cloth_g": (_positive, "grams of dry cloth, as 240", 1.0),
    "spoons": (
        lambda text: text.lower() if text.lower() in SPOON_SETS else None,
        f"one of {', '.join(SPOON_SETS)}",
        "metric",
    ),
}


def drafted(
    row: int, values: dict[str, str], kept: dict[str, str], bands: list[str], context: Context
) -> Draft:
    """A draft of a row with its conditions and its recipe; the reading itself is still blank."""
    own = {key: values[key] for key in CONDITIONS if values.get(key)}
    conditions = {**context.conditions, **kept, **own}
    draft = Draft(row, values, bands, {"recipe": None, "kind": "blank", "conditions": conditions})
    for name, (_, read) in CELLS.items():
        try:
            if values.get(name):
                draft.given[name] = read(values[name])
        except DyemixError as error:
            context.faults.add(str(error), row, name)
    try:
        draft.given["recipe"] = recipe = _recipe(draft, context)
    except RecipeError as error:
        column = "recipe" if "dye" not in values else "owf" if values["dye"] else "dye"
        context.faults.add(str(error), row, column)
    else:
        if recipe is not None and recipe.total > _DEEPEST:
            draft.doubt(f"{recipe.total:.4g} % owf is deeper than any cloth takes up")
    return draft


def _recipe(draft: Draft, context: Context) -> Recipe | None:
    """What a row was dyed with; None for a sample that is only named."""
    values, text = draft.values, draft.values.get("recipe", "")
    measures = context.measures(draft.given["conditions"], draft.row)
    if "dye" in values:
        text = _of_one_dye(values["dye"], values["owf"])
    if not text and not values.get("name"):
        raise RecipeError("no recipe: write % owf, as 'marigold 0.8 + navy 0.25', or 'undyed'.")
    if len(text) > _LONGEST_RECIPE:
        raise RecipeError(f"{text[:40]!r}… is too long for a recipe.")
    if not text:
        return None
    recipe = context.recipe(text, measures)
    return Recipe(recipe, values["as written"]) if values.get("as written") else recipe


def _of_one_dye(dye: str, owf: str) -> str:
    if dye_name(dye) in (*NO_DYE, "none", "") and owf in ("", "0"):
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
    light, observer = Light.parse(conditions.get("illuminant") or "D65"), conditions.get("observer")
    return Light.parse(f"{light.illuminant} {observer[:40]}") if observer else light


def rough_readings(drafts: list[Draft], faults: Faults) -> None:
    """Give every draft that has only CIELAB or a hex code the smoothest spectrum with it."""
    groups: dict[Light, list[Draft]] = {}
    assumed = False
    rough = [d for d in drafts if d.kind == "hex" or (d.kind == "Lab" and "lab" in d.given)]
    for draft in rough:
        given, code, said = draft.given, draft.values.get("hex", ""), draft.given["conditions"]
        try:
            if draft.kind == "hex":
                given |= {"lab": hex_to_lab(code), "light": D65_2, "clipped": Clipped.of_hex(code)}
            else:
                lab, given["light"] = given["lab"], _light(said)
                assumed |= not _STATED.match(f"{said.get('illuminant')} {said.get('observer')}")
                if not (0 < lab[0] <= 105 and abs(lab[1:]).max() <= 200):
                    raise DyemixError(
                        "no cloth reads L* {:g}, a* {:g}, b* {:g}: L* lies above 0 and up to 100, "
                        "a* and b* within ±200.".format(*lab)
                    )
        except DyemixError as error:
            faults.add(str(error), draft.row, "hex" if draft.kind == "hex" else "L*")
            continue
        groups.setdefault(given["light"], []).append(draft)
        draft.doubt(_ROUGH, *([_CENSORED] if given.get("clipped") else []))
    if any(draft.kind == "hex" for draft in rough):
        faults.notes.append(
            "hex codes are colours under D65/2° (sRGB), read as opaque cloth without gloss."
        )
    if assumed:
        faults.notes.append(UNSTATED_LIGHT)
    for light, group in groups.items():
        for some in (group[i : i + _TOGETHER] for i in range(0, len(group), _TOGETHER)):
            spectra, reached = smoothest(np.array([draft.given["lab"] for draft in some]), light)
            for draft, spectrum, has in zip(some, spectra, reached, strict=True):
                draft.given["reflectance"] = spectrum
                if not has:
                    where = "L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*draft.given["lab"])
                    faults.add(f"no cloth can have {where} under {light}.", draft.row, draft.kind)
