"""From the bands of a file to the one grid of the package: 400–700 nm at 10 nm."""

from __future__ import annotations

import numpy as np

from dyemix.colorimetry import WAVELENGTHS
from dyemix.kubelka_munk import Array

#: Wider steps than this lose the slope of a dye's absorption edge (ASTM E308 tabulates 10 and 20).
WIDEST_STEP = 20.0


def grid_fault(wavelengths: Array) -> str:
    """What is wrong with bands ``(B',)`` in nm, in rising order; empty where nothing is."""
    if len(wavelengths) < 2:
        return "one band is not a spectrum: give 400 to 700 nm, in steps of 20 nm or less."
    steps = np.diff(wavelengths)
    step = float(np.median(steps))
    first, last = float(wavelengths[0]), float(wavelengths[-1])
    missing = [f"{WAVELENGTHS[0]:g} to {first:g} nm"] if first > WAVELENGTHS[0] else []
    missing += [f"{last:g} to {WAVELENGTHS[-1]:g} nm"] if last < WAVELENGTHS[-1] else []
    if missing:
        return (
            f"the bands run from {first:g} to {last:g} nm and {' and '.join(missing)} is missing: "
            "a spectrum must cover 400 to 700 nm."
        )
    uneven = np.flatnonzero(np.abs(steps - step) > 1e-6 * step)
    if len(uneven):
        low, high = wavelengths[uneven[0]], wavelengths[uneven[0] + 1]
        return (
            f"the bands are irregular: {low:g} nm is followed by {high:g} nm where the others are "
            f"{step:g} nm apart. Give every band, in equal steps."
        )
    if step > WIDEST_STEP:
        return (
            f"the bands are {step:g} nm apart, {len(wavelengths)} in all: steps of "
            f"{WIDEST_STEP:g} nm or less are needed, 16 bands from 400 to 700 nm."
        )
    return ""


def _places(wavelengths: Array) -> np.ndarray | None:
    """Where the package's bands stand among `wavelengths`; None unless all of them do."""
    at = np.clip(np.searchsorted(wavelengths, WAVELENGTHS - 1e-6), 0, len(wavelengths) - 1)
    return at if np.allclose(wavelengths[at], WAVELENGTHS, rtol=0, atol=1e-6) else None


def grid_notes(wavelengths: Array) -> list[str]:
    """What `onto_grid` does with these bands, one sentence each."""
    notes = []
    step = wavelengths[1] - wavelengths[0]
    if _places(wavelengths) is None:
        notes.append(
            f"bands {wavelengths[0]:g} to {wavelengths[-1]:g} nm every {step:g} nm were "
            "interpolated to 400–700 nm every 10 nm (cubic spline)."
        )
    elif step < 10.0:
        notes.append(
            f"bands stand every {step:g} nm: those at 400, 410 … 700 nm are used, the ones "
            "between are not."
        )
    beyond = [w for w in wavelengths if not WAVELENGTHS[0] <= w <= WAVELENGTHS[-1]]
    if beyond:
        notes.append(
            f"{len(beyond)} bands beyond 400–700 nm ({beyond[0]:g} to {beyond[-1]:g} nm) were "
            "read and do not enter the spectrum kept."
        )
    return notes


def onto_grid(wavelengths: Array, values: Array) -> Array:
    """Values ``(S, B')`` at `wavelengths` ``(B',)`` brought to ``(S, B)`` at `WAVELENGTHS`.

    Bands that stand on the grid are taken as they are. Other regular bands go through a cubic
    spline; a spectrum that the spline would take below zero goes through a monotone one instead
    (Fritsch & Butland 1984), which cannot leave the range of its neighbours.
    """
    at = _places(wavelengths)
    if at is not None:
        return np.array(values[:, at])
    from scipy.interpolate import CubicSpline, PchipInterpolator

    out = np.asarray(CubicSpline(wavelengths, values, axis=1)(WAVELENGTHS))
    below = (out < 0.0).any(axis=1)
    if below.any():
        out[below] = PchipInterpolator(wavelengths, values[below], axis=1)(WAVELENGTHS)
    return out
