"""Is the picture's light proportional to that of the scene? If not, the curve that makes it so.

Cameras and phones bend tones for looks. A card with grey steps of known reflectance shows it: the
linear values of a picture should be proportional to them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dyemix.arrays import Array

#: Grey steps within this share of proportional count as linear.
PROPORTIONAL = 0.03
#: Fewer steps than this tell nothing of a curve.
FEWEST_STEPS = 3
#: Below this reflectance a step is mostly stray light and half a code wide: it does not decide.
_DARKEST = 0.04


@dataclass(frozen=True, eq=False)
class Tone:
    """A monotone curve from the picture's linear values to proportional ones.

    Attributes
    ----------
    at, shift : ``(K,)`` log of the value, and what is added to it; beyond the ends the shift of
        the end holds. Empty for a picture that is linear.
    off : largest departure from proportional, as a fraction; NaN where it could not be tested.
    """

    at: Array
    shift: Array
    off: float

    @property
    def known(self) -> bool:
        """Whether there were steps to tell."""
        return bool(np.isfinite(self.off))

    @property
    def bent(self) -> bool:
        return len(self.at) > 0

    def __call__(self, values: Array) -> Array:
        """Proportional values of linear `values`, any shape."""
        if not self.bent:
            return values
        log = np.log(np.maximum(values, 1e-6))
        return np.asarray(values * np.exp(np.interp(log, self.at, self.shift)))

    def undo(self, values: Array) -> Array:
        """The picture's linear values of proportional `values`: the inverse of calling it."""
        if not self.bent:
            return values
        log = np.log(np.maximum(values, 1e-6))
        # The shift of the ends holds beyond them, so the inverse's does too.
        return np.asarray(values * np.exp(-np.interp(log, self.at + self.shift, self.shift)))

    def __str__(self) -> str:
        if not self.known:
            return "camera tone curve unknown: no grey steps to test it on."
        if not self.bent:
            return f"grey steps are proportional within {100 * self.off:.1f} %."
        return (
            f"grey steps were up to {100 * self.off:.0f} % off proportional: the camera bends its "
            "tones; a monotone curve was fitted to them."
        )


UNKNOWN = Tone(np.empty(0), np.empty(0), float("nan"))


def _departure(seen: Array, known: Array) -> Array:
    """How far ``(N, 3)`` light is from proportional to `known`, channel by channel."""
    ratio = np.log(seen / known)
    return np.asarray(np.exp(ratio - np.median(ratio, axis=0)) - 1.0)


def fit_tone(seen: Array, known: Array) -> Tone:
    """Test grey steps and, where they are not proportional within 3 %, fit a monotone curve.

    Parameters
    ----------
    seen : ``(N, 3)`` linear light of the steps, evenness corrected.
    known : ``(N, 3)`` their linear values in the picture's primaries.

    ``log s + log known = log seen + h(log seen)``: one curve ``h`` for the three channels, each
    with its own gain ``s`` (white balance). ``h`` is a natural cubic spline on as many knots as
    there are steps, at most 6, by least squares with a small penalty on its second difference; the
    penalty grows until the curve is monotone.
    """
    usable = (known.min(axis=1) >= _DARKEST) & (seen.min(axis=1) > 1e-4)
    if usable.sum() < FEWEST_STEPS:
        return UNKNOWN
    departure = _departure(seen[usable], known[usable])
    off = float((departure.max(axis=0) - departure.min(axis=0)).max() / 2.0)
    if off <= PROPORTIONAL:
        return Tone(np.empty(0), np.empty(0), off)
    from scipy.interpolate import CubicSpline

    good = (known.min(axis=1) > 0.01) & (seen.min(axis=1) > 1e-4)
    x, y = np.log(seen[good]), np.log(known[good])
    count = min(len(x), 6)
    middle = np.sort(x.mean(axis=1))
    knots = np.quantile(middle, np.linspace(0, 1, count))
    knots[0], knots[-1] = x.min() - 1e-6, x.max() + 1e-6
    knots = np.unique(knots)
    count = len(knots)
    basis = CubicSpline(knots, np.eye(count), bc_type="natural")
    fine = np.linspace(knots[0], knots[-1], 200)
    gains = np.kron(np.ones((len(x), 1)), -np.eye(3))
    rows = np.hstack([basis(x.ravel()), gains])
    wanted = (y - x).ravel()
    rough = np.hstack([np.diff(np.eye(count), 2, axis=0), np.zeros((max(count - 2, 0), 3))])
    anchor = np.zeros((1, count + 3))
    anchor[0, count:] = 1.0  # gains of mean one: the curve carries the rest
    penalty = 1e-3
    while True:
        system = np.vstack([rows, np.sqrt(penalty) * rough, anchor])
        target = np.concatenate([wanted, np.zeros(len(rough) + 1)])
        height = np.linalg.lstsq(system, target, rcond=None)[0][:count]
        shift = basis(fine) @ height
        if np.all(np.diff(fine + shift) > 0) or penalty > 1e6:
            return Tone(fine, shift, off)
        penalty *= 10.0
