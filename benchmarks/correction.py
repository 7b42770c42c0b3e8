"""What a trial is worth: one correction, and learning from 3, 6 and 10 trials.

Run: ``python -m benchmarks.correction [seeds]``. On simulated workshops whose swatches, trials and
pots all carry the same dosing error, the mean ΔE2000 of pots (their true colour, read without
error) from targets that the workshop can dye. Every way of going on dyes its pot with the same
noise, so that pots are paired. Intervals are bootstrap 95 % over palettes of dyes, the targets of a
palette together, since they share their trials. The settings of the corrections were chosen on
workshop seeds 0 to 4; the table is printed on seeds 10 to 14.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from benchmarks.shelf import swatch_set
from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_10, lab
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading
from dyemix.dataset.target import Target, Trial
from dyemix.fitting.fit import fit
from dyemix.fitting.learn import learn
from dyemix.matching.correct import correct
from dyemix.matching.subsets import Found, Problem
from dyemix.model.dyes import DyeSet
from tests.simulated.workshop import Row, Workshop
from tests.simulated.workshop.workshop import Recipe as Amounts
from tests.simulated.workshop.workshop import format_recipe

DOSING = (0.01, 0.03, 0.05)
SEEDS = (10, 11, 12, 13, 14)
TRIALS = (3, 6, 10)
PALETTES, TARGETS, DYES = 40, 5, 5
DEPTHS = (4.0, 2.0, 1.0, 0.5, 0.25, 0.125)


class Bench(Workshop):
    """A workshop of one dosing error, whose noise can be started again for paired pots."""

    def __init__(self, seed: int, dosing: float) -> None:
        super().__init__(seed)
        self.dosing = dosing

    def start_noise(self, *key: int) -> None:
        self._random = np.random.default_rng([self.seed, 9, *key])

    def rows(self, mixtures: int = 8) -> list[Row]:
        """Ladders, one square in seven dyed again, and a few mixtures, each read twice."""
        singles: list[Amounts] = [{dye: depth} for dye in self.dyes for depth in DEPTHS]
        recipes = [*[{}] * 3, *singles, *singles[3::7], *self.mixture_recipes(mixtures)]
        rows = []
        for i, recipe in enumerate(recipes):
            piece = self.dye(recipe, self.dosing)
            rows += [Row(f"N{i}", format_recipe(recipe), self.read(piece)) for _ in range(2)]
        return rows

    def pot(self, recipe: Amounts, target: Array, *key: int) -> float:
        """ΔE2000 of a fresh pot's true colour; the same noise for the same key."""
        self.start_noise(*key)
        return float(delta_e(target, lab(self.dye(recipe, self.dosing).reflectance, D65_10)))

    def trial(self, recipe: Amounts, target: Array) -> Trial:
        """A fresh pot, read once."""
        asked = Recipe(recipe)
        reading = Reading(asked, self.read(self.dye(recipe, self.dosing)))
        return Trial(asked, reading, Target(target, D65_10, name="wanted"))


def shelf(bench: Bench) -> DyeSet:
    """Its dyes, fitted and with the scatter that its own swatches show."""
    return fit(swatch_set(bench.rows()))


def draw(bench: Bench, names: Sequence[str], rng: np.random.Generator) -> tuple[Amounts, Array]:
    """A mix of two or three of these dyes, and its true CIELAB ``(3,)``: a target within reach."""
    while True:
        some = rng.choice(len(names), size=rng.integers(2, 4), replace=False)
        total = np.exp(rng.uniform(*np.log([0.4, 3.5])))
        amounts = total * rng.dirichlet(np.full(len(some), 2.0))
        if amounts.min() >= DEPTHS[-1]:
            recipe = {names[i]: float(c) for i, c in zip(some, amounts, strict=True)}
            return recipe, lab(bench.true_reflectance(recipe), D65_10)


def aimed(dyes: DyeSet, start: Amounts, target: Array) -> Amounts:
    """The amounts of the same dyes that come nearest on paper; a dye at 0 is kept, for pairing."""
    used = np.isin(dyes.names, list(start))[np.newaxis]
    first = np.array([[start.get(name, 0.0) for name in dyes.names]])
    one = Problem.of(dyes, target[np.newaxis], D65_10, len(start))
    found = one.finish(Found.of(used, first)).amounts[0]
    return {name: float(found[dyes.index(name)]) for name in start}


@dataclass(frozen=True, eq=False)
class Results:
    """ΔE2000 of every pot, by way of going on; arrays ``(palettes, targets)``.

    `left` where the correction changed nothing, and `expected` what it promised.
    """

    again: Array
    corrected: Array
    plain: Array
    after: dict[int, Array]
    left: Array
    expected: Array


def run(
    seeds: Sequence[int],
    dosing: float,
    stated: bool = False,
    palettes: int = PALETTES,
    targets: int = TARGETS,
) -> Results:
    """Dye everything; `stated` whether the dyer knows her dosing error."""
    known = dosing if stated else None
    shape = (len(seeds) * palettes, targets)
    again, corrected, plain, left, expected = (np.zeros(shape) for _ in range(5))
    after = {n: np.zeros(shape) for n in TRIALS}
    row = 0
    for seed in seeds:
        bench = Bench(seed, dosing)
        shelf_dyes = shelf(bench)
        rng = np.random.default_rng([seed, 5])
        for palette in range(palettes):
            names = [str(n) for n in rng.choice(bench.dyes, DYES, replace=False)]
            dyes = shelf_dyes.take(names)
            bench.start_noise(palette)
            trials = []
            for _ in range(max(TRIALS)):
                start, target = draw(bench, names, rng)
                trials.append(bench.trial(aimed(dyes, start, target), target))
            lessons = {n: learn(dyes, trials[:n]) for n in TRIALS}
            for i in range(targets):
                start, target = draw(bench, names, rng)
                noise = (palette, i, 1)
                first = aimed(dyes, start, target)
                again[row, i] = bench.pot(first, target, *noise)
                for n in TRIALS:
                    after[n][row, i] = bench.pot(
                        aimed(lessons[n].dyes, first, target), target, *noise
                    )
                bench.start_noise(palette, i, 0)
                trial = bench.trial(first, target)
                found = correct(dyes, trial, second_bath=False, dosing=known)
                left[row, i] = not found.changed
                expected[row, i] = found.corrected.likely
                better = {n: found.corrected.recipe.get(n, 0.0) for n in first}
                corrected[row, i] = bench.pot(better, target, *noise)
                off = trial.reading.colour(D65_10) - dyes.colours(dyes.amounts(first))[0]
                plain[row, i] = bench.pot(aimed(dyes, first, target - off), target, *noise)
            row += 1
    return Results(again, corrected, plain, after, left, expected)


def interval(change: Array, draws: int = 10_000) -> tuple[float, float, float]:
    """Mean of a change ``(palettes, targets)`` and its bootstrap 95 % interval over palettes."""
    means = change.mean(axis=1)
    rng = np.random.default_rng(0)
    some = means[rng.integers(0, len(means), (draws, len(means)))].mean(axis=1)
    low, high = np.quantile(some, [0.025, 0.975])
    return float(means.mean()), float(low), float(high)


def _text(change: Array) -> str:
    return "{:+.3f} ({:+.3f} to {:+.3f})".format(*interval(change))


def main() -> None:
    """Print the table."""
    seeds = [int(a) for a in sys.argv[1:]] or list(SEEDS)
    print(f"Workshop seeds {seeds}, {PALETTES * TARGETS} targets each; mean ΔE2000 (D65/10°)")
    print(f"{'dosing error':<19}{'way of going on':<23}  mean   change against no correction")
    for dosing, stated in product(DOSING, (False, True)):
        r = run(seeds, dosing, stated)
        word = "stated" if stated else "not stated"
        print(f"{100 * dosing:.0f} %, {word:<12}  dyed again, uncorrected  {r.again.mean():.3f}")
        ways = {"one correction": r.corrected, "plain, unshrunk": r.plain}
        ways |= {f"learnt from {n} trials": r.after[n] for n in TRIALS}
        for name, pots in ways.items():
            print(f"{'':19}{name:<23}  {pots.mean():.3f}  {_text(pots - r.again)}")
        print(f"{'':19}one correction against plain   {_text(r.corrected - r.plain)}")
        alone = 100 * r.left.mean()
        print(f"{'':19}left alone {alone:.0f} %; promised {r.expected.mean():.3f}")


if __name__ == "__main__":
    main()
