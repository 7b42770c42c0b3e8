"""How much is lost when a book is read as CIELAB only, and how long its fit takes.

    python -m benchmarks.lab_only            # workshop seeds 0 to 2
    python -m benchmarks.lab_only 3 4        # others

Alternatives in the same run: the smoothest spectrum of each swatch by itself, fitted as if it had
been measured; on the textiles also the recovery methods of colour-science, swatch by swatch.
"""

from __future__ import annotations

import sys
import time
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchmarks.shelf import swatch_set
from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e, metric
from dyemix.colour.colorimetry import (
    D65_2,
    D65_10,
    WAVELENGTHS,
    Light,
    lab,
    smoothest_reflectance,
    xyz_from_lab,
)
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.fitting.fit import fit
from dyemix.model.dyes import DyeSet
from dyemix.model.kubelka_munk import Surface, k_over_s
from tests.simulated.workshop import Workshop

A, LED = Light("A", 10), Light("LED-B3", 10)
LIGHTS = (D65_10, A, LED)
#: The textiles among the test colours of CIE 224:2017, counted from 1.
TEXTILES = (1, 2, 6, 11, 16, 17, 26, 29, 32, 41, 43, 47, 57, 62, 74, 79, 82, 83, 86, 94, 98)
#: % owf; five depths, each half of the one before.
DEPTHS = (4.0, 2.0, 1.0, 0.5, 0.25)


def as_lab(swatches: SwatchSet, light: Light = D65_10) -> SwatchSet:
    """The same readings as a colorimeter would give them: CIELAB under `light`, no spectrum."""
    colours = lab(np.array([r.reflectance for r in swatches.readings]), light)
    spectra = smoothest_reflectance(colours, light)
    return SwatchSet(
        tuple(
            Reading(r.recipe, spectrum.copy(), r.swatch, "Lab", colour.copy(), light)
            for r, spectrum, colour in zip(swatches.readings, spectra, colours, strict=True)
        )
    )


def swatch_by_swatch(swatches: SwatchSet) -> SwatchSet:
    """The alternative: each swatch's smoothest spectrum, taken as measured."""
    return SwatchSet(
        tuple(replace(r, kind="spectrum", lab=None, light=None) for r in as_lab(swatches).readings)
    )


def mixture_misses(dyes: DyeSet, mixtures: SwatchSet, light: Light) -> Array:
    """ΔE2000 of each mixture predicted from single dyes, seen under `light`."""
    amounts = np.array([dyes.amounts(s.recipe) for s in mixtures.swatches])
    measured = lab(np.array([s.reflectance for s in mixtures.swatches]), light)
    return delta_e(measured, dyes.colours(amounts, light))


@dataclass(frozen=True)
class Loss:
    """Mixtures of one workshop under one light: mean ΔE2000 by each way, and what is added.

    `added` and `added_alone` are √(mean ΔE² − mean ΔE² of the spectral fit), for the joint
    inversion and for the smoothest spectrum of each swatch.
    """

    light: Light
    spectral: float
    joint: float
    alone: float
    added: float
    added_alone: float

    def __str__(self) -> str:
        return (
            f"{self.light!s:>11}  {self.spectral:8.2f} {self.joint:8.2f} {self.alone:8.2f}"
            f"  {self.joint - self.spectral:+6.2f}  {self.added:6.2f} {self.added_alone:6.2f}"
            f"  {self.added / self.added_alone:5.2f}"
        )


def losses(seed: int, noise: bool, lights: Sequence[Light] = LIGHTS) -> Iterator[Loss]:
    """One workshop, its ladders read three ways."""
    shop = Workshop(seed, noise)
    ladders, mixtures = swatch_set(shop.ladder()), swatch_set(shop.mixtures())
    spectral, joint, alone = fit(ladders), fit(as_lab(ladders)), fit(swatch_by_swatch(ladders))
    for light in lights:
        miss = [mixture_misses(dyes, mixtures, light) for dyes in (spectral, joint, alone)]
        square = [float(np.mean(m**2)) for m in miss]
        yield Loss(
            light,
            *(float(m.mean()) for m in miss),
            *(float(np.sqrt(max(s - square[0], 0.0))) for s in square[1:]),
        )


@dataclass(frozen=True, eq=False)
class Textiles:
    """Ladders of the 21 textiles as dyes on a flat white cloth, and every swatch's truth.

    `truth` is ``(D, S, B)``: dyes by `DEPTHS`.
    """

    swatches: SwatchSet
    truth: Array


def textiles() -> Textiles:
    """Measured textile spectra of CIE 224:2017, as colour-science carries them, made into dyes.

    A textile's K/S less that of a flat cloth of R = 0.85 (0 where it reflects more) is a dye's
    curve. The depths follow a saturating law, ``1 − exp(−c / 6 %)``, that no fit here offers, and
    a flat surface term of 0.01 goes on top; the fit is told neither.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
        from colour.quality.cfi2017 import load_TCS_CIE2017

        samples = load_TCS_CIE2017(colour.SpectralShape(380, 780, 5))
    rows = np.isin(samples.wavelengths, WAVELENGTHS)
    spectra = samples.values[rows][:, np.array(TEXTILES) - 1].T
    curves = np.maximum(k_over_s(spectra) - k_over_s(0.85), 0.0)
    depths = np.array(DEPTHS)
    g = -np.expm1(-depths / 6.0) / -np.expm1(-depths[0] / 6.0)
    surface = Surface(0.01)
    cloth = np.full(len(WAVELENGTHS), 0.85)
    k = surface.k_over_s(cloth) + g[np.newaxis, :, np.newaxis] * curves[:, np.newaxis, :]
    truth = surface.reflectance(k)
    readings = [Reading(Recipe({}), cloth)]
    readings += [
        Reading(Recipe({f"textile{number}": depth}), r)
        for number, ladder in zip(TEXTILES, truth, strict=True)
        for depth, r in zip(DEPTHS, ladder, strict=True)
    ]
    return Textiles(as_lab(SwatchSet(tuple(readings))), truth)


def predicted(book: Textiles, dyes: DyeSet) -> Array:
    """Reflectance ``(D, S, B)`` of every swatch by a fit of its ladder."""
    amounts = np.concatenate([np.outer(DEPTHS, row) for row in np.eye(len(dyes))])
    return dyes.reflectance(amounts).reshape(book.truth.shape)


def recovered(book: Textiles, method: str) -> Array:
    """Reflectance ``(D, S, B)`` by a method of colour-science, each swatch from its own CIELAB.

    Methods that take an observer and an illuminant get the book's. Those that start from sRGB get
    the same L*a*b* under D65/2°, which is sRGB's own, so that greys stay grey.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

        observer = colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"]
        lamp = colour.SDS_ILLUMINANTS["D65"]
        if method == "Meng 2015":
            shape = colour.SpectralShape(400, 700, 10)
            observer, lamp = observer.copy().align(shape), lamp.copy().align(shape)
        own = method in ("Mallett 2019", "Smits 1999")
        options = {} if own else {"cmfs": observer, "illuminant": lamp}
        light = D65_2 if own else D65_10
        stimuli = xyz_from_lab(lab(book.truth, D65_10), light).reshape(-1, 3) / 100.0
        out = []
        for xyz in stimuli:
            spectrum = colour.XYZ_to_sd(xyz, method=method, **options)
            out.append(np.interp(WAVELENGTHS, spectrum.wavelengths, spectrum.values))
    return np.clip(out, 1e-4, None).reshape(book.truth.shape)


def textile_misses(book: Textiles, spectra: Array, light: Light) -> Array:
    """ΔE2000 ``(D, S)`` of spectra against the truth under `light`."""
    return delta_e(lab(book.truth, light), lab(spectra, light))


def spread_and_error(seed: int, noise: bool) -> Iterator[tuple[Light, float, float]]:
    """Per light: what the Lab-only fit leaves open, and what it is really off by.

    Root mean square ΔE2000 over the mixtures, both against the Lab-only fit; the error is that to
    the spectral fit of the same swatches, so that dosing and the model's own error cancel.
    """
    shop = Workshop(seed, noise)
    ladders, mixtures = swatch_set(shop.ladder()), swatch_set(shop.mixtures())
    spectral, joint = fit(ladders), fit(as_lab(ladders))
    amounts = np.array([joint.amounts(s.recipe) for s in mixtures.swatches])
    for light in LIGHTS:
        found = joint.predict_many(amounts, light)
        by_lab = metric(found.lab)
        open_ = by_lab @ found.causes.fit @ by_lab.transpose(0, 2, 1)
        spread = float(np.sqrt(np.trace(open_, axis1=1, axis2=2).mean()))
        miss = delta_e(found.lab, spectral.colours(amounts, light))
        yield light, spread, float(np.sqrt(np.mean(miss**2)))


def seconds(swatches: SwatchSet, runs: int = 3) -> float:
    """Median time of a fit, seconds."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        fit(swatches)
        times.append(time.perf_counter() - start)
    return float(np.median(times))


def _print_losses(seeds: Sequence[int]) -> None:
    print("Mixtures of the workshop, predicted from its ladders: mean ΔE2000, and the error added")
    print("to the spectral fit, √(mean ΔE² − mean ΔE² spectral). 'alone': smoothest spectrum of")
    print("each swatch by itself.\n")
    print("seed  noise        light  spectral    joint    alone   more  added  alone  ratio")
    for seed in seeds:
        for noise in (True, False):
            for loss in losses(seed, noise):
                print(f"{seed:4d}  {'yes' if noise else 'no':<5}  {loss}")


def _print_textiles() -> None:
    book = textiles()
    spectra = {"joint, this fit": predicted(book, fit(book.swatches))}
    smooth = smoothest_reflectance(lab(book.truth, D65_10).reshape(-1, 3), D65_10)
    spectra["smoothest spectrum"] = smooth.reshape(book.truth.shape)
    for method in ("Meng 2015", "Jakob 2019", "Otsu 2018", "Mallett 2019", "Smits 1999"):
        spectra[method] = recovered(book, method)
    print("\n21 textiles of CIE 224:2017 as dyes, read as CIELAB under D65/10°: mean ΔE2000 at")
    print("each depth (% owf) and over all, under other lamps; and the worst swatch.\n")
    heads = "".join(f"{depth:>7g}" for depth in DEPTHS)
    print(f"{'way':<20} {'light':>11} {heads}    all  worst")
    for light in LIGHTS:
        for name, values in spectra.items():
            miss = textile_misses(book, values, light)
            line = "".join(f"{x:7.2f}" for x in miss.mean(axis=0))
            print(f"{name:<20} {light!s:>11} {line} {miss.mean():6.2f} {miss.max():6.2f}")


def _print_rest(seeds: Sequence[int]) -> None:
    print("\nWhat is left open beside the true error of the Lab-only fit (rms ΔE2000).\n")
    for seed in seeds:
        for noise in (True, False):
            rows = spread_and_error(seed, noise)
            text = "   ".join(f"{light} {s:.2f} / {e:.2f}" for light, s, e in rows)
            print(f"seed {seed} {'noisy' if noise else 'exact'}  {text}")
    ladders = swatch_set(Workshop(seeds[0]).ladder())
    print("\nFit of 12 dyes at 6 depths, median of 3 runs:")
    print(f"  spectral {seconds(ladders):.2f} s, Lab-only {seconds(as_lab(ladders)):.2f} s")


def main(seeds: Sequence[int]) -> None:
    _print_losses(seeds)
    _print_textiles()
    _print_rest(seeds)


if __name__ == "__main__":
    main([int(x) for x in sys.argv[1:]] or [0, 1, 2])
