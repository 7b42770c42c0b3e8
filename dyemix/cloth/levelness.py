"""One piece of mottled cloth in figures, each with its error."""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.cloth.amounts import Single, Unmixer
from dyemix.cloth.doubt import Doubt, worlds
from dyemix.cloth.figures import (
    BLOCK_MM,
    MAIN,
    SIDES_MM,
    Blocks,
    Figure,
    Shade,
    blocks,
    difference,
    main_figures,
    mottle_scale,
    palette,
    palette_text,
    path,
)
from dyemix.cloth.mottle import ILLUSTRATIVE, Mottle
from dyemix.cloth.photographed import Photographed, read_piece
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.result import DEMO_WARNING, Result, Row
from dyemix.dataset.serialise import Shape, as_json, from_json, to_json
from dyemix.errors import Fault, InputError
from dyemix.files.cells import read_text
from dyemix.model.dyes import DyeSet
from dyemix.photo import PhotoOptions, examine_photo

#: Nine times in ten a normal error is within so many standard deviations.
NINE_IN_TEN = 1.645
#: What is left of a camera's error in amounts where it photographed the squares as well (a working
#: value, found on the simulated cameras).
SHARED = 0.25
_SAME_CAMERA = "The squares were photographed: by this camera, it is taken, or amounts are off."
_SHADING = (
    "Folds and shadows look like depth of dye, and cannot be told from it: iron the piece, lay it "
    "flat, light it evenly."
)


@dataclass(frozen=True)
class DyeInPiece:
    """How much of a dye a piece holds.

    `mean` % owf over the piece and its 90 % `error`; `block_error`, the median 90 % error of 2 mm
    blocks that hold over a tenth of the dose, as a share; `deeper`, the percent of the piece that
    holds more than the deepest swatch of it.
    """

    dye: str
    dose: float
    mean: float
    error: float
    block_error: float
    deeper: float


@dataclass(frozen=True, eq=False)
class Maps:
    """The piece itself: cells, its 2 mm blocks, and their errors.

    `some` ``(M,)`` are the blocks whose amounts
    have an error ``(M, k)``, 90 %, as shares of the dose: all of them up to a few thousand.
    """

    unmixer: Unmixer
    cells: Photographed
    blocks: Blocks
    some: NDArray[np.intp]
    error: Array

    @cached_property
    def recoloured(self) -> Single:
        """Responses ``(H, W, 3)`` of level cloth of the amounts of each cell."""
        return np.array([self.unmixer.responses(row) for row in self.cells.amounts], np.float32)


@dataclass(frozen=True, eq=False)
class Levelness(Result):
    """A mottled piece in figures.

    Attributes
    ----------
    name : of the photograph.
    order : when the alkali went in; empty where nobody said.
    dyes : how much of each it holds, in the order of the recipe.
    figures : each with its error and block size; `figure` finds one by name.
    palette : its shades, the largest first.
    mottle : how depth and dyes vary over it, for `preview`.
    draws : ``(W, 6)`` how far the main figures move in each of W worlds of what is not known; the
        same worlds for every piece of the same dyes, so that common errors cancel in a comparison.
    camera : ``(3, F)`` of the camera's matrix: pieces are compared by one camera only.
    warnings : what is doubtful.
    maps : the piece itself; None for one that was kept.
    """

    name: str
    recipe: Recipe
    order: str
    dyes: tuple[DyeInPiece, ...]
    figures: tuple[Figure, ...]
    palette: tuple[Shade, ...]
    mottle: Mottle
    draws: Annotated[Array, Shape("W", 6)]
    camera: Annotated[Array, Shape(3, "F")]
    warnings: tuple[str, ...] = ()
    demo: bool = False
    maps: Maps | None = None

    def figure(self, name: str) -> Figure:
        """The first figure of that name."""
        return next(figure for figure in self.figures if figure.name == name)

    def to_json(self) -> str:
        """All but the maps, as `dyemix.dataset.serialise.from_json` reads it."""
        return to_json(replace(self, maps=None), DEMO_WARNING if self.demo else "")

    def _rows(self) -> Iterable[Row]:
        return [vars(figure) for figure in self.figures]

    def __str__(self) -> str:
        order = f", alkali: {self.order}" if self.order else ""
        lines = [DEMO_WARNING] if self.demo else []
        lines.append(f"{self.name}: {self.recipe} (% owf){order}")
        for figure in self.figures:
            lines.append(f"  {figure.name:<24} {figure!s:<18} {figure.block_mm:.1f} mm blocks")
        lines.append("Palette (D65/2°), and times the dose in it:")
        lines += [f"  {line}" for line in palette_text(self.palette, [d.dye for d in self.dyes])]
        lines.append("Amounts, % owf over the piece; error of one 2 mm block:")
        for d in self.dyes:
            lines.append(
                f"  {d.dye:<14} {d.mean:.2f} ± {d.error:.2f} of {d.dose:g}; block ± "
                f"{100 * d.block_error:.0f} %"
            )
        return "\n".join([*lines, *(f"- {note}" for note in self.warnings)])


def levelness(
    dyes: DyeSet,
    photo: str | os.PathLike[str],
    recipe: Mapping[str, float] | str,
    *,
    order: str = "",
    options: PhotoOptions | None = None,
    piece: Array | None = None,
    cell_mm: float = 0.5,
    every_pixel: bool = False,
) -> Levelness:
    """Analyse a piece that was photographed beside the photo page.

    Parameters
    ----------
    dyes : fitted on this cloth; at their best from squares that this camera photographed.
    photo : the picture: the page with the cards and an undyed square, and beside it the piece.
    recipe : what it was dyed by, % owf.
    order : when the alkali went in: presoak, with or after.
    options : how the page is read.
    piece : corners or outline ``(P, 2)`` in pixels; looked for by default.
    cell_mm : side of the cells whose mean colour becomes amounts.
    every_pixel : turn every pixel into amounts, and average those.

    Raises
    ------
    InputError
        For a picture or page that cannot be read, or no piece beside it.
    RecipeError
        For dyes that the shelf does not have, or an undyed recipe.

    >>> levelness(dyes, "piece.jpg", "lemon 0.8 + rose 0.5", order="after")
    Traceback (most recent call last):
    InputError: piece.jpg: there is no such file.
    """
    if not 0.2 <= cell_mm <= BLOCK_MM / 2:
        raise InputError(Fault(f"cells of {cell_mm:g} mm: 0.2 to {BLOCK_MM / 2:g} mm are of use."))
    if order and order not in ILLUSTRATIVE:
        known = ", ".join(ILLUSTRATIVE)
        raise InputError(Fault(f"alkali {order!r} is unknown: use {known}."))
    asked = Recipe.parse(recipe)
    unmixer = Unmixer(dyes, asked)
    seen = examine_photo(photo, options)
    cells = read_piece(seen, unmixer, piece, cell_mm, every_pixel)
    told, notes = seen.characterisation, seen.characterisation.warnings
    same = dyes.conditions.get("geometry") == "photograph"
    if same:
        notes += (_SAME_CAMERA,)
    doubt = Doubt(cells.camera, cells.anchored, SHARED if same else 1.0, notes)
    name = seen.photograph.file
    found = analyse(unmixer, cells, doubt, name=name, recipe=asked, order=order)
    return replace(found, camera=told.matrix.coefficients)


def analyse(
    unmixer: Unmixer, cells: Photographed, doubt: Doubt, *, name: str, recipe: Recipe, order: str
) -> Levelness:
    """The figures of a piece in cells."""
    dose, dyes = unmixer.dose, unmixer.dyes
    relative: NDArray[Any] = cells.amounts / dose.astype(np.float32)
    sizes = {side: max(1, round(side / cells.cell_mm)) for side in SIDES_MM}
    by_size = {n: blocks(cells.inside, relative, cells.responses, n) for n in sizes.values()}
    main = by_size[sizes[BLOCK_MM]]
    values = main_figures(main.relative, main.responses, path(unmixer)[1])
    world = worlds(unmixer, main, doubt)
    sd = np.sqrt((world.draws**2).mean(axis=0))
    block_mm = sizes[BLOCK_MM] * cells.cell_mm
    figures = [
        Figure(name, float(value), float(NINE_IN_TEN * error), unit, block_mm)
        for (name, unit), value, error in zip(MAIN, values, sd, strict=True)
    ]
    for n in sizes.values():
        if len(by_size[n].relative) >= 12:
            apart = difference(by_size[n].responses)
            error = NINE_IN_TEN * world.difference * apart
            figures.append(Figure("ΔE2000 from the mean", apart, error, "", n * cells.cell_mm))
    scale, fine = mottle_scale(main, block_mm), len(main.relative) * block_mm**2
    if np.isfinite(scale):
        # A field of N patches of its own size tells its range to about 1/√N (rule of thumb).
        error = NINE_IN_TEN * scale * min(1.0, 2.0 * scale / np.sqrt(fine))
        figures.append(Figure("scale of the mottle", scale, error, "mm", block_mm))
    deeper = 100.0 * (main.relative * dose > dyes.deepest).mean(axis=0)
    mean = main.relative.mean(axis=0)
    held = [
        DyeInPiece(dye, *(float(x) for x in row))
        for dye, *row in zip(
            dyes.names, dose, mean * dose, NINE_IN_TEN * world.mean * dose,
            world.typical(main.relative), deeper, strict=True,
        )
    ]  # fmt: skip
    notes = [*cells.warnings, *doubt.words, _SHADING]
    if len(dose) > 3:
        notes.append(
            f"Three responses fix three dyes at most: of these {len(dose)} the recipe's ratios "
            "decide what the colours leave open."
        )
    out = 100.0 * float(cells.missed[cells.inside].mean())
    if out >= 0.5:
        notes.append(f"{out:.0f} % of the piece has colours that no amounts of these dyes give.")
    for d in held:
        if d.deeper >= 1.0:
            notes.append(
                f"{d.deeper:.0f} % of the piece holds more {d.dye} than your deepest square of it: "
                "dye a deeper one."
            )
    return Levelness(
        name, recipe, order, tuple(held), tuple(figures),
        palette(main.relative, main.responses),
        Mottle.of(dyes.names, main, scale),
        world.draws, np.zeros((3, 3)), tuple(notes), dyes.demo,
        Maps(unmixer, cells, main, world.some, NINE_IN_TEN * world.blocks),
    )  # fmt: skip


def pieces_json(pieces: Sequence[Levelness]) -> str:
    """Analysed pieces as one JSON file, without their maps."""
    return as_json([json.loads(piece.to_json()) for piece in pieces]) + "\n"


def saved_pieces(path: str | os.PathLike[str]) -> list[Levelness]:
    """The pieces of such a file. Raises `InputError` where it cannot be read, `SavedError`."""
    text, _ = read_text(path)
    try:
        content = json.loads(text)
    except ValueError:
        content = None
    if not isinstance(content, list) or not content:
        raise InputError(Fault("no analysed piece: 'dyemix levelness … -o' writes one.", str(path)))
    return [from_json(Levelness, json.dumps(each)) for each in content]
