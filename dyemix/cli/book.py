"""The command `dyemix book`: what a workshop keeps, in one file."""

from contextlib import suppress
from datetime import date
from itertools import chain
from pathlib import Path
from typing import Any

from click import get_current_context

import dyemix
from dyemix import console
from dyemix.cli import next_steps, shared
from dyemix.cli.options import given, given_only, misused
from dyemix.errors import FitError


def contents() -> None:
    """Say what the book holds."""
    shared.show(shared.open_book().contents())


def show(job: str | None) -> None:
    """Say everything that is kept under one JOB; without one, all that was done, day by day."""
    from dyemix.dyebook.past import record

    if job:
        shared.show(found := record(shared.open_book(), job))
        if any(kept.pictures for kept in found.trials):
            next_steps.then("Its photograph", "book", "picture", job, "-o", "piece.jpg")
        return
    misused(given("html"), "usage.page")
    events = shared.open_book().history()
    shared.show(events, "\n".join(f"{event.at}  {event.what}" for event in events))


def search(words: str) -> None:
    """Find WORDS in jobs, recipes, notes, standards, swatches and what was done."""
    found = shared.open_book().search(words)
    shared.show(found, "\n".join(map(": ".join, found)) or f"{words}: nowhere in this book.")


def add(table: Path, name: str | None, replace: str | None, borrow: str | None) -> None:
    """Add the swatches of a TABLE, in a new book if there is none.

    They are of the --method that they were dyed by, named anew where they were dyed as none
    before. Where that is another cloth with a square or two of each dye, they --borrow from another
    method.
    """
    from dyemix.fitting.slips import slips

    swatches = dyemix.read_swatches(table)
    shared.ask_for_light(swatches)
    for slip in slips(swatches):
        console.remark(str(slip))
    how = {"method": given("method"), "name": name, "replaces": replace, "borrows": borrow}
    kept = shared.open_book(create=True)
    method = kept.add_swatches(swatches, **given_only(how))
    shared.kept(str(method))
    shared.of_method(method)
    fitted = [m for m in kept.methods() if not m.borrows and _has_ladders(m)]
    lenders = [m.name for m in fitted if {*m.dyes} & {*method.dyes}]
    if lenders and not (method.borrows or _has_ladders(method)):
        again = ("book", "add", str(table), "--borrow", lenders[0])
        named = ("--name", name or table.name, "--replace", name or table.name)
        next_steps.then("Of one depth a dye on its own cloth, borrow the ladders", *again, *named)
    else:
        next_steps.then("To see how well it predicts", "fit")


def _has_ladders(method: Any) -> bool:
    """Whether a dye of a method has several depths of its own."""
    return any(len({s.recipe for s in method.held.ladder(dye)}) > 1 for dye in method.dyes)


def strike(swatch: str | None, reading: str | None, note: str | None) -> None:
    """Take a SWATCH out of use, by its name or recipe, or the last trial of a --job.

    Of a job with several, SWATCH is the recipe of the one meant. With --reading, that is its
    reading from now on. What stood there is kept, with the day and the --note why.
    """
    kept, job, named = shared.open_book(), given("job"), given("method") or ""
    misused(swatch is None and job is None, "usage.strike")
    method = kept.method(named, job=job) if job else kept.holding(swatch, named)
    new = None if reading is None else shared.piece(reading, method.held.light)
    why = note or "no reason given"
    if job:
        struck = kept.strike_trial(job, why, new, method.name, swatch or "")
    else:
        struck = kept.strike(swatch, why, new, method.name)
    console.remark(f"Struck: {'; '.join(struck)}")
    shared.kept(str(kept.method(method.name)))


def undo() -> None:
    """Take back what was done last in the book."""
    console.remark(f"Undone: {shared.open_book().undo()}")


def cloth(**what: str | None) -> None:
    """Add a cloth, or what is now known of one."""
    from dyemix.dyebook.records import Cloth

    _keep("add_cloth", Cloth(**given_only(what)))


def dye(name: str, day: date | None, **what: str | None) -> None:
    """Add a lot of dye powder, bought on --date."""
    from dyemix.dyebook.records import DyeLot

    _keep("add_dye", lot := DyeLot(name, bought=day, **given_only(what)))
    shared.doubt_names([lot.dye])


def recipe(recipe: str, aim: str | None, day: date | None, note: str | None) -> None:
    """Keep a RECIPE under a job."""
    wanted = shared.target(aim) if aim else None
    shared.open_book()  # whose stock and cloth the recipe may be told in
    meant = shared.recipe(recipe)
    _keep("add_recipe", given("job"), meant, wanted, note or "", day)


def stocks(table: Path) -> None:
    """Add the stock bottles of a TABLE.

    Its columns are dye and stock_pct; if known made, cold, lot, how, left_ml.
    """
    from dyemix.bench.stock import read_stocks

    _keep("add_stocks", *(bottles := read_stocks(table)))
    shared.doubt_names(bottle.dye for bottle in bottles)


def _keep(what: str, *values: Any) -> None:
    """Keep something in the book, and say what it holds then."""
    kept = shared.open_book()
    getattr(kept, what)(*values)
    shared.show(kept.contents())


def sign(name: str, piece: str, recipe: str | None, day: date | None, **what: Any) -> None:
    """Keep a signed swatch as the standard NAME.

    PIECE is told as --reading is.
    """
    kept = shared.open_book()
    meant = None if recipe is None else shared.recipe(recipe)
    reading = shared.piece(piece, dyemix.Light(), meant)
    kept.sign_off(name, reading, on=day, job=given("job") or "", **given_only(what))
    console.remark(f"Standard {kept.standard(name)}")


def near(colour: str, **how: Any) -> None:
    """Find past work near a COLOUR, told as --target is."""
    from dyemix.dyebook.past import near as find

    shared.show(find(shared.open_book(), shared.target(colour), **given_only(how)))


def repeat(job: str, keep: bool, **how: Any) -> None:
    """Write the bath sheets of a past JOB for other cloth, corrected by its last trial."""
    from dyemix.bench.stock import parse_stocks
    from dyemix.dyebook.past import repeat as again

    kept, dyes = shared.open_book(), None
    done = kept.job(job)
    wanted = done.wanted
    if given("stock"):
        works = (*done.recipes, *done.sheets, *(each.trial for each in done.trials))
        known = chain(*(each.dyes for each in kept.methods()), *(work.recipe for work in works))
        how["stocks"] = parse_stocks(given("stock"), dict.fromkeys(known))
    how["settings"] = shared.settings() if given("settings") else None
    if kept.methods():
        how["method"] = shared.of_method(kept.method(given("method") or "", job=job)).name
    how |= {"allow_demo": given("demo"), "cloth_g": given("cloth_g")}
    sheets = again(kept, job, **given_only(how))
    if keep:
        kept.add_sheets(*sheets, method=how.get("method", ""))
        shared.kept(job)
    over = None
    with suppress(FitError):  # a piece is repeated without fitted dyes too
        dyes = kept.dyes(how["method"]) if wanted and "method" in how else None
    get_current_context().meta["job"] = job
    for sheet in sheets:
        shared.show(sheet)
        if dyes is not None and wanted is not None:
            over = next_steps.trial(sheet.recipe, dyes, "", wanted.under(dyes.light), over)
            dyes = dyes.on(dyes.predict(sheet.recipe).reflectance)


def learn(keep: bool, half_life_days: float | None, lot: str | None) -> None:
    """Say what the trials of a method teach of its dyes.

    --lot is the one in use: trials of another count less, as old ones do by --half-life. With
    --keep, they weigh so for every later command.
    """
    kept = shared.open_book()
    name = kept.method(given("method") or "").name
    trials = [each.trial for each in kept.trials() if each.method == name]
    how = given_only({"half_life_days": half_life_days, "lot": lot})
    shared.show(dyemix.learn(kept.dyes(name, learnt=False), trials, **how))
    if keep:
        kept.weigh(name, half_life_days, lot)
        console.remark(f"Kept: trials of {name} weigh so from now on.")


def picture(job: str, output: Path) -> None:
    """Write the last photograph that is kept of a JOB, as JPEG."""
    pictures = shared.open_book().pictures(job)
    misused(not pictures, "usage.no_picture", job)
    shared.write(output, pictures[-1])


def backup(file: Path) -> None:
    """Copy the book to a new FILE, others writing or not."""
    shared.open_book().backup(file)
    console.remark(f"Written: {file}")


def export(folder: Path) -> None:
    """Write the whole book as CSV tables into a new FOLDER.

    The swatches of each method go into a table of their own, which --swatches takes.
    """
    for path in shared.open_book().export(folder):
        console.remark(f"Written: {path}")
