"""How a match grows with the shelf, 12 to 60 dyes, and with the dyes in a blend, one to four.

Processor time a target, as a multiple of a match of twelve dyes to four. `python -m
benchmarks.growth FILE.png` draws it too. Above a million blends the package refuses, and points to
the part of the shelf that is wanted (`take`, `--only`); many targets share their work by
`match_many`, and several machines may each take some of them.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from functools import partial
from math import comb
from pathlib import Path

import numpy as np

from benchmarks.search_speed import MAX_DYES, large_shelf, random_colours, timed
from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_10
from dyemix.dataset.target import Target
from dyemix.matching.match import match_many

SIZES = (12, 20, 30, 40, 50, 60)
TARGETS = 8


def measured() -> Array:
    """Seconds a target ``(sizes, dyes in a blend)``, printed as they come."""
    wanted = [Target(lab, D65_10) for lab in random_colours(TARGETS, 3)]
    out = np.zeros((len(SIZES), MAX_DYES))
    print(f"{'dyes':>4}" + "".join(f"{f'to {k}':>18}" for k in range(1, MAX_DYES + 1)))
    for i, size in enumerate(SIZES):
        dyes = large_shelf(size)
        line = f"{size:>4}"
        for k in range(1, MAX_DYES + 1):
            out[i, k - 1] = timed(partial(match_many, dyes, wanted, max_dyes=k), TARGETS)
            blends = sum(comb(size, j) for j in range(1, k + 1))
            line += f"{1e3 * out[i, k - 1]:8.1f} ms {blends:>6}"
        print(line, flush=True)
    return out


def draw(seconds: Array, path: Path) -> None:
    """Lines by the number of dyes in a blend, told apart by marks and words."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(7.0, 4.5), layout="constrained")
    axes = figure.subplots()
    for k, mark in enumerate("osD^", start=1):
        axes.plot(SIZES, 1e3 * seconds[:, k - 1], color="0.2", marker=mark)
        axes.annotate(f" to {k}", (SIZES[-1], 1e3 * seconds[-1, k - 1]), va="center")
    axes.set(yscale="log", xlabel="dyes on the shelf", ylabel="ms a target, one thread")
    axes.set_xlim(right=SIZES[-1] + 5)
    axes.set_title("How a match grows with the shelf and the dyes in a blend")
    figure.savefig(path, dpi=120)


def main(words: Sequence[str] = ()) -> dict[str, float]:
    """Print the table. Returns 40 and 60 dyes to four over 12 to four."""
    seconds = measured()
    if words:
        draw(seconds, Path(words[0]))
    return {
        f"{size} dyes against {SIZES[0]}": float(seconds[SIZES.index(size), -1] / seconds[0, -1])
        for size in (40, 60)
    }


if __name__ == "__main__":
    main(sys.argv[1:])
