"""At the bench: the first swatches, baths, stocks, their figures; and readings to fitted dyes."""

from dataclasses import replace
from pathlib import Path
from typing import Any

from click import get_current_context

import dyemix
from dyemix import console
from dyemix.cli import next_steps, shared
from dyemix.cli.options import care, given, given_only, misused
from dyemix.errors import AmbiguousError, UnstatedError, said


def start(dyes: str, output: Path | None, **how: Any) -> None:
    """Plan the swatches of a first weekend.

    Of your DYES, as 'gold, scarlet, navy', each on 5 g of what --method says (10 g in low water),
    or --cloth. The --output is the swatch table to fill in; that TABLE instead of dyes shows the
    sheet again.
    """
    from dyemix.bench.plan import planned_again
    from dyemix.bench.stock import parse_stocks
    from dyemix.files import swatch_table
    from dyemix.files.cells import is_table

    if is_table(dyes):
        shared.show(planned_again(dyemix.read_swatches(dyes), shared.settings()))
        return
    misused((method := given("method")) is None, "usage.method")
    stocks = parse_stocks(given("stock")) if given("stock") else ()
    misused(any(bottle.dye for bottle in stocks) or len(stocks) > 1, "usage.strength")
    how |= {"swatch_g": given("cloth_g"), "stock_pct": stocks[0].strength_pct if stocks else None}
    how["settings"] = shared.settings()
    plan = dyemix.first_swatches(dyes, method, **given_only(how))
    shared.show(plan)
    if output is not None:
        shared.write(output, swatch_table(plan.table()))
        cloth = plan.sheets[0].cloth
        next_steps.shelf("Once it is filled in", output, method if method != cloth else "")
        page = str(output.with_name(f"{output.stem} page.pdf"))
        asked = ("photo-page", "-o", page, "--swatches", str(output))
        next_steps.then("No instrument? A page to photograph them on", *asked)


def bath(
    recipe: str, dry: bool, no_swatches: bool, aim: str | None, over: str | None, **one: Any
) -> None:
    """Write what to measure for a bath, or a day of them.

    RECIPE is in % of dry cloth weight, as 'marigold 0.8 + navy 0.25', or with --stock in mL and
    spoons of liquid stock.

    A table of JOBS (.csv) plans a day: stock to make, baths in order, cost a piece. Its columns are
    job, recipe, cloth_g; if wanted cloth, pieces, target, liquor ratio, alkali. With --cloth it is
    the recipes that 'match --targets' wrote.
    """
    from dyemix.bench.plan import read_jobs, read_recipes
    from dyemix.files.cells import is_table

    many = is_table(recipe)
    dyes = None if no_swatches else shared.dyes("" if many else recipe)
    wanted = shared.wanted(aim)
    if wanted is not None and dyes is not None:
        wanted = wanted.under(dyes.light)
    one = given_only({**one, "target": wanted, "second_bath": over and True})
    if dyes is not None and over is not None:
        dyes = dyes.over(shared.piece(over, dyes.light))
    book, own = shared.chosen(), shared.settings(dyes)
    how = {
        "stocks": shared.stocks(dyes), "wetted": not dry,
        "settings": replace(own, tolerance=shared.agreed(wanted, own.tolerance)),
        "dyes": dyes, "allow_demo": given("demo"),
    }  # fmt: skip
    if many:
        misused(one, "usage.jobs")
        cloth_g = given("cloth_g")
        jobs = read_recipes(recipe, cloth_g) if cloth_g else read_jobs(recipe)
        shared.show(plan := dyemix.bench_plan(jobs, **how))
        sheets, aims = plan.sheets, {job.job: job.target for job in jobs}
    else:
        if given("cloth_g") is None:
            raise AmbiguousError(said("usage.no_cloth"), UnstatedError.options)
        if dyes is not None and dyes.demo and not given("demo"):
            not_for = "this recipe comes from invented dyes and is not for dyeing; to see its sheet"
            raise AmbiguousError(not_for, [("--demo",)])
        sheet = dyemix.bath_sheet(recipe, given("cloth_g"), job=given("job") or "", **one, **how)
        if book and dyes is not None and wanted is not None and not over:
            from dyemix.dyebook.past import dyed_for, promised

            told = promised(dyed_for(book, dyes, wanted, given("used method")), sheet.recipe)
            sheet = replace(sheet, expect=told or sheet.expect)
        shared.show(sheet)
        sheets, aims = (sheet,), {sheet.job: wanted}
    if book and all(sheet.job for sheet in sheets):
        book.add_sheets(*sheets, method=given("method") or "", aims=aims)
        shared.kept(", ".join(sheet.job for sheet in sheets))
    dyed = next((sheet for sheet in sheets if sheet.recipe), None)  # of a day, the first of them
    if dyed and dyes is not None and (wanted is not None or book):
        get_current_context().meta["job"] = dyed.job
        next_steps.trial(dyed.recipe, dyes, aim or "", wanted, over)


def stock(dye: str, warm: bool, **how: Any) -> None:
    """Write how to make a stock of one DYE, with a label.

    500 mL of it, or --make.
    """
    from dyemix.bench.stock import Bottles, stated_stocks

    book, own = shared.chosen(), shared.settings()
    how |= {"cold": not warm, "settings": own}
    if how["strength_pct"] is None:
        kept, methods = (book.stocks(), book.methods()) if book else ((), ())
        stated = [stated_stocks(m.conditions, own) for m in methods if dye in m.dyes]
        known = [Bottles.of((*each, *kept), own) for each in stated] or [shared.bottles()]
        first, *others = sorted({bottles.of_dye(dye).strength_pct for bottles in known})
        if others:  # whichever is made is what every method is poured of
            options = [("--strength", f"{pct:g}") for pct in (first, *others)]
            raise AmbiguousError(said("usage.several_stocks", dye), options)
        how["strength_pct"] = first
    sheet = dyemix.stock_sheet(dye, **given_only(how))
    shared.show(sheet)
    if book:
        book.add_stocks(sheet.bottle)
        shared.kept(f"a bottle of {sheet.bottle.dye}.")
        shared.doubt_names([sheet.bottle.dye])


def figures(output: Path | None) -> None:
    """Print the figures that sheets rest on.

    Write them to a file, edit them, and give them back with --settings.
    """
    from dyemix.bench.settings import defaults_text

    if output is None:
        shared.say(defaults_text().rstrip())
        return
    shared.write(output, defaults_text())
    console.remark(f"Edit it, and give it as --settings {output}")


# Readings -----------------------------------------------------------------------------------------


def photo_page(output: Path, **how: Any) -> None:
    """Write a page to print, lay swatches on and photograph.

    The table of its cells goes beside it.
    """
    from dyemix.photo import write_photo_page

    laid = None if given("swatches") is None else dyemix.read_swatches(given("swatches"))
    page = write_photo_page(output, laid, **given_only(how), **care())
    shared.say(str(page))
    table = output.with_name(f"{output.stem} read.csv")
    photos = ("photo.jpg", "photo-2.jpg")[: len(page.pages)]
    asked = ("read", *photos, "--names", str(page.table), "-o", str(table))
    next_steps.then(f"Once photographed, as {' and '.join(photos)}", *asked, alone=True)


def read(file: tuple[Path, ...], output: Path, names: Path | None, light: Any) -> None:
    """Turn readings into a swatch table.

    Says what was understood, and what was not.

    FILE is an instrument's (ISO 28178 / CGATS.17 text, CxF3), a workbook (.xlsx), a table, or a
    photograph of swatches: on the printed page ('dyemix photo-page'), or with --grid.
    Several photographs, as of two pages, go into one table.
    """
    from dyemix.files import swatch_table
    from dyemix.photo import write_contact_sheet
    from dyemix.reading import convert

    given("inputs").extend(file)
    with console.waiting("Reading"):
        report = convert(file, names, shared.photo(names, light))
    picture, seen = given("draw"), report.photographs
    misused((picture or light) and not seen, "usage.no_photo", file[0])
    for i, each in enumerate(seen if picture is not None else (), start=1):
        sheet = picture.with_stem(f"{picture.stem}-{i}") if i > 1 else picture
        write_contact_sheet(each, sheet, force=given("force"))
        console.remark(f"Written: {sheet}")
    shared.write(output, swatch_table(report.swatches))
    shared.say(str(report))
    if not report.swatches.unnamed:  # else the report says what is wanted first
        next_steps.shelf("Next", output)


def fit(borrow: str | None, output: Path | None, detail: bool) -> None:
    """Fit the dyes of a swatch table, or of a method of the book, and say how well.

    The --output is the fitted dyes, as JSON, to be given as --swatches.
    """
    from dyemix.model.saved import saved_text
    from dyemix.shelf import borrow_shelf, readings_behind

    misused(borrow and given("book"), "usage.borrow")
    if borrow is None:
        fitted = shared.dyes()
    else:
        first = Path(borrow)
        fitted = borrow_shelf(given("swatches"), first, given("check"), given("leave_out"))
    if output is not None:
        shared.write(output, saved_text(fitted))
    behind = None if given("book") is not None else readings_behind(given("swatches"))
    shared.show(fitted.report, fitted.report.text(detail=detail), drawn=fitted, swatches=behind)
    if borrow is None:
        next_steps.then("To match a colour", "match", "#7d8a6e")
    elif output is None:
        next_steps.then("Keep it, to match by it", "fit", "--borrow", borrow, "-o", "borrowed.json")
    else:
        next_steps.then(
            "To match a colour", "match", "#7d8a6e", "--swatches", str(output), alone=True
        )
