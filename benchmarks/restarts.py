"""Is the nearest recipe the nearest there is? Beside every blend, solved from random starts.

Up to four of twelve dyes, four starts a blend, judged by ΔE2000 itself; on either side a dye that
brings a target nearer by less than 0.1 gives way. 64 colours on each of three shelves that no
setting of the search was chosen on, and 244 colours of chroma 70 to 150, drawn evenly in lightness,
chroma and hue: so far out ΔE2000 has a second valley on the dull, opposite side.
"""

from __future__ import annotations

import numpy as np

from benchmarks.search_speed import random_colours
from benchmarks.shelf import NEAR, shelf
from benchmarks.subsets import every_blend
from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_10
from dyemix.matching.match import earning, refined
from dyemix.matching.subsets import Problem
from dyemix.model.dyes import DyeSet

#: Targets solved at a time, and the shelves set aside.
_AT_ONCE, _SHELVES = 4, (21, 22, 23)


def far_colours(count: int, seed: int = 77) -> Array:
    """CIELAB ``(count, 3)``."""
    rng = np.random.default_rng(seed)
    lightness, chroma = rng.uniform(20.0, 90.0, count), rng.uniform(70.0, 150.0, count)
    hue = rng.uniform(0.0, 2.0 * np.pi, count)
    return np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)], axis=1)


def nearest(dyes: DyeSet, labs: Array) -> tuple[Array, Array]:
    """Least ΔE2000 ``(T,)`` of the search, and of the restarts; each dye must earn its place."""
    ours: list[Array] = []
    theirs: list[Array] = []
    for first in range(0, len(labs), _AT_ONCE):
        problem = Problem.of(dyes, labs[first : first + _AT_ONCE], D65_10, 4)
        for found, out in ((refined(problem), ours), (every_blend(problem), theirs)):
            earns = earning(found, np.sqrt(found.cost)[np.newaxis])
            out.append(found.rows(earns).best().cost)
    return np.sqrt(np.concatenate(ours)), np.sqrt(np.concatenate(theirs))


def main(count: int = 64, far: int = 244) -> None:
    """Print how many stay behind, and by how much."""
    for seed in _SHELVES:
        ours, theirs = nearest(shelf(seed), random_colours(count, 100 + seed))
        behind, near = ours - theirs, theirs <= NEAR
        print(
            f"shelf {seed}, {count} targets: behind by at most {behind.max():.4f}, {near.sum()} "
            f"within reach by {behind[near].max():.4f} (asked: 0.01)",
            flush=True,
        )
    ours, theirs = nearest(shelf(), labs := far_colours(far))
    behind = ours - theirs
    print(
        f"{far} far targets: {np.sum(behind > 0.1)} behind by more than 0.1 (asked: none), at most "
        f"{behind.max():.3f}, at L* a* b* {np.round(labs[behind.argmax()], 1).tolist()}; "
        f"{np.sum(behind < -0.1)} ahead by more"
    )


if __name__ == "__main__":
    main()
