"""Is the miss that is promised the miss in the pot? Worlds of other physics, 0 to 20 own mixes.

    python -m benchmarks.promised                   # families and seeds kept for the report
    python -m benchmarks.promised --quick           # the same, 3 seeds and 4 draws of own mixes
    python -m benchmarks.promised --develop         # those on which constants may be chosen
    python -m benchmarks.promised --way table --kinds Lab --families pairs,paint
    python -m benchmarks.promised --rows rows.csv   # keeps each world's, and runs only what lacks

Each world (`tests.simulated.worlds`) dyes its ladders, 40 mixes of which n become her own, and 300
that nothing has seen. Found is ΔE2000 between the prediction of these and one reading of the pot,
of the kind of the ladders; with ``--judge spectrum`` by an instrument, whatever the ladders were
read by. The floor is the true model of the average pot, on the same pots and readings. An interval
is a bootstrap 95 % over the seeds of the family. Set OMP_NUM_THREADS=1.
"""

import argparse
import csv
import sys
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import astuple, dataclass, fields, replace
from importlib import import_module
from itertools import product
from pathlib import Path
from typing import Protocol

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.dataset.swatches import SwatchSet
from dyemix.dataset.target import Trial
from dyemix.fitting.fit import fit
from dyemix.fitting.learn import learn
from dyemix.model.dyes import DyeSet
from tests.simulated.as_swatches import swatch_set
from tests.simulated.worlds import (
    DEVELOP,
    DEVELOP_SEEDS,
    FAMILIES,
    HEX,
    LAB,
    PHOTOGRAPH,
    REPORT,
    REPORT_SEEDS,
    SPECTRUM,
    world,
)

OWN = (0, 3, 5, 10, 20)
POOL, UNTAUGHT, DRAWS = 40, 300, 20
#: Worlds whose first miss is below this have no gap worth closing.
WORTH_CLOSING = 1.2
_ANY = (-9.0, 9.0)
#: Own mixes may make a world worse by this, in ΔE2000.
WORSE = 0.05
#: What is wanted at each n of OWN: least and most.
WANTED = {
    "under the bound": ((0.86, 0.98), (0.86, 0.97), (0.86, 0.96), (0.86, 0.95), (0.87, 0.94)),
    "worst family": ((0.75, 1.0), (0.75, 1.0), (0.77, 1.0), (0.78, 1.0), (0.80, 1.0)),
    "under the median": ((0.40, 0.85), (0.40, 0.75), (0.40, 0.68), (0.42, 0.62), (0.44, 0.60)),
    "promised / found": ((0.8, 2.0), (0.85, 1.6), (0.85, 1.4), (0.85, 1.25), (0.9, 1.2)),
    "gap closed": (_ANY, _ANY, _ANY, (0.4, 9.0), _ANY),
    "gap closed, worst family": (_ANY, _ANY, _ANY, (0.2, 9.0), _ANY),
    "most worse in a world": (_ANY, *4 * ((-9.0, WORSE),)),
    "CIELAB less spectra": ((-9.0, 0.5), _ANY, _ANY, (-9.0, 0.3), _ANY),
}


class Promise(Protocol):
    """A prediction of N recipes: CIELAB (N, 3), and ΔE2000 in the pot (N,)."""

    @property
    def lab(self) -> Array: ...
    @property
    def likely(self) -> Array: ...
    @property
    def median(self) -> Array: ...
    @property
    def bound(self) -> Array: ...


class Taught(Protocol):
    """What is known after some own mixes; amounts (N, D) are in the order of `names`."""

    @property
    def names(self) -> tuple[str, ...]: ...
    def predict(self, amounts: Array) -> Promise: ...


#: From ladders to what becomes of them with own mixes: a calibration, as this benchmark calls it.
Calibration = Callable[[SwatchSet], Callable[[SwatchSet], Taught]]


@dataclass(frozen=True, eq=False)
class Fitted:
    """Fitted dyes as this benchmark calls them."""

    dyes: DyeSet

    @property
    def names(self) -> tuple[str, ...]:
        return self.dyes.names

    def predict(self, amounts: Array) -> Promise:
        return self.dyes.predict_many(amounts)


def by_trials(ladders: SwatchSet) -> Callable[[SwatchSet], Taught]:
    """Own mixes as trials: `fit` once, then `learn`."""
    dyes = replace(fit(ladders), report=None)  # what is said of them costs as much as they do

    def taught(mixes: SwatchSet) -> Taught:
        trials = [Trial(r.recipe, r) for r in mixes.readings if r.recipe]
        return Fitted(learn(dyes, trials).dyes if trials else dyes)

    return taught


def by_table(ladders: SwatchSet) -> Callable[[SwatchSet], Taught]:
    """Own mixes in the table of swatches: all fitted together each time."""
    return lambda mixes: Fitted(fit(SwatchSet(ladders.readings + mixes.readings)))


WAYS: dict[str, Calibration] = {"trials": by_trials, "table": by_table}


@dataclass(frozen=True)
class Row:
    """One world, read one way, with n own mixes: means over its untaught mixes and its draws.

    `error` is the standard error of `found` less that without own mixes: of these draws from the
    pool, and of these untaught mixes. Another pool (its days, its photographs) would add to it.
    """

    kind: str
    family: str
    seed: int
    own: int
    under_bound: float
    under_median: float
    promised: float
    found: float
    floor: float
    error: float = 0.0


@dataclass(frozen=True)
class Job:
    """One world read one way; `way` is a key of WAYS or ``module:function``."""

    kind: str
    family: str
    seed: int
    way: str
    draws: int
    judge: str


def run(job: Job) -> list[Row]:
    """Fit, teach every draw of own mixes, and compare what is promised with what is found."""
    some = world(job.family, job.seed)
    teach = _calibration(job.way)(swatch_set(some, some.ladders(job.kind)))
    pool = some.read(some.dye(some.mixes(POOL, 1), 1), job.kind, 1)
    own_readings = swatch_set(some, pool, "own ").readings
    pots = some.read(some.dye(some.mixes(UNTAUGHT, 2), 2), job.judge or job.kind, 2)
    floor = float(some.floor(pots).mean())
    rng = np.random.default_rng([7, job.seed])
    rows, first = list[Row](), np.zeros(len(pots))
    for own in OWN:
        parts, misses = [], []
        for _ in range(job.draws if own else 1):
            chosen = rng.choice(POOL, own, replace=False)
            taught = teach(SwatchSet(tuple(own_readings[i] for i in chosen)))
            order = [some.names.index(name) for name in taught.names]
            stated = taught.predict(pots.amounts[:, order])
            miss = delta_e(stated.lab, pots.lab)
            under = [(miss <= stated.bound).mean(), (miss <= stated.median).mean()]
            parts.append([*under, stated.likely.mean(), miss.mean(), floor])
            misses.append(miss)
        first = first if own else misses[0]
        worse = np.array(misses) - first
        error = np.hypot(_error(worse.mean(axis=1)), _error(worse.mean(axis=0)))
        means = [*np.mean(parts, axis=0).tolist(), float(error)]
        rows.append(Row(job.kind, job.family, job.seed, own, *means))
    return rows


def _error(values: Array) -> float:
    """Standard error of a mean."""
    return float(values.std(ddof=1) / np.sqrt(len(values))) if len(values) > 1 else 0.0


def kept_rows(path: Path) -> list[Row]:
    """Rows of an earlier run; none where there is no file."""
    if not path.exists():
        return []
    with path.open(newline="", encoding="utf-8") as file:
        return [
            Row(kind, family, int(seed), int(own), *map(float, figures))
            for kind, family, seed, own, *figures in list(csv.reader(file))[1:]
        ]


def keep(path: Path, rows: Iterable[Row]) -> None:
    """Add rows to those of earlier runs."""
    new = not path.exists()
    with path.open("a", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        if new:
            writer.writerow(field.name for field in fields(Row))
        writer.writerows(astuple(row) for row in rows)


def _calibration(way: str) -> Calibration:
    if way in WAYS:
        return WAYS[way]
    module, _, name = way.partition(":")
    found: Calibration = getattr(import_module(module), name)
    return found


def closed(rows: Sequence[Row], own: int) -> float:
    """Share of the gap to the floor that `own` mixes close, over worlds worth it; nan for none."""
    first = {(r.family, r.seed): r for r in rows if r.own == 0 and r.found > WORTH_CLOSING}
    after = [r for r in rows if r.own == own and (r.family, r.seed) in first]
    gap = sum(first[r.family, r.seed].found - r.floor for r in after)
    gained = sum(first[r.family, r.seed].found - r.found for r in after)
    return gained / gap if gap > 0 else float("nan")


def worsened(rows: Sequence[Row]) -> list[tuple[Row, float]]:
    """Each world, and by how much ΔE2000 its own mixes make it worse."""
    first = {(r.family, r.seed): r.found for r in rows if r.own == 0}
    return [(r, r.found - first[r.family, r.seed]) for r in rows]


def worsening(rows: Sequence[Row], own: int) -> tuple[float, str]:
    """The world that own mixes make worse by most, and by how much ΔE2000."""
    return max((by, f"{r.family} {r.seed}") for r, by in worsened(rows) if r.own == own)


def worst_family(rows: Sequence[Row]) -> tuple[str, float, float, float]:
    """Family with the smallest share under the bound, that share, its interval over seeds."""
    by_name = {
        name: np.array([r.under_bound for r in rows if r.family == name])
        for name in dict.fromkeys(r.family for r in rows)
    }
    name = min(by_name, key=lambda n: float(by_name[n].mean()))
    shares = by_name[name]
    rng = np.random.default_rng(0)
    means = shares[rng.integers(0, len(shares), (4000, len(shares)))].mean(axis=1)
    low, high = np.quantile(means, [0.025, 0.975])
    return name, float(shares.mean()), float(low), float(high)


def print_table(rows: Sequence[Row]) -> None:
    """What was promised and what was found, for one kind of reading."""
    at = [[r for r in rows if r.own == own] for own in OWN]
    _line(f"{rows[0].kind}: own mixes", map(str, OWN))
    _marked("under the bound", [_mean(some, "under_bound") for some in at], "{:.0%}")
    worst = [worst_family(some) for some in at]
    _marked("worst family", [share for _, share, _, _ in worst], "{:.0%}")
    _line("   which", (name for name, _, _, _ in worst))
    _line("   its interval", (f"{low:.0%}–{high:.0%}" for _, _, low, high in worst))
    _marked("under the median", [_mean(some, "under_median") for some in at], "{:.0%}")
    found = [_mean(some, "found") for some in at]
    promised = [_mean(some, "promised") for some in at]
    _marked("promised / found", np.divide(promised, found).tolist(), "{:.2f}")
    _line("found, ΔE2000", (f"{x:.2f}" for x in found))
    _line("floor", (f"{_mean(some, 'floor'):.2f}" for some in at))
    families = {
        n: [r for r in rows if r.family == n] for n in dict.fromkeys(r.family for r in rows)
    }
    _marked("gap closed", [closed(rows, own) for own in OWN], "{:.2f}")
    least = [np.nanmin([0.99, *(closed(some, own) for some in families.values())]) for own in OWN]
    _marked("gap closed, worst family", least, "{:.2f}")
    worse = [worsening(rows, own) for own in OWN]
    _marked("most worse in a world", [by for by, _ in worse], "{:+.2f}")
    _line("   which", (name for _, name in worse))
    for row, by in worsened(rows):
        if by > WORSE:
            print(f"   worse: {row.family} {row.seed} with {row.own}: {by:+.3f} ± {row.error:.3f}")
    print()
    heads = [f"{w} {n}" for n in (0, 5, 10) for w in ("found", "p/f", "90 %")] + ["floor", "gap 10"]
    print(f"{'':<14}" + "".join(f"{h:>9}" for h in heads))
    for name, own_rows in families.items():
        cells = []
        for some in ([r for r in own_rows if r.own == own] for own in (0, 5, 10)):
            miss = _mean(some, "found")
            ratio, below = _mean(some, "promised") / miss, _mean(some, "under_bound")
            cells += [f"{miss:.2f}", f"{ratio:.2f}", f"{100 * below:.0f}"]
        cells += [f"{_mean(own_rows, 'floor'):.2f}", f"{closed(own_rows, 10):.2f}"]
        print(f"{name:<14}" + "".join(f"{c:>9}" for c in cells))
    print(flush=True)


def _mean(rows: Sequence[Row], what: str) -> float:
    return float(np.mean([getattr(r, what) for r in rows]))


def _line(head: str, cells: Iterable[str]) -> None:
    print(f"{head:<26}" + "".join(f"{cell:>18}" for cell in cells))


def _marked(what: str, values: Sequence[float], form: str) -> None:
    """A line of values, one for each n of OWN, with a sign where one is not as wanted."""
    limits = zip(values, WANTED[what], strict=True)
    _line(
        what, (form.format(x) + (" " if not x < a and not x > b else "!") for x, (a, b) in limits)
    )


def print_against_spectra(rows: Sequence[Row]) -> None:
    """What CIELAB alone costs, on the families that were read both ways."""
    found = {
        (kind, own): _mean([r for r in rows if r.kind == kind and r.own == own], "found")
        for kind, own in product((SPECTRUM, LAB), OWN)
    }
    apart = [found[LAB, own] - found[SPECTRUM, own] for own in OWN]
    _marked("CIELAB less spectra", apart, "{:+.2f}")


def main(words: Sequence[str] = ("--quick",)) -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--develop", action="store_true", help="families that choose constants")
    parser.add_argument("--quick", action="store_true", help="3 seeds, 4 draws of own mixes")
    parser.add_argument("--draws", type=int, default=DRAWS, help="of own mixes, a world and n")
    parser.add_argument("--seeds", type=int, help="the first of ten seeds, in place of these")
    parser.add_argument("--way", default="trials", help="trials, table or module:function")
    parser.add_argument("--families", default="", help="only these, with commas")
    parser.add_argument("--kinds", default=f"{SPECTRUM},{LAB},{PHOTOGRAPH},{HEX}")
    parser.add_argument("--judge", default="", help="how pots are read; as the ladders by default")
    parser.add_argument("--rows", type=Path, help="file of rows, kept from run to run")
    parser.add_argument("--processes", type=int, default=2)
    asked = parser.parse_args(list(words))
    use = DEVELOP if asked.develop else REPORT
    seeds = DEVELOP_SEEDS if asked.develop else REPORT_SEEDS
    if asked.seeds is not None:
        seeds = tuple(range(asked.seeds, asked.seeds + 10))
    if asked.quick:
        seeds = seeds[1::4]
    draws = 4 if asked.quick else asked.draws
    names = asked.families.split(",") if asked.families else [
        name for name, family in FAMILIES.items() if family.use == use
    ]  # fmt: skip
    print(f"{use} families {', '.join(names)}; seeds {', '.join(map(str, seeds))}; {draws} draws")
    print(f"{UNTAUGHT} untaught mixes a world, taught by {asked.way}; '!' is not as wanted\n")
    rows: list[Row] = []
    earlier = kept_rows(asked.rows) if asked.rows else []
    with ProcessPoolExecutor(asked.processes) as pool:
        for kind in asked.kinds.split(","):
            wanted = {
                (kind, name, seed)
                for name, seed in product(names, seeds)
                if kind in FAMILIES[name].kinds
            }
            found = [r for r in earlier if (r.kind, r.family, r.seed) in wanted]
            left = sorted(wanted - {(r.kind, r.family, r.seed) for r in found})
            for part in pool.map(run, (Job(*one, asked.way, draws, asked.judge) for one in left)):
                found += part
                if asked.rows:
                    keep(asked.rows, part)
            if found:
                found.sort(key=lambda row: names.index(row.family))
                print_table(found)
                rows += found
    if {SPECTRUM, LAB} <= {r.kind for r in rows}:
        print_against_spectra(rows)


if __name__ == "__main__":
    main(sys.argv[1:])
