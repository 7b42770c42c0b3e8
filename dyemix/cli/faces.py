"""Answers to look at: the page at the bench, a report to keep, mottled cloth and its preview."""

from importlib.resources import files
from pathlib import Path
from typing import Any

from click import get_current_context

import dyemix
from dyemix import console
from dyemix.cli import next_steps, shared
from dyemix.cli.options import given, given_only, misused


def web(**how: Any) -> None:
    """Open the page at the bench in a browser.

    It runs on this machine alone, until Ctrl-C. With --book jobs and trials are kept there.
    """
    from dyemix.page import serve

    serve(shared.dyes(), given("book"), given("used method") or "", **given_only(how))


def report(
    recipe: str | None, output: Path, aim: Any, reading: Any, analysed: tuple[str, ...]
) -> None:
    """Write one page to keep, or to hand on: pictures, tables, conditions, cautions, versions.

    Of the fitted dyes; with a --target, of a match too; with a RECIPE, --target and --reading, of a
    trial; with a --job of the --book, of all that is kept of it; of --analysed pieces of cloth.
    """
    from dyemix.cloth.levelness import compare_pieces
    from dyemix.report import report as page

    dyes, job = shared.dyes(recipe or ""), given("job")
    results: list[Any] = [dyes]
    if job is not None:
        record = shared.open_book().job(job)
        told = (kept.trial for kept in record.trials if kept.trial.target)
        results += [record, *(dyemix.correct(dyes, trial) for trial in told)]
    elif recipe is not None:
        misused(None in (aim, reading), "usage.report")
        dyed = shared.recipe(recipe, dyes)
        piece = shared.piece(reading, dyes.light, dyed)
        results.append(dyemix.correct(dyes, dyemix.Trial(dyed, piece, shared.target(aim))))
    elif aim is not None:
        results.append(dyemix.match(dyes, shared.target(aim)))
    pieces = shared.pieces(analysed, job or "")
    comparable = len(pieces) > 1 and len({piece.recipe for piece in pieces}) == 1
    results += [*pieces, *([compare_pieces(pieces)] if comparable else [])]
    shared.write(output, page(*results, title=f"Job: {job}" if job else ""))


def levelness(
    photo: tuple[str, ...], recipe: str, alkali: str | None, names: Path | None,
    outline: str | None, every_pixel: bool, output: Path | None,
) -> None:  # fmt: skip
    """Say in figures how mottled a piece is.

    PHOTO shows it beside the printed page, with the cards and an undyed square on the page (name
    its cell in a table, --names). Several PHOTOs of one recipe are set side by side; then --alkali
    names the order of each, as 'presoak, with, after'. In place of a PHOTO, an --output of one. The
    --book keeps them under a --job, and rests `preview` on them.
    """
    from dyemix.cloth.levelness import compare_pieces, read_pieces
    from dyemix.dataset.serialise import as_json

    dyes, options = shared.dyes(), shared.photo(names)
    given("inputs").extend(map(Path, photo))
    asked = shared.recipe(recipe, dyes)
    with console.waiting("Reading the cloth"):
        how = {"options": options, "piece": outline, "every_pixel": every_pixel}
        pieces = read_pieces(dyes, photo, asked, alkali or "", **how)
    shared.write(output, as_json(pieces) + "\n")
    if given("job") is not None:
        shared.open_book().add_pieces(pieces, given("job"), given("method") or "")
    shared.show(pieces[0] if len(pieces) == 1 else compare_pieces(pieces))
    if output is not None and str(output) != "-":
        saved = ("--alkali", pieces[0].order or "with", "--analysed", str(output))
        next_steps.then("How another mix may split", "preview", next_steps.amounts(asked), *saved)


def preview(recipe: tuple[str, ...], alkali: str | None, analysed: tuple[str, ...]) -> None:
    """Show how a mix may split into its dyes.

    Each RECIPE as a patch of simulated cloth, its shades and figures, to choose among recipes. From
    your own pieces, --analysed or in the --book, that hold its dyes; else from figures that
    illustrate only.
    """
    from dyemix.cloth.preview import preview

    dyes = shared.dyes()
    order = alkali or shared.alkali(dyes)[0]
    asked = [shared.recipe(words, dyes) for words in recipe]
    how = {"order": order, "pieces": shared.pieces(analysed), "light": dyes.light}
    shared.show(preview(dyes, *asked, **how))


def explain(topic: tuple[str, ...]) -> None:
    """Say what a command does, or what tables hold.

    TOPIC is a command, as match or series tint, or tables.
    """
    if topic == ("tables",):
        shared.say(files("dyemix").joinpath("data", "tables.txt").read_text("utf-8").rstrip())
        return
    command = get_current_context().find_root().command
    with command.make_context("dyemix", [*topic, "--help"]) as context:
        command.invoke(context)
