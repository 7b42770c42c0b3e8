"""Pieces of mottled cloth in figures, each with its error; and the pieces of one experiment side by
side: which differences exceed their error.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Annotated, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.cloth.amounts import Unmixer
from dyemix.cloth.doubt import NINE_IN_TEN, WORLDS, stated_error, worlds
from dyemix.cloth.figures import BLOCK_MM, SIDES_MM, Alkali, Blocks, Figure, Mottle, Shade
from dyemix.cloth.photographed import Photographed, read_piece
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.result import Result, Row, Several
from dyemix.dataset.serialise import from_plain
from dyemix.errors import Fault, InputError, refuse, said
from dyemix.files.cells import read_text
from dyemix.model.dyes import DyeSet
from dyemix.photo import PhotoOptions, examine_photo
from dyemix.photo.decode import Photograph
from dyemix.writing import Named

#: Matrices of one camera in one light differ by less than this share.
_ONE_CAMERA = 0.15


@dataclass(frozen=True)
class DyeInPiece:
    """How much of a dye a piece holds.

    `mean` % owf over the piece and its 90 % `error`; `block_error`, the median 90 % error of 2 mm
    blocks that hold over a tenth of the dose, as a share.
    """

    dye: str
    dose: float
    mean: float
    error: float
    block_error: float

    def __str__(self) -> str:
        block = f"block ± {100 * self.block_error:.0f} %"
        return f"{self.dye:<14} {self.mean:.2f} ± {self.error:.2f} of {self.dose:g}; {block}"


class Levelness(Result):
    """A mottled piece in figures.

    Attributes
    ----------
    name : of the photograph.
    order : when the alkali went in; empty where nobody said.
    dyes : how much of each it holds, in the order of the recipe.
    figures : each with its error and block size; `figure` finds one by name.
    palette : its shades, the largest first.
    mottle : how depth and dyes vary over it, for `preview`; None in a book of layout 6, which kept
        of it what previews are made from no more.
    draws : ``(W, 6)`` how far the main figures move in each of W worlds of what is not known; the
        same worlds for every piece of the same dyes, so that common errors cancel in a comparison.
    camera : ``(3, F)`` of the camera's matrix: pieces are compared by one camera only.
    warnings : what is doubtful.
    cells : the piece itself; None for one that was kept.
    """

    TOLD: ClassVar = (
        "name", "recipe", "order", "dyes", "figures", "palette", "mottle", "draws", "camera",
        "warnings", "demo",
    )  # fmt: skip

    name: str
    recipe: Recipe
    order: str
    dyes: tuple[DyeInPiece, ...]
    figures: tuple[Figure, ...]
    palette: tuple[Shade, ...]
    mottle: Mottle | None
    draws: Annotated[Array, WORLDS, 6]
    camera: Annotated[Array, 3, "F"]
    warnings: tuple[str, ...] = ()
    demo: bool = False
    cells: Photographed | None = None

    @property
    def title(self) -> str:
        """What heads it."""
        return f"Mottled piece {self.name}"

    @property
    def main(self) -> tuple[Figure, ...]:
        """Undyed share, unevenness, splitting and mean colour, of 2 mm blocks."""
        return self.figures[: self.draws.shape[1]]

    def figure(self, name: str) -> Figure:
        """The first figure of that name."""
        return next(figure for figure in self.figures if figure.name == name)

    def _rows(self) -> Iterable[Row]:
        return [vars(figure) for figure in self.figures]

    def _lines(self) -> Iterable[str]:
        order = f", alkali: {self.order}" if self.order else ""
        yield f"{self.name}: {self.recipe} (% owf){order}"
        for figure in self.figures:
            yield f"  {figure.name:<24} {figure!s:<18} {figure.block_mm:.1f} mm blocks"
        yield "Palette (D65/2°), and times the dose in it:"
        yield from (f"  {shade}" for shade in self.palette)
        yield "Amounts, % owf over the piece; error of one 2 mm block:"
        yield from (f"  {dye}" for dye in self.dyes)
        yield from (f"- {note}" for note in self.warnings)


def levelness(
    dyes: DyeSet, photo: Named | Photograph, recipe: Mapping[str, float] | str, *,
    order: str = "", options: PhotoOptions | None = None, piece: Array | str | None = None,
    every_pixel: bool = False,
) -> Levelness:  # fmt: skip
    """Analyse a piece that was photographed beside the photo page.

    Parameters
    ----------
    dyes : fitted on this cloth; at their best from squares that this camera photographed.
    photo : the picture, a file or decoded: the page with the cards and an undyed square, and beside
        it the piece.
    recipe : what it was dyed by, % owf.
    order : when the alkali went in: presoak, with or after.
    options : how the page is read.
    piece : corners ``(P, 2)`` in pixels, or as text '120,80 900,90 890,700'; looked for by default.
    every_pixel : turn every pixel into amounts, and average those; by default cells of 0.5 mm.

    Raises
    ------
    InputError
        For a picture or page that cannot be read, or no piece beside it.
    DyemixError
        For an order that is none; `RecipeError` for dyes that the shelf does not have, or an
        undyed recipe.

    >>> levelness(dyes, "piece.jpg", "lemon 0.8 + rose 0.5", order="after")
    Traceback (most recent call last):
    InputError: piece.jpg: there is no such file.
    """
    order, unmixer = order and Alkali(order).value, Unmixer(dyes, recipe)
    return analyse(read_piece(examine_photo(photo, options), unmixer, piece, every_pixel), order)


def analyse(cells: Photographed, order: str = "") -> Levelness:
    """The figures of a piece in cells."""
    unmixer, dyes = cells.unmixer, cells.unmixer.dyes
    relative: NDArray[Any] = cells.amounts / unmixer.dose.astype(np.float32)
    by_side = {
        side: Blocks.of(cells.inside, relative, cells.responses, cells.cell_mm, side)
        for side in SIDES_MM
    }
    main = by_side[BLOCK_MM]
    world = worlds(cells, main)
    figures = main.figures(unmixer, world.error)
    for found in by_side.values():
        if len(found.relative) >= 12:
            apart = found.difference()
            error = world.difference * apart
            figures.append(Figure("ΔE2000 from the mean", apart, error, "", found.side_mm))
    if np.isfinite(scale := main.scale()):
        # A field of N patches of its own size tells its range to about 1/√N (rule of thumb).
        across = main.side_mm * np.sqrt(len(main.relative))
        error = float(NINE_IN_TEN * scale * min(1.0, 2.0 * scale / across))
        figures.append(Figure("scale of the mottle", scale, error, "mm", main.side_mm))
    columns = unmixer.dose * [np.ones_like(world.mean), main.relative.mean(axis=0), world.mean]
    rows = zip(dyes.names, *columns.tolist(), world.typical(main.relative).tolist(), strict=True)
    notes = [*cells.warnings, said("cloth.shading")]
    if len(dyes.names) > 3:
        notes.append(said("cloth.many_dyes", count=len(dyes.names)))
    if (share := 100.0 * float(cells.missed[cells.inside].mean())) >= 0.5:
        notes.append(said("cloth.out_of_reach", share=share))
    deeper = 100.0 * (main.relative * unmixer.dose > dyes.deepest).mean(axis=0)
    for dye, share in zip(dyes.names, deeper, strict=True):
        if share >= 1.0:
            notes.append(said("cloth.deeper", share=share, dye=dye))
    return Levelness(
        cells.name, unmixer.recipe, order, tuple(DyeInPiece(*row) for row in rows), tuple(figures),
        main.palette(unmixer, main.responses), Mottle.of(dyes.names, main), world.draws,
        cells.matrix, tuple(notes), dyes.demo, cells,
    )  # fmt: skip


def saved_pieces(path: Named) -> list[Levelness]:
    """The pieces of an --output. Raises `InputError` where it cannot be read, `SavedError`."""
    text, _ = read_text(path)
    try:
        content = json.loads(text)
    except (ValueError, RecursionError):
        content = None
    if not isinstance(content, list) or not content:
        raise InputError(Fault("no analysed piece: 'dyemix levelness … -o' writes one.", str(path)))
    return [from_plain(Levelness, each) for each in content]


class PieceComparison(Several[Levelness]):
    """Pieces of one recipe.

    Attributes
    ----------
    pieces : as given.
    differences : of each pair of pieces, what differs by more than its error: a sentence each.
    warnings : what is doubtful about comparing them, and of single pieces but not of all alike.
    """

    HELD: ClassVar = "pieces"
    title: ClassVar = "Mottled pieces side by side"

    pieces: tuple[Levelness, ...]
    differences: tuple[str, ...]
    warnings: tuple[str, ...]

    def _rows(self) -> Iterable[Row]:
        for piece in self:
            row: dict[str, object] = {"piece": piece.name, "alkali": piece.order}
            for figure in piece.main:
                row |= {figure.name: figure.value, f"{figure.name} ±": figure.error}
            yield row

    def _lines(self) -> Iterable[str]:
        """Pieces numbered, and their figures in a column each."""
        yield f"{self[0].recipe}  (% owf)"
        yield from (f"  {i}: {piece.name}  {piece.order}" for i, piece in enumerate(self, start=1))
        columns = "".join(f"{i:>18}" for i in range(1, len(self) + 1))
        yield f"{BLOCK_MM:g} mm blocks".ljust(14) + columns
        for row in zip(*(piece.main for piece in self), strict=True):
            yield f"{row[0].name:<14}" + "".join(f"{figure!s:>18}" for figure in row)
        yield from self.differences or ("No difference exceeds its error.",)
        yield from (f"- {note}" for note in self.warnings)


def compare_pieces(pieces: Sequence[Levelness]) -> PieceComparison:
    """Set analysed pieces of one recipe side by side.

    What is wrong with camera and dyes is wrong with each of them alike, so the error of a
    difference is that of the difference in each world. Raises `DyemixError` for pieces of several
    recipes, or fewer than two.
    """
    refuse(len(pieces) < 2, "two pieces or more are compared.")
    recipes = sorted({str(piece.recipe) for piece in pieces})
    refuse(len(recipes) > 1, "cloth.recipes", " and ".join(recipes))
    found = []
    for one, other in combinations(pieces, 2):
        errors = stated_error(one.draws - other.draws)
        beyond = []
        for before, after, error in zip(one.main, other.main, errors, strict=True):
            by, unit = after.value - before.value, after.unit.replace("%", "points")
            change = replace(after, value=by, error=float(error), unit=unit)
            if abs(change.value) > error:
                beyond.append(f"{change.name} {'+' if change.value > 0 else ''}{change}")
        if beyond:
            words = [f"{piece.order} {piece.name}".strip() for piece in (one, other)]
            found.append(f"From {words[0]} to {words[1]}: {', '.join(beyond)}.")
    notes, first = [said("cloth.sisters"), said("cloth.one_camera")], pieces[0].camera
    common = set.intersection(*(set(piece.warnings) for piece in pieces))
    notes += [f"{p.name}: {note}" for p in pieces for note in p.warnings if note not in common]
    for piece in pieces[1:]:
        alike = piece.camera.shape == first.shape
        if not alike or np.abs(piece.camera - first).max() > _ONE_CAMERA * np.abs(first).max():
            notes.append(said("cloth.other_camera", name=piece.name))
    return PieceComparison(tuple(pieces), tuple(found), tuple(notes))


def read_pieces(
    dyes: DyeSet, files: Sequence[str], recipe: Recipe, orders: str, **how: Any
) -> list[Levelness]:
    """Analyse photographs of pieces of one recipe, or take up what was saved of them (.json).

    `orders` is when the alkali went in, for all or one by one, as ``"presoak, with, after"``; `how`
    as for `levelness`. Raises `InputError` for what cannot be read, and for orders that are not one
    a photograph.
    """
    photos = [file for file in files if not file.lower().endswith(".json")]
    words = [word.strip() for word in orders.split(",")]
    if len(words) == 1:
        words *= len(photos)
    counted = {"orders": len(words), "photos": len(photos)}
    refuse(len(words) != len(photos), "cloth.orders", **counted, error=InputError)
    found, order_of = list[Levelness](), iter(words)
    for file in files:
        if file in photos:
            found.append(levelness(dyes, file, recipe, order=next(order_of), **how))
        else:
            found += saved_pieces(file)
    return found
