"""Colours far out of reach: is the nearest recipe the nearest there is?

244 colours of chroma 70 to 150, drawn evenly in lightness, chroma and hue. Beside the search, every
blend of up to four of twelve dyes is solved from four random starts, judged by ΔE2000 itself: far
out it has a second valley on the dull, opposite side.
"""

from __future__ import annotations

import numpy as np

from benchmarks.shelf import shelf
from benchmarks.subsets import every_blend
from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_10
from dyemix.matching.refine import refined
from dyemix.matching.subsets import Problem

#: Targets solved at a time.
_AT_ONCE = 4


def far_colours(count: int, seed: int = 77) -> Array:
    """CIELAB ``(count, 3)``."""
    rng = np.random.default_rng(seed)
    lightness, chroma = rng.uniform(20.0, 90.0, count), rng.uniform(70.0, 150.0, count)
    hue = rng.uniform(0.0, 2.0 * np.pi, count)
    return np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)], axis=1)


def main(count: int = 244) -> None:
    """Print how many stay behind, and by how much (asked: none by more than 0.1)."""
    dyes, labs = shelf(), far_colours(count)
    behind = []
    for first in range(0, count, _AT_ONCE):
        problem = Problem.of(dyes, labs[first : first + _AT_ONCE], D65_10, 4)
        ours, theirs = (
            np.sqrt(found.best().cost) for found in (refined(problem), every_blend(problem))
        )
        behind += list(ours - theirs)
    worst = int(np.argmax(behind))
    print(
        f"{count} targets of chroma 70 to 150: {np.sum(np.array(behind) > 0.1)} further than 0.1 "
        f"behind restarts of every blend, at most {behind[worst]:.3f} (L* a* b* "
        f"{np.round(labs[worst], 1).tolist()}); {np.sum(np.array(behind) < -0.1)} ahead of them"
    )


if __name__ == "__main__":
    main()
