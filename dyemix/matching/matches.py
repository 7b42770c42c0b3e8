"""The answer to a match: recipes for a target, with what each misses by on paper and in the pot."""

from collections.abc import Iterable
from enum import Enum
from functools import cached_property, partial
from typing import Any, ClassVar

import numpy as np

from dyemix.arrays import LAB
from dyemix.colour.appearance import LAMPS, inconstancy, metamerism
from dyemix.colour.ciede2000 import delta_e, error_of
from dyemix.colour.colorimetry import Light
from dyemix.dataset.result import Frame, Result, Row, Several, Value, marks
from dyemix.dataset.target import Target
from dyemix.errors import said
from dyemix.fitting.learn import in_one_line
from dyemix.matching.limits import Measured
from dyemix.model.dyes import DyeSet
from dyemix.model.fit_report import FEWEST_TO_TELL
from dyemix.model.prediction import Predicted, Prediction


class Reach(Enum):
    """Whether the shelf reaches the target; the value is the sentence shown."""

    WITHIN = "within reach of this shelf"
    TOO_LIGHT = "out of reach: lighter than this shelf gets in that hue on this cloth"
    TOO_DARK = "out of reach: darker than this shelf gets in that hue on this cloth"
    TOO_CLEAN = "out of reach: cleaner (more chroma) than this shelf on this cloth"
    TOO_DULL = "out of reach: greyer than this shelf gets at that lightness on this cloth"
    OFF_IN_HUE = "out of reach: of a hue that this shelf does not hold at that lightness"


#: What a likely ΔE2000 up to each of these is worth on hand-dyed goods (common practice).
VERDICTS = ((1.5, "excellent"), (3.0, "sound"), (5.0, "same family"), (np.inf, "test first"))
#: A colour is within reach, in every answer, where its nearest recipe is excellent on paper.
WITHIN_REACH = VERDICTS[0][0]
SCALE = ", ".join(f"to {bound:g} {words}" for bound, words in VERDICTS[:-1])


def verdict(likely: float, proven: bool = True) -> str:
    """What a likely ΔE2000 is worth; on a shelf where no mix was read, at most sound."""
    worth = VERDICTS if proven else VERDICTS[1:]
    return next(words for bound, words in worth if likely <= bound)


class LampShift(Value):
    """What `lamp` brings, as ΔE2000: of an `index` as in `Match.lamps`."""

    lamp: str
    delta_e: float
    index: str


class Pot(Predicted, Result):
    """A recipe for a target, and what to expect of it.

    Attributes
    ----------
    prediction : the recipe and what it should look like, under the target's light.
    target : what was wanted, with its light settled.
    residual : ΔE2000 of the target from the prediction, on paper.
    likely, median, bound : ΔE2000 of the target from the pot: mean, median, and what nine pots in
        ten stay below.
    sound, excellent : chances of a miss of at most 3 and 1.5.
    """

    TOLD: ClassVar[tuple[str, ...]] = ("prediction", "residual", "likely", "bound")

    target: Target
    residual: float
    likely: float
    median: float
    bound: float
    sound: float
    excellent: float

    @classmethod
    def of(cls, prediction: Prediction, target: Target) -> "Pot":
        """A recipe as it is predicted, beside the colour that is wanted."""
        miss = prediction.in_pot(target.lab, spread=target.spread)
        residual = float(delta_e(target.lab, prediction.lab))
        return Pot(prediction, target, residual, *(part.item() for part in miss))

    def _rows(self) -> Iterable[Row]:
        figures = {name: getattr(self, name) for name in ("residual", "likely", "bound")}
        return [{**self.prediction.row, **figures}]

    def __str__(self) -> str:
        likely = f"likely {self.likely:.1f}, nine pots in ten below {self.bound:.1f}"
        return f"{self.recipe}  on paper {self.residual:.1f}, {likely}"


class Match(Pot):
    """One recipe for a target that was matched.

    Attributes
    ----------
    cost : of the dye per kg of cloth, where the dyes' prices were given.
    measured : the recipe rounded to the kit, where one was given.
    proven : whether any mix of this shelf was read; nothing is called excellent before.
    reasons : what speaks for it beside the others that `suggest` shows, in a few measured words.
    """

    TOLD = (
        "prediction", "residual", "likely", "median", "bound", "sound", "excellent", "verdict",
        "lamps", "limit", "cost", "measured", "proven",
    )  # fmt: skip

    cost: float | None = None
    measured: Measured | None = None
    proven: bool = True
    reasons: tuple[str, ...] = ()

    @cached_property
    def lamps(self) -> tuple[LampShift, ...]:
        """ΔE2000 that each other lamp brings.

        Of a target with a spectrum the special metamerism index (CIE 015): between target and
        recipe under the lamp, once the mismatch under the first light was corrected. Else the
        colour inconstancy: between the recipe's own colours, the second adapted to the first.
        """
        made, here = self.prediction.reflectance[np.newaxis], self.prediction.light
        wanted = self.target.reflectance
        index, moved = "inconstancy", inconstancy
        if wanted is not None:
            index, moved = "metamerism", partial(metamerism, wanted)
        lamps = [Light(name, here.observer) for name in LAMPS if name != here.illuminant]
        return tuple(LampShift(str(lamp), moved(made, here, lamp).item(), index) for lamp in lamps)

    @cached_property
    def limit(self) -> str:
        """Which cause contributes most to the likely miss, in words."""
        made = self.prediction
        spread = {said(f"fit.cause.{cause}"): part for cause, part in vars(made.causes).items()}
        spread[said("matching.match.unsure")] = self.target.spread
        return max(spread, key=lambda words: error_of(made.lab, spread[words]))

    @property
    def warnings(self) -> tuple[str, ...]:
        """Where it leaves the range of the swatches, and what must be diluted to be measured."""
        return (*self.prediction.warnings, *(self.measured.weaker if self.measured else ()))

    @property
    def verdict(self) -> str:
        """What the likely miss is worth, as `VERDICTS` has it; unproven, at most sound."""
        return verdict(self.likely, self.proven)

    def _rows(self) -> Iterable[Row]:
        names = ("residual", "likely", "median", "bound", "sound", "verdict")
        figures, row = {name: getattr(self, name) for name in names}, self.prediction.row
        first = {"recipe": row.pop("recipe"), **figures, "measure": str(self.measured or "")}
        yield {**first, **row, "warnings": self.warnings}

    def __str__(self) -> str:
        figures = (self.residual, self.likely, self.bound, self.verdict, self.prediction.light)
        one, reasons = said("matching.match.one", *figures), ", ".join(self.reasons)
        return "\n".join(filter(None, [self.prediction.text(True), one, reasons]))


class Matches(Several[Match]):
    """Recipes for one target, best first.

    Attributes
    ----------
    target : what was wanted, with its light settled.
    matches : the recipes; `len`, iteration and indexing go to them.
    reach : whether the shelf reaches the target at all.
    searched : how many blends were tried, or ruled out.
    dyes : the shelf.
    warnings : out of reach, what limits it and the nearest colour of the very hue; what is doubtful
        about the target, and what was assumed.
    """

    HELD: ClassVar = "matches"
    TOLD: ClassVar = (
        "demo", "target", "matches", "reach", "warnings", "searched", "k_lightness",
        "next_swatches",
    )  # fmt: skip

    target: Target
    matches: tuple[Match, ...]
    reach: Reach
    searched: int
    dyes: DyeSet
    k_lightness: float = 1.0
    warnings: tuple[str, ...] = ()

    @property
    def demo(self) -> bool:
        return self.dyes.demo

    @property
    def choices(self) -> tuple[Match, ...]:
        """Those that were suggested, each with its reasons."""
        return tuple(m for m in self if m.reasons)

    @cached_property
    def next_swatches(self) -> str:
        """Which swatches of mixes to dye next, and what they would buy.

        Nothing once mixes enough were read.
        """
        if len(self.dyes.pots) >= FEWEST_TO_TELL or not self.matches:
            return ""
        return in_one_line(self.dyes, np.array([self.dyes.amounts(m.recipe) for m in self]))

    @property
    def formula(self) -> str:
        """The colour difference with its factors and light."""
        factor = "" if self.k_lightness == 1.0 else f" {self.k_lightness:g}:1:1"
        return f"ΔE2000{factor}, {self.target.light}"

    def _rows(self) -> Iterable[Row]:
        """One row a recipe: amounts, both misses, colour with its light, what to mind."""
        return (row for match in self.matches for row in match._rows())

    def _lines(self, detail: bool = False) -> Iterable[str]:
        """The text for the bench; `detail` adds chances and lamps, recipe by recipe."""
        yield from (f"Target {self.target}, {self.reach.value}.", *self.warnings)
        width = max([len(str(m.recipe)) for m in self], default=10)
        yield f"    {'% of dry cloth weight':<{width}}{'on paper':>10}{'likely in the pot':>19}"
        for i, m in enumerate(self, 1):
            misses = f"{m.residual:>10.1f}{m.likely:>19.1f}  {m.prediction.hex}  {m.verdict}"
            yield f"{i:>2}  {m.recipe!s:<{width}}{misses}"
            yield from (f"      {text}" for text in _asides(m, detail))
        yield f"Miss is {self.formula}: {SCALE}; {self.searched} blends."
        yield from _numbered(m.warnings for m in self)
        if not detail:
            yield from _numbered((f"limited most by {m.limit}.",) for m in self)
        yield from filter(None, [self.next_swatches])


def _numbered(texts: Iterable[tuple[str, ...]]) -> tuple[str, ...]:
    """Sentences on recipes, in their order; each once, with the numbers it holds for."""
    where: dict[str, list[int]] = {}
    for i, of_one in enumerate(texts, 1):
        for text in of_one:
            where.setdefault(text, []).append(i)
    return tuple(f"No. {', '.join(map(str, n))}: {text}" for text, n in where.items())


def _asides(m: Match, detail: bool) -> list[str]:
    """The lines under a recipe."""
    out = [", ".join(m.reasons)] if m.reasons else []
    out += [f"measure {m.measured}"] if m.measured and m.recipe else []
    out += [f"dye costs {m.cost:.2f} per kg of cloth"] if m.cost is not None else []
    if not detail:
        return out
    figures = (*m.prediction.lab, m.prediction.light, m.median, m.bound, m.sound, m.excellent)
    out += said("matching.match.figures", *figures, m.limit).split("\n")
    shifts = ", ".join(f"{s.lamp} {s.delta_e:.1f}" for s in m.lamps)
    return [*out, said(f"matching.match.{m.lamps[0].index}", shifts)]


class ManyMatches(Several[Matches]):
    """Recipes for many targets: `len`, iteration and indexing go to the `Matches` of each.

    `index` is that of the targets, where they came in a column.
    """

    HELD: ClassVar = "found"

    found: tuple[Matches, ...]
    index: Any = None

    def _rows(self) -> Iterable[Row]:
        for matches in self.found:
            about = {"target": matches.target.name, "reach": matches.reach.value}
            for rank, row in enumerate(matches._rows(), 1):
                yield {**about, "rank": rank, **row}

    def to_frame(self) -> Frame:
        """One row a recipe, best first: target, rank, what `Match.to_frame` tells.

        Each row has the index of its target, so that the table joins the one that held them.
        """
        at = [i for i, matches in enumerate(self.found) for _ in matches]
        out = super().to_frame()
        return out.set_axis(at if self.index is None else self.index[at], axis=0)

    @property
    def demo(self) -> bool:
        return any(matches.demo for matches in self.found)

    def _lines(self) -> Iterable[str]:
        reached = sum(matches.reach is Reach.WITHIN for matches in self.found)
        return [f"{len(self)} targets, {reached} of them within reach"]


def recipes_table(found: ManyMatches) -> str:
    """What was found for many targets as CSV, one recipe a row, best first.

    Invented dyes are marked in the first line.
    """
    # Headed as what it is: a list of predictions must not pass for a table of readings.
    heads = {name: f"predicted {name}" for name in (*LAB, "hex")}
    table = found.to_frame().rename(columns=heads)
    table.insert(1, "wanted", [matches.target.typed for matches in found for _ in matches])
    demo = "".join(f"# {mark}\n" for mark in marks(found))
    return demo + str(table.to_csv(index=False, float_format="%.6g", lineterminator="\n"))
