"""Random photographs: ``python -m benchmarks.photo_scenes [--develop] [--untold] [N] [FAULT …]``.

Page, cloth, light, camera and phone style are drawn anew for each scene; the cloth is invented
(bands of absorption on white cotton, by Kubelka and Munk). The reader is told the light as a dyer
sees it, unless ``--untold``. Constants were chosen with ``--develop``, on sensors `CHOSEN_ON` and
seeds from 0 and from 80 000; reports before were on 30 seeds from 30 000, 40 000, 50 000, 60 000
and 70 000. What is printed without it is of other `SENSORS`, and seeds from 90 000. For each kind
of scene: how many were refused, what share of the sound cells was read, how often ΔE2000 lies under
its stated 90 % bound, the worst of it over its bound, and stated over found (root mean squares).
"""

import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e, metric
from dyemix.errors import DyemixError
from dyemix.photo import PhotoOptions, PhotoReading, examine_photo
from dyemix.photo.results import CellReading
from tests.simulated.camera import PAPER, WAVELENGTHS, Camera, Laid, Scene, Shade, lab_d65
from tests.simulated.camera.scenes import GREY_STEPS, Page, scene, write_reference
from tests.simulated.photographs import cut, page_with_recipes

#: What is wrong with a scene, if anything, and whether a reader may refuse it for that.
FAULTS = {
    "patch card": False, "grey steps": False, "one grey": False, "undyed": False,
    "styled card": False, "styled grey": False, "small cloth": False, "barrel": False,
    "tungsten": False, "narrow LED": True, "mixed light": True, "flare": True,
    "shadow on patches": True, "shadow on grey": True, "shadow on cells": False,
    "bright": False, "wrong grey": True,
}  # fmt: skip
DAYLIGHT, LEDS = ("D50", "D55", "D65", "D75"), ("LED-B3", "LED-B4", "LED-B5")
#: What a dyer says of the light, where she says anything: of two at a time she cannot.
SAID = dict.fromkeys(DAYLIGHT, "daylight") | dict.fromkeys((*LEDS, "FL11"), "white")
SAID |= dict.fromkeys(("LED-B2", "LED-RGB1"), "warm") | {"A": "halogen"}
#: Sensors on which constants were chosen, and those of what is printed.
CHOSEN_ON = (*range(22), *range(100, 112), *range(200, 212), *range(300, 312), *range(500, 514))
SENSORS = tuple(range(700, 714))
#: What the greys of the page are printed as, linear.
PRINTED_GREY = 0.6**2.2
_DRAWS = np.random.default_rng(0).standard_normal((2000, 3))


@dataclass(frozen=True, eq=False)
class Taken:
    """A scene to photograph and how to read it: the truth ``(S, 3)``, and cells that are spoilt."""

    camera: Camera
    scene: Scene
    options: dict[str, Any]
    truth: Array
    spoilt: tuple[int, ...] = ()


def dyed(rng: np.random.Generator, count: int) -> Array:
    """Reflectances ``(count, B)`` of invented cloth: one to three absorption bands on cotton."""
    white = np.interp(WAVELENGTHS, [380, 420, 500, 780], [0.60, 0.76, 0.84, 0.87])
    spectra = []
    for _ in range(count):
        absorbed = (1 - white) ** 2 / (2 * white) + 0.01
        for _ in range(rng.integers(1, 4)):
            middle, width = rng.uniform(400, 660), rng.uniform(28, 75)
            bell = np.exp(-0.5 * ((WAVELENGTHS - middle) / width) ** 2)
            absorbed = absorbed + 10 ** rng.uniform(-1.2, 1.0) * bell
        inner = 1 + absorbed - np.sqrt(absorbed**2 + 2 * absorbed)
        spectra.append(0.015 + 0.985 * inner * 0.97)
    return np.array(spectra)


def printed(scene: Scene, seed: int) -> Scene:
    """The page as another printer prints it on other paper, within what is usual (from memory)."""
    rng = np.random.default_rng([seed, 2])
    white = rng.uniform(0.75, 0.95) / 0.86
    # b* from 1 in recycled paper to -7 in brightened.
    blue = rng.uniform(-0.03, 0.16) * np.exp(-(((WAVELENGTHS - 445.0) / 28.0) ** 2))
    black = float(np.exp(rng.uniform(*np.log([0.025, 0.08]))))
    ink = black * np.exp(rng.uniform(-0.3, 0.3) * (WAVELENGTHS - 550.0) / 100.0)
    share = float(np.exp(rng.uniform(*np.log([0.23, 0.54])))) * 0.86 * white
    bare = (share - black) / (0.86 * white - black)
    gain = float(np.log(max(bare, 0.1)) / np.log(PRINTED_GREY))
    return replace(scene, paper=white * (0.86 + blue) / PAPER, ink=ink, gain=gain)


def draw(fault: str, seed: int, sensors: Sequence[int]) -> Taken:
    """One scene with this fault, taken by one of these sensors."""
    rng = np.random.default_rng([seed, list(FAULTS).index(fault)])
    count = int(rng.choice([12, 24, 40], p=[0.25, 0.6, 0.15]))
    page = page_with_recipes(count)
    count = len(page.cells)
    share = rng.uniform(0.45, 1.08) if fault == "small cloth" else rng.uniform(0.75, 1.0)
    free = 0.5 * (1 - share) * np.ptp(page.cells[0], axis=0).min()
    shift = tuple(np.clip(rng.uniform(-2, 2, 2), -max(free, 0.3), max(free, 0.3)))
    spectra = dyed(rng, count - int(rng.integers(0, 4)))
    undyed = np.interp(WAVELENGTHS, [380, 420, 500, 780], [0.60, 0.76, 0.84, 0.87])
    # No two bleached cottons are alike: L* from 90 to 96, b* from about 2 to 6.
    yellow = np.random.default_rng([seed, 1]).normal(0.0, 0.018) * (WAVELENGTHS - 550.0) / 100.0
    spectra[0] = np.clip(undyed * np.exp(rng.uniform(-0.105, 0.055) + yellow), 0, 0.96)
    card = "card" in fault or "patches" in fault or bool(rng.random() < 0.5)
    steps: Sequence[float] = GREY_STEPS if rng.random() < 0.6 else (0.18,)
    if fault in ("grey steps", "styled grey", "one grey", "undyed", "shadow on grey", "wrong grey"):
        card = False
        steps = {"one grey": (0.18,), "undyed": ()}.get(fault, GREY_STEPS)
    if fault in ("shadow on grey", "wrong grey") and rng.random() < 0.5:
        steps = (0.18,)
    camera = Camera(
        which=int(rng.choice(sensors)),
        light=str(rng.choice([*DAYLIGHT, *DAYLIGHT, *LEDS])),
        megapixels=float(rng.choice([2.0, 3.0, 5.0])),
        gradient=rng.uniform(0, 0.3),
        tilt=rng.uniform(-15, 15),
        styled=rng.uniform(0.3, 1.1) if "styled" in fault else float(rng.random() < 0.25) * 0.6,
        exposure=rng.uniform(0.62, 0.84),
        balance=str(rng.choice(["daylight", "lamp"])),
        noise=rng.uniform(0.003, 0.012),
        flare=rng.uniform(0.0, 0.004),
        seed=seed,
    )
    change: dict[str, Any] = {}
    shades: list[Shade] = []
    told = steps
    spoilt: tuple[int, ...] = ()
    laid_on = replace(cut(page, share, shift))
    match fault:
        case "barrel":
            change = {"barrel": rng.uniform(-0.04, 0.1)}
        case "tungsten":
            change = {"light": "A"}
        case "narrow LED":
            change = {"light": str(rng.choice(["LED-RGB1", "FL11", "LED-B2"]))}
        case "mixed light":
            change = {"light": "D65", "second": str(rng.choice(["A", "LED-B2"]))}
            change |= {"share": rng.uniform(0.3, 0.8), "balance": "daylight"}
        case "flare":
            change = {"flare": rng.uniform(0.01, 0.04)}
        case "bright":
            change = {"exposure": rng.uniform(0.9, 1.1)}
        case "shadow on patches":
            shades = [_over(page.card_box, rng, rng.uniform(0.7, 0.85))]
        case "shadow on grey":
            shades = [_over(page.grey_box, rng, rng.uniform(0.7, 0.88))]
        case "shadow on cells":
            spoilt, shade = _over_cells(page, rng)
            shades = [shade]
        case "wrong grey":
            told = {5: (0.18,), 1: ((0.5,), (0.36,), (0.9, 0.18))[rng.integers(3)]}[len(steps)]
    taken = scene(laid_on, dict(enumerate(spectra)), steps, card)
    laid = taken.laid if rng.random() < 0.7 else [_glossier(thing, rng) for thing in taken.laid]
    taken = printed(replace(taken, laid=laid, shades=shades), seed)
    camera = replace(camera, **change)
    options: dict[str, Any] = {"grey": told or None, "card": card}
    options["lit_by"] = "" if camera.second else SAID[camera.light]
    if fault == "undyed":
        options["anchor"] = "undyed"
    return Taken(camera, taken, options, lab_d65(spectra), spoilt)


def _glossier(thing: Laid, rng: np.random.Generator) -> Laid:
    """A card that is 1 % off what it is said to be."""
    return thing if thing.cloth else replace(thing, spectrum=thing.spectrum * rng.normal(1, 0.01))


def _over(box: tuple[float, float, float, float], rng: np.random.Generator, light: float) -> Shade:
    """A soft shadow over part of a box."""
    left, top, width, height = box
    part, slant = rng.uniform(0.3, 0.9) * width, rng.uniform(-8, 8)
    corners = [[left - 30, top - 4], [left + part + slant, top - 4]]
    corners += [[left + part - slant, top + height + 4], [left - 30, top + height + 4]]
    if rng.random() < 0.5:
        corners = [[2 * left + width - x, y] for x, y in corners]
    return Shade(np.array(corners, dtype=float), light, rng.uniform(1.5, 5))


def _over_cells(page: Page, rng: np.random.Generator) -> tuple[tuple[int, ...], Shade]:
    """A shadow over two cells side by side, and which cells it touches."""
    first = int(rng.integers(0, len(page.cells) - 1))
    low, high = page.cells[first].min(axis=0) - 6, page.cells[first].max(axis=0) + np.array([14, 6])
    soft = rng.uniform(1, 3)
    near = 3 * soft + 2
    touched = np.flatnonzero(
        np.all(
            (page.cells.max(axis=1) > low - near) & (page.cells.min(axis=1) < high + near), axis=1
        )
    )
    corners = np.array([low, [high[0], low[1]], high, [low[0], high[1]]])
    return tuple(int(i) for i in touched), Shade(corners, rng.uniform(0.7, 0.85), soft)


def bound(cell: CellReading) -> float:
    """The ΔE2000 under which nine in ten lie, by the stated covariance."""
    root = metric(cell.lab[np.newaxis])[0] @ np.linalg.cholesky(cell.covariance + 1e-9 * np.eye(3))
    return float(np.quantile(np.linalg.norm(_DRAWS @ root.T, axis=1), 0.9))


def main(words: Sequence[str]) -> None:
    """Print the table."""
    develop = "--develop" in words
    first = 0 if develop else 90_000
    number = next((int(word) for word in words if word.isdigit()), 30)
    pooled: list[Array] = []
    print(f"{'scenes':<20}{'n':>4}{'refused':>9}{'kept %':>8}{'≤ bound %':>11}{'worst':>7}", end="")
    print(f"{'found':>7}{'worst':>7}{'stated':>8}{'÷ found':>9}")
    for fault in [fault for fault in FAULTS if fault in words] or list(FAULTS):
        said: Counter[str] = Counter()
        rows, kept, whole, refused = list[tuple[float, ...]](), 0, 0, 0
        for seed in range(first, first + number):
            taken = draw(fault, seed, CHOSEN_ON if develop else SENSORS)
            if "--untold" in words:
                del taken.options["lit_by"]
            try:
                read = examine(taken)
            except DyemixError as error:
                refused += 1
                said[f"{seed}: " + str(error).removeprefix("p.jpg: ")[:90]] += 1
                continue
            said["named"] += fault == "flare" and "veiling glare" in str(read)
            at = {label: i for i, label in enumerate(read.frame.labels)}
            for cell in read.cells:
                i = at[cell.label]
                if i >= len(taken.truth):
                    said[f"{seed}: cloth in the empty {cell.label}"] += 1
                elif cell.clipped is None:
                    sound = i not in taken.spoilt
                    whole, kept = whole + sound, kept + (sound and not cell.left_out)
                    if not cell.left_out:
                        off = float(delta_e(taken.truth[i], cell.lab))
                        rows.append((off, bound(cell), cell.error, seed))
                    elif sound:
                        said[cell.left_out[0].split(":")[0]] += 1
        found = np.array(rows).reshape(-1, 4)
        pooled.append(found)
        line(fault, number, refused, 100 * kept / max(whole, 1), found)
        for sentence, times in said.items():
            if times:
                print(f"      {times} × {sentence}")
    line("all", 0, 0, np.nan, np.concatenate(pooled))


def examine(taken: Taken) -> PhotoReading:
    """Photograph a scene and read it as its options say. Raises `DyemixError`."""
    options = dict(taken.options)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        options["card"] = write_reference(folder / "card.csv") if options["card"] else None
        if "anchor" in options:
            options["cells"] = folder / "c.csv"
            options["cells"].write_text("cell,recipe\nA1,undyed\n")
        photo = taken.camera.save(taken.scene, folder / "p.jpg")
        return examine_photo(photo, PhotoOptions(**options))


def line(name: str, number: int, refused: int, kept: float, found: Array) -> None:
    print(f"{name:<20}{number:4d}{refused:9d}{kept:8.0f}", end="")
    if len(found):
        miss, bounds, stated, seed = found.T
        worst = int(np.argmax(miss / bounds))
        rms, told = np.sqrt(np.mean(miss**2)), np.sqrt(np.mean(stated**2))
        print(
            f"{100 * np.mean(miss <= bounds):11.1f}{(miss / bounds)[worst]:7.2f}{miss.mean():7.1f}"
            f"{miss.max():7.1f}{told:8.1f}{told / rms:9.2f}"
            f"  (scene {seed[worst]:.0f})"
        )
    else:
        print()


if __name__ == "__main__":
    main(sys.argv[1:])
