"""Which square to dye next: chosen against drawn at random.

Run: ``python -m benchmarks.next_swatch``. For jobs of eight colours on simulated workshops: the
likely ΔE2000 after six chosen squares, how many squares drawn at random reach it, and what eight
pots really miss by (their true colour) once the squares have been dyed, read and learnt from.
Random squares are drawn from the very list that the choice is made from, which is already one of
squares that have to do with the job, and from the ladders of the palette.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchmarks.correction import DYES, SEEDS, Bench, aimed, draw, shelf
from dyemix.arrays import Array
from dyemix.fitting.learn import Knowledge, learn
from dyemix.matching.advice import candidates
from dyemix.model.dyes import DyeSet

JOBS, COLOURS, CHOSEN, MOST, ROUNDS = 4, 8, 6, 40, 20
DOSING = 0.03


@dataclass(frozen=True, eq=False)
class Job:
    """Results of one job.

    `before` and `chosen` likely ΔE2000 before and after `CHOSEN` squares; `from_list` and
    `from_ladders` how many random squares reach the latter, the mean of `ROUNDS` draws (`MOST`
    where it was not reached); `missed` the mean real ΔE2000 before, after the chosen squares, and
    after as many from the list and from the ladders ``(4,)``.
    """

    before: float
    chosen: float
    from_list: float
    from_ladders: float
    missed: Array


def _random(
    known: Knowledge, squares: NDArray[np.intp], goal: float, rng: np.random.Generator
) -> float:
    """How many squares drawn at random it takes to reach a likely ΔE2000, on average."""
    counts = []
    for _ in range(ROUNDS):
        state, count = known, 0
        while state.likely() > goal and count < MOST:
            state, count = state.after(state.gains()[rng.choice(squares)]), count + 1
        counts.append(count)
    return float(np.mean(counts))


def run(seed: int, jobs: int = JOBS) -> list[Job]:
    """Jobs of one workshop."""
    bench = Bench(seed, DOSING)
    every = shelf(bench)
    rng = np.random.default_rng([seed, 6])
    out = []
    for job in range(jobs):
        names = [str(n) for n in rng.choice(bench.dyes, DYES, replace=False)]
        dyes = every.take(names)
        wanted = [draw(bench, names, rng) for _ in range(COLOURS)]
        first = [aimed(dyes, start, target) for start, target in wanted]
        amounts = np.array([dyes.amounts(r) for r in first])
        squares = candidates(dyes, amounts)
        known = Knowledge.of(dyes, amounts, squares)
        state, chosen = known, []
        for _ in range(CHOSEN):
            gains = state.gains()
            chosen.append(int(np.argmin(state.likely(gains))))
            state = state.after(gains[chosen[-1]])
        goal = float(state.likely())
        ladders = np.flatnonzero((squares > 0).sum(axis=1) == 1)
        every_one = np.arange(len(squares))

        def missed(some: Sequence[int], dyes: DyeSet = dyes, job: int = job) -> float:
            bench.start_noise(job, 1)
            blank = np.zeros(3)
            trials = [bench.trial(dict(dyes.recipe(squares[z])), blank) for z in some]  # noqa: B023
            taught = learn(dyes, trials).dyes
            pots = [
                bench.pot(aimed(taught, start, target), target, job, 2, i)
                for i, (start, (_, target)) in enumerate(zip(first, wanted, strict=True))  # noqa: B023
            ]
            return float(np.mean(pots))

        draws = [rng.choice(s, (5, CHOSEN)) for s in (every_one, ladders)]
        misses = [missed([]), missed(chosen)]
        misses += [float(np.mean([missed(row) for row in rows])) for rows in draws]
        out.append(
            Job(
                float(known.likely()),
                goal,
                _random(known, every_one, goal, rng),
                _random(known, ladders, goal, rng),
                np.array(misses),
            )
        )
    return out


def main() -> None:
    """Print the table."""
    jobs = [job for seed in SEEDS for job in run(seed)]
    print(f"{len(jobs)} jobs of {COLOURS} colours from {DYES} dyes, workshop seeds {list(SEEDS)}")
    before, chosen = (np.mean([getattr(j, x) for j in jobs]) for x in ("before", "chosen"))
    print(f"likely ΔE2000: {before:.3f} before, {chosen:.3f} after {CHOSEN} chosen squares")
    for name, field in (("the same list", "from_list"), ("the ladders", "from_ladders")):
        counts = np.array([getattr(j, field) for j in jobs])
        low, high = np.quantile(counts, [0.1, 0.9])
        print(
            f"random squares from {name} to reach the same: {counts.mean():.1f} "
            f"(eight jobs in ten {low:.1f} to {high:.1f}; {MOST} stands for not reached)"
        )
    missed = np.mean([j.missed for j in jobs], axis=0)
    words = ("before", "chosen", "random from the list", "random from the ladders")
    print(
        "real ΔE2000 of the pots after learning from them: "
        + ", ".join(f"{w} {x:.3f}" for w, x in zip(words, missed, strict=True))
    )


if __name__ == "__main__":
    main()
