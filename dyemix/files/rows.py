"""The rows of a swatch table as columns, on their way to readings.

Every different text of a column is read once; what is refused is a fault of each row it stands in.
"""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import Any

from dyemix.arrays import Array, Indices
from dyemix.colour.colorimetry import Light
from dyemix.dataset.readings import CELLS
from dyemix.dataset.recipe import DEEP_OWF, NAME, NO_DYE, SPOON_SETS, Measures, Recipe, dye_name
from dyemix.dataset.swatches import ROUGH_ERROR, Reading
from dyemix.dataset.units import parse_weight
from dyemix.errors import DyemixError, RecipeError, data, refuse, said
from dyemix.files.cells import CONDITIONS, HEADER_ONLY, KNOWN, Faults, Remarks, few, meaning, tidy

_LONGEST_RECIPE = 500
#: Letters of one entry of a list by dye.
_LONGEST = 100
#: What the ``# key: value`` lines that hold for the whole file may say, and how it may be put.
_SAID: Mapping[str, Mapping[str, str]] = data("headings")["said"]


# Lists by dye ------------------------------------------------------------------------------------


def _by_dye(text: str, amount: str, wanted: str) -> list[tuple[str, list[float]]]:
    """Dyes of a list and their numbers; `amount` is the pattern of what follows a dye's name."""
    out = []
    pattern = rf"\s*(?:({NAME})\s+)?{amount}\s*".replace("#", r"(\d*[.,]?\d+)")
    for part in re.split(r"[,;]\s+|;|[,+](?=\s*[^\W\d_])", text.strip()):
        found = re.fullmatch(pattern, part, re.IGNORECASE) if len(part) < _LONGEST else None
        if not found:
            raise DyemixError(f"{part[:_LONGEST]!r} is not {wanted}.")
        numbers = [float(number.replace(",", ".")) for number in found.groups()[1:]]
        out.append((dye_name(found[1] or ""), numbers))
    return out


def parse_stock(text: str) -> dict[str, float]:
    """``2`` (every stock) or ``navy 1, gold 2 %`` to % w/v by dye. Raises `DyemixError`."""
    return _once(text, said("tables.stock"), lambda _, pct: pct > 0)


def parse_prices(text: str) -> dict[str, float]:
    """``navy 0.20, gold 0.15`` to a price per gram of powder. Raises `DyemixError`."""
    return _once(text, said("tables.price"), lambda dye, _: dye != "")


def _once(text: str, wanted: str, fits: Callable[[str, float], bool]) -> dict[str, float]:
    """One number for each dye."""
    found = _by_dye(text, "# *(?:%|g|pct|% w/v)?", wanted)
    out = {dye: number for dye, (number,) in found}
    refuse(len(out) < len(found), f"a dye is given twice in {text!r}: once each.")
    refuse(not all(fits(*item) for item in out.items()), f"{text!r} is not {wanted}.")
    return out


def parse_in_hand(text: str, cloth_g: float) -> tuple[dict[str, float], str]:
    """``navy 180 mL 2 %, gold 90 mL 2 %`` on `cloth_g` of cloth, to the most % owf of each.

    Two jars of one dye add up. Also the strengths, as `parse_stock` reads them, of the strongest
    jar of each. Raises `DyemixError` for what it cannot read.
    """
    out, strongest = dict[str, float](), dict[str, float]()
    refuse(not cloth_g > 0, "matching.kit.cloth", cloth_g)
    for dye, (ml, pct) in _by_dye(text, r"# *ml\s+(?:of\s+)?# *%", said("tables.jar")):
        out[dye] = out.get(dye, 0.0) + ml * pct / cloth_g
        strongest[dye] = max(pct, strongest.get(dye, 0.0))
    return out, ", ".join(f"{dye} {pct:g}" for dye, pct in strongest.items())


# Rows ---------------------------------------------------------------------------------------------


def weight(text: str) -> float:
    """Grams of ``240``, ``240 g``, ``0.24 kg``. Raises `DyemixError`."""
    return parse_weight(f"{text} g" if text[-1].isdigit() else text)


#: What turns spoons and mL into % owf: how each is read, should be written, what stands for it.
_MEASURES: Mapping[str, tuple[Callable[[str], Any], str, Any]] = {
    "stock_pct": (parse_stock, "% w/v, as 2, or as 'marigold 2, navy 1'", {"": 1.0}),
    "cloth_g": (weight, "grams of dry cloth, as 240", 1.0),
    "spoons": ({s: s for s in SPOON_SETS}.__getitem__, f"one of {', '.join(SPOON_SETS)}", "metric"),
}


class Rows:
    """The rows of a table, with their conditions and recipes; readings are blank at first.

    Parameters
    ----------
    remarks : ``# key: value`` lines, each with its row: they hold for every row. Unknown keys are
        kept too, and told in a note.
    numbers : which row (object, column) of the file each row is.

    Attributes
    ----------
    scale, demo : what the remarks say of the file; empty where they do not.
    given : attributes of a `Reading`, each a column.
    """

    def __init__(self, remarks: Remarks, numbers: Sequence[int], faults: Faults) -> None:
        self.numbers, self.faults = numbers, faults
        self._stated: dict[str, tuple[str, int]] = {}
        unknown = [told for row, remark in remarks if (told := self._remark(row, remark))]
        faults.note("no_condition", when=unknown, lines=few(unknown, 6))
        self.scale, self.demo = (self._stated.pop(key, ("", 0))[0] for key in ("scale", "demo"))
        blank = {"reflectance": None, "kind": "blank", "warnings": ()}
        self.given: dict[str, list[Any]] = {k: [x] * len(numbers) for k, x in blank.items()}

    def fill(self, columns: Mapping[str, list[str]]) -> None:
        """Take the text of columns by name; under a name not known here it is a condition."""
        self.cells = {name: texts for name, texts in columns.items() if name in KNOWN}
        for name, (_, read) in CELLS.items():
            if name in self.cells:
                self.given[name] = self.read(name, self.cells[name], read, getattr(Reading, name))
        keys = [key for key in columns if key in CONDITIONS or key not in KNOWN]
        texts = [*zip(*(columns[key] for key in keys), strict=True)] or [()] * len(self.numbers)
        whole = {key: value for key, (value, _) in self._stated.items()}
        stated: dict[tuple[str, ...], tuple[Mapping[str, str], Measures]] = {}
        for number, words in zip(self.numbers, texts, strict=True):
            if words not in stated:
                own = {key: text for key, text in zip(keys, words, strict=True) if text}
                told = MappingProxyType(whole | own)
                stated[words] = told, self._measures(told, number)
        self.given["conditions"] = [stated[words][0] for words in texts]
        parts = map(self.column, ("recipe", "dye", "owf", "as written", "name"))
        rows = list(zip(texts, *parts, strict=True))
        recipes = self.read("recipe", rows, lambda row: _recipe(stated[row[0]][1], row[1:]))
        self.given["recipe"] = recipes
        for i, recipe in enumerate(recipes):
            if recipe is not None and recipe.total > DEEP_OWF:
                self.doubt([i], "deep", total=recipe.total)

    def _remark(self, row: int, remark: str) -> str:
        """Take what a line above the headings says; gives it back where its key is unknown."""
        key, colon, value = map(tidy, remark.partition(":"))
        if not colon or not key:
            self.faults.note("says", when=remark, row=row, remark=remark)
            return ""
        known = meaning(key) in (*CONDITIONS, *HEADER_ONLY)
        name = meaning(key) if known else key
        self.faults.note("about", when=name == "about", about=value)
        if name in _SAID and value:
            if not (meant := _SAID[name].get(value.lower(), "")):
                words = " or ".join(dict.fromkeys(_SAID[name].values()))
                self.faults.tell("neither", row, name=name, value=value, words=words)
            value = meant
        if (before := self._stated.get(name, (value, row))[0]) != value:
            self.faults.tell("stated_twice", row, name=name, before=before, value=value)
        elif value:
            self._stated[name] = value, row
        return "" if known else f"row {row}, {key}: {value}"

    def _measures(self, told: Mapping[str, str], row: int) -> Measures:
        """What turns spoons and mL into % owf on this row."""
        found = dict[str, Any]()
        for key in (key for key in _MEASURES if key in told):
            (read, want, instead), text = _MEASURES[key], told[key]
            try:
                found[key] = read(text.lower())
            except (DyemixError, KeyError):
                stated, above = self._stated.get(key, ("", row))
                at = above if text == stated else row
                self.faults.tell("measure", at, key=key, text=text[:40], want=want)
                found[key] = instead  # so that each recipe of the file does not complain as well
        return Measures(**found)

    def column(self, name: str) -> list[str]:
        """The cells of a column; blank ones where there is none."""
        return self.cells.get(name) or [""] * len(self.numbers)

    def read(
        self, column: str, texts: list[Any], read: Callable[[Any], Any], blank: Any = None,
        at: Indices | None = None,
    ) -> list[Any]:  # fmt: skip
        """What `read` makes of the text of each row, or those `at`; None for a fault."""
        known: dict[Any, Any] = {}
        refused: dict[Any, str] = {}
        for text in dict.fromkeys(texts):
            try:
                known[text] = read(text) if text else blank
            except DyemixError as error:
                known[text], refused[text] = None, str(error)
        for i, text in enumerate(texts) if refused else ():
            if text in refused:
                of_dye = column == "recipe" and "dye" in self.cells
                named = of_dye and re.fullmatch(NAME, self.cells["dye"][i])
                name = "owf" if named else "dye" if of_dye else column
                self.faults.add(refused[text], self.numbers[i if at is None else at[i]], name)
        return [known[text] for text in texts]

    def give(self, name: str, at: Indices, values: Iterable[Any]) -> None:
        """Set an attribute of the rows `at`, to one word or to a value each."""
        column = self.given.setdefault(name, [getattr(Reading, name, None)] * len(self.numbers))
        each = [values] * len(at) if isinstance(values, str) else values
        for i, value in zip(at.tolist(), each, strict=True):
            column[i] = value

    def doubt(self, at: Iterable[int], which: str, **values: object) -> None:
        """Warn of rows; a table written with its warnings says each but once."""
        column, words = self.given["warnings"], said(f"tables.{which}", **values)
        for i in at:
            column[i] = tuple(dict.fromkeys((*column[i], words)))

    def readings(self) -> tuple[Reading, ...]:
        """What has been given, checked by then."""
        before = f"{self.faults.file}, {self.faults.counted} "
        return Reading.of_columns(self.given | {"place": [f"{before}{n}" for n in self.numbers]})


def _recipe(measures: Measures, words: Sequence[str]) -> Recipe | None:
    """What a row was dyed with; None for a sample that is only named."""
    recipe, dye, owf, written, name = words
    undyed = dye_name(dye) in (*NO_DYE, "none", "") and owf in ("", "0")
    refuse(not recipe and not undyed and not (dye and owf), "tables.dye_and_owf", error=RecipeError)
    text = recipe or ("undyed" if undyed else f"{dye} {owf}") * bool(dye or owf)
    refuse(not text and not name, "tables.no_recipe", error=RecipeError)
    refuse(len(text) > _LONGEST_RECIPE, "tables.long_recipe", text=text[:40], error=RecipeError)
    found = Recipe.parse(text, measures) if text else None
    return Recipe(found, written) if written and found is not None else found


# Colours without a spectrum ---------------------------------------------------------------------


#: An illuminant and an observer, in one cell or in two.
_STATED = re.compile(r"(?!None )\w[^/ ,]*[/ ,]\s*\d")


def lab_readings(rows: Rows, at: Indices, labs: Array) -> None:
    """Give the rows `at` their CIELAB ``(M, 3)``, its light, and the smoothest spectrum with it."""
    told = [rows.given["conditions"][i] for i in at]
    stated = [(words.get("illuminant"), words.get("observer")) for words in told]
    known = all(_STATED.match(f"{one} {other}") for one, other in set(stated))
    rows.faults.note("unstated_light", when=not known)
    keys = [(*words, *colour) for words, colour in zip(stated, labs.tolist(), strict=True)]
    _rough(rows, at, rows.read("L*", keys, lambda key: _of_lab(key[2:], *key[:2]), at=at))


def _of_lab(lab: Sequence[float], illuminant: str | None, observer: str | None) -> Reading:
    """A CIELAB that cloth can have, under the light stated of it, D65/10° where nothing is said."""
    refuse(lab[0] == 0.0, "tables.black")
    light = Light.parse(illuminant or "D65")
    seen = Light.parse(f"{light.illuminant} {observer[:40]}") if observer else light
    return Reading.from_lab(lab, seen)


def hex_readings(rows: Rows, at: Indices) -> None:
    """Give the rows `at` the colour of their hex code and the smoothest spectrum with it."""
    rows.faults.note("hex")
    found = rows.read("hex", [rows.cells["hex"][i] for i in at], Reading.from_hex, at=at)
    _rough(rows, at, found)
    rows.give("clipped", at, [one and one.clipped for one in found])
    rows.doubt((i for i, one in zip(at, found, strict=True) if one and one.clipped), "censored")


def _rough(rows: Rows, at: Indices, found: list[Reading | None]) -> None:
    for name in ("kind", "reflectance", "lab", "light"):
        rows.give(name, at, [one and getattr(one, name) for one in found])
    rows.doubt(at, "rough", error=ROUGH_ERROR)
