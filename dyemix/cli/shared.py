"""What every command shares: what its options mean, and where an answer goes."""

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import replace
from difflib import get_close_matches
from itertools import chain
from pathlib import Path
from typing import Any

import click

import dyemix
from dyemix import console, writing
from dyemix.cli.options import GROUPS, care, given, given_only, name_of
from dyemix.errors import DyemixError, InputError, RecipeError, UnstatedError, refuse, said

#: Where a reading of hers goes in a command that is printed: no colour, so that it is refused.
READING = "L* a* b*"


def photo(cells: Path | None = None, light: Any = None) -> Any:
    """How a photograph is to be read; `cells` is the table of what lies in it."""
    from dyemix.photo import PhotoOptions

    told = {name: given(name) for name in map(name_of, GROUPS["photo"].split())}
    return PhotoOptions(**given_only({**told, "cells": cells, "light": light}))


def photograph(file: Path) -> Any:
    """A photograph, read as its options say."""
    from dyemix.photo import examine_photo

    given("inputs").append(file)
    with console.waiting("Reading the photograph"):
        return examine_photo(file, photo())


def standards() -> dict[str, Any]:
    """What was signed in the book that was chosen, by its name."""
    return {signed.name: signed for signed in chosen().sign_offs()} if chosen() else {}


def agreed(wanted: Any, usual: float) -> float:
    """The ΔE2000 that was agreed on for a standard of the book; else what is `usual`."""
    return float(getattr(standards().get(wanted and wanted.name), "tolerance", usual))


def target(words: str) -> Any:
    """A colour as typed, a cell of a photograph, or a signed standard of the book."""
    from dyemix.reading import photographed
    from dyemix.shelf import readings_behind

    if words in (signed := standards()):
        return signed[words].target
    if (place := photographed(words)) is None:
        try:
            return dyemix.Target.parse(words)
        except DyemixError:
            near = get_close_matches(words, signed, 1)
            refuse(near, "usage.no_standard", words, *near)
            raise
    beside, method = None, given("used method")
    with suppress(DyemixError):  # what is wrong with the shelf is said where it is fitted
        beside = chosen().swatches(method) if method else readings_behind(given("swatches"))
    return photograph(place[0]).target(place[1], beside)


def targets(file: Path | None, colours: tuple[str, ...] = ()) -> list[Any]:
    """Colours as `target` takes them, then those of a list."""
    from dyemix.files.small_tables import read_targets

    return [*map(target, colours), *([] if file is None else read_targets(file))]


def wanted(words: str | None) -> Any:
    """The colour as typed; without words that of the job in the book, or None."""
    if words:
        return target(words)
    job = given("job")
    return book.job(job).wanted if (book := chosen()) and job in book.jobs() else None


def piece(words: str, light: Any, recipe: Any = None) -> Any:
    """A finished piece: of a file, a colour as typed, or a cell of a photograph."""
    from dyemix.files.small_tables import read_piece
    from dyemix.reading import photographed

    example = words.replace(READING, "52.1 -3.4 20.0")
    refuse(example != words, f"in place of {words!r} goes what you read, as {example!r}.")
    place = photographed(words)
    return photograph(place[0]).piece(place[1]) if place else read_piece(words, light, recipe)


def open_book(create: bool = False) -> Any:
    """The book named, or the one in this folder, open until the command ends; begun by `create`."""
    from dyemix.dyebook.connection import find_book

    if given("open book") is None:
        path, context = find_book(given("book")), click.get_current_context()
        opened = context.with_resource(dyemix.DyeBook(path, create))
        for note in opened.warnings:
            console.remark(note)
        context.meta.update({"open book": opened, "book": path})
    return given("open book")


def chosen() -> Any:
    """The open book that was chosen, or None where the swatches are of no book."""
    return None if given("book") is None else open_book()


def dyes(*recipes: str) -> Any:
    """The fitted dyes at hand, of a book those of the method, job or all `recipes`; says whose."""
    from dyemix.dyebook.connection import book_beside, find_book
    from dyemix.shelf import find_shelf, fitted

    refuse(given("swatches") and given("book"), "give --swatches or --book, not both.")
    if given("swatches") is None and given("book") is None:
        beside = find_book(None) if given("method") else book_beside()  # a method is of a book
        click.get_current_context().meta["book"] = beside
    check, left_out = given("check"), given("leave_out")
    with console.waiting("Fitting the swatches"):
        if given("book") is None:
            refuse(given("method"), "--method names a method of a --book: there is none here.")
            shelf = find_shelf(given("swatches"), check)
            console.remark(shelf.note)
            given("inputs").extend((shelf.table, shelf.check))
            found = fitted(shelf.table, shelf.check, left_out)
        else:
            named = {*(given("only") or ()), *chain.from_iterable(map(_named, recipes))}
            method = of_method(open_book().method(given("method") or "", named, given("job") or ""))
            console.remark(f"Swatches: {method}, of {given('book')}")
            aside = None if check is None else dyemix.read_swatches(check)
            found = open_book().dyes(method.name, aside=aside, left_out=left_out)
            tell_astray(found)
    ask_for_light(found.report)
    return found.take(given("only")) if given("only") else found


def tell_astray(found: Any, piece: str = "") -> None:
    """Name each piece of the book, or one, so far off its prediction that it raises promises."""
    from dyemix.dyebook.past import astray

    odd = astray(open_book(), found, given("used method"))
    # Two of a job that are called the same are taken out one after the other.
    for (job, trial), (kept, off) in {(k.job, str(k.trial)): (k, off) for k, off in odd}.items():
        if piece in ("", trial):
            out = ["book", "strike", kept.trial.recipe.exact, "--job", job]
            console.remark(said("usage.astray", job, off))
            console.remark(console.pasted(["book", "show", job, *asked("book")], "Look at it: "))
            why = "A slip, or misread? Take it out: "
            console.remark(console.pasted([*out, *asked("book", "method")], why))


def doubt_names(names: Iterable[str]) -> None:
    """Name each dye just kept that no swatch of the book has, where one is called nearly so."""
    from dyemix.dataset.recipe import dye_name

    known = list(chain.from_iterable(method.dyes for method in open_book().methods()))
    new = [name for name in map(dye_name, names) if name not in known]
    near = {name: like for name in new if (like := get_close_matches(name, known, 1))}
    for name, like in near.items():
        console.remark(said("usage.no_such_dye", name, *like))
    if near:  # once: a second time takes back what was done before
        why = "If so, take this back: "
        console.remark(console.pasted(["book", "undo", *asked("book")], why))


def ask_for_light(read: Any) -> None:
    """Ask for the light of CIELAB that a table, or a report of a fit, found unstated."""
    if read is not None and (unstated := said("tables.unstated_light")) in read.warnings:
        console.remark(unstated)


def of_method(method: Any) -> Any:
    """Go on with this method of the book; it is named where the book has others."""
    several = len(open_book().methods()) > 1
    named = {"method": method.name if several else None, "used method": method.name}
    click.get_current_context().meta.update(named)
    return method


def _named(recipe: str) -> Any:
    """The dyes of a recipe, whatever its amounts are in; none of words that are no recipe."""
    from dyemix.dataset.recipe import Measures

    with suppress(RecipeError):
        return dyemix.Recipe.parse(recipe, Measures({"": 1.0}, 1.0, "metric"))
    return ()


def stated(dyes: Any = None) -> Any:
    """How the swatches at hand were dyed: of the dyes, or of the book that was opened."""
    if dyes is None and (book := chosen()):
        with suppress(InputError):
            return book.method(given("method") or "", job=given("job") or "").conditions
    return {} if dyes is None else dyes.conditions or {}


def settings(dyes: Any = None) -> Any:
    """The dyer's own figures, with the spoon set asked for, or stated with the swatches."""
    from dyemix.bench.settings import BathSettings

    own = BathSettings() if given("settings") is None else BathSettings.load(given("settings"))
    spoons = given("spoons") or (None if given("settings") else stated(dyes).get("spoons"))
    return own if spoons is None else replace(own, spoons=spoons)


def square_g(dyes: Any) -> float:
    """Dry weight of a square in such a bath as the swatches', g."""
    from dyemix.bench.method import dyed_as

    own = settings(dyes)
    ratio = dyed_as(dyes.conditions or {}, own)[0].get("liquor_ratio", own.liquor_ratio)
    return float(own.square_g(ratio))


def stocks(dyes: Any = None) -> Any:
    """A bottle of each dye that one is known of, and one for all the others: as named, else the
    last of the book, then as stated with the swatches, then the strength of the settings.
    """
    from dyemix.bench.stock import parse_stocks, stated_stocks

    shelf = () if dyes is None or given("only") else dyes.names
    named = parse_stocks(typed, shelf) if (typed := given("stock")) else ()
    told = [bottle.dye for bottle in named]
    known = book.stocks() if "" not in told and (book := chosen()) else ()
    kept = (bottle for bottle in known if bottle.dye not in told)
    return (*stated_stocks(stated(dyes), settings()), *named, *kept)


def recipe(words: str, dyes: Any = None) -> Any:
    """A recipe as typed; of liquid stock, what it means in % owf is said."""
    from dyemix.dataset.units import weight_text

    with suppress(UnstatedError):
        return dyemix.Recipe.parse(words)
    if dyes is None and not given("stock") and (book := chosen()) and book.methods():
        book.method(given("method") or "", job=given("job") or "")  # asked for, as stocks differ
    at_hand, (cloth, whose) = bottles(dyes), _cloth(dyes)
    found = dyemix.Recipe.parse(words, at_hand.measures(cloth))
    weight, of = weight_text(cloth, at_hand.settings.units), at_hand.strengths(found)
    console.remark(f"{words} is {found} % owf: on {weight} of dry cloth{whose}, of stock at {of}.")
    return found


def _cloth(dyes: Any) -> tuple[Any, str]:
    """The dry weight that spoons are meant on, g, and whose it is where it was not asked for.

    As asked; else that of the job's last sheet in the book; else that of a swatch of the table.
    """
    from dyemix.files.rows import weight

    if given("cloth_g") is not None:
        return given("cloth_g"), ""
    if (cloth_g := cloth_then()[0]) is not None:
        return cloth_g, f", as {given('job')} was"
    swatch = stated(dyes).get("cloth_g")
    return (weight(swatch), ", as your swatches weigh") if swatch else (None, "")


def shown_for() -> float:
    """The dry cloth that amounts are shown for, g: as given, or as the job was; else 100."""
    return float(given("cloth_g") or cloth_then()[0] or 100.0)


def cloth_then() -> tuple[Any, str]:
    """Dry weight, g, and fibres of the cloth on the last sheet of the job; None and "" of none."""
    sheets = chosen().sheets(given("job")) if given("job") and chosen() else ()
    return (sheets[-1].cloth_g, sheets[-1].fibre.words) if sheets else (None, "")


def bottles(dyes: Any = None) -> Any:
    """The stock at hand, with the dyer's own figures, for cloth as the job's, else as swatches'."""
    from dyemix.bench.method import dyed_share
    from dyemix.bench.stock import Bottles

    return Bottles.of(stocks(dyes), settings(dyes), dyed_share(stated(dyes), cloth_then()[1]))


def kit(measure: str | None, dyes: Any) -> Any:
    """What amounts are measured with, for so much cloth; None where nothing was said of it."""
    if not measure:
        return None
    at_hand = bottles(dyes)
    of = at_hand.measures(shown_for())
    words = f"{measure} {of.spoons}" if measure == "spoons" else measure
    parsed = dyemix.Kit.parse(words, of.stock_pct, of.cloth_g)
    return replace(parsed, jug_from=at_hand.settings.jug_from)


def pieces(files: tuple[str, ...] = (), job: str | None = None) -> list[Any]:
    """Analysed pieces of cloth: of files, and of the book that was chosen."""
    from dyemix.cloth.levelness import saved_pieces

    kept = chosen().pieces(job, given("method") or "") if given("book") else ()
    return [*(piece for file in files for piece in saved_pieces(file)), *kept]


def alkali(dyes: Any) -> tuple[str, str]:
    """When the alkali goes in where these dyes were dyed; a sentence more where nobody says."""
    from dyemix.bench.method import dyed_as

    order = dyed_as(dyes.conditions)[0].get("alkali")
    return str(order or "with"), "" if order else " Your swatches do not say when theirs went in."


# Answers ------------------------------------------------------------------------------------------


def write(path: Path | None, data: str | bytes) -> None:
    """Write a file that was asked for, and say so."""
    if path is not None:
        writing.write(path, data, **care())
        if path != Path("-"):
            console.remark(f"Written: {path}")


def kept(what: str) -> None:
    """Say what the book that was chosen holds now."""
    console.remark(f"Kept in {given('book')}: {what}")


def say(text: str) -> None:
    """Print an answer; beside a file that goes to standard output, on the error stream."""
    (console.remark if given("piped") else console.say)(text)


def asked(*names: str) -> list[str]:
    """Options as they were given, to be given again."""
    found = ((name, given(name_of(name))) for name in names)
    several = ((name, v if name in ("leave-out", "accept") else (v,)) for name, v in found if v)
    words = ((name, ", ".join(v) if name == "only" else v) for name, vs in several for v in vs)
    return [word for name, value in words for word in (f"--{name}", str(value))]


def show(result: Any, text: str = "", drawn: Any = None, **picture: Any) -> None:
    """Give an answer in every form that was asked for: text or JSON, a page, a picture of what is
    `drawn` in its place; `text` stands for its own.
    """
    if given("json"):
        from dyemix.dataset.serialise import as_json

        text = result.to_json() if hasattr(result, "to_json") else as_json(result)
        console.give(f"{text}\n")
    else:
        say(console.wrapped(text or str(result)))
    if given("html") is not None:
        write(given("html"), result.to_html())
    if given("draw") is not None:
        from dyemix.plots import pages, save

        for file in save(pages(drawn or result, **picture), given("draw"), **care()):
            console.remark(f"Written: {file}")
