"""The rows of a swatch table as columns, on their way to readings.

Every different text of a column is read once; what is refused is a fault of each row it stands in.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import lru_cache, partial
from types import MappingProxyType
from typing import Any

import numpy as np

from dyemix.arrays import Array, Indices
from dyemix.colour.colorimetry import D65_2, Light, hex_to_lab, smoothest
from dyemix.dataset.readings import CELLS, Clipped
from dyemix.dataset.recipe import NO_DYE, SPOON_SETS, Measures, Recipe, dye_name
from dyemix.dataset.swatches import ROUGH_ERROR, Reading
from dyemix.dataset.target import check_colour
from dyemix.errors import DyemixError, RecipeError, said
from dyemix.files.cells import CONDITIONS, HEADER_ONLY, Faults, few, meaning, tidy

#: Deeper than this is doubtful: black takes 6–10 % owf (common practice).
_DEEPEST = 20.0
_LONGEST_RECIPE = 500
#: Colours that get their spectrum together.
_TOGETHER = 1024
_AMOUNT = re.compile(r"([0-9]*[.,]?[0-9]+)\s*(?:%|g|pct|% w/v)?")
_STRENGTH = re.compile(r"(.*[^\W\d_].*?)\s+([0-9]*[.,]?[0-9]+)\s*%?")
#: What the ``# key: value`` lines that hold for the whole file may say, and how it may be put.
_SAID: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "demo": {"yes": ("yes", "true", "1"), "no": ("no", "false", "0")},
    "scale": {"percent": ("percent", "%", "percentage"), "fraction": ("fraction",)},
}

#: Columns of text by name.
Cells = Mapping[str, list[str]]
#: What reads a text, or the texts that make one thing.
_Reader = Callable[[Any], Any]


class Context:
    """What the ``# key: value`` lines of a file say of every row, and where its faults go.

    `conditions` keeps unknown keys too, told in a note; `scale` is empty where it is not stated.
    """

    def __init__(self, remarks: Sequence[tuple[int, str]], faults: Faults) -> None:
        self.faults = faults
        self._stated: dict[str, int] = {}
        self._measures: dict[tuple[str, ...], Measures] = {}
        self.conditions: dict[str, str] = {}
        unknown = [told for row, remark in remarks if (told := self._read(row, remark))]
        if unknown:
            faults.note("no_condition", lines=few(unknown, 6))
        self.scale, demo = (self.conditions.pop(key, "") for key in ("scale", "demo"))
        self.demo = demo == "yes"

    def _read(self, row: int, remark: str) -> str:
        """Take what a line says; gives it back where its key is unknown."""
        key, colon, value = map(tidy, remark.partition(":"))
        if not colon or not key:
            self.faults.notes += [said("tables.says", row=row, remark=remark)] if remark else []
            return ""
        name = meaning(key)
        known = name in (*CONDITIONS, *HEADER_ONLY)
        name = name if known else key
        if name == "about":
            self.faults.note("about", about=value)
        if name in _SAID and value:
            meant = [word for word, put in _SAID[name].items() if value.lower() in put]
            if not meant:
                words = " or ".join(_SAID[name])
                self.faults.add(said("tables.neither", name=name, value=value, words=words), row)
            value = "".join(meant)
        before = self.conditions.get(name, value)
        if before != value:
            stated = said("tables.stated_twice", name=name, before=before, value=value)
            self.faults.add(stated, row)
        elif value:
            self.conditions[name], self._stated[name] = value, row
        return "" if known else f"row {row}, {key}: {value}"

    def measures(self, conditions: Mapping[str, str], row: int) -> Measures:
        """What turns spoons and mL into % owf on this row; a bad statement is told once."""
        texts = tuple(conditions.get(key, "") for key in _MEASURES)
        if texts not in self._measures:
            found = []
            for (key, (read, want, instead)), text in zip(_MEASURES.items(), texts, strict=True):
                if (value := read(text) if text else None) is None and text:
                    at = self._stated.get(key, row) if text == self.conditions.get(key) else row
                    self.faults.add(said("tables.measure", key=key, text=text[:40], want=want), at)
                    value = instead  # so that each recipe of the file does not complain as well
                found.append(value)
            self._measures[texts] = Measures(found[0] or {}, *found[1:])
        return self._measures[texts]


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


class Rows:
    """The rows of a table, with their conditions and recipes; readings are blank at first.

    Attributes
    ----------
    numbers : which row (object, column) of the file each is.
    cells : their text under each heading that is known here; what stands under the others is `kept`
        among the conditions, and not used.
    given : attributes of a `Reading`, each a column.
    """

    def __init__(self, numbers: list[int], cells: Cells, kept: Cells, context: Context) -> None:
        self.numbers, self.cells, self.faults = numbers, cells, context.faults
        blank = {"reflectance": None, "kind": "blank", "warnings": ()}
        self.given: dict[str, list[Any]] = {k: [x] * len(numbers) for k, x in blank.items()}
        for name in (name for name in CELLS if name in cells):
            self.given[name] = self.read(name, cells[name], partial(_attribute, name))
        columns = {**kept, **{key: cells[key] for key in CONDITIONS if key in cells}}
        texts = list(zip(*columns.values(), strict=True)) or [()] * len(numbers)
        stated: dict[tuple[str, ...], tuple[Mapping[str, str], Measures]] = {}
        for number, words in zip(numbers, texts, strict=True):
            if words not in stated:
                there = {key: text for key, text in zip(columns, words, strict=True) if text}
                told = MappingProxyType({**context.conditions, **there})
                stated[words] = told, context.measures(told, number)
        self.given["conditions"] = [stated[words][0] for words in texts]
        parts = map(self.column, ("recipe", "dye", "owf", "as written", "name"))
        keys = list(zip(texts, *parts, strict=True))
        recipes = self.read("recipe", keys, lambda key: _recipe(stated[key[0]][1], *key[1:]))
        self.given["recipe"] = recipes
        for i, recipe in enumerate(recipes):
            if recipe is not None and recipe.total > _DEEPEST:
                self.doubt(i, said("tables.deep", total=recipe.total))

    def column(self, name: str) -> list[str]:
        """The cells of a column; blank ones where there is none."""
        return self.cells.get(name) or [""] * len(self.numbers)

    def read(
        self, column: str, texts: list[Any], read: _Reader, at: Indices | None = None
    ) -> list[Any]:
        """What `read` makes of the text of each row, or those `at`; None for a fault."""
        known: dict[Any, Any] = {}
        refused: dict[Any, str] = {}
        for text in dict.fromkeys(texts):
            try:
                known[text] = read(text)
            except DyemixError as error:
                known[text], refused[text] = None, str(error)
        for i, text in enumerate(texts) if refused else ():
            if text in refused:
                of_dye = column == "recipe" and "dye" in self.cells
                name = ("owf" if self.cells["dye"][i] else "dye") if of_dye else column
                self.faults.add(refused[text], self.numbers[i if at is None else at[i]], name)
        return [known[text] for text in texts]

    def give(self, name: str, at: Indices, values: Iterable[Any]) -> None:
        """Set an attribute of the rows `at`, to one word or to a value each."""
        column = self.given.setdefault(name, [getattr(Reading, name, None)] * len(self.numbers))
        each = [values] * len(at) if isinstance(values, str) else values
        for i, value in zip(at.tolist(), each, strict=True):
            column[i] = value

    def doubt(self, i: int, *words: str) -> None:
        """Warn of a row; a table written with its warnings says each but once."""
        column = self.given["warnings"]
        column[i] = tuple(dict.fromkeys((*column[i], *words)))

    def readings(self) -> tuple[Reading, ...]:
        """What has been given, checked by then."""
        before = f"{self.faults.file}, {self.faults.counted} "
        return Reading.of_columns(self.given | {"place": [f"{before}{n}" for n in self.numbers]})


def _recipe(
    measures: Measures, recipe: str, dye: str, owf: str, written: str, name: str
) -> Recipe | None:
    """What a row was dyed with; None for a sample that is only named."""
    text = recipe or _of_one_dye(dye, owf)
    if not text and not name:
        raise RecipeError(said("tables.no_recipe"))
    if len(text) > _LONGEST_RECIPE:
        raise RecipeError(said("tables.long_recipe", text=text[:40]))
    if not text:
        return None
    found = Recipe.parse(text, measures)
    return Recipe(found, written) if written else found


def _attribute(name: str, text: str) -> Any:
    """What a `Reading` makes of a cell."""
    return CELLS[name][1](text) if text else getattr(Reading, name)


def _of_one_dye(dye: str, owf: str) -> str:
    if dye_name(dye) in (*NO_DYE, "none", "") and owf in ("", "0"):
        return "undyed" if dye or owf else ""
    if not dye or not owf:
        raise RecipeError(said("tables.dye_and_owf"))
    return f"{dye} {owf}"


# Colours without a spectrum ---------------------------------------------------------------------


#: An illuminant and an observer, in one cell or in two.
_STATED = re.compile(r"(?!None )\w[^/ ,]*[/ ,]\s*\d")


def lab_readings(rows: Rows, at: Indices, labs: Array) -> None:
    """Give the rows `at` their CIELAB ``(M, 3)``, its light, and the smoothest spectrum with it."""
    told = [rows.given["conditions"][i] for i in at]
    stated = [(words.get("illuminant"), words.get("observer")) for words in told]
    if not all(_STATED.match(f"{one} {other}") for one, other in set(stated)):
        rows.faults.note("unstated_light")
    keys = [(*words, *colour) for words, colour in zip(stated, labs.tolist(), strict=True)]
    _rough(rows, at, labs, rows.read("L*", keys, lambda key: _light(key[2:], *key[:2]), at))


def _light(lab: Sequence[float], illuminant: str | None, observer: str | None) -> Light:
    """The light stated of a CIELAB that cloth can have, D65/10° where nothing is said."""
    check_colour(lab)
    if lab[0] == 0.0:
        raise DyemixError(said("tables.black"))
    light = _parsed(illuminant or "D65")
    return _parsed(f"{light.illuminant} {observer[:40]}") if observer else light


_parsed = lru_cache(maxsize=256)(Light.parse)


def hex_readings(rows: Rows, at: Indices) -> None:
    """Give the rows `at` the colour of their hex code and the smoothest spectrum with it."""
    rows.faults.note("hex")
    codes = [rows.cells["hex"][i] for i in at]
    found = rows.read("hex", codes, lambda code: (hex_to_lab(code), Clipped.of_hex(code)), at)
    good = [i for i, pair in enumerate(found) if pair]
    rows.give("kind", at, "hex")
    rows.give("clipped", at[good], [found[i][1] for i in good])
    if good:
        _rough(rows, at[good], np.array([found[i][0] for i in good]), [D65_2] * len(good))
    for i in good:
        if found[i][1]:
            rows.doubt(at[i], said("tables.censored"))


def _rough(rows: Rows, at: Indices, labs: Array, lights: list[Light | None]) -> None:
    labs.setflags(write=False)
    for light in dict.fromkeys(filter(None, lights)):
        group = np.flatnonzero([seen == light for seen in lights])
        for some in np.array_split(group, -(-len(group) // _TOGETHER)):
            spectra, reached = smoothest(labs[some], light)
            spectra.setflags(write=False)
            rows.give("reflectance", at[some], spectra)
            for i in some[~reached]:
                what = said("tables.no_cloth", *labs[i], light=light)
                rows.faults.add(what, rows.numbers[at[i]], rows.given["kind"][at[i]])
    rows.give("lab", at, labs)
    rows.give("light", at, lights)
    rough = said("tables.rough", error=ROUGH_ERROR)
    for i in at:
        rows.doubt(i, rough)
