"""Real cloth as targets: the 21 measured textiles among the samples of CIE 224:2017.

A shelf of invented dyes is asked for colours that somebody dyed with others: residual, whether
it reaches them, and which way it misses.
"""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd

from benchmarks.shelf import shelf
from dyemix.arrays import Array
from dyemix.colour.colorimetry import D65_10
from dyemix.dataset.target import Target
from dyemix.matching.match import match
from dyemix.model.dyes import DyeSet

#: Counted from 1, as the class of each sample stands in colour-science.
TEXTILES = (
    1, 2, 6, 11, 16, 17, 26, 29, 32, 41, 43, 47, 57, 62, 74, 79, 82, 83, 86, 94, 98,
)  # fmt: skip


def textiles() -> Array:
    """Reflectance ``(21, 401)``, 380 to 780 nm at 1 nm."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # colour-science speaks of optional packages on import
        import colour
        from colour.quality.cfi2017 import load_TCS_CIE2017
    samples = load_TCS_CIE2017(colour.SpectralShape(380, 780, 1))
    return np.asarray(np.asarray(samples.values).T[np.array(TEXTILES) - 1])


def textiles_at_10_nm() -> Array:
    """The same on the grid of the package, ``(21, 31)``."""
    return np.asarray(textiles()[:, 20:321:10])


def table(dyes: DyeSet | None = None, max_dyes: int = 3) -> pd.DataFrame:
    """One row a textile: sample, hex, recipe, delta_e, metamerism under A, reach."""
    shelf_of = dyes or shelf()
    rows = []
    for sample, spectrum in zip(TEXTILES, textiles_at_10_nm(), strict=True):
        target = Target.of_spectrum(spectrum, D65_10, f"sample {sample}")
        found = match(shelf_of, target, max_dyes=max_dyes, rank_by="paper")
        rows.append(
            {
                "sample": sample,
                "hex": target.hex,
                "recipe": str(found[0].recipe),
                "delta_e": found[0].residual,
                "metamerism_A": found[0].lamps[0].delta_e,
                "reach": found.reach.value,
            }
        )
    return pd.DataFrame(rows)


def main() -> None:
    """Print the table. ΔE2000 1:1:1, D65/10°; metamerism_A is CIE 015's special index."""
    with pd.option_context("display.width", 200, "display.max_colwidth", 90):
        print(table().round(2).to_string(index=False))


if __name__ == "__main__":
    main()
