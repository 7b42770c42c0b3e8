"""How far pots of one recipe stray from each other, by cause: what is measured and what assumed."""

from __future__ import annotations

from dataclasses import field, replace
from typing import Annotated

import numpy as np

from dyemix.arrays import Array
from dyemix.dataset.result import Value
from dyemix.dataset.serialise import Shape

#: Standard error of ln(strength) from one bath of a recipe to the next before any is dyed again,
#: of one reading (ΔE2000), and of what a second bath gives; and how many observations each is
#: worth. Working values of ours, wider than a balance: common practice for small baths by hand. No
#: square tells of a second bath before one was dyed, so that it starts wide.
PRIOR_STRENGTH, PRIOR_READING, PRIOR_SECOND_BATH = 0.05, 0.15, 0.2
PRIOR_WORTH = 4.0
#: The same of one spot of cloth dyed in low water, which is mottled, about the mean of its piece: a
#: working value of ours until readings of own squares in several places have measured it.
PRIOR_MOTTLE = 1.0
_HALF = float(PRIOR_STRENGTH * np.sqrt(0.5))


class Scatter(Value):
    """The causes of a difference between two pots of one recipe.

    Attributes
    ----------
    dosing : standard error of one dye's amount, as a share of it.
    pot : standard error of the strength of a pot, common to its dyes, as a share.
    reading : ``(3, 3)`` covariance of one reading in the three parts of ΔE2000 (lightness,
        chroma, hue), under the light of the set; what that is in CIELAB depends on the colour.
    second_bath : what a second bath gives more or less of its dyes than the same bath on white
        cloth, as a share common to them: sites are taken, but nobody has measured how many.
    warnings : which of these were measured, from how many swatches, and which are assumed.
    """

    dosing: float = _HALF
    pot: float = _HALF
    reading: Annotated[Array, Shape(3, 3)] = field(
        default_factory=lambda: np.eye(3) * PRIOR_READING**2
    )
    second_bath: float = PRIOR_SECOND_BATH
    warnings: tuple[str, ...] = ("every scatter is assumed: no swatch was dyed or read again",)

    def mottled(self) -> Scatter:
        """That of level squares, for one spot of cloth dyed in low water."""
        return replace(self, reading=self.reading + np.eye(3) * PRIOR_MOTTLE**2)

    def over_piece(self) -> Scatter:
        """That over a piece, which was read with an error of its own."""
        return replace(self, reading=2.0 * self.reading)

    def second(self) -> Scatter:
        """That of second baths: over a piece, and by `second_bath` more from pot to pot."""
        return replace(self.over_piece(), pot=float(np.hypot(self.pot, self.second_bath)))

    @property
    def strength(self) -> float:
        """Standard error of ln(strength) from bath to bath, dosing and pot together."""
        return float(np.hypot(self.dosing, self.pot))
