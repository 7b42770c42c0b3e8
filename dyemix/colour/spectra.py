"""From bands as measured to the one grid of the package: 400–700 nm at 10 nm."""

import re
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from dyemix.arrays import Array, Flags, Indices, labels, numbers
from dyemix.colour.colorimetry import D65_10, WAVELENGTHS, Light, lab, sprague, stimuli
from dyemix.errors import Choice, InputError, refuse, said

#: Wider steps than this lose the slope of a dye's absorption edge (ASTM E308 tabulates 10 and 20).
WIDEST_STEP = 20.0
#: Bands that the tables of observers weigh, at the step of the package.
_SEEN = np.arange(360.0, 781.0, 10.0)


#: A reflectance above this is a percentage, and so is one above the second in the mean of its
#: bands: no cloth is so bright, whitened or not. One that never reaches the third is a fraction
#: that was called a percentage: deep black cotton reads 1.5 % and more. Common practice, all three.
_BEYOND, _BEYOND_ALL, DARKEST = 2.0, 1.1, 0.01
_BAND = re.compile(
    r"(?:%?r%?|refl|reflectance|nm|spectral(?:[ _]nm)?)?[ _]*([0-9]{3,4}(?:[.,][0-9]+)?)\s*(?:nm)?",
    re.IGNORECASE,
)


class Unit(Choice):
    """What reflectance is given in."""

    FRACTION = "fraction"
    PERCENT = "percent"


def fractions(
    values: ArrayLike, wavelengths: ArrayLike | None = None, scale: Unit | str = Unit.FRACTION
) -> Array:
    """Spectra ``(..., B')`` at `wavelengths` ``(B',)`` nm as fractions ``(..., B)`` on our grid.

    Without `wavelengths` they are those that head the columns of a table or the entries of a
    series; else the values stand on the grid, 31 bands from 400 to 700 nm. Raises `InputError` for
    bands that do not cover it, and for what is no reflectance.
    """
    percent = Unit(scale) is Unit.PERCENT
    spectra = numbers(values) / (100.0 if percent else 1.0)
    at = headed_bands(values) if wavelengths is None else numbers(wavelengths)
    sizes = spectra.shape, at.shape
    cure = "colour.bands.unnamed" if wavelengths is None else "colour.bands.other"
    refuse(spectra.shape[-1:] != at.shape, cure, *sizes, error=InputError)
    if at is not WAVELENGTHS:
        spectra, at = spectra[..., np.argsort(at)], np.sort(at)
        refuse(fault := grid_fault(at), fault, error=InputError)
    most = spectra.max(initial=0.0)
    sound = np.isfinite(spectra).all() and (spectra >= 0.0).all()
    refuse(not sound, "colour.reflectance.number", error=InputError)
    refuse(too_bright(spectra).any(), "colour.reflectance.fraction", most, error=InputError)
    dark = percent and spectra.size and most < DARKEST
    refuse(dark, "colour.reflectance.percent", 100.0 * most, error=InputError)
    return np.array(spectra) if at is WAVELENGTHS else onto_grid(at, spectra)


def too_bright(spectra: Array) -> Flags:
    """Which of reflectances ``(..., B')`` are brighter than cloth: no fractions, but per cent."""
    return np.asarray((spectra.max(axis=-1) > _BEYOND) | (spectra.mean(axis=-1) > _BEYOND_ALL))


def band(heading: str) -> float | None:
    """The wavelength in nm (300–1100) that a heading such as ``R_400 nm`` names, or None."""
    match = _BAND.fullmatch(heading.strip())
    wavelength = float(match[1].replace(",", ".")) if match else np.nan
    return wavelength if 300.0 <= wavelength <= 1100.0 else None


def headed_bands(values: Any) -> Array:
    """The wavelengths ``(B',)`` in nm that values are labelled with; else those of our grid."""
    found = [band(label) for label in labels(values)]
    return np.array(found, float) if found and all(found) else WAVELENGTHS


def spectrum_to_lab(
    values: ArrayLike, wavelengths: ArrayLike | None = None, light: Light | str = D65_10,
    scale: Unit | str = Unit.FRACTION,
) -> Array:  # fmt: skip
    """CIELAB ``(..., 3)`` of reflectance ``(..., B')`` at `wavelengths` ``(B',)`` in nm.

    Raises `InputError` as `Reading.from_spectrum` does.

    >>> round(float(spectrum_to_lab([0.5] * 16, range(400, 701, 20), "D50/2")[0]), 1)
    76.1
    """
    return lab(fractions(values, wavelengths, scale), Light.parse(light))


def grid_fault(wavelengths: Array) -> str:
    """What is wrong with bands ``(B',)`` in nm, in rising order; empty where nothing is."""
    if len(wavelengths) < 2:
        return said("colour.bands.one")
    steps, (first, last) = np.diff(wavelengths), wavelengths[[0, -1]]
    step = float(np.median(steps))
    odd = int(np.argmax(np.abs(steps - step)))
    missing = [f"{WAVELENGTHS[0]:g} to {first:g} nm"] * bool(first > WAVELENGTHS[0])
    missing += [f"{last:g} to {WAVELENGTHS[-1]:g} nm"] * bool(last < WAVELENGTHS[-1])
    if missing:
        return said("colour.bands.missing", first, last, " and ".join(missing))
    if abs(steps[odd] - step) > 1e-6 * step:
        return said("colour.bands.irregular", *wavelengths[odd : odd + 2], step)
    if step > WIDEST_STEP:
        return said("colour.bands.wide", step, len(wavelengths), WIDEST_STEP)
    return ""


def _extended(wavelengths: Array) -> Array:
    """The package's bands and, at the same 10 nm, those measured beyond them (360–780 nm)."""
    return np.asarray(_SEEN[(wavelengths[0] <= _SEEN) & (wavelengths[-1] >= _SEEN)])


def _places(wavelengths: Array, wanted: Array) -> Indices | None:
    """Where `wanted` bands stand among `wavelengths`; None unless all of them do."""
    at = np.abs(wavelengths[:, np.newaxis] - wanted).argmin(axis=0)
    return at if np.abs(wavelengths[at] - wanted).max() <= 1e-6 else None


def grid_notes(wavelengths: Array) -> list[str]:
    """What `onto_grid` does with these bands, one sentence each."""
    first, last, step = *wavelengths[[0, -1]], wavelengths[1] - wavelengths[0]
    notes = [said("colour.bands.all", first, last, step, len(wavelengths))]
    if _places(wavelengths, WAVELENGTHS) is None:
        notes.append(said("colour.bands.interpolated"))
    elif step < 10.0:
        notes.append(said("colour.bands.between"))
    beyond = wavelengths[(wavelengths < WAVELENGTHS[0]) | (wavelengths > WAVELENGTHS[-1])]
    if len(_extended(wavelengths)) > len(WAVELENGTHS):
        notes.append(said("colour.bands.folded", *beyond[[0, -1]]))
    elif len(beyond):
        notes.append(said("colour.bands.ends"))
    return notes


@cache
def _folding(first: float, last: float) -> Array:
    """Weights ``(E, B)`` that fold 10 nm bands `first` to `last` into 400–700 nm.

    An end band becomes the mean of itself and the bands beyond it, each weighted by what it adds
    to X under D65/10°. Beyond 700 nm the observer's chromaticity is constant (CIE 015) and below
    400 nm nearly so, so that X stands for Y and Z as well. ASTM E308 gives the end band the weight
    of all that lies beyond it; this gives it the mean reflectance to go with that weight.
    """
    wavelengths = _extended(np.array([first, last]))
    stimulus, *_ = stimuli(D65_10, wavelengths)
    fold = (wavelengths[:, np.newaxis] == WAVELENGTHS).astype(float)
    for end, part in ((0, wavelengths <= WAVELENGTHS[0]), (-1, wavelengths >= WAVELENGTHS[-1])):
        fold[part, end] = stimulus[part] / stimulus[part].sum()
    return np.asarray(fold)


def onto_grid(wavelengths: Array, values: Array) -> Array:
    """Values ``(..., B')`` at `wavelengths` ``(B',)`` brought to ``(..., B)`` at `WAVELENGTHS`.

    Bands that stand on the grid are taken as they are; other regular bands go through Sprague's
    interpolation, which CIE 167:2005 recommends for them. A spectrum that this would take below
    zero goes through a monotone one instead (Fritsch & Butland 1984), which cannot leave the range
    of its neighbours. Bands measured beyond the grid are folded into its ends; nothing beyond
    what was measured is made up.
    """
    wanted = _extended(wavelengths)
    at = _places(wavelengths, wanted)
    out = values @ sprague(wavelengths, wanted) if at is None else np.array(values[..., at])
    below = (out < 0.0).any(axis=-1) & (values >= 0.0).all(axis=-1)
    if below.any():
        from scipy.interpolate import PchipInterpolator

        out[below] = PchipInterpolator(wavelengths, values[below], axis=-1)(wanted)
    if len(wanted) == len(WAVELENGTHS):
        return np.asarray(out)
    return np.asarray(out @ _folding(float(wanted[0]), float(wanted[-1])))
