"""The pieces of one experiment side by side: which differences exceed their error."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from dyemix.cloth.figures import MAIN
from dyemix.cloth.levelness import NINE_IN_TEN, Levelness, levelness, saved_pieces
from dyemix.cloth.photographed import read_outline
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.result import Result, Row
from dyemix.errors import DyemixError, Fault, InputError
from dyemix.model.dyes import DyeSet
from dyemix.photo import PhotoOptions

#: Sister pieces, dyed alike, differ by so much of undyed share (found on simulated strikes).
SISTERS = "1 to 3 points"
#: Matrices of one camera in one light differ by less than this share.
_ONE_CAMERA = 0.15


@dataclass(frozen=True, eq=False)
class PieceComparison(Result):
    """Pieces of one recipe.

    Attributes
    ----------
    pieces : as given.
    differences : of each pair of pieces, what differs by more than its error: a sentence each.
    warnings : what is doubtful about comparing them.
    """

    pieces: tuple[Levelness, ...]
    differences: tuple[str, ...]
    warnings: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.pieces)

    def __iter__(self) -> Iterator[Levelness]:
        return iter(self.pieces)

    def _rows(self) -> Iterable[Row]:
        for piece in self.pieces:
            row: dict[str, object] = {"piece": piece.name, "alkali": piece.order}
            for name, _ in MAIN:
                figure = piece.figure(name)
                row |= {name: figure.value, f"{name} ±": figure.error}
            yield row

    def __str__(self) -> str:
        names = [name for name, _ in MAIN]
        lines = [f"{self.pieces[0].recipe}  (% owf)", " " * 30 + "".join(f"{n:>16}" for n in names)]
        for piece in self.pieces:
            title = f"{piece.order or '–':<9} {piece.name}"[:30]
            values = "".join(f"{piece.figure(n)!s:>16}" for n in names)
            lines.append(f"{title:<30}{values}")
        lines += self.differences or ("No difference exceeds its error.",)
        return "\n".join([*lines, *(f"- {note}" for note in self.warnings)])


def compare_pieces(pieces: Sequence[Levelness]) -> PieceComparison:
    """Set analysed pieces of one recipe side by side.

    What is wrong with camera and dyes is wrong with each of them alike, so the error of a
    difference is that of the difference in each world. Raises `DyemixError` for pieces of several
    recipes, or fewer than two.
    """
    if len(pieces) < 2:
        raise DyemixError("two pieces or more are compared.")
    recipes = {piece.recipe for piece in pieces}
    if len(recipes) > 1:
        told = " and ".join(sorted(str(recipe) for recipe in recipes))
        raise DyemixError(f"pieces of one recipe are compared, not of {told}.")
    names = [name for name, _ in MAIN]
    values = [np.array([piece.figure(name).value for name in names]) for piece in pieces]
    found = []
    for i, j in combinations(range(len(pieces)), 2):
        one, other = pieces[i], pieces[j]
        paired = one.draws.shape == other.draws.shape
        apart = one.draws - other.draws if paired else np.concatenate([one.draws, other.draws])
        error = NINE_IN_TEN * np.sqrt((apart**2).mean(axis=0) * (1.0 if paired else 2.0))
        by = values[j] - values[i]
        beyond = [
            f"{name} {change:+.{1 if unit else 2}f} (error {sure:.{1 if unit else 2}f})"
            for (name, unit), change, sure in zip(MAIN, by, error, strict=True)
            if abs(change) > sure
        ]
        if beyond:
            words = [f"{piece.order} {piece.name}".strip() for piece in (one, other)]
            found.append(f"From {words[0]} to {words[1]}: {', '.join(beyond)}.")
    notes = [
        f"Sister pieces, dyed alike, differ by {SISTERS} of undyed share: an order is judged by "
        "repeats.",
        "One camera only: another moves the palette by 4 to 5 ΔE2000, more than a sister piece "
        "does.",
    ]
    first = pieces[0].camera
    for piece in pieces[1:]:
        camera = piece.camera
        alike = camera.shape == first.shape
        if not alike or np.abs(camera - first).max() > _ONE_CAMERA * np.abs(first).max():
            notes.append(f"{piece.name} looks as if another camera, or light, had taken it.")
    return PieceComparison(tuple(pieces), tuple(found), tuple(notes))


def read_pieces(
    dyes: DyeSet,
    files: Sequence[str],
    recipe: Recipe,
    orders: str,
    options: PhotoOptions,
    outline: str | None = None,
    every_pixel: bool = False,
) -> list[Levelness]:
    """Analyse photographs of pieces of one recipe, or take up what was saved of them (.json).

    `orders` is when the alkali went in, for all or one by one, as ``"presoak, with, after"``.
    Raises `InputError` for what cannot be read, and for orders that are not one a photograph.
    """
    words = [word.strip() for word in orders.split(",")]
    photos = [file for file in files if not str(file).lower().endswith(".json")]
    if len(words) > 1 and len(words) != len(photos):
        message = f"{len(words)} orders for {len(photos)} photographs: name one for each."
        raise InputError(Fault(message))
    order_of = dict(zip(photos, words * len(photos) if len(words) == 1 else words, strict=False))
    corners = None if outline is None else read_outline(outline)
    found: list[Levelness] = []
    for file in files:
        if file not in order_of:
            found += saved_pieces(file)
            continue
        order = order_of[file]
        found.append(
            levelness(
                dyes, file, recipe, order=order, options=options, piece=corners,
                every_pixel=every_pixel,
            )
        )  # fmt: skip
    return found
