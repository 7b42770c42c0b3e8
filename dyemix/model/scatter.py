"""How far a pot strays from its prediction, by cause: what is measured and what is assumed."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from dyemix.arrays import Array

# Priors, and how many observations each is worth. Working values of ours, in the range that hand
# dyers and laboratories report for small baths; every one is replaced as swatches arrive.
PRIOR_DOSING, PRIOR_POT = 0.03, 0.03
PRIOR_READING = 0.15
PRIOR_MIXING, PRIOR_MODEL = 0.04, 0.3
PRIOR_SECOND_BATH = 0.1
PRIOR_WORTH = 6.0


@dataclass(frozen=True, eq=False)
class Scatter:
    """The causes of a miss in the pot, apart from what the fit itself leaves open.

    Attributes
    ----------
    dosing : standard error of one dye's amount, as a share of it.
    pot : standard error of the strength of a pot, common to its dyes, as a share.
    reading : ``(3, 3)`` covariance of one reading in the three parts of ΔE2000 (lightness,
        chroma, hue), under the light of the set; what that is in CIELAB depends on the colour.
    mixing : what a dye's amount is off by in a mix, beyond dosing and pot: the part of the
        model's error that acts as more or less dye, as a share.
    model : the rest of the model's error, in ΔE2000 along each direction of colour.
    second_bath : what a second bath gives more or less of its dyes than the same bath on white
        cloth, as a share common to them: sites are taken, but nobody has measured how many.
    notes : which of these were measured, from how many swatches, and which are assumed.
    """

    dosing: float = PRIOR_DOSING
    pot: float = PRIOR_POT
    reading: Array = field(default_factory=lambda: np.eye(3) * PRIOR_READING**2)
    mixing: float = PRIOR_MIXING
    model: float = PRIOR_MODEL
    second_bath: float = PRIOR_SECOND_BATH
    notes: tuple[str, ...] = ("every scatter is assumed: no swatch was dyed or read again",)

    def __post_init__(self) -> None:
        self.reading.setflags(write=False)
