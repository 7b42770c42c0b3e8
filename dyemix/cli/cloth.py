"""Mottled cloth: a piece in figures, pieces side by side, and how a mix may split."""

from __future__ import annotations

from pathlib import Path

from dyemix import console
from dyemix.cli import shared
from dyemix.cli.options import command, given


@command("PHOTO...", "recipe! alkali names outline every-pixel output shelf measures photo answer")
def levelness(
    photo: tuple[str, ...], recipe: str, alkali: str | None, names: Path | None,
    outline: str | None, every_pixel: bool, output: Path | None,
) -> None:  # fmt: skip
    """Say in figures how mottled a piece is.

    PHOTO shows it beside the printed page, with the cards and an undyed square on the page (name
    its cell in a table, --names). Several PHOTOs of one recipe are set side by side; then --alkali
    names the order of each, as 'presoak, with, after'. In place of a PHOTO, an --output of one.
    """
    from dyemix.cloth.compare import compare_pieces, read_pieces
    from dyemix.cloth.levelness import pieces_json

    dyes, options = shared.dyes(), shared.photo(names)
    given("inputs").extend(map(Path, photo))
    asked = shared.recipe(recipe, dyes)
    with console.waiting("Reading the cloth"):
        pieces = read_pieces(dyes, photo, asked, alkali or "", options, outline, every_pixel)
    shared.write(output, pieces_json(pieces))
    shared.show(pieces[0] if len(pieces) == 1 else compare_pieces(pieces))
    if output is not None and str(output) != "-":
        saved = ("--alkali", pieces[0].order or "with", "--analysed", str(output))
        shared.then("How another mix may split", "preview", shared.amounts(asked), *saved)


@command("RECIPE...", "alkali analysed shelf measures answer")
def preview(recipe: tuple[str, ...], alkali: str | None, analysed: tuple[str, ...]) -> None:
    """Show how a mix may split into its dyes.

    Each RECIPE as a patch of simulated cloth, its shades and figures, to choose among recipes. From
    your own --analysed pieces where they hold its dyes; else from figures that illustrate only.
    """
    from dyemix.bench.method import dyed_as
    from dyemix.cloth.levelness import saved_pieces
    from dyemix.cloth.preview import preview

    dyes = shared.dyes()
    order = alkali or str(dyed_as(dyes.conditions)[0].get("alkali", "with"))
    pieces = [piece for file in analysed for piece in saved_pieces(file)]
    asked = [shared.recipe(words, dyes) for words in recipe]
    shared.show(preview(dyes, *asked, order=order, pieces=pieces))
